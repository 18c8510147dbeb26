"""The imprint in words: rows, notes and the picture's facts."""

from __future__ import annotations

from knurlcam.imprint.report import imprint_rows, remarks_of
from tests.support.imprints import PLUNGED, STRAIGHT, Made, imprint_of


def test_rolls_that_fall_into_no_track_are_not_said_to_run_in_one() -> None:
    """A plunge of five turns, each of which prints a third of a tooth beside the last."""
    made = Made(
        {**PLUNGED, "knurl.callout": "DIN 82 RGE 1.0", "process.infeed_rate": "0.02 mm/rev"}
    )
    note = remarks_of(made.imprint(capture=0.01))[0]
    assert "never track" in note


def test_metal_that_fills_the_teeth_is_a_row_only_where_it_lifts_the_rolls_off() -> None:
    doubled = imprint_of({**STRAIGHT, "part.blank_diameter": 25.0})
    clean = imprint_of({**STRAIGHT, "part.blank_diameter": 24.83})
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
