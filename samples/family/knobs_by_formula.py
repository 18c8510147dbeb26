"""Telescope workshop: setting knobs in steps of 10 %, from a formula instead of a table.

python samples/family/knobs_by_formula.py knobs
"""

import sys
from pathlib import Path

from knurlcam import make_family, save_family

HERE = Path(__file__).parent


def rows():
    """Twelve knobs from 16 mm, each a tenth larger, rounded to a half millimetre."""
    for step in range(12):
        diameter = round(2 * 16.0 * 1.1**step) / 2
        yield {
            "part.name": f"Setting knob {diameter:g}",
            "part.number": 1401 + step,
            "part.knurled_diameter": diameter,
            "knurl.callout": f"DIN 82 RGE {0.8 if diameter < 24 else 1.0}",
        }


if __name__ == "__main__":
    results = make_family(HERE / "setting-knob.toml", rows())
    summary = save_family(results, sys.argv[1])
    print(f"{summary.counts.programs} programs, {summary.counts.failed} rows without one")
