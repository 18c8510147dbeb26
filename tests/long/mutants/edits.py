"""Every kind of edit: edits of a good text, one at a time, in pairs and in threes."""

from __future__ import annotations

import math
import random
import re
from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import NamedTuple

from knurlcam.plan.model import Plan
from tests.long.mutants.control import changes
from tests.long.mutants.programs import NAMES, Program, job_of, plan_of, text_of
from tests.long.mutants.standing import standing_changes
from tests.support.naive import G_WORDS, NIST

# == the tables ==========================================================================

EXCHANGED = [
    ("G00", "G01"), ("M03", "M04"), ("M03", "M05"), ("M04", "M05"), ("M08", "M09"),
    ("G71", "G70"), ("G21", "G20"), ("G90", "G91"), ("G95", "G94"), ("G99", "G98"),
    ("G97", "G96"), ("G43", "G49"), ("G04", "G01"), ("M30", "M00"), ("M30", "M02"),
    ("M01", "M00"), ("M06", "M05"), ("G50", "G97"), ("G28", "G00"), ("M99", "M30"),
    ("M99", "M02"), ("M99", "M00"),
]  # fmt: skip
"""Words taken for each other, either way."""

NO_PLACE_HERE = {
    "G00": ["G02", "G53", "G60"], "G01": ["G02", "G03", "G33", "G32", "G76"],
    "G04": ["G05", "G40"], "M08": ["M07", "M10", "M18"], "M03": ["M13", "M19"],
    "M05": ["M15", "M55"], "M30": ["M60", "M98"], "G97": ["G92", "G07"],
}  # fmt: skip
"""Words replaced by codes that have no place in the program of a knurl."""

_DWELLS = {
    "iso6983": ("G04 X0.5", "G04 X9.0"),
    **dict.fromkeys(NIST, ("G04 P0.5", "G04 P9")),
}
"""A short and a long dwell; in milliseconds elsewhere."""

UNKNOWN_BLOCKS = (
    "G02 X30.0 Z-10.0 R5.0", "G03 X30.0 Z-10.0 I5.0 K0.0", "G33 Z-20.0 K1.0", "G41", "G42",
    "G92 X0.0 Z0.0", "G92 S500", "G10", "G53", "G54", "G80", "G83 Z-5.0", "G65 P100",
    "M98 P1201", "M98", "M07", "M10", "M12", "M17", "M19", "O0002", "O1201", ":12", "#1=5",
    "$", "E1", "L3", "GOTO 10", "X", "G", "M", "T", "N", "G1.5", "M3.5", "M-3", "G-1", "X=5",
    "X[5]", "IF", "!", "?", "X20.0Y", "%", "%1201", "G04",
)  # fmt: skip
"""Blocks of which nobody knows what they make here."""

UNKNOWN_WORDS = (
    "I1.0", "J1.0", "K1.0", "R1.0", "Q1.0", "E1.0", "A1.0", "B1.0", "C1.0", "D1", "L2", "V1.0",
    "Y1.0", "O7", "G41", "G02", "G54", "G92", "M07", "M10", "M98", "P5", "H5", "N5", "*", ";",
)  # fmt: skip
"""Words added to a block."""

LOOKALIKES = {
    "S": "ſＳЅ", "I": "ı", "X": "ХΧＸ", "G": "Ｇ", "M": "МΜＭ", "T": "ТΤＴ", "Z": "ΖＺ",
    "F": "Ｆ", "P": "РΡＰ", "H": "НΗＨ", "U": "Ｕ", "W": "ＷԜ", "N": "ΝＮ", ".": "．。٫",
    "-": "−–－", "0": "０٠", "1": "１١", "2": "２²", "3": "３٣", "5": "５٥", "8": "８",
}  # fmt: skip
"""Letters and figures that look like those of words, or that upper case makes into them."""

UNREADABLE = (
    "\x00", "\x07", "\x08", "\x0b", "\x0c", "\x1a", "\x1b", "\x1c", "\x1e", "\x7f", "\x85",
    "\u00ad", "\u200b", "\u200d", "\u200e", "\u2028", "\u2029", "\u202a", "\u202e", "\u2066",
    "\u2069", "\ufeff",
)  # fmt: skip
"""Characters that show as nothing, turn the line round, or end it for some programs only."""

INCREMENTS = (
    "G28", "G28 U0.0", "G28 W0.0", "G28 U0.0 W0.0", "G28 U-30.0", "G28 W-20.0", "G28 X30.0",
    "G28 Z-5.0", "G00 U0.0", "G00 U-80.0", "G00 U40.0", "G00 W-15.0", "G00 W15.0", "G01 U-0.1",
    "G01 U0.1", "G01 W-0.5", "G01 W0.5", "G01 U0.002", "U0.0 X30.0", "W0.0 U0.0",
)  # fmt: skip
"""Blocks with words that only one dialect has."""

STRANGE_SPACES = ("\u00a0", "\u2003", "\u3000", "\u202f")

# == edits ===============================================================================


class Edit(NamedTuple):
    """Some lines of a text replaced by others."""

    kind: str
    at: int
    taken: int
    new: tuple[str, ...]


class Mutant(NamedTuple):
    """A spoilt text; *line* is where it begins to differ, from 1."""

    kind: str
    line: int
    text: str


PAIRS, THREES = 0.25, 0.03
"""Shares of the mutants with two edits and with three, of which one may hide another."""

TRIES = 5
"""Groups drawn at the most for each that is wanted: edits that overlap make none."""

NEAR = 4
"""Lines between the edits of every other pair."""

SYSTEMATIC = ("block deleted", "block duplicated", "blocks swapped", "cut off")
"""Kinds of which every one is tried, of the lines that are looked at."""

EDITS_OF_A_LINE = 30
"""So many are made of a line at the least: no more lines are looked at than it takes."""


def mutants(program: Program, rng: random.Random, most: int) -> list[Mutant]:
    """Make at most so many mutants of a program, alike many of each kind as far as there are."""
    lines = text_of(program).splitlines()
    looked_at = min(len(lines), math.ceil(most / EDITS_OF_A_LINE))
    points = *changes(program, lines), *standing_changes(program, lines)
    edits = [*_whole(lines, program, rng), *(Edit(*c) for c in points)]
    for i in sorted(rng.sample(range(len(lines)), looked_at)):
        edits += _edits(lines, i, program, rng)
    if program.form == "section":  # what stands before one is another concern
        edits = [edit for edit in edits if edit.at or edit.taken]
    several = [
        *_together(edits, 2, int(most * PAIRS), rng),
        *_together(edits, 3, int(most * THREES), rng),
    ]
    chosen = [(edit,) for edit in _drawn(edits, most - len(several), rng)]
    return [_applied(lines, group) for group in (*chosen, *several)]


def _drawn(edits: list[Edit], most: int, rng: random.Random) -> list[Edit]:
    """Draw from each kind, the same number where there are as many; the systematic ones whole."""
    if len(edits) <= most:
        return edits
    kinds: dict[str, list[Edit]] = {}
    for edit in edits:
        kinds.setdefault(edit.kind, []).append(edit)
    drawn: list[Edit] = []
    systematic = [edit for kind in SYSTEMATIC for edit in kinds.get(kind, ())]
    if len(systematic) < most / 3:
        drawn = systematic
        kinds = {kind: found for kind, found in kinds.items() if kind not in SYSTEMATIC}
    ordered = sorted(kinds.values(), key=lambda of_kind: (len(of_kind), rng.random()))
    for i, of_kind in enumerate(ordered):
        share = (most - len(drawn)) / (len(ordered) - i)
        count = int(share) + (rng.random() < share % 1)
        drawn += rng.sample(of_kind, min(count, len(of_kind)))
    return drawn


def _together(
    edits: list[Edit], count: int, wanted: int, rng: random.Random
) -> Iterator[tuple[Edit, ...]]:
    """Draw groups of edits that do not overlap, every other one close together."""
    single = [edit for edit in edits if edit.taken <= 2 and not edit.kind.startswith("cut")]
    by_line: dict[int, list[Edit]] = {}
    for edit in single:
        by_line.setdefault(edit.at, []).append(edit)
    found = 0
    for i in range(TRIES * wanted):
        if found == wanted:
            return
        first = rng.choice(single)
        near = [line for line in by_line if abs(line - first.at) <= NEAR]
        pools = [by_line[rng.choice(near)] if i % 2 else single for _ in range(count - 1)]
        group = sorted([first, *map(rng.choice, pools)], key=lambda edit: edit.at)
        if all(a.at + max(a.taken, 1) <= b.at for a, b in pairwise(group)):
            found += 1
            yield tuple(group)


def _applied(lines: list[str], group: tuple[Edit, ...]) -> Mutant:
    new = list(lines)
    for edit in reversed(group):
        new[edit.at : edit.at + edit.taken] = edit.new
    kind = {1: group[0].kind, 2: "two edits", 3: "three edits"}[len(group)]
    return Mutant(kind, group[0].at + 1, "\n".join(new) + "\n")


# == edits of one line ===================================================================


def _edits(lines: list[str], i: int, program: Program, rng: random.Random) -> Iterator[Edit]:
    """Make every edit of one line; digits and characters are drawn."""
    line, last = lines[i], i + 1 == len(lines)
    yield Edit("block deleted", i, 1, ())
    yield Edit("block duplicated", i, 0, (line,))
    if not last:
        yield Edit("blocks swapped", i, 2, (lines[i + 1], line))
    other = rng.randrange(len(lines))
    if abs(other - i) > 1:
        low, high = sorted((i, other))
        between = lines[low + 1 : high]
        new = (lines[high], *between, lines[low])
        yield Edit("blocks swapped far apart", low, high - low + 1, new)
    yield Edit("cut off", i, len(lines) - i, ())
    for at in {rng.randrange(len(line)) for _ in range(2)}:
        yield Edit("cut off in a line", i, len(lines) - i, (line[:at],))
    for kind, new_line in _line_edits(line, program, rng):
        yield Edit(kind, i, 1, (new_line,))
    if line.startswith(("(", "%", "O")):
        return
    for kind, new_lines in _inserted(program):
        yield Edit(kind, i, 0, new_lines)
    yield from _with_a_neighbour(lines, i)
    yield from _redundant(lines, i, program.post)


def _line_edits(line: str, program: Program, rng: random.Random) -> Iterator[tuple[str, str]]:
    at = rng.randrange(len(line) + 1)
    yield "unreadable character", line[:at] + rng.choice(UNREADABLE) + line[at:]
    if line.startswith("("):
        yield from _comment_edits(line, rng)
    elif line.startswith(("%", "O")):
        yield from _frame_edits(line)
    else:
        yield from _block_edits(line, rng)


def _comment_edits(line: str, rng: random.Random) -> Iterator[tuple[str, str]]:
    yield "comment changed", "(SOMETHING ELSE)"
    yield "comment changed", line.lower()
    yield "comment changed", "(Ü 漢字 ø)"
    yield "comment changed", "()"
    yield "comment unclosed", line[:-1]
    yield "comment not opened", line[1:]
    yield "comment nested", f"({line})"
    yield "words behind a comment", f"{line} M05"
    yield "words behind a comment", f"{line} G00 X20.0"
    for mark in ("\x0c", "\x85", "\u2028", "\u2029"):
        yield "words hidden in a comment", f"({line[1:4]}{mark}G00 X20.0)"
    if line.startswith("(JOB "):
        yield "identity of another job", f"(JOB {job_of(rng.choice(NAMES)).identity})"
        for place in range(5, len(line) - 1):
            digit = rng.choice([d for d in "0123456789ABCDEF" if d != line[place]])
            yield "identity with an edit", line[:place] + digit + line[place + 1 :]


def _frame_edits(line: str) -> Iterator[tuple[str, str]]:
    yield "start or end changed", line.lower() + " "
    yield "start or end changed", line + "1"
    yield "start or end changed", line[:-1]
    yield "start or end changed", line + " X0.0"
    yield "start or end changed", ":" + line[1:]
    if line[1:]:
        yield "start or end changed", f"{line[0]}{int(line[1:]) + 1:0{len(line) - 1}d}"


def _block_edits(line: str, rng: random.Random) -> Iterator[tuple[str, str]]:
    yield "spacing", "  " + line.replace(" ", "  ")
    yield "spacing", line.replace(" ", "\t") + " "
    yield "spacing", line.replace(" ", "")
    yield "lower case", line.lower()
    yield "comment added", line + " (PROVED)"
    yield "comment added", line.replace(" ", " (HERE) ", 1)
    yield "slash before a block", "/" + line
    yield "slash elsewhere", line + "/"
    yield "line too long", line + " (" + "-" * 300 + ")"
    if " " in line:
        yield "strange space", line.replace(" ", rng.choice(STRANGE_SPACES), 1)
    for added in UNKNOWN_WORDS:
        yield "unknown word added", f"{line} {added}"
    words = list(re.finditer(r"([A-Z])([+-]?)([\d.]+)", line))
    for word in words:
        for kind, new in _word_edits(word[1], word[2], word[3], rng):
            yield kind, line[: word.start()] + new + line[word.end() :]
        if "G04" in line and word[1] in "XP":
            for figure in _other_values(word[1], word[3]):
                yield "dwell changed", line[: word.start()] + word[1] + figure + line[word.end() :]
    if len(words) > 2 and words[0][1] == "N":
        body = line.split()
        yield "words in another order", " ".join([body[0], *reversed(body[1:])])
    for one, other in pairwise(words):
        if not {one[1], other[1]} & set("NGM"):
            both = f"{one[1]}{other[2]}{other[3]} {other[1]}{one[2]}{one[3]}"
            exchanged = line[: one.start()] + both + line[other.end() :]
            yield "values exchanged in a block", exchanged


def _word_edits(
    letter: str, sign: str, figure: str, rng: random.Random
) -> Iterator[tuple[str, str]]:
    word = letter + sign + figure
    for place in {rng.randrange(len(word)), 0}:
        if word[place] in LOOKALIKES:
            new = rng.choice(LOOKALIKES[word[place]])
            yield "look-alike character", word[:place] + new + word[place + 1 :]
    if letter == "N":
        yield "block number changed", ""
        for number in ("0", "1", "5", "9999", "123456", "-10", "10.5", "0010"):
            yield "block number changed", f"N{number}"
        return
    yield "word dropped", ""
    yield "word twice", f"{word} {word}"
    for new in _number_forms(letter, sign, figure):
        yield "number form", new
    if letter in "XZUWFP" and float(figure):
        yield "sign flipped", f"{letter}{'' if sign else '-'}{figure}"
    if "." in figure:
        yield "point dropped", f"{letter}{sign}{figure.replace('.', '')}"
        yield "point moved", f"{letter}{sign}{_moved(figure, rng)}"
    if letter in "XZ":
        yield "axis exchanged", f"{'Z' if letter == 'X' else 'X'}{sign}{figure}"
        for by in (-300.0, 300.0, 1000.0):
            yield "absurd coordinate", letter + _added(sign + figure, by)
    if letter in "SFTH":
        for new in _other_values(letter, figure):
            yield f"{letter} changed", f"{letter}{sign}{new}"
    for place, digit in enumerate(figure):
        if digit != ".":
            other = rng.choice([d for d in "0123456789" if d != digit])
            yield "digit changed", f"{letter}{sign}{figure[:place]}{other}{figure[place + 1 :]}"
    for pair in EXCHANGED:
        for old, new in (pair, pair[::-1]):
            if word == old:
                yield "word exchanged", new
    for new in NO_PLACE_HERE.get(word, ()):
        yield "word without a place here", new


def _number_forms(letter: str, sign: str, figure: str) -> Iterator[str]:
    """The same figures, as some control or none would take them."""
    for form in ("+{}", "--{}", "+-{}", "0{}", "{}.", "{}E1", "={}", "[{}]", "{},0", "#{}", "{}%"):
        yield letter + form.format(sign + figure)
    yield letter
    yield f"{letter} {sign}{figure}"
    yield f"{letter}{sign}{figure[0]} {figure[1:]}"
    if "." in figure:
        yield f"{letter}{sign}{figure.replace('.', ',')}"
        yield f"{letter}{sign}{figure}00"
        yield f"{letter}{sign}{figure.rstrip('0')}"
        yield f"{letter}{sign}{figure.replace('.', '..')}"
    else:
        yield f"{letter}{sign}{figure}.0"
        yield f"{letter}{sign}{figure.lstrip('0') or '0'}"


def _moved(figure: str, rng: random.Random) -> str:
    whole, _, rest = figure.partition(".")
    return f"{whole}{rest[0]}.{rest[1:]}" if rng.random() < 0.5 else f"0.{whole}{rest}"


def _added(figure: str, by: float) -> str:
    """Add mm or inches, of least increments where there is no point."""
    if "." in figure:
        places = len(figure.partition(".")[2])
        return f"{float(figure) + by:.{places}f}"
    return str(round(float(figure) + by * 1000))


def _other_values(letter: str, figure: str) -> Iterator[str]:
    value = float(figure)
    if letter in "TH":
        yield str(int(value) + 1).zfill(len(figure))
        return
    for factor in (0.0, 0.1, 0.5, 0.9, 0.97, 1.03, 1.1, 2.0, 2.9, 3.1, 10.0):
        if "." in figure:
            places = len(figure.partition(".")[2])
            yield f"{value * factor:.{places}f}"
        else:
            yield str(round(value * factor))


# == edits that take in other lines ======================================================

_VALUE = re.compile(r"\b([XZUWFSTPH])([+-]?[\d.]+)")


def _blocks(lines: list[str]) -> list[int]:
    return [i for i, line in enumerate(lines) if not line.startswith(("(", "%", "O"))]


def _with_a_neighbour(lines: list[str], i: int) -> Iterator[Edit]:
    """Exchange values with the next block that has such a word; move words to the next block."""
    later = [j for j in _blocks(lines) if j > i]
    for word in _VALUE.finditer(lines[i]):
        for j in later:
            other = re.search(rf"\b{word[1]}([+-]?[\d.]+)", lines[j])
            if other and other[1] != word[2]:
                one = lines[i][: word.start(2)] + other[1] + lines[i][word.end(2) :]
                two = lines[j][: other.start(1)] + word[2] + lines[j][other.end(1) :]
                new = (one, *lines[i + 1 : j], two)
                yield Edit("values exchanged between blocks", i, j - i + 1, new)
                break
    for word in re.finditer(r" ?\b([A-MO-Z])[+-]?[\d.]+", lines[i]):
        rest = (lines[i][: word.start()] + lines[i][word.end() :]).strip()
        for j in later[:1]:
            new = (rest, *lines[i + 1 : j], f"{lines[j]} {word[0].strip()}")
            yield Edit("word moved to the next block", i, j - i + 1, new)


def _redundant(lines: list[str], i: int, post: str) -> Iterator[Edit]:
    """Say again what is in force: words of the modes, the feed, the place."""
    before = [lines[j] for j in _blocks(lines) if j < i]
    modes = next((line for line in before if "G71" in line or "G21" in line), "")
    for word in re.findall(r"G\d+", modes):
        yield Edit("redundant word added", i, 1, (f"{lines[i]} {word}",))
        yield Edit("redundant word added", i, 0, (word,))
    for letter in "FXZ":
        last = next((m for line in reversed(before) for m in [_last_value(line, letter)] if m), "")
        if last and not (letter == "X" and "G04" in lines[i]):
            yield Edit("redundant word added", i, 1, (f"{lines[i]} {last}",))


def _last_value(line: str, letter: str) -> str:
    if "G04" in line or "G28" in line:
        return ""
    match = re.search(rf"\b{letter}[+-]?[\d.]+", line)
    return match[0] if match else ""


def _whole(lines: list[str], program: Program, rng: random.Random) -> Iterator[Edit]:
    """Edits of the text as a whole."""

    def edit(kind: str, new: Iterable[str]) -> Edit:
        return Edit(kind, 0, len(lines), tuple(new))

    yield edit("line ends changed", (line + "\r" for line in lines))
    yield edit("blank lines added", (part for line in lines for part in (line, "", " ")))
    yield edit("comments dropped", (line for line in lines if not line.startswith("(")))
    yield Edit("text after the end", len(lines), 0, ("(THE END)",))
    yield Edit("text after the end", len(lines), 0, ("G00 X0.0",))
    for first, step in ((1, 1), (5, 5), (100, 10), (1, 300), (9000, 1), (9000, -10)):
        yield edit("renumbered", _numbered(lines, first, step))
    lean = _lean(lines)
    yield edit("modal words left out", lean)
    for i in rng.sample(_blocks(lines), min(12, len(_blocks(lines)))):
        words = list(re.finditer(r"([A-MO-Z])([+-]?)([\d.]+)", lean[i]))
        for word in words:
            head, tail = lean[i][: word.start()], lean[i][word.end() :]
            for kind, new in _word_edits(word[1], word[2], word[3], rng):
                if kind in ("word dropped", "word exchanged", "F changed", "S changed"):
                    changed = (head + new + tail).replace("  ", " ").strip()
                    yield edit(f"modal: {kind}", [*lean[:i], changed, *lean[i + 1 :]])


def _numbered(lines: list[str], first: int, step: int) -> list[str]:
    """Number all blocks anew."""
    new, number = list(lines), first
    for i in _blocks(lines):
        new[i] = f"N{number} " + re.sub(r"^N\d+ ", "", lines[i])
        number += step
    return new


def _lean(lines: list[str]) -> list[str]:
    """Leave out motion words and feeds that are in force already."""
    new, motion, feed = list(lines), "", ""
    for i in _blocks(lines):
        if "G04" in lines[i] or "G28" in lines[i]:
            continue
        for word in re.findall(r"G0[01]\b|F[\d.]+", lines[i]):
            if word in (motion, feed):
                new[i] = re.sub(rf"{re.escape(word)}(?![\d.]) ?", "", new[i]).strip()
            elif word[0] == "G":
                motion = word
            else:
                feed = word
    return new


# == blocks put in =======================================================================


def _inserted(program: Program) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Blocks put before another; some undo at once what they did."""
    post, plan = program.post, plan_of(program.name)
    yield "stop inserted", ("M00",)
    yield "stop inserted", ("M01",)
    yield "end inserted", ("M30",)
    yield "end inserted", ("M99",)
    for word in UNKNOWN_BLOCKS:
        yield "unknown block inserted", (word,)
    yield from _moves(program, plan)
    yield "dwell inserted", (_DWELLS.get(post, ("G04 P500", "G04 P9000"))[0],)
    yield "dwell inserted", (_DWELLS.get(post, ("G04 P500", "G04 P9000"))[1],)
    for word in ("M03", "M04", "M05", "M08", "M09", "S50", "S110", "S900", "S9000 M03", "M03 S0"):
        yield "spindle or coolant inserted", (word,)
    for word in (*G_WORDS[post], "G18 G40"):
        if word not in ("G00", "G01", "G04", "G43", "G28", "G50"):
            yield "mode word inserted", (word,)
    for word in ("S1 G50", "G50 S2000 X0.0", "G50 S2000", "G50 S90000", "G50", "G50 X0.0 Z0.0"):
        yield "speed limit inserted", (word,)
    yield "tool inserted", ("T6 M06" if post in NIST else "T0606",)
    for word in INCREMENTS if post == "uw-lathe" else INCREMENTS[1::5]:
        yield "increment or reference inserted", (word,)
    for pair in _moments(program, plan):
        yield "changed for a moment", pair


def _moves(program: Program, plan: Plan) -> Iterator[tuple[str, tuple[str, ...]]]:
    machine, tool = plan.job.machine, plan.job.tool
    first, deep = plan.passes[0], plan.passes[-1].x_diameter_mm
    end = -plan.job.part.length

    def block(code: str, axis: str, value: float) -> tuple[str, ...]:
        return (f"{code} {_word(program.post, plan.job.units == 'inch', axis, value)}",)

    for axis, value in (
        ("X", machine.safe_x), ("Z", machine.safe_z), ("X", plan.blank_diameter_mm),
        ("X", plan.clearance_x_mm), ("Z", first.z_start_mm), ("Z", end / 2),
    ):  # fmt: skip
        yield "rapid inserted", block("G00", axis, value)
    for axis, value in (
        ("X", plan.clearance_x_mm), ("X", deep), ("X", deep + 0.08), ("X", deep - 0.5),
        ("Z", (first.z_start_mm + first.z_end_mm) / 2), ("Z", first.z_end_mm - 0.1),
        ("Z", first.z_start_mm + 3 * tool.face_width),
    ):  # fmt: skip
        yield "feed inserted", block("G01", axis, value)
    for axis, value in (
        ("X", machine.safe_x + 500.0), ("X", -machine.safe_x), ("Z", machine.safe_z + 800.0),
        ("Z", end - tool.face_width - 30.0), ("Z", end - 900.0),
    ):  # fmt: skip
        yield "far position inserted", block("G00", axis, value)
        yield "far position inserted", block("G01", axis, value)


def _moments(program: Program, plan: Plan) -> Iterator[tuple[str, str]]:
    """Pairs of blocks of which the second takes back what the first set."""
    post, job = program.post, plan.job
    on, other = ("M03", "M04") if job.machine.spindle_direction == "forward" else ("M04", "M03")
    speed = f"S{plan.programmed_rpm}"
    station, offset = job.tool.station, job.tool.offset_number
    yield "M05", on
    yield other, on
    yield "M09", "M08"
    yield "M08", "M09"
    yield "S900", speed
    if post in NIST:
        yield f"T{station + 1} M06", f"T{station} M06"
        yield f"G43 H{offset + 1}", f"G43 H{offset}"
        yield "G49", f"G43 H{offset}"
    else:
        yield f"T{station + 1:02d}{offset:02d}", f"T{station:02d}{offset:02d}"
        yield f"T{station:02d}{offset + 1:02d}", f"T{station:02d}{offset:02d}"
        yield f"T{station:02d}00", f"T{station:02d}{offset:02d}"
        yield "G96 S100", f"G97 {speed}"
        yield "G96", "G97"
    codes = {code: word for word, code in G_WORDS[post].items()}
    inch = job.units == "inch"
    for wrong, right in (
        ("mm" if inch else "inch", "inch" if inch else "mm"),
        ("increments", "absolute"),
        ("a minute", "a turn"),
    ):
        if wrong in codes and right in codes:
            yield codes[wrong], codes[right]


def _word(post: str, inch: bool, axis: str, value: float) -> str:
    if post == "rs274" and axis == "X":
        value /= 2
    value = value / 25.4 if inch else value
    if post == "iso6983-integer":
        return f"{axis}{round(value * (10000 if inch else 1000))}"
    return f"{axis}{value:.4f}"
