"""SI -> text: what a workshop reads, in either system of units.

What is here: `show` (one value), `UNIT` (label and scale of each kind for charts and tables), `system_of` (the system
that a text is written in) and `retold` (a sentence of ours in the other system).  What is not: reading (`reading.py`).
"""

from __future__ import annotations

import math
import re
from typing import Any

from coldside.units.kinds import (
    BTU,
    DEGF,
    FOOT,
    HP,
    KINDS,
    POUND,
    PSI,
    US_GAL,
    Pressure,
    Shown,
)
from coldside.units.reading import (
    SIGNS,
)

_US_WORDS = re.compile(
    r"(?<![A-Za-z])(psi\w?|degF|F|lbs?|lbm|oz|US|imp|in[23]?|inch(es)?|ft[23]?|mph|hp|cfm|BTU|Btu|inHg|inH2O)(?![A-Za-z])"
)


def system_of(text: str) -> str:
    """ "us" if a text is written in inch-pound units, else "si": to answer a user in the units they think in."""
    return "us" if _US_WORDS.search(text.translate(SIGNS)) else "si"


def _scaled(kind: str, unit: str, spelling: str | None = None) -> Shown:
    factor = KINDS[kind].factors[spelling or unit]
    offset = KINDS[kind].offsets.get(spelling or unit, 0.0)
    if offset:
        return Shown(unit, lambda value: (value - offset) / factor)
    return Shown(unit, lambda value: value / factor)


def _both(kind: str, si: str, us: str) -> dict[tuple[str, str], Shown]:
    return {(kind, "si"): _scaled(kind, si), (kind, "us"): _scaled(kind, us)}


# (kind, "si" | "us") -> Shown, for axes and tables whose unit must not change from row to row.
# `pressure` is absolute Pa, `pressure_gauge` gauge Pa; `heat` is a power, W.
UNIT: dict[tuple[str, str], Shown] = {
    **_both("length", "mm", "in"),
    **_both("area", "cm2", "in2"),
    **_both("volume", "L", "US gal"),
    **_both("mass", "kg", "lb"),
    **_both("mass_flow", "kg/s", "lb/min"),
    **_both("volume_flow", "L/min", "US gal/min"),
    **_both("speed", "km/h", "mph"),
    **_both("engine_speed", "rpm", "rpm"),
    **_both("time", "s", "s"),
    **_both("temperature", "degC", "degF"),
    **_both("temperature_difference", "K", "degF rise"),
    **_both("pressure", "bar abs", "psi abs"),
    ("pressure_gauge", "si"): _scaled("pressure", "bar gauge"),
    ("pressure_gauge", "us"): _scaled("pressure", "psi gauge"),
    **_both("boost", "bar", "psi"),
    **_both("pressure_difference", "kPa", "psi"),
    **_both("head", "m", "ft"),
    **_both("force", "N", "lbf"),
    **_both("voltage", "V", "V"),
    **_both("current", "A", "A"),
    **_both("power", "kW", "hp"),
    # heat on its way is a power that the inch-pound trade counts by the minute, as it does air, fuel and coolant
    ("heat", "si"): _scaled("power", "kW"),
    ("heat", "us"): _scaled("power", "BTU/min"),
    # air that a tract holds is no liquid: nobody measures it in gallons; fuel is sold to injectors by the hour
    ("air_volume", "si"): _scaled("volume", "L"),
    ("air_volume", "us"): _scaled("volume", "ft3"),
    # an engine's size is told in litres or cubic inches, however small it is
    ("engine_volume", "si"): _scaled("volume", "L"),
    ("engine_volume", "us"): _scaled("volume", "in3"),
    ("fuel_flow", "si"): _scaled("mass_flow", "kg/s"),
    ("fuel_flow", "us"): _scaled("mass_flow", "lb/h"),
    **_both("conductance", "W/K", "BTU/(h degF)"),
    **_both("angle", "deg", "deg"),
    **_both("share", "%", "%"),
    **_both("command", "%", "%"),
    **_both("number", "", ""),
    **_both("count", "", ""),
}

# (kind, system) -> units by size: the first whose bound the absolute SI value is below.
_BY_SIZE: dict[tuple[str, str], tuple[tuple[float, str], ...]] = {
    ("length", "si"): ((1.0, "mm"), (math.inf, "m")),
    ("length", "us"): ((3 * FOOT, "in"), (math.inf, "ft")),
    ("area", "si"): ((0.2, "cm2"), (math.inf, "m2")),
    ("area", "us"): ((2 * FOOT**2, "in2"), (math.inf, "ft2")),
    ("volume", "si"): ((1e-4, "mL"), (math.inf, "L")),
    ("volume", "us"): ((0.25 * US_GAL, "in3"), (math.inf, "US gal")),
    ("air_volume", "si"): ((1e-4, "mL"), (math.inf, "L")),
    ("air_volume", "us"): ((FOOT**3, "in3"), (math.inf, "ft3")),
    ("fuel_flow", "si"): ((0.01, "g/s"), (math.inf, "kg/s")),
    ("volume_flow", "si"): ((0.02, "L/min"), (math.inf, "m3/s")),
    ("volume_flow", "us"): ((0.02, "US gal/min"), (math.inf, "cfm")),
    ("mass", "si"): ((0.1, "g"), (math.inf, "kg")),
    ("mass", "us"): ((0.1 * POUND, "oz"), (math.inf, "lb")),
    ("mass_flow", "si"): ((0.01, "g/s"), (math.inf, "kg/s")),
    ("mass_flow", "us"): ((0.001, "oz/min"), (math.inf, "lb/min")),
    ("time", "si"): ((120.0, "s"), (7200.0, "min"), (math.inf, "h")),
    ("time", "us"): ((120.0, "s"), (7200.0, "min"), (math.inf, "h")),
    ("pressure_difference", "si"): ((1000.0, "Pa"), (math.inf, "kPa")),
    ("pressure_difference", "us"): ((0.2 * PSI, "inH2O"), (math.inf, "psi")),
    ("power", "si"): ((1000.0, "W"), (math.inf, "kW")),
    ("power", "us"): ((0.5 * HP, "W"), (math.inf, "hp")),
    ("heat", "si"): ((1000.0, "W"), (math.inf, "kW")),
}
_AS = {
    "heat": "power",
    "air_volume": "volume",
    "engine_volume": "volume",
    "fuel_flow": "mass_flow",
}  # kinds that only sentences have
_ONE_DECIMAL = {"temperature", "temperature_difference"}


def show(value: Any, kind: str, system: str = "si", digits: int | None = None) -> str:
    """An SI value in the words of a workshop: "54.3 degC", "22 psi gauge", "9.5 L"; `parse` reads it back.

    Parameters
    ----------
    value : SI float (absolute Pa for `pressure`), a `Pressure`, or None (shown as "not given").
    kind : a name of `KINDS`, "pressure_gauge" for gauge Pa, "heat" for a power that is heat, W, "air_volume" for a
        volume of air, m3, "engine_volume" for what an engine sweeps, m3, or "fuel_flow" for a mass flow of fuel, kg/s.
    system : "si" or "us".
    digits : decimals; without it three significant digits (engine speeds and whole parts are never
        rounded away; temperatures to a tenth), trailing zeros dropped.
    """
    if value is None:
        return "not given"
    if isinstance(value, Pressure):
        kind, value = ("pressure_gauge" if value.gauge else "pressure"), value.value
    elif kind == "boost":
        kind = "pressure_gauge"
    value = float(value)
    if not math.isfinite(value):
        return "not known"
    shown = _shown(value, kind, system)
    number = _rounded(float(shown.from_si(value)), kind, digits)
    return f"{number} {shown.label}".rstrip()


def _shown(value: float, kind: str, system: str) -> Shown:
    for bound, unit in _BY_SIZE.get((kind, system), ()):
        if abs(value) < bound:
            if value == 0.0:
                break
            return _scaled(_AS.get(kind, kind), unit)
    return UNIT[(kind, system)]


def _rounded(number: float, kind: str, digits: int | None) -> str:
    if digits is not None:
        return f"{number + 0.0:.{digits}f}"
    if kind in _ONE_DECIMAL:
        decimals = 1
    elif number == 0.0:
        decimals = 0
    else:
        decimals = min(max(2 - math.floor(math.log10(abs(number))), 0), 9)
    text = f"{number:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


# -- retelling ---------------------------------------------------------------------------------------
# unit in a sentence of ours -> the kind it is shown as
_TOLD = {
    "degC": "temperature",
    "K": "temperature_difference",
    **dict.fromkeys(("bar abs", "bar absolute", "kPa abs", "kPa absolute"), "pressure"),
    **dict.fromkeys(("bar gauge", "kPa gauge"), "pressure_gauge"),
    **dict.fromkeys(("bar", "kPa", "Pa"), "pressure_difference"),
    **dict.fromkeys(("kg/s", "g/s"), "mass_flow"),
    **dict.fromkeys(("L/min", "m3/s"), "volume_flow"),
    **dict.fromkeys(("km/h", "m/s"), "speed"),
    **dict.fromkeys(("mm", "cm", "m"), "length"),
    **dict.fromkeys(("cm2", "m2"), "area"),
    **dict.fromkeys(("mL", "L"), "volume"),
    **dict.fromkeys(("kg", "g"), "mass"),
    "kW": "power",
    "W/K": "conductance",
}
# compound units that only sentences have: inch-pound name and what one of ours is in it
_TOLD_COMPOUND = {
    "W/(m2 K)": ("BTU/(h ft2 degF)", FOOT**2 * DEGF / (BTU / 3600)),
    "W/(m K)": ("BTU/(h ft degF)", FOOT * DEGF / (BTU / 3600)),
    "W/K per kg": ("BTU/(h degF) per lb", POUND * DEGF / (BTU / 3600)),
    "W/K per m2": ("BTU/(h degF) per ft2", FOOT**2 * DEGF / (BTU / 3600)),
}
_TOLD_UNIT = "|".join(re.escape(unit) for unit in sorted([*_TOLD, *_TOLD_COMPOUND], key=len, reverse=True))
_TOLD_QUANTITY = re.compile(
    rf"(?<![\w.,/-])(-?[0-9]+(?:\.[0-9]+)?)(?: to (-?[0-9]+(?:\.[0-9]+)?))? ({_TOLD_UNIT})(?![\w/(-])"
)
_WARMEST_DIFFERENCE = 200.0  # K; a number of kelvins above it is a temperature


def retold(text: str, system: str, *, quoted: bool = False) -> str:
    """A sentence of ours with the quantities in it said in a system's units: "10 W/K per m2", "2 K below".

    For texts that hold quantities as words (what stands for an absent key, notes, warnings); "si" leaves them
    alone.  What stands in double quotes is what a user typed or could type and stays, but with `quoted`, for
    texts whose examples are ours.
    """
    if system != "us":
        return text
    pieces = re.split(r'("[^"]*")', text)
    for index, piece in enumerate(pieces):
        typed_text = index % 2 == 1
        if not typed_text or quoted:
            pieces[index] = _TOLD_QUANTITY.sub(lambda found, typed_text=typed_text: _told(found, typed_text), piece)
    return "".join(pieces)


def _told(found: re.Match[str], typed_text: bool) -> str:
    """One quantity, or two with "to" between them, in inch-pound units."""
    first, second, unit = found.groups()
    said = [_told_one(number, unit, typed_text) for number in (first, second) if number is not None]
    if len(said) == 2 and said[0].partition(" ")[2] == said[1].partition(" ")[2]:
        said[0] = said[0].partition(" ")[0]
    return " to ".join(said)


def _told_one(text: str, unit: str, typed_text: bool) -> str:
    number = float(text)
    if unit in _TOLD_COMPOUND:
        name, scale = _TOLD_COMPOUND[unit]
        return f"{number * scale:.3g} {name}"
    kind = _TOLD[unit]
    if unit == "K" and abs(number) > _WARMEST_DIFFERENCE:
        kind = "temperature"
    source = "pressure" if kind == "pressure_gauge" else kind
    factors = KINDS[source].factors
    value = number * factors[unit] + KINDS[source].offsets.get(unit, 0.0)
    whole = kind == "temperature" and "." not in text  # told in whole degrees, shown in whole degrees
    said = show(value, kind, "us", 0 if whole else None)
    return said if typed_text else said.removesuffix(" rise")
