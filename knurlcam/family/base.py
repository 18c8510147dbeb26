"""What all parts of a family share, and what each part's program is made from."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path as FilePath
from typing import Any

from knurlcam import __version__
from knurlcam.data.folders import table_files
from knurlcam.errors import InputError
from knurlcam.family import names
from knurlcam.family.cells import Row
from knurlcam.family.keys import FILE_COLUMNS, merged, refuse_broken_base
from knurlcam.gcode.dialect_files import dialect_names, files_of, load_dialect
from knurlcam.gcode.marks import FORMS, Form
from knurlcam.job.load import read_table_file
from knurlcam.job.model import Job
from knurlcam.records.calibration import Calibrations
from knurlcam.records.measurement import set_up_of
from knurlcam.shop.fill import Shop, find_shop
from knurlcam.shop.measured import MeasuredFrom, measured_of

__all__ = ["Base", "digest_of", "file_of", "has_name_only", "inputs_digest", "keys_of", "part_name"]


@dataclass(frozen=True, slots=True)
class Base:
    """What all parts of a family share.

    Attributes:
        keys: The base job's keys, nested as in the file; rows fill up what is missing.
        where: Its name for messages.
        shop: The shop file that its names refer to.
        post: Dialect of all programs; None for each job's own.
        form: ``program``, ``section``, ``subprogram`` or ``blocks``.
        posts: Folders of a shop's own dialects, that of the shop file last.
        review: Whether each part gets a setter's page.
        tables: Digest of the tables and dialects that programs are made with: one made with
            others is made again.
        measured: What was measured before, read once: all parts of a run rest on the same.
        staging: Folder, ended by its separator, that the maker of a program writes it to:
            workers on one machine share the work that way. None to hand texts back, as to
            another machine.
    """

    keys: Mapping[str, Any]
    where: str = "the base job"
    shop: Shop | None = None
    post: str | None = None
    form: Form = "program"
    posts: tuple[str, ...] = ()
    review: bool = False
    tables: str = field(default="", compare=False)
    measured: Calibrations = field(default_factory=Calibrations)
    staging: str | None = field(default=None, compare=False)

    @classmethod
    def of(
        cls,
        base: Job | Mapping[str, Any] | str | FilePath,
        *,
        shop: Shop | str | FilePath | None = None,
        measured: MeasuredFrom = None,
        post: str | None = None,
        form: Form = "program",
        posts: Iterable[str | FilePath] = (),
        review: bool = False,
    ) -> Base:
        """Return a base from a job file, a job or its keys; see the attributes.

        Raises:
            JobFileError: if a file is not a TOML file.
            InputError: if the dialect is unknown or broken.
        """
        keys, where = _keys_and_name(base)
        found = _shop_of(base, shop)
        refuse_broken_base(keys, where)
        if form not in FORMS:
            raise InputError(
                "unknown form",
                key="form",
                value=form,
                expected=" or ".join(FORMS),
                remedy="correct it",
            )
        own = base.posts if isinstance(base, Job) else ()
        if found is not None:
            own = found.posts
        folders = tuple(str(f) for f in (*posts, *own))
        if post is not None:
            load_dialect(post, folders)  # for what it raises, before a row is made
        parts = measured_of(found, measured)
        if measured is None and isinstance(base, Job) and base.calibration is not None:
            parts = Calibrations({set_up_of(base): base.calibration})
        made = cls(keys, where, found, post, form, folders, review, measured=parts)
        return replace(made, tables=_tables_digest(made))


def _keys_and_name(base: Job | Mapping[str, Any] | str | FilePath) -> tuple[Mapping[str, Any], str]:
    if isinstance(base, Job):
        return base.model_dump(mode="json", exclude_unset=True), "the base job"
    if isinstance(base, Mapping):
        return base, "the base job"
    return read_table_file(base), str(base)


def _shop_of(
    base: Job | Mapping[str, Any] | str | FilePath, shop: Shop | str | FilePath | None
) -> Shop | None:
    """Return the shop file; beside a job that is not a file none is looked for."""
    if isinstance(shop, Shop):
        return shop
    if isinstance(base, (str, FilePath)):
        return find_shop(base, shop)
    return None if shop is None else find_shop("the base job", shop)


def file_of(base: Base, row: Row) -> str:
    """Return the name of the file that a row's program goes to.

    Raises:
        InputError: naming the column, if it has none that is safe.
    """
    for column in FILE_COLUMNS:
        if column in row.cells:
            return names.as_given(str(row.cells[column]), column)
    name = part_name(base, row)
    if name is None:
        raise InputError(
            "is missing",
            key="part.name",
            expected="a name for each part",
            remedy="add a column part.name",
        )
    return names.from_part_name(name)


def keys_of(base: Base, row: Row) -> dict[str, Any]:
    """Return the keys of a row's job."""
    keys = merged(base.keys, row.cells)
    # Written out though it is empty: jobs share a section that is the same in all of them.
    keys.setdefault("process", {})
    return keys


def part_name(base: Base, row: Row) -> str | None:
    """Return the name that a row gives its part, else that of the base; None without one."""
    name: Any = row.cells.get("part.name")
    if name is None:
        part = base.keys.get("part")
        name = part.get("name") if isinstance(part, Mapping) else None
    return None if name is None else str(name)


_NAMES_ONLY = frozenset(("part.name", "part.number", *FILE_COLUMNS))


def has_name_only(row: Row) -> bool:
    """Whether a row changes nothing of the base job but its name: perhaps it is not a part."""
    return row.cells.keys() <= _NAMES_ONLY


def digest_of(text: str) -> str:
    """Return a text's SHA-256, in hexadecimal."""
    return hashlib.sha256(text.encode()).hexdigest()


def inputs_digest(base: Base, row: Row, keys: str) -> str:
    """Return a digest of all that a row's program and page are made from.

    It is kept in the index (``inputs_sha256``): with ``--resume`` a program stays if its
    inputs have the digest of before.

    Args:
        base: What the family shares.
        row: The row, of which it counts whether it has only a name.
        keys: The row's job, merged, as JSON.
    """
    return digest_of(
        f"{base.tables} {base.post} {base.form} {base.review} {has_name_only(row)} {keys}"
    )


def _tables_digest(base: Base) -> str:
    """Return a digest of all that programs are made with, apart from the jobs."""
    digest = hashlib.sha256(__version__.encode())
    folders = sorted(dialect_names(base.posts).items())
    files = [file for _, folder in folders for file in files_of(folder)]
    files += table_files()
    if base.shop is not None:
        files.append(FilePath(base.shop.path))
    for file in files:
        # A dialect that lacks a file is refused where it is used, if it is.
        if file.is_file():
            digest.update(os.fsencode(file.name) + hashlib.sha256(file.read_bytes()).digest())
    # As text, so that a run without measured parts has the digest that it always had.
    for _, found in sorted(base.measured.by_set_up.items()):
        digest.update(repr(found).encode())
    return digest.hexdigest()
