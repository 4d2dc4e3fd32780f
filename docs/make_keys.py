"""Writes docs/keys.md, the list of every key of a build and a session, from the field metadata of the specifications.

Run `make keys` after a change of a specification; `tests/shape/test_keys.py` fails until it
is done.  Nothing is listed by hand here but the order of the tables.
"""

from __future__ import annotations

import inspect
from pathlib import Path

from coldside.build.brief import BriefSpec
from coldside.build.describing import allowed, default, form
from coldside.build.schema import PART_KINDS, LoopKeys, fields_of
from coldside.duty.model import PHASE_KEYS, AmbientSpec, LimitSpec, PhaseSpec, ReadingSpec
from coldside.duty.phases import GroupKeys, SessionKeys
from coldside.parts.airflow import DuctSpec
from coldside.parts.engine import BaySpec, CarSpec, EngineSpec

PAGE = Path(__file__).with_name("keys.md")
HEAD = """# Every key of a build, a session and a brief

Made from the program by `make keys`; do not edit. A key without a default must be given. Defaults carry one standard
deviation where it is known. Any number may carry its own: `"0.82 +- 0.03"`. For a first build copy one of `examples/`.
"""
BUILD_TABLES: tuple[tuple[str, type], ...] = (
    ("[engine]", EngineSpec),
    ("[car]", CarSpec),
    ("[bay]", BaySpec),
    ("[loops.NAME], beside `path`", LoopKeys),
    ("[ducts.NAME], beside `path`", DuctSpec),
)
SESSION_TABLES: tuple[tuple[str, type], ...] = (
    ("on top, beside `schema` and `name`", SessionKeys),
    ("[ambient]", AmbientSpec),
    ("[[ambient.readings]]", ReadingSpec),
    ("[[phases]]", PhaseSpec),
    ("[groups.NAME]", GroupKeys),
    ("[[limits]]", LimitSpec),
)
BRIEF_TABLES: tuple[tuple[str, type], ...] = (("on top of a brief, beside `schema` and `name`", BriefSpec),)
INTRODUCTIONS = {
    "[engine]": "The engine; it stands at the end of the charge path.",
    "[loops.NAME], beside `path`": "A closed circuit of coolant; the end of its path joins the start.",
    "[ducts.NAME], beside `path`": "A stream of cooling air from inlet to exit, with what stands in it in order.",
    "[[ambient.readings]]": "The air once more, later in the session: straight lines between readings, held after the "
    "last. Without readings the air stays as it is.",
    "on top, beside `schema` and `name`": "",
    "on top of a brief, beside `schema` and `name`": (
        'Every key may be left out or answered with "don\'t know": it then takes its default, '
        "and what that is worth is told."
    ),
}


def introduction(title: str, spec: type) -> str:
    """What a table is for, in the user's words: ours from `INTRODUCTIONS`, or the specification's own first line."""
    if title in INTRODUCTIONS:
        return INTRODUCTIONS[title]
    doc = (inspect.getdoc(spec) or "").split("\n\n")[0].replace("\n", " ")
    _, mark, words = doc.partition("`: ")
    return words[:1].upper() + words[1:] if mark else ""


def table(title: str, spec: type) -> list[str]:
    """One table of the page: a line a key."""
    intro = introduction(title, spec)
    lines = [
        "",
        f"### {title}",
        "",
        *([intro, ""] if intro else []),
        "| key | written | default | allowed | what it is |",
        "|---|---|---|---|---|",
    ]
    for item in fields_of(spec):
        cells = (f"`{item.key}`", f"`{form(item)}`", default(item) or "**required**", allowed(item), item.meta.help)
        lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return lines


def keys_page() -> str:
    """The whole page."""
    lines = [HEAD, "## Build"]
    for title, spec in BUILD_TABLES:
        lines += table(title, spec)
    for kind, spec in PART_KINDS.items():
        lines += table(f'[parts.NAME] with kind = "{kind}"', spec)
    lines += ["", "## Session"]
    for title, spec in SESSION_TABLES:
        lines += table(title, spec)
    aliases = {item.name: item.key for item in fields_of(PhaseSpec)}
    lines += ["", "### Which phase uses which key", "", "All: `name`, `pumps`, `fans`, `group`, `air`.", ""]
    for kind, names in PHASE_KEYS.items():
        lines.append(f"- `{kind}`: " + ", ".join(f"`{aliases[name]}`" for name in names))
    lines += ["", "## Brief"]
    for title, spec in BRIEF_TABLES:
        lines += table(title, spec)
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    PAGE.write_text(keys_page(), encoding="utf-8")
