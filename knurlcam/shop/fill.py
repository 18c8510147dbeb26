"""What a shop keeps once: tools, rolls, machines and default process values by name.

A job names them (``tool = "twin 20"``, ``machine = "lathe 2"``) and overrides what it
must; a job that names no tool gets the first of the shop's that can do it. A tool takes
each set of rolls with as many rolls as it holds and, where the tool says a roll diameter
or a face width, of that size; ``mounted`` narrows them down by name. Where it is an empty
list, the tool holds rolls of its own, and what it says of them is taken as it stands.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Annotated, Any, NamedTuple

from pydantic import (
    ConfigDict,
    Field,
    ValidationError,
    create_model,
    field_validator,
    model_validator,
)
from pydantic.fields import FieldInfo

from knurlcam.data.rolls import roll_sets
from knurlcam.errors import CannotBeDoneError, InputError, Refusal, nearest
from knurlcam.job.callout import LIMITS
from knurlcam.job.fields import Angle, Figure, InUnits, Length, Name, Section
from knurlcam.job.geometry import called_geometry
from knurlcam.job.knurl import Knurl
from knurlcam.job.limits import MAX_LENGTH_MM
from knurlcam.job.load import read_table_file
from knurlcam.job.model import Job
from knurlcam.job.problems import JobFileError, problems_of
from knurlcam.job.sections import Machine, Process
from knurlcam.job.tool import Tool, known_rolls
from knurlcam.mechanics.knurl import DEFAULT_PROFILE_DEG
from knurlcam.mechanics.tool_styles import TOOL_STYLES
from knurlcam.mechanics.tracking import pitch_from_diametral_pitch, pitch_from_tpi
from knurlcam.plan.planner import make_plan
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.quantities import parse_quantity
from knurlcam.units.show import show

__all__ = ["SHOP_FILE", "SHOP_VARIABLE", "RollMatch", "Shop", "find_shop", "load_shop"]

SHOP_FILE = "shop.toml"
SHOP_VARIABLE = "KNURLCAM_SHOP"

PITCH_MATCH = 0.005
"""Rolls whose pitch is within half a percent of the knurl's are rolls for it."""

ANGLE_MATCH_DEG = 0.01
SIZE_MATCH_MM = 0.01
"""Sizes that differ by less are the same, one rounded from the other's unit."""

HELICAL_ROLLS = ("BL", "BR", "GE", "GV")
USUAL_HELIX_DEG = 30.0
"""Helix of helical rolls that do not say theirs (common practice)."""


def _partial(name: str, base: Any, model: type[Section]) -> Any:
    """Return a model with each key optional; they are held together in the whole job."""
    fields: dict[str, Any] = {}
    for key, info in model.model_fields.items():
        kind: Any = info.annotation
        for mark in info.metadata:
            kind = Annotated[kind, mark]
        fields[key] = (kind | None, FieldInfo(default=None, description=info.description))
    apart: Any = model_validator(mode="after")(lambda self: self)
    return create_model(name, __base__=base, __validators__={"_agrees": apart}, **fields)


def _figure(name: str) -> dict[str, Any]:
    """Return a callout figure's limits as bounds of a field."""
    low, high = LIMITS[name]
    return {"ge": low, "le": high}


class _Rolls(Section):
    """A set of rolls in the drawer."""

    forms: tuple[str, ...] = Field(
        min_length=1, max_length=2, description="Forms of DIN 403, one a roll"
    )
    pitch: Length | None = Field(None, **_figure("pitch"), description="Pitch across the teeth")
    tpi: Figure | None = Field(None, **_figure("tpi"), description="Teeth per inch")
    diametral_pitch: Figure | None = Field(None, **_figure("dp"), description="Diametral pitch")
    profile_angle: Angle = Field(
        DEFAULT_PROFILE_DEG, **_figure("profile"), description="Profile angle of the teeth"
    )
    helix: Angle | None = Field(None, gt=0, lt=60, description="Helix angle of helical rolls")
    roll_diameter: Length = Field(gt=0, le=MAX_LENGTH_MM, description="Roll diameter")
    face_width: Length = Field(gt=0, le=MAX_LENGTH_MM, description="Face width")
    bevelled: bool = Field(False, description="Whether the edges are bevelled")

    @field_validator("forms", mode="before")
    @classmethod
    def _one_or_two(cls, value: object) -> object:
        return (value,) if isinstance(value, str) else value

    @field_validator("forms")
    @classmethod
    def _known(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        return known_rolls(value)

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

    @model_validator(mode="after")
    def _helix_on_helical(self) -> _Rolls:
        if self.helix is not None and not self.helical:
            raise InputError(
                "none of these rolls is helical",
                key="helix",
                value=self.helix,
                expected="one of " + ", ".join(HELICAL_ROLLS) + " among the forms",
                remedy="correct forms or leave helix out",
            )
        return self

    @property
    def helical(self) -> bool:
        """Whether a roll among them has helical teeth."""
        return bool(set(self.forms) & set(HELICAL_ROLLS))

    def helix_deg(self, swivel_deg: float) -> float:
        """Return the helix that the rolls make when straight ones are swivelled so much."""
        if self.helix is not None:
            return self.helix
        return USUAL_HELIX_DEG if self.helical else swivel_deg

    def pitch_mm(self, helix_deg: float, *, swivelled: bool) -> float:
        """Return the pitch across the teeth [mm]."""
        if self.pitch is not None:
            return self.pitch
        if self.tpi is not None:
            return pitch_from_tpi(self.tpi)
        assert self.diametral_pitch is not None  # one of the three, says the validator
        return pitch_from_diametral_pitch(self.diametral_pitch, helix_deg, swivelled=swivelled)


class _ShopTool(Tool):
    mounted: tuple[str, ...] | None = Field(
        None, description="Names of the rolls that this tool takes; all that fit unless given"
    )

    @field_validator("mounted", mode="before")
    @classmethod
    def _one_name(cls, value: object) -> object:
        return (value,) if isinstance(value, str) else value

    @model_validator(mode="before")
    @classmethod
    def _no_forms(cls, data: Any) -> Any:
        if isinstance(data, Mapping) and "rolls" in data:
            raise InputError(
                "a tool of the shop file names rolls of the file, not their forms",
                key="rolls",
                value=data["rolls"],
                expected="mounted, with names under [rolls]",
                remedy="write mounted, or leave it out for all rolls that fit",
            )
        return data


@cache
def _shop_file() -> type[Any]:
    """Return the model of a shop file; most jobs have none, and need not build it."""
    tool: Any = _partial("ShopTool", _ShopTool, Tool)
    machine: Any = _partial("ShopMachine", Machine, Machine)
    process: Any = _partial("ShopProcess", Process, Process)
    return create_model(
        "ShopFile",
        __base__=InUnits,
        tools=(dict[Name, tool], Field(default_factory=dict, description="Tools by name")),
        rolls=(dict[Name, _Rolls], Field(default_factory=dict, description="Rolls by name")),
        machines=(dict[Name, machine], Field(default_factory=dict, description="Machines")),
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


class _Asked(InUnits):
    """The part of a job that says which knurl is asked for."""

    model_config = ConfigDict(extra="ignore")
    knurl: Knurl = Field(description="The knurl")


class _Trial(NamedTuple):
    """A tool with rolls, tried on a job.

    Attributes:
        match: What came out.
        tool: The keys of the job's tool.
        makes: Whether the rolls make the knurl, though the plan may be refused.
        faults: Why the tool's keys are not those of a tool.
    """

    match: RollMatch
    tool: Mapping[str, Any]
    makes: bool = False
    faults: tuple[InputError, ...] = ()


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
        if "machine" not in data and self.machines:
            machine = self._only_machine(where)
        self._merge(filled, "machine", machine, own, given)
        own_process = data.get("process", {})
        if isinstance(own_process, Mapping):
            self._merge(filled, "process", self._process_for(own_process), own_process, given)
        self._fill_tool(filled, data, given, where)
        return filled, frozenset(given)

    def rolls_for(self, job: Job) -> tuple[RollMatch, ...]:
        """Return for each tool and its rolls whether they can make a job's callout."""
        data = job.model_dump(mode="json", exclude={"tool"}, exclude_none=True)
        return tuple(trial.match for trial in self._trials(data, self.tools, {}, self.path))

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

    def _only_machine(self, where: str | None) -> Mapping[str, Any]:
        """Return the shop's one machine, for a job that names none."""
        if len(self.machines) > 1:
            problem = InputError(
                f"is missing, and {self.path} has more than one machine",
                where=where,
                key="machine",
                expected="one of " + ", ".join(map(repr, self.machines)),
                remedy="name the one that the job runs on",
            )
            raise JobFileError((problem,))
        return next(iter(self.machines.values()))

    def _process_for(self, own: Mapping[str, Any]) -> Mapping[str, Any] | None:
        """Return the default process values that a job has a use for."""
        kept = dict(self.process)
        if not {**kept, **own}.get("trial_strip", False):
            kept.pop("trial_length", None)
        return kept or None

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
        among = self.tools
        if tool is not None:
            name = section if isinstance(section, str) else section["name"]  # type: ignore[index]
            among = {name: tool}
        base = {k: v for k, v in filled.items() if k != "tool"}
        _refuse_own_faults({**base, "tool": own}, own, where)
        trial = self._pick(base, among, own, where, named=tool is not None)
        filled["tool"] = trial.tool
        given.update(f"tool.{k}" for k in trial.tool if k not in own)

    def _pick(
        self,
        base: Mapping[str, Any],
        among: Mapping[str, Mapping[str, Any]],
        own: Mapping[str, Any],
        where: str | None,
        *,
        named: bool,
    ) -> _Trial:
        """Return the first that can do the job, else the first that makes the knurl.

        The plan of the latter says what stands in the way, in its own words and codes.
        """
        trials: list[_Trial] = []
        for trial in self._trials(base, among, own, where):
            if trial.match.suits:
                return trial
            trials.append(trial)
        for trial in trials:
            if trial.makes:
                return trial
        faults = next((t.faults for t in trials if t.faults), ())
        if named and faults:
            raise JobFileError(faults)
        reasons = "; ".join(
            f"{m.tool}{' with ' + m.rolls if m.rolls else ''}: {m.why}" for m, *_ in trials
        )
        problem = (
            f"none of the tools and rolls in {self.path} can do this job, which needs "
            f"{_needed(base)}; {reasons}"
        )
        raise CannotBeDoneError(
            [Refusal("no-rolls-in-shop", problem, "tool", source="the shop file")], where
        )

    def _trials(
        self,
        data: Mapping[str, Any],
        tools: Mapping[str, Mapping[str, Any]],
        own: Mapping[str, Any],
        where: str | None,
    ) -> Iterator[_Trial]:
        """Try each tool with each set of rolls that it takes, in the file's order."""
        units: Units = "inch" if data.get("units") == "inch" else "mm"
        for tool_name, tool in tools.items():
            entry = {k: v for k, v in tool.items() if k != "mounted"}
            mounted = tool.get("mounted")
            names = list(self.rolls) if mounted is None else list(mounted)
            if not names or own.keys() >= {"roll_diameter", "face_width"}:
                yield self._judge(data, {**entry, **own}, own, tool_name, "", where)
                continue
            for name in names:
                why = _does_not_go_in(self.rolls[name], entry, own, units)
                merged = {**entry, **_with_rolls(self.rolls[name]), **own}
                if why:
                    yield _Trial(RollMatch(tool_name, name, False, why), merged)
                else:
                    yield self._judge(data, merged, own, tool_name, name, where)

    def _judge(
        self,
        data: Mapping[str, Any],
        tool: Mapping[str, Any],
        own: Mapping[str, Any],
        tool_name: str,
        rolls_name: str,
        where: str | None,
    ) -> _Trial:
        """Say whether a job with this tool can be planned with these rolls."""

        def no(why: str, *, makes: bool = False, faults: tuple[InputError, ...] = ()) -> _Trial:
            return _Trial(RollMatch(tool_name, rolls_name, False, why), tool, makes, faults)

        try:
            job = Job.model_validate({**data, "tool": tool})
        except ValidationError as error:
            source = f"{where or 'the job'} with tool {tool_name!r} of {self.path}"
            problems = problems_of(error, Job, source)
            _raise_faults(_own_faults(problems_of(error, Job, where), own))
            first = problems[0]
            if first.key == "tool.rolls":
                return no(first.problem)
            return no(f"{first.key}: {first.problem}", faults=problems)
        why = self._other_knurl(job, self.rolls[rolls_name]) if rolls_name else ""
        if why:
            return no(why)
        try:
            make_plan(job)
        except CannotBeDoneError as error:
            return no(error.refusals[0].message, makes=True)
        return _Trial(RollMatch(tool_name, rolls_name, True, ""), tool, makes=True)

    def _other_knurl(self, job: Job, kept: _Rolls) -> str:
        """Return what of the rolls is not the knurl's; empty if nothing."""
        knurl = called_geometry(job.knurl.asked, swivelled=job.tool.swivelled)
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


def _with_rolls(kept: _Rolls) -> dict[str, Any]:
    """Return the keys of a job's tool that rolls in it give."""
    texts = kept.model_dump(mode="json")
    return {
        "roll_diameter": texts["roll_diameter"],
        "face_width": texts["face_width"],
        "rolls": list(kept.forms),
        "bevelled_rolls": kept.bevelled,
    }


def _does_not_go_in(
    kept: _Rolls, entry: Mapping[str, Any], own: Mapping[str, Any], units: Units
) -> str:
    """Return why rolls do not go into a tool with what a job says of it; empty if they do."""
    tool = {**entry, **own}
    style = tool.get("style")
    row = TOOL_STYLES.get(str(style))
    if row is not None and len(kept.forms) != row.rolls:
        return f"a {style} holds {row.rolls} roll(s), not {len(kept.forms)}"
    for key, called in (("roll_diameter", "diameter"), ("face_width", "width")):
        if key not in tool:
            continue
        size, wanted = getattr(kept, key), parse_quantity(tool[key], Kind.LENGTH, units)
        if abs(size - wanted) > SIZE_MATCH_MM:
            asks = "the job asks for" if key in own else "the tool takes"
            here, there = (show(x, Kind.LENGTH, units) for x in (size, wanted))
            return f"rolls of {called} {here}, {asks} {there}"
    if "rolls" in own:
        wanted_forms = _forms_in(own["rolls"])
        if wanted_forms and sorted(wanted_forms) != sorted(kept.forms):
            return f"rolls {' '.join(kept.forms)}, the job asks for {' '.join(wanted_forms)}"
    return ""


def _forms_in(given: Any) -> list[str]:
    """Return the roll forms that a job's own ``tool.rolls`` names."""
    return given.replace(",", " ").replace("+", " ").split() if isinstance(given, str) else given


def _needed(data: Mapping[str, Any]) -> str:
    """Return the rolls that a job's knurl needs, in words."""
    asked = _Asked.model_validate(data)
    knurl = called_geometry(asked.knurl.asked)
    sets = [
        " ".join(s.rolls) + (" swivelled" if s.swivelled else "") for s in roll_sets(knurl.form)
    ]
    helix = f" and {knurl.helix_deg:g}° helix" if knurl.helix_deg else ""
    return (
        f"rolls {' or '.join(sets)} of {show(knurl.pitch_mm, Kind.LENGTH, asked.units)} pitch, "
        f"{knurl.profile_deg:g}° profile{helix}"
    )


def _refuse_own_faults(data: Mapping[str, Any], own: Mapping[str, Any], where: str | None) -> None:
    """Refuse what is wrong in a job whatever tool the shop gives it."""
    try:
        Job.model_validate(data)
    except ValidationError as error:
        _raise_faults(_own_faults(problems_of(error, Job, where), own))


def _own_faults(problems: tuple[InputError, ...], own: Mapping[str, Any]) -> tuple[InputError, ...]:
    """Return the problems that lie in what the job says itself."""

    def is_own(key: str) -> bool:
        section, _, rest = key.partition(".")
        return section != "tool" or rest.split(".")[0] in own

    return tuple(p for p in problems if is_own(p.key or ""))


def _raise_faults(faults: tuple[InputError, ...]) -> None:
    if faults:
        raise JobFileError(faults)


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
