"""The index of a family: for spreadsheets, for scripts and for people."""

from __future__ import annotations

import csv
import json
from array import array
from collections.abc import Callable, Iterator, Mapping
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

__all__ = ["INDEX_FILES", "INDEX_JSON", "Counts", "index_lines", "is_index", "write_index"]

INDEX_CSV, INDEX_HTML, INDEX_JSON = "index.csv", "index.html", "index.json"
INDEX_FILES = (INDEX_CSV, INDEX_HTML, INDEX_JSON)

MARK = '{"made_by": "knurlcam family"'
"""How an index.json of ours begins."""

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

ROWS_GO_HERE = "[rows]"
"""Where the page's template has the rows: they are written one by one, not held."""


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
    """

    rows: int = 0
    made: int = 0
    kept: int = 0
    failed: int = 0
    numbers: array[int] = field(default_factory=lambda: array("Q", bytes(8 * (HIGHEST_NUMBER + 1))))

    def add(self, result: Result) -> None:
        """Count a result."""
        self.rows += 1
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


def is_index(path: Path) -> bool:
    """Whether a file is an index.json of ours."""
    if not path.is_file():
        return False
    with path.open("rb") as stream:
        return stream.read(len(MARK)) == MARK.encode()


def index_lines(path: Path) -> Iterator[str]:
    """Return the rows of an index.json, each a JSON object; none of one that is not ours."""
    if not is_index(path):
        return
    with path.open(encoding="utf-8", errors="replace") as stream:
        stream.readline()
        for line in stream:
            if line.startswith("{"):
                yield line.rstrip().removesuffix(",")


def write_index(
    folder: Path, lines: Callable[[], Iterator[str]], counts: Counts, base: str, table: str
) -> None:
    """Write the three files of an index.

    Args:
        folder: Where they go.
        lines: Returns the rows anew each time, each a JSON object on its line.
        counts: What became of the rows.
        base: The base job's name.
        table: The table's name.
    """
    with (
        open(folder / INDEX_JSON, "w", encoding="utf-8", newline="\n") as as_json,
        open(folder / INDEX_CSV, "w", encoding="utf-8", newline="") as as_csv,
        open(folder / INDEX_HTML, "w", encoding="utf-8", newline="\n") as as_html,
    ):
        head: dict[str, Any] = {"made_by": "knurlcam family", "version": __version__, "base": base}
        head |= {"table": table, "rows": counts.rows, "programs": counts.programs}
        head |= {"failed": counts.failed}
        as_json.write(json.dumps(head, ensure_ascii=False)[:-1] + ', "parts": [\n')
        writer = csv.writer(as_csv)
        writer.writerow(COLUMNS)
        before, after = _page(counts, base, table)
        as_html.write(before)
        comma = ""
        for line in lines():
            entry = json.loads(line)
            as_json.write(comma + line.rstrip())
            writer.writerow([_harmless(cell) for cell in _csv_cells(entry)])
            as_html.write(comma + _in_script(_shown(entry)))
            comma = ",\n"
        as_json.write("\n]}\n")
        as_html.write(after)


def _harmless(cell: Any) -> Any:
    """Return a cell that no spreadsheet takes for a formula (common practice: an apostrophe)."""
    if isinstance(cell, str) and cell.lstrip(" ").startswith(FORMULA_STARTS):
        return f"'{cell}"
    return cell


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


def _page(counts: Counts, base: str, table: str) -> tuple[str, str]:
    """Return what stands before and after the rows."""
    here = Path(__file__).parent
    styles, script = own_text(here / "index.css"), own_text(here / "index.js")
    whole = (
        page_environment("knurlcam.family")
        .get_template("index.html.j2")
        .render(
            base=base,
            table=table,
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
