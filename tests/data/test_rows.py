"""Where tables are found, and what a broken one says."""

from __future__ import annotations

import ast
import copy
import pickle
import pkgutil
import re
import sys
from importlib import import_module
from pathlib import Path
from types import ModuleType

import pytest

import knurlcam.data
from knurlcam import Job, JobFileError, parse_callout
from knurlcam.data.caches import clear_caches
from knurlcam.data.cautions import cautions, header_lines
from knurlcam.data.fits import fit_friction, standard_tolerances
from knurlcam.data.folders import TABLES_VARIABLE, data_folder
from knurlcam.data.knurls import (
    diametral_pitches,
    forms,
    profile_angles_deg,
    standard_pitches_mm,
    trade_tpi,
)
from knurlcam.data.material_names import find_material
from knurlcam.data.materials import materials
from knurlcam.data.rolls import roll_sets, rolls
from knurlcam.data.speeds import speed_rules, turning_speeds
from knurlcam.errors import InputError
from knurlcam.job.geometry import called_geometry
from tests.support.jobs import base_job
from tests.support.tables import shipped


@pytest.mark.parametrize("name", ["shared", "postprocessors"])
def test_data_folders_are_found(name: str) -> None:
    assert any(data_folder(name).iterdir())


def test_a_missing_data_folder_is_named() -> None:
    with pytest.raises(InputError, match="no-such-folder: the folder of data is missing"):
        data_folder("no-such-folder")


def test_a_shops_own_table_stands_in_for_the_one_of_that_name(own: Path) -> None:
    row = 'name = "oak"\naliases = []\nturning_speed_m_min = { value = 90, source = "shop" }'
    (own / "materials.toml").write_text(f'sources.shop = "our own trial"\n[[material]]\n{row}\n')
    assert [m.name for m in materials()] == ["oak"]
    assert find_material("Oak").sources == {"turning_speed_m_min": "our own trial"}
    assert len(forms()) == 7, "the other tables are still those of knurlcam"


def test_a_byte_order_mark_and_windows_line_ends_are_taken(own: Path) -> None:
    text = shipped("cautions.toml").replace("\n", "\r\n")
    (own / "cautions.toml").write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert len(cautions()) == 6


def test_a_tables_folder_that_does_not_exist_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(TABLES_VARIABLE, "/no/such/folder")
    with pytest.raises(InputError, match="KNURLCAM_TABLES: is not a folder") as caught:
        forms()
    assert caught.value.value == "/no/such/folder"


BROKEN = [
    # file, text that stands there, text that takes its place, what the message says
    (
        "materials",
        'name = "steel 1018"',
        'nam = "steel 1018"',
        r"material 6, nam: unknown key.*'name'",
    ),
    (
        "materials",
        'name = "steel 1018"',
        "name = 1018",
        r"material 6 \(1018\), name: is not a text",
    ),
    (
        "materials",
        'name = "steel 1018"',
        'name = "steel 1020"',
        r"name: already names 'steel 1020'",
    ),
    (
        "materials",
        '"AISI 1045",',
        '"aisi-1018",',
        r"steel 1045\), aliases: already names 'steel 1018'",
    ),
    ("materials", 'value = 220, source = "shigley-a20"', "value = 220", "source: is missing"),
    ("materials", '220, source = "shigley-a20"', '220, source = "shigly-a20"', "'shigley-a20'"),
    ("materials", "{ value = 220,", "{ value = -220,", "yield_strength_mpa, value: .*given: -220"),
    ("materials", "{ value = 220,", "{ value = 2200,", "above the tensile .*2200.*at most 400 MPa"),
    ("materials", "{ value = 220,", "{ value = nan,", "given: nan"),
    ("materials", "{ value = 220,", "{ value = inf,", "given: inf"),
    ("materials", "{ value = 220,", "{ value = true,", "given: True"),
    ("materials", "{ value = 220,", f"{{ value = 1{'0' * 400},", "value: is not a valid number"),
    ("materials", "{ value = 220,", "{ valeu = 220,", r"valeu: unknown key.*'value'"),
    (
        "materials",
        '{ value = 220, source = "shigley-a20" }',
        "220",
        "yield_strength_mpa: is not a table",
    ),
    ("materials", "{ value = 0.32,", "{ value = 0.5,", "poisson_ratio, value: .*below 0.5"),
    ("materials", "[[material]]", "[[materials]]", r"materials: unknown key.*'material'"),
    ("materials", "\n[sources]", "\n[sources", "is not TOML.*line"),
    ("knurls", 'family = "raised"', 'family = "rised"', "family: .*'rised'.*straight, raised"),
    ("knurls", 'form = "RBL"', 'form = "RAA"', "form: appears twice"),
    ("knurls", "helical = true", "helical = 1", "helical: is not true or false"),
    ("knurls", "helix_deg = 30.0", "helix_deg = 90.0", "helix_deg: .*at least 0 and below 90"),
    ("knurls", "growth_factor = 0.67", "", r"RGE\), growth_factor: is missing"),
    ("knurls", "values_mm = [0.5,", "values_mm = [0.0,", "standard_pitches, values_mm: .*above 0"),
    ("knurls", "values_mm = [0.5,", 'values_mm = ["0.5",', "values_mm: is not a list of numbers"),
    ("knurls", "coarse = 14", "coarse = 14.5", "trade_tpi, coarse: is not a whole number"),
    ("knurls", "diametral_pitch = 96", "diametral_pitch = 64", "diametral_pitch: appears twice"),
    (
        "knurls",
        "[0.005, -0.012]",
        "[-0.012, 0.005]",
        r"64\), I, knurled_in: is not a pair of limits",
    ),
    (
        "rolls",
        'rolls = ["KV"]',
        'rolls = ["KX"]',
        r"roll_set 19 \(RKE\), rolls: names an unknown roll",
    ),
    ("rolls", 'rolls = ["KV"]', "rolls = []", "rolls: is not one or two rolls"),
    ("rolls", 'rolls = ["KV"]', 'rolls = "KV"', "rolls: is not a list of texts"),
    ("speeds", "[20, 40]", "[40, 20]", "roughing: is not a range"),
    ("speeds", 'unit = "ft/min"', 'unit = "ft/s"', "unit: .*'ft/s'.*m/min, ft/min"),
    (
        "speeds",
        '{ value = 0.5, source = "practice" }\ninfeed',
        '{ value = 5.0, source = "practice" }\ninfeed',
        "is outside the usual feed",
    ),
    ("fits", "counted_on = { value = 0.08,", "counted_on = { value = 0.8,", "above what the press"),
    ("fits", "up_to_mm = 10\n", "up_to_mm = 11\n", "over_mm: leaves a gap .*given: 10.*11 mm"),
    ("fits", "up_to_mm = 10\n", "up_to_mm = 5\n", "up_to_mm: ends before it begins"),
    ("fits", "IT6_um = { value = 8,", "IT6_um = { value = 80,", "a finer grade is wider"),
    ("cautions", "EYE PROTECTION.", "EYE PROTECTION!", "caution 1, short: does not fit"),
    ("cautions", "EYE PROTECTION.", "EYE PROTECTION. EYES.", "short: .*59 characters"),
    ("cautions", 'text = "Wear eye protection."', 'text = " "', "caution 1, text: is not a text"),
]


def read_everything() -> None:
    for reader in (
        materials,
        forms,
        standard_pitches_mm,
        profile_angles_deg,
        trade_tpi,
        diametral_pitches,
        rolls,
        lambda: roll_sets("RAA"),
        speed_rules,
        turning_speeds,
        fit_friction,
        standard_tolerances,
        header_lines,
    ):
        reader()


@pytest.mark.few(12)
@pytest.mark.parametrize(("file", "good", "bad", "message"), BROKEN)
def test_a_broken_table_is_refused_with_file_row_and_key(
    own: Path, file: str, good: str, bad: str, message: str
) -> None:
    text = shipped(f"{file}.toml")
    assert good in text, "the case no longer breaks anything"
    (own / f"{file}.toml").write_text(text.replace(good, bad, 1), encoding="utf-8")
    with pytest.raises(InputError, match=message) as caught:
        read_everything()
    assert caught.value.where == str(own / f"{file}.toml")


def test_a_table_that_is_not_utf8_is_refused(own: Path) -> None:
    (own / "cautions.toml").write_bytes("# für\n".encode("latin-1"))
    with pytest.raises(InputError, match=r"cautions\.toml: line 1: byte 0xfc is not UTF-8 text"):
        cautions()


def test_a_table_nested_beyond_reason_is_refused(own: Path) -> None:
    (own / "cautions.toml").write_text("a = " + "[" * 50_000)
    with pytest.raises(InputError, match="is not TOML"):
        cautions()


def test_a_folder_in_the_place_of_a_table_is_refused(own: Path) -> None:
    (own / "cautions.toml").mkdir()
    with pytest.raises(InputError, match=r"cautions\.toml: is a folder"):
        cautions()


def test_rows_can_be_copied_pickled_and_hashed() -> None:
    for row in (find_material("1018"), diametral_pitches()[96], speed_rules()):
        assert pickle.loads(pickle.dumps(row)) == row
        assert copy.deepcopy(row) == row
        assert hash(row) == hash(copy.deepcopy(row))


def test_a_table_is_read_once() -> None:
    assert materials() is materials()


DATA = [
    import_module(f"knurlcam.data.{module.name}")
    for module in pkgutil.iter_modules(knurlcam.data.__path__)
]


def test_tables_need_the_standard_library_only() -> None:
    names = {
        str(node.module)
        for module in DATA
        for node in ast.walk(ast.parse(Path(str(module.__file__)).read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom)
    }
    outside = {name for name in names if name.split(".")[0] not in sys.stdlib_module_names}
    own = {name for name in outside if name.startswith("knurlcam.data.")}
    assert outside - own == {"knurlcam.errors", "knurlcam.text", "knurlcam.toml"}


@pytest.mark.parametrize("module", DATA, ids=lambda m: m.__name__)
def test_every_exported_name_exists(module: ModuleType) -> None:
    assert [name for name in module.__all__ if not hasattr(module, name)] == []


def test_everything_that_is_cached_can_be_forgotten() -> None:
    read_everything()
    cached = {v for m in DATA for v in vars(m).values() if hasattr(v, "cache_info")}
    assert any(reader.cache_info().currsize for reader in cached)
    clear_caches()
    assert [reader for reader in cached if reader.cache_info().currsize] == []


def test_what_was_made_from_the_tables_is_made_again_from_changed_ones(own: Path) -> None:
    assert parse_callout("coarse straight").value == 14.0
    text = shipped("knurls.toml")
    (own / "knurls.toml").write_text(text.replace("coarse = 14", "coarse = 15"), encoding="utf-8")
    clear_caches()
    assert parse_callout("coarse straight").value == 15.0
    assert called_geometry(parse_callout("coarse straight")).pitch_mm == pytest.approx(25.4 / 15)


def test_a_section_is_checked_again_by_changed_tables(own: Path) -> None:
    assert Job.build(base_job({"tool.rolls": "BL BR"})).tool.rolls == ("BL", "BR")
    rolls, count = re.subn('form = "BL"', 'form = "ZL"', shipped("rolls.toml"))
    rolls = rolls.replace('"BL"', '"ZL"')
    assert count
    (own / "rolls.toml").write_text(rolls, encoding="utf-8")
    clear_caches()
    with pytest.raises(JobFileError, match="unknown roll form"):
        Job.build(base_job({"tool.rolls": "BL BR"}))
