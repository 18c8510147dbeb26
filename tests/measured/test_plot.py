"""A shop's parts in a picture: measured against expected."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from knurlcam.drawing.shapes import Area
from knurlcam.errors import InputError
from knurlcam.measured.plot import plot_of_parts, write_plot
from tests.support.measured import a_part

PARTS = [a_part(), a_part(growth_mm=0.31), a_part(material="steel 1018", growth_mm=0.2)]


def marks(*parts: object) -> list[Area]:
    """Return the marks in the plot, those of the key last."""
    return [s for s in plot_of_parts(parts).shapes if isinstance(s, Area)]  # type: ignore[arg-type]


def test_each_part_has_a_mark_and_each_set_up_its_own() -> None:
    drawn = marks(*PARTS)
    assert len(drawn) == len(PARTS) + 2
    assert drawn[0].fill == drawn[1].fill != drawn[2].fill
    assert len(drawn[0].points) == 4


def test_a_part_as_expected_stands_on_the_line_and_one_that_grew_less_below_it() -> None:
    def above(mark: Area) -> float:
        x = sum(p[0] for p in mark.points) / 4.0 - 90.0
        return 460.0 + 60.0 - sum(p[1] for p in mark.points) / 4.0 - x

    less, equal, *_ = marks(*PARTS)
    assert above(equal) == pytest.approx(0.0, abs=1e-6)
    assert above(less) < -10.0


def test_it_is_written_as_png_and_svg_and_nothing_else(tmp_path: Path) -> None:
    write_plot(tmp_path / "p.png", PARTS)
    assert (tmp_path / "p.png").read_bytes().startswith(b"\x89PNG")
    write_plot(tmp_path / "p.svg", PARTS)
    ElementTree.parse(tmp_path / "p.svg")
    with pytest.raises(InputError, match=r"\.png or \.svg"):
        write_plot(tmp_path / "p.pdf", PARTS)


def test_a_log_without_crests_is_said() -> None:
    with pytest.raises(InputError, match="no part has crests"):
        plot_of_parts([a_part(growth_mm=None)])
