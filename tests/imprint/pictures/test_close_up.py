"""The surface close up, unrolled."""

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
    PITCH_MM,
    UNFIT,
    grey,
    lines_seen,
    surface,
)


def glass(of: Surface, size: int = 320) -> NDArray[np.float64]:
    image = close_up_image(of, centre_z_mm=-10.0, span_mm=8.0 * PITCH_MM, width=size, height=size)
    return grey(image)


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


@pytest.mark.parametrize("unfit", UNFIT)
def test_a_map_that_cannot_be_shown_is_not_shown(unfit: Surface) -> None:
    with pytest.raises(KnurlcamError):
        part_image(unfit, width=200, height=200)
    with pytest.raises(KnurlcamError):
        close_up_image(unfit, centre_z_mm=-1.0, span_mm=1.0, width=99, height=99)
    with pytest.raises(KnurlcamError):
        patch_png(unfit, centre_z_mm=-1.0, span_mm=1.0)


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
