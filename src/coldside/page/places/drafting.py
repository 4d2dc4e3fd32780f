"""What the editors of builds and sessions share: the state of a draft, its history, saving, and the text itself.

Here: `draft_json`, `faults_of_case`, the deeds under /do/draft/.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import quote

from starlette.routing import Route

from coldside.build.document import scan
from coldside.build.schema import SpecField, fields_of
from coldside.errors import BadInput
from coldside.page.drafts import Change, Draft
from coldside.page.fields import as_in_file, kind_in, spec_of, typed_value
from coldside.page.shell import Ask, carried, done, problem_json, told_as
from coldside.page.solving import Problem
from coldside.page.typing import as_meant
from coldside.sheet.prices import spoken


def draft_json(ask: Ask, draft: Draft) -> dict[str, Any]:
    """A draft's state as data: what can be undone, what is unsaved, and what is wrong with it, in the file's words."""
    return {
        "rev": draft.rev,
        "dirty": draft.dirty,
        "undoes": draft.undoes if draft.can_undo else "",
        "redoes": draft.redoes if draft.can_redo else "",
        "changed_on_disk": draft.changed_on_disk,
        "problems": problems_of(ask, draft),
    }


def problems_of(ask: Ask, draft: Draft) -> list[dict[str, Any]]:
    """What is wrong with a draft, each with the `field` and the `table` that it is in; empty where it reads."""
    return [problem_json(one, ask.system) | place_of(one.key) for one in faults(ask, draft.name, draft.text)]


def faults(ask: Ask, name: str, text: str) -> list[Problem]:
    """What is wrong with a text of a file."""
    check = ask.desk.solver.session if kind_of(text) == "session" else ask.desk.solver.build
    return list(check(text, ask.desk.project.path(name, new=True))[1])


def place_of(key: str) -> dict[str, str]:
    """Where the key of a message is edited: the field's own key (items counted from 0), its table, and words for it."""
    parts = [str(int(part) - 1) if part.isascii() and part.isdigit() else part for part in key.split(".")]
    table = ".".join(parts[:2] if parts[0] in ("parts", "loops", "ducts") else parts[:-1])
    words = " ".join(spoken(part) for part in key.split(".") if part not in ("parts", "loops", "ducts"))
    return {"field": ".".join(parts), "table": table, "words": words}


def faults_of_case(ask: Ask, build: str, session: str) -> list[dict[str, Any]]:
    """What is wrong with the two files of a case as they are in the editor, each with the address where to mend it."""
    project, solver = ask.desk.project, ask.desk.solver
    texts = {name: ask.desk.drafts.open(name).text for name in (build, session)}
    read, wrong = solver.build(texts[build], project.path(build))
    loops = None if read is None else tuple(read.loops)
    in_session = solver.session(texts[session], project.path(session), loops)[1]
    base = carried(Ask(ask.desk, query={"build": (build,), "session": (session,)}))
    found = []
    for path, problems in (("/build", wrong), ("/session", in_session)):
        for one in problems:
            place = place_of(one.key)
            part = (
                f"&part={quote(place['table'].removeprefix('parts.'))}" if path == "/build" and place["table"] else ""
            )
            address = f"{path}{base}{part}&field={quote(place['field'])}"
            found.append(problem_json(one, ask.system) | place | {"address": address})
    return found


def kind_of(text: str) -> str:
    """What a draft is: "build" or "session"."""
    return "session" if '"coldside.session/' in text else "build"


def state(ask: Ask) -> Mapping[str, Any]:
    """The state of a draft."""
    return draft_json(ask, ask.desk.drafts.open(ask.one("file")))


def put(ask: Ask) -> Mapping[str, Any]:
    """Set one field from what was typed into it; nothing typed takes the key out."""
    file, key, kind = ask.text("file"), ask.text("key"), ask.text("kind", "")
    was = ask.data.get("was")
    if was is not None and not isinstance(was, str):
        raise BadInput('the request\'s "was" is no text')
    rev = ask.data.get("rev")
    draft = ask.desk.drafts.open(file)
    meant = as_meant(ask.text("value"), kind_of_value(draft, key, kind), ask.system)
    change = Change(key, _kept(ask, draft, key, typed_value(kind, meant)), was)
    changes = [change]
    if key.startswith("limits.") and "drafted" in draft.literals():  # a limit that was chosen is the owner's
        changes.append(Change("drafted", None))
    draft = ask.desk.drafts.set(file, changes, rev if isinstance(rev, int) else None)
    return draft_json(ask, draft) | {"literal": draft.literals().get(key)}


def _kept(ask: Ask, draft: Draft, key: str, new: Any) -> Any:
    """What was typed, with what is as it was shown put back as the file has it."""
    found = _field(draft, key)
    if found is None or new is None:
        return new
    item, data, table = found
    value: Any = data
    for part in key.split("."):
        try:
            value = value[int(part) if isinstance(value, list) else part]
        except (KeyError, IndexError, ValueError, TypeError):
            return new
    return as_in_file(item, value, new, data, table, ask.system)


def _field(draft: Draft, key: str) -> tuple[SpecField, Mapping[str, Any], str] | None:
    """The field of a key, what the file holds, and its table; None where there is no such field."""
    try:
        data = scan(draft.text, draft.name).data
    except BadInput:
        return None
    table, _, name = key.rpartition(".")
    spec = spec_of(table or "top", data)
    item = next((one for one in fields_of(spec) if one.key == name), None) if spec else None
    return None if item is None else (item, data, table or "top")


def kind_of_value(draft: Draft, key: str, kind: str) -> str:
    """The kind of what is typed into a field: of a curve that of its second column, of a limit that of its quantity."""
    if kind not in ("curve", "by quantity"):
        return kind
    found = _field(draft, key)
    return kind if found is None else kind_in(*found)


def undo(ask: Ask) -> Mapping[str, Any]:
    """Back to the state before that reads; one step where none does."""
    file = ask.text("file")
    return draft_json(ask, ask.desk.drafts.undo(file, lambda text: not faults(ask, file, text)))


def redo(ask: Ask) -> Mapping[str, Any]:
    """Forward again to the next state that reads; one step where none does."""
    file = ask.text("file")
    return draft_json(ask, ask.desk.drafts.redo(file, lambda text: not faults(ask, file, text)))


def save(ask: Ask) -> Mapping[str, Any]:
    """Write the draft to its file; what stands on the disk is only written over when that was asked for."""
    return draft_json(ask, ask.desk.drafts.save(ask.text("file"), ask.data.get("over") is True))


def revert(ask: Ask) -> Mapping[str, Any]:
    """Back to what is in the file."""
    return draft_json(ask, ask.desk.drafts.revert(ask.text("file")))


def text(ask: Ask) -> Mapping[str, Any]:
    """The text of a draft, for whoever wants to type in it."""
    draft = ask.desk.drafts.open(ask.one("file"))
    return {"text": draft.text, "rev": draft.rev}


def put_text(ask: Ask) -> Mapping[str, Any]:
    """Take a text that was typed."""
    draft = ask.desk.drafts.set_text(ask.text("file"), ask.text("text"), int(ask.number("rev")))
    return draft_json(ask, draft)


ROUTES: list[Route] = [
    told_as("/do/draft/state", state),
    done("/do/draft/put", put),
    done("/do/draft/undo", undo),
    done("/do/draft/redo", redo),
    done("/do/draft/save", save),
    done("/do/draft/revert", revert),
    told_as("/do/draft/text", text),
    done("/do/draft/put-text", put_text),
]
