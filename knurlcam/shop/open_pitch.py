"""A job that names a form and leaves the pitch open: which of the shop's rolls make it.

Every set of rolls that makes the form is planned in every tool that takes it. Of those whose
plan is not refused the ones with the fewest warnings are taken, and of these what suits the
purpose: the coarsest for a grip, the finest where looks or a press fit count.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from knurlcam.data.knurls import forms
from knurlcam.data.rolls import roll_sets
from knurlcam.errors import CannotBeDoneError, Refusal
from knurlcam.shop.file import Rolls
from knurlcam.shop.match import Asked, RollMatch, Trial, does_not_go_in, tried, with_rolls
from knurlcam.text import cut
from knurlcam.units.show import Shown

__all__ = ["Chosen", "choose_rolls", "leaves_pitch_open"]

_PITCH_KEYS = ("pitch", "tpi", "diametral_pitch")

COARSEST = ("grip",)
"""Purposes for which the coarsest rolls are taken: coarse teeth grip better (common practice)."""

MOST_REASONS = 1_200
"""Characters of the reasons why rolls of a shop do not serve, in a message."""


class Chosen(NamedTuple):
    """The rolls that were chosen for a job.

    Attributes:
        knurl: The keys of the job's knurl.
        trial: The tool with the rolls.
        why: Which rolls, why these, and which would do as well.
    """

    knurl: Mapping[str, Any]
    trial: Trial
    why: str


class _Option(NamedTuple):
    """Rolls in a tool, tried on the job."""

    place: int
    knurl: Mapping[str, Any]
    trial: Trial
    finer_first: bool

    @property
    def pitch_mm(self) -> float:
        """The pitch that they make [mm]; 0 without a plan."""
        return 0.0 if self.trial.plan is None else self.trial.plan.knurl.pitch_mm

    @property
    def warnings(self) -> int:
        """How much their plan warns of."""
        plan = self.trial.plan
        return 0 if plan is None else sum(note.severity == "warning" for note in plan.notes)

    @property
    def worth(self) -> tuple[int, float, int]:
        """Order: what is warned of least, then what suits the purpose, then the file's order."""
        return self.warnings, self.pitch_mm if self.finer_first else -self.pitch_mm, self.place

    @property
    def name(self) -> str:
        """The rolls in their tool."""
        return f"{self.trial.match.rolls!r} in {self.trial.match.tool!r}"


def leaves_pitch_open(data: Mapping[str, Any]) -> bool:
    """Return whether a job names a form of knurl and leaves its pitch to the shop.

    Args:
        data: The job's keys.
    """
    knurl = data.get("knurl")
    if not isinstance(knurl, Mapping) or knurl.get("form") not in forms():
        return False
    return all(knurl.get(key) is None for key in ("callout", *_PITCH_KEYS))


def choose_rolls(
    asked: Asked, tools: Mapping[str, Mapping[str, Any]], rolls: Mapping[str, Rolls]
) -> Chosen:
    """Return the rolls of a shop that make a job's form best.

    Args:
        asked: The job, its pitch left open.
        tools: Tools by name, quantities as text.
        rolls: Rolls by name.

    Raises:
        JobFileError: if the job's own keys are wrong, whatever the rolls.
        CannotBeDoneError: if none of the rolls make the form; where only their plan is refused,
            the first that makes it is returned, and its plan says why.
    """
    options = list(_options(asked, tools, rolls))
    doing = sorted((o for o in options if o.trial.match.suits), key=lambda o: o.worth)
    if doing:
        return Chosen(doing[0].knurl, doing[0].trial, _why(doing, asked))
    for option in options:
        if option.trial.makes:
            why = f"{option.name}, though their plan is refused, as are those of all others"
            return Chosen(option.knurl, option.trial, why)
    raise _none_makes(asked, options)


def _options(
    asked: Asked, tools: Mapping[str, Mapping[str, Any]], rolls: Mapping[str, Rolls]
) -> Iterator[_Option]:
    knurl = asked.data["knurl"]
    finer = (knurl.get("purpose") or "grip") not in COARSEST
    for name, kept in rolls.items():
        pitched = {**knurl, **_pitch_of(kept)}
        with_pitch = asked._replace(data={**asked.data, "knurl": pitched})
        for place, trial in enumerate(_trials(with_pitch, tools, name, kept)):
            yield _Option(place, pitched, trial, finer)


def _trials(
    asked: Asked, tools: Mapping[str, Mapping[str, Any]], name: str, kept: Rolls
) -> Iterator[Trial]:
    """Try rolls in every tool that takes them."""
    form = asked.data["knurl"]["form"]
    for tool_name, tool in tools.items():
        mounted = tool.get("mounted")
        if mounted is not None and name not in mounted:
            continue
        entry = {k: v for k, v in tool.items() if k != "mounted"}
        match = RollMatch(tool_name, name, False, "")
        merged = {**entry, **with_rolls(kept), **asked.own}
        why = does_not_go_in(kept, entry, asked.own, asked.units) or _other_form(kept, form, merged)
        if why:
            yield Trial(match._replace(why=why), merged)
        else:
            yield tried(asked, match._replace(suits=True), merged, kept)


def _other_form(kept: Rolls, form: str, tool: Mapping[str, Any]) -> str:
    """Return why rolls do not make a form in a tool; empty if they do."""
    swivelled = bool(tool.get("swivelled"))
    if any(
        sorted(s.rolls) == sorted(kept.forms) and s.swivelled == swivelled for s in roll_sets(form)
    ):
        return ""
    return f"rolls {' '.join(kept.forms)} do not make form {form}" + " swivelled" * swivelled


def _pitch_of(kept: Rolls) -> dict[str, Any]:
    """Return the pitch of rolls as a key of a job's knurl."""
    texts = kept.model_dump(mode="json")
    return {key: texts[key] for key in _PITCH_KEYS if texts[key] is not None}


# -- in words --------------------------------------------------------------------------


def _why(doing: Sequence[_Option], asked: Asked) -> str:
    best, others = doing[0], doing[1:]
    shown = Shown(asked.units)
    text = f"{best.name}, pitch {shown.length(best.pitch_mm)}"
    pitches = {round(o.pitch_mm, 6) for o in others if o.warnings == best.warnings}
    if not others:
        return f"{text}, the only ones that make form {asked.data['knurl']['form']} here"
    if any(o.warnings > best.warnings for o in others):
        text += ", with the fewest warnings"
    if pitches - {round(best.pitch_mm, 6)}:
        purpose = asked.data["knurl"].get("purpose") or "grip"
        text += f", the {'finest' if best.finer_first else 'coarsest'} of them, for {purpose}"
    also = ", ".join(f"{o.name} ({shown.length(o.pitch_mm)})" for o in others)
    return cut(f"{text}; these can be planned too: {also}", MOST_REASONS)


def _none_makes(asked: Asked, options: Sequence[_Option]) -> CannotBeDoneError:
    form = asked.data["knurl"]["form"]
    sets = " or ".join(
        " ".join(s.rolls) + (" swivelled" if s.swivelled else "") for s in roll_sets(form)
    )
    reasons = "; ".join(f"{o.name}: {o.trial.match.why}" for o in options)
    problem = (
        f"the pitch is left open, and none of the rolls in {asked.shop} make form {form}, which "
        f"takes rolls {sets}; {cut(reasons or 'no tool takes any', MOST_REASONS)}; give a pitch "
        "and the tool with its rolls, or add rolls to the shop file"
    )
    refusal = Refusal("no-rolls-in-shop", problem, "knurl.pitch", source="the shop file")
    return CannotBeDoneError([refusal], asked.where)
