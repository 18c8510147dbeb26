"""The rules of the sequence: strokes held against planned passes, side by side."""

from __future__ import annotations

from dataclasses import replace

from knurlcam.gcode.motion import Block
from knurlcam.plan.model import Plan
from knurlcam.plan.results import Pass
from knurlcam.verification.depths import Depths
from knurlcam.verification.feeds import Feeds
from knurlcam.verification.limits import (
    DWELL_TOLERANCE_S,
    Z_TOLERANCE_MM,
    code_of_long_dwell,
)
from knurlcam.verification.report import Report
from knurlcam.verification.strokes import Contact, Stroke, Strokes

__all__ = ["check_sequence"]

_DEPTHS = frozenset(
    {"too-deep", "step-too-deep", "not-to-depth", "slanted-in-contact", "not-following"}
)
"""Codes that say that a depth is not as planned."""

_TOWARD = {"headstock": " toward the chuck", "tailstock": " toward the tailstock", "plunge": ""}
"""Direction of a pass in words."""

_INWARD = ("in", "ease")
"""Strokes of X: an ``ease`` stands where an infeed is planned, or it is the way out."""


def check_sequence(
    strokes: Strokes, plan: Plan, feeds: Feeds, report: Report, last_block: Block
) -> None:
    """Check the contacts of a whole program against the trial strip and the passes.

    Args:
        strokes: What the rolls did in the work.
        plan: What they should do.
        feeds: Checks the feed of a way out in more than one block.
        report: Takes the findings.
        last_block: Where what is missing is missed.
    """
    contacts = strokes.contacts
    if not contacts:
        _say_never_touched(strokes, report, last_block)
        return
    if _says_missed(strokes, plan, report):
        return
    if plan.trial is not None:
        contacts = _check_trial(strokes, plan, feeds, report, last_block)
        if not contacts:
            return
    first, *rest = contacts
    # Only a contact that did all its strokes can be held against the passes one by one: of
    # one that was left too soon, each pass that is missing has the same cause.
    if rest and not first.covers(plan.passes):
        out = first.strokes[-1]
        if not out.said:
            report.say(
                "track-left",
                out.block,
                "the rolls leave the work before the last pass is finished"
                f"{strokes.depths.question(out.x)}",
            )
        return
    _Sequence(first, plan, feeds, report, strokes.depths).check(plan.passes)
    for extra in rest:
        report.say(
            "extra-contact", extra.first_block, "the rolls touch the work again after the last pass"
        )
    if not first.left:
        report.say("contact-not-left", last_block, "no block takes the rolls out of the work")


def _say_never_touched(strokes: Strokes, report: Report, last_block: Block) -> None:
    infeed = strokes.never_reached
    block, tail = last_block, ""
    if infeed is not None:
        block, x = infeed
        tail = f": the infeed ends at X {report.mm(x)}{strokes.depths.question(x)}"
    report.say("pass-missing", block, f"the rolls never touch the work{tail}")


def _says_missed(strokes: Strokes, plan: Plan, report: Report) -> bool:
    """Say that the first infeed ends before the work, and nothing of what comes of it.

    Only where the work is met elsewhere than planned: a feed in air is else one more way there.
    """
    entry, first = strokes.contacts[0].strokes[0], plan.passes[0].z_start_mm
    strip_is_missing = plan.trial is not None and len(strokes.contacts) == 1
    elsewhere = abs(entry.z0 - first) > Z_TOLERANCE_MM
    if strokes.missed is None or not (elsewhere or strip_is_missing):
        return False
    block, x = strokes.missed
    name = "the trial strip" if plan.trial is not None else "pass 1"
    mm, touch = report.mm, plan.contact.x_diameter_mm(0.0)
    report.say(
        "not-to-depth",
        block,
        f"{name} does not reach the work: X is {mm(x)}, the rolls touch at X {mm(touch)}"
        f"{strokes.depths.question(x)}",
    )
    return True


def _check_trial(
    strokes: Strokes, plan: Plan, feeds: Feeds, report: Report, last_block: Block
) -> list[Contact]:
    """Check the trial strip; return the contacts that come after it."""
    contacts, only = strokes.contacts, _trial_pass(plan)
    strip, rest = contacts[0], contacts[1:]
    if not rest:
        if strip.traverses > 1 or not strip.left or strip.covers(plan.passes):
            report.say(
                "trial-missing", strip.first_block, "the first pass begins without a trial strip"
            )
            return contacts
        report.say("pass-missing", last_block, "the program knurls nothing after the trial strip")
    before = len(report.findings)
    _Sequence(strip, plan, feeds, report, strokes.depths, trial=True).check((only,))
    last = strip.strokes[-1].block
    if not strip.left and len(report.findings) == before:
        report.say("trial-not-planned", last, "the rolls stay in the work after the trial strip")
    stops = rest[0].stops_before if rest else strokes.stops
    if not stops:
        report.say(
            "trial-stop-missing", last, "the program goes on after the trial strip without a stop"
        )
    elif plan.job.process.trial_stop == "program" and all(stop.optional for stop in stops):
        report.say(
            "trial-stop-missing",
            stops[0].block,
            "the stop after the trial strip is optional, planned a program stop: with its switch "
            "off the program goes on",
        )
    return rest


def _trial_pass(plan: Plan) -> Pass:
    """Return the trial strip as the one pass that it is."""
    trial = plan.trial
    assert trial is not None
    return Pass(
        1,
        "headstock" if trial.z_end_mm < trial.z_start_mm else "plunge",
        trial.penetration_mm,
        trial.x_diameter_mm,
        trial.z_start_mm,
        trial.z_end_mm,
    )


def _without_dwells_on_the_way(strokes: list[Stroke]) -> tuple[list[Stroke], list[Stroke]]:
    """Join traverses that go on in the same way after a dwell; return the dwells as well."""
    joined: list[Stroke] = []
    dwells: list[Stroke] = []
    for stroke in strokes:
        if stroke.kind == "along" and [s.kind for s in joined[-2:]] == ["along", "dwell"]:
            before = joined[-2]
            if (before.z1 - before.z0) * (stroke.z1 - stroke.z0) > 0:
                dwells.append(joined.pop())
                least, most = min(before.least, stroke.least), max(before.most, stroke.most)
                joined[-1] = replace(stroke, z0=before.z0, least=least, most=most)
                continue
        joined.append(stroke)
    return joined, dwells


class _Sequence:
    """Goes through the strokes of one contact and the passes side by side.

    What the program does beside a planned stroke and within the tolerance is gone past: a
    dwell more, an infeed of less than a step, a way outward that turns out to be the way out.
    """

    def __init__(
        self,
        contact: Contact,
        plan: Plan,
        feeds: Feeds,
        report: Report,
        depths: Depths,
        *,
        trial: bool = False,
    ) -> None:
        self.strokes, self.on_the_way = _without_dwells_on_the_way(contact.strokes)
        self.plan = plan
        self.feeds, self.report, self.trial = feeds, report, trial
        self.dwell_s, self.tolerance = plan.dwell_s, depths.tolerance
        self.question = depths.question
        self.deepest = plan.penetration_mm + self.tolerance
        # With as many ends as are looked ahead.
        self.kinds: list[str] = [*(s.kind for s in self.strokes), "end", "end"]
        self.i = 0

    @property
    def stroke(self) -> Stroke:
        """The next stroke; past the end the last."""
        return self.strokes[min(self.i, len(self.strokes) - 1)]

    def named(self, step: Pass) -> str:
        """Return what a pass is called."""
        return "the trial strip" if self.trial else f"pass {step.number}"

    # -- all passes ------------------------------------------------------------------

    def check(self, passes: tuple[Pass, ...]) -> None:
        self.check_entry(self.strokes[0], passes[0])
        self.check_limits()
        for dwell in self.on_the_way:
            self.report.say(
                "dwell-on-the-way",
                dwell.block,
                f"a dwell of {dwell.seconds:.3f} s in the middle of a traverse",
            )
        for step in passes:
            if not self.check_pass(step):
                return
        self.check_leaving()
        if self.kinds[self.i] in ("in", "along") and not self.stroke.said:
            self.report.say(
                "trial-not-planned" if self.trial else "extra-pass",
                self.stroke.block,
                "the rolls go on in the work after the trial strip"
                if self.trial
                else "the rolls go on in the work after the last planned pass",
            )

    def check_pass(self, step: Pass) -> bool:
        """Check a pass; False where what follows cannot be compared any more."""
        if step.presses:
            self.check_infeed(step)
        elif self.kinds[self.i] == "in":
            self.i += 1  # an infeed of less than the tolerance, or one that is a finding already
        if self.kinds[self.i] == "dwell":
            self.skip_dwell()
        if self.kinds[self.i] == "ease":
            self.skip_easing()
        return step.direction == "plunge" or self.check_traverse(step)

    # -- what holds for every stroke -------------------------------------------------

    def check_entry(self, entry: Stroke, first: Pass) -> None:
        if abs(entry.z0 - first.z_start_mm) <= Z_TOLERANCE_MM:
            return
        mm = self.report.mm
        self.report.say(
            "wrong-start",
            entry.z_block or entry.block,
            f"the rolls meet the work at Z {mm(entry.z0)}, planned {mm(first.z_start_mm)}",
        )

    def check_limits(self) -> None:
        """Check full depth, the end of the knurl and the overhang."""
        shift, face = self.plan.datum_shift_mm, self.plan.job.tool.face_width
        end_z = self.plan.line_mm + shift - Z_TOLERANCE_MM
        hang_z = self.plan.right_limit_mm + shift - face + Z_TOLERANCE_MM
        for stroke in self.strokes:
            if stroke.kind in _INWARD:
                if stroke.depth > self.deepest:
                    self.say_too_deep(stroke)
            elif stroke.kind != "along":
                continue
            elif stroke.z1 < stroke.z0:
                if stroke.z1 < end_z:
                    self.say_past_the_end(stroke, stroke.z1 - shift)
            elif stroke.z1 > stroke.z0 and stroke.z1 > hang_z:
                self.say_too_much_overhang(stroke, stroke.z1 - shift + face)

    def say_too_deep(self, stroke: Stroke) -> None:
        mm = self.report.mm
        self.report.say(
            "too-deep",
            stroke.block,
            f"the rolls are {mm(stroke.depth)} deep, full depth is {mm(self.plan.penetration_mm)}"
            f"{self.question(stroke.x)}",
        )

    def say_past_the_end(self, stroke: Stroke, left: float) -> None:
        mm = self.report.mm
        self.report.say(
            "past-the-line",
            stroke.block,
            f"the rolls reach Z {mm(left)}, the knurl ends at Z {mm(self.plan.line_mm)}",
        )

    def say_too_much_overhang(self, stroke: Stroke, right: float) -> None:
        mm = self.report.mm
        self.report.say(
            "too-much-overhang",
            stroke.block,
            f"the rolls' right edge reaches Z {mm(right)}, planned {mm(self.plan.right_limit_mm)}",
        )

    # -- infeed and dwell ------------------------------------------------------------

    def check_infeed(self, step: Pass) -> None:
        """Check the infeed of a pass that presses deeper, and the dwell after it."""
        if self.kinds[self.i] == "dwell" and self.kinds[self.i + 1] in _INWARD:
            self.skip_dwell()
        if self.kinds[self.i] in _INWARD:
            self.check_depth(self.stroke, step)
            self.i += 1
            # A plunge that backs out before its dwell dwells too shallow: the dwell is missing.
            if self.kinds[self.i] == "ease" and not (self.leaves and step.direction == "plunge"):
                self.skip_easing()
        else:
            self.report.say(
                "not-to-depth",
                self.stroke.block,
                f"{self.named(step)} has no infeed, planned "
                f"{self.report.mm(step.penetration_mm)} deep",
            )
        self.check_dwell(step)

    def check_depth(self, stroke: Stroke, step: Pass) -> None:
        depth, planned = stroke.depth, step.penetration_mm
        if depth > self.deepest:
            return  # that is the finding
        if depth > planned + self.tolerance:
            code = "step-too-deep"
        elif depth < planned - self.tolerance:
            code = "not-to-depth"
        else:
            return
        mm = self.report.mm
        self.report.say(
            code, stroke.block, f"{self.named(step)} is {mm(depth)} deep, planned {mm(planned)}"
        )

    def check_dwell(self, step: Pass) -> None:
        planned, stroke = self.dwell_s, self.stroke
        if self.kinds[self.i] != "dwell":
            self.report.say(
                "dwell-missing",
                stroke.block,
                f"{self.named(step)} has no dwell after its infeed, planned {planned:.3f} s",
            )
            return
        short = stroke.seconds < planned - DWELL_TOLERANCE_S
        code = "dwell-short" if short else code_of_long_dwell(stroke.seconds, planned)
        if code:
            self.report.say(
                code,
                stroke.block,
                f"a dwell of {stroke.seconds:.3f} s, planned {planned:.3f} s",
            )
        self.i += 1

    def skip_dwell(self) -> None:
        """Go past a dwell that is not planned; a long one hardens the surface."""
        if self.kinds[self.i] != "dwell":
            return
        self.check_unplanned_dwell(self.stroke.block, self.stroke.seconds)
        self.i += 1

    def check_unplanned_dwell(self, block: Block, seconds: float) -> None:
        code = code_of_long_dwell(seconds, self.dwell_s)
        if code:
            self.report.say(code, block, f"a dwell of {seconds:.3f} s where none is planned")

    @property
    def leaves(self) -> bool:
        """Whether the rolls leave the work next, however often they ease out or dwell before."""
        return next(k for k in self.kinds[self.i :] if k not in ("dwell", "ease")) == "out"

    # -- ways outward ----------------------------------------------------------------

    def skip_easing(self) -> None:
        """Go past ways outward after which the rolls go on in the work, too shallow."""
        leaves = self.leaves
        while self.kinds[self.i] == "ease":
            stroke = self.stroke
            before = max((s.depth for s in self.strokes[: self.i]), default=0.0)
            if leaves:
                self.check_way_out(stroke)
            elif not stroke.said and before <= self.deepest:
                depth = f"to a depth of {self.report.mm(stroke.depth)} and stay in the work"
                if stroke.depth < 0.0:
                    depth = "above the blank and stay in its crests"
                self.report.say("not-to-depth", stroke.block, f"the rolls back out {depth}")
            self.i += 1

    def check_leaving(self) -> None:
        """Check what is left of the contact: blocks outward, and dwells among them."""
        dwells: list[Stroke] = []
        while self.kinds[self.i] in ("dwell", "ease"):
            if self.kinds[self.i] == "dwell":
                dwells.append(self.stroke)
            else:
                self.check_way_out(self.stroke)
            self.i += 1
        if dwells:
            # On one ring of the work: dwells at several depths harden it as one long one does.
            self.check_unplanned_dwell(dwells[-1].block, sum(s.seconds for s in dwells))

    def check_way_out(self, stroke: Stroke) -> None:
        """Check a way out in more than one block, of which the first stay in the work."""
        if stroke.move is not None and not stroke.said:
            self.feeds.check(stroke.move, "out", planned=True)

    # -- traverses -------------------------------------------------------------------

    def check_traverse(self, step: Pass) -> bool:
        """Check the traverse of a pass; False where what follows cannot be compared."""
        more = self.kinds[self.i] == "in" and self.is_as_deep(self.stroke, step)
        if more and self.kinds[self.i + 1] in ("dwell", "along"):
            self.i += 1
            self.skip_dwell()
        stroke = self.stroke
        if self.kinds[self.i] == "out" and stroke.said:
            return False
        if self.kinds[self.i] != "along":
            self.report.say(
                "reversal-missing" if self.kinds[self.i] in _INWARD else "pass-missing",
                stroke.block,
                f"{self.named(step)}{_TOWARD[step.direction]} is missing",
            )
            return False
        self.i += 1
        return self.check_along(stroke, step)

    def is_as_deep(self, stroke: Stroke, step: Pass) -> bool:
        """Whether an infeed more leaves the rolls as deep as planned, within the tolerance."""
        off = abs(stroke.depth - step.penetration_mm)
        return off <= self.tolerance

    def check_along(self, stroke: Stroke, step: Pass) -> bool:
        toward_chuck = stroke.z1 < stroke.z0
        if toward_chuck != (step.direction == "headstock"):
            self.report.say(
                "reversal-missing",
                stroke.block,
                f"{self.named(step)} runs the wrong way, planned{_TOWARD[step.direction]}",
            )
            return False
        code = self.code_of_end(stroke.z1 - step.z_end_mm, toward_chuck)
        if code:
            mm = self.report.mm
            self.report.say(
                code,
                stroke.block,
                f"{self.named(step)} ends at Z {mm(stroke.z1)}, planned {mm(step.z_end_mm)}",
            )
        self.check_depth_along(stroke, step)
        return True

    def code_of_end(self, off: float, toward_chuck: bool) -> str:
        """Return the code of a traverse that ends so far off [mm]; empty where it is none."""
        if self.trial:
            return "trial-not-planned" if abs(off) > Z_TOLERANCE_MM else ""
        if toward_chuck:
            return "short-of-the-line" if off > Z_TOLERANCE_MM else ""
        return "return-short" if off < -Z_TOLERANCE_MM else ""

    def check_depth_along(self, stroke: Stroke, step: Pass) -> None:
        """Steps of less than the tolerance, one after another, come to more than it."""
        planned, off = step.penetration_mm, self.tolerance
        if planned - off <= stroke.least and stroke.most <= planned + off:
            return
        if any(f.code in _DEPTHS for f in self.report.findings):
            return  # that is the finding
        deep = stroke.most > planned + off
        mm, depth = self.report.mm, stroke.most if deep else stroke.least
        self.report.say(
            "step-too-deep" if deep else "not-to-depth",
            stroke.block,
            f"{self.named(step)} runs {mm(depth)} deep, planned {mm(planned)}",
        )
