"""Where a knurl is cut, and what the cut holds."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from knurlcam import Job, lay_out, make_plan, read_program, write_program
from knurlcam.imprint.make import make_imprint
from knurlcam.imprint.pictures.cut import crest_z_mm, section
from knurlcam.imprint.surface import Surface
from tests.support.maps import (
    LENGTH_MM,
    PITCH_MM,
    surface,
)

TRIMMER_ROD = Path(__file__).parents[3] / "samples" / "trimmer-rod.toml"


def test_a_section_holds_the_heights_of_the_row() -> None:
    of = surface("diamond")
    cut = section(of, -12.26, teeth_mm=3.0 * PITCH_MM)
    row = round((-12.26 - of.z_mm) / of.dz_mm)
    assert cut.z_mm == pytest.approx(-12.25)
    assert (cut.height_mm == of.height_mm[row, np.arange(-36, 37)]).all()
    assert cut.u_mm == pytest.approx(np.arange(-36, 37) * of.cell_mm)


REPEAT_MM = PITCH_MM / math.tan(math.radians(30.0)) / 2.0
"""After so much of its length the diamond knurl comes again."""


def test_the_row_through_the_crests_has_the_tallest_teeth() -> None:
    of = surface("diamond")
    z = crest_z_mm(of)
    tall = np.ptp(of.height_mm, axis=1)
    assert tall[round((z - of.z_mm) / of.dz_mm)] == pytest.approx(tall.max(), rel=0.005)


@pytest.mark.parametrize("kind", ["diamond", "pits"])
def test_a_section_through_the_crests_is_amid_the_knurl_though_teeth_differ(kind: str) -> None:
    of = surface(kind, 0.02)
    grown = np.linspace(1.1, 0.9, of.rows, dtype=np.float32)[:, None]
    z = crest_z_mm(replace(of, height_mm=of.height_mm * grown))
    assert abs(z + LENGTH_MM / 2.0) <= REPEAT_MM / 2.0
    # Crests of both families lie on each other at whole repeats from Z0.
    assert abs(z / REPEAT_MM - round(z / REPEAT_MM)) * REPEAT_MM <= 0.011


def bent_away(of: Surface) -> Surface:
    """Return a knurl of which little was left but at its end: the work bent away."""
    left = 0.15 + 0.85 * np.linspace(0.0, 1.0, of.rows, dtype=np.float32)[:, None] ** 4
    return replace(of, height_mm=of.height_mm * left)


def test_a_section_through_the_crests_is_amid_the_knurl_though_the_work_bent_away() -> None:
    z = crest_z_mm(bent_away(surface("diamond", 0.02)))
    assert abs(z + LENGTH_MM / 2.0) <= REPEAT_MM / 2.0
    assert abs(z / REPEAT_MM - round(z / REPEAT_MM)) * REPEAT_MM <= 0.021
    z = crest_z_mm(bent_away(surface("straight", 0.1)))
    assert z == pytest.approx(-LENGTH_MM / 2.0, abs=0.1)


def test_the_slender_rod_is_cut_and_looked_at_in_the_middle_of_its_knurl() -> None:
    plan = make_plan(Job.load(TRIMMER_ROD))
    of = make_imprint(plan, read_program(write_program(lay_out(plan)))).surface
    tall = np.ptp(of.height_mm, axis=1)
    # The middle comes out shallow, as the plan warns: its teeth are lower than those at the end.
    assert np.median(tall) < 0.6 * tall.max()
    z = crest_z_mm(of)
    assert z == pytest.approx(-plan.job.knurl.length / 2.0, abs=0.5)
    # Shallow grooves of both families lie on each other: each tooth has one root beside it.
    cut = section(of, z, teeth_mm=10.0 * plan.knurl.transverse_pitch_mm)
    deep = cut.height_mm < cut.height_mm.min() / 2.0
    assert np.count_nonzero(deep[1:] & ~deep[:-1]) in (9, 10, 11)


def test_grooves_of_a_section_through_flat_crests_have_one_root_each() -> None:
    of = surface("diamond", 0.02)
    cut = section(of, crest_z_mm(of), teeth_mm=10.0 * PITCH_MM)
    inner = cut.height_mm[1:-1]
    roots = (inner < cut.height_mm[:-2] - 1e-5) & (inner <= cut.height_mm[2:] + 1e-5)
    assert np.count_nonzero(roots) == 10


def test_a_knurl_shorter_than_its_repeat_can_be_cut() -> None:
    of = surface("diamond", 0.2)
    z = crest_z_mm(replace(of, height_mm=of.height_mm[:4]))
    assert of.z_mm <= z <= of.z_mm + 0.6


def test_of_rows_all_alike_the_middle_one_is_cut() -> None:
    assert crest_z_mm(surface("straight")) == pytest.approx(-LENGTH_MM / 2.0, abs=0.1)
