"""What planning may refuse, warn of and note: each code with what it means.

The one list of them. The steps of planning say them (``plan/``), a job may accept some
(``process.accept``), and tests hold the three together. It stands here, not in ``shared/``:
a shop may change what a material is, but not what a refusal is.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

__all__ = ["ACCEPTABLE", "CODES", "Code", "Level"]

Level = Literal["refusal", "warning", "note"]


class Code(NamedTuple):
    """One thing that planning says.

    Attributes:
        levels: How it is said, the usual way first.
        means: What it means, in one clause.
        acceptable: Whether the programmer may accept the refusal.
    """

    levels: tuple[Level, ...]
    means: str
    acceptable: bool = False


def _refusal(means: str, *also: Level) -> Code:
    return Code(("refusal", *also), means)


def _acceptable(means: str, *also: Level) -> Code:
    return Code(("refusal", *also), means, acceptable=True)


def _warning(means: str, *also: Level) -> Code:
    return Code(("warning", *also), means)


def _note(means: str) -> Code:
    return Code(("note",), means)


CODES: dict[str, Code] = {
    # diameters and teeth
    "does-not-track": _acceptable(
        "the given blank is more than a quarter of a tooth from a whole number"
    ),
    "tracking-doubtful": _warning(
        "the given blank is more than a tenth of a tooth from a whole number"
    ),
    "diameters-disagree": _refusal("the given blank does not grow to the given knurled diameter"),
    "no-whole-tooth-count": _refusal("no whole number of teeth gives the knurled diameter"),
    "shallow": _warning("the teeth stay below the height of a good knurl"),
    "fullness-not-used": _warning(
        "the two given diameters need another fullness than the one given"
    ),
    "odd-pitch": _note("the pitch is not a standard pitch"),
    "prefer-96": _note("a diametral pitch of 96 is better than one of 64"),
    # measured parts
    "measured": _note("figures of measured parts are taken instead of estimates"),
    "measured-left-out": _note("measured parts that contradict the others are left out"),
    # rolls and tool
    "no-rolls-for-form": _refusal("a tool of this style has no rolls for the form"),
    "straddle-too-small": _refusal("the straddle does not open over the blank"),
    "rolls-too-far-apart": _refusal("the rolls pass above and below the work"),
    "roll-pitch": _refusal(
        "the rolls have another pitch than the callout: warned of from 1 %, refused from 5 %",
        "warning",
    ),
    "roll-not-counted": _note(
        "the rolls' teeth are not counted: what a roll of the given diameter would do"
    ),
    "tpi-count": _warning(
        "rolls of 14, 21 or 33 TPI do not have the pitch that the number says: count and measure"
    ),
    "rolls-chosen": _note("the pitch was left open, and the shop's rolls decided it"),
    # traverse and plunge
    "plunge-only-rolls": _refusal("rolls that print points or pits cannot traverse"),
    "rolls-too-narrow": _refusal("the rolls are narrower than the knurl that they are to plunge"),
    "marks-outside": _acceptable("the rolls print outside the knurl zone"),
    "needs-bevelled-rolls": _acceptable(
        "plain rolls traverse a zone that does not start at the end"
    ),
    "bevelled-rolls": _note("both ends of the traverse stay inside the zone"),
    "no-travel": _refusal("the rolls are as wide as the zone inside which they are to traverse"),
    "traverse-too-short": _acceptable("the knurl is not wider than two thirds of the rolls"),
    "not-used": _note("the job gives what a plunge, or this traverse, does not use"),
    "wide-knurl": _warning("the knurl is wider than the blank's diameter"),
    # speed, feed, passes
    "above-machine-limit": _refusal("the spindle speed is above the machine's limit"),
    "above-reversal-limit": _acceptable(
        "the spindle turns faster than the limit for reversing under load"
    ),
    "feed-above-half-face": _refusal("the feed is above half the face width of the rolls"),
    "feed-range": _warning("the feed is outside the usual range"),
    "infeed-fast": _warning("the first impression is pressed in within one turn"),
    "trial-needs-passes": _refusal("a trial by plunging needs two passes"),
    "passes-too-many": _refusal("the last pass is a smaller step than X can express"),
    "trial-too-long": _refusal("the trial strip reaches the end of the knurl"),
    "lead-in": _note("how to turn the head for the trial strip"),
    # what stands around
    "safe-x-inside": _refusal("the safe X is inside the clearance, or a step reaches out to it"),
    "clearance-in-crests": _refusal("rapids would end in the crests of the finished knurl"),
    "past-the-chuck": _refusal("the knurl ends beyond the chuck"),
    "meets-the-chuck": _refusal("the rolls would run against the chuck"),
    "near-the-chuck": _warning("the rolls come within the clearance of the chuck"),
    "meets-the-centre": _refusal("the rolls would run against the centre"),
    "centre-clearance": _note("the largest centre that clears the rolls"),
    "meets-a-shoulder": _refusal("the rolls would run against a shoulder"),
    "near-shoulder": _acceptable(
        "rolls or holder come within the clearance of a shoulder, collar or step"
    ),
    "steps-disagree": _refusal("a step under the knurl does not have the blank's diameter"),
    # holding, material, edges
    "chuck-alone": _warning("the work is held in a chuck alone"),
    "live-centre": _warning("a live centre wears under the force of the rolls", "note"),
    "grease-centre": _note("the dead centre needs grease"),
    "brittle": _warning("the material hardly stretches before it breaks"),
    "hard": _warning("the material is hard for form rolling"),
    "break-the-edge": _note("knurled ends are sharp"),
    # loads and deflection
    "loads-not-told": _note("strength or stiffness of the material is not known"),
    "above-tool-limit": Code(
        ("refusal", "warning"), "the force per roll is above the tool's limit"
    ),
    "above-torque-limit": Code(("refusal", "warning"), "the torque is above the machine's limit"),
    "grip-not-given": _note("the grip of the chuck is not given"),
    "slips-in-the-chuck": _warning("the axial force is above what the chuck holds"),
    "gives-way": _warning("the work deflects by more than a tenth of the penetration"),
    "deflects-too-far": _refusal("the work deflects further than the estimate holds"),
    "bends-the-work": _acceptable(
        "by the estimate the force bends the work permanently", "warning"
    ),
    "slide-follows": Code(("note", "warning"), "the slide follows the estimated deflection"),
    "goes-straight": _note("there is no deflection to compensate"),
    "nothing-to-follow": _refusal("the deflection to compensate is not known"),
    "follows-too-far": _refusal("the deflection to compensate is too large"),
    "follows-too-long": _refusal("the passes are too long for deflection compensation"),
    # the part that is to be expected
    "doubles": _acceptable(
        "by the imprint the rolls print a double impression on the blank", "warning"
    ),
    "shallow-on-part": _acceptable(
        "the teeth are expected to come out lower than half of the planned height", "warning"
    ),
    "overfills": _warning("the largest blank or one step of X presses the teeth full"),
    "window-narrow": _warning("the limits of the blank are close to each other"),
    "unlikely-size": _acceptable("the knurl has more teeth or a larger diameter than is likely"),
    # press fit
    "fit-not-given": _note("a press fit is wanted and its bore is not given"),
    "fit-wants-straight": _warning("the closer tolerance classes are for straight knurls only"),
    "fit-needs-modulus": _refusal("Young's modulus of shaft or hub is not known"),
    "fit-needs-strength": _refusal("the strength of shaft or hub is not known"),
    "fit-poisson": _note("Poisson's ratio is assumed"),
    "fit-loose": _refusal("at the limits of the tolerances there would be no interference"),
    "under-bore": _refusal("the crests are expected not to reach the bore"),
    "fit-too-tight": _refusal("the bore is smaller than the knurl is at its roots"),
    "fit-cannot-hold": _refusal("the wanted load is above what the fit can hold at its best"),
    "fit-short": _warning("friction alone does not hold the wanted load"),
    "hub-cracks": _warning("the hub may yield or crack at the tightest fit"),
    "crests-overfill": _warning("the crests displace more than their grooves take"),
    "fit-estimate": _note("what the figures of the press fit rest on"),
}
"""All codes by subject."""

ACCEPTABLE: dict[str, str] = {name: c.means for name, c in CODES.items() if c.acceptable}
"""Refusals that ``process.accept`` may take, and what the programmer then accepts."""
