"""``knurlcam program``: output, exit status, files, messages."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from knurlcam import Job, read_program, verify
from tests.support.commands import FOCUS, JOBS, ROOT, changed_job, run, run_process


@pytest.mark.few(5)
@pytest.mark.parametrize("job", JOBS, ids=lambda p: p.stem)
def test_a_sample_runs_as_it_stands_and_verifies_clean(job: Path, tmp_path: Path) -> None:
    program = tmp_path / "out.nc"
    assert run("program", job, "-o", program).returncode == 0
    result = verify(program.read_text("utf-8"), Job.load(job))
    assert result.ok
    assert result.findings == ()


def test_the_program_goes_to_standard_output_and_messages_to_standard_error() -> None:
    done = run_process("program", FOCUS)
    assert done.returncode == 0
    assert done.stdout.startswith("%1201\n")
    assert done.stdout.endswith("M30\n")
    assert read_program(done.stdout, "iso6983").problems == []


def test_an_output_file_is_replaced_whole(tmp_path: Path) -> None:
    out = tmp_path / "a.nc"
    out.write_text("old", encoding="utf-8")
    assert run("program", FOCUS, "-o", out).returncode == 0
    assert out.read_text(encoding="utf-8").startswith("%1201")
    assert list(tmp_path.iterdir()) == [out]


def test_a_job_that_cannot_be_done_says_what_would_have_to_change(tmp_path: Path) -> None:
    job = changed_job(tmp_path, "110 rpm", "2500 rpm")
    out = tmp_path / "out.nc"
    done = run("program", job, "-o", out)
    assert done.returncode == 1
    assert f"{job}: process.spindle_speed: 2500 rev/min is above" in done.stderr
    assert "2000 rev/min or less" in done.stderr
    assert not out.exists()


def test_a_number_that_nobody_gave_is_warned_of_and_the_program_written(tmp_path: Path) -> None:
    done = run("program", changed_job(tmp_path, "number = 1201\n", ""))
    assert done.returncode == 0
    assert done.stdout.startswith("%1\n")
    assert "warning: the program's number is 1, and part.number is not given" in done.stderr


def test_an_accepted_refusal_is_listed_in_the_programs_header(tmp_path: Path) -> None:
    job = changed_job(
        tmp_path,
        'spindle_speed = "110 rpm"',
        'spindle_speed = "180 rpm"\naccept = ["above-reversal-limit"]',
    )
    done = run("program", job)
    assert done.returncode == 0
    assert "(ACCEPTED BY THE PROGRAMMER: ABOVE-REVERSAL-LIMIT)" in done.stdout


BAD_JOBS = {
    "wrong unit": ("length = 20.0", 'length = "20 kg"', "knurl.length"),
    "unknown key": ("station = 5", "station = 5\nstatoin = 6", "statoin"),
    "missing key": ("station = 5", "", "tool.station"),
    "negative": ("length = 20.0", "length = -20.0", "knurl.length"),
    "nan": ("length = 20.0", "length = nan", "knurl.length"),
    "infinity": ("length = 20.0", "length = inf", "knurl.length"),
    "expression": ("length = 20.0", 'length = "10**10**10 mm"', "knurl.length"),
    "wrong type": ("length = 20.0", "length = [20.0]", "knurl.length"),
    "contradiction": ('"knuckle joint"', '"straddle"', "roll_spacing"),
    "unknown callout": ("DIN 82 RGE 1.0", "DIN 82 RXX 1.0", "callout"),
    "unknown material": ("aluminium 6082-T6", "unobtainium", "material"),
    "unknown dialect": ('post = "iso6983"', 'post = "iso6984"', "iso6983"),
    "fullness above one": ('"110 rpm"', '"110 rpm"\nfullness = 1.2', "process.fullness"),
    "not TOML": ("[part]", "[part", "TOML"),
}


@pytest.mark.few(6)
@pytest.mark.parametrize("case", BAD_JOBS, ids=lambda c: c.replace(" ", "-"))
def test_a_bad_job_names_file_and_key_and_leaves_the_output_alone(
    case: str, tmp_path: Path
) -> None:
    old, new, named = BAD_JOBS[case]
    job = changed_job(tmp_path, old, new)
    out = tmp_path / "out.nc"
    out.write_text("old", encoding="utf-8")
    done = run("program", job, "-o", out)
    assert done.returncode == 2, done.stderr
    assert named in done.stderr
    assert "expected" in done.stderr or "TOML" in done.stderr
    if case != "unknown dialect":
        assert str(job) in done.stderr
    assert out.read_text(encoding="utf-8") == "old"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["job.toml", "out.nc"]


def test_an_unknown_dialect_offers_the_nearest() -> None:
    done = run("program", FOCUS, "--post", "rs247")
    assert done.returncode == 2
    assert "did you mean 'rs274'?" in done.stderr


def test_a_dialect_without_subprograms_says_the_way_out() -> None:
    done = run("program", FOCUS, "--post", "rs274", "--as", "subprogram")
    assert done.returncode == 2
    assert "--as blocks" in done.stderr


def test_the_output_cannot_be_the_job_itself(tmp_path: Path) -> None:
    job = changed_job(tmp_path, "Focus", "Focal")
    before = job.read_bytes()
    done = run("program", job, "-o", job)
    assert done.returncode == 2
    assert job.read_bytes() == before


def test_an_output_that_cannot_be_written_leaves_nothing_behind(tmp_path: Path) -> None:
    done = run("program", FOCUS, "-o", tmp_path / "no" / "folder.nc")
    assert done.returncode == 2
    assert "cannot be written" in done.stderr
    done = run("program", FOCUS, "-o", tmp_path)
    assert done.returncode == 2
    assert list(tmp_path.iterdir()) == []


def test_an_own_dialect_folder_serves_program_and_verify(tmp_path: Path) -> None:
    source = ROOT / "postprocessors" / "iso6983"
    own = tmp_path / "posts" / "shop-iso"
    own.mkdir(parents=True)
    traits = (source / "dialect.toml").read_text(encoding="utf-8")
    own.joinpath("dialect.toml").write_text(
        traits.replace('name = "iso6983"', 'name = "shop-iso"').replace('"M08"', '"M07"'),
        encoding="utf-8",
    )
    out = tmp_path / "a.nc"
    posts = ("--posts", tmp_path / "posts")
    assert run("program", FOCUS, "--post", "shop-iso", *posts, "-o", out).returncode == 0
    assert "M07" in out.read_text(encoding="utf-8")
    assert run("verify", out, "--job", FOCUS, "--post", "shop-iso", *posts).returncode == 0
    env = {"KNURLCAM_POSTS": str(tmp_path / "posts")}
    assert run("program", FOCUS, "--post", "shop-iso", env=env).returncode == 0


def test_a_reader_that_hangs_up_is_no_fault_of_the_program() -> None:
    done = subprocess.run(
        ["bash", "-c", f"{sys.executable} -m knurlcam program {FOCUS} | head -1"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout == "%1201\n"
    assert "Traceback" not in done.stderr
