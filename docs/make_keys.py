"""Writes docs/keys.md, the list of every key of a build and a session, from the field metadata of the specifications.

Run `make keys` after a change of a specification; `tests/shape/test_keys.py` fails until it
is done.  Nothing is listed by hand here but the order of the tables.
"""

from __future__ import annotations

import inspect
from pathlib import Path
from typing import Any

from coldside import units
from coldside.build.brief import BriefSpec
from coldside.build.schema import PART_KINDS, LoopKeys, SpecField, fields_of
from coldside.build.values import curve_form
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
SIZED = ("length", "area", "volume", "mass", "mass_flow", "volume_flow", "power", "conductance", "time", "speed")
RANGED = (
    "share",
    "engine_speed",
    "temperature",
    "temperature_difference",
    "pressure_difference",
    "head",
    "voltage",
    "angle",
)
FORMS = {
    "text": '"..."',
    "count": "4",
    "numbers": "[3.3, 2.1, 1.5]",
    "flag": "true, false",
    "path": '["tank", "pump", ...]',
    "file": '"name of a file beside this one"',
    "coolant": '"water", "ethylene glycol 30 % by volume"',
    "fuel": '"gasoline 98", "E85", "gasoline 98 with 40 % E85"',
    "control": '"always", "schedule", "off", "above 40 degC charge, 4 K hysteresis"',
    "command": '"on", "off", "60 %"',
    "wire": '"2.5 mm2", "14 AWG"',
    "air": '[phases.air] nose = "8 m/s"',
    "by quantity": '"60 degC", "30 K", "15 %"',
}


def form(item: SpecField) -> str:
    """How the key's value is written."""
    meta = item.meta
    if meta.choices:
        return ", ".join(f'"{choice}"' for choice in meta.choices)
    if meta.kind == "curve" and meta.curve:
        return curve_form(meta.curve)
    if meta.kind == "number":
        return f"{example(item):.3g}"
    if meta.kind in FORMS:
        return FORMS[meta.kind]
    if meta.kind in (*SIZED, *RANGED) and not all(inside(item, text) for text in units.KINDS[meta.kind].examples):
        shown = (units.show(example(item), meta.kind, system) for system in ("si", "us"))
        return ", ".join(f'"{text}"' for text in dict.fromkeys(shown))
    return ", ".join(f'"{text}"' for text in units.KINDS[meta.kind].examples)


def inside(item: SpecField, text: str) -> bool:
    """Whether a text is in the key's range, and within a factor of 30 of its default."""
    low, high, value = item.meta.low, item.meta.high, units.parse(text, item.meta.kind).value
    sized = item.meta.kind in SIZED and isinstance(item.default, int | float) and item.default
    near = not sized or 1 / 30 < value / item.default < 30
    return near and (low is None or value >= low) and (high is None or value <= high)


def example(item: SpecField) -> float:
    """A number that the key can take: its default, or one in the middle of its range."""
    if isinstance(item.default, int | float) and item.default:
        return float(item.default)
    low, high = item.meta.low or 0.0, item.meta.high or 1.0
    middle = (low * high) ** 0.5 if low > 0.0 else 0.5 * (low + high)
    return float(f"{middle:.1g}")


def said(value: Any, item: SpecField) -> str:
    """An SI value in the words of a workshop."""
    kind = item.meta.kind
    return units.show(value, kind) if kind in units.KINDS else f"{value:g}"


def default(item: SpecField) -> str:
    """The default with its standard deviation, or that the key is required, or what is used when it is absent."""
    meta, value = item.meta, item.default
    if item.required:
        return "**required**"
    if value is None:
        return meta.when_absent or "none"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        if meta.sd_share and meta.kind != "share":
            return f"{said(value, item)} +- {100.0 * meta.sd_share:g} %"
        spread = meta.sd if meta.sd is not None else (meta.sd_share or 0.0) * abs(value)
        kind = "temperature_difference" if meta.kind == "temperature" else meta.kind
        extra = f" +- {units.show(spread, kind) if kind in units.KINDS else format(spread, 'g')}" if spread else ""
        return said(value, item) + extra
    if isinstance(value, units.Pressure):
        return units.show(value, meta.kind)
    if hasattr(value, "mode"):
        return str(value.mode)
    if isinstance(value, tuple | list | dict):
        return ", ".join(str(entry) for entry in value) or "none"
    return str(value)


def allowed(item: SpecField) -> str:
    """The range that is accepted."""
    low, high = item.meta.low, item.meta.high
    if low is None and high is None:
        return ""
    if high is None:
        return f"from {said(low, item)}"
    return f"{said(low, item)} to {said(high, item)}" if low is not None else f"up to {said(high, item)}"


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
        cells = (f"`{item.key}`", f"`{form(item)}`", default(item), allowed(item), item.meta.help)
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
