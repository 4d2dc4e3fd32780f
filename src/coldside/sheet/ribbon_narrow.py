"""The ribbon for little room: the same streams one part a row, as SVG for a phone and in characters for a terminal.

Here: `rows` (the build flattened into rows, strands and companions kept), `narrow_ribbon`, `ribbon_text`.  Each
path runs down the page; what it exchanges heat with lies beside it.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass

from coldside.build.model import Parallel, Path, names_on
from coldside.parts.airflow import FanSpec
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec
from coldside.parts.pump import PumpSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.parts.sensor import SensorSpec
from coldside.plant.results import Forecast
from coldside.sheet.drawing import DETAIL_SIZE, LINE, NAME_SIZE, Drawing, clipped, stitch_count, tank_size
from coldside.sheet.runs import is_hosted
from coldside.sheet.scale import WIDTH_POWER, keep_units, pretty, text_width
from coldside.sheet.streams import Knee, Moment, Stream, knee_of, part_name

NARROW = 360.0
FIRST = 50.0  # x of the first strand
PITCH = 46.0  # px between strands
SHRINK = 0.6  # of the wide form's widths


@dataclass(frozen=True)
class Row:
    """One row: a part of a path, or the heading of a path (`entry` empty).

    `strand` counts the parallel strands from 0 of `strands`; `passing` are the other strands at this row
    (place, stream), `partner` is the stream beside the part.  `joins` is the stream into a group (before its first
    row) and out of it (after its last), as ("fork" | "join", strands).
    """

    side: str
    entry: str = ""
    heading: str = ""
    path: str = ""
    stream: Stream | None = None
    strand: int = 0
    strands: int = 1
    passing: tuple[tuple[int, Stream, bool], ...] = ()
    partner: Stream | None = None
    partner_words: str = ""
    event: str = ""


def rows(moment: Moment) -> Iterator[Row]:
    """Every path of the build from top to bottom, charge first."""
    yield Row("charge", heading="charge air")
    yield from _path_rows(moment.build.charge, "charge", moment.charge, moment)
    for name, loop in moment.build.loops.items():
        yield Row("coolant", heading=f"loop {name}: {loop.coolant}", path=name)
        yield from _path_rows(loop.path, "coolant", moment.loops[name], moment)
    for name, duct in moment.build.ducts.items():
        found = list(_path_rows(duct.path, "cooling", moment.ducts[name], moment))
        beside = [row.entry for row in found if row.entry and is_hosted(moment, row.entry)]
        own = [row for row in found if row.entry not in beside]
        if beside and not any(row.entry for row in own):
            continue  # all of it is told beside what it cools
        heading = f"duct {name}, with {', '.join(beside)}" if beside else f"duct {name}"
        yield Row("cooling", heading=heading, path=name)
        yield from (row for row in own if row.entry)


def _path_rows(path: Path, side: str, streams: dict[str, Stream], moment: Moment) -> Iterator[Row]:
    for item in path:
        if not isinstance(item, Parallel):
            yield _part_row(item, side, streams, moment, 0, 1, ())
            continue
        branches = [names_on(branch) for branch in item.branches]
        count = len(branches)
        yield Row(side, event="fork", strands=count, stream=_first(branches, streams))
        for k, names in enumerate(branches):
            others = tuple(
                (j, streams[branches[j][-1 if j < k else 0]], j < k) for j in range(count) if j != k and branches[j]
            )
            for name in names:
                yield _part_row(name, side, streams, moment, k, count, others)
        yield Row(side, event="join", strands=count, stream=_last(branches, streams))


def _first(branches: list[list[str]], streams: dict[str, Stream]) -> Stream:
    heads = [streams[names[0]] for names in branches if names]
    return Stream("", heads[0].t_in, heads[0].t_in, sum(s.rate for s in heads), True)


def _last(branches: list[list[str]], streams: dict[str, Stream]) -> Stream:
    ends = [streams[names[-1]] for names in branches if names]
    rate = sum(s.rate for s in ends)
    t = sum(s.rate * s.t_out for s in ends) / rate if rate > 0.0 else ends[0].t_out
    return Stream("", t, t, rate, True)


def _part_row(
    name: str,
    side: str,
    streams: dict[str, Stream],
    moment: Moment,
    strand: int,
    strands: int,
    passing: tuple[tuple[int, Stream, bool], ...],
) -> Row:
    partner, words = _partner(name, side, moment)
    return Row(side, name, "", "", streams[name], strand, strands, passing, partner, words)


def _partner(entry: str, side: str, moment: Moment) -> tuple[Stream | None, str]:
    spec, name = moment.spec(entry), part_name(entry)
    if isinstance(spec, WaterCoreSpec) and side == "charge":
        for loop, streams in moment.loops.items():
            for e, s in streams.items():
                if part_name(e) == name:
                    return s, f"coolant of {loop}: {moment.from_to(s.t_in, s.t_out)}"
    if isinstance(spec, WaterCoreSpec) and side == "coolant" and name in moment.charge:
        s = moment.charge[name]
        return s, f"charge: {moment.from_to(s.t_in, s.t_out)}"
    other = moment.other_end(entry)
    if other is not None:
        return other, f"{other.name.rpartition('.')[2]}: {moment.from_to(other.t_in, other.t_out)}"
    if isinstance(spec, AirCoreSpec | ExchangerSpec) and side != "cooling" and name in moment.duct_of:
        duct = moment.duct_of[name]
        return moment.ducts[duct][name], moment.duct_words(name, duct)
    return None, ""


def row_words(row: Row, moment: Moment) -> list[str]:
    """The words of a part's row below its name."""
    spec = moment.spec(row.entry)
    stream = row.stream
    said: list[str] = []
    if isinstance(spec, WaterCoreSpec | AirCoreSpec | ExchangerSpec) and stream is not None:
        said.append(moment.from_to(stream.t_in, stream.t_out))
    if isinstance(spec, WaterCoreSpec | AirCoreSpec) and row.side != "charge":
        said.append(f"takes {moment.say(moment.heat(row.entry), 'heat')} from the charge")
    else:
        said += [w for w in moment.details(row.entry, row.side) if w]
    if row.partner_words:
        said.append(row.partner_words)
    return said


# -- SVG for a phone ---------------------------------------------------------------------------------


def narrow_ribbon(pen: Drawing, knee: Knee) -> tuple[float, float]:
    """Draw the narrow form with `pen`; returns its width and height, px."""
    moment = pen.moment
    pen.reference /= SHRINK ** (1.0 / WIDTH_POWER)
    y = 8.0
    top = y
    section: list[Row] = []
    for row in rows(moment):
        if row.heading:
            y = _close_section(pen, section, top, y)
            section = [row]
            y = _heading(pen, row.heading, y)
            top = y
            if row.side == "coolant":
                y += 14.0
            continue
        section.append(row)
        y = _event(pen, row, y) if row.event else _part(pen, row, y)
    y = _close_section(pen, section, top, y)
    return NARROW, _narrow_foot(pen, knee, y)


def _heading(pen: Drawing, words: str, y: float) -> float:
    """A path's name, and below it what flows there or what it cools, where both do not fit on one line."""
    room = NARROW - 16.0
    if text_width(words, NAME_SIZE, True) > room:
        mark = ": " if ": " in words else ", "
        words, _, rest = words.partition(mark)
        for i, line in enumerate(_wrapped(rest, room)):
            pen.text(8.0, y + 14 + LINE * (1 + i), clipped(line, DETAIL_SIZE, room), "d", DETAIL_SIZE)
        pen.text(8.0, y + 14, clipped(words, NAME_SIZE, room, True), "n", NAME_SIZE, bold=True)
        return y + 26.0 + LINE * len(_wrapped(rest, room))
    pen.text(8.0, y + 14, words, "n", NAME_SIZE, bold=True)
    return y + 26.0


def _x(strand: int) -> float:
    return FIRST + PITCH * strand


def _event(pen: Drawing, row: Row, y: float) -> float:
    """Where a ribbon splits into strands, or strands become one."""
    stream = row.stream
    assert stream is not None
    share = stream.rate / row.strands
    for k in range(row.strands):
        a, b = ((FIRST, y), (_x(k), y + 24.0)) if row.event == "fork" else ((_x(k), y), (FIRST, y + 24.0))
        mid = (a[1] + b[1]) / 2
        d = f"M{a[0]:.1f} {a[1]:.1f}C{a[0]:.1f} {mid:.1f} {b[0]:.1f} {mid:.1f} {b[0]:.1f} {b[1]:.1f}"
        pen.bend(d, share, stream.t_in)
    return y + 24.0


def _part(pen: Drawing, row: Row, y: float) -> float:
    moment, stream = pen.moment, row.stream
    assert stream is not None
    spec = moment.spec(row.entry)
    left = _x(row.strands - 1) + 50.0
    room = NARROW - left - 4.0
    lines = [piece for words in row_words(row, moment) for piece in _wrapped(words, room)]
    high = max(18.0 + LINE * (1 + len(lines)), 40.0)
    if row.partner is not None:
        high = max(high, 74.0)
    if isinstance(spec, ReservoirSpec):
        high = max(high, tank_size(1000.0 * spec.volume * SHRINK**2)[1] + 26.0)
    x = _x(row.strand)
    for j, other, done in row.passing:
        t = other.t_out if done else other.t_in
        pen.straight((_x(j), y), (_x(j), y + high), other.rate, (t, t))
    with pen.of(row.entry):
        if isinstance(spec, ReservoirSpec):
            middle = y + high / 2
            pen.straight((x, y), (x, middle), stream.rate, (stream.t_in, stream.t_in))
            pen.straight((x, middle), (x, y + high), stream.rate, (stream.t_out, stream.t_out))
            pen.tank((x, middle), 1000.0 * spec.volume * SHRINK**2, stream.rate, (stream.t_in, stream.t_out, "down"))
        elif row.partner is not None:
            _pair(pen, row, y, high)
        else:
            _vertical(pen, (x, y), (x, y + high), stream)
            if isinstance(spec, SensorSpec):
                pen.dot(x, y + high / 2)
            elif isinstance(spec, PumpSpec | FanSpec) and moment.drives(stream):
                _down_chevrons(pen, x, y + high / 2)
    block = LINE * (1 + len(lines))
    pen.label(left, y + (high - block) / 2, [clipped(row.entry, NAME_SIZE, room, True), *lines], "start", row.entry)
    # under the ribbons: it passes behind the strands that stand between a part and its words
    pen.leader(_edge(pen, row), y + high / 2, left - 6.0, y + high / 2, under=True)
    return y + high


def _wrapped(words: str, room: float) -> list[str]:
    """A detail's words in lines that fit into `room` px; a number keeps its unit."""
    lines: list[str] = []
    for word in pretty(keep_units(words)).split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, DETAIL_SIZE) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _edge(pen: Drawing, row: Row) -> float:
    """Right edge of what a row draws: ribbon, companion or tank."""
    assert row.stream is not None
    spec, x = pen.moment.spec(row.entry), _x(row.strand)
    if isinstance(spec, ReservoirSpec):
        return x + tank_size(1000.0 * spec.volume * SHRINK**2)[0] / 2 + 2.0
    beside = 0.0 if row.partner is None else pen.width(row.partner.rate)
    return x + pen.width(row.stream.rate) / 2 + beside + 2.0


def _vertical(pen: Drawing, a: tuple[float, float], b: tuple[float, float], stream: Stream) -> None:
    pen.straight(a, (b[0] + 0.01, b[1] + 0.4), stream.rate, (stream.t_in, stream.t_out))


def _pair(pen: Drawing, row: Row, y: float, high: float) -> None:
    """A part and the stream beside it, stitched along their seam."""
    stream, partner = row.stream, row.partner
    assert stream is not None and partner is not None
    x = _x(row.strand)
    a, b = y + 8.0, y + high - 8.0
    pen.straight((x, y), (x, a), stream.rate, (stream.t_in, stream.t_in))
    _vertical(pen, (x, a), (x, b), stream)
    pen.straight((x, b), (x, y + high), stream.rate, (stream.t_out, stream.t_out))
    seam = x + pen.width(stream.rate) / 2
    beside = seam + pen.width(partner.rate) / 2
    rising = pen.moment.duct_of.get(part_name(row.entry)) is None
    ends = (partner.t_out, partner.t_in) if rising else (partner.t_in, partner.t_out)
    pen.straight((beside, a - 5.0), (beside + 0.01, b + 5.0), partner.rate, ends)
    heat = pen.moment.heat(row.entry)
    count = stitch_count(heat, pen.largest_heat, b - a)
    lean = 1.4 if heat >= 0.0 else -1.4
    for i in range(count):
        at = a + (b - a) * (i + 0.5) / count
        pen.over.append(
            f'<path d="M{seam - 4.6:.1f} {at - lean:.1f}L{seam + 4.6:.1f} {at + lean:.1f}" class="st"'
            ' stroke="#fbfaf6" stroke-width="1.7"/>'
        )


def _down_chevrons(pen: Drawing, x: float, y: float) -> None:
    for k in (-8.0, 0.0, 8.0):
        pen.over.append(
            f'<path d="M{x - 4:.1f} {y + k - 3:.1f}L{x:.1f} {y + k + 3:.1f}L{x + 4:.1f} {y + k - 3:.1f}" class="ar"'
            ' fill="none" stroke="#fbfaf6"/>'
        )


def _close_section(pen: Drawing, section: list[Row], top: float, y: float) -> float:
    """The end of a path: the engine for the charge, the way back for a loop."""
    if not section:
        return y
    last = next((r for r in reversed(section) if r.stream is not None), None)
    if last is None or last.stream is None:
        return y
    moment = pen.moment
    if section[0].side == "charge":
        left = FIRST + 50.0
        pen.over.append(
            f'<path d="M{FIRST - 6} {y}L{FIRST} {y + 7}L{FIRST + 6} {y}" class="w" fill="none" stroke="#20262b"/>'
        )
        pen.text(left, y + 14, moment.say(moment.intake, "temperature"), "big", 22.0, bold=True)
        over = round(moment.intake - moment.ambient, 1)
        said = moment.say(abs(over), "temperature_difference")
        pen.text(left, y + 31, "into the engine,", "d", 12.0)
        pen.text(left, y + 47, f"{said} {'over' if over >= 0 else 'under'} ambient", "d", 12.0)
        return y + 62.0
    if section[0].side == "coolant":
        rate, t = last.stream.rate, last.stream.t_out
        d = (
            f"M{FIRST} {y - 1}V{y + 4}Q{FIRST} {y + 14} {FIRST - 12} {y + 14}H20Q10 {y + 14} 10 {y + 4}V{top + 10}"
            f"Q10 {top} 20 {top}H{FIRST - 12}Q{FIRST} {top} {FIRST} {top + 10}V{top + 15}"
        )
        pen.bend(d, min(rate, 0.03 * pen.reference), t, under=True)
        return y + 30.0
    return y + 14.0


def _narrow_foot(pen: Drawing, knee: Knee, y: float) -> float:
    pen.legend(8.0, y + 6, NARROW - 24.0)
    lines = [
        f"colours change at {knee.words}" if knee.words else "no limit given: colours change in the middle",
        "wider: more heat carried per degree",
        "stitches: heat crossing · dashes: almost no flow",
    ]
    for i, line in enumerate(lines):
        pen.text(8.0, y + 50 + 16 * i, line, "d", 12.0)
    return y + 50 + 16 * len(lines)


# -- characters --------------------------------------------------------------------------------------

BELOW, ABOVE = "░▒", "▓█"


def _shade(moment: Moment, knee: Knee, temperature: float, extremes: tuple[float, float]) -> str:
    low, high = extremes
    if temperature <= knee.temperature:
        share = (temperature - low) / max(knee.temperature - low, 1e-9)
        return BELOW[min(int(share * 2), 1)]
    share = (temperature - knee.temperature) / max(high - knee.temperature, 1e-9)
    return ABOVE[min(int(share * 3), 1)]


def _seam_mark(moment: Moment, entry: str, largest: float) -> str:
    share = abs(moment.heat(entry)) / largest
    return "╎" if share < 0.01 else "┼" if share < 0.15 else "╪" if share < 0.5 else "╬"


def ribbon_text(forecast: Forecast, sample: int, system: str, width: int, limit: float | None = None) -> str:
    """The ribbon in characters: one part a line, shaded by temperature, `╪` where heat crosses, `┊` where hardly
    anything flows.  Fits into `width` columns (at least 30)."""
    width = max(width, 30)
    moment, knee = Moment(forecast, sample, system), knee_of(forecast, limit)
    extremes, largest = moment.extremes(), moment.largest_heat()
    found = list(rows(moment))
    longest = min(max((len(r.entry) for r in found), default=8), 20)
    lines: list[str] = []
    for row in found:
        if row.heading:
            lines += ([""] if lines else []) + [_cut(row.heading, width)]
        elif row.event:
            lines.append("  " + ("├" if row.event == "fork" else "└") + "┬┴"[row.event == "join"] * (row.strands - 1))
        else:
            lines += _text_row(row, moment, knee, extremes, largest, longest, width)
        if row.side == "charge" and row is _last_charge(found):
            over = round(moment.intake - moment.ambient, 1)
            said = moment.say(abs(over), "temperature_difference")
            word = "over" if over >= 0 else "under"
            text = f"into the engine {moment.say(moment.intake, 'temperature')}, {said} {word} ambient"
            lines += textwrap.wrap(text, width, initial_indent="  ▼ ", subsequent_indent="    ")
    key = [
        f"{BELOW} below, {ABOVE} above {moment.say(knee.temperature, 'temperature')}"
        + (f" ({knee.words})" if knee.words else "")
    ]
    key += ["┼ ╪ ╬ heat crossing, ┊ almost no flow"]
    for words in key:
        lines += textwrap.wrap(words, width)
    return "\n".join("".join(c if c.isprintable() else " " for c in line).rstrip() for line in lines)


def _last_charge(found: list[Row]) -> Row | None:
    return next((r for r in reversed(found) if r.side == "charge"), None)


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "…"


def _text_row(
    row: Row, moment: Moment, knee: Knee, extremes: tuple[float, float], largest: float, longest: int, width: int
) -> list[str]:
    stream = row.stream
    assert stream is not None

    def body(s: Stream, t: float) -> str:
        return "┊ " if moment.is_still(s.rate) else 2 * _shade(moment, knee, t, extremes)

    ribbon = "".join(
        "│" if j != row.strand else body(stream, (stream.t_in + stream.t_out) / 2) for j in range(row.strands)
    )
    if row.partner is not None:
        ribbon += _seam_mark(moment, row.entry, largest) + body(row.partner, (row.partner.t_in + row.partner.t_out) / 2)
    head = f"  {ribbon}".ljust(11)
    words = keep_units(", ".join(row_words(row, moment)))
    if width >= 76:
        lead = f"{head}{_cut(row.entry, longest):<{longest}}  "
        return textwrap.wrap(words, width, initial_indent=lead, subsequent_indent=" " * len(lead)) or [lead]
    text = row.entry + (f": {words}" if words else "")
    return textwrap.wrap(text, width, initial_indent=head, subsequent_indent=" " * (len(head) + 2))
