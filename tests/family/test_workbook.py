"""Workbooks: the rows of a sheet, and what it hides."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path

import pytest

from knurlcam import InputError
from knurlcam.family import (
    Base,
    Row,
    count_rows,
    make_family,
    read_rows,
)
from tests.support.families import (
    SETTING_KNOB,
    SETTING_KNOBS,
)
from tests.support.jobs import base_job
from tests.support.workbooks import HEADER, changed, workbook


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
    assert "spreadsheet error" in str(second.fault)
    results = list(make_family(base_job(), [first, second, third]))
    assert [r.ok for r in results] == [False, False, True]
    assert results[0].problems[0].column == "part.knurled_diameter"


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


def test_a_sheet_whose_part_is_named_by_no_relation_is_reported_in_words(tmp_path: Path) -> None:
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
