"""The rows of every table of a sheet, as text in one unit system: the same for paper and terminal.

Here: conditions, key figures, limits, checks before full load, ledger, ladder, sources.  Not here:
the parts list and the defaults (`parts_list.py`), any layout (`render.py`, `terminal.py`).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coldside import sources
from coldside.judge.heat import core_loops, heat_shares, moment_words
from coldside.judge.power import fuel_demand, mean_where, power_kept
from coldside.judge.pressures import belts, couplers, exhaust, largest_pull, leak, suction
from coldside.judge.run_times import boost_feedback_words, feedback_words
from coldside.judge.sureness import chance_words
from coldside.judge.tract import leak_area
from coldside.judge.verdict import LimitResult, Verdict, label_at
from coldside.judge.water import WORTH_SAYING, condensation
from coldside.judge.wording import Quantity, Range, listed, shown
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec, geometry_of
from coldside.plant.charge import StageState
from coldside.plant.results import Forecast
from coldside.sheet.figures import energy, resistance
from coldside.units import Pressure, retold, show

_REPEAT = re.compile(r"(?P<what>[a-z][a-z ]*?) (?P<number>\d+)(?P<rest>(?: [^:\d]*)?: .*)", re.DOTALL)  # a phase's note
LANES_ALIKE = 0.5  # K between a core's hottest lane and its mean that no thermometer tells apart


@dataclass(frozen=True)
class Margin:
    """One of the compressor's three margins at its worst moment: share left, when, in which phase."""

    name: str
    left: float
    time: float
    where: str


@dataclass(frozen=True)
class HeatRow:
    """One line of the ledger: words, heat in J (signed, as it counts), and whose it is."""

    name: str
    heat: float
    words: str
    total: bool = False


def say(value: float, kind: str, system: str, digits: int = 0) -> str:
    """A quantity as the verdict's sentences write it."""
    return shown(Quantity(value, kind, digits), system)


# ------------------------------------------------------------------------------- conditions, key figures


def conditions(forecast: Forecast, system: str) -> list[str]:
    """What the forecast holds for, in short sentences."""
    demand, session = forecast.demand, forecast.session
    weather = (
        f"{shade(forecast, system)}, {show(demand.ambient_pressure, 'pressure', system)}, "
        f"{_span(100 * float(demand.humidity.min()), 100 * float(demand.humidity.max()))} % relative humidity"
    )
    start = {"ambient": "starts with everything at ambient temperature", "soaked": "starts heat-soaked"}
    length = say(float(forecast.time[-1] - forecast.time[0]), "time", system)
    found = [weather, f"{length} long, {start.get(demand.start, demand.start)}"]
    labels: dict[str, int] = {}
    for span in demand.spans:
        words = " ".join(w for w in span.label.split() if not w.isdigit())
        labels[words] = labels.get(words, 0) + 1
    told = [f"{words} ({n} times)" if n > 1 else words for words, n in list(labels.items())[:8] if words]
    found.append("in it: " + ", ".join(told) if told else session.name)
    return found


def shade(forecast: Forecast, system: str) -> str:
    """The air in the shade: one temperature, or where it moves its range, where it starts and where it ends."""
    T = forecast.demand.ambient_temperature
    if not forecast.demand.ambient_changes:
        return f"{say(float(T[0]), 'temperature', system)} in the shade"
    low, high, first, last = (say(float(value), "temperature", system) for value in (T.min(), T.max(), T[0], T[-1]))
    return f"{low} to {high} in the shade ({first} at the start, {last} at the end)"


def _span(low: float, high: float) -> str:
    """Two whole numbers, or one where they are alike."""
    return f"{low:.0f}" if f"{low:.0f}" == f"{high:.0f}" else f"{low:.0f} to {high:.0f}"


def in_boost(forecast: Forecast) -> str:
    """What "in boost" means and which samples the highest temperatures are taken from, in one sentence."""
    meaning = "while the pressure in the plenum is more than 5 % above that of the air outside"
    if forecast.boost.any():
        return f"In boost: {meaning}. Highest: of that time for temperatures, of the whole session for the rest."
    return f"Never in boost ({meaning}): highest of the whole session."


def key_figures(forecast: Forecast, system: str) -> list[tuple[str, tuple[str, str, str, str]]]:
    """Rows of (what, (start, highest in boost or of all, mean in boost, end))."""
    boost, time = forecast.boost, forecast.time
    ambient = forecast.demand.ambient_temperature

    def temperatures(trace: np.ndarray, kind: str) -> tuple[str, str, str, str]:
        mean = mean_where(trace, boost, time)
        highest = float(trace[boost].max()) if boost.any() else float(trace.max())
        values = (float(trace[0]), highest, mean, float(trace[-1]))
        return tuple("" if v is None else say(round(v, 1), kind, system) for v in values)  # type: ignore[return-value]

    def flows(trace: np.ndarray, kind: str) -> tuple[str, str, str, str]:
        mean = mean_where(trace, boost, time)
        return ("", show(float(trace.max()), kind, system), "" if mean is None else show(mean, kind, system), "")

    rows = [("intake gas", temperatures(forecast.intake, "temperature"))]
    rows.append(("over ambient", temperatures(forecast.intake - ambient, "temperature_difference")))
    if forecast.sensor is not None:
        rows.append(("intake sensor", temperatures(forecast.sensor, "temperature")))
    for loop, trace in forecast.coolant_in_cores.items():
        where = " into the cores" if loop in core_loops(forecast) else ""
        rows.append((f"coolant of loop {loop}{where}", temperatures(trace, "temperature")))
    rows.append(("power", flows(forecast.power, "power")))
    rows.append(("air flow", flows(forecast.charge_flow, "mass_flow")))
    rows.append(("fuel flow", flows(forecast.fuel_flow, "fuel_flow")))
    rows.append(("heat taken by the cores", flows(forecast.heat_rejected, "heat")))
    for loop, trace in forecast.coolant_flow.items():
        rows.append((f"coolant flow of loop {loop}", flows(trace, "volume_flow")))
    for part, trace in forecast.ice.items():
        rows.append(
            (f"ice in {part}", (show(float(trace[0]), "mass", system), "", "", show(float(trace[-1]), "mass", system)))
        )
    water = condensation(forecast)
    if water is not None and water.total >= WORTH_SAYING:
        total = f"{show(water.total, 'mass', system)} in all"
        rows.append(("water condensing in the cores", ("", show(water.most, "mass_flow", system), "", total)))
    return rows


def limit_row(limit: LimitResult, system: str) -> tuple[str, str, str, str, str]:
    """(limit, allowed, came out, margin, in words) of one limit."""
    allowed = f"{limit.allowed} {say(limit.bound, limit.kind, system, 1)}"
    if limit.holds is None or limit.value is None or limit.margin is None:
        return limit.name, allowed, "not judged", "", limit.why_not
    digits = 0 if limit.margin_kind == "temperature_difference" else 1  # as the headline has it
    bound = "" if not limit.only_bound else limit.more if limit.holds else "less than "
    value = bound + say(limit.value, limit.kind, system, digits)
    kind = "points" if limit.margin_kind == "share" else limit.margin_kind
    over = " short" if limit.lowest else " over"
    margin = limit.more + say(abs(limit.margin), kind, system, digits) + (" to spare" if limit.holds else over)
    if limit.holds:
        extreme = "lowest" if limit.lowest else "highest"
        words = f"holds; {extreme} in {limit.where}" if limit.where else "holds"
    elif limit.first_broken is None:
        words = "broken"
    else:
        words = f"broken first at {say(limit.first_broken, 'clock', system)}"
        words += f" in {limit.first_where}" if limit.first_where else ""
        words += f", {say(limit.seconds_over, 'time', system)}{over} in all"
    if limit.band is not None and limit.chance is not None:
        likely = Range(limit.band[0], limit.band[2], limit.kind).shown(system)
        words += f"; likely {likely}, the chance that it holds is {chance_words(limit.chance)}"
    return limit.name, allowed, value, margin, words


# ------------------------------------------------------------------------------- before full load


def before_full_load(forecast: Forecast, system: str) -> list[tuple[str, str, str]]:
    """Checks to make before full load: (what, figure, what it means)."""
    fuel, engine = fuel_demand(forecast), forecast.build.engine
    rows = [
        (
            "fuel flow at its highest",
            show(fuel.peak, "fuel_flow", system),
            f"{engine.fuel}, for {show(fuel.air, 'mass_flow', system)} of air",
        )
    ]
    if fuel.used is None:
        meaning = "its capacity was not given, so it is not checked"
    else:
        meaning = (
            f"{100 * fuel.used:.0f} % of the {show(engine.injector_capacity, 'fuel_flow', system)} that one passes"
        )
    rows.append((f"from each of {fuel.injectors} injectors", show(fuel.per_injector, "fuel_flow", system), meaning))
    at = at_full_flow(forecast)
    loss = float(forecast.compressor_out_pressure[at] - forecast.plenum_pressure[at])
    share = loss / float(forecast.compressor_out_pressure[at])
    rows.append(
        (
            "charge loss, compressor to plenum",
            show(loss, "pressure_difference", system),
            f"{100 * share:.1f} % of the pressure at the compressor outlet, at the highest air flow",
        )
    )
    ratio = float(forecast.compressor_out_pressure[at]) / forecast.demand.ambient_pressure
    plenum = show(
        Pressure(float(forecast.plenum_pressure[at]) - forecast.demand.ambient_pressure, True), "pressure", system
    )
    rows.append(("compressor outlet", f"{ratio:.2f} times ambient", f"for {plenum} in the plenum"))
    power = power_kept(forecast)
    mean = (
        "" if power.mean_boost is None else f"{show(power.mean_boost, 'power', system)} averaged over all time in boost"
    )
    rows.append(("power at its highest", show(power.peak, "power", system), mean))
    return rows + _tract_rows(forecast, system) + _lane_rows(forecast, system) + _suction_rows(forecast, system)


def at_full_flow(forecast: Forecast) -> int:
    """The sample of the highest air flow in boost; of a session without boost that of the hottest intake."""
    if not forecast.boost.any():
        return forecast.peak
    return int(np.argmax(np.where(forecast.boost, forecast.charge_flow, -1.0)))


def _tract_rows(forecast: Forecast, system: str) -> list[tuple[str, str, str]]:
    """Exhaust pressure, the largest pull at a coupler, the leak of the tract."""
    rows = []
    burnt = exhaust(forecast)
    if burnt is not None:
        when = say(burnt.time, "clock", system)
        meaning = f"{burnt.over_plenum:.2f} times the plenum's pressure, at {when}"
        rows.append(("exhaust before the turbine, highest", show(burnt.pressure, "pressure", system), meaning))
    for belt in belts(forecast):
        when = say(float(forecast.time[belt.sample]), "clock", system)
        rows.append((f"belt of {belt.part}, highest", show(belt.power, "power", system), f"off the crank, at {when}"))
    pull = largest_pull(couplers(forecast))
    if pull is not None:
        meaning = f"at {pull.part}, from {show(pull.gauge, 'pressure_gauge', system)}"
        if pull.rating is not None:
            meaning += f"; its couplers are rated for {show(pull.rating, 'pressure_gauge', system)}"
        meaning += "; the most of this session"
        rows.append(("largest pull at a coupler", show(pull.force, "force", system), meaning))
    lost = leak(forecast)
    if lost is not None:
        meaning = f"{100 * lost.share:.1f} % of the air flow, by the tract's pressure-decay test"
        rows.append(("leak of the charge tract, highest", show(lost.flow, "mass_flow", system), meaning))
    return rows


def _lane_rows(forecast: Forecast, system: str) -> list[tuple[str, str, str]]:
    """Charge leaving each core's hottest lane, where lanes differ by what can be read."""
    rows = []
    for core, (hottest, mean, coldest) in forecast.face_spread.items():
        if hottest - mean < LANES_ALIKE:
            continue
        meaning = f"{say(mean, 'temperature', system)} on average, {say(coldest, 'temperature', system)} where coldest"
        rows.append(
            (
                f"hottest charge out of {core}",
                say(hottest, "temperature", system),
                meaning + f", at {moment_words(forecast)}",
            )
        )
    return rows


def _suction_rows(forecast: Forecast, system: str) -> list[tuple[str, str, str]]:
    """Net positive suction head of the pumps whose need is known."""
    rows = []
    for found in suction(forecast):
        hot = say(found.hottest, "temperature", system)
        for inlet in found.inlets:
            if inlet.required is not None:
                left, need = (
                    shown(Quantity(value, "head"), system) for value in (max(inlet.available, 0.0), inlet.required)
                )
                rows.append((f"suction head of {inlet.pump}, least", left, f"needs {need}; coolant at {hot}"))
    return rows


def compressor_margins(forecast: Forecast) -> tuple[Margin, ...]:
    """Margins of every compressor to surge, choke and top speed, each at its worst moment in boost.

    Empty when never in boost and for a constant efficiency.  With several stages each name says whose it is.
    """
    counts = forecast.boost & (forecast.demand.engine_speed > 0.0)
    if not counts.any():
        return ()
    found = []
    for stage in forecast.stages:
        whose = f"{stage.name} " if len(forecast.stages) > 1 else ""
        for name, trace in stage_margins(stage):
            left = None if trace is None else np.where(counts, trace, np.nan)
            if left is not None and np.isfinite(left).any():
                at = int(np.nanargmin(left))
                found.append(Margin(whose + name, float(left[at]), float(forecast.time[at]), label_at(forecast, at)))
    return tuple(found)


def stage_margins(stage: StageState) -> tuple[tuple[str, np.ndarray | None], ...]:
    """The three margins of one compressor with their names."""
    operating = stage.operating
    return (
        ("to surge", operating.surge_margin),
        ("to choke", operating.choke_margin),
        ("to top shaft speed", operating.speed_margin),
    )


# ------------------------------------------------------------------------------- ledger and ladder


def ledger_rows(forecast: Forecast, system: str) -> list[HeatRow]:
    """Totals of the ledger, each followed by the parts that matter to it (over 2 % of all heat handled)."""
    ledger = forecast.ledger
    groups = (
        ("from the charge", ledger.heat_in, ("charge",)),
        ("picked up from bay, engine and pumps", ledger.pickup, ("pickup", "pump")),
        ("given to the cooling air", ledger.to_air, ("cooling",)),
        ("stored in coolant and metal at the end", ledger.stored, ("stored",)),
    )
    rows = []
    for name, total, sides in groups:
        rows.append(HeatRow(name, total, energy(total, system), True))
        parts: dict[str, float] = {}
        for flow in ledger.flows:
            if flow.side in sides:
                parts[flow.part] = parts.get(flow.part, 0.0) + flow.heat
        largest = sorted(parts.items(), key=lambda item: -abs(item[1]))
        kept = [item for item in largest if abs(item[1]) > 0.02 * max(ledger.handled, 1.0)][:8]
        if len(parts) > 1:
            rows += [HeatRow(part, heat, energy(heat, system)) for part, heat in kept]
    return rows


def ledger_sentence(forecast: Forecast) -> str:
    """The ledger in two or three sentences of shares; empty when nothing was taken in."""
    shares = heat_shares(forecast)
    if shares.to_air is None or shares.stored is None:
        return ""
    if shares.stored >= 0.0:
        text = f"Of the heat taken in, {100 * shares.to_air:.0f} % left with the cooling air and"
        text += f" {100 * shares.stored:.0f} % was still in coolant and metal at the end."
    else:
        before = -shares.stored / (1.0 - shares.stored)  # of what left, which is the taken and the stored together
        text = f"{100 * before:.0f} % of the heat that left with the cooling air had been in coolant and metal at the"
        text += " start."
    if forecast.ledger.heat_in < 0.0:
        return text + " The charge did not give heat but took some up, over the session."
    known = shares.from_pickup is not None and 0.0 <= shares.from_pickup <= 1.0
    share = f"{100 * (shares.from_pickup or 0.0):.0f} %"
    if shares.from_engine and shares.from_engine > 0.995:  # over one where other parts gave some to the bay
        return text + " All of the heat taken in came out of the engine's own coolant and oil."
    if shares.from_engine:
        text += f" {100 * shares.from_engine:.0f} % of the heat taken in came out of the engine's own coolant and oil"
        return text + (f"; of the rest, {share} did not come from the charge." if known else ".")
    if not known:
        return text
    return text + f" {share} of {'it' if shares.stored >= 0.0 else 'the heat taken in'} did not come from the charge."


def ladder_rows(forecast: Forecast, system: str) -> list[tuple[str, float, str, str, str]]:
    """(rung, drop in K, drop, resistance, share) from charge to ambient; rungs too small to show are left out."""
    return [
        (
            rung.name,
            rung.drop,
            say(rung.drop, "temperature_difference", system, 1),
            resistance(rung.resistance, system),
            f"{round(100 * rung.share)} %",  # an integer knows no -0
        )
        for rung in forecast.ladder
        if abs(rung.drop) >= 0.05
    ]


# ------------------------------------------------------------------------------- health, sources


def health_rows(forecast: Forecast, system: str) -> list[tuple[str, str]]:
    """How far to trust the numbers."""
    health = forecast.health
    step = say(health.step_check, "temperature_difference", system, 2)
    step = step if step.startswith("less") else f"at most {step}"
    apart = "to one part in a million or better" if health.closure <= 1e-6 else f"but for {100 * health.closure:.2g} %"
    rows = [
        ("step check", f"halving the time step moves the intake by {step}"),
        ("heat balance", f"heat in, out and stored agree {apart}"),
        ("size of the model", f"{forecast.states} temperatures, {forecast.steps} steps in time"),
    ]
    if forecast.feedback:
        rows.append(("driving and heat", feedback_words(forecast)))
    if forecast.boost_feedback:
        rows.append(("trims of boost and heat", retold(boost_feedback_words(forecast), system)))
    outside = [retold(words, system) for words in health.extrapolated] or ["nothing"]
    rows += [("used outside its data", words) for words in outside]
    rows += [("note", retold(words, system)) for words in repeats_told_once(health.warnings)]
    return rows


def repeats_told_once(notes: Sequence[str]) -> list[str]:
    """Notes that differ only by the number of a repeat ("lap 3 main straight: ...") as one: "lap 1 to 12 main ..."."""
    found: dict[tuple[str, str], list[int]] = {}
    for note in notes:
        counted = _REPEAT.match(note)
        if counted is None:
            found[(note, "")] = []
        else:
            found.setdefault((counted["what"], counted["rest"]), []).append(int(counted["number"]))
    told = []
    for (what, rest), numbers in found.items():
        if not numbers:
            told.append(what)
            continue
        in_row = len(numbers) > 2 and numbers == list(range(numbers[0], numbers[-1] + 1))
        which = f"{numbers[0]} to {numbers[-1]}" if in_row else listed([str(n) for n in numbers])
        told.append(f"{what} {which}{rest}")
    return told


def used_sources(forecast: Forecast) -> list[str]:
    """References behind this forecast's physics, by what the build and session use."""
    build = forecast.build
    specs = list(build.parts.values())
    keys = ["ISO2533", "HylandWexler1983", "McBride1993"]
    if build.loops:
        coolants = " ".join(loop.coolant for loop in build.loops.values())
        keys += ["IAPWS95"] if any(name in coolants for name in ("water", "glycol", "methanol")) else []
        keys += ["Melinder2010"] if "glycol" in coolants or "methanol" in coolants else []
        keys += ["SAEJ300", "ASTMD341"] if "oil" in coolants else []
        keys += ["TodiniPilati1988", "Churchill1977"]
    rated = [s for s in specs if isinstance(s, WaterCoreSpec | AirCoreSpec | ExchangerSpec)]
    if rated:
        keys += ["KaysLondon1984", "Mason1954"]
    if any(geometry_of(s) is not None for s in rated):
        keys += ["ManglikBergles1995", "ChangWang1997", "Chang2006", "ShahLondon1978"]
    if leak_area(build) is not None:
        keys.append("Shapiro1953")
    if any(getattr(s, "shield", "none") != "none" for s in specs):
        keys.append("Cengel2003")
    keys += ["Gnielinski2013", "AFDC", "Heywood1988", "Practice"]
    return [sources.cite(key) for key in keys if key in sources.SOURCES]


def all_words(verdict: Verdict, system: str) -> tuple[str, list[str], list[str], tuple[str, ...]]:
    """Headline, reasons, notes, cautions; notes on knock and one that repeats `before_full_load` are left out."""
    words = verdict.words(system)
    knock = set() if verdict.knock is None else {sentence.template for sentence in verdict.knock.sentences}
    notes = [
        said
        for said, sentence in zip(words.notes, verdict.notes, strict=True)
        if not sentence.template.startswith("The engine asks for") and sentence.template not in knock
    ]
    return words.headline, list(words.reasons), notes, words.cautions
