"""The imprint in words: rows, notes and the picture's facts."""

from __future__ import annotations

import pytest

from knurlcam.imprint.report import imprint_rows, remarks_of
from knurlcam.imprint.window import CLEAN
from tests.support.imprints import PLUNGED, STRAIGHT, Made, closing_mm, imprint_of


def test_rolls_that_fall_into_no_track_are_not_said_to_run_in_one() -> None:
    """A plunge of five turns, each of which prints a third of a tooth beside the last."""
    made = Made(
        {**PLUNGED, "knurl.callout": "DIN 82 RGE 1.0", "process.infeed_rate": "0.02 mm/rev"}
    )
    note = remarks_of(made.imprint(capture=0.01))[0]
    assert "never track" in note


@pytest.mark.parametrize(
    ("teeth", "note"), [(78.0, "as planned"), (78.5, "planned 78; 2 tracks beside each other")]
)
def test_teeth_and_tracks_are_told_by_one_count(teeth: float, note: str) -> None:
    imprint = imprint_of({**STRAIGHT, "part.blank_diameter": closing_mm(teeth, STRAIGHT)})
    row = next(row for row in imprint_rows(imprint) if row.name == "teeth")
    assert row.note == note
    assert f" {row.value} teeth" in remarks_of(imprint)[0].split("they")[-1]


def test_tracks_that_were_left_and_still_show_are_told_with_the_teeth() -> None:
    """At 0.01 mm/rev the rolls cut track after track until one is deep enough to hold them."""
    changes = {**STRAIGHT, "process.infeed_rate": "0.01 mm/rev"}
    blank = closing_mm(78, changes)
    imprint = imprint_of({**changes, "part.blank_diameter": blank}, blank_diameter_mm=blank - 0.038)
    assert imprint.measures.double_impression > CLEAN
    teeth = next(row for row in imprint_rows(imprint) if row.name == "teeth")
    assert (teeth.value, teeth.note) == ("78", "as planned; stray grooves between them")
    assert "one track of 78 teeth, and what they printed before in" in remarks_of(imprint)[0]


def test_metal_that_fills_the_teeth_is_a_row_only_where_it_lifts_the_rolls_off() -> None:
    doubled, clean = (
        imprint_of({**STRAIGHT, "part.blank_diameter": closing_mm(teeth, STRAIGHT)})
        for teeth in (78.5, 78.0)
    )
    names = [[row.name for row in imprint_rows(imprint)] for imprint in (doubled, clean)]
    assert names[0] == [*names[1], "roll lift-off"]
    assert names[1] == [
        "double impression",
        "teeth",
        "pitch",
        "knurled diameter",
        "tooth height",
        "crest width",
        "length",
        "depth uniformity",
    ]


def test_rolls_that_come_back_are_said_to_be_assumed_at_their_worst() -> None:
    strip = {"process.trial_strip": True, "knurl.length": 30.0, "part.length": 80.0}
    imprint = imprint_of(strip, resolution_mm=0.125)
    assert any(
        "0.50 of a tooth beside their track is assumed, the worst case" in note
        for note in remarks_of(imprint)
    )
    found = imprint_of(strip, resolution_mm=0.125, return_teeth=0.0)
    assert not any("worst" in note for note in remarks_of(found))
