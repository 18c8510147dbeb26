"""Lines to words: spaces, comments, what a person does not see."""

from __future__ import annotations

import pytest

from knurlcam import read_program
from tests.support.breaking import RS274
from tests.support.reading import close, codes, each_post, ends, problems, read


def test_spaces_may_stand_anywhere_in_rs274_even_in_a_number() -> None:
    # 3.3, printed: "g0x +0. 12 34y 7" equals "g0 x+0.1234 y7"; Y is no axis of a lathe
    motion = read("g0x +0. 12 34y 7", "rs274")
    (block,) = motion.blocks[-1:]
    assert [(w.letter, w.value) for w in block.words] == [("G", 0), ("X", 0.1234), ("Y", 7)]
    assert codes("g0x +0. 12 34y 7", "rs274") == ["unknown-word"]
    assert codes("g0x +0. 12 34z 7", "rs274") == []
    assert ends("g0x +0. 12 34z 7", "rs274") == close((0.2468, 7))


@pytest.mark.few(6)
@pytest.mark.parametrize("text", ["G00X1.5Z2.5", "g00 x1.5 z2.5", "G0  X 1.5\tZ2.5 ", "Z2.5G0X1.5"])
@each_post
def test_case_order_and_spacing_of_words_do_not_matter(post: str, text: str) -> None:
    if post == "iso6983-integer":
        text = text.replace("1.5", "1500").replace("2.5", "2500")
    assert codes(text, post) == []
    assert ends(text, post) == close((3.0 if post == "rs274" else 1.5, 2.5))


@pytest.mark.parametrize("x", ["X1\t2.5", "X1 2.5 (A)", "(A) X1\t 2.5", "X\t12.\t5 (A)"])
def test_tabs_and_comments_do_not_change_what_spaces_may_do_in_rs274(x: str) -> None:
    assert codes(f"G0 {x} Z3", "rs274") == []  # 3.3: spaces and tabs
    assert ends(f"G0 {x} Z3", "rs274") == close((25.0, 3.0))


def test_a_space_inside_a_number_is_a_fault_elsewhere() -> None:
    assert problems("G00 X1. 5") == [("unknown-word", "'5' is not a word of this dialect")]


LINES = ["%7", "G71 G90", "", "G00 X1.0", "M30"]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\r\r\n"])
def test_any_line_end_is_read(end: str) -> None:
    motion = read_program(end.join(LINES), "iso6983")
    assert [b.line for b in motion.blocks] == [1, 2, 4, 5]
    assert motion.number == 7


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("\r".join(LINES), 1),
        ("\n".join(LINES) + "\r", 5),
        ("%7\r\nG71 G90\r\n\rG00 X1.0\r\nM30\r\n", 4),  # of a blank line: at the next one
        ("%7\r\nG71 G90\r\r\r\nG00 X1.0\r\nM30", 2),
        ("%7\r\nG71 G90\r\r\n\rG00 X1.0\r\nM30", 4),
        ("\r\r\n".join(LINES), None),  # nothing stands between the two
        ("\r\n".join(LINES), None),
        ("\n".join(LINES), None),
    ],
)
def test_a_carriage_return_without_a_line_feed_is_a_fault_where_it_stands(
    text: str, line: int | None
) -> None:
    found = [(p.code, p.block.line) for p in read_program(text, "iso6983").problems]
    assert found == ([] if line is None else [("unreadable-character", line)])


@pytest.mark.parametrize(
    ("comment", "code"),
    [
        ("100%", "comment-character"),
        ("\N{COPYRIGHT SIGN} 2020", "comment-character"),  # seven of its bits close a comment
        ("\N{NO-BREAK SPACE}", "comment-character"),
        ("MSG,X", "comment-obeyed"),  # 3.3.4
        (" msg , x", "comment-obeyed"),
        (" M S\tG , x", "comment-obeyed"),
        ("PRINT,X", "comment-obeyed"),
        ("DEBUG,X", "comment-obeyed"),
        ("LOG,X", "comment-obeyed"),
        ("PROBECLOSE", "comment-obeyed"),
        ("LOGAPPEND, A", "comment-obeyed"),
        ("MSG X", None),
        ("MSGS, X", None),
        ("X, MSG, X", None),
        ("LOGBOOK 5", None),
        ("PROBE THE BLANK", None),
    ],
)
@pytest.mark.parametrize("block", ["", "G00 X1.0 "])
def test_a_comment_that_a_control_may_not_pass_over_is_a_fault(
    block: str, comment: str, code: str | None
) -> None:
    assert codes(f"{block}({comment})") == ([code] if code else [])
    assert codes(f"{block}(A) ({comment})") == ([code] if code else [])


def test_a_hidden_character_in_a_comment_is_one_fault() -> None:
    assert codes("(A\N{ZERO WIDTH SPACE})") == ["unreadable-character"]


def test_comments_are_kept_and_never_carried_out() -> None:
    motion = read("(G00 X1.0)\nG00 (out) X2.0 (then in)")
    assert list(motion.comments) == ["G00 X1.0", "out then in"]
    assert [m.x1 for m in motion.moves] == [2.0]
    assert motion.problems == []


@pytest.mark.few(8)
@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("(a (b))", "comment-nested"),  # 3.3.4
        ("G00 X1.0 (abc", "comment-open"),  # 3.3.4
        ("a)", "comment-nested"),
        (")", "comment-nested"),
        ("(", "comment-open"),
        ("((", "comment-nested"),
    ],
)
@each_post
def test_a_nested_or_unclosed_comment_is_a_fault(post: str, text: str, code: str) -> None:
    assert code in codes(text, post)


@each_post
def test_a_comment_does_not_join_the_numbers_on_its_two_sides(post: str) -> None:
    text = "G00 X1(a)2" if post == "iso6983-integer" else "G00 X1.(a)2"
    assert codes(text, post) == ["unknown-word"]


@each_post
def test_only_ascii_digits_are_digits(post: str) -> None:
    assert "unknown-word" in codes("G00 X\N{ARABIC-INDIC DIGIT FIVE}", post)
    assert "unknown-word" in codes("G00 X1\N{FULLWIDTH DIGIT TWO}", post)


def test_a_block_with_a_slash_is_skipped_only_if_asked() -> None:
    text = "G00 X1.0\n/G00 X2.0\n/ N5 G00 X3.0"
    assert [m.x1 for m in read(text).moves] == [1.0, 2.0, 3.0]
    assert [m.x1 for m in read(text, skip=True).moves] == [1.0]
    assert [b.skip for b in read(text).blocks[-3:]] == [False, True, True]
    assert codes(text) == []


@each_post
def test_a_line_of_the_longest_length_is_read_and_one_more_is_not(post: str) -> None:
    longest = 256 if post in RS274 else 80  # 3.3: at most 256 characters
    good = "G00" + "X0".rjust(longest - 3)
    assert len(good) == longest
    assert codes(good, post) == []
    motion = read(good.replace(" ", "  ", 1), post)
    assert [p.code for p in motion.problems] == ["line-too-long"]
    assert motion.moves == []
    assert f"{longest + 1} characters" in motion.problems[0].message
