"""Job to plan: the one place where decisions are made.

Everything the job leaves out is recommended here, and each figure says whether it was
given or recommended, and why. What cannot be done is refused with what would have to
change. Lengths are millimetres, speeds rev/min, feeds mm/rev; nothing is rounded.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, TypeVar
from weakref import WeakValueDictionary

from knurlcam.data.caches import when_cleared
from knurlcam.data.knurls import diametral_pitches, forms, standard_pitches_mm
from knurlcam.data.materials import Material
from knurlcam.data.rolls import roll_sets, rolls
from knurlcam.data.speeds import speed_rules
from knurlcam.job.geometry import called_geometry
from knurlcam.job.model import Job, Knurl, Process, Tool
from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.held_work import HeldWork, Knot
from knurlcam.mechanics.knurl import (
    FULLNESS_SLACK,
    GOOD_FULLNESS,
    LEAST_FULLNESS,
    Candidate,
    KnurlGeometry,
    class_limits_mm,
    is_good,
)
from knurlcam.mechanics.loads import LOW_ELONGATION_PERCENT, Prints
from knurlcam.mechanics.passes import pass_penetrations, recommended_passes, spindle_speed
from knurlcam.mechanics.setup_loads import Loads, RollTravel, Teeth
from knurlcam.mechanics.tool_styles import TOOL_STYLES, contact_for
from knurlcam.mechanics.tooth import height_for_rise, penetration
from knurlcam.mechanics.tracking import (
    blank_diameter,
    blank_tolerance,
    diametral_pitch_row,
    nearest_teeth,
)
from knurlcam.plan.load_limits import HIGH_CENTRE_LOAD_N, check_loads
from knurlcam.plan.loads import Depth, Estimate, estimate_loads
from knurlcam.plan.remarks import (
    COMMON,
    CONTRACT,
    HANDBOOK,
    HANDBOOK_TRACKING,
    ROUND_SLACK,
    Choice,
    Note,
    Remarks,
    Said,
    rank,
)
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import show, show_about, show_down

if TYPE_CHECKING:
    from knurlcam.plan.fitting import Joint, PressFit, Toothed

__all__ = [
    "Pass",
    "Plan",
    "TrialStrip",
    "is_untouched",
    "make_plan",
    "pieces_beside",
]

_T = TypeVar("_T")

Direction = Literal["headstock", "tailstock", "plunge"]

DEFAULT_FULLNESS = 0.95
"""Share of the full tooth height that is wanted where the job gives none [-]."""

REFUSED_MISFIT = 0.25
WARNED_MISFIT = 0.1
"""Of a given blank, in teeth."""

ENTRY_SHARE = 1.0 / 3.0
"""Share of the face on the work at the start, and over the end on a return."""

LENGTH_SLACK_MM = 1e-6
"""Rounding of arithmetic, far below any control's least increment."""

FULLNESS_AGREES = 0.02
"""A given fullness this near to what two given diameters need is no contradiction."""

HIGH_BRINELL = 250.0
"""Brinell hardness above which work flakes instead of flowing (common practice) [HB]."""

PLACES_TOLD = 10
"""Parts of the knurl's length at whose ends a plan as JSON tells what the work does."""

MOST_FOLLOWED_MM = 20_000.0
"""Way of all passes over which a slide follows the work: the push is solved on all of it when
the program is written, and again when it is checked."""

TRIAL_LENGTH_MM = 12.0
"""About half an inch (common practice)."""


class Pass(NamedTuple):
    """One pass of the rolls.

    Attributes:
        number: From 1; the clean-up pass is the last.
        direction: ``headstock``, ``tailstock`` or ``plunge``.
        penetration_mm: Penetration c, radial [mm]
        x_diameter_mm: X of the slide in the job's X datum, on the diameter [mm]
        z_start_mm: Z of the slide in the job's Z datum where it starts [mm]
        z_end_mm: ... and where it ends [mm]
        presses: Whether it presses deeper; the clean-up pass does not.
        follow: Z and X of the slide, on the diameter, where each straight block ends while
            it follows the work; empty where it goes straight, at one X [mm]
    """

    number: int
    direction: Direction
    penetration_mm: float
    x_diameter_mm: float
    z_start_mm: float
    z_end_mm: float
    presses: bool = True
    follow: tuple[tuple[float, float], ...] = ()

    @property
    def x_end_diameter_mm(self) -> float:
        """X of the slide where it ends, on the diameter [mm]."""
        return self.follow[-1][1] if self.follow else self.x_diameter_mm


class TrialStrip(NamedTuple):
    """The strip that is knurled first, to look for a double impression.

    Attributes:
        penetration_mm: That of the first pass, radial [mm]
        x_diameter_mm: Its X [mm]
        z_start_mm: Start Z in the job's Z datum [mm]
        z_end_mm: Where the rolls leave the work [mm]
        follow: As of a pass.
    """

    penetration_mm: float
    x_diameter_mm: float
    z_start_mm: float
    z_end_mm: float
    follow: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, weakref_slot=True)
class Plan:
    """Everything that is decided about one operation.

    Attributes:
        job: The job it was made from.
        knurl: The knurl's geometry.
        teeth: Whole teeth N round the work.
        misfit_teeth: Exact teeth less N, signed [teeth]
        blank_diameter_mm: D_b to turn to [mm]
        blank_tolerance_mm: Half width of its tolerance [mm]
        knurled_diameter_mm: D_k over the crests [mm]
        tooth_height_mm: H [mm]
        fullness: H / H_f [-]
        penetration_mm: c of the last pass, radial [mm]
        rise_mm: r, radial [mm]
        spindle_rpm: Spindle speed [rev/min]
        speed_limit_rpm: The limit it was checked against [rev/min]
        feed_mm_per_rev: Feed while traversing [mm/rev]
        infeed_mm_per_rev: Infeed of the slide [mm/rev]
        strategy: ``traverse`` or ``plunge``.
        rolls: Roll forms of DIN 403.
        contact: Where the slide stands for a penetration.
        passes: The passes, the clean-up last.
        trial: The trial strip, if the job asks for one.
        clearance_x_mm: X at which rapids end, on the diameter [mm]
        line_mm: Z of the line, from Z0 [mm]
        datum_shift_mm: Z datum less the rolls' left edge [mm]
        right_limit_mm: Z that the rolls' right edge may reach on a return [mm]
        largest_centre_mm: What may stand beyond the end face; None without overhang [mm]
        candidates: Other blanks that close.
        choices: Each figure with its origin and reason.
        notes: Remarks, worst first.
        time_s: Time from the safe position and back [s]
        press_fit: What the press fit comes to; None without a [fit].
        estimate: Loads and deflection; None where the metal's strength is not known.
    """

    job: Job
    knurl: KnurlGeometry
    teeth: int
    misfit_teeth: float
    blank_diameter_mm: float
    blank_tolerance_mm: float
    knurled_diameter_mm: float
    tooth_height_mm: float
    fullness: float
    penetration_mm: float
    rise_mm: float
    spindle_rpm: float
    speed_limit_rpm: float
    feed_mm_per_rev: float
    infeed_mm_per_rev: float
    strategy: Literal["traverse", "plunge"]
    rolls: tuple[str, ...]
    contact: Contact
    passes: tuple[Pass, ...]
    trial: TrialStrip | None
    clearance_x_mm: float
    line_mm: float
    datum_shift_mm: float
    right_limit_mm: float
    largest_centre_mm: float | None
    candidates: tuple[Candidate, ...]
    choices: tuple[Choice, ...]
    notes: tuple[Note, ...]
    time_s: float
    press_fit: PressFit | None = None
    estimate: Estimate | None = None

    @property
    def follows(self) -> bool:
        """Whether the slide follows the deflection: asked for, known, and not cancelled."""
        if not self.job.process.compensate or self.estimate is None:
            return False
        return self.estimate.can_follow

    @property
    def pass_loads(self) -> tuple[Loads | None, ...]:
        """Loads of each pass; None for the clean-up, and where strength is not known."""
        estimate, before = self.estimate, 0.0
        loads: list[Loads | None] = []
        for step in self.passes:
            if estimate is None or not step.presses:
                loads.append(None)
            else:
                fresh = step.penetration_mm - before
                loads.append(estimate.set_up.loads_at(step.penetration_mm, fresh))
                before = step.penetration_mm
        return tuple(loads)

    @property
    def programmed_rpm(self) -> int:
        """The spindle speed as the S word says it: whole rev/min, never above the plan's.

        Dwells and feeds per minute are worked out from this one, so that they agree
        with what the spindle does.
        """
        return max(1, math.floor(self.spindle_rpm + 1e-9))

    @property
    def programmed_limit_rpm(self) -> int:
        """The speed limit as a speed limit word says it: whole rev/min."""
        return max(self.programmed_rpm, math.floor(self.speed_limit_rpm + 1e-9))

    @property
    def dwell_s(self) -> float:
        """Time of one dwell at the programmed speed [s]."""
        return self.job.process.dwell_revolutions * 60.0 / self.programmed_rpm

    @property
    def gap_mm(self) -> float | None:
        """Gap to set between a straddle's rolls [mm]; None for the other styles."""
        return self.contact.gap_mm if TOOL_STYLES[self.job.tool.style].set_to_gap else None

    @property
    def knurled_limits_mm(self) -> tuple[float, float] | None:
        """Upper and lower limit on the knurled diameter for a standard diametral pitch.

        Class I for grip and appearance, class III for a press fit (ANSI/ASME B94.6 as
        tabulated in Machinery's Handbook, 31st ed., p. 1059, Table 4; class III from
        memory). None for other pitches.
        """
        return self._class_limits_mm("knurled_in")

    @property
    def blank_limits_mm(self) -> tuple[float, float] | None:
        """Upper and lower limit on the blank of a standard diametral pitch, by class.

        As :attr:`knurled_limits_mm`, from the same table; None for other pitches.
        """
        return self._class_limits_mm("blank_in")

    def _class_limits_mm(self, of: Literal["knurled_in", "blank_in"]) -> tuple[float, float] | None:
        return class_limits_mm(self.knurl, self.job.purpose, of)

    @property
    def one_sided_limits_mm(self) -> tuple[float, float] | None:
        """Upper and lower limit on the blank where its class has limits that are not alike.

        Such as class III for press fits: +0 and −; None elsewhere.
        """
        limits = self.blank_limits_mm
        return None if limits is None or limits[0] == -limits[1] else limits

    @property
    def blank_tolerance_text(self) -> str:
        """The tolerance on the blank as it is turned to: ± a half width, or +0 and −.

        Rounded so that what is printed will do.
        """
        limits, units = self.one_sided_limits_mm, self.job.units
        if limits is None:
            return f"± {show_down(self.blank_tolerance_mm, units)}"
        return f"+{show_down(limits[0], units)} / -{show_down(-limits[1], units)}"

    @property
    def accepted(self) -> tuple[str, ...]:
        """Codes of the refusals that the programmer took upon himself."""
        return tuple(n.code for n in self.notes if n.severity == "error")

    def to_dict(self) -> dict[str, Any]:
        """Return the plan as plain data, figures unrounded (``knurlcam plan --json``)."""
        limits, blank_limits = self.knurled_limits_mm, self.blank_limits_mm
        data: dict[str, Any] = {
            "knurl": {
                "form": self.knurl.form,
                "pitch_mm": self.knurl.pitch_mm,
                "helix_deg": self.knurl.helix_deg,
                "profile_deg": self.knurl.profile_deg,
                "callout": self.knurl.callout,
            },
            "teeth": self.teeth,
            "misfit_teeth": self.misfit_teeth,
            "blank_diameter_mm": self.blank_diameter_mm,
            "blank_tolerance_mm": self.blank_tolerance_mm,
            "blank_limits_mm": None if blank_limits is None else list(blank_limits),
            "knurled_diameter_mm": self.knurled_diameter_mm,
            "knurled_limits_mm": None if limits is None else list(limits),
            "tooth_height_mm": self.tooth_height_mm,
            "full_tooth_height_mm": self.knurl.full_height_mm,
            "fullness": self.fullness,
            "penetration_mm": self.penetration_mm,
            "rise_mm": self.rise_mm,
            "spindle_rpm": self.spindle_rpm,
            "speed_limit_rpm": self.speed_limit_rpm,
            "feed_mm_per_rev": self.feed_mm_per_rev,
            "infeed_mm_per_rev": self.infeed_mm_per_rev,
            "strategy": self.strategy,
            "rolls": list(self.rolls),
            "roll_gap_mm": self.gap_mm,
            "clearance_x_diameter_mm": self.clearance_x_mm,
            "largest_centre_mm": self.largest_centre_mm,
            "loads": None if self.estimate is None else _loads_dict(self, self.estimate),
            "deflection": None if self.estimate is None else _deflection_dict(self.estimate),
            "passes": [
                {
                    "number": p.number,
                    "direction": p.direction,
                    "penetration_mm": p.penetration_mm,
                    "x_diameter_mm": p.x_diameter_mm,
                    "z_start_mm": p.z_start_mm,
                    "z_end_mm": p.z_end_mm,
                    **_follow_dict(p),
                }
                for p in self.passes
            ],
            "trial_strip": None if self.trial is None else self.trial._asdict(),
            "candidates": [c._asdict() for c in self.candidates],
            "choices": [
                {"key": c.key, "value": c.value, "origin": c.origin, "why": c.why}
                for c in self.choices
            ],
            "notes": [n._asdict() for n in self.notes],
            "time_s": self.time_s,
        }
        if self.press_fit is not None:
            data["press_fit"] = self.press_fit.to_dict()
        return data


def make_plan(job: Job) -> Plan:
    """Plan a job.

    Args:
        job: A valid job.

    Returns:
        The plan, with every figure's origin and all remarks.

    Raises:
        CannotBeDoneError: naming every reason and what would have to change.
    """
    planner = _Planner(job)
    plan = planner.plan()
    _keep(planner.set_up)
    _made[id(plan)] = plan
    return plan


_made: WeakValueDictionary[int, Plan] = WeakValueDictionary()


def is_untouched(plan: Plan) -> bool:
    """Return whether a plan is as :func:`make_plan` made it, not a changed copy.

    Plans are frozen, so one that was made here still says what its job comes to; a copy
    with other figures is another object and vouches for nothing.
    """
    return _made.get(id(plan)) is plan


class _Size(NamedTuple):
    """Blank, teeth and tooth: what the diameters come to."""

    teeth: int
    misfit: float
    blank: float
    knurled: float
    fullness: float
    candidates: tuple[Candidate, ...]


class _Zone(NamedTuple):
    """Left edge of the rolls at the places that matter, from Z0 [mm]."""

    entry: float
    line: float
    turn: float
    """Left edge at the tailstock end of a return."""
    right_limit: float
    """Right edge at its furthest towards the tailstock on a return."""


class _SetUp(Remarks):
    """The steps that part, holding and machine do not change: it has none of them.

    The jobs of a family share their sections, and with them what came of these steps.
    """

    def __init__(
        self, knurl: Knurl, tool: Tool, process: Process, units: Units, from_shop: frozenset[str]
    ) -> None:
        super().__init__(units, from_shop, process.accept)
        self.knurl, self.tool, self.process = knurl, tool, process

    @property
    def key(self) -> _Key:
        """What other jobs must have in common with this one to share it."""
        return id(self.knurl), id(self.tool), id(self.process), self.units, self.from_shop

    def said(self, value: _T) -> Said[_T]:
        """Return what came of a step with what it said; it asked other steps at its start."""
        said = Said(value, self.choices, self.notes, self.refusals)
        self.choices, self.notes, self.refusals = [], [], []
        return said

    @cached_property
    def geometry(self) -> Said[KnurlGeometry]:
        asked = self.knurl.asked
        knurl = called_geometry(asked, swivelled=self.tool.swivelled)
        self.choose("knurl.callout", knurl.callout, None, given=True, why="")
        self.choose(
            "knurl.purpose",
            asked.purpose or "grip",
            None,
            given=asked.purpose is not None,
            why=COMMON,
        )
        if forms()[asked.form].helical:
            self.choose(
                "knurl.helix",
                knurl.helix_deg,
                Kind.ANGLE,
                given=asked.helix_deg is not None,
                why="usual for this form (DIN 82)",
            )
        self.choose(
            "knurl.profile_angle",
            knurl.profile_deg,
            Kind.ANGLE,
            given=asked.profile_deg is not None,
            why="usual profile (DIN 82)",
        )
        return self.said(knurl)

    @cached_property
    def rolls(self) -> Said[tuple[tuple[str, ...], bool]]:
        """Which rolls, and whether they may traverse."""
        tool, knurl = self.tool, self.geometry.value
        names = tool.rolls
        if names is None:
            for row in roll_sets(knurl.form):
                if len(row.rolls) == tool.roll_count and row.swivelled == tool.swivelled:
                    names = row.rolls
                    break
        if names is None:
            takes = "; ".join(
                f"{' and '.join(s.rolls)} in a "
                + ("one-roll holder" if len(s.rolls) == 1 else "two-roll tool")
                + (", swivelled" if s.swivelled else "")
                for s in roll_sets(knurl.form)
            )
            self.refuse(
                "no-rolls-for-form",
                "tool.style",
                f"a {tool.style} has no {'swivelled ' if tool.swivelled else ''}rolls that make "
                f"form {knurl.form}; it takes {takes}",
                source="DIN 82:1973-01, rolls of DIN 403",
            )
            return self.said(((), True))
        self.choose(
            "tool.rolls",
            " ".join(names),
            None,
            given=tool.rolls is not None,
            why=f"they make form {knurl.form} (DIN 82)",
        )
        return self.said((names, all(rolls()[n].traverses for n in names)))

    @cached_property
    def datums(self) -> Said[None]:
        tool = self.tool
        self.choose(
            "tool.x_datum",
            tool.datum,
            None,
            given=tool.x_datum is not None,
            why="usual for this tool style",
        )
        self.choose(
            "tool.z_datum",
            tool.z_datum,
            None,
            given="z_datum" in tool.model_fields_set,
            why="the edge that meets the line",
        )
        return self.said(None)

    @cached_property
    def datum_shift(self) -> float:
        """Z datum less the rolls' left edge [mm]."""
        tool = self.tool
        return {"left edge": 0.0, "centre": tool.face_width / 2, "right edge": tool.face_width}[
            tool.z_datum
        ]

    @cached_property
    def teeth(self) -> Teeth:
        """The teeth that press."""
        return _teeth(self.geometry.value, self.rolls.value[0])

    # -- strategy and zone -----------------------------------------------------

    @cached_property
    def strategy(self) -> Said[Literal["traverse", "plunge"]]:
        _, traverses = self.rolls.value
        face, length = self.tool.face_width, self.knurl.length
        wide_enough = face >= length - LENGTH_SLACK_MM
        asked = self.process.strategy
        strategy = asked or ("plunge" if wide_enough or not traverses else "traverse")
        why = (
            "the rolls are as wide as the knurl"
            if wide_enough
            else "the knurl is wider than the rolls"
        )
        self.choose("process.strategy", strategy, None, given=asked is not None, why=why)
        if strategy == "traverse" and not traverses:
            self.refuse(
                "plunge-only-rolls",
                "process.strategy",
                f"these rolls print points or pits and cannot traverse; plunge with rolls at "
                f"least {self.mm(length)} wide, or make the knurl no wider than {self.mm(face)}",
                source="DIN 82:1973-01, rolls of DIN 403",
            )
        elif strategy == "plunge" and not wide_enough:
            self.refuse(
                "plunge-only-rolls" if not traverses else "rolls-too-narrow",
                "tool.face_width",
                f"rolls {self.mm(face)} wide cannot plunge a knurl of {self.mm(length)}; take "
                f"rolls at least {self.mm(length)} wide"
                + (", or traverse" if traverses else " (these rolls cannot traverse)")
                + f", or make the knurl no wider than {self.mm(face)}",
                source="DIN 82:1973-01, rolls of DIN 403" if not traverses else "geometry",
            )
        return self.said(strategy)

    @cached_property
    def zone(self) -> Said[_Zone]:
        return self.said(self._zone(self.strategy.value))

    def _zone(self, strategy: str) -> _Zone:
        face, start, length = self.tool.face_width, self.knurl.start, self.knurl.length
        line = -(start + length)
        if start > 0 and face > length + LENGTH_SLACK_MM:
            self.refuse(
                "marks-outside",
                "tool.face_width",
                f"rolls {self.mm(face)} wide print {self.mm(face - length)} beyond a knurl of "
                f"{self.mm(length)} that does not start at the end; take rolls {self.mm(length)} "
                "wide or less",
                acceptable=True,
            )
        if strategy == "plunge":
            return _Zone(line, line, line, line + face)
        if start > 0:
            return self._zone_inside(line)
        return self._zone_from_the_end(line)

    def _zone_inside(self, line: float) -> _Zone:
        """Both ends of the traverse stay inside the zone (bevelled rolls)."""
        face, start, length = self.tool.face_width, self.knurl.start, self.knurl.length
        if not self.tool.bevelled_rolls:
            self.refuse(
                "needs-bevelled-rolls",
                "tool.bevelled_rolls",
                f"the knurl starts {self.mm(start)} from the end and is wider than the rolls: "
                "plain cylindrical rolls can only do that from the end of the work; take bevelled "
                f"rolls, start at the end, or take rolls {self.mm(length)} wide and plunge",
                acceptable=True,
                source=HANDBOOK,
            )
        else:
            self.note(
                "note",
                "bevelled-rolls",
                "both ends of the traverse stay inside the zone; the bevels ease the rolls into "
                "the work",
                HANDBOOK,
            )
        if face >= length - LENGTH_SLACK_MM:
            self.refuse(
                "no-travel",
                "process.strategy",
                f"rolls {self.mm(face)} wide have no room to traverse in {self.mm(length)}: plunge",
            )
        return _Zone(-start - face, line, -start - face, -start)

    def _zone_from_the_end(self, line: float) -> _Zone:
        face, length = self.tool.face_width, self.knurl.length
        share = face * ENTRY_SHARE
        if length <= 2 * share + LENGTH_SLACK_MM:
            possible = length > share + LENGTH_SLACK_MM
            self.refuse(
                "traverse-too-short",
                "process.strategy",
                f"a knurl of {self.mm(length)} is not wider than two thirds of the rolls "
                f"({self.mm(2 * share)}): the return would have no travel; plunge instead, or "
                f"take rolls narrower than {self.mm(1.5 * length)}",
                acceptable=possible,
                source=CONTRACT,
            )
            # Accepted: the return goes as far over the end as the entry stands.
            return _Zone(-share, line, -share, face - share)
        return _Zone(-share, line, share - face, share)

    @cached_property
    def feeds(self) -> Said[tuple[float, float]]:
        """Feed and infeed [mm/rev]."""
        process, face, strategy = self.process, self.tool.face_width, self.strategy.value
        rules = speed_rules()
        most = face / 2.0
        if process.feed is None:
            feed = min(rules.feed_default_mm_per_rev, most)
            why = f"ordinary feed ({COMMON})"
            if feed < rules.feed_default_mm_per_rev:
                why = "half the face width of these narrow rolls"
            self.choose("process.feed", feed, Kind.FEED, given=False, why=why)
        else:
            feed = process.feed
            self.choose("process.feed", feed, Kind.FEED, given=True, why="")
            if feed > most * (1.0 + FULLNESS_SLACK):
                self.refuse(
                    "feed-above-half-face",
                    "process.feed",
                    f"{self.feed_text(feed)} is above half the face width of the rolls: each turn "
                    f"would leave unrolled work behind; take {self.feed_text(most)} or less",
                )
        low, high = rules.feed_min_mm_per_rev, rules.feed_max_mm_per_rev
        if strategy == "traverse" and not low <= feed <= high:
            self.note(
                "warning",
                "feed-range",
                f"a feed of {self.feed_text(feed)} is outside {self.feed_text(low)} to "
                f"{self.feed_text(high)}",
            )
        infeed = rules.infeed_mm_per_rev if process.infeed_rate is None else process.infeed_rate
        self.choose(
            "process.infeed_rate",
            infeed,
            Kind.FEED,
            given=process.infeed_rate is not None,
            why="slow enough to print every tooth alike",
        )
        return self.said((feed, infeed))

    @cached_property
    def finish(self) -> Said[None]:
        """What is done after each infeed, and after the last pass."""
        process, strategy = self.process, self.strategy.value
        self.choose(
            "process.dwell_revolutions",
            process.dwell_revolutions,
            None,
            given="dwell_revolutions" in process.model_fields_set,
            why="every tooth meets the rolls after each infeed",
        )
        if strategy != "plunge":
            self.choose(
                "process.clean_up",
                process.clean_up,
                None,
                given="clean_up" in process.model_fields_set,
                why=f"evens the knurl ({COMMON})",
            )
        return self.said(None)

    @cached_property
    def pitch(self) -> Said[None]:
        """What there is to say about the pitch."""
        asked, knurl = self.knurl.asked, self.geometry.value
        if asked.system == "dp":
            row = diametral_pitch_row(asked.value)
            if row is None:
                known = ", ".join(str(p) for p in diametral_pitches())
                self.note(
                    "note",
                    "odd-pitch",
                    f"{asked.value:g} DP is none of the standard diametral pitches ({known})",
                    HANDBOOK_TRACKING,
                )
            elif row.diametral_pitch == 64:
                self.note(
                    "note",
                    "prefer-96",
                    "96 DP is preferred and 64 DP best avoided",
                    HANDBOOK,
                )
        elif asked.system == "pitch" and not any(
            abs(knurl.pitch_mm - p) < LENGTH_SLACK_MM for p in standard_pitches_mm()
        ):
            known = ", ".join(f"{p:g}" for p in standard_pitches_mm())
            self.note(
                "note",
                "odd-pitch",
                f"a pitch of {knurl.pitch_mm:g} mm is none of those of DIN 82 ({known} mm)",
                "DIN 82, pitches from memory",
            )
        return self.said(None)


_Key = tuple[int, int, int, Units, frozenset[str]]
_set_ups: dict[_Key, _SetUp] = {}
when_cleared(_set_ups.clear)

MOST_SET_UPS_KEPT = 16


def _set_up_of(job: Job) -> _SetUp:
    """Return a job's set-up: that of another job which has the very same sections."""
    knurl, tool, process, from_shop = job.knurl, job.tool, job.process, job.from_shop
    kept = _set_ups.get((id(knurl), id(tool), id(process), job.units, from_shop))
    return kept or _SetUp(knurl, tool, process, job.units, from_shop)


def _keep(set_up: _SetUp) -> None:
    """Keep the set-up of a plan that was made: all its steps are taken, and it stays as it is.

    It holds its sections, so that no other ones can come by their ids.
    """
    key = set_up.key
    if key not in _set_ups:
        if len(_set_ups) >= MOST_SET_UPS_KEPT:
            _set_ups.clear()
        _set_ups[key] = set_up


class _Planner(Remarks):
    """Gathers choices, notes and refusals while the plan is made."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.set_up = _set_up_of(job)
        self.last_depths: tuple[tuple[float, int], tuple[float, ...]] = (0.0, 0), ()
        super().__init__(job.units, self.set_up.from_shop, job.process.accept)

    def take(self, said: Said[_T]) -> _T:
        """Take over what came of a step of the set-up."""
        self.choices += said.choices
        self.notes += said.notes
        self.refusals += said.refusals
        return said.value

    # -- the plan --------------------------------------------------------------

    def plan(self) -> Plan:
        job = self.job
        set_up = self.set_up
        knurl = self.take(set_up.geometry)
        joint = self.joint(knurl)
        size = self.size(knurl, joint)
        height = size.fullness * knurl.full_height_mm
        depth = penetration(height, knurl.full_height_mm, knurl.family)
        roll_names, _ = self.take(set_up.rolls)
        contact = self.contact(size.blank, depth)
        strategy = self.take(set_up.strategy)
        zone = self.take(set_up.zone)
        rpm, limit = self.speed(size.blank, strategy)
        feed, infeed = self.take(set_up.feeds)
        count = self.pass_count(knurl, strategy, contact, depth)
        self.stop_if_refused()
        passes = self.passes(contact, depth, count, strategy, zone)
        estimate, centre_load = None, 0.0
        if job.part.length + zone.line > 0.0:  # else refused below: past the chuck
            estimate, centre_load = self.estimate(contact, passes, zone, count, rpm)
        follows = job.process.compensate and estimate is not None and estimate.can_follow
        if follows and estimate is not None and estimate.deflection is not None:
            self.refuse_following_for_long(passes)
            self.stop_if_refused()
            passes = tuple([self.following(p, estimate.deflection.work) for p in passes])
        trial = self.trial(passes, strategy)
        clearance_x = contact.x_diameter_mm(0.0) + 2.0 * job.machine.clearance
        deepest = self.deepest(passes, contact, depth) if follows else depth
        centre = self.around(size.blank, deepest, clearance_x, zone, contact)
        self.infeed_note(passes, contact, infeed)
        press_fit = self.press_fit(knurl, size, joint)
        self.advise(knurl, size, centre_load)
        self.stop_if_refused()
        shift = self.set_up.datum_shift
        plan = Plan(
            job=job,
            knurl=knurl,
            teeth=size.teeth,
            misfit_teeth=size.misfit,
            blank_diameter_mm=size.blank,
            blank_tolerance_mm=blank_tolerance(knurl.transverse_pitch_mm, knurl.diametral_pitch),
            knurled_diameter_mm=size.knurled,
            tooth_height_mm=height,
            fullness=size.fullness,
            penetration_mm=depth,
            rise_mm=height - depth,
            spindle_rpm=rpm,
            speed_limit_rpm=limit,
            feed_mm_per_rev=feed,
            infeed_mm_per_rev=infeed,
            strategy=strategy,
            rolls=roll_names,
            contact=contact,
            passes=passes,
            trial=trial,
            clearance_x_mm=clearance_x,
            line_mm=zone.line,
            datum_shift_mm=shift,
            right_limit_mm=zone.right_limit,
            largest_centre_mm=centre,
            candidates=size.candidates,
            choices=tuple(self.choices),
            notes=tuple(sorted(self.notes, key=rank)),
            time_s=0.0,
            press_fit=press_fit,
            estimate=estimate,
        )
        # Frozen from outside; the time needs the plan's own derived figures.
        object.__setattr__(plan, "time_s", _time_s(plan))
        return plan

    # -- diameters -------------------------------------------------------------

    def size(self, knurl: KnurlGeometry, joint: Joint | None) -> _Size:
        part = self.job.part
        fits = None
        if part.blank_diameter is not None:
            size = self.size_from_blank(knurl, part.blank_diameter, part.knurled_diameter)
        elif part.knurled_diameter is not None:
            size = self.size_from_knurled(knurl, part.knurled_diameter)
        else:
            assert joint is not None  # the job model sees to it
            knurled, fits = self.diameter_for(knurl, joint)
            size = self.size_from_knurled(knurl, knurled)
        self.choose(
            "part.blank_diameter",
            size.blank,
            Kind.LENGTH,
            given=part.blank_diameter is not None,
            why=f"{size.teeth} teeth close on it, and it is the one nearest the wanted fullness",
        )
        given = part.knurled_diameter is not None
        self.choose(
            "part.knurled_diameter",
            size.knurled,
            Kind.LENGTH,
            given=given,
            computed=fits is None,
            why=fits
            or ("" if given else f"the blank grows by {self.mm(size.knurled - size.blank)}"),
        )
        if not is_good(size.fullness):
            self.note(
                "warning",
                "shallow",
                f"the teeth come to only {size.fullness:.2f} of their full height "
                f"({GOOD_FULLNESS:g} to 1 is good): another diameter or pitch gives a better knurl",
                CONTRACT,
            )
        return size

    def size_from_blank(self, knurl: KnurlGeometry, blank: float, knurled: float | None) -> _Size:
        teeth, misfit = nearest_teeth(blank, knurl.transverse_pitch_mm)
        self.judge_misfit(knurl, blank, teeth, misfit)
        if knurled is None:
            fullness = self.wanted_fullness()
            knurled = blank + knurl.growth_mm(fullness)
        else:
            fullness = self.fullness_between(knurl, blank, knurled)
        growth = knurled - blank
        candidates = tuple(
            Candidate(
                n,
                blank_diameter(n, knurl.transverse_pitch_mm),
                fullness,
                blank_diameter(n, knurl.transverse_pitch_mm) + growth,
            )
            for n in range(max(1, teeth - 2), teeth + 3)
        )
        return _Size(teeth, misfit, blank, knurled, fullness, candidates)

    def fullness_between(self, knurl: KnurlGeometry, blank: float, knurled: float) -> float:
        growth = knurled - blank
        least, most = knurl.least_growth_mm, knurl.full_growth_mm
        if not least * (1 - FULLNESS_SLACK) <= growth <= most * (1 + FULLNESS_SLACK):
            self.refuse(
                "diameters-disagree",
                "part.knurled_diameter",
                f"a blank of {self.mm(blank)} grows to between {self.mm_up(blank + least)} and "
                f"{self.mm_down(blank + most)}, not to {self.mm(knurled)}; give one of the two "
                f"diameters, or a blank between {self.mm_up(knurled - most)} and "
                f"{self.mm_down(knurled - least)}",
                source="conservation of volume",
            )
            self.stop_if_refused()
        height = height_for_rise(
            min(max(growth, 0.0), most) / 2.0, knurl.full_height_mm, knurl.family
        )
        fullness = height / knurl.full_height_mm
        asked = self.job.process.fullness
        if asked is not None and abs(asked - fullness) > FULLNESS_AGREES:
            self.note(
                "warning",
                "fullness-not-used",
                f"the two diameters need a fullness of {fullness:.3f}; "
                f"process.fullness = {asked:g} was not used",
                CONTRACT,
            )
        self.choose(
            "process.fullness",
            fullness,
            None,
            given=False,
            computed=True,
            why="what the two given diameters need",
        )
        return fullness

    def judge_misfit(self, knurl: KnurlGeometry, blank: float, teeth: int, misfit: float) -> None:
        size = abs(misfit)
        if size <= WARNED_MISFIT:
            return
        below = teeth if misfit >= 0 else teeth - 1
        options = [
            f"{self.mm(blank_diameter(n, knurl.transverse_pitch_mm))} ({n} teeth)"
            for n in (below, below + 1)
            if n >= 1
        ]
        message = (
            f"a blank of {self.mm(blank)} takes {teeth + misfit:.2f} teeth, {size:.2f} of a tooth "
            f"off a whole number: the rolls would print a double impression; turn it to "
            f"{options[0]}"
        )
        if len(options) > 1:
            message += f", or turn {options[1]} if stock and drawing allow"
        if size > REFUSED_MISFIT:
            self.refuse(
                "does-not-track",
                "part.blank_diameter",
                message,
                acceptable=True,
                source=HANDBOOK_TRACKING,
            )
        else:
            self.note("warning", "tracking-doubtful", message, HANDBOOK_TRACKING)

    def wanted_fullness(self) -> float:
        asked = self.job.process.fullness
        value = DEFAULT_FULLNESS if asked is None else asked
        self.choose(
            "process.fullness",
            value,
            None,
            given=asked is not None,
            why="wanted: fairly sharp crests, short of a full profile that flakes",
        )
        return value

    def size_from_knurled(self, knurl: KnurlGeometry, knurled: float) -> _Size:
        found = self.candidates(knurl, knurled)
        best = _best_candidate(found, self.wanted_fullness())
        if best is None:
            self.refuse_diameter(knurl, knurled)
            raise AssertionError("unreachable: refused above")
        return _Size(best.teeth, 0.0, best.blank_diameter_mm, knurled, best.fullness, tuple(found))

    def candidates(self, knurl: KnurlGeometry, knurled: float) -> list[Candidate]:
        pitch, most = knurl.transverse_pitch_mm, knurl.full_growth_mm
        slack = most * FULLNESS_SLACK
        smallest = knurled - most - slack
        largest = knurled - knurl.least_growth_mm + slack
        first = max(1, math.ceil(math.pi * smallest / pitch))
        found = []
        while (blank := blank_diameter(first, pitch)) <= largest:
            growth = min(max(knurled - blank, 0.0), most)
            if blank >= smallest:
                height = height_for_rise(growth / 2.0, knurl.full_height_mm, knurl.family)
                found.append(Candidate(first, blank, height / knurl.full_height_mm, knurled))
            first += 1
        return found

    def refuse_diameter(self, knurl: KnurlGeometry, knurled: float) -> None:
        pitch, most = knurl.transverse_pitch_mm, knurl.full_growth_mm
        below = max(0, math.floor(math.pi * (knurled - most) / pitch))
        while blank_diameter(below + 1, pitch) + most < knurled:
            below += 1
        above = blank_diameter(below + 1, pitch) + knurl.least_growth_mm
        options = []
        if below >= 1:
            options.append(
                f"{self.mm_down(blank_diameter(below, pitch) + most)} below ({below} teeth, full)"
            )
        options.append(
            f"{self.mm_up(above)} above ({below + 1} teeth, {LEAST_FULLNESS:g} of the full height)"
        )
        self.refuse(
            "no-whole-tooth-count",
            "part.knurled_diameter",
            f"no whole number of teeth reaches {self.mm(knurled)} with {knurl.callout}; the "
            f"nearest diameters that can be made are {' and '.join(options)}; change the "
            "diameter or the pitch",
            source=HANDBOOK_TRACKING,
        )
        self.stop_if_refused()

    # -- press fit -------------------------------------------------------------

    def joint(self, knurl: KnurlGeometry) -> Joint | None:
        """Return what the fit has before the diameters; None where the job has no fit."""
        job = self.job
        if job.fit is None:
            return None
        # Imported here: only a press fit pays for it.
        from knurlcam.plan.fitting import joint_of

        return joint_of(self, job, knurl, class_limits_mm(knurl, job.purpose, "knurled_in"))

    def diameter_for(self, knurl: KnurlGeometry, joint: Joint) -> tuple[float, str]:
        from knurlcam.plan.fitting import choose_diameter

        return choose_diameter(joint, lambda knurled: self.toothed(knurl, knurled))

    def toothed(self, knurl: KnurlGeometry, knurled: float) -> Toothed | None:
        """Return the knurl that is made for a diameter over the crests, silently."""
        from knurlcam.plan.fitting import Toothed

        wanted = self.job.process.fullness or DEFAULT_FULLNESS
        best = _best_candidate(self.candidates(knurl, knurled), wanted)
        if best is None:
            return None
        height = best.fullness * knurl.full_height_mm
        return Toothed(best.blank_diameter_mm, height, is_good(best.fullness))

    def press_fit(self, knurl: KnurlGeometry, size: _Size, joint: Joint | None) -> PressFit | None:
        if joint is None:
            if self.job.purpose == "press fit":
                self.note(
                    "note",
                    "fit-not-given",
                    "interference and what the press fit holds are not known without its bore: "
                    "give a [fit] table",
                    CONTRACT,
                )
            return None
        from knurlcam.plan.fitting import Toothed, judge

        made = Toothed(size.blank, size.fullness * knurl.full_height_mm, is_good(size.fullness))
        key = "fit.bore"
        if self.job.part.knurled_diameter is not None:
            key = "part.knurled_diameter"
        elif self.job.part.blank_diameter is not None:
            key = "part.blank_diameter"
        return judge(self, joint, size.knurled, made, lambda d: self.toothed(knurl, d), key)

    # -- tool ------------------------------------------------------------------

    def contact(self, blank: float, depth: float) -> Contact:
        tool = self.job.tool
        contact = contact_for(
            tool.style,
            tool.datum,
            blank_diameter_mm=blank,
            roll_diameter_mm=tool.roll_diameter,
            full_penetration_mm=depth,
            roll_spacing_mm=tool.roll_spacing,
        )
        reach = contact.blank_radius_mm + contact.roll_radius_mm - depth
        if TOOL_STYLES[tool.style].set_to_gap:
            if tool.largest_gap is not None and contact.gap_mm > tool.largest_gap:
                self.refuse(
                    "straddle-too-small",
                    "tool.largest_gap",
                    f"the rolls must be set {self.mm(contact.gap_mm)} apart over this blank and "
                    f"open to {self.mm(tool.largest_gap)} only; take a larger straddle, or a blank "
                    f"of at most {self.mm(tool.largest_gap + 2 * depth)}",
                )
        elif contact.half_spacing_mm >= reach:
            self.refuse(
                "rolls-too-far-apart",
                "tool.roll_spacing",
                f"rolls {self.mm(2 * contact.half_spacing_mm)} apart pass above and below a blank "
                f"of {self.mm(blank)}; the spacing must be below {self.mm(2 * reach)}: take a "
                "smaller head, larger rolls or a single roll",
            )
            self.stop_if_refused()
        self.take(self.set_up.datums)
        return contact

    # -- speed, feed, passes ---------------------------------------------------

    def speed(self, blank: float, strategy: str) -> tuple[float, float]:
        job = self.job
        machine, asked = job.machine, job.process.spindle_speed
        material: Material = job.part.material_row
        rules = speed_rules()
        traverse = strategy == "traverse"
        reversal, top = machine.reversal_speed_limit, machine.max_spindle_speed
        limit = min(reversal, top) if traverse else top
        if asked is None:
            half = spindle_speed(material.turning_speed_m_min * rules.turning_speed_factor, blank)
            value = min(half, reversal, top)
            why = (
                f"half the turning speed of {material.name} "
                f"({show(material.turning_speed_m_min, Kind.VELOCITY, self.units)}) is "
                f"{self.rpm(half)}"
            )
            if value < half:
                which = "the reversal limit" if reversal <= top else "the machine's limit"
                why += f"; held to {which} ({COMMON})"
            else:
                why += f" ({COMMON})"
            self.choose("process.spindle_speed", value, Kind.SPEED, given=False, why=why)
            return value, limit
        self.choose("process.spindle_speed", asked, Kind.SPEED, given=True, why="")
        if asked > top:
            self.refuse(
                "above-machine-limit",
                "process.spindle_speed",
                f"{self.rpm(asked)} is above the machine's limit of {self.rpm(top)}; lower it to "
                f"{self.rpm(top)} or less",
                source="machine.max_spindle_speed",
            )
        elif traverse and asked > reversal:
            self.refuse(
                "above-reversal-limit",
                "process.spindle_speed",
                f"{self.rpm(asked)} is above the {self.rpm(reversal)} at which the feed may "
                f"reverse under load; lower it to {self.rpm(reversal)} or less, or raise "
                "machine.reversal_speed_limit if the machine's manual allows",
                acceptable=True,
                source=COMMON,
            )
            limit = top
        return asked, limit

    def most_passes(self, contact: Contact, depth: float, count: int) -> int:
        """Return the most passes, up to a count, that each move the slide by what X can say."""

        def last_step(passes: int) -> float:
            before, last = (0.0, *self.depths(depth, passes))[-2:]
            return contact.x_diameter_mm(before) - contact.x_diameter_mm(last)

        while count > 1 and last_step(count) <= self.least_shown() * (1.0 + ROUND_SLACK):
            count -= 1
        return count

    def depths(self, depth: float, passes: int) -> tuple[float, ...]:
        """Return the penetration of each pass; the last count that was tried is the one taken."""
        if self.last_depths[0] != (depth, passes):
            self.last_depths = (depth, passes), pass_penetrations(depth, passes)
        return self.last_depths[1]

    def pass_count(
        self, knurl: KnurlGeometry, strategy: str, contact: Contact, depth: float
    ) -> int:
        process = self.job.process
        crossed = knurl.family != "straight"
        plunge = strategy == "plunge"
        count = process.passes
        if count is None:
            count = recommended_passes(crossed=crossed, plunge=plunge)
            why = f"for {'crossing' if crossed else 'one direction of'} grooves ({COMMON})"
            if plunge:
                why = "one infeed, because the surface work-hardens"
                if process.trial_strip:
                    count, why = 2, "the first for the trial print, the second to depth"
            most = self.most_passes(contact, depth, count)
            if count > most:
                count, why = most, "more would be finer steps than a control can tell apart"
            self.choose("process.passes", count, None, given=False, why=why)
        else:
            self.choose("process.passes", count, None, given=True, why="")
            if plunge and process.trial_strip and count < 2:
                self.refuse(
                    "trial-needs-passes",
                    "process.passes",
                    "a trial print by plunging needs a first pass short of full depth; take 2 "
                    "passes or more, or leave the trial strip out",
                )
            most = self.most_passes(contact, depth, count)
            if count > most:
                self.refuse(
                    "passes-too-many",
                    "process.passes",
                    f"the last of {count} passes would move the slide by less than the "
                    f"{self.mm(self.least_shown())} on the diameter that a control can tell "
                    f"apart; take {most} or fewer",
                )
        self.take(self.set_up.finish)
        return count

    def passes(
        self, contact: Contact, depth: float, count: int, strategy: str, zone: _Zone
    ) -> tuple[Pass, ...]:
        shift = self.set_up.datum_shift
        depths = list(self.depths(depth, count))
        presses = [True] * count
        if strategy == "traverse" and self.job.process.clean_up:
            depths.append(depth)
            presses.append(False)
        made = []
        left = zone.entry
        x, x_of = 0.0, math.nan
        for number, (c, press) in enumerate(zip(depths, presses, strict=True), start=1):
            if c != x_of:
                x, x_of = contact.x_diameter_mm(c), c
            direction: Direction = "plunge"
            end = left
            if strategy == "traverse":
                direction = "headstock" if number % 2 else "tailstock"
                end = zone.line if number % 2 else zone.turn
            made.append(Pass(number, direction, c, x, left + shift, end + shift, press))
            left = end
        return tuple(made)

    def estimate(
        self, contact: Contact, passes: tuple[Pass, ...], zone: _Zone, count: int, rpm: float
    ) -> tuple[Estimate | None, float]:
        """Say what loads and deflection mean; the estimate, and the centre's load [N]."""
        # The first pass starts nearer to the end than a return turns.
        travel = RollTravel(zone.line, max(zone.entry, zone.turn) if count == 1 else zone.turn)
        depth = Depth(passes[-1].penetration_mm, _last_step(passes), travel)
        estimate = estimate_loads(self.job, self.set_up.teeth, contact, depth, rpm)
        return estimate, check_loads(self.job, estimate, self)

    def refuse_following_for_long(self, passes: tuple[Pass, ...]) -> None:
        way = sum(abs(step.z_end_mm - step.z_start_mm) for step in passes)
        if way > MOST_FOLLOWED_MM:
            self.refuse(
                "follows-too-long",
                "process.compensate",
                f"the slide would have to follow the work over {way / 1e3:.1f} m of passes; at "
                f"most {MOST_FOLLOWED_MM / 1e3:g} m are worked out and checked: take fewer "
                "passes, or knurl a shorter zone",
            )

    def following(self, step: Pass, work: HeldWork) -> Pass:
        """Return a pass whose slide follows the work."""
        shift, c = self.set_up.datum_shift, step.penetration_mm
        start, end = step.z_start_mm - shift, step.z_end_mm - shift
        if start == end:
            knots: tuple[Knot, ...] = (Knot(start, work.across_mm(c, start)),)
        else:
            knots, _ = work.follow(c, start, end)
        places = [
            (knot.left_mm + shift, 2.0 * (knot.across_mm - work.contact.datum_shift_mm))
            for knot in knots
        ]
        return step._replace(x_diameter_mm=places[0][1], follow=tuple(places[1:]))

    def deepest(self, passes: tuple[Pass, ...], contact: Contact, depth: float) -> float:
        """Return how deep the slide stands where rolls hang over the end, at most [mm]."""
        shift, face = self.set_up.datum_shift, self.job.tool.face_width
        over = [
            contact.depth_mm(x)
            for step in passes
            for z, x in ((step.z_start_mm, step.x_diameter_mm), *step.follow)
            if z - shift + face > -LENGTH_SLACK_MM  # the block up to here begins over the end
        ]
        return max([depth, *over])

    def trial(self, passes: tuple[Pass, ...], strategy: str) -> TrialStrip | None:
        process = self.job.process
        if not process.trial_strip:
            return None
        first = passes[0]
        if strategy == "plunge":
            travel = 0.0
        else:
            room = first.z_start_mm - first.z_end_mm
            if process.trial_length is not None:
                travel = process.trial_length
                if travel >= room:
                    self.refuse(
                        "trial-too-long",
                        "process.trial_length",
                        f"a trial strip of {self.mm(travel)} does not end before the line, "
                        f"{self.mm(room)} away; make it shorter or leave it out",
                    )
            else:
                travel = TRIAL_LENGTH_MM if room > TRIAL_LENGTH_MM else room / 2
                why = f"about half an inch ({COMMON})"
                if travel < TRIAL_LENGTH_MM:
                    why = "half of the first pass, which is short"
                self.choose("process.trial_length", travel, Kind.LENGTH, given=False, why=why)
        end = first.z_start_mm - travel
        return TrialStrip(
            first.penetration_mm,
            first.x_diameter_mm,
            first.z_start_mm,
            end,
            _follow_as_far(first, end) if travel else (),
        )

    # -- what stands around ----------------------------------------------------

    def around(
        self, blank: float, depth: float, clearance_x: float, zone: _Zone, contact: Contact
    ) -> float | None:
        job = self.job
        if job.part.steps is not None:
            self.shoulders(job.part.steps, blank, zone, contact)
        if job.machine.safe_x < clearance_x:
            self.refuse(
                "safe-x-inside",
                "machine.safe_x",
                f"{self.mm(job.machine.safe_x)} is inside the clearance, X "
                f"{self.mm_up(clearance_x)}; raise it to at least that, on the diameter",
            )
        room = job.part.length + zone.line
        holder = "chuck" if job.holding.method != "between centres" else "driven centre"
        if room < -LENGTH_SLACK_MM:
            most = job.part.length - job.knurl.start - job.machine.clearance
            shorter = f"shorten it to {self.mm_down(most)} at most or " if most > 0 else ""
            self.refuse(
                "past-the-chuck",
                "knurl.length",
                f"the knurl ends {self.mm(-zone.line)} from the end, past the {holder} at "
                f"{self.mm(job.part.length)}; {shorter}hold the work further out",
            )
        elif room <= LENGTH_SLACK_MM:
            self.refuse(
                "meets-the-chuck",
                "knurl.length",
                f"the rolls would run against the {holder} at {self.mm(job.part.length)}; leave "
                f"at least the clearance of {self.mm(job.machine.clearance)} between them",
            )
        elif room < job.machine.clearance:
            self.note(
                "warning",
                "near-the-chuck",
                f"the rolls come within {self.mm(room)} of the {holder}: see that nothing of it or "
                "of the tool stands proud",
            )
        overhang = max(zone.entry, zone.turn) + job.tool.face_width
        if overhang <= LENGTH_SLACK_MM or job.holding.held_by == "none":
            return None
        largest = blank - 2.0 * depth
        given = job.holding.centre_diameter
        if given is None:
            self.note(
                "note",
                "centre-clearance",
                f"the rolls hang {self.mm(overhang)} over the end: what stands beyond the end face "
                f"must be smaller than {self.mm_down(largest)}",
                "geometry",
            )
        elif given >= largest:
            self.refuse(
                "meets-the-centre",
                "holding.centre_diameter",
                f"the rolls hang {self.mm(overhang)} over the end and reach in to a diameter of "
                f"{self.mm_down(largest)}; what stands there must be smaller than that: take a "
                "smaller centre or a half centre",
            )
        return largest

    def shoulders(
        self,
        steps: tuple[tuple[float, float], ...],
        blank: float,
        zone: _Zone,
        contact: Contact,
    ) -> None:
        """Hold stepped work against the blank, the rolls' way and the safe position."""
        job, pitch = self.job, self.set_up.geometry.value.pitch_mm
        begin, end = job.knurl.start, job.knurl.start + job.knurl.length
        near, far = -(zone.right_limit), -zone.line
        largest = max([diameter for diameter, _ in steps])
        room = contact.blank_radius_mm - contact.depth_mm(job.machine.safe_x)
        if largest / 2.0 > room - LENGTH_SLACK_MM:
            self.refuse(
                "safe-x-inside",
                "machine.safe_x",
                f"at the safe X the rolls reach in to a diameter of {self.mm(2.0 * room)}, and a "
                f"step has {self.mm(largest)}; raise it",
            )
        for diameter, low, high in pieces_beside(steps, begin, end):
            if diameter > blank + LENGTH_SLACK_MM:
                self.shoulder(diameter, low, high, near, far)
        at = 0.0
        for diameter, length in steps:
            low, at = at, at + length
            under = max(low, begin) < min(at, end) - LENGTH_SLACK_MM
            if under and abs(diameter - blank) > pitch:
                self.refuse(
                    "steps-disagree",
                    "part.steps",
                    f"under the knurl the work has {self.mm(blank)}, and the step from "
                    f"{self.mm(low)} to {self.mm(at)} has {self.mm(diameter)}; give that "
                    "step the blank's diameter, or cut it where the knurl begins and ends",
                )

    def shoulder(self, diameter: float, low: float, high: float, near: float, far: float) -> None:
        """Hold a piece that is thicker than the blank against the way of the rolls."""
        overlap = min(high, far) - max(low, near)
        if overlap > LENGTH_SLACK_MM:
            self.refuse(
                "meets-a-shoulder",
                "part.steps",
                f"the rolls run against the step of {self.mm(diameter)} from {self.mm(low)} to "
                f"{self.mm(high)}; take narrower rolls",
            )
        elif overlap > -self.job.machine.clearance:
            where = f"within {self.mm(abs(overlap))} of" if overlap < -0.0005 else "flush against"
            self.note(
                "warning",
                "near-a-shoulder",
                f"the rolls come {where} the step of {self.mm(diameter)}: see that nothing of the "
                "tool meets it, or relieve the corner",
            )

    def infeed_note(self, passes: tuple[Pass, ...], contact: Contact, infeed: float) -> None:
        slide = contact.touch_mm - contact.centre_mm(passes[0].penetration_mm)
        if infeed > slide:
            self.note(
                "warning",
                "infeed-fast",
                f"{self.feed_text(infeed)} of slide presses the first print in within one turn of "
                "the work: the teeth of that turn will not be alike; slow the infeed",
            )

    # -- advice ----------------------------------------------------------------

    def advise(self, knurl: KnurlGeometry, size: _Size, centre_load: float) -> None:
        job = self.job
        if job.knurl.length > size.blank:
            self.note(
                "warning",
                "wide-knurl",
                f"the knurl is {self.mm(job.knurl.length)} wide, wider than the blank's diameter "
                f"of {self.mm(size.blank)}",
                HANDBOOK,
            )
        self.advise_holding(centre_load)
        self.take(self.set_up.pitch)
        self.advise_material()
        along = knurl.family == "straight" and not knurl.helix_deg
        if job.purpose == "press fit" and not along:
            self.note(
                "warning",
                "fit-wants-straight",
                "tolerance classes II and III, for closer fits and press fits, are for straight "
                "knurls only",
                HANDBOOK,
            )
        if job.process.trial_strip and TOOL_STYLES[job.tool.style].pivots:
            self.note(
                "note",
                "lead-in",
                "for the trial strip turn the head 5 to 10 degrees towards the tailstock and touch "
                "off as it stands; square it up at the stop, and touch off again",
            )
        self.note("note", "break-the-edge", "knurled ends are sharp: break the edge afterwards")

    def advise_holding(self, centre_load: float) -> None:
        holding = self.job.holding
        high, bears = centre_load > HIGH_CENTRE_LOAD_N, ""
        if high:
            bears = f"; it bears about {show_about(centre_load, Kind.FORCE, self.units)} across"
        if holding.method == "chuck":
            self.note(
                "warning",
                "chuck-alone",
                "work in a chuck alone springs and is pushed into the chuck: hold it between "
                "centres or bring up a centre",
            )
        elif holding.held_by == "live centre":
            self.note(
                "warning" if high else "note",
                "live-centre",
                "a live ball-bearing centre wears under the push of the rolls: a greased dead "
                f"centre holds better{bears}",
            )
        else:
            self.note(
                "note",
                "grease-centre",
                f"grease the dead centre{' well' if high else ''}, and check it again as the work "
                f"warms{bears}",
            )

    def advise_material(self) -> None:
        material = self.job.part.material_row
        if (
            material.elongation_percent is not None
            and material.elongation_percent < LOW_ELONGATION_PERCENT
        ) or (material.elongation_percent is None and material.yield_strength_mpa is None):
            self.note(
                "warning",
                "brittle",
                f"{material.name} hardly stretches before it breaks: crests may flake; try a "
                "shallower knurl on scrap first",
            )
        if material.brinell is not None and material.brinell > HIGH_BRINELL:
            self.note(
                "warning",
                "hard",
                f"{material.name} at {material.brinell:g} HB is hard for form rolling: expect "
                "high forces and worn rolls",
            )


def _best_candidate(found: list[Candidate], wanted: float) -> Candidate | None:
    """Return the good one nearest the wanted fullness, else the fullest; None of none."""
    good = [c for c in found if is_good(c.fullness)]
    if good:
        # Of two equally near the smaller blank is taken, as the handbook does.
        return min(good, key=lambda c: (abs(c.fullness - wanted), c.teeth))
    return max(found, key=lambda c: c.fullness, default=None)


def pieces_beside(
    steps: tuple[tuple[float, float], ...], begin: float, end: float
) -> list[tuple[float, float, float]]:
    """Return the pieces of stepped work that are not under the knurl.

    Args:
        steps: Diameter and length of each piece, from the end face on [mm]
        begin: Distance of the knurl's begin from the end face [mm]
        end: ... and of its end [mm]

    Returns:
        Of each piece, or part of one, its diameter and where it begins and ends [mm]
    """
    found, at = [], 0.0
    for diameter, length in steps:
        low, high = at, at + length
        at = high
        if low < begin:
            found.append((diameter, low, min(high, begin)))
        if high > end:
            found.append((diameter, max(low, end), high))
    return found


def _follow_as_far(step: Pass, end_mm: float) -> tuple[tuple[float, float], ...]:
    """Return the blocks of a pass towards the headstock as far as a Z."""
    made: list[tuple[float, float]] = []
    z, x = step.z_start_mm, step.x_diameter_mm
    for to_z, to_x in step.follow:
        if to_z <= end_mm:
            share = (end_mm - z) / (to_z - z)
            made.append((end_mm, x + share * (to_x - x)))
            break
        made.append((to_z, to_x))
        z, x = to_z, to_x
    return tuple(made)


def _teeth(knurl: KnurlGeometry, roll_names: tuple[str, ...]) -> Teeth:
    """Return the teeth that press: those of rolls that traverse are ridges."""
    prints: Prints = "ridges"
    if not roll_names or not rolls()[roll_names[0]].traverses:
        prints = "points" if knurl.family == "indented" else "crossing ridges"
    one_hand = knurl.helix_deg if knurl.family == "straight" else 0.0
    return Teeth.of(prints, knurl.pitch_mm, knurl.profile_deg, one_hand)


def _last_step(passes: tuple[Pass, ...]) -> float:
    """Return how much the last pass that presses is deeper than the one before [mm]."""
    pressing = [step.penetration_mm for step in passes if step.presses]
    return pressing[-1] - (pressing[-2] if len(pressing) > 1 else 0.0)


def _follow_dict(step: Pass) -> dict[str, Any]:
    """Where each block of a pass ends that follows the work; nothing of one that does not."""
    if not step.follow:
        return {}
    return {"follow": [{"z_mm": z, "x_diameter_mm": x} for z, x in step.follow]}


def _loads_dict(plan: Plan, estimate: Estimate) -> dict[str, Any]:
    flow = estimate.set_up.flow
    return {
        **estimate.loads._asdict(),
        "passes": [
            {"number": p.number, "radial_force_n": w.radial_force_n, "net_push_n": w.net_push_n}
            for p, w in zip(plan.passes, plan.pass_loads, strict=True)
            if w is not None
        ],
        "flow_stress_mpa": flow.likely_mpa,
        "flow_stress_low_mpa": flow.low_mpa,
        "flow_stress_high_mpa": flow.high_mpa,
    }


def _deflection_dict(estimate: Estimate) -> dict[str, Any] | None:
    made = estimate.deflection
    if made is None:
        return None
    low, high = made.evenness_range
    return {
        "max_mm": made.max_mm,
        "z_mm": made.z_mm,
        "lost_mm": made.lost_mm,
        "evenness": made.evenness,
        "evenness_low": low,
        "evenness_high": high,
        "evenness_compensated": made.evenness_compensated,
        "bending_stress_mpa": made.stress_mpa,
        "tailstock_force_n": made.tailstock_n,
        "along": [place._asdict() for place in made.curve(PLACES_TOLD)],
    }


def _time_s(plan: Plan) -> float:
    """Return the time of the motion, from the safe position and back [s]."""
    machine, first, last = plan.job.machine, plan.passes[0], plan.passes[-1]
    rapid_mm_s = machine.rapid_rate * 1000.0 / 60.0
    rev_s, dwell_s = 60.0 / plan.programmed_rpm, plan.dwell_s
    slow, feed = plan.infeed_mm_per_rev / rev_s, plan.feed_mm_per_rev / rev_s
    # Rapids along Z at safe X, and in X from safe to clearance and back out.
    along = abs(machine.safe_z - first.z_start_mm) + abs(last.z_end_mm - machine.safe_z)
    total = (along + (machine.safe_x - plan.clearance_x_mm)) / rapid_mm_s
    x = plan.clearance_x_mm
    for step in plan.passes:
        if step.presses:
            total += (x - step.x_diameter_mm) / 2.0 / slow + dwell_s
        total += abs(step.z_end_mm - step.z_start_mm) / feed
        x = step.x_end_diameter_mm
    total += (plan.clearance_x_mm - x) / 2.0 / feed
    if plan.trial is not None:
        depth = (plan.clearance_x_mm - plan.trial.x_diameter_mm) / 2.0
        strip = abs(plan.trial.z_end_mm - plan.trial.z_start_mm)
        back = (strip + (machine.safe_x - plan.clearance_x_mm)) / rapid_mm_s
        total += depth / slow + dwell_s + strip / feed + depth / feed + back
    return total
