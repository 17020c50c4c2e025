"""What stands before every request: host names, headers that browsers obey, and orders only from our own pages."""

from __future__ import annotations

import asyncio
import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from starlette.requests import Request
from starlette.responses import PlainTextResponse

from controller.page.web.context import COOKIE, page_of, visitor_of

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

BODY_BYTES_MAX = 200_000
TOO_MANY, WAIT_S, WAITING_MAX = 429, 1.0, 200
CSRF_HEADER = "x-dewhold-token"
_SAFE = ("GET", "HEAD", "OPTIONS")
_BEFORE_LOGIN = ("/setup", "/login")

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self';"
    " font-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), interest-cohort=()",
}


class Guard:
    """Pure ASGI, so that a stream of events passes through as it is."""

    def __init__(self, app: App) -> None:
        self._app = app
        self._waiting = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass on with our headers."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope, receive)
        tls = page_of(request).tls

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                present = {name.lower() for name, _value in message.setdefault("headers", [])}
                for name, value in HEADERS.items():
                    if name.encode() not in present:
                        message["headers"].append((name.encode(), value.encode()))
                if not scope["path"].startswith("/static/") and b"cache-control" not in present:
                    message["headers"].append((b"cache-control", b"no-store"))
                if tls:
                    message["headers"].append((b"strict-transport-security", b"max-age=31536000"))
            await send(message)

        refusal = _refusal(request)
        if refusal is not None:
            if refusal.status_code == TOO_MANY:
                await self._let_wait()
            await refusal(scope, receive, with_headers)
            return
        await self._app(scope, receive, with_headers)


    async def _let_wait(self) -> None:
        """Who asks too often is answered late: a program that asks again at once then takes next to nothing."""
        if self._waiting >= WAITING_MAX:
            return
        self._waiting += 1
        try:
            await asyncio.sleep(WAIT_S)
        finally:
            self._waiting -= 1


def _sender(request: Request) -> str:
    """Who sends, without asking a file: the token or session, else the address."""
    secret = request.headers.get("authorization") or request.cookies.get(COOKIE)
    return secret or (request.client.host if request.client else "")


def _refusal(request: Request) -> PlainTextResponse | None:
    """Why a request goes no further; None when it may."""
    hosts = page_of(request).hosts
    name = request.headers.get("host", "").rsplit(":", 1)[0].strip("[]").lower()
    if hosts and name not in hosts:
        return PlainTextResponse(f"this page is not called {name[:100]}: give it that name with --name", 421)
    if not request.url.path.startswith("/static/") and not page_of(request).pace.takes(_sender(request)):
        return PlainTextResponse("too many requests: wait a second", TOO_MANY, {"retry-after": "1"})
    length = request.headers.get("content-length", "0")
    if not length.isdigit() or int(length) > BODY_BYTES_MAX or "transfer-encoding" in request.headers:
        return PlainTextResponse(f"at most {BODY_BYTES_MAX} bytes, with their length said before", 413)
    if request.method in _SAFE:
        return None
    if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return PlainTextResponse("orders are taken from this page's own windows only", 403)
    origin = request.headers.get("origin")
    if origin and origin.split("://")[-1].lower() != request.headers.get("host", "").lower():
        return PlainTextResponse("orders are taken from this page's own windows only", 403)
    if request.url.path in _BEFORE_LOGIN or request.headers.get("authorization"):
        return None
    visitor = visitor_of(request)
    token = request.headers.get(CSRF_HEADER, "")
    if visitor is not None and visitor.csrf and not hmac.compare_digest(token.encode(), visitor.csrf.encode()):
        return PlainTextResponse("this window is out of date: load it again", 403)
    return None
