"""Texts are broken where they may be, and lose no letter by it."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam.drawing.lettering import text_width, wrapped, writable

WORDS = st.lists(st.text("abcdefgh0123±.", min_size=1, max_size=30), min_size=1, max_size=12)


@settings(max_examples=40)
@given(WORDS, st.floats(60.0, 400.0))
def test_no_line_is_wider_than_allowed_and_no_letter_is_lost(
    words: list[str], width: float
) -> None:
    text = " ".join(words)
    lines = wrapped(text, 17.0, width)
    assert all(text_width(line, 17.0) <= width for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_a_number_keeps_its_unit_and_its_sign() -> None:
    width = text_width("handbook 0.034", 17.0)
    assert wrapped("handbook 0.034 mm", 17.0, width) == ["handbook", "0.034 mm"]
    assert wrapped("handbook ± 0.03", 17.0, width) == ["handbook", "± 0.03"]


def test_an_empty_text_is_one_empty_line() -> None:
    assert wrapped("", 17.0, 100.0) == [""]


@given(st.text())
def test_any_text_is_spelt_in_letters_that_the_typeface_has(text: str) -> None:
    assert all(c.isascii() or c in "°±·…" for c in writable(text))


def test_signs_of_the_trade_are_spelt_out() -> None:
    assert writable("Ø25 × 0,5 ≤ 30°") == "dia. 25 x 0,5 <= 30°"
