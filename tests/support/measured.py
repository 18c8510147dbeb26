"""Measured parts, as a log keeps them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from knurlcam.records.measurement import Measurement

__all__ = ["a_part"]

_PART = Measurement(
    when_utc="2026-03-01T08:15:00+00:00",
    who="A. Setter",
    job_name="Focus knob",
    job_identity="0123456789AB",
    program_identity="CAFE",
    roll="for RGE, pitch 1 mm",
    material="aluminium 6082-T6",
    tool="knuckle joint",
    machine="iso6983",
    form="RGE",
    pitch_mm=1.0,
    transverse_pitch_mm=1.1547,
    planned_teeth=67,
    planned_blank_mm=24.688,
    blank_mm=24.69,
    crests_mm=(24.95, 24.97, 24.96),
    expected_crests_mm=25.0,
    expected_growth_mm=0.31,
    growth_mm=0.27,
    correction_mm=0.062,
    estimated_correction_mm=0.062,
    tracks_from_mm=24.65,
    tracks_to_mm=24.72,
    teeth=67,
    doubled=False,
)


def a_part(**changes: Any) -> Measurement:
    """Return a measured part, with changes."""
    return replace(_PART, **changes)
