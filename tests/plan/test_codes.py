"""Every refusal, warning and note is provoked, and says numbers and a remedy."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import knurlcam.plan
from knurlcam import CannotBeDoneError
from knurlcam.data.codes import ACCEPTABLE, CODES
from tests.support.jobs import REMOVE
from tests.support.plans import (
    BENT,
    GIVEN_BLANK,
    OWN,
    PIN,
    PITS,
    STRADDLE,
    TURNED,
    UNCORRECTED,
    notes_of,
    plan_of,
    refusals_of,
)

REFUSALS: list[tuple[str, str, dict[str, Any], str]] = [
    # code, key to change first, job, numbers and remedy that the message must hold
    (
        "does-not-track",
        "part.blank_diameter",
        {**GIVEN_BLANK, "part.blank_diameter": 24.5},
        r"24\.500 mm takes 66\.66 teeth, 0\.34 of a tooth.*turn it to 24\.258 mm",
    ),
    (
        "diameters-disagree",
        "part.knurled_diameter",
        {"part.blank_diameter": TURNED, "part.knurled_diameter": 26.0},
        r"between 24\.708 mm and 25\.292 mm, not to 26\.000 mm.*; give the knurled diameter alone",
    ),
    (
        "no-whole-tooth-count",
        "part.knurled_diameter",
        {**PITS, "part.knurled_diameter": 24.98},
        r"24\.980 mm .*can be made: 24\.959 mm below \(67 teeth, full\) and 25\.003 mm above",
    ),
    (
        "no-rolls-for-form",
        "tool.style",
        {"knurl.callout": "DIN 82 RGV 1.0", "part.knurled_diameter": 25.25},
        r"knuckle joint has no rolls that make form RGV; it takes GE in a one-roll holder",
    ),
    (
        "straddle-too-small",
        "tool.largest_gap",
        {**STRADDLE, "tool.largest_gap": 20.0},
        r"set 24\.315 mm apart .* 20\.000 mm only; take a larger straddle",
    ),
    (
        "rolls-too-far-apart",
        "tool.roll_spacing",
        {"tool.roll_spacing": 60.0},
        r"60\.000 mm apart .* 24\.626 mm; the spacing must be below 44\.\d+ mm: take a smaller",
    ),
    (
        "plunge-only-rolls",
        "process.strategy",
        {**PITS, "process.strategy": "traverse"},
        r"cannot traverse; plunge with rolls at least 10\.000 mm wide",
    ),
    (
        "plunge-only-rolls",
        "process.strategy",
        {**PITS, "process.strategy": "traverse", "knurl.length": 20.0},
        r"rolls at least 20\.000 mm wide, or make the knurl no wider than 10\.000 mm",
    ),
    (
        "plunge-only-rolls",
        "tool.face_width",
        {**PITS, "knurl.length": 20.0},
        r"10\.000 mm wide cannot plunge a knurl of 20\.000 mm; take rolls at least 20\.000 mm",
    ),
    (
        "rolls-too-narrow",
        "tool.face_width",
        {"process.strategy": "plunge"},
        r"10\.000 mm wide cannot plunge a knurl of 20\.000 mm; .*, or traverse",
    ),
    (
        "marks-outside",
        "tool.face_width",
        {"knurl.start": 5.0, "knurl.length": 6.0},
        r"10\.000 mm wide print 4\.000 mm beyond a knurl of 6\.000 mm.*take rolls 6\.000 mm",
    ),
    (
        "needs-bevelled-rolls",
        "tool.bevelled_rolls",
        {"knurl.start": 5.0},
        r"starts 5\.000 mm from the end .*take bevelled rolls",
    ),
    (
        "no-travel",
        "process.strategy",
        {
            "knurl.start": 5.0,
            "knurl.length": 10.0,
            "process.strategy": "traverse",
            "tool.bevelled_rolls": True,
        },
        r"10\.000 mm wide have no room to traverse within 10\.000 mm: plunge",
    ),
    (
        "traverse-too-short",
        "process.strategy",
        {"knurl.length": 6.5, "process.strategy": "traverse"},
        r"6\.500 mm is not wider .* \(6\.667 mm\).*plunge instead, or take .* 9\.750 mm",
    ),
    (
        "above-machine-limit",
        "process.spindle_speed",
        {"process.spindle_speed": 2500},
        r"2500 rev/min is above the machine's limit of 2000 rev/min; lower it",
    ),
    (
        "above-reversal-limit",
        "process.spindle_speed",
        {"process.spindle_speed": 151},
        r"151 rev/min is above the 150 rev/min .*lower it to 150 rev/min",
    ),
    (
        "feed-above-half-face",
        "process.feed",
        {"process.feed": 6.0},
        r"6\.000 mm/rev is above half .*take 5\.000 mm/rev or less",
    ),
    (
        "trial-needs-passes",
        "process.passes",
        {"knurl.length": 8.0, "process.trial_strip": True, "process.passes": 1},
        r"take 2 passes or more",
    ),
    (
        "passes-too-many",
        "process.passes",
        {"process.passes": 50},
        r"last of 50 passes .* 0\.001 mm on the diameter, .*take \d+ or fewer",
    ),
    (
        "trial-too-long",
        "process.trial_length",
        {"process.trial_strip": True, "process.trial_length": 17.0},
        r"17\.000 mm reaches the end of the knurl, 16\.667 mm away; make it shorter",
    ),
    (
        "safe-x-inside",
        "machine.safe_x",
        {"machine.safe_x": 28.0},
        r"28\.000 mm is inside the clearance, X 28\.\d+ mm; raise it",
    ),
    (
        "roll-pitch",
        "tool.roll_teeth",
        {"tool.roll_teeth": 50, "tool.roll_measured_diameter": 19.85},
        r"50 teeth.*1\.080 mm, 8\.0 % more than the 1\.000 mm.*count and measure",
    ),
    (
        "clearance-in-crests",
        "machine.clearance",
        {"machine.clearance": 0.28},
        r"0\.280 mm ends at X 25\.\d+ mm.*touch the crests.*at X 25\.\d+ mm.*at least 0\.\d\d\d mm",
    ),
    (
        "past-the-chuck",
        "knurl.length",
        {"part.length": 15.0},
        r"20\.000 mm from the end, beyond the driven centre at 15\.000 mm; shorten it to 13\.000",
    ),
    (
        "past-the-chuck",
        "knurl.length",
        {
            "part.length": 15.0,
            "holding.method": "chuck",
            "holding.tailstock": REMOVE,
            "holding.centre_diameter": REMOVE,
        },
        r"beyond the chuck at 15\.000 mm",
    ),
    (
        "past-the-chuck",
        "knurl.length",
        {"part.length": 25.0, "knurl.start": 24.0, "tool.bevelled_rolls": True},
        r"beyond the driven centre at 25\.000 mm; hold the work further out",
    ),
    (
        "meets-the-chuck",
        "knurl.length",
        {"part.length": 20.0},
        r"driven centre at 20\.000 mm; leave at least the clearance of 2\.000 mm",
    ),
    (
        "meets-the-centre",
        "holding.centre_diameter",
        {"holding.centre_diameter": 24.5},
        r"overhang the end by 6\.667 mm and reach in to a diameter of 24\.371 mm.*smaller centre",
    ),
    (
        "bends-the-work",
        "process.compensate",
        {**BENT, "process.compensate": True},
        r"likely about \d+ MPa, .* its yield strength 260 MPa: it stays bent; it helps to knurl",
    ),
    (
        "safe-x-inside",
        "machine.safe_x",
        {"part.steps": "25 x 20, 130 x 50"},
        r"reach in to a diameter of 116\.\d+ mm, and a step has 130\.000 mm; raise it",
    ),
    (
        "steps-disagree",
        "part.steps",
        {"part.steps": "25 x 19, 30 x 51"},
        r"has 24\.\d+ mm, and the step from 19\.000 mm to 70\.000 mm has 30\.000 mm; give that",
    ),
    (
        "meets-a-shoulder",
        "part.steps",
        {
            "part.steps": "40 x 5, 25 x 8, 40 x 57",
            "knurl.start": 5.0,
            "knurl.length": 8.0,
            "process.accept": ["marks-outside"],
        },
        r"against the step of 40\.000 mm from 0\.000 mm to 5\.000 mm; take narrower rolls",
    ),
    (
        "near-shoulder",
        "tool.face_width",
        {"part.steps": "24 x 20, 30 x 50"},
        r"come flush against the step of 30\.000 mm from 20\.000 mm to 70\.000 mm, and 2\.000 mm",
    ),
    (
        "doubles",
        "part.blank_diameter",
        {**GIVEN_BLANK, "part.blank_diameter": TURNED * 67.18 / 67},
        r"within 0\.\d+: they print a double impression of 0\.9\d .*; turn the blank to 24\.626 mm",
    ),
    (
        "shallow-on-part",
        "part.length",
        {
            "part.knurled_diameter": 16.0,
            "part.length": 200.0,
            "knurl.length": 150.0,
            "holding.centre_diameter": 3.0,
        },
        r"0\.\d+ mm high instead of 0\.\d+ mm, the crests at 15\.\d+ mm .*; with a straddle, ",
    ),
    (
        "unlikely-size",
        "part.knurled_diameter",
        {
            "part.knurled_diameter": 320.0,
            "machine.safe_x": 500.0,
            "holding.centre_diameter": REMOVE,
        },
        r"\d+ teeth on 320\.000 mm: more than 1000 teeth or 300\.000 mm is mostly a length",
    ),
    (
        "under-bore",
        "fit.bore",
        {**PIN, "part.knurled_diameter": 12.05, "part.length": 120.0},
        r"not larger than the smallest bore, 12\.000 mm: there would be no press fit",
    ),
    (
        "fit-loose",
        "part.knurled_diameter",
        {**PIN, "part.knurled_diameter": 12.05, "part.length": 30.0},
        r"as small as 11\.975 mm and the bore as large as 12\.018 mm.* of 12\.\d+ mm would do",
    ),
    (
        "fit-too-tight",
        "part.knurled_diameter",
        {**PIN, "part.knurled_diameter": 13.0},
        r"bore, 12\.000 mm, is smaller than .* grooves, 12\.\d+ mm.* of 12\.\d+ mm would do",
    ),
    (
        "fit-cannot-hold",
        "fit.torque",
        {**PIN, "fit.torque": "500 N*m"},
        r"500 N\*m is wanted.*full shear.*more than about 1\d0 N\*m; hold the load by a key",
    ),
    (
        "fit-needs-modulus",
        "part.material.youngs_modulus",
        {**PIN, "part.material": OWN},
        r"own steel has no Young's modulus.*give it, such as youngs_modulus",
    ),
]


@pytest.mark.few(17)
@pytest.mark.parametrize(("code", "key", "changes", "match"), REFUSALS)
def test_what_cannot_be_done_is_refused_with_numbers_and_a_way_out(
    code: str, key: str, changes: dict[str, Any], match: str
) -> None:
    refusal = refusals_of(changes)[code]
    assert refusal.key == key
    assert re.search(match, refusal.message), refusal.message
    assert refusal.source
    assert refusal.acceptable == (code in ACCEPTABLE)
    assert (f'process.accept = ["{code}"]' in refusal.message) == refusal.acceptable


ALSO_ACCEPTED = {"bends-the-work": ("shallow-on-part",)}
"""Work that bends for good deflects as well, and its teeth come out shallow."""


@pytest.mark.parametrize("code", ACCEPTABLE)
def test_what_the_programmer_accepts_is_planned_and_noted_as_his(code: str) -> None:
    changes = next(c for row, _, c, _ in REFUSALS if row == code)
    also = ALSO_ACCEPTED.get(code, ())
    plan = plan_of({**changes, "process.accept": [code, *also]})
    assert set(plan.accepted) == {code, *also}
    note = notes_of(plan)[code]
    assert note.severity == "error"
    assert note.message.startswith("accepted by the programmer: ")
    assert plan.notes[0].severity == "error", "the most severe comes first"


def test_accepting_one_refusal_does_not_accept_another() -> None:
    changes = {"knurl.start": 5.0, "process.spindle_speed": 200}
    assert set(refusals_of(changes)) == {"needs-bevelled-rolls", "above-reversal-limit"}
    left = refusals_of({**changes, "process.accept": ["above-reversal-limit"]})
    assert set(left) == {"needs-bevelled-rolls"}


def test_an_acceptance_that_is_not_needed_leaves_no_note() -> None:
    assert plan_of({"process.accept": ["does-not-track"]}).accepted == ()


def test_every_reason_is_named_at_once() -> None:
    changes = {"process.spindle_speed": 2500, "process.feed": 6.0, "knurl.start": 5.0}
    codes = {"above-machine-limit", "feed-above-half-face", "needs-bevelled-rolls"}
    assert set(refusals_of(changes)) == codes
    with pytest.raises(CannotBeDoneError, match=r"\[above-machine-limit\]\n") as error:
        plan_of(changes)
    assert error.value.exit_status == 1


LIVE = {"holding.tailstock": "live centre"}
BRITTLE = {**OWN, "elongation": 2}
NOTES: list[tuple[str, str, dict[str, Any]]] = [
    ("shallow", "warning", {**PITS, "part.knurled_diameter": TURNED + 0.015}),
    ("roll-pitch", "warning", {"tool.roll_teeth": 54, "tool.roll_measured_diameter": 20.1}),
    ("roll-not-counted", "note", {}),
    ("tpi-count", "warning", {"knurl.callout": "21 TPI diamond"}),
    (
        "fullness-not-used",
        "warning",
        {**UNCORRECTED, "part.blank_diameter": TURNED, "process.fullness": 0.9},
    ),
    (
        "tracking-doubtful",
        "warning",
        {
            **GIVEN_BLANK,
            "part.blank_diameter": TURNED * 67.2 / 67,
            "process.accept": ["doubles"],
        },
    ),
    ("feed-range", "warning", {"process.feed": 1.0}),
    ("not-used", "note", {"knurl.length": 8.0, "process.clean_up": False}),
    ("near-the-chuck", "warning", {"part.length": 21.0}),
    ("centre-clearance", "note", {"holding.centre_diameter": REMOVE}),
    ("infeed-fast", "warning", {"process.infeed_rate": 0.4}),
    ("fit-wants-straight", "warning", {"knurl.purpose": "press fit"}),
    (
        "fit-wants-straight",
        "warning",
        {"knurl.purpose": "press fit", "knurl.callout": "RBL 1.0", "tool.rolls": ["BR", "BR"]},
    ),
    ("overfills", "warning", {"process.fullness": 0.98}),
    ("window-narrow", "warning", {"process.infeed_rate": 0.01}),
    (
        "shallow-on-part",
        "warning",
        {
            "part.knurled_diameter": 14.0,
            "part.length": 150.0,
            "knurl.length": 100.0,
            "holding.centre_diameter": 3.0,
        },
    ),
    (
        "doubles",
        "warning",
        {**GIVEN_BLANK, "part.blank_diameter": 24.5, "process.accept": ["does-not-track"]},
    ),
    ("fit-not-given", "note", {"knurl.purpose": "press fit"}),
    ("fit-estimate", "note", PIN),
    (
        "fit-poisson",
        "note",
        {
            **PIN,
            "part.length": 40.0,
            "fit.hub_material": {**OWN, "youngs_modulus": "200 GPa"},
        },
    ),
    ("fit-short", "warning", {**PIN, "fit.torque": "20 N*m"}),
    ("hub-cracks", "warning", {**PIN, "part.knurled_diameter": 12.28}),
    ("crests-overfill", "warning", {**PIN, "part.knurled_diameter": 12.28}),
    ("wide-knurl", "warning", {"knurl.length": 26.0}),
    ("bevelled-rolls", "note", {"knurl.start": 5.0, "tool.bevelled_rolls": True}),
    ("lead-in", "note", {"process.trial_strip": True}),
    ("break-the-edge", "note", {}),
    ("grease-centre", "note", {}),
    ("live-centre", "warning", LIVE),
    ("live-centre", "note", {**LIVE, **STRADDLE}),
    (
        "chuck-alone",
        "warning",
        {
            "holding.method": "chuck",
            "holding.tailstock": REMOVE,
            "holding.centre_diameter": REMOVE,
        },
    ),
    ("odd-pitch", "note", {"knurl.callout": "DIN 82 RGE 0.9"}),
    ("odd-pitch", "note", {"knurl.callout": "100 DP diamond"}),
    ("prefer-96", "note", {"knurl.callout": "64 DP diamond"}),
    ("brittle", "warning", {"part.material": BRITTLE}),
    ("hard", "warning", {"part.material": {**OWN, "elongation": 12, "brinell": 300}}),
]


@pytest.mark.few(15)
@pytest.mark.parametrize(("code", "severity", "changes"), NOTES)
def test_what_a_setter_should_know_is_said_with_its_source(
    code: str, severity: str, changes: dict[str, Any]
) -> None:
    note = notes_of(plan_of(changes))[code]
    assert note.severity == severity
    assert note.source


PROVOKED_BESIDE: dict[str, set[str]] = {
    "../shop/test_open_pitch.py": {"rolls-chosen"},
    "test_load_limits.py": {
        "above-tool-limit",
        "above-torque-limit",
        "deflects-too-far",
        "follows-too-far",
        "follows-too-long",
        "gives-way",
        "goes-straight",
        "grip-not-given",
        "loads-not-told",
        "nothing-to-follow",
        "slide-follows",
        "slips-in-the-chuck",
    },
    "test_measured.py": {"measured", "measured-left-out"},
    "test_press_fit.py": {"fit-needs-strength"},
}
"""Codes that other modules of the tests provoke."""


def test_every_code_is_provoked() -> None:
    here = {code for code, *_ in REFUSALS} | {code for code, *_ in NOTES}
    assert here | set().union(*PROVOKED_BESIDE.values()) == set(CODES)


def test_every_refusal_and_every_note_is_provoked_as_such() -> None:
    beside = set().union(*PROVOKED_BESIDE.values())
    refused = {code for code, row in CODES.items() if "refusal" in row.levels}
    said = {code for code, row in CODES.items() if set(row.levels) & {"warning", "note"}}
    assert {code for code, *_ in REFUSALS} == refused - beside
    assert {code for code, *_ in NOTES} | {"bends-the-work"} == said - beside


@pytest.mark.parametrize("name", PROVOKED_BESIDE)
def test_the_codes_provoked_beside_stand_there(name: str) -> None:
    text = (Path(__file__).parent / name).read_text(encoding="utf-8")
    assert [code for code in PROVOKED_BESIDE[name] if f'"{code}"' not in text] == []


def codes_said() -> Iterator[tuple[str, str]]:
    """Yield level and code of each call in planning that says one, where both stand written out."""
    for path in sorted(Path(knurlcam.plan.__file__).parent.glob("*.py")):
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(call, ast.Call) and isinstance(call.func, ast.Attribute):
                words = [a.value if isinstance(a, ast.Constant) else None for a in call.args]
                if call.func.attr == "refuse" and isinstance(words[0], str):
                    yield "refusal", words[0]
                elif call.func.attr == "note" and all(isinstance(w, str) for w in words[:2]):
                    yield str(words[0]), str(words[1])


def test_every_code_is_said_as_the_table_says() -> None:
    said = set(codes_said())
    assert len(said) > 50
    assert [(level, code) for level, code in said if level not in CODES[code].levels] == []


def test_every_code_means_something_of_its_own() -> None:
    means = [row.means for row in CODES.values()]
    assert len(set(means)) == len(means)
    assert all(row.levels and row.means for row in CODES.values())


def test_warnings_stand_before_notes() -> None:
    ranks = [n.severity for n in plan_of({"process.feed": 1.0, **LIVE}).notes]
    assert ranks == sorted(ranks, key=["error", "warning", "note"].index)
