"""The terminal's words: verdict first, then a small table, the intake as a line, the ribbon, the ledger, health.

Here: `forecast_text`, `point_text`.  Plain text that reads well from 40 columns up; colour only on a terminal and
never with NO_COLOR set; characters that the output's encoding lacks are replaced by plain ones.
"""

from __future__ import annotations

import os
import sys
import textwrap
from collections.abc import Sequence

import numpy as np

from coldside.judge.coolant import point_cautions, serves_core
from coldside.judge.heat import step_words
from coldside.judge.pressures import belts
from coldside.judge.run_times import run_rows, run_sentences
from coldside.judge.verdict import Verdict
from coldside.judge.wording import Range
from coldside.plant.charge import StageState
from coldside.plant.results import Forecast, Point
from coldside.sheet import tables
from coldside.sheet.asked import NOTHING, Asked, heading
from coldside.sheet.ribbon_narrow import ribbon_text
from coldside.sheet.scale import keep_units
from coldside.units import retold, show

NARROWEST, WIDEST = 36, 120  # columns
SPARKS = "▁▂▃▄▅▆▇█"
PLAIN = str.maketrans("░▒▓█┊╎┼╪╬│├└┬┴▼…■□·°±\u00a0", ".:#@:!+*X|+++-v~#=.d~ ") | str.maketrans(SPARKS, "_.,-=+*#")
ANSI = {"bad": "\x1b[1;31m", "good": "\x1b[1;36m", "head": "\x1b[1m", "off": "\x1b[0m"}


def forecast_text(
    forecast: Forecast,
    verdict: Verdict,
    system: str,
    width: int,
    colour: bool | None = None,
    asked: Asked = NOTHING,
) -> str:
    """A forecast as text, `width` columns wide, in "si" or "us" units.

    `colour` None decides by the terminal and NO_COLOR; `asked` is what was asked for besides the forecast.
    """
    page = _Page(width, colour)
    headline, reasons, notes, _ = tables.all_words(verdict, system)
    page.say(headline, style="good" if verdict.holds else "bad")
    page.say(f"{forecast.build.name}; {forecast.session.name}")
    page.say("; ".join(tables.conditions(forecast, system)))
    if verdict.limits:
        page.head("limits")
        for limit in verdict.limits:
            name, allowed, value, margin, words = tables.limit_row(limit, system)
            text = f"{name}, {allowed}: {value}" + (f", {margin}" if margin else "")
            page.item(f"{text}; {words}", style="bad" if limit.holds is False else "")
    page.head("figures")
    rows = [(name, *cells) for name, cells in tables.key_figures(forecast, system)]
    page.table(("", "start", "highest in boost", "mean in boost", "end"), rows)
    page.say(tables.in_boost(forecast))
    _runs(page, forecast, system, asked)
    page.head("intake over the session")
    page.lines += _spark(forecast, system, page.width)
    if asked.peak is not None:
        page.say(f"the peak in boost is likely {Range(asked.peak[0], asked.peak[2], 'temperature').shown(system)}")
    if reasons:
        page.head("what gives first, and why")
        for reason in reasons:
            page.item(reason)
    for section in asked.sections(verdict.limits, system):
        page.head(heading(section.title))
        for words in section.sentences:
            page.item(words)
        if section.rows:
            page.table(section.heads, section.rows)
    when = tables.say(float(forecast.time[forecast.worst]), "clock", system)
    page.head(f"the build at {when} into the session")
    page.lines += ribbon_text(forecast, forecast.worst, system, page.width).splitlines()
    _before(page, forecast, notes, system)
    if verdict.knock is not None:
        page.head("knock")
        for told in verdict.knock.brief:
            page.item(told.words(system))
    _heat(page, forecast, system)
    _trust(page, forecast, system)
    return page.text()


def _runs(page: _Page, forecast: Forecast, system: str, asked: Asked) -> None:
    if not forecast.runs:
        return
    page.head("runs, and what heat cost them")
    for sentence in run_sentences(forecast, asked.likely):
        page.say(sentence.words(system))
    page.table(("", "begins", "time", "at the finish", "heat costs"), run_rows(forecast, system, asked.likely))


def _before(page: _Page, forecast: Forecast, notes: Sequence[str], system: str) -> None:
    page.head("before full load")
    for what, figure, meaning in tables.before_full_load(forecast, system):
        page.item(f"{what}: {figure}; {meaning}")
    for margin in tables.compressor_margins(forecast):
        when = tables.say(margin.time, "clock", system)
        words = f"{100 * margin.left:.0f} % left" if margin.left >= 0.0 else f"{-100 * margin.left:.0f} % beyond"
        page.item(
            f"compressor {margin.name}: {words}, worst at {when}" + (f" in {margin.where}" if margin.where else "")
        )
    for note in notes:
        page.item(note)


def _heat(page: _Page, forecast: Forecast, system: str) -> None:
    page.head("where the heat went")
    rows = [r for r in tables.ledger_rows(forecast, system) if r.total]
    most = max([abs(r.heat) for r in rows] + [1.0])
    page.bars([(r.name, r.heat / most, r.words) for r in rows])
    page.say(tables.ledger_sentence(forecast))
    rungs = tables.ladder_rows(forecast, system)
    if rungs:
        page.head("what holds it back, charge to ambient")
        most = max(abs(r[1]) for r in rungs)
        page.bars([(step_words(name), drop / most, f"{words}, {share}") for name, drop, words, _, share in rungs])


def _trust(page: _Page, forecast: Forecast, system: str) -> None:
    page.head("how far to trust it")
    for what, words in tables.health_rows(forecast, system):
        page.item(words if what == "note" else f"{what}: {words}")
    count = len(forecast.build.defaults())
    if count:
        page.item(f"{count} values were not given and took a default: `coldside check` and the sheet list them")
    page.item("a forecast, not a measurement: prove it on the car, from low load upwards; the sheet holds the cautions")


def point_text(point: Point, system: str, width: int, colour: bool | None = None) -> str:
    """A steady operating point as text, `width` columns wide, in "si" or "us" units."""
    page = _Page(width, colour)
    over = point.intake - point.ambient_temperature
    said = tables.say(abs(over), "temperature_difference", system)
    page.say(
        f"Intake {tables.say(point.intake, 'temperature', system)}, {said} {'over' if over >= 0 else 'under'} ambient, "
        f"at {show(point.engine_speed, 'engine_speed', system)} and {show(point.power, 'power', system)}.",
        style="head",
    )
    moving = "" if point.road_speed is None else f", at {show(point.road_speed, 'speed', system)} on the road"
    page.say(
        f"{point.build.name}; steady, {tables.say(point.ambient_temperature, 'temperature', system)} and "
        f"{show(point.ambient_pressure, 'pressure', system)} outside{moving}"
    )
    page.head("charge")
    page.pairs(_point_charge(point, system))
    if point.effectiveness or point.coolant_flow or point.air_flow_duct:
        page.head("cooling")
        page.pairs(_point_cooling(point, system))
    cautions = point_cautions(point)
    if cautions or point.warnings:
        page.head("notes")
        for caution in cautions:
            page.item(caution.words(system))
        for words in point.warnings:
            page.item(retold(words, system))
    if point.defaults:
        page.item(f"{len(point.defaults)} values were not given and took a default: `coldside check` lists them")
    return page.text()


def _point_charge(point: Point, system: str) -> list[tuple[str, str]]:
    loss = show(point.charge_loss, "pressure_difference", system)
    density = (
        f"{point.charge_density / 16.01846337:.4f} lb/ft3" if system == "us" else f"{point.charge_density:.3f} kg/m3"
    )
    rows = [
        ("air flow", show(point.air_flow, "mass_flow", system)),
        ("compressor", f"pressure ratio {point.pressure_ratio:.2f} at {100 * point.compressor_efficiency:.0f} %"),
        ("compressor outlet", tables.say(point.compressor_out, "temperature", system)),
        ("plenum", show(point.plenum_pressure, "pressure", system)),
        ("charge loss", loss),
        ("charge density", density),
        ("heat rejected", show(point.heat_rejected, "heat", system)),
        ("fuel flow", show(point.fuel_flow, "fuel_flow", system)),
        ("per injector", show(point.fuel_flow_per_injector, "fuel_flow", system)),
    ]
    if point.exhaust_pressure is not None and np.isfinite(point.exhaust_pressure):
        times = f", {point.exhaust_pressure / point.plenum_pressure:.2f} times the plenum's"
        rows.append(("before the turbine", show(point.exhaust_pressure, "pressure", system) + times))
    for belt in belts(point):
        rows.append((f"belt of {belt.part}", show(belt.power, "power", system) + " off the crank"))
    if len(point.stages) > 1:
        return rows + [row for stage in point.stages for row in _stage_rows(stage, system)]
    for name, left in (
        ("to surge", point.surge_margin),
        ("to choke", point.choke_margin),
        ("to top shaft speed", point.shaft_speed_margin),
    ):
        if left is not None or not belts(point):  # a blower of displacement knows neither surge nor choke
            rows.append((name, _room(left)))
    return rows


def _stage_rows(stage: StageState, system: str) -> list[tuple[str, str]]:
    """One of several compressors: pressure ratio, outlet, margins."""
    ratio, efficiency = float(stage.pressure_ratio[0]), float(stage.efficiency[0])
    out = tables.say(float(stage.outlet[0]), "temperature", system)
    rows = [(stage.name, f"pressure ratio {ratio:.2f} at {100 * efficiency:.0f} %, {out} out")]
    for name, trace in tables.stage_margins(stage):
        if trace is not None:
            rows.append((f"{stage.name} {name}", _room(float(trace[0]))))
    return rows


def _room(left: float | None) -> str:
    """A margin in words."""
    if left is None or not np.isfinite(left):
        return "not known"
    return f"{100 * left:.0f} % left" if left >= 0.0 else f"{-100 * left:.0f} % beyond"


def _point_cooling(point: Point, system: str) -> list[tuple[str, str]]:
    rows = [(f"{name} effectiveness", f"{100 * share:.1f} %") for name, share in point.effectiveness.items()]
    for core, (hottest, mean, coldest) in point.face_spread.items():
        words = " to ".join(tables.say(T, "temperature", system) for T in (coldest, hottest))
        rows.append((f"{core} over its face", f"{words}, {tables.say(mean, 'temperature', system)} on average"))
    if point.condensate:
        rows.append(("water condensing", show(point.condensate, "mass_flow", system) + ", into the intake"))
    for loop, flow in point.coolant_flow.items():
        words = show(flow, "volume_flow", system)
        if loop in point.loop_temperature:
            words += f", {tables.say(point.loop_temperature[loop], 'temperature', system)}"
            words += " into the cores" if serves_core(point.build, loop) else ""
        rows.append((f"loop {loop}", words))
    rows += [
        (f"duct {duct}", show(flow, "mass_flow", system) + " of air") for duct, flow in point.air_flow_duct.items()
    ]
    return rows


class _Page:
    """Lines of a terminal page."""

    def __init__(self, width: int, colour: bool | None) -> None:
        self.width = min(max(int(width), NARROWEST), WIDEST)
        self.colour = _wants_colour() if colour is None else colour
        self.lines: list[str] = []

    def _styled(self, lines: list[str], style: str) -> list[str]:
        if not (self.colour and style):
            return lines
        return [f"{ANSI[style]}{line}{ANSI['off']}" for line in lines]

    def say(self, text: str, style: str = "") -> None:
        """A paragraph."""
        self.lines += self._styled(textwrap.wrap(_clean(text), self.width), style)

    def item(self, text: str, style: str = "") -> None:
        """A point of a list."""
        wrapped = textwrap.wrap(_clean(text), self.width, initial_indent="- ", subsequent_indent="  ")
        self.lines += self._styled(wrapped, style)

    def head(self, text: str) -> None:
        """A heading with a line of room above."""
        self.lines += ["", *self._styled(textwrap.wrap(text[:1].upper() + text[1:], self.width), "head")]

    def table(self, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        """Columns when they fit, else one block a row."""
        widths = [max(len(row[i]) for row in (heads, *rows)) for i in range(len(heads))]
        if sum(widths) + 2 * len(widths) <= self.width:
            for row in (heads, *rows):
                cells = [row[0].ljust(widths[0])] + [c.rjust(w) for c, w in zip(row[1:], widths[1:], strict=True)]
                self.lines.append("  ".join(cells).rstrip())
            return
        for row in rows:
            cells = [f"{head} {cell}" for head, cell in zip(heads[1:], row[1:], strict=True) if cell]
            self.item(f"{row[0]}: " + ", ".join(cells))

    def pairs(self, rows: Sequence[tuple[str, str]]) -> None:
        """Name and value, aligned where they fit."""
        wide = max((len(name) for name, _ in rows), default=0)
        fits = wide + 2 + max((len(value) for _, value in rows), default=0) <= self.width
        for name, value in rows:
            if fits:
                self.lines.append(f"{name.ljust(wide)}  {value}")
            else:
                self.item(f"{name}: {value}")

    def bars(self, rows: Sequence[tuple[str, float, str]]) -> None:
        """Name, bar of a share from -1 to 1, value; narrow pages put the bar under its name."""
        name_wide = max(len(name) for name, _, _ in rows)
        value_wide = max(len(value) for _, _, value in rows)
        room = self.width - name_wide - value_wide - 4
        for name, share, value in rows:
            if room >= 8:
                bar = _bar(share, min(room, 40))
                self.lines.append(f"{name.ljust(name_wide)}  {value.rjust(value_wide)}  {bar}".rstrip())
            else:
                self.lines += textwrap.wrap(_clean(f"{name}: {value}"), self.width)
                self.lines.append(("  " + _bar(share, self.width - 4)).rstrip())

    def text(self) -> str:
        """The page; characters that the output cannot show are replaced."""
        joined = "\n".join(line.rstrip() for line in self.lines).replace("\u00a0", " ")
        encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
        try:
            joined.encode(encoding)
        except (UnicodeEncodeError, LookupError):
            joined = joined.translate(PLAIN).encode(encoding, "replace").decode(encoding)
        return joined


def _bar(share: float, room: int) -> str:
    """A bar; hollow for what counts the other way."""
    return ("■" if share >= 0.0 else "□") * round(abs(share) * room)


def _clean(text: str) -> str:
    """A user's words without control characters, which could drive the terminal."""
    return keep_units("".join(c if c.isprintable() else " " for c in text))


def _wants_colour() -> bool:
    if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return False
    return bool(getattr(sys.stdout, "isatty", lambda: False)())


def _spark(forecast: Forecast, system: str, width: int) -> list[str]:
    """The intake gas, highest of each column, with a mark under every column in which a limit on it is broken."""
    columns = min(width, 100)
    n = len(forecast.time)
    columns = min(columns, n)
    edges = np.linspace(0, n, columns + 1).astype(int)
    highest = np.array([forecast.intake[a:b].max() for a, b in zip(edges, edges[1:], strict=False)])
    low, high = float(highest.min()), float(highest.max())
    levels = np.clip((highest - low) / max(high - low, 1e-9) * len(SPARKS), 0, len(SPARKS) - 1).astype(int)
    lines = ["".join(SPARKS[i] for i in levels)]
    over = np.zeros(n, dtype=bool)
    told = []
    for limit in forecast.session.limits:
        if limit.quantity not in ("intake", "over_ambient"):
            continue
        moving = limit.quantity == "over_ambient" and forecast.demand.ambient_changes
        shift = forecast.demand.ambient_temperature if limit.quantity == "over_ambient" else np.zeros(n)
        counts = forecast.boost if limit.during == "boost" else np.ones(n, dtype=bool)
        over |= counts & (forecast.intake > limit.bound + shift)
        told.append(
            tables.say(limit.bound, "temperature_difference", system, 1) + " over ambient"
            if moving
            else tables.say(limit.bound + float(shift[0]), "temperature", system, 1)
        )
    marks = "".join("!" if over[a:b].any() else " " for a, b in zip(edges, edges[1:], strict=False)).rstrip()
    if marks:
        lines.append(marks)
    end = tables.say(float(forecast.time[-1] - forecast.time[0]), "time", system)
    lines.append("0" + end.rjust(columns - 1))
    low_words, high_words = tables.say(low, "temperature", system), tables.say(high, "temperature", system)
    words = f"{SPARKS[0]} {low_words}, {SPARKS[-1]} {high_words}, each column its highest"
    if told:
        words += (
            f"; ! over {forecast.session.whose} limit of {' or '.join(told)}"
            if marks
            else f"; never over {forecast.session.whose} limit of {' or '.join(told)} while it counts"
        )
    return lines + textwrap.wrap(keep_units(words), width)
