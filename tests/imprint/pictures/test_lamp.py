"""Pictures of a height map: what a machinist would see of the knurl."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from knurlcam.errors import InputError, KnurlcamError
from knurlcam.imprint.pictures.close_up import close_up_image, patch_png
from knurlcam.imprint.pictures.part import part_image
from knurlcam.imprint.surface import Surface
from tests.support.maps import (
    DIAMETER_MM,
    LENGTH_MM,
    PITCH_MM,
    TEETH,
    UNFIT,
    grey,
    heights,
    lines_seen,
    surface,
)


def part(kind: str, width: int = 500, height: int = 560) -> NDArray[np.float64]:
    return grey(part_image(surface(kind), width=width, height=height))


def glass(of: Surface, size: int = 320) -> NDArray[np.float64]:
    image = close_up_image(of, centre_z_mm=-10.0, span_mm=8.0 * PITCH_MM, width=size, height=size)
    return grey(image)


# -- the part under the lamp --------------------------------------------------


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


# -- under the glass ----------------------------------------------------------


def test_a_doubled_knurl_shows_twice_as_many_lines_as_a_clean_one() -> None:
    clean, doubled = (glass(surface(k))[:, 160] for k in ("straight", "doubled"))
    assert lines_seen(clean) == 8
    assert lines_seen(doubled) == 16


def test_what_faces_the_viewer_is_mirrored_with_the_map() -> None:
    whole = surface("right-hand")
    mirrored = replace(whole, height_mm=np.roll(whole.height_mm[:, ::-1], 1, axis=1).copy())
    flat = glass(surface("plain")).mean()
    crests = np.abs(glass(whole) - flat) < 1
    assert 0.1 < crests.mean() < 0.3
    assert (crests[::-1] == (np.abs(glass(mirrored) - flat) < 1)).mean() > 0.98


def test_a_patch_is_moved_onto_the_map() -> None:
    of = surface("right-hand")
    far, near = (
        close_up_image(of, centre_z_mm=z, span_mm=5.0, width=200, height=100)
        for z in (99.0, -2.525)
    )
    assert np.abs(grey(far) - grey(near)).max() <= 1
    assert far.size == (200, 100)


def test_a_patch_for_a_page_is_small_and_shows_the_same() -> None:
    data = patch_png(surface("diamond"), centre_z_mm=-10.0, span_mm=8.0 * PITCH_MM)
    assert len(data) <= 60_000
    image = Image.open(io.BytesIO(data))
    assert image.size == (440, 440)
    assert np.corrcoef(grey(image).ravel(), glass(surface("diamond"), 440).ravel())[0, 1] > 0.99


def test_a_patch_that_takes_too_much_room_is_refused() -> None:
    noise = np.random.default_rng(1).normal(0.0, 0.05, (400, 1920)).astype(np.float32)
    rough = replace(surface("plain"), height_mm=noise)
    with pytest.raises(InputError, match="too much room"):
        patch_png(rough, centre_z_mm=-10.0, span_mm=19.0, width=800, height=800)


def test_the_same_map_gives_the_same_patch() -> None:
    patches = [patch_png(surface("diamond", 0.2), centre_z_mm=-10.0, span_mm=5.0) for _ in range(2)]
    assert patches[0] == patches[1]


# -- what cannot be shown -----------------------------------------------------


@pytest.mark.parametrize("unfit", UNFIT)
def test_a_map_that_cannot_be_shown_is_not_shown(unfit: Surface) -> None:
    with pytest.raises(KnurlcamError):
        part_image(unfit, width=200, height=200)
    with pytest.raises(KnurlcamError):
        close_up_image(unfit, centre_z_mm=-1.0, span_mm=1.0, width=99, height=99)
    with pytest.raises(KnurlcamError):
        patch_png(unfit, centre_z_mm=-1.0, span_mm=1.0)


def test_a_part_smaller_than_a_pixel_is_refused() -> None:
    wire = Surface(heights(4000, 12), -400.0, 0.1, 0.01)
    with pytest.raises(InputError, match="smaller than a pixel"):
        part_image(wire, width=100, height=100)


@pytest.mark.parametrize(("width", "height"), [(0, 100), (100, 100_000)])
def test_a_picture_that_no_screen_holds_is_refused(width: int, height: int) -> None:
    with pytest.raises(InputError):
        part_image(surface("straight", 0.5), width=width, height=height)


@pytest.mark.parametrize(("centre_z_mm", "span_mm"), [(-9.0, 0.01), (-9.0, 99.0), (math.nan, 9.0)])
def test_a_patch_that_is_not_on_the_map_is_refused(centre_z_mm: float, span_mm: float) -> None:
    with pytest.raises(InputError):
        close_up_image(
            surface("straight", 0.5),
            centre_z_mm=centre_z_mm,
            span_mm=span_mm,
            width=99,
            height=99,
        )
