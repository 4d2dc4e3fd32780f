"""The brief: one paragraph with blanks; two or three starter builds with a first verdict each come out of it.

Here: the place's functions.  A brief is a file of the project from its first answer on, so that a reload loses nothing.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from starlette.routing import Route

from coldside.build.brief import (
    BOUGHT,
    BRIEF_FIELDS,
    DONT_KNOW,
    SCHEMA,
    Brief,
    BriefField,
    assumptions,
    brief_text,
    paragraph,
    parse_brief,
    value_words,
)
from coldside.build.document import scan
from coldside.build.editing import set_value
from coldside.build.sizing import boost_words, need_of
from coldside.errors import BadInput, ColdsideError, ManyBadInputs
from coldside.explore.draft import Starter, difference_words, draft
from coldside.explore.draft_answer import sizes_of
from coldside.explore.draft_text import programme
from coldside.explore.draft_unknowns import Unknowns, most_important_unknown
from coldside.media.fuels import fuel
from coldside.page.drafted import Draft
from coldside.page.jobs import RUNNING, Report
from coldside.page.project import etag, file_name
from coldside.page.shell import Ask, done, problems, render, seen, told_as
from coldside.page.typing import as_meant
from coldside.sheet.scale import pretty

if TYPE_CHECKING:
    from coldside.page.desk import Desk

USUAL_UNIT = {  # key -> what a bare number in its blank is, by the units chosen; where trades differ, none
    "power": {"us": "hp"},
    "displacement": {"si": "L"},
    "car_mass": {"si": "kg", "us": "lb"},
    "altitude": {"si": "m", "us": "ft"},
    "tank_room": {"si": "L", "us": "US gal"},
    "pump_flow": {"si": "L/min", "us": "US gal/min"},
    "hose_run": {"si": "m", "us": "ft"},
    "session_length": {"si": "min", "us": "min"},
    "pipe_bore": {"si": "mm", "us": "in"},
    "line_bore": {"si": "mm", "us": "in"},
}
FIELDS = {item.key: item for item in BRIEF_FIELDS}
_writing = threading.Lock()


def show(ask: Ask) -> str:
    """The place."""
    file = ask.one("brief")
    text = ask.desk.project.read(file) if file else ""
    values = values_of(text, file)
    return render(
        ask,
        "brief.html",
        title="Brief",
        file=file,
        briefs=ask.desk.project.entries("brief"),
        values=values,
        fields=FIELDS,
        hints={key: hint(item, ask.system) for key, item in FIELDS.items()},
        dont_know=DONT_KNOW,
        state=state_json(ask, text, file),
        last=last_of(ask, file, text),
    )


def usual(item: BriefField, brief: Brief | None, system: str) -> str:
    """What is taken where a blank is left, in few words; for what was not bought, that."""
    if brief is None or item.key in brief.known:
        return item.blank
    if getattr(brief.spec, item.key) is None:
        return "none yet" if item.key in BOUGHT else item.blank
    return value_words(brief, item.key, system).partition(" (")[0]


def readable(text: str, name: str) -> tuple[Brief | None, ColdsideError | None]:
    """A brief of all answers that read, and what is wrong with the others; None where no brief is left."""
    trouble: ColdsideError | None = None
    reset: set[str] = set()
    for _ in range(4):
        try:
            return parse_brief(text, name), trouble
        except ColdsideError as error:
            trouble = trouble or error
            faults = error.faults if isinstance(error, ManyBadInputs) else [error]
            keys = {str(getattr(fault, "key", "")).partition(".")[0] for fault in faults} & set(FIELDS)
        wrong = keys - reset or {"core", "glycol", "engine", "side_pods"} - reset  # then what the rest is held against
        if not keys:
            break
        reset |= wrong
        for key in wrong:
            text = set_value(text, key, DONT_KNOW)
    return None, trouble


def hint(item: BriefField, system: str) -> str:
    """What is taken where nobody answers."""
    words = item.default_words(system).replace(" +- ", " ± ")
    return f"{words} if you don't know" if item.default is not None else words


def values_of(text: str, name: str) -> dict[str, str]:
    """The texts of a brief's keys; empty for those not answered."""
    try:
        data = scan(text, name).data if text else {}
    except BadInput:
        data = {}
    found = {key: str(data.get(key, "")) for key in (*FIELDS, "name")}
    return {key: "" if value.lower() in ("don't know", "don’t know") else value for key, value in found.items()}


def state_json(ask: Ask, text: str, file: str) -> dict[str, Any]:
    """What a brief's text amounts to: read back in words as far as it reads, what is assumed, and what is wrong."""
    brief, trouble = readable(text or brief_text({}), file or "brief.toml")
    told = [] if trouble is None else problems(trouble, ask.system)
    boost = session = ""
    if brief is not None:
        words = programme(brief).words
        session = f"Run as {words[:1].lower()}{words[1:]}."
        try:
            boost = boost_words(need_of(brief), ask.system)
        except BadInput as error:
            told += problems(error, ask.system)
    for one in told:
        one["name"] = words_of(one["key"])
        one["message"] = one["message"].removeprefix(f"{one['key']} = ").removeprefix(f"{one['key']}: ")
    return {
        "file": file,
        "etag": etag(text),
        "problems": told,
        "paragraph": pretty(paragraph(brief, ask.system)) if brief else "",
        "assumed": assumed(brief, ask.system) if brief else [],
        "boost": boost,
        "session": session,
        "usual": {key: usual(item, brief, ask.system) for key, item in FIELDS.items()},
    }


def words_of(key: str) -> str:
    """A key as a person reads it."""
    return key.replace("_", " ")


def assumed(brief: Brief, system: str) -> list[str]:
    """What was assumed, a line a blank."""
    lines = [pretty(line).replace(" +- ", " ± ").partition(" = ") for line in assumptions(brief, system)]
    return [f"{words_of(key)}: {rest}" for key, _, rest in lines]


def put(ask: Ask) -> Mapping[str, Any]:
    """Answer one blank.  The first answer makes the file; an answer that does not read is kept and told.

    What the units chosen leave in no doubt is written out ("3 gal" as "3 US gal"); `value` is what stands in the file.
    BadInput for a file that is no brief, or no TOML: nothing of it is written over.
    """
    project, file, key, value = ask.desk.project, ask.text("file", ""), ask.text("key"), ask.text("value").strip()
    if key not in FIELDS and key != "name":
        raise BadInput(f'"{key}" is no blank of a brief')
    if not file:
        value = meant(ask, "", "", key, value)
        made = brief_text(dict.fromkeys(FIELDS, "") | {key: value})
        file = project.create(file_name(f"brief {value if key == 'name' else 'car'}"), made)
        return state_json(ask, made, file) | {"value": value}
    with _writing:
        text = project.read(file)
        value = meant(ask, text, file, key, value)
        made = answered(text, file, key, value)
        if made != text:
            project.write(file, made)
    return state_json(ask, made, file) | {"value": value}


def meant(ask: Ask, text: str, file: str, key: str, value: str) -> str:
    """What was typed into a blank as the file says it."""
    if key == "name":
        return value
    density = None
    if key == "injector_capacity":
        brief, _ = readable(text or brief_text({}), file or "brief.toml")
        density = fuel(brief.spec.fuel).density if brief else None
    usual_unit = USUAL_UNIT.get(key, {}).get(ask.system, "")
    if key.startswith(("core_", "nose_", "side_")) and ask.system == "us":
        usual_unit = "in"
    return as_meant(value, FIELDS[key].kind, ask.system, usual=usual_unit, density=density)


def answered(text: str, file: str, key: str, value: str) -> str:
    """A brief's text with one blank answered, all else as it was; an empty answer is "don't know"."""
    data = scan(text, file).data
    if data.get("schema") != SCHEMA:
        raise BadInput(f'is no brief: one starts with schema = "{SCHEMA}"', where=file)
    stands = values_of(text, file)[key]
    if stands == value:  # a number may stand there without quotes, and a key not at all
        return text
    return set_value(text, key, value or ("A car" if key == "name" else DONT_KNOW))


# ---------------------------------------------------------------------------------------------- starter builds


class Found:
    """What a draft found so far: the brief, its starter builds, and what matters most of what is not known."""

    def __init__(self, brief: Brief, text: str, file: str) -> None:
        self.brief, self.text, self.file = brief, text, file
        self.starters: tuple[Starter, ...] = ()
        self.unknowns: Unknowns | None = None
        self.taken: dict[int, dict[str, str]] = {}


def begin(ask: Ask) -> Mapping[str, Any]:
    """Start drafting builds for a brief as it stands."""
    file = ask.text("file", "")
    text = ask.desk.project.read(file) if file else brief_text({})
    brief = parse_brief(text, file or "brief.toml")
    need_of(brief)
    key = etag(file + "\0" + text)
    found = ask.desk.remember("brief", key, lambda: Found(brief, text, file))
    job = ask.desk.jobs.start("brief", key, lambda report: _draft(ask.desk, file, found, report)).id
    ask.desk.remember("drafted last", file, dict).update(draft=key, job=job)
    return {"job": job, "draft": key}


def last_of(ask: Ask, file: str, text: str) -> dict[str, Any] | None:
    """What was drafted last for a brief: `draft` its name, `job` where it still runs."""
    last = (ask.desk.recall("drafted last", file) or _reopened(ask.desk, file)) if file else None
    found = ask.desk.recall("brief", last["draft"]) if last else None
    if last is None or not isinstance(found, Found):
        return None
    try:
        runs = ask.desk.jobs.get(last["job"]).state == RUNNING
    except BadInput:
        runs = False
    if not found.starters and not runs:
        return None
    return {
        "draft": last["draft"],
        "job": last["job"] if runs else "",
        "starters": starters_html(ask, found) if found.starters else "",
        "unknowns": unknowns_html(ask, found) if found.unknowns else "",
        "older": found.text != text,
    }


def _reopened(desk: Desk, file: str) -> dict[str, str] | None:
    """What was drafted of a brief before the page was started, held again."""
    kept = desk.drafted.last(file)
    if kept is None:
        return None
    key = etag(file + "\0" + kept.text)
    found: Found = desk.remember("brief", key, lambda: Found(kept.brief, kept.text, file))
    if not found.starters:
        found.starters, found.unknowns = kept.starters, kept.unknowns
        found.taken = {index: dict(names) for index, names in kept.taken.items()}
    last: dict[str, str] = desk.remember("drafted last", file, dict)
    last.update(draft=key, job="")
    return last


def _keep(desk: Desk, file: str, found: Found) -> None:
    """Have what was found outlast the page; of a brief that is no file yet there is nothing to find it by."""
    if file:
        desk.drafted.keep(file, Draft(found.text, found.brief, found.starters, found.unknowns, found.taken))


def _draft(desk: Desk, file: str, found: Found, report: Report) -> None:
    if not found.starters:
        found.starters = draft(found.brief, progress=lambda share, words: report.progress(0.75 * share, words))
    _keep(desk, file, found)
    report.piece("starters", 1)
    if found.unknowns is None:
        found.unknowns = most_important_unknown(
            found.brief, found.starters, progress=lambda share, words: report.progress(0.75 + 0.25 * share, words)
        )
    _keep(desk, file, found)
    report.piece("unknowns", 1)
    report.progress(1.0, "drafted")


def piece(ask: Ask) -> Mapping[str, Any]:
    """Starter builds, or what matters most, as HTML."""
    found = found_of(ask, ask.one("draft"))
    return {"html": unknowns_html(ask, found) if ask.one("name") == "unknowns" else starters_html(ask, found)}


def unknowns_html(ask: Ask, found: Found) -> str:
    """What matters most of what is not known: to the starters taken, or to all while none is."""
    unknowns = found.unknowns
    if unknowns is None:
        return ""
    kinds = [found.starters[index].kind for index in sorted(found.taken)] or [one.kind for one in found.starters]
    change = {kind: {one.key: one.change for one in unknowns.of.get(kind, ())} for kind in kinds}
    most = {one.key: max(of.get(one.key, 0.0) for of in change.values()) for one in unknowns.ranked}
    keys = sorted((key for key in most if most[key] > 0.1), key=lambda key: -most[key])[:6]
    rows = [
        (FIELDS[key].help, [difference_words(change[kind].get(key, 0.0), ask.system) for kind in kinds]) for key in keys
    ]
    words = unknowns.words(ask.system, kinds)
    return render(ask, "unknowns.html", title="", words=words, kinds=kinds, rows=rows)


def starters_html(ask: Ask, found: Found) -> str:
    """The starter builds."""
    starters = []
    for index, one in enumerate(found.starters):
        parts: dict[str, list[Any]] = {}
        for size in sizes_of(one, ask.system):
            parts.setdefault(size.part, []).append(size)
        said = one.said[ask.system]
        starters.append(
            {
                "index": index,
                "kind": one.kind,
                "headline": headline(one, ask.system),
                "holds": one.holds,
                "said": said,
                "parts": parts,
                "taken": found.taken.get(index),
            }
        )
    return render(ask, "starters.html", title="", starters=starters)


def headline(one: Starter, system: str) -> str:
    """The first verdict in the units chosen."""
    return " ".join(sentence.words(system) for sentence in one.verdict.headline)


def take(ask: Ask) -> Mapping[str, Any]:
    """Write a starter build and its session into the folder."""
    found, index = found_of(ask, ask.text("draft")), int(ask.number("index"))
    if not 0 <= index < len(found.starters):
        raise BadInput("there is no such starter build")
    if index not in found.taken:
        one, project = found.starters[index], ask.desk.project
        build = project.create(file_name(one.name), one.text)
        sessions = [entry["session"] for entry in found.taken.values()]
        session = (
            sessions[0] if sessions else project.create(file_name(f"session {one.session.name}"), one.session_text)
        )
        found.taken[index] = {"build": build, "session": session}
        _keep(ask.desk, found.file, found)
    return found.taken[index] | {"all": [entry["build"] for entry in found.taken.values()]}


def found_of(ask: Ask, key: str) -> Found:
    """What a draft found."""
    found = ask.desk.recall("brief", key)
    if not isinstance(found, Found):
        raise BadInput("this draft is no longer held; draft it again")
    return found


ROUTES: list[Route] = [
    seen("/brief", show),
    done("/do/brief/put", put),
    done("/do/brief/start", begin),
    told_as("/do/brief/piece", piece),
    done("/do/brief/take", take),
]
