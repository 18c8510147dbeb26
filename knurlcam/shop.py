"""What a shop keeps once: tools, rolls, machines and default process values by name.

A job names them (``tool = "twin 20"``, ``machine = "lathe 2"``) and overrides what it
must; a job that names no tool gets the first of the shop's that can do it.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Annotated, Any, NamedTuple

from pydantic import Field, ValidationError, create_model, field_validator, model_validator
from pydantic.fields import FieldInfo

from knurlcam.errors import CannotBeDoneError, InputError, Refusal, nearest
from knurlcam.job import (
    Angle,
    InUnits,
    Job,
    JobFileError,
    Length,
    Machine,
    Process,
    Section,
    Tool,
    problems_of,
    read_table_file,
)
from knurlcam.plan import DEFAULT_PROFILE_DEG, knurl_geometry, make_plan
from knurlcam.quantities import Kind, show
from knurlcam.tables import rolls
from knurlcam.tracking import pitch_from_diametral_pitch, pitch_from_tpi

__all__ = ["SHOP_FILE", "SHOP_VARIABLE", "RollMatch", "Shop", "find_shop", "load_shop"]

SHOP_FILE = "shop.toml"
SHOP_VARIABLE = "KNURLCAM_SHOP"

PITCH_MATCH = 0.005
"""Rolls whose pitch is within half a percent of the knurl's are rolls for it."""

ANGLE_MATCH_DEG = 0.01
HELICAL_ROLLS = ("BL", "BR")
USUAL_HELIX_DEG = 30.0


def _all_optional(model: type[Section], *, without: tuple[str, ...] = ()) -> dict[str, Any]:
    """Return a model's fields, each of which may be left out."""
    fields: dict[str, Any] = {}
    for name, info in model.model_fields.items():
        if name in without:
            continue
        kind: Any = info.annotation
        for mark in info.metadata:
            kind = Annotated[kind, mark]
        fields[name] = (kind | None, FieldInfo(default=None, description=info.description))
    return fields


class _Rolls(Section):
    """A set of rolls in the drawer."""

    forms: tuple[str, ...] = Field(
        min_length=1, max_length=2, description="Forms of DIN 403, one a roll"
    )
    pitch: Length | None = Field(None, gt=0, description="Pitch across the teeth")
    tpi: float | None = Field(None, gt=0, description="Teeth per inch")
    diametral_pitch: float | None = Field(None, gt=0, description="Diametral pitch")
    profile_angle: Angle = Field(
        DEFAULT_PROFILE_DEG, ge=60, le=120, description="Profile angle of the teeth"
    )
    helix: Angle | None = Field(None, gt=0, lt=60, description="Helix angle of helical rolls")
    roll_diameter: Length = Field(gt=0, description="Roll diameter")
    face_width: Length = Field(gt=0, description="Face width")
    bevelled: bool = Field(False, description="Whether the edges are bevelled")

    @field_validator("forms", mode="before")
    @classmethod
    def _one_or_two(cls, value: object) -> object:
        return (value,) if isinstance(value, str) else value

    @field_validator("forms")
    @classmethod
    def _known(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        for name in value:
            if name not in rolls():
                raise InputError(
                    "unknown roll form",
                    value=name,
                    expected="a roll form of DIN 403",
                    remedy=nearest(name, rolls()),
                )
        return value

    @model_validator(mode="after")
    def _one_pitch(self) -> _Rolls:
        given = [p for p in (self.pitch, self.tpi, self.diametral_pitch) if p is not None]
        if len(given) != 1:
            raise InputError(
                f"{len(given)} pitches are given",
                key="pitch",
                expected="one of pitch, tpi and diametral_pitch",
                remedy="leave the others out" if given else "add the one that is on the rolls",
            )
        return self

    def helix_deg(self, swivel_deg: float) -> float:
        """Return the helix that the rolls make when straight ones are swivelled so much."""
        if self.helix is not None:
            return self.helix
        return USUAL_HELIX_DEG if set(self.forms) & set(HELICAL_ROLLS) else swivel_deg

    def pitch_mm(self, helix_deg: float, *, swivelled: bool) -> float:
        """Return the pitch across the teeth [mm]."""
        if self.pitch is not None:
            return self.pitch
        if self.tpi is not None:
            return pitch_from_tpi(self.tpi)
        assert self.diametral_pitch is not None  # one of the three, says the validator
        return pitch_from_diametral_pitch(self.diametral_pitch, helix_deg, swivelled=swivelled)


class _ToolName(Section):
    mounted: tuple[str, ...] | None = Field(
        None, description="Names of the rolls that this tool takes; all that fit unless given"
    )

    @field_validator("mounted", mode="before")
    @classmethod
    def _one_name(cls, value: object) -> object:
        return (value,) if isinstance(value, str) else value


@cache
def _shop_file() -> type[Any]:
    """Return the model of a shop file; most jobs have none, and need not build it."""
    tool: Any = create_model(
        "ShopTool", __base__=_ToolName, **_all_optional(Tool, without=("rolls",))
    )
    machine: Any = create_model("ShopMachine", __base__=Section, **_all_optional(Machine))
    process: Any = create_model("ShopProcess", __base__=Section, **_all_optional(Process))
    return create_model(
        "ShopFile",
        __base__=InUnits,
        tools=(dict[str, tool], Field(default_factory=dict, description="Tools by name")),
        rolls=(dict[str, _Rolls], Field(default_factory=dict, description="Rolls by name")),
        machines=(dict[str, machine], Field(default_factory=dict, description="Machines")),
        process=(process | None, Field(None, description="Default process values")),
    )


class RollMatch(NamedTuple):
    """Whether a tool with rolls of the shop can make a job's callout.

    Attributes:
        tool: The tool's name.
        rolls: The rolls' name; empty where the tool itself says what it holds.
        suits: Whether they can.
        why: If not, why not.
    """

    tool: str
    rolls: str
    suits: bool
    why: str


@dataclass(frozen=True)
class Shop:
    """A shop file, read and validated.

    Attributes:
        path: The file.
        tools: Tools by name, quantities as text with their unit.
        rolls: Rolls by name.
        machines: Machines by name.
        process: Default process values.
    """

    path: str
    tools: Mapping[str, Mapping[str, Any]]
    machines: Mapping[str, Mapping[str, Any]]
    process: Mapping[str, Any]
    rolls: Mapping[str, _Rolls] = field(repr=False)

    def fill(
        self, data: Mapping[str, Any], where: str | None = None
    ) -> tuple[dict[str, Any], frozenset[str]]:
        """Fill a job's keys up with what the shop keeps.

        Args:
            data: The job's keys, as in the file.
            where: The job's name for messages.

        Returns:
            All keys, and the dotted names of those that the shop gave.

        Raises:
            JobFileError: if a name is unknown or the job is not valid.
            CannotBeDoneError: if none of the shop's tools can do the job.
        """
        filled = dict(data)
        given: set[str] = set()
        machine, own = self._named(data, "machine", self.machines, where)
        if machine is None and "machine" not in data and len(self.machines) == 1:
            machine = next(iter(self.machines.values()))
        self._merge(filled, "machine", machine, own, given)
        own_process = data.get("process", {})
        if isinstance(own_process, Mapping):
            self._merge(filled, "process", self.process or None, own_process, given)
        self._fill_tool(filled, data, given, where)
        return filled, frozenset(given)

    def rolls_for(self, job: Job) -> tuple[RollMatch, ...]:
        """Return for each tool and its rolls whether they can make a job's callout."""
        data = job.model_dump(mode="json", exclude={"tool"}, exclude_none=True)
        return tuple(match for match, _ in self._matches(data, self.tools, {}, str(self.path)))

    # -- filling -------------------------------------------------------------------

    def _named(
        self,
        data: Mapping[str, Any],
        key: str,
        known: Mapping[str, Mapping[str, Any]],
        where: str | None,
    ) -> tuple[Mapping[str, Any] | None, Mapping[str, Any]]:
        """Return what a section names and what it says itself."""
        section = data.get(key)
        name: object = None
        own: Mapping[str, Any] = {}
        if isinstance(section, str):
            name = section
        elif isinstance(section, Mapping):
            own = {k: v for k, v in section.items() if k != "name"}
            name = section.get("name")
        if name is None:
            return None, own
        if not isinstance(name, str) or name not in known:
            raise JobFileError(
                (
                    InputError(
                        f"no {key} of that name in {self.path}",
                        where=where,
                        key=key,
                        value=name,
                        expected="a name of the shop file",
                        remedy=nearest(str(name), known) if known else "the shop file has none",
                    ),
                )
            )
        return known[name], own

    @staticmethod
    def _merge(
        filled: dict[str, Any],
        key: str,
        kept: Mapping[str, Any] | None,
        own: Mapping[str, Any],
        given: set[str],
    ) -> None:
        if kept is None:
            return
        filled[key] = {**kept, **own}
        given.update(f"{key}.{name}" for name in kept if name not in own)

    def _fill_tool(
        self,
        filled: dict[str, Any],
        data: Mapping[str, Any],
        given: set[str],
        where: str | None,
    ) -> None:
        section = data.get("tool")
        tool, own = self._named(data, "tool", self.tools, where)
        if tool is None and section is not None:
            return  # the job says all of it itself
        if not self.tools:
            return  # the job's own check says that the tool is missing
        if tool is None:
            among = self.tools
        else:
            name = section if isinstance(section, str) else section["name"]  # type: ignore[index]
            among = {name: tool}
        base = {k: v for k, v in filled.items() if k != "tool"}
        tried: list[RollMatch] = []
        for match, merged in self._matches(base, among, own, where):
            if match.suits:
                filled["tool"] = merged
                given.update(f"tool.{k}" for k in merged if k not in own)
                return
            tried.append(match)
        raise CannotBeDoneError(
            [
                Refusal(
                    "no-rolls-in-shop",
                    f"none of the tools and rolls in {self.path} can do this job: "
                    + "; ".join(
                        f"{m.tool}{' with ' + m.rolls if m.rolls else ''}: {m.why}" for m in tried
                    ),
                    "tool",
                    source="the shop file",
                )
            ],
            where,
        )

    def _matches(
        self,
        data: Mapping[str, Any],
        tools: Mapping[str, Mapping[str, Any]],
        own: Mapping[str, Any],
        where: str | None,
    ) -> Iterator[tuple[RollMatch, dict[str, Any]]]:
        """Try each tool with each set of rolls that it takes, in the file's order."""
        for tool_name, tool in tools.items():
            entry = {k: v for k, v in tool.items() if k != "mounted"}
            mounted = tool.get("mounted")
            merged = {**entry, **own}
            names = list(self.rolls) if mounted is None else list(mounted)
            if not names or ("face_width" in merged and "roll_diameter" in merged):
                yield self._judge(data, merged, tool_name, "", where), merged
                continue
            for name in names:
                candidate, why = self._with_rolls(merged, self.rolls[name])
                if why:
                    yield RollMatch(tool_name, name, False, why), candidate
                else:
                    yield self._judge(data, candidate, tool_name, name, where), candidate

    def _with_rolls(self, tool: Mapping[str, Any], kept: _Rolls) -> tuple[dict[str, Any], str]:
        """Return the tool with the rolls in it, or why they do not go in."""
        merged = dict(tool)
        count = 1 if tool.get("style") == "single roll" else 2
        if len(kept.forms) != count:
            return merged, f"a {tool.get('style')} holds {count} roll(s), not {len(kept.forms)}"
        texts = kept.model_dump(mode="json")
        own_diameter = tool.get("roll_diameter")
        if own_diameter is not None and own_diameter != texts["roll_diameter"]:
            return merged, f"rolls of {texts['roll_diameter']}, the tool takes {own_diameter}"
        merged["roll_diameter"] = texts["roll_diameter"]
        merged.setdefault("face_width", texts["face_width"])
        merged.setdefault("rolls", list(kept.forms))
        if kept.bevelled:
            merged.setdefault("bevelled_rolls", True)
        return merged, ""

    def _judge(
        self,
        data: Mapping[str, Any],
        tool: Mapping[str, Any],
        tool_name: str,
        rolls_name: str,
        where: str | None,
    ) -> RollMatch:
        """Say whether a job with this tool can be planned with these rolls."""
        try:
            job = Job.model_validate({**data, "tool": tool})
        except ValidationError as error:
            problems = problems_of(error, Job, where)
            foreign = tuple(p for p in problems if not (p.key or "").startswith("tool"))
            if foreign:
                raise JobFileError(foreign) from None
            return RollMatch(tool_name, rolls_name, False, problems[0].problem)
        why = self._other_knurl(job, self.rolls[rolls_name]) if rolls_name else ""
        if not why:
            try:
                make_plan(job)
            except CannotBeDoneError as error:
                why = error.refusals[0].message
        return RollMatch(tool_name, rolls_name, not why, why)

    def _other_knurl(self, job: Job, kept: _Rolls) -> str:
        """Return what of the rolls is not the knurl's; empty if nothing."""
        asked = job.knurl.asked
        knurl = knurl_geometry(
            asked.form,
            asked.system,
            asked.value,
            helix_deg=asked.helix_deg,
            profile_deg=asked.profile_deg,
            swivelled=job.tool.swivelled,
        )
        helix = kept.helix_deg(knurl.helix_deg)
        pitch = kept.pitch_mm(helix, swivelled=job.tool.swivelled)
        if abs(pitch - knurl.pitch_mm) > PITCH_MATCH * knurl.pitch_mm:
            return (
                f"pitch {show(pitch, Kind.LENGTH, job.units)}, the knurl needs "
                f"{show(knurl.pitch_mm, Kind.LENGTH, job.units)}"
            )
        if abs(kept.profile_angle - knurl.profile_deg) > ANGLE_MATCH_DEG:
            return f"profile {kept.profile_angle:g}°, the knurl needs {knurl.profile_deg:g}°"
        swivelled_flat = job.tool.swivelled and not knurl.helix_deg
        if not swivelled_flat and abs(helix - knurl.helix_deg) > ANGLE_MATCH_DEG:
            return f"helix {helix:g}°, the knurl needs {knurl.helix_deg:g}°"
        return ""


def load_shop(path: str | Path) -> Shop:
    """Read a shop file.

    Raises:
        JobFileError: naming file, key, value, what was expected and what to do.
    """
    where = str(path)
    data = read_table_file(path)
    try:
        read: Any = _shop_file().model_validate(data)
    except ValidationError as error:
        raise JobFileError(problems_of(error, _shop_file(), where)) from None
    _refuse_unknown_rolls(read, where)

    def texts(section: Section | None) -> dict[str, Any]:
        return {} if section is None else section.model_dump(mode="json", exclude_unset=True)

    return Shop(
        path=where,
        tools={name: texts(tool) for name, tool in read.tools.items()},
        machines={name: texts(machine) for name, machine in read.machines.items()},
        process=texts(read.process),
        rolls=read.rolls,
    )


def _refuse_unknown_rolls(read: Any, where: str) -> None:
    for name, tool in read.tools.items():
        for roll in tool.mounted or ():
            if roll not in read.rolls:
                raise JobFileError(
                    (
                        InputError(
                            "no rolls of that name",
                            where=where,
                            key=f"tools.{name}.mounted",
                            value=roll,
                            expected="a name under [rolls]",
                            remedy=nearest(roll, read.rolls) if read.rolls else "add the rolls",
                        ),
                    )
                )


def find_shop(job: str | Path, shop: Shop | str | Path | None = None) -> Shop | None:
    """Find the shop file for a job.

    Args:
        job: The job file.
        shop: A shop, or a shop file; else ``KNURLCAM_SHOP``, else a ``shop.toml`` beside
            the job or in a folder above it.

    Returns:
        The shop, or None where there is no shop file.

    Raises:
        JobFileError: if a file that was named or found is not a shop file.
    """
    if isinstance(shop, Shop):
        return shop
    named = shop or os.environ.get(SHOP_VARIABLE)
    if named:
        return load_shop(named)
    own = Path(job).resolve()
    for folder in own.parents:
        file = folder / SHOP_FILE
        if file.is_file() and file != own:
            return load_shop(file)
    return None
