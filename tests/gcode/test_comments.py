"""Comments: what a person wrote, in characters of controls, and nothing that runs."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knurlcam import lay_out, make_plan, read_program, verify, write_program
from knurlcam.gcode.dialect_files import load_dialect
from tests.support.examples import counts, examples
from tests.support.written import each_post, job_of, word_lines, write

# -- comments ------------------------------------------------------------------

NASTY = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=80) | st.text(
    "()%;/<>[]{}*#:\\\"'\t\n\r\x0b\x0c\x1c\x85\u2028 M03G00X1Näß−µ", min_size=1, max_size=80
)


@counts(12, 60)
@each_post
def test_no_name_can_end_a_comment_or_start_a_block(post: str, count: int) -> None:
    dialect, words = load_dialect(post), word_lines(write(None, post))

    @examples(count)
    @given(name=NASTY.filter(str.strip))
    def stays_in_comments(name: str) -> None:
        text = write({"part.name": name}, post)
        assert word_lines(text) == words, "only comments hold the name"
        for line in text.splitlines():
            if line.startswith("("):
                assert line.endswith(")")
                assert set(line[1:-1]) <= dialect.comment_set
                assert len(line) <= dialect.comment_length + 2
        assert read_program(text, post).problems == []

    stays_in_comments()


@counts(10, 40)
def test_no_materials_name_can_either(count: int) -> None:
    words = word_lines(write(None, "rs274"))

    @examples(count)
    @given(name=NASTY.filter(str.strip))
    def stays_in_comments(name: str) -> None:
        own = {"name": name, "yield_strength": "300 MPa", "turning_speed": "20 m/min"}
        assert word_lines(write({"part.material": own}, "rs274")) == words

    stays_in_comments()


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("Knopf für Fokus", "(KNURL KNOPF FUER FOKUS)"),
        ("Größe 5 µm ± 1°", "(KNURL GROESSE 5 UM +- 1 DEG)"),
        ("a) M03 (b", "(KNURL A M03 B)"),
        ("50 % off; <x>", "(KNURL 50 OFF, BELOW X ABOVE)"),
        ("naïve café", "(KNURL NAIVE CAFE)"),
        ("旋钮", "(KNURL)"),
        ("x\ny", "(KNURL X Y)"),
    ],
)
def test_a_name_is_spelt_in_the_controls_characters(name: str, line: str) -> None:
    assert write({"part.name": name}, "iso6983").splitlines()[1] == line


def test_a_long_name_is_wrapped_between_words_or_cut_inside_one() -> None:
    lines = write({"part.name": "word " * 15 + "end"}, "iso6983").splitlines()
    assert lines[1] == "(KNURL" + " WORD" * 11 + ")"
    assert lines[2] == "(- WORD WORD WORD WORD END)"
    lines = write({"part.name": "x" * 80}, "iso6983").splitlines()
    assert lines[1:4] == ["(KNURL)", f"(- {'X' * 58})", f"(- {'X' * 22})"]


@pytest.mark.few(4)
@each_post
@pytest.mark.parametrize("mark", ["SUBPROGRAM 7", "BLOCKS TO PASTE", "subprogram"])
def test_no_name_makes_a_program_pass_for_another_form(post: str, mark: str) -> None:
    for name in (mark, f"{'x' * 60} {mark}", f"{'word ' * 11}{mark}"):
        job = job_of({"part.name": name})
        result = verify(write_program(lay_out(make_plan(job)), post), job, post)
        assert (result.form, result.findings) == ("program", ())
