"""The shop file: what a shop keeps once, and how jobs are filled up from it."""

from __future__ import annotations

import copy
from pathlib import Path

import pytest

from knurlcam import CannotBeDoneError, Job, JobFileError, make_plan
from knurlcam.shop.fill import find_shop, load_shop
from tests.support.jobs import base_job

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "samples" / "shop"

JOB = """
[part]
name = "Grip"
material = "6082-T6"
knurled_diameter = 25.0
length = 70.0
[knurl]
callout = "{callout}"
length = 20.0
[holding]
method = "between centres"
"""

SHOP = (SAMPLE / "shop.toml").read_text(encoding="utf-8")


def job_file(folder: Path, text: str = "", callout: str = "DIN 82 RGE 1.0") -> Path:
    file = folder / "job.toml"
    file.write_text(text + JOB.format(callout=callout), encoding="utf-8")
    return file


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    file = tmp_path / "shop.toml"
    file.write_text(SHOP, encoding="utf-8")
    return file


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
def test_the_job_overrides_what_the_shop_says(tmp_path: Path) -> None:
    text = 'tool = {name = "twin 20", station = 9}\nmachine = {name = "lathe 2", safe_x = 150.0}\n'
    job = Job.load(job_file(tmp_path, text))
    assert job.tool.station == 9
    assert job.machine.safe_x == 150.0
    assert "tool.station" not in job.from_shop
    assert "tool.roll_spacing" in job.from_shop


@pytest.mark.usefixtures("shop")
def test_the_plan_says_what_the_shop_gave(tmp_path: Path) -> None:
    origins = {c.key: c.origin for c in make_plan(Job.load(job_file(tmp_path))).choices}
    assert origins["tool.rolls"] == "shop file"
    assert origins["process.feed"] == "recommended"


def test_bare_numbers_are_in_the_shops_units_whatever_the_jobs(tmp_path: Path) -> None:
    (tmp_path / "shop.toml").write_text(
        'units = "inch"\n[tools.t]\nstyle = "knuckle joint"\nroll_spacing = 0.85\nstation = 1\n'
        '[rolls.r]\nforms = ["BL", "BR"]\npitch = "1.0 mm"\nroll_diameter = 0.75\n'
        "face_width = 0.4\n[machines.m]\nsafe_x = 5.0\nsafe_z = 2.0\n",
        encoding="utf-8",
    )
    job = Job.load(job_file(tmp_path))
    assert job.units == "mm"
    assert job.tool.roll_diameter == 19.05
    assert job.machine.safe_x == 127.0


@pytest.mark.usefixtures("shop")
def test_a_shop_file_above_the_job_is_found(tmp_path: Path) -> None:
    below = tmp_path / "a" / "b"
    below.mkdir(parents=True)
    found = find_shop(job_file(below))
    assert found is not None
    assert found.path == str(tmp_path / "shop.toml")


def test_a_named_shop_file_wins_over_the_variable_and_that_over_the_folder(
    shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other, named = tmp_path / "other.toml", tmp_path / "named.toml"
    other.write_text(SHOP.replace("lathe 2", "lathe 3"), encoding="utf-8")
    named.write_text(SHOP.replace("lathe 2", "lathe 4"), encoding="utf-8")
    job = job_file(tmp_path)

    def machines(path: Path | None = None) -> list[str]:
        found = find_shop(job, path)
        assert found is not None
        return list(found.machines)

    assert machines() == ["lathe 2"]
    monkeypatch.setenv("KNURLCAM_SHOP", str(other))
    assert machines() == ["lathe 3"]
    assert machines(named) == ["lathe 4"]
    assert shop.exists()


def test_a_job_that_says_everything_needs_no_shop(tmp_path: Path) -> None:
    sample = ROOT / "samples" / "focus-knob.toml"
    assert find_shop(sample) is None
    (tmp_path / "shop.toml").write_text(SHOP, encoding="utf-8")
    copy = tmp_path / "focus.toml"
    copy.write_text(sample.read_text(encoding="utf-8"), encoding="utf-8")
    job = Job.load(copy)
    assert job.tool == Job.load(sample).tool


@pytest.mark.usefixtures("shop")
def test_every_pair_of_tool_and_rolls_is_checked_with_its_reason(tmp_path: Path) -> None:
    file = job_file(tmp_path)
    found = find_shop(file)
    assert found is not None
    matches = {(m.tool, m.rolls): m for m in found.rolls_for(Job.load(file))}
    assert len(matches) == 6
    assert [k for k, m in matches.items() if m.suits] == [("twin 20", "diamond 1.0")]
    assert "pitch 0.800 mm" in matches["twin 20", "diamond 0.8"].why
    assert "holds 2 roll" in matches["twin 20", "straight 0.8"].why


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


@pytest.mark.usefixtures("shop")
def test_what_is_wrong_with_the_job_itself_is_not_blamed_on_the_tools(tmp_path: Path) -> None:
    file = job_file(tmp_path)
    file.write_text(file.read_text("utf-8").replace("25.0", "-25.0"), encoding="utf-8")
    with pytest.raises(JobFileError) as caught:
        Job.load(file)
    assert caught.value.problems[0].key == "part.knurled_diameter"


@pytest.mark.parametrize(
    ("old", "new", "key", "says"),
    [
        ("station = 5", "statoin = 5", "tools.twin 20.statoin", "unknown key"),
        ("pitch = 1.0", "pitch = -1.0", "rolls.diamond 1.0.pitch", "or equal to 0.1"),
        ("pitch = 1.0", "", "rolls.diamond 1.0.pitch", "0 pitches are given"),
        ('["AA"]', '["AX"]', "rolls.straight 0.8.forms", "unknown roll form"),
        ("safe_x = 120.0", 'safe_x = "120 kg"', "machines.lathe 2.safe_x", "not of a length"),
        ("coolant = true", "coolant = 7", "process.coolant", "true or false"),
        ("station = 5", 'station = 5\nmounted = "none"', "tools.twin 20.mounted", "no rolls of"),
        ("station = 5", "station = 5\nmounted = 7", "tools.twin 20.mounted", "list of texts"),
        ("station = 5", 'rolls = "diamond 1.0"', "tools.twin 20.rolls", "write mounted"),
        ("station = 5", "station = true", "tools.twin 20.station", "not a number"),
        ("station = 5", "station = 500", "tools.twin 20.station", "equal to 99"),
        ('"single roll"', '"hammer"', "tools.side 20.style", "'knuckle joint'"),
        ("pitch = 1.0", "tpi = inf", "rolls.diamond 1.0.tpi", "equal to 250"),
        ("pitch = 1.0", "pitch = 1.0\ntpi = 21", "rolls.diamond 1.0.pitch", "2 pitches"),
        ("pitch = 1.0", "pitch = nan", "rolls.diamond 1.0.pitch", "not a finite number"),
        (
            "pitch = 1.0",
            "pitch = 1.0\nface_with = 9",
            "rolls.diamond 1.0.face_with",
            "'face_width'",
        ),
        ('["AA"]', '["AA"]\nhelix = 30', "rolls.straight 0.8.helix", "none of these rolls"),
        ('["AA"]', "[]", "rolls.straight 0.8.forms", "at least 1"),
        ('units = "mm"', 'units = "cm"', "units", "'mm' or 'inch'"),
        ("coolant = true", 'accept = ["anything"]', "process.accept", "not a refusal"),
        ("coolant = true", "fullness = true", "process.fullness", "not a number"),
        ("[process]", "[proces]", "proces", "did you mean 'process'"),
    ],
)
def test_a_wrong_shop_file_names_itself_and_the_key(
    old: str, new: str, key: str, says: str, tmp_path: Path
) -> None:
    assert old in SHOP
    file = tmp_path / "shop.toml"
    file.write_text(SHOP.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(JobFileError, match=says) as caught:
        load_shop(file)
    (problem,) = caught.value.problems
    assert problem.where == str(file)
    assert problem.key == key
    assert problem.expected
    assert problem.remedy


def test_a_named_shop_file_that_does_not_exist_is_an_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    missing = tmp_path / "none.toml"
    with pytest.raises(JobFileError, match="does not exist") as caught:
        Job.load(job_file(tmp_path), missing)
    assert caught.value.problems[0].where == str(missing)
    monkeypatch.setenv("KNURLCAM_SHOP", str(missing))
    with pytest.raises(JobFileError, match="does not exist"):
        Job.load(job_file(tmp_path))


def test_a_shop_that_is_read_already_is_taken_as_it_is(shop: Path, tmp_path: Path) -> None:
    kept = load_shop(shop)
    assert find_shop(tmp_path / "job.toml", kept) is kept
    assert Job.load(job_file(tmp_path), kept).tool.station == 5


# --- Units -------------------------------------------------------------------


@pytest.mark.usefixtures("shop")
def test_a_job_in_inch_reads_a_shop_in_mm_right(tmp_path: Path) -> None:
    file = job_file(tmp_path)
    text = file.read_text("utf-8").replace("25.0", "1.0").replace("70.0", "3.0")
    text = 'units = "inch"\nmachine = {name = "lathe 2", safe_x = 5.0}\n' + text
    file.write_text(text.replace("20.0", "0.75"), encoding="utf-8")
    job = Job.load(file)
    assert (job.tool.roll_diameter, job.tool.roll_spacing) == (20.0, 21.0)
    assert (job.machine.safe_x, job.machine.safe_z) == (127.0, 50.0)


def test_rolls_fit_a_tool_that_gives_their_size_in_the_other_unit(
    shop: Path, tmp_path: Path
) -> None:
    changed(shop, "roll_diameter = 20.0\nstation = 5", 'roll_diameter = "0.7874 in"\nstation = 5')
    assert Job.load(job_file(tmp_path)).tool.roll_diameter == 20.0


# --- Which rolls -------------------------------------------------------------


def changed(shop: Path, *pairs: str) -> Path:
    """Change the shop file: old, new, old, new."""
    text = shop.read_text("utf-8")
    for old, new in zip(pairs[::2], pairs[1::2], strict=True):
        assert old in text
        text = text.replace(old, new, 1)
    shop.write_text(text, encoding="utf-8")
    return shop


def matches(shop: Path, tmp_path: Path, callout: str = "DIN 82 RGE 1.0") -> dict[str, str]:
    """Return why the twin tool cannot make the callout with each set of rolls."""
    whole = SAMPLE.parent / "focus-knob.toml"
    text = whole.read_text("utf-8").replace("DIN 82 RGE 1.0", callout)
    file = tmp_path / "whole.toml"
    file.write_text(text, encoding="utf-8")
    kept = load_shop(shop)
    return {m.rolls: m.why for m in kept.rolls_for(Job.load(file, kept)) if m.tool == "twin 20"}


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
        ('["BL", "BR"]', '["GV"]', "DIN 82 RGE 1.0", "holds 2 roll"),
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


# --- What the job says itself ------------------------------------------------


@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize(
    ("own", "key"),
    [
        ('station = "five"', "tool.station"),
        ("statoin = 7", "tool.statoin"),
        ('roll_diameter = "20 kg"', "tool.roll_diameter"),
        ("face_width = nan", "tool.face_width"),
        ("rolls = [5]", "tool.rolls.0"),
        ('rolls = ["BX", "BR"]', "tool.rolls"),
        ('rolls = ["BL", "BL"]\nroll_diameter = 20\nface_width = 10', "tool.rolls"),
    ],
)
def test_a_wrong_override_is_the_jobs_own_fault(own: str, key: str, tmp_path: Path) -> None:
    text = f'tool.name = "twin 20"\ntool.{own}\n'.replace("\nroll", "\ntool.roll")
    with pytest.raises(JobFileError) as caught:
        Job.load(job_file(tmp_path, text.replace("\nface", "\ntool.face")))
    (problem,) = caught.value.problems
    assert (problem.where, problem.key) == (str(tmp_path / "job.toml"), key)


@pytest.mark.usefixtures("shop")
def test_every_fault_of_the_job_is_told_in_one_go(tmp_path: Path) -> None:
    file = job_file(tmp_path, 'tool = {name = "twin 20", statoin = 7}\n')
    file.write_text(file.read_text("utf-8").replace("25.0", "-25.0"), encoding="utf-8")
    with pytest.raises(JobFileError) as caught:
        Job.load(file)
    assert {p.key for p in caught.value.problems} == {"part.knurled_diameter", "tool.statoin"}


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
def test_a_named_tool_that_lacks_a_key_is_told_with_both_files(
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


# --- Machines and process ----------------------------------------------------


def test_a_job_without_a_machine_must_name_one_of_several(shop: Path, tmp_path: Path) -> None:
    changed(shop, "[process]", '[machines."lathe 3"]\nsafe_x = 90.0\nsafe_z = 20.0\n[process]')
    with pytest.raises(JobFileError, match="expected one of 'lathe 2', 'lathe 3'") as caught:
        Job.load(job_file(tmp_path))
    assert caught.value.problems[0].key == "machine"
    assert Job.load(job_file(tmp_path, 'machine = "lathe 3"\n')).machine.safe_x == 90.0


@pytest.mark.usefixtures("shop")
def test_a_machine_that_the_job_writes_out_is_not_filled_up(tmp_path: Path) -> None:
    job = Job.load(job_file(tmp_path, "machine = {safe_x = 90.0, safe_z = 20.0}\n"))
    assert (job.machine.post, job.machine.max_spindle_speed) == ("iso6983", 2000.0)
    assert not any(key.startswith("machine") for key in job.from_shop)


@pytest.mark.usefixtures("shop")
def test_the_jobs_process_values_win_over_the_shops(tmp_path: Path) -> None:
    job = Job.load(job_file(tmp_path, "process = {coolant = false, passes = 5}\n"))
    assert (job.process.coolant, job.process.passes) == (False, 5)
    assert not any(key.startswith("process") for key in job.from_shop)


def test_a_usual_trial_stop_waits_for_a_job_with_a_trial_strip(shop: Path, tmp_path: Path) -> None:
    changed(shop, "coolant = true", 'trial_stop = "optional"')
    assert Job.load(job_file(tmp_path)).process.trial_stop == "program"
    job = Job.load(job_file(tmp_path, "process = {trial_strip = true}\n"))
    assert job.process.trial_stop == "optional"


def test_a_usual_trial_length_waits_for_a_job_with_a_trial_strip(
    shop: Path, tmp_path: Path
) -> None:
    changed(shop, "coolant = true", "trial_length = 8.0")
    assert Job.load(job_file(tmp_path)).process.trial_length is None
    job = Job.load(job_file(tmp_path, "process = {trial_strip = true}\n"))
    assert job.process.trial_length == 8.0


def test_a_shop_without_tools_leaves_the_tool_to_the_job(shop: Path, tmp_path: Path) -> None:
    shop.write_text("[process]\ncoolant = false\n", encoding="utf-8")
    with pytest.raises(JobFileError, match="tool: is missing") as caught:
        Job.load(job_file(tmp_path))
    assert [p.key for p in caught.value.problems] == ["tool", "machine"]
    with pytest.raises(JobFileError, match="the shop file has none"):
        Job.load(job_file(tmp_path, 'tool = "twin 20"\n'))


@pytest.mark.parametrize(
    ("section", "key"),
    [("tool = 5", "tool"), ("process = 5", "process"), ("machine = 5", "machine")],
)
@pytest.mark.usefixtures("shop")
def test_a_section_that_is_no_table_is_refused_as_without_a_shop(
    section: str, key: str, tmp_path: Path
) -> None:
    with pytest.raises(JobFileError, match="expected a table of keys") as caught:
        Job.load(job_file(tmp_path, f"{section}\n"))
    assert caught.value.problems[0].key == key


def test_filling_leaves_the_given_keys_as_they_are(shop: Path) -> None:
    data = base_job({"tool": "twin 20", "machine": "lathe 2", "process": {"passes": 3}})
    before = copy.deepcopy(data)
    filled, given = load_shop(shop).fill(data)
    assert data == before
    assert filled["machine"]["safe_x"] == "120.0 mm"
    assert filled["part"] == data["part"]
    for key in given:
        section, name = key.split(".")
        assert name in filled[section]
    assert "process.passes" not in given


def test_a_filled_job_is_the_job_that_says_it_all_itself(shop: Path) -> None:
    filled, given = load_shop(shop).fill(base_job({"tool": "twin 20", "machine": "lathe 2"}))
    written_out = Job.model_validate(filled)
    by_name = Job.build(base_job({"tool": "twin 20", "machine": "lathe 2"}), shop=load_shop(shop))
    assert by_name.from_shop == given
    assert by_name.identity == written_out.identity


def test_a_shop_fills_nothing_into_a_valid_section(shop: Path, tmp_path: Path) -> None:
    kept = load_shop(shop)
    from_shop = Job.load(job_file(tmp_path), kept)
    own = Job.build(base_job())
    sections = {s: getattr(own, s) for s in ("part", "knurl", "holding", "tool", "process")}
    job = Job.build({**sections, "machine": own.machine}, shop=kept)
    assert (job, job.from_shop) == (own, frozenset())
    filled = Job.build({**sections, "tool": from_shop.tool}, shop=kept)
    assert filled.tool is from_shop.tool
    assert filled.process is own.process
    assert filled.machine == from_shop.machine
    assert {key.split(".")[0] for key in filled.from_shop} == {"machine"}


def test_tables_say_where_they_come_from_each_time(shop: Path, tmp_path: Path) -> None:
    kept = load_shop(shop)
    filled = Job.load(job_file(tmp_path), kept)
    written_out = Job.build({**filled.model_dump(mode="json", exclude_unset=True)})
    origins = [
        {choice.key: choice.origin for choice in make_plan(job).choices}
        for job in (filled, written_out, Job.load(tmp_path / "job.toml", kept))
    ]
    assert origins[0] == origins[2] != origins[1]
    assert "shop file" in origins[0].values()
    assert "shop file" not in origins[1].values()


def test_a_name_with_invisible_characters_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "shop.toml"
    file.write_text('[machines."a\\u001bb"]\nsafe_x = 120\n', encoding="utf-8")
    with pytest.raises(JobFileError, match=r"machines\.a\\x1bb: holds a character that cannot"):
        load_shop(file)
