"""Who may ask the page's server, and for what."""

from __future__ import annotations

import socket

import httpx
import pytest

from knurlcam.edit.form import texts_of
from knurlcam.edit.guard import MAX_BODY_BYTES
from knurlcam.toml import read_toml
from tests.edit.conftest import SAMPLE, Served

TEXTS = texts_of(read_toml(SAMPLE, limit=10_000))[0]
ASKS = ["open", "answer", "units", "save", "program", "sheet", "beat"]


@pytest.mark.parametrize("what", ASKS)
def test_nothing_is_read_or_written_without_the_token(served: Served, what: str) -> None:
    got = served.ask(what, {"texts": TEXTS}, **{"x-knurlcam-token": "guess"})
    assert (got.status_code, "token" in got.text) == (403, True)


@pytest.mark.parametrize(
    ("header", "value"),
    [
        ("host", "evil.example"),
        ("host", "127.0.0.1:1"),
        ("origin", "http://evil.example"),
        ("origin", "http://127.0.0.1:1"),
        ("origin", "null"),
    ],
)
def test_another_host_or_origin_is_turned_away_with_the_token(
    served: Served, header: str, value: str
) -> None:
    assert served.ask("open", **{header: value}).status_code == 403


def test_a_form_of_another_page_is_turned_away(served: Served) -> None:
    got = served.ask("save", **{"content-type": "text/plain"})
    assert got.status_code == 415


def test_the_page_lets_no_script_but_its_own_run(served: Served) -> None:
    policy = httpx.get(served.origin + "/").headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


@pytest.mark.parametrize("path", ["/knob.toml", "/../knob.toml", "/%2e%2e/etc/passwd", "/api/open"])
def test_no_file_is_served_by_its_path(served: Served, path: str) -> None:
    assert httpx.get(served.origin + path).status_code in (403, 404)


def test_a_body_that_is_too_large_is_not_read(served: Served) -> None:
    assert served.ask("answer", {"texts": {"part.name": "x" * MAX_BODY_BYTES}}).status_code == 413


@pytest.mark.parametrize("data", [[1], "text", {"texts": 1}])
def test_what_is_no_request_of_the_page_is_answered_in_words(served: Served, data: object) -> None:
    got = served.ask("answer", data)
    assert (got.status_code, "error" in got.json()) == (400, True)


def test_another_machine_finds_no_server(served: Served) -> None:
    with socket.socket() as other, pytest.raises(OSError, match="refused"):
        other.connect(("127.0.0.2", int(served.origin.rpartition(":")[2])))


def test_two_pages_on_one_file_hear_of_each_other(served: Served) -> None:
    assert served.ask("beat", {"page": "a"}).json()["others"] == 0
    assert served.ask("beat", {"page": "b"}).json()["others"] == 1
    served.ask("beat", {"page": "a", "closed": True})
    assert served.ask("beat", {"page": "b", "closed": True}).json()["others"] == 0


def test_a_job_is_saved_and_its_program_verified(served: Served) -> None:
    digest = served.ask("open").json()["digest"]
    assert served.ask("save", {"texts": TEXTS, "digest": digest}).json()["saved"] == "knob.toml"
    assert served.ask("program", {"texts": TEXTS}).json() == {"saved": "knob.nc"}
    other = served.ask("program", {"texts": {**TEXTS, "part.name": "Other"}}).json()
    assert other == {"exists": "knob.nc"}
    assert served.ask("save", {"texts": TEXTS, "digest": digest}).json()["conflict"]


def test_the_setters_page_is_fetched_once(served: Served) -> None:
    path = served.ask("sheet", {"texts": TEXTS}).json()["path"]
    assert "setter" in httpx.get(served.origin + path).text
    assert httpx.get(served.origin + path).status_code == 404
