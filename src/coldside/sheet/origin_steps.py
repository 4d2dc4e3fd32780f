"""What lies on the way to a figure, with its own figures: the same equation with the numbers of this forecast.

Here: `steps_of`.  Each step is (what, figure) as text in one unit system; which ones belong to a figure is its
recipe's (`origin_book.py`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from coldside.judge.heat import charge_cores
from coldside.judge.power import repeat_maxima, repeats
from coldside.judge.sureness import chance_words
from coldside.judge.verdict import LimitResult, Verdict, label_at
from coldside.judge.wording import Range, stopwatch
from coldside.media import fuels
from coldside.parts import engine
from coldside.plant.charge import StageState
from coldside.plant.results import Forecast
from coldside.sheet import tables
from coldside.sheet.asked import Asked
from coldside.sheet.figures import RESISTANCE_UNIT, energy, resistance
from coldside.units import show

Step = tuple[str, str]
MOST_REPEATS = 12  # peaks of repeats that are listed


@dataclass(frozen=True)
class Seen:
    """One figure in its forecast: the `row` of its table, what its address names, and its limit where it is one."""

    forecast: Forecast
    verdict: Verdict
    asked: Asked
    row: str
    names: Mapping[str, str]
    limit: LimitResult | None
    system: str

    def say(self, value: float, kind: str = "temperature") -> str:
        """A quantity as sentences write it, one digit after the point for differences."""
        return tables.say(value, kind, self.system, 1 if kind == "temperature_difference" else 0)

    @property
    def at(self) -> int:
        """The sample that is looked at: the limit's worst, else the hottest in boost."""
        when = None if self.limit is None else self.limit.peak_time
        if when is None:
            return self.forecast.peak
        return int(np.argmin(np.abs(self.forecast.time - when)))

    def moment(self, at: int) -> Step:
        """When a sample is, and in which phase."""
        where = label_at(self.forecast, at)
        return "moment", self.say(float(self.forecast.time[at]), "clock") + (f", {where}" if where else "")


def steps_of(name: str, seen: Seen) -> tuple[Step, ...]:
    """The steps of that name; empty for none."""
    return tuple(STEPS[name](seen)) if name else ()


def _charge(seen: Seen) -> list[Step]:
    """The charge from the air outside to the engine, at one moment."""
    forecast, at = seen.forecast, seen.at
    found = [seen.moment(at), ("air outside", seen.say(float(forecast.demand.ambient_temperature[at])))]
    found.append(("air as the compressor draws it", seen.say(float(forecast.compressor_in[at]))))
    for stage in forecast.stages:
        found.append((f"{stage.name} outlet", _compressed(stage, at, seen)))
    for core in charge_cores(forecast):
        found.append((f"charge through {core}", _cooled(core, at, seen)))
    found.append(("intake gas", seen.say(float(forecast.intake[at]))))
    return found


def _compressed(stage: StageState, at: int, seen: Seen) -> str:
    ratio, eta = float(stage.pressure_ratio[at]), float(stage.efficiency[at])
    return f"{seen.say(float(stage.outlet[at]))}, pressure ratio {ratio:.2f} at {100 * eta:.0f} % efficiency"


def _cooled(core: str, at: int, seen: Seen) -> str:
    """Charge in and out of a core, what cools it as it enters, and the share of the difference that it gives up."""
    forecast = seen.forecast
    side = "coolant" if (core, "coolant") in forecast.inlet else "cooling"
    hot, out = (float(traces[(core, "charge")][at]) for traces in (forecast.inlet, forecast.outlet))
    words = f"{seen.say(hot)} to {seen.say(out)}"
    if (core, side) not in forecast.inlet:
        return words
    cold = float(forecast.inlet[(core, side)][at])
    words += f", {'coolant' if side == 'coolant' else 'cooling air'} at {seen.say(cold)}"
    if hot - cold > 5.0:
        words += f": {100 * (hot - out) / (hot - cold):.0f} % of the difference given up"
    return words


def _sensor(seen: Seen) -> list[Step]:
    forecast = seen.forecast
    if forecast.sensor is None:
        return []
    counts = forecast.boost if forecast.boost.any() else np.ones(len(forecast.time), dtype=bool)
    at = seen.at if seen.limit is not None else int(np.argmax(np.where(counts, forecast.sensor, -np.inf)))
    reads = ("sensor reads", seen.say(float(forecast.sensor[at])))
    return [seen.moment(at), ("intake gas then", seen.say(float(forecast.intake[at]))), reads]


def _coolant(seen: Seen) -> list[Step]:
    """Tank, cores and flow of the loops at their hottest; of one loop where the figure is one's."""
    forecast, found = seen.forecast, []
    for loop, trace in forecast.coolant_in_cores.items():
        if seen.names.get("loop", loop) != loop:
            continue
        at = int(np.argmax(trace))
        found += [seen.moment(at), (f"loop {loop}", seen.say(float(trace[at])))]
        if loop in forecast.tank:
            found.append((f"leaving the tank of {loop}", seen.say(float(forecast.tank[loop][at]))))
        found.append(
            (f"coolant flow of {loop}", show(float(forecast.coolant_flow[loop][at]), "volume_flow", seen.system))
        )
    return found


def _flow(seen: Seen) -> list[Step]:
    """A loop's flow at its highest, and the coolant's temperature then."""
    forecast, loop = seen.forecast, seen.names.get("loop", "")
    trace = forecast.coolant_flow[loop]
    at = int(np.argmax(trace))
    found = [seen.moment(at), ("flow", show(float(trace[at]), "volume_flow", seen.system))]
    if loop in forecast.coolant_in_cores:
        found.append(("coolant", seen.say(float(forecast.coolant_in_cores[loop][at]))))
    return found


def _air(seen: Seen) -> list[Step]:
    return _engine(seen, int(np.argmax(seen.forecast.charge_flow)))


def _fuel(seen: Seen) -> list[Step]:
    forecast, spec = seen.forecast, seen.forecast.build.engine
    at = int(np.argmax(forecast.fuel_flow))
    found = [*_engine(seen, at), ("fuel flow", show(float(forecast.fuel_flow[at]), "fuel_flow", seen.system))]
    lam = float(engine.mixture(spec, forecast.plenum_pressure[at] / forecast.demand.ambient_pressure, True))
    stoichiometric = fuels.fuel(spec.fuel).stoichiometric
    return [*found, ("lambda, and stoichiometric ratio", f"{lam:.2f}, {stoichiometric:.2f} kg of air to 1 kg")]


def _power(seen: Seen) -> list[Step]:
    forecast = seen.forecast
    at = int(np.argmax(forecast.power))
    found = [*_engine(seen, at), ("fuel flow", show(float(forecast.fuel_flow[at]), "fuel_flow", seen.system))]
    cold = show(float(forecast.power_at_ambient[at]), "power", seen.system)
    found.append(("power", show(float(forecast.power[at]), "power", seen.system)))
    return [*found, ("with the charge at ambient temperature", cold)]


def _engine(seen: Seen, at: int) -> list[Step]:
    """What fills the engine at a sample."""
    forecast, system = seen.forecast, seen.system
    n = float(forecast.demand.engine_speed[at])
    filling = float(engine.volumetric_efficiency(forecast.build.engine, n, float(forecast.intake[at])))
    return [
        seen.moment(at),
        ("engine speed", show(n, "engine_speed", system)),
        ("plenum", show(float(forecast.plenum_pressure[at]), "pressure", system)),
        ("intake gas", seen.say(float(forecast.intake[at]))),
        ("volumetric efficiency", f"{100 * filling:.0f} %"),
        ("air flow", show(float(forecast.charge_flow[at]), "mass_flow", system)),
    ]


def _loss(seen: Seen) -> list[Step]:
    forecast, system = seen.forecast, seen.system
    at = tables.at_full_flow(forecast)
    outlet, plenum = float(forecast.compressor_out_pressure[at]), float(forecast.plenum_pressure[at])
    return [
        seen.moment(at),
        ("air flow", show(float(forecast.charge_flow[at]), "mass_flow", system)),
        ("compressor outlet", show(outlet, "pressure", system)),
        ("plenum", show(plenum, "pressure", system)),
        ("air outside", show(forecast.demand.ambient_pressure, "pressure", system)),
    ]


def _exhaust(seen: Seen) -> list[Step]:
    forecast, system = seen.forecast, seen.system
    trace = forecast.exhaust_pressure
    if trace is None:
        return []
    counts = np.isfinite(trace) & (forecast.boost | ~forecast.boost.any())
    at = int(np.argmax(np.where(counts, trace, -np.inf)))
    found = [seen.moment(at)]
    for stage in forecast.stages:
        found.append((f"{stage.name} takes", show(float(stage.shaft_power[at]), "power", system)))
    burnt = float(forecast.charge_flow[at] + forecast.fuel_flow[at])
    found.append(("exhaust", show(burnt, "mass_flow", system)))
    return [*found, ("plenum", show(float(forecast.plenum_pressure[at]), "pressure", system))]


def _margin(seen: Seen) -> list[Step]:
    """The compressor at the moment of that margin."""
    forecast = seen.forecast
    margin = next((one for one in tables.compressor_margins(forecast) if one.name == seen.row), None)
    stage = next((one for one in forecast.stages if one.name == seen.names.get("part", one.name)), None)
    if margin is None or stage is None:
        return []
    at = int(np.argmin(np.abs(forecast.time - margin.time)))
    found = [seen.moment(at), (f"{stage.name} outlet", _compressed(stage, at, seen))]
    found.append(("corrected flow", show(float(stage.corrected_flow[at]), "mass_flow", seen.system)))
    shaft = stage.operating.shaft_speed
    speed = (
        seen.row.endswith("speed")
        and shaft is not None
        and getattr(forecast.build.parts[stage.name], "speed_limit", None)
    )
    if speed and shaft is not None:
        found.append(("shaft speed", show(float(shaft[at]), "engine_speed", seen.system)))
    return found


def _run(seen: Seen) -> list[Step]:
    one = next((run for run in seen.forecast.runs if run.run.label == seen.row), None)
    if one is None:
        return []
    return [
        ("time", stopwatch(one.run.time)),
        ("with the charge at ambient temperature", stopwatch(one.cold_time)),
        ("length", show(one.run.length, "length", seen.system)),
    ]


def _spread(seen: Seen) -> list[Step]:
    forecast, found = seen.forecast, []
    over = forecast.intake - forecast.demand.ambient_temperature
    for group in repeats(forecast):
        peaks = repeat_maxima(forecast, group, over)
        told = ", ".join(seen.say(peak, "temperature_difference") for peak in peaks[:MOST_REPEATS])
        found.append(("peaks over ambient", told + (" and so on" if len(peaks) > MOST_REPEATS else "")))
    return found


def _heat(seen: Seen) -> list[Step]:
    ledger, system = seen.forecast.ledger, seen.system
    rows = (
        ("from the charge", ledger.heat_in),
        ("picked up", ledger.pickup),
        ("given to the cooling air", ledger.to_air),
        ("stored", ledger.stored),
        ("all heat that went anywhere", ledger.handled),
    )
    return [(name, energy(heat, system)) for name, heat in rows]


def _ladder(seen: Seen) -> list[Step]:
    rung = next((one for one in seen.forecast.ladder if one.name == seen.row), None)
    if rung is None:
        return []
    found = [seen.moment(seen.forecast.worst), ("drop", seen.say(rung.drop, "temperature_difference"))]
    if rung.resistance:
        found.append(("heat of the cores", show(rung.drop / rung.resistance, "heat", seen.system)))
    unit = RESISTANCE_UNIT[seen.system]
    return [*found, ("resistance", f"{resistance(rung.resistance, seen.system)} {unit}")]


def _bands(seen: Seen) -> list[Step]:
    bands = seen.asked.bands
    if bands is None:
        return []
    found = [("draws", str(bands.draws)), ("uncertain values", str(len(bands.inputs)))]
    if bands.failed:
        found.append(("draws without a balance, left out", str(len(bands.failed))))
    if "all" in bands.chances:
        found.append(("chance that every limit holds", chance_words(bands.chances["all"])))
    if "intake_max" in bands.figures:
        low, _, high = bands.figures["intake_max"]
        found.append(("peak of the intake, likely", Range(low, high, "temperature").shown(seen.system)))
    return found


def _consistency(seen: Seen) -> list[Step]:
    found = seen.asked.consistency
    if found is None:
        return []
    said = [("forecasts made for it", str(found.simulations))]
    if found.peaks:
        told = ", ".join(seen.say(peak) for peak in found.peaks[:MOST_REPEATS])
        said.append(("peaks of the repeats", told + (" and so on" if len(found.peaks) > MOST_REPEATS else "")))
    if found.settling is not None:
        said.append(("intake settles, full load held, at", seen.say(found.settling.settled)))
    if found.rest is not None and found.rest.seconds is not None:
        said.append(("least rest", seen.say(found.rest.seconds, "time")))
    return said


def _changes(seen: Seen) -> list[Step]:
    found = seen.asked.changes
    if found is None:
        return []
    value = tables.say(found.value, found.unit_kind, seen.system, 1)
    return [("runs made", str(found.runs)), (found.name, value), ("changes tried", str(len(found.ranked)))]


def _failures(seen: Seen) -> list[Step]:
    found = seen.asked.failures
    if found is None or not found.cases:
        return []
    one = found.cases[0]
    return [
        ("a part dies at", seen.say(one.at, "clock")),
        ("boost left then", seen.say(one.left, "time")),
        ("parts tried", ", ".join(case.name for case in found.cases)),
    ]


def _knock(seen: Seen) -> list[Step]:
    found = seen.verdict.knock
    if found is None:
        return []
    worst = found.worst
    return [
        seen.moment(worst.sample),
        ("engine speed", show(worst.n, "engine_speed", seen.system)),
        ("plenum", f"{show(worst.p, 'pressure', seen.system)}, {seen.say(worst.T)}"),
        ("spark", f"{worst.spark:.1f} deg before top dead centre"),
        ("level set by a known point", "yes" if found.calibrated else "no"),
    ]


STEPS: Mapping[str, Callable[[Seen], list[Step]]] = {
    "air": _air,
    "bands": _bands,
    "changes": _changes,
    "charge": _charge,
    "consistency": _consistency,
    "coolant": _coolant,
    "exhaust": _exhaust,
    "failures": _failures,
    "flow": _flow,
    "fuel": _fuel,
    "heat": _heat,
    "knock": _knock,
    "ladder": _ladder,
    "loss": _loss,
    "margin": _margin,
    "power": _power,
    "run": _run,
    "sensor": _sensor,
    "spread": _spread,
}
