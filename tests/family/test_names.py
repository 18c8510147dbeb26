"""Names of files, from parts' names and as given."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knurlcam import InputError
from knurlcam.family.names import as_given, folded, from_part_name, page_name


@pytest.mark.few(5)
@pytest.mark.parametrize(
    ("name", "file"),
    [
        ("Knob 25", "knob-25.nc"),
        ("  Knob / 25 \\ x ", "knob-25-x.nc"),
        ("../../etc/passwd", "etc-passwd.nc"),
        ("Knob 0.750 in", "knob-0.750-in.nc"),
        ("Größe Ø12", "grosse-o12.nc"),
        ("CON", "part-con.nc"),
        ("lpt1", "part-lpt1.nc"),
        ("aux.x", "part-aux.x.nc"),
        ("index", "part-index.nc"),
        ("a\u202eb\x00c", "a-b-c.nc"),
        (".hidden", "hidden.nc"),
    ],
)
def test_a_parts_name_becomes_a_plain_file_name(name: str, file: str) -> None:
    assert from_part_name(name) == file


@given(st.text(min_size=1, max_size=300))
def test_whatever_a_part_is_called_its_file_stays_in_the_folder(name: str) -> None:
    with suppress(InputError):
        file = from_part_name(name)
        assert as_given(file, "file") == file
        assert file.isascii()
        assert Path(file).name == file


@pytest.mark.few(12)
@pytest.mark.parametrize(
    "name",
    [
        "../x.nc", "/etc/x.nc", "a/b.nc", "a\\b.nc", "C:x.nc", "C:\\x.nc", "..", ".", ".x.nc",
        "-x.nc", "~x.nc", "x.", "x.nc ", " x.nc", "con", "CON.nc", "nul.tar.nc", "COM1.nc",
        "lpt\u00b9.nc", "a\x00.nc", "a\nb.nc", "a\u202ecn.nc", "a?.nc", "a*.nc", 'a".nc', "a|b",
        "x" * 130 + ".nc", "\u00e9" * 70, "index.nc", "INDEX.NC", "x.html", "x.toml", "x.csv",
        "\ud800.nc",
    ],
)  # fmt: skip
def test_a_name_that_is_no_plain_file_name_is_refused(name: str) -> None:
    with pytest.raises(InputError, match="is not a usable file name") as caught:
        as_given(name, "file")
    assert caught.value.key == "file"


@pytest.mark.parametrize(
    ("name", "file"),
    [("a", "a.nc"), ("a.tap", "a.tap"), ("knob-1.000", "knob-1.000.nc"), ("Ж 5.nc", "Ж 5.nc")],
)
def test_a_name_that_is_given_is_kept(name: str, file: str) -> None:
    assert as_given(name, "file") == file


def test_names_that_some_file_system_or_a_page_takes_for_one_are_folded_together() -> None:
    assert folded("Knob.nc") == folded("knob.NC") == folded("knob.tap")
    assert folded("e\u0301.nc") == folded("\u00e9.nc")
    assert page_name("knob-1.000-in.nc") == "knob-1.000-in.html"
