"""Templates of strangers: what they may hold, and that nothing else in them ever runs."""

from __future__ import annotations

import itertools
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knurlcam import (
    InputError,
    Job,
    UnprovenProgramError,
    lay_out,
    make_plan,
    verify,
    write_program,
)
from knurlcam.gcode import template_values
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_files import TEMPLATE, TRAITS, dialect_names, load_dialect
from knurlcam.gcode.template import render_blocks
from knurlcam.gcode.template_values import FILTERS, LOOP_FIELDS, TESTS, VARIABLES
from tests.support.commands import run
from tests.support.examples import counts, examples
from tests.support.jobs import base_job

GUARD_S = 30.0
"""Far above what any of these takes, so that a loaded machine is no failure."""

SHIPPED = (dialect_names()["iso6983"].parent / TEMPLATE.name).read_text(encoding="utf-8")
GIVEN: dict[str, Any] = {
    "form": "program",
    "start": ("%7",),
    "header": ["(ONE)", "(TWO)"],
    "modes": "G71 G90 G95 G97",
    "state": [],
    "speed_limit": "",
    "tool_call": ["T0505"],
    "body": ["S110 M03", "G00 X30.000", "G01 X25.000 F0.050"],
    "offset_cancel": "T0500",
    "safe_return": ["G00 X120.000"],
    "program_end": "M30",
    "end": (),
}


def dialect_with(folder: Path, template: str | bytes) -> Dialect:
    """Return a dialect like a shipped one but for its template."""
    folder.mkdir(exist_ok=True)
    traits = (dialect_names()["iso6983"] / TRAITS.name).read_text(encoding="utf-8")
    traits = traits.replace('name = "iso6983"', f'name = "{folder.name}"')
    folder.joinpath(TRAITS.name).write_text(traits, encoding="utf-8")
    raw = template if isinstance(template, bytes) else template.encode("utf-8")
    folder.joinpath(TEMPLATE.name).write_bytes(raw)
    return load_dialect(folder.name, [folder.parent])


def laid_out(folder: Path, template: str | bytes, **given: Any) -> list[str]:
    """Return the lines that a template makes of some blocks."""
    (lines,) = render_blocks(dialect_with(folder, template), [{**GIVEN, **given}])
    return lines


def nested(depth: int, opening: str, inside: str, closing: str) -> str:
    return opening * depth + inside + closing * depth


EACH = "{% for a in body %}"
END = "{% endfor %}"

HOSTILE: dict[str, tuple[str, str]] = {
    # what stands in the template, and what is said of it
    "attribute of a text": ("{{ modes.__class__ }}", "'__class__' is unsafe"),
    "attribute of a constant": ("{{ ''.__class__.__mro__ }}", "is unsafe"),
    "attribute chain": ("{{ ().__class__.__base__.__subclasses__() }}", "has no call"),
    "attribute by brackets": ("{{ ''['__class__'] }}", "an index is unsafe"),
    "attribute of loop": (f"{EACH}{{{{ loop.__class__ }}}}{END}", "'__class__' is unsafe"),
    "private attribute of loop": (f"{EACH}{{{{ loop._iterable }}}}{END}", "is unsafe"),
    "cycle of loop": (f"{EACH}{{{{ loop.cycle('a', 'b') }}}}{END}", "has no call"),
    "loop itself": (f"{EACH}{{{{ loop }}}}{END}", "cannot be used as a value, only its fields"),
    "loop kept": (f"{EACH}{{% set x = loop %}}{END}", "only its fields"),
    "loop in a condition": (
        f"{EACH}{{% if loop %}}x{{% endif %}}{END}",
        "cannot be used as a value, only its fields",
    ),
    "tags that cross": (f"{EACH}{{% if form %}}{END}", "unknown tag 'endfor'"),
    "loop as truth": (
        f"{EACH}{{{{ 'x' if loop else 'y' }}}}{END}",
        "cannot be used as a value, only its fields",
    ),
    "recursive loop": ("{% for a in body recursive %}{{ loop(body) }}{% endfor %}", "recursive"),
    "self": ("{{ self }}", "'self' is undefined"),
    "self's block": ("{{ self.body() }}", "has no call"),
    "format by method": ("{{ '{0.__class__}'.format(modes) }}", "has no call"),
    "format by filter": ("{{ '%s' | format(modes) }}", "No filter named 'format'"),
    "format by sign": ("{{ '%999999999d' % 1 }}", "cannot calculate: % is"),
    "range": ("{% for i in range(10**9) %}x{% endfor %}", "has no call"),
    "range named": ("{% for i in range %}x{% endfor %}", "'range' is undefined"),
    "lipsum": ("{{ lipsum(n=99999) }}", "has no call"),
    "lipsum's globals": ("{{ lipsum.__globals__ }}", "'__globals__' is unsafe"),
    "cycler": ("{{ cycler.__init__.__globals__.os }}", "'os' is unsafe"),
    "joiner": ("{{ joiner }}", "'joiner' is undefined"),
    "namespace": ("{% set ns = namespace(a=1) %}", "has no call"),
    "namespace's field": ("{% set ns.a = 1 %}", "only a single variable"),
    "dict": ("{{ dict(a=1) }}", "has no call"),
    "has no dict": ("{{ {'a': 1} }}", "has no dict"),
    "sum": ("{{ 1 + 1 }}", "cannot calculate"),
    "power": ("{{ 10 ** 10 ** 10 }}", "cannot calculate"),
    "text many times": ("{{ 'x' * 10 ** 12 }}", "cannot calculate"),
    "concatenation": ("{{ body[0] ~ body[0] }}", "cannot calculate: ~ is"),
    "minus": ("{{ -1 }}", "cannot calculate"),
    "include": ("{% include '/etc/passwd' %}", "has no include"),
    "include, forgiving": ("{% include 'x' ignore missing %}", "has no include"),
    "include by name": ("{% include modes %}", "has no include"),
    "import": ("{% import 'x' as x %}", "has no (from )?import"),
    "import of names": ("{% from 'x' import y %}", "has no (from )?import"),
    "extends": ("{% extends 'x' %}", "has no extends"),
    "block": ("{% block b %}x{% endblock %}", "has no block"),
    "macro": ("{% macro m() %}{{ m() }}{% endmacro %}{{ m() }}", "has no macro"),
    "call block": ("{% call m() %}x{% endcall %}", "has no call block"),
    "filter block": ("{% filter upper %}x{% endfilter %}", "has no filter block"),
    "set block": ("{% set x %}{{ modes }}{% endset %}", "has no set block"),
    "autoescape": ("{% autoescape true %}x{% endautoescape %}", "has no scope"),
    "do": ("{% do body.append('M00') %}", "unknown tag 'do'"),
    "debug": ("{% debug %}", "unknown tag 'debug'"),
    "translation": ("{% trans %}x{% endtrans %}", "unknown tag 'trans'"),
    "break": (f"{EACH}{{% break %}}{END}", "unknown tag 'break'"),
    "unknown tag": ("{% python %}", "unknown tag 'python'"),
    "unclosed tag": ("{% if form", "end of template|expected"),
    "unclosed block": ("{% if form %}x", "Unexpected end of template"),
    "unclosed expression": ("{{ modes", "end of template|expected"),
    "unclosed comment": ("{# what", "Missing end of comment"),
    "unclosed raw": ("{% raw %}x", "Missing end of raw"),
    "two targets": ("{% for a, b in body %}x{% endfor %}", "only a single variable"),
    "undefined": ("{{ moods }}", "'moods' is undefined"),
    "defined in the loop alone": (f"{EACH}{END}{{{{ a }}}}", "'a' is undefined"),
    "count of the work": ("{{ _work }}", "'_work' is undefined"),
    "count of the work, tested": ("{{ 'x' if _work is defined else 'y' }}", "'_work' is undefined"),
    "count of the work, set": ("{% set _work = modes %}", "'_work' is not allowed"),
    "a name that Python takes for another": ("{% set mode\u017f = body %}{{ modes }}", "the name"),
    "the same in a loop": (
        "{% for \uff42ody in body %}{{ body }}{% endfor %}",
        "as the name of a variable",
    ),
    "self, set": ("{% set self = modes %}", "'self' is not allowed"),
    "lines where a line is meant": ("{{ header }}", "a list of lines, not a line"),
    "a list laid out": ("{{ ['a', 'b'] }}", "a list of lines, not a line"),
    "truth laid out": ("{{ form == 'program' }}", "not text"),
    "nothing laid out": ("{{ none }}", "this constant is neither text"),
    "fraction": ("{{ 1.5 }}", "this constant is neither text"),
    "huge fraction": ("{{ 1e999 }}", "this constant is neither text"),
    "huge integer": ("{{ " + "9" * 4000 + " }}", "this constant is neither text"),
    "more digits than Python takes": ("{{ " + "9" * 9000 + " }}", "ValueError"),
    "list of names": ("{% for x in [modes] %}x{% endfor %}", "constants only"),
    "characters of a line": ("{% for c in modes %}{{ c }}{% endfor %}", "needs a list of lines"),
    "map": ("{{ body | map('upper') | join }}", "No filter named 'map'"),
    "attr": ("{{ modes | attr('__class__') }}", "No filter named 'attr'"),
    "replace": ("{{ modes | replace('G', 'GGGGGGGG') }}", "No filter named 'replace'"),
    "center": ("{{ modes | center(1000000000) }}", "No filter named 'center'"),
    "indent": ("{{ modes | indent(1000000000) }}", "No filter named 'indent'"),
    "wordwrap": ("{{ modes | wordwrap(1) }}", "No filter named 'wordwrap'"),
    "xmlattr": ("{{ {'a': 1} | xmlattr }}", "No filter|has no dict"),
    "tojson": ("{{ body | tojson }}", "No filter named 'tojson'"),
    "pprint": ("{{ body | pprint }}", "No filter named 'pprint'"),
    "groupby": ("{% for a in body | groupby('x') %}x{% endfor %}", "No filter named 'groupby'"),
    "batch": ("{{ body | batch(2) }}", "No filter named 'batch'"),
    "slice filter": ("{{ body | slice(1000000000) }}", "No filter named 'slice'"),
    "sum filter": ("{{ body | sum }}", "No filter named 'sum'"),
    "filesizeformat": ("{{ 1 | filesizeformat }}", "No filter named"),
    "urlize": ("{{ modes | urlize }}", "No filter named 'urlize'"),
    "safe": ("{{ modes | safe }}", "No filter named 'safe'"),
    "the internal filter": ("{{ body | counted(1) }}", "No filter named 'counted'"),
    "unknown test": ("{{ 'x' if modes is callable else 'y' }}", "No test named 'callable'"),
    "join of a text": ("{{ modes | join('x') }}", "join takes lines"),
    "join of join": ("{{ body | join(body | join(body | join)) }}", "text in parentheses"),
    "join by name": ("{{ body | join(modes) }}", "text in parentheses"),
    "join by attribute": ("{{ body | join(attribute='__class__') }}", "text in parentheses"),
    "join of stars": ("{{ body | join(*body) }}", "text in parentheses"),
    "joined and kept": ("{% set a = body | join %}", "cannot hold this value"),
    "joined and raised": ("{{ body | join | upper }}", "upper takes a text"),
    "kept by with": ("{% with a = body | join %}x{% endwith %}", "cannot hold this value"),
    "doubling": ("{% set a = modes ~ modes %}" * 60, "cannot calculate"),
    "kinds exchanged": ("{% set body = modes %}", "another kind"),
    "either of two kinds": ("{{ body if form else modes }}", "a list of lines, not a line"),
    "if without else": ("{{ modes if speed_limit }}", "needs an else"),
    "lists held against each other": ("{{ 'x' if body == body else 'y' }}", "can be compared"),
    "text held against a number": ("{{ 'x' if modes < 1 else 'y' }}", "TypeError"),
    "no step": ("{{ modes[::0] }}", "ValueError"),
    "no such line": ("{{ end[5] }}", "no element 5|undefined"),
    "parentheses": ("{{ " + nested(300, "(", "modes", ")") + " }}", "nested too deep|not text"),
    "more parentheses": ("{{ " + "(" * 20_000 + " }}", "nested too deep"),
    "lists in lists": ("{{ " + nested(90, "[", "1", "]") + " }}", "nested too deep|constants"),
    "not not": ("{{ 'x' if " + "not " * 9000 + "form else 'y' }}", "nested too deep"),
    "attributes without end": ("{{ modes" + ".a" * 20_000 + " }}", "nested too deep"),
    "filters without end": ("{{ modes" + "|upper" * 7_000 + " }}", "nested too deep"),
    "ands": ("{{ 'x' if " + "form and " * 5_000 + "form else 'y' }}", "nested too deep"),
    "ifs in ifs": (nested(200, "{% if form %}", "x", "{% endif %}"), "nested too deep"),
    "loops in loops": (nested(200, EACH, "x", END), "nested too deep"),
    "eight loops in loops": (nested(8, EACH, "x", END), "nested more than 6 deep"),
    "a control character": ("\x1b[2J", "character '\\\\x1b'"),
    "a control character, escaped": ('{{ "\\x1b[2J" }}', "character '\\\\x1b'"),
    "a control character, joined": ('{{ body | join("\\x1b") }}', "character '\\\\x1b'"),
    "a line that only some see": ("G00\u2028X-50", "character '\\\\u2028'"),
    "a letter that becomes another": ("\u017f9000", "character '\\\\u017f'"),
    "a tag with a control character": ("{% \x1b[2J %}", "unexpected char|fails"),
    "nul": ("\0", "character '\\\\x00'"),
    "an unknown name with a control character": ('{{ modes | default("\\x07") }}', "No filter"),
}
WITHIN = {
    # what is laid out or gone through without end, of three hundred lines
    "six loops in loops": nested(6, EACH, "{{ a }}", END),
    "six loops that say nothing": nested(6, EACH, "", END),
    "joins in loops": nested(2, EACH, "{{ body | join }}", END),
    "joins that say nothing": nested(2, EACH, "{% if 'Q' in body | join %}{% endif %}", END),
    "slices in loops": nested(3, EACH, "{% if body[1:] %}{% endif %}", END),
    "looked through in loops": nested(3, EACH, "{% if 'Q' in body %}{% endif %}", END),
    "long constants in loops": nested(2, EACH, "X" * 30_000, END),
    "conditions of loops in loops": nested(
        3, "{% for a in body if a" + " == a" * 500 + " %}", "", END
    ),
    "constants looked through in loops": nested(
        3, EACH, "{% if '" + "X" * 20_000 + "Y' in '" + "X" * 20_000 + "' %}{% endif %}", END
    ),
    "long constants by name": nested(2, EACH, "{{ '" + "X" * 30_000 + "' }}", END),
}


def no_control_characters(text: str) -> bool:
    return all(c.isprintable() for c in text.replace("\n", ""))


OPENED: list[str] | None = None
"""Files that were opened, while somebody wants to know."""


def _listen(event: str, arguments: tuple[Any, ...]) -> None:
    if OPENED is not None and event == "open" and isinstance(arguments[0], str):
        OPENED.append(arguments[0])


sys.addaudithook(_listen)


@contextmanager
def opened_files() -> Iterator[list[str]]:
    """Collect the files that are opened, but for Python's own modules."""
    global OPENED
    OPENED = found = []
    try:
        yield found
    finally:
        OPENED = None
        found[:] = [name for name in found if not name.endswith((".py", ".pyc"))]


@pytest.mark.few(25)
@pytest.mark.parametrize(("template", "match"), HOSTILE.values(), ids=HOSTILE)
def test_what_no_template_of_blocks_holds_is_refused_by_file(
    tmp_path: Path, template: str, match: str
) -> None:
    dialect = dialect_with(tmp_path / "hostile", f"{SHIPPED}\n{template}")
    start = time.monotonic()
    with opened_files() as opened, pytest.raises(InputError, match=match) as error:
        render_blocks(dialect, [GIVEN])
    assert time.monotonic() - start < GUARD_S
    file = str(dialect.folder / TEMPLATE.name)
    assert error.value.where == file
    assert opened == [file], "no other file is read"
    assert error.value.remedy == "correct the template"
    assert error.value.exit_status == 2
    assert len(str(error.value)) < 1000
    assert no_control_characters(str(error.value))


@pytest.mark.parametrize("template", WITHIN.values(), ids=WITHIN)
def test_a_template_that_would_go_on_and_on_is_stopped(tmp_path: Path, template: str) -> None:
    start = time.monotonic()
    with pytest.raises(InputError, match=r"fails( at line 2)?: it (takes too|writes)") as error:
        laid_out(tmp_path / "hostile", f"\n{template}", body=["G01 X25.000 F0.050"] * 300)
    assert time.monotonic() - start < GUARD_S
    assert error.value.where == str(tmp_path / "hostile" / TEMPLATE.name)


@pytest.mark.parametrize("template", [HOSTILE["range"][0], WITHIN["six loops that say nothing"]])
def test_the_command_ends_with_status_2_and_writes_nothing(tmp_path: Path, template: str) -> None:
    dialect_with(tmp_path / "hostile", f"{SHIPPED}{template}")
    sample = Path(__file__).parents[2] / "samples" / "focus-knob.toml"
    where = ["--post", "hostile", "--posts", str(tmp_path), "-o", str(tmp_path / "out.nc")]
    done = run("program", sample, *where)
    assert done.returncode == 2
    assert "the template fails" in done.stderr
    assert "Traceback" not in done.stderr
    assert sorted(p.name for p in tmp_path.iterdir()) == ["hostile"]


def test_a_template_that_takes_too_long_is_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(template_values, "SECONDS", template_values.SECONDS._replace(at_all=-1.0))
    template = f"{EACH}{{{{ a }}}}{END}"
    with pytest.raises(InputError, match="it takes too long"):
        laid_out(tmp_path / "slow", template, body=["M08"] * 3_000)


@pytest.mark.parametrize("template", [SHIPPED, f"{EACH}{{{{ loop.index }}}} {{{{ a }}}}\n{END}"])
def test_the_longest_programs_stay_far_from_the_limits(tmp_path: Path, template: str) -> None:
    body = ["G01 X25.000 Z-12.000 F0.500"] * 50_000
    assert len(laid_out(tmp_path / "long", template, body=body)) >= len(body)


WORKS: dict[str, tuple[str, list[str]]] = {
    # what a shop changes, and the lines that come of it
    "a word": ("{{ modes }}", ["G71 G90 G95 G97"]),
    "a remark of its own": ("(OURS)\n{{ modes }}", ["(OURS)", "G71 G90 G95 G97"]),
    "a loop": ("{% for line in header %}\n{{ line }}\n{% endfor %}", ["(ONE)", "(TWO)"]),
    "a loop on one line": ("{% for a in header %}{{ a }}{% endfor %}", ["(ONE)(TWO)"]),
    "joined lines": ('{{ header | join("\\n") }}', ["(ONE)", "(TWO)"]),
    "joined to nothing": ("{{ header | join }}", ["(ONE)(TWO)"]),
    "a form": (
        "{% if form == 'program' %}A{% elif form == 'blocks' %}B{% else %}C{% endif %}",
        ["A"],
    ),
    "one of some forms": ("{{ 'A' if form in ('program', 'blocks') else 'B' }}", ["A"]),
    "none of a list": ("{{ 'A' if form not in ['subprogram'] else 'B' }}", ["A"]),
    "a name": ("{% set m = modes %}{{ m }}", ["G71 G90 G95 G97"]),
    "a name for lines": ("{% set m = body[1:] %}{{ m | first }}", ["G00 X30.000"]),
    "a name in both branches": (
        "{% if form %}{% set m = modes %}{% else %}{% set m = 'X' %}{% endif %}{{ m }}",
        ["G71 G90 G95 G97"],
    ),
    "with": ("{% with m = modes %}{{ m }}{% endwith %}", ["G71 G90 G95 G97"]),
    "the last of a loop": (
        "{% for a in header %}{{ a }}{% if not loop.last %} {% endif %}{% endfor %}",
        ["(ONE) (TWO)"],
    ),
    "the number in a loop": ("{% for a in header %}{{ loop.index }}{% endfor %}", ["12"]),
    "every other": (
        "{% for a in body %}{% if loop.index is odd %}{{ a }}\n{% endif %}{% endfor %}",
        ["S110 M03", "G01 X25.000 F0.050"],
    ),
    "a loop with a condition": (
        "{% for a in body if 'G00' in a %}{{ a }}{% endfor %}",
        ["G00 X30.000"],
    ),
    "a loop of nothing": ("{% for a in end %}{{ a }}{% else %}(NONE){% endfor %}", ["(NONE)"]),
    "a loop of constants": ("{% for a in ['(A)', '(B)'] %}{{ a }}{% endfor %}", ["(A)(B)"]),
    "a loop in a loop": (
        "{% for a in header %}{% for b in tool_call %}{{ a }}{{ b }}{% endfor %}{% endfor %}",
        ["(ONE)T0505(TWO)T0505"],
    ),
    "a name of the loop twice": (
        "{% for body in body %}{{ body[:3] }}{% endfor %}{{ body | length }}",
        ["S11G00G013"],
    ),
    "first and last": (
        "{{ body[0] }} {{ body[-1][:3] }} {{ body | last | lower }}",
        ["S110 M03 G01 g01 x25.000 f0.050"],
    ),
    "how many": ("{{ body | length }} {{ body | count }}", ["3 3"]),
    "one within lines": ("{% if 'S110 M03' in body %}YES{% endif %}", ["YES"]),
    "one within joined lines": ("{% if 'M03' in body | join(' ') %}YES{% endif %}", ["YES"]),
    "a word that may be empty": ("{{ speed_limit or '(NO LIMIT)' }}", ["(NO LIMIT)"]),
    "and": ("{% if header and not speed_limit %}YES{% endif %}", ["YES"]),
    "a name that may be missing": ("{% if extra is defined %}{% else %}NO{% endif %}", ["NO"]),
    "raw text": ("{% raw %}(1 2){% endraw %}", ["(1 2)"]),
    "a comment of the template": ("{# größer #}A", ["A"]),
    "spaces taken away": ("A   {{- modes | trim -}}   B", ["AG71 G90 G95 G97B"]),
    "no line statements": ("# for a in body\n## A", ["# for a in body", "## A"]),
    "line ends of any kind": ("A\r\nB\rC\n\n\nD", ["A", "B", "C", "D"]),
    "a byte order mark": ("\ufeffA", ["A"]),
}


@pytest.mark.few(12)
@pytest.mark.parametrize(("template", "lines"), WORKS.values(), ids=WORKS)
def test_what_a_shop_changes_in_a_template_works(
    tmp_path: Path, template: str, lines: list[str]
) -> None:
    assert laid_out(tmp_path / "own", template) == lines


PIECES = [
    *("{{ modes }}", "{{ body }}", "{{ a }}", "{{ 1 }}", "{{ a[0] }}", "{{ a.b }}", "{{ b }}"),
    *("{{ body | join(modes) }}", "{{ body | join }}", "{{ loop.index }}", "{{ a or body }}"),
    *(EACH, "{% for b in a %}", END, "{% if form %}", "{% else %}", "{% endif %}"),
    *("{% set a = body[1:] %}", "{% set a = modes %}", "{% with a = form %}", "{% endwith %}"),
    *("{#", "#}", "{{", "}}", "\n", "(X)"),
]


@counts(40, 150)
def test_a_template_lays_out_lines_or_is_refused(tmp_path: Path, count: int) -> None:
    names = itertools.count()

    @examples(count)
    @given(pieces=st.lists(st.sampled_from(PIECES), max_size=14))
    def lays_out_lines(pieces: list[str]) -> None:
        with suppress(InputError):
            lines = laid_out(tmp_path / f"any-{next(names)}", "".join(pieces))
            assert all(type(line) is str and line.strip() for line in lines)

    lays_out_lines()


def test_the_variables_are_those_that_the_writer_gives(monkeypatch: pytest.MonkeyPatch) -> None:
    given: list[dict[str, Any]] = []

    def listen(dialect: Dialect, contexts: list[dict[str, Any]]) -> list[list[str]]:
        given.extend(contexts)
        return render_blocks(dialect, contexts)

    monkeypatch.setattr("knurlcam.gcode.write.render_blocks", listen)
    write_program(lay_out(make_plan(Job.model_validate(base_job()))))
    (context,) = given
    kinds = {k: "text" if isinstance(v, str) else "lines" for k, v in context.items()}
    assert kinds == VARIABLES


def test_the_guide_to_dialects_lists_what_a_template_may_hold() -> None:
    guide = (dialect_names()["iso6983"].parent / "README.md").read_text(encoding="utf-8")
    section = guide.partition("## The template")[2].partition("\n## ")[0]
    for name in (*VARIABLES, *FILTERS, *LOOP_FIELDS):
        assert f"`{name}`" in section
    assert all(f"`is {name}`" in section for name in TESTS)
    assert set(FILTERS) == set(template_values.FILTERS)
    assert set(TESTS) == set(template_values.TESTS)


def test_a_verified_program_holds_only_characters_of_controls(tmp_path: Path) -> None:
    dialect = dialect_with(tmp_path / "own", f"{SHIPPED}(\tOURS ~)\n")
    text = write_program(lay_out(make_plan(Job.model_validate(base_job()))), dialect)
    assert text.endswith("(\tOURS ~)\n")
    assert no_control_characters(text.replace("\t", ""))


def test_a_text_that_does_not_verify_is_shown_cut(tmp_path: Path) -> None:
    dialect = dialect_with(tmp_path / "own", SHIPPED.replace("{{ modes }}", "Q" * 5_000))
    path = lay_out(make_plan(Job.model_validate(base_job())))
    with pytest.raises(UnprovenProgramError) as error:
        write_program(path, dialect)
    assert len(str(error.value)) < 2000


def test_a_text_that_does_not_verify_is_shown_without_what_a_terminal_obeys() -> None:
    job = Job.model_validate(base_job())
    text = "G00 X1\x1b[2J\nM30"
    error = UnprovenProgramError(verify(text, job), text, "own")
    assert "G00 X1\\x1b[2J" in str(error)
    assert no_control_characters(str(error))
