"""The table of tool styles holds together, row by row."""

from __future__ import annotations

from typing import get_args

import pytest

from knurlcam.mechanics.tool_styles import STRADDLE, TOOL_STYLES, RollsOnBlank, Style, ToolStyle

ROWS = list(TOOL_STYLES.values())


def test_every_style_that_a_job_may_name_has_a_row() -> None:
    assert tuple(TOOL_STYLES) == get_args(Style)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_a_row_stands_under_its_name_with_one_roll_or_two(row: ToolStyle) -> None:
    assert TOOL_STYLES[row.name] is row
    assert row.rolls in (1, 2)
    assert row.needs_spacing <= (row.rolls == 2), "one roll has no spacing"
    assert not (row.needs_spacing and row.set_to_gap)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_the_spacing_counts_where_the_job_must_give_it_and_nowhere_else(row: ToolStyle) -> None:
    near, far = (row.half_spacing_mm(RollsOnBlank(12.5, 10.0, 0.2, x)) for x in (21.0, 30.0))
    assert (near != far) == row.needs_spacing


def test_a_straddle_presses_from_both_sides() -> None:
    row = TOOL_STYLES[STRADDLE]
    assert row.rolls == 2
    assert row.half_spacing_mm(RollsOnBlank(12.5, 10.0, 0.25, None)) == 22.25
