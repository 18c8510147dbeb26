"""What takes a stranger's bytes: one target for each kind of input."""

from __future__ import annotations

import itertools
import json
import os
import re
import zipfile
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from knurlcam import (
    Job,
    format_callout,
    lay_out,
    make_plan,
    parse_callout,
    read_program,
    verify,
    write_program,
)
from knurlcam.data.caches import clear_caches
from knurlcam.data.cautions import cautions, header_lines, proving
from knurlcam.data.fits import fit_friction, standard_tolerances
from knurlcam.data.folders import TABLES_VARIABLE
from knurlcam.data.knurls import (
    diametral_pitches,
    forms,
    profile_angles_deg,
    standard_pitches_mm,
    trade_tpi,
)
from knurlcam.data.materials import materials
from knurlcam.data.rolls import rolls
from knurlcam.data.speeds import speed_rules, turning_speeds
from knurlcam.family import Base, make_family
from knurlcam.family.folder import FamilyFolder
from knurlcam.family.result import Result
from knurlcam.family.rows import read_rows
from knurlcam.family.table_check import count_rows
from knurlcam.files import read_text
from knurlcam.imprint.window import predict_imprint
from knurlcam.job.geometry import called_geometry
from knurlcam.job.problems import JobFileError
from knurlcam.mechanics.knurl import blanks_near
from knurlcam.plan.model import Plan
from knurlcam.review.views.infeed import infeed_view
from knurlcam.review.views.side import side_view
from knurlcam.shop.fill import load_shop
from knurlcam.timeline import time_line
from knurlcam.units.kinds import Kind, QuantityError
from knurlcam.units.quantities import parse_quantity, to_text
from knurlcam.units.show import show, show_about
from knurlcam.verification.findings import Verification
from tests.long.fuzz import seeds
from tests.long.fuzz.hits import Target, must_be_told
from tests.support.breaking import JOBS as JOBS_OF_ALL_KINDS
from tests.support.breaking import POSTS, good_job, good_plan, job_dict

PART = re.compile(rb"(?:^|\n)==== ([\w./\[\]-]{1,60}) ====\n")
"""A line before each file, where an input stands for several."""

REPEATED = re.compile(rb"@(\d{1,8})\*(.{1,200}?)@", re.DOTALL)
"""A piece that is written so many times: a bomb is a few bytes of an input."""

MOST_UNPACKED = 40_000_000
"""Of the parts of a workbook that repeated pieces may come to [byte]"""

MOST_ROWS = 3
"""Of a table that programs are made from; all of it is looked through."""


def _whole(name: str) -> Any:
    """Return what puts an input into one file as it is."""

    def prepare(data: bytes, folder: Path) -> Path:
        (folder / name).write_bytes(data)
        return folder / name

    return prepare


def _as_argument(data: bytes, _folder: Path) -> str:
    """Return an input as an argument of the command line holds it."""
    return data.decode("utf-8", "surrogateescape")


# -- callouts and quantities -----------------------------------------------------


def _callouts(text: str) -> None:
    called = parse_callout(text)
    must_be_told([format_callout(called)])
    assert parse_callout(format_callout(called)) == called
    for swivelled in (False, True):
        for diameter in (0.5, 25.0, 900.0):
            blanks_near(called_geometry(called, swivelled=swivelled), diameter)


def _quantities(text: str) -> None:
    refused: list[QuantityError] = []
    for kind in Kind:
        for units in ("mm", "inch"):
            try:
                value = parse_quantity(text, kind, units)
            except QuantityError as error:
                refused.append(error)
                continue
            assert parse_quantity(to_text(value, kind), kind) == value
            if abs(value) < 1e9:
                must_be_told([show(value, kind, units), show_about(value, kind, units)])
    must_be_told(str(error) for error in refused)


# -- jobs and shops ----------------------------------------------------------------


def _jobs(file: Path) -> None:
    job = Job.load(file)
    _through(make_plan(job))


def _through(plan: Plan) -> None:
    """Take a plan through all stages, as the commands do."""
    job = plan.job
    must_be_told(note.message for note in plan.notes)
    json.dumps(plan.to_dict())
    text = write_program(lay_out(plan), job.machine.post)
    must_be_told(text.splitlines())
    _told(verify(text, job))
    predict_imprint(plan)


def _told(result: Verification) -> None:
    must_be_told(finding.message for finding in result.findings)


def _shop(data: bytes, folder: Path) -> Path:
    """Put a shop file beside one of its jobs: the first byte says which."""
    (folder / "shop.toml").write_bytes(data[1:])
    jobs = seeds.jobs_of_the_shop()
    (folder / "job.toml").write_text(jobs[data[0] % len(jobs)] if data else jobs[0], "utf-8")
    return folder / "job.toml"


def _shops(file: Path) -> None:
    shop = load_shop(file.with_name("shop.toml"))
    job = Job.load(file)
    must_be_told(match.why for match in shop.rolls_for(job))
    make_plan(job)


# -- a shop's own tables ---------------------------------------------------------------

LOADED = (
    materials,
    forms,
    rolls,
    standard_pitches_mm,
    profile_angles_deg,
    trade_tpi,
    diametral_pitches,
    cautions,
    proving,
    header_lines,
    speed_rules,
    turning_speeds,
    fit_friction,
    standard_tolerances,
)


def _own_table(data: bytes, folder: Path) -> Path:
    """Put one of the shop's own tables into a folder; the first byte says which."""
    names = [file.name for file in seeds.shared_tables()]
    (folder / names[data[0] % len(names) if data else 0]).write_bytes(data[1:])
    return folder


def _tables(folder: Path) -> None:
    os.environ[TABLES_VARIABLE] = str(folder)
    clear_caches()
    try:
        for load in LOADED:
            load()
        for changes in (JOBS_OF_ALL_KINDS["diamond"], JOBS_OF_ALL_KINDS["inch"]):
            job = Job.model_validate(job_dict(changes))
            plan = make_plan(job)
            must_be_told(note.message for note in plan.notes)
            write_program(lay_out(plan))
    except JobFileError as error:
        must_be_told(str(problem) for problem in error.problems)
    finally:
        del os.environ[TABLES_VARIABLE]
        clear_caches()


# -- programs ------------------------------------------------------------------------

JOBS = ("diamond", "plunge", "trial", "inch", "straddle", "followed")
PAIRS = tuple(itertools.product(JOBS, POSTS))


def _program(data: bytes, folder: Path) -> Path:
    """Put a program into a file; the first byte says of which job, in which dialect."""
    pair = data[0] % len(PAIRS) if data else 0
    file = folder / f"{pair}.nc"
    file.write_bytes(data[1:])
    good_plan(PAIRS[pair][0])
    return file


def _programs(file: Path) -> None:
    name, post = PAIRS[int(file.stem)]
    text = read_text(file, what="a program")
    plan = good_plan(name)
    _told(verify(text, good_job(name), post))
    line = time_line(read_program(text, post), plan)
    for view in (side_view, infeed_view):
        view(plan, line)


# -- dialects --------------------------------------------------------------------------


def _dialect(data: bytes, folder: Path) -> Path:
    """Put traits and template into a dialect's folder."""
    home = folder / "posts" / "fuzzed"
    home.mkdir(parents=True)
    traits, found, template = data.partition(b"\n==== program.nc.j2 ====\n")
    (home / "dialect.toml").write_bytes(traits)
    if found:
        (home / "program.nc.j2").write_bytes(template)
    good_plan("trial")
    return home.parent


def _dialects(posts: Path) -> None:
    for name in ("trial", "inch"):
        text = write_program(lay_out(good_plan(name)), "fuzzed", posts=[posts])
        _told(verify(text, good_job(name), "fuzzed", posts=[posts]))


# -- families ----------------------------------------------------------------------------

ENDINGS = (".csv", ".tsv", ".jsonl", ".xlsx", ".xlsx")


def _table(data: bytes, folder: Path) -> Path:
    """Put a table into a file; the first byte says of which kind.

    The last kind is a workbook whose parts are the input's.
    """
    kind = data[0] % len(ENDINGS) if data else 0
    file = folder / f"table{ENDINGS[kind]}"
    if kind == len(ENDINGS) - 1:
        _zipped(parts_of(data[1:]), file)
    else:
        file.write_bytes(data[1:])
    _base()
    return file


def parts_of(data: bytes) -> Iterator[tuple[str, bytes]]:
    """Return the files that an input stands for, by their names."""
    pieces = PART.split(data)
    for name, text in zip(pieces[1::2], pieces[2::2], strict=True):
        yield name.decode(), text


def _zipped(parts: Iterator[tuple[str, bytes]], file: Path) -> None:
    room = MOST_UNPACKED

    def repeated(found: re.Match[bytes]) -> bytes:
        nonlocal room
        piece = found[2] * min(int(found[1]), room // len(found[2]))
        room -= len(piece)
        return piece

    seen = set()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as book:
        for name, text in parts:
            if name not in seen:
                seen.add(name)
                book.writestr(name, REPEATED.sub(repeated, text))


@cache
def _base() -> Base:
    return Base.of(seeds.FAMILY_BASE)


def _variants(file: Path) -> None:
    base = _base()
    count_rows(base, file)
    for result in make_family(base, itertools.islice(read_rows(file), MOST_ROWS)):
        _look_at(result)


def _look_at(result: Result) -> None:
    """Hold what a row says of itself to what messages are held to."""
    assert not any(problem.code == "internal" for problem in result.problems), result.problems
    must_be_told(problem.sentence() for problem in result.problems)
    json.loads(result.lines.json)


# -- a folder of an earlier run --------------------------------------------------------------


def _folder(data: bytes, folder: Path) -> Path:
    """Put the files of an earlier run into a folder; the first byte says how it is used."""
    used = folder / f"out{data[0] % 3 if data else 0}"
    for name, text in parts_of(data[1:]):
        place = used / name
        if used in place.resolve().parents and not place.exists():
            try:
                place.parent.mkdir(parents=True, exist_ok=True)
                place.write_bytes(text)
            except OSError:
                continue  # a file where another wants its folder
    _result_of_a_row()
    return used


@cache
def _result_of_a_row() -> Result:
    (result,) = make_family(_base(), [{"part.name": "Knob 25"}])
    return result


def _folders(used: Path) -> None:
    how: Mapping[str, Any] = ({}, {"resume": True}, {"force": True})[int(used.name[-1])]
    result = _result_of_a_row()
    with FamilyFolder(used, base="b.toml", table="t.csv", **how) as into:
        assert result.file is not None
        kept = into.kept(result.file, result.entry["inputs_sha256"], 1)
        into.add(kept or result)
        must_be_told(into.finish().left)


TARGETS: Mapping[str, Target] = {
    "callouts": Target(
        _callouts, _as_argument, seeds.callouts, seeds.CALLOUT_WORDS, largest=400, in_files=False
    ),
    "quantities": Target(
        _quantities,
        _as_argument,
        seeds.quantities,
        seeds.QUANTITY_WORDS,
        largest=200,
        in_files=False,
    ),
    "jobs": Target(_jobs, _whole("job.toml"), seeds.jobs, seeds.job_words(), seeds.job_lines()),
    "shops": Target(_shops, _shop, seeds.shops, seeds.job_words(), seeds.SHOP_LINES),
    "tables": Target(_tables, _own_table, seeds.own_tables, seeds.OWN_TABLE_WORDS, largest=60_000),
    "programs": Target(_programs, _program, seeds.programs, seeds.NC_WORDS, seeds.NC_LINES),
    "variants": Target(_variants, _table, seeds.tables, seeds.table_words(), seeds.TABLE_LINES),
    "dialects": Target(_dialects, _dialect, seeds.dialects, seeds.DIALECT_WORDS),
    "folders": Target(_folders, _folder, seeds.folders, seeds.FOLDER_WORDS),
}
"""By the name that the command takes."""
