"""The traits of a dialect written out for people: each below a comment that says what it is.

The comments come from the model of the traits, and so does what may stand there: a copy says
what is checked, and a trait that is added later is in the next copy without more ado.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from pydantic.fields import FieldInfo

from knurlcam.errors import InputError
from knurlcam.files import write_whole
from knurlcam.gcode.codes import Codes
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_files import TEMPLATE, TRAITS, read_own, template_folder
from knurlcam.gcode.standard_codes import codes_for
from knurlcam.gcode.trait_words import (
    as_toml,
    choices_of,
    holds,
    model_in,
    model_of_entries,
)

__all__ = ["commented_traits", "copy_dialect"]

COLUMNS = 96
"""Characters on a line of comment [characters]."""


def commented_traits(source: Dialect, name: str) -> str:
    """Return the text of a ``dialect.toml`` that says what another dialect says.

    Args:
        source: The dialect whose traits are written.
        name: The name of the new one.
    """
    title = f"copied from {source.name}; say here what sets it apart"
    # As a file says it: a list of one word may be written as that word.
    made = {**source.model_dump(mode="json"), "name": name, "title": title}
    # What stands below a heading belongs to it, so tables come last.
    blocks = [_head(name, source.name), *_traits(made, tables=False), *_traits(made, tables=True)]
    return "\n".join(blocks)


def _head(name: str, source: str) -> str:
    return (
        f"# Traits of the dialect {name}, copied from {source}. Above each stands what it is for,\n"
        "# in parentheses what may be written, and what holds where the line is left out.\n"
        "# A line with # before its key is not in use.\n"
    )


def _traits(said: Mapping[str, Any], *, tables: bool) -> Iterator[str]:
    for key, field in Dialect.model_fields.items():
        if field.exclude or _is_table(field) is not tables:
            continue
        if not tables:
            yield _one(key, field, said[key])
        elif model_in(field) is Codes:
            yield f"{_comment(f'{field.description}{_OF_CODES}')}[{key}]"
            yield from (_code(k, f, said[key][k]) for k, f in Codes.model_fields.items())
            yield ""
        else:
            yield _entries(key, field, said[key])


_OF_CODES = (
    "; in parentheses the words that standards or common practice give it, one of which is "
    "written; for another word the shop vouches in [own_words]"
)


def _code(key: str, field: FieldInfo, value: Any) -> str:
    """Return a word below its comment; out of use where the dialect has none."""
    words = " or ".join(codes_for(key))
    about = _comment(f"{field.description} ({words or 'none'}{_when_left_out(field)})")
    if value is None:
        return f"{about}# {key} = {as_toml(_example(key, field))}"
    return f"{about}{key} = {as_toml(value)}"


def _is_table(field: FieldInfo) -> bool:
    return model_in(field) is not None or model_of_entries(field) is not None


def _one(key: str, field: FieldInfo, value: Any) -> str:
    """Return a trait below its comment; out of use where the dialect has no value for it."""
    about = _comment(f"{field.description} ({holds(field)}{_when_left_out(field)})")
    if value is None:
        return f"{about}# {key} = {as_toml(_example(key, field))}\n"
    return f"{about}{key} = {as_toml(value)}\n"


def _entries(key: str, field: FieldInfo, value: Mapping[str, Any]) -> str:
    """Return a table of entries below its comment; an example out of use where it is empty."""
    about = f"{_comment(f'{field.description} ({holds(field)})')}[{key}]\n"
    if value:
        return about + "".join(f"{k} = {as_toml(v)}\n" for k, v in value.items())
    examples: Mapping[str, Any] = (field.examples or [{}])[0]
    return about + "".join(f"# {k} = {as_toml(v)}\n" for k, v in examples.items())


def _when_left_out(field: FieldInfo) -> str:
    if field.is_required():
        return ""
    if field.default is None:
        return "; left out: there is none"
    return f"; left out: {as_toml(field.default)}"


def _example(key: str, field: FieldInfo) -> Any:
    """Return something that a trait without a value could say."""
    usual = [*(field.examples or ()), *choices_of(field)]
    if key in Codes.model_fields:
        usual += codes_for(key)
    return usual[0] if usual else ""


def _comment(text: str) -> str:
    return "".join(f"# {line}\n" for line in textwrap.wrap(text, COLUMNS - 2))


# -- a folder of one's own -----------------------------------------------------


def copy_dialect(source: Dialect, name: str, place: Path) -> list[Path]:
    """Make a folder with a commented copy of a dialect's traits, and of its own template.

    Args:
        source: The dialect.
        name: Name of the new one, and of its folder.
        place: The folder of dialects that it is made in; it is made as well if need be.

    Returns:
        The files that were written.

    Raises:
        InputError: if the name cannot be one, or anything stands there already.
    """
    _refuse_name(name)
    folder = place / name
    try:
        place.mkdir(parents=True, exist_ok=True)
        folder.mkdir()
    except OSError as error:
        raise _not_made(folder, error) from None
    files = {TRAITS: commented_traits(source, name)}
    if template_folder(source.folder) == source.folder:
        files[TEMPLATE] = read_own(source.folder, TEMPLATE)
    for file, text in files.items():
        write_whole(folder / file.name, text)
    return [folder / file.name for file in files]


def _refuse_name(name: str) -> None:
    field = Dialect.model_fields["name"]
    pattern = next(mark.pattern for mark in field.metadata if getattr(mark, "pattern", None))
    if not re.fullmatch(pattern, name):
        raise InputError(
            "cannot be the name of a dialect",
            key="NAME",
            value=name,
            expected=holds(field),
            remedy="choose another, such as lathe-2",
        )


def _not_made(folder: Path, error: OSError) -> InputError:
    exists = isinstance(error, FileExistsError)
    return InputError(
        "exists already" if exists else f"cannot be made: {error.strerror}",
        where=str(folder),
        expected="a new folder in a folder of dialects",
        remedy="nothing was written; choose another name or folder",
    )
