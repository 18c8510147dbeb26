"""The job file behind the page: comments and order kept, never written over unseen.

A draft beside the file keeps what is not saved, so that closing the page loses nothing.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from knurlcam.edit.form import Texts, data_of, empty_texts, texts_of
from knurlcam.errors import InputError
from knurlcam.files import read_text, write_whole
from knurlcam.job.load import MAX_FILE_BYTES
from knurlcam.toml import read_toml

__all__ = ["ChangedOnDiskError", "Document", "inside"]

NO_FILE = "none"
"""Digest of a file that is not there."""


class ChangedOnDiskError(InputError):
    """The file is another one than the page was filled from; it is not written over."""


class Document:
    """One job file, and its draft.

    Attributes:
        path: The job file; it need not be there yet.
        kept: Values that no field shows, by dotted key; as of the last reading.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.kept: dict[str, Any] = {}

    @property
    def draft_path(self) -> Path:
        """Where what is not saved is kept."""
        return self.path.with_name(f".{self.path.name}.draft.json")

    def digest(self) -> str:
        """Return what tells the file's content from another's."""
        try:
            return hashlib.sha256(self.path.read_bytes()).hexdigest()[:16]
        except FileNotFoundError:
            return NO_FILE
        except OSError as error:
            raise InputError(
                f"cannot be read: {error.strerror}",
                where=str(self.path),
                expected="a job file",
                remedy="check the name and its permissions",
            ) from None

    def load(self) -> tuple[dict[str, str], str]:
        """Return what stands in the fields for the file, and its digest.

        Raises:
            InputError: if it is not a TOML file.
        """
        digest = self.digest()
        if digest == NO_FILE:
            self.kept = {}
            return empty_texts(), digest
        texts, self.kept = texts_of(read_toml(self.path, limit=MAX_FILE_BYTES))
        return texts, digest

    def save(self, texts: Texts, digest: str) -> str:
        """Write what stands in the fields, whole or not at all, and drop the draft.

        Args:
            texts: What stands in the fields; it need not be a whole job.
            digest: That of the file as it was when the page last saw it.

        Returns:
            The digest of the new file.

        Raises:
            ChangedOnDiskError: if the file has changed meanwhile.
            InputError: if it cannot be written.
        """
        if self.digest() != digest:
            raise ChangedOnDiskError(
                "has changed on disk since the page read it, and is not written over",
                where=str(self.path),
                expected="the file as the page read it",
                remedy="take what is on disk, or save over it",
            )
        write_whole(self.path, self._written(texts))
        self.drop_draft()
        return self.digest()

    def _written(self, texts: Texts) -> str:
        """Return the file's new text: what did not change stays as it was written."""
        old = read_text(self.path, what="a job file") if self.digest() != NO_FILE else ""
        try:
            document = tomlkit.parse(old)
            _update(document, data_of(texts, self.kept))
            return tomlkit.dumps(document)
        except (TOMLKitError, RecursionError) as error:
            raise InputError(
                f"cannot be changed: {error}", where=str(self.path), expected="a job file"
            ) from None

    # -- the draft -------------------------------------------------------------------

    def keep_draft(self, texts: Texts, digest: str) -> None:
        """Keep what is not saved."""
        write_whole(self.draft_path, json.dumps({"digest": digest, "texts": dict(texts)}))

    def draft(self) -> dict[str, str] | None:
        """Return what was not saved when the page was last closed; None for nothing."""
        try:
            found = json.loads(self.draft_path.read_bytes()[:MAX_FILE_BYTES])["texts"]
            return {str(key): str(text) for key, text in found.items()}
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return None

    def drop_draft(self) -> None:
        """Forget what was not saved."""
        with suppress(OSError):
            self.draft_path.unlink(missing_ok=True)


def _update(table: Any, data: Mapping[str, Any]) -> None:
    """Bring a table of the file to what it should hold; comments and order stay."""
    for key in [key for key in table if key not in data]:
        del table[key]
    for key, value in data.items():
        if isinstance(value, Mapping) and isinstance(table.get(key), Mapping):
            _update(table[key], value)
        elif (
            key not in table
            or _plain(table[key]) != value
            or type(_plain(table[key])) is not type(value)
        ):
            table[key] = value


def _plain(value: Any) -> Any:
    return value.unwrap() if hasattr(value, "unwrap") else value


def inside(folder: Path, name: str, ending: str = "") -> Path:
    """Return a file of a folder by its bare name.

    Args:
        folder: The folder that was opened.
        name: The file's name; nothing of a path.
        ending: What it must end with.

    Raises:
        InputError: if it is a path, names a hidden file, or leads out of the folder.
    """
    wrong = (
        not name
        or name != Path(name).name
        or "\\" in name
        or name.startswith(".")
        or not name.isprintable()
        or not name.endswith(ending)
    )
    place = folder / name if not wrong else folder
    if wrong or place.is_symlink() or place.resolve().parent != folder.resolve():
        raise InputError(
            "is not a file of this folder",
            key="name",
            value=name,
            expected=f"a plain name ending in {ending}" if ending else "a plain name",
            remedy="type a name without a path",
        )
    return place
