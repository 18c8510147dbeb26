"""What an imprint comes to: a verdict in a few words, and the sentence that says what is wrong."""

from __future__ import annotations

from knurlcam.imprint.make import Imprint
from knurlcam.imprint.window import CLEAN, PredictedImprint
from knurlcam.units.show import Shown

__all__ = ["predicted_text", "verdict_of", "verdict_on", "warning_on"]

OVERFULL = 0.1
"""Roll lift-off over the full tooth height from which the rolls are pressed too deep [-]: beyond
it they stall, break, or bend the work."""

DRAGGED = 0.1
"""Pitches by which rolls with two families of teeth may be moved along the work [-]"""

SHALLOW = 0.75
"""Tooth height over the planned one below which a knurl is called shallow [-]"""

FULLY = 0.5
"""Double impression from which a knurl is scrap, and not only marked [-]"""


def verdict_of(double_impression: float) -> str:
    """Return in a few words what a double impression comes to.

    Args:
        double_impression: 0 clean to 1 fully doubled [-]
    """
    if double_impression < CLEAN:
        return "clean"
    return "marked twice" if double_impression < FULLY else "double impression"


def verdict_on(imprint: Imprint) -> str:
    """Return in a few words what an imprint comes to; only one of them is ``clean``.

    Args:
        imprint: What the rolls leave.
    """
    plan, found = imprint.rolling.plan, imprint.measures
    # Most serious first: a dragged pattern is scrap, whatever its single prints look like.
    if imprint.course.dragged_mm > DRAGGED * plan.knurl.pitch_mm:
        return "dragged along the work"
    if found.double_impression >= CLEAN:
        return verdict_of(found.double_impression)
    # Too deep before shallow: teeth that are full are as high as they get.
    if imprint.held_off_mm > OVERFULL * plan.knurl.full_height_mm:
        return "pressed too deep"
    if found.tooth_height_mm < SHALLOW * plan.tooth_height_mm:
        return "single prints, but shallow"
    return verdict_of(found.double_impression)


def warning_on(imprint: Imprint) -> str:
    """Return what is wrong with an imprint, in a sentence; empty where it is clean.

    Args:
        imprint: What the rolls leave.
    """
    plan, found, verdict = imprint.rolling.plan, imprint.measures, verdict_on(imprint)
    mm = Shown(plan.job.units).length
    if verdict == "dragged along the work":
        return (
            f"Rolls that cannot traverse are dragged {mm(imprint.course.dragged_mm)} along "
            "the work: they wipe out their own print."
        )
    if found.double_impression >= CLEAN:
        return (
            "Double impression: the rolls print between their own teeth, "
            f"{found.double_impression:.2f} where 0 is clean and 1 fully doubled."
        )
    if verdict == "pressed too deep":
        return (
            f"The rolls are pressed {mm(imprint.held_off_mm)} deeper than their teeth have "
            "room for metal: they would stall, break, or bend the work."
        )
    if verdict != "clean":
        return (
            f"The teeth come out {mm(found.tooth_height_mm)} high instead of the planned "
            f"{mm(plan.tooth_height_mm)}."
        )
    return ""


def predicted_text(predicted: PredictedImprint) -> str:
    """Return what the program of a plan is expected to leave, in a few words.

    Args:
        predicted: What it is expected to leave.
    """
    worst, found = predicted
    said = f"{_tracking(worst)}, double impression {worst:.2f}"
    if _tracking(worst) == _tracking(found):
        return f"{said} (0 none, 1 fully doubled)"
    return (
        f"{_tracking(found)} if they find their track again after the trial strip, at worst {said}"
    )


def _tracking(double_impression: float) -> str:
    """Return what is known without a map: whether the rolls track, not how high teeth come."""
    clean = double_impression < CLEAN
    return "the rolls track" if clean else verdict_of(double_impression)
