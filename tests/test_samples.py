"""The samples run as they stand, in every dialect and form."""

from __future__ import annotations

from itertools import product
from pathlib import Path

import pytest

from knurlcam import Job, lay_out, make_plan, verify, write_program
from knurlcam.gcode.dialect_files import dialect_names
from tests.support.breaking import RS274
from tests.support.commands import FOCUS, JOBS
from tests.support.marks import some_long

DIALECTS = sorted(dialect_names())


def test_there_are_at_least_eight_samples_with_every_style_both_units_and_both_strategies() -> None:
    jobs = [Job.load(path) for path in JOBS]
    assert len(jobs) >= 8
    assert {j.units for j in jobs} == {"mm", "inch"}
    styles = {"single roll", "knuckle joint", "revolving head", "straddle"}
    assert {j.tool.style for j in jobs} == styles
    assert {j.purpose for j in jobs} == {"grip", "appearance", "press fit"}
    strategies = {make_plan(job).strategy for job in jobs}
    assert strategies == {"traverse", "plunge"}


@pytest.mark.few(6)
@pytest.mark.parametrize(
    ("job", "post"),
    some_long(
        product(JOBS, DIALECTS),
        lambda job, post: job == FOCUS or DIALECTS.index(post) == JOBS.index(job) % len(DIALECTS),
    ),
    ids=lambda v: getattr(v, "stem", v),
)
def test_a_sample_verifies_in_every_dialect_and_form(job: Path, post: str) -> None:
    loaded = Job.load(job)
    path = lay_out(make_plan(loaded))
    for form in ("program", "subprogram", "blocks"):
        if form == "subprogram" and post in RS274:
            continue  # NISTIR 6556 has no subprograms; the refusal has its own test
        result = verify(write_program(path, post, form=form), loaded, post)
        assert result.findings == ()
        assert result.form == form
