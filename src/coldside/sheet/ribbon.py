"""The ribbon drawing: the whole build at one moment, laid out by code from its three sorts of paths.

Here: `ribbon_svg` (wide and narrow form) and `ribbon_text` (characters).  The charge runs left to right on top;
loops that cool it are closed ribbons below, docked to its cores; other loops follow as closed ribbons of their
own; ducts are short ribbons beside what they cool.  Pieces: `streams.py` (numbers and words), `drawing.py` (pen),
`runs.py` (a stretch of path), `ribbon_narrow.py` (the narrow form).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from coldside.build.model import Parallel, Path, names_on
from coldside.parts.exchanger import ExchangerSpec, WaterCoreSpec
from coldside.parts.oil_cooler import OIL_END
from coldside.parts.reservoir import ReservoirSpec
from coldside.plant.results import Forecast
from coldside.sheet.drawing import Box, Drawing, clipped, label_width, tank_size
from coldside.sheet.ribbon_narrow import narrow_ribbon, ribbon_text
from coldside.sheet.runs import Run, is_hosted, reference_rate
from coldside.sheet.scale import heat_scale, ribbon_css
from coldside.sheet.streams import Knee, Moment, knee_of, part_name

__all__ = ["ribbon_boxes", "ribbon_svg", "ribbon_text"]

WIDTH = 940.0
LEFT, RIGHT = 24.0, 806.0  # where the charge ribbon starts and ends
CORNER = 26.0  # px, radius of a loop's corners

Dock = tuple[float, float, float]  # x0, x1, lower edge of the charge ribbon


@dataclass(frozen=True)
class Plan:
    """How one loop is drawn: its docked items in flow order, what lies between them, and the rest."""

    name: str
    docks: tuple[str | Parallel, ...]
    between: tuple[tuple[str, ...], ...]  # names before each docked item, from the one before it
    rest: Path  # after the last docked item, before the first, in flow order
    leftward: bool  # the coolant runs right to left under the charge


def ribbon_svg(
    forecast: Forecast,
    sample: int,
    system: str,
    limit: float | None = None,
    *,
    narrow: bool = False,
    styled: bool = True,
    tag: str = "",
    link: Callable[[str], str] | None = None,
) -> str:
    """The build at one `sample` (index) of `forecast` as one self-contained SVG element.

    `system` is "si" or "us"; `limit` [K] puts the knee of the colour scale, else the session's own limit does.
    `narrow` gives the form for a phone: 360 px wide instead of 940.  For a page: `styled` False leaves its looks to
    the page, `tag` keeps the ids of several drawings apart, `link` gives the address that a part's name leads to.
    """
    return _drawn(forecast, sample, system, limit, narrow, styled, tag, link)[0]


def ribbon_boxes(
    forecast: Forecast, sample: int, system: str, limit: float | None = None, *, narrow: bool = False
) -> list[Box]:
    """The room that every label of the same drawing takes: no two may overlap."""
    return _drawn(forecast, sample, system, limit, narrow)[1].boxes


def _drawn(
    forecast: Forecast,
    sample: int,
    system: str,
    limit: float | None,
    narrow: bool,
    styled: bool = True,
    tag: str = "",
    link: Callable[[str], str] | None = None,
) -> tuple[str, Drawing]:
    moment = Moment(forecast, sample, system)
    knee = knee_of(forecast, limit)
    low, high = moment.extremes()
    scale = heat_scale(low, knee.temperature, high, system)
    tag = f"rb{'n' if narrow else 'w'}{tag}"
    pen = Drawing(moment, scale, reference_rate(moment), moment.largest_heat(), tag, link)
    width, height = narrow_ribbon(pen, knee) if narrow else (WIDTH, _Page(pen, knee).draw())
    title = f"Ribbon drawing of {moment.build.name}"
    svg = pen.svg(width, height, title, describe(moment, knee), ribbon_css() if styled else "")
    return svg, pen


def describe(moment: Moment, knee: Knee) -> str:
    """The drawing in words, for screen readers: each path with its parts and temperatures."""
    sentences = [f"At {moment.say(moment.time, 'clock')} into the session, {moment.phase or 'between phases'}."]
    sentences.append(f"Colours change at {moment.say(knee.temperature, 'temperature')}.")
    parts = [f"{n} {moment.from_to(s.t_in, s.t_out)}" for n, s in moment.charge.items()]
    sentences.append("Charge air: " + ", ".join(parts) + ".")
    for name, streams in moment.loops.items():
        said = ", ".join(f"{n} {moment.from_to(s.t_in, s.t_out)}" for n, s in streams.items())
        sentences.append(f"Loop {name}, {moment.build.loops[name].coolant}: {said}.")
    for name, streams in moment.ducts.items():
        said = ", ".join(f"{n} {moment.from_to(s.t_in, s.t_out)}" for n, s in streams.items())
        sentences.append(f"Duct {name}: {said}.")
    for name, spec in moment.build.parts.items():
        if isinstance(spec, WaterCoreSpec | ExchangerSpec) or type(spec).__name__ == "AirCoreSpec":
            sentences.append(f"Heat crossing in {name}: {moment.say(moment.heat(name), 'heat')}.")
    for entry in moment.loop_of:
        if moment.other_end(entry) is not None and entry.endswith(f".{OIL_END}"):
            sentences.append(f"Heat crossing in {part_name(entry)}: {moment.say(moment.heat(entry), 'heat')}.")
    return " ".join(sentences)


class _Page:
    """The wide form."""

    def __init__(self, pen: Drawing, knee: Knee) -> None:
        self.pen, self.moment, self.knee = pen, pen.moment, knee
        self.plans = plan_loops(self.moment)

    def draw(self) -> float:
        """Draw everything; returns the height."""
        moment, pen = self.moment, self.pen
        docked = frozenset(part_name(n) for plan in self.plans for d in plan.docks for n in _names(d))
        docked = frozenset(n for n in docked if isinstance(moment.spec(n), WaterCoreSpec))
        notes = {}
        for plan in self.plans:
            notes.update(_via(plan, moment))
        charge = Run(moment.build.charge, "charge", moment.charge, moment, docked=docked, notes=notes)
        charge.place(LEFT, RIGHT, bounds=(8.0, RIGHT + 6.0))
        y = 14.0 + charge.above
        docks: dict[str, Dock] = {}
        charge.draw(pen, y, docks)
        self._end(y)
        bottom = y + charge.below
        obstacles = _obstacles(charge)
        bounds = self._shares(docks)
        reached = bottom
        for plan, (a, b) in zip(self.plans, bounds, strict=True):
            loop = _Loop(pen, plan, docks, (a, b))
            reached = max(reached, loop.draw(bottom, obstacles))
        for name, built in moment.build.loops.items():
            if name not in {plan.name for plan in self.plans}:
                reached = self._racetrack(name, built.path, reached + 14.0)
        reached = self._lone_ducts(reached)
        return self._foot(reached + 22.0)

    def _end(self, y: float) -> None:
        moment, pen = self.moment, self.pen
        over = round(moment.intake - moment.ambient, 1)
        hot = moment.intake > self.knee.temperature
        x = RIGHT + 14.0
        pen.over.append(
            f'<path d="M{RIGHT:.1f} {y - 7:.1f}L{RIGHT + 8:.1f} {y:.1f}L{RIGHT:.1f} {y + 7:.1f}" class="w" fill="none"'
            ' stroke="#20262b"/>'
        )
        pen.text(x, y - 22, "into the engine", "d", 12.0)
        pen.text(x, y + 4, moment.say(moment.intake, "temperature"), "big", 22.0, bold=True)
        said = moment.say(abs(over), "temperature_difference")
        pen.text(x, y + 23, f"{said} {'over' if over >= 0 else 'under'}", "over" if hot else "d", 13.0)
        pen.text(x, y + 39, "ambient", "over" if hot else "d", 13.0)

    def _shares(self, docks: dict[str, Dock]) -> list[tuple[float, float]]:
        """How far left and right each docked loop may reach."""
        ranges = []
        for plan in self.plans:
            spans = [docks[part_name(n)] for d in plan.docks for n in _names(d) if part_name(n) in docks]
            ranges.append((min(s[0] for s in spans), max(s[1] for s in spans)))
        order = sorted(range(len(ranges)), key=lambda i: ranges[i][0])
        limits = [(36.0, RIGHT - 6.0)] * len(ranges)
        for first, second in zip(order, order[1:], strict=False):
            middle = (ranges[first][1] + ranges[second][0]) / 2
            limits[first] = (limits[first][0], middle - 12.0)
            limits[second] = (middle + 12.0, limits[second][1])
        return limits

    def _racetrack(self, name: str, path: Path, top: float) -> float:
        """A loop that docks nowhere: a flat closed ribbon of its own."""
        moment, pen = self.moment, self.pen
        streams = moment.loops[name]
        run = Run(path, "coolant", streams, moment)
        length = min(max(run.wanted(), 260.0), WIDTH - 150.0)
        x0 = 70.0
        run.place(x0, x0 + length, bounds=(x0 - 30.0, min(x0 + length + 50.0, WIDTH - 8.0)))
        words = clipped(f"loop {name}: {moment.build.loops[name].coolant}", 12.0, WIDTH - 60.0)
        pen.text(28.0, top + 12, words, "d", 12.0)
        y = top + 22.0 + run.above
        low = y + run.below + 22.0
        entries = names_on(path)
        first, last = streams[entries[0]], streams[entries[-1]]
        r = min(CORNER, (low - y) / 2)
        right, left = x0 + length + r, x0 - r
        pen.bend(
            f"M{x0 + length - 1:.1f} {y:.1f}Q{right:.1f} {y:.1f} {right:.1f} {y + r:.1f}V{low - r:.1f}"
            f"Q{right:.1f} {low:.1f} {right - r:.1f} {low:.1f}H{left + r:.1f}"
            f"Q{left:.1f} {low:.1f} {left:.1f} {low - r:.1f}"
            f"V{y + r:.1f}Q{left:.1f} {y:.1f} {x0 + 1:.1f} {y:.1f}",
            last.rate,
            last.t_out if last.known else first.t_in,
            under=True,
        )
        run.draw(pen, y)
        return low + pen.width(last.rate) / 2 + 4.0

    def _lone_ducts(self, top: float) -> float:
        """Ducts whose parts stand beside no ribbon at all."""
        for name, duct in self.moment.build.ducts.items():
            if any(is_hosted(self.moment, n) for n in names_on(duct.path)):
                continue
            run = Run(duct.path, "cooling", self.moment.ducts[name], self.moment)
            length = min(max(run.wanted(), 160.0), WIDTH - 150.0)
            run.place(90.0, 90.0 + length)
            self.pen.text(28.0, top + 26, clipped(f"duct {name}", 12.0, WIDTH - 60.0), "d", 12.0)
            y = top + 34.0 + run.above
            run.draw(self.pen, y)
            top = y + run.below
        return top

    def _foot(self, y: float) -> float:
        pen = self.pen
        pen.legend(28.0, y, 250.0)
        lines = (
            f"colours change at {self.knee.words}"
            if self.knee.words
            else "no limit given: colours change in the middle",
            "wider: more heat carried per degree · stitches: heat crossing",
            "dashes: almost no flow · dot: sensor",
        )
        for i, line in enumerate(lines):
            pen.text(312.0, y + 9 + 16 * i, line, "d", 12.0)
        return y + 52.0


class _Loop:
    """A loop docked to the charge's cores: supply and return lanes, sides with their tank, and the lower run."""

    def __init__(self, pen: Drawing, plan: Plan, docks: dict[str, Dock], bounds: tuple[float, float]) -> None:
        self.pen, self.plan, self.bounds = pen, plan, bounds
        self.moment = pen.moment
        self.docks = docks
        self.streams = pen.moment.loops[plan.name]
        self.way = 1.0 if plan.leftward else -1.0  # which side the coolant comes in from
        self.split = split_rest(plan.rest, self.moment)
        self.fork: tuple[float, float] | None = None  # x of the first drop and of the last one, with lanes

    def _dock(self, entry: str) -> Dock:
        return self.docks[part_name(entry)]

    def _in_x(self, entry: str) -> float:
        return self._dock(entry)[1 if self.way > 0 else 0]

    def _out_x(self, entry: str) -> float:
        return self._dock(entry)[0 if self.way > 0 else 1]

    def _dock_y(self, entry: str) -> float:
        return self._dock(entry)[2] + self.pen.width(self.streams[entry].rate) / 2

    def draw(self, bottom: float, obstacles: list[tuple[float, float]]) -> float:
        """Draw the loop below `bottom`, the charge's lowest reach; returns its own."""
        entries = [n for d in self.plan.docks for n in _names(d) if part_name(n) in self.docks]
        left = min(self._dock(n)[0] for n in entries)
        right = max(self._dock(n)[1] for n in entries)
        x_in, x_out = self._sides(left, right)
        simple = all(isinstance(d, str) for d in self.plan.docks)
        level = len({round(self._dock_y(n), 1) for n in entries}) == 1
        span = sorted((x_in, x_out))
        blocked = any(a < span[1] and b > span[0] for a, b in obstacles)
        if simple and level and not blocked:
            y_in = y_out = self._dock_y(entries[0])
            self._straight(entries, x_in, x_out)
        else:
            y_in, y_out = self._lanes(bottom + 16.0, x_in, x_out)
        return self._circuit(x_in, x_out, y_in, y_out)

    def _sides(self, left: float, right: float) -> tuple[float, float]:
        """x of the side where the coolant rises to the cores and of the side where it leaves them."""
        a, b = self.bounds
        out_lead, out_tank, bottom, in_tank, in_lead = self.split
        room_in = 70.0 + 95.0 * len(in_lead)
        room_out = 70.0 + 95.0 * len(out_lead)
        more_left, more_right = (room_out, room_in) if self.way > 0 else (room_in, room_out)
        x0, x1 = left - more_left, right + more_right
        run = Run(bottom, "coolant", self.streams, self.moment)
        lack = run.wanted() + 2 * CORNER + 20.0 - (x1 - x0)
        if lack > 0.0:
            x0, x1 = x0 - lack / 2, x1 + lack / 2
        half = max([tank_size(1000.0 * self.moment.spec(t).volume)[0] / 2 for t in (*out_tank, *in_tank)], default=12.0)
        low, high = a + half, b - half
        if x0 < low:
            x0, x1 = low, x1 + (low - x0)
        if x1 > high:
            x0, x1 = max(low, x0 - (x1 - high)), high
        x0, x1 = min(x0, left - 34.0), max(x1, right + 34.0)
        return (x1, x0) if self.way > 0 else (x0, x1)

    def _straight(self, entries: list[str], x_in: float, x_out: float) -> None:
        """Cores in a row on one level: the coolant simply runs along under the charge."""
        pen = self.pen
        y = self._dock_y(entries[0])
        first, last = entries[0], entries[-1]
        lead_in, lead_out = self._lead_x(x_in, x_out)
        pen.bend(f"M{lead_in:.1f} {y:.1f}H{self._in_x(first):.1f}", self.streams[first].rate, self.streams[first].t_in)
        for one, two in zip(entries, entries[1:], strict=False):
            s = self.streams[one]
            pen.bend(f"M{self._out_x(one):.1f} {y:.1f}H{self._in_x(two):.1f}", s.rate, s.t_out)
        for entry in entries:
            self._seam(entry)
        pen.bend(f"M{self._out_x(last):.1f} {y:.1f}H{lead_out:.1f}", self.streams[last].rate, self.streams[last].t_out)

    def _lead_x(self, x_in: float, x_out: float) -> tuple[float, float]:
        return x_in - self.way * CORNER, x_out + self.way * CORNER

    def _seam(self, entry: str) -> None:
        """The coolant's ribbon along a core, stitched to the charge's."""
        pen, s, name = self.pen, self.streams[entry], part_name(entry)
        y = self._dock_y(entry)
        with pen.of(name):
            pen.straight((self._in_x(entry), y), (self._out_x(entry), y), s.rate, (s.t_in, s.t_out))
        charge = self.moment.charge[name]
        x0, x1, edge = self._dock(entry)
        ends = (
            (charge.t_in - s.t_out, charge.t_out - s.t_in)
            if self.way > 0
            else (charge.t_in - s.t_in, charge.t_out - s.t_out)
        )
        pen.stitches(x0, x1, edge, self.moment.heat(name), ends)

    def _lanes(self, y: float, x_in: float, x_out: float) -> tuple[float, float]:
        """Cores on several levels or behind other things: supply and return lanes below, a drop to each core."""
        pen, way = self.pen, self.way
        widest = max(pen.width(s.rate) for s in self.streams.values())
        y += widest / 2
        lead_in, lead_out = self._lead_x(x_in, x_out)
        low = y + widest + 14.0
        crossed = self._interleaved()
        y_back = low if crossed else y
        at_x, at_rate, at_t = lead_in, 0.0, 0.0
        for number, item in enumerate(self.plan.docks):
            names = [n for n in _names(item) if part_name(n) in self.docks]
            ins = sorted(names, key=lambda n: (way * self._in_x(n), -self._dock_y(n)))
            drops = {n: self._in_x(n) + way * (16.0 + 24.0 * k) for k, n in enumerate(self._ranked(ins))}
            backs = {n: self._out_x(n) - way * (16.0 + 24.0 * k) for k, n in enumerate(self._ranked(names))}
            first_x = max(drops.values(), key=lambda x: way * x)
            last_x = min(backs.values(), key=lambda x: way * x)
            self.fork = (first_x if self.fork is None else self.fork[0], last_x)
            trunk = sum(self.streams[n].rate for n in names)
            t_in = self.streams[names[0]].t_in
            t_out = sum(self.streams[n].t_out * self.streams[n].rate for n in names) / max(trunk, 1e-9)
            if trunk <= 1e-9:
                t_out = self.streams[names[0]].t_out
            pen.bend(
                f"M{at_x:.1f} {y if number == 0 else y_back:.1f}H{first_x + way * 8:.1f}",
                trunk,
                t_in,
                under=True,
                cap="round",
            )
            for n in names:
                self._drop(n, first_x + way * 8.0, y, drops[n], rising=True)
                self._drop(n, last_x - way * 8.0, y_back, backs[n], rising=False)
                self._seam(n)
            at_x, at_rate, at_t = last_x - way * 8.0, trunk, t_out
        pen.bend(f"M{at_x:.1f} {y_back:.1f}H{lead_out:.1f}", at_rate, at_t, under=True, cap="round")
        return y, y_back

    def _interleaved(self) -> bool:
        """Whether a supply drop stands beyond a return drop, so that the two lanes need levels of their own."""
        for item in self.plan.docks:
            names = [n for n in _names(item) if part_name(n) in self.docks]
            highest_out = max(self.way * self._out_x(n) for n in names)
            lowest_in = min(self.way * self._in_x(n) for n in names)
            if highest_out > lowest_in:
                return True
        return False

    def _ranked(self, names: list[str]) -> list[str]:
        """Cores from the lowest level up: the lowest takes the drop nearest to it; cores apart in x rank apart."""
        return sorted(names, key=lambda n: -self._dock_y(n)) if self._stacked(names) else names[:0] + names

    def _stacked(self, names: list[str]) -> bool:
        return len({round(self._dock(n)[0], 0) for n in names}) < len(names)

    def _drop(self, entry: str, fork_x: float, lane: float, x: float, *, rising: bool) -> None:
        s = self.streams[entry]
        y = self._dock_y(entry)
        end = self._in_x(entry) if rising else self._out_x(entry)
        toward = 1.0 if x > fork_x else -1.0
        back = 1.0 if end > x else -1.0
        r = min(11.0, abs(x - fork_x), abs(end - x))
        d = (
            f"M{fork_x:.1f} {lane:.1f}H{x - toward * r:.1f}Q{x:.1f} {lane:.1f} {x:.1f} {lane - 11:.1f}"
            f"V{y + 11:.1f}Q{x:.1f} {y:.1f} {x + back * r:.1f} {y:.1f}H{end:.1f}"
        )
        self.pen.bend(d, s.rate, s.t_in if rising else s.t_out, under=True)

    def _circuit(self, x_in: float, x_out: float, y_in: float, y_out: float) -> float:
        """Leads, sides with tanks, and the lower run."""
        pen, moment, way = self.pen, self.moment, self.way
        out_lead, out_tank, bottom, in_tank, in_lead = self.split
        lead_in, lead_out = self._lead_x(x_in, x_out)
        docks_x = [x for n in self._entries() for x in self._dock(n)[:2]]
        middle = (x_in + x_out) / 2
        in_end, out_end = (max(docks_x), min(docks_x)) if way > 0 else (min(docks_x), max(docks_x))
        reach_in = in_end + way * 30.0 if self.fork is None else self.fork[0] + way * 14.0
        reach_out = out_end - way * 30.0 if self.fork is None else self.fork[1] - way * 14.0
        low = max(y_in, y_out) + max([pen.width(s.rate) / 2 for s in self.streams.values()], default=8.0)
        inner = 22.0
        tops = []
        for items, a, b, y in ((in_lead, lead_in, reach_in, y_in), (out_lead, reach_out, lead_out, y_out)):
            if not items:
                continue
            run = Run(items, "coolant", self.streams, moment, labels="below")
            ends = sorted((a, b))
            half = sorted((middle, x_in - way * inner if items is in_lead else x_out + way * inner))
            run.place(ends[0], ends[1], mirror=way > 0, bounds=(half[0] + 6, half[1] - 6))
            run.draw(pen, y)
            tops.append(y + run.below)
        top = max([low, *tops]) + 8.0
        tank_high = max([tank_size(1000.0 * moment.spec(t).volume)[1] for t in (*out_tank, *in_tank)], default=0.0)
        tank_y = top + tank_high / 2 + 12.0
        run = Run(bottom, "coolant", self.streams, moment)
        ends = sorted((x_in, x_out))
        run.place(ends[0] + CORNER, ends[1] - CORNER, mirror=way < 0, bounds=(ends[0] + 17, ends[1] - 17))
        base = max(top + (tank_high + 30.0 if tank_high else 0.0) + run.above, max(y_in, y_out) + 96.0)
        words = f"loop {self.plan.name}: {moment.build.loops[self.plan.name].coolant}"
        words = clipped(words, 12.0, ends[1] - ends[0] - 40.0)
        base += 18.0
        pen.text((ends[0] + ends[1]) / 2, base - run.above - 4.0, words, "d", 12.0, "middle")
        self._side(x_out, lead_out, y_out, base, self._out_state(), falling=True)
        self._side(x_in, lead_in, y_in, base, self._in_state(), falling=False)
        if bottom:
            run.draw(pen, base)
        else:
            rate, t = self._out_state()
            pen.bend(f"M{ends[0] + CORNER:.1f} {base:.1f}H{ends[1] - CORNER:.1f}", rate, t)
        for tank, x, falling in ((out_tank, x_out, True), (in_tank, x_in, False)):
            for name in tank:
                self._tank(name, x, tank_y, falling)
        return base + max(run.below, 14.0)

    def _entries(self) -> list[str]:
        return [n for d in self.plan.docks for n in _names(d) if part_name(n) in self.docks]

    def _out_state(self) -> tuple[float, float]:
        """Rate and temperature of the coolant that has left the cores (and the lead and tank on that side)."""
        names = [*names_on(self.split[0]), *self.split[1]]
        if names:
            s = self.streams[names[-1]]
            return s.rate, s.t_out
        last = [n for n in _names(self.plan.docks[-1]) if part_name(n) in self.docks]
        rate = sum(self.streams[n].rate for n in last)
        if rate <= 0.0:
            return 0.0, self.streams[last[0]].t_out
        return rate, sum(self.streams[n].rate * self.streams[n].t_out for n in last) / rate

    def _in_state(self) -> tuple[float, float]:
        names = [*self.split[3], *names_on(self.split[4])]
        if names:
            s = self.streams[names[0]]
            return s.rate, s.t_in
        first = [n for n in _names(self.plan.docks[0]) if part_name(n) in self.docks]
        return sum(self.streams[n].rate for n in first), self.streams[first[0]].t_in

    def _side(self, x: float, lead: float, y: float, base: float, state: tuple[float, float], *, falling: bool) -> None:
        rate, t = state
        inward = 1.0 if lead > x else -1.0
        split = self.split[1] if falling else self.split[3]
        if split:
            s = self.streams[split[0]]
            upper, lower = (s.t_in, s.t_out) if falling else (s.t_out, s.t_in)
        else:
            upper = lower = t
        mid = (y + base) / 2
        r = CORNER
        self.pen.bend(
            f"M{lead:.1f} {y:.1f}H{x + inward * r:.1f}Q{x:.1f} {y:.1f} {x:.1f} {y + r:.1f}V{mid + 0.6:.1f}",
            rate,
            upper,
            under=True,
        )
        self.pen.bend(
            f"M{x:.1f} {mid:.1f}V{base - r:.1f}Q{x:.1f} {base:.1f} {x + inward * r:.1f} {base:.1f}",
            rate,
            lower,
            under=True,
        )

    def _tank(self, name: str, x: float, y: float, falling: bool) -> None:
        s, spec = self.streams[name], self.moment.spec(name)
        wide, _ = tank_size(1000.0 * spec.volume)
        with self.pen.of(name):
            self.pen.tank((x, y), 1000.0 * spec.volume, s.rate, (s.t_in, s.t_out, "down" if falling else "up"))
        lines = [clipped(name, 13.5, 190.0, True), *self.moment.details(name, "coolant")]
        room = label_width(lines) + wide / 2 + 14.0
        outward = (1.0 if not falling else -1.0) * self.way
        fits = (
            x + room < WIDTH - 10.0 and self.bounds[1] > RIGHT - 60.0
            if outward > 0
            else x - room > self.bounds[0] - 24.0
        )
        side = outward if fits else -outward
        self.pen.label(x + side * (wide / 2 + 14.0), y - len(lines) * 7.8, lines, "start" if side > 0 else "end")


def _names(item: str | Parallel) -> list[str]:
    return names_on((item,))


def _via(plan: Plan, moment: Moment) -> dict[str, str]:
    """Words for a docked core about small parts of its branch that have no ribbon of their own."""
    found: dict[str, str] = {}
    for item, before in zip(plan.docks, plan.between, strict=True):
        branches = item.branches if isinstance(item, Parallel) else ((item,),)
        for branch in branches:
            names = names_on(branch)
            core = next((n for n in names if isinstance(moment.spec(n), WaterCoreSpec)), None)
            others = [n for n in names if n != core] + (list(before) if item is not None else [])
            if core is not None and others:
                found[part_name(core)] = "coolant through " + ", ".join(others)
    return found


def plan_loops(moment: Moment) -> list[Plan]:
    """The loops that can be docked to the charge ribbon, each with its plan.

    A loop docks when its water cores come in an order that runs one way along the charge, each branch of a
    parallel group holds exactly one core, and no other docked loop stands between them.  Any other loop is drawn as a
    closed ribbon of its own, with a stub of charge ribbon at each core.
    """
    order: dict[str, int] = {}
    for i, item in enumerate(moment.build.charge):
        for name in _names(item):
            order[part_name(name)] = i
    plans: list[Plan] = []
    taken: list[tuple[int, int]] = []
    for name, loop in moment.build.loops.items():
        plan = _plan(name, loop.path, moment, order)
        if plan is None:
            continue
        places = [order[part_name(n)] for d in plan.docks for n in _names(d) if part_name(n) in order]
        span = (min(places), max(places))
        if any(a <= span[1] and span[0] <= b for a, b in taken):
            continue
        taken.append(span)
        plans.append(plan)
    return plans


def _plan(name: str, path: Path, moment: Moment, order: dict[str, int]) -> Plan | None:
    def cores(item: str | Parallel) -> list[str]:
        return [n for n in _names(item) if isinstance(moment.spec(n), WaterCoreSpec) and part_name(n) in order]

    at = [i for i, item in enumerate(path) if cores(item)]
    if not at:
        return None
    docks = [path[i] for i in at]
    for item in docks:
        if isinstance(item, Parallel):
            for branch in item.branches:
                if any(isinstance(entry, Parallel) for entry in branch) or len(cores(Parallel((branch,)))) != 1:
                    return None
    spans = [(min(order[part_name(n)] for n in cores(d)), max(order[part_name(n)] for n in cores(d))) for d in docks]
    pairs = list(zip(spans, spans[1:], strict=False))
    leftward = all(b[1] < a[0] for a, b in pairs)
    if not leftward and not all(a[1] < b[0] for a, b in pairs):
        return None
    between: list[tuple[str, ...]] = [()]
    for i, j in zip(at, at[1:], strict=False):
        middle = [n for item in path[i + 1 : j] for n in _names(item)]
        if any(not _is_small(moment, n) for n in middle):
            return None
        between.append(tuple(middle))
    rest = (*path[at[-1] + 1 :], *path[: at[0]])
    return Plan(name, tuple(docks), tuple(between), rest, leftward)


def _is_small(moment: Moment, name: str) -> bool:
    return not isinstance(moment.spec(name), ExchangerSpec | ReservoirSpec | WaterCoreSpec)


def split_rest(rest: Path, moment: Moment) -> tuple[Path, tuple[str, ...], Path, tuple[str, ...], Path]:
    """A docked loop's other parts by place: lead after the cores, tank on that side, lower run, tank on the other
    side, lead before the cores.  A tank goes on a side when no exchanger stands between it and the cores."""

    def is_tank(item: str | Parallel) -> bool:
        return isinstance(item, str) and isinstance(moment.spec(item), ReservoirSpec)

    def is_big(item: str | Parallel) -> bool:
        return isinstance(item, Parallel) or (not _is_small(moment, item) and not is_tank(item))

    big = [i for i, item in enumerate(rest) if is_big(item)]
    first = big[0] if big else 0
    last = big[-1] if big else -1
    before = [i for i in range(first) if is_tank(rest[i])]
    after = [i for i in range(last + 1, len(rest)) if is_tank(rest[i])]
    out_lead: Path = ()
    out_tank: tuple[str, ...] = ()
    start, end = 0, len(rest)
    if before:
        out_lead, out_tank, start = rest[: before[0]], (str(rest[before[0]]),), before[0] + 1
    in_tank: tuple[str, ...] = ()
    in_lead: Path = ()
    if after:
        in_tank, in_lead, end = (str(rest[after[-1]]),), rest[after[-1] + 1 :], after[-1]
    return out_lead, out_tank, rest[start:end], in_tank, in_lead


def _obstacles(charge: Run) -> list[tuple[float, float]]:
    """x ranges where something other than a docked core hangs below the charge ribbon."""
    from coldside.sheet.runs import Group

    found = []
    for item in charge.items:
        if isinstance(item, Group):
            found.append((item.x0, item.x1))
        elif item.companion in ("cooling", "charge"):
            found.append((min(item.x0, item.x1) - 20.0, max(item.x0, item.x1) + 20.0))
    return found
