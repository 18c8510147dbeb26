"""Dialects: the shipped ones, a shop's own, and what is said about broken ones."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from jinja2 import Environment, nodes

from knurlcam import InputError, Job, UnprovenProgramError, lay_out, make_plan, write_program
from knurlcam.gcode.dialect import GROUPS, Codes, Dialect
from knurlcam.gcode.dialect_files import (
    POSTS_VARIABLE,
    TEMPLATE,
    TRAITS,
    dialect_names,
    load_dialect,
    template_folder,
)
from knurlcam.gcode.standard_codes import GEAR, HARMLESS_IN_PLACE, number_of, shortest
from tests.support.dialects import HARMLESS, Shop
from tests.support.jobs import base_job

SHIPPED = ("iso6983", "iso6983-integer", "rs274", "rs274-turning", "uw-lathe")


@pytest.fixture(autouse=True)
def no_own_posts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(POSTS_VARIABLE, raising=False)


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return Shop(tmp_path)


def write(post: str, posts: Path, changes: dict[str, Any] | None = None, **options: Any) -> str:
    path = lay_out(make_plan(Job.model_validate(base_job(changes))))
    return write_program(path, post, posts=[posts], **options)


# -- shipped -------------------------------------------------------------------


def test_the_shipped_dialects_are_the_five_of_the_design() -> None:
    assert tuple(dialect_names()) == SHIPPED


# units mm, inch; distance; feed; speed; X; dwell; numbers; places; start; end
TABLE: dict[str, dict[str, Any]] = {
    "iso6983": {
        "codes": {"metric": "G71", "inch": "G70", "absolute": "G90", "feed_per_rev": "G95"},
        "feed": "per revolution",
        "x": "diameter",
        "dwell": ("X", "s"),
        "numbers": "decimal point",
        "places": (3, 4, 3, 4),
        "frame": (("%{number}",), ()),
        "numbering": "every block",
        "safe_return": "safe position",
    },
    "iso6983-integer": {
        "codes": {"metric": "G71", "inch": "G70", "absolute": "G90", "feed_per_rev": "G95"},
        "feed": "per revolution",
        "x": "diameter",
        "dwell": ("P", "ms"),
        "numbers": "least increments",
        "places": (3, 4, 3, 4),
        "frame": (("%{number}",), ()),
        "numbering": "every block",
        "safe_return": "safe position",
    },
    "rs274": {
        "codes": {"metric": "G21", "inch": "G20", "absolute": "G90", "feed_per_min": "G94"},
        "feed": "per minute",
        "x": "radius",
        "dwell": ("P", "s"),
        "numbers": "decimal point",
        "places": (4, 5, 4, 5),
        "frame": (("%",), ("%",)),
        "numbering": "none",
        "safe_return": "safe position",
    },
    "rs274-turning": {
        "codes": {
            "metric": "G21",
            "inch": "G20",
            "absolute": "G90",
            "feed_per_rev": "G95",
            "constant_speed": "G97",
            "diameter": "G7",
            "radius": "G8",
        },
        "feed": "per revolution",
        "x": "diameter",
        "dwell": ("P", "s"),
        "numbers": "decimal point",
        "places": (4, 5, 4, 5),
        "frame": (("%",), ("%",)),
        "numbering": "none",
        "safe_return": "safe position",
    },
    "uw-lathe": {
        "codes": {"metric": "G21", "inch": "G20", "feed_per_rev": "G99", "speed_limit": "G50"},
        "feed": "per revolution",
        "x": "diameter",
        "dwell": ("P", "ms"),
        "numbers": "decimal point",
        "places": (3, 4, 3, 4),
        "frame": (("%", "O{number}"), ("%",)),
        "numbering": "tool call",
        "safe_return": "reference point",
    },
}


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_dialect_has_the_traits_of_the_designs_table(name: str) -> None:
    dialect, want = load_dialect(name), TABLE[name]
    assert {k: getattr(dialect.codes, k) for k in want["codes"]} == want["codes"]
    assert (dialect.feed, dialect.x, dialect.numbers) == (want["feed"], want["x"], want["numbers"])
    assert (dialect.dwell_address, dialect.dwell_unit) == want["dwell"]
    lengths = dialect.length_places("mm"), dialect.length_places("inch")
    assert (*lengths, dialect.feed_places("mm"), dialect.feed_places("inch")) == want["places"]
    assert (dialect.start, dialect.end) == want["frame"]
    assert (dialect.numbering, dialect.safe_return) == (want["numbering"], want["safe_return"])
    assert dialect.codes.program_end == "M30"


def test_g92_presets_registers_in_iso_6983_and_is_no_speed_limit_there() -> None:
    for name in ("iso6983", "iso6983-integer"):
        dialect = load_dialect(name)
        assert dialect.codes.speed_limit is None
        assert ("G", 92) not in dialect.meanings


def test_rs274_has_none_of_the_codes_that_its_standard_lacks() -> None:
    # NISTIR 6556 (2000), section 3.5, Table 5: no G33, G70, G71, G95, G96, G97 (seen)
    meanings = load_dialect("rs274").meanings
    assert not {("G", n) for n in (33, 70, 71, 95, 96, 97)} & set(meanings)
    # section 3.3, 3.3.1: 256 characters, N from 0 to 99999 (seen)
    assert load_dialect("rs274").line_length == 256
    assert load_dialect("rs274").highest_number == 99999


def codes_of(dialect: Dialect) -> list[tuple[str, str]]:
    stated = (("harmless", dialect.state), ("datum", dialect.work_offset))
    return [
        (meaning, one)
        for meaning, code in (*dialect.codes, *stated)
        for one in (code if isinstance(code, tuple) else (code,))
        if one is not None
    ]


@pytest.mark.parametrize("name", SHIPPED)
def test_turning_the_code_table_round_loses_nothing(name: str) -> None:
    dialect = load_dialect(name)
    pairs = codes_of(dialect)
    assert len(dialect.meanings) == len(pairs), "each letter and number has one meaning"
    for meaning, code in pairs:
        assert dialect.meanings[code[0], number_of(code)] == meaning
    again = {f"{letter}{number}": m for (letter, number), m in dialect.meanings.items()}
    assert again == {shortest(code): meaning for meaning, code in pairs}


@pytest.mark.parametrize("name", SHIPPED)
def test_a_code_is_known_with_and_without_its_leading_zero(name: str) -> None:
    dialect = load_dialect(name)
    for meaning, code in codes_of(dialect):
        short = shortest(code)
        read_as = HARMLESS_IN_PLACE.get(short, meaning)
        assert dialect.words[code] == dialect.words[short] == (read_as, GROUPS.get(read_as))


def test_every_meaning_but_the_harmless_and_the_call_has_its_modal_group() -> None:
    assert set(Codes.model_fields) - set(GROUPS) == {"harmless", "subprogram_call"}
    assert set(GROUPS) <= {*Codes.model_fields, *HARMLESS_IN_PLACE.values(), GEAR}


@pytest.mark.parametrize("name", SHIPPED)
def test_a_comments_characters_never_hold_its_own_marks(name: str) -> None:
    dialect = load_dialect(name)
    marks = set(dialect.comment_open + dialect.comment_close)
    assert not marks & dialect.comment_set
    assert not {"%", ";", "\n"} & dialect.comment_set


@pytest.mark.parametrize("name", SHIPPED)
def test_the_longest_comment_fits_on_a_line(name: str) -> None:
    dialect = load_dialect(name)
    marks = len(dialect.comment_open + dialect.comment_close)
    assert dialect.comment_length + marks <= dialect.line_length


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_template_calculates_nothing(name: str) -> None:
    source = (template_folder(load_dialect(name).folder) / TEMPLATE.name).read_text(
        encoding="utf-8"
    )
    tree = Environment().parse(source)
    arithmetic = (nodes.Add, nodes.Sub, nodes.Mul, nodes.Div, nodes.FloorDiv, nodes.Mod, nodes.Pow)
    for kind in (*arithmetic, nodes.Neg, nodes.Call, nodes.Filter, nodes.Getattr, nodes.Getitem):
        assert list(tree.find_all(kind)) == []


@pytest.mark.parametrize("name", SHIPPED)
def test_a_dialects_title_tells_it_apart_and_names_no_code_twice(name: str) -> None:
    titles = {load_dialect(n).title for n in SHIPPED}
    assert len(titles) == len(SHIPPED)
    assert load_dialect(name).title.strip()


def test_every_trait_has_a_description() -> None:
    for model in (Dialect, Codes):
        assert all(f.description for f in model.model_fields.values())


def test_a_loaded_dialect_is_its_own_name() -> None:
    dialect = load_dialect("rs274")
    assert load_dialect(dialect) is dialect
    assert load_dialect("rs274") is dialect, "it is read once"


@pytest.mark.parametrize(
    ("name", "lines", "number"),
    [
        ("iso6983", ("%7",), 7),
        ("iso6983", ("%1201",), 1201),
        ("uw-lathe", ("%", "O0007"), 7),
        ("rs274", ("%",), 7),
        ("rs274-turning", ("%",), 7),
    ],
)
def test_the_start_holds_the_number_with_the_dialects_digits(
    name: str, lines: tuple[str, ...], number: int
) -> None:
    assert load_dialect(name).start_lines(number) == lines


# -- unknown -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "offered"),
    [
        ("iso698", "did you mean 'iso6983'?"),
        ("RS274", "did you mean 'rs274'?"),
        ("uw_lathe", "did you mean 'uw-lathe'?"),
        ("zzz", "known: iso6983, iso6983-integer, rs274, rs274-turning, uw-lathe"),
        ("", "known: iso6983"),
        ("../iso6983", "did you mean 'iso6983'?"),
        ("a" * 500, "known: iso6983"),
    ],
)
def test_an_unknown_dialect_is_answered_with_the_nearest(name: str, offered: str) -> None:
    with pytest.raises(InputError, match=r"machine\.post: unknown dialect") as error:
        load_dialect(name)
    assert error.value.value == name
    assert offered in (error.value.remedy or "")
    assert error.value.expected == "one of " + ", ".join(SHIPPED)


# -- a shop's own --------------------------------------------------------------


def test_a_shops_own_dialect_is_found_by_folder_and_writes_programs(shop: Shop) -> None:
    shop.copy("own-lathe")
    shop.edit("own-lathe", 'coolant_on = "M08"', 'coolant_on = "M07"')
    assert "own-lathe" in dialect_names([shop.root])
    assert "own-lathe" not in dialect_names()
    text = write("own-lathe", shop.root)
    assert " M07\n" in text
    assert "M08" not in text


def test_a_shops_own_dialect_is_found_by_the_environment(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop.copy("own-lathe")
    monkeypatch.setenv(POSTS_VARIABLE, os.pathsep.join(["", str(shop.root)]))
    assert load_dialect("own-lathe").name == "own-lathe"


def test_a_shops_folder_wins_over_the_environment_and_that_over_the_package(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = Shop(tmp_path / "first"), Shop(tmp_path / "second")
    second.copy("iso6983")
    monkeypatch.setenv(POSTS_VARIABLE, str(second.root))
    assert load_dialect("iso6983").folder == second.root / "iso6983"
    first.copy("iso6983")
    assert load_dialect("iso6983", [first.root]).folder == first.root / "iso6983"


def test_an_edited_dialect_is_read_again(shop: Shop) -> None:
    shop.copy("own-lathe")
    assert load_dialect("own-lathe", [shop.root]).codes.coolant_on == ("M08",)
    shop.edit("own-lathe", 'coolant_on = "M08"', 'coolant_on = "M07"')
    assert load_dialect("own-lathe", [shop.root]).codes.coolant_on == ("M07",)


@pytest.mark.parametrize("by_environment", [False, True])
def test_a_folder_that_does_not_exist_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, by_environment: bool
) -> None:
    gone = tmp_path / "gone"
    monkeypatch.setenv(POSTS_VARIABLE, str(gone) if by_environment else "")
    with pytest.raises(InputError, match="is not a folder of dialects") as error:
        load_dialect("rs274", [] if by_environment else [gone])
    assert error.value.where == str(gone)
    assert error.value.remedy == "correct --posts or KNURLCAM_POSTS"


def test_folders_without_traits_are_no_dialects(shop: Shop) -> None:
    (shop.root / "empty").mkdir()
    (shop.root / "notes.txt").write_text("x")
    assert tuple(dialect_names([shop.root])) == SHIPPED


# -- broken traits -------------------------------------------------------------

BROKEN: list[tuple[str, str, str | None, str]] = [
    # old text, new text, key named, problem or expectation
    ('rapid = "G00"\n', "", "codes.rapid", "is missing"),
    ('feed = "per revolution"\n', "", "feed", "is missing"),
    ('x = "diameter"\n', 'x = "diameter"\ncolour = "red"\n', "colour", "known: name, title"),
    ('coolant_on = "M08"', 'coolant_om = "M08"', "codes.coolant_om", "did you mean .coolant_on."),
    ('optional_stop = "M01"', 'optional_stap = "M01"', "codes.optional_stap", "did you mean"),
    ('rapid = "G00"', 'rapid = "X00"', "codes.rapid", "a G or M word"),
    ('rapid = "G00"', 'rapid = "G0.12"', "codes.rapid", "a G or M word"),
    ('rapid = "G00"', "rapid = 0", "codes.rapid", "a G or M word in quotes"),
    ('linear = "G01"', 'linear = "G00"', "codes.linear", "G00 already means rapid"),
    ('linear = "G01"', 'linear = "G0"', "codes.linear", "G0 already means rapid"),
    (HARMLESS, 'harmless = ["G01"]', "codes.harmless", "G01 already means"),
    ('name = "broken"', 'name = "else"', "name", "'else' is not the folder's name"),
    ('name = "broken"', 'name = "Broken Lathe"', "name", "small letters"),
    ('x = "diameter"', 'x = "radius or so"', "x", '"diameter" or "radius"; did you mean .radius.'),
    (
        "length_places_mm = 3",
        "length_places_mm = 0",
        "length_places_mm",
        "a whole number from 1 to 6",
    ),
    ("length_places_mm = 3", 'length_places_mm = "many"', "length_places_mm", "a whole number"),
    ('feed_per_rev = "G95"\n', "", "codes.feed_per_rev", "no word for a feed per revolution"),
    ('absolute = "G90"\n', "", "codes.absolute", "no word for absolute distances"),
    ('dwell_unit = "s"', 'dwell_unit = "min"', "dwell_unit", '"s" or "ms"'),
    ('numbers = "decimal point"', 'numbers = "least increments"', "dwell_unit", "whole numbers"),
    ('\nstart = ["%{number}"]', "\nstart = []", "start", "neither a start nor an end mark"),
    (
        'tool_call = "station and offset"',
        'tool_call = "station and change"',
        "codes.tool_change",
        "three words",
    ),
    (
        'safe_return = "safe position"',
        'safe_return = "reference point"',
        "codes.reference_return",
        "no word",
    ),
    ("number_digits = 1", "number_digits = 1\nline_length = 40", "comment_length", "does not fit"),
    ('rapid = "G00"', 'rapid = "G00', "codes.rapid", r"line \d+: the quote is not closed"),
    ("[codes]", "[codes", None, r"is not TOML: line \d+: there is no ]"),
    ("[codes]", "[codes]\nrapid = 'G07'", "codes.rapid", r"line \d+: the key stands twice"),
]


@pytest.mark.few(12)
@pytest.mark.parametrize(("old", "new", "key", "match"), BROKEN)
def test_broken_traits_are_refused_by_file_and_key_or_line(
    shop: Shop, old: str, new: str, key: str | None, match: str
) -> None:
    shop.copy("broken")
    file = shop.edit("broken", old, new)
    with pytest.raises(InputError, match=match) as error:
        load_dialect("broken", [shop.root])
    assert error.value.where == str(file)
    assert error.value.key == key
    assert error.value.remedy


def test_traits_that_are_not_utf_8_are_refused(shop: Shop) -> None:
    file = shop.copy("broken") / TRAITS.name
    file.write_bytes(file.read_bytes() + b"# \xff\n")
    with pytest.raises(InputError, match="is not UTF-8 text") as error:
        load_dialect("broken", [shop.root])
    assert (error.value.where, error.value.remedy) == (str(file), "save it as UTF-8")


def test_traits_of_a_megabyte_are_not_read(shop: Shop) -> None:
    file = shop.copy("broken") / TRAITS.name
    file.write_bytes(file.read_bytes() + b"#" * 1_000_000)
    with pytest.raises(InputError, match="too large for a table of traits") as error:
        load_dialect("broken", [shop.root])
    assert error.value.where == str(file)


def test_traits_nested_without_end_are_refused(shop: Shop) -> None:
    shop.copy("broken")
    file = shop.edit("broken", "[codes]", "deep = " + "[" * 50_000 + "\n[codes]")
    with pytest.raises(InputError, match="is not TOML") as error:
        load_dialect("broken", [shop.root])
    assert error.value.where == str(file)


def test_a_folder_given_in_the_traits_does_not_move_the_template(shop: Shop) -> None:
    folder = shop.copy("own-lathe")
    shop.edit("own-lathe", 'x = "diameter"', 'x = "diameter"\nfolder = "/elsewhere"')
    assert load_dialect("own-lathe", [shop.root]).folder == folder


# -- broken templates ----------------------------------------------------------

TEMPLATES: list[tuple[str, str, str]] = [
    # old, new, what is said
    ("{{ modes }}", "{{ modes }", r"at line 10: "),
    ("{{ modes }}", "{% modes %}", r"at line 10: .*unknown tag 'modes'"),
    ("{{ modes }}", "{{ moods }}", r"at line 10: 'moods' is undefined"),
    ("{{ modes }}", "{{ modes.__class__.__mro__ }}", r"fails.*(unsafe|undefined)"),
    ("{{ modes }}", "{{ body.append('M00') }}", r"fails"),
    ("{{ modes }}", "{{ ''.__class__ }}", r"fails.*(unsafe|undefined)"),
    ("{{ modes }}", "{{ cycler.__init__.__globals__.os }}", r"fails.*(unsafe|undefined)"),
    ("{{ modes }}", "{{ modes | nothing }}", r"at line 10: No filter named 'nothing'"),
    ("{{ modes }}", "{% include '/etc/passwd' %}", r"fails"),
    ("{{ modes }}", "{% for i in range(10 ** 9) %}x{% endfor %}", r"fails"),
    ("{{ modes }}", "{{ 1 / 0 }}", r"fails"),
    ("{{ modes }}", "{{ modes + 1 }}", r"fails"),
]


@pytest.mark.few(5)
@pytest.mark.parametrize(("old", "new", "match"), TEMPLATES)
def test_a_broken_template_is_refused_by_file_and_line(
    shop: Shop, old: str, new: str, match: str
) -> None:
    shop.copy("broken")
    file = shop.edit("broken", old, new, TEMPLATE.name)
    with pytest.raises(InputError, match=match) as error:
        write("broken", shop.root)
    assert error.value.where == str(file)
    assert error.value.remedy == "correct the template"


@pytest.mark.parametrize(
    "sum_", ["{{ 10 ** 10 ** 10 }}", "{{ 'x' * 10 ** 12 }}", "{{ 2 + 2 }}", "{{ -(2) }}"]
)
def test_a_template_cannot_calculate(shop: Shop, sum_: str) -> None:
    shop.copy("broken")
    file = shop.edit("broken", "{{ modes }}", sum_, TEMPLATE.name)
    with pytest.raises(InputError, match="a template cannot calculate") as error:
        write("broken", shop.root)
    assert error.value.where == str(file)


def test_a_dialect_without_a_template_is_written_by_the_one_of_all(shop: Shop) -> None:
    folder = shop.copy("plain")
    assert not (folder / TEMPLATE.name).exists()
    assert template_folder(folder) == dialect_names()["iso6983"].parent
    assert write("plain", shop.root) == write("iso6983", shop.root)


def test_a_template_of_its_own_replaces_the_one_of_all(shop: Shop) -> None:
    folder = shop.copy("own")
    shop.edit("own", "{{ modes }}", "(OURS)\n{{ modes }}", TEMPLATE.name)
    assert template_folder(folder) == folder
    assert "\n(OURS)\n" in write("own", shop.root)


def test_a_template_that_leads_nowhere_is_not_passed_over(shop: Shop) -> None:
    file = shop.copy("broken") / TEMPLATE.name
    file.symlink_to(shop.root / "gone")
    with pytest.raises(InputError, match="the template cannot be read") as error:
        write("broken", shop.root)
    assert error.value.where == str(file)


def test_a_template_that_is_not_utf_8_is_refused(shop: Shop) -> None:
    file = shop.copy("broken") / TEMPLATE.name
    file.write_bytes(b"\xff")
    with pytest.raises(InputError, match="the template cannot be read") as error:
        write("broken", shop.root)
    assert error.value.where == str(file)


DROPPED: list[tuple[str, str, str]] = [
    # what the template leaves out or adds, and the finding that withholds the program
    ("{{ modes }}", "", "units-not-stated"),
    ("{{ offset_cancel }}", "", "offset-on-at-end"),
    ("{{ offset_cancel }}", "{{ offset_cancel }}\nG00 X120.0", "moves-without-offset"),
    ("{{ program_end }}", "", "program-end-missing"),
    ("{{ modes }}", "{{ modes }} Q1", "unknown-word"),
    ("{% for block in body %}", "{% for block in body[1:] %}", "spindle-stopped"),
    ("{% for block in body %}", "{% for block in body if block != 'M05' %}", "spindle-on-at-end"),
    ("{% for block in body %}", "{% for block in body if 'G04' not in block %}", "dwell-missing"),
    ("{% for block in tool_call %}", "{% for block in [] %}", "wrong-tool"),
    ("{% for line in start %}", "{% for line in [] %}", "program-start-missing"),
    ("{{ program_end }}", "M08\n{{ program_end }}", "coolant-on-at-end"),
    # no control needs it, and where one runs on, nobody has judged it
    ("{{ program_end }}", "{{ program_end }}\nG00 X-50.", "after-the-end"),
    ("{{ program_end }}", "{{ program_end }} (END)\n(NEXT) G00 X-50.", "after-the-end"),
]


def test_a_template_that_lets_a_stop_be_skipped_withholds_the_program(shop: Shop) -> None:
    shop.copy("broken", of="rs274")
    loop = "{% for block in body %}\n"
    slash = "{{ '/' if block == 'M05' else '' }}"
    shop.edit("broken", loop, loop + slash, TEMPLATE.name)
    with pytest.raises(UnprovenProgramError, match=re.escape("[spindle-on-at-end]")):
        write("broken", shop.root)


def test_a_template_may_have_remarks_behind_the_end(shop: Shop) -> None:
    shop.copy("remarked")
    shop.edit("remarked", "{{ program_end }}", "{{ program_end }} (END)\n(OF IT)", TEMPLATE.name)
    assert write("remarked", shop.root).endswith("M30 (END)\n(OF IT)\n")


@pytest.mark.few(5)
@pytest.mark.parametrize(("old", "new", "code"), DROPPED)
def test_a_template_that_drops_or_adds_a_block_withholds_the_program(
    shop: Shop, old: str, new: str, code: str
) -> None:
    folder = shop.copy("broken")
    shop.edit("broken", old, new, TEMPLATE.name)
    with pytest.raises(UnprovenProgramError, match=re.escape(f"[{code}]")) as error:
        write("broken", shop.root)
    assert code in {f.code for f in error.value.verification.findings}
    assert error.value.where == str(folder)
    assert error.value.exit_status == 2


# -- words that a dialect lacks ------------------------------------------------

LACKS: list[tuple[str, Callable[[Shop], None], dict[str, Any], dict[str, Any], str, str]] = [
    (
        "optional stop",
        lambda s: s.edit("lacking", 'optional_stop = "M01"\n', "") and None,
        {"process.trial_strip": True, "process.trial_stop": "optional"},
        {},
        "process.trial_stop",
        'take trial_stop = "program" or another dialect',
    ),
    (
        "subprogram",
        lambda s: s.edit("lacking", 'subprogram_return = "M99"\n', "") and None,
        {},
        {"form": "subprogram"},
        "subprogram_start",
        "--as blocks",
    ),
]


@pytest.mark.parametrize(("word", "edit", "changes", "options", "key", "way_out"), LACKS)
def test_a_word_that_a_dialect_lacks_is_refused_with_word_dialect_and_way_out(
    shop: Shop,
    word: str,
    edit: Callable[[Shop], None],
    changes: dict[str, Any],
    options: dict[str, Any],
    key: str,
    way_out: str,
) -> None:
    shop.copy("lacking")
    edit(shop)
    with pytest.raises(InputError, match=f"has no word for an? {word}") as error:
        write("lacking", shop.root, changes, **options)
    assert error.value.where == "dialect lacking"
    assert error.value.key == key
    assert way_out in (error.value.remedy or "")
    assert write("lacking", shop.root), "what needs no such word is written"


def test_a_dialect_without_a_subprogram_says_so_in_the_package_too() -> None:
    with pytest.raises(InputError, match="has no word for a subprogram") as error:
        write("rs274", Path(), form="subprogram")
    assert error.value.where == "dialect rs274"


def test_more_blocks_than_n_words_are_refused(shop: Shop) -> None:
    shop.copy("short")
    shop.edit("short", "highest_number = 9999", "highest_number = 100")
    assert "N1 " in write("short", shop.root), "numbered by ones where tens do not reach"
    with pytest.raises(
        InputError, match=r"the program has \d+ blocks, more than there are"
    ) as error:
        write("short", shop.root, {"process.passes": 30, "knurl.callout": "DIN 82 RGE 1.6"})
    assert (error.value.where, error.value.key) == ("dialect short", "highest_number")


def test_the_shipped_traits_are_read_from_their_own_files() -> None:
    for name in SHIPPED:
        dialect = load_dialect(name)
        data = tomllib.loads((dialect.folder / TRAITS.name).read_text(encoding="utf-8"))
        assert data["name"] == name == dialect.folder.name
