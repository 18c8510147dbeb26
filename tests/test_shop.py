"""The shop file: what a shop keeps once, and how jobs are filled up from it."""

from __future__ import annotations

from pathlib import Path

import pytest

from knurlcam import CannotBeDoneError, Job, JobFileError, make_plan
from knurlcam.shop import find_shop, load_shop

ROOT = Path(__file__).resolve().parents[1]
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
def test_every_pair_of_tool_and_rolls_is_judged_with_its_reason(tmp_path: Path) -> None:
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
        ("pitch = 1.0", "pitch = -1.0", "rolls.diamond 1.0.pitch", "greater than 0"),
        ("pitch = 1.0", "", "rolls.diamond 1.0.pitch", "0 pitches are given"),
        ('["AA"]', '["AX"]', "rolls.straight 0.8.forms", "unknown roll form"),
        ("safe_x = 120.0", 'safe_x = "120 kg"', "machines.lathe 2.safe_x", "not of a length"),
        ("coolant = true", "coolant = 7", "process.coolant", "true or false"),
        ("station = 5", 'station = 5\nmounted = "none"', "tools.twin 20.mounted", "no rolls of"),
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
    assert caught.value.problems[0].where == str(file)
    assert caught.value.problems[0].key == key


def test_a_named_shop_file_that_does_not_exist_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(JobFileError, match="does not exist"):
        Job.load(job_file(tmp_path), tmp_path / "none.toml")
