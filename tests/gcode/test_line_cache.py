"""Lines that come again mean what they meant."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knurlcam import read_program
from tests.support.reading import HEADS, each_post, read


@each_post
def test_a_line_means_the_same_wherever_and_in_whatever_units_it_comes_again(post: str) -> None:
    number = "1000" if post == "iso6983-integer" else "1.0"
    block = f"G01 X{number} Z-{number} F{number}"
    inch = {"G71": "G70", "G21": "G20"}
    text = f"S100 M03\n{block}\n(A)\n{block}\n"
    first = read(text, post)
    head = HEADS[post]
    for metric, imperial in inch.items():
        head = head.replace(metric, imperial)
    other = read_program(head + "\n(A)\n" + text, post)
    again = read(text, post)
    assert (again.blocks, again.events, again.problems) == (
        first.blocks,
        first.events,
        first.problems,
    )
    lines = (HEADS[post] + text).splitlines()
    assert [lines[b.line - 1] for b in again.blocks] == [b.text for b in again.blocks] == lines
    moves = zip(first.moves, other.moves, strict=True)
    scale = 2.54 if post == "iso6983-integer" else 25.4  # 0.0001 inch to 0.001 mm
    for one, two in moves:
        assert (two.x1, two.z1) == (pytest.approx(one.x1 * scale), pytest.approx(one.z1 * scale))
        assert two.state.feed == pytest.approx(one.state.feed * scale)


@pytest.mark.few(2)
@each_post
@given(
    st.sampled_from(["G00", "G1", "G01", "G2", "G001", "M03", "G04"]),
    st.dictionaries(
        st.sampled_from("XZF"),
        st.sampled_from(["1.5", "-2.", ".5", "+3", "12", "-0", "1.2.3", "", "-"]),
    ),
    st.sampled_from(["", "N10 ", "N0 ", "N99999 "]),
)
def test_a_block_means_the_same_however_its_words_are_spaced(
    post: str, code: str, values: dict[str, str], number: str
) -> None:
    words = "".join(f" {letter}{values[letter]}" for letter in "XZF" if letter in values)
    written = [f"{number}{code}{words}", f" {number}  {code} {words.lower()} "]
    as_written, otherwise = (read(f"G00 X1. Z1.\n{text}\n", post) for text in written)
    assert list(map(told, as_written.events)) == list(map(told, otherwise.events))
    assert [b.words for b in as_written.blocks] == [b.words for b in otherwise.blocks]
    assert [b.number for b in as_written.blocks] == [b.number for b in otherwise.blocks]
    assert [p.code for p in as_written.problems] == [p.code for p in otherwise.problems]


def told(event: Any) -> tuple[Any, ...]:
    """Return an event without its block, whose text is another."""
    return (type(event), *(getattr(event, f) for f in event.__slots__ if f != "block"))
