"""The commands: output, exit status, files, messages."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from knurlcam import Job, lay_out, make_plan, read_program, verify, write_program
from knurlcam.gcode.dialect_files import dialect_names
from knurlcam.verification.rules import RULES, Rule
from tests.support.commands import ROOT, run, run_json, run_process

SAMPLES = sorted((ROOT / "samples").rglob("*.toml"))
JOBS = [p for p in SAMPLES if p.name != "shop.toml"]
FOCUS = ROOT / "samples" / "focus-knob.toml"
DIALECTS = sorted(dialect_names())


def changed(tmp_path: Path, old: str, new: str) -> Path:
    """Return the focus knob's job with a text replaced."""
    text = FOCUS.read_text(encoding="utf-8")
    assert old in text
    job = tmp_path / "job.toml"
    job.write_text(text.replace(old, new), encoding="utf-8")
    return job


# -- well ------------------------------------------------------------------------------


def test_there_are_at_least_eight_samples_with_every_style_both_units_and_both_strategies() -> None:
    jobs = [Job.load(path) for path in JOBS]
    assert len(jobs) >= 8
    assert {j.units for j in jobs} == {"mm", "inch"}
    styles = {"single roll", "knuckle joint", "revolving head", "straddle"}
    assert {j.tool.style for j in jobs} == styles
    assert {j.purpose for j in jobs} == {"grip", "appearance", "press fit"}
    strategies = {make_plan(job).strategy for job in jobs}
    assert strategies == {"traverse", "plunge"}


@pytest.mark.parametrize("job", JOBS, ids=lambda p: p.stem)
def test_a_sample_runs_as_it_stands_and_verifies_clean(job: Path, tmp_path: Path) -> None:
    program = tmp_path / "out.nc"
    assert run("program", job, "-o", program).returncode == 0
    result = verify(program.read_text("utf-8"), Job.load(job))
    assert result.ok
    assert result.findings == ()


@pytest.mark.parametrize("post", DIALECTS)
@pytest.mark.parametrize("job", JOBS, ids=lambda p: p.stem)
def test_a_sample_verifies_in_every_dialect_and_form(job: Path, post: str) -> None:
    loaded = Job.load(job)
    path = lay_out(make_plan(loaded))
    for form in ("program", "subprogram", "blocks"):
        if form == "subprogram" and post == "rs274":
            continue  # NISTIR 6556 has no subprograms; the refusal has its own test
        result = verify(write_program(path, post, form=form), loaded, post)
        assert result.findings == ()
        assert result.form == form


def test_the_program_goes_to_standard_output_and_remarks_to_standard_error() -> None:
    done = run_process("program", FOCUS)
    assert done.returncode == 0
    assert done.stdout.startswith("%1201\n")
    assert done.stdout.endswith("M30\n")
    assert read_program(done.stdout, "iso6983").problems == []


def test_plan_as_json_is_the_whole_plan_unrounded() -> None:
    """The keys themselves are held to the contract where the plan is tested."""
    told = run_json("plan", FOCUS)
    assert 0.0 <= told.pop("double_impression") < 0.1
    assert told == make_plan(Job.load(FOCUS)).to_dict()


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


def test_the_tables_for_people_name_units_and_mark_what_was_recommended() -> None:
    out = run("plan", FOCUS).stdout
    assert "24.626 mm" in out
    assert "recommended" in out
    assert "as the job says" in out
    out = run("plan", ROOT / "samples" / "finder-knob.toml").stdout
    assert "0.9896 in" in out


def test_verify_shows_the_first_of_very_many_findings_and_says_how_many_more(
    tmp_path: Path,
) -> None:
    junk = tmp_path / "junk.nc"
    junk.write_text("%1201\n" + "Q1\n" * 5000, encoding="utf-8")
    done = run("verify", junk, "--job", FOCUS)
    assert done.returncode == 1
    assert len(done.stdout) < 50_000
    assert "--json lists them all" in done.stdout
    found = run("verify", junk, "--job", FOCUS, "--json")
    assert len(json.loads(found.stdout)["findings"]) > 5000


def test_dialects_lists_the_good_ones_and_tells_the_broken(tmp_path: Path) -> None:
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "dialect.toml").write_text("name = 1\n", encoding="utf-8")
    done = run("dialects", "--posts", tmp_path)
    assert done.returncode == 2
    assert all(name in done.stdout for name in DIALECTS)
    assert str(tmp_path / "broken") in done.stderr


def test_rules_lists_every_rule_with_what_is_wrong_and_why_it_matters() -> None:
    listed = run_json("rules")["rules"]
    assert {r["code"]: Rule(r["severity"], r["title"], r["reason"]) for r in listed} == RULES
    shown = " ".join(run("rules").stdout.split())
    assert all(code in shown for code in RULES)


def test_rules_that_are_asked_for_are_listed_alone() -> None:
    listed = run_json("rules", "too-deep", "dwell-long")["rules"]
    assert [r["code"] for r in listed] == ["too-deep", "dwell-long"]


def test_a_code_that_no_rule_has_is_told_with_the_nearest() -> None:
    done = run("rules", "to-deep")
    assert done.returncode == 2
    assert "did you mean 'too-deep'?" in done.stderr


def test_dialects_lists_the_four() -> None:
    data = run_json("dialects")
    names = [d["name"] for d in data["dialects"]]
    assert names == ["iso6983", "iso6983-integer", "rs274", "uw-lathe"]
    assert all(name in run("dialects").stdout for name in names)


def test_schema_describes_every_key_with_a_unit() -> None:
    schema = json.loads(run("schema").stdout)
    sections = [schema, *schema["$defs"].values()]
    for section in sections:
        for name, prop in section["properties"].items():
            assert prop.get("description"), name
            assert prop.get("unit"), name


def test_an_output_file_is_replaced_whole(tmp_path: Path) -> None:
    out = tmp_path / "a.nc"
    out.write_text("old", encoding="utf-8")
    assert run("program", FOCUS, "-o", out).returncode == 0
    assert out.read_text(encoding="utf-8").startswith("%1201")
    assert list(tmp_path.iterdir()) == [out]


def test_verify_reports_a_broken_program_with_status_one(tmp_path: Path) -> None:
    text = run("program", FOCUS).stdout
    broken = tmp_path / "broken.nc"
    broken.write_text(text.replace("N100 G01 Z-20.000", "N100 G01 Z-21.000"), encoding="utf-8")
    data = run_json("verify", broken, "--job", FOCUS, status=1)
    (finding,) = data["findings"]
    assert (finding["code"], finding["block"]) == ("past-the-line", 100)
    assert broken.read_text(encoding="utf-8").splitlines()[finding["line"] - 1].startswith("N100")
    done = run("verify", broken, "--job", FOCUS)
    assert done.returncode == 1
    assert "NOT SAFE" in done.stdout
    assert "N100" in done.stdout


# -- a valid job that cannot be done: status 1 -----------------------------------------


def test_a_job_that_cannot_be_done_says_what_would_have_to_change(tmp_path: Path) -> None:
    job = changed(tmp_path, "110 rpm", "2500 rpm")
    out = tmp_path / "out.nc"
    done = run("program", job, "-o", out)
    assert done.returncode == 1
    assert f"{job}: process.spindle_speed: 2500 rev/min is above" in done.stderr
    assert "2000 rev/min or less" in done.stderr
    assert not out.exists()


def test_every_reason_is_named_at_once(tmp_path: Path) -> None:
    job = changed(tmp_path, 'spindle_speed = "110 rpm"', 'spindle_speed = "2500 rpm"\nfeed = 9.0')
    data = run_json("plan", job, status=1)
    codes = {r["code"] for r in data["error"]["refusals"]}
    assert codes == {"above-machine-limit", "feed-above-half-face"}


def test_an_accepted_refusal_is_listed_in_the_programs_header(tmp_path: Path) -> None:
    job = changed(
        tmp_path,
        'spindle_speed = "110 rpm"',
        'spindle_speed = "180 rpm"\naccept = ["above-reversal-limit"]',
    )
    done = run("program", job)
    assert done.returncode == 0
    assert "(ACCEPTED BY THE PROGRAMMER: ABOVE-REVERSAL-LIMIT)" in done.stdout


# -- not a valid job or program: status 2 ----------------------------------------------

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


@pytest.mark.parametrize("case", BAD_JOBS, ids=lambda c: c.replace(" ", "-"))
def test_a_bad_job_names_file_and_key_and_leaves_the_output_alone(
    case: str, tmp_path: Path
) -> None:
    old, new, named = BAD_JOBS[case]
    job = changed(tmp_path, old, new)
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


def raw(tmp_path: Path, data: bytes) -> Path:
    file = tmp_path / "file"
    file.write_bytes(data)
    return file


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "is empty"),
        (b"\xff\xfe\x00", "is not UTF-8"),
        (b"#" * 2_000_000, "is larger than"),
    ],
    ids=["empty", "not-utf8", "huge"],
)
def test_a_file_that_is_no_job_is_refused(data: bytes, says: str, tmp_path: Path) -> None:
    done = run("plan", raw(tmp_path, data))
    assert done.returncode == 2
    assert says in done.stderr


def test_a_folder_and_a_missing_file_are_refused(tmp_path: Path) -> None:
    assert "is a folder" in run("plan", tmp_path).stderr
    done = run("plan", tmp_path / "none.toml")
    assert done.returncode == 2
    assert "does not exist" in done.stderr


@pytest.mark.parametrize(
    ("data", "says"),
    [(b"", "is empty"), (b"%1201\n(\xe4)\nM30\n", "line 2: byte 0xe4 is not UTF-8")],
    ids=["empty", "not-utf8"],
)
def test_a_file_that_is_no_program_is_refused(data: bytes, says: str, tmp_path: Path) -> None:
    done = run("verify", raw(tmp_path, data), "--job", FOCUS)
    assert done.returncode == 2
    assert says in done.stderr


def test_wrong_usage_ends_with_status_two() -> None:
    assert run("program").returncode == 2
    assert run("nonsense").returncode == 2
    assert run("blank", "DIN 82 RGE 1.0", "--diameter", "-3").returncode == 2
    assert run("program", FOCUS, "--as", "poem").returncode == 2


def test_an_unknown_dialect_offers_the_nearest() -> None:
    done = run("program", FOCUS, "--post", "rs247")
    assert done.returncode == 2
    assert "did you mean 'rs274'?" in done.stderr


def test_a_dialect_without_subprograms_says_the_way_out() -> None:
    done = run("program", FOCUS, "--post", "rs274", "--as", "subprogram")
    assert done.returncode == 2
    assert "--as blocks" in done.stderr


def test_the_output_cannot_be_the_job_itself(tmp_path: Path) -> None:
    job = changed(tmp_path, "Focus", "Focal")
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


def test_an_error_as_json_is_one_object(tmp_path: Path) -> None:
    job = changed(tmp_path, "length = 20.0", 'length = "20 kg"')
    data = run_json("plan", job, status=2)
    (problem,) = data["error"]["problems"]
    assert problem["key"] == "knurl.length"
    assert problem["where"] == str(job)


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


def test_the_version_is_told() -> None:
    from knurlcam import __version__

    assert run("--version").stdout == f"knurlcam {__version__}\n"


# -- the setter's page -----------------------------------------------------------------


def test_review_writes_a_page_and_says_what_it_found(tmp_path: Path) -> None:
    page = tmp_path / "focus.html"
    done = run("review", FOCUS, "-o", page)
    assert done.returncode == 0
    assert done.stdout == ""
    assert "no error" in done.stderr
    assert "<h1>Focus knob</h1>" in page.read_text(encoding="utf-8")


def test_review_shows_a_program_with_errors_and_ends_with_1(tmp_path: Path) -> None:
    program, page = tmp_path / "edited.nc", tmp_path / "page.html"
    run("program", FOCUS, "-o", program)
    text = program.read_text(encoding="utf-8").replace("N100 G01 Z-20.000", "N100 G01 Z-21.000")
    program.write_text(text, encoding="utf-8")
    done = run("review", FOCUS, "-o", page, "--program", program)
    assert done.returncode == 1
    assert "NOT SAFE, 1 error(s)" in done.stderr
    html = page.read_text(encoding="utf-8")
    assert "Do not run this program." in html
    assert "edited.nc" in html


def test_review_of_a_job_that_cannot_be_done_writes_nothing(tmp_path: Path) -> None:
    job = changed(tmp_path, '"110 rpm"', '"400 rpm"')
    page = tmp_path / "page.html"
    done = run("review", job, "-o", page)
    assert done.returncode == 1
    assert "above-reversal-limit" in done.stderr
    assert not page.exists()


@pytest.mark.parametrize(
    ("what", "args"),
    [("job", ()), ("program", ("--program", "p.nc"))],
)
def test_review_never_writes_over_what_it_reads(
    what: str, args: tuple[str, ...], tmp_path: Path
) -> None:
    job = changed(tmp_path, "110 rpm", "110 rpm")
    program = tmp_path / "p.nc"
    run("program", job, "-o", program)
    target = job if what == "job" else program
    before = target.read_bytes()
    done = run("review", job, "-o", target, *args, cwd=tmp_path)
    assert done.returncode == 2
    assert f"is the {what} file itself" in done.stderr
    assert target.read_bytes() == before


def test_review_never_writes_over_what_is_no_page_but_over_an_older_one(tmp_path: Path) -> None:
    shop = tmp_path / "shop.toml"
    shop.write_bytes((ROOT / "samples" / "shop" / "shop.toml").read_bytes())
    job = tmp_path / "job.toml"
    job.write_bytes((ROOT / "samples" / "shop" / "hour-circle-grip.toml").read_bytes())
    before = shop.read_bytes()
    done = run("review", job, "-o", shop)
    assert done.returncode == 2
    assert "exists already and is not a page" in done.stderr
    assert shop.read_bytes() == before
    page = tmp_path / "page.html"
    assert run("review", job, "-o", page).returncode == 0
    assert run("review", job, "-o", page).returncode == 0


@pytest.mark.parametrize(
    ("args", "told"),
    [
        ((), "Missing option"),
        (("-o", "no-such-folder/page.html"), "no-such-folder"),
        (("-o", "page.html", "--program", "none.nc"), "none.nc"),
        (("-o", "page.html", "--post", "rs247"), "rs247"),
    ],
)
def test_review_with_wrong_usage_says_what_is_wrong(
    args: tuple[str, ...], told: str, tmp_path: Path
) -> None:
    done = run("review", FOCUS, *args, cwd=tmp_path)
    assert done.returncode == 2
    assert told in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_review_opens_the_page_in_the_default_browser(tmp_path: Path) -> None:
    opened = tmp_path / "opened.txt"
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\nprintf %s "$1" > {opened}\n', encoding="utf-8")
    browser.chmod(0o755)
    page = tmp_path / "a page.html"
    done = run_process("review", FOCUS, "-o", page, "--open", env={"BROWSER": f"{browser} %s"})
    assert done.returncode == 0
    assert opened.read_text(encoding="utf-8") == page.as_uri()


def test_review_without_a_browser_says_so_and_keeps_the_page(tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    done = run_process(
        "review", FOCUS, "-o", page, "--open", env={"BROWSER": "/nowhere %s", "PATH": ""}
    )
    assert done.returncode == 0
    assert "open it by hand" in done.stderr
    assert page.exists()


def test_plan_and_program_tell_of_the_setters_page(tmp_path: Path) -> None:
    hint = f"knurlcam review {FOCUS} -o focus-knob.html"
    assert hint in run("plan", FOCUS).stdout
    assert hint in run("program", FOCUS, "-o", tmp_path / "out.nc").stderr
    spaced = tmp_path / "my job.toml"
    spaced.write_text(FOCUS.read_text(encoding="utf-8"), encoding="utf-8")
    assert f"review '{spaced}' -o 'my job.html'" in run("plan", spaced).stdout
