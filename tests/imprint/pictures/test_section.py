"""The drawing of a section: true to scale, and in words."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from knurlcam.imprint.pictures.section import section_svg
from tests.support.maps import (
    PITCH_MM,
    surface,
)
from tests.support.svg import bars, corners


@pytest.mark.parametrize(("units", "unit_mm"), [("mm", 1.0), ("inch", 25.4)])
def test_a_sections_bar_is_as_long_as_it_says_in_both_directions(
    units: str, unit_mm: float
) -> None:
    of = surface("straight")
    text = section_svg(of, z_mm=-10.0, pitch_mm=PITCH_MM, units=units)
    svg = ET.fromstring(text)
    [(length, said)] = bars(svg)
    scale = length / (float(said.split()[0]) * unit_mm)
    profile = corners(svg.find("polyline[@class='profile']"))
    assert said.split()[1] == ("in" if units == "inch" else "mm")
    assert np.ptp(profile[:, 0]) / scale == pytest.approx(5.0 * PITCH_MM, rel=0.01)
    assert np.ptp(profile[:, 1]) / scale == pytest.approx(np.ptp(of.height_mm), rel=0.01)


def test_a_section_says_tooth_height_and_growth() -> None:
    of = surface("straight")
    text = section_svg(of, z_mm=-10.0, pitch_mm=PITCH_MM)
    assert f"{np.ptp(of.height_mm):.2g} mm" in text
    assert f"2 × {of.height_mm.max():.2g} mm" in text
    assert "tooth height" in text
    assert "not a measurement" in text


def test_a_section_for_a_page_has_neither_styles_nor_references() -> None:
    text = section_svg(surface("diamond"), z_mm=-10.0, pitch_mm=PITCH_MM)
    assert not re.search(r"style|href|url\(|http|\bid=|<script", text)
    ET.fromstring(text)
