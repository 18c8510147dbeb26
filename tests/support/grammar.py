"""Random programs in each dialect's grammar, legal ones and ones with slips.

Nothing here looks at the package's traits: words, forms of numbers and frames are stated
anew. What a program says is drawn word by word, so that a failure shrinks to the few
words that matter; how it is spelled (spaces, zeros, case, comments) comes from one seed a
block, and each oddity is a switch of its own, so that it shrinks to the one that matters.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import NamedTuple

from hypothesis import strategies as st

__all__ = ["GRAMMARS", "Grammar", "Spelling", "legal_programs", "slipped_programs"]

Atom = tuple[str, ...]
"""Words that need each other, such as ``G43 H5``."""


def _eight_digits(number: str) -> str:
    """Leave a number's last five digits before the point, and three behind it at most."""
    whole, point, places = number.partition(".")
    return f"{whole[-5:]}{point}{places[:3]}"


class Grammar(NamedTuple):
    """How one dialect writes.

    Attributes:
        modes: Groups of words of which a block may have one each.
        harmless: Words that change nothing on a lathe.
        increments: Whether U and W are its increments.
        limit: Its speed limit with S; empty without one.
        reference: Its return to the reference point; empty without one.
        changes: Whether a tool is called by T and M06, its offset by G43 H.
        dwell: Letter of the dwell's time.
        dwell_whole: Whether that time is a whole number.
        point: Whether a length has a decimal point always, never or as one likes.
        motion_alone: Whether G00 or G01 may stand without an axis.
        spaces_inside: Whether spaces and tabs may stand inside numbers.
        start: Lines before the first block; the number's digits are the number.
        end: Lines after the last block.
        returns: Whether it has subprograms.
        m_words: Most M words in a block.
        longest: Most characters on a line.
        highest: Highest block number.
        fits: Makes a number as short as the control takes it.
    """

    modes: tuple[tuple[str, ...], ...]
    harmless: tuple[str, ...] = ("G18", "G40")
    increments: bool = False
    limit: str = ""
    reference: str = ""
    changes: bool = False
    dwell: str = "P"
    dwell_whole: bool = False
    point: str = "always"
    motion_alone: bool = True
    spaces_inside: bool = False
    start: tuple[str, ...] = ("%1234",)
    end: tuple[str, ...] = ()
    returns: bool = True
    m_words: int = 1
    longest: int = 80
    highest: int = 9999
    fits: Callable[[str], str] = _eight_digits


_ISO_MODES = (("G71", "G70"), ("G90", "G91"), ("G95", "G94"), ("G97", "G96"))
_SPINDLE = ("M03", "M04", "M05")
_COOLANT = ("M08", "M09")

GRAMMARS = {
    "iso6983": Grammar(_ISO_MODES, dwell="X"),
    "iso6983-integer": Grammar(_ISO_MODES, dwell_whole=True, point="never"),
    "rs274": Grammar(
        (("G21", "G20"), ("G90", "G91"), ("G94",)),
        changes=True,
        point="free",
        motion_alone=False,
        spaces_inside=True,
        start=("%",),
        end=("%",),
        returns=False,
        m_words=4,
        longest=256,
        highest=99999,
        fits=str,
    ),
    "rs274-turning": Grammar(
        (("G21", "G20"), ("G90", "G91"), ("G95", "G94"), ("G07", "G08"), ("G97", "G96")),
        harmless=("G18", "G40", "G61"),
        changes=True,
        point="free",
        motion_alone=False,
        spaces_inside=True,
        start=("%",),
        end=("%",),
        returns=False,
        m_words=4,
        longest=256,
        highest=99999,
        fits=str,
    ),
    "uw-lathe": Grammar(
        (("G21", "G20"), ("G99", "G98"), ("G97", "G96")),
        increments=True,
        limit="G50",
        reference="G28",
        dwell_whole=True,
        start=("%", "O0012"),
        end=("%",),
    ),
}


# -- numbers ---------------------------------------------------------------------------

_Form = tuple[str, Callable[[int], str]]
"""A sign, and digits made of a number."""

_SIGNS = ("", "", "", "-", "-", "+")


def _with_places(places: int) -> Callable[[int], str]:
    return lambda n: f"{n // 10**places}.{n % 10**places:0{places}d}"


_POINTED: tuple[Callable[[int], str], ...] = (
    _with_places(3),
    _with_places(1),
    _with_places(4),
    lambda n: f"{n}.",
    lambda n: f".{n}",
    lambda n: f"00{n // 1000}.{n % 1000}00",
    lambda n: f"{n}{n}.{n}",
    lambda n: f"0.00000000{n}",
)
_WHOLE: tuple[Callable[[int], str], ...] = (
    str,
    lambda n: f"00{n}",
    lambda n: f"{n // 1000}",
    lambda n: f"{n}{n}",
)
_ZERO: tuple[Callable[[int], str], ...] = (lambda _: "0", lambda _: "00")
"""Nothing is nothing, with a point or without one."""

_FORMS = {
    "always": _POINTED + _ZERO,
    "never": _WHOLE,
    "free": _POINTED + _WHOLE,
    "pointed": _POINTED,
}
_SIGNED = {
    name: st.sampled_from([(s, f) for f in forms for s in _SIGNS]) for name, forms in _FORMS.items()
}
_UNSIGNED = {
    name: st.sampled_from([(s, f) for f in forms for s in ("", "", "+")])
    for name, forms in _FORMS.items()
}
_DIGITS = st.integers(0, 99_999)


def _number(
    draw: st.DrawFn, grammar: Grammar, forms: dict[str, st.SearchStrategy[_Form]], point: str
) -> str:
    sign, form = draw(forms[point])
    return sign + grammar.fits(form(draw(_DIGITS)))


def _length(draw: st.DrawFn, grammar: Grammar) -> str:
    return _number(draw, grammar, _SIGNED, grammar.point)


# -- blocks ----------------------------------------------------------------------------

_SOME = st.sampled_from((0, 0, 0, 1, 2, 3))
_SMALL = st.integers(0, 9999)
_ONE_IN_TWO = st.booleans()
_MOTIONS = ("G00", "G01")
_BESIDE: tuple[Atom, ...] = (("M08",), ("S120",))
"""What may stand in a block that moves, besides modes and a feed."""


def _modes(draw: st.DrawFn, grammar: Grammar, most: int) -> list[Atom]:
    """Draw some modal words, of each group one at most."""
    groups = [*grammar.modes, (grammar.harmless[0],), (grammar.harmless[1],)]
    chosen = draw(st.lists(st.sampled_from(groups), max_size=most, unique=True))
    return [(group[0] if len(group) == 1 else draw(st.sampled_from(group)),) for group in chosen]


def _offset(draw: st.DrawFn) -> Atom:
    number = draw(_SMALL)
    return ("G43", f"H{number % 100}") if number % 2 else ("G49",)


def _feed(draw: st.DrawFn, grammar: Grammar) -> Atom:
    return ("F" + _number(draw, grammar, _UNSIGNED, grammar.point),)


def _without_units(atoms: list[Atom], grammar: Grammar) -> list[Atom]:
    """Leave units out beside a feed: nobody knows in which of them it is meant."""
    return [atom for atom in atoms if atom[0] not in grammar.modes[0]]


def _speed(draw: st.DrawFn) -> Atom:
    speed = draw(_SMALL)
    return (f"S0{speed}" if speed % 7 == 3 else f"S{speed}",)


def _tool(draw: st.DrawFn, grammar: Grammar) -> Atom:
    number = draw(_SMALL)
    if not grammar.changes:
        return (f"T{number:04d}",)
    tool = f"T{number % 100}" if number % 2 else f"T{number % 100:02d}"
    return (tool, "M06") if draw(_ONE_IN_TWO) else (tool,)


def _settings(draw: st.DrawFn, grammar: Grammar) -> list[Atom]:
    """Draw a block that moves nothing."""
    atoms = _modes(draw, grammar, 4)
    kinds = draw(st.lists(st.sampled_from("FSTmcgo"), min_size=not atoms, max_size=4, unique=True))
    for kind in kinds:
        if kind == "F":
            atoms = _without_units(atoms, grammar)
            atoms.append(_feed(draw, grammar))
        elif kind == "S":
            atoms.append(_speed(draw))
        elif kind == "T":
            atoms.append(_tool(draw, grammar))
        elif kind == "m":
            atoms.append((draw(st.sampled_from(_SPINDLE)),))
        elif kind == "c":
            atoms.append((draw(st.sampled_from(_COOLANT)),))
        elif kind == "o" and grammar.changes:
            atoms.append(_offset(draw))
        elif kind == "g" and grammar.motion_alone:
            atoms.append((draw(st.sampled_from(_MOTIONS)),))
    return atoms or [("G40",)]


def _axes(draw: st.DrawFn, grammar: Grammar) -> Atom:
    pairs = ["X", "Z", "XZ", "XZ"]
    if grammar.increments:
        pairs += ["U", "W", "UW", "XW", "UZ"]
    return tuple(a + _length(draw, grammar) for a in draw(st.sampled_from(pairs)))


def _move(draw: st.DrawFn, grammar: Grammar, motion: str) -> list[Atom]:
    """Draw a block that moves; the motion word in force may be left out."""
    atoms = [((motion,) if motion else ()) + _axes(draw, grammar)]
    extra = draw(_SOME)
    if extra > 1:
        atoms += _modes(draw, grammar, 2)
    if extra and motion == "G01":
        atoms = [*_without_units(atoms, grammar), _feed(draw, grammar)]
    if extra > 2:
        atoms.append(_offset(draw) if grammar.changes else draw(st.sampled_from(_BESIDE)))
    return atoms


def _dwell(draw: st.DrawFn, grammar: Grammar) -> list[Atom]:
    if grammar.dwell_whole:
        time = str(draw(_SMALL))
    else:
        point = "pointed" if grammar.point == "always" else grammar.point
        time = _number(draw, grammar, _UNSIGNED, point)
    # An X beside G91 is a way for one control and a time for another.
    beside = [a for a in _plus(draw, grammar) if a != ("G91",) or grammar.dwell != "X"]
    return [("G04", grammar.dwell + time), *beside]


def _plus(draw: st.DrawFn, grammar: Grammar) -> list[Atom]:
    """Draw what may stand beside any word of a block that does not move."""
    extra = draw(_SOME)
    atoms = _modes(draw, grammar, 2) if extra else []
    if extra > 1:
        atoms.append((draw(st.sampled_from(_SPINDLE)),))
    if extra > 2:
        atoms.append((draw(st.sampled_from(_COOLANT)),))
    return atoms


def _stop(draw: st.DrawFn, grammar: Grammar) -> list[Atom]:
    return [(draw(st.sampled_from(("M00", "M01"))),), *_plus(draw, grammar)]


def _limit(draw: st.DrawFn, grammar: Grammar) -> list[Atom]:
    # Its S would be the limit, or the speed that G97 or G96 wants.
    beside = [a for a in _plus(draw, grammar) if a[0] not in grammar.modes[-1]]
    return [(grammar.limit, *_speed(draw)), *beside]


def _reference(draw: st.DrawFn, grammar: Grammar) -> list[Atom]:
    axes = draw(st.sampled_from(("U0", "W0", "U0 W0", "Z0", "X0 W0", "")))
    words = tuple(axes.split()) or _axes(draw, grammar)
    atoms: list[Atom] = [(grammar.reference, *words)]
    if draw(_SOME) > 1:
        atoms += _modes(draw, grammar, 2)
    return atoms


def _end(draw: st.DrawFn, grammar: Grammar) -> list[Atom]:
    ends = ("M30", "M02", "M99") if grammar.returns else ("M30", "M02")
    return [(draw(st.sampled_from(ends)),), *_plus(draw, grammar)]


def _block(draw: st.DrawFn, grammar: Grammar, known: bool) -> list[Atom]:
    """Draw a block; whether a motion word is in force already is known."""
    kinds = ["move", "move", "move", "move", "settings", "settings", "dwell", "stop", "empty"]
    if grammar.limit:
        kinds += ["limit", "reference"]
    kind = draw(st.sampled_from(kinds))
    if kind == "move":
        motion = draw(st.sampled_from(("G00", "G01", "G01", "") if known else _MOTIONS))
        return _move(draw, grammar, motion)
    if kind == "empty":
        return []
    makers = {"settings": _settings, "dwell": _dwell, "stop": _stop, "limit": _limit}
    return makers.get(kind, _reference)(draw, grammar)


def _with_few_m_words(atoms: list[Atom], most: int) -> list[Atom]:
    """Leave out what holds an M word more than a block may have."""
    kept: list[Atom] = []
    for atom in atoms:
        m_words = sum(word[0] == "M" for one in (*kept, atom) for word in one)
        if m_words <= most:
            kept.append(atom)
    return kept


# -- spelling --------------------------------------------------------------------------


class Spelling(NamedTuple):
    """How odd the words are written; each oddity comes and goes by chance.

    Attributes:
        numbers: Block numbers.
        zeros: G1, G01, G001, N0010.
        order: The words of a block in any order.
        tight: No space between words.
        spaces: Several between them, some before numbers, and inside where they may be.
        tabs: The same with tabs.
        lower: Small letters.
        comments: Comments before, between and behind words.
        slashes: Blocks that may be skipped.
        blank: Blank lines.
        ends: What ends a line.
    """

    numbers: bool
    zeros: bool
    order: bool
    tight: bool
    spaces: bool
    tabs: bool
    lower: bool
    comments: bool
    slashes: bool
    blank: bool
    ends: str


_PLAIN = Spelling(*[False] * 10, ends="\n")
"""As writers write; the reader takes a way of its own through such lines."""

_SPELLINGS = st.sampled_from((_PLAIN, _PLAIN._replace(numbers=True))) | st.builds(
    Spelling,
    *[st.booleans() for _ in range(10)],
    ends=st.sampled_from(("\n", "\n", "\r\n")),
)
_COMMENTS = ("()", "(A)", "(G01 X5.)", "( N9 G00 )", "(m30)", "(/ X-1.5:2,+=)", "(12)")
_GAPS = ("", " ", "  ", "   ")


class _Scribe:
    """Writes a block in one of the ways that its dialect has."""

    def __init__(self, grammar: Grammar, spelling: Spelling, seed: int) -> None:
        self.grammar, self.how = grammar, spelling
        self.rng = random.Random(seed)

    def chance(self, percent: int) -> bool:
        return self.rng.random() * 100 < percent

    def gap(self) -> str:
        space = self.rng.choice(_GAPS) if self.how.spaces else ""
        return space + "\t" if self.how.tabs and self.chance(30) else space

    def word(self, word: str) -> str:
        letter, number = word[0], word[1:]
        if self.how.zeros and letter in "GM":
            number = self.rng.choice(("", "0", "00")) + str(int(number))
        if self.grammar.spaces_inside and (self.how.spaces or self.how.tabs) and self.chance(30):
            place = self.rng.randrange(len(number) + 1)
            number = number[:place] + self.gap() + number[place:]
        if self.how.lower and self.chance(50):
            letter = letter.lower()
        return letter + (self.gap() if self.chance(30) else "") + number

    def line(self, number: int, atoms: list[Atom], *, skippable: bool) -> str:
        """Write a block; what does not fit on a line is left out, comments first."""
        words = [word for atom in atoms for word in atom]
        if self.how.order:
            self.rng.shuffle(words)
        written = [self.word(w) for w in words]
        if self.how.numbers and self.chance(70):
            zeros = "00" if self.how.zeros and self.chance(30) else ""
            written.insert(0, self.word(f"N{zeros}{number}"))
        slashed = skippable and self.how.slashes and self.chance(20)
        slash = "/" + self.gap() if slashed else ""
        between = ("" if self.how.tight else " ", self.gap)
        text = slash + self.joined(written, *between, comments=self.how.comments)
        if len(text) > self.grammar.longest:
            text = slash.strip() + self.joined(written, "", str, comments=False)
        if len(text) > self.grammar.longest:
            return self.line(number, atoms[:-1], skippable=skippable)
        return text

    def joined(self, words: list[str], space: str, gap: Callable[[], str], comments: bool) -> str:
        pieces = []
        for word in [*words, ""]:
            if comments and self.chance(20):
                pieces += [self.rng.choice(_COMMENTS), gap()]
            pieces += [word, space if word else "", gap()]
        return "".join(pieces)

    def frame(self, line: str) -> str:
        """Write a start line; a number may have fewer zeros, a space, a comment behind it."""
        if self.how.zeros and len(line) > 1:
            line = line[0] + str(int(line[1:]))
        if self.how.spaces and len(line) > 1:
            line = line[0] + " " + line[1:]
        if self.how.comments and len(line) > 1:
            line += self.gap() + self.rng.choice(_COMMENTS)
        return line.lower() if self.how.lower else line


# -- programs --------------------------------------------------------------------------

_SEEDS = st.integers(0, 2**32 - 1)
_STEPS = st.sampled_from((10, 10, 10, 1, 5, 0, -1))
"""From one block number to the next; those that do not rise are warned of, no more."""


@st.composite
def legal_programs(draw: st.DrawFn, post: str) -> str:
    """Draw a program with which nothing is wrong.

    Whether there is a start, an end and lines after it is drawn as well: their lack is no
    matter of words or motion.
    """
    grammar = GRAMMARS[post]
    return _text(draw, grammar, _legal_lines(draw, grammar))


def _legal_lines(draw: st.DrawFn, grammar: Grammar) -> list[list[Atom]]:
    blocks: list[list[Atom]] = []
    known = False
    if draw(_ONE_IN_TWO):
        blocks.append([(draw(st.sampled_from(grammar.modes[0])),)])
    for _ in range(draw(st.integers(1, 9))):
        # Programs repeat their blocks, and the reader keeps what it has read.
        again = blocks and draw(_SOME) == 3
        new = draw(st.sampled_from(blocks)) if again else _block(draw, grammar, known)
        blocks.append(_with_few_m_words(new, grammar.m_words))
        known = known or any(w in _MOTIONS for atom in blocks[-1] for w in atom)
    if draw(st.integers(0, 5)):
        blocks.append(_with_few_m_words(_end(draw, grammar), grammar.m_words))
        after = draw(_SOME)
        blocks += [_block(draw, grammar, known) for _ in range(after if after > 1 else 0)]
    return blocks


def _text(
    draw: st.DrawFn,
    grammar: Grammar,
    blocks: list[list[Atom]],
    slip: Callable[[list[str]], None] | None = None,
) -> str:
    """Write blocks, between the lines before and after them, as a drawn spelling has it."""
    how = draw(_SPELLINGS)
    scribe = _Scribe(grammar, how, draw(_SEEDS))
    step = draw(_STEPS)
    number = 5000 if step < 0 else draw(st.sampled_from((0, 1, 10, grammar.highest - 200)))
    lines = []
    moving = False
    for atoms in blocks:
        # Skipped or not, a motion word is in force before an axis word comes alone.
        states = not moving and any(w in _MOTIONS for atom in atoms for w in atom)
        lines.append(scribe.line(number, atoms, skippable=not states))
        moving = moving or states
        number += step
    if slip is not None:
        slip(lines)
    if how.blank:
        lines = [one for line in lines for one in (scribe.gap(), line)[scribe.chance(50) :]]
    frame = draw(st.integers(0, 9))
    start = [] if frame == 9 else [scribe.frame(line) for line in grammar.start]
    end = [] if frame >= 8 else list(grammar.end)
    if end and frame == 1:
        end.append("(LEFT OVER) G00 X5.")
    return how.ends.join([*start, *lines, *end]) + (how.ends if frame % 2 else "")


# -- slips -----------------------------------------------------------------------------

_INSERTED = (
    *("G02", "G33", "M07", "M3.", "G01.5", "G999", "Q1", "Y1.", "R5.", "D1", "I0", "O5"),
    *("G00", "G01", "G04", "G90", "G91", "G20", "G70", "G94", "G28", "G50", "G43", "G49"),
    *("M03", "M05", "M08", "M09", "M00", "M30", "M06", "T0505", "T5", "T505", "S50", "S-5", "S1."),
    *("X1.", "X1", "Z-2.", "U1.", "W1.", "F.1", "F1", "F-1.", "P100", "P1.5", "P-1", "H1", "H1.5"),
    *("N5", "N1.5", "N-1", "(", ")", "((A) B)", "(A", "A)", "(A)", "/", "%", ";", ":", "*", "#"),
    *("X", "G", "M", "-", "+", "--", ".", ",", "=", "E3", "1", "0", "O", " ", "  ", "\t"),
    *("G01 G00", "G04 X1. P1", "G28 U0", "M05 M09", "G90 G91", "X1. Z1. F.1", " " * 90),
)
_SLIPS = st.sampled_from([*(("insert", text) for text in _INSERTED), *[("delete", "")] * 20])
_PLACES = st.integers(0, 60)


def _slipped(lines: list[str], at: int, place: int, slip: tuple[str, str]) -> None:
    """Put one slip into a line: something more at some place, or a character less."""
    at %= len(lines)
    line = lines[at]
    place = min(place, len(line))
    kind, text = slip
    lines[at] = line[:place] + text + line[place + (kind == "delete") :]


@st.composite
def slipped_programs(draw: st.DrawFn, post: str) -> str:
    """Draw a program with a few slips; now and then they do no harm."""
    grammar = GRAMMARS[post]
    blocks = _legal_lines(draw, grammar)
    slips = draw(st.lists(st.tuples(st.integers(0, 9), _PLACES, _SLIPS), min_size=1, max_size=3))

    def slip(lines: list[str]) -> None:
        for one in slips:
            _slipped(lines, *one)

    return _text(draw, grammar, blocks, slip)
