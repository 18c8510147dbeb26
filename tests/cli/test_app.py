"""The command line as a whole."""

from __future__ import annotations

from tests.support.commands import FOCUS, run


def test_wrong_usage_ends_with_status_two() -> None:
    assert run("program").returncode == 2
    assert run("nonsense").returncode == 2
    assert run("blank", "DIN 82 RGE 1.0", "--diameter", "-3").returncode == 2
    assert run("program", FOCUS, "--as", "poem").returncode == 2


def test_the_version_is_printed() -> None:
    from knurlcam import __version__

    assert run("--version").stdout == f"knurlcam {__version__}\n"
