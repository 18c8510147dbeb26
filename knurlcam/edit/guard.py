"""Who may ask the page's server: this machine's page of this start, and nobody else.

A page of another site in the same browser can send requests to this machine. It knows neither
the token of this start nor may it send our header, and the browser names its origin.
"""

from __future__ import annotations

import asyncio
import hmac
from typing import Any

from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

__all__ = ["MAX_BODY_BYTES", "TOKEN_HEADER", "Guard", "body_of"]

TOKEN_HEADER = "x-knurlcam-token"
MAX_BODY_BYTES = 200_000
"""Most bytes of a request [byte]: a job is a page of text."""
BODY_S = 5.0
"""Longest time in which a request has to arrive [s]."""

POLICY = (
    "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
    "style-src 'self'; script-src 'self'; connect-src 'self'; img-src data:"
)

HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
)


class Guard:
    """Turns away every request that is not the page's own.

    Attributes:
        app: What answers the others.
        token: The token of this start.
        port: The port that is served.
    """

    def __init__(self, app: ASGIApp, token: str, port: int) -> None:
        self.app = app
        self.token = token
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or turn it away."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return  # nothing here speaks over sockets that stay open
        request = Request(scope)
        refused = self._why_not(request)

        async def sent(message: Any) -> None:
            if message["type"] == "http.response.start":
                own = {name for name, _ in message["headers"]}
                extra = [each for each in HEADERS if each[0] not in own]
                message = {**message, "headers": [*message["headers"], *extra]}
            await send(message)

        answering: ASGIApp = self.app if refused is None else refused
        await answering(scope, receive, sent)

    def _why_not(self, request: Request) -> Response | None:
        host = request.headers.get("host", "")
        if host not in self.hosts:
            return _refusal(403, "another host was asked for")
        origin = request.headers.get("origin")
        if origin is not None and origin != f"http://{host}":
            return _refusal(403, "the request comes from another page")
        if not request.url.path.startswith("/api/"):
            return None if request.method == "GET" else _refusal(405, "only read here")
        given = request.headers.get(TOKEN_HEADER, "")
        if not hmac.compare_digest(given.encode(), self.token.encode()):
            return _refusal(403, "the token of this start is missing")
        if request.headers.get("content-type", "") != "application/json":
            return _refusal(415, "expected application/json")
        return None


def _refusal(status: int, why: str) -> Response:
    return JSONResponse({"error": why}, status_code=status)


async def body_of(request: Request) -> bytes | None:
    """Return a request's body; None where it is too large, too slow or cut off."""
    body = bytearray()
    try:
        async with asyncio.timeout(BODY_S):
            async for chunk in request.stream():
                body += chunk
                if len(body) > MAX_BODY_BYTES:
                    return None
    except (TimeoutError, ClientDisconnect):
        return None
    return bytes(body)
