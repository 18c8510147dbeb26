"""``knurlcam blank``."""

from __future__ import annotations

import pytest

from tests.support.commands import ROOT, run, run_json


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


SHOP = ROOT / "samples" / "shop" / "shop.toml"


def test_a_blank_that_stays_as_it_is_shows_which_rolls_of_the_drawer_track() -> None:
    data = run_json("blank", "--diameter", "24.80", "--fixed", "--shop", SHOP)
    assert data["tracks"] is True
    assert set(data) == {"blank_diameter_mm", "swivel_within_deg", "tracks", "rolls"}
    names = {row["rolls"]["name"] for row in data["rolls"] if row["tracks"]}
    assert names == {"diamond 0.8", "diamond 1.0", "straight 0.8"}
    shown = run("blank", "--diameter", "24.80", "--fixed", "--shop", SHOP)
    assert "Rolls that track on a blank of 24.800 mm as it is" in shown.stdout


def test_where_no_rolls_track_it_says_so_and_ends_with_one() -> None:
    args = ("blank", "RAA 0.8", "--diameter", "24.63", "--fixed", "--shop", SHOP)
    done = run(*args)
    assert done.returncode == 1
    assert "Rolls that do not track on 24.630 mm" in done.stdout
    assert run_json(*args, status=1)["tracks"] is False


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("blank", "--diameter", "24.8"), "CALLOUT: is missing"),
        (("blank", "--diameter", "24.8", "--fixed"), "--shop: there are no rolls to try"),
        (
            ("blank", "RGE 1", "--diameter", "24.8", "--fixed", "--infeed", "5"),
            "--infeed: is out of range",
        ),
        (
            ("blank", "RGE 1", "--diameter", "24.8", "--fixed", "--infeed", "deep"),
            "--infeed: ",
        ),
    ],
)
def test_what_is_missing_for_a_blank_is_named(args: tuple[str, ...], says: str) -> None:
    done = run(*args)
    assert done.returncode == 2
    assert says in done.stderr


def test_a_callout_that_no_rolls_of_the_drawer_make_cannot_be_done() -> None:
    done = run("blank", "RGE 1.6", "--diameter", "24.8", "--fixed", "--shop", SHOP)
    assert done.returncode == 1
    assert "[no-rolls-in-shop]" in done.stderr
