"""The job model: what is taken, what is refused and how it is said."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import strategies as st

from knurlcam.data.codes import ACCEPTABLE
from knurlcam.job.model import Job
from knurlcam.job.problems import JobFileError
from tests.support.examples import tried
from tests.support.job_files import FIT, load
from tests.support.jobs import REMOVE, base_job

LENGTHS = ["part.length", "knurl.length", "tool.face_width", "machine.safe_x"]


CONTRADICTIONS: dict[str, tuple[dict[str, Any], str, str]] = {
    "no-diameter": (
        {"part.knurled_diameter": REMOVE},
        "part.knurled_diameter",
        "no diameter is given",
    ),
    "spacing-on-a-straddle": ({"tool.style": "straddle"}, "tool.roll_spacing", "has none"),
    "spacing-on-a-single-roll": ({"tool.style": "single roll"}, "tool.roll_spacing", "stand alone"),
    "spacing-missing": ({"tool.roll_spacing": REMOVE}, "tool.roll_spacing", "missing"),
    "rolls-overlap": ({"tool.roll_spacing": 19.0}, "tool.roll_spacing", "overlap"),
    "gap-on-a-joint": ({"tool.largest_gap": 30.0}, "tool.largest_gap", "no gap to set"),
    "one-roll-in-a-pair": ({"tool.rolls": ["BL"]}, "tool.rolls", r"takes 2 in all"),
    "rolls-of-another-form": ({"tool.rolls": ["BL", "BL"]}, "tool.rolls", "do not make form RGE"),
    "swivelled-helical": (
        {"tool.rolls": ["BL", "BR"], "tool.swivelled": True},
        "tool.rolls",
        "when swivelled",
    ),
    "tailstock-in-a-chuck": (
        {"holding.method": "chuck", "holding.centre_diameter": REMOVE},
        "holding.tailstock",
        "contradicts method",
    ),
    "centre-without-tailstock": (
        {"holding.method": "chuck", "holding.tailstock": REMOVE},
        "holding.centre_diameter",
        "no centre",
    ),
    "callout-and-another-form": ({"knurl.form": "RAA"}, "knurl.form", "contradicts the callout"),
    "callout-and-another-pitch": ({"knurl.pitch": 0.8}, "knurl.pitch", "contradicts the callout"),
    "callout-and-another-system": ({"knurl.tpi": 21}, "knurl.tpi", "contradicts the callout"),
    "two-pitches": (
        {"knurl.callout": REMOVE, "knurl.form": "RAA", "knurl.pitch": 1.0, "knurl.tpi": 21},
        "knurl.pitch and tpi",
        "more than one pitch",
    ),
    "form-without-pitch": (
        {"knurl.callout": REMOVE, "knurl.form": "RAA"},
        "knurl.callout",
        "add what is missing: a pitch",
    ),
    "helix-on-a-straight-form": (
        {"knurl.callout": "DIN 82 RAA 1.0", "knurl.helix": 30},
        "knurl.helix",
        "has no helix",
    ),
    "no-helix-on-a-diamond": ({"knurl.helix": 0}, "knurl.helix", "helical teeth"),
    "fit-without-press-fit": (
        {"fit": {"bore": 12, "hub_diameter": 24, "hub_material": "6082-T6"}},
        "fit",
        "not for one",
    ),
    "hub-inside-its-bore": (
        {
            "knurl.purpose": "press fit",
            "fit": {"bore": 12, "hub_diameter": 10, "hub_material": "6082-T6"},
        },
        "fit.hub_diameter",
        "not larger than the bore",
    ),
    "one-limit-of-the-bore": (
        {**FIT, "fit.bore_smallest": 12},
        "fit.bore_largest",
        "one limit of the bore is missing",
    ),
    "limits-beside-a-tolerance": (
        {**FIT, "fit.bore_smallest": 12, "fit.bore_largest": 12.02, "fit.bore_tolerance": "H7"},
        "fit.bore_tolerance",
        "the bore also has limits",
    ),
    "limits-the-wrong-way-round": (
        {**FIT, "fit.bore_smallest": 12.02, "fit.bore_largest": 12},
        "fit.bore_smallest",
        "larger than bore_largest",
    ),
    "a-limit-in-another-unit": (
        {**FIT, "fit.bore_smallest": 12, "fit.bore_largest": "12 in"},
        "fit.bore_largest",
        "far from the nominal bore",
    ),
    "neither-bore-nor-limits": (
        {**FIT, "fit.bore": REMOVE},
        "fit.bore",
        "is missing.*or both limits of the bore",
    ),
    "limits-far-from-each-other": (
        {**FIT, "fit.bore": REMOVE, "fit.bore_smallest": 12, "fit.bore_largest": "12 in"},
        "fit.bore_smallest",
        "far from the middle of the two limits",
    ),
    "bore-beyond-the-table": (
        {**FIT, "fit.bore": 500.1, "fit.hub_diameter": 900},
        "fit.bore",
        "not known for so large a bore.*give bore_smallest and bore_largest",
    ),
    "hub-inside-its-largest-bore": (
        {**FIT, "fit.bore_smallest": 12, "fit.bore_largest": 12.3, "fit.hub_diameter": 12.2},
        "fit.hub_diameter",
        "not larger than the bore, 12.3 mm",
    ),
    "trial-length-without-trial": (
        {"process.trial_length": 8.0},
        "process.trial_length",
        "no trial strip",
    ),
    "trial-stop-without-trial": (
        {"process.trial_stop": "optional"},
        "process.trial_stop",
        "no trial strip.*leave trial_stop out",
    ),
}


@pytest.mark.few(10)
@pytest.mark.parametrize("case", CONTRADICTIONS)
def test_keys_that_contradict_each_other_are_refused_by_name(case: str, tmp_path: Path) -> None:
    changes, key, says = CONTRADICTIONS[case]
    with pytest.raises(JobFileError, match=says):
        Job.model_validate(base_job(changes))
    with pytest.raises(JobFileError, match=says) as caught:
        load(tmp_path, base_job(changes))
    assert caught.value.problems[0].key == key
    assert caught.value.problems[0].where == str(tmp_path / "job.toml")
    assert caught.value.problems[0].remedy
    assert caught.value.problems[0].expected


BARE = [
    "part.knurled_diameter",
    "part.length",
    "knurl.start",
    "knurl.length",
    "holding.centre_diameter",
    "tool.roll_diameter",
    "tool.face_width",
    "tool.roll_spacing",
    "machine.safe_x",
    "machine.safe_z",
    "machine.clearance",
]


def test_the_same_job_in_mm_and_in_inch_is_equal_but_for_its_units() -> None:
    lengths = {key: 1.3 + n / 7 for n, key in enumerate(BARE)}
    inch = Job.model_validate(base_job({**lengths, "process.feed": 0.019, "units": "inch"}))
    texts = {key: f"{length!r} in" for key, length in lengths.items()}
    mm = Job.model_validate(base_job({**texts, "process.feed": "0.019 in/rev"}))
    assert inch.model_copy(update={"units": "mm"}) == mm
    assert inch != mm


def test_bare_numbers_are_in_the_jobs_units() -> None:
    job = Job.model_validate(base_job({"units": "inch", "process.feed": 0.02, "knurl.length": 0.5}))
    assert job.process.feed == pytest.approx(0.508)
    assert job.knurl.length == 12.7
    assert job.process.spindle_speed == 110.0
    assert job.machine.clearance == 2.0, "a default is not in the job's units"


@st.composite
def valid_jobs(draw: st.DrawFn) -> dict[str, Any]:
    """Jobs that are valid, whether or not they can be planned; None leaves a key out."""
    roll = draw(st.floats(0.2, 60))
    style = draw(st.sampled_from(["single roll", "knuckle joint", "revolving head", "straddle"]))
    pivoting = style in ("knuckle joint", "revolving head")
    rolls = ["GV"] if style == "single roll" else ["BL", "BR"]
    optional = {
        "part.blank_diameter": st.floats(0.2, 500),
        "part.number": st.integers(1, 9999),
        "knurl.start": st.floats(0, 100),
        "knurl.helix": st.floats(1, 59),
        "knurl.profile_angle": st.floats(60, 120),
        "tool.rolls": st.just(rolls),
        "tool.offset": st.integers(1, 99),
        "tool.x_datum": st.sampled_from(["touch-off", "roll centre"]),
        "process.feed": st.floats(0.001, 1.5),
        "process.infeed_rate": st.sampled_from(["0.05 mm/rev", "0.002 in/rev", "2 thou/rev"]),
        "process.spindle_speed": st.floats(1, 20000),
        "process.fullness": st.floats(0.3, 1),
        "process.trial_strip": st.booleans(),
        "process.accept": st.lists(st.sampled_from(list(ACCEPTABLE)), max_size=3),
        "machine.rapid_rate": st.sampled_from(["5 m/min", "30 ft/min", "200 in/min"]),
    }
    drawn = {key: draw(st.none() | values) for key, values in optional.items()}
    changes = {
        "units": draw(st.sampled_from(["mm", "inch"])),
        "part.knurled_diameter": draw(st.floats(0.2, 500)),
        "part.material": draw(st.sampled_from(["brass CuZn39Pb3", OWN_MATERIAL])),
        "knurl.callout": draw(st.sampled_from(["DIN 82 RGE 1.0", "96 DP diamond"])),
        "tool.style": style,
        "tool.roll_diameter": roll,
        "tool.roll_spacing": roll * draw(st.floats(1.01, 3)) if pivoting else None,
        "tool.largest_gap": 40.0 if style == "straddle" else None,
        "process": {},
        **drawn,
    }
    return base_job({key: REMOVE if v is None else v for key, v in changes.items()})


OWN_MATERIAL = {"name": "bell metal", "yield_strength": "21 ksi", "turning_speed": "70 ft/min"}


@tried(25, 100, data=valid_jobs())
def test_a_job_comes_back_equal_from_its_json(data: dict[str, Any]) -> None:
    job = Job.model_validate(data)
    for text in (job.model_dump_json(), job.model_dump_json(exclude_unset=True)):
        again = Job.model_validate_json(text)
        assert again == job
        assert again.identity == job.identity


def test_the_schema_gives_every_key_its_description_and_unit() -> None:
    schema = Job.model_json_schema()
    tables = {"Job": schema, **schema["$defs"]}
    assert tables.keys() >= {"Job", "Part", "OwnMaterial", "Knurl", "Tool", "Process", "Machine"}
    lacking = [
        f"{table}.{key}"
        for table, about in tables.items()
        for key, field in about["properties"].items()
        if not (field.get("description") and field.get("unit"))
    ]
    assert lacking == []


def test_rolls_are_also_taken_as_a_text() -> None:
    for text in ("BL BR", "BL, BR", "BL+BR"):
        assert Job.model_validate(base_job({"tool.rolls": text})).tool.rolls == ("BL", "BR")


def test_the_callouts_purpose_counts_when_the_job_gives_none() -> None:
    changes = {"knurl.callout": "21 TPI straight, press fit", "knurl.purpose": REMOVE}
    assert Job.model_validate(base_job(changes)).purpose == "press fit"
    assert Job.model_validate(base_job({"knurl.purpose": REMOVE})).purpose == "grip"


def test_a_material_of_the_jobs_own_needs_no_table() -> None:
    own = {"name": "bell metal", "yield_strength": "150 MPa", "turning_speed": "20 m/min"}
    job = Job.model_validate(base_job({"part.material": own}))
    assert job.part.material_row.name == "bell metal"
    assert job.part.material_row.turning_speed_m_min == 20.0
    with pytest.raises(JobFileError, match="a unit is needed"):
        Job.model_validate(base_job({"part.material": {**own, "yield_strength": 150}}))


@pytest.mark.parametrize("length", LENGTHS)
def test_a_length_takes_its_unit_in_any_spelling(length: str) -> None:
    for text in ("50 mm", "5 cm", "0.05 m", "50MM", "1.968503937007874 in"):
        job = Job.model_validate(base_job({length: text}))
        section, key = length.split(".")
        assert getattr(getattr(job, section), key) == pytest.approx(50.0)


def test_every_refusal_that_can_be_accepted_has_its_reason() -> None:
    assert all(reason for reason in ACCEPTABLE.values())
    for code in ACCEPTABLE:
        Job.model_validate(base_job({"process.accept": [code]}))


def test_a_grip_needs_a_chuck() -> None:
    with pytest.raises(JobFileError, match=r"holding\.grip: there is no chuck"):
        Job.build(base_job({"holding.grip": "3 kN"}))


@pytest.mark.parametrize("odd", ["\x1b", "\u202e", "\u200b", "\n", "\ue000"], ids=ascii)
def test_invisible_characters_in_a_name_is_taken_for_a_space(odd: str) -> None:
    assert Job.build(base_job({"part.name": f"Knob{odd}7"})).part.name == "Knob 7"


@pytest.mark.parametrize("name", ["Knob 7", "Rändelgriff Ø 25", "M\u00a012", "ノブ\u3000七"])
def test_a_name_may_have_any_letters_and_spaces(name: str) -> None:
    assert Job.build(base_job({"part.name": name})).part.name == name
