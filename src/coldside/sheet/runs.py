"""A run: one stretch of a path laid out from left to right, parallel groups as strands, labels along one edge.

Here: `Run` (measure, place, draw).  `ribbon.py` puts runs together into the whole drawing.

A run is placed in two steps, since heights follow from widths: `place(x0, x1)` fixes everything along x and says
how far the run reaches above and below its centre line; `draw(y)` puts it on the page.  A run that flows to the
left is placed as its mirror image.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from coldside.build.model import Parallel, Path, names_on
from coldside.parts.airflow import FanSpec
from coldside.parts.compressor import CompressorSpec
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec
from coldside.parts.oil_cooler import OilCoolerSpec
from coldside.parts.pump import PumpSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.parts.sensor import SensorSpec
from coldside.parts.supercharger import SuperchargerSpec
from coldside.sheet.drawing import (
    DETAIL_SIZE,
    LINE,
    NAME_SIZE,
    Drawing,
    clipped,
    fits,
    label_width,
    spread,
    tank_size,
)
from coldside.sheet.scale import WIDEST, pretty, text_width
from coldside.sheet.streams import Moment, Stream, part_name

FORK = 46.0  # px of a fork or a join
WIDEST_LABEL = 230.0  # px
SLOT = 16.0  # px that a leader takes among the labels of an inner tier, gap included
LONGEST = 1.7  # of the length that a run would like to have
DIP, DIP_DEPTH = 30.0, 12.0  # px, how a duct's ribbon leaves the part that it cools
PAD = 26.0  # px of charge ribbon on both sides of a core whose coolant comes from a loop below
BASE = {
    "CompressorSpec": 70.0,
    "PipeSpec": 80.0,
    "HoseSpec": 56.0,
    "WaterCoreSpec": 200.0,
    "AirCoreSpec": 200.0,
    "ExchangerSpec": 180.0,
    "PlenumSpec": 70.0,
    "ReservoirSpec": 100.0,
    "FanSpec": 50.0,
    "SensorSpec": 16.0,
    "EngineSpec": 80.0,
}  # px that a kind of part likes to be long


@dataclass
class Label:
    """A label and where on the ribbon it points; `tier` counts outward from the ribbon."""

    lines: list[str]
    anchor: float  # x on the ribbon
    entry: str = ""  # the path's entry it belongs to; empty for words without a name
    x: float = 0.0  # centre of the words
    tier: int = 0

    @property
    def width(self) -> float:
        """px"""
        return label_width(self.lines)


@dataclass
class LabelRow:
    """Labels along one edge of a run, in one or more tiers."""

    labels: list[Label] = field(default_factory=list)
    tier_heights: list[float] = field(default_factory=list)

    def settle(self, low: float, high: float) -> None:
        """Spread the labels into as few tiers as fit between `low` and `high`; leaders get slots of their own.

        Words too long for any tier are shortened: the drawing's description has them whole.
        """
        self.labels.sort(key=lambda label: label.anchor)
        self._shorten(min(WIDEST_LABEL, high - low))
        if self.labels and not self._fits(len(self.labels), low, high):
            self._shorten(min(WIDEST_LABEL, high - low - SLOT * (len(self.labels) - 1)))
        tiers = 1
        while tiers < len(self.labels) and not self._fits(tiers, low, high):
            tiers += 1
        for i, label in enumerate(self.labels):
            label.tier = i % tiers
        for tier in reversed(range(tiers)):
            # labels of outer tiers reach through the inner ones: a slot of 6 px each
            members = [m for m in self.labels if m.tier >= tier]
            widths = [m.width if m.tier == tier else 6.0 for m in members]
            for member, x in zip(members, spread([m.anchor for m in members], widths, low, high), strict=True):
                if member.tier == tier:
                    member.x = x
                elif tier == 0:
                    member.anchor = x if abs(x - member.anchor) > 4.0 else member.anchor
        self.tier_heights = [
            max([len(m.lines) for m in self.labels if m.tier == t], default=0) * LINE + 8.0 for t in range(tiers)
        ]

    def _shorten(self, room: float) -> None:
        for label in self.labels:
            sizes = [(NAME_SIZE, True)] + [(DETAIL_SIZE, False)] * (len(label.lines) - 1)
            pairs = zip(label.lines, sizes, strict=True)
            label.lines = [clipped(pretty(line), size, room, bold) for line, (size, bold) in pairs]

    def _fits(self, tiers: int, low: float, high: float) -> bool:
        for tier in range(tiers):
            widths = [m.width if i % tiers == tier else 6.0 for i, m in enumerate(self.labels) if i % tiers >= tier]
            if not fits(widths, low, high):
                return False
        return True

    @property
    def height(self) -> float:
        """Reach of all tiers with the leaders' room, px."""
        return sum(self.tier_heights) + 16.0 if self.labels else 0.0


@dataclass
class Segment:
    """A part's stretch of the run, and of its companion where it has one."""

    stream: Stream
    x0: float
    x1: float
    exchange: tuple[float, float] | None = None  # where a companion lies beside it
    companion: str = ""  # "cooling" (a duct), "charge" or "other" (a stub), "loop" (a loop's ribbon drawn by others)
    extras: list[tuple[Stream, float, float]] = field(default_factory=list)  # more parts of the same duct
    notes: LabelRow = field(default_factory=LabelRow)  # words along the companion's outer edge


@dataclass
class Group:
    """Strands of a parallel group."""

    x0: float
    x1: float
    strands: list[Run]
    offsets: list[float] = field(default_factory=list)


@dataclass
class Stretch:
    """Parts in series between two groups: their labels share one row, close to the ribbon."""

    row: LabelRow
    low: float
    high: float
    above: float = 6.0  # reach of the ribbon itself and of what hangs on it, over this stretch
    below: float = 6.0


class Run:
    """A path, or a stretch of it, between two places on the page."""

    def __init__(
        self,
        path: Path,
        side: str,
        streams: dict[str, Stream],
        moment: Moment,
        *,
        docked: frozenset[str] = frozenset(),
        notes: dict[str, str] | None = None,
        labels: str = "above",
    ) -> None:
        self.path, self.side, self.streams, self.moment = path, side, streams, moment
        self.docked, self.extra_words, self.labels_side = docked, notes or {}, labels
        self.rows: list[Stretch] = []
        self.items: list[Segment | Group] = []
        self.above = self.below = self.x0 = self.x1 = 0.0
        self.spare = 0.0
        self.mirror = False

    # -- measuring ---------------------------------------------------------------------------------

    def lines(self, entry: str) -> list[str]:
        """A part's label: its name, then what it does here now."""
        words = [w for w in self.moment.details(entry, self.side) if w]
        extra = self.extra_words.get(entry)
        return [entry, *words, *([extra] if extra else [])]

    def wanted(self) -> float:
        """Length that the run would like to have, px."""
        return sum(self._wanted(item) for item in self.path)

    def _wanted(self, item: str | Parallel) -> float:
        if isinstance(item, Parallel):
            return self._group_room(item) + max(self._strand(branch).wanted() for branch in item.branches)
        spec = self.moment.spec(item)
        base = BASE.get(type(spec).__name__, 48.0)
        if isinstance(spec, ReservoirSpec):
            return tank_size(1000.0 * spec.volume)[1] + 40.0
        if isinstance(spec, WaterCoreSpec | AirCoreSpec | ExchangerSpec | OilCoolerSpec):
            base = max(base, 0.8 * label_width(self.lines(item)))
            base += 2 * PAD if item in self.docked else 0.0
            base += sum(self._extra_room(extras) for extras in self._duct_extras(item))
        elif not isinstance(spec, SensorSpec):
            base = max(base, 0.9 * label_width(self.lines(item)))
        return base

    def _strand(self, branch: Path) -> Run:
        return Run(branch, self.side, self.streams, self.moment, docked=self.docked, notes=self.extra_words)

    def _drop_room(self, group: Parallel) -> float:
        count = sum(1 for branch in group.branches for name in names_on(branch) if name in self.docked)
        return 26.0 * count + 10.0 if count else 0.0

    def _group_room(self, group: Parallel) -> float:
        return 2 * FORK + 2 * self._drop_room(group)

    def _duct_extras(self, entry: str) -> tuple[list[str], list[str]]:
        """Parts of the same duct that stand beside no other ribbon, before and after `entry` in stack order: they are
        drawn along this part's stretch of the duct.  Those before count to the first part with a ribbon beside it."""
        duct = self.moment.duct_of.get(part_name(entry))
        if duct is None or self.side == "cooling":
            return [], []
        names = names_on(self.moment.build.ducts[duct].path)
        hosted = [i for i, n in enumerate(names) if is_hosted(self.moment, n)]
        here = names.index(part_name(entry))
        last = next((i for i in hosted if i > here), len(names))
        return names[:here] if here == hosted[0] else [], names[here + 1 : last]

    def _extra_room(self, extras: list[str]) -> float:
        wide = sum(60.0 + 0.8 * text_width(extra, NAME_SIZE, True) for extra in extras)
        return wide + DIP if extras else 0.0

    # -- placing -----------------------------------------------------------------------------------

    def place(self, x0: float, x1: float, *, mirror: bool = False, bounds: tuple[float, float] | None = None) -> None:
        """Lay the run out between `x0` and `x1`; `bounds` is how far its labels may reach."""
        self.x0, self.x1, self.mirror = x0, x1, mirror
        scale = (x1 - x0) / max(self.wanted(), 1.0)
        spare = max(scale - LONGEST, 0.0) * self.wanted() / 2  # plain ribbon before and after a short run
        scale = min(scale, LONGEST)
        self.spare = spare
        at = x0 + spare
        low, high = bounds or (x0 - 8.0, x1 + 8.0)
        open_row: LabelRow | None = None
        for item in self.path:
            length = self._wanted(item) * scale
            if isinstance(item, Parallel):
                self.items.append(self._place_group(item, at, at + length))
                open_row = None
            else:
                if open_row is None:
                    open_row = self._open(at)
                self.items.append(self._place_part(item, at, at + length, open_row))
                self._reach(at + length)
            at += length
        self._settle_rows(low, high)
        self._measure(low, high)

    def _open(self, at: float) -> LabelRow:
        row = LabelRow()
        self.rows.append(Stretch(row, at, at))
        return row

    def _reach(self, at: float) -> None:
        self.rows[-1].high = at

    def _settle_rows(self, low: float, high: float) -> None:
        """Each stretch's labels stay within it; at the run's own ends they may use the bounds."""
        for stretch in self.rows:
            a = stretch.low - 14.0 if stretch.low > self.x0 + 1.0 else None
            b = stretch.high + 14.0 if stretch.high < self.x1 - 1.0 else None
            ends = (a, b)
            if self.mirror:
                ends = (None if b is None else self._flip(b), None if a is None else self._flip(a))
            first = low if ends[0] is None else max(ends[0], low)
            last = high if ends[1] is None else min(ends[1], high)
            stretch.low, stretch.high = first, last
            stretch.row.settle(first, last)

    def _flip(self, x: float) -> float:
        return self.x0 + self.x1 - x if self.mirror else x

    def _place_group(self, item: Parallel, a: float, b: float) -> Group:
        left, right = sorted((self._flip(a), self._flip(b)))
        room = FORK + self._drop_room(item)
        room = min(room, 0.35 * (right - left))
        strands = []
        for number, branch in enumerate(item.branches):
            strand = self._strand(branch)
            # above a lower strand the fork and the join come down: its words keep clear of them
            over = 24.0 if number == 0 else min(max(room - FORK, 0.0), 28.0) - 4.0
            a, b = left + room, right - room
            strand.place(a, b, mirror=self.mirror, bounds=(a - over, b + over))
            strands.append(strand)
        return Group(left, right, strands)

    def _place_part(self, entry: str, a: float, b: float, row: LabelRow) -> Segment:
        spec, stream = self.moment.spec(entry), self.streams[entry]
        segment = Segment(stream, a, b)
        if isinstance(spec, WaterCoreSpec | AirCoreSpec | ExchangerSpec | OilCoolerSpec) and self.side != "cooling":
            before, after = self._duct_extras(entry)
            pad = PAD if entry in self.docked else 20.0
            scale = (b - a) / self._wanted(entry)
            segment.exchange = (
                a + pad + scale * self._extra_room(before),
                b - pad - scale * self._extra_room(after),
            )
            segment.companion = self._companion(entry, spec)
            self._note(segment, entry)
            self._note_extras(segment, before, a + pad, segment.exchange[0] - DIP)
            self._note_extras(segment, after, segment.exchange[1] + DIP, b - pad)
        anchor = sum(segment.exchange) / 2 if segment.exchange else (a + b) / 2
        row.labels.append(Label(self.lines(entry), self._flip(anchor), entry))
        if self.mirror:
            segment.x0, segment.x1 = self._flip(a), self._flip(b)
            if segment.exchange:
                segment.exchange = (self._flip(segment.exchange[0]), self._flip(segment.exchange[1]))
            segment.extras = [(s, self._flip(p), self._flip(q)) for s, p, q in segment.extras]
        return segment

    def _companion(self, entry: str, spec: object) -> str:
        if isinstance(spec, WaterCoreSpec):
            if self.side == "coolant":
                return "charge"
            return "loop" if entry in self.docked else ""
        if isinstance(spec, OilCoolerSpec):
            return "other" if self.moment.other_end(entry) else ""
        return "cooling" if part_name(entry) in self.moment.duct_of else ""

    def _note(self, segment: Segment, entry: str) -> None:
        """Words along the companion: what its stream does."""
        name = part_name(entry)
        assert segment.exchange is not None
        middle = sum(segment.exchange) / 2
        if segment.companion == "charge":
            charge = self.moment.charge.get(name)
            if charge:
                told = f"charge {self.moment.from_to(charge.t_in, charge.t_out)}"
                segment.notes.labels.append(Label(["", told], self._flip(middle)))
        other = self.moment.other_end(entry) if segment.companion == "other" else None
        if other is not None:
            told = f"{other.name.rpartition('.')[2]} {self.moment.from_to(other.t_in, other.t_out)}"
            segment.notes.labels.append(Label(["", told], self._flip(middle)))
        if segment.companion != "cooling":
            return
        duct = self.moment.duct_of[name]
        segment.notes.labels.append(Label(["", self.moment.duct_words(name, duct)], self._flip(middle)))

    def _note_extras(self, segment: Segment, extras: list[str], start: float, end: float) -> None:
        """Further parts of the companion's duct, evenly between `start` and `end`."""
        if segment.companion != "cooling" or not extras:
            return
        streams = self.moment.ducts[self.moment.duct_of[part_name(segment.stream.name)]]
        each = (end - start) / len(extras)
        for i, extra in enumerate(extras):
            at = start + i * each
            segment.extras.append((streams[extra], at, at + each))
            words = [w for w in self.moment.details(extra, "cooling") if w]
            segment.notes.labels.append(Label([extra, *words], self._flip(at + each / 2), extra))

    def _measure(self, low: float, high: float) -> None:
        """How far the run reaches from its centre line."""
        above = below = 6.0
        at = -1
        for i, item in enumerate(self.items):
            if isinstance(item, Group):
                self._stack(item)
                first, last = item.strands[0], item.strands[-1]
                above = max(above, first.above - item.offsets[0])
                below = max(below, last.below + item.offsets[-1])
                continue
            if i == 0 or isinstance(self.items[i - 1], Group):
                at += 1
            up, down = self._reach_of(item, low, high)
            stretch = self.rows[at]
            stretch.above, stretch.below = max(stretch.above, up), max(stretch.below, down)
        for stretch in self.rows:
            tall = stretch.row.height
            above = max(above, stretch.above + (tall if self.labels_side == "above" else 0.0))
            below = max(below, stretch.below + (tall if self.labels_side == "below" else 0.0))
        self.above, self.below = above, below

    def _reach_of(self, item: Segment, low: float, high: float) -> tuple[float, float]:
        """How far one part and its companion reach up and down; settles the companion's words."""
        drawing_width = _width_of(self.moment)
        half = drawing_width(item.stream.rate) / 2
        spec = self.moment.spec(item.stream.name)
        if isinstance(spec, ReservoirSpec):
            wide = tank_size(1000.0 * spec.volume)[0]
            return wide / 2, wide / 2
        if item.companion in ("cooling", "charge", "other"):
            ends = sorted([item.x0, item.x1])
            item.notes.settle(max(ends[0] - 20, low), min(ends[1] + 20, high))
            beside = drawing_width(self._duct_rate(item)) if item.companion == "cooling" else WIDEST
            dip = DIP_DEPTH if item.extras else 0.0
            return half, half + beside + dip + item.notes.height + 2.0
        return half, half + (36.0 if item.companion == "loop" else 0.0)

    def _stack(self, group: Group) -> None:
        heights = [0.0]
        for upper, lower in zip(group.strands, group.strands[1:], strict=False):
            heights.append(heights[-1] + upper.below + lower.above + 10.0)
        # an odd middle strand runs straight on from the trunk
        shift = heights[len(heights) // 2] if len(heights) % 2 else heights[-1] / 2
        group.offsets = [h - shift for h in heights]

    def _duct_rate(self, segment: Segment) -> float:
        name = part_name(segment.stream.name)
        return self.moment.ducts[self.moment.duct_of[name]][name].rate

    # -- drawing -----------------------------------------------------------------------------------

    def draw(self, pen: Drawing, y: float, docks: dict[str, tuple[float, float, float]] | None = None) -> None:
        """Put the run on the page with its centre line at `y`; cores that wait for a loop's ribbon go into `docks`
        as (x0, x1, lower edge)."""
        names = names_on(self.path)
        if self.spare and names:
            first, last = self.streams[names[0]], self.streams[names[-1]]
            a, b = self._flip(self.x0), self._flip(self.x0 + self.spare)
            pen.straight((a, y), (b, y), first.rate, (first.t_in, first.t_in))
            a, b = self._flip(self.x1 - self.spare), self._flip(self.x1)
            pen.straight((a, y), (b, y), last.rate, (last.t_out, last.t_out))
        for item in self.items:
            if isinstance(item, Group):
                self._draw_group(pen, item, y, docks)
            else:
                with pen.of(item.stream.name):
                    self._draw_segment(pen, item, y, docks)
        for stretch in self.rows:
            reach = stretch.above if self.labels_side == "above" else stretch.below
            self._draw_labels(pen, stretch.row, y, reach, self._bracketed, up=self.labels_side == "above")

    def _bracketed(self, label: Label) -> tuple[float, float] | None:
        for item in self.items:
            if isinstance(item, Segment) and item.stream.name == label.entry:
                if item.exchange:
                    return tuple(sorted(item.exchange))  # type: ignore[return-value]
                if isinstance(self.moment.spec(item.stream.name), CompressorSpec | SuperchargerSpec):
                    return tuple(sorted((item.x0, item.x1)))  # type: ignore[return-value]
        return None

    def _draw_labels(
        self,
        pen: Drawing,
        row: LabelRow,
        y: float,
        reach: float,
        bracket: Callable[[Label], tuple[float, float] | None],
        *,
        up: bool,
    ) -> None:
        """A row of labels `reach` px off the centre line, each with its witness or leader line."""
        way = -1.0 if up else 1.0
        edge = y + way * reach
        for label in row.labels:
            near = edge + way * (14.0 + sum(row.tier_heights[: label.tier]))
            lines = [line for line in label.lines if line]
            top = near - len(lines) * LINE if up else near
            if not label.entry:
                for i, line in enumerate(lines):
                    pen.text(label.x, top + 12 + i * LINE, line, "d", 12.0, "middle")
                continue
            start = self._ribbon_edge(pen, label.entry, y, up)
            span = bracket(label)
            if span:
                pen.witness(span[0], span[1], start + way * 2.0, way * 6.0)
                start += way * 8.0
            self._lead(pen, label, (start, edge + way * 12.0, near - way * 2.0), bare=span is None)
            pen.label(label.x, top, label.lines)

    def _lead(self, pen: Drawing, label: Label, ys: tuple[float, float, float], *, bare: bool) -> None:
        """The leader from the ribbon's edge (ys[0]) past the ribbon's reach (ys[1]) to the words (ys[2])."""
        start, clear, tip = ys
        under_words = abs(label.x - label.anchor) < label.width / 2 - 4.0
        if label.tier:
            way = -1.0 if tip < start else 1.0
            pen.leader(label.anchor, start, label.anchor, tip if under_words else tip - way * 5.0)
            if not under_words:
                near = label.width / 2 - 6.0
                pen.leader(label.anchor, tip - way * 5.0, label.x + (near if label.anchor > label.x else -near), tip)
        elif under_words:
            if bare or abs(clear - start) > 8.0:
                pen.leader(label.anchor, start, label.anchor, clear)
        else:
            knee = start + (clear - start) * 0.4
            pen.leader(label.anchor, start, label.anchor, knee)
            near = label.width / 2 - 6.0
            pen.leader(label.anchor, knee, label.x + (near if label.anchor > label.x else -near), clear)

    def _ribbon_edge(self, pen: Drawing, name: str, y: float, up: bool) -> float:
        stream, spec = self.streams.get(name), self.moment.spec(name)
        if isinstance(spec, ReservoirSpec):
            half = tank_size(1000.0 * spec.volume)[0] / 2
            return y - half if up else y + half
        half = pen.width(stream.rate) / 2 if stream else 4.0
        return y - half if up else y + half

    def _draw_group(
        self, pen: Drawing, group: Group, y: float, docks: dict[str, tuple[float, float, float]] | None
    ) -> None:
        for strand, offset in zip(group.strands, group.offsets, strict=True):
            names = names_on(strand.path)
            if not names:
                continue
            first, last = self.streams[names[0]], self.streams[names[-1]]
            at = y + offset
            ends = (group.x0, strand.x0, strand.x1, group.x1)
            entry, leave = (first, last) if not self.mirror else (last, first)
            t_left = first.t_in if not self.mirror else last.t_out
            t_right = last.t_out if not self.mirror else first.t_in
            turn = min(FORK, ends[1] - ends[0])
            pen.curve((ends[0], y), (ends[0] + turn, at), entry.rate, t_left)
            pen.bend(f"M{ends[0] + turn - 1:.1f} {at:.1f}H{ends[1] + 1:.1f}", entry.rate, t_left, cased=True)
            pen.bend(f"M{ends[2] - 1:.1f} {at:.1f}H{ends[3] - turn + 1:.1f}", leave.rate, t_right, cased=True)
            pen.curve((ends[3] - turn, at), (ends[3], y), leave.rate, t_right)
            strand.draw(pen, at, docks)

    def _draw_segment(
        self, pen: Drawing, segment: Segment, y: float, docks: dict[str, tuple[float, float, float]] | None
    ) -> None:
        stream, spec = segment.stream, self.moment.spec(segment.stream.name)
        ends = (stream.t_in, stream.t_out)
        if segment.exchange:
            pen.straight((segment.x0, y), (segment.exchange[0], y), stream.rate, (ends[0], ends[0]))
            pen.straight((segment.exchange[0], y), (segment.exchange[1], y), stream.rate, ends)
            pen.straight((segment.exchange[1], y), (segment.x1, y), stream.rate, (ends[1], ends[1]))
            self._draw_companion(pen, segment, y, docks)
            return
        if isinstance(spec, ReservoirSpec):
            middle = (segment.x0 + segment.x1) / 2
            pen.straight((segment.x0, y), (middle, y), stream.rate, (ends[0], ends[0]))
            pen.straight((middle, y), (segment.x1, y), stream.rate, (ends[1], ends[1]))
            pen.tank((middle, y), 1000.0 * spec.volume, stream.rate, (*ends, "left" if self.mirror else "right"))
            return
        pen.straight((segment.x0, y), (segment.x1, y), stream.rate, ends)
        middle = (segment.x0 + segment.x1) / 2
        if isinstance(spec, SensorSpec):
            pen.dot(middle, y)
        elif isinstance(spec, PumpSpec | FanSpec) and self.moment.drives(stream):
            pen.chevrons(middle, y, not self.mirror)

    def _draw_companion(
        self, pen: Drawing, segment: Segment, y: float, docks: dict[str, tuple[float, float, float]] | None
    ) -> None:
        assert segment.exchange is not None
        name, (a, b) = part_name(segment.stream.name), segment.exchange
        half = pen.width(segment.stream.rate) / 2
        if segment.companion == "loop" and docks is not None:
            docks[segment.stream.name] = (min(a, b), max(a, b), y + half)
            return
        if segment.companion == "charge":
            partner = self.moment.charge.get(name)
        elif segment.companion == "other":
            partner = self.moment.other_end(segment.stream.name)
        elif segment.companion == "cooling":
            partner = self.moment.ducts[self.moment.duct_of[name]].get(name)
        else:
            return
        if partner is None:
            return
        centre = y + half + pen.width(partner.rate) / 2 + (1.5 if self.moment.is_still(partner.rate) else 0.0)
        self._draw_stack(pen, segment, partner, centre)
        other = segment.stream
        pen.stitches(
            a,
            b,
            y + half,
            self.moment.heat(segment.stream.name),
            (other.t_in - partner.t_in, other.t_out - partner.t_out),
        )
        away = centre + (DIP_DEPTH if segment.extras else 0.0)
        streams, self.streams = self.streams, {**self.streams, **{s.name: s for s, _, _ in segment.extras}}
        self._draw_labels(pen, segment.notes, away, pen.width(partner.rate) / 2, lambda label: None, up=False)
        self.streams = streams

    def _draw_stack(self, pen: Drawing, segment: Segment, partner: Stream, centre: float) -> None:
        """The companion's ribbon beside the part, and away from it where it passes the rest of its duct."""
        assert segment.exchange is not None
        a, b = segment.exchange
        way, away = (-1.0 if self.mirror else 1.0), centre + DIP_DEPTH
        first = [item for item in segment.extras if way * item[1] < way * a]
        after = [item for item in segment.extras if way * item[1] >= way * a]
        for items in (first, after):
            for stream, p, q in items:
                pen.straight((p, away), (q, away), stream.rate, (stream.t_in, stream.t_out))
                if isinstance(self.moment.spec(stream.name), FanSpec) and self.moment.drives(stream):
                    pen.chevrons((p + q) / 2, away, not self.mirror)
        pen.straight((a, centre), (b, centre), partner.rate, (partner.t_in, partner.t_out))
        for items, x, end, t in ((first, a, -way, partner.t_in), (after, b, way, partner.t_out)):
            if not items:
                pen.straight((x, centre), (x + end * 12, centre), partner.rate, (t, t))
                continue
            near = items[-1][2] if items is first else items[0][1]
            mid = (near + x) / 2
            pen.bend(
                f"M{x:.1f} {centre:.1f}C{mid:.1f} {centre:.1f} {mid:.1f} {away:.1f} {near:.1f} {away:.1f}",
                partner.rate,
                t,
            )
            far, edge = (items[0][1], items[0][0].t_in) if items is first else (items[-1][2], items[-1][0].t_out)
            pen.straight((far, away), (far + end * 12, away), partner.rate, (edge, edge))


def is_hosted(moment: Moment, name: str) -> bool:
    """Whether a duct's part stands beside another ribbon (the charge's or a loop's)."""
    spec = moment.spec(name)
    if isinstance(spec, AirCoreSpec):
        return name in moment.on_charge
    return isinstance(spec, ExchangerSpec) and any(part_name(e) == name for e in moment.loop_of)


def _width_of(moment: Moment) -> Callable[[float], float]:
    from coldside.sheet.scale import ribbon_width

    reference = reference_rate(moment)
    return lambda rate: 2.6 if moment.is_still(rate) else ribbon_width(rate, reference)


def reference_rate(moment: Moment) -> float:
    """The heat-capacity rate that is drawn 30 px wide: the largest of the charge and of the loops that cool it, over
    the whole session, so that widths stay put while one scrubs along it."""
    largest = moment.charge_rate_max
    forecast = moment.forecast
    for name, loop in moment.build.loops.items():
        entries = names_on(loop.path)
        if not any(isinstance(moment.spec(e), WaterCoreSpec) for e in entries):
            continue
        for (part, side), flow in forecast.flow.items():
            if side == "coolant" and moment.loop_of.get(part) == name:
                largest = max(largest, float(abs(flow).max()) * forecast.heat_capacity.get((part, side), 0.0))
    return largest
