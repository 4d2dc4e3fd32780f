"""How a key is described to its user: how it is written, its default, its range; the list of keys and the page show it.

Here: `form`, `default`, `allowed`, `shown_as`.  All of it is made from the field metadata of the specifications.
"""

from __future__ import annotations

from typing import Any

from coldside import units
from coldside.build.schema import SpecField
from coldside.build.values import curve_form, may_be_flat

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
_SHOWN_AS = {
    **{(key, "power"): "heat" for key in ("heat", "bench_heat", "bench2_heat")},
    ("charge_volume", "volume"): "air_volume",
    ("displacement", "volume"): "engine_volume",
    ("chamber_volume", "volume"): "engine_volume",
}
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


def shown_as(key: str, kind: str) -> str:
    """The kind that a key's value is shown as: heat, air and an engine's size each have units of their own."""
    return _SHOWN_AS.get((key, kind), kind)


def form(item: SpecField) -> str:
    """How a key's value is written, in examples."""
    meta = item.meta
    if meta.choices:
        return ", ".join(f'"{choice}"' for choice in meta.choices)
    if meta.kind == "curve" and meta.curve:
        flat = f'"{units.KINDS[meta.curve[1]].examples[0]}" at every speed, or ' if may_be_flat(meta) else ""
        return flat + curve_form(meta.curve)
    if meta.kind == "number":
        return f"{example(item):.3g}"
    if meta.kind in FORMS:
        return FORMS[meta.kind]
    if meta.kind in (*SIZED, *RANGED) and not all(inside(item, text) for text in units.KINDS[meta.kind].examples):
        shown = (said(example(item), item, system) for system in ("si", "us"))
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


def said(value: Any, item: SpecField, system: str = "si") -> str:
    """An SI value in the words of a workshop."""
    kind = item.meta.kind
    return units.show(value, shown_as(item.key, kind), system) if kind in units.KINDS else f"{value:g}"


def default(item: SpecField, system: str = "si") -> str:
    """The default with its standard deviation, or what is used when the key is absent; "" where it is required."""
    meta, value = item.meta, item.default
    if item.required:
        return ""
    if value is None:
        return meta.when_absent or "none"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        if meta.sd_share and meta.kind != "share":
            return f"{said(value, item, system)} +- {100.0 * meta.sd_share:g} %"
        spread = meta.sd if meta.sd is not None else (meta.sd_share or 0.0) * abs(value)
        kind = "temperature_difference" if meta.kind == "temperature" else shown_as(item.key, meta.kind)
        told = units.show(spread, kind, system) if meta.kind in units.KINDS else format(spread, "g")
        extra = f" +- {told}" if spread else ""
        return said(value, item, system) + extra
    if isinstance(value, units.Pressure):
        return units.show(value, meta.kind, system)
    if hasattr(value, "mode"):
        return str(value.mode)
    if isinstance(value, tuple | list | dict):
        return ", ".join(str(entry) for entry in value) or "none"
    return str(value)


def allowed(item: SpecField, system: str = "si") -> str:
    """The range that is accepted."""
    low, high = item.meta.low, item.meta.high
    if low is None and high is None:
        return ""
    if high is None:
        return f"from {said(low, item, system)}"
    return (
        f"{said(low, item, system)} to {said(high, item, system)}"
        if low is not None
        else f"up to {said(high, item, system)}"
    )
