"""The page itself: one file without a single reference to anything outside it."""

from __future__ import annotations

import hashlib
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from markupsafe import Markup

from knurlcam.data.cautions import cautions, proving
from knurlcam.gcode.dialect import Dialect, load_dialect
from knurlcam.gcode.marks import Form
from knurlcam.gcode.motion import Motion, State
from knurlcam.job.model import Job
from knurlcam.plan.model import Plan
from knurlcam.plan.planner import make_plan
from knurlcam.program import read_and_verify
from knurlcam.review import estimates, sheets
from knurlcam.review.imprints import impression_of
from knurlcam.review.onefile import content_policy, own_style, own_text, page_environment
from knurlcam.review.views import View, end_view, infeed_view, side_view, yield_chart
from knurlcam.timeline import PHASES, Timeline, time_line
from knurlcam.units.kinds import MM_PER_INCH
from knurlcam.verification.findings import Verification
from knurlcam.verification.limits import compensated_work

__all__ = ["Review", "review_page"]

MOST_REMARKS = 60
"""More findings than anybody reads before the first are mended."""

GROUP = 100
"""Lines of the listing that a browser lays out at once."""

PHASE_NAMES = {
    "rapid": "rapid",
    "infeed": "infeed",
    "dwell": "dwell",
    "headstock": "to the headstock",
    "tailstock": "to the tailstock",
    "retract": "out by feed",
}


@dataclass(frozen=True, slots=True)
class Review:
    """A page and what verification said of the program that it shows.

    Attributes:
        html: The page.
        text: The program that it shows.
        verification: Its findings; they stand on the page.
    """

    html: str
    text: str
    verification: Verification


class _Line(NamedTuple):
    """A line of the listing."""

    place: int
    text: str
    grave: str


def review_page(
    job: Job,
    text: str | None = None,
    post: str | Dialect | None = None,
    *,
    form: Form | None = None,
    posts: Iterable[str | Path] = (),
    name: str | None = None,
) -> Review:
    """Return the setter's page of a job's program.

    What moves is the motion read back from the text, so that an edited program shows
    what it really does. A block with a slash is shown carried out.

    Args:
        job: The job.
        text: A program for it, wherever it comes from; None to write one.
        post: Its dialect; the job's unless given.
        form: What the text is; None to tell from its own remark, else a program.
        posts: Folders of a shop's own dialects.
        name: What to call the text on the page, such as its file's name.

    Raises:
        CannotBeDoneError: if the job cannot be done.
        InputError: if the dialect is unknown or broken.
    """
    dialect = load_dialect(post or job.machine.post, posts)
    plan = make_plan(job)
    text, motion, result = read_and_verify(plan, text, dialect, form)
    line = time_line(motion, plan)
    radius = dialect.x == "radius"
    views = [side_view(plan, line), infeed_view(plan, line), end_view(plan, line)]
    given = estimates.giving_way(plan, line)
    said = estimates.said_of(plan, line, given)
    left, not_shown = impression_of(plan, motion, line, sound=result.ok)
    found = sheets.remarks(plan, result, motion)
    place = {block.line: i for i, block in enumerate(motion.blocks)}
    wrong = {place[f.line] for f in result.findings if f.severity == "error" and f.line in place}
    grave: Counter[str] = Counter(f.severity for f in result.findings)
    grave.update("accepted" if n.severity == "error" else n.severity for n in plan.notes)
    mark = hashlib.sha256(text.encode()).hexdigest()[:8].upper()
    here = Path(__file__).parent
    styles, script = own_style(here / "page.css") + _foot(job, mark), own_text(here / "page.js")
    html = (
        page_environment("knurlcam.review")
        .get_template("page.html.j2")
        .render(
            title=job.part.name,
            plan=plan,
            job=job,
            name=name or "written from the job",
            result=result,
            dialect=dialect,
            mark=f"{len(motion.blocks)} lines, mark {mark}",
            x_word="X, radius" if radius else "X, diameter",
            z_word=f"Z, {job.tool.z_datum}",
            views={view.name: view for view in views},
            phases=PHASE_NAMES,
            remarks=found[:MOST_REMARKS],
            left_out=max(0, len(found) - MOST_REMARKS),
            errors=grave["error"],
            besides=_counted(grave),
            groups=_groups(motion, result),
            data=_data(line, views, plan, radius),
            blank=sheets.blank_sheet(plan),
            rolls=sheets.rolls_sheet(plan),
            setting=sheets.tool_sheet(plan, dialect, result.form),
            speeds=sheets.speed_sheet(plan, motion, line),
            passes=sheets.passes_sheet(plan, line, radius=radius, wrong=wrong),
            checks=sheets.first_part(plan),
            advice=sheets.double_impression(plan, line),
            lost=line.lost,
            trial=sheets.trial_strip(plan, line, motion),
            cautions=[c.text for c in cautions()],
            proving=proving(),
            remarks_of_picture=_picture_remarks(line, motion, views),
            follows=compensated_work(plan) is not None,
            missing=estimates.missing(plan),
            given=given,
            gives_way=said,
            yields=given and yield_chart(plan, given, " ".join(said)),
            efforts=estimates.efforts(plan),
            left_out_passes=estimates.left_out(plan),
            loads=estimates.loads_sheet(plan),
            fit=estimates.fit_sheet(plan),
            left=left,
            not_shown=not_shown,
            styles=Markup(styles),
            script=Markup(script),
            policy=content_policy(styles, script, images=True),
        )
    )
    return Review(html, text, result)


def _counted(grave: Counter[str]) -> str:
    """Return in words what stands beside errors and above notes; empty for nothing."""
    said = []
    for severity, word in (("accepted", "refusal accepted"), ("warning", "warning")):
        count = grave[severity]
        if count:
            first, _, rest = word.partition(" ")
            said.append(f"{count} {first}{'s' if count > 1 else ''} {rest}".strip())
    return ", ".join(said)


def _foot(job: Job, mark: str) -> str:
    """Return the style that says on each sheet of paper whose it is."""
    small = "font: 7pt sans-serif;"
    whose = f'"Job {job.identity}, program {job.part.number}, text {mark}"'
    return (
        f"@media print {{ @page {{ @bottom-left {{ content: {whose}; {small} }} "
        f'@bottom-right {{ content: counter(page) " of " counter(pages); {small} }} }} }}\n'
    )


def _picture_remarks(line: Timeline, motion: Motion, views: Iterable[View]) -> list[str]:
    """Return what the pictures take for granted, what matters most first."""
    said = []
    if line.lost:
        said.append(
            "The program moves by increments from a place that it does not say: pictures, passes "
            "and readings do not show where the rolls would go."
        )
    if not line.timed:
        said.append(
            "A feed has no feed rate, or the spindle does not turn at a speed that is known: such "
            "a move is drawn at once or at a speed that is not its own."
        )
    if line.cut:
        said.append(
            "Some coordinate or time is too large to show: pictures, passes and readings show it "
            "smaller than it is."
        )
    said += [
        f"The motion leaves the picture “{view.title}”; the readings say where the slide stands."
        for view in views
        if view.outside
    ]
    if line.assumed:
        said.append("The start is drawn at the safe position; the program does not say it.")
    if any(m.kind == "reference" for m in motion.moves):
        said.append("The reference point is drawn at the safe position.")
    if any(b.skip for b in motion.blocks):
        said.append("Blocks with a slash are shown carried out.")
    return said


def _groups(motion: Motion, result: Verification) -> Iterator[list[_Line]]:
    grave: dict[int, str] = {}
    for finding in sorted(result.findings, key=lambda f: f.severity):
        grave.setdefault(finding.line, finding.severity)
    lines = [_Line(i, _visible(b.text), grave.get(b.line, "")) for i, b in enumerate(motion.blocks)]
    for first in range(0, len(lines), GROUP):
        yield lines[first : first + GROUP]


def _visible(text: str) -> str:
    """Return a line with characters that cannot be seen, or turn the others round, named."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        f"‹U+{ord(c):04X}›" if unicodedata.category(c) in ("Cc", "Cf") and c != "\t" else c
        for c in text
    )


def _data(line: Timeline, views: Iterable[View], plan: Plan, radius: bool) -> dict[str, Any]:
    """Return what the script moves things by."""
    contact = plan.contact
    inch = plan.job.units == "inch"
    unit = MM_PER_INCH if inch else 1.0
    told: dict[str, int] = {}
    states = [told.setdefault(_state_text(s), len(told)) for s in line.states]
    keys = line.keys
    # Where the slide follows the work the roll is drawn where the slide stands, deeper than
    # the rolls come.
    stiff = None
    if compensated_work(plan) is not None:
        stiff = [round(contact.depth_mm(k.x), 5) for k in keys]
    return {
        "s": [round(k.s, 6) for k in keys],
        "x": [round(k.x, 5) for k in keys],
        "z": [round(k.z, 5) for k in keys],
        "c": [round(k.depth, 5) for k in keys],
        "stiff": stiff,
        "p": [PHASES.index(k.phase) for k in keys],
        "after": line.key_after,
        "state": states,
        "states": list(told),
        "halts": [[h.block, round(h.s, 6), h.optional] for h in line.halts],
        "phases": [[name, PHASE_NAMES[name]] for name in PHASES],
        "views": {
            v.name: [v.frame.x0, v.frame.kx, v.frame.y0, v.frame.ky, *v.within] for v in views
        },
        "left": plan.datum_shift_mm,
        "blank": contact.blank_radius_mm,
        "centre": contact.datum_shift_mm,
        "unit": [unit, (2.0 if radius else 1.0) * unit, 4 if inch else 3],
    }


def _state_text(state: State) -> str:
    """Return spindle and coolant in words."""
    rpm = f"{state.rpm:g} rev/min " if state.rpm and state.spindle != "off" else ""
    turning = "spindle stopped" if state.spindle == "off" else f"{rpm}{state.spindle}"
    return f"{turning}, coolant {'on' if state.coolant else 'off'}"
