"""The session: phases in order, each a card with its few numbers, the limits, and the demand drawn.

Here: the place's functions.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from starlette.routing import Route

from coldside.build.document import Document, read_text, scan
from coldside.build.editing import set_value
from coldside.duty.demand import sample
from coldside.errors import BadInput
from coldside.page.fields import FieldView, fields_of_table
from coldside.page.places.drafting import draft_json, problems_of
from coldside.page.places.verdict import chosen
from coldside.page.project import file_name
from coldside.page.shell import Ask, done, render, seen, told_as
from coldside.resources import examples_folder
from coldside.sheet.figures import demand_chart
from coldside.sheet.scale import pretty
from coldside.units import show as in_units

KINDS = {  # in the order in which an owner meets them
    "traffic": "stop and go",
    "idle": "stands with the engine running",
    "cruise": "steady road speed",
    "pull": "full load from one engine speed to another",
    "pass": "standing start to a finish line",
    "lap": "laps of a track",
    "cycle": "a regulated driving cycle",
    "staging": "moving up in the lanes",
    "paddock": "between runs",
    "cooldown": "gentle driving after hard running",
    "parked": "engine off",
    "replay": "your own samples from a file",
}
FRESH: Mapping[str, Mapping[str, Any]] = {  # what a new phase starts with
    "traffic": {"duration": "15 min"},
    "idle": {"duration": "2 min"},
    "cruise": {"duration": "10 min", "speed": "100 km/h"},
    "pull": {"on": "road", "from": "3000 rpm", "to": "6500 rpm", "duration": "10 s"},
    "pass": {"distance": "402 m"},
    "lap": {"track": "fast loop", "repeat": 8},
    "cycle": {"schedule": "UDDS"},
    "staging": {"duration": "10 min"},
    "paddock": {"duration": "20 min"},
    "cooldown": {"duration": "5 min"},
    "parked": {"duration": "10 min"},
    "replay": {"samples": "samples.csv"},
}
FRESH_ITEM: Mapping[str, Mapping[str, Any]] = {
    "limits": {"quantity": "intake", "at_most": "55 degC"},
    "ambient.readings": {"at": "20 min", "temperature": "30 degC"},
}
MOST_TOLD = 4  # values in a card's summary


@dataclass(frozen=True)
class Card:
    """One phase or limit."""

    title: str
    words: str
    given: list[FieldView]
    assumed: list[FieldView]
    bad: bool


def show(ask: Ask) -> str:
    """The place."""
    which = chosen(ask)
    ready = ready_made()
    if not which["session"]:
        return render(ask, "session.html", title="Session", draft=None, ready_made=ready, **which)
    draft = ask.desk.drafts.open(which["session"])
    document = _document(draft.text, draft.name)
    return render(
        ask,
        "session.html",
        title="Session",
        draft=draft,
        state=draft_json(ask, draft),
        name=str(document.data.get("name", draft.name)) if document else draft.name,
        cards=cards_html(ask, draft.name),
        kinds=KINDS,
        ready_made=ready,
        **which,
    )


@dataclass(frozen=True)
class ReadyMade:
    """A bundled session to start from."""

    name: str
    title: str
    words: str


def ready_made() -> list[ReadyMade]:
    """The bundled sessions, with the first comment of each as its words."""
    found = []
    for path in sorted((examples_folder() / "sessions").glob("*.toml")):
        text = read_text(path)
        found.append(ReadyMade(path.name, str(scan(text, path.name).data.get("name", path.stem)), first_sentence(text)))
    return found


def first_sentence(text: str) -> str:
    """The first sentence of a file's first comment."""
    lines = text.splitlines()
    start = next((k for k, line in enumerate(lines) if line.startswith("#")), len(lines))
    comment = itertools.takewhile(lambda line: line.startswith("#"), lines[start:])
    words = " ".join(line.lstrip("# ").strip() for line in comment)
    return words.partition(". ")[0].rstrip(".") + "." if words else ""


def make(ask: Ask) -> Mapping[str, Any]:
    """A session of the owner's own from a bundled one."""
    name = ask.text("ready")
    item = next((one for one in ready_made() if one.name == name), None)
    if item is None:
        raise BadInput(f'"{name}" is no ready-made session')
    folder = examples_folder() / "sessions"
    text = read_text(folder / item.name)
    project = ask.desk.project
    data = scan(text, item.name).data
    beside = [
        str(phase[key]) for phase in data.get("phases", []) for key in ("samples", "cycle", "track") if key in phase
    ]
    beside += [str(data["limits_file"])] if "limits_file" in data else []
    for other in beside:  # files that it reads go with it
        source = folder / other
        if source.is_file() and not project.path(other, new=True, ending=source.suffix).exists():
            project.create(other, read_text(source))
    return {"file": project.create(file_name(item.title), text)}


def cards(ask: Ask) -> Mapping[str, Any]:
    """All cards as HTML."""
    return {"html": cards_html(ask, ask.one("file"))}


def cards_html(ask: Ask, file: str) -> str:
    """Start and air, phases, limits."""
    draft = ask.desk.drafts.open(file)
    document = _document(draft.text, file)
    if document is None:
        return ""
    problems = problems_of(ask, draft)

    def views(table: str) -> list[FieldView]:
        return fields_of_table(draft.text, document, table, ask.system, problems)

    ambient = views("ambient")
    outside = ", ".join(view.same or view.text for view in ambient if view.literal is not None) or "not given"
    return render(
        ask,
        "cards.html",
        title="",
        top=views("top"),
        ambient=ambient,
        outside=outside,
        groups=[
            _card(views(f"groups.{name}"), {"name": f"group {name}"}, "kind") for name in _names(document, "groups")
        ],
        readings=[_card(views(f"ambient.readings.{k}"), one, "at") for k, one in enumerate(_readings(document))],
        phases=[_card(views(f"phases.{k}"), table, "kind") for k, table in enumerate(_list(document, "phases"))],
        limits=[_card(views(f"limits.{k}"), table, "quantity") for k, table in enumerate(_list(document, "limits"))],
    )


def _card(views: list[FieldView], table: Mapping[str, Any], what: str) -> Card:
    title = str(table.get("name") or table.get(what) or "phase").replace("_", " ")
    given = [view for view in views if view.literal is not None or view.required or view.problems]
    told = [
        f"{view.name} {view.same or view.text}"
        for view in given
        if view.text.strip() and view.name not in ("kind", "name", what)
    ]
    kind = str(table.get(what, "")) if table.get("name") else ""
    words = ", ".join(([kind] if kind else []) + told[:MOST_TOLD])
    assumed = [view for view in views if view not in given]
    return Card(title, pretty(words), given, assumed, any(view.problems for view in views))


def item(ask: Ask) -> Mapping[str, Any]:
    """Add, move, copy or remove a phase or a limit."""
    file, name, what = ask.text("file"), ask.text("list"), ask.text("do")
    if name not in FRESH_ITEM and name != "phases":
        raise BadInput(f'"{name}" is no list of a session')
    index, rev = int(ask.number("index", -1)), int(ask.number("rev"))
    drafts = ask.desk.drafts
    if what == "add":
        kind = ask.text("kind", "traffic")
        if name == "phases" and kind not in FRESH:
            raise BadInput(f'"{kind}" is no kind of phase')
        values = FRESH_ITEM[name] if name in FRESH_ITEM else {"kind": kind, **FRESH[kind]}
        draft = drafts.add_item(file, name, None, values, rev)
    elif what in ("up", "down"):
        draft = drafts.move_item(file, name, index, index + (1 if what == "down" else -1), rev)
    elif what == "copy":
        draft = drafts.duplicate_item(file, name, index, rev)
    elif what == "remove":
        draft = drafts.remove_item(file, name, index, rev)
    else:
        raise BadInput(f'"{what}" cannot be done with a phase')
    return draft_json(ask, draft)


def demand(ask: Ask) -> Mapping[str, Any]:
    """The demand of the draft on a car, drawn."""
    build = ask.desk.build(ask.one("build"))
    session = ask.desk.session(ask.one("file"), build)
    asked = sample(session, build)
    long = in_units(float(asked.time[-1]), "time", ask.system)
    words = f"{long} in all, driven by {build.name}; shaded: boost."
    return {"svg": demand_chart(asked, ask.system, narrow=ask.one("narrow") == "1"), "words": pretty(words)}


def rename(ask: Ask) -> Mapping[str, Any]:
    """Give the session another name."""
    file, title = ask.text("file"), ask.text("title").strip()
    return draft_json(ask, ask.desk.drafts.edit(file, "name", lambda text: set_value(text, "name", title)))


def _names(document: Document, name: str) -> list[str]:
    found = document.data.get(name)
    return list(found) if isinstance(found, dict) else []


def _readings(document: Document) -> list[Mapping[str, Any]]:
    ambient = document.data.get("ambient")
    found = ambient.get("readings") if isinstance(ambient, dict) else None
    return [one for one in found if isinstance(one, dict)] if isinstance(found, list) else []


def _list(document: Document, name: str) -> list[Mapping[str, Any]]:
    found = document.data.get(name)
    return [one for one in found if isinstance(one, dict)] if isinstance(found, list) else []


def _document(text: str, name: str) -> Document | None:
    try:
        return scan(text, name)
    except BadInput:
        return None


ROUTES: list[Route] = [
    seen("/session", show),
    told_as("/do/session/cards", cards),
    told_as("/do/session/demand", demand),
    done("/do/session/item", item),
    done("/do/session/make", make),
    done("/do/session/rename", rename),
]
