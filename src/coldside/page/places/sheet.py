"""The sheet: what is handed over, seen before it is, and taken as one file that needs no network.

Here: the place's functions.
"""

from __future__ import annotations

from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from coldside.page.places.verdict import chosen
from coldside.page.project import file_name
from coldside.page.shell import Ask, carried, in_look, render, seen
from coldside.sheet.render import sheet_html


def show(ask: Ask) -> str:
    """The place: the sheet in a frame, and how to take it."""
    which = chosen(ask)
    return render(
        ask, "sheet.html", title="Sheet", address=f"/sheet/whole{carried(ask, session=which['session'])}", **which
    )


def whole(ask: Ask) -> Response:
    """The sheet itself; with `take` as a file to save."""
    case = ask.desk.cases.forecast(ask.desk.cases.of(ask.one("build"), ask.one("session")))
    forecast, verdict, asked = case.answer()
    made = sheet_html(forecast, verdict, ask.system, asked)
    answer = HTMLResponse(made if ask.one("take") else in_look(made, ask.look))
    if ask.one("take"):
        name = file_name(f"{forecast.build.name} {forecast.session.name}").removesuffix(".toml")
        answer.headers["Content-Disposition"] = f'attachment; filename="{name}.html"'
    return answer


ROUTES: list[Route] = [seen("/sheet", show), seen("/sheet/whole", whole)]
