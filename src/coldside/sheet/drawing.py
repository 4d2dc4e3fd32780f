"""The pen of the ribbon drawing: ribbons, stitches, witness lines, labels that never overlap.

Here: `Drawing` (collects SVG in layers and remembers every label's box) and `spread` (one row of labels pushed
apart as little as possible).  Not here: where things go (`ribbon.py`, `ribbon_narrow.py`).
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from coldside.sheet.scale import STEPS, HeatScale, escape, pretty, ribbon_width, text_width
from coldside.sheet.streams import Moment, part_name

NAME_SIZE, DETAIL_SIZE = 13.5, 12.0
LINE = 15.5  # px from one line of a label to the next


@dataclass(frozen=True)
class Box:
    """The room that one label takes, px, and its text."""

    x0: float
    y0: float
    x1: float
    y1: float
    text: str

    def overlaps(self, other: Box) -> bool:
        """Whether two boxes share any area."""
        return self.x0 < other.x1 and other.x0 < self.x1 and self.y0 < other.y1 and other.y0 < self.y1


def label_width(lines: Sequence[str]) -> float:
    """Width of a label whose first line is a part's name, px."""
    if not lines:
        return 0.0
    rest = [text_width(line, DETAIL_SIZE) for line in lines[1:]]
    return max([text_width(lines[0], NAME_SIZE, bold=True), *rest])


def clipped(text: str, size: float, room: float, bold: bool = False) -> str:
    """`text`, shortened with an ellipsis until it fits into `room` px."""
    if text_width(text, size, bold) <= room:
        return text
    kept = text
    while len(kept) > 1 and text_width(kept + "…", size, bold) > room:
        kept = kept[:-1]
    return kept.rstrip() + "…"


def spread(
    centres: Sequence[float], widths: Sequence[float], low: float, high: float, gap: float = 10.0
) -> list[float]:
    """Centres of intervals of the given widths, kept in order, apart by `gap`, within [low, high].

    Moves them as little as possible in the least-squares sense (pooling of neighbours that collide).  When
    they cannot fit, they start at `low` and run over `high`: the caller checks `fits` first.
    """
    offsets, run = [], 0.0
    for width in widths:
        offsets.append(run + width / 2.0)
        run += width + gap
    total = run - gap
    pools: list[list[float]] = []  # [sum of wanted starts, count]
    for centre, offset in zip(centres, offsets, strict=True):
        pools.append([centre - offset, 1.0])
        while len(pools) > 1 and pools[-2][0] / pools[-2][1] > pools[-1][0] / pools[-1][1]:
            last = pools.pop()
            pools[-1][0] += last[0]
            pools[-1][1] += last[1]
    starts: list[float] = []
    for total_start, count in pools:
        start = min(max(total_start / count, low), max(high - total, low))
        starts.extend([start] * int(count))
    return [start + offset for start, offset in zip(starts, offsets, strict=True)]


def fits(widths: Sequence[float], low: float, high: float, gap: float = 10.0) -> bool:
    """Whether intervals of these widths fit side by side into [low, high]."""
    return sum(widths) + gap * max(len(widths) - 1, 0) <= high - low


class Drawing:
    """SVG pieces in layers, from the lowest: coolant tracks, ribbons, stitches, lines, words."""

    def __init__(
        self,
        moment: Moment,
        scale: HeatScale,
        reference: float,
        largest_heat: float,
        tag: str,
        link: Callable[[str], str] | None = None,
    ) -> None:
        self.moment = moment
        self.link = link  # part -> address that its name leads to; None: names lead nowhere
        self.scale = scale
        self.reference = reference
        self.largest_heat = largest_heat
        self.tag = tag
        self.defs: list[str] = []
        self.under: list[str] = []
        self.ribbons: list[str] = []
        self.over: list[str] = []
        self.words: list[str] = []
        self.boxes: list[Box] = []

    @contextlib.contextmanager
    def of(self, entry: str) -> Iterator[None]:
        """What is drawn within belongs to a part: on a page it can be pressed, as the part's name can."""
        part, layers = part_name(entry), (self.under, self.ribbons, self.over)
        starts = [len(layer) for layer in layers]
        yield
        if self.link is None or part not in self.moment.build.parts:
            return
        for layer, start in zip(layers, starts, strict=True):
            if drawn := "".join(layer[start:]):
                layer[start:] = [f'<g data-part="{escape(part)}">{drawn}</g>']

    # -- ribbons -----------------------------------------------------------------------------------

    def width(self, rate: float) -> float:
        """Width of a ribbon that carries `rate` W/K, px; thin when it is drawn dashed."""
        return 2.6 if self.moment.is_still(rate) else ribbon_width(rate, self.reference)

    def _dash(self, rate: float) -> str:
        return " dash" if self.moment.is_still(rate) else ""

    def gradient(self, a: tuple[float, float], b: tuple[float, float], t0: float, t1: float) -> str:
        """A colour run from `t0` at point `a` to `t1` at `b`; returns its id."""
        name = f"{self.tag}{len(self.defs)}"
        shares = [i / 10 for i in range(11)]
        if (t0 - self.scale.knee) * (t1 - self.scale.knee) < 0.0:
            crossing = (self.scale.knee - t0) / (t1 - t0)
            shares += [max(crossing - 1e-4, 0.0), min(crossing + 1e-4, 1.0)]
        stops = "".join(
            f'<stop offset="{s:.4f}" stop-color="{self.scale.colour(k)}" class="t{k}"/>'
            for s in sorted(shares)
            for k in (self.scale.step(t0 + s * (t1 - t0)),)
        )
        # a gradient along a line needs a box of some height in a few viewers: a hair is enough
        self.defs.append(
            f'<linearGradient id="{name}" gradientUnits="userSpaceOnUse" x1="{a[0]:.1f}" y1="{a[1]:.1f}"'
            f' x2="{b[0]:.1f}" y2="{b[1]:.1f}">{stops}</linearGradient>'
        )
        return name

    def straight(
        self, a: tuple[float, float], b: tuple[float, float], rate: float, temperatures: tuple[float, float]
    ) -> None:
        """A straight ribbon from `a` to `b` whose colour runs from the first temperature to the second."""
        t0, t1 = temperatures
        length = math.hypot(b[0] - a[0], b[1] - a[1])
        if length > 0.0:  # neighbours overlap by a hair, or the page shows through between them
            dx, dy = 0.6 * (b[0] - a[0]) / length, 0.6 * (b[1] - a[1]) / length
            a, b = (a[0] - dx, a[1] - dy), (b[0] + dx, b[1] + dy)
        if self.scale.step(t0) == self.scale.step(t1):
            self.bend(f"M{a[0]:.1f} {a[1]:.1f}L{b[0]:.1f} {b[1]:.1f}", rate, t0)
            return
        name = self.gradient(a, b, t0, t1)
        # the hair's breadth keeps a level line's box from being empty, which would switch the gradient off
        self.ribbons.append(
            f'<path d="M{a[0]:.1f} {a[1]:.1f}L{b[0]:.2f} {b[1] + 0.01:.2f}" fill="none" stroke="url(#{name})"'
            f' stroke-width="{self.width(rate):.1f}" class="{self._dash(rate).strip()}"/>'
        )

    def bend(
        self, d: str, rate: float, temperature: float, *, cased: bool = False, under: bool = False, cap: str = "butt"
    ) -> None:
        """A ribbon of one temperature along the path data `d`; `cased` cuts what it crosses; `cap` ends it."""
        layer = self.under if under else self.ribbons
        step = self.scale.step(temperature)
        width = self.width(rate)
        if cased:
            layer.append(f'<path d="{d}" class="case" stroke="#fbfaf6" fill="none" stroke-width="{width + 5:.1f}"/>')
        layer.append(
            f'<path d="{d}" fill="none" stroke="{self.scale.colour(step)}" stroke-width="{width:.1f}"'
            f' stroke-linecap="{cap}" class="s t{step}{self._dash(rate)}"/>'
        )

    def curve(self, a: tuple[float, float], b: tuple[float, float], rate: float, temperature: float) -> None:
        """A level-to-level ribbon, as strands leave and join."""
        mid = (a[0] + b[0]) / 2
        d = f"M{a[0]:.1f} {a[1]:.1f}C{mid:.1f} {a[1]:.1f} {mid:.1f} {b[1]:.1f} {b[0]:.1f} {b[1]:.1f}"
        self.bend(d, rate, temperature, cased=True)

    def tank(self, centre: tuple[float, float], litres: float, rate: float, ends: tuple[float, float, str]) -> None:
        """A bulge whose area is the litres; `ends` = (temperature in, out, flow: "up", "down", "right", "left")."""
        t_in, t_out, way = ends
        wide, high = tank_size(litres)
        x, y = centre
        neck = self.width(rate) / 2
        half, long = wide / 2, high / 2
        d = (
            f"M{-neck:.1f} {long + 8:.1f}C{-neck:.1f} {long - 4:.1f} {-half:.1f} {long:.1f} {-half:.1f} {long - 16:.1f}"
            f"V{-long + 16:.1f}C{-half:.1f} {-long:.1f} {-neck:.1f} {-long + 4:.1f} {-neck:.1f} {-long - 8:.1f}"
            f"H{neck:.1f}C{neck:.1f} {-long + 4:.1f} {half:.1f} {-long:.1f} {half:.1f} {-long + 16:.1f}"
            f"V{long - 16:.1f}C{half:.1f} {long:.1f} {neck:.1f} {long - 4:.1f} {neck:.1f} {long + 8:.1f}Z"
        )
        turn = {"up": 0, "right": 90, "down": 180, "left": 270}[way]
        name = self.gradient((0.0, long), (0.0, -long), t_in, t_out)
        self.over.append(
            f'<path d="{d}" transform="translate({x:.1f} {y:.1f}) rotate({turn})" fill="url(#{name})" class="tank"/>'
        )

    def stitches(self, x0: float, x1: float, y: float, heat: float, ends: tuple[float, float]) -> None:
        """White stitches over the seam at `y`: as many as the heat, denser where the streams are further apart.

        `ends` are the temperature differences at `x0` and `x1`.  They lean the other way when heat flows back.
        """
        room = abs(x1 - x0) - 6.0
        count = stitch_count(heat, self.largest_heat, room)
        first, last = max(abs(ends[0]), 1e-6), max(abs(ends[1]), 1e-6)
        first, last = max(first, 0.35 * last), max(last, 0.35 * first)
        left = min(x0, x1) + 3.0
        if x0 > x1:
            first, last = last, first
        lean = 1.6 if heat >= 0.0 else -1.6
        for i in range(count):
            at = left + room * _inverse_linear((i + 0.5) / count, first, last)
            self.over.append(
                f'<path d="M{at - lean:.1f} {y - 5.2:.1f}L{at + lean:.1f} {y + 5.2:.1f}" class="st"'
                ' stroke="#fbfaf6" stroke-width="1.7"/>'
            )

    def chevrons(self, x: float, y: float, forward: bool) -> None:
        """Three small arrows that say which way a pump, fan or compressor drives its stream."""
        way = 1.0 if forward else -1.0
        for k in (-9.0, 0.0, 9.0):
            tip = x + way * 3.5 + k
            self.over.append(
                f'<path d="M{tip - way * 7:.1f} {y - 4.6:.1f}L{tip:.1f} {y:.1f}L{tip - way * 7:.1f} {y + 4.6:.1f}"'
                ' class="ar" fill="none" stroke="#fbfaf6" stroke-width="1.8"/>'
            )

    # -- lines and words -----------------------------------------------------------------------------

    def witness(self, x0: float, x1: float, y: float, drop: float) -> None:
        """A fabricator's witness lines: two ticks from the ribbon's edge at `y`, joined `drop` px off it."""
        self.over.append(
            f'<path d="M{x0:.1f} {y:.1f}V{y + drop:.1f}M{x1:.1f} {y:.1f}V{y + drop:.1f}M{x0:.1f} {y + drop:.1f}'
            f'H{x1:.1f}" class="w" fill="none" stroke="#20262b"/>'
        )

    def leader(self, x: float, y: float, to_x: float, to_y: float, *, under: bool = False) -> None:
        """A thin line from the ribbon to a label that stands elsewhere; `under` lets it pass behind other ribbons."""
        (self.under if under else self.over).append(
            f'<path d="M{x:.1f} {y:.1f}L{to_x:.1f} {to_y:.1f}" class="lead" fill="none" stroke="#5c666e"/>'
        )

    def dot(self, x: float, y: float) -> None:
        """A sensor."""
        self.over.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" class="dot" fill="#fbfaf6" stroke="#20262b"/>')

    def label(self, x: float, top: float, lines: Sequence[str], anchor: str = "middle", entry: str = "") -> None:
        """A label whose first line is a name; `top` is the upper edge of its first line; `entry` names the part where
        the first line is shortened.  On a page the name leads to the part."""
        part = part_name(entry or (lines[0] if lines else ""))
        leads = self.link is not None and part in self.moment.build.parts
        before = len(self.words)
        for i, line in enumerate(lines):
            cls, size, bold = ("n", NAME_SIZE, True) if i == 0 else ("d", DETAIL_SIZE, False)
            self.text(x, top + 12.0 + i * LINE, line, cls, size, anchor, bold)
        if leads and self.link is not None and len(self.words) > before:
            goes = f'<a href="{escape(self.link(part))}" data-part="{escape(part)}">'
            self.words[before] = f"{goes}{self.words[before]}</a>"

    def text(
        self, x: float, y: float, line: str, cls: str, size: float, anchor: str = "start", bold: bool = False
    ) -> None:
        """One line of words with its baseline at `y`; remembers its box."""
        if not line:
            return
        line = pretty(line)
        wide = text_width(line, size, bold)
        left = {"start": x, "middle": x - wide / 2, "end": x - wide}[anchor]
        self.boxes.append(Box(left, y - 0.80 * size, left + wide, y + 0.24 * size, line))
        fill = "#20262b" if cls in ("n", "big") else "#5c666e"
        weight = ' font-weight="600"' if bold else ""
        self.words.append(
            f'<text x="{x:.1f}" y="{y:.1f}" class="{cls}" text-anchor="{anchor}" font-size="{size:g}" fill="{fill}"'
            f"{weight}>{escape(line)}</text>"
        )

    def legend(self, x: float, y: float, width: float) -> None:
        """The colour scale with its ends and the knee, each slope half the width."""
        scale, moment = self.scale, self.moment
        cell = width / (2 * STEPS)
        for k in range(2 * STEPS):
            self.ribbons.append(
                f'<rect x="{x + k * cell:.2f}" y="{y:.1f}" width="{cell + 0.3:.2f}" height="9"'
                f' fill="{scale.colour(k)}" class="f t{k}"/>'
            )
        knee = moment.say(scale.knee, "temperature")
        self.text(x, y + 23, moment.say(scale.low, "temperature"), "d", DETAIL_SIZE, "start")
        self.text(x + width / 2, y + 23, knee, "d", DETAIL_SIZE, "middle")
        self.text(x + width, y + 23, moment.say(scale.high, "temperature"), "d", DETAIL_SIZE, "end")

    def svg(self, width: float, height: float, title: str, description: str, style: str) -> str:
        """The whole drawing."""
        inner = "".join(["<defs>", *self.defs, "</defs>", *self.under, *self.ribbons, *self.over, *self.words])
        role = "img" if self.link is None else "group"  # an image hides the links inside it from a screen reader
        looks = f"<style>{style}</style>" if style else ""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="rb" viewBox="0 0 {width:.0f} {height:.0f}" role="{role}"'
            f' aria-labelledby="{self.tag}t {self.tag}d"><title id="{self.tag}t">{escape(title)}</title>'
            f'<desc id="{self.tag}d">{escape(pretty(description))}</desc>{looks}{inner}</svg>'
        )


def tank_size(litres: float) -> tuple[float, float]:
    """Width and height of a tank's bulge, px: area goes with the litres between about 2 and 40 L."""
    area = min(max(420.0 * litres, 900.0), 16000.0)
    wide = math.sqrt(area / 1.25)
    return wide, 1.25 * wide


def stitch_count(heat: float, largest: float, room: float) -> int:
    """Stitches for a heat crossing, of at most one in 7 px; none below 0.3 % of the largest heat."""
    share = min(abs(heat) / max(largest, 1.0), 1.0)
    if share < 0.003:
        return 0
    return max(round(share * room / 7.0), 1)


def _inverse_linear(share: float, first: float, last: float) -> float:
    """Place in 0..1 below which `share` lies of a density that runs from `first` to `last`."""
    if abs(last - first) < 1e-9 * (first + last):
        return share
    half = 0.5 * (first + last) * share
    slope = (last - first) / 2.0
    return (-first + math.sqrt(first * first + 4.0 * slope * half)) / (2.0 * slope)
