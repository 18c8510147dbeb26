"""Mutations of texts: words, numbers, lines and bytes, from good to hostile."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Sequence

from tests.long.fuzz.hits import Target

NUMBERS = (
    b"0", b"-0", b"-0.0", b"1", b"-1", b"2", b"0.5", b"1e-9", b"1e-300", b"5e-324", b"1e9",
    b"1e15", b"1e300", b"1e400", b"-1e400", b"nan", b"inf", b"-inf", b"9999", b"10000",
    b"2147483648", b"9007199254740993", b"18446744073709551616", b"10**10**10", b"0x7f",
    b"0b1", b"1_000", b"1,5", b"1/0", b"3/8", b".5", b"5.", b"+5", b"--5", b"1e", b"007",
    b"9" * 40, b"9" * 320, b"9" * 5000, b"0x" + b"f" * 5000, b"0." + b"0" * 400 + b"1",
)  # fmt: skip

ODD = tuple(
    text.encode("utf-8", "surrogatepass")
    for text in (
        "\0", "\x1b[2J", "\x1b]0;x\x07", "\r", "\x0b", "\x0c", "\x85", "\u2028", "\u202e",
        "\u2066", "\u200b", "\ufeff", "\ud800", "\udc80", "\ue000", "\uffff", "\U000e0001",
        "\U0010ffff", "\u0378", "µ", "°", "×", "½", "²", "٣", "１", "ß", "İ", "é", "e\u0301",
        "\u0301" * 50, "🙂", "−", "–", "″", "，", "．", "\u00a0", "\u3000", "\x7f", "\ufdfa",
    )
)  # fmt: skip

SIGNS = tuple(bytes([c]) for c in b"\"'[]{}()<>=,;:.#%/\\|&*+-_ \t\n\r\0!?@$^~`")

_TOKEN = re.compile(rb"[+-]?\d+(?:\.\d*)?(?:e[+-]?\d+)?|[A-Za-z_]+|\"[^\"\n]*\"|\s+|.", re.DOTALL)
_NUMBER = re.compile(rb"[+-]?\d+(?:\.\d*)?|[+-]?\.\d+")

Change = Callable[[bytes, random.Random, Target, Sequence[bytes]], bytes]


def mutated(data: bytes, rng: random.Random, target: Target, others: Sequence[bytes]) -> bytes:
    """Return an input with some changes in it.

    Args:
        data: The input to begin with.
        rng: Where chance comes from.
        target: Whose words and lines may come in, and whose largest input it may be.
        others: Inputs of which a part may come in.
    """
    for _ in range(rng.choice((1, 1, 1, 2, 2, 3, 5, 9))):
        data = rng.choice(_CHANGES)(data, rng, target, others)[: target.largest]
    return data


def a_number(rng: random.Random) -> bytes:
    """Return a number: half of them as people write them, of any size, half hostile."""
    if rng.random() < 0.5:
        return rng.choice(NUMBERS)
    value = 10 ** rng.uniform(-3.0, 4.5) * rng.choice((1, 1, 1, 1, 1, -1))
    return f"{value:.{rng.randint(0, 4)}f}".encode()


def _another_number(data: bytes, rng: random.Random, _: Target, __: Sequence[bytes]) -> bytes:
    found = list(_NUMBER.finditer(data))
    if not found:
        return data + a_number(rng)
    one = rng.choice(found)
    text = a_number(rng)
    if rng.random() < 0.4:
        text = _nearby(one[0], rng)
    return data[: one.start()] + text + data[one.end() :]


def _nearby(number: bytes, rng: random.Random) -> bytes:
    """Return a number with a digit more, less or changed, or its sign."""
    if rng.random() < 0.2:
        return number[1:] if number[:1] in b"+-" else b"-" + number
    at = rng.randrange(len(number) + 1)
    digit = str(rng.randrange(10)).encode()
    return number[:at] + digit + number[at + rng.choice((0, 1, 1, 2)) :]


def _another_word(data: bytes, rng: random.Random, target: Target, _: Sequence[bytes]) -> bytes:
    found = [m for m in _TOKEN.finditer(data) if not m[0].isspace()]
    pool = target.words or SIGNS
    word = rng.choice(pool if rng.random() < 0.7 else ODD + SIGNS + NUMBERS)
    if not found:
        return data + word
    one = rng.choice(found)
    end = one.end() if rng.random() < 0.6 else one.start()
    return data[: one.start()] + word + data[end:]


def _words_change_places(data: bytes, rng: random.Random, _: Target, __: Sequence[bytes]) -> bytes:
    tokens = _TOKEN.findall(data[:20_000])
    if len(tokens) < 2:
        return data
    a, b = rng.randrange(len(tokens)), rng.randrange(len(tokens))
    tokens[a], tokens[b] = tokens[b], tokens[a]
    return b"".join(tokens) + data[20_000:]


def _set_line(data: bytes, rng: random.Random, target: Target, _: Sequence[bytes]) -> bytes:
    """Put a line of the target's in, in the place of one that begins alike."""
    if not target.lines:
        return data
    line = rng.choice(target.lines)
    key = re.split(rb"[ =,]", line, maxsplit=1)[0]
    lines = data.split(b"\n")
    same = [i for i, old in enumerate(lines) if key and old.startswith(key)]
    if same:
        lines[rng.choice(same)] = line
    else:
        lines.insert(rng.randrange(len(lines) + 1), line)
    return b"\n".join(lines)


def _lines_change(data: bytes, rng: random.Random, _: Target, others: Sequence[bytes]) -> bytes:
    lines = data.split(b"\n")
    at = rng.randrange(len(lines))
    what = rng.randrange(6)
    if what == 0:
        del lines[at]
    elif what == 1:
        lines.insert(rng.randrange(len(lines) + 1), lines[at])
    elif what == 2:
        lines[at:at] = [lines[at]] * rng.choice((3, 30, 300))
    elif what == 3:
        other = rng.randrange(len(lines))
        lines[at], lines[other] = lines[other], lines[at]
    elif what == 4:
        lines.insert(at, rng.choice(rng.choice(others).split(b"\n")))
    else:
        del lines[at : at + rng.randrange(1, 8)]
    return b"\n".join(lines)


def _bytes_change(data: bytes, rng: random.Random, _: Target, __: Sequence[bytes]) -> bytes:
    at = rng.randrange(len(data) + 1)
    what = rng.randrange(5)
    if what == 0:
        return data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]
    if what == 1:
        return data[:at] + rng.randbytes(rng.choice((1, 2, 8))) + data[at:]
    if what == 2:
        return data[:at] + data[at + rng.choice((1, 2, 8, 64)) :]
    if what == 3:
        return data[:at]
    return data[:at] + rng.choice(ODD) + data[at:]


def _much_of_it(data: bytes, rng: random.Random, target: Target, _: Sequence[bytes]) -> bytes:
    """Repeat a piece until it is long, or nest brackets deeply."""
    at = rng.randrange(len(data) + 1)
    many = rng.choice((10, 100, 1000, 10_000, target.largest))
    if rng.random() < 0.3:
        pair = rng.choice((b"[]", b"{}", b"()", b"<>", b'""', b"a.", b"[[", b"{%"))
        return data[:at] + pair[:1] * many + pair[1:] * many + data[at:]
    piece = data[at : at + rng.choice((1, 1, 2, 5, 20))]
    return data[:at] + piece * min(many, target.largest // max(1, len(piece))) + data[at:]


def _splice(data: bytes, rng: random.Random, _: Target, others: Sequence[bytes]) -> bytes:
    other = rng.choice(others)
    begin = rng.randrange(len(other) + 1)
    return data[: rng.randrange(len(data) + 1)] + other[begin:]


_CHANGES: Sequence[Change] = (
    *[_another_number] * 4,
    *[_another_word] * 4,
    *[_set_line] * 4,
    *[_lines_change] * 2,
    *[_bytes_change] * 2,
    _words_change_places,
    _much_of_it,
    _splice,
)
