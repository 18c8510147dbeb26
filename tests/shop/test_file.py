"""The shop file: where it is found, how it is read, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from knurlcam import Job, JobFileError, make_plan
from knurlcam.shop.fill import find_shop, load_shop
from tests.support.shops import SHOP, job_file


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


@pytest.mark.few(8)
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
    with pytest.raises(JobFileError, match=r"machines\.a\\x1bb: holds an invisible character"):
        load_shop(file)
