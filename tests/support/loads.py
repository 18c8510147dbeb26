"""Jobs whose loads matter, and the estimates of their plans."""

from __future__ import annotations

from typing import Any

import pytest

from knurlcam import Job, make_plan
from knurlcam.errors import CannotBeDoneError, Refusal
from knurlcam.mechanics.setup_deflection import SetUpDeflection
from knurlcam.mechanics.setup_loads import SetUp
from knurlcam.plan.model import Plan
from knurlcam.plan.remarks import Note
from tests.support.jobs import REMOVE, base_job

LONG = {"part.length": 200.0, "knurl.length": 120.0}
"""A long handle of the base job's diameter: its middle comes out shallow."""

FOLLOWED = {**LONG, "process.compensate": True}
CHUCK = {
    "holding.method": "chuck",
    "holding.tailstock": REMOVE,
    "holding.centre_diameter": REMOVE,
    "part.length": 40.0,
}
NEARLY_BENT = {
    "part.knurled_diameter": 8.0,
    "part.length": 39.0,
    "process.infeed_rate": 0.05,
    "process.accept": ["shallow-on-part"],
}
"""In a chuck: work that compensation would bend for good, and that it does not bend without."""

CHUCK_AND_CENTRE = {"holding.method": "chuck and centre"}
SINGLE = {"tool.style": "single roll", "tool.roll_spacing": REMOVE, "knurl.callout": "RAA 1.0"}
STRADDLE = {"tool.style": "straddle", "tool.roll_spacing": REMOVE}
PLUNGED = {"knurl.length": 10.0}
OWN = {"name": "own", "yield_strength": "260 MPa", "turning_speed": "60 m/min"}


def plan_of(changes: dict[str, Any] | None = None, **more: Any) -> Plan:
    # A given infeed: what is recommended suits the blank, and the force goes with its root.
    return make_plan(
        Job.model_validate(base_job({"process.infeed_rate": 0.05, **(changes or {})}, **more))
    )


def set_up_of(changes: dict[str, Any] | None = None) -> SetUp:
    found = plan_of(changes).estimate
    assert found is not None
    return found.set_up


def deflection_in(plan: Plan) -> SetUpDeflection:
    assert plan.estimate is not None
    found = plan.estimate.deflection
    assert found is not None
    return found


def deflection_of(changes: dict[str, Any] | None = None) -> SetUpDeflection:
    return deflection_in(plan_of(changes))


def notes_of(changes: dict[str, Any]) -> dict[str, Note]:
    return {note.code: note for note in plan_of(changes).notes}


def refusals_of(changes: dict[str, Any]) -> dict[str, Refusal]:
    with pytest.raises(CannotBeDoneError) as error:
        plan_of(changes)
    return {refusal.code: refusal for refusal in error.value.refusals}
