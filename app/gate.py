"""The gate before the page, as ASGI middleware: allowed hosts, same origin, passphrase, few tries.

It stands before HTTP and WebSocket alike. The host and origin checks are always on, so a foreign web
page open in the same browser cannot reach a page that listens on this machine only.
"""

from __future__ import annotations

import asyncio
import time
from collections import deque
from collections.abc import Callable, Iterable
from html import escape
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs, quote, urlsplit

from starlette.datastructures import Headers
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app import wording
from app.passphrase import Lock, opens, pass_holds, sign_pass

COOKIE = "contact_pattern_pass"
ENTRY = "/enter"
PASS_S = 12 * 3600
LONGEST_FORM_BYTES = 4096
HEADERS = (
    # Nothing from outside, whatever a text on the page contains; no foreign page may frame this one.
    # Streamlit's own scripts and styles need the 'unsafe' words.
    (
        b"content-security-policy",
        b"default-src 'self' data: blob:; script-src 'self' blob: 'unsafe-inline' 'unsafe-eval'; "
        b"style-src 'self' 'unsafe-inline'; connect-src 'self' data: blob:; object-src 'none'; "
        b"base-uri 'self'; form-action 'self'; frame-ancestors 'none'",
    ),
    (b"x-frame-options", b"DENY"),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
)


class Tries:
    """Counts wrong passphrases: a few for each address, more for all addresses together."""

    def __init__(
        self,
        each: int = 5,
        all_together: int = 40,
        window_s: float = 900.0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._each, self._all, self._window_s, self._clock = each, all_together, window_s, clock
        self._wrong: deque[tuple[float, str]] = deque()

    def wait_s(self, address: str) -> float:
        """Seconds until this address may try again; 0 when it may now."""
        now = self._clock()
        while self._wrong and self._wrong[0][0] <= now - self._window_s:
            self._wrong.popleft()
        own = [when for when, who in self._wrong if who == address]
        if len(own) >= self._each:
            return own[-self._each] + self._window_s - now
        if len(self._wrong) >= self._all:
            return self._wrong[-self._all][0] + self._window_s - now
        return 0.0

    def count(self, address: str) -> None:
        """Write down one wrong try."""
        self._wrong.append((self._clock(), address))


class Gate:
    """Lets a request through when its host is ours, its origin the same, and its pass holds.

    `lock` None means that no passphrase is asked (this machine only).
    """

    def __init__(
        self, app: ASGIApp, hosts: Iterable[str], lock: Lock | None, tries: Tries | None = None
    ) -> None:
        self._app = app
        self._hosts = {host.lower() for host in hosts}
        self._lock = lock
        self._tries = tries or Tries()
        self._one_at_a_time = asyncio.Lock()  # a hash costs 32 MiB: a flood must not add up

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or hand on."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        answer = await self._stop(scope, receive)
        if answer is None:
            await self._app(scope, receive, _with_headers(send))
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008, "reason": "not let in"})
        else:
            await answer(scope, receive, _with_headers(send))

    async def _stop(self, scope: Scope, receive: Receive) -> Response | None:
        headers = Headers(scope=scope)
        host, origin = headers.get("host", ""), headers.get("origin")
        if _name(host) not in self._hosts:
            return PlainTextResponse(wording.GATE_FOREIGN_HOST, 421)
        if origin is not None and urlsplit(origin).netloc.lower() != host.lower():
            return PlainTextResponse(wording.GATE_FOREIGN_ORIGIN, 403)
        if self._lock is None or pass_holds(self._lock, _cookie(headers), time.time()):
            return None
        if scope["type"] == "http" and scope["path"] == ENTRY:
            return await self._enter(scope, receive, headers)
        if scope["type"] == "http" and "text/html" in headers.get("accept", ""):
            wanted = scope["path"] + ("?" + scope["query_string"].decode("latin-1")).rstrip("?")
            return RedirectResponse(f"{ENTRY}?next={quote(wanted)}", 303)
        return PlainTextResponse(wording.GATE_CLOSED, 401)

    async def _enter(self, scope: Scope, receive: Receive, headers: Headers) -> Response:
        query = parse_qs(scope["query_string"].decode("latin-1"))
        wanted = _own_path(query.get("next", ["/"])[0])
        if scope["method"] != "POST":
            return _entry(wanted)
        address = scope["client"][0] if scope.get("client") else ""
        given = await _form_value(receive, "passphrase")
        async with self._one_at_a_time:
            wait_s = self._tries.wait_s(address)
            if wait_s > 0:
                text = wording.gate_wait(wait_s)
                return _entry(wanted, text, 429, {"Retry-After": str(int(wait_s) + 1)})
            assert self._lock is not None
            right = await asyncio.to_thread(opens, self._lock, given)
            if not right:
                self._tries.count(address)
                return _entry(wanted, wording.GATE_WRONG, 403)
        answer = RedirectResponse(wanted, 303)
        answer.set_cookie(
            COOKIE,
            sign_pass(self._lock, int(time.time()) + PASS_S),
            max_age=PASS_S,
            httponly=True,
            samesite="strict",
            secure=scope.get("scheme") == "https",
        )
        return answer


def _with_headers(send: Send) -> Send:
    """The same, with the headers of every answer before its own."""

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            own = {name for name, _ in HEADERS}
            given = [pair for pair in message.get("headers", ()) if pair[0].lower() not in own]
            message = {**message, "headers": [*HEADERS, *given]}
        await send(message)

    return sending


def _name(host: str) -> str:
    """The host without its port."""
    try:
        return (urlsplit(f"//{host}").hostname or "").lower()
    except ValueError:
        return ""


def _cookie(headers: Headers) -> str:
    try:
        jar = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return ""
    return str(jar[COOKIE].value) if COOKIE in jar else ""


def _own_path(wanted: str) -> str:
    """Only a path of this page: a link that sends the visitor elsewhere becomes the first page."""
    plain = wanted.startswith("/") and not wanted.startswith(("//", "/\\"))
    return wanted if plain and wanted.isprintable() and not wanted.startswith(ENTRY) else "/"


async def _form_value(receive: Receive, field: str) -> str:
    body = b""
    while True:
        message = await receive()
        body += message.get("body", b"")
        if not message.get("more_body") or len(body) > LONGEST_FORM_BYTES:
            break
    fields = parse_qs(body[:LONGEST_FORM_BYTES].decode("utf-8", "replace"))
    return str(fields.get(field, [""])[0])


def _entry(
    wanted: str, fault: str = "", status: int = 200, headers: dict[str, str] | None = None
) -> Response:
    page = wording.GATE_PAGE.format(
        action=escape(f"{ENTRY}?next={quote(wanted)}", quote=True),
        fault=f'<p role="alert" id="fault">{escape(fault)}</p>' if fault else "",
    )
    return HTMLResponse(page, status, {"Cache-Control": "no-store"} | (headers or {}))
