"""A row of the index: what it holds, and how each of the three files says it."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal, NamedTuple
from urllib.parse import quote

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from knurlcam.family import names
from knurlcam.job.limits import HIGHEST_NUMBER
from knurlcam.plan.expected_text import expected_range_text
from knurlcam.text import MOST_CHARACTERS, plain, shortened
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import show, show_bare

__all__ = [
    "COLUMNS",
    "FIGURES",
    "Entry",
    "Lines",
    "Problem",
    "job_text",
    "lines_of",
]

LARGEST_FIGURE = 1e9
"""Largest figure of an entry: far above any length [mm], time [s] or speed of a program."""

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
    "expected_diameter",
    "double_impression",
    "passes",
    "spindle_rpm",
    "time_s",
    "evenness",
    "findings",
    "notes",
    "page",
    "problem",
)

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""First characters of what a spreadsheet may take for a formula, wide signs of Asian fonts
too."""

UNSEEN = " \xa0\ufeff\u200b\u200c\u200d\u2060"
"""Characters that may stand before a formula without being seen."""

_INNER_FORMULA = re.compile(r"([;\t\r\n]\s*)([=+\-@＝＋－＠])")

_JSON = json.JSONEncoder(ensure_ascii=False, allow_nan=False, default=str)
_COMPACT = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"))


@dataclass(frozen=True, slots=True)
class Problem:
    """Why a row has no program.

    Attributes:
        column: The job's key to look at first, or None.
        value: What the row or the base job gives there; None where nothing does.
        message: What is wrong, what was expected and what to do.
        code: Stable name of a refusal, or None.
    """

    column: str | None
    value: Any
    message: str
    code: str | None = None

    def sentence(self) -> str:
        """Return it in one line."""
        place = f"{self.column}: " if self.column else ""
        given = "" if self.value is None else f" (given: {shortened(self.value)})"
        code = f" [{self.code}]" if self.code else ""
        return plain(f"{place}{self.message}{given}{code}", MOST_CHARACTERS)


def _inside(name: str) -> str:
    if not names.is_inside(name):
        raise ValueError("leaves the folder")
    return name


def _writable(job: dict[str, Any]) -> dict[str, Any]:
    """Refuse what the index could not hold in turn: JSON has neither infinity nor NaN."""
    _JSON.encode(job)
    return job


PlainName = Annotated[str, AfterValidator(_inside)]
Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Figure = Annotated[float, Field(ge=0, le=LARGEST_FIGURE)]


FIGURES = (
    "sha256",
    "page",
    "page_sha256",
    "inputs_sha256",
    "number",
    "job_identity",
    "post",
    "units",
    "callout",
    "teeth",
    "blank_diameter_mm",
    "blank_tolerance_mm",
    "blank_limits_mm",
    "knurled_diameter_mm",
    "expected_diameter_mm",
    "double_impression",
    "passes",
    "spindle_rpm",
    "time_s",
    "evenness",
)
"""Keys of an entry that are null in a row without a program."""


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class _Finding(_Strict):
    severity: Literal["error", "warning", "note"]
    code: str
    line: int | None = None


class Entry(_Strict):
    """A program's row in index.json, as this folder's README lists it.

    Strict, for anyone may have written the file: what is not exactly such a row is not taken
    for one of ours, and its program is made again.
    """

    row: int
    name: str
    file: PlainName
    sha256: Digest
    page: PlainName | None
    page_sha256: Digest | None
    inputs_sha256: Digest
    number: Annotated[int, Field(ge=1, le=HIGHEST_NUMBER)]
    job_identity: str
    post: str
    units: Literal["mm", "inch"]
    callout: str
    teeth: int
    blank_diameter_mm: Figure
    blank_tolerance_mm: Figure
    blank_limits_mm: Annotated[list[Figure], Field(min_length=2, max_length=2)]
    knurled_diameter_mm: Figure
    expected_diameter_mm: Annotated[list[Figure], Field(min_length=3, max_length=3)]
    double_impression: Figure
    passes: int
    spindle_rpm: int
    time_s: Figure
    evenness: Figure | None = None
    findings: list[_Finding]
    notes: list[_Finding]
    problems: Annotated[list[Any], Field(max_length=0)]
    job: Annotated[dict[str, Any], AfterValidator(_writable)]


class Lines(NamedTuple):
    """A row as each file of the index has it, without an end of line.

    Attributes:
        json: An object of index.json, by the keys of :class:`Entry`.
        csv: A line of index.csv.
        page: A list of the data in index.html.
    """

    json: str
    csv: str
    page: str


def job_text(keys: Mapping[str, Any]) -> str:
    """Return a job's keys as JSON.

    Raises:
        ValueError: if JSON cannot hold a number.
    """
    return _JSON.encode(keys)


def lines_of(entry: Mapping[str, Any], job: str | None = None) -> Lines:
    """Return a row of the index as its files have it.

    Args:
        entry: By the keys of :class:`Entry`; of a row without a program they are null.
        job: The last of them as JSON, where the entry does not hold it.

    Raises:
        ValueError: if JSON cannot hold a value.
    """
    text = _JSON.encode(entry)
    if job is not None:
        text = f'{text[:-1]}, "job": {job}}}'
    return Lines(text, _csv_line(entry), _in_script(_shown(entry)))


def _csv_line(entry: Mapping[str, Any]) -> str:
    line = io.StringIO()
    csv.writer(line, lineterminator="").writerow(map(_harmless, _csv_cells(entry)))
    return line.getvalue()


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
        _tolerance(entry),
        bare("knurled_diameter_mm"),
        _expected(entry),
        f"{entry['double_impression']:.2f}",
        entry["passes"],
        entry["spindle_rpm"],
        f"{entry['time_s']:.1f}",
        "" if entry["evenness"] is None else f"{entry['evenness']:.2f}",
        "; ".join(f"{f['code']} (line {f['line']})" for f in entry["findings"]),
        "; ".join(n["code"] for n in entry["notes"]),
        entry["page"] or "",
        "",
    ]


def _expected(entry: Mapping[str, Any]) -> str:
    """Return the range of the expected diameter over the crests."""
    _, low, high = entry["expected_diameter_mm"]
    return expected_range_text(low, high, entry["units"])


def _tolerance(entry: Mapping[str, Any]) -> str:
    """Return the limits to which a blank is turned."""
    units: Units = entry["units"]
    low, high = (show_bare(limit, Kind.LENGTH, units) for limit in entry["blank_limits_mm"])
    return f"{low} to {high}"


def _problems(entry: Mapping[str, Any]) -> str:
    return "; ".join(
        Problem(p["column"], p["value"], p["message"], p["code"]).sentence()
        for p in entry["problems"]
    )


def _shown(entry: Mapping[str, Any]) -> list[Any]:
    """Return a row of the page's table, as text, in the order of ``index.html.j2``."""
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
        f"{blank}, {_tolerance(entry)}",
        f"{show(entry['knurled_diameter_mm'], Kind.LENGTH, units)} (expect {_expected(entry)})",
        entry["passes"],
        entry["spindle_rpm"],
        round(entry["time_s"]),
        ", ".join(warnings),
    ]


def _in_script(value: Any) -> str:
    """Return JSON that can stand in a page's data without ending it."""
    text = _COMPACT.encode(value)
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")
