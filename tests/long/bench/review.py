"""The setter's page of a long program, in a real browser: ``python -m tests.long.bench.review``.

Ratios against a bare page with the same lines of text, both opened in the same run, and
against an animation that moves one box. Also prints seconds: the page of 20,000 blocks
should open in less than two.
"""

from __future__ import annotations

import html
import statistics
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from knurlcam.review import review_page
from tests.support.breaking import good_job, good_program
from tests.support.browser import FLAGS, chromium_path
from tests.support.programs import long_program

BLOCKS = 20_000
ROUNDS = 5

FRAMES = """async (play) => {
  const box = document.body.appendChild(document.createElement("div"));
  let count = 0;
  const move = () => {
    box.style.transform = `translate(${count++ % 300}px)`;
    requestAnimationFrame(move);
  };
  if (play) {
    document.getElementById("rate").value = "16";
    document.getElementById("play").click();
  } else {
    move();
  }
  const times = [];
  await new Promise((done) => {
    const look = (now) => {
      times.push(now);
      if (times.length < 181) requestAnimationFrame(look);
      else done();
    };
    requestAnimationFrame(look);
  });
  return times.slice(1).map((t, i) => t - times[i]);
}"""

PAINTED = "() => new Promise((d) => requestAnimationFrame(() => requestAnimationFrame(d)))"


def opening(browser: Browser, file: Path) -> float:
    """Return the seconds from asking for a page to its second frame."""
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    start = time.perf_counter()
    page.goto(file.as_uri())
    page.evaluate(PAINTED)
    took = time.perf_counter() - start
    page.close()
    return took


def frame_times(browser: Browser, file: Path, play: bool) -> tuple[float, float]:
    """Return the median and the 95th percentile of the time between frames [ms]."""
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.goto(file.as_uri())
    steps = sorted(page.evaluate(FRAMES, play))
    page.close()
    return statistics.median(steps), steps[int(0.95 * len(steps))]


def main() -> None:
    """Measure and print."""
    job = good_job("diamond")
    text = long_program(BLOCKS)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        short, long, bare = (Path(folder) / f"{n}.html" for n in ("short", "long", "bare"))
        start = time.perf_counter()
        long.write_text(review_page(job, text, "rs274").html, encoding="utf-8")
        made = time.perf_counter() - start
        ten = review_page(job, good_program("diamond", "rs274"), "rs274").html
        short.write_text(ten, encoding="utf-8")
        lines = "".join(f"<div>{html.escape(line)}</div>" for line in text.splitlines())
        bare.write_text(f"<!DOCTYPE html><meta charset=utf-8>{lines}", encoding="utf-8")
        browser = driver.chromium.launch(
            executable_path=chromium_path(driver.chromium.executable_path, print), args=FLAGS
        )
        opening(browser, bare)
        took = {
            file.stem: statistics.median(opening(browser, file) for _ in range(ROUNDS))
            for file in (short, long, bare)
        }
        playing, still = frame_times(browser, long, True), frame_times(browser, bare, False)
        print(
            f"page of {BLOCKS:,} blocks: {long.stat().st_size / 1e6:.1f} MB, made in {made:.2f} s"
        )
        print(f"page of an ordinary job: {short.stat().st_size / 1e3:.0f} kB")
        print(f"opens in {took['long']:.2f} s (aim 2), ordinary job {took['short']:.2f} s")
        print(f"opening / a bare page of the same lines: {took['long'] / took['bare']:.2f}")
        print(
            f"frame while playing / one box moving: median {playing[0] / still[0]:.2f}, "
            f"95th percentile {playing[1] / still[1]:.2f}"
        )


if __name__ == "__main__":
    main()
