"""The index of a family in a real browser: found, sorted, read, printed."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from knurlcam.data.cautions import cautions, proving
from knurlcam.family import Base, make_family, read_rows, run_family, save_family
from tests.support.browser import Shown
from tests.support.families import SETTING_KNOB, SETTING_KNOBS, index_of, knobs, roomy
from tests.support.marks import some_long

pytestmark = pytest.mark.usefixtures("rough_imprint")


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample's family, and three rows that have something to tell."""
    folder = tmp_path_factory.mktemp("family") / "out"
    first, *rows = [row.cells for row in read_rows(SETTING_KNOBS)]
    # Raised diamonds of the usual depth are warned of; this straight knurl is not.
    plain = {"knurl.callout": "DIN 82 RAA 0.8", "part.knurled_diameter": 16.05}
    rows = [{**first, **plain}, *rows]
    more = [
        {"part.name": "Broken <b>", "part.knurled_diameter": "25,5"},
        {"part.name": "Far", "knurl.length": 300.0},
        {"part.name": "Narrow", "part.knurled_diameter": 12.0, "part.number": 99},
    ]
    save_family(make_family(SETTING_KNOB, [*rows, *more]), folder)
    return folder


@pytest.fixture
def index(browser: Browser, out: Path) -> Iterator[Shown]:
    shown = Shown(browser, out / "index.html")
    yield shown
    assert shown.complaints == []
    assert len(shown.requests) == 1, "the page asks for nothing but itself"


def column(shown: Shown, number: int) -> list[str]:
    """Return a column of the table as it is shown, from 1."""
    cells = shown.page.locator(f"tbody tr:not(.none) td:nth-child({number})")
    return cells.all_inner_texts()


def test_each_row_is_shown_with_what_the_index_says(index: Shown, out: Path) -> None:
    parts = index_of(out)["parts"]
    assert index.page.locator("tbody tr").count() == len(parts) == 31
    assert column(index, 2) == [p["name"] for p in parts if not p["problems"]]
    assert column(index, 6) == [str(p["teeth"]) for p in parts if not p["problems"]]
    assert index.page.locator("h1").inner_text() == "29 programs"
    assert "2 rows without a program" in index.page.locator(".alarm").inner_text()


def test_a_row_without_a_program_says_why(index: Shown) -> None:
    index.page.select_option("#which", "none")
    rows = index.page.locator("tbody tr").all_inner_texts()
    assert len(rows) == 2
    assert "Broken <b>" in rows[0]
    assert "25.5" in rows[0]
    assert "[past-the-chuck]" in rows[1]


def test_programs_with_a_warning_can_be_picked_out(index: Shown, out: Path) -> None:
    index.page.select_option("#which", "warned")
    parts = [p for p in index_of(out)["parts"] if not p["problems"]]
    warned = [p["name"] for p in parts if any(n["severity"] == "warning" for n in p["notes"])]
    assert column(index, 2) == warned
    assert "Setting knob 16" not in warned
    assert "wide-knurl" in column(index, 12)[warned.index("Narrow")]


@pytest.mark.parametrize(
    ("words", "names"),
    [
        ("2.250", ["Setting knob 2.250 in"]),
        ("14 tpi 2.5", ["Setting knob 2.500 in"]),
        ("SETTING 1318", ["Setting knob 1.000 in"]),
        ("zebra", []),
    ],
)
def test_a_search_finds_rows_that_hold_every_word(
    words: str, names: list[str], index: Shown
) -> None:
    index.page.fill("#words", words)
    assert column(index, 2) == names
    assert index.page.locator("#count").inner_text().startswith(f"{len(names)} of 31 rows")


def test_lengths_are_sorted_by_size_whatever_their_unit(index: Shown, out: Path) -> None:
    parts = [p for p in index_of(out)["parts"] if not p["problems"]]
    by_size = sorted(parts, key=lambda p: (p["knurled_diameter_mm"], p["row"]))
    head = index.page.locator("thead button", has_text="Knurled to")
    head.click()
    assert column(index, 2) == [p["name"] for p in by_size]
    assert head.locator("..").get_attribute("aria-sort") == "ascending"
    head.click()
    assert column(index, 8)[0].startswith("2.5000 in (expect ")
    assert head.locator("..").get_attribute("aria-sort") == "descending"
    assert index.page.locator("tbody tr").last.get_attribute("class") == "none", "empty ones last"


def test_names_are_sorted_as_people_count(browser: Browser, tmp_path: Path) -> None:
    save_family(make_family(roomy(), reversed(knobs(12))), tmp_path / "out")
    shown = Shown(browser, tmp_path / "out" / "index.html")
    shown.page.locator("thead button", has_text="Part").click()
    assert column(shown, 2) == [f"Knob {k}" for k in range(12)]


def test_each_program_and_page_can_be_opened_from_its_row(browser: Browser, tmp_path: Path) -> None:
    out = tmp_path / "out"
    rows = [row.cells for row in read_rows(SETTING_KNOBS)][:2]
    save_family(make_family(SETTING_KNOB, rows, review=True), out)
    shown = Shown(browser, out / "index.html")
    links = shown.page.locator("tbody a").evaluate_all("all => all.map(a => a.href)")
    files = [p[k] for p in index_of(out)["parts"] for k in ("file", "page") if p[k]]
    assert links == [(out / f).as_uri() for f in files]
    shown.page.locator("tbody a.page").first.click()
    assert shown.page.locator("h1").inner_text() == "Setting knob 16"


def test_a_long_family_is_drawn_in_steps(browser: Browser, tmp_path: Path) -> None:
    save_family(make_family(roomy(), knobs(450)), tmp_path / "out")
    shown = Shown(browser, tmp_path / "out" / "index.html")
    rows = shown.page.locator("tbody tr")
    assert rows.count() == 200
    assert shown.page.locator("#count").inner_text() == "450 of 450 rows, the first 200 shown"
    shown.page.click("#more")
    shown.page.click("#more")
    assert rows.count() == 450
    assert shown.page.locator("#more").is_hidden()
    shown.page.reload()
    shown.page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert rows.count() == 450, "paper has no button"


def test_the_cautions_stand_on_it(index: Shown) -> None:
    text = index.page.locator("footer").inner_text()
    for caution in [c.text for c in cautions()] + list(proving()):
        assert caution in text


@pytest.mark.parametrize(
    ("width", "scheme"),
    some_long(
        product([390, 1280], ["light", "dark"]),
        lambda width, scheme: (width < 500) == (scheme == "dark"),
    ),
)
def test_it_can_be_read_by_everyone(width: int, scheme: str, browser: Browser, out: Path) -> None:
    shown = Shown(browser, out / "index.html", width, color_scheme=scheme)
    found = Axe().run(shown.page).response["violations"]
    assert [f["id"] for f in found if f["impact"] in ("serious", "critical")] == []
    wide = shown.page.evaluate("document.documentElement.scrollWidth - innerWidth")
    assert wide <= 0, "the table scrolls, the page does not"


def test_the_samples_table_fits_a_screen(browser: Browser, tmp_path: Path) -> None:
    run_family(Base.of(SETTING_KNOB), SETTING_KNOBS, tmp_path / "out", workers=1)
    shown = Shown(browser, tmp_path / "out" / "index.html", 1280)
    box = "document.querySelector('.scroll')"
    assert shown.page.evaluate(f"{box}.scrollWidth - {box}.clientWidth") <= 0


def test_without_scripts_it_says_where_to_look(browser: Browser, out: Path) -> None:
    shown = Shown(browser, out / "index.html", java_script_enabled=False)
    assert "index.csv holds the same" in shown.page.locator("main").inner_text()
