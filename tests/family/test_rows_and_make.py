"""Families: rows into jobs, jobs into programs, programs into a folder."""

from __future__ import annotations

import csv
import json
import os
import pickle
import re
import tempfile
import zipfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import suppress
from decimal import Decimal
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knurlcam import InputError, Job, lay_out, make_plan, verify, write_program
from knurlcam.family import (
    Base,
    FamilyFolder,
    Result,
    Row,
    Summary,
    count_rows,
    make_family,
    read_rows,
    run_family,
    save_family,
)
from knurlcam.family import disk as disk_module
from knurlcam.family import index as index_module
from knurlcam.family.entry import COLUMNS
from knurlcam.family.keys import known_columns, merged
from knurlcam.family.names import as_given, folded, from_part_name, page_name
from tests.support.families import (
    SETTING_KNOB,
    SETTING_KNOBS,
    digests,
    family,
    index_of,
    job_file,
    knobs,
    one,
    roomy,
    write_csv,
)
from tests.support.jobs import REMOVE, base_job, with_changes

# -- a row is a job ----------------------------------------------------------------------


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


def test_every_key_of_a_job_is_a_column() -> None:
    def keys(schema: dict[str, Any], above: str = "") -> Iterator[str]:
        for name, field in schema["properties"].items():
            refs = [field, *field.get("anyOf", ()), *field.get("oneOf", ())]
            inside = [r["$ref"].rsplit("/", 1)[1] for r in refs if "$ref" in r]
            for ref in inside:
                yield from keys(definitions[ref], f"{above}{name}.")
            if not inside or any(r.get("type") == "string" for r in refs):
                yield f"{above}{name}"

    schema = Job.model_json_schema()
    definitions = schema["$defs"]
    assert set(keys(schema)) | {"tool", "tool.name", "machine", "machine.name"} == set(
        known_columns()
    )


@pytest.mark.parametrize(
    ("column", "cell", "key", "value"),
    [
        ("tool.rolls", "BL BR", ("tool", "rolls"), ("BL", "BR")),
        ("tool.rolls", '["BR", "BL"]', ("tool", "rolls"), ("BR", "BL")),
        ("process.accept", "marks-outside", ("process", "accept"), ("marks-outside",)),
        ("process.accept", "", ("process", "accept"), ()),
        ("tool.station", "7", ("tool", "station"), 7),
        ("process.clean_up", "FALSE", ("process", "clean_up"), False),
        ("process.clean_up", False, ("process", "clean_up"), False),
        ("process.fullness", "0.9", ("process", "fullness"), 0.9),
        ("part.name", 1201, ("part", "name"), "1201"),
        ("part.knurled_diameter", "1.000 in", ("part", "knurled_diameter"), 25.4),
        ("part.material", "brass CuZn39Pb3", ("part", "material"), "brass CuZn39Pb3"),
    ],
)
def test_a_cell_holds_what_the_job_file_would(
    column: str, cell: Any, key: tuple[str, str], value: Any
) -> None:
    rows = [{"part.name": "Knob", **({column: cell} if cell != "" else {})}]
    (result,) = make_family(base_job(), rows)
    assert result.ok, result.problems
    assert getattr(getattr(result.job, key[0]), key[1]) == value


def test_a_table_of_ones_own_material_can_stand_in_columns() -> None:
    cells = {
        "part__material__name": "nickel silver",
        "part__material__yield_strength": "400 MPa",
        "part__material__turning_speed": "30 m/min",
    }
    assert one(base_job(), **cells).job.part.material_row.name == "nickel silver"


def test_a_name_and_a_table_of_one_material_are_refused() -> None:
    result = one(
        base_job({"part.material": "aluminium 6082-T6"}),
        part__material="brass CuZn39Pb3",
        part__material__name="nickel silver",
    )
    (problem,) = result.problems
    assert problem.column == "part.material.name"
    assert "cannot stand beside" in problem.message


def test_a_row_in_the_other_units_leaves_the_bases_lengths_as_long_as_they_are() -> None:
    result = one(base_job(), units="inch", part__knurled_diameter=1.0, part__name="Inch knob")
    job = result.job
    assert job.units == "inch"
    assert job.part.knurled_diameter == pytest.approx(25.4)
    assert job.knurl.length == pytest.approx(20.0)
    assert job.tool.roll_diameter == pytest.approx(20.0)
    assert "G70" in (result.text or "")


def test_the_base_may_leave_to_the_rows_what_they_all_give() -> None:
    base = base_job({"part.knurled_diameter": REMOVE, "part.name": REMOVE})
    assert one(base, part__name="Knob", part__knurled_diameter=25).ok
    (problem,) = one(base, part__knurled_diameter=25).problems
    assert problem.column == "part.name"


def test_a_bases_keys_are_not_changed_by_its_rows() -> None:
    base = base_job()
    before = json.dumps(base)
    merged(base, {"part.name": "x", "process.passes": 3, "units": "inch"})
    assert json.dumps(base) == before


def test_a_job_and_its_file_are_bases_too() -> None:
    job = Job.load(SETTING_KNOB)
    rows = [{"part.name": "Knob 30", "part.knurled_diameter": 30}]
    (from_job,), (from_file,) = make_family(job, rows), make_family(SETTING_KNOB, rows)
    assert from_job.text == from_file.text


def test_a_column_that_no_job_has_is_refused_with_the_nearest() -> None:
    with pytest.raises(InputError, match=r"did you mean 'part.knurled_diameter'"):
        one(base_job(), part__knurld_diameter=25)
    with pytest.raises(InputError, match="knurlcam schema"):
        one(base_job(), part__name="Knob", colour="red")


def test_two_columns_that_name_the_file_are_refused() -> None:
    with pytest.raises(InputError, match="two columns name the file") as caught:
        one(base_job(), file="a.nc", program="b.nc")
    assert caught.value.key == "file and program"


# -- rows that cannot be made --------------------------------------------------------------


@pytest.mark.parametrize(
    ("cells", "column", "value", "code", "words"),
    [
        ({"part.knurled_diameter": "25,5"}, "part.knurled_diameter", "25,5", None, "25.5"),
        ({"knurl.length": 80.0}, "knurl.length", 80.0, "past-the-chuck", "hold the work further"),
        ({"knurl.callout": "DIN 82 RXX 1"}, "knurl.callout", "DIN 82 RXX 1", None, "expected"),
        ({"machine.post": "iso6984"}, None, None, None, "iso6983"),
        ({"tool.roll_spacing": 5}, "tool.roll_spacing", 5.0, None, "overlap"),
        ({"part.name": "Ωψ"}, "part.name", "Ωψ", None, "add a column `file`"),
    ],
)
def test_a_row_that_cannot_be_made_says_where_what_and_why(
    cells: dict[str, Any], column: str | None, value: Any, code: str | None, words: str
) -> None:
    rows = [{"part.name": "First"}, {"part.name": "Knob", **cells}, {"part.name": "Last"}]
    first, bad, last = make_family(base_job(), rows)
    assert first.ok
    assert last.ok
    assert (bad.row, bad.text, bad.ok) == (2, None, False)
    problem = bad.problems[0]
    if column is not None:
        assert (problem.column, problem.value, problem.code) == (column, value, code)
    assert words in problem.sentence()
    with pytest.raises(InputError, match="has no program"):
        _ = bad.job


def test_every_refusal_of_a_row_is_told() -> None:
    result = one(base_job(), knurl__length=80.0, machine__safe_x=1.0)
    assert {p.code for p in result.problems} >= {"past-the-chuck", "safe-x-inside"}


def test_a_section_that_was_held_is_not_taken_for_one_that_python_thinks_equal() -> None:
    rows = [
        {"part.name": "One", "process.passes": 1},
        {"part.name": "True", "process.passes": True},
    ]
    good, bad = make_family(base_job(), rows)
    assert good.ok
    assert bad.problems[0].column == "process.passes"


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"part.name": "a\ud800"}, "half a character"),
        ({"part.name": "a", "part.length": float("inf")}, "not a finite number"),
        ({"part.name": "a", "part.length": float("nan")}, "not a finite number"),
        ({"part.name": "a", "part.number": 10**4000}, "too large a number"),
        ({"part.name": "a", "part.length": Decimal(3)}, "not a value that a job can hold"),
        ({"part.name": "a", "tool.rolls": {"BL"}}, "not a value that a job can hold"),
        ({"part.name": b"a"}, "not a value that a job can hold"),
        ({"part": {"name": "a"}, "part.name": "b"}, "stands twice"),
    ],
    ids=lambda v: str(v)[:40],
)
def test_a_value_that_no_job_holds_spoils_its_row_only(
    row: dict[str, Any], words: str, tmp_path: Path
) -> None:
    summary = save_family(make_family(roomy(), [row, *knobs(2)]), tmp_path / "out")
    assert (summary.counts.made, summary.counts.failed) == (2, 1)
    (problem,) = index_of(tmp_path / "out")["parts"][0]["problems"]
    assert words in problem["message"]


def test_a_scripts_rows_are_held_to_what_a_tables_are() -> None:
    nested, empty = make_family(
        base_job(), [{"part": {"name": "A", "number": 7}}, {"part.name": "B", "knurl.length": ""}]
    )
    assert nested.job.part.number == 7
    assert empty.job.knurl.length == 20.0
    with pytest.raises(InputError, match="row 1: is not a mapping"):
        next(make_family(base_job(), ["A"]))  # type: ignore[list-item]
    with pytest.raises(InputError, match=r"form: unknown form.*program or subprogram or blocks"):
        next(make_family(base_job(), knobs(1), form="subprogrm"))  # type: ignore[arg-type]


def test_a_base_with_what_no_file_can_hold_spoils_its_rows_only() -> None:
    good, bad = make_family(
        base_job({"part.name": "half \ud800"}), [{"part.name": "A"}, {"file": "b.nc"}]
    )
    assert good.ok
    assert bad.problems[0].column == "part.name"
    assert "\\ud800" in str(bad.entry["name"])


def test_a_row_that_says_nothing_but_a_name_is_warned_of() -> None:
    named, sized = make_family(
        base_job(), [{"part.name": "Total"}, {"part.name": "A", "units": "mm"}]
    )
    assert named.entry["notes"][0] == {"severity": "warning", "code": "as-the-base"}
    assert "as-the-base" not in [n["code"] for n in sized.entry["notes"]]


def test_a_dialect_that_is_half_made_and_not_used_is_no_matter(tmp_path: Path) -> None:
    half = tmp_path / "posts" / "half"
    half.mkdir(parents=True)
    shipped = Path(__file__).parents[2] / "postprocessors" / "iso6983" / "dialect.toml"
    (half / "dialect.toml").write_text(shipped.read_text("utf-8"), encoding="utf-8")
    assert all(r.ok for r in make_family(base_job(), knobs(2), posts=[tmp_path / "posts"]))


# -- executors -----------------------------------------------------------------------------


def test_results_come_in_the_order_of_the_rows_from_any_executor() -> None:
    rows = knobs(150)
    rows[70]["part.knurled_diameter"] = "wrong"
    alone = list(make_family(roomy(), rows))
    with ThreadPoolExecutor(3) as pool:
        assert list(make_family(roomy(), rows, pool, ahead=2)) == alone
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        assert list(make_family(roomy(), rows, pool)) == alone
    assert [r.row for r in alone] == list(range(1, 151))


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
    base = Base.of(SETTING_KNOB)
    assert pickle.loads(pickle.dumps(base)) == base


# -- names ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "file"),
    [
        ("Knob 25", "knob-25.nc"),
        ("  Knob / 25 \\ x ", "knob-25-x.nc"),
        ("../../etc/passwd", "etc-passwd.nc"),
        ("Knob 0.750 in", "knob-0.750-in.nc"),
        ("Größe Ø12", "grosse-o12.nc"),
        ("CON", "part-con.nc"),
        ("lpt1", "part-lpt1.nc"),
        ("aux.x", "part-aux.x.nc"),
        ("index", "part-index.nc"),
        ("a\u202eb\x00c", "a-b-c.nc"),
        (".hidden", "hidden.nc"),
    ],
)
def test_a_parts_name_becomes_a_plain_file_name(name: str, file: str) -> None:
    assert from_part_name(name) == file


@given(st.text(min_size=1, max_size=300))
def test_whatever_a_part_is_called_its_file_stays_in_the_folder(name: str) -> None:
    with suppress(InputError):
        file = from_part_name(name)
        assert as_given(file, "file") == file
        assert file.isascii()
        assert Path(file).name == file


@pytest.mark.parametrize(
    "name",
    [
        "../x.nc", "/etc/x.nc", "a/b.nc", "a\\b.nc", "C:x.nc", "C:\\x.nc", "..", ".", ".x.nc",
        "-x.nc", "~x.nc", "x.", "x.nc ", " x.nc", "con", "CON.nc", "nul.tar.nc", "COM1.nc",
        "lpt\u00b9.nc", "a\x00.nc", "a\nb.nc", "a\u202ecn.nc", "a?.nc", "a*.nc", 'a".nc', "a|b",
        "x" * 130 + ".nc", "\u00e9" * 70, "index.nc", "INDEX.NC", "x.html", "x.toml", "x.csv",
        "\ud800.nc",
    ],
)  # fmt: skip
def test_a_name_that_is_no_plain_file_name_is_refused(name: str) -> None:
    with pytest.raises(InputError, match="is not a usable file name") as caught:
        as_given(name, "file")
    assert caught.value.key == "file"


@pytest.mark.parametrize(
    ("name", "file"),
    [("a", "a.nc"), ("a.tap", "a.tap"), ("knob-1.000", "knob-1.000.nc"), ("Ж 5.nc", "Ж 5.nc")],
)
def test_a_name_that_is_given_is_kept(name: str, file: str) -> None:
    assert as_given(name, "file") == file


def test_names_that_some_file_system_or_a_page_takes_for_one_are_folded_together() -> None:
    assert folded("Knob.nc") == folded("knob.NC") == folded("knob.tap")
    assert folded("e\u0301.nc") == folded("\u00e9.nc")
    assert page_name("knob-1.000-in.nc") == "knob-1.000-in.html"


# -- tables --------------------------------------------------------------------------------


def table(path: Path, content: bytes) -> Path:
    path.write_bytes(content)
    return path


CSV = "part.name,part.knurled_diameter,knurl.length\nKnob ä,25.0,\n\nB,,18\n"
ROWS = [
    Row(2, {"part.name": "Knob ä", "part.knurled_diameter": "25.0"}),
    Row(4, {"part.name": "B", "knurl.length": "18"}),
]


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("plain.csv", CSV.encode()),
        ("bom.csv", b"\xef\xbb\xbf" + CSV.encode()),
        ("windows.csv", CSV.replace("\n", "\r\n").encode()),
        ("old-mac.csv", CSV.replace("\n", "\r").encode()),
        ("no-last-end.csv", CSV.rstrip("\n").encode()),
        ("semicolons.csv", CSV.replace(",", ";").encode()),
        ("tabs.tsv", CSV.replace(",", "\t").encode()),
        ("tabs-in.csv", CSV.replace(",", "\t").encode()),
        ("utf-16.csv", CSV.replace(",", "\t").encode("utf-16")),
        ("quoted.csv", CSV.replace("Knob ä", '"Knob ä"').encode()),
        ("spaces.csv", CSV.replace(",", " , ").encode()),
        ("empty-columns.csv", CSV.replace("\n", ",,\n").encode()),
    ],
)
def test_a_table_is_read_however_a_spreadsheet_saves_it(
    name: str, content: bytes, tmp_path: Path
) -> None:
    assert list(read_rows(table(tmp_path / name, content))) == ROWS


def test_json_lines_hold_keys_flat_or_nested(tmp_path: Path) -> None:
    lines = (
        '{"part.name": "A", "knurl": {"length": 18.5}, "tool.rolls": ["BL", "BR"], '
        '"units": null}\r\n\r\n{"part": {"name": "B"}, "process.clean_up": false}'
    )
    assert list(read_rows(table(tmp_path / "t.jsonl", lines.encode()))) == [
        Row(1, {"part.name": "A", "knurl.length": 18.5, "tool.rolls": ["BL", "BR"]}),
        Row(3, {"part.name": "B", "process.clean_up": False}),
    ]


def workbook(path: Path, *sheets: list[list[Any]], merge: str | None = None) -> Path:
    from openpyxl import Workbook

    book = Workbook()
    for place, records in enumerate(sheets):
        page = book.active if place == 0 else book.create_sheet("Second")
        assert page is not None
        for record in records:
            page.append(record)
        if merge and place == 0:
            page.merge_cells(merge)  # type: ignore[union-attr]
    book.save(path)
    return path


HEADER = ["part.name", "part.knurled_diameter", "tool.station"]


def test_a_workbooks_cells_are_numbers_texts_and_flags(tmp_path: Path) -> None:
    records = [[*HEADER, "process.clean_up"], ["A", 25.5, 5, False], [], [1201, "1 in", None, None]]
    assert list(read_rows(workbook(tmp_path / "t.xlsx", records))) == [
        Row(2, dict(zip([*HEADER, "process.clean_up"], ["A", 25.5, 5, False], strict=True))),
        Row(4, {"part.name": 1201, "part.knurled_diameter": "1 in"}),
    ]


def test_a_workbooks_sheet_can_be_named(tmp_path: Path) -> None:
    book = workbook(tmp_path / "t.xlsx", [["part.name"], ["A"]], [["part.name"], ["B"]])
    assert [r.cells for r in read_rows(book, "Second")] == [{"part.name": "B"}]
    with pytest.raises(InputError, match=r"no such sheet.*Second"):
        list(read_rows(book, "second"))
    with pytest.raises(InputError, match="has no sheets"):
        list(read_rows(SETTING_KNOBS, "Second"))


def test_a_date_and_a_spreadsheets_error_spoil_their_row_only(tmp_path: Path) -> None:
    import datetime

    when = datetime.datetime(2026, 3, 1)
    records = [HEADER, ["A", when, 5], ["B", "#DIV/0!", 5], ["C", 25, 5]]
    first, second, third = read_rows(workbook(tmp_path / "t.xlsx", records))
    assert first.fault is not None
    assert (first.number, first.fault.key) == (2, "part.knurled_diameter")
    assert "date" in str(first.fault)
    assert second.fault is not None
    assert "error of the spreadsheet" in str(second.fault)
    results = list(make_family(base_job(), [first, second, third]))
    assert [r.ok for r in results] == [False, False, True]
    assert results[0].problems[0].column == "part.knurled_diameter"


BROKEN_TABLES = {
    "empty.csv": (b"", "is empty"),
    "blank.csv": (b"\n\n\n", "is empty"),
    "header.csv": (b"part.name,part.number\n", "has no rows"),
    "latin.csv": (b"part.name\nKnob A\nGr\xf6\xdfe\n", "line 3: byte 0xf6 is not UTF-8"),
    "mixed.csv": ("part.name\nGröße\n".encode() + b"Gr\xf6\xdfe\n", "line 3: byte 0xf6"),
    "torn.csv": (CSV.encode("utf-16")[:-1], "utf-16"),
    "nul.csv": (b"part.name\nA\x00B\n", "line 2 holds a NUL"),
    "binary.csv": (b"\x7fELF\x00\x00\x00", "NUL character"),
    "workbook.csv": (b"PK\x03\x04\x00\x00\x00", "is a workbook, not text"),
    "huge-cell.csv": (b"part.name\n" + b"x" * 10_000_000 + b"\n", "line 2 has more than"),
    "quote.csv": (b'part.name,part.number\n"A,5\n' + b"B,6\n" * 40_000, "row 2: is not CSV"),
    "quote-end.csv": (b'part.name\n"A\n', "row 2: is not CSV"),
    "twice.csv": (b"part.name,part.name\nA,B\n", "two columns have the same name"),
    "unknown.csv": (b"part.name,part.nmae\nA,\n", "part.nmae: unknown column"),
    "wide.csv": (b",".join(b"c%d" % k for k in range(501)) + b"\n", "has 501 columns"),
    "columns.csv": (b",".join(b"c%d" % k for k in range(200)) + b"\n1\n", "c0: unknown column"),
    "same.csv": (b"part.name\nKnob A\nknob a\n", "row 3: part.name: gives the same file as row 2"),
    "leaves.csv": (b"part.name,file\nA,../a.nc\n", "row 2: file: is not a usable file name"),
    "drive.csv": (b"part.name,program\nA,C:a.nc\n", "row 2: program: is not a usable file name"),
    "both.csv": (b"part.name,program,file\nA,a,b\n", "two columns name the file"),
    "no.xlsx": (b"part.name\nA\n", "is not a workbook"),
    "half.xlsx": (b"PK\x05\x06" + b"\0" * 18, "lacks a part of a workbook"),
    "empty.jsonl": (b"\n", "is empty"),
    "unknown.jsonl": (b'{"part": {"nmae": "A"}}\n', "part.nmae: unknown column"),
    "huge.jsonl": (b'{"part.name": "' + b"x" * 10_000_000 + b'"}', "line 1 has more than"),
    "table.ods": (b"x", "ends in .csv, .tsv, .xlsx or .jsonl"),
}


@pytest.mark.parametrize("name", BROKEN_TABLES)
def test_a_broken_table_is_refused_before_anything_is_written(name: str, tmp_path: Path) -> None:
    content, words = BROKEN_TABLES[name]
    file = table(tmp_path / name, content)
    with pytest.raises(InputError) as caught:
        run_family(Base.of(SETTING_KNOB), file, tmp_path / "out", workers=1)
    assert words in str(caught.value)
    assert str(file) in str(caught.value)
    assert len(str(caught.value)) < 600
    assert not (tmp_path / "out").exists()


def test_a_table_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.csv: cannot be read: No such file"):
        list(read_rows(tmp_path / "none.csv"))


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (b'{"part.name": "A"', "is not JSON"),
        (b"[1]", "is not a JSON object"),
        (b'{"part.name": "A", "part.name": "B"}', "a key stands twice"),
        (b'{"part.number": NaN}', "is not a number"),
        (b"[" * 100_000, "is not JSON"),
        (b'{"part.length": 1e999}', "not a finite number"),
        (b'{"part.number": ' + b"9" * 5000 + b"}", "is not JSON"),
        (b'{"part.name": "a\\ud800"}', "half a character"),
        (b'{"part": {"name": "A"}, "part.name": "B"}', "stands twice"),
    ],
)
def test_a_broken_json_line_spoils_its_row_only(lines: bytes, words: str, tmp_path: Path) -> None:
    file = table(tmp_path / "t.jsonl", b'{"part.name": "Good"}\n' + lines + b"\n")
    good, bad = make_family(base_job(), read_rows(file))
    assert good.ok
    assert bad.row == 2
    assert words in bad.problems[0].sentence()


def test_a_cell_in_a_column_without_a_name_spoils_its_row_only(tmp_path: Path) -> None:
    file = table(tmp_path / "t.csv", b"part.name,part.number\nKnob, round,5\nB,6\n")
    bad, good = make_family(base_job(), read_rows(file))
    assert "column 3, which has no name" in bad.problems[0].sentence()
    assert good.ok


def test_a_cell_that_is_too_long_spoils_its_row_only(tmp_path: Path) -> None:
    file = table(tmp_path / "t.csv", b"part.name\n" + b"x" * 5000 + b"\nB\n")
    bad, good = make_family(base_job(), read_rows(file))
    assert "has 5,000 characters" in bad.problems[0].sentence()
    assert good.ok


def test_a_formula_that_was_never_calculated_is_not_taken_for_an_empty_cell(
    tmp_path: Path,
) -> None:
    book = workbook(tmp_path / "t.xlsx", [HEADER, ["A", "=20+5", 5]])
    with pytest.raises(InputError, match=r"row 2: the formula in B2 has not been calc.*=20\+5"):
        count_rows(Base.of(SETTING_KNOB), book)


def test_merged_cells_are_not_taken_for_empty_ones(tmp_path: Path) -> None:
    book = workbook(tmp_path / "t.xlsx", [HEADER, ["A", 25, 5], ["B", 25, 5]], merge="B2:B3")
    with pytest.raises(InputError, match="has merged cells"):
        count_rows(Base.of(SETTING_KNOB), book)


def changed(path: Path, part: str, old: str, new: str) -> Path:
    """Change a part of a workbook as some spreadsheet would have written it."""
    with zipfile.ZipFile(path) as book:
        parts = {name: book.read(name).decode() for name in book.namelist()}
    assert old in parts[part]
    parts[part] = parts[part].replace(old, new)
    with zipfile.ZipFile(path, "w") as book:
        for name, text in parts.items():
            book.writestr(name, text)
    return path


SHEET = "xl/worksheets/sheet1.xml"


def test_a_formula_whose_value_is_an_empty_text_is_an_empty_cell(tmp_path: Path) -> None:
    book = workbook(tmp_path / "t.xlsx", [HEADER, ["A", '=IF(A2="","",60)', 5]])
    with zipfile.ZipFile(book) as parts:
        cell = re.search(r'<c r="B2"[^>]*>', parts.read(SHEET).decode())
    assert cell
    changed(book, SHEET, cell[0], '<c r="B2" t="str">')
    assert count_rows(Base.of(SETTING_KNOB), book) == 1
    (row,) = read_rows(book)
    assert row.cells == {"part.name": "A", "tool.station": 5}


def test_merged_cells_on_another_sheet_are_no_matter(tmp_path: Path) -> None:
    from openpyxl import load_workbook

    path = workbook(tmp_path / "t.xlsx", [HEADER, ["A", 25, 5]], [["Notes", "of ours"]])
    book = load_workbook(path)
    book["Second"].merge_cells("A1:B1")
    book.save(path)
    assert count_rows(Base.of(SETTING_KNOB), path) == 1


def test_a_sheet_whose_part_is_named_by_no_relation_is_told_in_words(tmp_path: Path) -> None:
    path = workbook(tmp_path / "t.xlsx", [HEADER, ["A", 25, 5]])
    changed(path, "xl/workbook.xml", "officeDocument/2006", "officeDocument/2005")
    with pytest.raises(InputError, match="has a sheet that cannot be read"):
        count_rows(Base.of(SETTING_KNOB), path)


def test_a_damaged_workbook_is_refused_in_words(tmp_path: Path) -> None:
    path = workbook(tmp_path / "t.xlsx", [HEADER, *([f"Knob {k}", 25, 5] for k in range(50))])
    whole = path.read_bytes()
    with zipfile.ZipFile(path) as book:
        start = book.getinfo(SHEET).header_offset + 60 + len(SHEET)
    for place in range(start, start + 200, 20):
        path.write_bytes(whole[:place] + b"\xff\xff\xff\xff" + whole[place + 4 :])
        with pytest.raises(InputError, match=r"t\.xlsx: "):
            count_rows(Base.of(SETTING_KNOB), path)


def test_hidden_columns_are_not_read_behind_ones_back(tmp_path: Path) -> None:
    from openpyxl import load_workbook

    path = workbook(tmp_path / "t.xlsx", [HEADER, ["A", 25, 5]])
    book = load_workbook(path)
    book.active.column_dimensions["B"].hidden = True
    book.save(path)
    with pytest.raises(InputError, match="has a hidden column"):
        count_rows(Base.of(SETTING_KNOB), path)


@pytest.mark.parametrize("target", ["./worksheets/sheet1.xml", "/xl/worksheets/sheet1.xml"])
def test_a_sheet_is_found_however_its_place_is_written(target: str, tmp_path: Path) -> None:
    path = workbook(tmp_path / "t.xlsx", [HEADER, ["A", 25, 5]])
    part = "xl/_rels/workbook.xml.rels"
    with zipfile.ZipFile(path) as book:
        written = re.search(r'Target="([^"]*sheet1.xml)"', book.read(part).decode())
    assert written
    changed(path, part, f'"{written[1]}"', f'"{target}"')
    assert count_rows(Base.of(SETTING_KNOB), path) == 1


def test_hidden_rows_are_not_made_behind_ones_back(tmp_path: Path) -> None:
    from openpyxl import load_workbook

    path = workbook(tmp_path / "t.xlsx", [HEADER, ["A", 25, 5], ["B", 26, 5]])
    book = load_workbook(path)
    book.active.row_dimensions[3].hidden = True
    book.save(path)
    with pytest.raises(InputError, match="row 3: is hidden, or filtered out"):
        count_rows(Base.of(SETTING_KNOB), path)


@pytest.mark.parametrize(
    "shown", ['0.0" in"', "0.0\\ \\i\\n", '0.00"″"', '0.0\\"', "0.0'", "0.0\\ [$mm]", "0.0,", ";;;"]
)
def test_a_unit_that_only_the_number_format_shows_is_refused(shown: str, tmp_path: Path) -> None:
    from openpyxl import load_workbook

    path = workbook(tmp_path / "t.xlsx", [HEADER, ["A", 25, 5]])
    book = load_workbook(path)
    book.active["B2"].number_format = shown.replace("\\\\", "\\")
    book.save(path)
    with pytest.raises(InputError, match="row 2: B2 shows something other than its value"):
        count_rows(Base.of(SETTING_KNOB), path)


@pytest.mark.parametrize("shown", ["0.000", "0%", "#,##0.00", "[Red]-0.0", '"+"0.0', "0.0E+00"])
def test_other_number_formats_are_no_matter(shown: str, tmp_path: Path) -> None:
    from openpyxl import load_workbook

    path = workbook(tmp_path / "t.xlsx", [HEADER, ["A", 25, 5]])
    book = load_workbook(path)
    book.active["B2"].number_format = shown
    book.save(path)
    assert count_rows(Base.of(SETTING_KNOB), path) == 1


def test_the_first_sheet_that_a_person_sees_is_read(tmp_path: Path) -> None:
    from openpyxl import load_workbook

    path = workbook(tmp_path / "t.xlsx", [["part.name"], ["hidden"]], [["part.name"], ["seen"]])
    book = load_workbook(path)
    book["Sheet"].sheet_state = "hidden"
    book.active = 1
    book.save(path)
    assert [r.cells["part.name"] for r in read_rows(path)] == ["seen"]


def test_a_chart_is_no_sheet(tmp_path: Path) -> None:
    from openpyxl import load_workbook
    from openpyxl.chart import BarChart, Reference

    path = workbook(tmp_path / "t.xlsx", [HEADER, ["A", 25, 5]])
    book = load_workbook(path)
    chart = BarChart()
    chart.add_data(Reference(book["Sheet"], min_col=2, min_row=1, max_row=2))
    book.create_chartsheet("Chart", 0).add_chart(chart)
    book.save(path)
    assert [r.cells["part.name"] for r in read_rows(path)] == ["A"]
    with pytest.raises(InputError, match="no such sheet"):
        list(read_rows(path, "Chart"))


def test_a_header_that_is_coloured_to_the_edge_of_the_sheet_is_as_long_as_its_names(
    tmp_path: Path,
) -> None:
    book = workbook(tmp_path / "t.xlsx", [HEADER + [None] * 1020 + [" "], ["A", 25, 5]])
    assert count_rows(Base.of(SETTING_KNOB), book) == 1


def test_columns_of_ones_own_remarks_are_not_read(tmp_path: Path) -> None:
    file = table(tmp_path / "t.csv", b"part.name,#customer,part.number\nA,anything,5\n")
    assert count_rows(Base.of(SETTING_KNOB), file) == 1
    assert [r.cells for r in read_rows(file)] == [{"part.name": "A", "part.number": "5"}]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"Knob list 2026,\npart.name,part.number\nA,1\n", "delete what stands above them"),
        (b"sep=;\npart.name;part.number\nA;1\n", "delete what stands above them"),
        (b"\npart.name\nA\n", "its first row is"),
        (b"\x1b[31mX\n1\n", r"'\x1b[31mX': unknown column"),
        (b"x" * 100_000 + b"\n1\n", "xx...: unknown column"),
    ],
    ids=["title", "separator", "blank", "escape", "flood"],
)
def test_a_header_that_is_none_is_told_in_words_that_help(
    content: bytes, words: str, tmp_path: Path
) -> None:
    with pytest.raises(InputError) as caught:
        count_rows(Base.of(SETTING_KNOB), table(tmp_path / "t.csv", content))
    assert words in str(caught.value)
    assert "\x1b" not in str(caught.value)
    assert len(str(caught.value)) < 600


def test_a_table_cannot_come_through_a_pipe(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "t.csv")
    with pytest.raises(InputError, match="cannot come through a pipe"):
        list(read_rows(tmp_path / "t.csv"))


def test_several_broken_names_are_told_at_once(tmp_path: Path) -> None:
    file = table(tmp_path / "t.csv", b"part.name,file\nA,../a\nB,con\nC,c\nD,C\n")
    with pytest.raises(InputError) as caught:
        count_rows(Base.of(SETTING_KNOB), file)
    assert [line.split(": ")[0] for line in str(caught.value).splitlines()] == [
        f"{file} row {n}" for n in (2, 3, 5)
    ]


# -- the folder ----------------------------------------------------------------------------


def test_a_folder_holds_the_programs_and_an_index_and_nothing_else(tmp_path: Path) -> None:
    summary = family(tmp_path, knobs(5))
    out = tmp_path / "out"
    assert sorted(os.listdir(out)) == sorted(
        ["index.csv", "index.html", "index.json", *(f"knob-{k}.nc" for k in range(5))]
    )
    assert (summary.counts.made, summary.counts.failed) == (5, 0)
    for part in index_of(out)["parts"]:
        assert digests(out)[part["file"]] == part["sha256"]


def test_every_program_of_the_samples_family_verifies_against_its_own_job(tmp_path: Path) -> None:
    base = Base.of(SETTING_KNOB)
    assert run_family(base, SETTING_KNOBS, tmp_path / "out", workers=1).counts.made >= 24
    parts = index_of(tmp_path / "out")["parts"]
    assert {p["units"] for p in parts} == {"mm", "inch"}
    assert min(sum(p["units"] == u for p in parts) for u in ("mm", "inch")) >= 12
    assert len({p["number"] for p in parts}) == len(parts)
    for part in parts:
        job = Job.model_validate(part["job"])
        text = (tmp_path / "out" / part["file"]).read_text(encoding="utf-8")
        assert verify(text, job, part["post"]).findings == ()
        plan = make_plan(job)
        assert (part["teeth"], part["blank_diameter_mm"]) == (plan.teeth, plan.blank_diameter_mm)
        assert not [n for n in part["notes"] if n["severity"] != "note"]


def test_the_three_indexes_tell_the_same(tmp_path: Path) -> None:
    rows = knobs(4)
    rows[2]["part.knurled_diameter"] = "x"
    summary = family(tmp_path, rows)
    assert summary.counts.failed == 1
    data = index_of(tmp_path / "out")
    assert (data["rows"], data["programs"], data["failed"]) == (4, 3, 1)
    with (tmp_path / "out" / "index.csv").open(encoding="utf-8", newline="") as stream:
        table_rows = list(csv.DictReader(stream))
    for part, told in zip(data["parts"], table_rows, strict=True):
        assert str(part["row"]) == told["row"]
        assert (part["file"] or "") == told["file"]
        assert (part["sha256"] or "") == told["sha256"]
        assert str(part["teeth"] or "") == told["teeth"]
        assert bool(part["problems"]) == bool(told["problem"])
    assert table_rows[0]["blank_diameter"] == f"{data['parts'][0]['blank_diameter_mm']:.3f}"
    assert "part.knurled_diameter" in table_rows[2]["problem"]
    html = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    inside = html.partition('id="parts">')[2].partition("</script>")[0]
    assert [r[0] for r in json.loads(inside)] == [2, 3, 4, 5]


def test_the_inch_rows_of_the_index_are_in_inches(tmp_path: Path) -> None:
    run_family(Base.of(SETTING_KNOB), SETTING_KNOBS, tmp_path / "out", workers=1)
    with (tmp_path / "out" / "index.csv").open(encoding="utf-8", newline="") as stream:
        (row,) = [r for r in csv.DictReader(stream) if r["name"] == "Setting knob 1.000 in"]
    assert (row["units"], row["knurled_diameter"]) == ("inch", "1.0000")


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@x", "＝1", " =1", "\ufeff=1"])
def test_no_cell_of_the_index_is_a_formula(name: str, tmp_path: Path) -> None:
    rows = [{"part.name": name, "file": "a.nc"}, {"part.name": "Knob", "file": "b.nc"}]
    save_family(make_family(roomy(), rows), tmp_path / "out")
    with (tmp_path / "out" / "index.csv").open(encoding="utf-8", newline="") as stream:
        row, _ = csv.DictReader(stream)
    assert row["name"].startswith("'")
    assert name.strip(" \ufeff") in row["name"]  # what nobody sees is taken for a space


def test_a_formula_behind_a_delimiter_of_another_country_is_none_either(tmp_path: Path) -> None:
    rows = [{"part.name": "Knob;=1+2", "file": "a.nc"}]
    save_family(make_family(roomy(), rows), tmp_path / "out")
    assert ";=" not in (tmp_path / "out" / "index.csv").read_text(encoding="utf-8")


def test_the_index_page_cannot_be_ended_by_a_name(tmp_path: Path) -> None:
    rows = [{"part.name": "</script><script>alert(1)</script><!--", "file": "a.nc"}]
    save_family(make_family(roomy(), rows), tmp_path / "out")
    html = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert html.count("</script>") == 2
    assert "<!--" not in html


def test_setters_pages_stand_beside_the_programs(tmp_path: Path) -> None:
    family(tmp_path, knobs(2), review=True)
    parts = index_of(tmp_path / "out")["parts"]
    assert [p["page"] for p in parts] == ["knob-0.html", "knob-1.html"]
    for part in parts:
        page = (tmp_path / "out" / part["page"]).read_text(encoding="utf-8")
        assert part["job_identity"] in page


def test_a_dialect_and_a_form_hold_for_the_whole_family(tmp_path: Path) -> None:
    family(tmp_path, knobs(2), post="uw-lathe", form="subprogram")
    text = (tmp_path / "out" / "knob-1.nc").read_text(encoding="utf-8")
    assert "M99" in text
    assert index_of(tmp_path / "out")["parts"][1]["post"] == "uw-lathe"


def test_a_shared_program_number_is_warned_of(tmp_path: Path) -> None:
    rows = [{k: v for k, v in r.items() if k != "part.number"} for r in knobs(3)]
    said = family(tmp_path, rows).counts.shared_numbers()
    assert said is not None
    assert "3 programs have number 1201" in said
    html = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert "3 programs have number 1201" in html
    assert family(tmp_path, knobs(3), out="other").counts.shared_numbers() is None


def test_strict_makes_none_unless_all_can_be_made(tmp_path: Path) -> None:
    rows = knobs(300)
    rows[200]["part.knurled_diameter"] = "x"
    summary = family(tmp_path, rows, strict=True)
    assert summary.counts.failed == 1
    assert not (tmp_path / "out").exists()
    family(tmp_path, knobs(3))
    before = digests(tmp_path / "out")
    family(tmp_path, rows, strict=True)
    assert digests(tmp_path / "out") == before
    assert family(tmp_path, knobs(300), strict=True).counts.made == 300


# -- a folder that is not empty ------------------------------------------------------------


def test_a_folder_with_a_file_of_someone_elses_is_not_touched(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match=r"notes\.txt was not made by an earlier run.*--force"):
        family(tmp_path, knobs(2))
    assert os.listdir(tmp_path / "out") == ["notes.txt"]
    family(tmp_path, knobs(2), force=True)
    assert (tmp_path / "out" / "notes.txt").read_text(encoding="utf-8") == "mine"
    assert (tmp_path / "out" / "knob-1.nc").exists()


def test_an_index_of_someone_elses_is_not_written_over(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "index.html").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match=r"index\.html was not made by an earlier run"):
        family(tmp_path, knobs(2))


@pytest.mark.parametrize("resume", [False, True])
def test_a_program_that_was_edited_is_not_lost_without_asking(tmp_path: Path, resume: bool) -> None:
    family(tmp_path, knobs(3))
    edited = tmp_path / "out" / "knob-1.nc"
    edited.write_text("edited at the control", encoding="utf-8")
    if not resume:
        with pytest.raises(InputError, match=r"knob-1\.nc was changed since it was made"):
            family(tmp_path, knobs(3))
        assert edited.read_text(encoding="utf-8") == "edited at the control"
        family(tmp_path, knobs(3), force=True)
    else:
        assert family(tmp_path, knobs(3), resume=True).counts.made == 1
    assert (
        digests(tmp_path / "out")["knob-1.nc"] == index_of(tmp_path / "out")["parts"][1]["sha256"]
    )


def test_a_program_that_no_row_makes_any_more_goes_unless_it_was_edited(tmp_path: Path) -> None:
    family(tmp_path, knobs(5), review=True)
    edited = tmp_path / "out" / "knob-4.nc"
    edited.write_text("edited", encoding="utf-8")
    summary = family(tmp_path, knobs(2), resume=True, review=True)
    assert summary.removed == 5  # two programs and three pages
    assert summary.left == ("knob-4.nc",)
    assert edited.exists()
    assert not (tmp_path / "out" / "knob-3.nc").exists()


def test_a_row_that_cannot_be_made_any_more_leaves_no_old_program(tmp_path: Path) -> None:
    family(tmp_path, knobs(3))
    rows = knobs(3)
    rows[1]["part.knurled_diameter"] = "x"
    family(tmp_path, rows, resume=True)
    assert not (tmp_path / "out" / "knob-1.nc").exists()


def test_two_runs_do_not_work_in_one_folder(tmp_path: Path) -> None:
    with (
        FamilyFolder(tmp_path / "out"),
        pytest.raises(InputError, match="another run is at work"),
    ):
        family(tmp_path, knobs(2), force=True)


def test_a_folder_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("x", encoding="utf-8")
    with pytest.raises(InputError, match="is not a folder"):
        family(tmp_path, knobs(2))


# -- resuming ------------------------------------------------------------------------------


def test_resuming_makes_only_what_changed(tmp_path: Path) -> None:
    rows = knobs(6)
    family(tmp_path, rows)
    before = {p.name: p.stat().st_mtime_ns for p in (tmp_path / "out").glob("*.nc")}
    rows[2]["part.knurled_diameter"] = 44.0
    rows.append({"part.name": "New", "part.knurled_diameter": 30.0, "part.number": 77})
    summary = family(tmp_path, rows, resume=True)
    assert (summary.counts.kept, summary.counts.made) == (5, 2)
    after = {p.name: p.stat().st_mtime_ns for p in (tmp_path / "out").glob("*.nc")}
    assert {n for n in before if after[n] != before[n]} == {"knob-2.nc"}
    family(tmp_path, rows, out="anew")
    assert digests(tmp_path / "out") == digests(tmp_path / "anew")


@pytest.mark.parametrize(
    "change",
    [
        {"changes": {"knurl.length": 19.0}},
        {"post": "rs274"},
        {"form": "blocks"},
        {"review": True},
    ],
    ids=str,
)
def test_resuming_makes_anew_what_the_whole_family_changed(
    change: dict[str, Any], tmp_path: Path
) -> None:
    family(tmp_path, knobs(3))
    summary = family(tmp_path, knobs(3), resume=True, **change)
    assert (summary.counts.kept, summary.counts.made) == (0, 3)


def test_resuming_makes_anew_what_other_tables_or_dialects_would_change(tmp_path: Path) -> None:
    own = tmp_path / "posts" / "own"
    own.mkdir(parents=True)
    posts = Path(__file__).parents[2] / "postprocessors"
    for file in (posts / "iso6983" / "dialect.toml", posts / "program.nc.j2"):
        text = file.read_text("utf-8").replace('name = "iso6983"', 'name = "own"')
        (own / file.name).write_text(text, encoding="utf-8")

    def run() -> Summary:
        base = Base.of(job_file(tmp_path / "base.toml"), post="own", posts=[tmp_path / "posts"])
        file = write_csv(tmp_path / "table.csv", knobs(3))
        return run_family(base, file, tmp_path / "out", workers=1, resume=True)

    assert run().counts.made == 3
    assert run().counts.kept == 3
    with (own / "program.nc.j2").open("a", encoding="utf-8") as stream:
        stream.write("\n")
    assert run().counts.made == 3


def test_a_run_that_was_cut_off_between_journal_and_folder_is_mended(tmp_path: Path) -> None:
    """A program that the journal knows and that is not there, or only half."""
    family(tmp_path, knobs(4), out="whole")
    out = tmp_path / "out"
    family(tmp_path, knobs(4))
    unfinished = out / ".unfinished"
    unfinished.mkdir()
    lines = [json.dumps(p) for p in index_of(out)["parts"]]
    for name in ("index.csv", "index.html", "index.json"):
        (out / name).unlink()
    (unfinished / "family.json").write_text('{"base": "base.toml", "table": "table.csv"}', "utf-8")
    (unfinished / "journal.jsonl").write_text("\n".join(lines) + '\n{"row": 9, "na', "utf-8")
    (out / "knob-1.nc").unlink()
    half = (out / "knob-2.nc").read_text(encoding="utf-8")[:500]
    (out / "knob-2.nc").write_text(half, encoding="utf-8")
    summary = family(tmp_path, knobs(4), resume=True)
    assert (summary.counts.kept, summary.counts.made) == (2, 2)
    assert digests(out) == digests(tmp_path / "whole")


def test_a_journal_or_index_that_is_rubbish_is_no_reason_to_keep_anything(tmp_path: Path) -> None:
    family(tmp_path, knobs(3), out="whole")
    family(tmp_path, knobs(3))
    index = tmp_path / "out" / "index.json"
    lines = index.read_text(encoding="utf-8").splitlines()
    lines[1] = '{"row": 2, "file": 5}'
    index.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"knob-0\.nc was not made by an earlier run"):
        family(tmp_path, knobs(3), resume=True)
    assert family(tmp_path, knobs(3), resume=True, force=True).counts.kept == 2
    assert digests(tmp_path / "out") == digests(tmp_path / "whole")


# -- a disk that does not take it ----------------------------------------------------------


def full_after(monkeypatch: pytest.MonkeyPatch, files: int) -> None:
    """Make the disk full in the middle of the file after so many."""
    left = files

    def opened(path: str | Path, mode: str = "r", **more: Any) -> Any:
        nonlocal left
        stream = open(path, mode, **more)  # noqa: SIM115 - whoever asked closes it
        place = Path(path).parent
        left -= "r" not in mode and "new" in (place.name, place.parent.name)
        left -= "r" not in mode and place.name == "index"
        if left < 0:
            stream.write(b"%" if "b" in mode else "%")
            stream.close()
            raise OSError(28, "No space left on device", str(path))
        return stream

    for module in (disk_module, index_module):
        monkeypatch.setattr(module, "open", opened, raising=False)


@pytest.mark.parametrize("writes", [0, 1, 150, 300, 301, 302])
def test_a_full_disk_leaves_nothing_half_written(
    writes: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    family(tmp_path, knobs(300), out="whole")
    whole = digests(tmp_path / "whole")
    with monkeypatch.context() as patched:
        base, file = Base.of(tmp_path / "base.toml"), tmp_path / "table.csv"
        full_after(patched, writes)
        with pytest.raises(InputError, match=r"No space left on device.*--resume"):
            run_family(base, file, tmp_path / "out", workers=1)
    for name, digest in digests(tmp_path / "out").items():
        if not name.startswith(".unfinished") and name != "UNFINISHED.txt":
            assert whole[name] == digest
    summary = family(tmp_path, knobs(300), resume=True)
    assert summary.counts.kept == (300 if writes >= 300 else writes // 128 * 128)
    assert digests(tmp_path / "out") == whole


def test_a_folder_that_cannot_be_written_to_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def denied(self: Path, *args: Any, **kwargs: Any) -> None:
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr(Path, "mkdir", denied)
    with pytest.raises(InputError, match=r"cannot be written:.*Permission denied"):
        family(tmp_path, knobs(2))


@pytest.fixture
def read_only() -> Iterator[Path]:
    """Return a folder that nobody may write to, as one whom that binds: root is not."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder, "out")
        out.mkdir()
        os.chmod(folder, 0o755)
        out.chmod(0o555)
        me = os.geteuid()
        if me == 0:
            os.seteuid(65534)
        try:
            yield out
        finally:
            os.seteuid(me)
            out.chmod(0o755)


def test_a_read_only_folder_is_named(read_only: Path) -> None:
    results = make_family(roomy(), knobs(2))
    with pytest.raises(InputError, match=r"cannot be written: .*out.*Permission denied"):
        save_family(results, read_only)
    assert os.listdir(read_only) == []


def test_where_the_system_has_no_sync_each_file_is_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    waited: list[int] = []
    monkeypatch.delattr(os, "sync")
    monkeypatch.setattr(disk_module.os, "fsync", waited.append)
    family(tmp_path, knobs(3))
    # The journal and three programs, the journal and the index, and once they are in place.
    assert len(waited) == 1 + 3 + 1 + 3 + 1


def test_the_disk_is_waited_for_before_a_program_is_put_in_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[tuple[int, int]] = []

    def looked() -> None:
        journal = (tmp_path / "out" / ".unfinished" / "journal.jsonl").read_text("utf-8")
        seen.append((journal.count("\n"), len(list((tmp_path / "out").glob("*.nc")))))

    monkeypatch.setattr(os, "sync", looked)
    family(tmp_path, knobs(200))
    assert seen == [(128, 0), (200, 128), (200, 200), (200, 200)]


def test_a_result_is_saved_by_a_script_as_by_the_command(tmp_path: Path) -> None:
    seen: list[Result] = []
    summary = save_family(make_family(roomy(), knobs(3)), tmp_path / "out", watch=seen.append)
    assert summary.counts.made == len(seen) == 3
    with pytest.raises(InputError, match="is the file of row 1 already"):
        save_family(make_family(roomy(), [knobs(1)[0], knobs(1)[0]]), tmp_path / "twice")


def test_the_index_tells_evenness_and_limits_of_a_blank_that_are_not_alike() -> None:
    base = base_job({"knurl.purpose": "press fit", "knurl.callout": "96 DP straight"})
    long = {"part.length": 200.0, "knurl.length": 120.0}
    made = list(make_family(base, [{"part.name": "short"}, {"part.name": "long", **long}]))
    short, slender = (result.entry for result in made)
    assert 0.9 < short["evenness"] < 1.0
    assert slender["evenness"] < 0.5
    # Class III of 96 DP, from memory: +0 / -0.001 inch
    assert short["blank_limits_mm"] == pytest.approx([0.0, -0.0254])
    cells = dict(zip(COLUMNS, next(csv.reader([made[0].lines.csv])), strict=True))
    assert cells["blank_tolerance"] == "'+0.000 -0.025"
    assert cells["evenness"] == f"{short['evenness']:.2f}"
