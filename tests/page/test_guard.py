"""Who is let in to the local page.

Sources: Fetch standard (WHATWG), `Sec-Fetch-*` request headers (W3C Fetch Metadata) and RFC 6265bis cookies, from
memory; that a foreign name can be pointed at 127.0.0.1 (so that Host must be checked) is common practice.
"""

from __future__ import annotations

import pytest
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from starlette.testclient import TestClient

from coldside.page.guard import HEADERS, LARGEST_BODY, LOCKED, Guard, bare_host, cookie_name

TOKEN = "the-key-of-this-start"
HERE = "http://127.0.0.1:8750"


async def echo(request: Request) -> PlainTextResponse:
    return PlainTextResponse(f"{request.method} {len(await request.body())}")


def client(*hosts: str) -> TestClient:
    guard = Middleware(Guard, token=TOKEN, hosts=hosts)
    app = Starlette(routes=[Route("/", echo, methods=["GET", "POST", "PUT"])], middleware=[guard])
    return TestClient(app, base_url=HERE, follow_redirects=False)


@pytest.fixture
def inside() -> TestClient:
    made = client()
    made.cookies.set(cookie_name("127.0.0.1:8750"), TOKEN)
    return made


def test_the_key_in_the_address_becomes_a_cookie_and_leaves_the_address():
    made = client()
    answer = made.get(f"/?key={TOKEN}&build=a")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/?build=a"
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert made.get("/").status_code == 200


def test_without_the_key_nothing_is_shown():
    for address in ("/", "/?key=", "/?key=wrong"):
        answer = client().get(address)
        assert answer.status_code == 403
        assert answer.text == LOCKED


def test_another_name_for_this_machine_is_refused(inside):
    for host in ("evil.example", "evil.example:8750", "127.0.0.1.evil.example", "", "127.0.0.1:x", "[::1"):
        assert inside.get("/", headers={"host": host}).status_code == 403, host


def test_every_name_of_loopback_is_known():
    for host in ("127.0.0.1:8750", "localhost:8750", "[::1]:8750", "LOCALHOST"):
        made = client()
        made.cookies.set(cookie_name(host), TOKEN, domain="127.0.0.1")
        answer = made.get("/", headers={"host": host, "cookie": f"{cookie_name(host)}={TOKEN}"})
        assert answer.status_code == 200, host


def test_a_foreign_page_cannot_post(inside):
    for origin in ("http://evil.example", "https://127.0.0.1:8750", "http://127.0.0.1:9999", "null"):
        assert inside.post("/", headers={"origin": origin}).status_code == 403, origin
    assert inside.post("/", headers={"origin": HERE}).status_code == 200


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_a_foreign_page_cannot_read_or_frame(inside, site):
    assert inside.get("/", headers={"sec-fetch-site": site, "sec-fetch-mode": "no-cors"}).status_code == 403
    framed = {"sec-fetch-site": site, "sec-fetch-mode": "navigate", "sec-fetch-dest": "iframe"}
    assert inside.get("/", headers=framed).status_code == 403


def test_a_link_from_elsewhere_arrives(inside):
    arriving = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}
    assert inside.get("/", headers=arriving).status_code == 200


def test_other_methods_and_sockets_are_refused(inside):
    assert inside.put("/").status_code == 405
    with pytest.raises(Exception), inside.websocket_connect("/"):  # noqa: B017, PT011  closed before it opens
        pass


def test_too_much_at_once_is_refused_however_it_is_sent(inside):
    assert inside.post("/", content=b"x" * (LARGEST_BODY + 1)).status_code == 413

    def pieces():
        for _ in range(LARGEST_BODY // 1_000_000 + 1):
            yield b"x" * 1_000_000

    assert inside.post("/", content=pieces()).status_code == 413


def test_every_answer_carries_the_headers(inside):
    for answer in (inside.get("/"), client().get("/"), inside.get("/", headers={"host": "evil.example"})):
        assert all(answer.headers[name] == value for name, value in HEADERS.items())
        assert answer.headers["cache-control"] == "no-store"
    policy = HEADERS["Content-Security-Policy"]
    assert "script-src 'self';" in policy
    assert "http:" not in policy


def test_who_asked_to_be_reached_from_elsewhere_answers_to_addresses_but_not_to_foreign_names():
    made = client("*", "workshop")
    for host, code in (("192.168.1.7:8750", 200), ("workshop:8750", 200), ("evil.example:8750", 403)):
        answer = made.get("/", headers={"host": host, "cookie": f"{cookie_name(host)}={TOKEN}"})
        assert answer.status_code == code, host


def test_hosts_are_read_as_browsers_write_them():
    assert bare_host("LocalHost:80") == "localhost"
    assert bare_host("[::1]:80") == "::1"
    assert bare_host("[::1]x") == ""
    assert bare_host("a:b") == ""
