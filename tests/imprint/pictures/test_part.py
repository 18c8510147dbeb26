"""The part from the side: what a machinist would see of the knurl."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from knurlcam.errors import InputError
from knurlcam.imprint.pictures.part import part_image
from knurlcam.imprint.surface import Surface
from tests.support.maps import (
    DIAMETER_MM,
    LENGTH_MM,
    TEETH,
    grey,
    heights,
    surface,
)


def part(kind: str, width: int = 500, height: int = 560) -> NDArray[np.float64]:
    return grey(part_image(surface(kind), width=width, height=height))


def test_the_side_that_faces_the_lamp_is_the_brighter_one() -> None:
    seen = part("plain")[:, 250]
    assert seen[60:280].mean() > 1.3 * seen[280:500].mean()


def test_a_plain_blank_keeps_its_proportions_on_a_plain_ground() -> None:
    seen = part("plain")
    ground = seen[0, 0]
    metal = np.argwhere(np.abs(seen - ground) > 2)
    high, wide = np.ptp(metal, axis=0) + 1
    assert high / wide == pytest.approx(DIAMETER_MM / LENGTH_MM, rel=0.01)
    assert (seen[:, :20] == ground).all()


def test_a_straight_knurl_has_stripes_that_run_along_the_axis() -> None:
    middle = part("straight")[:, 60:440]
    assert np.ptp(middle, axis=1)[40:520].max() < 2
    assert np.ptp(middle.mean(axis=1)) > 100


def test_the_stripes_across_the_middle_are_as_many_as_the_teeth() -> None:
    seen = part("straight", 900, 1000)
    scale = np.count_nonzero(np.ptp(seen, axis=1) > 2) / (
        DIAMETER_MM + 2.0 * float(surface("straight").height_mm.max())
    )
    half = round(scale * DIAMETER_MM / 2.0 * math.sin(5 * 2.0 * math.pi / TEETH))
    column = seen[500 - half : 500 + half, 450]
    dark = column < (column.max() + column.min()) / 2.0
    assert np.count_nonzero(dark[1:] > dark[:-1]) in (9, 10, 11)


@pytest.mark.parametrize(("kind", "down"), [("right-hand", 1), ("left-hand", -1)])
def test_right_hand_grooves_lean_from_the_upper_left_to_the_lower_right(
    kind: str, down: int
) -> None:
    seen = part(kind)[250:310]
    shift = round(10 * math.tan(math.radians(30.0)))

    def alike(by: int) -> float:
        return float(np.corrcoef(np.roll(seen[:, 240], by)[10:50], seen[10:50, 250])[0, 1])

    assert alike(down * shift) > 0.8
    assert alike(down * shift) > alike(-down * shift)


def test_teeth_finer_than_a_pixel_fade_to_an_even_grey() -> None:
    seen = part("diamond", 30, 34)[14:20, 8:22]
    assert np.ptp(seen, axis=1).max() < 30


def test_teeth_stand_out_over_the_silhouette() -> None:
    seen = part("diamond", 900, 1000)
    ground = seen[0, 0]
    top = (np.abs(seen[:, 200:700] - ground) > 6).argmax(axis=0)
    assert np.ptp(top) >= 3


def test_a_part_is_as_wide_as_its_highest_crest_and_at_least_as_its_blank() -> None:
    of = surface("straight", 0.5)
    crest = float(of.height_mm.max())
    assert of.across_mm == pytest.approx(DIAMETER_MM + 2.0 * crest)
    sunk = replace(of, height_mm=of.height_mm - np.float32(crest + 0.1))
    assert sunk.across_mm == pytest.approx(DIAMETER_MM)


def test_a_part_smaller_than_a_pixel_is_refused() -> None:
    wire = Surface(heights(4000, 12), -400.0, 0.1, 0.01)
    with pytest.raises(InputError, match="smaller than a pixel"):
        part_image(wire, width=100, height=100)


@pytest.mark.parametrize(("width", "height"), [(0, 100), (100, 100_000)])
def test_a_picture_that_no_screen_holds_is_refused(width: int, height: int) -> None:
    with pytest.raises(InputError):
        part_image(surface("straight", 0.5), width=width, height=height)
