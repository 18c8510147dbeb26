"""A plan as plain data, and its time."""

from __future__ import annotations

import json
from typing import Any

import pytest

from knurlcam import lay_out, read_program, write_program
from knurlcam.gcode.dialect_files import dialect_names
from tests.support.jobs import base_job
from tests.support.plans import (
    STYLES,
    plan_of,
)

KEYS = {
    "knurl",
    "teeth",
    "misfit_teeth",
    "blank_diameter_mm",
    "blank_tolerance_mm",
    "knurled_diameter_mm",
    "tooth_height_mm",
    "full_tooth_height_mm",
    "fullness",
    "penetration_mm",
    "rise_mm",
    "spindle_rpm",
    "feed_mm_per_rev",
    "strategy",
    "passes",
    "candidates",
    "notes",
    "time_s",
}
INNER = {
    "passes": {
        "number",
        "direction",
        "penetration_mm",
        "x_diameter_mm",
        "z_start_mm",
        "z_end_mm",
    },
    "candidates": {"teeth", "blank_diameter_mm", "fullness", "knurled_diameter_mm"},
    "notes": {"severity", "code", "message", "source"},
}


@pytest.mark.parametrize("style", STYLES)
def test_the_plain_data_has_the_keys_that_scripts_rely_on(style: str) -> None:
    data = json.loads(json.dumps(plan_of(STYLES[style]).to_dict(), allow_nan=False))
    assert set(data) >= KEYS
    assert set(data["knurl"]) >= {"form", "pitch_mm", "helix_deg", "profile_deg"}
    for name, keys in INNER.items():
        assert data[name]
        assert all(set(row) == keys for row in data[name])
    assert {p["direction"] for p in data["passes"]} <= {"headstock", "tailstock", "plunge"}
    assert {n["severity"] for n in data["notes"]} <= {"error", "warning", "note"}


def test_the_plain_data_holds_the_plans_own_figures_unrounded() -> None:
    plan = plan_of()
    data = json.loads(json.dumps(plan.to_dict()))
    for key in KEYS - {"knurl", "passes", "candidates", "notes", "full_tooth_height_mm"}:
        assert data[key] == getattr(plan, key)


TIMED: dict[str, dict[str, Any]] = {
    **STYLES,
    "plunge": {"knurl.length": 8.0},
    "trial": {"process.trial_strip": True},
    "plunged trial": {"process.trial_strip": True, "knurl.length": 8.0},
    # Feeds that an inch word of four places holds exactly.
    "inch": {
        "units": "inch",
        "process.feed": 0.02,
        "process.infeed_rate": 0.002,
        **{
            key: f"{base_job()[key.split('.')[0]][key.split('.')[1]]} mm"
            for key in (
                "part.knurled_diameter",
                "part.length",
                "knurl.length",
                "holding.centre_diameter",
                "tool.roll_diameter",
                "tool.face_width",
                "tool.roll_spacing",
                "machine.safe_x",
                "machine.safe_z",
            )
        },
    },
}


@pytest.mark.few(8)
@pytest.mark.parametrize("kind", TIMED)
@pytest.mark.parametrize("post", dialect_names())
def test_the_time_is_that_of_the_motion_that_is_read_back(kind: str, post: str) -> None:
    plan = plan_of(TIMED[kind])
    machine = plan.job.machine
    motion = read_program(write_program(lay_out(plan), post), post)
    read = motion.duration_s(machine.rapid_rate, reference=(machine.safe_x, machine.safe_z))
    assert plan.time_s == pytest.approx(read, rel=1e-3)
