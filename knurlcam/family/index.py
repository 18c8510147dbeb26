"""The index of a family: for spreadsheets, for scripts and for people."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from markupsafe import Markup

from knurlcam import __version__
from knurlcam.data.cautions import cautions, proving
from knurlcam.family.entry import COLUMNS
from knurlcam.family.result import Result
from knurlcam.files import what_stands_at
from knurlcam.review.onefile import content_policy, own_style, own_text, page_environment

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
"""Beginning of an index.json of ours."""

PARTS = ', "parts": ['
"""End of its first line: the rows follow, one a line."""

MOST_OF_A_HEAD = 10_000
"""Most bytes of its first line."""

_NOT_OURS = (ValueError, KeyError, TypeError, AttributeError, RecursionError)
"""Errors in which reading JSON that is not ours may end."""

ROWS_GO_HERE = "\0rows\0"
"""Mark where the page's template has the rows: they are written one by one, for memory is to
stay flat. A file's name cannot hold this mark."""


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
    numbers: dict[int, int] = field(default_factory=dict, repr=False)
    plain: bool = True

    def add(self, result: Result, *, plain: bool = True) -> None:
        """Count a result; *plain* says whether its line in the index is ASCII."""
        self.rows += 1
        self.plain &= plain
        if not result.ok:
            self.failed += 1
            return
        if result.kept:
            self.kept += 1
        else:
            self.made += 1
        number = result.number or 0
        self.numbers[number] = self.numbers.get(number, 0) + 1

    @property
    def programs(self) -> int:
        """All programs that are in the folder."""
        return self.made + self.kept

    def shared_numbers(self) -> str | None:
        """Return the sentence that warns of program numbers that several programs have."""
        shared = [(n, count) for n, count in sorted(self.numbers.items()) if count > 1]
        if not shared:
            return None
        first, count = shared[0]
        more = f", and {len(shared) - 1} more numbers are shared" if len(shared) > 1 else ""
        return (
            f"{count} programs have number {first}{more}: a control keeps one program for each "
            "number; give each its own in a column part.number"
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
        sha256: Of each file of the index as it was written; empty where it is not known.
        left: Programs and pages that no row makes any more, and that a person has changed.
    """

    sha256: Mapping[str, str] = field(default_factory=dict)
    left: tuple[str, ...] = ()


def index_head(path: Path) -> Head | None:
    """Return the head of an index.json; None for a file that is not ours."""
    with suppress(OSError, *_NOT_OURS):
        if what_stands_at(path) != "a file":
            return None  # a pipe would be waited for, a link may lead out of the folder
        with path.open("rb") as stream:
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
    with suppress(*_NOT_OURS):
        tail = json.loads(b'{"parts": [' + last)
        sha256 = {name: str(tail["sha256"][name]) for name in INDEX_FILES}
        same = sha256[INDEX_JSON] == before.hexdigest()
        sha256[INDEX_JSON] = whole.hexdigest() if same else ""
        return Tail(sha256, tuple(map(str, tail["left"])))
    return Tail()


def write_index(
    folder: Path,
    bodies: Mapping[str, Callable[[], AbstractContextManager[IO[bytes]]]],
    counts: Counts,
    head: Head,
    left: Sequence[str] = (),
) -> None:
    """Write the three files of an index.

    Args:
        folder: Where they go.
        bodies: By each file's name what opens its rows, a line each.
        counts: What became of the rows.
        head: What they are made from.
        left: Files of earlier runs that a person has changed, and that no row makes.
    """
    before, after = _page(counts, head, left)
    # A spreadsheet knows UTF-8 by its byte order mark, and a script stumbles over one: so it
    # is written only where there is a letter that needs it.
    mark = "" if counts.plain else "\ufeff"
    frames = {
        INDEX_CSV: (f"{mark}{','.join(COLUMNS)}\r\n", ""),
        INDEX_HTML: (before, after),
        INDEX_JSON: (_head_line(counts, head), "\n"),
    }
    sha256 = {}
    for name, (first, last) in frames.items():
        with open(folder / name, "wb") as stream:
            stream.write(first.encode())
            with bodies[name]() as body:
                if name == INDEX_CSV:
                    shutil.copyfileobj(body, stream)
                else:
                    stream.writelines(_listed(body))
            stream.write(last.encode())
        with open(folder / name, "rb") as stream:
            sha256[name] = hashlib.file_digest(stream, "sha256").hexdigest()
    with open(folder / INDEX_JSON, "ab") as stream:
        tail = json.dumps({"left": list(left), "sha256": sha256}, ensure_ascii=False)
        stream.write(f"], {tail[1:]}\n".encode())


def _listed(lines: Iterable[bytes]) -> Iterator[bytes]:
    """Return lines as the members of a JSON list."""
    between = b""
    for line in lines:
        yield between + line[:-1]
        between = b",\n"


def _head_line(counts: Counts, head: Head) -> str:
    names = {"made_by": MADE_BY, "version": __version__, "base": head.base, "table": head.table}
    counted = {"rows": counts.rows, "programs": counts.programs, "failed": counts.failed}
    return json.dumps(names | counted, ensure_ascii=False)[:-1] + PARTS + "\n"


def _page(counts: Counts, head: Head, left: Sequence[str]) -> tuple[str, str]:
    """Return what stands before and after the rows."""
    here = Path(__file__).parent
    styles, script = own_style(here / "index.css"), own_text(here / "index.js")
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
