"""What a dialect's words must not mean: words of a standard, words that a shop vouches for."""

from __future__ import annotations

from collections.abc import Iterator

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.faults import Fault
from knurlcam.gcode.standard_codes import (
    DATUM,
    FIXED,
    GEAR,
    HARMLESS,
    LEFT_TO_MANUALS,
    codes_for,
    number_of,
    shortest,
    spellings,
)

__all__ = ["OWN_MEANINGS", "faults_of_words"]

OWN_MEANINGS = (
    "spindle_forward",
    "spindle_reverse",
    "spindle_stop",
    "coolant_on",
    "coolant_off",
    "program_stop",
    "optional_stop",
    "program_end",
    "program_end_also",
    "subprogram_return",
    "tool_change",
    GEAR,
    HARMLESS,
)
"""What a shop may vouch that an M word means. Not a subprogram call: what it calls is not read."""

_PLANES = frozenset({"G17", "G18", "G19"})


def faults_of_words(dialect: Dialect) -> Iterator[Fault]:
    """Yield what is wrong with the words of a dialect, those of its own first."""
    yield from _own_words(dialect)
    yield from _twice(dialect)
    yield from _meanings(dialect)
    yield from _state(dialect)
    yield from _x_words(dialect)


def _each_code(dialect: Dialect) -> Iterator[tuple[str, str, str]]:
    """Yield the key, the meaning and the word of each word that a dialect has."""
    for meaning, code in dialect.codes:
        for one in code if isinstance(code, tuple) else (code,):
            if one is not None:
                yield f"codes.{meaning}", meaning, one
    for gear in dialect.gears:
        yield "gears", GEAR, gear
    if dialect.work_offset is not None:
        yield "work_offset", DATUM, dialect.work_offset


def _twice(dialect: Dialect) -> Iterator[Fault]:
    seen: dict[str, str] = {}
    for key, meaning, code in _each_code(dialect):
        known = seen.get(shortest(code))
        stands_in = (known, meaning) == ("program_stop", "optional_stop")
        stated = meaning == DATUM and known == HARMLESS
        if known is not None and not stands_in and not stated:
            yield Fault(key, None, f"{code} already means {known}", "one meaning a word")
        seen.setdefault(shortest(code), meaning)


def _meanings(dialect: Dialect) -> Iterator[Fault]:
    """Yield words that stand for what neither a standard nor the shop means by them."""
    for key, meaning, code in _each_code(dialect):
        yield from _as_meant(dialect, key, meaning, code)


def _as_meant(dialect: Dialect, key: str, meaning: str, code: str) -> Iterator[Fault]:
    short = shortest(code)
    own = dialect.own_meanings.get(short)
    if own == meaning:
        return
    known = FIXED.get(short)
    if known is not None and meaning in known.meanings and own is None:
        if code not in spellings(code):
            yield Fault(key, code, "has more leading zeros than are used", short)
        return
    if own is not None:
        what = f"{code} means {own} by own_words"
    elif known is not None:
        what = f"{code} means {known.says} ({known.source})"
    else:
        what = f"{code} has no meaning in a standard or in common practice"
    yield Fault(
        key,
        None,
        f"{what}: reading the program back would not show what the control does",
        " or ".join(codes_for(meaning)),
    )


# -- words that are stated before the first motion --------------------------------


def _state(dialect: Dialect) -> Iterator[Fault]:
    """Yield stated words that do something here, and words that would undo them."""
    datum, seen = dialect.work_offset or "G54", set()
    for code in dialect.state:
        short = shortest(code)
        if short in seen:
            yield Fault("state", code, "is stated twice", "each word once")
        seen.add(short)
        meaning = dialect.meanings.get((code[0], number_of(code)))
        if meaning not in (HARMLESS, DATUM):
            yield Fault(
                "state",
                code,
                f"is a word for {meaning}, which is stated where it belongs",
                "words that change nothing here",
            )
        else:
            yield from _as_meant(dialect, "state", meaning, code)
    if len(seen & _PLANES) > 1:
        yield Fault("state", " ".join(sorted(seen & _PLANES)), "states two planes", "one of them")
    for code in dialect.codes.harmless:
        if seen & _PLANES and shortest(code) in _PLANES - seen:
            yield _undone("codes.harmless", code, "the plane that state has")
        if shortest(code) == "G54" != datum:
            yield _undone("codes.harmless", code, f"the datum {datum} (work_offset)")
    if "G54" in seen and datum != "G54":
        yield _undone("state", "G54", f"the datum {datum} (work_offset)")


def _undone(key: str, code: str, what: str) -> Fault:
    return Fault(key, code, f"would undo {what}, and a reader would pass over it", "without it")


def _x_words(dialect: Dialect) -> Iterator[Fault]:
    """Yield a word for the other way to write X without one for the dialect's own."""
    codes, other = dialect.codes, "radius" if dialect.x == "diameter" else "diameter"
    if getattr(codes, other) is not None and getattr(codes, dialect.x) is None:
        yield Fault(
            f"codes.{dialect.x}",
            None,
            f"there is a word for X on the {other}, and none to state the {dialect.x} with",
            "its code",
        )


# -- words that a shop vouches for ------------------------------------------------


def _own_words(dialect: Dialect) -> Iterator[Fault]:
    """Yield own words that a standard has fixed, that mean nothing known, or have no source."""
    said = {(meaning, shortest(code)) for _, meaning, code in _each_code(dialect)}
    seen: set[str] = set()
    for code, word in dialect.own_words.items():
        key, short = f"own_words.{code}", shortest(code)
        known = FIXED.get(short)
        if short in seen:
            yield Fault(key, None, "is vouched for twice", "each word once")
        seen.add(short)
        if word.means not in OWN_MEANINGS:
            yield Fault(f"{key}.means", word.means, "is not a meaning", ", ".join(OWN_MEANINGS))
        elif known and word.means not in known.meanings and short not in LEFT_TO_MANUALS:
            yield Fault(
                f"{key}.means",
                word.means,
                f"{code} means {known.says} ({known.source}), whatever a manual says",
                " or ".join(known.meanings) or "another word",
            )
        elif word.means != HARMLESS and (word.means, short) not in said:
            where = "gears" if word.means == GEAR else f"codes.{word.means}"
            yield Fault(key, None, f"is not among {where}", f'{where} with "{code}"')
        yield from _source(dialect, f"{key}.source", word.source)


def _source(dialect: Dialect, key: str, source: str) -> Iterator[Fault]:
    strange = [c for c in source.upper() if c not in dialect.comment_set]
    if strange or not any(c.isalnum() for c in source):
        yield Fault(
            key,
            source,
            "cannot stand in a comment of the program, where anyone who runs it looks for it"
            if strange
            else "names nothing",
            "the manual and its page, in characters of a comment (comment_characters)",
        )
