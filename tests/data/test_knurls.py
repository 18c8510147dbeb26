"""Forms, pitches and classes of knurls against the standards."""

from __future__ import annotations

import math

import pytest

from knurlcam.data.knurls import (
    diametral_pitches,
    forms,
    profile_angles_deg,
    standard_pitches_mm,
    trade_tpi,
)

DIN82 = "DIN 82:1973-01, section 2.4"
TABLE_4 = "Machinery's Handbook, 31st ed., p. 1059, Table 4"


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
    assert forms()[form].growth_factor == printed, DIN82


@pytest.mark.parametrize(
    ("family", "exact"), [("straight", 1 / 2), ("raised", 2 / 3), ("indented", 1 / 3)]
)
def test_growth_factors_agree_with_volume_kept(family: str, exact: float) -> None:
    ours = {f.growth_factor for f in forms().values() if f.family == family}
    assert [round(exact, 2)] == sorted(ours), "a pyramid is a third of its prism"


def test_only_diagonals_and_diamonds_have_a_helix() -> None:
    angles = {form: row.helix_deg for form, row in forms().items()}
    assert angles == {"RAA": 0, "RBL": 30, "RBR": 30, "RGE": 30, "RGV": 30, "RKE": 0, "RKV": 0}
    assert all(row.helical == (row.helix_deg > 0) for row in forms().values())


def test_hands_are_those_of_the_letters() -> None:
    hands = {form: row.hand for form, row in forms().items()}
    assert (hands["RBL"], hands["RBR"], hands["RGE"], hands["RAA"]) == (
        "left",
        "right",
        "both",
        "none",
    )


def test_pitches_angles_and_trade_words_are_those_of_the_standard_and_the_trade() -> None:
    assert standard_pitches_mm() == (0.5, 0.6, 0.8, 1.0, 1.2, 1.6), "DIN 82, from memory"
    assert profile_angles_deg() == (90.0, 105.0), "DIN 82; 105 from memory"
    assert trade_tpi() == {"coarse": 14, "medium": 21, "fine": 33}, "TC 9-524, from memory"


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


@pytest.mark.few(5)
@pytest.mark.parametrize(("pitch", "tolerance_class", "knurled", "blank"), TOLERANCES)
def test_tolerances_are_those_of_the_handbook(
    pitch: int, tolerance_class: str, knurled: tuple[float, float], blank: tuple[float, float]
) -> None:
    row = diametral_pitches()[pitch]
    assert row.knurled_in[tolerance_class] == knurled, TABLE_4
    assert row.blank_in[tolerance_class] == blank, TABLE_4


@pytest.mark.parametrize(("pitch", "share"), [(64, 0.031), (96, 0.031), (128, 0.029), (160, 0.025)])
def test_class_one_blank_tolerance_is_about_a_thirtieth_of_the_pitch(
    pitch: int, share: float
) -> None:
    upper, lower = diametral_pitches()[pitch].blank_in["I"]
    assert upper == -lower
    assert upper / (math.pi / pitch) == pytest.approx(share, abs=0.0005)
