"""The start: what is in the folder, the demo cars, and the choice of units and look.

Here: `show`, `copy_demo`, `bring`, `choose`; `rename`, `copy`, `remove` of a file, `forget` of a kept forecast.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from coldside.build.document import LARGEST_FILE, read_text, scan
from coldside.build.editing import set_value
from coldside.errors import BadInput
from coldside.page.kept import Entry
from coldside.page.project import MOST_FILES, file_name
from coldside.page.shell import LOOKS, SYSTEMS, Ask, carried, done, render, seen
from coldside.resources import examples_folder

YEAR = 365 * 24 * 3600
NO_CARS = ("sessions", "briefs", "studies")  # folders of examples without builds
MOST_TOLD = 8  # kept forecasts, beside those that stay for good


def show(ask: Ask) -> str:
    """The start page."""
    entries = ask.desk.project.entries()
    by_kind = {kind: [e for e in entries if e.kind == kind] for kind in ("build", "session", "brief")}
    sessions = by_kind["session"]
    with_session = carried(ask, build=None, session=ask.one("session") or (sessions[0].name if sessions else None))
    return render(
        ask,
        "start.html",
        title="Start",
        crowded=MOST_FILES if ask.desk.project.crowded() else 0,
        builds=by_kind["build"],
        sessions=sessions,
        briefs=by_kind["brief"],
        with_session="&" + with_session[1:] if with_session else "",
        kept=[_kept(entry, ask.system) for entry in _listed(ask.desk.kept.list())],
        demo_count=sum(1 for path in demo_files() if path.suffix == ".toml" and path.parts[0] not in NO_CARS),
    )


def _listed(entries: list[Entry]) -> list[Entry]:
    """The newest, and those that stay for good."""
    newest = {entry.id for entry in entries[:MOST_TOLD]}
    return [entry for entry in entries if entry.pinned or entry.id in newest]


def _kept(entry: Entry, system: str) -> dict[str, str]:
    """A kept forecast in a list."""
    when = time.strftime("%d %b, %H:%M", time.localtime(entry.when))
    return {
        "id": str(entry.id),
        "when": when,
        "car": entry.build,
        "session": entry.session,
        "words": entry.headline[system],
        "stays": "1" if entry.pinned else "",
    }


def demo_files() -> list[Path]:
    """The bundled builds, sessions and what they read, relative to the folder of examples."""
    top = examples_folder()
    found = [path for path in sorted(top.rglob("*")) if path.suffix in (".toml", ".csv")]
    return [path.relative_to(top) for path in found]


def copy_demo(ask: Ask) -> Mapping[str, Any]:
    """Copy the bundled files into the folder; what is there already stays as it is."""
    project, made = ask.desk.project, []
    for relative in demo_files():
        name = relative.as_posix()
        if not project.path(name, new=True, ending=relative.suffix).exists():
            made.append(project.create(name, read_text(examples_folder() / relative)))
    return {"copied": made}


def rename(ask: Ask) -> Mapping[str, Any]:
    """Give a car, a session or a brief another name; its file keeps its own."""
    name, title = ask.text("file"), _title(ask)
    _all_saved(ask, name)
    ask.desk.drafts.edit(name, "name", lambda text: set_value(text, "name", title))
    ask.desk.drafts.save(name)
    return {"title": title}


def copy(ask: Ask) -> Mapping[str, Any]:
    """A copy of a file as it is in the editor, under another name, beside it."""
    name, title = ask.text("file"), _title(ask)
    text = set_value(ask.desk.drafts.open(name).text, "name", title)
    folder = name.rpartition("/")[0]
    new = file_name(title)
    return {"file": ask.desk.project.create(f"{folder}/{new}" if folder else new, text)}


def remove(ask: Ask) -> Mapping[str, Any]:
    """Take a file out of the lists: it is moved into a folder of removed ones, not deleted."""
    name = ask.text("file")
    _all_saved(ask, name)
    moved = ask.desk.project.set_aside(name)
    ask.desk.drafts.forget(name)
    return {"moved": moved}


def pin(ask: Ask) -> Mapping[str, Any]:
    """Have a kept forecast stay for good, or make room again when its time comes."""
    ask.desk.kept.pin(int(ask.number("kept")), ask.data.get("stays") is True)
    return {}


def restore(ask: Ask) -> Mapping[str, Any]:
    """The files that a kept forecast was made from, as they were then, under names of their own beside today's."""
    texts = ask.desk.kept.texts(int(ask.number("kept")))
    names = {name: f"{name.removesuffix('.toml')}-as-kept.toml" for name in texts}
    return {"files": [ask.desk.project.create(names[name], text) for name, text in texts.items()]}


def forget(ask: Ask) -> Mapping[str, Any]:
    """Throw a kept forecast away."""
    ask.desk.kept.forget(int(ask.number("kept")))
    return {}


def _title(ask: Ask) -> str:
    title = ask.text("title").strip()
    if not title:
        raise BadInput("it needs a name")
    return title


def _all_saved(ask: Ask, name: str) -> None:
    if ask.desk.drafts.open(name).dirty:
        raise BadInput("has changes not saved yet: save it first, or go back to the file", where=name)


def bring(ask: Ask) -> Mapping[str, Any]:
    """Take one file from elsewhere on this machine into the folder; a name that is taken gets a number."""
    name, text = ask.text("name"), ask.text("text")
    if len(text.encode()) > LARGEST_FILE:
        raise BadInput(f"is larger than {LARGEST_FILE // 1_000_000} MB; a file of ours is a few kB", where=name)
    if name.endswith(".toml"):
        scan(text, name)
    return {"file": ask.desk.project.create(name, text)}


def choose(ask: Ask) -> Response:
    """Keep a choice of units or look in a cookie."""
    allowed: dict[str, tuple[str, ...]] = {"units": tuple(SYSTEMS), "look": tuple(LOOKS)}
    name, value = ask.text("name"), ask.text("value")
    if name not in allowed or value not in allowed[name]:
        raise BadInput(f'"{value}" is no choice of {name}')
    answer = JSONResponse({name: value})
    answer.set_cookie(name, value, max_age=YEAR, samesite="strict", path="/")
    return answer


ROUTES: list[Route] = [
    seen("/", show),
    done("/do/copy-demo", copy_demo),
    done("/do/choose", choose),
    done("/do/bring", bring),
    done("/do/start/rename", rename),
    done("/do/start/copy", copy),
    done("/do/start/remove", remove),
    done("/do/start/pin", pin),
    done("/do/start/restore", restore),
    done("/do/start/forget", forget),
]
