"""The reference tables against the figures that their sources print.

Rows marked "from memory" were not seen in the source.
"""

from __future__ import annotations

import ast
import copy
import math
import pickle
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from knurlcam import Job, JobFileError, parse_callout
from knurlcam.data import tables
from knurlcam.errors import InputError
from knurlcam.job.geometry import called_geometry
from tests.support.jobs import base_job

A20 = "Shigley's Mechanical Engineering Design, 9th ed., Table A-20, p. 1040"
B4 = "Callister, Fundamentals, 3rd ed., Table B.4, p. 809 to 811"
B4_MEMORY = "Callister, Table B.4, from memory"
B12 = "Callister, Tables B.1 and B.2"
D52 = "Dowling, 4th ed., Table 5.2, p. 202"
D42 = "Dowling, 4th ed., Table 4.2, p. 138"
D46 = "Dowling, 4th ed., Table 4.6, p. 152"
AVERAGE = "mechanics of materials appendix, average mechanical properties"
TO = "T.O. 1-1A-9, Table 2-8, p. 2-72"
TMT = "Technology of Machine Tools, from memory"
DIN82 = "DIN 82:1973-01, section 2.4"
TABLE_4 = "Machinery's Handbook, 31st ed., p. 1059, Table 4"
FIGURES = [name for name in tables.Material.__slots__ if name not in ("name", "aliases", "sources")]


@pytest.fixture(autouse=True)
def fresh_tables(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.delenv(tables.TABLES_VARIABLE, raising=False)
    tables.clear_caches()
    yield
    tables.clear_caches()


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return an empty folder that knurlcam takes for the shop's own tables."""
    monkeypatch.setenv(tables.TABLES_VARIABLE, str(tmp_path))
    return tmp_path


def shipped(name: str) -> str:
    return (tables.data_folder("shared") / name).read_text(encoding="utf-8")


# name in the table, figures printed, digits printed as the tolerance, source
STRENGTHS = [
    # yield MPa, tensile MPa, elongation %, Brinell
    ("1010 CD", (300, 370, 20, 105), A20),
    ("AISI 1018", (220, 400, 25, 116), A20),
    ("AISI 1020", (210, 380, 25, 111), A20),
    ("AISI 1020 CD", (390, 470, 15, 131), A20),
    ("AISI 1045", (310, 570, 16, 163), A20),
    ("AISI 1045 CD", (530, 630, 12, 179), A20),
    ("AISI 4140", (417, 655, 25.7, None), B4),
    ("AISI 4340", (472, 745, 22, None), B4),
    ("2024-T3", (345, 485, 18, None), B4),
    ("6061-T6", (276, 310, 17, None), B4),
    ("7075-T6", (505, 572, 11, None), B4),
    ("7075-T6", (None, None, None, 150), D46),
    ("C11000", (69, 220, 45, None), B4),
    ("C11000 H04", (310, 345, 12, None), B4),
    ("Ti-6Al-4V", (830, 900, 14, None), B4),
    ("60-40-18", (276, 414, 18, None), B4),
    ("AISI 304", (207, 517, None, None), AVERAGE),
    ("AISI 304", (None, None, 40, None), B4_MEMORY),
    ("AISI 316", (205, 515, 40, None), B4_MEMORY),
    ("C26000", (75, 300, 68, None), B4_MEMORY),
    ("C36000", (310, 400, 25, None), B4_MEMORY),
    ("C86100", (345, 655, None, None), AVERAGE),
    ("grey iron", (None, 179, None, None), AVERAGE),
]


@pytest.mark.parametrize(("name", "printed", "source"), STRENGTHS)
def test_strength_and_hardness_are_those_of_the_source(
    name: str, printed: tuple[float | None, ...], source: str
) -> None:
    m = tables.find_material(name)
    ours = (m.yield_strength_mpa, m.tensile_strength_mpa, m.elongation_percent, m.brinell)
    seen = tuple(
        own if figure is not None else None for own, figure in zip(ours, printed, strict=True)
    )
    assert seen == printed, f"{name} differs from {source}"


ELASTIC = [
    # Young's modulus GPa, Poisson's ratio, density kg/m³; tolerance 0: the digits printed
    ("1020", (203, None, None), D42),
    ("4140", (200, 0.32, 7850), f"{AVERAGE}, steel A36"),
    ("304", (193, None, 8000), B12),
    ("304", (193, 0.27, None), AVERAGE),
    ("2024", (72.4, None, 2770), B12),
    ("6061", (69, None, 2700), B12),
    ("6082", (70.3, 0.345, None), D52),
    ("brass", (101, 0.35, None), D52),
    ("copper", (130, 0.343, None), D52),
    ("C86100", (103, 0.34, 8830), AVERAGE),
    ("grey iron", (67.0, 0.28, 7190), AVERAGE),
    ("Ti-6Al-4V", (120, 0.36, 4430), AVERAGE),
]


@pytest.mark.parametrize(("name", "printed", "source"), ELASTIC)
def test_elastic_constants_and_density_are_those_of_the_source(
    name: str, printed: tuple[float | None, ...], source: str
) -> None:
    m = tables.find_material(name)
    ours = (m.youngs_modulus_gpa, m.poisson_ratio, m.density_kg_m3)
    seen = tuple(
        own if figure is not None else None for own, figure in zip(ours, printed, strict=True)
    )
    assert seen == printed, f"{name} differs from {source}"


@pytest.mark.parametrize("name", ["grey iron", "EN-GJL-250"])
def test_grey_iron_has_no_yield_strength_and_no_elongation(name: str) -> None:
    m = tables.find_material(name)
    assert (m.yield_strength_mpa, m.elongation_percent) == (None, None), f"{B4} gives neither"


TURNING_SPEEDS = [
    # material, [low, high] as printed, unit in m/min, tolerance m/min, source
    ("304", (20, 40), 0.3048, 0.05, TO),
    ("316", (20, 40), 0.3048, 0.05, TO),
    ("303", (25, 55), 0.3048, 0.05, TO),
    ("416", (30, 60), 0.3048, 0.05, TO),
    ("1018", (27, 27), 1.0, 0.0, TMT),
    ("4140", (21, 21), 1.0, 0.0, TMT),
    ("grey iron", (18, 18), 1.0, 0.0, TMT),
    ("bronze", (27, 27), 1.0, 0.0, TMT),
    ("6082", (61, 61), 1.0, 0.0, TMT),
]


@pytest.mark.parametrize(("name", "printed", "unit", "tolerance", "source"), TURNING_SPEEDS)
def test_turning_speed_is_the_middle_of_the_roughing_range(
    name: str, printed: tuple[float, float], unit: float, tolerance: float, source: str
) -> None:
    middle = sum(printed) / 2 * unit
    ours = tables.find_material(name).turning_speed_m_min
    assert ours == pytest.approx(middle, abs=tolerance), source


@pytest.mark.parametrize(
    ("material", "roughing_ft", "finishing_ft"),
    [  # T.O. 1-1A-9, Table 2-8, p. 2-72, read
        ("stainless steel 302, 304, 309, 310, 314, 316", (20, 40), (50, 80)),
        ("stainless steel 321, 347, 420, 431, 440, 442, 446", (20, 40), (55, 90)),
        ("stainless steel 416, 430F", (30, 60), (75, 120)),
        ("stainless steel 303, 420F", (25, 55), (65, 105)),
    ],
)
def test_stainless_turning_speeds_are_those_of_the_technical_order(
    material: str, roughing_ft: tuple[int, int], finishing_ft: tuple[int, int]
) -> None:
    row = next(row for row in tables.turning_speeds() if row.material == material)
    assert row.roughing_m_min == pytest.approx([v * 0.3048 for v in roughing_ft])
    assert row.finishing_m_min == pytest.approx([v * 0.3048 for v in finishing_ft])


@pytest.mark.parametrize("figure", FIGURES)
def test_every_figure_of_every_material_names_its_source(figure: str) -> None:
    for material in tables.materials():
        given = getattr(material, figure) is not None
        assert given == bool(material.sources.get(figure)), f"{material.name}: {figure}"


def test_every_material_has_what_loads_are_computed_from() -> None:
    needed = ("tensile_strength_mpa", "youngs_modulus_gpa", "poisson_ratio", "brinell")
    lacking = [m.name for m in tables.materials() if any(getattr(m, n) is None for n in needed)]
    assert lacking == []


@pytest.mark.parametrize(
    ("alias", "name"),
    [
        ("11SMn30", "steel 11SMn30"),
        ("1018", "steel 1018"),
        ("C45", "steel 1045"),
        ("1045", "steel 1045"),
        ("42CrMo4", "steel 4140"),
        ("1.7225", "steel 4140"),
        ("1.4305", "stainless 303"),
        ("X5CrNi18-10", "stainless 304"),
        ("AISI 304", "stainless 304"),
        ("CuZn39Pb3", "brass CuZn39Pb3"),
        ("C36000", "brass CuZn39Pb3"),
        ("bronze", "bronze C93200"),
        ("C11000", "copper C11000"),
        ("AlMgSi1", "aluminium 6082-T6"),
        ("EN AW-6082", "aluminium 6082-T6"),
        ("2024-T351", "aluminium 2024-T3"),
        ("grey iron", "grey iron ASTM 20"),
        ("TiAl6V4", "titanium Ti-6Al-4V"),
    ],
)
def test_materials_are_found_by_the_names_of_both_systems(alias: str, name: str) -> None:
    assert tables.find_material(alias).name == name


@pytest.mark.parametrize(
    ("spelling", "name"),
    [
        ("aluminum 6061-T6", "aluminium 6061-T6"),
        ("ALUMINIUM 6061 T6", "aluminium 6061-T6"),
        ("gray iron", "grey iron ASTM 20"),
        ("x5crni18 10", "stainless 304"),
        ("EN AW–6082", "aluminium 6082-T6"),
        ("14301", "stainless 304"),
        ("AlZn5,5MgCu", "aluminium 7075-T6"),
    ],
)
def test_case_spaces_hyphens_and_spelling_do_not_count(spelling: str, name: str) -> None:
    assert tables.find_material(spelling).name == name


def test_every_name_and_alias_finds_its_own_row() -> None:
    for material in tables.materials():
        for name in (material.name, *material.aliases):
            assert tables.find_material(name) is material, f"{name!r} finds another row"


def test_an_unknown_material_is_refused_with_the_nearest_name() -> None:
    with pytest.raises(InputError, match=r"did you mean 'aluminium 6082-T6'\?") as caught:
        tables.find_material("aluminum 6028-T6")
    assert caught.value.value == "aluminum 6028-T6"
    assert caught.value.expected == "a name or alias of the material table, or a table of its own"


def test_a_material_like_no_other_is_refused_with_all_the_names() -> None:
    with pytest.raises(InputError, match="known: steel 11SMn30") as caught:
        tables.find_material("granite !")
    assert "AlMgSi1" not in str(caught.value), "aliases would flood the message"


# Knurls


@pytest.mark.parametrize(
    ("form", "printed"),
    [  # DIN 82:1973-01, section 2.4: RKV read, the others from memory
        ("RAA", 0.5),
        ("RBL", 0.5),
        ("RBR", 0.5),
        ("RGE", 0.67),
        ("RGV", 0.33),
        ("RKE", 0.67),
        ("RKV", 0.33),
    ],
)
def test_growth_factors_are_those_of_the_standard(form: str, printed: float) -> None:
    assert tables.forms()[form].growth_factor == printed, DIN82


@pytest.mark.parametrize(
    ("family", "exact"), [("straight", 1 / 2), ("raised", 2 / 3), ("indented", 1 / 3)]
)
def test_growth_factors_agree_with_volume_kept(family: str, exact: float) -> None:
    ours = {f.growth_factor for f in tables.forms().values() if f.family == family}
    assert [round(exact, 2)] == sorted(ours), "a pyramid is a third of its prism"


def test_only_diagonals_and_diamonds_have_a_helix() -> None:
    angles = {form: row.helix_deg for form, row in tables.forms().items()}
    assert angles == {"RAA": 0, "RBL": 30, "RBR": 30, "RGE": 30, "RGV": 30, "RKE": 0, "RKV": 0}
    assert all(row.helical == (row.helix_deg > 0) for row in tables.forms().values())


def test_hands_are_those_of_the_letters() -> None:
    hands = {form: row.hand for form, row in tables.forms().items()}
    assert (hands["RBL"], hands["RBR"], hands["RGE"], hands["RAA"]) == (
        "left",
        "right",
        "both",
        "none",
    )


def test_pitches_angles_and_trade_words_are_those_of_the_standard_and_the_trade() -> None:
    assert tables.standard_pitches_mm() == (0.5, 0.6, 0.8, 1.0, 1.2, 1.6), "DIN 82, from memory"
    assert tables.profile_angles_deg() == (90.0, 105.0), "DIN 82; 105 from memory"
    assert tables.trade_tpi() == {"coarse": 14, "medium": 21, "fine": 33}, "TC 9-524, from memory"


TOLERANCES = [
    # DP, class, (upper, lower) of the knurled diameter, of the blank; inch; Table 4
    # Class I read; class II but for two upper limits, and class III, from memory
    (64, "I", (0.005, -0.012), (0.0015, -0.0015)),
    (96, "I", (0.004, -0.010), (0.0010, -0.0010)),
    (128, "I", (0.003, -0.008), (0.0007, -0.0007)),
    (160, "I", (0.002, -0.006), (0.0005, -0.0005)),
    (64, "II", (0.0, -0.010), (0.0015, -0.0015)),
    (96, "II", (0.0, -0.009), (0.0010, -0.0010)),
    (128, "II", (0.0, -0.008), (0.0007, -0.0007)),
    (160, "II", (0.0, -0.006), (0.0005, -0.0005)),
    (64, "III", (0.0, -0.006), (0.0, -0.0015)),
    (96, "III", (0.0, -0.005), (0.0, -0.0010)),
    (128, "III", (0.0, -0.004), (0.0, -0.0007)),
    (160, "III", (0.0, -0.003), (0.0, -0.0005)),
]


@pytest.mark.parametrize(("pitch", "tolerance_class", "knurled", "blank"), TOLERANCES)
def test_tolerances_are_those_of_the_handbook(
    pitch: int, tolerance_class: str, knurled: tuple[float, float], blank: tuple[float, float]
) -> None:
    row = tables.diametral_pitches()[pitch]
    assert row.knurled_in[tolerance_class] == knurled, TABLE_4
    assert row.blank_in[tolerance_class] == blank, TABLE_4


@pytest.mark.parametrize(
    ("pitch", "straight", "diagonal"),
    [(64, 0.024, 0.021), (96, 0.016, 0.014), (128, 0.012, 0.010), (160, 0.009, 0.008)],
)
def test_roll_tooth_depths_are_those_of_the_handbook(
    pitch: int, straight: float, diagonal: float
) -> None:
    depth = tables.diametral_pitches()[pitch].tooth_depth_in
    assert depth == {"straight": straight, "diagonal": diagonal}, "Table 2, from memory"


@pytest.mark.parametrize(("pitch", "share"), [(64, 0.031), (96, 0.031), (128, 0.029), (160, 0.025)])
def test_class_one_blank_tolerance_is_about_a_thirtieth_of_the_pitch(
    pitch: int, share: float
) -> None:
    upper, lower = tables.diametral_pitches()[pitch].blank_in["I"]
    assert upper == -lower
    assert upper / (math.pi / pitch) == pytest.approx(share, abs=0.0005)


# Rolls


@pytest.mark.parametrize(
    ("form", "count", "rolls"),
    [  # DIN 82:1973-01, p. 1 to 3, read; BL with BR for RGE from memory
        ("RAA", 1, ("AA",)),
        ("RAA", 2, ("AA", "AA")),
        ("RBL", 1, ("BR",)),
        ("RBL", 2, ("BR", "BR")),
        ("RBR", 1, ("BL",)),
        ("RBR", 2, ("BL", "BL")),
        ("RGE", 2, ("BL", "BR")),
        ("RGE", 1, ("GV",)),
        ("RGV", 1, ("GE",)),
        ("RKE", 1, ("KV",)),
        ("RKV", 1, ("KE",)),
    ],
)
def test_default_rolls_are_those_of_the_standard(
    form: str, count: int, rolls: tuple[str, ...]
) -> None:
    first = next(row for row in tables.roll_sets(form) if len(row.rolls) == count)
    assert (first.rolls, first.swivelled) == (rolls, False)


def test_every_form_has_rolls_and_every_roll_is_used() -> None:
    used = {roll for form in tables.forms() for row in tables.roll_sets(form) for roll in row.rolls}
    assert used == set(tables.rolls())


def test_only_straight_and_helical_rolls_traverse() -> None:
    assert {form for form, roll in tables.rolls().items() if roll.traverses} == {"AA", "BL", "BR"}


def test_only_rolls_that_traverse_are_paired_or_swivelled() -> None:
    for row in (row for form in tables.forms() for row in tables.roll_sets(form)):
        plunges = not all(tables.rolls()[roll].traverses for roll in row.rolls)
        assert not (plunges and (row.swivelled or len(row.rolls) == 2)), row


def test_a_form_without_rolls_is_refused_with_the_nearest() -> None:
    with pytest.raises(InputError, match=r"given: 'RGX'.*did you mean 'RG[EV]'\?"):
        tables.roll_sets("RGX")


# Speeds


def test_speed_rules_are_those_of_the_trade() -> None:
    rules = tables.speed_rules()
    assert (rules.turning_speed_factor, rules.reversal_limit_rpm) == (0.5, 150), "common practice"
    assert (rules.feed_default_mm_per_rev, rules.infeed_mm_per_rev) == (0.5, 0.05)
    # TC 9-524 (1996), chapter 7, from memory: 0.015 to 0.030 in/rev
    assert rules.feed_min_mm_per_rev == pytest.approx(0.015 * 25.4, abs=0.005)
    assert rules.feed_max_mm_per_rev == pytest.approx(0.030 * 25.4, abs=1e-9)
    assert all(rules.sources.values())


# Cautions


def test_cautions_name_every_danger_of_the_trade() -> None:
    said = " ".join(caution.text.casefold() for caution in tables.cautions())
    dangers = (
        "eye",
        "clothing",
        "sleeves",
        "jewellery",
        "rag",
        "brush",
        "oil can",
        "centre",
        "sharp",
    )
    assert [danger for danger in dangers if danger not in said] == []


def test_header_lines_say_the_same_in_a_few_lines() -> None:
    lines = tables.header_lines()
    said = " ".join(lines)
    dangers = ("EYE", "CLOTHES", "SLEEVES", "JEWELLERY", "RAG", "BRUSH", "HAND", "OIL CAN")
    assert [
        word for word in (*dangers, "CENTRE", "SHARP", "PROVES", "RULES") if word not in said
    ] == []
    assert len(lines) <= 6, "a header that is too long is not read"


def test_proving_comes_before_the_first_cut_and_after_local_rules() -> None:
    said = " ".join(tables.proving())
    assert "trained person proves every program first, at reduced speed" in said
    assert "machine's manual come first" in said


# Where tables are found, and what a broken one says


@pytest.mark.parametrize("name", ["shared", "postprocessors"])
def test_data_folders_are_found(name: str) -> None:
    assert any(tables.data_folder(name).iterdir())


def test_a_missing_data_folder_is_named() -> None:
    with pytest.raises(InputError, match="no-such-folder: the folder of data is missing"):
        tables.data_folder("no-such-folder")


def test_a_shops_own_table_stands_in_for_the_one_of_that_name(own: Path) -> None:
    row = 'name = "oak"\naliases = []\nturning_speed_m_min = { value = 90, source = "shop" }'
    (own / "materials.toml").write_text(f'sources.shop = "our own trial"\n[[material]]\n{row}\n')
    assert [m.name for m in tables.materials()] == ["oak"]
    assert tables.find_material("Oak").sources == {"turning_speed_m_min": "our own trial"}
    assert len(tables.forms()) == 7, "the other tables are still those of knurlcam"


def test_a_byte_order_mark_and_windows_line_ends_are_taken(own: Path) -> None:
    text = shipped("cautions.toml").replace("\n", "\r\n")
    (own / "cautions.toml").write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert len(tables.cautions()) == 6


def test_a_tables_folder_that_does_not_exist_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(tables.TABLES_VARIABLE, "/no/such/folder")
    with pytest.raises(InputError, match="KNURLCAM_TABLES: is not a folder") as caught:
        tables.forms()
    assert caught.value.value == "/no/such/folder"


BROKEN = [
    # file, text that stands there, text that takes its place, what the message says
    (
        "materials",
        'name = "steel 1018"',
        'nam = "steel 1018"',
        r"material 3, nam: unknown key.*'name'",
    ),
    (
        "materials",
        'name = "steel 1018"',
        "name = 1018",
        r"material 3 \(1018\), name: is not a text",
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
    ("materials", "{ value = 220,", f"{{ value = 1{'0' * 400},", "value: is not a fitting number"),
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
    ("knurls", 'form = "RBL"', 'form = "RAA"', "form: stands twice"),
    ("knurls", "helical = true", "helical = 1", "helical: is neither true nor false"),
    ("knurls", "helix_deg = 30.0", "helix_deg = 90.0", "helix_deg: .*at least 0 and below 90"),
    ("knurls", "growth_factor = 0.67", "", r"RGE\), growth_factor: is missing"),
    ("knurls", "values_mm = [0.5,", "values_mm = [0.0,", "standard_pitches, values_mm: .*above 0"),
    ("knurls", "values_mm = [0.5,", 'values_mm = ["0.5",', "values_mm: is not a list of numbers"),
    ("knurls", "coarse = 14", "coarse = 14.5", "trade_tpi, coarse: is not a whole number"),
    ("knurls", "diametral_pitch = 96", "diametral_pitch = 64", "diametral_pitch: stands twice"),
    (
        "knurls",
        "[0.005, -0.012]",
        "[-0.012, 0.005]",
        r"64\), I, knurled_in: is not a pair of limits",
    ),
    ("rolls", 'rolls = ["KV"]', 'rolls = ["KX"]', r"roll_set 19 \(RKE\), rolls: names no roll"),
    ("rolls", 'rolls = ["KV"]', "rolls = []", "rolls: is neither one roll nor two"),
    ("rolls", 'rolls = ["KV"]', 'rolls = "KV"', "rolls: is not a list of texts"),
    ("speeds", "[20, 40]", "[40, 20]", "roughing: is not a range"),
    ("speeds", 'unit = "ft/min"', 'unit = "ft/s"', "unit: .*'ft/s'.*m/min, ft/min"),
    (
        "speeds",
        '{ value = 0.5, source = "practice" }\ninfeed',
        '{ value = 5.0, source = "practice" }\ninfeed',
        "lies outside the usual feed",
    ),
    ("fits", "counted_on = { value = 0.08,", "counted_on = { value = 0.8,", "above what the press"),
    ("fits", "up_to_mm = 10\n", "up_to_mm = 11\n", "over_mm: leaves a gap .*given: 10.*11 mm"),
    ("fits", "up_to_mm = 10\n", "up_to_mm = 5\n", "up_to_mm: ends before it begins"),
    ("fits", "IT6_um = { value = 8,", "IT6_um = { value = 80,", "a finer grade is wider"),
    ("cautions", "EYE PROTECTION.", "EYE PROTECTION!", "caution 1, short: does not fit"),
    ("cautions", "EYE PROTECTION.", "EYE PROTECTION. EYE", "short: .*57 characters"),
    ("cautions", 'text = "Wear eye protection."', 'text = " "', "caution 1, text: is not a text"),
]


def read_everything() -> None:
    for reader in (
        tables.materials,
        tables.forms,
        tables.standard_pitches_mm,
        tables.profile_angles_deg,
        tables.trade_tpi,
        tables.diametral_pitches,
        tables.rolls,
        lambda: tables.roll_sets("RAA"),
        tables.speed_rules,
        tables.turning_speeds,
        tables.fit_friction,
        tables.standard_tolerances,
        tables.header_lines,
    ):
        reader()


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
        tables.cautions()


def test_a_table_nested_beyond_reason_is_refused(own: Path) -> None:
    (own / "cautions.toml").write_text("a = " + "[" * 50_000)
    with pytest.raises(InputError, match="is not TOML"):
        tables.cautions()


def test_a_folder_in_the_place_of_a_table_is_refused(own: Path) -> None:
    (own / "cautions.toml").mkdir()
    with pytest.raises(InputError, match=r"cautions\.toml: is a folder"):
        tables.cautions()


# What callers rely on


def test_rows_can_be_copied_pickled_and_hashed() -> None:
    for row in (tables.find_material("1018"), tables.diametral_pitches()[96], tables.speed_rules()):
        assert pickle.loads(pickle.dumps(row)) == row
        assert copy.deepcopy(row) == row
        assert hash(row) == hash(copy.deepcopy(row))


def test_a_table_is_read_once() -> None:
    assert tables.materials() is tables.materials()


def test_tables_import_the_standard_library_and_the_errors_only() -> None:
    tree = ast.parse(Path(tables.__file__).read_text(encoding="utf-8"))
    names = {n.name for node in ast.walk(tree) if isinstance(node, ast.Import) for n in node.names}
    names |= {str(node.module) for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    outside = {name for name in names if name.split(".")[0] not in sys.stdlib_module_names}
    assert outside == {"knurlcam.errors", "knurlcam.toml"}


@pytest.mark.parametrize("name", tables.__all__)
def test_every_exported_name_exists(name: str) -> None:
    assert hasattr(tables, name)


def test_everything_that_is_cached_can_be_forgotten() -> None:
    cached = {v for v in vars(tables).values() if hasattr(v, "cache_clear")}
    assert cached == set(tables._CACHED)


def test_what_was_made_from_the_tables_is_made_anew_from_changed_ones(own: Path) -> None:
    assert parse_callout("coarse straight").value == 14.0
    text = shipped("knurls.toml")
    (own / "knurls.toml").write_text(text.replace("coarse = 14", "coarse = 15"), encoding="utf-8")
    tables.clear_caches()
    assert parse_callout("coarse straight").value == 15.0
    assert called_geometry(parse_callout("coarse straight")).pitch_mm == pytest.approx(25.4 / 15)


def test_a_section_is_judged_anew_by_changed_tables(own: Path) -> None:
    assert Job.build(base_job({"tool.rolls": "BL BR"})).tool.rolls == ("BL", "BR")
    rolls, count = re.subn('form = "BL"', 'form = "ZL"', shipped("rolls.toml"))
    rolls = rolls.replace('"BL"', '"ZL"')
    assert count
    (own / "rolls.toml").write_text(rolls, encoding="utf-8")
    tables.clear_caches()
    with pytest.raises(JobFileError, match="unknown roll form"):
        Job.build(base_job({"tool.rolls": "BL BR"}))
