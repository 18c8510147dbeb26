"""Materials against the figures that their sources print; "from memory" was not seen there."""

from __future__ import annotations

import pytest

from knurlcam.data.material_kinds import folded, kinds
from knurlcam.data.material_names import find_material, kind_of
from knurlcam.data.materials import Material, materials
from knurlcam.data.speeds import turning_speeds
from knurlcam.errors import InputError

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
FIGURES = [name for name in Material.__slots__ if name not in ("name", "aliases", "sources")]


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


@pytest.mark.few(8)
@pytest.mark.parametrize(("name", "printed", "source"), STRENGTHS)
def test_strength_and_hardness_are_those_of_the_source(
    name: str, printed: tuple[float | None, ...], source: str
) -> None:
    m = find_material(name)
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


@pytest.mark.few(5)
@pytest.mark.parametrize(("name", "printed", "source"), ELASTIC)
def test_elastic_constants_and_density_are_those_of_the_source(
    name: str, printed: tuple[float | None, ...], source: str
) -> None:
    m = find_material(name)
    ours = (m.youngs_modulus_gpa, m.poisson_ratio, m.density_kg_m3)
    seen = tuple(
        own if figure is not None else None for own, figure in zip(ours, printed, strict=True)
    )
    assert seen == printed, f"{name} differs from {source}"


@pytest.mark.parametrize("name", ["grey iron", "EN-GJL-250"])
def test_grey_iron_has_no_yield_strength_and_no_elongation(name: str) -> None:
    m = find_material(name)
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
    ours = find_material(name).turning_speed_m_min
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
    row = next(row for row in turning_speeds() if row.material == material)
    assert row.roughing_m_min == pytest.approx([v * 0.3048 for v in roughing_ft])
    assert row.finishing_m_min == pytest.approx([v * 0.3048 for v in finishing_ft])


@pytest.mark.parametrize("figure", FIGURES)
def test_every_figure_of_every_material_names_its_source(figure: str) -> None:
    for material in materials():
        given = getattr(material, figure) is not None
        assert given == bool(material.sources.get(figure)), f"{material.name}: {figure}"


def test_every_material_has_what_loads_are_computed_from() -> None:
    needed = ("tensile_strength_mpa", "youngs_modulus_gpa", "poisson_ratio", "brinell")
    lacking = [m.name for m in materials() if any(getattr(m, n) is None for n in needed)]
    assert lacking == []


@pytest.mark.few(6)
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
    assert find_material(alias).name == name


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
    assert find_material(spelling).name == name


def test_every_name_and_alias_finds_its_own_row() -> None:
    for material in materials():
        for name in (material.name, *material.aliases):
            assert find_material(name) is material, f"{name!r} finds another row"


@pytest.mark.few(5)
@pytest.mark.parametrize(
    ("said", "name"),
    [
        ("stainless steel 1.4305", "stainless 303"),
        ("1.4305 stainless steel", "stainless 303"),
        ("steel 1.4305", "stainless 303"),
        ("type 303 stainless", "stainless 303"),
        ("stainless-steel 304", "stainless 304"),
        ("1018 steel", "steel 1018"),
        ("1018 steel, cold drawn", "steel 1018 cold drawn"),
        ("steel C45", "steel 1045"),
        ("steel C45 (1.0503)", "steel 1045"),
        ("steel 16MnCr5/1.7131", "steel 16MnCr5"),
        ("12L14 / 11SMnPb30", "steel 11SMnPb30"),
        ("CW614N brass", "brass CuZn39Pb3"),
        ("Aluminum alloy 6082-T6", "aluminium 6082-T6"),
        ("cartridge brass C26000", "brass CuZn30"),
        ("cast iron GGG40", "ductile iron 60-40-18"),
        ("grey cast iron EN-GJL-250", "grey iron EN-GJL-250"),
    ],
)
def test_the_kind_may_stand_before_or_after_and_two_names_may_stand_together(
    said: str, name: str
) -> None:
    assert find_material(said).name == name


def refused(name: str) -> str:
    with pytest.raises(InputError, match="unknown material") as caught:
        find_material(name)
    assert caught.value.value == name
    return caught.value.remedy or ""


@pytest.mark.few(4)
@pytest.mark.parametrize(
    ("said", "remedy"),
    [
        ("aluminum 6028-T6", "did you mean 'aluminium 6082-T6'?"),
        ("alumnium 6028", "did you mean '6082' (aluminium 6082-T6)?"),
        ("stainless steel 1.4300", "did you mean '1.4307' (stainless 304L)?"),
        ("1.4300", "did you mean '1.4307' (stainless 304L)?"),
        ("stainless 1018", "'1018' is steel 1018, which is steel, not stainless"),
        ("6082 steel", "'6082' is aluminium 6082-T6, which is aluminium, not steel"),
        ("stainless steel", "known of this kind: stainless 303, stainless 304"),
        ("aluminium bronze CuBe2", "known of this kind: bronze"),
    ],
)
def test_what_is_offered_for_an_unknown_material_is_of_the_same_kind(
    said: str, remedy: str
) -> None:
    assert remedy in refused(said)


@pytest.mark.parametrize("name", ["granite !", "304/316", "", "x" * 500])
def test_nothing_is_offered_where_no_kind_is_meant(name: str) -> None:
    remedy = refused(name)
    assert remedy.startswith("name kind and designation")
    assert "did you mean" not in remedy


def test_every_material_is_of_a_kind_and_found_with_the_kind_beside_each_name() -> None:
    for material in materials():
        kind = kind_of(material)
        assert kind is not None, material.name
        for alias in material.aliases:
            assert find_material(f"{kind.name} {alias}") is material, alias
            assert find_material(f"{alias} {kind.name}") is material, alias


def test_a_designation_is_of_no_other_kind_than_its_material() -> None:
    for material in materials():
        kind = kind_of(material)
        for name in material.aliases:
            told = {k.name for k in kinds() if k.designates(folded(name))}
            assert told <= {kind.name if kind else ""}, name
