"""The catalogue: generic, invented parts sized like those of the trade, to start a build from; and an owner's own.

Here: `catalogue`, `Item`.  A file of parts has the form of a build's: `schema = "coldside.parts/1"`, tables
`[parts.NAME]` with the same keys, and a `title` more.  The owner's own lie in a folder `parts` beside the builds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from coldside.build.document import Document, read_document
from coldside.build.schema import PART_KINDS
from coldside.errors import BadInput, nearest

SCHEMA = "coldside.parts/1"
SORTS = {  # kind -> the sort of path that it usually lies on
    **dict.fromkeys(("pump", "reservoir", "valve", "thermostat", "hose", "chiller", "exchanger"), "loops"),
    "fan": "ducts",
}


@dataclass(frozen=True)
class Item:
    """One part: `ident` within the catalogue, `name` to give it in a build, its kind, a title, and its table."""

    ident: str
    name: str
    kind: str
    title: str
    values: Mapping[str, Any]
    own: bool = False

    @property
    def sort(self) -> str:
        """The sort of path that it usually lies on: "charge", "loops" or "ducts"."""
        return SORTS.get(self.kind, "charge")


def catalogue(own: str | Path | None = None, refused: Callable[[BadInput], None] | None = None) -> tuple[Item, ...]:
    """All parts, kind by kind in the order of the list of keys; `own` is a folder whose files come first.

    A file of the owner's that does not read is told to `refused` and left out; without it BadInput is raised.  What the
    keys hold is checked when a part stands in a build.
    """
    found: list[Item] = []
    if own is not None and Path(own).is_dir():
        for path in sorted(Path(own).glob("*.toml")):
            try:
                found += _items(read_document(path), own=True)
            except BadInput as fault:
                if refused is None:
                    raise
                refused(fault)
    bundled = Path(str(resources.files("coldside"))) / "catalogue" / "parts.toml"
    found += _items(read_document(bundled), own=False)
    kinds = list(PART_KINDS)
    return tuple(sorted(found, key=lambda item: (kinds.index(item.kind), not item.own)))


def _items(document: Document, *, own: bool) -> list[Item]:
    if document.data.get("schema") != SCHEMA:
        raise BadInput(f'a file of parts starts with schema = "{SCHEMA}"', where=document.where(("schema",)))
    made = []
    parts = document.data.get("parts", {})
    if not isinstance(parts, dict):
        raise BadInput("parts are tables of their own, [parts.NAME]", where=document.where(("parts",)))
    for ident, table in parts.items():
        where = document.where(("parts", ident))
        if not isinstance(table, dict):
            raise BadInput(f"parts.{ident} is no table", where=where)
        kind = table.get("kind")
        if not isinstance(kind, str) or kind not in PART_KINDS:
            close = nearest(str(kind), PART_KINDS)
            raise BadInput(
                f'parts.{ident}.kind = "{kind}" is no kind of part' + (f'; nearest: "{close}"' if close else ""),
                where=where,
            )
        title = str(table.get("title", ident.replace("_", " ")))
        name = str(table.get("name", kind))
        values = {key: value for key, value in table.items() if key not in ("title", "name")}
        made.append(Item(f"own/{ident}" if own else ident, name, kind, title, values, own))
    return made
