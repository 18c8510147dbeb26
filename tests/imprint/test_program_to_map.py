"""The map follows the program's motion and the blank, not the plan; what cannot be is refused."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from knurlcam import CannotBeDoneError, read_program
from tests.support.imprints import PLUNGED, Made, closing_mm, imprint_of


def test_it_is_the_program_that_is_shown_and_not_the_plan() -> None:
    """Its last passes are made half as deep, in the text."""
    made = Made({})
    deepest = f"X{made.plan.passes[-1].x_diameter_mm:.3f}"
    shallow = f"X{made.plan.passes[0].x_diameter_mm:.3f}"
    edited = Made({}, (deepest, shallow))
    found, planned = edited.imprint().measures, made.imprint().measures
    assert found.tooth_height_mm < planned.tooth_height_mm - 0.03
    assert found.knurled_diameter_mm < planned.knurled_diameter_mm - 0.03


def test_a_program_that_stops_short_of_the_line_leaves_a_shorter_knurl() -> None:
    short = Made({}, (r"Z-20\.000", "Z-17.000")).imprint()
    assert short.measures.length_mm == pytest.approx(17.0, abs=0.1)


def test_without_a_dwell_at_the_line_the_knurl_ends_unevenly() -> None:
    """The edge of the rolls runs out along a thread of the feed's lead, 0.5 mm a turn."""
    assert imprint_of().measures.runout_mm < 0.05
    once = {"process.passes": 1, "process.clean_up": False}
    hasty = Made(once, (r"(?m)^.*G04.*\n", ""))
    assert 0.2 < hasty.imprint().measures.runout_mm < 0.6


def test_the_face_prints_only_where_it_is_on_the_work() -> None:
    surface = imprint_of().surface
    assert surface.zs_mm[-1] == pytest.approx(0.0, abs=surface.dz_mm)
    assert float(surface.height_mm[-1].min()) < -0.15
    beyond = surface.zs_mm < -20.1
    assert beyond.any()
    assert not surface.height_mm[beyond].any()


def test_work_that_deflects_is_printed_less_deep() -> None:
    """The roots follow what the deflection of the work leaves at the rolls' edges."""
    made = Made({})
    soft, stiff = made.imprint(stiff=False), made.imprint()
    assert made.plan.estimate is not None
    bending = made.plan.estimate.deflection
    assert bending is not None
    left, _ = bending.work.edges_mm(
        made.plan.passes[-1].x_diameter_mm / 2.0 + made.plan.contact.datum_shift_mm, -20.0
    )
    at_the_line = int(np.searchsorted(soft.surface.zs_mm, -19.98))
    root = -float(soft.surface.height_mm[at_the_line : at_the_line + 5].min())
    assert root == pytest.approx(left, abs=0.001)
    assert soft.measures.evenness < stiff.measures.evenness
    assert soft.measures.knurled_diameter_mm < stiff.measures.knurled_diameter_mm


def test_a_larger_blank_is_met_sooner_and_pressed_deeper() -> None:
    on_plan = imprint_of()
    plan = on_plan.rolling.plan
    larger = imprint_of(None, blank_diameter_mm=plan.blank_diameter_mm + 0.006)
    assert larger.measures.double_impression < 0.1
    deeper = -float(larger.surface.height_mm.min()) + float(on_plan.surface.height_mm.min())
    assert deeper == pytest.approx(0.003, abs=0.0005)


def test_what_rolls_do_that_come_back_half_a_tooth_off_is_seen() -> None:
    strip = {"process.trial_strip": True, "knurl.length": 30.0, "part.length": 80.0}
    made = Made(strip)
    worst, found = made.imprint(), made.imprint(return_teeth=0.0)
    assert len(worst.course.stays) == 2
    assert len(worst.course.tracks) == 2
    assert found.course.tracks != worst.course.tracks
    assert found.measures.double_impression < 0.02 < worst.measures.double_impression
    # ... in the strip, and nowhere else
    crest = worst.surface.height_mm.max(axis=1)
    outside = worst.surface.zs_mm < -20.0
    assert crest[outside].max() == pytest.approx(found.surface.height_mm.max(), abs=0.002)


def plunged_twice(form: str, beside_mm: float) -> Made:
    """Return a plunge that is done once more, so far towards the chuck."""
    changes = {**PLUNGED, "knurl.callout": f"DIN 82 {form} 1.0"}
    made = Made({**changes, "part.blank_diameter": closing_mm(67, changes)})
    strokes = re.search(r"(?s)\(PASS.*\(RETRACT\)\n[^\n]+\n", made.text)
    assert strokes is not None
    z = made.plan.job.knurl.length + beside_mm
    again = strokes[0] + f"G00 Z{-z:.3f}\n" + re.sub(r"N\d+ ", "", strokes[0])
    made.motion = read_program(made.text.replace(strokes[0], again))
    return made


@pytest.mark.parametrize(("form", "beside_mm"), [("RGE", 0.0), ("RGE", 7.9), ("RGV", 3.0)])
def test_a_second_plunge_into_a_knurl_doubles_where_both_are(form: str, beside_mm: float) -> None:
    """Rolls that left the work come down beside their track, at worst half a tooth."""
    made = plunged_twice(form, beside_mm)
    worst = made.imprint()
    assert len(worst.course.stays) == 2
    assert worst.measures.double_impression > 0.5
    # They were lifted off in between.
    assert worst.course.dragged_mm == 0.0


def test_a_second_plunge_that_finds_its_track_or_lies_beside_the_knurl_leaves_it_clean() -> None:
    found = plunged_twice("RGE", 0.0).imprint(return_teeth=0.0)
    assert found.measures.double_impression < 0.02
    beside = plunged_twice("RGE", 12.0).imprint()
    assert beside.measures.double_impression < 0.02


def test_points_that_are_dragged_along_the_work_wipe_their_pits_out() -> None:
    """A roll of points cannot screw along two crossing families: it may only plunge."""
    made = Made({**PLUNGED, "knurl.callout": "DIN 82 RGV 1.0", "knurl.length": 10.0})
    retract = made.text.index(f"X{made.plan.clearance_x_mm:.3f}", made.text.index("G04"))
    block = made.text.rindex("\n", 0, retract) + 1
    dragged = made.text[:block] + "N999 G01 Z-14. F0.7\n" + made.text[block:]
    made.motion = read_program(dragged)
    assert made.imprint().measures.double_impression > 0.3


def test_a_program_that_never_touches_the_work_has_no_imprint() -> None:
    with pytest.raises(CannotBeDoneError) as caught:
        Made({}).imprint(blank_diameter_mm=20.0)
    assert caught.value.refusals[0].code == "never-touches"
    assert "20.000 mm" in str(caught.value)


def test_a_blank_that_the_rolls_would_meet_in_a_rapid_is_refused() -> None:
    """Two rolls stand nearer than their slide's clearance: they touch 0.28 mm sooner."""
    made = Made({})
    contact, shift = made.plan.contact, made.plan.contact.datum_shift_mm
    clear = made.plan.clearance_x_mm / 2.0 + shift
    touched = 2.0 * (math.hypot(clear, contact.half_spacing_mm) - contact.roll_radius_mm)
    assert made.imprint(blank_diameter_mm=touched - 0.01).held_off_mm > 0.0
    with pytest.raises(
        CannotBeDoneError, match=f"rapid to X {made.plan.clearance_x_mm:.3f}"
    ) as caught:
        made.imprint(blank_diameter_mm=touched + 0.01)
    assert caught.value.refusals[0].code == "met-in-rapid"


def test_a_program_that_does_not_say_where_it_starts_has_no_imprint() -> None:
    made = Made({}, ("G90", "G91"))
    with pytest.raises(CannotBeDoneError, match="place-not-known"):
        made.imprint()


def test_a_program_that_never_ends_is_refused_and_not_followed() -> None:
    made = Made({"process.feed": "0.4 mm/rev"}, (r"F0\.400", "F0.00001"))
    with pytest.raises(CannotBeDoneError, match="too-many-turns"):
        made.imprint()
