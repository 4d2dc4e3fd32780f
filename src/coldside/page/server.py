"""The server of the page: routes of all places behind the guard, on this machine only.

Here: `create_app` and `serve`.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import socket
import threading
import webbrowser
from collections.abc import AsyncIterator, Callable
from importlib import resources
from pathlib import Path
from types import FrameType

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.responses import PlainTextResponse, Response
from starlette.routing import BaseRoute, Mount, Route
from starlette.staticfiles import StaticFiles

from coldside.errors import BadInput
from coldside.page.desk import Desk
from coldside.page.guard import KEY, LOOPBACK, Guard
from coldside.page.places import beside, brief, build, drafting, session, sheet, start, verdict
from coldside.sheet.figures import chart_css
from coldside.sheet.scale import ribbon_css

PORT = 8750
PATIENCE = 2.0  # s from Ctrl+C until what still runs is given up
STATIC = Path(str(resources.files("coldside.page"))) / "static"


def routes() -> list[BaseRoute]:
    """The addresses of every place."""
    made: list[BaseRoute] = []
    for place in (start, brief, build, session, verdict, beside, sheet, drafting):
        made += place.ROUTES
    made.append(Route("/static/sheet.css", _sheet_css))
    made.append(Route("/static/drawings.css", _drawings_css))
    made.append(Route("/favicon.ico", _no_icon))
    made.append(Mount("/static", StaticFiles(directory=STATIC)))
    return made


async def _sheet_css(_: object) -> Response:
    """The looks of the sheet, which the page's own stand on."""
    css = resources.files("coldside.sheet").joinpath("sheet.css").read_text(encoding="utf-8")
    return PlainTextResponse(css, media_type="text/css", headers={"Cache-Control": "no-cache"})


async def _no_icon(_: object) -> Response:
    """None: a sheet that is opened alone names no icon, and browsers then ask for one."""
    return Response(status_code=204)


async def _drawings_css(_: object) -> Response:
    """The looks of charts and ribbons, which a page keeps once for all of them."""
    css = chart_css(chosen=True) + ribbon_css(chosen=True)
    return PlainTextResponse(css, media_type="text/css", headers={"Cache-Control": "no-cache"})


def create_app(desk: Desk, *, token: str, hosts: tuple[str, ...] = ()) -> Starlette:
    """The application: `desk` is what it works on, `token` the key it asks for, `hosts` further names it answers to."""

    @contextlib.asynccontextmanager
    async def life(_: Starlette) -> AsyncIterator[None]:
        yield
        desk.close()

    guard = Middleware(Guard, token=token, hosts=hosts)
    app = Starlette(routes=routes(), middleware=[guard], lifespan=life)
    app.state.desk = desk
    return app


def listen(host: str, port: int | None) -> socket.socket:
    """A listening socket: the port asked for, else the usual one, else any that is free.  BadInput when refused."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    for tried in [port] if port is not None else [PORT, 0]:
        made = socket.socket(family, socket.SOCK_STREAM)
        try:
            if os.name == "posix":  # a port of a page that ended a moment ago; elsewhere the option means another thing
                made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            if socket.has_ipv6 and family == socket.AF_INET6:
                made.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
            made.bind((host, tried))
            made.listen(64)
            return made
        except OSError as error:
            made.close()
            fault = error
    words = f"cannot listen at {host} port {port if port is not None else PORT}: {fault.strerror or fault}"
    raise BadInput(words, where="--port")


def serve(
    folder: str | Path,
    *,
    host: str = "127.0.0.1",
    port: int | None = None,
    browser: bool = True,
    system: str = "si",
    tell: Callable[[str], None] = print,
    announce: Callable[[], None] = lambda: None,
) -> None:
    """Run the page until it is interrupted; the address with its key is told, and opened where `browser` is true.

    `announce` is called before the solver is loaded, to say that it takes its time on a machine's first use.
    """
    import uvicorn

    desk = Desk(folder, system)
    announce()
    desk.make_ready()
    token = secrets.token_urlsafe(24)
    hosts = () if host in LOOPBACK else ("*", socket.gethostname().lower())
    app = create_app(desk, token=token, hosts=hosts)
    with listen(host, port) as door:
        named = "127.0.0.1" if host in ("0.0.0.0", "127.0.0.1") else f"[{host}]" if ":" in host else host
        address = f"http://{named}:{door.getsockname()[1]}/?{KEY}={token}"
        tell(f"coldside page: {address}")
        if hosts:
            tell("Other machines on this network can reach it with that key. Use a network that you trust.")
        else:
            tell("On this machine only. Ctrl+C ends it; nothing you typed is lost.")
        for note in desk.store.notes:
            tell(note)
        config = uvicorn.Config(app, log_level="warning", access_log=False, server_header=False, lifespan="on")

        class Ending(uvicorn.Server):
            """Ends soon, whatever runs: a watcher is answered at once, a forecast that nobody will read is given up."""

            def handle_exit(self, sig: int, frame: FrameType | None) -> None:
                """Ctrl+C, or being asked to end.  What the page has shown as kept is on the disk already."""
                last = threading.Timer(PATIENCE, os._exit, (128 + sig,))
                last.daemon = True
                last.start()
                desk.jobs.close()
                super().handle_exit(sig, frame)

        server = Ending(config)
        if browser:
            webbrowser.open(address)
        server.run(sockets=[door])
