"""Reasons and cautions: what the traces of a forecast say about why it came out as it did.

Here: one small function a reason, each giving sentences or none; `reasons`, `notes`, `CAUTIONS`.
Not here: limits and the headline (`verdict.py`).  Thresholds say when a thing is worth a sentence;
they decide no limit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from coldside.build.model import Parallel, Path, names_on
from coldside.judge.airways import leaking, own_air, starved
from coldside.judge.coolant import unfit_coolant
from coldside.judge.corrections import correction_words
from coldside.judge.heat import (
    charge_cores,
    core_loops,
    heat_shares,
    is_core,
    largest_rung,
    moment_words,
    preheat_rung,
    step_words,
)
from coldside.judge.ice_day import ice_day_words
from coldside.judge.power import (
    INJECTOR_SHARE,
    before_starts,
    boost_in_runs,
    fuel_demand,
    mean_where,
    power_kept,
    repeats,
)
from coldside.judge.pressures import back_pressure, over_rating, short_of_suction, uneven_lanes
from coldside.judge.pumps import thick_coolant
from coldside.judge.sureness import Band
from coldside.judge.water import ice_words, to_carry, water_in_intake
from coldside.judge.wording import Quantity, Range, Sentence, listed
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, rated_cooling_flow
from coldside.parts.pump import PumpSpec
from coldside.plant.results import Forecast

COOLANT_RISE = 3.0  # K between start and end of a session
REPEAT_RISE = 0.5  # K from one repeat's start to the next
STILL_AIR = 0.15  # of the bench flow of cooling air
WARM_COOLANT = 8.0  # K over ambient: there is heat to give away
STOPPED = 0.02  # of a pump's full command
STOPPED_SHARE = 0.1  # of the time in boost
PICKUP_SHARE = 0.15  # of all heat taken in
GIVEN_BACK = 3.0  # K between core outlet and plenum
SENSOR_OFF = 2.0  # K between gas and sensor
PREHEAT_SHARE = 0.1  # of the ladder
WORTH_SAYING = 0.005  # of the session's energy

CAUTIONS = (
    "This is a forecast from a model and your values, not a measurement: prove it on the car, from low load upwards.",
    "Boost: check the pressure ratings of pipes, couplers, clamps and core; a coupler that lets go is violent.",
    "Detonation can break an engine in seconds: add spark or boost only with knock detection, whatever stands here.",
    "More air needs more fuel: check injectors, fuel pump and mixture before full load.",
    "Hot coolant under pressure scalds: let a loop cool and release its pressure before opening a cap or a hose.",
    "Electrics: fuse every pump and fan near its supply and size the wire for the starting current.",
    "Fans may start by themselves, also with the engine off: keep hands, hair and cloth clear.",
    "On a dyno: straps, exhaust extraction, a clear floor. On the road: a closed or legal stretch, a second person.",
    "Local codes, the rule book of your class and licensed practice come before anything said here.",
)


def reasons(forecast: Forecast) -> tuple[Sentence, ...]:
    """Why the session came out as it did, weightiest kind first; empty when nothing stands out."""
    found: list[Sentence] = []
    for look in (
        faults_tried,
        starved,
        no_core,
        hot_before_start,
        unfit_coolant,
        over_rating,
        short_of_suction,
        thick_coolant,
        coolant_rise,
        ice_words,
        ice_day_words,
        still_air,
        own_air,
        leaking,
        pump_stopped,
        given_back,
        ladder,
        preheat,
        picked_up,
        water_in_intake,
        uneven_lanes,
        back_pressure,
        sensor_off,
    ):
        found.extend(look(forecast))
    return tuple(found)


def notes(forecast: Forecast, bands: Mapping[str, Band] | None = None) -> tuple[Sentence, ...]:
    """Fuel, power and density, then how ambiguous text was read where the forecast's health does not say it.

    `bands` of figures, where they were drawn.
    """
    found = fuel_notes(forecast)
    found.extend(power_notes(forecast, bands))
    found.extend(correction_words(forecast))
    found.extend(to_carry(forecast))
    said = [*forecast.build.notes, *forecast.session.notes, *forecast.demand.notes]
    unsaid = [note for note in dict.fromkeys(said) if note not in forecast.health.warnings]
    found.extend(Sentence("{note}", {"note": note}) for note in unsaid)
    return tuple(found)


def faults_tried(forecast: Forecast) -> list[Sentence]:
    """Faults that the build tries out: the session is that of a broken car."""
    words = {"dead": "stands still", "airlock": "turns without moving coolant"}
    return [
        Sentence("Tried out here: {pump} {what} (fault).", {"pump": name, "what": words[spec.fault]})
        for name, spec in forecast.build.parts.items()
        if isinstance(spec, PumpSpec) and spec.fault != "none"
    ]


def hot_before_start(forecast: Forecast) -> list[Sentence]:
    """A burnout or launch that is hotter than any run: the limit counts it, the worst moment leaves it out."""
    if boost_in_runs(forecast)[forecast.peak]:
        return []
    for span in before_starts(forecast):
        if span.first <= forecast.peak <= span.last:
            text = (
                "In boost the intake is hottest in {place} ({when}), before a start: its limit counts that, what is "
                "told of the worst moment ({worst}) is of a run."
            )
            values: dict[str, Quantity | str] = {
                "place": span.label,
                "when": Quantity(float(forecast.time[forecast.peak]), "clock"),
                "worst": Quantity(float(forecast.time[forecast.worst]), "clock"),
            }
            return [Sentence(text, values)] if forecast.worst != forecast.peak else []
    return []


def no_core(forecast: Forecast) -> list[Sentence]:
    """A build without a charge core says so."""
    if charge_cores(forecast):
        return []
    return [Sentence("No charge core is on the charge path: nothing but pipe walls takes heat out of the charge.")]


def coolant_rise(forecast: Forecast) -> list[Sentence]:
    """Coolant that ends warmer than it began, and how much warmer each repeat starts."""
    found = []
    shares = heat_shares(forecast)
    stored = None if shares.from_engine else shares.stored  # with the engine in a loop it is mostly the engine's
    for loop, trace in core_loops(forecast).items():
        rise = float(trace[-1] - trace[0])
        if rise < COOLANT_RISE:
            continue
        values: dict[str, Quantity | str] = {"loop": loop, "rise": Quantity(rise, "temperature_difference")}
        text = "The coolant of loop {loop} ends {rise} warmer than it began"
        if stored is not None and stored > 0.0:
            values["stored"] = Quantity(min(stored, 1.0), "share")
            text += ": {stored} of the heat taken in is still in coolant and metal"
        found.append(Sentence(text + ".", values))
        found.extend(_repeat_rise(forecast, loop, trace))
    return found


def _repeat_rise(forecast: Forecast, loop: str, trace: np.ndarray) -> list[Sentence]:
    boost = forecast.boost
    for group in repeats(forecast):
        in_boost = [repeat.samples[boost[repeat.samples]] for repeat in group]
        starts = [float(trace[samples[0]]) for samples in in_boost if samples.size]
        if len(starts) < 2:
            continue
        step = (starts[-1] - starts[0]) / (len(starts) - 1)
        if step >= REPEAT_RISE:
            return [
                Sentence(
                    "Each repeat starts with the coolant of loop {loop} about {step} warmer than the one before.",
                    {"loop": loop, "step": Quantity(step, "temperature_difference", 1)},
                )
            ]
    return []


def still_air(forecast: Forecast) -> list[Sentence]:
    """Remote exchangers and air-cooled cores with next to no cooling air while there is heat to give away."""
    ambient = forecast.demand.ambient_temperature
    remote: list[tuple[str, float]] = []
    cores: list[tuple[str, float]] = []
    served = {name for loop in core_loops(forecast) for name in names_on(forecast.build.loops[loop].path)}
    for name, spec in forecast.build.parts.items():
        key = (name, "cooling")
        if key not in forecast.flow:
            continue
        if isinstance(spec, ExchangerSpec) and name in served:
            busy = forecast.inlet[(name, "coolant")] - ambient > WARM_COOLANT
            target = remote
        elif isinstance(spec, AirCoreSpec):
            busy, target = forecast.boost, cores
        else:
            continue
        share = mean_where(np.abs(forecast.flow[key]) / rated_cooling_flow(spec), busy, forecast.time)
        if share is not None and share < STILL_AIR:
            target.append((name, share))
    found = []
    if remote:
        found.append(_still(remote, "while the coolant is warm", "what it should give away stays in the loop"))
    if cores:
        found.append(_still(cores, "in boost", "its metal has to store the heat"))
    return found


def _still(parts: Sequence[tuple[str, float]], when: str, so: str) -> Sentence:
    verb, whose = ("get", "their") if len(parts) > 1 else ("gets", "its")
    so = so.replace("its ", "their ").replace(" it ", " they ") if len(parts) > 1 else so
    return Sentence(
        "{parts} " + verb + " next to no cooling air " + when + f" ({{share}} of {whose} rated flow on average): {so}.",
        {"parts": listed([name for name, _ in parts]), "share": Quantity(max(s for _, s in parts), "share")},
    )


def pump_stopped(forecast: Forecast) -> list[Sentence]:
    """Pumps of the charge cores' loops that stood still in boost."""
    found = []
    served = {name for loop in core_loops(forecast) for name in names_on(forecast.build.loops[loop].path)}
    for name, command in forecast.command.items():
        if name not in served or not isinstance(forecast.build.parts.get(name), PumpSpec):
            continue
        share = mean_where((command < STOPPED).astype(float), forecast.boost, forecast.time)
        if share is not None and share > STOPPED_SHARE:
            found.append(
                Sentence(
                    "{pump} stood still for {share} of the time in boost.",
                    {"pump": name, "share": Quantity(share, "share")},
                )
            )
    return found


def given_back(forecast: Forecast) -> list[Sentence]:
    """Pipe and plenum that warm the charge again behind the last core, at the worst moment."""
    last = _last_cores(forecast, forecast.build.charge)
    if not last:
        return []
    at = forecast.worst
    keys = [(name, "charge") for name in last]
    flows = np.array([abs(float(forecast.flow[key][at])) for key in keys])
    outs = np.array([float(forecast.outlet[key][at]) for key in keys])
    total = float(flows.sum())
    left = float(np.dot(flows, outs) / total) if total > 0.0 else float(outs.mean())
    warmer = float(forecast.intake[at]) - left
    if warmer < GIVEN_BACK:
        return []
    return [
        Sentence(
            "At {moment} ({when}) the charge reaches the intake {warmer} warmer than it leaves {cores}: "
            "pipe and plenum give back heat they have soaked up.",
            {
                "moment": moment_words(forecast),
                "when": Quantity(float(forecast.time[at]), "clock"),
                "warmer": Quantity(warmer, "temperature_difference"),
                "cores": listed(last),
            },
        )
    ]


def _last_cores(forecast: Forecast, path: Path) -> list[str]:
    for item in reversed(path):
        if isinstance(item, Parallel):
            found = [name for branch in item.branches for name in _last_cores(forecast, branch)]
            if found:
                return found
        elif is_core(forecast, item):
            return [item]
    return []


def ladder(forecast: Forecast) -> list[Sentence]:
    """The largest rung between charge and ambient."""
    rung = largest_rung(forecast)
    if rung is None or rung.drop <= 0.0:
        return []
    chain, _, name = rung.name.rpartition(": ")
    return [
        Sentence(
            "The largest step from charge to air outside at {moment}: {rung}; {drop}, {share} of the way.",
            {
                "moment": moment_words(forecast),
                "rung": step_words(name) + (f" ({chain})" if chain else ""),
                "drop": Quantity(rung.drop, "temperature_difference"),
                "share": Quantity(rung.share, "share"),
            },
        )
    ]


def preheat(forecast: Forecast) -> list[Sentence]:
    """Cooling air that arrives warm."""
    rung = preheat_rung(forecast)
    if rung is None or rung.share < PREHEAT_SHARE or rung is largest_rung(forecast):
        return []
    return [
        Sentence(
            "The cooling air arrives {drop} over ambient, warmed by what stands in front of it.",
            {"drop": Quantity(rung.drop, "temperature_difference")},
        )
    ]


def picked_up(forecast: Forecast) -> list[Sentence]:
    """Heat that came from the bay, the engine and the pump instead of the charge."""
    shares = heat_shares(forecast)
    if shares.from_pickup is None or shares.from_pickup < PICKUP_SHARE:
        return []
    text = "{share} of the heat taken in came from the engine bay, the engine and the pump, not from the charge"
    values: dict[str, Quantity | str] = {"share": Quantity(shares.from_pickup, "share")}
    if shares.from_pickup >= 1.0:
        text = "All of the heat taken in came from the engine bay, the engine and the pump, none from the charge"
    if shares.from_engine:
        text = "Beside what the engine gives its own coolant and oil, " + text[0].lower() + text[1:]
    if shares.largest_pickup is not None:
        text += "; most of it through {part}"
        values["part"] = shares.largest_pickup[0]
    return [Sentence(text + ".", values)]


def sensor_off(forecast: Forecast) -> list[Sentence]:
    """A sensor that reads something else than the gas at the worst moment."""
    if forecast.sensor is None:
        return []
    at = forecast.worst
    gas, read = float(forecast.intake[at]), float(forecast.sensor[at])
    if abs(read - gas) < SENSOR_OFF:
        return []
    why = "it lags behind" if read < gas else "it still tells what came before, or the heat of its boss"
    return [
        Sentence(
            "At {moment} ({when}) the gas is at {gas} and the sensor reads {read}: {why}.",
            {
                "when": Quantity(float(forecast.time[at]), "clock"),
                "moment": moment_words(forecast),
                "gas": Quantity(gas, "temperature"),
                "read": Quantity(read, "temperature"),
                "why": why,
            },
        )
    ]


def fuel_notes(forecast: Forecast) -> list[Sentence]:
    """What fuel the session's air asks for, and a warning when injectors run out."""
    fuel = fuel_demand(forecast)
    if fuel.peak <= 0.0:
        return []
    values: dict[str, Quantity | str] = {
        "peak": Quantity(fuel.peak, "fuel_flow"),
        "each": Quantity(fuel.per_injector, "fuel_flow"),
        "count": str(fuel.injectors),
    }
    text = "The engine asks for {peak} of fuel at most, {each} from each of {count} injectors"
    if fuel.used is None:
        text += "; their capacity was not given, so it is not checked."
        return [Sentence(text, values)]
    values["used"] = Quantity(fuel.used, "share")
    if fuel.used > 1.0:
        return [
            Sentence("Injectors too small: " + text[0].lower() + text[1:] + ", {used} of what one can pass.", values)
        ]
    if fuel.used > INJECTOR_SHARE:
        values["most"] = Quantity(INJECTOR_SHARE, "share")
        text = "Injectors nearly used up: " + text[0].lower() + text[1:]
        return [Sentence(text + ", {used} of what one can pass ({most} is a usual highest).", values)]
    return [Sentence(text + ", {used} of what one can pass.", values)]


def power_notes(forecast: Forecast, bands: Mapping[str, Band] | None = None) -> list[Sentence]:
    """What heat took from density, and from the work done in boost (of the session's energy where there is none)."""
    kept = power_kept(forecast)
    found = []
    if kept.density_kept is not None:
        found.append(
            Sentence(
                "In boost the charge is {kept} as dense as it would be at ambient temperature.",
                {"kept": Quantity(kept.density_kept, "share")},
            )
        )
    lost, of = kept.lost_in_boost, "work done in boost"
    if lost is None:
        lost, of = kept.lost_to_heat, "session's energy"
    if abs(lost) >= WORTH_SAYING:
        word = "costs" if lost > 0.0 else "gains"
        charge = "A charge warmer" if lost > 0.0 else "A charge colder"
        values: dict[str, Quantity | Range | str] = {"lost": Quantity(abs(lost), "share", 1)}
        text = charge + " than ambient " + word + " {lost} of the " + of
        band = None if kept.lost_in_boost is None else (bands or {}).get("lost_to_heat_in_boost")
        if band is not None:
            text += _likely_lost(band, lost, values)
        found.append(Sentence(text + ".", values))
    return found


def _likely_lost(band: Band, lost: float, values: dict[str, Quantity | Range | str]) -> str:
    """The likely share of work that heat takes, or gives where the charge is colder than ambient."""
    low, _, high = band
    if low <= 0.0 <= high:
        values["less"], values["more"] = (Quantity(abs(edge), "share", 1) for edge in (low, high))
        return ", though not surely: likely between {less} gained and {more} lost"
    values["span"] = Range(min(abs(low), abs(high)), max(abs(low), abs(high)), "share", 1)
    return " (likely {span}" + ("" if (low > 0.0) == (lost > 0.0) else (" lost" if low > 0.0 else " gained")) + ")"
