"""Traits and folders of strangers: what they must not say, and files that are no files."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from knurlcam import InputError, Job, lay_out, make_plan, write_program
from knurlcam.gcode import dialect_files as posts_module
from knurlcam.gcode.dialect import Codes
from knurlcam.gcode.dialect_files import (
    POSTS_VARIABLE,
    TEMPLATE,
    TRAITS,
    dialect_names,
    load_dialect,
)
from knurlcam.gcode.standard_codes import DATUM, FIXED, GEAR, codes_for, spellings
from knurlcam.text import MOST_CHARACTERS
from tests.support.dialects import HARMLESS, Shop
from tests.support.jobs import base_job

SHIPPED = ("iso6983", "iso6983-integer", "rs274", "rs274-turning", "uw-lathe")
PATH = lay_out(make_plan(Job.model_validate(base_job())))


@pytest.fixture(autouse=True)
def no_own_posts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(POSTS_VARIABLE, raising=False)


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return Shop(tmp_path)


def write(post: str, posts: Path, **options: Any) -> str:
    return write_program(PATH, post, posts=[posts], **options)


# -- traits that would be read back as what they are not ------------------------

OWN = f"{HARMLESS}\n[own_words]\n"
NOTHING = "harmless"


def own(code: str, means: str, source: str = "manual, p. 3") -> str:
    return f'{code} = {{ means = "{means}", source = "{source}" }}'


LIES: list[tuple[str, str, str, str, str]] = [
    # old text, what is refused, key named, what is said, the near miss that is taken
    ('rapid = "G00"\nlinear = "G01"', 'rapid = "G01"\nlinear = "G00"', "codes.rapid",
     "G01 means a straight line at feed .ISO 6983-1", 'rapid = "G0"\nlinear = "G1"'),
    ('linear = "G01"', 'linear = "G33"', "codes.linear", "G33 means a thread", 'linear = "G1"'),
    ('linear = "G01"', 'linear = "G77"', "codes.linear", "G77 has no meaning", 'linear = "G1"'),
    ('rapid = "G00"', 'rapid = "G000"', "codes.rapid", "more leading zeros", 'rapid = "G0"'),
    ('rapid = "G00"', 'rapid = "G٠٠"', "codes.rapid", "a G or M word in quotes", 'rapid = "G0"'),
    ('metric = "G71"\ninch = "G70"', 'metric = "G70"\ninch = "G71"', "codes.metric",
     "G70 means inches", 'metric = "G21"\ninch = "G20"'),
    ('metric = "G71"', 'metric = "G20"', "codes.metric", "G20 means inches .NISTIR 6556",
     'metric = "G21"'),
    ('absolute = "G90"\nincremental = "G91"', 'absolute = "G91"\nincremental = "G90"',
     "codes.absolute", "G91 means incremental", 'absolute = "G90"'),
    ('feed_per_rev = "G95"\nfeed_per_min = "G94"', 'feed_per_rev = "G94"\nfeed_per_min = "G95"',
     "codes.feed_per_rev", "G94 means a feed per minute", 'feed_per_rev = "G99"'),
    ('constant_speed = "G97"\nsurface_speed = "G96"', 'constant_speed = "G96"',
     "codes.constant_speed", "G96 means a constant surface", 'constant_speed = "G97"'),
    ('dwell = "G04"', 'dwell = "G10"', "codes.dwell", "G10 means setting a datum", 'dwell = "G4"'),
    ('harmless = ["G18"', 'speed_limit = "G59"\nharmless = ["G18"', "codes.speed_limit",
     "G59 means another datum", 'speed_limit = "G92"\nharmless = ["G18"'),
    ('spindle_forward = "M03"\nspindle_reverse = "M04"',
     'spindle_forward = "M04"\nspindle_reverse = "M03"', "codes.spindle_forward",
     "M04 means spindle on, reverse", 'spindle_forward = "M3"\nspindle_reverse = "M4"'),
    ('spindle_forward = "M03"', 'spindle_forward = "M13"', "codes.spindle_forward",
     "M13 means spindle and coolant", 'spindle_forward = "M3"'),
    ('spindle_stop = "M05"\n', 'spindle_stop = "M77"\n', "codes.spindle_stop",
     "M77 has no meaning in a standard", 'spindle_stop = "M5"\n'),
    ('coolant_on = "M08"\ncoolant_off = "M09"', 'coolant_on = "M09"\ncoolant_off = "M08"',
     "codes.coolant_on", "M09 means coolant off", 'coolant_on = "M51"\ncoolant_off = "M09"'),
    ('coolant_off = "M09"', 'coolant_off = "M60"', "codes.coolant_off", "change of the workpiece",
     'coolant_off = "M9"'),
    ('program_stop = "M00"', 'program_stop = "M48"', "codes.program_stop", "M48 means whether",
     'program_stop = "M0"'),
    ('optional_stop = "M01"', 'optional_stop = "M11"', "codes.optional_stop", "letting go",
     'optional_stop = "M1"'),
    ('program_end = "M30"\nprogram_end_also = "M02"', 'program_end = "M35"', "codes.program_end",
     "M35 has no meaning", 'program_end = "M02"\nprogram_end_also = "M30"'),
    ('subprogram_return = "M99"', 'subprogram_return = "M19"', "codes.subprogram_return",
     "stopped at an angle", 'subprogram_return = "M17"'),
    ('subprogram_call = "M98"', 'subprogram_call = "M68"', "codes.subprogram_call",
     "M68 means the chuck", 'subprogram_call = "M98"'),
    *[
        (HARMLESS, f'harmless = ["{code}"]', "codes.harmless",
         f"{code} (means|has no meaning)", f'harmless = ["{near}"]')
        for code, near in {
            "G02": "G17", "G03": "G19", "G10": "G61", "G33": "G40", "G41": "G40", "G42": "G49",
            "G44": "G49", "G53": "G54", "G55": "G54", "G65": "G61", "G81": "G61",
            "G92": "G92.1", "G92.3": "G92.2", "G93": "G18", "G54.1": "G54",
            "M06": "G18", "M10": "G18",
            "M11": "G18", "M13": "G18", "M19": "G18",
            "M60": "G18", "M68": "G18",
        }.items()
    ],
    *[
        ('\nstart = ["%{number}"]', f'\nstart = ["%{{number}}", {bad}]', "start",
         "not read as a block", f'\nstart = ["%{{number}}", {good}]')
        for bad, good in {
            '"G00 X-50"': '"(START)"',
            '"G00X-50"': '"%"',
            '"M03"': '"O{number}"',
            '"X{number}"': '":{number}"',
            '"G{number}"': '"O{number}"',
            '"N{number}"': '"O{number}"',
            '"T0101"': '"%_N_{number}_MPF"',
            '"%_N_{number}_G00_MPF"': '"%_N_KNURL_{number}_SPF"',
            '"%{number}G00X-50"': '"%"',
            '"O{number}M98P9"': '"O{number}"',
            '"O{number}{number}"': '"O{number}"',
            '"O9000"': '"O{number}"',
            '"%\\nM03"': '"%"',
            '"%\\u2028M03"': '"%"',
            '"%\\u001b[2J"': '"%"',
            '""': '"%"',
            '" "': '"%"',
            '"(A) M03"': '"(A)"',
            '"(A)M03(B)"': '"(A.B)"',
            '"(A"': '"(A)"',
            '"(a)"': '"(A)"',
            '"(A B)"': '"(AB)"',
            f'"({"A" * 79})"': f'"({"A" * 78})"',
            '"/M03"': '"%"',
        }.items()
    ],
    ("\nend = []", '\nend = ["M03", "%"]', "end", "not read as a block", '\nend = ["(END)", "%"]'),
    ("\nend = []", '\nend = ["%{number}"]', "end", "not read as a block", '\nend = ["%"]'),
    ("\nend = []", f"\nend = {['%'] * 9}", "end", "too many lines", f"\nend = {['%'] * 8}"),
    ('subprogram_start = ["%{number}"]', 'subprogram_start = ["M03"]', "subprogram_start",
     "not read as a block", 'subprogram_start = ["O{number}"]'),
    *[
        (
            'comment_open = "("\ncomment_close = ")"',
            f'comment_open = "{mark}"\ncomment_close = "{end}"',
            "comment_open",
            "could run the words between them",
            'comment_open = ";"\ncomment_close = ""',
        )
        for mark, end in [
            ("(", ""), ("(", "("), ("(", ")("), ("((", "))"), ("[", "]"), ("G", ""),
            ("X", "Y"), ("0", "9"), (" ", ""),
            ("+", ""), ("-", "-"), (".", ""), ("/", ""), ("%", ""), ("#", ""), ("=", ""),
            (";", ";"), (";", ")"), (")", "("), ("\\t", ""),
        ]
    ],
    *[
        ('comment_characters = "ABC', f'comment_characters = "{bad}ABC', "comment_characters",
         "could end a comment", 'comment_characters = "_ABC')
        for bad in ("\\n", "\\r", "\\u001b", "\\u0000", "\\u0085", "\\u2028", "\\u202e", "(", ")",
                    "%", "É")
    ],
    *[
        (HARMLESS, OWN + bad, f"own_words.{key}", match, OWN + good)
        for bad, key, match, good in [
            (own("M00", NOTHING), "M00.means", "the program stop", own("M86", NOTHING)),
            (own("M03", NOTHING), "M03.means", "spindle on", own("M87", NOTHING)),
            (own("M3", "spindle_stop"), "M3.means", "spindle on", own("M14", NOTHING)),
            (own("M04", "spindle_forward"), "M04.means", "reverse", own("M13", NOTHING)),
            (own("M05", NOTHING), "M05.means", "spindle stop", own("M51", NOTHING)),
            (own("M06", NOTHING), "M06.means", "tool change", own("M50", NOTHING)),
            (own("M08", "coolant_off"), "M08.means", "coolant on", own("M8", "coolant_on")),
            (own("M10", NOTHING), "M10.means", "clamping", own("M110", NOTHING)),
            (own("M11", NOTHING), "M11.means", "letting go", own("M111", NOTHING)),
            (own("M19", NOTHING), "M19.means", "at an angle", own("M190", NOTHING)),
            (own("M31", NOTHING), "M31.means", "interlock", own("M32", NOTHING)),
            (own("M68", NOTHING), "M68.means", "chuck", own("M67", NOTHING)),
            (own("M69", "coolant_on"), "M69.means", "chuck", own("M70", NOTHING)),
            (own("M30", NOTHING), "M30.means", "program end", own("M30", "program_end")),
            (own("M41", NOTHING), "M41.means", "gear range", own("M46", NOTHING)),
            (own("M98", NOTHING), "M98.means", "subprogram", own("M97", NOTHING)),
            (own("M99", NOTHING), "M99.means", "return", own("M96", NOTHING)),
            (own("M60", NOTHING), "M60.means", "workpiece", own("M61", NOTHING)),
            (own("M86", "rapid"), "M86.means", "not a meaning", own("M86", NOTHING)),
            (own("M86", "subprogram_call"), "M86.means", "not a meaning",
             own("M86", NOTHING)),
            (own("M86", "coolant_on"), "M86", "not among codes.coolant_on",
             own("M86", NOTHING)),
            (own("M86", "gear"), "M86", "not among gears", own("M86", NOTHING)),
            (own("M86", NOTHING) + "\n" + own("M086", NOTHING), "M086", "twice",
             own("M86", NOTHING) + "\n" + own("M87", NOTHING)),
            (own("G64", NOTHING), "G64", "M word|not allowed|pattern",
             own("M64", NOTHING)),
            (own("M86", NOTHING, "p. 3 ) M03"), "M86.source", "cannot stand in a comm",
             own("M86", NOTHING, "p. 3 M03")),
            (own("M86", NOTHING, "   "), "M86.source", "names nothing",
             own("M86", NOTHING, "p 3")),
            (own("M86", NOTHING, ""), "M86.source", "not allowed",
             own("M86", NOTHING, "p 3")),
            ('M86 = { means = "harmless" }', "M86.source", "is missing",
             own("M86", NOTHING)),
        ]
    ],
    *[
        ('x = "diameter"', f'x = "diameter"\n{bad}', key, match, f'x = "diameter"\n{good}')
        for bad, key, match, good in [
            ('state = ["G41"]', "state", "G41 means cutter comp", 'state = ["G40"]'),
            ('state = ["G55"]', "state", "G55 means another datum", 'state = ["G54"]'),
            ('state = ["G64"]', "state", "G64 has no meaning", 'state = ["G61"]'),
            ('state = ["M03"]', "state", "spindle_forward", 'state = ["G18"]'),
            ('state = ["G91"]', "state", "incremental", 'state = ["G49"]'),
            ('state = ["M68"]', "state", "M68 means the chuck", 'state = ["G80"]'),
            ('state = ["G40", "G040"]', "state", "stated twice", 'state = ["G40", "G80"]'),
            ('state = ["G17", "G18"]', "state", "two planes", 'state = ["G18", "G49"]'),
            ('state = ["G17"]', "codes.harmless", "would undo the plane", 'state = ["G18"]'),
            ('work_offset = "G55"', "codes.harmless", "undo the datum", 'work_offset = "G54"'),
            ('work_offset = "G53"', "work_offset", "G54|not allowed", 'work_offset = "G54"'),
            ("reference_before_tool = true", "codes.reference_return", "has no word",
             "reference_before_tool = false"),
            ('header = "none"', "header", "full", 'header = "short"'),
            ("first_number = 10000", "first_number", "above the highest", "first_number = 9999"),
            ("highest_program = 100000000", "highest_program", "99999999",
             "highest_program = 99999999"),
            ('gears = ["M03"]', "gears", "M03 already means", 'gears = ["M41"]'),
            ('gears = ["M38"]', "gears", "M38 has no meaning", 'gears = ["M43"]'),
        ]
    ],
    ('metric = "G71"', 'radius = "G8"\nmetric = "G71"', "codes.diameter", "none to state the dia",
     'radius = "G8"\ndiameter = "G7"\nmetric = "G71"'),
    ('metric = "G71"', 'diameter = "G8"\nmetric = "G71"', "codes.diameter", "G8 means X words",
     'diameter = "G7"\nmetric = "G71"'),
    ('coolant_on = "M08"', 'coolant_on = ["M08", "M10"]', "codes.coolant_on", "clamping",
     'coolant_on = ["M08", "M07"]'),
    ('coolant_on = "M08"', 'coolant_on = ["M08", "M8"]', "codes.coolant_on", "already means",
     'coolant_on = ["M8", "M7"]'),
    ('coolant_on = "M08"', "coolant_on = []", "codes.coolant_on", "not allowed",
     'coolant_on = ["M08"]'),
    ('optional_stop = "M01"', 'optional_stop = "M30"', "codes.program_end", "already means",
     'optional_stop = "M00"'),
    *[
        ('\nstart = ["%{number}"]', f"\nstart = [{bad}]", "start", match,
         f"\nstart = [{good}]")
        for bad, match, good in [
            ('"O{number} {name}"', "not read as a block", '"O{number} ({name})"'),
            ('"({name})", "O{number}"', "twice, or before", '"O{number}", "({name})"'),
            ('"O{number} ({name})", "({name})"', "twice, or before", '"O{number}({name})"'),
            ('"O{number} ({name}) M03"', "not read as a block", '":{number} ({name})"'),
            ('"O{number} M03 ({name})"', "not read as a block", '"%{number} ({name})"'),
            ('"O{number} (A{name})"', "not read as a block", '"%", "O{number} ({name})"'),
        ]
    ],
    ("most_digits = 8", "most_digits = 6", "most_digits", "before 4 decimal places",
     "most_digits = 7"),
    ('title = "', 'title = "\\u001b[2J', "title", "holds control characters", 'title = "É '),
    ('title = "', 'title = "\\u202e', "title", "holds control characters", 'title = "→ '),
]  # fmt: skip


@pytest.mark.few(25)
@pytest.mark.parametrize(
    ("old", "bad", "key", "match", "good"), LIES, ids=[f"{row[2]}-{row[1][:24]!a}" for row in LIES]
)
def test_traits_that_would_make_a_program_seem_what_it_is_not_are_refused(
    shop: Shop, old: str, bad: str, key: str, match: str, good: str
) -> None:
    shop.copy("lying")
    shop.copy("honest")
    file = shop.edit("lying", old, bad)
    shop.edit("honest", old, good)
    with pytest.raises(InputError, match=match) as error:
        load_dialect("lying", [shop.root])
    assert (error.value.where, error.value.key) == (str(file), key)
    assert error.value.expected
    assert error.value.remedy
    assert all(map(str.isprintable, str(error.value).split("\n")))
    assert load_dialect("honest", [shop.root]).name == "honest"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('comment_open = "("\ncomment_close = ")"', 'comment_open = ";"\ncomment_close = ""'),
        ('\nstart = ["%{number}"]', '\nstart = ["%", "%_N_KNURL_{number}_MPF", "(A.B)"]'),
        ('\nstart = ["%{number}"]', '\nstart = [":{number}"]'),
        ("\nend = []", '\nend = ["(END)", "%"]'),
        ('metric = "G71"\ninch = "G70"', 'metric = "G710"\ninch = "G700"'),
        (HARMLESS, 'harmless = ["G17", "G40", "G49", "G54", "G61"]'),
    ],
)
def test_what_is_taken_writes_programs_that_verify(shop: Shop, old: str, new: str) -> None:
    shop.copy("own-lathe")
    shop.edit("own-lathe", old, new)
    for form in ("program", "subprogram", "blocks"):
        assert write("own-lathe", shop.root, form=form)


def test_every_word_of_the_shipped_dialects_is_in_the_table_with_its_source() -> None:
    for name in SHIPPED:
        for (letter, number), meaning in load_dialect(name).meanings.items():
            assert meaning in FIXED[f"{letter}{number}"].meanings
            assert spellings(f"{letter}{number}")[-1] in codes_for(meaning)
    assert all(row.says and row.source for row in FIXED.values())
    assert {m for row in FIXED.values() for m in row.meanings} == {*Codes.model_fields, GEAR, DATUM}


# -- files that are not what they seem ------------------------------------------

SECRET = "S3CRET = what no message and no program may show"


@pytest.mark.parametrize("name", [TRAITS.name, TEMPLATE.name])
def test_a_file_that_leads_out_of_its_folder_is_not_read(shop: Shop, name: str) -> None:
    folder = shop.copy("linked", template=True)
    (shop.root / "secret").write_text(SECRET)
    (folder / name).unlink()
    (folder / name).symlink_to(shop.root / "secret")
    with pytest.raises(InputError, match="leads out of the dialect's folder") as error:
        write("linked", shop.root)
    assert error.value.where == str(folder / name)
    assert "S3CRET" not in str(error.value)


@pytest.mark.parametrize("name", [TRAITS.name, TEMPLATE.name])
def test_a_link_within_the_folder_and_a_folder_that_is_a_link_are_followed(
    shop: Shop, tmp_path: Path, name: str
) -> None:
    folder = shop.copy("linked", template=True)
    (folder / name).rename(folder / "own")
    (folder / name).symlink_to("own")
    assert write("linked", shop.root)
    elsewhere = tmp_path / "posts"
    elsewhere.mkdir()
    (elsewhere / "linked").symlink_to(folder)
    assert write("linked", elsewhere)


def to_a_pipe(file: Path) -> None:
    os.mkfifo(file)


def to_a_folder(file: Path) -> None:
    file.mkdir()


def to_itself(file: Path) -> None:
    file.symlink_to(file)


def to_a_device(file: Path) -> None:
    file.symlink_to("/dev/zero")


def to_too_much(file: Path) -> None:
    with file.open("wb") as stream:
        stream.truncate(10**12)


@pytest.mark.parametrize("name", [TRAITS.name, TEMPLATE.name])
@pytest.mark.parametrize(
    ("turn", "match"),
    [
        (to_a_pipe, "it is not a regular file"),
        (to_a_folder, "it is not a regular file"),
        (to_itself, "cannot be read: .*links"),
        (to_a_device, "leads out of the dialect's folder"),
        (to_too_much, "it is too large for a"),
    ],
)
def test_a_file_that_is_no_file_is_named_and_not_waited_for(
    shop: Shop, name: str, turn: Callable[[Path], None], match: str
) -> None:
    folder = shop.copy("odd", template=True)
    (folder / name).unlink()
    turn(folder / name)
    with pytest.raises(InputError, match=match) as error:
        write("odd", shop.root)
    assert error.value.where == str(folder / name)
    assert error.value.remedy


def test_a_template_is_read_once_and_that_is_what_runs(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop.copy("own-lathe", template=True)
    reads: list[str] = []
    whole = posts_module.read_own

    def read(folder: Path, file: posts_module.DialectFile) -> str:
        reads.append(file.name)
        return whole(folder, file)

    monkeypatch.setattr("knurlcam.gcode.template.read_own", read)
    assert write("own-lathe", shop.root) == write("own-lathe", shop.root)
    assert reads == [TEMPLATE.name]
    shop.edit("own-lathe", "{{ modes }}", "(OURS)\n{{ modes }}", TEMPLATE.name)
    assert "(OURS)" in write("own-lathe", shop.root)
    assert reads == [TEMPLATE.name] * 2


def test_an_unreadable_dialect_of_a_shop_is_not_replaced_by_a_shipped_one(shop: Shop) -> None:
    (shop.root / "rs274").symlink_to("rs274")
    with pytest.raises(InputError, match="cannot be read") as error:
        load_dialect("rs274", [shop.root])
    assert error.value.where == str(shop.root / "rs274" / TRAITS.name)


def test_a_folder_that_may_not_be_looked_into_is_named(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(path: Path) -> list[str]:
        raise PermissionError(13, "Permission denied", str(path))

    # A test that runs as root may look into every folder.
    monkeypatch.setattr(os, "listdir", refuse)
    with pytest.raises(InputError, match="cannot be listed: Permission denied") as error:
        dialect_names([shop.root])
    assert error.value.where == str(shop.root)


@pytest.mark.parametrize("name", ["..", ".", ".hidden", "own lathe", "own\x1b[2J", "ｏwn\n", "a/b"])
def test_only_a_plain_name_is_a_dialect(shop: Shop, name: str) -> None:
    if "/" not in name and name.strip("."):
        shutil.copytree(dialect_names()["rs274"], shop.root / name)
    shutil.copy(dialect_names()["rs274"] / TRAITS.name, shop.root)
    assert tuple(dialect_names([shop.root])) == SHIPPED
    with pytest.raises(InputError, match=r"machine\.post: unknown dialect") as error:
        load_dialect(name, [shop.root])
    assert str(error.value).isprintable()


@pytest.mark.parametrize("entry", ["", "no-such", "file", "\x00", "x" * 5_000, "loop", "."])
def test_odd_entries_among_the_folders_are_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, entry: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "file").write_text("x")
    (tmp_path / "loop").symlink_to("loop")
    if entry in ("", "."):
        assert load_dialect("rs274", [entry]).name == "rs274"
        return
    with pytest.raises(InputError, match="is not a folder of dialects") as error:
        load_dialect("rs274", [entry])
    assert error.value.remedy == "correct --posts or KNURLCAM_POSTS"


# -- traits that are meant to be too much ----------------------------------------

TOO_MUCH: dict[str, tuple[str, str]] = {
    # after the key x, and what is said
    "tables in tables": ("a" + ".a" * 40_000 + " = 1", r"line \d+ has 80,005 characters"),
    "tables in tables behind a line end that is none": (
        ".".join(["a" * 90 + '."\u2028"'] * 200) + " = 1",
        "characters",
    ),
    "tables in tables, each on its line": (("a" + ".a" * 140 + "b" + " = 1\n") * 2, "is not"),
    "headers": ("\n".join("[" + f"a{k}." * 40 + "a]" for k in range(300)), "is not|missing"),
    "deep tables": ("b = " + "{a=" * 90 + "1" + "}" * 90, "is not|TOML"),
    "lists in lists": ("b = " + "[\n" * 2_000 + "]\n" * 2_000, "is not TOML"),
    "a list of a thousand": ("start = [" + '"%",\n' * 1_000 + "]", "is not TOML|too many"),
    "a number without end": ("line_length = " + "9" * 5_000, "characters"),
    "a large number": ("line_length = " + "9" * 250, "is not TOML|less than|not allowed"),
    "a large hexadecimal number": ("line_length = 0x" + "f" * 250, "from 40 to 1000"),
    "infinity": ("line_length = inf", "from 40 to 1000"),
    "a date": ("line_length = 1979-05-27", "a whole number"),
    "a key with a control character": ('"\\u001b[2J" = 1', "unknown key"),
    "a long key": ('"' + "k" * 250 + '" = 1', "unknown key"),
    "a value with a control character": ('feed_ = "\\u001b[2J"', "unknown key"),
    "a nul": ("\0", "is not TOML"),
    "the folder as a table": ("[folder]\na = 1", "missing"),
}


@pytest.mark.few(8)
@pytest.mark.parametrize(("text", "match"), TOO_MUCH.values(), ids=TOO_MUCH)
def test_traits_that_are_too_much_are_refused_in_a_few_lines(
    shop: Shop, text: str, match: str
) -> None:
    shop.copy("much")
    file = shop.edit("much", 'x = "diameter"', f'x = "diameter"\n{text}')
    with pytest.raises(InputError, match=match) as error:
        load_dialect("much", [shop.root])
    assert error.value.where == str(file)
    assert error.value.remedy
    assert all(map(str.isprintable, str(error.value).split("\n")))
    assert len(str(error.value)) <= MOST_CHARACTERS
