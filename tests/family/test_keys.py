"""A table's columns are a job's keys."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest

from knurlcam import InputError, Job
from knurlcam.family import (
    Base,
    make_family,
)
from knurlcam.family.keys import known_columns, merged
from tests.support.families import (
    one,
)
from tests.support.jobs import base_job


def test_every_key_of_a_job_is_a_column() -> None:
    def keys(schema: dict[str, Any], above: str = "") -> Iterator[str]:
        for name, field in schema["properties"].items():
            refs = [field, *field.get("anyOf", ()), *field.get("oneOf", ())]
            inside = [r["$ref"].rsplit("/", 1)[1] for r in refs if "$ref" in r]
            for ref in inside:
                yield from keys(definitions[ref], f"{above}{name}.")
            if not inside or any(r.get("type") == "string" for r in refs):
                yield f"{above}{name}"

    schema = Job.model_json_schema()
    definitions = schema["$defs"]
    assert set(keys(schema)) | {"tool", "tool.name", "machine", "machine.name"} == set(
        known_columns()
    )


@pytest.mark.few(5)
@pytest.mark.parametrize(
    ("column", "cell", "key", "value"),
    [
        ("tool.rolls", "BL BR", ("tool", "rolls"), ("BL", "BR")),
        ("tool.rolls", '["BR", "BL"]', ("tool", "rolls"), ("BR", "BL")),
        ("process.accept", "marks-outside", ("process", "accept"), ("marks-outside",)),
        ("process.accept", "", ("process", "accept"), ()),
        ("tool.station", "7", ("tool", "station"), 7),
        ("process.clean_up", "FALSE", ("process", "clean_up"), False),
        ("process.clean_up", False, ("process", "clean_up"), False),
        ("process.fullness", "0.9", ("process", "fullness"), 0.9),
        ("part.name", 1201, ("part", "name"), "1201"),
        ("part.knurled_diameter", "1.000 in", ("part", "knurled_diameter"), 25.4),
        ("part.material", "brass CuZn39Pb3", ("part", "material"), "brass CuZn39Pb3"),
    ],
)
def test_a_cell_holds_what_the_job_file_would(
    column: str, cell: Any, key: tuple[str, str], value: Any
) -> None:
    rows = [{"part.name": "Knob", **({column: cell} if cell != "" else {})}]
    (result,) = make_family(base_job(), rows)
    assert result.ok, result.problems
    assert getattr(getattr(result.job, key[0]), key[1]) == value


def test_a_table_of_ones_own_material_can_stand_in_columns() -> None:
    cells = {
        "part__material__name": "nickel silver",
        "part__material__yield_strength": "400 MPa",
        "part__material__turning_speed": "30 m/min",
    }
    assert one(base_job(), **cells).job.part.material_row.name == "nickel silver"


def test_a_name_and_a_table_of_one_material_are_refused() -> None:
    result = one(
        base_job({"part.material": "aluminium 6082-T6"}),
        part__material="brass CuZn39Pb3",
        part__material__name="nickel silver",
    )
    (problem,) = result.problems
    assert problem.column == "part.material.name"
    assert "cannot stand beside" in problem.message


def test_a_row_in_the_other_units_leaves_the_bases_lengths_as_long_as_they_are() -> None:
    result = one(base_job(), units="inch", part__knurled_diameter=1.0, part__name="Inch knob")
    job = result.job
    assert job.units == "inch"
    assert job.part.knurled_diameter == pytest.approx(25.4)
    assert job.knurl.length == pytest.approx(20.0)
    assert job.tool.roll_diameter == pytest.approx(20.0)
    assert "G70" in (result.text or "")


def test_a_bases_keys_are_not_changed_by_its_rows() -> None:
    base = base_job()
    before = json.dumps(base)
    merged(base, {"part.name": "x", "process.passes": 3, "units": "inch"})
    assert json.dumps(base) == before


def test_a_column_that_no_job_has_is_refused_with_the_nearest() -> None:
    with pytest.raises(InputError, match=r"did you mean 'part.knurled_diameter'"):
        one(base_job(), part__knurld_diameter=25)
    with pytest.raises(InputError, match="knurlcam schema"):
        one(base_job(), part__name="Knob", colour="red")


def test_two_columns_that_name_the_file_are_refused() -> None:
    with pytest.raises(InputError, match="two columns name the file") as caught:
        one(base_job(), file="a.nc", program="b.nc")
    assert caught.value.key == "file and program"


@pytest.mark.parametrize(
    ("base", "key", "words"),
    [
        ({"party": {"x": 1}}, "party", "did you mean 'part'?"),
        ({"part": {"nmae": "A"}}, "part.nmae", "did you mean 'name'?"),
        ({"part": 5}, "part", "is not a table of keys"),
        ({"tool": 5}, "tool", "is not a table of keys"),
        ({"fit": {"hub_material": {"nmae": "A"}}}, "fit.hub_material.nmae", "unknown key"),
    ],
)
def test_a_base_that_no_row_can_correct_is_refused_at_once(
    base: dict[str, Any], key: str, words: str
) -> None:
    with pytest.raises(InputError) as caught:
        Base.of(base)
    assert caught.value.key == key
    assert words in str(caught.value)
