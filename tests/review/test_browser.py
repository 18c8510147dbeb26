"""The setter's page in a real browser: what moves, what is printed, what fits."""

from __future__ import annotations

import json
import math
import os
import re
import unicodedata
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from filelock import FileLock
from playwright.sync_api import Browser
from pypdf import PdfReader

from knurlcam import Job, lay_out, make_plan, read_program, write_program
from knurlcam.data.cautions import cautions, proving
from knurlcam.gcode.motion import Dwell, Move
from knurlcam.plan.model import Plan
from knurlcam.review import review_page
from tests.support.breaking import Text, good_job
from tests.support.browser import Shown
from tests.support.jobs import DOUBLED, REMOVE, base_job
from tests.support.pages import SAMPLES
from tests.support.programs import long_program

MOVING = [
    pytest.param("eyepiece-ring", marks=pytest.mark.long),
    pytest.param("tension-nut", marks=pytest.mark.long),
    pytest.param("slow-motion-handle", marks=pytest.mark.long),
    "dowel-pin",
]
"""Two straddles (radii; inches, reversed), a knuckle joint with a trial strip, a plunge."""

FULLEST = ("dowel-pin", "slow-motion-handle")
"""Samples with most on their pages: a press fit, a trial strip."""

WIDTHS = [390, 1280]
TOLERANCE_MM = 0.02
"""What rounding to hundredths of a drawing unit makes of a place in the pictures."""


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where pages are kept that several tests look at, whichever worker runs them."""
    base = tmp_path_factory.getbasetemp()
    kept = (base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base) / "pages"
    kept.mkdir(exist_ok=True)
    return kept


class Played(Shown):
    """A setter's page that is open."""

    def now(self) -> dict[str, Any]:
        found: dict[str, Any] = self.page.evaluate(READ)
        return found


READ = """() => {
  const stage = document.getElementById("stage");
  const moved = (name) => {
    const {e, f} = document.getElementById("moving-" + name).transform.baseVal[0].matrix;
    return [e, f];
  };
  return {
    seconds: Number(stage.dataset.seconds), x: Number(stage.dataset.x),
    z: Number(stage.dataset.z), block: Number(stage.dataset.block),
    side: moved("side"), infeed: moved("infeed"), end: moved("end"),
    told: document.getElementById("at-block").textContent,
    shownX: document.getElementById("at-x").textContent,
    shownZ: document.getElementById("at-z").textContent,
    playing: document.getElementById("play").textContent,
    said: document.getElementById("said").textContent,
    marked: [...document.querySelectorAll("[aria-selected=true]")].map((e) => e.id),
  };
}"""


def page_of(job: Job, folder: Path, stem: str, text: str | None = None, **more: Any) -> Path:
    """Return a page's file, made once."""
    file = folder / f"{stem}.html"
    with FileLock(file.with_suffix(".lock")):
        if not file.exists():
            file.write_text(review_page(job, text, **more).html, encoding="utf-8")
    return file


def sample(name: str, folder: Path) -> tuple[Plan, Path]:
    (path,) = [p for p in SAMPLES if p.stem == name]
    job = Job.load(path)
    return make_plan(job), page_of(job, folder, name)


@pytest.fixture(
    params=[
        pytest.param(p.stem, marks=() if p.stem in FULLEST else pytest.mark.long) for p in SAMPLES
    ]
)
def each(request: pytest.FixtureRequest, folder: Path) -> tuple[Plan, Path]:
    return sample(request.param, folder)


# -- where the reader says the slide is, worked out independently -------------------------------


def walked(plan: Plan) -> list[tuple[int, float, float, float, float, float, float]]:
    """Return line, start and end time, and both ends of each motion, from the text alone."""
    machine, post = plan.job.machine, plan.job.machine.post
    motion = read_program(write_program(lay_out(plan), post), post)
    at, x, z = 0.0, machine.safe_x, machine.safe_z
    found = []
    for event in motion.events:
        if isinstance(event, Dwell):
            found.append((event.block.line, at, at + event.seconds, x, z, x, z))
            at += event.seconds
        if isinstance(event, Move):
            x1 = machine.safe_x if event.x1 is None else event.x1
            z1 = machine.safe_z if event.z1 is None else event.z1
            way = math.hypot((x1 - x) / 2.0, z1 - z)
            if event.kind == "feed":
                assert event.feed_mm_per_rev
                assert event.state.rpm
                seconds = way / event.feed_mm_per_rev / event.state.rpm * 60.0
            else:
                seconds = way / (machine.rapid_rate * 1000.0 / 60.0)
            found.append((event.block.line, at, at + seconds, x, z, x1, z1))
            at, x, z = at + seconds, x1, z1
    return found


def there(way: list[Any], seconds: float) -> tuple[float, float]:
    """Return X and Z at a time."""
    for _, start, end, x0, z0, x1, z1 in way:
        if start <= seconds <= end and end > start:
            share = (seconds - start) / (end - start)
            return x0 + (x1 - x0) * share, z0 + (z1 - z0) * share
    return way[-1][5], way[-1][6]


SCALES = """() => {
  const box = (view, kind) => {
    const e = document.querySelector(`.view-${view} .plates svg .${kind}`);
    return ["x", "y", "width", "height", "cx", "cy", "r"].map((n) => Number(e.getAttribute(n)));
  };
  return {knurl: box("side", "knurl"), metal: box("infeed", "metal"),
          face: box("infeed", "face"), work: box("end", "work")};
}"""


def assert_stands(
    shown: dict[str, Any], scales: dict[str, Any], plan: Plan, x: float, z: float
) -> None:
    """Hold the three pictures against X and Z, by what else is drawn in them."""
    blank, roll = plan.blank_diameter_mm / 2.0, plan.job.tool.roll_diameter / 2.0
    left = z - plan.datum_shift_mm
    centre = x / 2.0 + plan.contact.datum_shift_mm
    edge = math.hypot(centre, plan.contact.half_spacing_mm) - roll
    kx, ky, wx, wy = scales["knurl"][:4]
    per_mm = wx / plan.job.knurl.length
    assert wy / per_mm == pytest.approx(2.0 * blank, abs=TOLERANCE_MM)
    here_x, here_y = shown["side"]
    assert (here_x - kx) / per_mm + plan.line_mm == pytest.approx(left, abs=TOLERANCE_MM)
    assert (ky + wy / 2.0 - here_y) / per_mm == pytest.approx(edge, abs=TOLERANCE_MM)
    # The face of the rolls is drawn in the stretched view, Z0 is the end of the metal.
    per_mm = scales["face"][2] / plan.job.tool.face_width
    zero = scales["metal"][0] + scales["metal"][2]
    assert (shown["infeed"][0] - zero) / per_mm == pytest.approx(left, abs=2 * TOLERANCE_MM)
    cx, cy, r = scales["work"][4:7]
    assert (shown["end"][0] - cx) / r * blank == pytest.approx(centre, abs=2 * TOLERANCE_MM)
    assert shown["end"][1] == pytest.approx(cy, abs=0.01)


# -- what moves ------------------------------------------------------------------------


PLAY = """async (pace) => {
  const read = READ;
  const frames = [];
  document.getElementById("rate").value = pace;
  document.getElementById("play").click();
  const last = [...document.querySelectorAll("[role=option]")].pop();
  await new Promise((done) => {
    const look = (now) => {
      frames.push({...read(), now});
      const playing = document.getElementById("play").textContent === "Pause";
      if (!playing && last.getAttribute("aria-selected")) return done();
      if (!playing) document.getElementById("play").click();
      requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
  });
  return frames;
}""".replace("READ", READ)


def pace_for(seconds: float) -> str:
    """Return the pace at which a program of that length plays in about a second, or in some."""
    return "64" if seconds > 60.0 else "16" if seconds > 15.0 else "4"


@pytest.mark.parametrize("name", MOVING)
def test_playing_moves_the_roll_to_where_the_reader_says(
    name: str, browser: Browser, folder: Path
) -> None:
    plan, file = sample(name, folder)
    way = walked(plan)
    shown = Played(browser, file)
    scales = shown.page.evaluate(SCALES)
    frames = shown.page.evaluate(PLAY, pace_for(way[-1][2]))
    instants = {f["seconds"]: f for f in frames}
    assert len(instants) >= 20
    assert max(instants) == pytest.approx(way[-1][2], abs=1e-3)
    for seconds, frame in instants.items():
        x, z = there(way, seconds)
        assert (frame["x"], frame["z"]) == pytest.approx((x, z), abs=0.005), seconds
        assert_stands(frame, scales, plan, x, z)
    assert shown.complaints == []


def test_time_runs_as_fast_as_the_pace_says(browser: Browser, folder: Path) -> None:
    _, file = sample("focus-knob", folder)
    shown = Played(browser, file)
    frames = shown.page.evaluate(PLAY, "64")
    steps = [
        (b["seconds"] - a["seconds"], (b["now"] - a["now"]) * 64.0 / 1000.0)
        for a, b in pairwise(frames[2:21])
    ]
    for machine, wall in steps:
        assert machine == pytest.approx(wall, abs=1e-6)


def test_playing_waits_at_a_stop_and_goes_on(browser: Browser, folder: Path) -> None:
    _, file = sample("slow-motion-handle", folder)
    shown = Played(browser, file)
    shown.page.select_option("#rate", "64")
    shown.page.click("#play")
    shown.page.locator("#said").filter(has_text="stop").wait_for()
    now = shown.now()
    assert now["told"].endswith("M00")
    assert now["said"] == "Stop: the program waits here."
    assert now["playing"] == "Play"
    shown.page.click("#play")
    shown.page.locator("#said").filter(has_text="End").wait_for()
    assert shown.now()["told"].endswith("M30")


@pytest.mark.parametrize("name", MOVING)
def test_a_click_on_a_block_shows_where_it_leaves_the_roll(
    name: str, browser: Browser, folder: Path
) -> None:
    plan, file = sample(name, folder)
    shown = Played(browser, file)
    scales = shown.page.evaluate(SCALES)
    way = walked(plan)
    ids = shown.page.eval_on_selector_all("[role=option]", "all => all.map((e) => e.id)")
    x, z = plan.job.machine.safe_x, plan.job.machine.safe_z
    for place, one in enumerate(ids):
        for _, _, _, _, _, x1, z1 in [m for m in way if m[0] == place + 1]:
            x, z = x1, z1
        shown.page.evaluate("(id) => document.getElementById(id).click()", one)
        now = shown.now()
        assert now["marked"] == [one]
        assert now["block"] == place
        assert (now["x"], now["z"]) == pytest.approx((x, z), abs=0.005)
        assert_stands(now, scales, plan, x, z)


def test_a_click_with_the_mouse_marks_the_block(browser: Browser, folder: Path) -> None:
    _, file = sample("focus-knob", folder)
    shown = Played(browser, file)
    block = shown.page.get_by_role("option").filter(has_text="N100 G01")
    block.click()
    assert shown.now()["told"].startswith("N100 G01")
    assert block.get_attribute("aria-selected") == "true"


def test_readings_are_what_the_control_shows(browser: Browser, folder: Path) -> None:
    """X is a radius where the dialect programs radii, and lengths are in the job's units."""
    for name, block, x, z in [
        ("eyepiece-ring", "G00 X70.0000", "70.000", "60.000"),
        ("tension-nut", "G00 X50000", "5.0000", "2.0000"),
        ("focus-knob", "N100 G01", "24.544", "-20.000"),
    ]:
        _, file = sample(name, folder)
        shown = Played(browser, file)
        shown.page.get_by_role("option").filter(has_text=block).first.click()
        now = shown.now()
        assert (now["shownX"], now["shownZ"]) == (x, z), name


def test_keys_play_step_and_go_to_the_ends(browser: Browser, folder: Path) -> None:
    _, file = sample("focus-knob", folder)
    shown = Played(browser, file)
    last = shown.page.locator("[role=option]").count() - 1
    press = shown.page.keyboard.press
    for key, block in [
        ("ArrowRight", 1),
        ("ArrowRight", 2),
        ("ArrowLeft", 1),
        ("End", last),
        ("ArrowRight", last),
        ("Home", 0),
        ("ArrowLeft", 0),
    ]:
        press(key)
        assert shown.now()["block"] == block, key
    press("Space")
    assert shown.now()["playing"] == "Pause"
    press("Space")
    assert shown.now()["playing"] == "Play"
    shown.page.focus("#play")
    press("Space")
    assert shown.now()["playing"] == "Pause", "a button takes its own space key, once"
    press("Home")
    shown.page.focus("#listing")
    for key, block in [("ArrowDown", 1), ("PageDown", 11), ("ArrowUp", 10), ("PageUp", 0)]:
        press(key)
        assert shown.now()["block"] == block, key
    assert shown.page.get_attribute("#listing", "aria-activedescendant") == "b0"
    shown.page.focus(".scroll")
    press("ArrowRight")
    assert shown.now()["block"] == 0, "there the arrows scroll the table"


def test_the_slider_goes_to_a_time(browser: Browser, folder: Path) -> None:
    plan, file = sample("focus-knob", folder)
    way = walked(plan)
    shown = Played(browser, file)
    for share in (0.0, 0.1, 0.37, 0.5, 0.93, 1.0):
        shown.page.locator("#slider").fill(str(round(1000 * share)))
        now = shown.now()
        assert now["seconds"] == pytest.approx(share * way[-1][2], abs=1e-3)
        assert (now["x"], now["z"]) == pytest.approx(there(way, now["seconds"]), abs=0.005)
    shown.page.focus("#slider")
    last = shown.page.locator("[role=option]").count() - 1
    shown.page.keyboard.press("End")
    shown.page.keyboard.press("ArrowLeft")
    assert shown.now()["block"] == last - 1, "the slider steps by block, as the hint says"


def test_a_pass_and_a_finding_lead_to_their_block(browser: Browser, folder: Path) -> None:
    text = Text.of("diamond", "iso6983")
    text.put(text.traverses[0], "Z", -21.0)
    file = page_of(good_job("diamond"), folder, "leads", str(text), post="iso6983")
    shown = Played(browser, file)
    shown.page.click(".remarks .error button")
    assert shown.now()["told"] == text.traverses[0].text
    shown.page.click(".passes tr:nth-child(2) button")
    assert shown.now()["told"] == text.infeeds[1].text


def test_the_marked_block_is_in_sight(browser: Browser, folder: Path) -> None:
    _, file = sample("focus-knob", folder)
    shown = Played(browser, file)
    inside = """() => {
      const list = document.getElementById("listing").getBoundingClientRect();
      const row = document.querySelector("[aria-selected=true]").getBoundingClientRect();
      return row.top >= list.top - 1 && row.bottom <= list.bottom + 1;
    }"""
    for key in ["End", "Home", *["ArrowRight"] * 40]:
        shown.page.keyboard.press(key)
        assert shown.page.evaluate(inside), key


# -- nothing leaves, nothing complains -------------------------------------------------


def test_the_policy_stops_what_somebody_might_add(browser: Browser, folder: Path) -> None:
    """The page's own rule, tried: a script that is not the page's own does not run."""
    _, file = sample("focus-knob", folder)
    spoilt = folder / "spoilt.html"
    added = "<script>document.title='taken'</script><img src='https://example.invalid/x.png'>"
    text = file.read_text(encoding="utf-8").replace("</main>", added + "</main>")
    spoilt.write_text(text, encoding="utf-8")
    shown = Played(browser, spoilt)
    assert shown.page.title().startswith("Focus knob")
    assert shown.answers == [spoilt.as_uri()], "what the policy refuses is never fetched"
    assert any("Content Security Policy" in c for c in shown.complaints)


def test_names_and_comments_are_shown_as_they_are(browser: Browser, folder: Path) -> None:
    name = "<script>alert(1)</script>{{7*7}}"
    job = Job.model_validate(base_job({"part.name": name}))
    text = write_program(lay_out(make_plan(job)), "iso6983")
    comment = "(</script><script>alert(2)</script>{{7*7}})"
    text = text.replace("(RETRACT)", comment)
    shown = Played(browser, page_of(job, folder, "nasty", text))
    assert shown.page.inner_text("h1") == name
    assert shown.page.title().startswith(name)
    assert shown.page.get_by_role("option").filter(has_text="alert(2)").inner_text() == comment
    assert shown.complaints == []


# -- what fits -------------------------------------------------------------------------

OUTSIDE = """() => {
  const wide = document.documentElement.clientWidth;
  const scrolls = (e) => e.closest("#listing, .scroll, svg, .unseen, #slider");
  const out = [...document.querySelectorAll("body *")].filter((e) => !scrolls(e))
    .filter((e) => e.getBoundingClientRect().right > wide + 1);
  return [document.documentElement.scrollWidth - wide, out.map((e) => e.outerHTML.slice(0, 80))];
}"""


@pytest.mark.few(1)
@pytest.mark.parametrize("width", WIDTHS)
def test_long_names_and_long_lines_do_not_widen_the_page(
    width: int, browser: Browser, folder: Path
) -> None:
    text = Text.of("diamond", "iso6983")
    text.before(text.end, "(" + "X" * 4000 + ")")
    job = Job.model_validate(base_job({"part.name": "W" * 80}))
    file = page_of(job, folder, "long", str(text), post="iso6983", name="f" * 200 + ".nc")
    shown = Played(browser, file, width)
    shown.page.keyboard.press("End")
    shown.page.keyboard.press("ArrowLeft")
    assert shown.page.evaluate(OUTSIDE) == [0, []]


TEXTS = """() => {
  const out = [];
  for (const svg of document.querySelectorAll(".plates svg:first-child")) {
    const frame = svg.getBoundingClientRect();
    for (const t of svg.querySelectorAll("text")) {
      const b = t.getBoundingClientRect();
      if (b.left < frame.left - 1 || b.right > frame.right + 1 || b.top < frame.top - 1
          || b.bottom > frame.bottom + 1) out.push(t.textContent);
    }
  }
  return out;
}"""


def test_a_sample_fits_every_width_and_asks_for_nothing(
    each: tuple[Plan, Path], browser: Browser
) -> None:
    """No sideways scrolling, no label cut off, no complaint, no request, no band."""
    _, file = each
    shown = Played(browser, file)
    for width in WIDTHS:
        shown.page.set_viewport_size({"width": width, "height": 900})
        assert shown.page.evaluate(OUTSIDE) == [0, []], width
        assert shown.page.evaluate(TEXTS) == [], width
        assert shown.page.evaluate(OVERLAPS) == [], width
    shown.page.keyboard.press("End")
    assert shown.page.locator(".band").count() == 0
    assert shown.complaints == []
    assert shown.requests == [file.as_uri()]


OVERLAPS = """() => {
  const found = [];
  for (const svg of document.querySelectorAll(".plates svg:first-child")) {
    const boxes = [...svg.querySelectorAll("text")].map((t) => [t, t.getBoundingClientRect()]);
    boxes.forEach(([t, a], i) => boxes.slice(i + 1).forEach(([u, b]) => {
      const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (wide > 2 && high > 0.35 * Math.min(a.height, b.height))
        found.push(t.textContent + " over " + u.textContent);
    }));
  }
  return found;
}"""

ODD: dict[str, dict[str, Any]] = {
    "long shaft": {
        "part.length": 1200.0,
        "part.knurled_diameter": 8.0,
        "knurl.length": 12.0,
        "knurl.callout": "DIN 82 RGE 0.5",
        "holding.centre_diameter": 4.0,
    },
    "far from the end": {"part.length": 200.0, "knurl.start": 80.0, "tool.bevelled_rolls": True},
    "plunge with trial": {
        "tool.style": "single roll",
        "tool.roll_spacing": REMOVE,
        "knurl.callout": "DIN 82 RAA 0.8",
        "knurl.length": 8.0,
        "process.trial_strip": True,
    },
    "large": {
        "part.knurled_diameter": 200.0,
        "knurl.callout": "DIN 82 RGE 2.0",
        "machine.safe_x": 400.0,
        "machine.safe_z": 300.0,
        "part.length": 300.0,
        "knurl.length": 60.0,
        "process.spindle_speed": REMOVE,
    },
    "small": {
        "part.knurled_diameter": 6.0,
        "knurl.callout": "DIN 82 RGE 0.5",
        "part.length": 20.0,
        "knurl.length": 6.0,
        "tool.face_width": 4.0,
        "process.spindle_speed": REMOVE,
        "holding.centre_diameter": 2.0,
    },
    "far safe position": {"machine.safe_x": 900.0, "machine.safe_z": 700.0},
    "many passes": {"process.passes": 20, "knurl.callout": "DIN 82 RGE 1.6"},
    "chuck only": {"holding": {"method": "chuck"}},
    "soft": {"part.length": 200.0, "knurl.length": 120.0},
    "followed": {"part.length": 200.0, "knurl.length": 120.0, "process.compensate": True},
    "stepped": {
        "part.length": 100.0,
        "part.steps": "18 x 20, 24.688 x 20, 34 x 40, 20 x 20",
        "knurl.start": 20.0,
        "tool.bevelled_rolls": True,
        "process.accept": ["near-shoulder"],
    },
    "no modulus": {
        "part.material": {"name": "own", "yield_strength": "200 MPa", "turning_speed": "40 m/min"}
    },
}


LABELLED = ("plunge with trial", "stepped")
"""The odd jobs whose labels stand closest."""


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=() if n in LABELLED else pytest.mark.long) for n in ODD]
)
def test_labels_of_odd_jobs_can_be_read(name: str, browser: Browser, folder: Path) -> None:
    job = Job.model_validate(base_job(ODD[name]))
    shown = Played(browser, page_of(job, folder, name))
    for width in WIDTHS:
        shown.page.set_viewport_size({"width": width, "height": 900})
        assert shown.page.evaluate(OUTSIDE) == [0, []], width
        assert shown.page.evaluate(TEXTS) == [], width
        assert shown.page.evaluate(OVERLAPS) == [], width
    assert shown.complaints == []


def contents(file: Path) -> list[str]:
    """Return each sheet's text without spaces, ligatures taken apart."""
    return [packed(p.extract_text()) for p in PdfReader(file).pages]


def packed(text: str) -> str:
    return re.sub(r"\s+", "", unicodedata.normalize("NFKC", text))


def test_a_sample_prints_whole_on_four_sheets_the_last_for_loads_and_imprint(
    each: tuple[Plan, Path], browser: Browser, tmp_path: Path
) -> None:
    plan, file = each
    shown = Played(browser, file)
    rows = shown.page.eval_on_selector_all(
        "table tr",
        "all => all.map((r) => [...r.cells].filter((c) => !c.querySelector('.unseen'))"
        ".map((c) => c.innerText))",
    )
    wanted = [plan.job.identity, "Measured", "Each pass, the depth stretched", "1 of 4", "4 of 4"]
    wanted += [c.text for c in cautions()] + list(proving())
    wanted += [word for cells in rows for cell in cells for word in cell.split()]
    # Letter is the shorter one; on A4 the fullest pages are printed as well.
    full = plan.trial is not None or plan.gap_mm is not None
    for paper in ("A4", "Letter") if full else ("Letter",):
        shown.page.pdf(path=tmp_path / "page.pdf", format=paper)
        sheets = contents(tmp_path / "page.pdf")
        assert len(sheets) == 4, paper
        for place, title in [
            (2, "Loads and deflection (estimates)"),
            (3, "What the rolls leave (estimate)"),
        ]:
            found = [i for i, sheet in enumerate(sheets) if packed(title) in sheet]
            assert found == [place], paper
        told = " ".join(sheets)
        assert [text for text in wanted if packed(text) not in told] == [], paper
    # Less the margins A4 is 192 mm wide and Letter 198 mm: 726 and 748 px.
    shown.page.emulate_media(media="print")
    for width in (726, 748):
        shown.page.set_viewport_size({"width": width, "height": 1000})
        assert shown.page.evaluate(CLIPPED) == [], width


CLIPPED = """() => {
  const wide = document.documentElement.clientWidth;
  return [...document.querySelectorAll("table, td, th")].filter((e) =>
    e.getBoundingClientRect().right > wide + 1 || e.scrollWidth > e.clientWidth + 1)
    .filter((e) => e.offsetParent && !e.querySelector(".unseen")).map((e) => e.innerText);
}"""


@pytest.mark.long
def test_fifty_passes_still_print_whole(browser: Browser, folder: Path, tmp_path: Path) -> None:
    job = Job.model_validate(base_job({"process.passes": 24, "knurl.callout": "DIN 82 RGE 1.6"}))
    shown = Played(browser, page_of(job, folder, "many"))
    shown.page.pdf(path=tmp_path / "page.pdf", format="A4")
    told = " ".join(contents(tmp_path / "page.pdf"))
    plan = make_plan(job)
    assert len(plan.passes) == 25
    for p in plan.passes:
        assert f"{p.x_diameter_mm:.3f}" in told


def test_a_double_impression_is_seen_before_anything_is_scrolled_and_on_paper(
    browser: Browser, folder: Path, tmp_path: Path
) -> None:
    shown = Played(browser, page_of(Job.model_validate(base_job(DOUBLED)), folder, "doubled"))
    band = shown.page.locator(".doubled").first
    box = band.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] < 500
    assert "Warning: double impression." in band.inner_text()
    assert band.locator("svg").is_visible(), "a shape besides the word"
    shown.page.pdf(path=tmp_path / "page.pdf", format="A4")
    sheets = contents(tmp_path / "page.pdf")
    told = [packed("Warning: double impression.") in sheet for sheet in sheets]
    assert told == [True, False, False, True]


def test_the_pictures_of_the_knurl_are_let_by_and_drawn(browser: Browser, folder: Path) -> None:
    _, file = sample("focus-knob", folder)
    shown = Played(browser, file)
    sizes = shown.page.eval_on_selector_all(
        ".print img",
        "all => all.map((e) => [e.complete && e.naturalWidth, e.getBoundingClientRect().width])",
    )
    assert len(sizes) == 2
    assert all(natural > 100 and seen > 100 for natural, seen in sizes)
    assert shown.requests == [file.as_uri()] or all(
        r.startswith("data:") for r in shown.requests if r != file.as_uri()
    )
    assert shown.complaints == []


# -- how it looks ----------------------------------------------------------------------


def test_dark_and_light_differ_and_paper_is_light(browser: Browser, folder: Path) -> None:
    _, file = sample("focus-knob", folder)
    paper = "getComputedStyle(document.body).backgroundColor"
    light = Played(browser, file, color_scheme="light")
    assert light.page.evaluate(paper) == "rgb(255, 255, 255)"
    dark = Played(browser, file, color_scheme="dark")
    assert dark.page.evaluate(paper) == "rgb(21, 23, 26)"
    dark.page.emulate_media(media="print", color_scheme="dark")
    assert dark.page.evaluate(paper) == "rgb(255, 255, 255)"


def test_each_phase_has_a_colour_and_a_line_of_its_own(browser: Browser, folder: Path) -> None:
    _, file = sample("focus-knob", folder)
    shown = Played(browser, file)
    looks = shown.page.eval_on_selector_all(
        ".legend .way",
        "all => all.map((e) => [getComputedStyle(e).stroke, e.tagName + "
        "getComputedStyle(e).strokeDasharray + getComputedStyle(e).strokeWidth])",
    )
    assert len(looks) == 6
    assert len({colour for colour, _ in looks}) == 6
    assert len({line for _, line in looks}) == 6


def test_each_curve_has_a_colour_and_a_line_of_its_own(browser: Browser, folder: Path) -> None:
    shown = Played(browser, page_of(Job.model_validate(base_job(ODD["soft"])), folder, "soft"))
    look = (
        "all => all.map((e) => [getComputedStyle(e).stroke, "
        "getComputedStyle(e).strokeDasharray + getComputedStyle(e).strokeWidth])"
    )
    looks = shown.page.eval_on_selector_all(".loads .legend .curve", look)
    assert len(looks) == 4
    assert len({colour for colour, _ in looks}) == 4
    assert len({line for _, line in looks}) == 4
    drawn = shown.page.eval_on_selector_all(".view-yield .plates .curve", look)
    assert sorted(map(tuple, drawn)) == sorted(map(tuple, looks))


@pytest.mark.few(2)
@pytest.mark.parametrize("width", [390, 577, 820, 960, 1280])
def test_writing_in_the_picture_of_loads_is_large_enough(
    width: int, browser: Browser, folder: Path
) -> None:
    """At least 11 px as it is seen, the drawing scaled."""
    file = page_of(Job.model_validate(base_job(ODD["soft"])), folder, "soft")
    shown = Played(browser, file, width)
    least = shown.page.evaluate(
        "() => { const svg = document.querySelector('.view-yield .plates svg');"
        " const scale = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;"
        " return scale * Math.min(...[...svg.querySelectorAll('text')]"
        ".map((t) => parseFloat(getComputedStyle(t).fontSize))); }"
    )
    assert least >= 11.0


def test_the_roll_of_a_slide_that_follows_stands_where_the_slide_is(
    browser: Browser, folder: Path
) -> None:
    """In the side view by X; in the stretched view by how deep the rolls come."""
    job = Job.model_validate(base_job(ODD["followed"]))
    plan = make_plan(job)
    shown = Played(browser, page_of(job, folder, "followed"))
    scales = shown.page.evaluate(SCALES)
    one = next(p for p in plan.passes if p.penetration_mm == plan.penetration_mm)
    z, x = one.follow[len(one.follow) // 2]
    block = shown.page.evaluate(
        "(word) => Number([...document.querySelectorAll('[role=option]')]"
        ".find((e) => e.textContent.includes(word)).id.slice(1))",
        f"X{x:.3f} Z{z:.3f}",
    )
    shown.page.evaluate(f"document.getElementById('b{block}').click()")
    assert_stands(shown.now(), scales, plan, round(x, 3), round(z, 3))
    depth = float(shown.page.inner_text("#at-depth"))
    assert depth == pytest.approx(plan.penetration_mm, abs=0.002)
    assert shown.complaints == []


@pytest.mark.parametrize("width", [390, pytest.param(1280, marks=pytest.mark.long)])
def test_a_program_with_errors_says_so_before_anything_else(
    width: int, browser: Browser, folder: Path, tmp_path: Path
) -> None:
    text = Text.of("diamond", "iso6983")
    text.put(text.traverses[0], "Z", -21.0)
    file = page_of(good_job("diamond"), folder, "broken", str(text), post="iso6983")
    shown = Played(browser, file, width)
    band = shown.page.locator(".band")
    assert "Do not run this program." in band.inner_text()
    box = band.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] < 900
    assert box["width"] > 0.9 * (width - 40)
    shown.page.pdf(path=tmp_path / "page.pdf", format="A4")
    sheets = contents(tmp_path / "page.pdf")
    assert len(sheets) == 4
    assert packed("Do not run this program.") in sheets[0]
    for sheet in sheets:
        assert packed("DO NOT RUN THIS PROGRAM") in sheet


@pytest.mark.parametrize(
    ("name", "width", "scheme"),
    [
        ("focus-knob", 1280, "light"),
        pytest.param("tension-nut", 390, "light", marks=pytest.mark.long),
        pytest.param("doubled", 820, "light", marks=pytest.mark.long),
        pytest.param("followed", 390, "dark", marks=pytest.mark.long),
        ("broken", 820, "dark"),
    ],
)
def test_the_accessibility_check_finds_nothing_serious(
    name: str, width: int, scheme: str, browser: Browser, folder: Path
) -> None:
    if name == "broken":
        text = Text.of("diamond", "iso6983")
        text.put(text.traverses[0], "Z", -21.0)
        file = page_of(good_job("diamond"), folder, "broken", str(text), post="iso6983")
    elif name == "followed":
        file = page_of(Job.model_validate(base_job(ODD[name])), folder, name)
    elif name == "doubled":
        file = page_of(Job.model_validate(base_job(DOUBLED)), folder, name)
    else:
        _, file = sample(name, folder)
    shown = Played(browser, file, width, color_scheme=scheme)
    found = Axe().run(shown.page).response["violations"]
    grave = [v for v in found if v["impact"] in ("serious", "critical")]
    assert not grave, json.dumps(grave, indent=1)[:4000]


def test_without_script_pictures_and_tables_still_stand(browser: Browser, folder: Path) -> None:
    _, file = sample("focus-knob", folder)
    shown = Played(browser, file, java_script_enabled=False)
    assert shown.page.locator(".view-infeed .plates svg").first.is_visible()
    assert "24.688 mm" in shown.page.inner_text(".figures")


# -- a long program --------------------------------------------------------------------


@pytest.mark.parametrize("blocks", [3_100, pytest.param(20_000, marks=pytest.mark.long)])
def test_a_program_of_very_many_blocks_opens_and_moves(
    blocks: int, browser: Browser, folder: Path
) -> None:
    text = long_program(blocks)
    made = review_page(good_job("diamond"), text, "rs274")
    assert made.verification.ok
    file = folder / f"{blocks}.html"
    file.write_text(made.html, encoding="utf-8")
    shown = Played(browser, file)
    count = shown.page.locator("[role=option]").count()
    assert count > blocks
    shown.page.keyboard.press("End")
    assert shown.now()["block"] == count - 1
    shown.page.evaluate("document.getElementById('b3000').click()")
    assert shown.page.evaluate("document.getElementById('b3000').textContent") in text
    z = float(shown.now()["told"].split("Z")[1].split()[0])
    assert shown.now()["z"] == pytest.approx(z, abs=1e-4)
    still = shown.page.evaluate(
        "[...document.querySelectorAll('.plates path')].map((p) => p.getAttribute('d').length)"
    )
    assert max(still) < 5 * blocks, "what is travelled in many blocks is drawn as one line"
    assert shown.complaints == []
