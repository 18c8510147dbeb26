"""The verification as a whole: of one text, of many, of blocks that may be skipped."""

from __future__ import annotations

import pytest

from knurlcam.gcode.read import read_program
from knurlcam.job.model import Job
from knurlcam.path import lay_out
from knurlcam.plan.planner import make_plan
from knurlcam.program import write_program
from knurlcam.verification.findings import Finding, Verification
from knurlcam.verification.verify import check_motion, check_motions, verify
from tests.support.breaking import (
    JOBS,
    POSTS,
    WORDS,
    Text,
    good_job,
    good_plan,
    good_program,
    job_dict,
)
from tests.verification.cases.table import ALL, NEEDS_NUMBERS

# -- the verification as a whole ---------------------------------------------------------


@pytest.mark.few(4)
@pytest.mark.parametrize(
    ("job", "post"),
    [
        pytest.param(job, post, marks=() if i % len(POSTS) == k else pytest.mark.long)
        for i, job in enumerate(ALL)
        for k, post in enumerate(POSTS)
    ],
)
def test_verify_finds_nothing_in_a_good_program(job: str, post: str) -> None:
    result = verify(good_program(job, post), good_job(job), post)
    assert (result.ok, result.post, result.form, result.findings) == (True, post, "program", ())


def test_verify_takes_the_jobs_dialect_unless_one_is_named() -> None:
    assert verify(good_program("diamond", "iso6983"), good_job("diamond")).post == "iso6983"


def test_ok_ignores_warnings() -> None:
    warning = Finding("warning", "numbering", 20, 3, "out of order")
    error = Finding("error", "no-coolant", 80, 9, "off")
    assert Verification("iso6983", "program", (warning,)).ok
    assert not Verification("iso6983", "program", (warning, error)).ok


def test_a_dwell_that_is_long_leaves_the_program_ok() -> None:
    text = Text.of("diamond", "iso6983")
    text.put(text.dwells[0], "D", 10.0)
    result = verify(str(text), good_job("diamond"), "iso6983")
    assert result.ok
    assert [f.code for f in result.findings] == ["dwell-long"]


def test_findings_come_by_line() -> None:
    text = Text.of("diamond", "iso6983")
    text.delete(text.find("M05"))
    text.put(text.dwells[2], "D", 0.5)
    text.modes.sub(" G95", "")
    lines = [f.line for f in verify(str(text), good_job("diamond"), "iso6983").findings]
    assert len(lines) == 3
    assert lines == sorted(lines)


def test_plain_data_has_the_keys_that_scripts_rely_on() -> None:
    text = Text.of("diamond", "iso6983")
    line = text.find("M08")
    text.delete(line)
    data = verify(str(text), good_job("diamond"), "iso6983").to_dict()
    assert (data["ok"], data["post"]) == (False, "iso6983")
    (finding,) = data["findings"]
    assert set(finding) == {"severity", "code", "block", "line", "message"}
    assert (finding["severity"], finding["code"], finding["block"]) == ("error", "no-coolant", 80)


@pytest.mark.few(6)
@pytest.mark.parametrize("post", POSTS)
@pytest.mark.parametrize("end", ["\r\n", "\n\n", "\n \n"])
def test_line_ends_and_blank_lines_are_no_finding(post: str, end: str) -> None:
    text = good_program("diamond", post).replace("\n", end)
    assert verify(text, good_job("diamond"), post).findings == ()


def test_blank_lines_count_when_a_line_is_named() -> None:
    text = good_program("diamond", "iso6983").replace("N90 G04 X1.091\n", "\n\n", 1)
    (finding,) = verify(text, good_job("diamond"), "iso6983").findings
    assert text.splitlines()[finding.line - 1].startswith("N100 ")


# -- block skip --------------------------------------------------------------------------


@pytest.mark.parametrize("post", POSTS)
def test_a_block_with_a_slash_is_judged_skipped(post: str) -> None:
    text = Text.of("diamond", post)
    line = text.find("M08")
    line.text = "/" + line.text
    (finding,) = verify(str(text), good_job("diamond"), post).findings
    assert (finding.code, finding.line) == ("no-coolant", text.at(text.infeeds[0]))


@pytest.mark.parametrize("post", POSTS)
def test_a_block_with_a_slash_is_judged_carried_out(post: str) -> None:
    text = Text.of("diamond", post)
    line = text.before(text.infeeds[2], "/M01")
    (finding,) = verify(str(text), good_job("diamond"), post).findings
    assert (finding.code, finding.line) == ("stop-in-contact", text.at(line))


@pytest.mark.parametrize("post", POSTS)
def test_a_slash_before_what_may_be_left_out_is_no_finding(post: str) -> None:
    text = Text.of("diamond", post)
    text.before(text.find("T"), "/M00")
    text.before(text.infeeds[0], f"/G04 {text.written('D', 2.0)}")
    assert verify(str(text), good_job("diamond"), post).findings == ()


def test_a_finding_that_both_readings_have_is_said_once() -> None:
    text = Text.of("diamond", "iso6983")
    text.before(text.find("T"), "/M00")
    text.delete(text.find("M08"))
    found = verify(str(text), good_job("diamond"), "iso6983").findings
    assert [f.code for f in found] == ["no-coolant"]


# -- many stops, passes, programs ----------------------------------------------------------


@pytest.mark.parametrize("post", NEEDS_NUMBERS)
def test_the_switch_for_slashes_may_be_changed_at_a_stop(post: str) -> None:
    text = Text.of("trial", post)
    stop = text.find("M00")
    text.before(stop, f"/{WORDS[post]['per min']}")
    text.behind(stop, f"/{WORDS[post]['per rev']}")
    result = verify(str(text), good_job("trial"), post)
    assert {f.code for f in result.findings} == {"feed-mode-wrong"}


def test_slashes_among_many_stops_are_trusted_no_more() -> None:
    text = Text.of("trial", "iso6983")
    for _ in range(3):
        text.before(text.find("M00"), "M00")
    assert verify(str(text), good_job("trial")).ok
    line = text.before(text.find("M00"), "/M09")
    result = verify(str(text), good_job("trial"))
    assert [(f.code, f.line) for f in result.findings] == [("misplaced-word", text.at(line))]


def test_a_straddle_of_many_passes_has_no_finding() -> None:
    # The last steps are of two thousandths of a millimetre of penetration, yet infeeds.
    job = Job.model_validate(job_dict({**JOBS["straddle"], "process.passes": 12}))
    assert verify(write_program(lay_out(make_plan(job))), job).findings == ()


@pytest.mark.parametrize("post", POSTS)
def test_of_many_programs_each_has_the_findings_that_it_has_alone(post: str) -> None:
    spoilt = ["".join(good_program(job, post).splitlines(keepends=True)[:-5]) for job in JOBS]
    texts = [text for job, bad in zip(JOBS, spoilt, strict=True) for text in (
        good_program(job, post), bad, bad.replace("G21", "").replace("G71", "")
    )]  # fmt: skip
    plans = [good_plan(job) for job in JOBS for _ in range(3)]
    motions = [read_program(text, post) for text in texts]
    pairs = list(zip(motions, plans, strict=True))
    together = check_motions(pairs, "program")
    assert together == [check_motion(motion, plan, "program") for motion, plan in pairs]
    assert [result.ok for result in together] == [True, False, False] * len(JOBS)
