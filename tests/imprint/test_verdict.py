"""What is called clean, and what is said of a knurl that is not."""

from __future__ import annotations

from knurlcam import read_program
from knurlcam.imprint.report import remarks_of
from knurlcam.imprint.verdict import verdict_on
from tests.support.imprints import PLUNGED, Made
from tests.support.loads import CHUCK


def test_rolls_pressed_deeper_than_their_teeth_have_room_for_are_not_called_clean() -> None:
    made = Made({})
    deep = f"X{made.plan.passes[-1].x_diameter_mm:.3f}"
    edited = Made({}, (deep, "X23.900")).imprint()
    assert verdict_on(edited) == "pressed too deep"
    assert any("stall, break, or bend the work" in said for said in remarks_of(edited))
    assert verdict_on(made.imprint()) == "clean"


def test_a_knurl_far_lower_than_planned_is_not_called_clean() -> None:
    pin = {**CHUCK, "knurl.length": 10.0, "part.length": 70.0}
    soft = Made({**pin, "process.accept": ["bends-the-work", "shallow-on-part"]})
    shallow = soft.imprint(stiff=False)
    assert verdict_on(shallow) == "single prints, but shallow"
    assert any("instead of the planned" in said for said in remarks_of(shallow))
    assert verdict_on(soft.imprint()) == "clean"


def test_points_that_were_dragged_along_the_work_are_not_called_clean() -> None:
    changes = {**PLUNGED, "knurl.callout": "DIN 82 RGE 1.0", "part.blank_diameter": 24.63}
    made = Made(changes)
    retract = made.text.index(f"X{made.plan.clearance_x_mm:.3f}", made.text.index("G04"))
    block = made.text.rindex("\n", 0, retract) + 1
    for z in ("-8.5", "-30."):
        dragged = made.text[:block] + f"N999 G01 Z{z} F2.\n" + made.text[block:]
        made.motion = read_program(dragged)
        imprint = made.imprint()
        assert verdict_on(imprint) == "dragged along the work"
        assert any("wipe out their own print" in said for said in remarks_of(imprint))
