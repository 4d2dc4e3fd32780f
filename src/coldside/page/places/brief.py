"""The brief: one paragraph with blanks; two or three starter builds with a first verdict each come out of it.

Here: the place's functions.  A brief is a file of the project from its first answer on, so that a reload loses nothing.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from typing import Any

from starlette.routing import Route

from coldside.build.brief import (
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
from coldside.errors import BadInput, ColdsideError
from coldside.explore.draft import Starter, Unknowns, draft, most_important_unknown
from coldside.page.jobs import Report
from coldside.page.project import etag, file_name
from coldside.page.shell import Ask, done, problems, render, seen, told_as
from coldside.sheet.scale import pretty
from coldside.units import retold
from coldside.units import show as show_value

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
        usual={key: usual(item, state_brief(text, file), ask.system) for key, item in FIELDS.items()},
        hints={key: hint(item, ask.system) for key, item in FIELDS.items()},
        dont_know=DONT_KNOW,
        state=state_json(ask, text, file),
    )


def usual(item: BriefField, brief: Brief | None, system: str) -> str:
    """What is taken where a blank is left, in few words; for what was not bought, that."""
    if brief is not None and item.key not in brief.known:
        words = value_words(brief, item.key, system).removesuffix(" (assumed)")
        return "none yet" if words == "none" else words
    return item.blank


def state_brief(text: str, name: str) -> Brief | None:
    """The brief of a text, or None where it does not read."""
    try:
        return parse_brief(text or brief_text({}), name or "brief.toml")
    except ColdsideError:
        return None


def hint(item: BriefField, system: str) -> str:
    """What is taken where nobody answers."""
    words = item.default_words(system)
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
    """What a brief's text amounts to: read back in words, what is assumed, and what is wrong with it."""
    try:
        brief = parse_brief(text or brief_text({}), file or "brief.toml")
    except ColdsideError as error:
        return {
            "file": file,
            "etag": etag(text),
            "problems": problems(error, ask.system),
            "paragraph": "",
            "assumed": [],
        }
    return {
        "file": file,
        "etag": etag(text),
        "problems": [],
        "paragraph": pretty(paragraph(brief, ask.system)),
        "assumed": [pretty(words).replace(" +- ", " ± ") for words in assumptions(brief, ask.system)],
    }


def put(ask: Ask) -> Mapping[str, Any]:
    """Answer one blank.  The first answer makes the file; an answer that does not read is kept and told.

    BadInput for a file that is no brief, or no TOML: nothing of it is written over.
    """
    project, file, key, value = ask.desk.project, ask.text("file", ""), ask.text("key"), ask.text("value").strip()
    if key not in FIELDS and key != "name":
        raise BadInput(f'"{key}" is no blank of a brief')
    if not file:
        made = brief_text(dict.fromkeys(FIELDS, "") | {key: value})
        file = project.create(file_name(f"brief {value if key == 'name' else 'car'}"), made)
        return state_json(ask, made, file)
    with _writing:
        text = project.read(file)
        made = answered(text, file, key, value)
        if made != text:
            project.write(file, made)
    return state_json(ask, made, file)


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

    def __init__(self, brief: Brief, text: str) -> None:
        self.brief, self.text = brief, text
        self.starters: tuple[Starter, ...] = ()
        self.unknowns: Unknowns | None = None
        self.taken: dict[int, dict[str, str]] = {}


def begin(ask: Ask) -> Mapping[str, Any]:
    """Start drafting builds for a brief as it stands."""
    file = ask.text("file", "")
    text = ask.desk.project.read(file) if file else brief_text({})
    brief = parse_brief(text, file or "brief.toml")
    key = etag(file + "\0" + text)
    found = ask.desk.remember("brief", key, lambda: Found(brief, text))
    return {"job": ask.desk.jobs.start("brief", key, lambda report: _draft(found, report)).id}


def _draft(found: Found, report: Report) -> None:
    if not found.starters:
        found.starters = draft(found.brief, progress=lambda share, words: report.progress(0.75 * share, words))
    report.piece("starters", 1)
    if found.unknowns is None:
        found.unknowns = most_important_unknown(
            found.brief, found.starters, progress=lambda share, words: report.progress(0.75 + 0.25 * share, words)
        )
    report.piece("unknowns", 1)
    report.progress(1.0, "drafted")


def piece(ask: Ask) -> Mapping[str, Any]:
    """Starter builds, or what matters most, as HTML."""
    found = found_of(ask, ask.one("job"))
    if ask.one("name") == "unknowns":
        unknowns = found.unknowns
        words = in_units(unknowns.words, ask.system) if unknowns else ""
        rows = [(FIELDS[one.key].help, one.change) for one in unknowns.ranked[:6]] if unknowns else []
        told = [
            (what, show_value(change, "temperature_difference", ask.system)) for what, change in rows if change > 0.1
        ]
        return {"html": render(ask, "unknowns.html", title="", words=words, rows=told)}
    starters = [
        {
            "index": index,
            "kind": one.kind,
            "name": one.name,
            "headline": headline(one, ask.system),
            "holds": one.holds,
            "why_not": in_units(one.why_not, ask.system),
            "notes": [in_units(words, ask.system) for words in one.notes],
            "sized": [
                (r.key, in_units(r.value, ask.system), in_units(r.sentence, ask.system), r.source_words)
                for r in one.sized
            ],
            "refined": [in_units(words, ask.system) for words in one.refined],
            "taken": found.taken.get(index),
        }
        for index, one in enumerate(found.starters)
    ]
    return {"html": render(ask, "starters.html", title="", starters=starters)}


def headline(one: Starter, system: str) -> str:
    """The first verdict in the units chosen."""
    return " ".join(sentence.words(system) for sentence in one.verdict.headline)


def in_units(words: str, system: str) -> str:
    """Words of a starter in the units chosen; they are made in SI."""
    return retold(words, system) if system == "us" else words


def take(ask: Ask) -> Mapping[str, Any]:
    """Write a starter build and its session into the folder."""
    found, index = found_of(ask, ask.text("job")), int(ask.number("index"))
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
    return found.taken[index] | {"all": [entry["build"] for entry in found.taken.values()]}


def found_of(ask: Ask, job: str) -> Found:
    """What a drafting job found."""
    found = ask.desk.recall("brief", ask.desk.jobs.get(job).key)
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
