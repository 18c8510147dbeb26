"""The fuzzers' targets over good inputs and a few changed ones; that a hit is reported."""

from __future__ import annotations

import os
import random
from pathlib import Path

import pytest

from knurlcam.errors import InputError
from tests.long.fuzz import seeds
from tests.long.fuzz.campaign import campaign, table_of
from tests.long.fuzz.hits import MOST_CHARACTERS, Target, run_one, what_is_wrong_with
from tests.long.fuzz.mutate import mutated
from tests.long.fuzz.targets import TARGETS

CHANGED = {
    "callouts": 300,
    "quantities": 150,
    "jobs": 80,
    "shops": 80,
    "tables": 30,
    "programs": 15,
    "variants": 60,
    "dialects": 60,
    "folders": 60,
}
"""Changed inputs of each target: some fifteen seconds for all of them together."""

SHARE = 6
"""The fast suite draws one in so many of them."""


@pytest.fixture(autouse=True)
def _no_wait_for_disks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "sync", lambda: None, raising=False)


def test_every_target_is_run() -> None:
    assert CHANGED.keys() == TARGETS.keys()


@pytest.mark.parametrize("share", [SHARE, pytest.param(1, marks=pytest.mark.long)])
@pytest.mark.parametrize("name", TARGETS)
def test_good_inputs_and_changed_ones_hit_nothing(name: str, share: int) -> None:
    target, rng, most = TARGETS[name], random.Random(name), CHANGED[name] // share
    seeds = list(target.seeds())
    some = rng.sample(seeds, min(len(seeds), most))
    changed = (mutated(rng.choice(seeds), rng, target, seeds) for _ in range(most))
    for data in [*some, *changed]:
        assert run_one(target, data).hit is None, data


ROWS_END = b"</sheetData>"
_BOOK = seeds.small_workbook()


def book(old: bytes, new: bytes) -> bytes:
    """Return a workbook, by its parts, with something else before a piece of it."""
    assert old in _BOOK
    return b"\4" + _BOOK.replace(old, new + old, 1)


def texts(inside: bytes) -> bytes:
    """Return a workbook with texts that cells share."""
    return (
        book(
            b"</Types>",
            b'<Override PartName="/xl/sharedStrings.xml" ContentType="application/'
            b'vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"/>',
        )
        + b"\n==== xl/sharedStrings.xml ====\n<sst>"
        + inside
        + b"</sst>"
    )


REGRESSIONS = {
    "a-number-of-thousands-of-digits": ("jobs", b"units = " + b"9" * 5000),
    "a-number-too-long-to-be-shown": ("jobs", b"machine.safe_z = 0x" + b"f" * 5000),
    "tables-too-deep-to-be-shown": ("jobs", b"[tool." + b"a." * 120 + b"b]"),
    "lists-in-lists": ("jobs", b"a = " + b"[" * 5000),
    "a-key-of-thousands-of-parts": ("jobs", b"a." * 50_000 + b"a = 1"),
    "a-key-of-thousands-of-parts-behind-a-line-end-that-is-none": (
        "jobs",
        '"\u2028".'.encode() + b"a." * 50_000 + b"a = 1",
    ),
    "a-shop-of-a-key-of-thousands-of-parts": (
        "shops",
        b"\0" + '"\u0085".'.encode() + b"a." * 50_000 + b"a = 1",
    ),
    "an-infeed-that-takes-for-ever": (
        "jobs",
        Path(seeds.SAMPLES / "focus-knob.toml")
        .read_bytes()
        .replace(b'spindle_speed = "110 rpm"', b"spindle_speed = 24\ninfeed_rate = 5e-324"),
    ),
    "a-key-that-floods": ("jobs", b"a" * 9000 + b" = 1"),
    "many-wrong-keys": ("jobs", b"".join(b"k%d = 1\n" % k for k in range(500))),
    "a-key-that-steers-the-terminal": ("jobs", b'"\\u001b[2J\\u202e" = 1'),
    "a-key-of-two-lines": ("jobs", b'"a\\nknurlcam: all is well" = 1'),
    "a-shop-of-odd-names": ("shops", b'\0rolls."\\u200b".forms = ["AA"]'),
    "a-fraction-with-a-nul": ("quantities", b"1 1/2\0mm"),
    "a-list-in-a-cell-too-deep": ("variants", b"\0part.name,tool.rolls\nA," + b"[" * 3000),
    "a-line-of-a-number-no-float-holds": ("variants", b"\2" + b"9" * 400),
    "a-cell-of-a-number-too-long": ("variants", b'\2{"part.number": [' + b"9" * 4200 + b"]}"),
    "a-workbook-that-points-before-its-beginning": (
        "variants",
        b"\3PK\5\6" + b"\0" * 4 + b"\1\0\1\0" + b"\x2e\0\0\0" + b"\xf0\xff\xff\x7f" + b"\0\0",
    ),
    "a-row-far-below": ("variants", book(ROWS_END, b'<row r="1048576"><c><v>1</v></c></row>')),
    "a-row-below-any": ("variants", book(ROWS_END, b'<row r="999999999"/>')),
    "a-cell-far-beside-in-each-row": (
        "variants",
        book(ROWS_END, b'@9000*<row><c r="XFD2"><v>1</v></c></row>@'),
    ),
    "millions-of-cells": ("variants", book(ROWS_END, b"<row>@4000000*<c/>@</row>")),
    "millions-of-rows": ("variants", book(ROWS_END, b"@2000000*<row/>@")),
    "millions-of-other-things": ("variants", book(ROWS_END, b"@4000000*<a/>@")),
    "an-attribute-of-megabytes": ("variants", book(ROWS_END, b'<row a="@9000000*a@"/>')),
    "entities-in-entities": (
        "variants",
        book(
            b"<worksheet",
            b'<!DOCTYPE x [<!ENTITY a "@9000*a@"><!ENTITY b "@900*&a;@"><!ENTITY c "@900*&b;@">]>',
        ).replace(b"<t>A</t>", b"<t>&c;</t>"),
    ),
    "thousands-of-sheets": (
        "variants",
        book(b"</sheets>", b'@7000*<sheet name="A" sheetId="1" r:id="rId1"/>@'),
    ),
    "thousands-of-fonts": ("variants", book(b"</fonts>", b"@90000*<font/>@")),
    "millions-of-shared-texts": ("variants", texts(b"@1000000*<si><t>x</t></si>@")),
    "a-remark-of-megabytes": ("variants", texts(b"<!-- @9000000*<@ -->")),
    "rolls-as-narrow-as-a-hair": (
        "jobs",
        seeds.jobs()[12].replace(b"face_width = 10.0", b"face_width = 0.0254"),
    ),
    "an-entry-without-a-number": (
        "folders",
        seeds.folders()[1].replace(b'"process": {}', b'"process": {"feed": NaN}'),
    ),
    "an-index-too-deep": (
        "folders",
        b'\0\n==== index.json ====\n{"made_by": "knurlcam family", "base": "", "table": "", '
        b'"parts": [\n' + b"[" * 5000,
    ),
    "a-mark-too-deep": (
        "folders",
        b"\0\n==== .unfinished/family.json ====\n" + b"[" * 5000,
    ),
}
"""Inputs that hit once: a traceback, a flood, a steered terminal, or minutes of work."""


@pytest.mark.few(10)
@pytest.mark.parametrize(("name", "data"), REGRESSIONS.values(), ids=REGRESSIONS)
def test_what_hit_once_hits_no_more(name: str, data: bytes) -> None:
    assert run_one(TARGETS[name], data, most_seconds=10.0).hit is None


def test_what_raises_or_eats_memory_is_reported(tmp_path: Path) -> None:
    names = [f"tests.long.fuzz.broken:{name}" for name in ("raises", "eats")]
    raises, eats = campaign(names, 0.5, tmp_path, side_by_side=2, guided=False, patience_s=60.0)
    assert [hit.kind for hit in raises.hits] == ["raised"]
    assert "nobody caught this" in raises.hits[0].story
    assert [hit.kind for hit in eats.hits] == ["memory"]
    assert eats.hits[0].file.read_bytes() != b"a"
    table = table_of([raises, eats]).splitlines()
    assert [line.split()[0] for line in table] == ["target", *names]
    assert [line.split()[-1] for line in table] == ["hits", "1", "1"]


@pytest.mark.long  # it waits until no progress is seen
def test_what_hangs_is_reported(tmp_path: Path) -> None:
    (result,) = campaign(
        ["tests.long.fuzz.broken:hangs"], 0.5, tmp_path, guided=False, patience_s=5.0
    )
    assert [hit.kind for hit in result.hits] == ["hangs"]
    assert result.hits[0].file.read_bytes() != b"a"


def test_an_input_that_takes_long_is_reported() -> None:
    target = Target(lambda _: None, lambda data, _: data, list, in_files=False)
    ran = run_one(target, b"", most_seconds=-1.0)
    assert ran.hit is not None
    assert ran.hit.kind == "slow"


@pytest.mark.parametrize(
    "message",
    ["\x1b[2J", "a\tb", "\u202e", "\ud800", "\ue000", "x" * (MOST_CHARACTERS + 1)],
    ids=ascii,
)
def test_a_message_that_harms_a_terminal_is_reported(message: str) -> None:
    hit = what_is_wrong_with(message, "")
    assert hit is not None
    assert hit.kind == "message"


@pytest.mark.parametrize("odd", ["\x1b[2J", "\u202e", "\ud800", "\n", "\x85"], ids=ascii)
def test_no_field_of_an_error_brings_what_is_not_seen_into_its_message(odd: str) -> None:
    error = InputError(
        f"a{odd}", where=f"b{odd}", key=f"c{odd}", value=odd, expected=f"d{odd}", remedy=f"e{odd}"
    )
    assert str(error).isprintable()
    assert error.key == f"c{odd}"
