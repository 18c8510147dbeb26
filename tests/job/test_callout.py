"""What drawings write, and what knurlcam understands by it."""

from __future__ import annotations

import math
from typing import Any, get_args

import pytest
from hypothesis import strategies as st

import knurlcam.job.callout
from knurlcam.data.knurls import forms, trade_tpi
from knurlcam.errors import InputError
from knurlcam.job.callout import (
    _LONGEST_PHRASE,
    Callout,
    CalloutError,
    Purpose,
    System,
    _phrases,
    format_callout,
    parse_callout,
)
from knurlcam.job.limits import LIMITS
from tests.support.examples import tried

FORMS = ["RAA", "RBL", "RBR", "RGE", "RGV", "RKE", "RKV"]
HELICAL = ["RBL", "RBR", "RGE", "RGV"]


@st.composite
def callouts(draw: st.DrawFn) -> Callout:
    form = draw(st.sampled_from(FORMS))
    system = draw(st.sampled_from(get_args(System)))
    helix = st.floats(*LIMITS["helix"], exclude_min=True, exclude_max=True)
    return Callout(
        form=form,
        system=system,
        value=draw(st.floats(*LIMITS[system]) | st.integers(12, 250).filter(_fits(system))),
        helix_deg=draw(st.none() | (helix if form in HELICAL else st.just(0.0))),
        profile_deg=draw(st.none() | st.floats(*LIMITS["profile"])),
        purpose=draw(st.none() | st.sampled_from(get_args(Purpose))),
    )


def _fits(system: str) -> Any:
    low, high = LIMITS[system]
    return lambda value: system != "pitch" and low <= value <= high


@pytest.fixture(autouse=True, scope="module")
def _table_is_read_before_any_clock_starts() -> None:
    trade_tpi()


def refusal(text: object) -> CalloutError:
    with pytest.raises(CalloutError) as caught:
        parse_callout(text)  # type: ignore[arg-type]
    return caught.value


def test_the_designation_printed_in_the_standard_is_read() -> None:
    # DIN 82:1973-01 (English issue), designation example, p. 3: RGE, pitch 0.8 mm.
    assert parse_callout("Knurl RGE 08 DIN 82") == Callout("RGE", "pitch", 0.8)


@pytest.mark.parametrize("text", ["RGE 08 - 105 DIN 82", "DIN 82 RGE 08-105", "DIN 82-RGE 0,8-105"])
def test_a_second_number_of_the_standards_designation_is_the_profile_angle(text: str) -> None:
    # DIN 82:1973-01, 2.1 (seen)
    assert parse_callout(text) == Callout("RGE", "pitch", 0.8, profile_deg=105.0)


@pytest.mark.parametrize("text", ["RGE 08 - 104 DIN 82", "DIN 82 diamond 1.0 105"])
def test_a_second_number_that_is_no_such_angle_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="two numbers without a unit"):
        parse_callout(text)


def test_the_designation_written_today_is_read() -> None:
    # From memory: DIN 82 designations are written with a hyphen and a decimal comma.
    assert parse_callout("DIN 82-RGE 0,8") == Callout("RGE", "pitch", 0.8)


@pytest.mark.few(8)
@pytest.mark.parametrize(
    ("text", "form", "value"),
    [
        ("DIN 82 RGE 1.0", "RGE", 1.0),
        ("DIN82 RGE 0.8", "RGE", 0.8),
        ("DIN82RGE08", "RGE", 0.8),
        ("DIN 82 - RGE - 0.8", "RGE", 0.8),
        ("DIN 82:1973-01 RGE 1.0", "RGE", 1.0),
        ("DIN 82-1973 RGE 08", "RGE", 0.8),
        ("din 82 rgv 1,2", "RGV", 1.2),
        ("DIN RAA 1.6", "RAA", 1.6),
        ("ISO 13444 RAA 0.8", "RAA", 0.8),
        ("RGE 1", "RGE", 1.0),
        ("RGE 1 mm", "RGE", 1.0),
        ("1 mm RGE", "RGE", 1.0),
        ("RGE 0.8 mm", "RGE", 0.8),
        ("RGE .8", "RGE", 0.8),
        ("rge0.8", "RGE", 0.8),
        ("RAA 1,0", "RAA", 1.0),
        ("RBL 1.0", "RBL", 1.0),
        ("RBR 1.0", "RBR", 1.0),
        ("RKE 1.0", "RKE", 1.0),
        ("RKV 1.0", "RKV", 1.0),
        ("R.G.E. 1.0", "RGE", 1.0),
        ("RGE P0.8", "RGE", 0.8),
        ("RGE t = 0.8", "RGE", 0.8),
        ("P=0.8 straight", "RAA", 0.8),
        ("straight pitch 0.8 mm", "RAA", 0.8),
        ("straight, 0.8 mm pitch", "RAA", 0.8),
        ("0.8 pitch straight", "RAA", 0.8),
        ("diamond pitch 0.05 in", "RGE", 1.27),
        ("knurl: diamond; pitch: 1.0 mm", "RGE", 1.0),
        ("RGE raised diamond 0.8", "RGE", 0.8),
        ("RGV diamond 0.8", "RGV", 0.8),
        ("indented cross 1.0 mm", "RKV", 1.0),
        ("left/right knurl, points raised, 0.8 mm", "RGE", 0.8),
        ("DIN 82 diamond 0.8", "RGE", 0.8),
    ],
)
def test_a_pitch_in_millimetres_is_read_in_any_usual_spelling(
    text: str, form: str, value: float
) -> None:
    assert parse_callout(text) == Callout(form, "pitch", value)


@pytest.mark.parametrize(
    ("code", "pitch"),
    [("05", 0.5), ("06", 0.6), ("08", 0.8), ("10", 1.0), ("12", 1.2), ("16", 1.6)],
)
def test_two_digits_beside_a_form_code_are_tenths_of_a_millimetre(code: str, pitch: float) -> None:
    assert parse_callout(f"Knurl RAA {code} DIN 82").value == pitch


@pytest.mark.few(8)
@pytest.mark.parametrize(
    ("text", "form", "system", "value"),
    [
        ("96 DP diamond", "RGE", "dp", 96),
        ("96DP diamond", "RGE", "dp", 96),
        ("96-DP diamond", "RGE", "dp", 96),
        ("diamond DP 96", "RGE", "dp", 96),
        ("DP=96 diamond", "RGE", "dp", 96),
        ("diamond 96 D.P.", "RGE", "dp", 96),
        ("diametral pitch 96 diamond", "RGE", "dp", 96),
        ("96 diametral pitch diamond", "RGE", "dp", 96),
        ("ASME B94.6 96 DP raised diamond", "RGE", "dp", 96),
        ("ANSI/ASME B94.6-1984 128 DP straight", "RAA", "dp", 128),
        ("P 96 DP straight", "RAA", "dp", 96),
        ("21 TPI straight", "RAA", "tpi", 21),
        ("21-TPI straight", "RAA", "tpi", 21),
        ("TPI 21 straight", "RAA", "tpi", 21),
        ("straight 21 t.p.i.", "RAA", "tpi", 21),
        ("21 teeth per inch straight", "RAA", "tpi", 21),
        ("straight, 21 teeth/inch", "RAA", "tpi", 21),
        ("straight 21 teeth / in", "RAA", "tpi", 21),
        ("pitch 21 TPI straight", "RAA", "tpi", 21),
        ("DIAMOND KNURL 33 TPI", "RGE", "tpi", 33),
        ("21 TPI (straight)", "RAA", "tpi", 21),
        ("straight-knurled 21 TPI", "RAA", "tpi", 21),
    ],
)
def test_teeth_per_inch_and_diametral_pitch_are_read_in_any_usual_spelling(
    text: str, form: str, system: System, value: float
) -> None:
    assert parse_callout(text) == Callout(form, system, value)


@pytest.mark.few(8)
@pytest.mark.parametrize(
    ("words", "form"),
    [
        ("straight", "RAA"),
        ("parallel", "RAA"),
        ("axial", "RAA"),
        ("left-hand diagonal", "RBL"),
        ("left-hand helical", "RBL"),
        ("left hand spiral", "RBL"),
        ("diagonal left", "RBL"),
        ("diagonal, left-handed", "RBL"),
        ("LH", "RBL"),
        ("L.H. diagonal", "RBL"),
        ("right-hand diagonal", "RBR"),
        ("spiral right", "RBR"),
        ("RH", "RBR"),
        ("diamond", "RGE"),
        ("raised diamond", "RGE"),
        ("male diamond", "RGE"),
        ("diamond, points raised", "RGE"),
        ("female diamond", "RGV"),
        ("indented diamond", "RGV"),
        ("diamond (points indented)", "RGV"),
        ("cross", "RKE"),
        ("square", "RKE"),
        ("raised cross", "RKE"),
        ("indented cross", "RKV"),
        ("female square", "RKV"),
    ],
)
def test_the_words_of_the_shop_name_the_form(words: str, form: str) -> None:
    assert parse_callout(f"{words} 21 TPI").form == form
    assert parse_callout(f"21 TPI {words.upper()} KNURL").form == form


@pytest.mark.parametrize("word", ["coarse", "medium", "fine"])
def test_a_trade_word_is_the_teeth_per_inch_of_the_shared_table(word: str) -> None:
    expected = Callout("RGE", "tpi", trade_tpi()[word])
    assert parse_callout(f"{word} diamond") == expected
    assert parse_callout(f"diamond knurl, {word} pitch") == expected
    assert parse_callout(f"{word} diamond {trade_tpi()[word]} TPI") == expected


@pytest.mark.few(6)
@pytest.mark.parametrize(
    ("text", "helix", "profile"),
    [
        ("RGE 1.0 helix 25", 25.0, None),
        ("RGE 1.0 helix 25°", 25.0, None),
        ("RGE 1.0, helix angle = 25 deg", 25.0, None),
        ("RGE 1.0 25° helix", 25.0, None),
        ("RGE 1.0 25 degrees", 25.0, None),
        ("RGE 1.0 x 59.9°", 59.9, None),
        ("RGE 1.0 x 60°", None, 60.0),
        ("RGE 1,2x105°", None, 105.0),
        ("RGE 1.0 profile 105", None, 105.0),
        ("RGE 1.0 profile angle 105°", None, 105.0),
        ("RGE 1.0 - 105° profile", None, 105.0),
        ("RGE 1.0 105° 25°", 25.0, 105.0),
        ("25° helix, 105° profile, RGE 1.0", 25.0, 105.0),
        ("RAA 1.0 helix 0°", 0.0, None),
    ],
)
def test_an_angle_goes_by_its_name_or_below_60_degrees_to_the_helix(
    text: str, helix: float | None, profile: float | None
) -> None:
    callout = parse_callout(text)
    assert (callout.helix_deg, callout.profile_deg) == (helix, profile)


@pytest.mark.parametrize(
    ("text", "purpose"),
    [
        ("straight 21 tpi, press fit", "press fit"),
        ("straight 21 tpi press-fit", "press fit"),
        ("straight knurl for press fit, 21 tpi", "press fit"),
        ("medium diamond for grip", "grip"),
        ("medium diamond (appearance)", "appearance"),
        ("medium diamond", None),
    ],
)
def test_the_purpose_is_read_where_it_is_written(text: str, purpose: Purpose | None) -> None:
    assert parse_callout(text).purpose == purpose


@pytest.mark.few(8)
@pytest.mark.parametrize(
    ("text", "problem", "remedy"),
    [
        ("diamnd 21 TPI", "the word 'diamnd' is not understood", "did you mean 'diamond'?"),
        ("AA 1.0", "the word 'aa' is not understood", "did you mean 'RAA'?"),
        ("meduim diamond", "the word 'meduim' is not understood", "did you mean 'medium'?"),
        ("straight 21 tpii", "the word 'tpii' is not understood", "did you mean 'TPI'?"),
        ("qqq RGE 1.0", "the word 'qqq' is not understood", "write it such as"),
        ("circular pitch 0.8 mm straight", "the word 'circular' is not", "write it such as"),
        ("RGE 1.0 Ø20", "the word 'ø' is not understood", "write it such as"),
        ("RGE 1.0 @", "the sign '@' is not understood", "write it such as"),
        ("", "the form and the pitch are missing", "add a form"),
        ("knurl", "the form and the pitch are missing", "add a pitch"),
        ("RGE", "the pitch is missing", "add a pitch such as 1.0 mm"),
        ("DIN 82 RGE", "the pitch is missing", "add a pitch such as 1.0 mm"),
        ("1.0 mm", "the form is missing", "add a form such as RGE"),
        ("96 DP", "the form is missing", "add a form such as RGE"),
        ("raised 21 TPI", "the form is missing", "add a form such as RGE"),
        ("diagonal 21 TPI", "'diagonal' does not say the hand", "write left-hand or right-hand"),
        ("diamond 21", "the number 21 has no unit", "write 21 mm, 21 TPI or 21 DP"),
        ("RGE 21", "21 is not a pitch code of DIN 82", "write 2.1 for a pitch in mm, or 21 TPI"),
        ("RGE -0.8", "a negative number", "leave the minus sign out"),
        ("RGE,8", "a comma just before a digit", "write a space after a comma"),
        ("RGE 1,2,3", "a comma just before a digit", "write a space after a comma"),
        ("RGE 1/2 mm", "'/' is out of place", "write it such as"),
        ("RGE = 1.0", "'=' is out of place", "write it such as"),
        ("RGE 1.0 x", "'x' is out of place", "write it such as"),
        ("RGE 1.0 for", "'for' is out of place", "write it such as"),
        ("RGE 1.0 helix", "'helix' has no number", "write a number beside 'helix'"),
        ("straight pitch", "'pitch' has no number", "write a number beside 'pitch'"),
        ("TPI straight", "'tpi' has no number", "write a number beside 'tpi'"),
        ("straight 21 TPI mm", "'mm' has no number", "write the number before its unit"),
    ],
)
def test_what_is_not_understood_or_missing_is_named_with_a_remedy(
    text: str, problem: str, remedy: str
) -> None:
    error = refusal(text)
    assert error.problem.startswith(problem)
    assert remedy in (error.remedy or "")
    assert error.value == text
    assert error.expected


@pytest.mark.few(8)
@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("straight diamond 21 TPI", "no form is all of: straight, diamond"),
        ("DIN 82 RGE 1.0 straight", "no form is all of: RGE, straight"),
        ("RGE indented 1.0", "no form is all of: RGE, indented"),
        ("RGE RAA 1.0", "no form is all of: RGE, RAA"),
        ("diagonal LH RH 21 TPI", "no form is all of: diagonal, LH, RH"),
        ("RAA 1.0 helix 30", "form RAA has no helix angle"),
        ("straight 21 TPI 30°", "form RAA has no helix angle"),
        ("cross 21 TPI 30°", "form RKE has no helix angle"),
        ("RGE 1.0 21 TPI", "two pitches: 21 tpi and 1.0"),
        ("diamond 21 TPI 96 DP", "two pitches: 21 tpi and 96 dp"),
        ("21 TPI 21 TPI diamond", "two pitches: 21 tpi and 21 tpi"),
        ("medium coarse diamond", "two pitches: medium and coarse"),
        ("medium diamond 33 TPI", "two pitches: 33 tpi and medium"),
        ("DP 96 TPI straight", "'96 tpi' is not a value of dp"),
        ("RGE 1.0 2.0", "two numbers without a unit: 1.0 and 2.0"),
        ("RGE 1.0 x 20", "two numbers without a unit: 1.0 and 20"),
        ("DIN 83 RGE 1.0", "two numbers without a unit: 83 and 1.0"),
        ("RGE 1.0 25° 30°", "two helix angles: 25 and 30"),
        ("RGE 1.0 helix 25 mm", "'25 mm' is not a value of helix"),
        ("RGE 1.0 for grip, press fit", "two purposes: grip and press fit"),
        ("DIN 82 RGE 1.0 DIN 82", "two standards: din 82 and din 82"),
    ],
)
def test_a_callout_that_contradicts_itself_is_refused(text: str, problem: str) -> None:
    assert refusal(text).problem == problem


@pytest.mark.few(5)
@pytest.mark.parametrize(
    ("inside", "outside", "limits"),
    [
        ("RGE 0.1", "RGE 0.09", "0.1 to 6 mm"),
        ("RGE 6", "RGE 6.01", "0.1 to 6 mm"),
        ("diamond 4 TPI", "diamond 3.9 TPI", "4 to 250"),
        ("diamond 250 TPI", "diamond 251 TPI", "4 to 250"),
        ("diamond 12 DP", "diamond 11 DP", "12 to 800"),
        ("diamond 800 DP", "diamond 801 DP", "12 to 800"),
        ("RGE 1.0 helix 0.1", "RGE 1.0 helix 0", "0 to 60°, both excluded"),
        ("RGE 1.0 helix 59.9", "RGE 1.0 helix 60", "0 to 60°, both excluded"),
        ("RGE 1.0 profile 60", "RGE 1.0 profile 59.9", "60 to 120°"),
        ("RGE 1.0 profile 120", "RGE 1.0 profile 120.1", "60 to 120°"),
        ("RGE 1", "RGE 1e999", "0.1 to 6 mm"),
        ("RGE 1.0 mm", "RGE 10 mm", "0.1 to 6 mm"),
    ],
)
def test_a_figure_is_taken_up_to_its_limit_and_refused_beyond(
    inside: str, outside: str, limits: str
) -> None:
    assert isinstance(parse_callout(inside), Callout)
    error = refusal(outside)
    assert error.problem.endswith("is outside the range that knurlcam plans")
    assert error.expected == limits


@pytest.mark.parametrize("value", [None, 21, b"RGE 1.0", ["RGE 1.0"]])
def test_what_is_not_a_text_is_refused(value: object) -> None:
    assert refusal(value).problem == f"a callout is a text, not {type(value).__name__}"


def test_a_huge_text_is_refused_by_its_length() -> None:
    text = "RGE 1.0 " * 1_000_000
    assert refusal(text).problem == "a callout of 8000000 characters is too long"


def test_a_refused_callout_is_an_input_error_and_a_value_error() -> None:
    assert issubclass(CalloutError, InputError)
    assert issubclass(CalloutError, ValueError)


@pytest.mark.parametrize(
    ("fields", "problem"),
    [
        ({"form": "RXX"}, "unknown form 'RXX'"),
        ({"system": "module"}, "unknown system 'module'"),
        ({"purpose": "show"}, "unknown purpose 'show'"),
        ({"value": 0.0}, "pitch of 0 mm is outside"),
        ({"value": math.nan}, "pitch of nan mm is outside"),
        ({"value": True}, "pitch of True mm is outside"),
        ({"value": "1.0"}, "pitch of '1.0' mm is outside"),
        ({"helix_deg": -30.0}, "helix angle of -30° is outside"),
        ({"helix_deg": "30"}, "helix angle of '30'° is outside"),
        ({"form": "RAA", "helix_deg": 30.0}, "form RAA has no helix angle"),
        ({"profile_deg": 0.0}, "profile angle of 0° is outside"),
    ],
)
def test_a_callout_that_no_drawing_could_hold_cannot_be_built(
    fields: dict[str, Any], problem: str
) -> None:
    good: dict[str, Any] = {"form": "RGE", "system": "pitch", "value": 1.0}
    with pytest.raises(CalloutError) as caught:
        Callout(**(good | fields))
    assert caught.value.problem.startswith(problem)


@pytest.mark.parametrize(
    ("callout", "text"),
    [
        (Callout("RGE", "pitch", 1.0), "DIN 82 RGE 1.0"),
        (Callout("RAA", "pitch", 0.8, purpose="press fit"), "DIN 82 RAA 0.8, press fit"),
        (Callout("RGE", "dp", 96.0), "96 DP raised diamond"),
        (Callout("RAA", "tpi", 21), "21 TPI straight"),
        (Callout("RBL", "tpi", 21.5), "21.5 TPI left-hand diagonal"),
        (
            Callout("RGV", "pitch", 1.2, 25, 105.0, "grip"),
            "DIN 82 RGV 1.2, helix 25°, profile 105°, grip",
        ),
    ],
)
def test_a_callout_is_written_as_a_drawing_would_have_it(callout: Callout, text: str) -> None:
    assert format_callout(callout) == text


@tried(25, 100, callout=callouts())
def test_each_callout_that_is_written_reads_back_as_itself(callout: Callout) -> None:
    assert parse_callout(format_callout(callout)) == callout


@tried(25, 100, callout=callouts(), random=st.randoms(use_true_random=False))
def test_neither_case_nor_a_decimal_comma_changes_the_meaning(
    callout: Callout, random: Any
) -> None:
    text = "".join(random.choice([c.upper(), c.lower()]) for c in format_callout(callout))
    assert parse_callout(text) == callout
    head, *rest = text.split(", ")
    assert parse_callout(", ".join([head.replace(".", ","), *rest])) == callout


WORDS = st.sampled_from(
    [
        "RGE",
        "08",
        "1.0",
        "mm",
        "21",
        "TPI",
        "DP",
        "diamond",
        "left",
        "DIN",
        "82",
        "-",
        "/",
        "=",
        ",",
        "pitch",
        "helix",
        "30°",
        "105",
        "x",
        "medium",
        "for",
        "grip",
        "teeth",
        "per",
        "inch",
        "t.p.i.",
    ]
)


@tried(50, 200, text=st.text(max_size=220) | st.lists(WORDS, max_size=12).map(" ".join))
def test_any_text_gives_a_callout_that_round_trips_or_a_refusal(
    text: str,
) -> None:
    try:
        callout = parse_callout(text)
    except CalloutError as error:
        assert error.expected  # noqa: PT017 - most texts are refused, some are not
        assert error.remedy  # noqa: PT017
    else:
        assert parse_callout(format_callout(callout)) == callout


@pytest.mark.few(4)
@pytest.mark.parametrize("piece", ["a", "1", "a.", "1.", ". ", "din ", "-", "left ", "1e", "asme/"])
def test_a_piece_repeated_to_the_limit_is_refused_and_does_not_hang(piece: str) -> None:
    text = (piece * 200)[:200]
    assert refusal(text).value == text


def test_the_longest_phrase_is_as_long_as_is_said() -> None:
    assert max(map(len, _phrases())) == _LONGEST_PHRASE


def test_the_forms_and_their_helix_agree_with_the_shared_table() -> None:
    assert sorted(forms()) == FORMS
    assert [form for form in FORMS if forms()[form].helical] == HELICAL


def test_the_public_names_are_the_ones_that_are_promised() -> None:
    promised = {"Callout", "CalloutError", "Purpose", "System"}
    promised |= {"format_callout", "parse_callout"}
    assert set(knurlcam.job.callout.__all__) == promised
    for name in promised:
        assert hasattr(knurlcam.job.callout, name)
