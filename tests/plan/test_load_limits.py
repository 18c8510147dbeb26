"""What estimated loads mean for a set-up: each refusal, warning and note, with its numbers."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterable
from typing import Any

import pytest

from knurlcam import Job
from knurlcam.data.codes import ACCEPTABLE
from knurlcam.mechanics.held_work import HeldWork
from knurlcam.mechanics.setup_deflection import SetUpDeflection
from knurlcam.plan import load_advice, load_limits
from knurlcam.plan.load_limits import check_loads
from knurlcam.plan.remarks import Remarks
from knurlcam.plan.report import load_rows
from tests.support.jobs import base_job
from tests.support.loads import (
    CHUCK,
    CHUCK_AND_CENTRE,
    FOLLOWED,
    LONG,
    OWN,
    PLUNGED,
    STRADDLE,
    deflection_of,
    notes_of,
    plan_of,
    refusals_of,
    set_up_of,
)

BENT = {**CHUCK, **PLUNGED, "part.length": 30.0}
"""A pin that stands out of a chuck: a plunge bends it with the whole face."""

SAID: list[tuple[str, str, dict[str, Any], str]] = [
    # code, severity, job, what the message must hold
    (
        "gives-way",
        "warning",
        LONG,
        r"about 0\.023 mm, at most 0\.86 mm, at Z -100\.0 mm, under a resultant radial force of "
        r"170 N: without defl",
    ),
    (
        "gives-way",
        "warning",
        {**LONG, **STRADDLE, "part.knurled_diameter": 5.0, "holding.centre_diameter": 2.0},
        r"two rolls should cancel, but at Z -\d+\.\d mm.*push it aside.*over greatest\) is 0\.79",
    ),
    (
        "bends-the-work",
        "warning",
        {**LONG, **CHUCK_AND_CENTRE, "part.material": "C45", "part.knurled_diameter": 12.0}
        | {"holding.centre_diameter": 3.0, "knurl.length": 190.0},
        r"likely about 250 MPa, at most 610 MPa, and its yield strength 310 MPa: it stays bent "
        r"at the greatest force",
    ),
    (
        "slide-follows",
        "warning",
        {**FOLLOWED, "part.knurled_diameter": 20.0},
        r"the slide follows it.*too deep; without compensation it would be 0\.78",
    ),
    (
        "goes-straight",
        "note",
        {**STRADDLE, "process.compensate": True},
        "written without compensation",
    ),
    ("loads-not-told", "note", {"part.material": OWN}, r"Young's modulus of own.*youngs_modulus"),
    (
        "grip-not-given",
        "note",
        CHUCK,
        r"axial force .* likely about 480 N, at most 1100 N: into the chuck .* out of it",
    ),
    (
        "slips-in-the-chuck",
        "warning",
        {**CHUCK_AND_CENTRE, "holding.grip": "500 N"},
        r"at most 1100 N: .*; the chuck holds only 500 N: back the work",
    ),
    (
        "above-tool-limit",
        "warning",
        {"tool.force_limit": "3500 N"},
        r"per roll is likely about 1600 N, at most 3700 N; 3500 N is permissible; it helps .* 5",
    ),
    (
        "above-torque-limit",
        "warning",
        {"machine.torque_limit": "5 N*m"},
        r"on the spindle is likely about 2\.2 N\*m, at most 5\.5 N\*m; 5\.0 N\*m is permissible",
    ),
    (
        "bends-the-work",
        "warning",
        {**BENT, "part.knurled_diameter": 14.0, "process.compensate": True},
        r"at most \d+ MPa, and its yield strength 260 MPa: it stays bent at the greatest force",
    ),
]


@pytest.mark.parametrize(("code", "severity", "changes", "match"), SAID)
def test_what_loads_mean_is_said_with_numbers(
    code: str, severity: str, changes: dict[str, Any], match: str
) -> None:
    note = notes_of(changes)[code]
    assert note.severity == severity
    assert re.search(match, note.message), note.message
    assert note.source


REFUSED: list[tuple[str, str, dict[str, Any], str]] = [
    (
        "nothing-to-follow",
        "process.compensate",
        {"part.material": OWN, "process.compensate": True},
        r"Young's modulus of own is not known.*or leave compensate out",
    ),
    (
        "above-tool-limit",
        "tool.force_limit",
        {"tool.force_limit": "1500 N"},
        r"likely about 1600 N, at most 3700 N; 1500 N is permissible; it helps .* rolls 3",
    ),
    (
        "above-torque-limit",
        "machine.torque_limit",
        {"machine.torque_limit": "2 N*m"},
        r"likely about 2\.2 N\*m.*2\.0 N\*m is permissible; it helps to knurl with rolls 3",
    ),
    (
        "bends-the-work",
        "process.compensate",
        {**BENT, "part.knurled_diameter": 11.0, "process.compensate": True},
        r"likely about \d+ MPa, at most \d+ MPa, and its yield .* 260 MPa: it stays bent; it helps",
    ),
    (
        "bends-the-work",
        "process.compensate",
        {
            **BENT,
            "part.material": "grey iron",
            "part.knurled_diameter": 12.0,
            "process.compensate": True,
        },
        r"tensile strength \d+ MPa: it breaks; it helps",
    ),
    (
        "bends-the-work",
        "tool.face_width",
        {**BENT, "part.length": 20.0, "part.knurled_diameter": 8.0},
        r"likely about \d+ MPa, .* 260 MPa: it stays bent; it helps to knurl",
    ),
    (
        "deflects-too-far",
        "part.length",
        {**LONG, "part.knurled_diameter": 8.0, "holding.centre_diameter": 2.0},
        r"likely deflect by about 20 mm, and beyond 0\.2 of its .* a knurled diameter of 25\.\d+",
    ),
    (
        "follows-too-far",
        "process.compensate",
        {**FOLLOWED, "part.knurled_diameter": 12.0, "holding.centre_diameter": 3.0},
        r"likely deflect by about 5\.1 mm, and beyond 0\.2 of its diameter .*a knurled diameter",
    ),
    (
        "follows-too-long",
        "process.compensate",
        {
            **FOLLOWED,
            "part.knurled_diameter": 300.0,
            "part.length": 3000.0,
            "knurl.length": 2900.0,
            "machine.safe_x": 700.0,
            "process.passes": 9,
        },
        r"passes are 28\.9 m long in all.* at most 20 m",
    ),
]


@pytest.mark.parametrize(("code", "key", "changes", "match"), REFUSED)
def test_loads_above_a_permissible_one_are_refused(
    code: str, key: str, changes: dict[str, Any], match: str
) -> None:
    refusal = refusals_of(changes)[code]
    assert refusal.key == key
    assert re.search(match, refusal.message), refusal.message
    assert refusal.acceptable == (code in ACCEPTABLE)


def test_every_code_of_the_module_is_provoked_here() -> None:
    source = inspect.getsource(load_limits) + inspect.getsource(load_advice)
    found = set(re.findall(r'"([a-z]+(?:-[a-z]+)+)"', source))
    assert found <= {code for code, *_ in (*SAID, *REFUSED)}


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {**CHUCK, **STRADDLE, "holding.grip": "3000 N"},
        {**CHUCK_AND_CENTRE, "holding.grip": "2000 N"},
        {"tool.force_limit": "4000 N", "machine.torque_limit": "6 N*m"},
        {**LONG, **STRADDLE},
        {"process.compensate": True},
    ],
)
def test_loads_within_their_limits_are_not_mentioned(changes: dict[str, Any]) -> None:
    codes = {code for code, *_ in SAID} | {code for code, *_ in REFUSED}
    assert not codes & set(notes_of(changes))


def test_a_material_without_any_strength_is_noted() -> None:
    remarks = Remarks("mm", frozenset(), ())
    assert check_loads(Job.model_validate(base_job({})), None, remarks) == 0.0
    assert [note.code for note in remarks.notes] == ["loads-not-told"]
    assert "neither strength nor hardness" in remarks.notes[0].message


def test_the_centre_is_greased_well_where_its_load_is_high() -> None:
    high = notes_of({})["grease-centre"].message
    assert "grease the dead centre well" in high
    assert "its radial load is about 2300 N" in high
    assert notes_of(STRADDLE)["grease-centre"].message.startswith("grease the dead centre, and")


def test_the_force_of_a_straddle_on_its_way_in_is_shown() -> None:
    set_up = set_up_of(STRADDLE)
    shares = [i / 50 for i in range(1, 51)]
    pushes = [set_up.loads_at(s * set_up.penetration_mm, 0.01).net_push_n for s in shares]
    assert shares[pushes.index(max(pushes))] == pytest.approx(2.0 / 3.0, abs=0.03)
    hardest = set_up.loads_at(set_up.hardest_mm, 0.01).net_push_n
    assert hardest == pytest.approx(max(pushes), rel=0.01)


def test_stress_where_the_work_deflects_is_that_of_the_worst_place() -> None:
    for changes in (
        CHUCK,
        CHUCK_AND_CENTRE | LONG,
        LONG,
        {"part.steps": "25 x 30, 12 x 10, 25 x 30"},
    ):
        made = deflection_of({**changes, "part.material": "C45"})
        likely, high = made.bending_mpa(compensated=False)
        way = [i / 200 for i in range(201)]
        fed = largest_stress(made, made.fed_work, (0.0, 1.0))
        assert likely == pytest.approx(max(fed, largest_stress(made, made.work, way)), rel=0.03)
        assert high == pytest.approx(largest_stress(made, made.high_work, way), rel=0.03)


def largest_stress(made: SetUpDeflection, work: HeldWork, way: Iterable[float]) -> float:
    across = work.contact.centre_mm(made.set_up.penetration_mm)
    line, far = made.set_up.travel
    found = []
    for share in way:
        left = line + (far - line) * share
        push = work.resultant_n(work.settled_mm(across, left), work.face_on_work_mm(left))
        u = work.beam.length_mm + work.middle_mm(left)
        found.append(push * work.beam.stress_mpa_per_n(u))
    return max(found)


def test_the_stress_that_is_said_is_the_one_that_is_shown() -> None:
    plan = plan_of({**BENT, "part.knurled_diameter": 14.0, "process.compensate": True})
    said = {note.code: note.message for note in plan.notes}["bends-the-work"]
    shown = {name: (value, how) for name, value, how in load_rows(plan)}["bending stress"]
    assert f"likely about {shown[0]}, {shown[1].split(';')[0]}, and its yield" in said
    assert plan.to_dict()["deflection"]["bending_stress_high_mpa"] > 260.0
