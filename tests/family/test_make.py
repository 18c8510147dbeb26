"""Rows into programs: here, by any executor, in order."""

from __future__ import annotations

import pickle
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import pytest

from knurlcam import InputError, Job, lay_out, make_plan, write_program
from knurlcam.family import (
    Base,
    make_family,
)
from tests.support.commands import PIN
from tests.support.families import (
    ROOT,
    SETTING_KNOB,
    knobs,
    one,
    roomy,
)
from tests.support.jobs import REMOVE, base_job, with_changes

pytestmark = pytest.mark.usefixtures("rough_imprint")


def test_a_rows_program_is_the_one_of_its_job_written_out() -> None:
    base = base_job()
    cells = {"part.name": "Small", "part.knurled_diameter": "22 mm", "knurl.length": 18.0}
    (result,) = make_family(base, [cells])
    job = Job.build(with_changes(base, cells))
    assert result.text == write_program(lay_out(make_plan(job)), "iso6983")
    assert result.job.identity == job.identity == result.entry["job_identity"]


def test_an_empty_cell_is_as_in_the_base_job() -> None:
    result = one(base_job(), part__name="Knob", knurl__length=None)
    assert result.job.knurl.length == 20.0


def test_the_base_may_leave_to_the_rows_what_they_all_give() -> None:
    base = base_job({"part.knurled_diameter": REMOVE, "part.name": REMOVE})
    assert one(base, part__name="Knob", part__knurled_diameter=25).ok
    (problem,) = one(base, part__knurled_diameter=25).problems
    assert problem.column == "part.name"


def test_a_job_and_its_file_are_bases_too() -> None:
    job = Job.load(SETTING_KNOB)
    rows = [{"part.name": "Knob 30", "part.knurled_diameter": 30}]
    (from_job,), (from_file,) = make_family(job, rows), make_family(SETTING_KNOB, rows)
    assert from_job.text == from_file.text


def test_a_section_that_was_held_is_not_taken_for_one_that_python_thinks_equal() -> None:
    rows = [
        {"part.name": "One", "process.passes": 1},
        {"part.name": "True", "process.passes": True},
    ]
    good, bad = make_family(base_job(), rows)
    assert good.ok
    assert bad.problems[0].column == "process.passes"


def test_a_scripts_rows_are_held_to_what_a_tables_are() -> None:
    nested, empty = make_family(
        base_job(), [{"part": {"name": "A", "number": 7}}, {"part.name": "B", "knurl.length": ""}]
    )
    assert nested.job.part.number == 7
    assert empty.job.knurl.length == 20.0
    with pytest.raises(InputError, match="row 1: is not a mapping"):
        next(make_family(base_job(), ["A"]))  # type: ignore[list-item]
    with pytest.raises(InputError, match=r"form: unknown form.*program or section or subprogram"):
        next(make_family(base_job(), knobs(1), form="subprogrm"))  # type: ignore[arg-type]


def test_a_dialect_that_is_half_made_and_not_used_is_no_matter(tmp_path: Path) -> None:
    half = tmp_path / "posts" / "half"
    half.mkdir(parents=True)
    shipped = Path(__file__).parents[2] / "postprocessors" / "iso6983" / "dialect.toml"
    (half / "dialect.toml").write_text(shipped.read_text("utf-8"), encoding="utf-8")
    assert all(r.ok for r in make_family(base_job(), knobs(2), posts=[tmp_path / "posts"]))


@pytest.mark.parametrize("kind", ["threads", pytest.param("processes", marks=pytest.mark.long)])
def test_results_come_in_the_order_of_the_rows_from_any_executor(kind: str) -> None:
    rows = knobs(110)
    rows[70]["part.knurled_diameter"] = "wrong"
    alone = list(make_family(roomy(), rows))
    with (
        ThreadPoolExecutor(3)
        if kind == "threads"
        else ProcessPoolExecutor(2, mp_context=get_context("spawn"))
    ) as pool:
        assert list(make_family(roomy(), rows, pool, ahead=2)) == alone
    assert [r.row for r in alone] == list(range(1, 111))


def test_programs_and_pages_are_staged_where_the_base_says(tmp_path: Path) -> None:
    """As workers of this machine do: they hand back results without texts."""
    base = replace(Base.of(PIN, review=True), staging=f"{tmp_path}/")
    (result,) = make_family(base, [{"part.name": "Pin"}])
    (whole,) = make_family(Base.of(PIN, review=True), [{"part.name": "Pin"}])
    assert (result.text, result.html) == (None, None)
    assert (tmp_path / "pin.nc").read_text(encoding="utf-8") == whole.text
    assert (tmp_path / "pin.html").read_text(encoding="utf-8") == whole.html
    assert result == replace(whole, text=None, html=None)


@pytest.mark.long
def test_a_cluster_on_this_machine_makes_the_same() -> None:
    from distributed import Client, LocalCluster

    rows = knobs(80)
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None)
        as cluster,
        Client(cluster) as client,
        client.get_executor() as pool,
    ):  # fmt: skip
        made = list(make_family(roomy(), rows, pool))
    assert made == list(make_family(roomy(), rows))


def test_rows_are_taken_only_as_they_are_needed() -> None:
    taken = 0

    def endless() -> Iterator[dict[str, Any]]:
        nonlocal taken
        while True:
            taken += 1
            yield {"part.name": f"Knob {taken}"}

    with ThreadPoolExecutor(1) as pool:
        results = make_family(base_job(), endless(), pool, ahead=2)
        assert next(results).ok
        assert taken <= 3 * 48
    alone = make_family(base_job(), endless())
    before = taken
    next(alone)
    assert taken <= before + 64


def test_results_and_bases_survive_the_way_to_another_process() -> None:
    good, bad = make_family(base_job(), [{"part.name": "a"}, {"part.name": "b", "units": "cm"}])
    assert pickle.loads(pickle.dumps([good, bad])) == [good, bad]
    for job in (SETTING_KNOB, ROOT / "samples" / "shop" / "tripod-bolt.toml"):
        base = Base.of(job)
        assert pickle.loads(pickle.dumps(base)) == base
