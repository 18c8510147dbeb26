"""The page's server: this machine only, one folder only, and over when the page is closed."""

from __future__ import annotations

import asyncio
import json
import secrets
import socket
import time
from collections.abc import Awaitable, Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from knurlcam.data.materials import materials
from knurlcam.edit.answer import answer, job_of
from knurlcam.edit.document import ChangedOnDiskError, Document, inside
from knurlcam.edit.form import form_sections, switched
from knurlcam.edit.guard import Guard, body_of
from knurlcam.edit.show import shown
from knurlcam.errors import InputError, KnurlcamError
from knurlcam.files import write_whole
from knurlcam.gcode.dialect_files import dialect_names
from knurlcam.review import review_page
from knurlcam.review.onefile import own_style, own_text, page_environment
from knurlcam.shop.fill import Shop, find_shop

__all__ = ["Desk", "serve", "serving"]

CLOSED_S = 150.0
"""Time after the page's last sign of life at which the server stops [s]: browsers let a page in
the background give one a minute."""

SEEN_S = 12.0
"""Time for which a page that gave a sign of life counts as open [s]."""

_LISTS = {
    "part.material": "materials",
    "fit.hub_material": "materials",
    "knurl.callout": "callouts",
    "tool.name": "tools",
    "machine.name": "machines",
    "machine.post": "posts",
}
"""Which list of words completes which field."""

CALLOUTS = (
    "DIN 82 RAA 1.0",
    "DIN 82 RGE 1.0",
    "DIN 82 RBL 1.0",
    "DIN 82 RKE 1.0",
    "21 TPI diamond",
)


class Desk:
    """What lies on the table: one job file, the pages that show it, and what they ask for.

    Attributes:
        document: The job file.
        shop: The shop; None without one.
    """

    def __init__(self, path: Path, shop: Shop | None) -> None:
        self.document = Document(path)
        self.folder = path.parent
        self.shop = shop
        self.pages: dict[str, float] = {}
        self.last_seen: float | None = None
        self.sheets: dict[str, str] = {}

    # -- what the page asks for; each takes the request's data and returns the answer's ----

    def open(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Return what stands in the fields: the file, and what was not saved."""
        texts, digest = self.document.load()
        return {
            "texts": texts,
            "digest": digest,
            "draft": None if asked.get("fresh") else self.document.draft(),
            "file": self.document.path.name,
            "kept": sorted(self.document.kept),
        }

    def answer(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Return what the page shows, and keep what was typed."""
        texts = _texts(asked)
        if asked.get("changed"):
            self.document.keep_draft(texts, str(asked.get("digest", "")))
        got = answer(texts, _post(asked), kept=self.document.kept, shop=self.shop)
        return shown(got)

    def units(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Return the texts in other units."""
        return {"texts": switched(_texts(asked), "inch" if asked.get("units") == "inch" else "mm")}

    def save(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Save the job; what changed on disk is shown instead, unless the page has seen it."""
        try:
            digest = self.document.save(_texts(asked), str(asked.get("digest", "")))
        except ChangedOnDiskError as error:
            now = self.document.digest()
            return {"conflict": str(error), "digest": now}
        return {"digest": digest, "saved": self.document.path.name}

    def program(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Save the verified program beside the job."""
        got = answer(_texts(asked), _post(asked), kept=self.document.kept, shop=self.shop)
        if got.verdict != "verified":
            raise InputError("has no verified program", key="job", remedy=got.says)
        place = inside(self.folder, f"{self.document.path.stem}.nc", ".nc")
        if place.exists() and not asked.get("replace"):
            if place.read_bytes() == got.text.encode():
                return {"saved": place.name}
            return {"exists": place.name}
        write_whole(place, got.text)
        return {"saved": place.name}

    def sheet(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Make the setter's page, to be fetched once."""
        job = job_of(_texts(asked), self.document.kept, self.shop)
        made = review_page(job, None, _post(asked) or None)
        name = secrets.token_urlsafe(24)
        self.sheets = {name: made.html}  # one is enough: the next replaces it
        return {"path": f"/sheet/{name}"}

    def beat(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Take a sign of life; say whether the file or another page changed anything."""
        now = time.monotonic()
        page = str(asked.get("page", ""))[:40]
        self.pages = {name: at for name, at in self.pages.items() if now - at < SEEN_S}
        if asked.get("closed"):
            self.pages.pop(page, None)
        else:
            self.pages[page] = now
        self.last_seen = now
        return {"others": len(self.pages.keys() - {page}), "digest": self.document.digest()}


def _texts(asked: Mapping[str, Any]) -> dict[str, str]:
    texts = asked.get("texts")
    if not isinstance(texts, Mapping):
        raise InputError("is missing", key="texts", expected="the texts of the fields by key")
    return {str(key): str(text) for key, text in texts.items()}


def _post(asked: Mapping[str, Any]) -> str:
    """Return a dialect that is known by name; a path is none."""
    post = str(asked.get("post") or "")
    return post if post in _dialects() else ""


def _dialects() -> list[str]:
    return list(dialect_names())


# -- requests --------------------------------------------------------------------


def _asks(
    what: Callable[[Mapping[str, Any]], dict[str, Any]],
) -> Callable[[Request], Awaitable[Response]]:
    """Return what answers a request of the page with one of the desk's functions."""

    async def endpoint(request: Request) -> Response:
        body = await body_of(request)
        if body is None:
            return JSONResponse({"error": "the request is too large or too slow"}, 413)
        try:
            asked = json.loads(body)
        except (ValueError, RecursionError):
            asked = None
        if not isinstance(asked, dict):
            return JSONResponse({"error": "expected a JSON object"}, 400)
        try:
            return JSONResponse(await run_in_threadpool(what, asked))
        except KnurlcamError as error:
            return JSONResponse({"error": str(error)}, 400)

    return endpoint


def app_of(desk: Desk, token: str, port: int) -> Guard:
    """Return the page's application."""
    here = Path(__file__).parent
    page = (
        page_environment("knurlcam.edit")
        .get_template("edit.html.j2")
        .render(
            sections=form_sections(),
            posts=_dialects(),
            materials=sorted(m.name for m in materials()),
            callouts=CALLOUTS,
            tools=sorted(desk.shop.tools) if desk.shop else (),
            machines=sorted(desk.shop.machines) if desk.shop else (),
            file=desk.document.path.name,
            lists=_LISTS,
        )
    )

    async def sheet(request: Request) -> Response:
        html = desk.sheets.pop(request.path_params["name"], None)
        if html is None:
            return Response("This page was shown once; ask for it again.", 404)
        # The sheet brings its own policy, by the hashes of its one style and one script.
        return HTMLResponse(html, headers={"content-security-policy": "frame-ancestors 'none'"})

    def fixed(content: str, kind: str) -> Callable[[Request], Awaitable[Response]]:
        async def endpoint(request: Request) -> Response:
            return Response(content, media_type=kind)

        return endpoint

    asks = ("open", "answer", "units", "save", "program", "sheet", "beat")
    routes = [
        Route("/", fixed(page, "text/html")),
        Route("/edit.css", fixed(own_style(here / "edit.css", pictures=True), "text/css")),
        Route("/edit.js", fixed(own_text(here / "edit.js"), "text/javascript")),
        Route("/sheet/{name}", sheet),
        *(Route(f"/api/{a}", _asks(getattr(desk, a)), methods=["POST"]) for a in asks),
    ]
    return Guard(Starlette(routes=routes), token, port)


# -- from start to stop ------------------------------------------------------------


def serve(
    path: Path,
    *,
    shop: Shop | str | Path | None = None,
    port: int = 0,
    ready: Callable[[str], None] = print,
) -> None:
    """Serve the page of a job file until its terminal stops it or the page is closed.

    Args:
        path: The job file; it need not be there yet.
        shop: As of ``Job.load``.
        port: Port of this machine; 0 for any that is free.
        ready: Called with the address, which holds the token.

    Raises:
        InputError: if the port is taken.
    """
    with serving(path, shop=shop, port=port) as (address, _, run):
        ready(address)
        run()


@contextmanager
def serving(
    path: Path, *, shop: Shop | str | Path | None = None, port: int = 0
) -> Iterator[tuple[str, uvicorn.Server, Callable[[], None]]]:
    """Give the page's address, its server, and what runs it; arguments as of :func:`serve`."""
    desk = Desk(path, find_shop(path, shop))
    with _listening(port) as listening:
        number = listening.getsockname()[1]
        token = secrets.token_urlsafe(24)
        config = uvicorn.Config(
            app_of(desk, token, number),
            log_level="critical",
            access_log=False,
            timeout_keep_alive=5,
            timeout_graceful_shutdown=2,
            limit_concurrency=40,
            server_header=False,
            lifespan="off",
            ws="none",
        )
        server = uvicorn.Server(config)
        address = f"http://127.0.0.1:{number}/#{token}"
        yield address, server, lambda: asyncio.run(_until_closed(server, desk, listening))


def _listening(port: int) -> socket.socket:
    """Return a socket of this machine alone, which takes connections from now on."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listening.bind(("127.0.0.1", port))
        listening.listen(40)
    except OSError as error:
        listening.close()
        raise InputError(
            f"cannot be served: {error.strerror}",
            key="--port",
            value=port,
            expected="a free port of this machine",
            remedy="leave --port out",
        ) from None
    return listening


async def _until_closed(server: uvicorn.Server, desk: Desk, listening: socket.socket) -> None:
    async def watch() -> None:
        while not server.should_exit:
            await asyncio.sleep(1)
            seen = desk.last_seen
            if seen is not None and time.monotonic() - seen > CLOSED_S:
                server.should_exit = True

    watching = asyncio.create_task(watch())
    try:
        await server.serve(sockets=[listening])
    finally:
        watching.cancel()
