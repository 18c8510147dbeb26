"""What a unit is worth."""

from __future__ import annotations

import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import pytest

import knurlcam.units.factors
from knurlcam.units.factors import EVERYDAY
from knurlcam.units.kinds import Kind


@pytest.mark.parametrize(("unit", "kind"), EVERYDAY)
def test_an_everyday_unit_is_worth_what_pint_says(unit: str, kind: Kind) -> None:
    worth = knurlcam.units.factors._registry().convert(Fraction(1), unit, kind.unit)
    assert worth == EVERYDAY[unit, kind]


def test_pint_is_not_imported_before_a_unit_needs_it() -> None:
    program = (
        "import sys\n"
        "from knurlcam.units.kinds import Kind\n"
        "from knurlcam.units.quantities import parse_quantity\n"
        "parse_quantity('25.0 mm', Kind.LENGTH); parse_quantity(0.5, Kind.FEED)\n"
        "parse_quantity('1 in', Kind.LENGTH); parse_quantity('110 rpm', Kind.SPEED)\n"
        "assert 'pint' not in sys.modules\n"
        "parse_quantity('1 thou', Kind.LENGTH)\n"
        "assert 'pint' in sys.modules\n"
    )
    root = Path(knurlcam.units.factors.__file__).parents[1]
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=root, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


def test_the_package_holds_one_unit_registry() -> None:
    package = Path(knurlcam.units.factors.__file__).parent
    holders = [
        path.name
        for path in package.rglob("*.py")
        for _ in range(path.read_text(encoding="utf-8").count("UnitRegistry("))
    ]
    assert holders == ["factors.py"]
