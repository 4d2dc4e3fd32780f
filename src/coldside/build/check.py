"""What `coldside check` says of a build: its paths drawn in characters, how text was read, defaults, concerns.

What is here: `describe` (lines for a terminal of 80 columns), `draw_path`, `concerns` (what is allowed but
worth a look).  What is not: refusals, which `build/files.py` raises before a `Build` exists.
"""

from __future__ import annotations

import re
import textwrap
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

from coldside import units
from coldside.build.model import Build, Given, Parallel, Path, names_on
from coldside.build.schema import PART_KINDS, LoopKeys, SpecField, fields_of
from coldside.media.coolants import parse_coolant
from coldside.parts import airflow
from coldside.parts.airflow import FanSpec
from coldside.parts.engine import RPM
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec, rating_notes
from coldside.parts.pump import PumpSpec
from coldside.parts.sensor import SensorSpec

WIDTH = 80  # columns of a terminal
_KIND_OF = {spec: kind for kind, spec in PART_KINDS.items()}
_KEY_COLUMN = 25
_GLUE = "\u00a0"  # a blank at which no line is broken


def describe(build: Build, system: str = "si", sections: Sequence[tuple[str, Sequence[str]]] = ()) -> list[str]:
    """What was read, line by line, at most 80 columns where names allow: `system` is "si" or "us".

    Name and counts, every path, how ambiguous text was read, concerns, then `sections` (heading, sentences) of
    whoever has looked further at the build, and every default with its uncertainty and what it means.
    """
    lines = [build.name, *_wrapped(f"{build.file}: {_counts(build)}", ""), "", "Paths"]
    lines += _paths(build, system)
    if build.notes:
        lines += ["", "How it was read"]
        lines += [line for note in build.notes for line in _wrapped(units.retold(note, system), "  ")]
    worries = [units.retold(worry, system) for worry in concerns(build)]
    if worries:
        lines += ["", "Worth a look"]
        lines += [line for worry in worries for line in _wrapped(worry, "  ")]
    for title, said in sections:
        lines += ["", title]
        lines += [line for sentence in said for line in _wrapped(sentence, "  ")]
    lines += ["", *_defaults(build, system)]
    return lines


def draw_path(path: Path) -> str:
    """A path in characters: `a > ( b | c > d ) > e`; groups in parallel in brackets."""
    return " > ".join(
        "( " + " | ".join(draw_path(branch) for branch in item.branches) + " )" if isinstance(item, Parallel) else item
        for item in path
    )


def concerns(build: Build) -> list[str]:
    """What is allowed but may not be meant, one sentence each."""
    return list(_concerns(build))


def _concerns(build: Build) -> Iterator[str]:
    charge = names_on(build.charge)
    kinds = {_KIND_OF[type(build.parts[name])] for name in charge}
    if not any(isinstance(build.parts[name], SensorSpec) for name in charge):
        yield "no sensor on the charge path: what reads the charge reads the gas at the plenum itself"
    for kind, what in (
        ("filter", "loss before the compressor"),
        ("throttle", "throttle loss"),
        ("plenum", "plenum metal"),
    ):
        if kind not in kinds:
            yield f"no {kind} on the charge path: no {what} is reckoned with"
    if not {"water_core", "air_core"} & kinds:
        yield "no core on the charge path: the charge is not cooled"
    yield from _curve_ends(build)
    yield from _contradictions(build)
    for name, part in build.parts.items():
        if isinstance(part, PumpSpec | FanSpec) and part.control.mode == "off":
            yield f'{name}: control is "off", so it never runs'
    for duct in build.ducts.values():
        faces = [name for name in names_on(duct.path) if isinstance(build.parts[name], AirCoreSpec | ExchangerSpec)]
        if faces and build.parts[faces[-1]].covers < 1.0:
            share = units.show(build.parts[faces[-1]].covers, "share")
            yield f"{faces[-1]}: covers {share} of the next face, but none stands behind it in duct {duct.name}"
        for doubt in airflow.doubts(duct.spec):
            yield f"duct {duct.name}: {doubt}"


def _contradictions(build: Build) -> Iterator[str]:
    """Parts whose two bench points no one core can give."""
    for name, part in build.parts.items():
        if isinstance(part, WaterCoreSpec | AirCoreSpec) or (isinstance(part, ExchangerSpec) and part.heat is None):
            loop = next((loop for loop in build.loops.values() if name in names_on(loop.path)), None)
            notes = rating_notes(part, None if loop is None else parse_coolant(loop.coolant))
            yield from (f"{name}: {note}" for note in notes if "contradict" in note)


def _curve_ends(build: Build) -> Iterator[str]:
    """Curves of the engine that stop short of its top speed."""
    engine = build.engine
    for name, curve in (("boost", engine.boost), ("volumetric_efficiency", engine.volumetric_efficiency)):
        if curve and curve[-1][0] < engine.top_speed * (1.0 - 1e-9):
            yield (
                f"engine.{name} ends at {curve[-1][0] / RPM:.0f} rpm, below top_speed {engine.top_speed / RPM:.0f} rpm:"
                " its last value is held"
            )


def _counts(build: Build) -> str:
    kinds = Counter(_KIND_OF[type(part)] for part in build.parts.values() if type(part) in _KIND_OF)  # not the engine
    parts = ", ".join(f"{n} {kind}" for kind, n in kinds.items())
    paths = f"{_many(len(build.loops), 'loop')}, {_many(len(build.ducts), 'duct')}"
    return f"{_many(kinds.total(), 'part')} ({parts}), {paths}"


def _many(count: int, word: str) -> str:
    return f"{count or 'no'} {word}{'' if count == 1 else 's'}"


def _paths(build: Build, system: str) -> list[str]:
    rows = [("charge", draw_path(build.charge) + " > engine")]
    for name, loop in build.loops.items():
        rows.append((f"loop {name}", f"{draw_path(loop.path)} > back to the start"))
        cap = "" if loop.cap_pressure is None else f", cap {units.show(loop.cap_pressure, 'pressure_gauge', system)}"
        rows.append(("", f"({loop.coolant}{cap})"))
    for name, duct in build.ducts.items():
        rows.append((f"duct {name}", f"{duct.spec.place} > {draw_path(duct.path)} > out"))
    column = min(max(len(label) for label, _ in rows), 24) + 4
    lines: list[str] = []
    for label, drawn in rows:
        if len(label) + 4 > column:
            lines.append(f"  {label}")
            label = ""
        lines += _hung(drawn, f"  {label}".ljust(column), " " * column)
    return lines


def _hung(drawn: str, first: str, later: str) -> list[str]:
    """Break a drawn path before its signs so that it stays within the width."""
    tokens = re.split(r" (?=[>|] )", drawn)
    lines = [first + tokens[0]]
    for token in tokens[1:]:
        if len(lines[-1]) + 1 + len(token) > WIDTH:
            lines.append(later + token)
        else:
            lines[-1] += " " + token
    return lines


def _wrapped(text: str, indent: str, hang: int = 2) -> list[str]:
    """Lines of at most 80 columns; a number stays with the word behind it."""
    whole = re.sub(r"(?<=\d) (?=[A-Za-z%])", _GLUE, text)
    whole = re.sub(r"/\([^)]*\)", lambda found: found.group().replace(" ", _GLUE), whole)  # BTU/(h ft2 degF)
    rows = textwrap.wrap(
        whole,
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent + " " * hang,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [row.replace(_GLUE, " ") for row in rows]


# -- defaults ----------------------------------------------------------------------------------------
def _defaults(build: Build, system: str) -> list[str]:
    """The keys that took a default; tables that took the same ones stand together."""
    tables: dict[str, list[tuple[str, Given]]] = {}
    for key, value in build.defaults():
        table, _, name = key.rpartition(".")
        tables.setdefault(table, []).append((name, value))
    if not tables:
        return ["Every value is given; no default is used"]
    blocks: dict[tuple[str, ...], list[str]] = {}
    for table, rows in tables.items():
        fields = {item.key: item for item in fields_of(_spec_of(build, table))}
        block = tuple(line for name, value in rows for line in _default_lines(fields[name], value, system))
        blocks.setdefault(block, []).append(table)
    count = sum(len(rows) for rows in tables.values())
    lines = [
        f"Not given: {_many(count, 'default')} {'is' if count == 1 else 'are'} used (+- is one standard deviation)"
    ]
    for block, names in blocks.items():
        lines += _wrapped(", ".join(names), "  ")
        lines += block
    return lines


def _spec_of(build: Build, table: str) -> type:
    """The specification that a table was read into."""
    first, _, name = table.partition(".")
    if first == "loops":
        return LoopKeys
    if first == "ducts":
        return type(build.ducts[name].spec)
    if first == "parts":
        return type(build.parts[name])
    return type(getattr(build, first))


def _default_lines(item: SpecField, given: Given, system: str) -> list[str]:
    """One default: key and value with its uncertainty, below it what it means."""
    value = default_text(item, given, system)
    lines = _wrapped(f"{item.key:<{_KEY_COLUMN}}{value.replace(' +- ', ' +-' + _GLUE)}", "    ", _KEY_COLUMN)
    return lines + _wrapped(units.retold(given.help, system, quoted=True), "      ")


def default_text(item: SpecField, given: Given, system: str = "si") -> str:
    """A default in the words of a system of units, with its uncertainty: "20 K +- 8 K", "0.31 m +- 5 %"."""
    kind = item.meta.kind
    in_words = given.value is None or kind not in units.KINDS
    text = units.retold(given.text, system) if in_words else units.show(given.value, kind, system)
    if item.meta.sd_share is not None and given.sd is not None and kind != "share":  # a % behind a % would be points
        return f"{text} +- {100.0 * item.meta.sd_share:.3g} %"
    if given.sd is None:
        return text
    return f"{text} +- {show_sd(given.sd, kind, system)}"


def show_sd(sd: Any, kind: str, system: str = "si") -> str:
    """A standard deviation as it is read: a difference for temperatures and pressures."""
    differences = {
        "temperature": "temperature_difference",
        "pressure": "pressure_difference",
        "boost": "pressure_difference",
    }
    return units.show(sd, differences.get(kind, kind), system)
