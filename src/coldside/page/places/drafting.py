"""What the editors of builds and sessions share: the state of a draft, its history, saving, and the text itself.

Here: `draft_json`, the deeds under /do/draft/.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from starlette.routing import Route

from coldside.errors import BadInput
from coldside.page.drafts import Change, Draft
from coldside.page.fields import typed_value
from coldside.page.shell import Ask, done, problem_json, told_as


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
    """What is wrong with a draft; empty where it reads."""
    path = ask.desk.project.path(draft.name, new=True)
    solver = ask.desk.solver
    check = solver.session if kind_of(draft.text) == "session" else solver.build
    return [problem_json(one, ask.system) for one in check(draft.text, path)[1]]


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
    change = Change(key, typed_value(kind, ask.text("value")), was)
    draft = ask.desk.drafts.set(file, [change], rev if isinstance(rev, int) else None)
    return draft_json(ask, draft)


def undo(ask: Ask) -> Mapping[str, Any]:
    """One step back."""
    return draft_json(ask, ask.desk.drafts.undo(ask.text("file")))


def redo(ask: Ask) -> Mapping[str, Any]:
    """One step forward."""
    return draft_json(ask, ask.desk.drafts.redo(ask.text("file")))


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
