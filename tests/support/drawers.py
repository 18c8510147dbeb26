"""Rolls of a drawer, set for a blank, as a job that is carried out."""

from __future__ import annotations

from typing import Any

from knurlcam import Job
from knurlcam.data.codes import ACCEPTABLE
from knurlcam.shop.drawer import Fitting
from tests.support.jobs import REMOVE, base_job


def job_of(found: Fitting, blank_mm: float) -> Job:
    """Return the job that knurls a blank as it is with rolls that are set so."""
    made, knurl = found.rolls, found.rolls.knurl
    straight = knurl.form == "RAA"
    turned = bool(straight and found.swivel_deg)
    changes: dict[str, Any] = {
        "part.knurled_diameter": REMOVE,
        "part.blank_diameter": blank_mm,
        "part.material": "brass CuZn39Pb3",
        "knurl.callout": REMOVE,
        # Straight rolls that are turned a little make teeth at a small angle.
        "knurl.form": "RBL" if turned else knurl.form,
        "knurl.pitch": knurl.pitch_mm,
        "knurl.length": 12.0,
        "tool.style": made.style or "single roll",
        "tool.roll_spacing": made.roll_spacing_mm or REMOVE,
        "tool.roll_diameter": made.roll_diameter_mm,
        "tool.rolls": list(made.forms),
        "tool.swivelled": turned,
        "tool.face_width": 8.0,
        "process.infeed_rate": found.infeed_mm_per_rev,
        "process.accept": [c for c in ("does-not-track", "doubles") if c in ACCEPTABLE],
    }
    if turned or not straight:
        changes["knurl.helix"] = found.helix_deg
    if knurl.diametral_pitch is not None:
        changes |= {"knurl.pitch": REMOVE, "knurl.diametral_pitch": knurl.diametral_pitch}
    return Job.model_validate(base_job(changes))
