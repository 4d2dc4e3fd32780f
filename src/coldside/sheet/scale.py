"""Colour and width of a ribbon, and how much room a line of text takes.

The colour scale has two slopes with its knee at the user's limit: pale to teal below, orange to deep brown
above, so that the range where decisions fall has most of the colours and "over" is seen at once.  Teal against
orange stays apart for the common colour-vision deficiencies, and darkness grows with temperature on each
slope, so that a black-and-white print still orders them.  On a dark page darkness turns into brightness.
"""

from __future__ import annotations

import html
import math
import re
from dataclasses import dataclass

STEPS = 20  # colours on each slope
LIGHT = (("#c8d9d7", "#8cb6b7", "#2f7f86"), ("#cc7d2d", "#96401f", "#431409"))
DARK = (("#4a5f63", "#3f7077", "#58b3ba"), ("#b5702a", "#e0622f", "#ff7355"))
WIDEST = 32.0  # px, the widest ribbon
WIDTH_POWER = 0.4
FONT = "'Source Sans 3','Segoe UI','Helvetica Neue',Helvetica,Arial,'Liberation Sans',sans-serif"


def escape(text: object) -> str:
    """Text for HTML and SVG, quotes included; characters that XML forbids become a visible mark."""
    raw = "".join(
        c if c in "\t\n" or (ord(c) >= 32 and not 0xD800 <= ord(c) <= 0xDFFF) else "\ufffd" for c in str(text)
    )
    return html.escape(raw.replace("\ufffe", "\ufffd").replace("\uffff", "\ufffd"), quote=True)


def pretty(text: str) -> str:
    """Degree signs for the eye: "62 degC" -> "62 °C".  For our own sentences; a user's text stays as typed."""
    return re.sub(r"\bdeg([CF])\b", "°\\1", text)


_UNITS = (
    "°[CF]|deg[CF]|K|k?W|hp|BTU|MJ|kJ|L|US|kg|g|lb|psi|bar|kPa|Pa|inH2O|s|min|h|V|mm|cm2|m|in|in3|in2|ft|rpm|km/h|mph"
    "|points"
)
_GAP = re.compile(rf"(?<=\d) (?=(?:{_UNITS})\b|%)")


def keep_units(text: str) -> str:
    """A space that does not break between a number and its unit."""
    return _GAP.sub("\u00a0", text).replace("\u00a0US gal", "\u00a0US\u00a0gal")


def _mix(stops: tuple[str, str, str], share: float) -> str:
    first, last = (stops[0], stops[1]) if share < 0.5 else (stops[1], stops[2])
    part = share * 2.0 if share < 0.5 else share * 2.0 - 1.0
    a = [int(first[i : i + 2], 16) for i in (1, 3, 5)]
    b = [int(last[i : i + 2], 16) for i in (1, 3, 5)]
    return "#" + "".join(f"{round(x + (y - x) * part):02x}" for x, y in zip(a, b, strict=True))


@dataclass(frozen=True)
class HeatScale:
    """Temperature -> colour step.  `low`, `knee`, `high` in K; steps 0..STEPS-1 below the knee, the rest above."""

    low: float
    knee: float
    high: float

    def step(self, temperature: float) -> int:
        """Index of the colour for a temperature, K; clipped at both ends."""
        if temperature <= self.knee:
            share = (temperature - self.low) / max(self.knee - self.low, 1e-9)
            return int(min(max(share * STEPS, 0.0), STEPS - 1))
        share = (temperature - self.knee) / max(self.high - self.knee, 1e-9)
        return STEPS + int(min(max(share * STEPS, 0.0), STEPS - 1))

    def colour(self, step: int) -> str:
        """The light page's colour of a step."""
        return _step_colour(LIGHT, step)


def _step_colour(palette: tuple[tuple[str, str, str], tuple[str, str, str]], step: int) -> str:
    slope, within = divmod(step, STEPS)
    return _mix(palette[slope], within / (STEPS - 1))


def heat_scale(low: float, knee: float, high: float, system: str) -> HeatScale:
    """A scale with round ends (tens of degC or twenties of degF) around [low, high] K and the knee given."""
    unit, shift = (1.8, -459.67) if system == "us" else (1.0, -273.15)
    grain = 20.0 if system == "us" else 10.0
    bottom = math.floor((min(low, knee - 5.0) * unit + shift) / grain) * grain
    top = math.ceil((max(high, knee + 10.0) * unit + shift) / grain) * grain
    return HeatScale((bottom - shift) / unit, knee, (top - shift) / unit)


def on_dark(rules: str, chosen: bool = False) -> str:
    """Rules for a dark screen; `chosen`: the page says so itself, by `data-look` on its root, or leaves it open."""
    if not chosen:
        return f"@media screen and (prefers-color-scheme:dark){{{rules}}}"
    by_system = f":root:not([data-look=light]){{{rules}}}"
    return (
        f"@media screen and (prefers-color-scheme:dark){{{by_system}}}@media screen{{:root[data-look=dark]{{{rules}}}}}"
    )


def scale_css(chosen: bool = False) -> str:
    """Rules for the classes `t0` ... of the colour steps, light, dark and print; `chosen` as of `on_dark`."""

    def rules(palette: tuple[tuple[str, str, str], tuple[str, str, str]]) -> str:
        return "".join(
            f".rb .t{i}{{stop-color:{c};--c:{c}}}" for i in range(2 * STEPS) for c in (_step_colour(palette, i),)
        )

    return rules(LIGHT) + ".rb .s{stroke:var(--c);fill:none}.rb .f{fill:var(--c)}" + on_dark(rules(DARK), chosen)


def ribbon_css(chosen: bool = False) -> str:
    """Everything a ribbon drawing needs: the scale and the inks, on light, dark and paper; `chosen` as of `on_dark`."""
    return (
        ".rb{--ink:#20262b;--soft:#5c666e;--paper:#fbfaf6;--hot:#9a3412}"
        + on_dark(".rb{--ink:#e9e4d8;--soft:#a7abaa;--paper:#191c1e;--hot:#f2a65a}", chosen)
        + f".rb text{{font-family:{FONT};fill:var(--ink)}}"
        ".rb .n{font-size:13.5px;font-weight:600}.rb .d{font-size:12px;fill:var(--soft)}"
        ".rb .big{font-size:22px;font-weight:700}.rb .over{font-size:13px;font-weight:600;fill:var(--hot)}"
        ".rb .w{stroke:var(--ink);fill:none;stroke-width:1}.rb .st{stroke:var(--paper);fill:none;stroke-width:1.7}"
        ".rb .case{stroke:var(--paper);fill:none}.rb .dash{stroke-dasharray:5 5}"
        ".rb .lead{stroke:var(--soft);fill:none;stroke-width:.8}.rb .ar{stroke:var(--paper);fill:none;stroke-width:1.8}"
        ".rb .dot{fill:var(--paper);stroke:var(--ink);stroke-width:1.6}" + scale_css(chosen)
    )


def ribbon_width(rate: float, reference: float) -> float:
    """Width in px of a flow's ribbon: grows with its heat-capacity rate to the power 0.4; the `reference` gets 26 px.

    The power keeps a charge stream visible beside a coolant stream that carries several times as much per degree.
    """
    return min(max(26.0 * (max(rate, 0.0) / max(reference, 1e-9)) ** WIDTH_POWER, 3.0), WIDEST)


_NARROW, _WIDE = set("iljtfr.,:;'|!()[] "), set("mwMW@%")


def text_width(text: str, size: float, bold: bool = False) -> float:
    """A cautious estimate, px, of a line's width in any of the sheet's fonts (10 % over Helvetica's own)."""
    em = 0.0
    for c in text:
        em += 0.32 if c in _NARROW else 0.89 if c in _WIDE else 0.70 if c.isupper() else 0.57
        if ord(c) > 0x2E7F:
            em += 0.45  # full-width scripts
    return 1.06 * em * size * (1.06 if bold else 1.0)
