"""Text made safe, cut, and spelled in ASCII."""

from __future__ import annotations

import pytest

from knurlcam.text import MOST_CHARACTERS, SIGNS, cut, harmless, in_ascii, joined, plain, shortened


def test_what_steers_a_terminal_is_shown_as_an_escape() -> None:
    assert harmless("knob \x1b[2J\u202e") == "knob \\x1b[2J\\u202e"


@pytest.mark.parametrize(("text", "limit", "shown"), [("knob", 4, "knob"), ("knobs", 4, "k...")])
def test_a_text_is_cut_to_its_limit(text: str, limit: int, shown: str) -> None:
    assert cut(text, limit) == shown


def test_a_long_text_with_escapes_is_cut_first() -> None:
    assert plain("\x1b" * 50, 10) == "\\x1b" * 7 + "..."


def test_a_number_of_thousands_of_digits_is_named_by_its_type() -> None:
    assert shortened(10**5000) == "a int too large to be shown"


def test_many_lines_are_counted_where_they_do_not_fit() -> None:
    shown = joined("x" * 1000 for _ in range(10))
    assert shown.endswith("\n... and 7 more")
    assert len(shown) < MOST_CHARACTERS


@pytest.mark.parametrize(
    ("text", "spelled"),
    [
        ("Größe 5 µm", "Grosse 5 um"),
        ("GRÖSSE ÆØŁ", "GROSSE AEOL"),
        ("25 × 30 − ½", "25 x 30 - 1/2"),
        ("滚花", "滚花"),
    ],
)
def test_letters_and_signs_are_spelled_in_ascii_where_they_can_be(text: str, spelled: str) -> None:
    assert in_ascii(text, SIGNS) == spelled


def test_a_sign_of_the_callers_own_goes_before_the_letters() -> None:
    assert in_ascii("Ölkanne", {"Ö": "Oe"}) == "Oelkanne"
