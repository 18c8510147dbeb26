"""Twelve hex digits that tell one job from another."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from knurlcam.job.fields import InUnits
from knurlcam.job.sections import TAILSTOCKS
from knurlcam.mechanics.tool_styles import TOOL_STYLES

__all__ = [
    "identity_of",
    "with_check_digits",
]

_JSON = json.JSONEncoder(sort_keys=True, separators=(",", ":"))
# Kept in the section itself, where pydantic's equality and JSON pass it over; `model_copy` of
# `fields.Section` leaves it out of a copy, which may be changed.
_IDENTITY_TEXT = "_identity_text"
# In this order, and with no section added: programs in use carry identities made so.
_SECTIONS = ("fit", "holding", "knurl", "machine", "part", "process", "tool")
# None changes the part: the same job goes to another control, whose gears have other words, or
# to a faster lathe.
_NOT_IN_IDENTITY = {"machine": {"post", "rapid_rate", "gear"}}
_LATER_KEYS: Mapping[str, tuple[str, ...]] = {
    "part": ("steps",),
    "holding": ("grip",),
    "tool": (
        "force_limit",
        "body_width",
        "roll_teeth",
        "roll_measured_diameter",
        "roll",
        "tracking_correction",
    ),
    "machine": ("torque_limit",),
    "fit": ("bore_smallest", "bore_largest", "hub_length"),
}
"""Keys that came after the first programs were written: a job without them stays the same
job, and its programs its own."""


def identity_of(job: InUnits) -> str:
    """Return twelve hex digits that tell a job from another, whatever the dialect.

    The last two are a check on the first ten, so that an error in copying a program's header is
    not taken for another job. The dialect, its gear and the rapid rate do not change what
    is made and are left out.

    Args:
        job: The whole job.
    """
    texts = _section_texts(job)
    pairs = ",".join([f'"{key}":{texts[key]}' for key in _SECTIONS])
    text = f'{{{pairs},"units":"{job.units}"}}'
    return with_check_digits(hashlib.sha256(text.encode()).hexdigest()[:10])


def _section_texts(job: InUnits) -> dict[str, str]:
    """Return the sections as JSON, as far as they tell one job from another.

    Jobs of a family share sections, so each section keeps its own text.
    """
    sections = job.__dict__
    texts = {}
    new: set[str] = set()
    for key in _SECTIONS:
        section = sections[key]
        if section is None:
            texts[key] = "null"
        elif _IDENTITY_TEXT in section.__dict__:
            texts[key] = section.__dict__[_IDENTITY_TEXT]
        else:
            new.add(key)
    if new:
        # By the whole job's serializer: those of single sections are never built.
        data = job.model_dump(mode="json", include=new, exclude=_NOT_IN_IDENTITY)
        for key in new:
            text = _JSON.encode(_as_identified(key, data[key]))
            texts[key] = sections[key].__dict__[_IDENTITY_TEXT] = text
    return texts


def _as_identified(section: str, data: dict[str, Any]) -> dict[str, Any]:
    """Return a section's keys without those that a job may leave out and stay the same."""
    for name in _LATER_KEYS.get(section, ()):
        if data[name] is None:
            del data[name]
    _leave_defaults_out(section, data)
    return data


def _leave_defaults_out(section: str, data: dict[str, Any]) -> None:
    """Take away what another key would give anyway: a job that writes it out is the same job.

    What is recommended (rolls, purpose, feed) stays, for a later version may recommend otherwise;
    so do callout and material as they are written.
    """
    if section == "holding" and data["tailstock"] == TAILSTOCKS[data["method"]][0]:
        data["tailstock"] = None
    if section == "process" and data["trial_stop"] == "program":
        del data["trial_stop"]  # a later key: jobs without it stay the same
    if section == "tool":
        if data["offset"] == data["station"]:
            data["offset"] = None
        if data["x_datum"] == TOOL_STYLES[data["style"]].x_datum:
            data["x_datum"] = None


CHECK_PRIME = 251
"""The largest prime that two hex digits hold."""


def with_check_digits(digits: str) -> str:
    """Return ten hex digits followed by two check digits made from them.

    A sum of the digits, each times its place, modulo a prime that no product of a place and a
    difference of two digits reaches: one digit wrong and two exchanged always show.
    """
    total = sum(place * int(digit, 16) for place, digit in enumerate(digits, start=1))
    return f"{digits.upper()}{total % CHECK_PRIME:02X}"
