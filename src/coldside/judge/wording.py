"""Sentences whose numbers wait for a unit system: what a verdict is made of.

Here: `Quantity`, `Range`, `Sentence`, ordinals and clock times.  A sentence keeps SI values; `words(system)` sets them
in "si" or "us" units, rounded to what is known.  Not here: what is said and when (`verdict.py`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from coldside import units

ONES = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
ORDINALS = (
    "zeroth",
    "first",
    "second",
    "third",
    "fourth",
    "fifth",
    "sixth",
    "seventh",
    "eighth",
    "ninth",
    "tenth",
    "eleventh",
    "twelfth",
)
WATER_WEIGHT = 998.0 * 9.80665  # Pa for a metre of water at 20 degC
DIFFERENCE_WORD = {"si": "K", "us": "degF"}  # in a sentence that says over, under or warmer, "rise" would be said twice


@dataclass(frozen=True)
class Quantity:
    """A number on its way into a sentence: SI `value`, unit `kind` (see `shown`), `digits` after the point."""

    value: float
    kind: str
    digits: int = 0


@dataclass(frozen=True)
class Range:
    """Two numbers of one unit on their way into a sentence, SI: "51 to 58 degC"."""

    low: float
    high: float
    kind: str
    digits: int = 0

    def shown(self, system: str) -> str:
        """The span in "si" or "us" units; one number where both read alike."""
        low, high = (shown(Quantity(value, self.kind, self.digits), system) for value in (self.low, self.high))
        number, _, unit = low.partition(" ")
        alike = high.partition(" ")[2] == unit and not any(letter.isdigit() for letter in unit)
        return high if low == high else f"{number if alike else low} to {high}"


@dataclass(frozen=True)
class Sentence:
    """A template with named places and what goes there: quantities in SI, or words as they stand."""

    template: str
    values: Mapping[str, Quantity | Range | str] = field(default_factory=dict)

    def words(self, system: str = "si") -> str:
        """The sentence in "si" or "us" units."""
        return self.template.format(**{name: _told(value, system) for name, value in self.values.items()})


def _told(value: Quantity | Range | str, system: str) -> str:
    if isinstance(value, str):
        return value
    return value.shown(system) if isinstance(value, Range) else shown(value, system)


def shown(quantity: Quantity, system: str = "si") -> str:
    """A quantity as text.

    Temperatures and differences are rounded to whole degrees unless `digits` says more, since a forecast
    knows no tenths; a difference that rounds to nothing reads "less than 1 K".  `clock` is minutes and
    seconds into the session, `time` a duration, `stopwatch` a run's time and `seconds` a difference of such, both in
    hundredths, `share` percent, `points` a difference of percents,
    `boost_difference` a pressure in two digits, `head` in "us" in psi of water too.
    Every other kind goes through `units.show`.
    """
    value, kind, digits = quantity.value, quantity.kind, quantity.digits
    if kind == "temperature":
        label, from_si = units.UNIT[(kind, system)]
        return f"{_plain(from_si(value), digits)} {label}"
    if kind == "temperature_difference":
        unit, scaled = DIFFERENCE_WORD[system], units.UNIT[(kind, system)].from_si(value)
        if scaled != 0.0 and round(abs(scaled), digits) == 0.0:
            return f"less than {10.0**-digits:.{digits}f} {unit}"
        return f"{_plain(scaled, digits)} {unit}"
    if kind == "clock":
        return clock(value)
    if kind == "time":
        return duration(value)
    if kind == "stopwatch":
        return stopwatch(value)
    if kind == "seconds":  # of a difference of times
        return f"{value:.2f} s".replace("-0.00", "0.00")
    if kind == "points":
        text = _plain(100.0 * value, digits)
        return f"{text} point" if text == "1" else f"{text} points"
    if kind == "share":
        if 0.0 < value < 0.5 * 10.0 ** -(digits + 2):
            return f"less than {10.0**-digits:g} %"
        return f"{_plain(100.0 * value, digits)} %"
    if kind == "boost_difference":  # known to two digits at best
        label, from_si = units.UNIT[("pressure_difference", system)]
        scaled = from_si(value)
        return f"{scaled:.0f} {label}" if abs(scaled) >= 9.95 else f"{_plain(scaled, 1)} {label}"
    if kind == "head" and system == "us":  # what pumps are sold by stands beside it
        return f"{units.show(value, kind, system)} ({units.show(value * WATER_WEIGHT, 'pressure_difference', system)})"
    return units.show(value, kind, system)


def _plain(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}"
    if digits:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def clock(seconds: float) -> str:
    """Time into the session as minutes:seconds, hours before them when needed."""
    whole = int(seconds + 0.5)
    minutes, rest = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def stopwatch(seconds: float) -> str:
    """A run's time as a clock of hundredths tells it: "10.98 s", "1:42.32"."""
    hundredths = round(100.0 * seconds)
    minutes, rest = divmod(hundredths, 6000)
    return f"{minutes}:{rest / 100.0:05.2f}" if minutes else f"{rest / 100.0:.2f} s"


def duration(seconds: float) -> str:
    """A length of time as one would say it: "0.4 s", "12 s", "3 min 20 s"."""
    if seconds < 9.95:
        return f"{_plain(seconds, 1)} s"
    if seconds < 99.5:
        return f"{seconds:.0f} s"
    minutes, rest = divmod(int(seconds + 0.5), 60)
    return f"{minutes} min {rest} s" if rest and minutes < 30 else f"{minutes} min"


def counted(number: int, noun: str) -> str:
    """ "one pull", "four passes", "15 pulls"."""
    word = ONES[number] if number < len(ONES) else str(number)
    return f"{word} {noun if number == 1 else plural(noun)}"


def plural(noun: str) -> str:
    """ "pulls", "passes"."""
    return noun + ("es" if noun.endswith(("s", "x", "ch", "sh")) else "s")


def listed(names: Sequence[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def ordinal(number: int) -> str:
    """ "fifth"; from 13 on "13th"."""
    if number < len(ORDINALS):
        return ORDINALS[number]
    tail = "th" if 10 <= number % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{tail}"


def limit_quantity(value: float, kind: str) -> Quantity:
    """A limit as the user gave it: up to one decimal, none when it is whole."""
    return Quantity(value, kind, 1)
