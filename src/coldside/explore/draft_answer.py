"""What a draft hands over: words for a terminal, JSON, and the files of its builds and their session.

What is here: `drafted_lines`, `drafted_json`, `write_starters`.  What is not: the draft itself (`draft.py`).
"""

from __future__ import annotations

import contextlib
import math
import os
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from coldside import units
from coldside.build.brief import Brief, assumptions, paragraph
from coldside.errors import BadInput
from coldside.explore.draft import Starter, Unknowns

SESSION_FILE = "session.toml"


def file_of(starter: Starter) -> str:
    """Name of a starter's file: "air-to-air.toml"."""
    return f"{starter.kind}.toml"


def drafted_lines(
    brief: Brief, starters: Sequence[Starter], unknowns: Unknowns, system: str = "si", width: int = 100
) -> list[str]:
    """The brief as understood, what was assumed, every starter with its verdict, the unknown to find out first."""

    def wrapped(text: str, indent: str = "") -> list[str]:
        said = units.retold(text, system)
        return textwrap.wrap(said, width, initial_indent=indent, subsequent_indent=indent)

    lines = [brief.name, *textwrap.wrap(paragraph(brief, system), width)]
    assumed = assumptions(brief, system)
    if assumed:
        lines += ["", "Assumed, because the brief does not say"]
        lines += [f"  {line}" for line in assumed]
    for starter in starters:
        lines += ["", starter.kind[:1].upper() + starter.kind[1:]]
        lines += textwrap.wrap(
            starter.verdict.words(system).headline, width, initial_indent="  ", subsequent_indent="  "
        )
        if starter.why_not:
            lines += wrapped(starter.why_not, "  ")
        for step in starter.refined:
            lines += wrapped(f"Refined: {step}.", "  ")
        for note in starter.notes:
            lines += wrapped(note, "  ")
        lines += ["  Sizes"]
        lines += [f"    {line}" for line in sizes_lines(starter, system)]
    return [*lines, "", *wrapped(unknowns.words)]


def sizes_lines(starter: Starter, system: str = "si") -> list[str]:
    """The sizes that a person buys or makes by, one a line; how each was found stands in the file."""
    names = ("bore", "charge_length", "coolant_length", "cooling_length", "stack_height", "volume", "inlet_area")
    told: dict[str, list[str]] = {}
    for rule in starter.sized:
        table, _, key = rule.key.rpartition(".")
        if key in names:
            told.setdefault(table.removeprefix("parts."), []).append(f"{key.replace('_', ' ')} {rule.value}")
    return [units.retold(f"{part}: {', '.join(sizes)}", system) for part, sizes in told.items()]


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
                "why_not": units.retold(one.why_not, system),
                "intake_max_K": one.peak,
                "margin_K": _number(one.margin),
                "charge_loss_Pa": one.charge_loss,
                "charge_volume_m3": one.charge_volume,
                "coolant": one.coolant,
                "refined": [units.retold(step, system) for step in one.refined],
                "notes": [units.retold(note, system) for note in one.notes],
                "sized": [
                    {"key": rule.key, "value": rule.value, "rule": rule.sentence, "source": rule.source}
                    for rule in one.sized
                ],
            }
            for one in starters
        ],
        "unknowns": {
            "words": units.retold(unknowns.words, system),
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
