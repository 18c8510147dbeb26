"""The setter's page as text: time, pictures, tables, and that nothing outside is needed."""

from __future__ import annotations

import base64
import hashlib
import math
import re
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam import CannotBeDoneError, InputError, Job, lay_out, make_plan, read_program
from knurlcam import write_program as write
from knurlcam.data.cautions import cautions, proving
from knurlcam.gcode.dialect_files import load_dialect
from knurlcam.gcode.motion import Motion
from knurlcam.plan.model import Plan
from knurlcam.plan.report import load_rows
from knurlcam.review import Review, review_page
from knurlcam.review.deflection import DeflectionCurves, deflection_curves
from knurlcam.review.loads import unknown_loads
from knurlcam.review.tables.blank import blank_sheet
from knurlcam.review.tables.findings import findings_and_notes
from knurlcam.review.tables.first_part import first_part
from knurlcam.review.tables.loads import pass_forces
from knurlcam.review.tables.passes import passes_table
from knurlcam.review.tables.speeds import speed_sheet
from knurlcam.review.tables.tool import rolls_sheet, setting_sheet
from knurlcam.review.tables.trial_strip import double_impression, trial_strip
from knurlcam.review.views.deflection import deflection_chart
from knurlcam.review.views.end import end_view
from knurlcam.review.views.infeed import infeed_view
from knurlcam.review.views.side import side_view
from knurlcam.timeline import STRAIGHT_MM, Timeline, pass_names, time_line
from tests.support.breaking import JOBS, POSTS, Text, good_job, good_plan, good_program
from tests.support.jobs import base_job

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = sorted(p for p in (ROOT / "samples").rglob("*.toml") if p.name != "shop.toml")
ISO = load_dialect("iso6983")
CASES = [(name, post) for name in JOBS for post in POSTS]


def timed(name: str, post: str, text: str | None = None) -> tuple[Plan, Motion, Timeline]:
    plan = good_plan(name)
    motion = read_program(text or good_program(name, post), post)
    return plan, motion, time_line(motion, plan)


def planned(**changes: object) -> Plan:
    return make_plan(Job.model_validate(base_job(changes)))  # type: ignore[arg-type]


def timeline_of(plan: Plan) -> Timeline:
    post = plan.job.machine.post
    return time_line(read_program(write(lay_out(plan), post), post), plan)


@cache
def sample_page(path: Path) -> Review:
    return review_page(Job.load(path))


class Page(HTMLParser):
    """The page's elements and its text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: dict[str, list[str]] = {}
        self.open: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        self.texts.setdefault(self.open[-1] if self.open else "", []).append(data)

    def text(self, tag: str) -> str:
        return "".join(self.texts.get(tag, []))


# -- time ------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "post"), CASES)
def test_the_time_line_lasts_as_long_as_the_reader_says(name: str, post: str) -> None:
    plan, motion, line = timed(name, post)
    machine = plan.job.machine
    reference = (machine.safe_x, machine.safe_z)
    assert line.total_s == pytest.approx(motion.duration_s(machine.rapid_rate, reference))


@pytest.mark.parametrize(("name", "post"), CASES)
def test_every_block_has_its_place_and_time_runs_forward(name: str, post: str) -> None:
    _, motion, line = timed(name, post)
    assert len(line.key_after) == len(line.states) == len(motion.blocks)
    assert list(line.key_after) == sorted(line.key_after)
    seconds = [k.s for k in line.keys]
    assert seconds == sorted(seconds)
    for before, after in zip(line.spans, line.spans[1:], strict=False):
        assert (before.end_s, before.x1, before.z1) == (after.start_s, after.x0, after.z0)


def test_the_depth_runs_straight_between_two_keys() -> None:
    """A straddle's depth does not follow the slide's travel: it is cut where it must be."""
    plan, _, line = timed("straddle", "iso6983")
    worst = 0.0
    for a, b in zip(line.keys, line.keys[1:], strict=False):
        for share in (0.25, 0.5, 0.75):
            true = plan.contact.depth_mm(a.x + (b.x - a.x) * share)
            worst = max(worst, abs(true - (a.depth + (b.depth - a.depth) * share)))
    assert worst <= STRAIGHT_MM
    assert len(line.keys) > len(line.spans) + 10


def test_the_time_of_a_pass_is_what_a_hand_works_out() -> None:
    """Focus knob, pass 2: 13.333 mm at 0.5 mm/rev and 110 rev/min, two turns of dwell and
    the infeed of (24.479 - 24.369) / 2 at 0.05 mm/rev: 26.67 + 2 + 1.1 turns, 16.2 s.
    """
    plan = planned()
    second = timeline_of(plan).prints[1]
    assert second.revolutions == pytest.approx(26.667 + 2.0 + 1.1, abs=0.02)
    assert second.seconds == pytest.approx(29.77 / 110.0 * 60.0, abs=0.02)


@pytest.mark.parametrize(("name", "post"), CASES)
def test_the_passes_that_are_read_are_those_that_were_planned(name: str, post: str) -> None:
    plan, _, line = timed(name, post)
    rows = passes_table(plan, line, radius=post == "rs274")
    assert [r.planned for r in rows] == [""] * len(rows)
    names = [r.name for r in rows if r.name != "trial"]
    assert names == [str(p.number) for p in plan.passes]
    assert (rows[0].name == "trial") == (plan.trial is not None)
    assert [r.way for r in rows if r.name != "trial"] == [p.direction for p in plan.passes]


def test_a_pass_that_is_cut_into_blocks_is_still_one_pass() -> None:
    text = Text.of("diamond", "iso6983")
    first = text.traverses[0]
    text.before(first, "G01 Z-10.000 F0.500")
    _, _, line = timed("diamond", "iso6983", str(text))
    assert len(line.prints) == len(good_plan("diamond").passes)


def test_a_stop_keeps_its_place_and_takes_no_time() -> None:
    plan, motion, line = timed("trial", "iso6983")
    (halt,) = line.halts
    assert motion.blocks[halt.block].text.endswith("M01")
    assert halt.optional
    assert line.spans[0].start_s < halt.s < line.total_s
    assert pass_names(plan, line)[0] == "trial"


def test_a_reference_point_and_an_unsaid_start_are_drawn_at_the_safe_position() -> None:
    plan, _, line = timed("diamond", "uw-lathe")
    machine = plan.job.machine
    assert line.assumed
    assert (line.keys[0].x, line.keys[0].z) == (machine.safe_x, machine.safe_z)
    assert (line.keys[-1].x, line.keys[-1].z) == (machine.safe_x, machine.safe_z)


@pytest.mark.parametrize(
    ("old", "new"),
    [("Z-20.000", "Z-99999999."), ("X1.091", "X9999999."), ("S110", "S0")],
)
def test_what_cannot_be_drawn_is_cut_and_said(old: str, new: str) -> None:
    text = good_program("diamond", "iso6983")
    assert old in text
    page = review_page(good_job("diamond"), text.replace(old, new), "iso6983")
    assert page.verification.findings
    assert not re.search(r"\b(nan|infinity|inf)\b", page.html, re.IGNORECASE)
    assert ("too large to show" in page.html) == (new != "S0")


# -- pictures --------------------------------------------------------------------------


def test_the_side_view_is_to_scale() -> None:
    plan = planned()
    view = side_view(plan, timeline_of(plan))
    assert view.frame.kx == -view.frame.ky
    knurl = next(s for s in view.still if s.attributes.get("class") == "knurl")
    width, height = float(knurl.attributes["width"]), float(knurl.attributes["height"])
    # The knurl is 20 mm wide on a blank of 24.626 mm (README).
    assert width / height == pytest.approx(20.0 / 24.626, rel=1e-3)
    roll = next(s for s in view.moving if s.tag == "rect")
    assert float(roll.attributes["width"]) / width == pytest.approx(10.0 / 20.0, rel=1e-3)
    assert float(roll.attributes["height"]) / width == pytest.approx(20.0 / 20.0, rel=1e-3)


def test_the_end_view_shows_the_centres_where_pythagoras_puts_them() -> None:
    """Knuckle joint: v = 10.5, R_b + R_r = 22.313; touch at sqrt(22.313² - 10.5²) = 19.688."""
    plan = planned()
    view = end_view(plan)
    contact = [s for s in view.still if s.attributes.get("class") == "ghost contact"]
    frame = view.frame
    xs = {(float(s.attributes["cx"]) - frame.x0) / frame.kx for s in contact}
    ys = sorted((float(s.attributes["cy"]) - frame.y0) / frame.ky for s in contact)
    assert list(xs) == pytest.approx([19.688], abs=0.01)
    assert ys == pytest.approx([-10.5, 10.5], abs=0.01)


def test_a_straddles_rolls_stand_over_the_axis_at_full_depth() -> None:
    plan, _, _ = timed("straddle", "iso6983")
    view = end_view(plan)
    full = [s for s in view.still if s.attributes.get("class") == "ghost full"]
    assert [float(s.attributes["cx"]) for s in full] == pytest.approx([view.frame.x0] * 2, abs=0.1)


def test_the_infeed_view_shows_steps_that_the_side_view_cannot() -> None:
    plan = planned()
    line = timeline_of(plan)
    side, infeed = side_view(plan, line), infeed_view(plan, line)
    # The last step is 0.016 mm: less than a tenth of a line to scale, and plain when stretched.
    step = plan.passes[3].penetration_mm - plan.passes[2].penetration_mm
    assert step * -side.frame.ky < 0.2
    assert step * infeed.frame.ky > 10.0


def test_long_work_is_cut_and_says_where_it_is_held() -> None:
    plan = planned(**{"part.length": 1500.0})
    told = [s.text for s in side_view(plan, timeline_of(plan)).still if s.tag == "text"]
    assert "driven centre at Z -1500.000 mm" in told


def test_a_program_that_presses_far_too_deep_does_not_shrink_the_picture() -> None:
    text = Text.of("diamond", "iso6983")
    text.put(text.infeeds[-1], "X", 4.0)
    plan, _, line = timed("diamond", "iso6983", str(text))
    view = infeed_view(plan, line)
    assert plan.penetration_mm * view.frame.ky > 80.0


# -- tables ----------------------------------------------------------------------------


def row(sheet: object, name: str) -> tuple[str, str]:
    found = next(r for r in sheet.rows if r.name == name)  # type: ignore[attr-defined]
    return found.value, found.how


def test_the_blank_is_turned_to_what_the_plan_says_its_tolerance_rounded_down() -> None:
    sheet = blank_sheet(planned())
    assert row(sheet, "Turn to")[0] == "24.626 mm ± 0.034 mm"
    assert row(sheet, "Teeth")[0] == "67"
    assert row(sheet, "Largest centre") == (
        "⌀ 24.301 mm",
        "or quill, from Z 0 to Z +6.667 mm, under the rolls",
    )
    assert "driven centre" in row(sheet, "Held")[1]


def test_a_given_blank_that_is_off_says_by_how_much_of_a_tooth() -> None:
    plan = planned(**{"part.blank_diameter": 24.65, "part.knurled_diameter": None})
    assert row(blank_sheet(plan), "Teeth")[1].startswith("misfit ")


@pytest.mark.parametrize(("radius", "reads"), [(False, "24.626 mm"), (True, "12.313 mm")])
def test_touching_off_reads_what_the_control_shows(radius: bool, reads: str) -> None:
    dialect = load_dialect("rs274" if radius else "iso6983")
    value, how = row(setting_sheet(planned(), dialect, "program"), "X datum")
    assert value == f"touch-off, X {reads}"
    assert f"there X reads {reads}" in how
    assert ("a radius" in how) == radius


def test_a_straddle_is_set_by_its_gap_and_its_centre() -> None:
    plan = good_plan("straddle")
    sheet = setting_sheet(plan, ISO, "program")
    gap = 2.0 * (plan.blank_diameter_mm / 2.0 - plan.penetration_mm)
    assert row(sheet, "Gap between the rolls")[0] == f"{gap:.3f} mm"
    assert row(sheet, "X datum")[0] == "roll centre"
    assert row(sheet, "Axis to roll centre")[0].endswith("to 0.000 mm")


def test_the_lead_in_of_a_head_is_told_where_there_is_a_trial_strip() -> None:
    names = {r.name for r in setting_sheet(good_plan("trial"), ISO, "program").rows}
    assert "Lead-in" in names
    assert "Lead-in" not in {
        r.name for r in setting_sheet(good_plan("diamond"), ISO, "program").rows
    }


@pytest.mark.parametrize(
    ("datum", "told"),
    [("left edge", "chuck's side"), ("right edge", "tailstock's side"), ("centre", "middle")],
)
def test_the_z_datum_says_which_part_of_the_roll(datum: str, told: str) -> None:
    value, how = row(setting_sheet(planned(**{"tool.z_datum": datum}), ISO, "program"), "Z datum")
    assert value == datum
    assert told in how


def test_rolls_are_told_with_what_they_are() -> None:
    assert "left-hand" in row(rolls_sheet(planned()), "Rolls")[1]
    swivelled = planned(**{"tool.swivelled": True, "tool.rolls": ["AA", "AA"]})
    assert row(rolls_sheet(swivelled), "Swivel")[0] == "30°"


def test_speeds_come_from_the_program_and_the_plan_stands_beside_them() -> None:
    text = good_program("diamond", "iso6983").replace("S110", "S300")
    plan, motion, line = timed("diamond", "iso6983", text)
    value, how = row(speed_sheet(plan, motion, line), "Spindle")
    assert value == "300 rev/min"
    assert how.startswith("planned 110 rev/min; ")


@pytest.mark.parametrize(("form", "rises"), [("RBR", False), ("RBL", True)])
def test_diagonal_teeth_lean_as_their_hand_says(form: str, rises: bool) -> None:
    """A right-hand helix about Z sinks on the visible side as Z grows: x = R cos t, z = p t."""
    plan = planned(**{"knurl.callout": f"{form} 2.0"})
    teeth = next(
        s for s in side_view(plan, timeline_of(plan)).still if s.attributes["class"] == "teeth"
    )
    first = re.match(r"M([\d.]+) ([\d.]+)L([\d.]+) ([\d.]+)", str(teeth.attributes["d"]))
    assert first
    x1, y1, x2, y2 = map(float, first.groups())
    assert x2 > x1
    assert (y2 < y1) == rises, "units run downwards"


@pytest.mark.parametrize(("form", "hand"), [("RBR", "right-hand"), ("RBL", "left-hand")])
def test_the_hand_of_a_diagonal_knurl_is_inspected(form: str, hand: str) -> None:
    helix = next(
        c for c in first_part(planned(**{"knurl.callout": f"{form} 2.0"})) if c.what == "Helix"
    )
    assert helix.wanted == f"30°, {hand}"


def test_a_press_fits_blank_has_the_limits_of_its_class() -> None:
    """Class III: +0 / -0.001 inch for 96 DP (ASME B94.6, from memory)."""
    plan = planned(**{"knurl.callout": "96 DP straight", "knurl.purpose": "press fit"})
    value, how = row(blank_sheet(plan), "Turn to")
    assert value.endswith("+0.000 mm / -0.025 mm")
    assert "class III" in how
    value, how = row(blank_sheet(planned()), "Turn to")
    assert value.endswith("± 0.034 mm")
    assert "class III" not in how


def test_blocks_and_subprograms_say_what_must_be_true_before() -> None:
    blocks = setting_sheet(planned(), ISO, "blocks")
    assert "offset 5 in force" in row(blocks, "Before the blocks")[1]
    assert "Safe position" not in {r.name for r in blocks.rows}
    assert row(setting_sheet(planned(), ISO, "subprogram"), "Called by")[0] == "M98 P1201"


def test_a_pass_that_is_not_as_planned_says_what_was() -> None:
    text = Text.of("diamond", "iso6983")
    text.put(text.traverses[0], "Z", -21.0)
    text.deepen(text.infeeds[1], 0.05)
    plan, _, line = timed("diamond", "iso6983", str(text))
    rows = passes_table(plan, line, radius=False)
    assert rows[0].planned == "no: planned to Z -20.000"
    assert rows[1].planned.startswith("no: planned depth ")


def test_a_pass_too_many_is_told() -> None:
    text = Text.of("diamond", "iso6983")
    text.behind(text.traverses[-1], "G01 Z-6.667 F0.500")
    plan, _, line = timed("diamond", "iso6983", str(text))
    assert passes_table(plan, line, radius=False)[-1].planned == "no: extra pass"


@pytest.mark.parametrize(
    ("changes", "low", "high", "grade"),
    [
        # ASME B94.6 as tabulated in Machinery's Handbook, 31st ed., p. 1059, Table 4:
        # 96 DP class I +0.004/-0.010 inch; class III 0/-0.005 (from memory).
        ({"knurl.callout": "96 DP diamond"}, 0.990, 1.004, "class I,"),
        ({"knurl.callout": "96 DP straight, press fit"}, 0.995, 1.000, "class III"),
    ],
)
def test_the_first_parts_limits_are_those_of_the_class(
    changes: dict[str, str], low: float, high: float, grade: str
) -> None:
    plan = make_plan(
        Job.model_validate(
            base_job(
                changes,
                **{
                    "units": "inch",
                    "knurl.purpose": "press fit" if "fit" in changes["knurl.callout"] else "grip",
                    "part.knurled_diameter": 1.0,
                    "part.length": 3.0,
                    "knurl.length": 0.75,
                    "holding.centre_diameter": 0.4,
                    "tool.roll_diameter": 0.75,
                    "tool.face_width": 0.375,
                    "tool.roll_spacing": 0.8,
                    "machine.safe_x": 5.0,
                    "machine.safe_z": 2.0,
                },
            )
        )
    )
    diameter = next(c for c in first_part(plan) if c.what.startswith("Diameter"))
    assert diameter.limits == f"{low:.4f} to {high:.4f} in"
    assert grade in diameter.how


def test_the_pitch_over_ten_teeth_is_an_arc_of_the_crests_and_its_chord() -> None:
    """25 mm over the crests, 67 teeth: 10/67 of 25·pi = 11.722; chord 25·sin(10·pi/67)."""
    ten = next(c for c in first_part(planned()) if "ten teeth" in c.what)
    assert ten.wanted == "11.722 mm"
    assert f"straight across {25.0 * math.sin(10.0 * math.pi / 67.0):.3f} mm" in ten.how


def test_advice_for_a_double_impression_names_the_next_smaller_blank() -> None:
    """66 teeth close on 66·1.1547/pi = 24.258 mm (README)."""
    plan = planned()
    advice = double_impression(plan, timeline_of(plan))
    assert any("24.258 mm with 66 teeth" in step for step in advice)
    assert any("deeper than 0.065 mm" in step for step in advice)


def test_advice_that_cannot_be_followed_is_not_given() -> None:
    for name in ("plunge", "plunge trial"):
        plan, _, line = timed(name, "iso6983")
        assert not any("fewer passes" in step for step in double_impression(plan, line))


def test_findings_come_worst_first_and_lead_to_their_block() -> None:
    text = Text.of("diamond", "iso6983")
    text.put(text.traverses[0], "Z", -21.0)
    text.behind(text.end, "(AFTER)")
    page = review_page(good_job("diamond"), str(text), "iso6983")
    motion = read_program(str(text), "iso6983")
    found = findings_and_notes(good_plan("diamond"), page.verification, motion)
    order = ["error", "accepted", "warning", "note"]
    assert [order.index(r.severity) for r in found] == sorted(
        order.index(r.severity) for r in found
    )
    worst = found[0]
    assert worst.severity == "error"
    assert worst.block is not None
    assert motion.blocks[worst.block].text == text.traverses[0].text


# -- loads and deflection --------------------------------------------------------------

LONG = {"part.length": 200.0, "knurl.length": 120.0}
FOLLOWED = {**LONG, "process.compensate": True}
OWN = {"name": "own metal", "yield_strength": "200 MPa", "turning_speed": "40 m/min"}
STEPPED = {
    "part.length": 100.0,
    "part.steps": "18 x 20, 24.626 x 20, 34 x 40, 20 x 20",
    "knurl.start": 20.0,
    "tool.bevelled_rolls": True,
}


def force_n(plan: Plan, c: float, face: float) -> float:
    """Return one roll's force by F = p (w / t) b l of ridges, from the plan's own figures."""
    assert plan.estimate is not None
    pressing = plan.estimate.set_up.pressing
    arc = math.sqrt(2.0 * c * pressing.reduced_radius_mm)
    return pressing.pressure_mpa * min(1.0, pressing.strip_per_mm * c) * face * arc


def left_by(plan: Plan, x: float, left: float) -> float:
    """Return the penetration between centres where the slide stands at X, by halving.

    A knuckle joint's rolls stand at u = hypot(x, v); the work between centres gives way by
    P a² b² / (3 E I L) in the middle of the face, and less at one of its edges: that comes
    deepest (Hicks, Civil Engineering Formulas, Fig. 2.2, case 2).
    """
    job, contact = plan.job, plan.contact
    modulus = job.part.material_row.youngs_modulus_gpa
    assert modulus is not None
    radius, length = contact.blank_radius_mm, job.part.length
    flexure = 1000.0 * modulus * math.pi * radius**4 / 4.0
    face = min(job.tool.face_width, -left)
    b = -(left + face / 2.0)
    soft = ((length - b) * b) ** 2 / (3.0 * flexure * length)
    across = x / 2.0 + contact.datum_shift_mm
    low, high = 0.0, 1.0
    for _ in range(60):
        c = (low + high) / 2.0
        apart = radius + contact.roll_radius_mm - c
        centre = math.sqrt(apart**2 - contact.half_spacing_mm**2)
        push = 2.0 * force_n(plan, c, face) * centre / apart
        low, high = (c, high) if centre - push * soft > across else (low, c)

    def gives(u: float) -> float:
        """Deflection for each newton at a place u from the driven centre."""
        push_at = length - b
        if u > push_at:
            u, push_at = length - u, b
        far = length - push_at
        return far * u * (length**2 - far**2 - u**2) / (6.0 * flexure * length)

    edges = (length + left, length + left + face)
    return low + push * (soft - min(map(gives, edges))) * centre / apart


def yielding(plan: Plan, text: str | None = None) -> DeflectionCurves:
    post = plan.job.machine.post
    motion = read_program(text or write(lay_out(plan), post), post)
    given = deflection_curves(plan, time_line(motion, plan))
    assert given is not None
    return given


def told(job: Job, text: str | None = None) -> str:
    """Return the section on loads and deflection without its tags."""
    html = review_page(job, text).html
    section = html[html.index('class="wide loads"') :]
    return re.sub(r"<[^>]*>|\s+", " ", section[: section.index("</main>")])


def edited(plan: Plan, out: float) -> str:
    """Return the program with a block in the middle of each traverse of a pass moved out."""
    text = write(lay_out(plan), plan.job.machine.post)
    found = []
    for line in text.splitlines():
        word = re.search(r"G01 X([\d.]+) Z(-[\d.]+)", line)
        if word and -72.0 < float(word[2]) < -56.0:
            line = line.replace(f"X{word[1]}", f"X{float(word[1]) + out:.3f}")
        found.append(line)
    return "\n".join(found) + "\n"


def test_a_straight_program_leaves_what_a_beam_between_centres_leaves() -> None:
    plan = planned(**LONG)
    made = yielding(plan).made
    assert made is not None
    deepest = plan.passes[-1].x_diameter_mm
    face = plan.job.tool.face_width
    for z, depth in zip(made.z_mm, made.value_mm, strict=True):
        left = z - face / 2.0 if z <= -face / 2.0 else 2.0 * z
        assert depth == pytest.approx(left_by(plan, round(deepest, 3), left), abs=1e-6), z
    assert min(made.value_mm) < 0.4 * plan.penetration_mm, "a soft work shows that it is soft"


def test_a_program_that_follows_the_work_leaves_the_planned_penetration() -> None:
    plan = planned(**FOLLOWED)
    given = yielding(plan)
    assert given.made is not None
    assert given.made.value_mm == pytest.approx(
        [plan.penetration_mm] * len(given.made.value_mm), abs=0.002
    )
    assert given.other.evenness == pytest.approx(0.313, abs=0.001), "straight, beside it"
    said = told(plan.job)
    assert "depth uniformity (least over greatest) 1.00." in said
    assert "Without deflection compensation depth uniformity would be 0.31" in said


def test_a_straight_job_is_told_what_following_would_bring() -> None:
    plan = planned(**LONG)
    assert plan.estimate is not None
    bending = plan.estimate.deflection
    assert bending is not None
    said = told(plan.job)
    depths = re.search(r"of this program come ([\d.]+) to ([\d.]+) mm deep along the knurl", said)
    assert depths is not None
    assert float(depths[1]) / float(depths[2]) == pytest.approx(0.31, abs=0.02)
    assert f"depth uniformity (least over greatest) {bending.evenness:.2f}." in said
    assert f"(process.compensate): {bending.evenness_compensated:.2f}." in said


def test_an_edited_program_shows_its_own_curve() -> None:
    """Blocks moved out by 0.2 mm on the diameter leave less there, and as much elsewhere."""
    plan = planned(**FOLLOWED)
    good, made = yielding(plan).made, yielding(plan, edited(plan, 0.2)).made
    assert good is not None
    assert made is not None
    assert min(made.value_mm) < min(good.value_mm) - 0.01
    assert -75.0 < made.z_mm[made.value_mm.index(min(made.value_mm))] < -45.0
    assert made.value_mm[0] == pytest.approx(good.value_mm[0], abs=1e-6)
    assert f"(least over greatest) {made.evenness:.2f}." in told(plan.job, edited(plan, 0.2))


def test_the_page_and_the_checker_tell_one_evenness() -> None:
    plan = planned(**FOLLOWED)
    made, evenness = yielding(plan).made, review_page(plan.job).verification.evenness
    assert made is not None
    assert evenness is not None
    assert made.evenness == pytest.approx(evenness[1], abs=0.003)


def test_where_no_pass_comes_there_is_no_penetration() -> None:
    plan = planned(**LONG)
    text = write(lay_out(plan), "iso6983").replace("Z-120.000", "Z-100.000")
    made = yielding(plan, text).made
    assert made is not None
    assert made.value_mm[0] == 0.0
    assert made.value_mm[-1] > 0.15
    assert made.evenness == 0.0


def test_a_program_that_never_touches_has_no_curve_of_its_own() -> None:
    plan = planned()
    text = re.sub(r"G01 X[\d.]+", "G01 X28.000", write(lay_out(plan), "iso6983"))
    assert yielding(plan, text).made is None
    assert "not known where its rolls press" in told(plan.job, text)


def test_the_passes_of_a_slide_that_follows_are_as_planned_and_tell_a_range_of_x() -> None:
    plan = planned(**FOLLOWED)
    rows = passes_table(plan, timeline_of(plan), radius=False)
    assert [r.planned for r in rows] == [""] * len(plan.passes)
    for one, row_ in zip(plan.passes, rows, strict=True):
        # What follows is rounded outward, so that no block comes deeper than planned.
        outward = [math.ceil(x * 1000.0 - 1e-6) / 1000.0 for _, x in one.follow]
        xs = [round(one.x_diameter_mm, 3), *outward]
        assert row_.x == f"{min(xs):.3f} to {max(xs):.3f}"
        # Less by the chords and what they are set off by, and by the last place of X.
        assert one.penetration_mm - 0.002 < float(row_.depth) <= one.penetration_mm + 0.0005


def test_a_pass_that_does_not_follow_is_not_as_planned() -> None:
    plan = planned(**FOLLOWED)
    text = edited(plan, 0.2)
    post = plan.job.machine.post
    line = time_line(read_program(text, post), plan)
    last = passes_table(plan, line, radius=False)[3]
    assert last.planned == "no: planned depth 0.162"
    assert " to " in last.depth


def test_a_slide_that_follows_is_drawn_level_and_as_one_line() -> None:
    plan = planned(**FOLLOWED)
    line = timeline_of(plan)
    assert len(line.keys) < 2 * len(line.spans)
    view = infeed_view(plan, line)
    assert not view.outside
    way = next(s for s in view.still if s.attributes["class"] == "way headstock")
    assert str(way.attributes["d"]).count("M") < len(plan.passes) * 20


def test_the_forces_of_the_passes_are_those_of_the_formula() -> None:
    plan = planned()
    face = plan.job.tool.face_width
    rows = pass_forces(plan)
    pressing = [p for p in plan.passes if p.presses]
    assert [r.name for r in rows] == ["1", "2", "3", "4"]
    for one, row_ in zip(pressing, rows, strict=True):
        value, unit = row_.force.split()
        assert float(value) == pytest.approx(force_n(plan, one.penetration_mm, face), rel=0.05)
        assert unit == "N"
    assert rows[-1].force == "3200 N", "an example of the README's knob"
    assert [r.shares[1] for r in rows] == sorted(r.shares[1] for r in rows)
    assert rows[-1].shares[2] == 1.0
    assert "Pass 5 cleans up: it presses no deeper" in told(plan.job)


def test_each_figure_of_the_loads_stands_on_the_page() -> None:
    plan = planned()
    said = told(plan.job)
    for name, value, how in load_rows(plan):
        assert f"{name[:1].upper()}{name[1:]}" in said
        assert value in said
        assert how in said


def test_metal_without_a_modulus_has_forces_and_a_sentence_but_no_picture() -> None:
    plan = planned(**{"part.material": OWN})
    said, html = told(plan.job), review_page(plan.job).html
    assert "Young's modulus of own metal is not known: its deflection is not available." in (
        said.replace("&#39;", "'")
    )
    assert "view-yield" not in html[html.index("<body") :]
    assert len(pass_forces(plan)) == 4


def test_metal_of_unknown_strength_has_a_sentence_and_no_figures(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """No row of the table is without a strength: here each is."""
    monkeypatch.setattr("knurlcam.plan.loads.flow_stress", lambda _: None)
    plan = planned()
    assert unknown_loads(plan).endswith("is known: force and deflection are not available.")
    assert unknown_loads(plan) in told(plan.job)
    assert pass_forces(plan) == ()
    html = review_page(plan.job).html
    section = html[html.index('class="wide loads"') : html.index('id="left"')]
    assert "<svg" not in section
    assert section.count("<table") == 1


def test_a_straddle_is_a_flat_line_and_says_why() -> None:
    plan = good_plan("straddle")
    given = yielding(plan)
    assert given.made is not None
    assert given.cancels
    assert set(given.deflection.value_mm) == {0.0}
    assert max(given.made.value_mm) - min(given.made.value_mm) < 1e-6
    assert "the forces of the two rolls balance" in told(plan.job)


def test_a_plunge_tells_both_edges_of_the_face() -> None:
    """Between centres the end towards the middle gives way more: the left edge is less deep."""
    said = told(good_job("plunge"))
    found = re.search(r"they come ([\d.]+) mm deep at the left edge of the face and ([\d.]+)", said)
    assert found
    left, right = map(float, found.groups())
    assert left < right <= 0.197
    assert "view-yield" not in said


def test_inches_are_told_as_inches() -> None:
    plan = good_plan("inch")
    said = told(plan.job)
    assert "lbf" in said
    assert " mm" not in said
    given = yielding(plan)
    texts = [s.text for s in deflection_chart(plan, given, "").still if s.tag == "text"]
    assert "penetration, in" in texts
    assert len([t for t in texts if re.fullmatch(r"0\.\d+", t)]) >= 3, texts


@pytest.mark.parametrize("changes", [{}, LONG, FOLLOWED, STEPPED])
def test_the_picture_is_drawn_where_its_scales_put_it(changes: dict[str, object]) -> None:
    """The curve's lowest point, read against two numbers of the axis, is what was computed."""
    plan = planned(**changes)
    given = yielding(plan)
    assert given.made is not None
    chart = deflection_chart(plan, given, "")
    curve = next(s for s in chart.still if s.attributes["class"] == "curve made")
    ys = [float(p.split(",")[1]) for p in str(curve.attributes["points"]).split()]
    marks = [
        (float(s.text), float(s.attributes["y"]))
        for s in chart.still
        if s.tag == "text" and s.attributes["class"] == "end small" and "mm" not in s.text
    ]
    (v0, y0), (v1, y1) = marks[0], marks[1]
    values = [v0 + (y - (y0 - 6.0)) / (y1 - y0) * (v1 - v0) for y in ys]
    assert values == pytest.approx(list(given.made.value_mm), abs=0.001)


def test_stepped_work_is_drawn_with_its_steps() -> None:
    plan = planned(**STEPPED)
    view = side_view(plan, timeline_of(plan))
    work = next(s for s in view.still if s.attributes["class"] == "work")
    corners = [tuple(map(float, p.split(","))) for p in str(work.attributes["points"]).split()]
    frame = view.frame
    found = [
        ((x - frame.x0) / frame.kx, 2.0 * (y - frame.y0) / frame.ky)
        for x, y in corners[: len(corners) // 2]
    ]
    blank = plan.blank_diameter_mm
    wanted = [(-100, 20), (-80, 20), (-80, 34), (-40, 34), (-40, blank), (-20, blank)]
    wanted += [(-20, 18), (0, 18)]
    assert [a for a, _ in found] == pytest.approx([a for a, _ in wanted], abs=0.05)
    assert [b for _, b in found] == pytest.approx([b for _, b in wanted], abs=0.05)
    lowest = max(y for _, y in corners)
    assert min(y for _, y in corners) > 0.0
    assert lowest < frame.height


@pytest.mark.parametrize("z", ["Z-9999.000", "Z-200.000", "Z60.000"])
def test_a_following_slide_far_beyond_the_work_is_shown_with_its_findings(z: str) -> None:
    job = planned(**FOLLOWED).job
    text = review_page(job).text
    assert "Z-120.000" in text
    made = review_page(job, text.replace("Z-120.000", z, 1))
    assert not made.verification.ok
    assert "view-yield" in made.html


def test_a_trial_strip_before_a_slide_that_follows_is_as_planned() -> None:
    plan = planned(**FOLLOWED, **{"process.trial_strip": True})
    rows = passes_table(plan, timeline_of(plan), radius=False)
    assert rows[0].name == "trial"
    assert [r.planned for r in rows] == [""] * len(rows)


# -- programs that are not what they should be -----------------------------------------


def runs(text: Text) -> list[str]:
    """Return what the table says of each pass against the plan."""
    html = review_page(good_job("diamond"), str(text), "iso6983").html
    table = html[html.index('class="passes"') :]
    rows = re.findall(r"<tr.*?</tr>", table[: table.index("</table>")], re.DOTALL)
    return [re.findall(r"<td[^>]*>(.*?)</td>", r)[-1] for r in rows[1:]]


def test_increments_from_nowhere_are_said_to_be_unknown() -> None:
    text = Text.of("diamond", "iso6983")
    text.modes.sub("G90", "G91")
    html = review_page(good_job("diamond"), str(text), "iso6983").html
    assert "by increments from a start that it does not state" in html
    assert "not known" in html
    assert "never touch" not in html


@pytest.mark.parametrize("edit", ["feed", "dwell", "speed", "entry", "rapid", "coolant"])
def test_a_pass_with_an_error_in_it_is_not_called_as_planned(edit: str) -> None:
    text = Text.of("diamond", "iso6983")
    if edit == "feed":
        text.put(text.traverses[0], "F", 2.0)
    elif edit == "dwell":
        text.put(text.dwells[0], "D", 0.1)
    elif edit == "speed":
        text.start.sub("S110", "S2000")
    elif edit == "entry":
        text.put(text.all("G00 Z")[0], "Z", -8.333)
    elif edit == "rapid":
        text.put(text.all("G00 X")[1], "X", 20.0)
    else:
        text.before(text.traverses[0], "M09")
    assert runs(text)[0].startswith("no: ")


def test_two_feeds_in_one_pass_are_both_told() -> None:
    text = Text.of("diamond", "iso6983")
    text.before(text.traverses[0], "G01 Z-10.000 F0.200")
    _, _, line = timed("diamond", "iso6983", str(text))
    assert passes_table(good_plan("diamond"), line, radius=False)[0].feed == "0.200 to 0.500"


def test_the_slide_at_working_x_beside_the_work_is_no_pass() -> None:
    text = Text.of("diamond", "iso6983")
    text.before(text.infeeds[0], "G00 Z40.000")
    text.before(text.infeeds[0], "G00 X24.400")
    text.before(text.infeeds[0], "G00 X28.626")
    text.before(text.infeeds[0], "G00 Z-3.333")
    _, _, line = timed("diamond", "iso6983", str(text))
    assert len(line.prints) == len(good_plan("diamond").passes)


@pytest.mark.parametrize("edit", ["spindle", "surface", "feed"])
def test_a_time_that_cannot_be_told_is_not_invented(edit: str) -> None:
    text = Text.of("diamond", "iso6983")
    if edit == "spindle":
        text.start.sub(" M03", "")
    elif edit == "surface":
        text.start.sub("G97", "G96")
    else:
        for line in text.all("G01"):
            text.drop(line, "F")
    plan, motion, line = timed("diamond", "iso6983", str(text))
    assert row(speed_sheet(plan, motion, line), "Time")[0] == "not known"
    assert passes_table(plan, line, radius=False)[0].seconds == "not known"
    html = review_page(good_job("diamond"), str(text), "iso6983").html
    assert "at once or at a wrong speed" in html


def test_coolant_is_told_as_it_is_while_the_rolls_touch() -> None:
    text = Text.of("diamond", "iso6983")
    plan, motion, line = timed("diamond", "iso6983", str(text))
    assert row(speed_sheet(plan, motion, line), "Coolant or oil")[0].startswith("on while")
    text.before(text.traverses[2], "M09")
    plan, motion, line = timed("diamond", "iso6983", str(text))
    assert row(speed_sheet(plan, motion, line), "Coolant or oil")[0].startswith("partly off")
    text.delete(text.find("M08"))
    plan, motion, line = timed("diamond", "iso6983", str(text))
    assert row(speed_sheet(plan, motion, line), "Coolant or oil")[0].startswith("off while")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("M01", "M01", "stops if the optional stop is on: switch it on"),
        ("M01", "M00", "leaves the work and stops."),
        ("M01", "M05", "goes on without a stop"),
    ],
)
def test_the_trial_strip_is_told_as_the_program_makes_it(old: str, new: str, told: str) -> None:
    plan, motion, line = timed(
        "trial", "iso6983", good_program("trial", "iso6983").replace(old, new)
    )
    said = trial_strip(plan, line, motion)
    assert told in said
    assert f"to Z {plan.trial.z_end_mm:.3f} mm" in said if plan.trial else False


def test_a_trial_strip_that_is_left_out_condemns_no_other_pass() -> None:
    plan, motion, line = timed("trial", "iso6983", good_program("diamond", "iso6983"))
    assert "makes none" in trial_strip(plan, line, motion)
    assert [r.planned for r in passes_table(plan, line, radius=False)] == [""] * len(plan.passes)


def test_a_trial_strips_end_is_told_for_the_left_edge_whatever_z_reads() -> None:
    plan = planned(**{"process.trial_strip": True, "tool.z_datum": "centre"})
    assert plan.trial is not None
    post = plan.job.machine.post
    motion = read_program(write(lay_out(plan), post), post)
    said = trial_strip(plan, time_line(motion, plan), motion)
    assert f"to Z {plan.trial.z_end_mm - 5.0:.3f} mm" in said


def test_motion_outside_a_picture_is_said() -> None:
    text = Text.of("diamond", "iso6983")
    text.put(text.infeeds[-1], "X", 4.0)
    html = review_page(good_job("diamond"), str(text), "iso6983").html
    assert "leaves the picture “Each pass, the depth stretched”" in html
    clean = review_page(good_job("diamond"), good_program("diamond", "iso6983")).html
    assert "leaves the picture" not in clean


def test_warnings_and_accepted_refusals_stand_in_the_first_line() -> None:
    job = Job.model_validate(
        base_job(
            {
                "part.knurled_diameter": None,
                "part.blank_diameter": 24.8,
                "process.accept": ["does-not-track"],
                "holding": {"method": "chuck"},
                "part.length": 27.0,
            }
        )
    )
    html = review_page(job).html
    assert "no error, <strong>1 refusal accepted, 1 warning</strong>" in html
    assert html.index("Findings and notes") < html.index("The work and the roll")


def test_characters_that_turn_a_line_round_are_named() -> None:
    text = good_program("diamond", "iso6983").replace("(RETRACT)", "(RE\u202eTRACT)")
    html = review_page(good_job("diamond"), text, "iso6983").html
    assert "\u202e" not in html
    assert "‹U+202E›" in html


def test_two_texts_never_have_the_same_mark() -> None:
    text = good_program("diamond", "iso6983")
    marks = {
        re.search(r"lines, checksum ([0-9A-F]{8})", review_page(good_job("diamond"), t).html)[1]  # type: ignore[index]
        for t in (text, text.replace("S110", "S111"), text + "\n")
    }
    assert len(marks) == 3


# -- the page --------------------------------------------------------------------------


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.stem)
def test_a_sample_has_a_page_that_needs_nothing_from_outside(path: Path) -> None:
    made = sample_page(path)
    assert made.verification.ok
    page = Page(made.html)
    for tag, attributes in page.elements:
        for name, value in attributes.items():
            if (tag, name) == ("img", "src"):
                assert re.match(r"data:image/(png|jpeg);base64,[A-Za-z0-9+/]+=*$", value or "")
                continue
            assert name not in ("src", "href", "srcset", "style", "action", "poster"), (tag, name)
            assert not name.startswith("on"), (tag, name)
            assert "://" not in (value or ""), (tag, name, value)
    assert not re.search(r"url\(|@import|fetch\(|XMLHttp|import\(|WebSocket|eval\(", made.html)
    assert "Do not run" not in made.html
    assert Job.load(path).part.name in page.text("h1")


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.stem)
def test_a_samples_page_shows_cautions_program_and_what_the_plan_comes_to(path: Path) -> None:
    job = Job.load(path)
    plan, made = make_plan(job), sample_page(path)
    page = Page(made.html)
    told = " ".join("".join(texts) for texts in page.texts.values())
    for text in [c.text for c in cautions()] + list(proving()):
        assert text in told
    for line in made.text.splitlines():
        assert line.strip() in told
    assert str(plan.teeth) in told
    assert job.identity in told


def test_the_policy_allows_this_style_and_this_script_and_nothing_else() -> None:
    html = review_page(good_job("diamond")).html
    page = Page(html)
    policy = next(str(a["content"]) for t, a in page.elements if a.get("http-equiv") is not None)
    assert policy.startswith("default-src 'none'; base-uri 'none'; form-action 'none'; ")
    assert "unsafe" not in policy
    assert policy.endswith("; img-src data:"), "pictures stand in the page, and none is fetched"

    def sha(text: str) -> str:
        return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()

    style = html[html.index("<style>") + 7 : html.index("</style>")]
    script = html[html.rindex("<script>") + 8 : html.rindex("</script>")]
    assert f"style-src 'sha256-{sha(style)}'" in policy
    assert f"script-src 'sha256-{sha(script)}'" in policy


NASTY = "<script>alert(1)</script>{{7*7}}\"'&</title>"


def test_names_and_comments_are_text_and_nothing_else() -> None:
    job = Job.model_validate(base_job({"part.name": NASTY}))
    text = write(lay_out(make_plan(job)), "iso6983")
    text = text.replace("(RETRACT)", "(</script><img src=x onerror=alert(2)>)")
    html = review_page(job, text, name="</td><b>.nc").html
    page = Page(html)
    assert page.text("h1") == NASTY
    assert "49" not in page.text("h1")
    assert "b" not in {t for t, _ in page.elements}
    assert all(a["src"] != "x" for t, a in page.elements if t == "img")
    assert sum(t == "script" for t, _ in page.elements) == 2


def test_a_metals_own_name_is_text_where_its_modulus_is_missing() -> None:
    job = Job.model_validate(base_job({"part.material": {**OWN, "name": "<b>{{7*7}}</b>"}}))
    html = review_page(job).html
    assert "Young&#39;s modulus of &lt;b&gt;{{7*7}}&lt;/b&gt; is not known" in html
    assert "b" not in {t for t, _ in Page(html).elements}


def test_a_ten_pass_job_fits_in_400_kilobytes() -> None:
    plan = planned(**{"process.passes": 10})
    assert len(plan.passes) == 11
    assert len(review_page(plan.job).html.encode()) < 400_000


def test_a_program_from_elsewhere_is_named_and_judged() -> None:
    text = good_program("diamond", "rs274").replace("M08", "M09")
    made = review_page(good_job("diamond"), text, "rs274", name="night shift.nc")
    assert not made.verification.ok
    assert "night shift.nc" in made.html
    assert made.text == text


@pytest.mark.parametrize("form", ["subprogram", "blocks"])
def test_what_is_to_be_called_or_pasted_has_its_page_too(form: str) -> None:
    made = review_page(good_job("diamond"), form=form)  # type: ignore[arg-type]
    assert made.verification.ok
    assert made.verification.form == form


def test_a_block_with_a_slash_is_shown_carried_out_and_the_page_says_so() -> None:
    text = Text.of("diamond", "iso6983")
    text.find("M08").text = "/" + text.find("M08").text
    made = review_page(good_job("diamond"), str(text), "iso6983")
    assert "Blocks with a slash (block delete) are shown carried out." in made.html


def test_many_of_a_kind_hide_nothing_else() -> None:
    """The crash comes first, however much is wrong with the text before it."""
    text = Text.of("diamond", "iso6983")
    for _ in range(90):
        text.before(text.all("G00")[0], "Q1")
    text.put(text.all("G00 X")[1], "X", 10.0)
    made = review_page(good_job("diamond"), str(text), "iso6983")
    found = findings_and_notes(
        good_plan("diamond"), made.verification, read_program(str(text), "iso6983")
    )
    assert found[0].code not in ("unknown-word", "numbering")
    assert {r.code for r in found} >= {f.code for f in made.verification.findings}
    assert "(and 87 more of this kind)" in made.html
    assert found[-1].severity == "note"


def test_a_job_that_cannot_be_done_has_no_page() -> None:
    job = Job.model_validate(base_job({"process.spindle_speed": "400 rpm"}))
    with pytest.raises(CannotBeDoneError):
        review_page(job)


def test_an_unknown_dialect_is_named() -> None:
    with pytest.raises(InputError, match="rs247"):
        review_page(good_job("diamond"), post="rs247")


@given(data=st.data())
@settings(max_examples=25)  # each makes a height map
def test_no_edit_of_a_program_breaks_the_page(data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(JOBS)))
    post = data.draw(st.sampled_from(POSTS))
    lines = good_program(name, post).splitlines()
    junk = st.one_of(
        st.sampled_from(["G00 Z-30.", "G01 X-90. F9.", "G04 X1.", "M05", "G91", "S0", "G00", "%"]),
        st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=30),
    )
    for _ in range(data.draw(st.integers(1, 5))):
        place = data.draw(st.integers(0, len(lines) - 1))
        if data.draw(st.booleans()):
            lines[place] = data.draw(junk)
        else:
            lines.insert(place, data.draw(junk))
    text = "\n".join(lines)
    made = review_page(good_job(name), text, post)
    motion = read_program(text, post)
    assert sum(a.get("role") == "option" for _, a in Page(made.html).elements) == len(motion.blocks)


def test_the_page_shows_what_a_press_fit_comes_to() -> None:
    job = Job.load(ROOT / "samples" / "dowel-pin.toml")
    plan = make_plan(job)
    assert plan.press_fit is not None
    html = review_page(job).html
    fit = html[html.index("Press fit (estimate)") :]
    force = plan.press_fit.joining_force_n
    assert f"{round(force, -2):.0f} N" in fit
    assert "friction alone" in fit
    upper, lower = plan.press_fit.knurled_limits_mm
    low, high = (plan.knurled_diameter_mm + limit for limit in (lower, upper))
    assert f"{low:.3f} to {high:.3f} mm" in html
    assert "for the press fit" in html
    assert "Press fit (estimate)" not in review_page(good_job("diamond")).html


def test_following_that_would_bend_the_work_for_good_is_not_held_out() -> None:
    said = told(Job.load(ROOT / "samples" / "trimmer-rod.toml"))
    assert "would bend the work permanently: 410 MPa, and its limit is 310 MPa." in said
    assert "(process.compensate)" not in said
    assert "(process.compensate)" in told(good_job("diamond"))
