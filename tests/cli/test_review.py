"""``knurlcam review``: the page that is written, and what is said of it."""

from __future__ import annotations

import webbrowser
from pathlib import Path

import pytest

from tests.support.commands import FOCUS, PIN, ROOT, changed_job, run, run_process

pytestmark = pytest.mark.usefixtures("rough_imprint")


def test_review_writes_a_page_and_says_what_it_found(tmp_path: Path) -> None:
    page = tmp_path / "pin.html"
    done = run("review", PIN, "-o", page)
    assert done.returncode == 0
    assert done.stdout == ""
    assert "no error" in done.stderr
    assert "<h1>Dowel pin" in page.read_text(encoding="utf-8")


def test_review_shows_a_program_with_errors_and_ends_with_1(tmp_path: Path) -> None:
    program, page = tmp_path / "edited.nc", tmp_path / "page.html"
    run("program", FOCUS, "-o", program)
    text = program.read_text(encoding="utf-8").replace("N100 G01 Z-20.000", "N100 G01 Z-21.000")
    program.write_text(text, encoding="utf-8")
    done = run("review", FOCUS, "-o", page, "--program", program)
    assert done.returncode == 1
    assert "NOT SAFE, 1 error(s)" in done.stderr
    html = page.read_text(encoding="utf-8")
    assert "Do not run this program." in html
    assert "edited.nc" in html


def test_review_of_a_job_that_cannot_be_done_writes_nothing(tmp_path: Path) -> None:
    job = changed_job(tmp_path, '"110 rpm"', '"400 rpm"')
    page = tmp_path / "page.html"
    done = run("review", job, "-o", page)
    assert done.returncode == 1
    assert "above-reversal-limit" in done.stderr
    assert not page.exists()


@pytest.mark.parametrize(
    ("what", "args"),
    [("job", ()), ("program", ("--program", "p.nc"))],
)
def test_review_never_writes_over_what_it_reads(
    what: str, args: tuple[str, ...], tmp_path: Path
) -> None:
    job = changed_job(tmp_path, "110 rpm", "110 rpm")
    program = tmp_path / "p.nc"
    run("program", job, "-o", program)
    target = job if what == "job" else program
    before = target.read_bytes()
    done = run("review", job, "-o", target, *args, cwd=tmp_path)
    assert done.returncode == 2
    assert f"is the {what} file itself" in done.stderr
    assert target.read_bytes() == before


def test_review_never_writes_over_what_is_no_page_but_over_an_older_one(tmp_path: Path) -> None:
    shop = tmp_path / "shop.toml"
    shop.write_bytes((ROOT / "samples" / "shop" / "shop.toml").read_bytes())
    job = tmp_path / "job.toml"
    job.write_bytes((ROOT / "samples" / "shop" / "hour-circle-grip.toml").read_bytes())
    before = shop.read_bytes()
    done = run("review", job, "-o", shop)
    assert done.returncode == 2
    assert "exists already and is not a page" in done.stderr
    assert shop.read_bytes() == before
    page = tmp_path / "page.html"
    assert run("review", PIN, "-o", page).returncode == 0
    assert run("review", PIN, "-o", page).returncode == 0


@pytest.mark.parametrize(
    ("args", "told"),
    [
        ((), "Missing option"),
        (("-o", "no-such-folder/page.html"), "no-such-folder"),
        (("-o", "page.html", "--program", "none.nc"), "none.nc"),
        (("-o", "page.html", "--post", "rs247"), "rs247"),
    ],
)
def test_review_with_wrong_usage_says_what_is_wrong(
    args: tuple[str, ...], told: str, tmp_path: Path
) -> None:
    done = run("review", FOCUS, *args, cwd=tmp_path)
    assert done.returncode == 2
    assert told in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_review_opens_the_page_in_the_default_browser(tmp_path: Path) -> None:
    opened = tmp_path / "opened.txt"
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\nprintf %s "$1" > {opened}\n', encoding="utf-8")
    browser.chmod(0o755)
    page = tmp_path / "a page.html"
    done = run_process("review", PIN, "-o", page, "--open", env={"BROWSER": f"{browser} %s"})
    assert done.returncode == 0
    assert opened.read_text(encoding="utf-8") == page.as_uri()


def test_review_without_a_browser_says_so_and_keeps_the_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = tmp_path / "page.html"
    monkeypatch.setattr(webbrowser, "open", lambda _: False)
    done = run("review", PIN, "-o", page, "--open")
    assert done.returncode == 0
    assert "open it by hand" in done.stderr
    assert page.exists()
