"""A shop's own dialects: changed copies of shipped ones."""

from __future__ import annotations

import os
import shutil
import time
from pathlib import Path

from knurlcam.gcode.dialect_files import TEMPLATE, TRAITS, dialect_names, template_folder

HARMLESS = 'harmless = ["G18", "G40", "G54", "G80"]'
"""The harmless words of the shipped dialects, as they stand there."""


class Shop:
    """A folder of a shop's own dialects, each a changed copy of a shipped one."""

    def __init__(self, root: Path) -> None:
        self.root = root

    def copy(self, name: str, of: str = "iso6983", *, template: bool = False) -> Path:
        """Copy a shipped dialect under another name, with a template of its own if asked."""
        folder = self.root / name
        shutil.copytree(dialect_names()[of], folder)
        if template:
            shutil.copy(template_folder(folder) / TEMPLATE.name, folder)
        self.edit(name, f'name = "{of}"', f'name = "{name}"')
        return folder

    def edit(self, name: str, old: str, new: str, file: str = TRAITS.name) -> Path:
        path = self.root / name / file
        if file == TEMPLATE.name and not path.exists():
            shutil.copy(template_folder(path.parent) / file, path.parent)
        text = path.read_text(encoding="utf-8")
        assert text.count(old) == 1, f"{old!r} must stand once in {path}"
        path.write_text(text.replace(old, new), encoding="utf-8")
        # Files are read again when their time changes; a coarse clock must not hide an edit.
        later = time.time_ns() + 5_000_000
        os.utime(path, ns=(later, later))
        return path
