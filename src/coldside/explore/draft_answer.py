"""What a draft hands over: words for a terminal, JSON, and the files of its builds and their session.

What is here: `drafted_lines`, `drafted_json`, `write_starters`.  What is not: the draft itself (`draft.py`).
"""

from __future__ import annotations

import contextlib
import math
import os
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coldside import units
from coldside.build.brief import Brief, assumptions, paragraph
from coldside.errors import BadInput
from coldside.explore.draft import Starter
from coldside.explore.draft_unknowns import Unknowns

SESSION_FILE = "session.toml"


def file_of(starter: Starter) -> str:
    """Name of a starter's file: "air-to-air.toml"."""
    return f"{starter.kind}.toml"


def drafted_lines(
    brief: Brief, starters: Sequence[Starter], unknowns: Unknowns, system: str = "si", width: int = 100
) -> list[str]:
    """The brief as understood, what was assumed, every starter with its verdict, the unknown to find out first."""

    def wrapped(text: str, indent: str = "") -> list[str]:
        return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=indent)

    lines = [brief.name, *textwrap.wrap(paragraph(brief, system), width)]
    assumed = assumptions(brief, system)
    if assumed:
        lines += ["", "Assumed, because the brief does not say"]
        lines += [f"  {line}" for line in assumed]
    for starter in starters:
        lines += ["", starter.kind[:1].upper() + starter.kind[1:]]
        said = starter.said[system]
        for words in (starter.verdict.words(system).headline, said.boost, said.session, said.why_not, said.radiator):
            lines += wrapped(words, "  ")
        for step in said.refined:
            lines += wrapped(f"Refined: {step}.", "  ")
        for note in said.notes:
            lines += wrapped(note, "  ")
        lines += ["  Sizes"]
        lines += [f"    {line}" for line in sizes_lines(starter, system)]
    for words in unknowns.words(system):
        lines += ["", *wrapped(words)]
    return lines


@dataclass(frozen=True)
class Sized:
    """One size as a person reads it: of which `part`, which `size`, its value, `how` it was found, the `source`."""

    part: str
    size: str
    value: str
    how: str
    source: str


PART_WORDS = {  # names that a draft gives -> words
    "core": "charge core",
    "front_core": "air-to-air core at the nose",
    "left_core": "air-to-air core, left",
    "right_core": "air-to-air core, right",
    "nose_hx": "exchanger at the nose",
    "left_hx": "exchanger, left",
    "right_hx": "exchanger, right",
    "nose_fan": "fan at the nose",
    "left_fan": "fan, left",
    "right_fan": "fan, right",
    "hot_pipe": "pipe behind the turbo",
    "cold_pipe": "pipe to the throttle",
    "feed_hose": "hose from the tank",
    "return_hose": "hose to the front",
    "engine_radiator": "engine's radiator",
}
DUCT_WORDS = {"nose": "duct at the nose", "left_side": "duct, left", "right_side": "duct, right"}


def sizes_of(starter: Starter, system: str = "si") -> list[Sized]:
    """Every size of a starter that a rule gave, in the order of the file."""
    found = []
    for rule in starter.sized:
        table, _, key = rule.key.rpartition(".")
        sort, _, name = table.partition(".")
        part = DUCT_WORDS.get(name, name) if sort == "ducts" else PART_WORDS.get(name, name or sort)
        value = units.retold(rule.words or rule.value, system)
        found.append(
            Sized(
                part.replace("_", " "),
                key.replace("_", " "),
                value,
                units.retold(rule.sentence, system),
                rule.source_words,
            )
        )
    return found


def sizes_lines(starter: Starter, system: str = "si") -> list[str]:
    """The same without how, a line a part."""
    told: dict[str, list[str]] = {}
    for one in sizes_of(starter, system):
        told.setdefault(one.part, []).append(f"{one.size} {one.value}")
    return [f"{part}: {', '.join(sizes)}" for part, sizes in told.items()]


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None


def drafted_json(
    brief: Brief, starters: Sequence[Starter], unknowns: Unknowns, system: str = "si", files: Sequence[str] = ()
) -> dict[str, Any]:
    """The same as one object; numbers in SI, words in `system`."""
    return {
        "schema": "coldside.draft/1",
        "brief": {
            "name": brief.name,
            "file": brief.file,
            "paragraph": paragraph(brief, system),
            "unknown": list(brief.unknown),
            "assumed": list(assumptions(brief, system)),
        },
        "starters": [
            {
                "kind": one.kind,
                "name": one.name,
                "holds": one.holds,
                "headline": one.verdict.words(system).headline,
                "boost": one.said[system].boost,
                "session": one.said[system].session,
                "power_W": _number(one.power),
                "why_not": one.said[system].why_not,
                "radiator": one.said[system].radiator,
                "intake_max_K": one.peak,
                "margin_K": _number(one.margin),
                "charge_loss_Pa": one.charge_loss,
                "charge_volume_m3": one.charge_volume,
                "coolant": one.coolant,
                "refined": list(one.said[system].refined),
                "notes": list(one.said[system].notes),
                "sized": [
                    {"key": rule.key, "value": rule.value, "rule": rule.sentence, "source": rule.source}
                    for rule in one.sized
                ],
            }
            for one in starters
        ],
        "unknowns": {
            "words": list(unknowns.words(system)),
            "ranked": [
                {
                    "key": one.key,
                    "starter": one.starter,
                    "values": [units.retold(value, system) for value in one.values],
                    "margins_K": [_number(margin) for margin in one.margins],
                    "change_K": one.change,
                }
                for one in unknowns.ranked
            ],
        },
        "files": list(files),
    }


def refuse_taken(folder: Path) -> None:
    """Refuse a folder that holds a file which a draft would write, or whose own folder is not there."""
    if folder.exists() and not folder.is_dir():
        raise BadInput("is a file, not a folder", where=str(folder))
    if not folder.parent.is_dir():
        raise BadInput(f'there is no folder "{folder.parent}" to make it in', where=str(folder))
    names = ("air-to-air.toml", "water-to-air.toml", "hybrid.toml", SESSION_FILE)
    taken = [name for name in names if (folder / name).exists()]
    if taken:
        raise BadInput(f"{', '.join(taken)} is there already; a draft overwrites nothing", where=str(folder))


def write_starters(folder: Path, starters: Sequence[Starter]) -> list[str]:
    """Write every starter and the session into `folder`, made if need be; all of them or none.

    Returns the paths.  Raises BadInput where one is there already or the folder cannot be written.
    """
    refuse_taken(folder)
    texts = {file_of(one): one.text for one in starters} | {SESSION_FILE: starters[0].session_text}
    written: list[Path] = []
    made = not folder.exists()
    try:
        folder.mkdir(exist_ok=True)
        for name, text in texts.items():
            path = folder / name
            with open(path, "x", encoding="utf-8", newline="\n") as stream:
                written.append(path)
                stream.write(text)
                stream.flush()
                os.fsync(stream.fileno())
    except BaseException as error:
        for path in written:
            with contextlib.suppress(OSError):
                path.unlink()
        if made:
            with contextlib.suppress(OSError):
                folder.rmdir()
        if isinstance(error, OSError):
            raise BadInput(f"cannot be written: {error.strerror or error}", where=str(folder)) from None
        raise
    return [str(path) for path in written]
