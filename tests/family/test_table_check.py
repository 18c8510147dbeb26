"""Tables that are refused before anything is written."""

from __future__ import annotations

from pathlib import Path

import pytest

from knurlcam import InputError
from knurlcam.family import (
    Base,
    count_rows,
    run_family,
)
from tests.support.families import (
    SETTING_KNOB,
)
from tests.support.workbooks import CSV, table

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


@pytest.mark.few(12)
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


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"Knob list 2026,\npart.name,part.number\nA,1\n", "delete anything above them"),
        (b"sep=;\npart.name;part.number\nA;1\n", "delete anything above them"),
        (b"\npart.name\nA\n", "its first row is"),
        (b"\x1b[31mX\n1\n", r"'\x1b[31mX': unknown column"),
        (b"x" * 100_000 + b"\n1\n", "xx...: unknown column"),
    ],
    ids=["title", "separator", "blank", "escape", "flood"],
)
def test_a_header_that_is_none_is_reported_in_words_that_help(
    content: bytes, words: str, tmp_path: Path
) -> None:
    with pytest.raises(InputError) as caught:
        count_rows(Base.of(SETTING_KNOB), table(tmp_path / "t.csv", content))
    assert words in str(caught.value)
    assert "\x1b" not in str(caught.value)
    assert len(str(caught.value)) < 600


def test_several_broken_names_are_reported_at_once(tmp_path: Path) -> None:
    file = table(tmp_path / "t.csv", b"part.name,file\nA,../a\nB,con\nC,c\nD,C\n")
    with pytest.raises(InputError) as caught:
        count_rows(Base.of(SETTING_KNOB), file)
    assert [line.split(": ")[0] for line in str(caught.value).splitlines()] == [
        f"{file} row {n}" for n in (2, 3, 5)
    ]
