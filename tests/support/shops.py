"""The sample shop, and jobs that leave to a shop what it keeps."""

from __future__ import annotations

from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "samples" / "shop"

JOB = """
[part]
name = "Grip"
material = "6082-T6"
knurled_diameter = 25.0
length = 70.0
[knurl]
callout = "{callout}"
length = 20.0
[holding]
method = "between centres"
"""

SHOP = (SAMPLE / "shop.toml").read_text(encoding="utf-8")


def job_file(folder: Path, text: str = "", callout: str = "DIN 82 RGE 1.0") -> Path:
    file = folder / "job.toml"
    file.write_text(text + JOB.format(callout=callout), encoding="utf-8")
    return file


def changed(shop: Path, *pairs: str) -> Path:
    """Change the shop file: old, new, old, new."""
    text = shop.read_text("utf-8")
    for old, new in zip(pairs[::2], pairs[1::2], strict=True):
        assert old in text
        text = text.replace(old, new, 1)
    shop.write_text(text, encoding="utf-8")
    return shop
