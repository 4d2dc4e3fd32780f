"""What is typed on the page, in words that a file can hold: gallons of the units chosen, marks of inches, fractions.

Here: `as_meant`.  A file says itself what it means, to whoever opens it: there "3 gal" is refused.  On the page the
reader has chosen units, and so said which gallon it is.  Only what is beyond doubt is rewritten; all else goes on as it
was typed, and the reader of values (`units.parse`) says what is unclear.
"""

from __future__ import annotations

import re

from coldside.units import KINDS, system_of
from coldside.units.kinds import POUND

USUAL = {  # kind -> what a bare number of it is, by the units chosen: one unit only, or what the chooser itself names
    "engine_speed": {"si": "rpm", "us": "rpm"},
    "angle": {"si": "deg", "us": "deg"},
    "voltage": {"si": "V", "us": "V"},
    "current": {"si": "A", "us": "A"},
    "temperature": {"si": "degC", "us": "degF"},
    "boost": {"si": "bar", "us": "psi"},
}
_NUMBER = r"(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)"
_BARE = re.compile(rf"([+-]?{_NUMBER})(\s*(?:\+-|\+/-|±)\s*{_NUMBER}\s*%?)?")
_FRACTION = re.compile(
    r"(?<![0-9./])(?:(?P<whole>[0-9]{1,5})(?:\s+|\s*-\s*))?(?P<above>[0-9]{1,4})\s*/\s*(?P<below>[1-9][0-9]{0,3})(?![0-9./])"
)
_CHARACTERS = str.maketrans({"½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8"})
_INCH = "(?:\"|''|″|”|“|’’|′′)"
_FOOT = "(?:'|′|’)"
_FEET = re.compile(rf"(?<![0-9./])({_NUMBER})\s*{_FOOT}(?!['’′])(?:\s*({_NUMBER})\s*{_INCH}?)?")
_INCHES = re.compile(rf"(?<![0-9./])({_NUMBER})\s*{_INCH}")
_THOUSANDS = re.compile(r"(?<![0-9.,])[1-9][0-9]{0,2}(?:,[0-9]{3})+(?![0-9,])")
_GALLONS = re.compile(r"(?<=[0-9])\s*(gal|gals|gallon|gallons|qt|qts|quart|quarts)(?![A-Za-z])", re.IGNORECASE)
_GALLONS_A_TIME = re.compile(r"(?<=[0-9])\s*gp([mh])(?![A-Za-z])", re.IGNORECASE)
_CUBIC = re.compile(rf"({_NUMBER})\s*(?:cc|cm3|cm³|mL)(?:\s*/\s*min)?", re.IGNORECASE)


def as_meant(text: str, kind: str, system: str, *, usual: str = "", density: float | None = None) -> str:
    """What was typed into a field of a kind, as a file says it; `text` itself where nothing is beyond doubt.

    `system` "si" or "us", as chosen.  `usual`: the unit that a bare number of this field has, where its kind alone
    does not tell ("hp" of an engine's power).  `density` [kg/m3] of what a mass flow is of, where the trade counts it
    in cc/min: an injector's fuel.
    """
    said = text.strip()
    if kind not in KINDS or len(said) > 120:
        return text
    if kind == "length":
        said = _INCHES.sub(r"\1 in", _FEET.sub(_in_inches, _decimals(said)))
    elif kind not in ("share", "number", "command", "count"):
        said = _decimals(said)
    if system_of(said) == "us" or kind == "engine_speed" or (system == "us" and _is_bare(said)):
        said = _THOUSANDS.sub(lambda found: found[0].replace(",", ""), said)
    if system == "us" and kind in ("volume", "volume_flow"):
        said = _GALLONS.sub(r" US \1", _GALLONS_A_TIME.sub(_a_time, said))
        said = re.sub(r"US (gal|qt|gallon|quart)s?(?![a-z])", lambda found: f"US {found[1].lower()}", said, flags=re.I)
        said = re.sub(r"\s+per\s+", "/", said)
    if kind == "mass_flow" and density is not None and (cubic := _CUBIC.fullmatch(said)):
        flow = float(cubic[1]) * 1e-6 / 60.0 * density
        said = f"{flow / POUND * 3600.0:.4g} lb/h" if system == "us" else f"{1e3 * flow:.4g} g/s"
    unit = usual or USUAL.get(kind, {}).get(system, "")
    if unit and (bare := _BARE.fullmatch(said)):
        said = f"{bare[1]} {unit}{bare[2] or ''}"
    return said if said != text.strip() else text


def _is_bare(text: str) -> bool:
    return bool(_THOUSANDS.fullmatch(text))


def _a_time(found: re.Match[str]) -> str:
    return " gal/min" if found[1].lower() == "m" else " gal/h"


def _decimals(text: str) -> str:
    """Fractions as decimal numbers: "1 1/4 in" -> "1.25 in"."""
    return _FRACTION.sub(_decimal, re.sub(" {2,}", " ", text.translate(_CHARACTERS)).strip()).strip()


def _decimal(found: re.Match[str]) -> str:
    return f"{float(found['whole'] or 0.0) + float(found['above']) / float(found['below']):.6g}"


def _in_inches(found: re.Match[str]) -> str:
    if found[2] is None:
        return f"{float(found[1]):g} ft"
    return f"{12.0 * float(found[1]) + float(found[2]):.6g} in"
