"""Tools and rolls that a shop has against what a callout needs."""

from __future__ import annotations

from pathlib import Path

import pytest

from knurlcam import CannotBeDoneError, Job, JobFileError, make_plan
from knurlcam.shop.fill import find_shop, load_shop
from tests.support.shops import SAMPLE, changed, job_file


@pytest.mark.usefixtures("shop")
def test_a_job_that_names_nothing_gets_tool_rolls_and_the_only_machine(tmp_path: Path) -> None:
    job = Job.load(job_file(tmp_path))
    assert (job.tool.style, job.tool.station) == ("knuckle joint", 5)
    assert job.tool.rolls == ("BL", "BR")
    assert job.tool.face_width == 10.0
    assert job.machine.post == "uw-lathe"
    assert {"tool.station", "tool.rolls", "machine.safe_x", "process.coolant"} <= job.from_shop


@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize(
    ("callout", "style", "width"),
    [
        ("DIN 82 RGE 0.8", "knuckle joint", 8.0),
        ("DIN 82 RGE 1.0", "knuckle joint", 10.0),
        ("DIN 82 RAA 0.8", "single roll", 8.0),
    ],
)
def test_the_rolls_that_make_the_callout_are_picked(
    callout: str, style: str, width: float, tmp_path: Path
) -> None:
    job = Job.load(job_file(tmp_path, callout=callout))
    assert (job.tool.style, job.tool.face_width) == (style, width)


@pytest.mark.usefixtures("shop")
def test_every_pair_of_tool_and_rolls_is_checked_with_its_reason(tmp_path: Path) -> None:
    file = job_file(tmp_path)
    found = find_shop(file)
    assert found is not None
    matches = {(m.tool, m.rolls): m for m in found.rolls_for(Job.load(file))}
    assert len(matches) == 6
    assert [k for k, m in matches.items() if m.suits] == [("twin 20", "diamond 1.0")]
    assert "pitch 0.800 mm" in matches["twin 20", "diamond 0.8"].why
    assert "takes 2 rolls, not one" in matches["twin 20", "straight 0.8"].why


@pytest.mark.usefixtures("shop")
def test_a_callout_for_which_the_shop_has_no_rolls_says_what_it_has(tmp_path: Path) -> None:
    with pytest.raises(CannotBeDoneError, match="no-rolls-in-shop") as caught:
        Job.load(job_file(tmp_path, callout="DIN 82 RGE 1.6"))
    assert "twin 20 with diamond 1.0: pitch 1.000 mm, the knurl needs 1.600 mm" in str(caught.value)


@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize(
    ("text", "key", "offer"),
    [
        ('tool = "twin 21"\n', "tool", "did you mean 'twin 20'"),
        ('machine = "lathe 3"\n', "machine", "did you mean 'lathe 2'"),
    ],
)
def test_an_unknown_name_offers_the_nearest(
    text: str, key: str, offer: str, tmp_path: Path
) -> None:
    with pytest.raises(JobFileError, match=offer) as caught:
        Job.load(job_file(tmp_path, text))
    assert caught.value.problems[0].key == key


def test_rolls_fit_a_tool_that_gives_their_size_in_the_other_unit(
    shop: Path, tmp_path: Path
) -> None:
    changed(shop, "roll_diameter = 20.0\nstation = 5", 'roll_diameter = "0.7874 in"\nstation = 5')
    assert Job.load(job_file(tmp_path)).tool.roll_diameter == 20.0


def matches(shop: Path, tmp_path: Path, callout: str = "DIN 82 RGE 1.0") -> dict[str, str]:
    """Return why the twin tool cannot make the callout with each set of rolls."""
    whole = SAMPLE.parent / "focus-knob.toml"
    text = whole.read_text("utf-8").replace("DIN 82 RGE 1.0", callout)
    file = tmp_path / "whole.toml"
    file.write_text(text, encoding="utf-8")
    kept = load_shop(shop)
    return {m.rolls: m.why for m in kept.rolls_for(Job.load(file, kept)) if m.tool == "twin 20"}


@pytest.mark.few(6)
@pytest.mark.parametrize(
    ("old", "new", "callout", "why"),
    [
        ("pitch = 1.0", "pitch = 1.0049", "DIN 82 RGE 1.0", ""),
        ("pitch = 1.0", "pitch = 1.0051", "DIN 82 RGE 1.0", "pitch 1.005 mm"),
        ("pitch = 1.0", "pitch = 1.21", "21 TPI diamond", ""),
        ("pitch = 1.0", "tpi = 21", "21 TPI diamond", ""),
        ("pitch = 1.0", "diametral_pitch = 96", "96 DP diamond", ""),
        ("pitch = 1.0", "diametral_pitch = 96", "DIN 82 RGE 0.8", "pitch 0.720 mm"),
        ("pitch = 1.0", "pitch = 1.0\nhelix = 45", "DIN 82 RGE 1.0", "helix 45°"),
        ("pitch = 1.0", "pitch = 1.0\nhelix = 45", "DIN 82 RGE 1.0 helix 45°", ""),
        ("pitch = 1.0", "pitch = 1.0", "DIN 82 RGE 1.0 helix 25°", "helix 30°"),
        ("pitch = 1.0", "pitch = 1.0\nprofile_angle = 105", "DIN 82 RGE 1.0", "profile 105°"),
        ("pitch = 1.0", "pitch = 1.0\nprofile_angle = 105", "DIN 82 RGE 1.0 profile 105°", ""),
        ('["BL", "BR"]', '["BL", "BL"]', "DIN 82 RGE 1.0", "do not make form RGE"),
        ('["BL", "BR"]', '["GV"]', "DIN 82 RGE 1.0", "takes 2 rolls, not one roll"),
        ("pitch = 1.0\nroll_diameter = 20.0", "pitch = 1.0\nroll_diameter = 19.0",
         "DIN 82 RGE 1.0", "rolls of diameter 19.000 mm, the tool takes 20.000 mm"),
        ("station = 5", "station = 5\nface_width = 8.0", "DIN 82 RGE 1.0",
         "rolls of width 10.000 mm, the tool takes 8.000 mm"),
    ],
)  # fmt: skip
def test_rolls_suit_by_form_pitch_profile_helix_and_size(
    old: str, new: str, callout: str, why: str, shop: Path, tmp_path: Path
) -> None:
    found = matches(changed(shop, old, new), tmp_path, callout)["diamond 1.0"]
    assert why in found
    assert bool(found) == bool(why)


def test_straight_rolls_of_a_tool_that_swivels_make_a_diamond(shop: Path, tmp_path: Path) -> None:
    changed(shop, "station = 5", "station = 5\nswivelled = true", '["AA"]', '["AA", "AA"]')
    found = matches(shop, tmp_path, "DIN 82 RGE 0.8")
    assert found["straight 0.8"] == ""
    assert "when swivelled" in found["diamond 0.8"]


def test_rolls_are_tried_in_the_order_of_the_file(shop: Path, tmp_path: Path) -> None:
    changed(shop, "pitch = 0.8", "pitch = 1.0")
    assert Job.load(job_file(tmp_path)).tool.face_width == 10.0
    changed(shop, "pitch = 1.0", "pitch = 0.8")
    assert Job.load(job_file(tmp_path)).tool.face_width == 8.0


@pytest.mark.parametrize(
    ("mounted", "width"),
    [('"diamond 0.8"', 8.0), ('["straight 0.8", "diamond 0.8", "diamond 1.0"]', 8.0)],
)
def test_a_tool_takes_only_the_rolls_that_are_mounted(
    mounted: str, width: float, shop: Path, tmp_path: Path
) -> None:
    changed(shop, "station = 5", f"station = 5\nmounted = {mounted}", "pitch = 0.8", "pitch = 1.0")
    assert Job.load(job_file(tmp_path)).tool.face_width == width


def test_a_tool_with_rolls_of_its_own_is_taken_as_it_stands(shop: Path, tmp_path: Path) -> None:
    changed(shop, "station = 5", "station = 5\nface_width = 12.0\nmounted = []")
    job = Job.load(job_file(tmp_path, callout="DIN 82 RGE 1.6"))
    assert (job.tool.face_width, job.tool.rolls) == (12.0, None)


def test_rolls_that_can_be_planned_go_before_earlier_ones_that_cannot(
    shop: Path, tmp_path: Path
) -> None:
    narrow = (
        '[tools."gap 20"]\nstyle = "straddle"\nlargest_gap = 10.0\nstation = 3\n[tools."twin 20"]'
    )
    changed(shop, '[tools."twin 20"]', narrow)
    assert Job.load(job_file(tmp_path)).tool.style == "knuckle joint"


@pytest.mark.usefixtures("shop")
def test_where_only_the_plan_stands_in_the_way_it_says_so_in_its_own_code(tmp_path: Path) -> None:
    file = job_file(tmp_path)
    file.write_text(file.read_text("utf-8").replace("70.0", "15.0"), encoding="utf-8")
    job = Job.load(file)
    assert job.tool.station == 5
    with pytest.raises(CannotBeDoneError, match="past-the-chuck"):
        make_plan(job)


def test_bevelled_rolls_make_the_tool_one_with_bevelled_rolls(shop: Path, tmp_path: Path) -> None:
    assert not Job.load(job_file(tmp_path)).tool.bevelled_rolls
    changed(shop, "face_width = 10.0", "face_width = 10.0\nbevelled = true")
    assert Job.load(job_file(tmp_path)).tool.bevelled_rolls


@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize(
    ("callout", "needs"),
    [
        (
            "DIN 82 RGE 1.6",
            "needs rolls BL BR or .*GV of 1.600 mm pitch, 90° profile and 30° helix",
        ),
        ("DIN 82 RKE 1.0", "needs rolls KV of 1.000 mm pitch, 90° profile; "),
    ],
)
def test_what_the_shop_lacks_is_named(callout: str, needs: str, tmp_path: Path) -> None:
    with pytest.raises(CannotBeDoneError, match=needs) as caught:
        Job.load(job_file(tmp_path, callout=callout))
    (refusal,) = caught.value.refusals
    assert (refusal.code, refusal.key) == ("no-rolls-in-shop", "tool")
    assert caught.value.where == str(tmp_path / "job.toml")


@pytest.mark.usefixtures("shop")
def test_the_jobs_own_size_picks_among_the_rolls(tmp_path: Path) -> None:
    text = 'tool = {name = "twin 20", roll_diameter = 20, face_width = 8}\n'
    with_size = Job.load(job_file(tmp_path, text.replace(", face_width = 8", "")))
    assert (with_size.tool.face_width, with_size.tool.rolls) == (10.0, ("BL", "BR"))
    assert "tool.roll_diameter" not in with_size.from_shop
    other = text.replace("roll_diameter = 20, ", "")
    with pytest.raises(CannotBeDoneError, match=r"width 10\.000 mm, the job asks for 8\.000 mm"):
        Job.load(job_file(tmp_path, other))


@pytest.mark.usefixtures("shop")
def test_a_job_may_bring_rolls_that_the_shop_does_not_list(tmp_path: Path) -> None:
    text = 'tool = {name = "twin 20", roll_diameter = 19, face_width = 12}\n'
    job = Job.load(job_file(tmp_path, text, callout="DIN 82 RGE 1.6"))
    assert (job.tool.roll_diameter, job.tool.face_width, job.tool.station) == (19.0, 12.0, 5)


@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize("rolls", ['["AA", "AA"]', '"AA + AA"'])
def test_rolls_of_other_forms_than_the_job_names_are_not_taken(rolls: str, tmp_path: Path) -> None:
    text = f'tool = {{name = "twin 20", swivelled = true, rolls = {rolls}}}\n'
    with pytest.raises(CannotBeDoneError, match="rolls BL BR, the job asks for AA AA"):
        Job.load(job_file(tmp_path, text))


@pytest.mark.parametrize(
    ("line", "key", "says"),
    [
        ("roll_spacing = 21.0", "tool.roll_spacing", "a knuckle joint needs it"),
        ('style = "knuckle joint"', "tool.style", "is missing"),
        ("station = 5", "tool.station", "is missing"),
    ],
)
def test_a_named_tool_that_lacks_a_key_is_reported_with_both_files(
    line: str, key: str, says: str, shop: Path, tmp_path: Path
) -> None:
    changed(shop, line, "")
    with pytest.raises(JobFileError, match=says) as caught:
        Job.load(job_file(tmp_path, 'tool = "twin 20"\n'))
    problem = caught.value.problems[0]
    assert problem.key == key
    assert problem.where == f"{tmp_path / 'job.toml'} with tool 'twin 20' of {shop}"


def test_a_tool_that_lacks_a_key_is_passed_over_where_none_is_named(
    shop: Path, tmp_path: Path
) -> None:
    again = shop.read_text("utf-8").split("\n\n")[1].replace("twin 20", "twin b")
    changed(shop, "station = 5", "", "[process]", f"{again}\n[process]")
    job = Job.load(job_file(tmp_path))
    assert job.tool.station == 5
    assert matches(shop, tmp_path)["diamond 1.0"] == "tool.station: is missing"
