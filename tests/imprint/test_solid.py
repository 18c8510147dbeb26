"""Files of a height map: what another program reads back from them."""

from __future__ import annotations

import io
import json
import math
import struct
import zipfile
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import trimesh

from knurlcam.errors import InputError, KnurlcamError
from knurlcam.imprint.archive import npz_bytes
from knurlcam.imprint.solid import stl_bytes
from knurlcam.imprint.surface import Surface
from tests.support.maps import DIAMETER_MM, TEETH, UNFIT, surface


def test_an_archive_reads_back_what_was_written() -> None:
    of = surface("diamond", 0.2)
    measures = {"teeth": 80, "tooth_height_mm": 0.41, "note": "½ × tooth"}
    with np.load(io.BytesIO(npz_bytes(of, measures)), allow_pickle=False) as read:
        assert read["height_mm"].dtype == np.float32
        assert (read["height_mm"] == of.height_mm).all()
        for name in ("z_mm", "dz_mm", "cell_mm", "blank_diameter_mm"):
            assert float(read[name]) == getattr(of, name)
        assert json.loads(str(read["measures"])) == measures


def test_files_say_at_their_beginning_what_they_are() -> None:
    of = surface("straight", 1.0)
    assert b"height_mm.npy" in npz_bytes(of, {})[:512]
    assert zipfile.ZipFile(io.BytesIO(npz_bytes(of, {}))).namelist()[0] == "height_mm.npy"
    assert stl_bytes(of).startswith(b"knurlcam")


@pytest.mark.parametrize("measures", [{"a": math.nan}, {"a": object()}])
def test_measures_that_json_cannot_hold_are_refused(measures: dict[str, object]) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        npz_bytes(surface("plain"), measures)


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


@pytest.mark.parametrize("unfit", UNFIT)
def test_a_map_that_cannot_be_shown_is_not_written(unfit: Surface) -> None:
    with pytest.raises(KnurlcamError):
        npz_bytes(unfit, {})
    with pytest.raises(KnurlcamError):
        stl_bytes(unfit)


def test_the_same_map_gives_the_same_files() -> None:
    of = surface("diamond", 0.2)
    assert npz_bytes(of, {"teeth": 80}) == npz_bytes(of, {"teeth": 80})
    twice = [stl_bytes(of, most_triangles=20_000) for _ in range(2)]
    assert twice[0] == twice[1]
