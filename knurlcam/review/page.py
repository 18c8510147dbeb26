"""The page itself: one file without a single reference to anything outside it.

It is made from plan, motion and findings, and nothing is made from it. What moves is the
motion read back from the text, timed with the reader's own clock, so that an edited program
shows what it really does. An unsaid start and the reference point are drawn at the safe
position.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from markupsafe import Markup

from knurlcam.data.cautions import cautions, proving
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_files import load_dialect
from knurlcam.gcode.marks import Form
from knurlcam.gcode.motion import Motion
from knurlcam.job.model import Job
from knurlcam.plan.model import Plan
from knurlcam.plan.planner import make_plan
from knurlcam.program import read_and_verify
from knurlcam.review.deflection import deflection_curves
from knurlcam.review.imprint import page_imprint
from knurlcam.review.listing import listing
from knurlcam.review.loads import deflection_sentences, unknown_loads
from knurlcam.review.motion_data import PHASE_NAMES, motion_data
from knurlcam.review.onefile import content_policy, own_style, own_text, page_environment
from knurlcam.review.tables.blank import blank_sheet
from knurlcam.review.tables.findings import findings_and_notes, severity_of
from knurlcam.review.tables.first_part import first_part
from knurlcam.review.tables.loads import fit_sheet, loads_sheet, pass_forces, passes_left_out
from knurlcam.review.tables.offsets import offsets
from knurlcam.review.tables.passes import passes_table
from knurlcam.review.tables.speeds import speed_sheet
from knurlcam.review.tables.tool import rolls_sheet, setting_sheet
from knurlcam.review.tables.trial_strip import double_impression, trial_strip
from knurlcam.review.views.deflection import deflection_chart
from knurlcam.review.views.end import end_view
from knurlcam.review.views.frame import View
from knurlcam.review.views.infeed import infeed_view
from knurlcam.review.views.side import side_view
from knurlcam.timeline import Timeline, time_line
from knurlcam.verification.findings import Verification

__all__ = ["Review", "review_page"]

MOST_FINDINGS = 60
"""Findings and notes that are listed at most: the first are fixed before more are read."""


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
        form: What the text is; None to tell from its own comment, else a program.
        posts: Folders of a shop's own dialects; that of the job's shop file comes after them.
        name: What to call the text on the page, such as its file's name.

    Raises:
        CannotBeDoneError: if the job cannot be done.
        InputError: if the dialect is unknown or broken.
    """
    dialect = load_dialect(post or job.machine.post, (*posts, *job.posts))
    plan = make_plan(job)
    # The page shows what the text says, not what the plan meant: an edited program must show.
    text, motion, result = read_and_verify(plan, text, dialect, form)
    sources = _Sources(plan, dialect, text, motion, result, time_line(motion, plan))
    context = {
        "name": name or "written from the job",
        **_head(sources),
        **_stage(sources),
        **_tables(sources),
        **_loads(sources),
        **_imprint(sources),
        **_style_and_script(sources),
    }
    html = page_environment("knurlcam.review").get_template("page.html.j2").render(context)
    return Review(html, text, result)


@dataclass(frozen=True)
class _Sources:
    """What the page is made from.

    Attributes:
        plan: The plan.
        dialect: The program's dialect.
        text: The program.
        motion: What was read of it.
        result: Its findings.
        line: The motion against time.
    """

    plan: Plan
    dialect: Dialect
    text: str
    motion: Motion
    result: Verification
    line: Timeline

    @property
    def radius(self) -> bool:
        """Whether the program's X words are radii."""
        return self.dialect.x == "radius"

    @cached_property
    def checksum(self) -> str:
        """Eight digits by which a sheet of paper and a text are held against each other."""
        return hashlib.sha256(self.text.encode()).hexdigest()[:8].upper()


# -- what stands at the top ------------------------------------------------------


def _head(sources: _Sources) -> dict[str, Any]:
    """Return whose page it is, and the verdict with what speaks against the program."""
    plan, result, motion = sources.plan, sources.result, sources.motion
    entries = findings_and_notes(plan, result, motion)
    count: Counter[str] = Counter(f.severity for f in result.findings)
    count.update(severity_of(note) for note in plan.notes)
    return {
        "title": plan.job.part.name,
        "plan": plan,
        "job": plan.job,
        "dialect": sources.dialect,
        "result": result,
        "mark": f"{len(motion.blocks)} lines, {sources.checksum}",
        "errors": count["error"],
        "cautioned": _counted(count),
        "entries": entries[:MOST_FINDINGS],
        "left_out": max(0, len(entries) - MOST_FINDINGS),
    }


def _counted(count: Counter[str]) -> str:
    """Return in words what stands between errors and notes; empty for nothing."""
    said = []
    for severity, word in (("accepted", "refusal accepted"), ("warning", "warning")):
        number = count[severity]
        if number:
            first, _, rest = word.partition(" ")
            said.append(f"{number} {first}{'s' if number > 1 else ''} {rest}".strip())
    return ", ".join(said)


# -- what moves ------------------------------------------------------------------


def _stage(sources: _Sources) -> dict[str, Any]:
    """Return the pictures, the listing, and what the script moves things by."""
    plan, line, motion = sources.plan, sources.line, sources.motion
    views = [side_view(plan, line), infeed_view(plan, line), end_view(plan)]
    return {
        "x_word": "X, radius" if sources.radius else "X, diameter",
        "z_word": f"Z, {plan.job.tool.z_datum}",
        "views": {view.name: view for view in views},
        "phases": PHASE_NAMES,
        "picture_notes": [*_doubts(line), *_outside(views), *_assumptions(line, motion)],
        "groups": listing(motion, sources.result),
        "data": motion_data(plan, line, views, radius=sources.radius),
    }


def _doubts(line: Timeline) -> Iterator[str]:
    """Yield what the pictures cannot show as it is."""
    if line.lost:
        yield (
            "The program moves by increments from a start that it does not state: pictures, passes "
            "and readings do not show where the rolls would go."
        )
    if not line.timed:
        yield (
            "A feed move has no feed rate, or the spindle does not turn at a known speed: such a "
            "move is drawn at once or at a wrong speed."
        )
    if line.cut:
        yield (
            "A coordinate or time is too large to show: pictures, passes and readings show it "
            "smaller than it is."
        )


def _outside(views: Iterable[View]) -> Iterator[str]:
    """Yield which pictures the motion leaves."""
    for view in views:
        if view.outside:
            yield (
                f"The motion leaves the picture “{view.title}”; the readings say where the slide "
                "stands."
            )


def _assumptions(line: Timeline, motion: Motion) -> Iterator[str]:
    """Yield what the pictures take for granted."""
    if line.assumed:
        yield "The start is drawn at the safe position; the program does not state it."
    if any(m.kind == "reference" for m in motion.moves):
        yield "The reference point is drawn at the safe position."
    if any(b.skip for b in motion.blocks):
        yield "Blocks with a slash (block delete) are shown carried out."


# -- tables ----------------------------------------------------------------------


def _tables(sources: _Sources) -> dict[str, Any]:
    """Return the tables beside the pictures, and what is to be read before the start."""
    plan, line, motion = sources.plan, sources.line, sources.motion
    return {
        "blank": blank_sheet(plan),
        "rolls": rolls_sheet(plan),
        "setting": setting_sheet(plan, sources.dialect, sources.result.form),
        "speeds": speed_sheet(plan, motion, line),
        "passes": passes_table(plan, line, radius=sources.radius, wrong=_wrong(sources)),
        "checks": first_part(plan),
        "offsets": offsets(plan, radius=sources.radius),
        "trial": trial_strip(plan, line, motion),
        "advice": double_impression(plan, line),
        "lost": line.lost,
        "cautions": [c.text for c in cautions()],
        "proving": proving(),
    }


def _wrong(sources: _Sources) -> set[int]:
    """Return the places of the blocks in which an error was found."""
    place = {block.line: i for i, block in enumerate(sources.motion.blocks)}
    errors = (f.line for f in sources.result.findings if f.severity == "error")
    return {place[line] for line in errors if line in place}


# -- estimates -------------------------------------------------------------------


def _loads(sources: _Sources) -> dict[str, Any]:
    """Return loads and deflection."""
    plan, line = sources.plan, sources.line
    curves = deflection_curves(plan, line)
    said = deflection_sentences(plan, line, curves)
    return {
        "follows": plan.follows,
        "missing": unknown_loads(plan),
        "curves": curves,
        "deflects": said,
        "chart": curves and deflection_chart(plan, curves, " ".join(said)),
        "efforts": pass_forces(plan),
        "left_out_passes": passes_left_out(plan),
        "loads": loads_sheet(plan),
        "fit": fit_sheet(plan),
    }


def _imprint(sources: _Sources) -> dict[str, Any]:
    """Return what the rolls leave, or why it is not shown."""
    left, not_shown = page_imprint(
        sources.plan, sources.motion, sources.line, sound=sources.result.ok
    )
    return {"left": left, "not_shown": not_shown}


# -- looks -----------------------------------------------------------------------


def _style_and_script(sources: _Sources) -> dict[str, Any]:
    """Return style and script, and the policy that lets only these two be."""
    here = Path(__file__).parent
    # Inline style and handler attributes stay forbidden: a name or a comment of the program that
    # is not escaped by some mistake can then still do nothing.
    styles = own_style(here / "page.css", pictures=True) + _foot(sources)
    script = own_text(here / "page.js")
    return {
        "styles": Markup(styles),
        "script": Markup(script),
        "policy": content_policy(styles, script, images=True),
    }


def _foot(sources: _Sources) -> str:
    """Return the style that says on each sheet of paper whose it is."""
    job = sources.plan.job
    small = "font: 7pt sans-serif;"
    whose = f'"Job {job.identity}, program {job.part.number}, text {sources.checksum}"'
    return (
        f"@media print {{ @page {{ @bottom-left {{ content: {whose}; {small} }} "
        f'@bottom-right {{ content: counter(page) " of " counter(pages); {small} }} }} }}\n'
    )
