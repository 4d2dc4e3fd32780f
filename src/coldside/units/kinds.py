"""Kinds of quantity with their spellings and factors: the only place where a unit is spelled.

What is here: `Pressure` (a level with its gauge word), `Quantity` (what was read), `Kind` and `KINDS`.  What is not:
reading (`reading.py`), showing (`showing.py`), and kinds that are no quantity (choice, flag, control, coolant, curve:
`build/schema.py`).

A temperature and a difference of temperatures are different kinds, as are a pressure level, a pressure
difference and boost; no text is valid for two of them by accident.  Factors are exact definitions where
one exists: inch, pound, gallons and horsepower after NIST SP 811 appendix B (from memory), each checked
against the reference library `pint` in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

STANDARD_PRESSURE = 101325.0  # Pa, standard atmosphere at sea level
ZERO_CELSIUS = 273.15  # K


@dataclass(frozen=True)
class Pressure:
    """A pressure level as the user wrote it: `value` in Pa and whether it is gauge.

    Stays so until the surroundings are known; `absolute(ambient)` needs the local air pressure.
    """

    value: float
    gauge: bool

    def absolute(self, ambient: float) -> float:
        """Absolute pressure, Pa; `ambient` is the local absolute air pressure, Pa."""
        return self.value + ambient if self.gauge else self.value


@dataclass(frozen=True)
class Quantity:
    """One value as read: `value` in SI (a `Pressure` for levels), `sd` one standard deviation in the
    same SI unit (a difference for temperatures and pressures) or None, `text` as typed, `notes` how
    ambiguous text was read.
    """

    value: Any
    sd: float | None
    text: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Kind:
    """One kind of quantity: its name in words, its spellings with their factors, examples."""

    words: str  # "a volume"
    factors: Mapping[str, float]  # spelling -> SI factor
    examples: tuple[str, ...]  # complete texts, SI first
    units: tuple[str, ...]  # the spellings worth naming in a refusal, SI first
    offsets: Mapping[str, float] = field(default_factory=dict)  # spelling -> added after scaling


class Shown(NamedTuple):
    """How a kind is drawn on an axis: unit label, and SI -> number in that unit (floats or arrays)."""

    label: str
    from_si: Callable[[Any], Any]


# -- exact definitions -------------------------------------------------------------------------------
INCH = 0.0254
FOOT = 12 * INCH
POUND = 0.45359237
_GRAVITY = 9.80665
US_GAL = 231 * INCH**3
_IMP_GAL = 4.54609e-3
PSI = POUND * _GRAVITY / INCH**2
HP = 550 * FOOT * POUND * _GRAVITY
_PS = 75 * _GRAVITY
BTU = 1055.05585262  # international table
DEGF = 5.0 / 9.0
_MERCURY = 13595.1 * _GRAVITY  # Pa per metre of mercury, conventional
WATER = 1000.0 * _GRAVITY  # Pa per metre of water, conventional


def _spell(*groups: tuple[str, float]) -> dict[str, float]:
    """Spellings from ("mL|cm3|cc", factor) groups."""
    return {name: factor for names, factor in groups for name in names.split("|")}


def _per(amounts: Mapping[str, float], times: Mapping[str, float]) -> dict[str, float]:
    """Flows: every amount over every time."""
    return {f"{a}/{t}": fa / ft for a, fa in amounts.items() for t, ft in times.items()}


_TIMES = _spell(
    ("s|sec|secs|second|seconds", 1.0),
    ("ms", 1e-3),
    ("min|mins|minute|minutes", 60.0),
    ("h|hr|hrs|hour|hours", 3600.0),
)
_RATES = _spell(("s|sec", 1.0), ("min", 60.0), ("h|hr", 3600.0))
_LENGTHS = _spell(
    ("um", 1e-6),
    ("mm", 1e-3),
    ("cm", 1e-2),
    ("m", 1.0),
    ("km", 1e3),
    ("in|inch|inches", INCH),
    ("ft|foot|feet", FOOT),
    ("mi|mile|miles", 5280 * FOOT),
)
_AREAS = _spell(
    ("mm2|sq mm", 1e-6),
    ("cm2|sq cm", 1e-4),
    ("m2|sq m", 1.0),
    ("in2|sq in", INCH**2),
    ("ft2|sq ft", FOOT**2),
)
_VOLUMES = _spell(
    ("mL|ml|cm3|cc", 1e-6),
    ("L|l|liter|liters|litre|litres|dm3", 1e-3),
    ("m3", 1.0),
    ("in3|cu in|cid|ci", INCH**3),
    ("ft3|cu ft", FOOT**3),
    ("US gal|US gallon|US gallons", US_GAL),
    ("US qt|US quart|US quarts", US_GAL / 4),
    ("imp gal|imp gallon|imp gallons|imperial gal", _IMP_GAL),
    ("imp qt", _IMP_GAL / 4),
)
_MASSES = _spell(
    ("g", 1e-3),
    ("kg", 1.0),
    ("t|tonne", 1e3),
    ("lb|lbs|lbm|pound|pounds", POUND),
    ("oz", POUND / 16),
)
PRESSURES = _spell(
    ("Pa", 1.0),
    ("hPa|mbar", 100.0),
    ("kPa", 1e3),
    ("MPa", 1e6),
    ("bar", 1e5),
    ("psi", PSI),
    ("atm", STANDARD_PRESSURE),
    ("kgf/cm2", _GRAVITY * 1e4),
    ("inHg|in Hg", _MERCURY * INCH),
    ("mmHg|mm Hg", _MERCURY * 1e-3),
    ("inH2O|in H2O|in wc|in wg|inwc|inwg|in WC|in WG|inWC|inWG", WATER * INCH),
    ("mmH2O|mm H2O", WATER * 1e-3),
)
_GAUGE_WORDS = (" gauge", " gage", "(g)", " (g)", " g")
_ABS_WORDS = (" abs", " absolute", "(a)", " (a)", " a")
_GAUGE_SHORT = {"psig": "psi", "barg": "bar", "mbarg": "mbar", "kPag": "kPa"}
_ABS_SHORT = {"psia": "psi", "bara": "bar", "mbara": "mbar", "kPaa": "kPa"}


def _levels(words: tuple[str, ...], short: Mapping[str, str]) -> dict[str, float]:
    spelled = {unit + word: factor for unit, factor in PRESSURES.items() for word in words}
    return spelled | {name: PRESSURES[unit] for name, unit in short.items()}


GAUGE = _levels(_GAUGE_WORDS, _GAUGE_SHORT)
ABS = _levels(_ABS_WORDS, _ABS_SHORT)
_CELSIUS = ("degC", "C", "celsius")
FAHRENHEIT = ("degF", "F", "fahrenheit")
RISES = {f"{u} rise": 1.0 for u in _CELSIUS} | {f"{u} rise": DEGF for u in FAHRENHEIT}
RISES |= {"K": 1.0, "delta_degC": 1.0, "delta_degF": DEGF}

KINDS: dict[str, Kind] = {
    "length": Kind("a length", _LENGTHS, ("0.4 m", "16 in"), ("mm", "cm", "m", "in", "ft")),
    "area": Kind("an area", _AREAS, ("180 cm2", "28 in2"), ("cm2", "m2", "in2", "ft2")),
    "volume": Kind("a volume", _VOLUMES, ("9 L", "2.4 US gal"), ("L", "US gal", "mL", "in3", "imp gal")),
    "mass": Kind("a mass", _MASSES, ("2.6 kg", "5.7 lb"), ("kg", "lb", "g")),
    "mass_flow": Kind(
        "a mass flow",
        _per(_MASSES, _RATES) | {"pph": POUND / 3600},
        ("0.25 kg/s", "33 lb/min"),
        ("kg/s", "lb/min", "g/s", "kg/h", "lb/h"),
    ),
    "volume_flow": Kind(
        "a volume flow",
        _per(_VOLUMES, _RATES)
        | _spell(
            ("cfm|CFM", FOOT**3 / 60),
            ("lpm|LPM", 1e-3 / 60),
            ("lph|LPH", 1e-3 / 3600),
            ("US gpm", US_GAL / 60),
            ("imp gpm", _IMP_GAL / 60),
        ),
        ("14 L/min", "3.7 US gal/min"),
        ("L/min", "US gal/min", "m3/h", "m3/s", "cfm", "imp gal/min"),
    ),
    "speed": Kind(
        "a speed",
        _per(_spell(("m", 1.0), ("km", 1e3), ("ft", FOOT)), _RATES)
        | _spell(("kph|km/h|kmh", 1 / 3.6), ("mph|MPH", 5280 * FOOT / 3600)),
        ("8 m/s", "18 mph"),
        ("km/h", "mph", "m/s", "ft/s"),
    ),
    "engine_speed": Kind(
        "an engine or shaft speed",
        _spell(("rpm|rev/min|1/min", 1 / 60), ("rev/s|1/s", 1.0)),
        ("6000 rpm", "100 rev/s"),
        ("rpm", "rev/s"),
    ),
    "time": Kind("a time", _TIMES, ("11 s", "4 min"), ("s", "min", "h")),
    "temperature": Kind(
        "a temperature",
        {"K": 1.0} | dict.fromkeys(_CELSIUS, 1.0) | dict.fromkeys(FAHRENHEIT, DEGF),
        ("31 degC", "88 degF"),
        ("degC", "degF", "K"),
        dict.fromkeys(_CELSIUS, ZERO_CELSIUS) | dict.fromkeys(FAHRENHEIT, ZERO_CELSIUS - 32 * DEGF),
    ),
    "temperature_difference": Kind(
        "a temperature difference", RISES, ("20 K", "35 degF rise"), ("K", "degC rise", "degF rise")
    ),
    "pressure": Kind(
        "a pressure level, gauge or abs,",
        GAUGE | ABS,
        ("0.9 bar gauge", "28 psi abs"),
        ("bar gauge", "bar abs", "psi gauge", "psi abs", "kPa gauge", "kPa abs"),
    ),
    "boost": Kind(
        "a boost pressure",
        PRESSURES | GAUGE | ABS,
        ("1.5 bar", "22 psi"),
        ("bar", "psi", "kPa", "bar abs", "psi abs"),
    ),
    "pressure_difference": Kind(
        "a pressure difference",
        PRESSURES | {"psid": PSI},
        ("9 kPa", "1.3 psi"),
        ("kPa", "Pa", "bar", "psi", "inH2O"),
    ),
    "head": Kind(
        "a head of the pumped fluid",
        _LENGTHS | _spell(("m of fluid", 1.0), ("ft of fluid", FOOT)),
        ("8 m", "26 ft"),
        ("m", "ft"),
    ),
    "force": Kind(
        "a force",
        _spell(("N", 1.0), ("kN", 1e3), ("lbf", POUND * _GRAVITY), ("kgf", _GRAVITY)),
        ("500 N", "110 lbf"),
        ("N", "lbf", "kgf"),
    ),
    "voltage": Kind("a voltage", _spell(("V|volt|volts", 1.0), ("mV", 1e-3)), ("13.5 V",), ("V",)),
    "current": Kind("a current", _spell(("A|amp|amps|ampere|amperes", 1.0), ("mA", 1e-3)), ("12 A",), ("A",)),
    "power": Kind(
        "a power",
        _spell(
            ("W", 1.0),
            ("kW", 1e3),
            ("MW", 1e6),
            ("hp|bhp", HP),
            ("PS", _PS),
            ("BTU/h|BTU/hr|Btu/h|Btu/hr", BTU / 3600),
            ("BTU/min|Btu/min", BTU / 60),
        ),
        ("18 kW", "24 hp"),
        ("W", "kW", "hp", "PS", "BTU/min", "BTU/h"),
    ),
    "conductance": Kind(
        "a heat conductance",
        _spell(("W/K|W/degC|W/C", 1.0), ("kW/K", 1e3))
        | {
            f"{btu}/{over}": BTU / 3600 / DEGF
            for btu in ("BTU", "Btu")
            for h in ("h", "hr")
            for f in ("degF", "F")
            for over in (f"({h} {f})", f"{h}/{f}", f"{h} {f}")
        },
        ("4 W/K", "7.6 BTU/(h degF)"),
        ("W/K", "BTU/(h degF)"),
    ),
    "angle": Kind(
        "an angle of the crank or eccentric shaft",
        _spell(("deg|degree|degrees|deg BTDC|degrees BTDC", math.pi / 180.0), ("rad", 1.0)),
        ("18 deg",),
        ("deg",),
    ),
    "share": Kind("a share", {"": 1.0, "%": 0.01, "percent": 0.01}, ("0.82", "82 %"), ("%",)),
    "number": Kind("a plain number", {"": 1.0}, ("0.6",), ()),
    "command": Kind("a command", {"": 1.0, "%": 0.01}, ("on", "off", "60 %"), ("%",)),
    "count": Kind("a whole number", {"": 1.0}, ("4",), ()),
}

BARE = {"share", "number", "command", "count"}  # kinds that need no unit
LEVELS = {"pressure", "boost"}
DIFFERENCE = {
    "temperature": "temperature_difference",
    "pressure": "pressure_difference",
    "boost": "pressure_difference",
}

_TWO_GALLONS = "a US or an imperial measure?"
AMBIGUOUS: dict[str, tuple[str, tuple[str, ...]]] = {
    **dict.fromkeys(("gpm", "gal/min", "gallon/min", "gallons/min"), (_TWO_GALLONS, ("US gal/min", "imp gal/min"))),
    **dict.fromkeys(("gph", "gal/h", "gal/hr"), (_TWO_GALLONS, ("US gal/h", "imp gal/h"))),
    **dict.fromkeys(("gal", "gals", "gallon", "gallons"), (_TWO_GALLONS, ("US gal", "imp gal"))),
    **dict.fromkeys(("qt", "qts", "quart", "quarts"), (_TWO_GALLONS, ("US qt", "imp qt"))),
    **dict.fromkeys(("ton", "tons"), ("which ton?", ("t", "lb"))),
}
STANDARD_FLOWS = ("scfm", "slm", "slpm", "nm3/h", "sccm")
