"""The solid: closed, as heavy as its blank, and right-handed where the knurl is."""

from __future__ import annotations

import io
import math
import struct
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from knurlcam.errors import InputError
from knurlcam.imprint.solid import stl_bytes
from knurlcam.imprint.surface import Surface
from tests.support.maps import DIAMETER_MM, TEETH, surface

if TYPE_CHECKING:
    import trimesh


@cache
def volume_keeping() -> Surface:
    """Return a straight knurl as heavy as its blank."""
    of = surface("straight", 1.0)
    area = float(((DIAMETER_MM / 2.0 + of.height_mm.astype(float)) ** 2).mean())
    return replace(of, height_mm=of.height_mm - np.float32(math.sqrt(area) - DIAMETER_MM / 2.0))


def test_the_solid_is_closed_and_as_large_as_its_blank() -> None:
    of = volume_keeping()
    mesh = solid(stl_bytes(of))
    length = (of.rows - 1) * of.dz_mm
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(math.pi / 4.0 * DIAMETER_MM**2 * length, rel=0.001)
    assert mesh.bounds[:, 2] == pytest.approx([of.z_mm, of.z_mm + length])


def solid(data: bytes) -> trimesh.Trimesh:
    import trimesh  # here: it takes a second to load, in each worker that collects this file

    return trimesh.load(io.BytesIO(data), file_type="stl")


def test_a_solid_with_too_many_triangles_is_thinned_and_says_so() -> None:
    of = surface("straight")
    data = stl_bytes(of, most_triangles=40_000)
    mesh = solid(data)
    (count,) = struct.unpack("<I", data[80:84])
    assert len(data) == 84 + 50 * count
    assert 10_000 < count <= 40_000
    assert b"thinned: 1 row and cell in 7" in data[:80]
    assert not data.startswith(b"solid")
    assert mesh.is_watertight
    assert mesh.bounds[1, 2] == pytest.approx(of.zs_mm[-1])


def test_the_solids_normals_are_those_of_its_corners() -> None:
    stl = stl_bytes(volume_keeping())
    data = np.frombuffer(stl[84:], dtype=np.uint8).reshape(-1, 50)
    normals = data[:, :12].copy().view("<f4")
    assert (normals * solid(stl).face_normals).sum(axis=1).min() > 0.999


def test_right_hand_grooves_stay_right_handed_in_the_solid() -> None:
    of = surface("right-hand", 0.5)
    points = solid(stl_bytes(of)).vertices
    radius = np.hypot(points[:, 0], points[:, 1])
    angle = np.arctan2(points[:, 1], points[:, 0])
    # A right-hand helix turns against the clock, seen from +Z, as it goes towards +Z.
    turn = np.tan(np.radians(30.0)) * 2.0 / DIAMETER_MM
    wall = radius > 1.0

    def alike(way: float) -> float:
        phase = TEETH * (angle[wall] - way * turn * points[wall, 2])
        return float(abs(np.mean(radius[wall] * np.exp(1j * phase))))

    assert alike(1.0) > 10.0 * alike(-1.0)


def test_too_few_triangles_for_a_round_part_are_refused() -> None:
    with pytest.raises(InputError):
        stl_bytes(surface("straight", 0.5), most_triangles=3)
