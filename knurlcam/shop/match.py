"""Which tools and rolls of a shop make a job's knurl.

A tool takes each set of rolls with as many rolls as it holds and, where the tool says a roll
diameter or a face width, of that size; ``mounted`` narrows them down by name. Where it is an
empty list, the tool holds rolls of its own, and what it says of them is taken as it stands.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from pydantic import (
    ConfigDict,
    Field,
)

from knurlcam.data.rolls import roll_sets
from knurlcam.errors import CannotBeDoneError, InputError, Refusal
from knurlcam.job.fields import InUnits
from knurlcam.job.geometry import called_geometry
from knurlcam.job.knurl import Knurl
from knurlcam.job.model import Job
from knurlcam.job.problems import JobFileError
from knurlcam.mechanics.tool_styles import TOOL_STYLES
from knurlcam.plan.model import Plan
from knurlcam.plan.planner import make_plan
from knurlcam.shop.file import Rolls
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.quantities import parse_quantity
from knurlcam.units.show import Shown

__all__ = ["Asked", "RollMatch", "Trial", "does_not_go_in", "pick", "refuse_own_faults", "trials"]

PITCH_MATCH = 0.005
"""Share of the pitch by which rolls may differ from the knurl and still make it [-]."""

ANGLE_MATCH_DEG = 0.01
"""Degrees by which two angles may differ and still be the same, but for rounding [deg]."""

SIZE_MATCH_MM = 0.01
"""Millimetres by which two sizes may differ, one rounded from the other's unit [mm]."""


class Asked(NamedTuple):
    """A job without its tool, to be tried with those of a shop.

    Attributes:
        data: The job's keys but for its tool.
        own: What the job itself says of its tool.
        where: The job's name for messages.
        shop: The shop file's name for messages.
        names_rolls: Whether the job names the rolls, so that no others are tried.
    """

    data: Mapping[str, Any]
    own: Mapping[str, Any]
    where: str | None
    shop: str
    names_rolls: bool = False

    @property
    def units(self) -> Units:
        """The job's units."""
        return "inch" if self.data.get("units") == "inch" else "mm"


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


class _Called(InUnits):
    """The part of a job that says which knurl is asked for."""

    model_config = ConfigDict(extra="ignore")
    knurl: Knurl = Field(description="The knurl")


class Trial(NamedTuple):
    """A tool with rolls, tried on a job.

    Attributes:
        match: What came out.
        tool: The keys of the job's tool.
        makes: Whether the rolls make the knurl, though the plan may be refused.
        faults: Why the tool's keys are not those of a tool.
        plan: The plan, where the job can be done.
    """

    match: RollMatch
    tool: Mapping[str, Any]
    makes: bool = False
    faults: tuple[InputError, ...] = ()
    plan: Plan | None = None


def pick(
    asked: Asked,
    tools: Mapping[str, Mapping[str, Any]],
    rolls: Mapping[str, Rolls],
    *,
    named: bool,
) -> Trial:
    """Return the first tool that can do the job, else the first that makes the knurl.

    The plan of the latter says what stands in the way, in its own words and codes.

    Args:
        asked: The job.
        tools: Tools by name, quantities as text.
        rolls: Rolls by name.
        named: Whether the job names its tool, so that what is wrong with it is wrong with the job.

    Raises:
        JobFileError: if the tool that the job names is not valid with the job's own keys.
        CannotBeDoneError: if none makes the knurl.
    """
    failed: list[Trial] = []
    for trial in trials(asked, tools, rolls):
        if trial.match.suits:
            return trial
        failed.append(trial)
    for trial in failed:
        if trial.makes:
            return trial
    faults = next((t.faults for t in failed if t.faults), ())
    if named and faults:
        raise JobFileError(faults)
    raise _none_suits(asked, failed)


def _none_suits(asked: Asked, failed: Sequence[Trial]) -> CannotBeDoneError:
    reasons = "; ".join(
        f"{m.tool}{' with ' + m.rolls if m.rolls else ''}: {m.why}" for m, *_ in failed
    )
    problem = (
        f"none of the tools and rolls in {asked.shop} can do this job, which needs "
        f"{_needed(asked.data)}; {reasons}"
    )
    refusal = Refusal("no-rolls-in-shop", problem, "tool", source="the shop file")
    return CannotBeDoneError([refusal], asked.where)


def trials(
    asked: Asked, tools: Mapping[str, Mapping[str, Any]], rolls: Mapping[str, Rolls]
) -> Iterator[Trial]:
    """Try each tool with each set of rolls that it takes, in the file's order."""
    for tool_name, tool in tools.items():
        # What a tool holds just now is the shop's business, and not a key of a job's tool.
        entry = {k: v for k, v in tool.items() if k != "mounted"}
        mounted = tool.get("mounted")
        names = list(rolls) if mounted is None else list(mounted)
        sized = asked.own.keys() >= {"roll_diameter", "face_width"}
        if not names or (sized and not asked.names_rolls):
            match = RollMatch(tool_name, "", True, "")
            yield tried(asked, match, {**entry, **asked.own}, None)
            continue
        # A job that names its rolls leaves only those to be tried.
        for name in (n for n in names if n in rolls):
            kept = rolls[name]
            match = RollMatch(tool_name, name, True, "")
            merged = {**entry, **with_rolls(kept), **asked.own}
            why = does_not_go_in(kept, entry, asked.own, asked.units)
            yield _no(match, merged, why) if why else tried(asked, match, merged, kept)


def _no(
    match: RollMatch,
    tool: Mapping[str, Any],
    why: str,
    *,
    makes: bool = False,
    faults: tuple[InputError, ...] = (),
) -> Trial:
    return Trial(match._replace(suits=False, why=why), tool, makes, faults)


def tried(asked: Asked, match: RollMatch, tool: Mapping[str, Any], kept: Rolls | None) -> Trial:
    """Try whether the job can be planned with a tool, and with rolls of the shop in it.

    Args:
        asked: The job.
        match: Tool and rolls by name.
        tool: The keys of the job's tool.
        kept: The rolls; None where the tool itself says what it holds.

    Raises:
        JobFileError: if the job's own keys are wrong, whatever the tool.
    """
    try:
        job = Job.model_validate({**asked.data, "tool": tool})
    except JobFileError as error:
        return _not_valid(asked, match, tool, error)
    why = _other_knurl(job, kept) if kept is not None else ""
    if why:
        return _no(match, tool, why)
    # Whether a roll fits is known only by planning: a straddle that does not open so far, say.
    try:
        plan = make_plan(job)
    except CannotBeDoneError as error:
        return _no(match, tool, error.refusals[0].message, makes=True)
    return Trial(match, tool, makes=True, plan=plan)


def _not_valid(
    asked: Asked, match: RollMatch, tool: Mapping[str, Any], error: JobFileError
) -> Trial:
    """Say what is wrong with a tool's keys; raise what is wrong with the job's own."""
    source = f"{asked.where or 'the job'} with tool {match.tool!r} of {asked.shop}"
    problems = error.at(where=source).problems
    _raise_faults(_own_faults(error.at(where=asked.where).problems, asked.own))
    first = problems[0]
    if first.key == "tool.rolls":
        return _no(match, tool, first.problem)
    return _no(match, tool, f"{first.key}: {first.problem}", faults=problems)


def refuse_own_faults(asked: Asked) -> None:
    """Refuse what is wrong in a job whatever tool the shop gives it.

    Raises:
        JobFileError: naming the job's own keys that are wrong.
    """
    try:
        Job.model_validate({**asked.data, "tool": asked.own})
    except JobFileError as error:
        _raise_faults(_own_faults(error.at(where=asked.where).problems, asked.own))


def _other_knurl(job: Job, kept: Rolls) -> str:
    """Return what of the rolls is not the knurl's; empty if nothing."""
    knurl = called_geometry(job.knurl.asked, swivelled=job.tool.swivelled)
    helix = kept.helix_deg(knurl.helix_deg)
    pitch = kept.pitch_mm(helix, swivelled=job.tool.swivelled)
    if abs(pitch - knurl.pitch_mm) > PITCH_MATCH * knurl.pitch_mm:
        shown = Shown(job.units)
        return f"pitch {shown.length(pitch)}, the knurl needs {shown.length(knurl.pitch_mm)}"
    if abs(kept.profile_angle - knurl.profile_deg) > ANGLE_MATCH_DEG:
        return f"profile {kept.profile_angle:g}°, the knurl needs {knurl.profile_deg:g}°"
    # Rolls that are swivelled by nothing make straight teeth, whatever their own helix.
    swivelled_flat = job.tool.swivelled and not knurl.helix_deg
    if not swivelled_flat and abs(helix - knurl.helix_deg) > ANGLE_MATCH_DEG:
        return f"helix {helix:g}°, the knurl needs {knurl.helix_deg:g}°"
    return ""


def with_rolls(kept: Rolls) -> dict[str, Any]:
    """Return the keys of a job's tool that rolls in it give."""
    texts = kept.model_dump(mode="json")
    counted = {key: texts[key] for key in ("roll_teeth", "roll_measured_diameter")}
    return {
        **{key: value for key, value in counted.items() if value is not None},
        "roll_diameter": texts["roll_diameter"],
        "face_width": texts["face_width"],
        "rolls": list(kept.forms),
        "bevelled_rolls": kept.bevelled,
    }


def does_not_go_in(
    kept: Rolls, entry: Mapping[str, Any], own: Mapping[str, Any], units: Units
) -> str:
    """Return why rolls do not go into a tool with what a job says of it; empty if they do."""
    tool = {**entry, **own}
    style = tool.get("style")
    row = TOOL_STYLES.get(str(style))
    if row is not None and len(kept.forms) != row.rolls:
        return f"a {style} takes {_rolls(row.rolls)}, not {_rolls(len(kept.forms))}"
    for key, called in (("roll_diameter", "diameter"), ("face_width", "width")):
        if key not in tool:
            continue
        size, wanted = getattr(kept, key), parse_quantity(tool[key], Kind.LENGTH, units)
        if abs(size - wanted) > SIZE_MATCH_MM:
            asks = "the job asks for" if key in own else "the tool takes"
            here, there = map(Shown(units).length, (size, wanted))
            return f"rolls of {called} {here}, {asks} {there}"
    if "rolls" in own:
        wanted_forms = _forms_in(own["rolls"])
        if wanted_forms and sorted(wanted_forms) != sorted(kept.forms):
            return f"rolls {' '.join(kept.forms)}, the job asks for {' '.join(wanted_forms)}"
    return ""


def _rolls(count: int) -> str:
    return "one roll" if count == 1 else f"{count} rolls"


def _forms_in(given: Any) -> list[str]:
    """Return the roll forms that a job's own ``tool.rolls`` names."""
    return given.replace(",", " ").replace("+", " ").split() if isinstance(given, str) else given


def _needed(data: Mapping[str, Any]) -> str:
    """Return the rolls that a job's knurl needs, in words."""
    asked = _Called.model_validate(data)
    knurl = called_geometry(asked.knurl.asked)
    sets = [
        " ".join(s.rolls) + (" swivelled" if s.swivelled else "") for s in roll_sets(knurl.form)
    ]
    helix = f" and {knurl.helix_deg:g}° helix" if knurl.helix_deg else ""
    return (
        f"rolls {' or '.join(sets)} of {Shown(asked.units).length(knurl.pitch_mm)} pitch, "
        f"{knurl.profile_deg:g}° profile{helix}"
    )


def _own_faults(problems: tuple[InputError, ...], own: Mapping[str, Any]) -> tuple[InputError, ...]:
    """Return the problems that lie in what the job says itself."""

    def is_own(key: str) -> bool:
        section, _, rest = key.partition(".")
        return section != "tool" or rest.split(".")[0] in own

    return tuple(p for p in problems if is_own(p.key or ""))


def _raise_faults(faults: tuple[InputError, ...]) -> None:
    if faults:
        raise JobFileError(faults)
