"""The form of a text, and whose program it is."""

from __future__ import annotations

import pytest

from knurlcam import Job, lay_out, make_plan, write_program
from knurlcam.gcode.marks import FORMS
from knurlcam.verification.verify import verify
from tests.support.breaking import POSTS, RS274, Text, good_job, good_program, job_dict
from tests.support.jobs import REMOVE
from tests.verification.cases.table import NEEDS_NUMBERS

LEFT_OUT = {"number-not-given": "part.number"}
"""Rules that a text breaks for what its job leaves out: code and key."""


@pytest.mark.parametrize(("code", "key"), LEFT_OUT.items())
@pytest.mark.parametrize("post", POSTS)
def test_what_a_job_leaves_out_is_warned_of_where_the_dialect_wants_it(
    post: str, code: str, key: str
) -> None:
    job = Job.model_validate(job_dict({key: REMOVE}))
    result = verify(write_program(lay_out(make_plan(job)), post), job, post)
    assert [f.code for f in result.findings] == ([] if post in RS274 else [code])
    assert result.ok


# -- forms -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("post", "form"),
    [(p, f) for p in POSTS for f in FORMS if p not in RS274 or f != "subprogram"],
)
def test_the_form_is_taken_from_the_texts_own_comment(post: str, form: str) -> None:
    result = verify(good_program("diamond", post, form), good_job("diamond"), post)
    assert (result.form, result.findings) == (form, ())


@pytest.mark.parametrize("post", NEEDS_NUMBERS)
def test_a_subprogram_without_its_comment_is_judged_as_a_program(post: str) -> None:
    text = Text.of("diamond", post, "subprogram")
    text.lines = [line for line in text.lines if not line.text.startswith("(SUBPROGRAM")]
    job = good_job("diamond")
    assert [f.code for f in verify(str(text), job, post).findings] == ["program-end-missing"]
    assert verify(str(text), job, post, form="subprogram").findings == ()


@pytest.mark.parametrize("post", POSTS)
def test_blocks_are_not_a_program_when_a_program_is_asked_for(post: str) -> None:
    text = good_program("diamond", post, "blocks")
    codes = {f.code for f in verify(text, good_job("diamond"), post, form="program").findings}
    assert codes == {
        "program-start-missing",
        "program-end-missing",
        "wrong-tool",
        "not-at-safe-position",
    }


@pytest.mark.parametrize("post", NEEDS_NUMBERS)
def test_a_program_is_not_a_subprogram(post: str) -> None:
    text = good_program("diamond", post)
    found = verify(text, good_job("diamond"), post, form="subprogram").findings
    assert [f.code for f in found] == ["program-end-missing"]


@pytest.mark.parametrize("post", POSTS)
def test_an_empty_text_is_a_program_without_anything(post: str) -> None:
    codes = {f.code for f in verify("", good_job("diamond"), post).findings}
    assert codes == {
        "program-start-missing",
        "program-end-missing",
        "pass-missing",
        "not-at-safe-position",
    }


# -- whose program it is -----------------------------------------------------------------


@pytest.mark.few(8)
@pytest.mark.parametrize("post", POSTS)
@pytest.mark.parametrize("place", range(12))
def test_a_typing_error_in_the_identity_comment_is_not_a_finding(post: str, place: int) -> None:
    text = Text.of("diamond", post)
    line = text.find("(JOB ")
    at = len("(JOB ") + place
    other = "0" if line.text[at] != "0" else "1"
    line.text = line.text[:at] + other + line.text[at + 1 :]
    assert verify(str(text), good_job("diamond"), post).findings == ()


@pytest.mark.parametrize("post", POSTS)
def test_a_program_of_a_like_job_is_recognised_by_its_identity(post: str) -> None:
    result = verify(good_program("diamond", post), good_job("reverse"), post)
    assert [f.code for f in result.findings] == ["other-job", "spindle-reversed"]


def test_the_dialect_does_not_make_another_job() -> None:
    for post in POSTS:
        assert f"(JOB {good_job('diamond').identity})" in good_program("diamond", post)


def test_a_program_without_its_identity_is_judged_by_its_motion() -> None:
    text = Text.of("diamond", "iso6983")
    text.delete(text.find("(JOB "))
    assert verify(str(text), good_job("diamond"), "iso6983").findings == ()
