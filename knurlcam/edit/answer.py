"""What the page shows beside the form: one function from texts to an answer.

It plans, writes, reads back and verifies as the commands do, and says what it came to, with
each problem at its field. A remedy is offered only after it was tried.
"""

from __future__ import annotations

import re
import time
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from knurlcam.edit.form import Texts, data_of, form_sections, known_key
from knurlcam.errors import CannotBeDoneError, InputError, KnurlcamError, Refusal
from knurlcam.gcode.dialect_files import load_dialect
from knurlcam.job.model import Job
from knurlcam.job.problems import JobFileError
from knurlcam.mechanics.tracking import blank_diameter
from knurlcam.plan.expected_text import expected_text
from knurlcam.plan.model import Plan
from knurlcam.plan.planner import make_plan
from knurlcam.plan.remarks import Choice, Note
from knurlcam.program import UnprovenProgramError, read_and_verify
from knurlcam.review.views.frame import View
from knurlcam.review.views.side import side_view
from knurlcam.shop.fill import Shop
from knurlcam.timeline import time_line
from knurlcam.units.kinds import Kind
from knurlcam.units.show import Shown, show

__all__ = ["Answer", "Problem", "Remedy", "answer", "job_of"]

TRIAL_S = 0.06
"""Longest time for trying remedies [s]: the page answers a change within 0.15 s."""

MOST_REMEDIES = 3
"""Remedies that are offered for one refusal."""


@dataclass(frozen=True, slots=True)
class Remedy:
    """A change that was tried and makes the job one that can be done.

    Attributes:
        sets: Texts by key; an empty one leaves the key out.
        says: What it does, for a button.
        becomes: Blank and expected part that it leads to.
    """

    sets: Mapping[str, str]
    says: str
    becomes: str


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong or worth knowing, at its field.

    Attributes:
        key: Key of the field; empty for the whole job.
        severity: ``error``, ``warning`` or ``note``.
        says: What it is and what to do.
        code: Its code; empty for what is not a valid job.
        remedies: What would help, each tried.
    """

    key: str
    severity: str
    says: str
    code: str = ""
    remedies: tuple[Remedy, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """What the page shows for what stands in its fields.

    Attributes:
        verdict: ``verified``, ``refused`` (cannot be done), ``unfinished`` (not a valid job yet)
            or ``withheld`` (the program cannot be written in this dialect, or does not verify).
        says: The verdict in a sentence.
        problems: What is wrong or worth knowing.
        facts: Names and figures, in the order in which they are read.
        strip: Blanks that track, and which one is planned: teeth, diameter, whether planned.
        recommended: What is taken for fields left empty, and why, by key.
        passes: A row for each pass: number, direction, X, depth.
        view: The picture of the path; None without a program.
        text: The program; empty without one.
        plan: The plan; None without one.
    """

    verdict: str
    says: str
    problems: tuple[Problem, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    strip: tuple[tuple[int, str, bool], ...] = ()
    recommended: Mapping[str, tuple[str, str]] | None = None
    passes: tuple[tuple[str, str, str, str], ...] = ()
    view: View | None = None
    text: str = ""
    plan: Plan | None = None


def job_of(texts: Texts, kept: Mapping[str, Any] | None = None, shop: Shop | None = None) -> Job:
    """Return the job of what stands in the fields.

    Raises:
        JobFileError: naming every key that is wrong.
    """
    return Job.build(data_of(texts, kept), shop=shop)


def answer(
    texts: Texts,
    post: str = "",
    *,
    kept: Mapping[str, Any] | None = None,
    shop: Shop | None = None,
) -> Answer:
    """Return what the page shows.

    Args:
        texts: What stands in the fields.
        post: Dialect of the program; the job's unless given.
        kept: Values that no field shows, by dotted key.
        shop: The shop whose tools and machines the job may name.
    """
    try:
        job = job_of(texts, kept, shop)
    except JobFileError as error:
        problems = tuple(_of_input(each) for each in error.problems)
        missing = len(problems)
        says = f"Not finished: {missing} {'field wants' if missing == 1 else 'fields want'} a hand"
        return Answer("unfinished", says, problems)
    try:
        plan = make_plan(job)
    except CannotBeDoneError as error:
        return _refused(error, texts, kept, shop)
    return _planned(plan, post or job.machine.post)


def _of_input(error: InputError) -> Problem:
    key = known_key(error.key)
    lead = "" if key == error.key or not error.key else f"{error.key}: "
    return Problem(key, "error", lead + error.at(where=None, key=None).sentence())


# -- what can be done ---------------------------------------------------------------


def _planned(plan: Plan, post: str) -> Answer:
    notes = tuple(_of_note(note) for note in plan.notes)
    common: dict[str, Any] = {
        "facts": tuple(_facts(plan)),
        "strip": tuple(_strip(plan)),
        "recommended": dict(_recommended(plan)),
        "passes": tuple(_passes(plan)),
        "plan": plan,
    }
    try:
        dialect = load_dialect(post, plan.job.posts)
        text, motion, result = read_and_verify(plan, None, dialect)
    except (InputError, UnprovenProgramError) as error:
        problem = Problem("machine.post", "error", str(error))
        return Answer("withheld", f"No program in {post}", (problem, *notes), **common)
    found = tuple(Problem("", f.severity, f.message, f.code) for f in result.findings)
    told = {note.code for note in notes}
    problems = (*(p for p in found if p.code not in told), *notes)
    view = side_view(plan, time_line(motion, plan))
    return Answer(
        "verified", f"Verified in {dialect.name}", problems, view=view, text=text, **common
    )


_KEY_IN_TEXT = re.compile(r"\b(?:part|knurl|holding|tool|process|fit|machine)\.[a-z_]+")


def _of_note(note: Note) -> Problem:
    named = _KEY_IN_TEXT.search(note.message)
    key = known_key(named[0]) if named else ""
    severity = "warning" if note.severity == "error" else note.severity
    return Problem(key, severity, note.message, note.code)


def _facts(plan: Plan) -> Iterator[tuple[str, str]]:
    shown = Shown(plan.job.units)
    low, high = plan.blank_limits_mm
    yield "Turn blank to", f"{shown.length(low).split()[0]} to {shown.length(high)}"
    yield "Teeth", str(plan.teeth)
    yield "Expect over the crests", expected_text(plan.expected, plan.job.units)
    yield "Spindle", show(plan.spindle_rpm, Kind.SPEED)
    yield "Feed", show(plan.feed_mm_per_rev, Kind.FEED, plan.job.units)
    yield "Tooth height", shown.length(plan.tooth_height_mm)
    if plan.surroundings.largest_centre_mm is not None:
        yield "Largest centre", shown.at_most(plan.surroundings.largest_centre_mm)
    if plan.gap_mm is not None:
        yield "Gap of the rolls", shown.length(plan.gap_mm)


STRIP_TEETH = 2
"""Teeth more and fewer than the planned ones for which the strip shows the blank [-]"""


def _strip(plan: Plan) -> Iterator[tuple[int, str, bool]]:
    shown, tracking = Shown(plan.job.units), plan.tracking
    for teeth in range(max(1, plan.teeth - STRIP_TEETH), plan.teeth + STRIP_TEETH + 1):
        blank_mm = blank_diameter(teeth, tracking.transverse_pitch_mm, tracking.correction_mm)
        yield teeth, shown.length(blank_mm), teeth == plan.teeth


def _recommended(plan: Plan) -> Iterator[tuple[str, tuple[str, str]]]:
    for choice in plan.choices:
        if choice.origin != "given" and known_key(choice.key) == choice.key:
            yield choice.key, (_figure(choice, plan), choice.why)


def _figure(choice: Choice, plan: Plan) -> str:
    if choice.kind is None or not isinstance(choice.value, int | float):
        return str(choice.value)
    return show(float(choice.value), choice.kind, plan.job.units)


def _passes(plan: Plan) -> Iterator[tuple[str, str, str, str]]:
    shown = Shown(plan.job.units)
    for each in plan.passes:
        yield (
            str(each.number) if each.presses else "clean-up",
            _DIRECTIONS.get(each.direction or "", "straight in"),
            shown.length(each.x_diameter_mm),
            shown.length(each.penetration_mm),
        )


_DIRECTIONS = {"headstock": "toward the headstock", "tailstock": "toward the tailstock"}


# -- what cannot, and what would help ------------------------------------------------


def _refused(
    error: CannotBeDoneError, texts: Texts, kept: Mapping[str, Any] | None, shop: Shop | None
) -> Answer:
    until = time.perf_counter() + TRIAL_S
    problems = tuple(
        Problem(
            known_key(each.key),
            "error",
            each.message,
            each.code,
            tuple(_remedies(each, texts, kept, shop, until)),
        )
        for each in error.refusals
    )
    return Answer("refused", "Cannot be done as it stands", problems)


def _remedies(
    refusal: Refusal,
    texts: Texts,
    kept: Mapping[str, Any] | None,
    shop: Shop | None,
    until: float,
) -> Iterator[Remedy]:
    """Yield changes after which the job can be done, each of them tried."""
    found = 0
    for says, sets in _ideas(refusal, texts):
        if found == MOST_REMEDIES or time.perf_counter() > until:
            return
        try:
            plan = make_plan(job_of({**texts, **sets}, kept, shop))
        except KnurlcamError:
            continue
        found += 1
        low, high = plan.blank_limits_mm
        shown = Shown(plan.job.units)
        yield Remedy(
            sets,
            says,
            f"blank {shown.length(low).split()[0]} to {shown.length(high)}, "
            f"expect {expected_text(plan.expected, plan.job.units)}",
        )


def _ideas(refusal: Refusal, texts: Texts) -> Iterator[tuple[str, dict[str, str]]]:
    """Yield what may help: what the plan would recommend, other words of a choice, accepting."""
    fields = {f.key: f for section in form_sections() for f in section.fields}
    named = [refusal.key, *_KEY_IN_TEXT.findall(refusal.message)]
    for key in _once(key for key in named if key in fields):
        field = fields[key]
        if texts.get(key, "").strip() and not field.required:
            yield f"Leave “{field.title}” to be recommended", {key: ""}
        words = ("true", "false") if field.kind == "switch" else field.choices
        for word in words if field.kind in ("choice", "switch") else ():
            if word != texts.get(key, field.default):
                yield f"Set “{field.title}” to {word}", {key: word}
    if refusal.acceptable:
        taken = [part.strip() for part in texts.get("process.accept", "").split(",")]
        accepted = ", ".join(_once([*filter(None, taken), refusal.code]))
        yield f"Accept it ({refusal.code})", {"process.accept": accepted}


def _once(keys: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(keys))
