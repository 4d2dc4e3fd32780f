"""Forecast and point as plain dictionaries for JSON: keys carry the unit, floats are plain, NaN is null.

Here: `forecast_json`, `point_json`, `build_json`.  A share is 0 to 1, never percent; a key whose subject does not
exist in this forecast (no sensor, no loop) is absent or null as said at each.  Bands
have a block of their own (`explore/bands.py`).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

import numpy as np

from coldside.build.check import concerns
from coldside.build.model import Build, Parallel, Path
from coldside.judge.coolant import point_cautions
from coldside.judge.corrections import corrections
from coldside.judge.heat import charge_cores, recompute_ledger
from coldside.judge.ice_day import ice_day_json
from coldside.judge.knock_json import knock_block
from coldside.judge.power import fuel_demand, mean_where, power_kept, temperature_spread
from coldside.judge.pressures import belts, couplers, exhaust, leak, suction
from coldside.judge.run_times import runs_json
from coldside.judge.verdict import LimitResult, Verdict
from coldside.judge.water import condensation, ice_left, used_up
from coldside.judge.workshop import coupler_block, workshop_json
from coldside.parts.exchanger import WaterCoreSpec
from coldside.plant.charge import StageState
from coldside.plant.results import Forecast, Point

FORECAST_SCHEMA = "coldside.forecast/1"
POINT_SCHEMA = "coldside.point/1"
CHECK_SCHEMA = "coldside.check/1"


def forecast_json(forecast: Forecast, verdict: Verdict, system: str = "si") -> dict[str, Any]:
    """Every figure of `coldside forecast --json`; `system` sets only the units inside sentences."""
    time = forecast.time
    said: dict[str, Any] = {
        "schema": FORECAST_SCHEMA,
        "build": {"name": forecast.build.name, "file": forecast.build.file},
        "session": {"name": forecast.session.name, "file": forecast.session.file},
        "time": {
            "duration_s": time[-1] - time[0],
            "step_s": (time[-1] - time[0]) / max(len(time) - 1, 1),
            "steps": forecast.steps,
            "samples": len(time),
            "substeps": forecast.substeps,
            "states": forecast.states,
            "boost_s": _boost_seconds(forecast),
        },
        "ambient": {
            "temperature_K": forecast.demand.ambient_temperature[0],
            "temperature_lowest_K": forecast.demand.ambient_range[0],
            "temperature_highest_K": forecast.demand.ambient_range[1],
            "temperature_end_K": forecast.demand.ambient_temperature[-1],
            "temperature_at_peak_K": forecast.demand.ambient_temperature[forecast.peak],
            "pressure_Pa": forecast.demand.ambient_pressure,
            "humidity": forecast.demand.humidity[0],
            "humidity_end": forecast.demand.humidity[-1],
        },
        "intake": _temperature_block(forecast, forecast.intake, _seconds_over(verdict, "intake")),
    }
    if forecast.sensor is not None:
        said["sensor"] = _temperature_block(forecast, forecast.sensor, _seconds_over(verdict, "sensor"))
    if forecast.condensate is not None:
        said["condensate"] = _water_block(forecast)
    if verdict.knock is not None:
        said["knock"] = knock_block(verdict.knock)
    said |= {
        "coolant": {loop: _coolant_block(forecast, loop) for loop in forecast.coolant_in_cores},
        "loops": {loop: {"flow_m3_s": flow[forecast.worst]} for loop, flow in forecast.coolant_flow.items()},
        "parts": _effectiveness(forecast),
        "power": _power_block(forecast),
        "runs": runs_json(forecast),
        "fuel": _fuel_block(forecast),
        "charge_tract": _tract_block(forecast),
        "stages": [_worst_block(forecast, stage) for stage in forecast.stages],
        "used_up": _used_block(forecast),
        "pumps": _suction_block(forecast),
        "ice": {
            tank.part: {"start_kg": tank.start, "end_kg": tank.end, "gone_s": tank.gone} for tank in ice_left(forecast)
        },
        "ice_day": ice_day_json(forecast),
        "ledger": _ledger_block(forecast),
        **_ladder_block(forecast),
        "verdict": _verdict_block(verdict, system),
        "health": _health_block(forecast),
    }
    return plain(said)


def point_json(point: Point) -> dict[str, Any]:
    """Every figure of `coldside point --json`; a margin that the compressor's data do not give is null."""
    loops = sorted({*point.coolant_flow, *point.loop_temperature})
    return plain(
        {
            "schema": POINT_SCHEMA,
            "build": {"name": point.build.name, "file": point.build.file},
            "engine_speed_rpm": point.engine_speed * 60.0,
            "road_speed_m_s": point.road_speed,
            "ambient": {"temperature_K": point.ambient_temperature, "pressure_Pa": point.ambient_pressure},
            "air_flow_kg_s": point.air_flow,
            "pressure_ratio": point.pressure_ratio,
            "compressor_efficiency": point.compressor_efficiency,
            "compressor_out_K": point.compressor_out,
            "fuel_flow_kg_s": point.fuel_flow,
            "fuel_flow_per_injector_kg_s": point.fuel_flow_per_injector,
            "shaft_speed_margin": point.shaft_speed_margin,
            "surge_margin": point.surge_margin,
            "choke_margin": point.choke_margin,
            "intake_K": point.intake,
            "over_ambient_K": point.intake - point.ambient_temperature,
            "plenum_Pa": point.plenum_pressure,
            "charge_loss_Pa": point.charge_loss,
            "exhaust_Pa": point.exhaust_pressure,
            "stages": [_stage_block(stage) for stage in point.stages],
            "belts": [{"part": belt.part, "power_W": belt.power} for belt in belts(point)],
            "condensate_kg_s": point.condensate,
            "charge_density_kg_m3": point.charge_density,
            "heat_rejected_W": point.heat_rejected,
            "power_W": point.power,
            "loops": {
                loop: {
                    "flow_m3_s": point.coolant_flow.get(loop),
                    "into_cores_K": point.loop_temperature.get(loop),
                }
                for loop in loops
            },
            "parts": {
                name: {"effectiveness": value} | _lanes_block(point.face_spread, name)
                for name, value in point.effectiveness.items()
            },
            "ducts": {name: {"air_flow_kg_s": value} for name, value in point.air_flow_duct.items()},
            "cautions": [sentence.words() for sentence in point_cautions(point)],
            "warnings": list(point.warnings),
            "defaults": list(point.defaults),
        }
    )


def build_json(build: Build) -> dict[str, Any]:
    """What `coldside check --json` prints: paths as nested lists, kinds of parts, defaults, notes, concerns."""
    return plain(
        {
            "schema": CHECK_SCHEMA,
            "name": build.name,
            "file": build.file,
            "charge": path_json(build.charge),
            "loops": {
                name: {"coolant": loop.coolant, "path": path_json(loop.path)} for name, loop in build.loops.items()
            },
            "ducts": {
                name: {"place": duct.spec.place, "path": path_json(duct.path)} for name, duct in build.ducts.items()
            },
            "parts": {name: kind_word(spec) for name, spec in build.parts.items()},
            "defaults": [{"key": key, "value": given.text, "help": given.help} for key, given in build.defaults()],
            "notes": list(build.notes),
            "concerns": concerns(build),
            **workshop_json(build),
        }
    )


def kind_word(spec: object) -> str:
    """The user's word for a part's kind: WaterCoreSpec is a "water_core"."""
    name = type(spec).__name__.removesuffix("Spec")
    return re.sub(r"(?<!^)(?=[A-Z])", "_", name).lower()


def path_json(path: Path) -> list[Any]:
    """A path as the user writes it: names, groups as lists, branches of more than one part as lists inside."""
    said: list[Any] = []
    for item in path:
        if isinstance(item, Parallel):
            branches = [path_json(branch) for branch in item.branches]
            said.append(
                [branch[0] if len(branch) == 1 and isinstance(branch[0], str) else branch for branch in branches]
            )
        else:
            said.append(item)
    return said


def plain(value: Any) -> Any:
    """The same with NumPy numbers as Python ones and every number that is not finite as None."""
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, np.ndarray):
        return [plain(item) for item in value.tolist()]
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        number = float(value)
        return number if math.isfinite(number) else None
    return value


# ---------------------------------------------------------------- blocks of the forecast


def _health_block(forecast: Forecast) -> dict[str, Any]:
    health = forecast.health
    return {
        "step_check_K": health.step_check,
        "closure_relative": health.closure,
        "feedback_s": list(forecast.feedback),
        "boost_feedback_Pa": list(forecast.boost_feedback),
        "extrapolated": list(health.extrapolated),
        "defaults": list(health.defaults),
        "warnings": list(health.warnings),
    }


def _boost_seconds(forecast: Forecast) -> float:
    boost = forecast.boost.astype(float)
    return float(np.sum(0.5 * (boost[:-1] + boost[1:]) * np.diff(forecast.time)))


def _temperature_block(forecast: Forecast, trace: np.ndarray, seconds_over: float | None) -> dict[str, Any]:
    """`seconds_over_limit` is null when no limit was set on this temperature."""
    over = trace - forecast.demand.ambient_temperature
    mean = mean_where(trace, forecast.boost, forecast.time)
    return {
        "start_K": trace[0],
        "max_K": trace.max(),
        "max_boost_K": trace[forecast.boost].max() if forecast.boost.any() else None,
        "mean_boost_K": mean,
        "end_K": trace[-1],
        "over_ambient_max_K": over.max(),
        "over_ambient_mean_boost_K": mean_where(over, forecast.boost, forecast.time),
        "seconds_over_limit": seconds_over,
        "spread": temperature_spread(forecast, trace),
    }


def _seconds_over(verdict: Verdict, quantity: str) -> float | None:
    """Seconds over the limits on `quantity`: the longest, where several were set."""
    found = [limit.seconds_over for limit in verdict.limits if limit.quantity == quantity and limit.holds is not None]
    return max(found) if found else None


def _coolant_block(forecast: Forecast, loop: str) -> dict[str, Any]:
    trace = forecast.coolant_in_cores[loop]
    flow = forecast.coolant_flow.get(loop)
    return {
        "start_K": trace[0],
        "max_K": trace.max(),
        "end_K": trace[-1],
        "flow_max_m3_s": None if flow is None else flow.max(),
    }


def _ladder_block(forecast: Forecast) -> dict[str, Any]:
    """The ladder, and the moment of it, of `parts` and of `loops`."""
    rungs = [
        {"rung": rung.name, "drop_K": rung.drop, "K_per_W": rung.resistance, "share": rung.share}
        for rung in forecast.ladder
    ]
    return {"ladder": rungs, "worst_moment_s": forecast.time[forecast.worst]}


def _effectiveness(forecast: Forecast) -> dict[str, Any]:
    """Charge temperature drop over inlet difference of each core at the worst moment, storage included."""
    at = forecast.worst
    said = {}
    for name in charge_cores(forecast):
        other = "coolant" if isinstance(forecast.build.parts[name], WaterCoreSpec) else "cooling"
        charge_in, charge_out = forecast.inlet[(name, "charge")][at], forecast.outlet[(name, "charge")][at]
        most = charge_in - forecast.inlet[(name, other)][at]
        said[name] = {"effectiveness": (charge_in - charge_out) / most if abs(most) > 1e-9 else None}
        said[name] |= _lanes_block(forecast.face_spread, name)
    return said


def _lanes_block(spread: Mapping[str, tuple[float, float, float]], name: str) -> dict[str, Any]:
    """Charge leaving a core's hottest lane, all of it, its coldest lane; nothing where it was not told apart."""
    if name not in spread:
        return {}
    return dict(zip(("lane_hottest_K", "lane_mean_K", "lane_coldest_K"), spread[name], strict=True))


def _water_block(forecast: Forecast) -> dict[str, Any]:
    """Water that condenses in the cores; a dry session has zeros and no time."""
    found = condensation(forecast)
    if found is None:
        return {"max_kg_s": 0.0, "total_kg": 0.0, "first_s": None, "duration_s": 0.0, "below_freezing_s": 0.0}
    return {
        "max_kg_s": found.most,
        "total_kg": found.total,
        "first_s": found.first,
        "duration_s": found.seconds,
        "below_freezing_s": found.frozen,
    }


def _tract_block(forecast: Forecast) -> dict[str, Any]:
    """Couplers, exhaust and leak; what the build does not have is absent."""
    said: dict[str, Any] = {
        "couplers": [coupler_block(found) for found in couplers(forecast)],
    }
    said["belts"] = [{"part": belt.part, "power_max_W": belt.power} for belt in belts(forecast)]
    burnt, lost = exhaust(forecast), leak(forecast)
    if burnt is not None:
        said["exhaust_max_Pa"], said["exhaust_over_plenum"] = burnt.pressure, burnt.over_plenum
    if lost is not None:
        said["leak_area_m2"], said["leak_flow_max_kg_s"] = lost.area, lost.flow
    return said


def _used_block(forecast: Forecast) -> dict[str, Any]:
    """What injections and sprays use over the session, and what their tanks hold."""
    return {
        one.part: {"fluid": one.fluid, "volume_m3": one.volume, "running_s": one.running, "tank_m3": one.tank}
        for one in used_up(forecast)
    }


def _suction_block(forecast: Forecast) -> dict[str, Any]:
    """Suction head of every pump at its loop's hottest; an unknown need is null."""
    return {
        inlet.pump: {
            "npsh_available_m": inlet.available,
            "npsh_required_m": inlet.required,
            "coolant_K": found.hottest,
        }
        for found in suction(forecast)
        for inlet in found.inlets
    }


def _stage_block(stage: StageState) -> dict[str, Any]:
    """One compressor at a point."""
    operating = stage.operating
    margins = (operating.surge_margin, operating.choke_margin, operating.speed_margin)
    surge, choke, speed = (None if trace is None else trace[0] for trace in margins)
    return {
        "part": stage.name,
        "pressure_ratio": stage.pressure_ratio[0],
        "efficiency": stage.efficiency[0],
        "out_K": stage.outlet[0],
        "shaft_power_W": stage.shaft_power[0],
        "surge_margin": surge,
        "choke_margin": choke,
        "shaft_speed_margin": speed,
    }


def _worst_block(forecast: Forecast, stage: StageState) -> dict[str, Any]:
    """One compressor over the session: highest ratio, outlet and power, least margins in boost."""
    counts = forecast.boost & (forecast.demand.engine_speed > 0.0)
    operating = stage.operating
    margins = (operating.surge_margin, operating.choke_margin, operating.speed_margin)
    surge, choke, speed = (_least(trace, counts) for trace in margins)
    return {
        "part": stage.name,
        "pressure_ratio_max": stage.pressure_ratio.max(),
        "out_max_K": stage.outlet.max(),
        "shaft_power_max_W": stage.shaft_power.max(),
        "surge_margin_min": surge,
        "choke_margin_min": choke,
        "shaft_speed_margin_min": speed,
    }


def _least(trace: np.ndarray | None, counts: np.ndarray) -> float | None:
    if trace is None or not np.isfinite(trace[counts]).any():
        return None
    return float(np.nanmin(trace[counts]))


def _power_block(forecast: Forecast) -> dict[str, Any]:
    kept = power_kept(forecast)
    return {
        "peak_W": kept.peak,
        "mean_boost_W": kept.mean_boost,
        "spread": kept.spread,
        "lost_to_heat": kept.lost_to_heat,
        "lost_to_heat_in_boost": kept.lost_in_boost,
        "density_kept": kept.density_kept,
        "corrections": dict(corrections(forecast)),
    }


def _fuel_block(forecast: Forecast) -> dict[str, Any]:
    fuel = fuel_demand(forecast)
    return {
        "flow_max_kg_s": fuel.peak,
        "flow_per_injector_max_kg_s": fuel.per_injector,
        "injector_capacity_used": fuel.used,
    }


def _ledger_block(forecast: Forecast) -> dict[str, Any]:
    ledger, again = forecast.ledger, recompute_ledger(forecast)
    return {
        "heat_in_J": ledger.heat_in,
        "stored_J": ledger.stored,
        "to_air_J": ledger.to_air,
        "pickup_J": ledger.pickup,
        "handled_J": ledger.handled,
        "closure_relative": ledger.closure,
        "recomputed": {
            "heat_in_J": again.heat_in,
            "to_air_J": again.to_air,
            "stored_J": again.stored,
            "stored_difference": again.stored_difference,
            "heat_in_difference": again.heat_in_difference,
            "to_air_difference": again.to_air_difference,
            "closure_relative": again.closure,
        },
        "flows": [{"part": flow.part, "side": flow.side, "heat_J": flow.heat} for flow in ledger.flows],
    }


def _verdict_block(verdict: Verdict, system: str) -> dict[str, Any]:
    words = verdict.words(system)
    return {
        "holds": verdict.holds,
        "headline": words.headline,
        "limits": [_limit_block(limit) for limit in verdict.limits],
        "reasons": list(words.reasons),
        "notes": list(words.notes),
        "cautions": list(words.cautions),
    }


def _limit_block(limit: LimitResult) -> dict[str, Any]:
    """`holds` is null for a limit that cannot be judged here; `why_not` then says why."""
    unit = "1" if limit.kind == "share" else "K"
    return {
        "name": limit.name,
        "quantity": limit.quantity,
        "during": limit.during,
        "holds": limit.holds,
        "margin": limit.margin,
        "value": limit.value,
        "at_most": limit.at_most,
        "at_least": limit.at_least,
        "unit": unit,
        "first_broken_s": limit.first_broken,
        "seconds_over": limit.seconds_over if limit.holds is not None else None,
        "where": limit.first_where if limit.holds is False else limit.where,
        "why_not": limit.why_not or None,
    }
