"""The page on which a job is filled in, in a real browser."""

from __future__ import annotations

import http.server
import threading
from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.edit.conftest import Served
from tests.edit.test_server import TEXTS

NEEDED = {key: text for key, text in TEXTS.items() if key != "units"}


@pytest.fixture(scope="module")
def opened(browser: Browser, served: Served) -> Iterator[Page]:
    page = browser.new_page(viewport={"width": 1400, "height": 900})
    page.goto(f"{served.origin}/#{served.token}")
    expect(page.locator("#verdict")).to_contain_text("Not finished")
    yield page
    page.close()


def test_an_empty_form_is_filled_in_to_a_verified_program(opened: Page, served: Served) -> None:
    for key, text in NEEDED.items():
        box = opened.locator(f'[id="f-{key}"]')
        box.evaluate("e => e.closest('details').open = true")
        if box.evaluate("e => e.tagName") == "SELECT":
            box.select_option(text)
        else:
            box.fill(text)
    expect(opened.locator("#verdict")).to_have_text("Verified in iso6983")
    opened.get_by_role("button", name="Save job").click()
    expect(opened.locator("#notice")).to_have_text("Saved knob.toml")
    opened.get_by_role("button", name="Save program").click()
    expect(opened.locator("#notice")).to_have_text("Saved knob.nc")
    assert served.job.with_suffix(".nc").read_text("utf-8").startswith("%1201")


def test_undo_and_redo_take_one_change_back_and_forth(opened: Page) -> None:
    box = opened.get_by_label("Knurled diameter")
    box.fill("26")
    opened.get_by_role("button", name="Undo").click()
    expect(box).to_have_value("25.0")
    opened.get_by_role("button", name="Redo").click()
    expect(box).to_have_value("26")
    opened.get_by_role("button", name="Undo").click()


def test_a_refusal_stands_at_its_field_and_its_remedy_fills_it_in(opened: Page) -> None:
    opened.get_by_label("Blank diameter").fill("24.5")
    expect(opened.locator("#verdict")).to_have_text("Cannot be done as it stands")
    opened.locator(".problem.error button").first.click()
    expect(opened.locator("#verdict")).to_have_text("Verified in iso6983")
    for _ in range(2):
        opened.get_by_role("button", name="Undo").click()


def test_what_changed_on_disk_is_shown_and_not_written_over(opened: Page, served: Served) -> None:
    served.job.write_text("# by hand\n" + served.job.read_text("utf-8"), encoding="utf-8")
    opened.get_by_role("button", name="Save job").click()
    expect(opened.locator("#notice")).to_contain_text("changed on disk")
    assert served.job.read_text("utf-8").startswith("# by hand")
    opened.get_by_role("button", name="Take what is on disk").click()
    expect(opened.locator("#saved")).to_have_text("saved")


def test_closing_loses_nothing(opened: Page) -> None:
    opened.get_by_label("Name", exact=True).fill("Other knob")
    expect(opened.locator("#result")).not_to_have_class("stale")
    opened.reload()
    expect(opened.get_by_label("Name", exact=True)).to_have_value("Other knob")
    opened.get_by_role("button", name="Take the file as it is").click()
    expect(opened.get_by_label("Name", exact=True)).to_have_value("Focus knob")


@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1400, "light")])
def test_it_can_be_used_by_everyone(opened: Page, width: int, scheme: str) -> None:
    opened.set_viewport_size({"width": width, "height": 900})
    opened.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    found = Axe().run(opened).response["violations"]
    assert [(f["id"], f["nodes"][0]["html"]) for f in found] == []
    assert opened.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0


def test_a_hostile_page_can_neither_read_nor_write(browser: Browser, served: Served) -> None:
    class Hostile(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    before = served.job.read_bytes()
    with http.server.HTTPServer(("127.0.0.1", 0), Hostile) as other:
        threading.Thread(target=other.serve_forever, daemon=True).start()
        page = browser.new_page()
        page.goto(f"http://127.0.0.1:{other.server_port}/")
        tried = page.evaluate(
            """async ([origin, token]) => {
                const said = [];
                const headers = {"content-type": "application/json", "x-knurlcam-token": token};
                for (const options of [{}, {mode: "no-cors", body: "{}"}, {headers, body: "{}"}])
                    for (const path of ["/", "/api/open", "/api/save"])
                        try {
                            const method = path === "/" ? "GET" : "POST";
                            const {body, ...rest} = options;
                            const own = method === "GET" ? rest : options;
                            const got = await fetch(origin + path, {method, ...own});
                            said.push(got.type + await got.text());
                        } catch { said.push("refused"); }
                return said;
            }""",
            [served.origin, served.token],
        )
        page.close()
        other.shutdown()
    assert set(tried) <= {"refused", "opaque"}
    assert served.job.read_bytes() == before
