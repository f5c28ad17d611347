"""The gate before the page: who is let in, over HTTP and over WebSocket alike."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor
from typing import Any
from urllib.parse import urlencode

import pytest

from app.gate import COOKIE, Gate, Tries
from app.passphrase import Lock, make_lock

PASSPHRASE = "paint roll read shim"
INSIDE = 299


@pytest.fixture(scope="module")
def lock() -> Lock:
    return make_lock(PASSPHRASE)


class Visitor:
    """Sends one request after the other through a gate, like a browser with a cookie jar."""

    def __init__(self, gate_lock: Lock | None, tries: Tries | None = None) -> None:
        self.gate = Gate(_page, hosts=["127.0.0.1", "Bench.local"], lock=gate_lock, tries=tries)
        self.cookie = ""
        self.answer_headers: dict[str, str] = {}

    def ask(
        self, path: str = "/", *, kind: str = "http", form: dict[str, str] | None = None,
        host: str = "127.0.0.1:8417", origin: str | None = None, accept: str = "text/html",
        address: str = "10.0.0.7",
    ) -> int:  # fmt: skip
        """Status of the answer; for a WebSocket the close code, INSIDE if it came through."""
        path, _, query = path.partition("?")
        headers = {"host": host, "accept": accept}
        if origin:
            headers["origin"] = origin
        if self.cookie:
            headers["cookie"] = f"other=1; {COOKIE}={self.cookie}"
        scope: dict[str, Any] = {
            "type": kind, "path": path, "raw_path": path.encode(), "query_string": query.encode(),
            "headers": [(k.encode(), v.encode()) for k, v in headers.items()],
            "client": (address, 50000), "scheme": "http",
            "method": "GET" if form is None else "POST",
        }  # fmt: skip
        sent: list[dict[str, Any]] = []
        body = urlencode(form or {}).encode()

        async def receive() -> dict[str, Any]:
            return {"type": "http.request", "body": body, "more_body": False}

        async def send(message: dict[str, Any]) -> None:
            sent.append(message)

        with ThreadPoolExecutor(1) as apart:  # the browser tests' loop may run in this thread
            apart.submit(asyncio.run, self.gate(scope, receive, send)).result()
        first = sent[0]
        self.body = b"".join(message.get("body", b"") for message in sent).decode()
        self.answer_headers = {k.decode(): v.decode() for k, v in first.get("headers", [])}
        self._keep_cookie()
        return int(first.get("status") or first.get("code") or 0)

    def _keep_cookie(self) -> None:
        set_cookie = self.answer_headers.get("set-cookie", "")
        if set_cookie.startswith(COOKIE):
            self.cookie = set_cookie.partition("=")[2].partition(";")[0]


async def _page(scope: Any, receive: Any, send: Any) -> None:
    """Stands for the page: an answer that only those who came through can see."""
    if scope["type"] == "websocket":
        await send({"type": "websocket.accept", "code": INSIDE})
        return
    await send({"type": "http.response.start", "status": INSIDE, "headers": []})
    await send({"type": "http.response.body", "body": b"the page"})


def test_without_a_passphrase_the_own_machine_comes_straight_in() -> None:
    visitor = Visitor(None)
    assert visitor.ask() == INSIDE
    assert visitor.ask(kind="websocket", origin="http://127.0.0.1:8417") == INSIDE


@pytest.mark.parametrize("host", ["shims.example", "127.0.0.1.example", "", "[", "0x7f.1"])
def test_a_host_name_that_is_not_ours_is_refused(host: str) -> None:
    visitor = Visitor(None)
    assert visitor.ask(host=host) == 421
    assert visitor.ask(kind="websocket", host=host) == 1008


@pytest.mark.parametrize(
    "origin", ["http://shims.example", "null", "http://127.0.0.1:9999", "http://bench.local:8417"]
)
def test_another_web_page_in_the_same_browser_is_refused(origin: str) -> None:
    visitor = Visitor(None)
    assert visitor.ask(origin=origin) == 403
    assert visitor.ask(kind="websocket", origin=origin) == 1008


def test_a_name_of_ours_is_known_whatever_its_case_and_port() -> None:
    assert Visitor(None).ask(host="bench.LOCAL:1") == INSIDE


def test_nothing_comes_through_before_the_passphrase(lock: Lock) -> None:
    visitor = Visitor(lock)
    assert visitor.ask("/roll?job=J0001") == 303
    assert visitor.answer_headers["location"] == "/enter?next=/roll%3Fjob%3DJ0001"
    assert visitor.ask("/_stcore/health", accept="*/*") == 401
    assert visitor.ask("/media/photo.jpg", accept="image/*") == 401
    assert visitor.ask("/_stcore/upload_file/x", form={"file": "x"}, accept="*/*") == 401
    assert visitor.ask("/_stcore/stream", kind="websocket") == 1008
    assert "the page" not in visitor.body


def test_the_passphrase_opens_http_and_websocket_and_leads_where_the_link_pointed(
    lock: Lock,
) -> None:
    visitor = Visitor(lock)
    asked = "/enter?next=/roll%3Fjob%3DJ0001"
    assert visitor.ask(asked, form={"passphrase": PASSPHRASE}) == 303
    assert visitor.answer_headers["location"] == "/roll?job=J0001"
    cookie = visitor.answer_headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert visitor.ask("/roll?job=J0001") == INSIDE
    assert visitor.ask("/_stcore/stream", kind="websocket") == INSIDE


@pytest.mark.parametrize(
    "target",
    ["//shims.example/", "http://shims.example/", "/\\shims.example", "/enter", "/a%0d%0ab"],
)
def test_a_link_cannot_send_the_visitor_elsewhere_after_the_passphrase(
    lock: Lock, target: str
) -> None:
    visitor = Visitor(lock)
    visitor.ask(f"/enter?next={target}", form={"passphrase": PASSPHRASE})
    assert visitor.answer_headers["location"] == "/"


def test_a_pass_that_was_tampered_with_is_none(lock: Lock) -> None:
    visitor = Visitor(lock)
    visitor.ask("/enter", form={"passphrase": PASSPHRASE})
    until, _, signature = visitor.cookie.partition(".")
    visitor.cookie = f"{int(until) + 1}.{signature}"
    assert visitor.ask(kind="websocket") == 1008


def test_after_five_wrong_tries_even_the_right_passphrase_waits(lock: Lock) -> None:
    clock = [0.0]
    visitor = Visitor(lock, Tries(each=5, all_together=40, window_s=900.0, clock=lambda: clock[0]))
    for _ in range(5):
        assert visitor.ask("/enter", form={"passphrase": "wrong wrong"}) == 403
    assert visitor.ask("/enter", form={"passphrase": PASSPHRASE}) == 429
    assert "15 min" in visitor.body
    assert int(visitor.answer_headers["retry-after"]) <= 901
    other_phone = visitor.ask("/enter", form={"passphrase": PASSPHRASE}, address="10.0.0.8")
    assert other_phone == 303
    visitor.cookie = ""
    clock[0] = 901.0
    assert visitor.ask("/enter", form={"passphrase": PASSPHRASE}) == 303


def test_many_addresses_together_are_slowed_too() -> None:
    tries = Tries(each=5, all_together=6, window_s=900.0, clock=lambda: 0.0)
    for k in range(6):
        tries.count(f"10.0.0.{k}")
    assert tries.wait_s("10.0.1.1") == 900.0


def test_the_entry_page_shows_no_words_of_the_visitor_as_markup(lock: Lock) -> None:
    visitor = Visitor(lock)
    assert visitor.ask('/enter?next=/"><script>alert(1)</script>') == 200
    assert "<script" not in visitor.body


def test_every_answer_forbids_foreign_content_and_foreign_frames(lock: Lock) -> None:
    """Meanings: Content Security Policy Level 3 (W3C), sections 6.1 and 6.4.2; WHATWG Fetch, nosniff."""
    for gate_lock, path in ((None, "/"), (lock, "/"), (lock, "/enter")):
        visitor = Visitor(gate_lock)
        visitor.ask(path)
        policy = visitor.answer_headers["content-security-policy"]
        rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
        assert rules["frame-ancestors"] == "'none'"
        assert "http" not in policy and "*" not in policy, "no source outside this server"
        assert {"default-src", "script-src", "connect-src", "form-action", "base-uri"} <= set(rules)
        assert visitor.answer_headers["x-frame-options"] == "DENY"
        assert visitor.answer_headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize(
    "host",
    ["localhost@shims.example", "shims.example#@127.0.0.1", "127.0.0.1:8417@x", "127.0.0.1,x"],
)
def test_a_host_in_disguise_is_refused(host: str) -> None:
    assert Visitor(None).ask(host=host) == 421


def test_a_passphrase_as_long_as_a_book_is_only_wrong(lock: Lock) -> None:
    visitor = Visitor(lock)
    assert visitor.ask("/enter", form={"passphrase": "x" * 5_000_000}) == 403
