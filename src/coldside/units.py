"""Text <-> SI at the edge, by kind of field: the only place where a unit is spelled.

What is here: `Pressure` (a level with its gauge word), `Quantity` and `parse` (strict reader of
"number unit +- number unit" against the spellings of one kind), `show` (SI value -> what a workshop
reads), `UNIT` (label and scale of each kind for charts and tables), `KINDS`.  What is not: kinds that
are no quantity (choice, flag, control, coolant, curve: `build/schema.py`).

A temperature and a difference of temperatures are different kinds, as are a pressure level, a pressure
difference and boost; no text is valid for two of them by accident.  Factors are exact definitions where
one exists: inch, pound, gallons and horsepower after NIST SP 811 appendix B (from memory), each checked
against the reference library `pint` in the tests.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from coldside.errors import BadInput, nearest

STANDARD_PRESSURE = 101325.0  # Pa, standard atmosphere at sea level
ZERO_CELSIUS = 273.15  # K
LONGEST_TEXT = 120  # characters of a value's text
LONGEST_NUMBER = 24  # characters of a number inside it
CURLY = "“”„‟«»‘’‚‛"  # quotes that a text processor or a web page puts in place of straight ones
_ROOM_AIR = 1.204  # kg/m3, dry air at 20 degC and 101.325 kPa
_RATED_FUEL = 720.0  # kg/m3: 10.5 cc/min to 1 lb/h, the trade's conversion (common practice, no source)


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
_INCH = 0.0254
_FOOT = 12 * _INCH
_POUND = 0.45359237
_GRAVITY = 9.80665
_US_GAL = 231 * _INCH**3
_IMP_GAL = 4.54609e-3
_PSI = _POUND * _GRAVITY / _INCH**2
_HP = 550 * _FOOT * _POUND * _GRAVITY
_PS = 75 * _GRAVITY
_BTU = 1055.05585262  # international table
_DEGF = 5.0 / 9.0
_MERCURY = 13595.1 * _GRAVITY  # Pa per metre of mercury, conventional
_WATER = 1000.0 * _GRAVITY  # Pa per metre of water, conventional


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
    ("in|inch|inches", _INCH),
    ("ft|foot|feet", _FOOT),
)
_AREAS = _spell(
    ("mm2|sq mm", 1e-6),
    ("cm2|sq cm", 1e-4),
    ("m2|sq m", 1.0),
    ("in2|sq in", _INCH**2),
    ("ft2|sq ft", _FOOT**2),
)
_VOLUMES = _spell(
    ("mL|ml|cm3|cc", 1e-6),
    ("L|l|liter|liters|litre|litres|dm3", 1e-3),
    ("m3", 1.0),
    ("in3|cu in|cid", _INCH**3),
    ("ft3|cu ft", _FOOT**3),
    ("US gal|US gallon|US gallons", _US_GAL),
    ("US qt|US quart|US quarts", _US_GAL / 4),
    ("imp gal|imp gallon|imp gallons|imperial gal", _IMP_GAL),
    ("imp qt", _IMP_GAL / 4),
)
_MASSES = _spell(
    ("g", 1e-3),
    ("kg", 1.0),
    ("t|tonne", 1e3),
    ("lb|lbs|lbm|pound|pounds", _POUND),
    ("oz", _POUND / 16),
)
_PRESSURES = _spell(
    ("Pa", 1.0),
    ("hPa|mbar", 100.0),
    ("kPa", 1e3),
    ("MPa", 1e6),
    ("bar", 1e5),
    ("psi", _PSI),
    ("atm", STANDARD_PRESSURE),
    ("kgf/cm2", _GRAVITY * 1e4),
    ("inHg|in Hg", _MERCURY * _INCH),
    ("mmHg|mm Hg", _MERCURY * 1e-3),
    ("inH2O|in H2O|in wc|in wg|inwc|inwg|in WC|in WG|inWC|inWG", _WATER * _INCH),
    ("mmH2O|mm H2O", _WATER * 1e-3),
)
_GAUGE_WORDS = (" gauge", " gage", "(g)", " (g)", " g")
_ABS_WORDS = (" abs", " absolute", "(a)", " (a)", " a")
_GAUGE_SHORT = {"psig": "psi", "barg": "bar", "mbarg": "mbar", "kPag": "kPa"}
_ABS_SHORT = {"psia": "psi", "bara": "bar", "mbara": "mbar", "kPaa": "kPa"}


def _levels(words: tuple[str, ...], short: Mapping[str, str]) -> dict[str, float]:
    spelled = {unit + word: factor for unit, factor in _PRESSURES.items() for word in words}
    return spelled | {name: _PRESSURES[unit] for name, unit in short.items()}


_GAUGE = _levels(_GAUGE_WORDS, _GAUGE_SHORT)
_ABS = _levels(_ABS_WORDS, _ABS_SHORT)
_CELSIUS = ("degC", "C", "celsius")
_FAHRENHEIT = ("degF", "F", "fahrenheit")
_RISES = {f"{u} rise": 1.0 for u in _CELSIUS} | {f"{u} rise": _DEGF for u in _FAHRENHEIT}
_RISES |= {"K": 1.0, "delta_degC": 1.0, "delta_degF": _DEGF}

KINDS: dict[str, Kind] = {
    "length": Kind("a length", _LENGTHS, ("0.4 m", "16 in"), ("mm", "cm", "m", "in", "ft")),
    "area": Kind("an area", _AREAS, ("180 cm2", "28 in2"), ("cm2", "m2", "in2", "ft2")),
    "volume": Kind("a volume", _VOLUMES, ("9 L", "2.4 US gal"), ("L", "US gal", "mL", "in3", "imp gal")),
    "mass": Kind("a mass", _MASSES, ("2.6 kg", "5.7 lb"), ("kg", "lb", "g")),
    "mass_flow": Kind(
        "a mass flow",
        _per(_MASSES, _RATES) | {"pph": _POUND / 3600},
        ("0.25 kg/s", "33 lb/min"),
        ("kg/s", "lb/min", "g/s", "kg/h", "lb/h"),
    ),
    "volume_flow": Kind(
        "a volume flow",
        _per(_VOLUMES, _RATES)
        | _spell(
            ("cfm|CFM", _FOOT**3 / 60),
            ("lpm|LPM", 1e-3 / 60),
            ("lph|LPH", 1e-3 / 3600),
            ("US gpm", _US_GAL / 60),
            ("imp gpm", _IMP_GAL / 60),
        ),
        ("14 L/min", "3.7 US gal/min"),
        ("L/min", "US gal/min", "m3/h", "m3/s", "cfm", "imp gal/min"),
    ),
    "speed": Kind(
        "a speed",
        _per(_spell(("m", 1.0), ("km", 1e3), ("ft", _FOOT)), _RATES)
        | _spell(("kph|km/h|kmh", 1 / 3.6), ("mph|MPH", 5280 * _FOOT / 3600)),
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
        {"K": 1.0} | dict.fromkeys(_CELSIUS, 1.0) | dict.fromkeys(_FAHRENHEIT, _DEGF),
        ("31 degC", "88 degF"),
        ("degC", "degF", "K"),
        dict.fromkeys(_CELSIUS, ZERO_CELSIUS) | dict.fromkeys(_FAHRENHEIT, ZERO_CELSIUS - 32 * _DEGF),
    ),
    "temperature_difference": Kind(
        "a temperature difference", _RISES, ("20 K", "35 degF rise"), ("K", "degC rise", "degF rise")
    ),
    "pressure": Kind(
        "a pressure level, gauge or abs,",
        _GAUGE | _ABS,
        ("0.9 bar gauge", "28 psi abs"),
        ("bar gauge", "bar abs", "psi gauge", "psi abs", "kPa gauge", "kPa abs"),
    ),
    "boost": Kind(
        "a boost pressure",
        _PRESSURES | _GAUGE | _ABS,
        ("1.5 bar", "22 psi"),
        ("bar", "psi", "kPa", "bar abs", "psi abs"),
    ),
    "pressure_difference": Kind(
        "a pressure difference",
        _PRESSURES | {"psid": _PSI},
        ("9 kPa", "1.3 psi"),
        ("kPa", "Pa", "bar", "psi", "inH2O"),
    ),
    "head": Kind(
        "a head of the pumped fluid",
        _LENGTHS | _spell(("m of fluid", 1.0), ("ft of fluid", _FOOT)),
        ("8 m", "26 ft"),
        ("m", "ft"),
    ),
    "force": Kind(
        "a force",
        _spell(("N", 1.0), ("kN", 1e3), ("lbf", _POUND * _GRAVITY), ("kgf", _GRAVITY)),
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
            ("hp|bhp", _HP),
            ("PS", _PS),
            ("BTU/h|BTU/hr|Btu/h|Btu/hr", _BTU / 3600),
        ),
        ("18 kW", "24 hp"),
        ("W", "kW", "hp", "PS", "BTU/h"),
    ),
    "conductance": Kind(
        "a heat conductance",
        _spell(("W/K|W/degC|W/C", 1.0), ("kW/K", 1e3))
        | {
            f"{btu}/{over}": _BTU / 3600 / _DEGF
            for btu in ("BTU", "Btu")
            for h in ("h", "hr")
            for f in ("degF", "F")
            for over in (f"({h} {f})", f"{h}/{f}", f"{h} {f}")
        },
        ("4 W/K", "7.6 BTU/(h degF)"),
        ("W/K", "BTU/(h degF)"),
    ),
    "share": Kind("a share", {"": 1.0, "%": 0.01, "percent": 0.01}, ("0.82", "82 %"), ("%",)),
    "number": Kind("a plain number", {"": 1.0}, ("0.6",), ()),
    "command": Kind("a command", {"": 1.0, "%": 0.01}, ("on", "off", "60 %"), ("%",)),
    "count": Kind("a whole number", {"": 1.0}, ("4",), ()),
}

_BARE = {"share", "number", "command", "count"}  # kinds that need no unit
_LEVELS = {"pressure", "boost"}
_DIFFERENCE = {
    "temperature": "temperature_difference",
    "pressure": "pressure_difference",
    "boost": "pressure_difference",
}

_TWO_GALLONS = "a US or an imperial measure?"
_AMBIGUOUS: dict[str, tuple[str, tuple[str, ...]]] = {
    **dict.fromkeys(("gpm", "gal/min", "gallon/min", "gallons/min"), (_TWO_GALLONS, ("US gal/min", "imp gal/min"))),
    **dict.fromkeys(("gph", "gal/h", "gal/hr"), (_TWO_GALLONS, ("US gal/h", "imp gal/h"))),
    **dict.fromkeys(("gal", "gals", "gallon", "gallons"), (_TWO_GALLONS, ("US gal", "imp gal"))),
    **dict.fromkeys(("qt", "qts", "quart", "quarts"), (_TWO_GALLONS, ("US qt", "imp qt"))),
    **dict.fromkeys(("ton", "tons"), ("which ton?", ("t", "lb"))),
}
_STANDARD_FLOWS = ("scfm", "slm", "slpm", "nm3/h", "sccm")


# -- reading -----------------------------------------------------------------------------------------
_NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_NUMBER_AND_UNIT = re.compile(rf"({_NUMBER})\s*(.*)\Z", re.DOTALL)
_FRACTION = re.compile(r"(?:(?P<whole>[0-9]+)[\s-]+)?(?P<above>[0-9]{1,9})\s*/\s*(?P<below>[0-9]{1,9})(?![0-9])")
_GAP = re.compile(r"[+-]?[0-9]{1,3}(?: [0-9]{3})+(?![0-9])")
_GAP_INSIDE = re.compile(r"(?<=[0-9]) (?=[0-9]{3}(?![0-9]))")
_SPAN = re.compile(rf"({_NUMBER})\s*(?:[^0-9\seE][^0-9\s]*?)?\s*(?:-|to|\.\.+)\s*({_NUMBER})\s*(\D*)\Z", re.DOTALL)
_COMMA = re.compile(r"[0-9]\s*,\s*[0-9]")
_SIGNS = str.maketrans(
    {"−": "-", "–": "-", "°": "deg", "º": "deg", "²": "2", "³": "3", "µ": "u", "μ": "u", "·": " ", "×": " "}
)
_TIDY = (
    (re.compile(r"\s+"), " "),
    (re.compile(r"\s*/\s*"), "/"),
    (re.compile(r"\^|\*\*"), ""),
    (re.compile(r"\*"), " "),
    (re.compile(r"\bdeg ([CF])\b"), r"deg\1"),
    (re.compile(r"\bU\.S\.( ?)"), "US "),
    (re.compile(r"\b(US|imp)(?=g)"), r"\1 "),
    (re.compile(r"\bimp\."), "imp"),
    (re.compile(r"\s+"), " "),
)


def typed(value: Any) -> str:
    """A value as it stands in a TOML file, shortened for a message: text in quotes, numbers bare."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        shown = "".join(c if c.isprintable() else "?" for c in value)
        return f'"{shown}"' if len(shown) <= 60 else f'"{shown[:57]}..."'
    if isinstance(value, (list, tuple)):
        shown = "[" + ", ".join(typed(v) for v in value) + "]"
        return shown if len(shown) <= 60 else shown[:57] + "..."
    if isinstance(value, dict):
        return "a table"
    shown = str(value)
    return shown if len(shown) <= 60 else shown[:57] + "..."


def wanted(kind: str) -> str:
    """What a field of this kind takes, with examples: 'a volume is needed, such as "9 L" or "2.4 US gal"'."""
    return f"{KINDS[kind].words} is needed, such as {_either(KINDS[kind].examples)}"


def decimal_point(text: str) -> str:
    """How a number with a comma is written: one reading where there is one, both where a comma may part thousands."""
    bare = re.sub(r"(?<=[0-9])\s*,\s*(?=[0-9])", ",", text)
    point, none = bare.replace(",", "."), bare.replace(",", "")
    numbers = re.findall(r"[0-9]+(?:,[0-9]+)+", bare)
    if any(number.count(",") > 1 for number in numbers):
        return f"write no mark between thousands: {typed(none)}"
    if any(re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", number) for number in numbers):
        return f"write a decimal point, and no mark between thousands: {typed(point)} or {typed(none)}"
    return f"write a decimal point: {typed(point)}"


def _either(texts: tuple[str, ...] | list[str]) -> str:
    quoted = [f'"{text}"' for text in texts]
    return quoted[0] if len(quoted) == 1 else ", ".join(quoted[:-1]) + " or " + quoted[-1]


def parse(text: Any, kind: str, *, word: str = "") -> Quantity:
    """Read one value of a kind; exact spellings only, nothing is guessed.

    Parameters
    ----------
    text : str, or the bare number of a TOML file for kinds that have no unit (share, number, count,
        command).  `N UNIT`, with `+- N UNIT`, `+- N` (same unit) or `+- N %` behind it: one standard
        deviation; the % is of the value, except behind a value in %, where it is in points.
    kind : a name of `KINDS`.
    word : "gauge" or "abs" for a pressure level that makes sense as one of them only.

    Returns
    -------
    Quantity with the value in SI: K, Pa, kg/s, m3/s, rev/s ...; a `Pressure` for `pressure` and
    `boost`; an int for `count`; 0 to 1 for `share` and `command`.

    Raises `BadInput` whose message starts with the text as read and ends with what would be right.
    """
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise BadInput(f"{typed(text)} cannot be read; {wanted(kind)}")
    if not isinstance(text, str):
        return _bare(text, kind)
    return _Reader(text, kind, word).read()


def _bare(number: float, kind: str) -> Quantity:
    """A number without quotes."""
    if not math.isfinite(number):
        raise BadInput(f"{typed(number)} is not a finite number; {wanted(kind)}")
    if kind not in _BARE:
        raise _no_unit(typed(number), number, kind)
    if len(str(number)) > LONGEST_NUMBER:
        raise BadInput(f"{typed(number)} is absurdly long for a number; {wanted(kind)}")
    if kind == "count":
        if not isinstance(number, int):
            raise BadInput(f"{typed(number)} is not a whole number; {wanted(kind)}")
        return Quantity(int(number), None, str(number))
    return Quantity(float(number), None, str(number))


def _no_unit(read: str, number: float, kind: str) -> BadInput:
    """The refusal of a number without a unit, with the same number spelled in two systems."""
    spec = KINDS[kind]
    if kind in _LEVELS or kind == "temperature" or not 1e-3 <= abs(number) < 1e6:
        return BadInput(f"{read} has no unit; {wanted(kind)}")
    first = spec.units[0]
    examples = [f"{number:g} {first}"]
    if len(spec.examples) > 1:
        other = spec.examples[1].split(" ", 1)[1]
        examples.append(f"{number * spec.factors[first] / spec.factors[other]:.2g} {other}")
        if "e" in examples[1]:
            examples[1] = f"{number * spec.factors[first] / spec.factors[other]:.0f} {other}"
    return BadInput(f"{read} has no unit; {spec.words} is needed, such as {_either(examples)}")


class _Reader:
    """Reads one text of one kind; every refusal names that text."""

    def __init__(self, text: str, kind: str, word: str) -> None:
        self.text = text
        self.kind = kind
        self.word = word
        self.spec = KINDS[kind]

    def refuse(self, complaint: str) -> BadInput:
        return BadInput(f"{typed(self.text)} {complaint}")

    def read(self) -> Quantity:
        text = self.text.translate(_SIGNS)
        text = text.replace("±", "+-").replace("+/-", "+-").strip()
        self._look(text)
        if self.kind == "command" and text.lower() in ("on", "off"):
            return Quantity(1.0 if text.lower() == "on" else 0.0, None, self.text)
        value_text, *sd_texts = (part.strip() for part in text.split("+-"))
        if len(sd_texts) > 1:
            raise self.refuse("has more than one +-; one standard deviation follows one value")
        if sd_texts and self.kind == "count":
            raise self.refuse("has a +-, but a whole number has none")
        number, unit = self._split(value_text)
        if sd_texts and not unit:
            # "9.5 +- 0.3 L": the unit stands once, at the end; not for a "%", which would be a share of the value
            after = self._split(sd_texts[0])[1]
            if after and after != "%":
                unit = after
        spelling = self._spelling(unit, number)
        value, notes = self._value(number, spelling)
        sd = self._sd(sd_texts[0], number, spelling) if sd_texts else None
        return Quantity(value, sd, self.text, notes)

    def _look(self, text: str) -> None:
        """Refusals that need no unit."""
        if not text:
            raise self.refuse(f"is empty; {wanted(self.kind)}")
        if len(text) > LONGEST_TEXT or any(len(n) > LONGEST_NUMBER for n in re.findall(_NUMBER, text)):
            raise self.refuse(f"is absurdly long for a number; {wanted(self.kind)}")
        if quotes := sorted(set(text) & set(CURLY)):
            raise self.refuse(f"has the quotes of a text processor ({' '.join(quotes)}); take them out")
        if _COMMA.search(text):
            raise self.refuse(f"has a comma; {decimal_point(text)}")
        fraction = _FRACTION.match(text)
        if fraction and float(fraction["below"]) > 0.0:
            number = float(fraction["whole"] or 0.0) + float(fraction["above"]) / float(fraction["below"])
            written = f"{number:.6g}" + re.sub(r"""\s*("|'')\Z""", " in", text[fraction.end() :])
            raise self.refuse(f"is a fraction; write it as a decimal number: {typed(written)}")
        if _GAP.match(text):
            raise self.refuse(f"has a blank inside the number; write {typed(_GAP_INSIDE.sub('', text))}")
        if re.match(r"[+-]?(nan|inf|infinity)\b", text, re.IGNORECASE):
            raise self.refuse(f"is not a finite number; {wanted(self.kind)}")

    def _split(self, text: str) -> tuple[float, str]:
        found = _NUMBER_AND_UNIT.match(text)
        if not found:
            raise self.refuse(f"does not start with a number; {self._guessed(text) or wanted(self.kind)}")
        number = float(found.group(1))
        if not math.isfinite(number):
            raise self.refuse(f"is not a finite number; {wanted(self.kind)}")
        unit = found.group(2)
        for pattern, put in _TIDY:
            unit = pattern.sub(put, unit)
        return number, unit.strip()

    def _spelling(self, unit: str, number: float) -> str:
        """The accepted spelling that `unit` is, or the refusal that helps most."""
        if unit in self.spec.factors:
            return unit
        if not unit:
            raise _no_unit(typed(self.text), number, self.kind)
        for spelling in self.spec.factors:
            if _same_but_case(unit, spelling):
                return spelling
        raise self._wrong_unit(unit, number)

    def _wrong_unit(self, unit: str, number: float) -> BadInput:
        if unit in _AMBIGUOUS and _AMBIGUOUS[unit][1][0] in self.spec.factors:
            question, fixes = _AMBIGUOUS[unit]
            return self.refuse(f"is unclear: {question} write " + _either([f"{number:g} {fix}" for fix in fixes]))
        if unit.lower() in _STANDARD_FLOWS:
            return self.refuse(f"counts air at conditions that {unit} leaves open; {wanted(self.kind)}")
        unit = next((known for known in _PRESSURES if _same_but_case(unit, known)), unit)
        if self.kind == "pressure" and unit in _PRESSURES:
            either = [self.word] if self.word else ["gauge", "abs"]
            write = _either([f"{number:g} {unit} {word}" for word in either])
            return self.refuse(f"does not say {' or '.join(either)}; write {write}")
        if self.kind == "pressure_difference" and (unit in _GAUGE or unit in _ABS):
            return self.refuse(f"says gauge or abs, but a difference has neither; {wanted(self.kind)}")
        if self.kind == "temperature_difference" and unit in KINDS["temperature"].factors:
            scale = "degF" if unit in _FAHRENHEIT else "degC"
            return self.refuse(f'is a temperature, but a difference is needed here; write "{number:g} {scale} rise"')
        if self.kind == "temperature" and unit in _RISES:
            return self.refuse(
                f"is a difference, but a temperature is needed here, such as {_either(self.spec.examples)}"
            )
        if self.kind in ("number", "count"):
            return self.refuse(f"has a unit or words behind the number; {wanted(self.kind)}")
        slip = self._slip(unit, number)
        if slip:
            return self.refuse(slip)
        converted = self._near_kind(unit, number)
        if converted:
            return self.refuse(converted)
        for kind, spec in KINDS.items():
            if unit in spec.factors and kind not in _BARE and kind not in ("boost", "head"):
                words = "a pressure" if kind in ("pressure", "pressure_difference") else spec.words
                return self.refuse(f"is {words}; here {wanted(self.kind)}")
        hint = nearest(unit, self.spec.factors)
        close = f' (nearest: "{hint}")' if hint else ""
        units = ", ".join(self.spec.units)
        return self.refuse(
            f"has the unknown unit {typed(unit)}{close}; {self.spec.words} takes {units}".replace(", takes", " takes")
        )

    def _guessed(self, text: str) -> str:
        """What a text with words before its number may have meant ("about 9 L"); "" where that is no quantity."""
        found = re.search(_NUMBER, text)
        if not found or not re.fullmatch(
            r"[\s~<>=≈]*|about |approx\.? |ca\.? |roughly ", text[: found.start()], re.IGNORECASE
        ):
            return ""
        rest = text[found.start() :].strip()
        spread = " +- 3 K" if self.kind in ("temperature", "temperature_difference") else " +- 10 %"
        return f"write {typed(rest)}, and how sure you are behind it, if you know: {typed(rest + spread)}"

    def _slip(self, unit: str, number: float) -> str:
        """The complaint about what is written beside a number in workshops; "" where it is nothing known."""
        between = _SPAN.match(self.text.translate(_SIGNS).strip())
        if between and float(between[2]) > float(between[1]):
            low, high, said = float(between[1]), float(between[2]), between[3].strip() or self.spec.units[0]
            middle = f"{0.5 * (low + high):.6g} {said} +- {0.5 * (high - low):.6g} {said}"
            return f"is a range; write its middle and half its width: {typed(middle)}"
        marked = re.fullmatch(r"""(?P<foot>')?\s*(?P<inches>[0-9.]+)?\s*(?P<inch>"|'')?""", unit)
        if self.kind == "length" and marked and (marked["foot"] or marked["inch"]):
            inches = float(marked["inches"] or 0.0) + (12.0 * number if marked["foot"] else number)
            return f"has marks for its unit; write {typed(f'{inches:.6g} in')}"
        if self.kind == "time" and (clock := re.fullmatch(r":([0-5][0-9])", unit)):
            return f"is a time of day or of a watch; write {typed(f'{60.0 * number + float(clock[1]):.6g} s')}"
        if unit.lower() in ("degrees", "degree", "deg") and self.kind in ("temperature", "temperature_difference"):
            tail = " rise" if self.kind == "temperature_difference" else ""
            return f"is unclear: whose degrees? write {_either([f'{number:g} degC{tail}', f'{number:g} degF{tail}'])}"
        if self.kind in (*_LEVELS, "pressure_difference") and unit.lower().split(" ")[0] in (
            "lb",
            "lbs",
            "pounds",
            "#",
        ):
            word = " gauge" if self.kind == "pressure" else ""
            return f"is a mass; pounds of pressure are psi: write {typed(f'{number:g} psi{word}')}"
        short = unit.partition(" ")[0]
        if short.lower() == "k" and len(unit) > 1 and unit[1:].strip() in self.spec.factors:
            return f"has a k for thousands; write {typed(f'{1000.0 * number:g} {unit[1:].strip()}')}"
        if short in self.spec.factors and short:
            return self._tail(short, unit[len(short) :].strip(), number)
        return ""

    def _tail(self, short: str, rest: str, number: float) -> str:
        """The complaint about words behind a good unit; a second quantity of the same kind is added up."""
        second = _NUMBER_AND_UNIT.match(rest)
        if second and second.group(2).strip() in self.spec.factors and not self.spec.offsets:
            factors = self.spec.factors
            whole = number + float(second.group(1)) * factors[second.group(2).strip()] / factors[short]
            return f"has two units; write it in one: {typed(f'{whole:.6g} {short}')}"
        return f"has words behind the unit; write {typed(f'{number:g} {short}')} and put the rest behind a #"

    def _near_kind(self, unit: str, number: float) -> str:
        """What a value of a neighbouring kind comes to: pump head in psi, injectors in cc/min, air in cfm; else ""."""
        pressures = KINDS["pressure_difference"].factors
        flows = KINDS["volume_flow"].factors
        if self.kind == "head" and unit in pressures:
            metres = number * pressures[unit] / _WATER
            return (
                f"is a pressure; here {self.spec.words} is needed: of water it is "
                f'"{metres:.3g} m" or "{metres / _FOOT:.3g} ft" (1 psi is 2.31 ft, 1 bar is 10.2 m of water)'
            )
        if self.kind != "mass_flow" or (unit not in flows and unit not in ("cc", "cm3", "mL", "ml")):
            return ""
        if unit in ("cc", "cm3", "mL", "ml"):
            unit += "/min"  # as the trade leaves it out
        if unit.startswith(("cc/", "cm3/", "mL/", "ml/")):
            flow, of = number * flows[unit] * _RATED_FUEL, "fuel of 0.72 kg/L, which injectors are mostly rated with,"
            write = [f"{flow * 1e3:.3g} g/s", f"{flow / _POUND * 3600.0:.3g} lb/h"]
        elif unit.lower().startswith(("cfm", "ft3", "cu ft", "m3")):
            flow, of = number * flows[unit] * _ROOM_AIR, "air at 20 degC (68 degF) and sea level"
            write = [f"{flow:.3g} kg/s", f"{flow / _POUND * 60.0:.3g} lb/min"]
        else:
            return ""
        return f"is a volume flow; here {self.spec.words} is needed: of {of} it is {_either(write)}"

    def _value(self, number: float, spelling: str) -> tuple[Any, tuple[str, ...]]:
        value = number * self.spec.factors[spelling] + self.spec.offsets.get(spelling, 0.0)
        if not math.isfinite(value):
            raise self.refuse(f"is not a finite number; {wanted(self.kind)}")
        if self.kind in _LEVELS:
            return self._level(value, spelling)
        if self.kind == "temperature" and value <= 0.0:
            raise self.refuse("is at or below absolute zero")
        if self.kind == "count":
            if number != int(number) or not re.fullmatch(r"\+?[0-9]+", self.text.strip()):
                raise self.refuse(f"is not a whole number; {wanted('count')}")
            return int(number), ()
        return value, ()

    def _level(self, value: float, spelling: str) -> tuple[Pressure, tuple[str, ...]]:
        bare = self.kind == "boost" and spelling in _PRESSURES
        gauge = bare or spelling in _GAUGE
        if value <= (-STANDARD_PRESSURE if gauge else 0.0):
            raise self.refuse("is at or below vacuum")
        if self.word and gauge != (self.word == "gauge"):
            need = "a gauge" if self.word == "gauge" else "an absolute"
            raise self.refuse(f"is {'gauge' if gauge else 'abs'}, but {need} pressure is needed here; say {self.word}")
        notes = (f"{typed(self.text)} read as gauge",) if bare else ()
        return Pressure(value, gauge), notes

    def _sd(self, text: str, number: float, spelling: str) -> float:
        """The standard deviation behind +-, SI."""
        sd, unit = self._split(text)
        if sd < 0.0 or text.startswith("-"):
            raise self.refuse("has a negative standard deviation behind +-")
        factors = self.spec.factors
        if unit == "%" and spelling != "%":
            if self.kind in ("temperature", "temperature_difference"):
                raise self.refuse('has a +- in % of a temperature; write it as a difference, such as "+- 2 K"')
            return sd / 100.0 * abs(number) * factors[spelling]
        if not unit or unit == spelling:
            return sd * factors[spelling]
        allowed = {**factors, **KINDS[_DIFFERENCE.get(self.kind, self.kind)].factors}
        if self.kind == "temperature_difference":
            allowed |= KINDS["temperature"].factors
        for known, factor in allowed.items():
            if unit == known or _same_but_case(unit, known):
                return sd * factor
        raise self.refuse(f"has the unknown unit {typed(unit)} behind +-; write it in the value's own unit or in %")


def _same_but_case(unit: str, spelling: str) -> bool:
    """Whether two spellings differ by case alone and not in a prefix (mPa is not MPa)."""
    if unit.casefold() != spelling.casefold():
        return False
    return _M_PREFIX.findall(unit) == _M_PREFIX.findall(spelling)


_US_WORDS = re.compile(
    r"(?<![A-Za-z])(psi\w?|degF|F|lbs?|lbm|oz|US|imp|in[23]?|inch(es)?|ft[23]?|mph|hp|cfm|BTU|Btu|inHg|inH2O)(?![A-Za-z])"
)


def system_of(text: str) -> str:
    """ "us" if a text is written in inch-pound units, else "si": to answer a user in the units they think in."""
    return "us" if _US_WORDS.search(text.translate(_SIGNS)) else "si"


_M_PREFIX = re.compile(r"(?:^|[ /(])([mM])")


# -- showing -----------------------------------------------------------------------------------------
def _scaled(kind: str, unit: str, spelling: str | None = None) -> Shown:
    factor = KINDS[kind].factors[spelling or unit]
    offset = KINDS[kind].offsets.get(spelling or unit, 0.0)
    if offset:
        return Shown(unit, lambda value: (value - offset) / factor)
    return Shown(unit, lambda value: value / factor)


def _both(kind: str, si: str, us: str) -> dict[tuple[str, str], Shown]:
    return {(kind, "si"): _scaled(kind, si), (kind, "us"): _scaled(kind, us)}


# (kind, "si" | "us") -> Shown, for axes and tables whose unit must not change from row to row.
# `pressure` is absolute Pa, `pressure_gauge` gauge Pa.
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
    **_both("conductance", "W/K", "BTU/(h degF)"),
    **_both("share", "%", "%"),
    **_both("command", "%", "%"),
    **_both("number", "", ""),
    **_both("count", "", ""),
}

# (kind, system) -> units by size: the first whose bound the absolute SI value is below.
_BY_SIZE: dict[tuple[str, str], tuple[tuple[float, str], ...]] = {
    ("length", "si"): ((1.0, "mm"), (math.inf, "m")),
    ("length", "us"): ((3 * _FOOT, "in"), (math.inf, "ft")),
    ("area", "si"): ((0.2, "cm2"), (math.inf, "m2")),
    ("area", "us"): ((2 * _FOOT**2, "in2"), (math.inf, "ft2")),
    ("volume", "si"): ((1e-4, "mL"), (math.inf, "L")),
    ("volume", "us"): ((0.25 * _US_GAL, "in3"), (math.inf, "US gal")),
    ("volume_flow", "si"): ((0.02, "L/min"), (math.inf, "m3/s")),
    ("volume_flow", "us"): ((0.02, "US gal/min"), (math.inf, "cfm")),
    ("mass", "si"): ((0.1, "g"), (math.inf, "kg")),
    ("mass", "us"): ((0.1 * _POUND, "oz"), (math.inf, "lb")),
    ("mass_flow", "si"): ((0.01, "g/s"), (math.inf, "kg/s")),
    ("mass_flow", "us"): ((0.001, "oz/min"), (math.inf, "lb/min")),
    ("time", "si"): ((120.0, "s"), (7200.0, "min"), (math.inf, "h")),
    ("time", "us"): ((120.0, "s"), (7200.0, "min"), (math.inf, "h")),
    ("pressure_difference", "si"): ((1000.0, "Pa"), (math.inf, "kPa")),
    ("pressure_difference", "us"): ((0.2 * _PSI, "inH2O"), (math.inf, "psi")),
    ("power", "si"): ((1000.0, "W"), (math.inf, "kW")),
    ("power", "us"): ((0.5 * _HP, "W"), (math.inf, "hp")),
}
_ONE_DECIMAL = {"temperature", "temperature_difference"}


def show(value: Any, kind: str, system: str = "si", digits: int | None = None) -> str:
    """An SI value in the words of a workshop: "54.3 degC", "22 psi gauge", "9.5 L"; `parse` reads it back.

    Parameters
    ----------
    value : SI float (absolute Pa for `pressure`), a `Pressure`, or None (shown as "not given").
    kind : a name of `KINDS`, or "pressure_gauge" for gauge Pa.
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
            return _scaled(kind, unit)
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
    "W/(m2 K)": ("BTU/(h ft2 degF)", _FOOT**2 * _DEGF / (_BTU / 3600)),
    "W/(m K)": ("BTU/(h ft degF)", _FOOT * _DEGF / (_BTU / 3600)),
    "W/K per m2": ("BTU/(h degF) per ft2", _FOOT**2 * _DEGF / (_BTU / 3600)),
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
