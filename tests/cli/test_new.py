"""``knurlcam new``: questions in the terminal, answers by options, a file that plans at once."""

from __future__ import annotations

import io
import sys
from pathlib import Path
from unittest import mock

import pytest

from knurlcam import Job, make_plan
from knurlcam.job.keys import job_keys
from knurlcam.job.starter import job_of, job_text
from tests.support.commands import ROOT, Done, run

ANSWERS = {
    "units": "mm",
    "part.name": "Lamp ring",
    "part.material": "C45",
    "part.knurled_diameter": "25",
    "part.blank_diameter": "",
    "part.length": "70",
    "part.number": "77",
    "knurl.callout": "DIN 82 RGE 1.0",
    "knurl.length": "20",
    "knurl.start": "",
    "knurl.purpose": "",
    "holding.method": "between centres",
    "tool.style": "knuckle joint",
    "tool.roll_diameter": "20",
    "tool.face_width": "10",
    "tool.roll_spacing": "21",
    "tool.station": "5",
    "machine.post": "",
    "machine.safe_x": "120",
    "machine.safe_z": "50",
}
ASKED = [key for key in ANSWERS if key != "part.blank_diameter"]


def new(*args: str | Path, typed: str = "", cwd: Path) -> Done:
    with mock.patch.object(sys, "stdin", io.StringIO(typed)):
        return run("new", *args, cwd=cwd)


def lines(**changed: str) -> str:
    return "".join(f"{changed.get(key, ANSWERS[key])}\n" for key in ASKED)


def options(**changed: str) -> list[str]:
    given = {**ANSWERS, **changed}
    return [f"--set={key}={value}" for key, value in given.items() if value]


def test_the_answers_make_a_file_that_plans_at_once(tmp_path: Path) -> None:
    done = new("ring.toml", typed=lines(), cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    plan = make_plan(Job.load(tmp_path / "ring.toml"))
    assert (plan.knurl.form, plan.job.part.name) == ("RGE", "Lamp ring")
    assert "Free length" in done.stderr
    assert "[mm], such as 70.0" in done.stderr
    assert run("program", "ring.toml", cwd=tmp_path).returncode == 0


def test_options_make_the_same_file_as_answers(tmp_path: Path) -> None:
    new("typed.toml", typed=lines(**{"knurl.start": "0", "knurl.purpose": "grip"}), cwd=tmp_path)
    purpose = ["--set=knurl.purpose=grip", "--set=machine.post=iso6983"]
    done = new("given.toml", "--set=knurl.start=0", *options(), *purpose, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stderr.count(", such as ") == 0
    typed, given = (tmp_path / name for name in ("typed.toml", "given.toml"))
    assert typed.read_text() == given.read_text()


def test_every_key_stands_in_the_file_with_what_it_means() -> None:
    text = job_text(ANSWERS)
    for key in job_keys():
        assert key.key.rpartition(".")[2] in text
        assert key.means in text


def test_a_wrong_answer_is_asked_again_with_what_was_expected(tmp_path: Path) -> None:
    typed = lines().replace("70\n", "seventy\n70\n", 1)
    done = new("ring.toml", typed=typed, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "a length such as 25.4 mm" in done.stderr


def test_what_cannot_be_done_is_said_and_asked_again(tmp_path: Path) -> None:
    too_far = lines().replace("\n20\n", "\n80\n", 1)  # a knurl of 80 on work of 70
    done = new("ring.toml", typed=f"{too_far}20\n20\n20\n", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "knurl.length" in done.stderr
    assert Job.load(tmp_path / "ring.toml").knurl.length == 20


@pytest.mark.parametrize(
    ("changed", "status", "said"),
    [
        ({"knurl.length": "80"}, 1, "knurl.length"),
        ({"part.blank_diameter": "24", "part.knurled_diameter": "25"}, 1, "diameters-disagree"),
        ({"part.material": "unobtainable"}, 2, "--set part.material"),
        ({"knurl.callout": "DIN 82 RGX 1.0"}, 2, "knurl.callout"),
    ],
)
def test_a_script_that_gives_what_cannot_be_leaves_no_file(
    changed: dict[str, str], status: int, said: str, tmp_path: Path
) -> None:
    given = ["--set=knurl.start=0", "--set=knurl.purpose=grip", "--set=machine.post=iso6983"]
    done = new("ring.toml", *given, *options(**changed), cwd=tmp_path)
    assert done.returncode == status, done.stderr
    assert said in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_script_that_leaves_something_out_is_shown_how_to_give_it(tmp_path: Path) -> None:
    done = new("ring.toml", "--set", "part.name=Ring", cwd=tmp_path)
    assert done.returncode == 2
    assert "--set units=" in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("option", ["knurl.lenght=20", "knurl.length", "knurl.length="])
def test_an_option_that_is_not_a_key_and_a_value_is_refused(option: str, tmp_path: Path) -> None:
    done = new("ring.toml", "--set", option, cwd=tmp_path)
    assert done.returncode == 2
    assert option.partition("=")[0] in done.stderr


def test_a_file_that_is_there_is_left_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "ring.toml").write_text("mine")
    done = new("ring.toml", typed=lines(), cwd=tmp_path)
    assert done.returncode == 2
    assert "exists already" in done.stderr
    assert (tmp_path / "ring.toml").read_text() == "mine"


def test_tool_and_machine_of_a_shop_are_not_asked_for(tmp_path: Path) -> None:
    shop = ROOT / "samples" / "shop" / "shop.toml"
    typed = "".join(f"{ANSWERS[key]}\n" for key in ASKED if key[:4] not in ("tool", "mach"))
    done = new("ring.toml", "--shop", shop, typed=f"{typed}", cwd=tmp_path)
    assert "Diameter of the rolls" not in done.stderr
    assert done.returncode == 0, done.stderr
    assert make_plan(Job.load(tmp_path / "ring.toml", shop)).knurl.form == "RGE"


@pytest.mark.parametrize(
    ("key", "text", "value"),
    [
        ("part.length", "70", 70),
        ("part.length", "2.75 in", "2.75 in"),
        ("process.accept", "[doubles, overfills]", ["doubles", "overfills"]),
        ("process.compensate", "yes", True),
        ("part.name", "12", "12"),
    ],
)
def test_an_answer_is_written_as_the_file_wants_it(key: str, text: str, value: object) -> None:
    section, name = key.split(".")
    assert job_of({key: text}) == {section: {name: value}}
