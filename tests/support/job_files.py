"""Jobs written to a file as text, and the press fit that their tests share."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

from knurlcam.job.model import Job

FIT = {
    "knurl.purpose": "press fit",
    "fit": {"bore": 12, "hub_diameter": 24, "hub_material": "6082-T6"},
}


def load(tmp_path: Path, data: dict[str, Any]) -> Job:
    """Write a job as TOML and load it from the file."""
    file = tmp_path / "job.toml"
    file.write_text(toml(data), encoding="utf-8")
    return Job.load(file)


def toml(data: dict[str, Any]) -> str:
    plain = [f"{k} = {literal(v)}" for k, v in data.items() if not isinstance(v, dict)]
    for name, section in data.items():
        if isinstance(section, dict):
            plain.append(f"[{name}]")
            plain += [f"{k} = {literal(v)}" for k, v in section.items()]
    return "\n".join(plain) + "\n"


def literal(value: Any) -> str:
    """Return a value as TOML writes it: JSON, but for tables and what JSON lacks."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k} = {literal(v)}" for k, v in value.items()) + "}"
    if isinstance(value, float) and not math.isfinite(value):
        return repr(value)
    return json.dumps(value)
