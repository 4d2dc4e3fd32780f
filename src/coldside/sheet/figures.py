"""Charts as plain SVG: the session in time, and the small bars of ledger, ladder and margins.

Here: `time_chart`, `time_chart_boxes`, `bar`, `decimate`, `energy`, `resistance`.  No spike is lost: a trace is
drawn by the lowest and highest sample of each pixel column; every number is taken from the full trace.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import cast

import numpy as np

from coldside.build.model import names_on
from coldside.duty.model import Demand, Span
from coldside.judge.heat import core_loops
from coldside.judge.wording import Quantity, Range, shown
from coldside.parts.airflow import FanSpec
from coldside.parts.pump import PumpSpec
from coldside.plant.results import Forecast
from coldside.sheet.drawing import Box, spread
from coldside.sheet.scale import FONT, escape, on_dark, pretty, text_width
from coldside.sheet.stretch import stretch
from coldside.units import UNIT

Band = tuple[float, float, float]  # 10th, 50th, 90th percentile
BTU = 1055.05585262  # J, international table
SIZE = 12.0  # px, words in charts

_LIGHT = (
    "--ink:#20262b;--soft:#5c666e;--rule:#d8d4c8;--gas:#20262b;--sensor:#6b5a2b;--hot:#9a3412;--cool:#2f7f86;--tank:#6aa3a6;"
    "--band:#eae5d5;--paper:#fbfaf6"
)
_DARK = (
    "--ink:#e9e4d8;--soft:#a7abaa;--rule:#3a3f41;--gas:#f3efe4;--sensor:#cdb673;--hot:#f2a65a;--cool:#58b3ba;--tank:#8fc9cc;"
    "--band:#2f3639;--paper:#191c1e"
)
_RULES = (
    f".ch text{{font-family:{FONT};font-size:12px;fill:var(--soft)}}.ch .k{{fill:var(--ink);font-weight:600}}"
    ".ch .k{paint-order:stroke;stroke:var(--paper);stroke-width:3px}"
    ".ch .g{stroke:var(--rule);fill:none}.ch .ax{stroke:var(--soft);fill:none}.ch .band{fill:var(--band)}"
    ".ch path.gas{stroke:var(--gas)}.ch path.sensor{stroke:var(--sensor)}.ch path.limit{stroke:var(--hot)}"
    ".ch path.into{stroke:var(--cool)}.ch path.tank{stroke:var(--tank)}.ch path.road{stroke:var(--soft)}"
    ".ch .on{fill:var(--cool)}.ch .fan{fill:var(--tank)}.ch text.gas{fill:var(--gas);font-weight:600}"
    ".ch text.sensor{fill:var(--sensor)}.ch text.limit{fill:var(--hot);font-weight:600}.ch text.into{fill:var(--cool)}"
    ".ch text.tank{fill:var(--cool)}.ch .spot{fill:none;stroke:var(--ink);stroke-width:1.4}"
)
INKS = {  # for viewers without CSS variables: stroke, dash, width
    "gas": ("#20262b", "", 2.0),
    "sensor": ("#6b5a2b", "5 3", 1.6),
    "limit": ("#9a3412", "10 3 2 3", 1.4),
    "into": ("#2f7f86", "", 1.8),
    "tank": ("#6aa3a6", "2 2.5", 1.8),
    "road": ("#5c666e", "", 1.2),
}


def chart_css(chosen: bool = False) -> str:
    """What a chart looks like on light, dark and paper.

    `chosen`: for a page where the reader chooses, by `data-look` on its root; else the system says light or dark.
    """
    return f".ch{{{_LIGHT}}}" + on_dark(f".ch{{{_DARK}}}", chosen) + _RULES


def energy(value: float, system: str) -> str:
    """Heat over a session, J -> "3.21 MJ" or "3040 BTU"; three figures."""
    if system == "us":
        return f"{_three(value / BTU)} BTU"
    return f"{_three(value / 1e6)} MJ" if abs(value) >= 1e6 else f"{_three(value / 1e3)} kJ"


RESISTANCE_UNIT = {"si": "K/kW", "us": "degF per 1000 BTU/min"}


def resistance(value: float, system: str) -> str:
    """A rung's resistance, K/W -> its number in `RESISTANCE_UNIT`: "0.48" in K/kW, "15.2" in degF per 1000 BTU/min."""
    return _three(value * 1e3 * (1.8 * BTU / 60.0 if system == "us" else 1.0))


def _three(value: float) -> str:
    if value == 0.0 or not math.isfinite(value):
        return "0" if value == 0.0 else "not known"
    decimals = min(max(2 - math.floor(math.log10(abs(value))), 0), 6)
    return f"{value:.{decimals}f}"


def decimate(time: np.ndarray, values: np.ndarray, columns: int) -> tuple[np.ndarray, np.ndarray]:
    """At most four samples a column (first, lowest, highest, last), in time order; short traces come back whole.

    `time` must rise.  The lowest and highest value of the trace are always among what comes back.
    """
    n = len(time)
    if n <= 4 * columns:
        return time, values
    edges = np.searchsorted(time, np.linspace(time[0], time[-1], columns + 1))
    edges[-1] = n
    keep: set[int] = {0, n - 1}
    for a, b in zip(edges, edges[1:], strict=False):
        if b > a:
            part = values[a:b]
            keep.update((int(a), int(a + np.argmin(part)), int(a + np.argmax(part)), int(b - 1)))
    chosen = np.array(sorted(keep))
    return time[chosen], values[chosen]


def nice_ticks(low: float, high: float, wanted: int, steps: tuple[float, ...] = (1, 2, 2.5, 5, 10)) -> list[float]:
    """Round numbers between `low` and `high`, about `wanted` of them."""
    span = max(high - low, 1e-9)
    rough = span / max(wanted, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next((s * power for s in steps if s * power >= rough - 1e-12), 10 * power)
    first = math.ceil(low / step - 1e-9)
    return [i * step for i in range(first, math.floor(high / step + 1e-9) + 1)]


def bar(value: float, low: float, high: float, words: str, mark: float | None = None) -> str:
    """One bar from zero to `value` on an axis from `low` to `high`, as an inline SVG; `mark` draws a line there."""
    low, high = min(low, 0.0), max(high, 0.0)
    unit = 100.0 / max(high - low, 1e-12)
    zero, end = -low * unit, (min(max(value, low), high) - low) * unit
    a, b = min(zero, end), max(zero, end)
    cls = "bar" if value >= 0.0 else "bar back"
    line = "" if mark is None else f'<path d="M{(mark - low) * unit:.2f} 0V10" class="mark" stroke="#9a3412"/>'
    return (
        f'<svg class="bars" viewBox="0 0 100 10" preserveAspectRatio="none" role="img"'
        f' aria-label="{escape(pretty(words))}">'
        f'<path d="M{zero:.2f} 0V10" class="zero" stroke="#5c666e"/>'
        f'<rect x="{a:.2f}" y="1.5" width="{max(b - a, 0.25):.2f}" height="7" class="{cls}" fill="#5c666e"/>'
        f"{line}</svg>"
    )


@dataclass
class Line:
    """One trace of a panel: SI values, class for its ink, name at its end."""

    values: np.ndarray
    ink: str
    name: str
    flat: bool = False  # a limit: one level over the whole width


@dataclass
class Panel:
    """A panel of the chart: its lines share one axis of `kind`."""

    top: float
    height: float
    kind: str
    lines: list[Line] = field(default_factory=list)
    low: float = 0.0
    high: float = 1.0


class _Chart:
    """The pen of a time chart."""

    def __init__(self, forecast: Forecast, system: str, narrow: bool) -> None:
        self.forecast, self.system, self.narrow = forecast, system, narrow
        self.width = 360.0 if narrow else 940.0
        self.left = 34.0 if narrow else 52.0
        self.right = self.width - (108.0 if narrow else 146.0)
        self.time = forecast.time / 60.0
        self.pieces: list[str] = []
        self.words: list[str] = []
        self.boxes: list[Box] = []

    def x(self, minute: float) -> float:
        """px of a time in minutes."""
        span = max(self.time[-1] - self.time[0], 1e-9)
        return self.left + (self.right - self.left) * (minute - self.time[0]) / span

    def text(self, x: float, y: float, words: str, cls: str = "", anchor: str = "start") -> None:
        """One line of words; remembers its box."""
        words = pretty(words)
        wide = text_width(words, SIZE, cls in ("k", "gas", "limit"))
        a = {"start": x, "middle": x - wide / 2, "end": x - wide}[anchor]
        self.boxes.append(Box(a, y - 9.6, a + wide, y + 2.9, words))
        self.words.append(
            f'<text x="{x:.1f}" y="{y:.1f}" class="{cls}" text-anchor="{anchor}" font-size="12">{escape(words)}</text>'
        )

    def free(self, box: Box) -> bool:
        """Whether no word stands there yet."""
        return not any(box.overlaps(other) for other in self.boxes)

    # -- panels ------------------------------------------------------------------------------------

    def unit(self, kind: str) -> tuple[str, float, float]:
        """Label, factor and shift of the axis' unit: shown = SI * factor + shift."""
        shown_unit = UNIT[(kind, self.system)]
        zero, one = float(shown_unit.from_si(0.0)), float(shown_unit.from_si(1.0))
        return shown_unit.label, one - zero, zero

    def panel(self, panel: Panel, title: str, ticks: int) -> None:
        """Axis, lines, and the lines' names at their ends."""
        label, factor, shift = self.unit(panel.kind)
        low, high = panel.low * factor + shift, panel.high * factor + shift
        bottom = panel.top + panel.height

        def y(value: float) -> float:
            return bottom - panel.height * (value - low) / max(high - low, 1e-9)

        for tick in nice_ticks(low, high, ticks):
            at = y(tick)
            self.pieces.append(f'<path d="M{self.left:.1f} {at:.1f}H{self.right:.1f}" class="g" stroke="#d8d4c8"/>')
            self.text(self.left - 6.0, at + 4.0, f"{tick:g}", "", "end")
        self.text(self.left, panel.top - 8.0, f"{title}, {label}", "k")
        for line in panel.lines:
            self._trace(line, [y(v * factor + shift) for v in (0.0, 1.0)])
        self._names(panel, lambda value: y(value * factor + shift))

    def _trace(self, line: Line, y01: list[float]) -> None:
        slope = y01[1] - y01[0]
        stroke, dash, width = INKS[line.ink]
        if line.flat:
            at = y01[0] + slope * float(line.values[0])
            d = f"M{self.left:.1f} {at:.1f}H{self.right:.1f}"
        else:
            t, v = decimate(self.time, line.values, int(self.right - self.left))
            points = (f"{self.x(a):.1f} {y01[0] + slope * b:.1f}" for a, b in zip(t, v, strict=True))
            d = "M" + "L".join(points)
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self.pieces.append(
            f'<path d="{d}" class="{line.ink}" fill="none" stroke="{stroke}" stroke-width="{width}"'
            f' stroke-linejoin="round"{dashes}/>'
        )

    def _names(self, panel: Panel, y: Callable[[float], float]) -> None:
        ends = [float(line.values[-1]) for line in panel.lines]
        order = sorted(range(len(ends)), key=lambda i: y(ends[i]))
        wanted = [y(ends[i]) for i in order]
        placed = spread(wanted, [15.0] * len(order), panel.top - 8.0, panel.top + panel.height + 14.0, gap=0.0)
        for i, target, at in zip(order, wanted, placed, strict=True):
            line = panel.lines[i]
            self.pieces.append(
                f'<path d="M{self.right + 1:.1f} {target:.1f}L{self.right + 8:.1f} {at:.1f}" class="{line.ink}"'
                f' fill="none" stroke="{INKS[line.ink][0]}" stroke-width="1"/>'
            )
            self.text(self.right + 11.0, at + 4.0, line.name, line.ink)

    # -- time axis and phases --------------------------------------------------------------------------

    def minutes(self, y: float) -> None:
        """Ticks along `y`: minutes, or minutes and seconds where a stretch is short."""
        first, last = float(self.time[0]), float(self.time[-1])
        count = 4 if self.narrow else 10
        seconds = (last - first) * 60.0
        if seconds > 300.0:
            steps = (1, 2, 5, 10) if last - first < 10 else (1, 2, 3, 5, 10)
            told = [(tick, f"{tick:g}") for tick in nice_ticks(first, last, count, steps)]
        else:
            step = next((s for s in (1, 2, 5, 10, 15, 30) if seconds / s <= count), 60)
            at = range(math.ceil(first * 60.0 / step - 1e-9), math.floor(last * 60.0 / step + 1e-9) + 1)
            told = [(k * step / 60.0, f"{k * step // 60}:{k * step % 60:02d}") for k in at]
        for tick, words in told:
            x = self.x(tick)
            self.pieces.append(f'<path d="M{x:.1f} {y:.1f}v5" class="ax" stroke="#5c666e"/>')
            self.text(x, y + 17.0, words, "", "middle")
        past = max((box.x1 + 6.0 for box in self.boxes[len(self.boxes) - len(told) :]), default=0.0)
        self.text(max(self.right + 11.0, past), y + 17.0, "min" if seconds > 300.0 else "min:s")

    def bands(self, top: float, bottom: float) -> None:
        """A faint band behind every stretch in boost."""
        boost = self.forecast.boost.astype(int)
        edges = np.flatnonzero(np.diff(np.concatenate([[0], boost, [0]])))
        for a, b in zip(edges[::2], edges[1::2], strict=True):
            x0, x1 = self.x(self.time[a]), self.x(self.time[min(b, len(self.time) - 1)])
            if x1 - x0 > 0.4:
                self.pieces.append(
                    f'<rect x="{x0:.1f}" y="{top:.1f}" width="{x1 - x0:.1f}" height="{bottom - top:.1f}" class="band"'
                    ' fill="#eae5d5"/>'
                )

    def phases(self, y: float) -> None:
        """The phases' words along the foot: counted ones first, all in one form, then the rest where there is room."""
        told = []
        for span in _told(self.forecast.demand.spans):
            x0, x1 = self.x(self.time[span.first]), self.x(self.time[min(span.last, len(self.time) - 1)])
            self.pieces.append(f'<path d="M{x0:.1f} {y - 17:.1f}v6" class="ax" stroke="#5c666e"/>')
            told.append((span, x0, x1))
        self.pieces.append(f'<path d="M{self.right:.1f} {y - 17:.1f}v6" class="ax" stroke="#5c666e"/>')
        families: dict[str, list[tuple[Span, float, float]]] = {}
        for item in told:
            name, number = _counted(item[0].label)
            families.setdefault(name if number else "", []).append(item)
        single = families.pop("", [])
        shortened = [name for name, items in families.items() if not self._family(items, y, whole=True)]
        for name in shortened:
            self._family(families[name], y, whole=False)
        if shortened and text_width(", ".join(shortened), SIZE) < self.width - self.right - 13.0:
            self.text(self.right + 11.0, y, ", ".join(shortened))
        for span, x0, x1 in sorted(single, key=lambda item: item[0].kind != "pull"):
            if span.kind != "pull" or not self._family([(span, x0, x1)], y, whole=True):
                self._phase(span.label, x0, x1, y)

    def _family(self, items: list[tuple[Span, float, float]], y: float, *, whole: bool) -> bool:
        """Phases that differ by their number: each with its whole words if all of them fit, else with its number alone
        where that fits.  Whether they were written."""
        placed: list[Box] = []
        for span, x0, x1 in items:
            words = span.label if whole else _counted(span.label)[1]
            middle, wide = (x0 + x1) / 2, text_width(words, SIZE)
            gap = 2.0 if whole else 0.8
            box = Box(middle - wide / 2 - gap, y - 9.6, middle + wide / 2 + gap, y + 2.9, words)
            # a pull is short: its words may reach over its ends as long as they touch no others
            fits = wide + 3.0 <= x1 - x0 or (span.kind == "pull" and wide < 60.0)
            clear = self.free(box) and not any(box.overlaps(other) for other in placed)
            if fits and clear and box.x0 > 0.0 and box.x1 < self.right + 10.0:
                placed.append(box)
            elif whole:
                return False
        for box in placed:
            self.text((box.x0 + box.x1) / 2, y, box.text, "", "middle")
        return True

    def _phase(self, words: str, x0: float, x1: float, y: float) -> None:
        """A phase's words in the middle of its stretch, or beside what already stands there; left out without room."""
        wide = text_width(words, SIZE)
        half = wide / 2 + 3.0
        taken = [box for box in self.boxes if box.y0 < y + 2.9 and box.y1 > y - 9.6]
        edges = [box.x1 + half for box in taken] + [box.x0 - half for box in taken]
        for middle in sorted([(x0 + x1) / 2, *edges], key=lambda at: abs(at - (x0 + x1) / 2)):
            box = Box(middle - half + 0.01, y - 9.6, middle + half - 0.01, y + 2.9, words)
            if words and box.x0 >= x0 - 2.0 and box.x1 <= x1 + 2.0 and self.free(box):
                self.text(middle, y, words, "", "middle")
                return

    def peak(self, panel: Panel, likely: Band | None) -> None:
        """A ring around the highest intake, with its value and time where they hide the least of the traces.

        `likely` (10th, 50th, 90th percentile, K) is drawn through it as a line with two ends.
        """
        forecast = self.forecast
        _, factor, shift = self.unit(panel.kind)
        low, high = panel.low * factor + shift, panel.high * factor + shift

        def level(values: np.ndarray) -> np.ndarray:
            return panel.top + panel.height * (1 - (values * factor + shift - low) / max(high - low, 1e-9))

        value = float(forecast.intake[forecast.peak])
        x, y = self.x(self.time[forecast.peak]), float(level(np.array(value)))
        self.pieces.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" class="spot" fill="none" stroke="#20262b"/>')
        if likely is not None:
            ends = [float(level(np.array(likely[k]))) for k in (0, 2)]
            caps = "".join(f"M{x - 4:.1f} {end:.1f}h8" for end in ends)
            self.pieces.append(
                f'<path d="M{x:.1f} {ends[0]:.1f}V{ends[1]:.1f}{caps}" class="spot" fill="none" stroke="#20262b"/>'
            )
        when = shown(Quantity(float(forecast.time[forecast.peak]), "clock"), self.system)
        words = f"{shown(Quantity(value, 'temperature'), self.system)} at {when}"
        wide = text_width(words, SIZE, True) + 4.0
        across = np.array([self.x(t) for t in (self.time[0], self.time[-1])])
        xs = np.interp(self.time, self.time[[0, -1]], across)
        traces = [level(line.values) for line in panel.lines]
        best: tuple[int, float, float] | None = None
        for lift in (-11.0, 4.0, 20.0, -26.0, 36.0, -41.0, 52.0):
            for aside in (0.0, -wide / 2 - 9.0, wide / 2 + 9.0):
                at_x = min(max(x + aside, self.left + wide / 2 + 2), self.right - wide / 2)
                box = Box(at_x - wide / 2, y + lift - 10.5, at_x + wide / 2, y + lift + 3.5, words)
                ring = Box(x - 6.0, y - 6.0, x + 6.0, y + 6.0, "")
                inside = box.y0 > panel.top - 6.0 and box.y1 < panel.top + panel.height
                if not inside or box.overlaps(ring) or not self.free(box):
                    continue
                hidden = sum(_hidden(box, xs, trace) for trace in traces)
                if best is None or hidden < best[0]:
                    best = (hidden, at_x, y + lift)
        if best is not None:
            _, at_x, at_y = best
            if at_y < y - 20.0 or at_y > y + 22.0:
                tip = at_y + 4.0 if at_y < y else at_y - 11.0
                edge = y - 5.0 if at_y < y else y + 5.0
                self.pieces.append(f'<path d="M{x:.1f} {edge:.1f}L{at_x:.1f} {tip:.1f}" class="ax" stroke="#5c666e"/>')
            self.text(at_x, at_y, words, "k", "middle")

    def commands(self, top: float, height: float) -> list[tuple[str, str]]:
        """Bars of pump and fan commands, one thin row each, at most three; returns (name, class) of each row."""
        found = _busy(self.forecast)[:3]
        for row, (name, cls) in enumerate(found):
            trace = self.forecast.command[name]
            y = top + row * height
            changes = np.flatnonzero(np.diff(trace)) + 1
            edges = [0, *changes.tolist(), len(trace) - 1]
            for a, b in zip(edges, edges[1:], strict=False):
                share = float(trace[a])
                x0, x1 = self.x(self.time[a]), self.x(self.time[b])
                if share > 0.0 and x1 > x0:
                    tall = max(share, 0.15) * (height - 6.0)
                    self.pieces.append(
                        f'<rect x="{x0:.1f}" y="{y + height - 3 - tall:.1f}" width="{max(x1 - x0, 0.5):.2f}"'
                        f' height="{tall:.1f}" class="{cls}" fill="#2f7f86"/>'
                    )
            self.pieces.append(
                f'<path d="M{self.left:.1f} {y + height - 3:.1f}H{self.right:.1f}" class="ax" stroke="#5c666e"/>'
            )
            room = self.width - self.right - 13.0
            words = name
            while text_width(words, SIZE) > room and len(words) > 3:
                words = words[:-2] + "…"
            self.text(self.right + 11.0, y + height - 4.0, words)
        return found


def _hidden(box: Box, xs: np.ndarray, ys: np.ndarray) -> int:
    """How many px columns of a trace (px) run through a box."""
    near = np.flatnonzero((xs[1:] >= box.x0) & (xs[:-1] <= box.x1))
    top, bottom = np.minimum(ys[near], ys[near + 1]), np.maximum(ys[near], ys[near + 1])
    through = near[(top < box.y1) & (bottom > box.y0)]
    return len(np.unique(np.round(xs[through])))


def _counted(label: str) -> tuple[str, str]:
    """A phase's words and its number: "pull 3" -> ("pull", "3"); no number is ""."""
    words = label.split()
    return (" ".join(words[:-1]), words[-1]) if len(words) > 1 and words[-1].isdigit() else (label, "")


def _told(spans: tuple[Span, ...]) -> list[Span]:
    """Spans as the foot tells them: a repeat of many phases (a lap) becomes one span with their common words."""
    runs: list[list[Span]] = []
    for span in spans:
        if runs and span.repeat >= 0 and runs[-1][-1].repeat == span.repeat:
            runs[-1].append(span)
        else:
            runs.append([span])
    if max((len(run) for run in runs), default=0) < 3:
        return list(spans)
    found = []
    for run in runs:
        words = run[0].label.split()
        for span in run[1:]:
            words = [
                a
                for a, _ in itertools.takewhile(
                    lambda pair: pair[0] == pair[1], zip(words, span.label.split(), strict=False)
                )
            ]
        kind = run[0].kind if len(run) == 1 else "group"
        found.append(Span(run[0].first, run[-1].last, kind, " ".join(words), run[0].repeat))
    return found


def _busy(forecast: Forecast) -> list[tuple[str, str]]:
    """Pumps of loops with charge cores first, then other pumps, then fans: (name, ink)."""
    served = {n for loop in core_loops(forecast) for n in names_on(forecast.build.loops[loop].path)}
    parts = forecast.build.parts
    pumps = [n for n in forecast.command if isinstance(parts.get(n), PumpSpec)]
    fans = [n for n in forecast.command if isinstance(parts.get(n), FanSpec)]
    pumps.sort(key=lambda n: n not in served)
    return [(n, "on") for n in pumps] + [(n, "fan") for n in fans]


def time_chart(
    forecast: Forecast,
    system: str,
    *,
    narrow: bool = False,
    likely: Band | None = None,
    window: tuple[float, float] | None = None,
    styled: bool = True,
    show: str = "all",
) -> str:
    """The session in time as one SVG: intake against its limit, below it coolant, commands and road speed.

    `system` is "si" or "us"; `narrow` gives the form for a phone (360 px wide instead of 940); `likely` the 10th,
    50th and 90th percentile of the intake's peak, K; `window` the times, s, between which it is drawn, each pixel
    column anew from all samples; `styled` puts its looks inside (False: the page has them); `show` is "all", "lead"
    (the intake alone) or "strips" (the rest, "" where there is none).  The SVG's data attributes say where its time
    axis lies: `data-t0` and `data-t1` in s at `data-x0` and `data-x1` in px, between `data-y0` and `data-y1`.
    """
    return _chart(forecast, system, narrow, likely, window, styled, show)[0]


def time_chart_boxes(forecast: Forecast, system: str, *, narrow: bool = False, likely: Band | None = None) -> list[Box]:
    """The room that every word of the same chart takes: no two may overlap."""
    return _chart(forecast, system, narrow, likely)[1].boxes


def _chart(
    whole: Forecast,
    system: str,
    narrow: bool,
    likely: Band | None,
    window: tuple[float, float] | None = None,
    styled: bool = True,
    show: str = "all",
) -> tuple[str, _Chart]:
    forecast = whole if window is None else stretch(whole, *window)
    chart = _Chart(forecast, system, narrow)
    top = y = 30.0
    if show != "strips":
        main = _main_panel(forecast, system, narrow, likely)
        bottom = main.top + main.height
        chart.bands(main.top, bottom)
        chart.panel(main, "intake", 5 if narrow else 7)
        if forecast.peak >= 0:
            chart.peak(main, likely)
        chart.pieces.append(f'<path d="M{chart.left:.1f} {bottom:.1f}H{chart.right:.1f}" class="ax" stroke="#5c666e"/>')
        chart.phases(bottom + 17.0)
        y = bottom + (52.0 if show == "all" else 27.0)
    if show != "lead":
        y = _strips(chart, y)
    if show == "strips" and y == top:
        return "", chart
    chart.minutes(y)
    height = y + 26.0
    tag = "chn" if narrow else "chw"
    tag += "" if show == "all" else show
    title = "Coolant, road speed, pumps and fans" if show == "strips" else "Intake temperature over the session"
    axis = (
        f' data-t0="{forecast.time[0]:.2f}" data-t1="{forecast.time[-1]:.2f}" data-x0="{chart.left:.1f}"'
        f' data-x1="{chart.right:.1f}" data-y0="{top:.1f}" data-y1="{y:.1f}"'
    )
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="ch" viewBox="0 0 {chart.width:.0f} {height:.0f}" role="img"'
        f'{axis} aria-labelledby="{tag}t {tag}d"><title id="{tag}t">{title}</title><desc id="{tag}d">'
        f"{escape(pretty(_described(whole, system, likely)))}</desc>"
        + (f"<style>{chart_css()}</style>" if styled else "")
        + "".join(chart.pieces)
        + "".join(chart.words)
        + "</svg>"
    )
    return svg, chart


def _strips(chart: _Chart, y: float) -> float:
    """Coolant, road speed, pumps and fans below `y`; returns the lower edge."""
    forecast, narrow = chart.forecast, chart.narrow
    coolant = _coolant_panel(forecast, y, narrow)
    if coolant is not None:
        chart.panel(coolant, "coolant", 4)
        y += coolant.height + 34.0
    road = Panel(y, 54.0, "speed", [Line(forecast.demand.road_speed, "road", "road speed")])
    road.high = max(float(forecast.demand.road_speed.max()) * 1.1, 5.0)
    if forecast.demand.road_speed.max() > 0.1:
        chart.panel(road, "road speed", 3)
        y += road.height + 14.0
    rows = _busy(forecast)
    if rows:
        y += 12.0
        kinds = {cls for _, cls in rows[:3]}
        what = "pumps and fans" if len(kinds) > 1 else "pumps" if "on" in kinds else "fans"
        chart.text(chart.left, y - 3.0, f"{what}: a full bar is full speed", "k")
        y += 4.0
    return y + 19.0 * len(chart.commands(y, 19.0)) + 4.0


def _main_panel(forecast: Forecast, system: str, narrow: bool, likely: Band | None) -> Panel:
    panel = Panel(30.0, 210.0 if narrow else 270.0, "temperature")
    n = len(forecast.time)
    panel.lines.append(Line(forecast.intake, "gas", "gas" if narrow else "intake gas"))
    if forecast.sensor is not None:
        panel.lines.append(Line(forecast.sensor, "sensor", "sensor"))
    seen: set[float] = set()
    for item in forecast.session.limits:
        level = item.bound
        if item.quantity == "over_ambient" and forecast.demand.ambient_changes:
            name = shown(Quantity(level, "temperature_difference", 1), system)
            panel.lines.append(Line(level + forecast.demand.ambient_temperature, "limit", f"limit +{name}"))
            continue
        if item.quantity == "over_ambient":
            level += float(forecast.demand.ambient_temperature[0])
        elif item.quantity not in ("intake", "sensor"):
            continue
        if round(level, 2) in seen:
            continue
        seen.add(round(level, 2))
        name = shown(Quantity(level, "temperature", 1), system)
        what = "limit"
        if item.quantity == "sensor":
            what = "sensor" if narrow else "sensor limit"
        panel.lines.append(Line(np.full(n, level), "limit", f"{what} {name}", flat=True))
    highest = max([float(line.values.max()) for line in panel.lines] + ([likely[2]] if likely else []))
    lowest = min([float(line.values.min()) for line in panel.lines] + ([likely[0]] if likely else []))
    room = max(highest - lowest, 5.0)
    panel.low, panel.high = lowest - 0.06 * room, highest + 0.14 * room
    return panel


def _coolant_panel(forecast: Forecast, top: float, narrow: bool) -> Panel | None:
    """Coolant into the charge cores; of a build whose loops serve none, each loop's own: scales differ too much."""
    panel = Panel(top, 84.0, "temperature")
    served = core_loops(forecast)
    shown_loops = served or forecast.coolant_in_cores
    for loop, trace in shown_loops.items():
        tail = f", {loop}" if len(shown_loops) > 1 and served else ""
        name = ("in" if narrow else "into the cores") + tail if served else loop
        panel.lines.append(Line(trace, "into", name))
        if loop in forecast.tank and float(np.abs(forecast.tank[loop] - trace).max()) > 2.0:
            panel.lines.append(Line(forecast.tank[loop], "tank", "tank" + tail))
    if not panel.lines:
        return None
    highest = max(float(line.values.max()) for line in panel.lines)
    lowest = min(float(line.values.min()) for line in panel.lines)
    room = max(highest - lowest, 4.0)
    panel.low, panel.high = lowest - 0.1 * room, highest + 0.1 * room
    return panel


def _described(forecast: Forecast, system: str, likely: Band | None) -> str:
    """The chart in words."""

    def say(value: float, kind: str = "temperature") -> str:
        return shown(Quantity(value, kind), system)

    peak = say(float(forecast.intake[forecast.peak]))
    if likely is not None:
        peak += f" (likely {Range(likely[0], likely[2], 'temperature').shown(system)})"
    return (
        f"Intake gas starts at {say(float(forecast.intake[0]))}, is highest under boost at {peak}, "
        f"{say(float(forecast.time[forecast.peak]), 'clock')} into the session, "
        f"and ends at {say(float(forecast.intake[-1]))}."
    )


def demand_chart(demand: Demand, system: str, *, narrow: bool = False, styled: bool = False) -> str:
    """What a session asks of a car as one SVG: road speed and engine speed over time, phases as words at the foot.

    `system`, `narrow`, `styled` as of `time_chart`.
    """
    chart = _Chart(cast(Forecast, _Asked(demand)), system, narrow)
    top, tall = 30.0, 110.0
    road = Panel(top, tall, "speed", [Line(demand.road_speed, "gas", "road speed")])
    road.high = max(float(demand.road_speed.max()) * 1.1, 5.0)
    chart.bands(top, top + tall)
    chart.panel(road, "road speed", 4)
    chart.pieces.append(f'<path d="M{chart.left:.1f} {top + tall:.1f}H{chart.right:.1f}" class="ax" stroke="#5c666e"/>')
    chart.phases(top + tall + 17.0)
    y = top + tall + 52.0
    turning = Panel(y, 70.0, "engine_speed", [Line(demand.engine_speed, "road", "engine speed")])
    turning.high = max(float(demand.engine_speed.max()) * 1.1, 10.0)
    chart.panel(turning, "engine speed", 3)
    y += turning.height + 10.0
    chart.minutes(y)
    words = f"The session lasts {shown(Quantity(float(demand.time[-1]), 'clock'), system)}."
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="ch" viewBox="0 0 {chart.width:.0f} {y + 26:.0f}" role="img"'
        ' aria-labelledby="dmt dmd"><title id="dmt">What the session asks of the car</title>'
        f'<desc id="dmd">{words}</desc>'
        + (f"<style>{chart_css()}</style>" if styled else "")
        + "".join(chart.pieces)
        + "".join(chart.words)
        + "</svg>"
    )


class _Asked:
    """A demand where a chart looks for a forecast: its times, and when it asks for boost."""

    def __init__(self, demand: Demand) -> None:
        self.demand, self.time, self.boost = demand, demand.time, demand.boost
