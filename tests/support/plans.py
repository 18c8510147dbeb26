"""Plans of changed jobs, and what they say, by code."""

from __future__ import annotations

import math
from typing import Any

import pytest

from knurlcam import CannotBeDoneError, Job, Plan, make_plan
from knurlcam.plan.remarks import Choice
from tests.support.jobs import REMOVE, base_job

SINGLE = {"tool.style": "single roll", "tool.roll_spacing": REMOVE}
BENT = {
    "part.knurled_diameter": 11.0,
    "part.length": 30.0,
    "knurl.length": 10.0,
    "holding.method": "chuck",
    "holding.tailstock": REMOVE,
    "holding.centre_diameter": REMOVE,
}
"""A pin that stands out of a chuck: with compensation a plunge bends it for good."""
STRADDLE = {"tool.style": "straddle", "tool.roll_spacing": REMOVE}
STYLES: dict[str, dict[str, Any]] = {
    "single roll": {**SINGLE, "knurl.callout": "DIN 82 RAA 1.0"},
    "knuckle joint": {},
    "revolving head": {"tool.style": "revolving head"},
    "straddle": STRADDLE,
}
UNCORRECTED = {"tool.tracking_correction": 0.0}
"""Rolls on the blank's surface itself: geometry without what a first turn makes of it."""
GIVEN_BLANK = {"part.knurled_diameter": REMOVE, **UNCORRECTED}
TURNED = 67 * (1.0 / math.cos(math.radians(30))) / math.pi
"""Blank on which 67 teeth of RGE 1.0 close, uncorrected: 24.626 mm."""
PITS = {
    **UNCORRECTED,
    **SINGLE,
    "knurl.callout": "DIN 82 RGV 1.0",
    "knurl.length": 10.0,
    "part.knurled_diameter": 25.25,
}
PIN = {
    **UNCORRECTED,
    "process.fullness": 0.95,
    **SINGLE,
    "part.material": "C45",
    "part.knurled_diameter": REMOVE,
    "knurl.callout": "DIN 82 RAA 0.5",
    "knurl.purpose": "press fit",
    "knurl.length": 10.0,
    "holding.centre_diameter": REMOVE,
    "fit": {"bore": 12.0, "hub_diameter": 24.0, "hub_material": "aluminium 6082-T6"},
}
OWN = {"name": "own steel", "yield_strength": "300 MPa", "turning_speed": "20 m/min"}


def plan_of(changes: dict[str, Any] | None = None, **more: Any) -> Plan:
    return make_plan(Job.model_validate(base_job(changes, **more)))


def refusals_of(changes: dict[str, Any]) -> dict[str, Any]:
    with pytest.raises(CannotBeDoneError) as error:
        plan_of(changes)
    return {r.code: r for r in error.value.refusals}


def notes_of(plan: Plan) -> dict[str, Any]:
    return {n.code: n for n in plan.notes}


def choice_of(plan: Plan, key: str) -> Choice:
    (found,) = [c for c in plan.choices if c.key == key]
    return found


FINE = {
    **UNCORRECTED,
    **SINGLE,
    "knurl.callout": "DIN 82 RAA 0.5",
    "holding.centre_diameter": REMOVE,
    "knurl.length": 8.0,
}

IN_INCH = {
    "units": "inch",
    "part.length": "70 mm",
    "knurl.length": "10 mm",
    "tool.roll_diameter": "20 mm",
    "tool.face_width": "10 mm",
    "machine.safe_z": "50 mm",
}
