"""The grid of a map: how fine it may be, and how much memory it takes."""

from __future__ import annotations

import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from knurlcam import InputError
from tests.support.imprints import Made


def test_a_map_that_does_not_fit_in_memory_is_refused_with_one_that_fits() -> None:
    made = Made({})
    with pytest.raises(InputError) as caught:
        made.imprint(resolution_mm=1e-5)
    error = caught.value
    assert error.key == "resolution"
    assert "GiB" in error.problem
    fits = float(error.expected.split()[0])
    assert 1e-5 < fits < 0.02


def test_a_map_too_coarse_to_see_the_teeth_is_refused() -> None:
    made = Made({})
    with pytest.raises(InputError, match="too coarse") as caught:
        made.imprint(resolution_mm=0.13)
    assert caught.value.expected is not None
    assert caught.value.expected.startswith("0.125 mm")
    assert made.imprint(resolution_mm=0.125).measures.teeth == 67


def test_the_resolution_that_is_offered_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("knurlcam.imprint.grid._memory_bytes", lambda: 200_000_000)
    made = Made({})
    with pytest.raises(InputError) as caught:
        made.imprint(resolution_mm=0.005)
    fits = float(caught.value.expected.split()[0])
    assert made.imprint(resolution_mm=fits).measures.teeth == 67


@pytest.mark.long
def test_memory_stays_below_four_maps() -> None:
    """Counted in a process of its own, by what the system says it took at most."""
    code = textwrap.dedent("""
        import resource, sys
        sys.path[:0] = sys.argv[1:]
        from tests.support.imprints import Made
        import knurlcam.imprint.measures
        made = Made({"knurl.length": 40.0, "part.length": 100.0})
        made.imprint(resolution_mm=0.12)
        def peak():
            return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
        before = peak()
        surface = made.imprint(resolution_mm=0.012).surface
        print((peak() - before) / surface.height_mm.nbytes)
    """)
    here = Path(__file__).resolve().parent
    done = subprocess.run(
        [sys.executable, "-c", code, str(here), str(here.parent)],
        capture_output=True,
        text=True,
        check=True,
    )
    assert float(done.stdout) < 4.0
