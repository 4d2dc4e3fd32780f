"""What keeps other pages and other machines out of a page that runs on the owner's laptop.

Here: `Guard`, one ASGI layer around the whole application.  A browser that shows a foreign page can be made to send
requests to this machine; so each request must name this machine as its host (a foreign name that has been pointed here
does not), come from our own page (Origin, Sec-Fetch-Site), and carry the key that only the address printed in the
terminal holds.  The key comes once in the address and lives in a cookie from then on.
"""

from __future__ import annotations

import ipaddress
import secrets
from urllib.parse import parse_qsl, urlencode

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LARGEST_BODY = 8_000_000  # bytes of one request; the largest file we take is 1 MB of text, sent at most a few at once
LOOPBACK = frozenset({"127.0.0.1", "localhost", "::1"})
METHODS = frozenset({"GET", "HEAD", "POST"})
KEY = "key"
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:;"
        " connect-src 'self'; frame-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'self'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
LOCKED = (
    '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>coldside is locked</title></head><body><main>'
    "<h1>This page needs its key</h1><p>Open the address that <code>coldside page</code> printed in its window: it"
    " carries a key that changes with every start, so that no other page can drive this one.</p></main></body></html>"
)


class TooLarge(Exception):
    """A request's body passed `LARGEST_BODY` while it was read."""


class Guard:
    """Lets through what our own page on this machine asks, and nothing else.

    `token` is the key; `hosts` are further host names or addresses that may be named, for an owner who asked to be
    reached from elsewhere ("*": any address written in numbers, which no foreign name can pretend to be).
    """

    def __init__(self, app: ASGIApp, *, token: str, hosts: tuple[str, ...] = ()) -> None:
        self.app, self.token = app, token
        self.hosts = LOOPBACK | {host.lower() for host in hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer or pass on one request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        headers = Headers(scope=scope)
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await _with_headers(refusal)(scope, receive, send)
            return
        seen = 0
        started = False

        async def bounded() -> Message:
            nonlocal seen
            message = await receive()
            seen += len(message.get("body", b""))
            if seen > LARGEST_BODY:
                raise TooLarge
            return message

        async def dressed(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                _dress(MutableHeaders(scope=message))
            await send(message)

        try:
            await self.app(scope, bounded, dressed)
        except TooLarge:
            if not started:
                await _with_headers(_too_large())(scope, receive, send)

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        """What to answer instead, or None where the request may pass."""
        if scope["method"] not in METHODS:
            return PlainTextResponse("not allowed", 405)
        host = headers.get("host", "")
        if not self._known(host):
            return PlainTextResponse("this page answers to its own machine only", 403)
        origin = headers.get("origin")
        if origin is not None and origin.lower() != f"http://{host.lower()}":
            return PlainTextResponse("another page may not ask this one", 403)
        reads = scope["method"] in ("GET", "HEAD")
        arriving = reads and headers.get("sec-fetch-mode") == "navigate" and headers.get("sec-fetch-dest") == "document"
        if headers.get("sec-fetch-site", "none") not in ("same-origin", "none") and not arriving:
            return PlainTextResponse("another page may not ask this one", 403)
        if headers.get("content-length", "0").isdigit() and int(headers.get("content-length", "0")) > LARGEST_BODY:
            return _too_large()
        query = parse_qsl(scope.get("query_string", b"").decode("latin-1"), keep_blank_values=True)
        brought = [value for name, value in query if name == KEY]
        if reads and brought and secrets.compare_digest(brought[-1].encode(), self.token.encode()):
            rest = urlencode([(name, value) for name, value in query if name != KEY])
            answer = RedirectResponse(scope["path"] + ("?" + rest if rest else ""), status_code=303)
            answer.set_cookie(cookie_name(host), self.token, httponly=True, samesite="strict", path="/")
            return answer
        if not self._holds_key(headers, host):
            return HTMLResponse(LOCKED, 403)
        return None

    def _known(self, host: str) -> bool:
        """Whether a Host header names this machine."""
        name = bare_host(host)
        if name in self.hosts:
            return True
        if "*" not in self.hosts:
            return False
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return False
        return True

    def _holds_key(self, headers: Headers, host: str) -> bool:
        """Whether a cookie of ours is there; those of other programs on this machine may look as they like."""
        name = cookie_name(host)
        pairs = (pair.strip().partition("=") for line in headers.getlist("cookie") for pair in line.split(";"))
        held = [value.strip('"') for key, _, value in pairs if key == name]
        return any(secrets.compare_digest(value.encode(), self.token.encode()) for value in held)


def bare_host(host: str) -> str:
    """The name in a Host header, without port and brackets, in small letters; "" for nonsense."""
    text = host.strip().lower()
    if text.startswith("["):
        name, bracket, port = text[1:].partition("]")
        return name if bracket and (not port or (port.startswith(":") and port[1:].isdigit())) else ""
    name, colon, port = text.partition(":")
    return name if not colon or port.isdigit() else ""


def cookie_name(host: str) -> str:
    """The cookie of the key; browsers share cookies between the ports of a machine, so the port is in its name."""
    port = host.rpartition(":")[2]
    return f"coldside_key_{port if port.isdigit() else '80'}"


def _too_large() -> Response:
    return PlainTextResponse(f"more than {LARGEST_BODY // 1_000_000} MB at once is not taken", 413)


def _dress(headers: MutableHeaders) -> None:
    for name, value in HEADERS.items():
        headers[name] = value
    if "cache-control" not in headers:
        headers["Cache-Control"] = "no-store"


def _with_headers(answer: Response) -> Response:
    _dress(answer.headers)
    return answer
