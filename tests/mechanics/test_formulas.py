"""Every formula: its ranges at, inside and outside each edge, and what its docstring says."""

from __future__ import annotations

import doctest
import inspect
import math
import re
from collections.abc import Callable
from types import ModuleType

import pytest

from knurlcam.errors import OutOfRangeError
from knurlcam.mechanics import (
    beam,
    capture,
    contact,
    knurl,
    loads,
    roll_pitch,
    setup_loads,
    solve,
    swivel,
    tool_styles,
    tooth,
    tracking,
)
from knurlcam.mechanics import passes as process
from knurlcam.mechanics import press_fit as fit
from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.passes import pass_penetrations, spindle_speed
from knurlcam.mechanics.tool_styles import contact_for
from knurlcam.mechanics.tooth import full_tooth_height, height_for_rise, penetration, rise
from knurlcam.mechanics.tracking import (
    blank_diameter,
    blank_tolerance,
    nearest_teeth,
    pitch_from_diametral_pitch,
    pitch_from_tpi,
    teeth_around,
    transverse_pitch,
)

NAN, INF = math.nan, math.inf

# function, argument, other arguments, just inside, just outside; zero, below it and NaN follow
RANGES: list[tuple[Callable[..., object], str, dict[str, object], list[float], list[float]]] = [
    (full_tooth_height, "pitch_mm", {"profile_deg": 90.0}, [1e-6, 1e5], [0.9e-6, 1.01e5]),
    (full_tooth_height, "profile_deg", {"pitch_mm": 1.0}, [10.0, 170.0], [9.99, 170.01]),
    (
        penetration,
        "height_mm",
        {"full_height_mm": 0.5, "family": "raised"},
        [0.0, 0.5],
        [-1e-9, 0.5001],
    ),
    (penetration, "full_height_mm", {"height_mm": 0.0, "family": "raised"}, [1e-6], [0.9e-6, 2e5]),
    (
        rise,
        "height_mm",
        {"full_height_mm": 0.5, "family": "straight"},
        [0.0, 0.5],
        [-1e-9, 0.5001],
    ),
    (rise, "full_height_mm", {"height_mm": 0.0, "family": "straight"}, [1e-6], [0.9e-6, 2e5]),
    (
        height_for_rise,
        "rise_mm",
        {"full_height_mm": 0.5, "family": "straight"},
        [0.0, 0.25],
        [-1e-9, 0.2501],
    ),
    (
        height_for_rise,
        "rise_mm",
        {"full_height_mm": 0.5, "family": "raised"},
        [0.0, 1 / 3],
        [-1e-9, 0.3334],
    ),
    (
        height_for_rise,
        "rise_mm",
        {"full_height_mm": 0.5, "family": "indented"},
        [0.0, 1 / 6],
        [-1e-9, 0.1667],
    ),
    (height_for_rise, "full_height_mm", {"rise_mm": 0.0, "family": "raised"}, [1e-6], [2e5]),
    (pitch_from_tpi, "teeth_per_inch", {}, [1e-3, 1e5], [0.9e-3, 1.01e5]),
    (
        pitch_from_diametral_pitch,
        "diametral_pitch",
        {"helix_deg": 30.0},
        [1e-3, 1e5],
        [0.9e-3, 1.01e5],
    ),
    (
        pitch_from_diametral_pitch,
        "helix_deg",
        {"diametral_pitch": 96.0},
        [0.0, 80.0],
        [-0.01, 80.01],
    ),
    (transverse_pitch, "pitch_mm", {"helix_deg": 30.0}, [1e-6, 1e5], [0.9e-6, 1.01e5]),
    (transverse_pitch, "helix_deg", {"pitch_mm": 1.0}, [0.0, 80.0], [-0.01, 80.01]),
    (teeth_around, "diameter_mm", {"transverse_pitch_mm": 1.0}, [1e-6, 1e5], [0.9e-6, 1.01e5]),
    (teeth_around, "transverse_pitch_mm", {"diameter_mm": 1.0}, [1e-6, 1e5], [0.9e-6, 1.01e5]),
    (nearest_teeth, "diameter_mm", {"transverse_pitch_mm": 1.0}, [1e-6, 1e5], [0.9e-6, 1.01e5]),
    (nearest_teeth, "transverse_pitch_mm", {"diameter_mm": 1.0}, [1e-6, 1e5], [0.9e-6, 1.01e5]),
    (blank_diameter, "teeth", {"transverse_pitch_mm": 1.0}, [1, 1e6], [0.99, 1e6 + 1]),
    (blank_diameter, "transverse_pitch_mm", {"teeth": 10}, [1e-6, 1e5], [0.9e-6, 1.01e5]),
    (blank_tolerance, "transverse_pitch_mm", {}, [1e-6, 1e5], [0.9e-6, 1.01e5]),
    (spindle_speed, "surface_speed_m_min", {"diameter_mm": 10.0}, [1e-6, 1e6], [0.9e-6, 1.01e6]),
    (spindle_speed, "diameter_mm", {"surface_speed_m_min": 10.0}, [1e-6, 1e5], [0.9e-6, 1.01e5]),
    (pass_penetrations, "full_penetration_mm", {"passes": 3}, [1e-9, 1e3], [0.9e-9, 1.01e3]),
    (pass_penetrations, "passes", {"full_penetration_mm": 0.2}, [1, 99], [0, 100]),
    (
        contact_for,
        "blank_diameter_mm",
        {
            "style": "single roll",
            "x_datum": "touch-off",
            "roll_diameter_mm": 20.0,
            "full_penetration_mm": 0.2,
            "roll_spacing_mm": None,
        },
        [1e-6, 1e5],
        [0.9e-6, 1.01e5],
    ),
    (
        contact_for,
        "roll_diameter_mm",
        {
            "style": "single roll",
            "x_datum": "touch-off",
            "blank_diameter_mm": 20.0,
            "full_penetration_mm": 0.2,
            "roll_spacing_mm": None,
        },
        [1e-6, 1e5],
        [0.9e-6, 1.01e5],
    ),
    (loads.fan_angle_rad, "profile_deg", {}, [60.0, 120.0], [59.9, 120.1]),
    (
        loads.indentation_pressure_mpa,
        "flow_stress_mpa",
        {"profile_deg": 90.0},
        [1e-6, 1e5],
        [0.9e-6, 1.01e5],
    ),
    (loads.wedge_width, "profile_deg", {}, [60.0, 120.0], [59.9, 120.1]),
    (
        loads.wedge_force_n_per_mm,
        "penetration_mm",
        {"flow_stress_mpa": 300.0, "profile_deg": 90.0},
        [0.0, 1e3],
        [-1e-9, 1.01e3],
    ),
    (
        loads.reduced_radius_mm,
        "blank_radius_mm",
        {"roll_radius_mm": 1.0},
        [1e-6, 1e5],
        [0.9e-6, 1.01e5],
    ),
    (
        loads.reduced_radius_mm,
        "roll_radius_mm",
        {"blank_radius_mm": 1.0},
        [1e-6, 1e5],
        [0.9e-6, 1.01e5],
    ),
    (
        loads.contact_arc_mm,
        "penetration_mm",
        {"reduced_radius_mm": 5.0},
        [0.0, 1e3],
        [-1e-9, 1.01e3],
    ),
    (
        loads.contact_share,
        "pitch_mm",
        {"penetration_mm": 0.1, "profile_deg": 90.0, "prints": "ridges"},
        [1e-6, 1e3],
        [0.9e-6, 1.01e3],
    ),
    (
        loads.resultant_force_n,
        "apart_mm",
        {"roll_force_n": 1.0, "rolls": 2, "across_mm": 0.0},
        [1e-6, 1e5],
        [0.9e-6, 1.01e5],
    ),
    (
        loads.resultant_force_n,
        "rolls",
        {"roll_force_n": 1.0, "across_mm": 0.0, "apart_mm": 1.0},
        [1, 2],
        [3],
    ),
    (
        loads.torque_nm,
        "roll_radius_mm",
        {
            "roll_force_n": 1.0,
            "rolls": 1,
            "arc_mm": 1.0,
            "work_share": 0.5,
            "blank_radius_mm": 1.0,
        },
        [1e-6, 1e5],
        [0.9e-6, 1.01e5],
    ),
    (
        loads.axial_force_n,
        "profile_deg",
        {"roll_force_n": 1.0, "rolls": 1, "front_mm2": 0.1, "pressure_mpa": 500.0},
        [60.0, 120.0],
        [59.9, 120.1],
    ),
    (
        capture.first_turn_mm,
        "infeed_mm",
        {"contact": Contact(12.5, 10.0, 0.0, "touch-off"), "first_pass_mm": 0.1},
        [0.0, 1e3],
        [-1e-9, 1.01e3],
    ),
    (
        capture.tracking_window_mm,
        "tracking_blank_mm",
        {"turn_mm": 0.05, "first_pass_mm": 0.1, "helix_deg": 0.0, "profile_deg": 90.0},
        [1e-6, 1e5],
        [0.9e-6, 1.01e5],
    ),
    (
        capture.first_turn_to_capture_mm,
        "helix_deg",
        {"half_width_mm": 0.03, "profile_deg": 90.0},
        [0.0, 80.0],
        [-0.01, 80.01],
    ),
    (
        swivel.swivels_that_fit,
        "helix_deg",
        {"rolling_mm": 25.0, "pitch_mm": 1.0, "reach_mm": 0.07},
        [0.0, 60.0],
        [-0.1, 60.1],
    ),
    (
        roll_pitch.roll_pitch,
        "diameter_mm",
        {"teeth": 54, "helix_deg": 30.0},
        [1e-6, 1e5],
        [0.9e-6, 1.01e5],
    ),
    (
        roll_pitch.roll_diameter_for,
        "pitch_mm",
        {"teeth": 54, "helix_deg": 30.0},
        [1e-6, 1e5],
        [0.9e-6, 1.01e5],
    ),
    (beam.second_moment_mm4, "diameter_mm", {}, [1e-6, 1e5], [0.9e-6, 1.01e5]),
    (
        beam.plain_compliance_mm_per_n,
        "u_mm",
        {"support": "fixed and free", "length_mm": 10.0, "flexure_n_mm2": 1.0},
        [0.0, 10.0],
        [-1e-9, 10.001],
    ),
    (
        beam.plain_tailstock_share,
        "u_mm",
        {"support": "fixed and supported", "length_mm": 10.0},
        [0.0, 10.0],
        [-1e-9, 10.001],
    ),
]
INSIDE = [(f, name, rest, value) for f, name, rest, inside, _ in RANGES for value in inside]
OUTSIDE = [
    (f, name, rest, value)
    for f, name, rest, inside, outside in RANGES
    for value in [*outside, *([] if 0.0 in inside else [0.0]), -1.0, NAN, INF, -INF]
]


@pytest.mark.few(20)
@pytest.mark.parametrize(("function", "name", "rest", "value"), INSIDE)
def test_a_formula_takes_what_stands_just_inside_its_range(
    function: Callable[..., object], name: str, rest: dict[str, object], value: float
) -> None:
    assert function(**{name: value}, **rest) is not None


@pytest.mark.few(40)
@pytest.mark.parametrize(("function", "name", "rest", "value"), OUTSIDE)
def test_a_formula_refuses_what_stands_outside_by_name_value_and_limit(
    function: Callable[..., object], name: str, rest: dict[str, object], value: float
) -> None:
    with pytest.raises(OutOfRangeError, match=f"{name}: {name} is out of range") as error:
        function(**{name: value}, **rest)
    assert error.value.key == name
    assert error.value.value is value
    assert re.search(r"\S+ to \S+ \S+", error.value.expected or "")


# -- docstrings ----------------------------------------------------------------

MODULES = [tooth, tracking, knurl, contact, tool_styles, process, loads, beam, fit, solve]
MODULES += [roll_pitch, setup_loads, capture, swivel]
DATA_SECTIONS = ("Args", "Returns", "Raises", "Notes", "Example", "Sources")


def public_functions() -> list[tuple[ModuleType, str, Callable[..., object]]]:
    found: list[tuple[ModuleType, str, Callable[..., object]]] = []
    for module in MODULES:
        for name in module.__all__:
            value = getattr(module, name)
            if inspect.isfunction(value):
                found.append((module, name, value))
            elif inspect.isclass(value):
                found += [
                    (module, f"{name}.{m}", f)
                    for m, f in vars(value).items()
                    if inspect.isfunction(f) and not m.startswith("_")
                ]
    return found


def sections(doc: str) -> dict[str, str]:
    """Return the sections of a docstring by heading."""
    parts = re.split(rf"^({'|'.join(DATA_SECTIONS)}):\n", inspect.cleandoc(doc), flags=re.M)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


@pytest.mark.few(16)
@pytest.mark.parametrize(
    ("module", "name", "function"), public_functions(), ids=lambda v: v if type(v) is str else ""
)
def test_each_formulas_docstring_says_arguments_units_result_example_and_source(
    module: ModuleType, name: str, function: Callable[..., object]
) -> None:
    parts = sections(function.__doc__ or "")
    documented = re.findall(r"^    (\w+): ", parts["Args"], flags=re.M)
    wanted = [p for p in inspect.signature(function).parameters if p != "self"]
    assert documented == wanted, "Args must match the signature, in order"
    entries = re.split(r"^    \w+: ", parts["Args"], flags=re.M)[1:]
    for argument, entry in zip(documented, entries, strict=True):
        assert re.search(r"\[[^\]\s]+\]", entry), f"{argument} wants its unit in brackets"
    if inspect.signature(function).return_annotation not in ("Contact",):
        assert re.search(r"\[[^\]\s]+\]", parts["Returns"]), "the result wants its unit"
    assert ">>>" in parts["Example"]
    assert re.search(r"^    \[1\] ", parts["Sources"], flags=re.M)


@pytest.mark.parametrize("module", MODULES, ids=lambda m: m.__name__)
def test_the_examples_in_the_docstrings_come_out_as_they_say(module: ModuleType) -> None:
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0


def test_every_public_name_of_a_formula_module_is_there() -> None:
    for module in MODULES:
        assert [n for n in module.__all__ if not hasattr(module, n)] == []
