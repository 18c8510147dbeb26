"""All that is wrong with the traits of one dialect, at once and in plain words.

The validating library stops at the first table that does not fit its model, and names things
of its own. Here each trait that is wrong is one problem with file, key, value, what may stand
there, and the nearest right key or value; what is right so far is still held together.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from knurlcam.data.folders import data_folder
from knurlcam.errors import InputError, SeveralInputsError, nearest
from knurlcam.gcode.codes import Codes
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_rules import faults_of
from knurlcam.gcode.standard_codes import FIXED, GEAR, LEFT_TO_MANUALS, shortest
from knurlcam.gcode.trait_words import choices_of, holds, model_in, model_of_entries
from knurlcam.gcode.word_rules import OWN_MEANINGS
from knurlcam.text import plain
from knurlcam.toml import read_toml

__all__ = ["MOST_PROBLEMS", "BrokenDialectError", "dialect_of"]

MOST_PROBLEMS = 50
"""Problems of one file that are said: more than anyone corrects before checking again."""

Keys = tuple[str, ...]


class BrokenDialectError(SeveralInputsError):
    """A dialect's traits are not what they must be: one line for each that is wrong."""


def dialect_of(data: Mapping[str, Any], folder: Path, where: str) -> Dialect:
    """Return the dialect that a table of traits describes.

    Args:
        data: The traits, as they were read.
        folder: The dialect's folder, whose name is the dialect's.
        where: The file, for messages.

    Raises:
        BrokenDialectError: naming every trait that is wrong.
    """
    data = {key: value for key, value in data.items() if key != "folder"}
    try:
        dialect = Dialect.model_validate({**data, "folder": folder})
    except ValidationError as error:
        problems = [*_of_each_trait(error, data, where), *_of_the_rest(error, data, folder, where)]
    else:
        problems = list(_contradictions(dialect, data, where))
    if problems:
        raise BrokenDialectError(tuple(problems[:MOST_PROBLEMS]))
    return dialect


# -- each trait by itself ------------------------------------------------------


class _Wrong(NamedTuple):
    """One of the library's errors: where, of what kind, what was given, and its own cause."""

    keys: Keys
    kind: str
    given: object
    cause: object


def _wrong(error: ValidationError) -> dict[Keys, _Wrong]:
    """Return the first error at each trait: a choice of kinds has one for every kind."""
    found: dict[Keys, _Wrong] = {}
    for item in error.errors(include_url=False):
        keys = _keys_of(item["loc"])
        cause = item.get("ctx", {}).get("error")
        found.setdefault(keys, _Wrong(keys, item["type"], item["input"], cause))
    return found


def _keys_of(loc: Iterable[str | int]) -> Keys:
    """Return the keys of a place, without what the library adds of its own."""
    keys: list[str] = []
    model: type[BaseModel] | None = Dialect
    steps = iter(loc)
    for step in steps:
        if model is None:
            break
        keys.append(str(step))
        field = model.model_fields.get(str(step))
        model = None if field is None else model_in(field)
        entries = None if field is None else model_of_entries(field)
        if entries is not None:
            model = entries
            keys += [str(name) for name in islice(steps, 1)]
    return tuple(key for key in keys if key != _OF_A_NAME)


_OF_A_NAME = "[key]"
"""How the library says that not an entry is wrong but its name."""


def _of_each_trait(
    error: ValidationError, data: Mapping[str, Any], where: str
) -> Iterator[InputError]:
    wrong = _wrong(error)
    missing = [keys for keys, one in wrong.items() if one.kind == "missing"]
    meant = dict(_misspelt(wrong, missing))
    for keys, one in islice(wrong.items(), 2 * MOST_PROBLEMS):
        if one.kind == "extra_forbidden":
            yield _unknown(one, meant.get(keys), where)
        elif _is_trait_among_entries(keys):
            yield _unknown(one._replace(given=None), None, where)
        elif keys not in meant.values():
            yield _missing(keys, where) if one.kind == "missing" else _invalid(one, where)


def _is_trait_among_entries(keys: Keys) -> bool:
    """Whether a trait stands below the heading of a table of entries, which comes last."""
    known = {**Dialect.model_fields, **Codes.model_fields}
    return len(keys) == 2 and keys[0] != "codes" and keys[1] in known


def _misspelt(wrong: Mapping[Keys, _Wrong], missing: list[Keys]) -> Iterator[tuple[Keys, Keys]]:
    """Yield each unknown key that a missing one was meant by: that is one error, not two."""
    unknown = [keys for keys, one in wrong.items() if one.kind == "extra_forbidden"]
    for keys in missing:
        beside = [k[-1][:60] for k in unknown[:MOST_PROBLEMS] if k[:-1] == keys[:-1]]
        close = difflib.get_close_matches(keys[-1], beside, n=1, cutoff=0.75)
        if close:
            yield (*keys[:-1], close[0]), keys


def _unknown(one: _Wrong, meant: Keys | None, where: str) -> InputError:
    remedy = f"did you mean {meant[-1]!r}?" if meant else _nearest_key(one.keys)
    return InputError(
        "unknown key",
        where=where,
        key=_dotted(one.keys),
        value=_shown(one.given),
        expected="a known key",
        remedy=remedy,
    )


def _nearest_key(keys: Keys) -> str:
    """Return what to do about an unknown key, which may stand under the wrong heading."""
    name = keys[-1][:60]
    if len(keys) > 2:
        return "leave it out"
    if _is_trait_among_entries(keys):
        above = "[codes]" if name in Dialect.model_fields else f"[{keys[0]}], below [codes]"
        return f"write it above {above}: what stands below a heading belongs to it"
    own, other = (Codes, Dialect) if keys[0] == "codes" else (Dialect, Codes)
    close = difflib.get_close_matches(name, [*own.model_fields, *other.model_fields], n=1)
    if not close or close[0] in own.model_fields:
        return nearest(name, (key for key in own.model_fields if key != "folder"))
    asked = "" if close[0] == name else f"did you mean {close[0]!r}? "
    if own is Dialect:
        return f"{asked}write it below [codes]"
    return f"{asked}write it above [codes]: what stands below a heading belongs to it"


def _missing(keys: Keys, where: str) -> InputError:
    field = _field(keys)
    return InputError(
        "is missing",
        where=where,
        key=_dotted(keys),
        expected=f"{field.description}: {holds(field)}" if field else None,
        remedy="add it, as the dialects of the package have it",
    )


def _invalid(one: _Wrong, where: str) -> InputError:
    field = _field(one.keys)
    if isinstance(one.cause, InputError):
        return one.cause.at(where=where, key=_dotted(one.keys), value=_shown(one.given))
    choices = choices_of(field) if field else []
    about = f"this key holds: {field.description}" if field else "correct it"
    known = isinstance(one.given, str) and choices
    return InputError(
        "has a value that is not allowed",
        where=where,
        key=_dotted(one.keys) or "the file",
        value=_shown(one.given),
        expected=holds(field) if field else "a table of traits",
        remedy=nearest(str(one.given), choices) if known else about,
    )


def _field(keys: Keys) -> FieldInfo | None:
    """Return the field of the model that a key is, or that an entry belongs to."""
    model: type[BaseModel] | None = Dialect
    field: FieldInfo | None = None
    for key in keys:
        found = model.model_fields.get(key) if model else None
        if found is None:
            if field is None or model_of_entries(field) is not model:
                return None
            continue  # the user's own name of an entry
        field, model = found, model_in(found) or model_of_entries(found)
    return field


def _dotted(keys: Keys) -> str:
    return plain(".".join(keys))


def _given(data: Mapping[str, Any], key: str) -> object:
    """Return what the file says at a key, the one entry of a list by itself."""
    value = _value_at(data, key)
    return value[0] if isinstance(value, list) and len(value) == 1 else _shown(value)


def _shown(given: object) -> object:
    """Return a value as a message shows it: of a list or table, which may be deep, what it is."""
    if isinstance(given, Mapping):
        return "a table"
    return "a list" if isinstance(given, (list, tuple)) else given


# -- all of them together ------------------------------------------------------


def _contradictions(dialect: Dialect, data: Mapping[str, Any], where: str) -> Iterator[InputError]:
    for fault in islice(faults_of(dialect), MOST_PROBLEMS):
        value = fault.value if fault.value is not None else _given(data, fault.key)
        yield InputError(
            fault.problem,
            where=where,
            key=fault.key,
            value=value,
            expected=fault.expected,
            remedy=_remedy(fault.key, value),
        )


def _remedy(key: str, value: object) -> str:
    """Return what to do about a trait that contradicts another, or a word without a meaning."""
    is_code = key.startswith("codes.") or key == "gears"
    if not (is_code and isinstance(value, str) and re.fullmatch("M[0-9]{1,3}", value)):
        return "correct the traits"
    short, means = shortest(value), GEAR if key == "gears" else key.removeprefix("codes.")
    if means not in OWN_MEANINGS or (short in FIXED and short not in LEFT_TO_MANUALS):
        return "correct the traits"
    return (
        f'or say below [own_words] where the manual says so: {value} = {{ means = "{means}", '
        'source = "machine manual, p. 44" }'
    )


def _of_the_rest(
    error: ValidationError, data: Mapping[str, Any], folder: Path, where: str
) -> Iterator[InputError]:
    """Yield what is wrong with the traits that are well by themselves, held together.

    For those that are not, the traits of a dialect that is sound stand in; nothing is said
    of them again.
    """
    wrong = _wrong(error)
    try:
        dialect = Dialect.model_validate({**_completed(data, wrong), "folder": folder})
    except ValidationError:
        return  # a table within a table is wrong: the single problems say what there is to say
    said = {_dotted(keys) for keys in wrong}
    for problem in _contradictions(dialect, data, where):
        if problem.key not in said and _value_at(data, str(problem.key)) is not None:
            yield problem


def _completed(data: Mapping[str, Any], wrong: Mapping[Keys, _Wrong]) -> dict[str, Any]:
    """Return the traits without what is wrong, and with what is missing from a sound dialect."""
    sound = read_toml(data_folder("postprocessors") / SOUND / "dialect.toml", limit=100_000)
    codes = data.get("codes")
    codes = dict(codes) if isinstance(codes, Mapping) else dict(sound["codes"])
    made = {key: value for key, value in data.items() if (key,) not in wrong}
    made["codes"] = {key: value for key, value in codes.items() if ("codes", key) not in wrong}
    for keys in wrong:
        model, table, of = (
            (Codes, made["codes"], sound["codes"]) if keys[0] == "codes" else (Dialect, made, sound)
        )
        if model is Dialect and len(keys) > 1:
            made.pop(
                keys[0], None
            )  # an entry of a table: the others are looked at when it is right
        if _is_required(model, keys[-1]) and keys[-1] in of:
            table.setdefault(keys[-1], of[keys[-1]])
    return made


SOUND = "iso6983"
"""Dialect of the package whose traits stand in for those that are missing or wrong."""


def _is_required(model: type[BaseModel], key: str) -> bool:
    field = model.model_fields.get(key)
    return field is not None and field.is_required()


def _value_at(data: Mapping[str, Any], key: str) -> object:
    value: object = data
    for part in key.split("."):
        value = value.get(part) if isinstance(value, Mapping) else None
    return value
