"""The lines before the first block and after the last."""

from __future__ import annotations

import pytest

from knurlcam import InputError, read_program
from tests.support.reading import read


@pytest.mark.parametrize(
    ("post", "text", "starts", "number", "closed"),
    [
        ("iso6983", "%1201\nM30", 1, 1201, True),
        ("iso6983", "% 12 01\nM30", 1, 1201, True),
        ("iso6983", "M30", 0, None, True),
        ("rs274", "%\nM30\n%", 1, None, True),
        ("rs274", "%\nM30", 1, None, False),  # 3.1: a first percent sign wants a last one
        ("uw-lathe", "%\nO0007\nM30\n%", 2, 7, True),
        ("uw-lathe", "%\no7\nM30\n%", 2, 7, True),
        ("uw-lathe", "%\nM30\n%", 1, None, True),
        ("uw-lathe", "O0007\nM30", 1, 7, False),
        ("uw-lathe", "", 0, None, False),
    ],
)
def test_start_lines_number_and_end_lines_are_found(
    post: str, text: str, starts: int, number: int | None, closed: bool
) -> None:
    motion = read_program(text, post)
    assert (motion.starts, motion.number, motion.closed) == (starts, number, closed)


@pytest.mark.parametrize(
    ("post", "start"), [("iso6983", "%12 (KNOB 7)"), ("uw-lathe", "%\no0012(KNOB 7)\t( A )")]
)
def test_a_comment_may_stand_behind_the_programs_number(post: str, start: str) -> None:
    motion = read_program(start + "\nM30\n%", post)
    assert (motion.number, motion.starts) == (12, start.count("\n") + 1)
    assert next(motion.comments).startswith("KNOB 7")
    assert [p.code for p in motion.problems if p.severity == "error"] == []


@pytest.mark.parametrize(
    "start",
    [
        *("(A) %12", "%12 (A", "%12 ((A) B)", "%1(A)2", "%12 (A\x07)", "%12 (" + "A" * 99 + ")"),
        "%\N{FULLWIDTH DIGIT ONE}2",
    ],
)
def test_a_number_with_anything_else_on_its_line_is_no_start(start: str) -> None:
    motion = read_program(start + "\nM30", "iso6983")
    assert (motion.number, motion.starts) == (None, 0)
    assert motion.problems


@pytest.mark.parametrize(
    ("post", "text"),
    [("iso6983", "(KNOB 7)\n( A )\n%12\nM30"), ("uw-lathe", "(KNOB 7)\n( A )\n%\nO12\nM30\n%")],
)
def test_comments_before_the_start_are_passed_over(post: str, text: str) -> None:
    motion = read_program(text, post)
    assert (motion.number, motion.leader, motion.closed) == (12, 2, True)
    assert list(motion.comments) == ["KNOB 7", " A "]
    assert motion.problems == []


@pytest.mark.parametrize(
    ("post", "text"),
    [
        ("iso6983", "(A)\nM30"),
        ("iso6983", "(A) G71\n%12\nM30"),
        ("iso6983", "G71\n%12\nM30"),
        ("iso6983", "(A\n%12\nM30"),
        ("uw-lathe", "(A)\n%\nM30\n%"),
        ("rs274", "(A)\n%\nM30\n%"),  # 3.1: nothing but blank lines may stand before it
    ],
)
def test_anything_else_before_the_start_leaves_the_program_without_one(
    post: str, text: str
) -> None:
    motion = read_program(text, post)
    assert (motion.starts, motion.leader) == (0, 0)


def test_what_stands_after_the_end_is_warned_of_once_and_not_run() -> None:
    motion = read("M30\nG00 X1.0\n(a remark)\n", "iso6983")
    assert [(p.code, p.severity, p.block.line) for p in motion.problems] == [
        ("after-the-end", "warning", 4),
    ]
    assert motion.moves == []


def test_what_stands_after_the_closing_mark_is_no_error() -> None:
    motion = read_program("%\nM30\n%\nG00 X1.0\n%1234\n", "rs274")
    assert [(p.code, p.block.line) for p in motion.problems] == [("after-the-end", 4)]
    assert motion.closed


def test_an_empty_text_is_read_as_nothing() -> None:
    motion = read_program("", "rs274")
    assert (motion.blocks, motion.events, motion.problems) == ([], [], [])


def test_an_unknown_dialect_is_the_only_thing_that_raises() -> None:
    with pytest.raises(InputError, match="unknown dialect"):
        read_program("%", "rs275")
