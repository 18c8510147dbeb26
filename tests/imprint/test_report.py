"""The imprint in words: rows, notes and the picture's facts."""

from __future__ import annotations

from knurlcam.imprint.report import remarks_of
from tests.support.imprints import PLUNGED, Made


def test_rolls_that_fall_into_no_track_are_not_said_to_run_in_one() -> None:
    """A plunge of five turns, each of which prints a third of a tooth beside the last."""
    made = Made(
        {**PLUNGED, "knurl.callout": "DIN 82 RGE 1.0", "process.infeed_rate": "0.02 mm/rev"}
    )
    note = remarks_of(made.imprint(capture=0.01))[0]
    assert "never track" in note
