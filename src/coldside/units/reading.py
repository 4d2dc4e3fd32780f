"""Text -> SI: the strict reader of "number unit +- number unit" against the spellings of one kind.

What is here: `parse`, and the refusals that say what would be right, in the words and with the numbers of what was
written (`typed`, `wanted`, `decimal_point`).  What is not: the spellings (`kinds.py`) and the way back (`showing.py`).
"""

from __future__ import annotations

import math
import re
from typing import Any

from coldside.errors import BadInput, nearest
from coldside.units.kinds import (
    ABS,
    AMBIGUOUS,
    BARE,
    DIFFERENCE,
    FAHRENHEIT,
    FOOT,
    GAUGE,
    KINDS,
    LEVELS,
    POUND,
    PRESSURES,
    RISES,
    STANDARD_FLOWS,
    STANDARD_PRESSURE,
    WATER,
    Pressure,
    Quantity,
)

LONGEST_TEXT = 120  # characters of a value's text
LONGEST_NUMBER = 24  # characters of a number inside it
CURLY = "“”„‟«»‘’‚‛"  # quotes that a text processor or a web page puts in place of straight ones
_ROOM_AIR = 1.204  # kg/m3, dry air at 20 degC and 101.325 kPa
_RATED_FUEL = 720.0  # kg/m3: 10.5 cc/min to 1 lb/h, the trade's conversion (common practice, no source)
_NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_NUMBER_AND_UNIT = re.compile(rf"({_NUMBER})\s*(.*)\Z", re.DOTALL)
_FRACTION = re.compile(r"(?:(?P<whole>[0-9]+)[\s-]+)?(?P<above>[0-9]{1,9})\s*/\s*(?P<below>[0-9]{1,9})(?![0-9])")
_GAP = re.compile(r"[+-]?[0-9]{1,3}(?: [0-9]{3})+(?![0-9])")
_GAP_INSIDE = re.compile(r"(?<=[0-9]) (?=[0-9]{3}(?![0-9]))")
_TO_THE_INCH = re.compile(r"fpi|(?:fins?\s*)?(?:/|per|to the)\s*(?:inch|in)", re.IGNORECASE)
_SPAN = re.compile(rf"({_NUMBER})\s*(?:[^0-9\seE][^0-9\s]*?)?\s*(?:-|to|\.\.+)\s*({_NUMBER})\s*(\D*)\Z", re.DOTALL)
_COMMA = re.compile(r"[0-9]\s*,\s*[0-9]")
SIGNS = str.maketrans(
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
    if isinstance(number, int) and abs(number) >= 10**LONGEST_NUMBER:  # too long for a float, or to be written out
        raise BadInput(f"a number of more than {LONGEST_NUMBER} digits is absurdly long; {wanted(kind)}")
    if not math.isfinite(number):
        raise BadInput(f"{typed(number)} is not a finite number; {wanted(kind)}")
    if kind not in BARE:
        raise _no_unit(typed(number), number, kind)
    if len(str(number)) > LONGEST_NUMBER:
        raise BadInput(f"{typed(number)} is absurdly long for a number; {wanted(kind)}")
    if kind == "count":
        if not isinstance(number, int):
            raise BadInput(f"{typed(number)} is not a whole number; {wanted(kind)}")
        return Quantity(int(number), None, str(number))
    return Quantity(float(number), None, str(number))


def _no_unit(read: str, number: float, kind: str) -> BadInput:
    """The refusal of a number without a unit, with that number in a unit of either system: which was meant is open."""
    spec = KINDS[kind]
    if kind in LEVELS or kind == "temperature" or not 1e-3 <= abs(number) < 1e6:
        return BadInput(f"{read} has no unit; {wanted(kind)}")
    first = spec.units[0]
    examples = [f"{number:g} {first}"]
    if len(spec.examples) > 1:
        other = spec.examples[1].split(" ", 1)[1]
        examples.append(f"{number:g} {other}")
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
        text = self.text.translate(SIGNS)
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
        if unit in AMBIGUOUS and AMBIGUOUS[unit][1][0] in self.spec.factors:
            question, fixes = AMBIGUOUS[unit]
            return self.refuse(f"is unclear: {question} write " + _either([f"{number:g} {fix}" for fix in fixes]))
        if unit.lower() in STANDARD_FLOWS:
            return self.refuse(f"counts air at conditions that {unit} leaves open; {wanted(self.kind)}")
        unit = next((known for known in PRESSURES if _same_but_case(unit, known)), unit)
        if self.kind == "pressure" and unit in PRESSURES:
            either = [self.word] if self.word else ["gauge", "abs"]
            write = _either([f"{number:g} {unit} {word}" for word in either])
            return self.refuse(f"does not say {' or '.join(either)}; write {write}")
        if self.kind == "pressure_difference" and (unit in GAUGE or unit in ABS):
            return self.refuse(f"says gauge or abs, but a difference has neither; {wanted(self.kind)}")
        if self.kind == "temperature_difference" and unit in KINDS["temperature"].factors:
            scale = "degF" if unit in FAHRENHEIT else "degC"
            return self.refuse(f'is a temperature, but a difference is needed here; write "{number:g} {scale} rise"')
        if self.kind == "temperature" and unit in RISES:
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
            if unit in spec.factors and kind not in BARE and kind not in ("boost", "head"):
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
        between = _SPAN.match(self.text.translate(SIGNS).strip())
        if between and float(between[2]) > float(between[1]):
            low, high, said = float(between[1]), float(between[2]), between[3].strip() or self.spec.units[0]
            middle = f"{0.5 * (low + high):.6g} {said} +- {0.5 * (high - low):.6g} {said}"
            return f"is a range; write its middle and half its width: {typed(middle)}"
        marked = re.fullmatch(r"""(?P<foot>')?\s*(?P<inches>[0-9.]+)?\s*(?P<inch>"|'')?""", unit)
        if self.kind == "length" and marked and (marked["foot"] or marked["inch"]):
            inches = float(marked["inches"] or 0.0) + (12.0 * number if marked["foot"] else number)
            return f"has marks for its unit; write {typed(f'{inches:.6g} in')}"
        if self.kind == "length" and number > 0.0 and _TO_THE_INCH.fullmatch(unit):
            return f"counts to the inch; write the pitch, one inch over it: {typed(f'{1.0 / number:.3g} in')}"
        if self.kind == "time" and (clock := re.fullmatch(r":([0-5][0-9])", unit)):
            return f"is a time of day or of a watch; write {typed(f'{60.0 * number + float(clock[1]):.6g} s')}"
        if unit.lower() in ("degrees", "degree", "deg") and self.kind in ("temperature", "temperature_difference"):
            tail = " rise" if self.kind == "temperature_difference" else ""
            return f"is unclear: whose degrees? write {_either([f'{number:g} degC{tail}', f'{number:g} degF{tail}'])}"
        if self.kind in (*LEVELS, "pressure_difference") and unit.lower().split(" ")[0] in (
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
            metres = number * pressures[unit] / WATER
            return (
                f"is a pressure; here {self.spec.words} is needed: of water it is "
                f'"{metres:.3g} m" or "{metres / FOOT:.3g} ft" (1 psi is 2.31 ft, 1 bar is 10.2 m of water)'
            )
        if self.kind != "mass_flow" or (unit not in flows and unit not in ("cc", "cm3", "mL", "ml")):
            return ""
        if unit in ("cc", "cm3", "mL", "ml"):
            unit += "/min"  # as the trade leaves it out
        if unit.startswith(("cc/", "cm3/", "mL/", "ml/")):
            flow, of = number * flows[unit] * _RATED_FUEL, "fuel of 0.72 kg/L, which injectors are mostly rated with,"
            write = [f"{flow * 1e3:.3g} g/s", f"{flow / POUND * 3600.0:.3g} lb/h"]
        elif unit.lower().startswith(("cfm", "ft3", "cu ft", "m3")):
            flow, of = number * flows[unit] * _ROOM_AIR, "air at 20 degC (68 degF) and sea level"
            write = [f"{flow:.3g} kg/s", f"{flow / POUND * 60.0:.3g} lb/min"]
        else:
            return ""
        return f"is a volume flow; here {self.spec.words} is needed: of {of} it is {_either(write)}"

    def _value(self, number: float, spelling: str) -> tuple[Any, tuple[str, ...]]:
        value = number * self.spec.factors[spelling] + self.spec.offsets.get(spelling, 0.0)
        if not math.isfinite(value):
            raise self.refuse(f"is not a finite number; {wanted(self.kind)}")
        if self.kind in LEVELS:
            return self._level(value, spelling)
        if self.kind == "temperature" and value <= 0.0:
            raise self.refuse("is at or below absolute zero")
        if self.kind == "count":
            if number != int(number) or not re.fullmatch(r"\+?[0-9]+", self.text.strip()):
                raise self.refuse(f"is not a whole number; {wanted('count')}")
            return int(number), ()
        return value, ()

    def _level(self, value: float, spelling: str) -> tuple[Pressure, tuple[str, ...]]:
        bare = self.kind == "boost" and spelling in PRESSURES
        gauge = bare or spelling in GAUGE
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
        allowed = {**factors, **KINDS[DIFFERENCE.get(self.kind, self.kind)].factors}
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


_M_PREFIX = re.compile(r"(?:^|[ /(])([mM])")
