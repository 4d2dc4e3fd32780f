"""The verdict: words first, one leading chart, the ribbon at a chosen time, then what to check, change and fear.

Here: the place's functions.  Every section is the sheet's own (`sheet/sections.py`); only their order and folding is
made here.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import quote

import numpy as np
from starlette.routing import Route

from coldside.errors import BadInput
from coldside.judge.verdict import Verdict, label_at
from coldside.page.cases import Case
from coldside.page.jobs import RUNNING, STOPPING, Job
from coldside.page.naming import plain_names
from coldside.page.places.drafting import faults_of_case
from coldside.page.shell import Ask, carried, done, render, seen, told_as, trouble_json
from coldside.plant.results import Forecast
from coldside.sheet import sections, tables
from coldside.sheet.asked import Asked
from coldside.sheet.figures import time_chart
from coldside.sheet.html import bullets
from coldside.sheet.origin_inputs import Input
from coldside.sheet.origins import origin_of
from coldside.sheet.ribbon import ribbon_svg
from coldside.sheet.scale import escape, pretty

KNOWN_BY = {  # piece -> the stages that change it
    "top": ("forecast", "bands"),
    "sight": ("forecast", "bands"),
    "why": ("forecast",),
    "change": ("changes",),
    "dies": ("forecast",),
    "before": ("forecast", "bands"),
    "runs": ("forecast", "bands"),
    "more": ("bands", "consistency"),
    "folds": ("forecast",),
    "cautions": ("forecast",),
}


def show(ask: Ask) -> str:
    """The place; what it shows is asked for by the page itself."""
    kept = ask.one("kept")
    if not kept:
        which = chosen(ask)
        names = (which["build"], which["session"])
        there = {entry.name for entry in (*which["builds"], *which["sessions"])}.issuperset(names)
        found = faults_of_case(ask, *names) if there else []
        unsaved = [name for name in ask.desk.drafts.names() if name in names]
        return render(ask, "verdict.html", title="Verdict", kept="", when="", faults=found, unsaved=unsaved, **which)
    case = ask.desk.cases.reopened(_number(kept))
    which = chosen(ask) | {"build": case.build_file, "session": case.session_file, "ready": True}
    entry = next((one for one in ask.desk.kept.list() if one.id == case.kept), None)
    when = time.strftime("%d %B %Y, %H:%M", time.localtime(entry.when)) if entry else ""
    return render(ask, "verdict.html", title="Verdict", kept=kept, when=when, faults=[], unsaved=[], **which)


def chosen(ask: Ask) -> dict[str, Any]:
    """Which car and session are looked at, and which there are."""
    builds, sessions = ask.desk.project.entries("build"), ask.desk.project.entries("session")
    build, session = ask.one("build"), ask.one("session")
    if build and not session and sessions:
        session = sessions[0].name
    return {
        "builds": builds,
        "sessions": sessions,
        "build": build,
        "session": session,
        "ready": bool(build and session),
    }


def begin(ask: Ask) -> Mapping[str, Any]:
    """Start reckoning a car in a session, or find it reckoned already."""
    case = ask.desk.cases.of(ask.text("build"), ask.text("session"))
    return {"job": ask.desk.cases.whole(case).id}


def reopen(ask: Ask) -> Mapping[str, Any]:
    """Show a forecast that was kept, as it was."""
    case = ask.desk.cases.reopened(_number(ask.text("kept")))
    return {"job": ask.desk.cases.shown(case).id}


def _number(text: str) -> int:
    if not (text.isascii() and text.isdigit()) or len(text) > 12:
        raise BadInput(f'"{text}" is no kept forecast')
    return int(text)


def state(ask: Ask) -> Mapping[str, Any]:
    """How far a job is; waits for news after `after`, not long: a browser has six requests at once for all its tabs."""
    job = ask.desk.jobs.get(ask.one("id"), after=int(number_of(ask, "after")), timeout=5.0)
    known = set(job.pieces)
    pieces = {n: sum(s in known for s in stages) for n, stages in KNOWN_BY.items() if known & set(stages)}
    return job_json(job, ask.system) | {"pieces": pieces if job.kind == "verdict" else dict.fromkeys(job.pieces, 1)}


def job_json(job: Job, system: str) -> dict[str, Any]:
    """A job's state as data."""
    knows = job.state == RUNNING and job.words != STOPPING and job.left_s and job.fraction >= 0.1
    left = f"about {max(round(job.left_s or 0.0), 1)} s left" if knows else ""
    return {
        "id": job.id,
        "version": job.version,
        "state": job.state,
        "fraction": job.fraction,
        "words": job.words,
        "left": left,
        "problems": trouble_json(job.error, system),
    }


def stop(ask: Ask) -> Mapping[str, Any]:
    """Ask a job to stop; what it found stays."""
    ask.desk.jobs.stop(ask.text("job"))
    return {}


def piece(ask: Ask) -> Mapping[str, Any]:
    """One piece of the verdict as HTML, in the units chosen."""
    case = case_of(ask)
    forecast, verdict, asked = case.answer()
    name = ask.one("name")
    if name == "sight":
        return {"duration": float(forecast.time[-1]), "peak": float(forecast.time[forecast.peak])}
    if name not in PIECES:
        raise BadInput(f'there is no piece "{name}"')
    return {"html": plain_names(PIECES[name](forecast, verdict, asked, ask.system), forecast.build)}


def sight(ask: Ask) -> Mapping[str, Any]:
    """The chart between two times, or the ribbon at one."""
    case = case_of(ask)
    forecast, _, asked = case.answer()
    narrow = ask.one("narrow") == "1"
    if ask.one("part") == "chart":
        return charts(forecast, asked, ask.system, narrow, window_of(ask))
    return moment(
        forecast, ask.system, narrow, number_of(ask, "time"), part_address(ask, case.build_file, case.session_file)
    )


def charts(
    forecast: Forecast, asked: Asked, system: str, narrow: bool, window: tuple[float, float] | None
) -> dict[str, Any]:
    """The leading chart and the strips below it."""
    lead, strips = (
        time_chart(forecast, system, narrow=narrow, likely=asked.peak, window=window, styled=False, show=show)
        for show in ("lead", "strips")
    )
    return {"lead": lead, "strips": strips}


def moment(
    forecast: Forecast, system: str, narrow: bool, time: float, link: Callable[[str], str] | None
) -> dict[str, Any]:
    """The ribbon at a time, and its main figures in words."""
    at = int(np.clip(np.searchsorted(forecast.time, time), 0, len(forecast.time) - 1))
    clock = tables.say(float(forecast.time[at]), "clock", system)
    where = label_at(forecast, at)
    said = [f"{clock}" + (f", {where}" if where else "")]
    said.append(f"intake {tables.say(float(forecast.intake[at]), 'temperature', system)}")
    if forecast.sensor is not None:
        said.append(f"sensor {tables.say(float(forecast.sensor[at]), 'temperature', system)}")
    for loop, trace in forecast.coolant_in_cores.items():
        name = f" of {loop}" if len(forecast.coolant_in_cores) > 1 else ""
        said.append(f"coolant{name} {tables.say(float(trace[at]), 'temperature', system)}")
    ribbon = ribbon_svg(forecast, at, system, narrow=narrow, styled=False, link=link)
    return {"ribbon": ribbon, "words": pretty("; ".join(said)), "clock": clock, "time": float(forecast.time[at])}


def part_address(ask: Ask, build: str, session: str) -> Callable[[str], str]:
    """Where a part's name on the ribbon leads."""
    base = "/build" + carried(Ask(ask.desk, query={"build": (build,), "session": (session,)}))
    return lambda part: f"{base}&part={quote(part)}"


def origin(ask: Ask) -> Mapping[str, Any]:
    """How a figure came about, as HTML; a key that it rests on leads to its place in the build or the session."""
    case = case_of(ask)
    one = origin_of(ask.one("figure"), *case.answer(), ask.system)
    base = carried(Ask(ask.desk, query={"build": (case.build_file,), "session": (case.session_file,)}))

    def where(item: Input) -> str:
        table = item.key.rpartition(".")[0]
        if item.of_session:
            return "/session" + base
        return f"/build{base}&part={quote(table.removeprefix('parts.'))}"

    return {"title": pretty(one.title), "html": plain_names(sections.origin(one, where), case.build)}


def case_of(ask: Ask) -> Case:
    """The case that a job reckons.  BadInput when the page is older than what the server still holds."""
    job = ask.desk.jobs.get(ask.one("job"))
    case = ask.desk.cases.held(job.key)
    if case is None or case.forecast is None:
        raise BadInput("this forecast is no longer held; reload the page")
    return case


def window_of(ask: Ask) -> tuple[float, float] | None:
    """The times between which a chart is asked for."""
    if not ask.one("from"):
        return None
    return number_of(ask, "from"), number_of(ask, "to")


def number_of(ask: Ask, name: str) -> float:
    """A finite number of the address."""
    try:
        value = float(ask.one(name))
    except ValueError:
        value = float("nan")
    if not np.isfinite(value):
        raise BadInput(f'the address lacks the number "{name}"')
    return value


# ---------------------------------------------------------------------------------------------- pieces

Piece = Callable[[Forecast, Verdict, Asked, str], str]


def opens(address: str, name: str) -> str:
    """A figure's name as a button that opens how the figure came about (`static/origin.js`)."""
    return f'<button type="button" class="opens" data-origin="{escape(address)}">{name}</button>'


def _top(forecast: Forecast, verdict: Verdict, asked: Asked, system: str) -> str:
    headline = tables.all_words(verdict, system)[0]
    return sections.head(forecast, verdict, headline, system) + sections.limit_table(verdict, system, opens)


def _why(forecast: Forecast, verdict: Verdict, asked: Asked, system: str) -> str:
    return sections.reasons(verdict, system, opens)


def _answers(*titles: str) -> Piece:
    """The answers beside the forecast that carry these titles."""

    def made(forecast: Forecast, verdict: Verdict, asked: Asked, system: str) -> str:
        found = [one for one in asked.sections(verdict.limits, system) if one.title in titles]
        return "".join(sections.answer(one, opens) for one in found)

    return made


def _before(forecast: Forecast, verdict: Verdict, asked: Asked, system: str) -> str:
    return sections.before_full_load(forecast, tables.all_words(verdict, system)[2], system, opens)


def _runs(forecast: Forecast, verdict: Verdict, asked: Asked, system: str) -> str:
    return sections.run_table(forecast, system, asked, opens)


def _folds(forecast: Forecast, verdict: Verdict, asked: Asked, system: str) -> str:
    folded = (
        ("Knock, in short and whole", sections.knock(verdict, system, opens)),
        ("Figures", sections.figures(forecast, system, opens)),
        ("Where the heat went, and what holds it back", sections.heat_balance(forecast, system, opens)),
        ("How far to trust it", sections.health(forecast, system, opens)),
        ("Parts and sizes", sections.parts(forecast, system)),
        ("In the workshop", sections.workshop_notes(forecast, system, opens)),
        ("What was assumed", sections.assumed(forecast, system)),
        ("Sources", bullets(tables.used_sources(forecast))),
    )
    made = "".join(
        f'<details id="fold-{k}"><summary><b>{escape(title)}</b></summary>{inner}</details>'
        for k, (title, inner) in enumerate(folded)
        if inner
    )
    return f'<section class="folds"><h2>All of it</h2>{made}</section>'


def _cautions(forecast: Forecast, verdict: Verdict, asked: Asked, system: str) -> str:
    cautions = tables.all_words(verdict, system)[3]
    return f'<section class="caution"><h2>Cautions</h2>{bullets(cautions)}</section>'


PIECES: Mapping[str, Piece] = {
    "top": _top,
    "why": _why,
    "change": _answers("what to change"),
    "dies": _answers("when something dies"),
    "before": _before,
    "runs": _runs,
    "more": _answers("how sure", "how alike its runs are"),
    "folds": _folds,
    "cautions": _cautions,
}

ROUTES: list[Route] = [
    seen("/verdict", show),
    done("/do/verdict/start", begin),
    done("/do/verdict/reopen", reopen),
    told_as("/do/job", state),
    done("/do/stop", stop),
    told_as("/do/verdict/piece", piece),
    told_as("/do/verdict/sight", sight),
    told_as("/do/verdict/origin", origin),
]
