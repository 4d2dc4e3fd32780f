"""The build: the ribbon drawing, a part's fields beside it, the paths as plain lists, and at once what a change does.

Here: the place's functions.  Every value goes through the draft (`drafts.py`) and its file's own words; the look of a
change comes from a quick forecast of the draft.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from starlette.routing import Route

from coldside.build import editing
from coldside.build.catalogue import catalogue
from coldside.build.document import Document, scan
from coldside.build.schema import PART_KINDS, fields_of
from coldside.errors import BadInput
from coldside.judge.proposal import propose, proposed
from coldside.judge.verdict import Verdict, judge
from coldside.page.drafts import WHATEVER, Change
from coldside.page.fields import fields_of_table, slid, spec_of
from coldside.page.places.drafting import draft_json, problems_of
from coldside.page.places.verdict import charts, chosen, moment, part_address
from coldside.page.project import file_name
from coldside.page.shell import Ask, done, render, seen, told_as
from coldside.plant.results import Forecast
from coldside.sheet import tables
from coldside.sheet.answer import judged
from coldside.sheet.asked import NOTHING
from coldside.sheet.ribbon_narrow import row_words, rows
from coldside.sheet.scale import pretty
from coldside.sheet.streams import Moment, part_name

_NAME = re.compile(r"[a-z][a-z0-9_]{0,39}")


@dataclass(frozen=True)
class PathView:
    """One path as a list: its key in the file, what it is called, a line a place."""

    key: str
    title: str
    lines: tuple[tuple[tuple[str, ...], ...], ...]  # line -> branches side by side -> parts in series
    text: str  # the same as typed into the editor
    plain: bool  # False: nested deeper than lines can say
    literal: str


def show(ask: Ask) -> str:
    """The place."""
    which = chosen(ask)
    if not which["build"]:
        return render(ask, "build.html", title="Build", draft=None, **which)
    draft = ask.desk.drafts.open(which["build"])
    document = _document(draft.text, draft.name)
    data = document.data if document else {}
    part = ask.one("part")
    paths = path_views(draft.text, document)
    names = list(data.get("parts", {})) if isinstance(data.get("parts"), dict) else []
    on_paths = {p for view in paths for line in view.lines for branch in line for p in branch}
    loose = [name for name in names if name not in {part_name(p) for p in on_paths}]
    chosen_table = part if "." in part or part in ("engine", "car", "bay") else f"parts.{part}" if part else "engine"
    parts, left_out = by_kind(_own_parts(ask))
    return render(
        ask,
        "build.html",
        title="Build",
        draft=draft,
        state=draft_json(ask, draft),
        car=str(data.get("name", draft.name)),
        paths=paths,
        loose=loose,
        names=names,
        table=chosen_table,
        fields=fields_html(ask, draft.name, chosen_table),
        readable=document is not None,
        catalogue=parts,
        left_out=left_out,
        kinds=sorted(PART_KINDS),
        **which,
    )


def by_kind(folder: Path) -> tuple[dict[str, list[Any]], list[str]]:
    """The catalogue, kind by kind, and what is wrong with files of own parts that are left out."""
    found: dict[str, list[Any]] = {}
    faults: list[BadInput] = []
    for item in catalogue(folder, faults.append):
        found.setdefault(item.kind.replace("_", " "), []).append(item)
    return found, [f"parts/{Path(fault.where).name} is left out: {fault.message}" for fault in faults]


def _own_parts(ask: Ask) -> Path:
    """Where the owner's own parts lie."""
    return ask.desk.project.folder / "parts"


def fields_html(ask: Ask, file: str, table: str) -> str:
    """The fields of a part, or of another table, as HTML."""
    draft = ask.desk.drafts.open(file)
    document = _document(draft.text, file)
    if document is None:
        return ""
    build, _ = ask.desk.solver.build(draft.text, ask.desk.project.path(file, new=True))
    problems = problems_of(ask, draft)
    views = fields_of_table(draft.text, document, table, ask.system, problems, None if build is None else build.givens)
    spec = spec_of(table, document.data)
    head, _, name = table.partition(".")
    return render(
        ask,
        "fields.html",
        title="",
        table=table,
        name=name or table,
        kind=_kind(document, table),
        about=_about(spec),
        given=[view for view in views if view.literal is not None or view.required or view.problems],
        assumed=[view for view in views if view.literal is None and not view.required and not view.problems],
        is_part=head == "parts",
        others=[
            one for one in problems if one["table"] == table and not any(one["message"] in v.problems for v in views)
        ],
    )


def _kind(document: Document, table: str) -> str:
    head = table.partition(".")[0]
    if head == "parts":
        found = _found(document.data, table)
        return str(found.get("kind", "")).replace("_", " ") if isinstance(found, dict) else ""
    return {"loops": "loop", "ducts": "duct"}.get(head, "")


def _about(spec: type | None) -> str:
    """What a kind of part is for: the first words of its specification."""
    if spec is None:
        return ""
    words = (spec.__doc__ or "").strip().split("\n\n")[0].replace("\n", " ")
    words = " ".join(words.split()).partition("`: ")[2]
    if "`" in words:  # of the file's form, not of the part
        return ""
    return words[:1].upper() + words[1:]


def fields(ask: Ask) -> Mapping[str, Any]:
    """The fields of a part and the state of the draft."""
    file = ask.one("file")
    draft = ask.desk.drafts.open(file)
    return {"html": fields_html(ask, file, ask.one("table")), "state": draft_json(ask, draft)}


# ---------------------------------------------------------------------------------------------- paths


def path_views(text: str, document: Document | None) -> list[PathView]:
    """Every path of a build, charge first."""
    if document is None:
        return []
    data = document.data
    found = [("charge.path", "Charge, from filter to engine", data.get("charge"))]
    found += [(f"loops.{n}.path", f"Loop {n}", t) for n, t in _tables(data, "loops")]
    found += [(f"ducts.{n}.path", f"Duct {n}", t) for n, t in _tables(data, "ducts")]
    made = []
    for key, title, table in found:
        path = table.get("path") if isinstance(table, dict) else None
        span = document.spans.get(tuple(key.split(".")))
        literal = text[span[0] : span[1]] if span else ""
        lines = lines_of(path) if isinstance(path, list) else None
        plain = lines is not None
        told = "\n".join(" + ".join(", ".join(branch) for branch in line) for line in lines or ())
        made.append(PathView(key, title, lines or (), told if plain else literal, plain, literal))
    return made


def lines_of(path: Sequence[Any]) -> tuple[tuple[tuple[str, ...], ...], ...] | None:
    """A path as lines: a part, or branches side by side each a series; None where it is nested deeper."""
    lines: list[tuple[tuple[str, ...], ...]] = []
    for item in path:
        if isinstance(item, str):
            lines.append(((item,),))
            continue
        branches = []
        for branch in item if isinstance(item, list) else ():
            series = [branch] if isinstance(branch, str) else branch
            if not isinstance(series, list) or not all(isinstance(name, str) for name in series):
                return None
            branches.append(tuple(series))
        if not branches:
            return None
        lines.append(tuple(branches))
    return tuple(lines)


def path_of(text: str) -> list[Any]:
    """A path from its lines: "a", or "a + b" for parts side by side, "a, b + c" for series side by side."""
    path: list[Any] = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        branches = [[name.strip() for name in branch.split(",")] for branch in line.split("+")]
        if any(not name for branch in branches for name in branch):
            raise BadInput(f"line {number} of the path has a + or a comma with no part beside it")
        if len(branches) == 1:
            path += branches[0]
        else:
            path.append([branch[0] if len(branch) == 1 else branch for branch in branches])
    return path


def put_path(ask: Ask) -> Mapping[str, Any]:
    """Set a path from its lines."""
    was = ask.data.get("was")
    draft = ask.desk.drafts.set_paths(
        ask.text("file"), ask.text("key"), path_of(ask.text("lines")), was if isinstance(was, str) else WHATEVER
    )
    return draft_json(ask, draft)


# ---------------------------------------------------------------------------------------------- parts


def add_part(ask: Ask) -> Mapping[str, Any]:
    """Put a part of the catalogue into the build, and onto a path where one was named."""
    file, name, item = ask.text("file"), ask.text("name").strip(), ask.text("item")
    if not _NAME.fullmatch(name):
        raise BadInput(f'"{name}" is no name of a part: small letters, digits and _, starting with a letter')
    found = next((one for one in catalogue(_own_parts(ask), lambda fault: None) if one.ident == item), None)
    if found is None:
        raise BadInput(f'"{item}" is not in the catalogue')
    draft = ask.desk.drafts.open(file)
    document = scan(draft.text, file)
    if name in (document.data.get("parts") or {}):
        raise BadInput(f'there is a part "{name}" already; choose another name', where=file, key=f"parts.{name}")
    path, behind = ask.text("path", ""), ask.text("after", "")

    def change(text: str) -> str:
        text = editing.add_table(text, f"parts.{name}", found.values)
        if path:
            text = editing.set_path(text, path, _inserted(scan(text, file).data, path, name, behind))
        return text

    return draft_json(ask, ask.desk.drafts.edit(file, f"add {name}", change))


def remove_part(ask: Ask) -> Mapping[str, Any]:
    """Take a part out of the build and off every path."""
    file, name = ask.text("file"), ask.text("part")

    def change(text: str) -> str:
        document = scan(text, file)
        for view in path_views(text, document):
            path = _found(document.data, view.key)
            kept = _without(path, name)
            if kept != path:
                text = editing.set_path(text, view.key, kept)
        return editing.remove_table(text, f"parts.{name}")

    return draft_json(ask, ask.desk.drafts.edit(file, f"remove {name}", change))


def rename(ask: Ask) -> Mapping[str, Any]:
    """Give a part another name, on its paths too."""
    new = ask.text("new").strip()
    if not _NAME.fullmatch(new):
        raise BadInput(f'"{new}" is no name of a part: small letters, digits and _, starting with a letter')
    return draft_json(ask, ask.desk.drafts.rename_part(ask.text("file"), ask.text("part"), new))


def copy(ask: Ask) -> Mapping[str, Any]:
    """The draft as a new car of another name."""
    draft, title = ask.desk.drafts.open(ask.text("file")), ask.text("title").strip()
    if not title:
        raise BadInput("the copy needs a name")
    text = editing.set_value(draft.text, "name", title)
    folder = draft.name.rpartition("/")[0]
    name = file_name(title)
    return {"file": ask.desk.project.create(f"{folder}/{name}" if folder else name, text)}


def _inserted(data: Mapping[str, Any], key: str, name: str, behind: str) -> list[Any]:
    path = list(_found(data, key) or [])
    places = [k for k, item in enumerate(path) if item == behind or (isinstance(item, list) and behind in _flat(item))]
    at = places[0] + 1 if behind and places else len(path) if behind else 0
    return [*path[:at], name, *path[at:]]


def _without(path: Any, name: str) -> Any:
    """A path without a part, and without the groups that it leaves empty or alone."""
    if not isinstance(path, list):
        return path
    kept: list[Any] = []
    for item in path:
        if isinstance(item, list):
            inner = _without(item, name)
            if len(inner) == 1:
                inner = inner[0]
                kept += inner if isinstance(inner, list) else [inner]
            elif inner:
                kept.append(inner)
        elif not isinstance(item, str) or part_name(item) != name:
            kept.append(item)
    return kept


def _flat(item: Any) -> list[str]:
    return [name for one in item for name in _flat(one)] if isinstance(item, list) else [item]


def _found(data: Any, key: str) -> Any:
    for part in key.split("."):
        data = data.get(part) if isinstance(data, dict) else None
    return data


def _tables(data: Mapping[str, Any], name: str) -> list[tuple[str, Any]]:
    found = data.get(name)
    return list(found.items()) if isinstance(found, dict) else []


def _document(text: str, name: str) -> Document | None:
    try:
        return scan(text, name)
    except BadInput:
        return None


# ---------------------------------------------------------------------------------------------- what it does


def look(ask: Ask) -> Mapping[str, Any]:
    """What the draft does in a session, at once: headline, chart, ribbon, and what each part does at the moment.

    A slider on its way asks with `key` and `value` (SI), which are tried and not kept.
    """
    file, session_file = ask.text("build"), ask.text("session")
    draft = ask.desk.drafts.open(file)
    text, typed = draft.text, ""
    if ask.data.get("key") is not None:
        typed = slid_text(ask, text, file)
        text = editing.set_value(text, ask.text("key"), typed)
    build = ask.desk.build(file, text)
    session = ask.desk.session(session_file, build)
    forecast, verdict = judged_quickly(ask.desk.solver.quick(build, session))
    narrow = ask.data.get("narrow") is True
    time = ask.number("time", float(forecast.time[forecast.peak]))
    at = moment(forecast, ask.system, narrow, time, part_address(ask, file, session_file))
    headline = " ".join(sentence.words(ask.system) for sentence in verdict.headline)
    return {
        "headline": pretty(headline),
        "short": pretty(short(forecast, verdict, ask.system)),
        "holds": verdict.holds,
        "typed": typed,
        "duration": float(forecast.time[-1]),
        "peak": float(forecast.time[forecast.peak]),
        "live": {name: pretty(words) for name, words in live(forecast, at["time"], ask.system).items()},
        **charts(forecast, NOTHING, ask.system, narrow, None),
        "moment": at,
    }


def judged_quickly(forecast: Forecast) -> tuple[Forecast, Verdict]:
    """A preview with its verdict; where no limit was given, on the one that the whole answer would propose."""
    proposal = None if forecast.session.limits else propose(forecast)
    if proposal is None:
        return forecast, judge(forecast)
    forecast = replace(forecast, session=proposed(forecast.session, proposal))
    return forecast, judged(forecast, replace(NOTHING, proposal=proposal))


def short(forecast: Forecast, verdict: Verdict, system: str) -> str:
    """The answer in a line for a small screen."""
    peak = tables.say(float(forecast.intake[forecast.peak]), "temperature", system)
    return f"{'Holds' if verdict.holds else 'Does not hold'}: intake up to about {peak}"


def slid_text(ask: Ask, text: str, file: str) -> str:
    """The text of a value that a slider stands at."""
    key = ask.text("key")
    table, _, name = key.rpartition(".")
    spec = spec_of(table, scan(text, file).data)
    item = next((one for one in fields_of(spec) if one.key == name), None) if spec else None
    if item is None:
        raise BadInput(f"{key} is no field", where=file, key=key)
    build, _ = ask.desk.solver.build(text, ask.desk.project.path(file, new=True))
    given = build.givens.get(key) if build is not None else None
    return slid(item, given.value if given is not None else item.default, ask.number("value"), ask.system)


def slide(ask: Ask) -> Mapping[str, Any]:
    """Keep what a slider was left at."""
    file = ask.text("file")
    draft = ask.desk.drafts.open(file)
    typed = slid_text(ask, draft.text, file)
    return draft_json(ask, ask.desk.drafts.set(file, [Change(ask.text("key"), typed, WHATEVER)])) | {"typed": typed}


def live(forecast: Forecast, time: float, system: str) -> dict[str, str]:
    """What each part does at a time, in the ribbon's words."""
    at = int(forecast.time.searchsorted(time).clip(0, len(forecast.time) - 1))
    shown = Moment(forecast, at, system)
    found: dict[str, list[str]] = {}
    for row in rows(shown):
        if row.entry:
            found.setdefault(part_name(row.entry), []).extend(row_words(row, shown))
    return {name: "; ".join(dict.fromkeys(words)) for name, words in found.items()}


ROUTES: list[Route] = [
    seen("/build", show),
    told_as("/do/build/fields", fields),
    done("/do/build/path", put_path),
    done("/do/build/add", add_part),
    done("/do/build/remove", remove_part),
    done("/do/build/rename", rename),
    done("/do/build/copy", copy),
    done("/do/build/look", look),
    done("/do/build/slide", slide),
]
