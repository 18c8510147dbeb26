"""The rolls as they are: their true pitch from teeth and diameter, and how far it is off."""

from __future__ import annotations

import math

from knurlcam.data.knurls import trade_tpi
from knurlcam.data.rolls import helical_rolls
from knurlcam.job.model import Job
from knurlcam.mechanics.knurl import KnurlGeometry
from knurlcam.mechanics.roll_pitch import roll_diameter_for, roll_pitch
from knurlcam.mechanics.tracking import diametral_pitch_row, teeth_around
from knurlcam.plan.remarks import Remarks
from knurlcam.plan.results import Diameters, RollAsItIs
from knurlcam.units.kinds import MM_PER_INCH

__all__ = ["choose_roll", "say_what_is_not_counted"]

WARNED_OFF = 0.01
"""Share of the callout's pitch from which on that of the rolls is warned of [-] (rule of this
program)."""

REFUSED_OFF = 0.05
"""Share of the callout's pitch from which on that of the rolls is refused [-] (rule of this
program): the next standard pitch is a fifth away."""

DIN_403 = "DIN 403:1973-01, 2.1"


def choose_roll(
    job: Job, knurl: KnurlGeometry, names: tuple[str, ...], remarks: Remarks
) -> tuple[KnurlGeometry, RollAsItIs]:
    """Return the knurl with the pitch of the rolls that make it, and those rolls.

    Args:
        job: The job.
        knurl: The knurl as it is called up.
        names: Roll forms of DIN 403; none where the tool has none such.
        remarks: Where it is said.
    """
    tool, roll = job.tool, job.tool.designated
    helix = _helix_deg(job, knurl, names)
    teeth, pitch = tool.roll_teeth, knurl.pitch_mm
    if roll is not None:
        _check_form(job, knurl, names, remarks)
        teeth, pitch = teeth or roll.teeth, roll.pitch_mm
    measured = tool.roll_measured_diameter
    if teeth is None:
        diameter = tool.roll_diameter if measured is None else measured
        made = pitch
    elif measured is None:
        diameter, made = roll_diameter_for(teeth, pitch, helix), pitch
    else:
        diameter, made = measured, _true_pitch(knurl, measured, teeth, helix)
    as_it_is = RollAsItIs(tool.roll or job.shop_rolls or None, teeth, diameter, helix)
    _say(job, as_it_is, remarks)
    # Of teeth alone the diameter given beside them tells whether the count can be right.
    compared = made
    if teeth is not None and measured is None and roll is None:
        compared = _true_pitch(knurl, tool.roll_diameter, teeth, helix)
    _check_pitch(knurl, compared, as_it_is, remarks)
    return (knurl if made == knurl.pitch_mm else knurl.with_pitch(made)), as_it_is


def _helix_deg(job: Job, knurl: KnurlGeometry, names: tuple[str, ...]) -> float:
    """Return the helix of the rolls' own teeth [deg]."""
    usual = max((helical_rolls().get(name, 0.0) for name in names), default=0.0)
    # As they stand, rolls with helical teeth have the helix of the knurl.
    return usual if job.tool.swivelled or not usual else knurl.helix_deg


def _true_pitch(knurl: KnurlGeometry, diameter_mm: float, teeth: int, helix_deg: float) -> float:
    """Return the pitch across the teeth on which a roll tracks [mm]."""
    pitch = roll_pitch(diameter_mm, teeth, helix_deg)
    row = diametral_pitch_row(knurl.diametral_pitch)
    if row is not None and row.roll_correction_in is not None:
        # The tips of a standard diametral roll are closer by what the standard corrects there.
        pitch += row.roll_correction_in * MM_PER_INCH * math.cos(math.radians(helix_deg))
    return pitch


def _say(job: Job, roll: RollAsItIs, remarks: Remarks) -> None:
    tool = job.tool
    if tool.roll is not None:
        remarks.choose("tool.roll", tool.roll, None, given=True, why="")
    if roll.teeth is not None:
        why = f"of this designation ({DIN_403})"
        given = tool.roll_teeth is not None
        remarks.choose("tool.roll_teeth", roll.teeth, None, given=given, why=why, computed=True)


def _check_form(job: Job, knurl: KnurlGeometry, names: tuple[str, ...], remarks: Remarks) -> None:
    roll = job.tool.designated
    if roll is None or not names or roll.form in names:
        return
    remarks.refuse(
        "no-rolls-for-form",
        "tool.roll",
        f"a roll {roll.form} does not make form {knurl.form} in this tool, which takes "
        f"{' and '.join(names)}; take such a roll, or correct tool.rolls and tool.swivelled",
        source="DIN 82:1973-01, rolls of DIN 403",
    )


def _check_pitch(knurl: KnurlGeometry, pitch_mm: float, roll: RollAsItIs, remarks: Remarks) -> None:
    off = pitch_mm / knurl.pitch_mm - 1.0
    if abs(off) <= WARNED_OFF:
        return
    count = "" if roll.teeth is None else f" ({roll.teeth} teeth)"
    message = (
        f"the rolls{count} have a pitch of {remarks.mm(pitch_mm)}, {abs(off) * 100:.1f} % "
        f"{'more' if off > 0 else 'less'} than the {remarks.mm(knurl.pitch_mm)} of "
        f"{knurl.callout}"
    )
    if abs(off) > REFUSED_OFF:
        remarks.refuse(
            "roll-pitch",
            "tool.roll_teeth" if roll.name is None else "tool.roll",
            f"{message}: take rolls of that pitch, or count and measure them again "
            "(tool.roll_teeth, tool.roll_measured_diameter)",
            source=DIN_403,
        )
    else:
        remarks.note(
            "warning", "roll-pitch", f"{message}: check that they are the right ones", DIN_403
        )


def say_what_is_not_counted(
    job: Job, knurl: KnurlGeometry, diameters: Diameters, roll: RollAsItIs, remarks: Remarks
) -> None:
    """Say what depends on teeth that are not counted, or on a diameter that is not measured.

    Args:
        job: The job.
        knurl: The knurl, its pitch that of the rolls.
        diameters: Blank and teeth.
        roll: The rolls as they are.
        remarks: Where it is said.
    """
    tool, asked = job.tool, job.knurl.asked
    counted = roll.teeth is not None and tool.roll_measured_diameter is not None
    if counted:
        return
    if asked.system == "tpi" and asked.value in trade_tpi().values():
        remarks.note(
            "warning",
            "tpi-count",
            f"rolls of {asked.value:g} TPI do not have the pitch that the number says: count the "
            "teeth of a roll and measure it over their tips, and give tool.roll_teeth and "
            "tool.roll_measured_diameter",
            "a roll maker's published notes",
        )
    elif roll.teeth is None and knurl.diametral_pitch is None:
        remarks.note(
            "note", "roll-not-counted", _if_exact(knurl, diameters, roll, remarks), DIN_403
        )


def _if_exact(
    knurl: KnurlGeometry, diameters: Diameters, roll: RollAsItIs, remarks: Remarks
) -> str:
    """Return what a roll of exactly the given diameter would do to the tooth count."""
    bare = roll_diameter_for(1, knurl.pitch_mm, roll.helix_deg)
    teeth = max(1, round(roll.diameter_mm / bare))
    pitch = roll_pitch(roll.diameter_mm, teeth, roll.helix_deg)
    tracking = diameters.tracking
    transverse = tracking.transverse_pitch_mm * pitch / knurl.pitch_mm
    found = teeth_around(diameters.blank_mm, transverse, tracking.correction_mm)
    return (
        f"a roll of exactly {remarks.mm(roll.diameter_mm)} has {teeth} teeth and so a pitch of "
        f"{remarks.mm(pitch)}: it would print {found:.2f} teeth round this blank, where "
        f"{diameters.teeth} are planned; count the teeth of a roll and measure it over their "
        "tips, and give tool.roll_teeth and tool.roll_measured_diameter"
    )
