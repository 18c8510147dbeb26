"""``knurlcam blank``."""

from __future__ import annotations

from tests.support.commands import run_json


def test_blank_shows_the_handbook_example() -> None:
    """Machinery's Handbook, 31st ed., p. 1059: 160 DP swivelled 30 degrees on 1 inch
    takes 138 teeth on a blank of 0.996 inch, tolerance 0.0005 inch."""
    data = run_json("blank", "160 DP diamond", "--swivelled", "--diameter", "1.000 in")
    found = {c["teeth"]: c for c in data["candidates"]}
    assert round(found[138]["blank_diameter_mm"] / 25.4, 3) == 0.996
    assert round(found[138]["tolerance_mm"] / 25.4, 6) == 0.0005
    assert set(found[138]) == {
        "teeth",
        "blank_diameter_mm",
        "tolerance_mm",
        "full_form_diameter_mm",
    }


def test_blank_takes_a_bare_diameter_in_the_units_asked_for() -> None:
    bare = run_json("blank", "21 TPI straight", "--diameter", "1", "--units", "inch")
    text = run_json("blank", "21 TPI straight", "--diameter", "25.4 mm")
    assert bare == text
