"""What every place of the page shares: how it is asked, how it answers, and the frame around it.

Here: `Ask` (one request as plain data), `seen`, `told_as`, `done` (routes made of plain functions), `render`
(templates).  Places import this; `server.py` puts their routes together.  A refusal of the program reaches the browser
as data with its words unchanged, never as a traceback.
"""

from __future__ import annotations

import functools
import json
import re
import sys
import traceback
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, urlencode

import jinja2
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from coldside import __version__
from coldside.errors import BadInput, ColdsideError, Internal, ManyBadInputs
from coldside.sheet.html import told
from coldside.sheet.prices import spoken
from coldside.units import retold

if TYPE_CHECKING:
    from coldside.page.desk import Desk
    from coldside.page.solving import Problem

PLACES = (  # path, word, what it answers
    ("/brief", "Brief", "what do I know?"),
    ("/build", "Build", "what is on the car?"),
    ("/session", "Session", "what will it do?"),
    ("/verdict", "Verdict", "will it hold?"),
    ("/beside", "Side by side", "which is better?"),
    ("/sheet", "Sheet", "what do I hand over?"),
)
SYSTEMS = {"si": "degC, bar, litres", "us": "degF, psi, US gal"}
LOOKS = {"auto": "as the system", "light": "light", "dark": "dark"}


@dataclass(frozen=True)
class Ask:
    """One request as plain data: who answers (`desk`), in which units, what the address and the body say."""

    desk: Desk
    path: str = "/"
    system: str = "si"
    look: str = "auto"
    query: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    data: Mapping[str, Any] = field(default_factory=dict)

    def one(self, name: str, default: str = "") -> str:
        """The last value of a name in the address."""
        values = self.query.get(name, ())
        return values[-1] if values else default

    def many(self, name: str) -> tuple[str, ...]:
        """All values of a name in the address, in order."""
        return self.query.get(name, ())

    def text(self, name: str, default: str | None = None) -> str:
        """A text of the body.  BadInput where it is missing or no text."""
        value = self.data.get(name, default)
        if not isinstance(value, str):
            raise BadInput(f'the request lacks the text "{name}"')
        return value

    def number(self, name: str, default: float | None = None) -> float:
        """A finite number of the body.  BadInput where it is missing or no number."""
        value = self.data.get(name, default)
        if isinstance(value, bool) or not isinstance(value, int | float) or value != value or abs(value) > 1e15:
            raise BadInput(f'the request lacks the number "{name}"')
        return float(value)


Page = Callable[[Ask], str | Response]
Deed = Callable[[Ask], Mapping[str, Any] | Response]


def seen(path: str, function: Page) -> Route:
    """A place: GET, answered with a page of HTML."""

    @functools.wraps(function)
    async def endpoint(request: Request) -> Response:
        ask = _ask(request)
        try:
            made = await run_in_threadpool(function, ask)
        except ColdsideError as error:
            if isinstance(error, Internal):
                _log(error)
            made = render(ask, "refused.html", title="Not to be shown", problems=problems(error, ask.system))
            return HTMLResponse(made, 400)
        except Exception as error:
            _log(error)
            made = render(ask, "refused.html", title="Our fault", problems=[_fault(error)])
            return HTMLResponse(made, 500)
        return HTMLResponse(made) if isinstance(made, str) else made

    return Route(path, endpoint, methods=["GET"])


def told_as(path: str, function: Deed) -> Route:
    """Something read: GET, answered with JSON."""

    @functools.wraps(function)
    async def endpoint(request: Request) -> Response:
        return await _answer(function, _ask(request))

    return Route(path, endpoint, methods=["GET"])


def done(path: str, function: Deed) -> Route:
    """Something done or reckoned: POST of JSON, answered with JSON."""

    @functools.wraps(function)
    async def endpoint(request: Request) -> Response:
        if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
            return JSONResponse({"problems": [_problem("this address takes JSON")]}, 415)
        try:
            data = json.loads(await request.body() or b"{}")
            json.dumps(data, ensure_ascii=False).encode()  # halves of characters go into no file and no answer
        except (ValueError, RecursionError):
            data = None
        if not isinstance(data, dict):
            return JSONResponse({"problems": [_problem("the request is no JSON object")]}, 400)
        return await _answer(function, _ask(request, data))

    return Route(path, endpoint, methods=["POST"])


async def _answer(function: Deed, ask: Ask) -> Response:
    try:
        made = await run_in_threadpool(function, ask)
    except ColdsideError as error:
        if isinstance(error, Internal):
            _log(error)
        code = 500 if isinstance(error, Internal) else 400
        return JSONResponse({"problems": problems(error, ask.system)}, code)
    except Exception as error:
        _log(error)
        return JSONResponse({"problems": [_fault(error)]}, 500)
    return made if isinstance(made, Response) else JSONResponse(dict(made))


def _ask(request: Request, data: Mapping[str, Any] | None = None) -> Ask:
    system = request.cookies.get("units", "")
    look = request.cookies.get("look", "")
    query = {name: tuple(request.query_params.getlist(name)) for name in request.query_params}
    desk: Desk = request.app.state.desk
    return Ask(
        desk,
        request.url.path,
        system if system in SYSTEMS else desk.system,
        look if look in LOOKS else "auto",
        query,
        data or {},
    )


# ---------------------------------------------------------------------------------------------- trouble


def problems(error: ColdsideError, system: str) -> list[dict[str, Any]]:
    """The faults of a refusal, each with place, key and words; in "us" the quantities named are told in those units."""
    faults = error.faults if isinstance(error, ManyBadInputs) else [error]
    return [problem(fault, system) for fault in faults]


def problem(error: ColdsideError, system: str) -> dict[str, Any]:
    """One fault as data."""
    where, key = getattr(error, "where", ""), getattr(error, "key", "")
    words = str(getattr(error, "message", "") or error)
    found = re.search(r":(\d+)$", where)
    said = retold(words, "us") if system == "us" else words
    return {"where": where, "line": int(found[1]) if found else None, "key": key, "message": said}


def problem_json(one: Problem, system: str) -> dict[str, Any]:
    """One fault of a file as data."""
    said = retold(one.message, "us") if system == "us" else one.message
    return {"where": one.where, "line": one.line, "key": one.key, "message": said}


def trouble_json(error: Exception | None, system: str) -> list[dict[str, Any]]:
    """What went wrong in a job as data; empty for nothing."""
    if error is None:
        return []
    if isinstance(error, ColdsideError) and not isinstance(error, Internal):
        return problems(error, system)
    _log(error)
    return [_fault(error)]


def _problem(words: str) -> dict[str, Any]:
    return {"where": "", "line": None, "key": "", "message": words}


def _fault(error: Exception) -> dict[str, Any]:
    text = " ".join(f"{type(error).__name__}: {error}".split())[:200]
    return _problem(f"Fault inside coldside, not in your files: {text}. Nothing was changed; please send this line.")


def _log(error: Exception) -> None:
    """A fault of ours goes to the window that runs the page, for whoever is asked to send it."""
    traceback.print_exception(error, file=sys.stderr)


# ---------------------------------------------------------------------------------------------- templates


@functools.cache
def environment() -> jinja2.Environment:
    """The templates; every text is escaped unless it is made of our own HTML (`Markup`)."""
    made = jinja2.Environment(
        loader=jinja2.PackageLoader("coldside.page"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["told"] = lambda text: Markup(told(text))
    made.filters["svg"] = Markup
    made.filters["html"] = Markup
    made.filters["spoken"] = spoken
    return made


def render(ask: Ask, template: str, **context: Any) -> str:
    """A template in the frame of the page; `title` and `place` (the path of the place) belong in the context."""
    standing = {
        "ask": ask,
        "system": ask.system,
        "look": ask.look,
        "version": __version__,
        "places": [(path + carried(ask), word, asks) for path, word, asks in PLACES],
        "place": ask.path,
        "systems": SYSTEMS,
        "looks": LOOKS,
        "folder": ask.desk.project.folder.name,
    }
    return environment().get_template(template).render(**(standing | context))


_BY_SYSTEM = "@media screen and (prefers-color-scheme:dark)"


def in_look(document: str, look: str) -> str:
    """A whole document of ours (sheet, proposal) as a preview in the look chosen; what is saved follows the system."""
    if look not in ("light", "dark"):
        return document
    document = document.replace(_BY_SYSTEM, "@media screen" if look == "dark" else "@media not all")
    return document.replace('content="light dark"', f'content="{look}"', 1)


def carried(ask: Ask, **changed: str | None) -> str:
    """The part of an address that a step to another place keeps: which build and session are looked at."""
    pairs = [(name, value) for name in ("build", "session") for value in ask.many(name) if name not in changed]
    pairs += [(name, value) for name, value in changed.items() if value]
    return "?" + urlencode(pairs, quote_via=quote, safe="/") if pairs else ""
