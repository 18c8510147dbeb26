"""Materials by the names that drawings give them, and what is said of an unknown one.

A drawing names a material by name or alias, with its kind before or after ("stainless steel
1.4305", "1018 steel"), or in two systems at once ("16MnCr5/1.7131").
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator

from knurlcam.data.caches import kept_until_cleared
from knurlcam.data.material_kinds import Kind, fillers, folded, kinds
from knurlcam.data.materials import Material, materials
from knurlcam.errors import InputError
from knurlcam.text import shortened

__all__ = ["find_material", "kind_of"]

MOST_WORDS = 7
"""Words of a name in which a kind is looked for: each more doubles the work."""

NEAR_DESIGNATION = 0.6
"""Least likeness of a designation that is suggested [-]; a digit wrong in five is likelier."""

NEAR_WORD = 0.75
"""Least likeness of a misspelt word for a kind [-]: one letter wrong in four."""


@kept_until_cleared(1024)
def find_material(name: str) -> Material:
    """Return the material of that name or alias.

    Case, spaces and hyphens do not count, both spellings of aluminium and grey are known, and
    dots may be left out where one material only can be meant. The kind may stand before or
    after; it must be that of the material. Of several names, all must mean the same material.

    Args:
        name: A name or alias, such as ``EN AW-6082`` or ``stainless steel 1.4305``.

    Raises:
        InputError: if no material has that name; what is offered is of the kind that the name
            says, or nothing is.
    """
    found = _find(_words(name)) or _of_several_names(name)
    if found is not None:
        return found
    raise InputError(
        "unknown material",
        key="material",
        value=name,
        expected="a name or alias of the material table, or a table of its own",
        remedy=_contradiction(name) or _suggestion(name),
    )


def kind_of(material: Material) -> Kind | None:
    """Return the kind that a material's name begins with; None where it names none."""
    name = folded(material.name)
    begun = [
        (len(folded(word)), kind)
        for kind in kinds()
        for word in kind.words
        if name.startswith(folded(word))
    ]
    return max(begun, key=lambda pair: pair[0], default=(0, None))[1]


# -- found ---------------------------------------------------------------------


@kept_until_cleared()
def _by_name() -> dict[str, Material]:
    return {folded(name): m for m in materials() for name in (m.name, *m.aliases)}


@kept_until_cleared()
def _by_name_without_dots() -> dict[str, set[Material]]:
    found: dict[str, set[Material]] = {}
    for name, material in _by_name().items():
        found.setdefault(_without_dots(name), set()).add(material)
    return found


@kept_until_cleared()
def _kind_words() -> dict[tuple[str, ...], tuple[Kind, ...]]:
    """Return the words of each way to call a kind, the longest first."""
    called: dict[tuple[str, ...], tuple[Kind, ...]] = {}
    for kind in kinds():
        for word in (*kind.words, *kind.also):
            words = _words(word)
            called[words] = (*called.get(words, ()), kind)
    return dict(sorted(called.items(), key=lambda item: -len(item[0])))


def _words(name: str) -> tuple[str, ...]:
    """Return the words of a name, folded; hyphens part words, for they do not count."""
    parts = re.split(r"[\s_\-\u2010-\u2014\u2212()\[\]]+|,(?=\s)|,$", name)
    return tuple(word for word in map(folded, parts) if word)


def _without_dots(name: str) -> str:
    return re.sub(r"[.,]", "", name)


@kept_until_cleared(1024)
def _find(words: tuple[str, ...]) -> Material | None:
    """Return the material of that name, or of what is left of it without kind and fillers."""
    name = "".join(words)
    if (exact := _by_name().get(name)) is not None:
        return exact
    dotless = _by_name_without_dots().get(_without_dots(name), set())
    if len(dotless) == 1:
        return next(iter(dotless))
    if len(words) > MOST_WORDS:
        return None
    for taken, rest in _parted(words):
        found = _find(rest)
        if found is not None and taken in _ways_to_call(found):
            return found
    return _named_twice(words)


def _named_twice(words: tuple[str, ...]) -> Material | None:
    """Return the material that both halves of a name mean: ``cartridge brass C26000``."""
    for at in range(1, len(words)):
        found = _find(words[:at])
        if found is not None and found is _find(words[at:]):
            return found
    return None


def _parted(words: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], tuple[str, ...]]]:
    """Yield a kind's words or a filler that a name has, and the name without them."""
    fill = [_words(word) for word in fillers()]
    for taken in (*_kind_words(), *fill):
        for at in range(len(words) - len(taken) + 1):
            rest = words[:at] + words[at + len(taken) :]
            if words[at : at + len(taken)] == taken and rest:
                yield taken, rest


def _ways_to_call(material: Material) -> set[tuple[str, ...]]:
    kind = kind_of(material)
    called = {words for words, of in _kind_words().items() if kind in of}
    return called | {_words(word) for word in fillers()}


def _of_several_names(name: str) -> Material | None:
    """Return the material that all of several names mean: ``C45 (1.0503)``."""
    parts = [part for part in re.split(r"[/;()\[\]]|,\s", name) if part.strip()]
    if not 1 < len(parts) <= MOST_WORDS:
        return None
    found = {_find(_words(part)) for part in parts}
    return found.pop() if len(found) == 1 else None


# -- not found -----------------------------------------------------------------


def _contradiction(name: str) -> str | None:
    """Return that kind and designation do not go together, where that is what is wrong."""
    for taken, rest in _parted(_words(name)[:MOST_WORDS]):
        found = _find(rest)
        if found is None or taken not in _kind_words():
            continue
        kind = kind_of(found)
        of = f", which is {kind.name}" if kind else ""
        return f"{shortened(' '.join(rest))} is {found.name}{of}, not {' '.join(taken)}"
    return None


def _suggestion(name: str) -> str:
    """Return what is near and of the same kind, or which kinds there are."""
    words = _words(name)[:MOST_WORDS]
    if not (of := _kinds_meant(words)):
        words = _spelled_right(words)
        of = _called(words)
    table = [m for m in materials() if kind_of(m) in of]
    if not table:
        return _kinds_there_are()
    return _nearest("".join(_bare(words)), table) or (
        f"known of this kind: {', '.join(m.name for m in table)}"
    )


def _kinds_there_are() -> str:
    there = {kind_of(material) for material in materials()}
    known = ", ".join(kind.name for kind in kinds() if kind in there) or "no metal of a known kind"
    return (
        f"name kind and designation, such as 'steel C45'; the table has {known}; of another "
        "metal give a table with its figures"
    )


def _nearest(wanted: str, table: list[Material]) -> str | None:
    names: dict[str, tuple[str, Material]] = {}
    for material in table:
        for name in (material.name, *material.aliases):
            names.setdefault("".join(_bare(_words(name))), (name, material))
    near = difflib.get_close_matches(wanted, names, n=1, cutoff=NEAR_DESIGNATION)
    if not near or not wanted:
        return None
    name, material = names[near[0]]
    return f"did you mean {shortened(name)}{_of(name, material)}?"


def _of(name: str, material: Material) -> str:
    return "" if name == material.name else f" ({material.name})"


def _bare(words: tuple[str, ...]) -> tuple[str, ...]:
    """Return a name's words without those of any kind, and without fillers."""
    rests = [rest for _, rest in _parted(words)]
    return _bare(rests[0]) if rests else () if words in _kind_words() else words


def _kinds_meant(words: tuple[str, ...]) -> tuple[Kind, ...]:
    """Return the kinds that a name may be of: by its words or its designation."""
    called = _called(words)
    designated = tuple(
        kind for kind in kinds() if any(kind.designates(t) for t in ("".join(words), *words))
    )
    if called:
        return tuple(kind for kind in called if kind in designated) or called
    return designated if len(designated) == 1 else ()


def _called(words: tuple[str, ...]) -> tuple[Kind, ...]:
    """Return the kinds of the longest of a kind's words in a name; of equal ones the last.

    In "aluminium bronze" the last word says what it is.
    """
    found: list[tuple[int, int, tuple[Kind, ...]]] = []
    for taken, of in _kind_words().items():
        places = range(len(words) - len(taken) + 1)
        found += [(len(taken), at, of) for at in places if words[at : at + len(taken)] == taken]
    return max(found, key=lambda item: item[:2], default=(0, 0, ()))[2]


def _spelled_right(words: tuple[str, ...]) -> tuple[str, ...]:
    """Return a name's words, those nearly a kind's word as they are written right."""
    single = [words[0] for words in _kind_words() if len(words) == 1]
    near = (difflib.get_close_matches(word, single, n=1, cutoff=NEAR_WORD) for word in words)
    return tuple(right[0] if right else word for word, right in zip(words, near, strict=True))
