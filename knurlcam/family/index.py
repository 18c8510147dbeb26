"""The index of a family: for spreadsheets, for scripts and for people."""

from __future__ import annotations

import csv
import hashlib
import json
import re
from array import array
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

from markupsafe import Markup

from knurlcam import __version__
from knurlcam.family.make import Problem, Result
from knurlcam.onefile import content_policy, own_text, page_environment
from knurlcam.quantities import Kind, Units, show, show_bare, show_down
from knurlcam.tables import cautions, proving

__all__ = [
    "INDEX_FILES",
    "INDEX_JSON",
    "Counts",
    "Head",
    "Tail",
    "index_head",
    "index_lines",
    "index_tail",
    "write_index",
]

INDEX_CSV, INDEX_HTML, INDEX_JSON = "index.csv", "index.html", "index.json"
INDEX_FILES = (INDEX_CSV, INDEX_HTML, INDEX_JSON)

MADE_BY = "knurlcam family"
MARK = f'{{"made_by": "{MADE_BY}"'
"""How an index.json of ours begins."""

PARTS = ', "parts": ['
"""How its first line ends: the rows follow, one a line."""

MOST_OF_A_HEAD = 10_000

COLUMNS = (
    "row",
    "name",
    "file",
    "sha256",
    "units",
    "teeth",
    "blank_diameter",
    "blank_tolerance",
    "knurled_diameter",
    "passes",
    "spindle_rpm",
    "time_s",
    "findings",
    "notes",
    "page",
    "problem",
)

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""What a spreadsheet may take for the start of a formula, wide signs of Asian fonts too."""

UNSEEN = " \xa0\ufeff\u200b\u200c\u200d\u2060"
"""What may stand before it without being seen."""

_INNER_FORMULA = re.compile(r"([;\t\r\n]\s*)([=+\-@＝＋－＠])")

ROWS_GO_HERE = "\0rows\0"
"""Where the page's template has the rows: they are written one by one, not held. No name
of a file holds this mark."""

_COMPACT = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"))

HIGHEST_NUMBER = 9999
"""Of a program, as a job may give it."""


@dataclass(slots=True)
class Counts:
    """How many rows became what.

    Attributes:
        rows: All rows.
        made: Programs that were written.
        kept: Programs of an earlier run that were left as they are.
        failed: Rows without a program.
        numbers: How many programs have each program number, by number.
        plain: Whether all that the rows say is plain ASCII.
    """

    rows: int = 0
    made: int = 0
    kept: int = 0
    failed: int = 0
    numbers: array[int] = field(default_factory=lambda: array("Q", bytes(8 * (HIGHEST_NUMBER + 1))))

    plain: bool = True

    def add(self, result: Result, *, plain: bool = True) -> None:
        """Count a result; *plain* says whether its line in the index is ASCII."""
        self.rows += 1
        self.plain &= plain
        if not result.ok:
            self.failed += 1
            return
        if result.text is None:
            self.kept += 1
        else:
            self.made += 1
        self.numbers[result.entry["number"]] += 1

    @property
    def programs(self) -> int:
        """All programs that are in the folder."""
        return self.made + self.kept

    def shared_numbers(self) -> str | None:
        """Return the sentence that warns of program numbers that several programs have."""
        shared = [(n, count) for n, count in enumerate(self.numbers) if count > 1]
        if not shared:
            return None
        first, count = shared[0]
        besides = f", and {len(shared) - 1} more numbers are shared" if len(shared) > 1 else ""
        return (
            f"{count} programs have number {first}{besides}: a control keeps one program a "
            "number; give each its own with a column part.number"
        )


@dataclass(frozen=True, slots=True)
class Head:
    """What an index is made from: the names of the base job's file and of the table's."""

    base: str
    table: str


@dataclass(frozen=True, slots=True)
class Tail:
    """What stands at the end of an index.json.

    Attributes:
        sha256: Of each file of the index as it was written; empty where it cannot be told.
        left: Programs and pages that no row makes any more, and that a person has changed.
    """

    sha256: Mapping[str, str] = field(default_factory=dict)
    left: tuple[str, ...] = ()


def index_head(path: Path) -> Head | None:
    """Return the head of an index.json; None for a file that is not ours."""
    with suppress(OSError, ValueError, KeyError, TypeError), path.open("rb") as stream:
        line = stream.readline(MOST_OF_A_HEAD).decode("utf-8")
        if line.startswith(MARK):
            head = json.loads(line.removesuffix("\n").removesuffix(PARTS) + "}")
            return Head(str(head["base"]), str(head["table"]))
    return None


def index_lines(path: Path) -> Iterator[str]:
    """Return the rows of an index.json, each a JSON object; none of one that is not ours."""
    if index_head(path) is None:
        return
    with path.open(encoding="utf-8", errors="replace") as stream:
        stream.readline()
        for line in stream:
            if line.startswith("{"):
                yield line.rstrip().removesuffix(",")


def index_tail(path: Path) -> Tail:
    """Return the end of an index.json; an empty one for a file that is not ours, or edited."""
    if index_head(path) is None:
        return Tail()
    before, whole, last = hashlib.sha256(), hashlib.sha256(), b""
    with path.open("rb") as stream:
        for line in stream:
            before.update(last)
            whole.update(line)
            last = line
    with suppress(ValueError, KeyError, TypeError, AttributeError):
        tail = json.loads(b'{"parts": [' + last)
        sha256 = {name: str(tail["sha256"][name]) for name in INDEX_FILES}
        same = sha256[INDEX_JSON] == before.hexdigest()
        sha256[INDEX_JSON] = whole.hexdigest() if same else ""
        return Tail(sha256, tuple(map(str, tail["left"])))
    return Tail()


def write_index(
    folder: Path,
    lines: Callable[[], Iterator[str]],
    counts: Counts,
    head: Head,
    left: Sequence[str] = (),
) -> None:
    """Write the three files of an index.

    Args:
        folder: Where they go.
        lines: Returns the rows, each a JSON object on its line.
        counts: What became of the rows.
        head: What they are made from.
        left: Files of earlier runs that a person has changed, and that no row makes.
    """
    # A spreadsheet takes a text for UTF-8 by its byte order mark; scripts do without.
    encoding = "utf-8" if counts.plain else "utf-8-sig"
    with (
        open(folder / INDEX_JSON, "w", encoding="utf-8", newline="\n") as as_json,
        open(folder / INDEX_CSV, "w", encoding=encoding, newline="") as as_csv,
        open(folder / INDEX_HTML, "w", encoding="utf-8", newline="\n") as as_html,
    ):
        as_json.write(_head_line(counts, head))
        writer = csv.writer(as_csv)
        writer.writerow(COLUMNS)
        before, after = _page(counts, head, left)
        as_html.write(before)
        comma = ""
        for line in lines():
            entry = json.loads(line)
            as_json.write(comma + line.rstrip())
            writer.writerow([_harmless(cell) for cell in _csv_cells(entry)])
            as_html.write(comma + _in_script(_shown(entry)))
            comma = ",\n"
        as_json.write("\n")
        as_html.write(after)
    sha256 = {}
    for name in INDEX_FILES:
        with open(folder / name, "rb") as stream:
            sha256[name] = hashlib.file_digest(stream, "sha256").hexdigest()
    with open(folder / INDEX_JSON, "a", encoding="utf-8", newline="\n") as as_json:
        tail = json.dumps({"left": list(left), "sha256": sha256}, ensure_ascii=False)
        as_json.write(f"], {tail[1:]}\n")


def _head_line(counts: Counts, head: Head) -> str:
    said = {"made_by": MADE_BY, "version": __version__, "base": head.base, "table": head.table}
    counted = {"rows": counts.rows, "programs": counts.programs, "failed": counts.failed}
    return json.dumps(said | counted, ensure_ascii=False)[:-1] + PARTS + "\n"


def _harmless(cell: Any) -> Any:
    """Return a cell that no spreadsheet takes for a formula (common practice: an apostrophe).

    One that takes semicolons or tabs for delimiters would find a cell of its own behind
    each of them.
    """
    if not isinstance(cell, str):
        return cell
    if cell.lstrip(UNSEEN).startswith(FORMULA_STARTS):
        cell = f"'{cell}"
    return _INNER_FORMULA.sub(r"\1'\2", cell) if _INNER_FORMULA.search(cell) else cell


def _csv_cells(entry: Mapping[str, Any]) -> list[Any]:
    if entry["problems"]:
        known = {"row": entry["row"], "name": entry["name"], "problem": _problems(entry)}
        return [known.get(column, "") for column in COLUMNS]
    units: Units = entry["units"]

    def bare(key: str) -> str:
        return show_bare(entry[key], Kind.LENGTH, units)

    return [
        entry["row"],
        entry["name"],
        entry["file"],
        entry["sha256"],
        units,
        entry["teeth"],
        bare("blank_diameter_mm"),
        show_down(entry["blank_tolerance_mm"], units).split()[0],
        bare("knurled_diameter_mm"),
        entry["passes"],
        entry["spindle_rpm"],
        f"{entry['time_s']:.1f}",
        "; ".join(f"{f['code']} (line {f['line']})" for f in entry["findings"]),
        "; ".join(n["code"] for n in entry["notes"]),
        entry["page"] or "",
        "",
    ]


def _problems(entry: Mapping[str, Any]) -> str:
    return "; ".join(
        Problem(p["column"], p["value"], p["message"], p["code"]).sentence()
        for p in entry["problems"]
    )


# -- the page ------------------------------------------------------------------


def _shown(entry: Mapping[str, Any]) -> list[Any]:
    """Return a row of the page's table, as text; see the header in ``index.html.j2``."""
    if entry["problems"]:
        return [entry["row"], entry["name"] or "", "", "", *[""] * 10, _problems(entry)]
    units: Units = entry["units"]
    blank = show(entry["blank_diameter_mm"], Kind.LENGTH, units)
    warnings = [n["code"] for n in entry["notes"] if n["severity"] != "note"]
    warnings += [f["code"] for f in entry["findings"]]
    return [
        entry["row"],
        entry["name"],
        entry["file"],
        entry["page"] or "",
        quote(entry["file"]),
        quote(entry["page"] or ""),
        entry["number"],
        f"{entry['callout']}",
        entry["teeth"],
        f"{blank} ± {show_down(entry['blank_tolerance_mm'], units).split()[0]}",
        show(entry["knurled_diameter_mm"], Kind.LENGTH, units),
        entry["passes"],
        entry["spindle_rpm"],
        round(entry["time_s"]),
        ", ".join(warnings),
    ]


def _page(counts: Counts, head: Head, left: Sequence[str]) -> tuple[str, str]:
    """Return what stands before and after the rows."""
    here = Path(__file__).parent
    styles, script = own_text(here / "index.css"), own_text(here / "index.js")
    whole = (
        page_environment("knurlcam.family")
        .get_template("index.html.j2")
        .render(
            base=head.base,
            table=head.table,
            left=left,
            counts=counts,
            shared=counts.shared_numbers(),
            cautions=[c.text for c in cautions()],
            proving=proving(),
            styles=Markup(styles),
            script=Markup(script),
            policy=content_policy(styles, script),
            rows=ROWS_GO_HERE,
        )
    )
    before, _, after = whole.partition(ROWS_GO_HERE)
    return before, after


def _in_script(value: Any) -> str:
    """Return JSON that can stand in a page's data without ending it."""
    text = _COMPACT.encode(value)
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")
