"""First sizes of a car's charge cooling from a brief: rules of thumb and handbook arithmetic, each with its source.

What is here: one pure function a rule, and `need_of`, which strings those of the engine's air together.
What is not: builds made of these sizes (`explore/draft_text.py`), and whether they are right (`explore/draft.py` runs
them): a first size is where the solver starts, no more.

Sources: "Own" is arithmetic of this project's design notes, "Practice" common practice without a source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from coldside.build.brief import BOTH, DRAG, DYNO, HILL, STREET, TRACK, Brief
from coldside.errors import BadInput, require
from coldside.media import air
from coldside.media.coolants import Coolant, parse_coolant
from coldside.media.fuels import Fuel, fuel
from coldside.parts.compressor import CompressorSpec, compressor
from coldside.parts.engine import FILLING_KNOWN, EngineSpec
from coldside.units import show

EFFICIENCY = {"piston": 0.28, "rotary": 0.225}  # brake, on all fuel: 0.49 and 0.61 lb of gasoline per hp h
LAMBDA, LAMBDA_METHANOL, LAMBDA_ROTARY = 0.82, 0.76, 0.80
POWER_PLACE = 0.93  # share of top speed at which the power stands
FILLING = ((0.36, 0.88), (0.66, 0.93), (0.82, 0.94), (1.0, 0.88))  # share of top speed -> volumetric efficiency
# share of top speed -> share of the boost, as far as surge allows
BOOST_SHAPE = (
    (0.30, 0.08), (0.36, 0.18), (0.42, 0.35), (0.48, 0.55), (0.55, 0.80), (0.60, 0.92), (0.66, 1.0), (0.72, 1.0),
    (0.80, 1.0), (0.93, 1.0), (1.0, 0.94),
)  # fmt: skip
FROM_SURGE = 0.06  # of flow that a boost curve keeps from the surge line while it rises (10 % steady: common practice)
COMPRESSOR = 0.74  # efficiency at the power point, for first sizes
CHARGE_LOSS, INTAKE_LOSS = 12e3, 2e3  # Pa, aims: compressor to plenum, and filter
CHARGE_RISE = 20.0  # K of charge over ambient that air and power are first reckoned with
AS_ASKED = 0.02  # of the power asked, within which it is that power
LEAST_BOOST, MOST_RATIO = 20e3, 5.0  # Pa gauge below which nothing needs cooling; pressure ratio of one stage
DESIGN_SHARE = 0.92  # of the greatest corrected flow, at which a new turbo's map has its middle
OF_CHOKE = 0.75  # middle of a map over the most it can pass
DUTY = 0.85  # of an injector's largest flow
TWIN = 0.75  # kg/s corrected above which two turbos share the air
FLUX, FREE_SHARE = 35.0, 0.58  # kg/(s m2) in a charge core's passages; their share of a water core's face
AIR_CORE, WATER_CORE = 29e-3, 12e-3  # m3 of core per kg/s of charge
SPEED_IN_PIPE = 50.0  # m/s of charge: a velocity head of 2 to 4 kPa
PIPES = (0.038, 0.045, 0.051, 0.057, 0.0635, 0.070, 0.076, 0.089, 0.102, 0.114, 0.127, 0.152)  # m, bores that are sold
SPEED_IN_LINE = 1.8  # m/s of coolant
LINES = (0.0127, 0.016, 0.019, 0.022, 0.025, 0.032, 0.038, 0.051)  # m, bores that are sold
CAPACITY_RATIO = 3.0  # heat capacity rate of coolant over that of charge
OPEN_FLOW = 1.5  # a pump's open flow over the flow wanted of it
PUMP_HEAD, PUMP_LEFT = 8.0, 0.55  # m shut off; share of it at the flow wanted
TANK_RISE, OVER_AMBIENT = 8.0, 12.0  # K: coolant in one full-load stretch; its mean over ambient
MEAN_LOAD = 0.6  # of the full-load heat, mean of a stretch through the gears
FACE_SPEED, FACE_EFFECT = 0.2, 0.5  # face over road speed; effectiveness on the air's side of an exchanger
FAN_SPEED, FAN_RISE = 4.0, 200.0  # m/s on the face with the fan against nothing; Pa shut off
INLET_SHARE, EXIT_SHARE = 0.40, 1.8  # inlet over face, exit over inlet
FROST_MARGIN = 3.0  # K that a mix must stay liquid below the coldest night
MIXES = (20, 25, 30, 35, 40, 45, 50, 55, 60)  # percent of glycol by volume


@dataclass(frozen=True)
class Use:
    """What a use asks: `stretch` s at full load at a time, `duty` mean heat over full-load heat, `speed` m/s of air.

    `fuel` mean fuel over full-load fuel while the car moves (of street and track: the laps; of a dyno: all of it).
    """

    stretch: float
    duty: float
    speed: float
    fuel: float


USED = {  # common practice, no source; `fuel` own: of the sessions that `explore/draft_text.py` makes
    STREET: Use(9.0, 0.06, 25.0, 0.07),
    TRACK: Use(12.0, 0.30, 38.0, 0.41),
    BOTH: Use(12.0, 0.30, 38.0, 0.41),
    DRAG: Use(10.0, 0.06, 35.0, 0.11),
    DYNO: Use(11.0, 0.06, 12.0, 0.07),
    HILL: Use(20.0, 0.35, 25.0, 0.14),
}


@dataclass(frozen=True)
class Rule:
    """How one size was found: `key` in the build, `value` as written there, the rule in words, a citation key.

    `words`: the value as a person reads it, where it is a curve.
    """

    key: str
    value: str
    sentence: str
    source: str
    words: str = ""

    @property
    def source_words(self) -> str:
        """The source as a person reads it."""
        words = {"Practice": "common practice, no source", "Own": "own arithmetic", "Analytic": "arithmetic"}
        return words.get(self.source, self.source)


@dataclass(frozen=True)
class Need:
    """What the engine asks on the hottest day, SI: `air` kg/s of charge, `fuel_flow` kg/s, `plenum` Pa absolute.

    `boost` Pa gauge; `corrected` kg/s at the compressor's own reference, `ratio` its pressure ratio, `hot` K what
    leaves it, `heat` W that must leave the charge at full load down to `CHARGE_RISE` over ambient.  `power` W that it
    makes of that air; `asked` W that were asked for, None where only boost was given; `given`: the boost was given,
    not taken from the power; `assumed`: nobody said a power.
    """

    ambient: float
    pressure: float
    air: float
    fuel_flow: float
    plenum: float
    boost: float
    ratio: float
    corrected: float
    hot: float
    heat: float
    efficiency: float
    rich: float
    power: float = math.nan
    asked: float | None = None
    given: bool = False
    assumed: bool = False


# --- the engine's air --------------------------------------------------------------------------------------------


def air_for_power(power: float, efficiency: float, burnt: Fuel, rich: float) -> float:
    """Air [kg/s] for `power` [W] at brake `efficiency` on all fuel and the equivalence ratio `rich`.

    m = P lambda AFR/(eta LHV).  Source: Heywood1988 (definitions of specific fuel consumption and mixture).
    """
    require("power", power, low=0.0, open_low=True)
    return power * rich * burnt.stoichiometric / (efficiency * burnt.heating_value)


def plenum_for_air(flow: float, temperature: float, swept: float, speed: float, filling: float) -> float:
    """Plenum pressure [Pa absolute] at which an engine draws `flow` [kg/s].

    `swept` m3 a revolution, `speed` rev/s, `filling` referred to plenum state: p = m R T/(VE V n).  Source: Analytic.
    """
    return flow * float(air.gas_constant(0.0)) * temperature / (filling * swept * speed)


def filling_at(share: float) -> float:
    """Volumetric efficiency, referred to plenum state, at a share of top speed: 0.85 to 1.05 is common practice."""
    points = FILLING
    if share <= points[0][0]:
        return points[0][1]
    for (a, low), (b, high) in zip(points, points[1:], strict=False):
        if share <= b:
            return low + (high - low) * (share - a) / (b - a)
    return points[-1][1]


def hot_charge(inlet: float, ratio: float, efficiency: float = COMPRESSOR) -> float:
    """Compressor outlet [K].  Source: isentropic efficiency with cp of McBride1993."""
    return float(air.compressed_temperature(inlet, ratio, efficiency))


def need_of(brief: Brief) -> Need:
    """What the engine of a brief asks for: by its boost where that is given, else by the boost that its power takes.

    Raises BadInput where it needs no boost, or more than one stage gives.
    """
    spec = brief.spec
    assert spec.engine is not None and spec.power is not None and spec.redline is not None  # a brief fills them
    burnt = fuel(spec.fuel)
    rich = LAMBDA_ROTARY if brief.rotary else LAMBDA
    rich = min(rich, LAMBDA_METHANOL) if spec.fuel == "methanol" else rich
    efficiency = EFFICIENCY[spec.engine]
    pressure = float(air.standard_atmosphere(spec.altitude)[1])
    swept = spec.chamber_volume * spec.rotors if brief.rotary else (spec.displacement or 0.0) / 2.0
    speed = POWER_PLACE * spec.redline
    intake = spec.hottest_day + CHARGE_RISE
    power, flow = spec.power, air_for_power(spec.power, efficiency, burnt, rich)
    warm = (intake / FILLING_KNOWN) ** EngineSpec.filling_exponent  # as a draft leaves it
    plenum = plenum_for_air(flow, intake, swept, speed, filling_at(POWER_PLACE) * warm)
    asked = power if spec.boost is None or "power" in brief.known else None
    if spec.boost is not None:  # air, and with it power, go with the plenum's pressure
        share = spec.boost.absolute(pressure) / plenum
        power, flow, plenum = share * power, share * flow, share * plenum
    boost = plenum - pressure
    ratio = (plenum + CHARGE_LOSS) / (pressure - INTAKE_LOSS)
    size = show(2.0 * swept, "volume")
    if brief.rotary:
        size = f"{spec.rotors} rotors of {show(spec.chamber_volume, 'volume')}"
    what = f"{show(power, 'power')} from {size} at {show(speed, 'engine_speed')}"
    key, other = "power", "a larger engine, more speed or less power is needed"
    if spec.boost is not None:
        what, key, other = f"boost of {show(boost, 'boost').removesuffix(' gauge')}", "boost", "less boost is needed"
    if boost < LEAST_BOOST and spec.boost is not None:
        message = (
            f"{what} leaves no heat to cool; at least {show(LEAST_BOOST, 'boost').removesuffix(' gauge')} is asked"
        )
        raise BadInput(message, where=brief.file, key=key)
    if boost < LEAST_BOOST:
        message = f"{what} needs next to no boost ({show(plenum, 'pressure')} in the plenum): there is no heat to cool"
        raise BadInput(message + "; check power, size and redline", where=brief.file, key="power")
    if ratio > MOST_RATIO:
        message = f"{what} needs a pressure ratio of {ratio:.1f}; one turbo stage gives up to {MOST_RATIO:g}"
        raise BadInput(f"{message}; {other}", where=brief.file, key=key)
    hot = hot_charge(spec.hottest_day, ratio)
    heat = flow * float(air.cp(0.5 * (hot + intake))) * (hot - intake)
    corrected = flow * math.sqrt(spec.hottest_day / 298.15) / ((pressure - INTAKE_LOSS) / 1e5)
    burnt_flow = flow / (rich * burnt.stoichiometric)
    return Need(
        ambient=spec.hottest_day,
        pressure=pressure,
        air=flow,
        fuel_flow=burnt_flow,
        plenum=plenum,
        boost=boost,
        ratio=ratio,
        corrected=corrected,
        hot=hot,
        heat=heat,
        efficiency=efficiency,
        rich=rich,
        power=power,
        asked=asked,
        given=spec.boost is not None,
        assumed="power" not in brief.known,
    )


def boost_words(need: Need, system: str = "si", made: float | None = None) -> str:
    """What power the boost makes, and what boost the power asked for takes, in one sentence.

    `made` [W]: the power of a forecast; without it that of the rule, told as "about".  Power goes with the plenum's
    absolute pressure (Analytic).
    """

    def boosted(value: float) -> str:
        return f"{show(value, 'boost', system).removesuffix(' gauge')}"

    about = "about " if made is None else ""
    power = need.power if made is None else made
    makes = f"{about}{show(power, 'power', system, 0)}"
    if not need.given:
        asked = f"{show(need.asked, 'power', system, 0)} {'assumed' if need.assumed else 'asked'}"
        words = f"{boosted(need.boost)} of boost is taken for the {asked}"
        return f"{words}." if made is None else f"{words}; it makes {makes}."
    if need.asked is None:
        return f"At {boosted(need.boost)} of boost it makes {makes}."
    asked, takes = show(need.asked, "power", system, 0), need.plenum * need.asked / power - need.pressure
    if abs(power / need.asked - 1.0) < AS_ASKED:
        return f"At {boosted(need.boost)} of boost it makes {makes}: the {asked} asked."
    told = f"{asked} takes about {boosted(takes)}" if takes >= LEAST_BOOST else f"{asked} takes next to no boost"
    if (need.pressure + takes + CHARGE_LOSS) / (need.pressure - INTAKE_LOSS) > MOST_RATIO:
        told += ", more than one turbo stage gives"
    return f"At {boosted(need.boost)} of boost it makes {makes}, not the {asked} asked; {told}."


def injectors_for(flow: float, cylinders: int, most: float = 12e-3) -> tuple[int, float]:
    """Number of injectors and the capacity [kg/s] of each for a fuel `flow` [kg/s]: 85 % duty, one a cylinder.

    Two a cylinder where one would have to pass more than `most`.  Common practice, no source.
    """
    each = flow / (DUTY * cylinders)
    return (cylinders, each) if each <= most else (2 * cylinders, 0.5 * each)


def design_flow(corrected: float, bought: float | None = None) -> float:
    """Middle of the turbo's map [kg/s corrected]: 0.92 of the greatest flow, or three quarters of what it can pass.

    Own: so placed, the generic map (`parts/compressor.py`) neither surges at two thirds of top speed nor chokes.
    """
    return OF_CHOKE * bought if bought is not None else DESIGN_SHARE * corrected


def boost_curve(need: Need, turbo: CompressorSpec) -> tuple[tuple[float, float], ...]:
    """Boost [Pa gauge] against share of top speed: the usual shape, held where it would come near the surge line.

    `turbo` with its design point.  Common practice: 10 % of flow from surge where it stays; the map is the generic one.
    """
    made = compressor(turbo)
    points = []
    for share, part in BOOST_SHAPE:
        boost = part * need.boost
        while share < POWER_PLACE and boost > 0.02 * need.boost:
            flow = need.air * (need.pressure + boost) / need.plenum
            flow *= share * filling_at(share) / (POWER_PLACE * filling_at(POWER_PLACE))
            loss = CHARGE_LOSS * (flow / need.air) ** 2
            ratio = (need.pressure + boost + loss) / (need.pressure - INTAKE_LOSS)
            margin = made.evaluate(flow / need.air * need.corrected / turbo.count, ratio).surge_margin
            if margin is None or not float(margin) < FROM_SURGE:
                break
            boost *= 0.95
        points.append((share, boost))
    return tuple(points)


# --- pipes and lines ---------------------------------------------------------------------------------------------


def pipe_bore(flow: float, temperature: float, pressure: float, wider: float = 1.0) -> float:
    """Smallest bore sold [m] in which charge runs at no more than 50 m/s, times `wider` (common practice)."""
    area = flow / (float(air.density(temperature, pressure)) * SPEED_IN_PIPE)
    return _next(PIPES, wider * math.sqrt(4.0 * area / math.pi))


def line_bore(flow: float) -> float:
    """Smallest hose bore sold [m] in which coolant (m3/s) runs at no more than 1.8 m/s.

    Own: 19 mm then carries 30 L/min, where design notes find its friction small beside cores and fittings.
    """
    return _next(LINES, math.sqrt(4.0 * flow / (math.pi * SPEED_IN_LINE)))


def _next(sizes: tuple[float, ...], wanted: float) -> float:
    return next((size for size in sizes if size >= wanted - 1e-9), sizes[-1])


# --- heat --------------------------------------------------------------------------------------------------------


def pump_flow(charge_flow: float, coolant: Coolant, ratio: float = CAPACITY_RATIO) -> float:
    """Coolant flow [m3/s] whose heat capacity rate is `ratio` times that of the charge.

    Own: heat through two exchangers joined by a liquid is flat-topped near three to four times (two give 97 %).
    """
    warm = 313.15
    return ratio * charge_flow * 1010.0 / float(coolant.density(warm) * coolant.cp(warm))


def tank_volume(heat: float, stretch: float, coolant: Coolant) -> float:
    """Tank [m3] whose coolant warms by 8 K in one full-load stretch [s] of mean load 60 %: V = 0.6 Q t/(rho cp dT).

    Source: Analytic (a mixed tank without rejection); the 8 K are common practice.
    """
    warm = 313.15
    return MEAN_LOAD * heat * stretch / (float(coolant.density(warm) * coolant.cp(warm)) * TANK_RISE)


def exchanger_face(heat: float, use: Use) -> float:
    """Face [m2] of the remote exchanger that gives off the mean heat with coolant 12 K over ambient.

    A = duty Q/(eps rho u cp dT), u a fifth of road speed, but no less than a fan's 3 m/s; eps 0.5 (common practice).
    """
    face_speed = max(FACE_SPEED * use.speed, 3.0)
    return use.duty * heat / (FACE_EFFECT * 1.15 * face_speed * 1006.0 * OVER_AMBIENT)


def air_core_volume(charge_flow: float) -> float:
    """Volume [m3] of an air-to-air core: 29 L for every kg/s.

    Own: the smallest core that takes 0.5 kg/s from 150 to 60 degC in air of 35 degC, by geometry, has 14.6 L.
    """
    return AIR_CORE * charge_flow


def water_core_volume(charge_flow: float) -> float:
    """Volume [m3] of a water core: 12 L for every kg/s, 0.4 of an air core.

    Own: the same duty with coolant 10 K over the air takes 5.9 L, by geometry.
    """
    return WATER_CORE * charge_flow


def water_core_face(charge_flow: float) -> float:
    """Face [m2] of a water core's charge side: 35 kg/(s m2) in the passages, which are 58 % of it (common practice)."""
    return charge_flow / (FLUX * FREE_SHARE)


# --- coolant -----------------------------------------------------------------------------------------------------


def coolant_for(winter: float, glycol_allowed: bool) -> str:
    """Coolant for a car stored at `winter` [K]: water where it cannot freeze or glycol is barred, else the leanest mix.

    Freezing points: Melinder2010.  A night below -45 degC takes the richest mix sold.
    """
    if winter >= 273.15 or not glycol_allowed:
        return "water"
    for percent in MIXES:
        text = f"ethylene glycol {percent} % by volume"
        if parse_coolant(text).freezing_point <= winter - FROST_MARGIN:
            return text
    return f"ethylene glycol {MIXES[-1]} % by volume"


def coolant_of(brief: Brief) -> str:
    """The coolant of a brief: the glycol that it asks for, else what its winter and rule book ask."""
    share = brief.spec.glycol_share
    if share is None:
        return coolant_for(brief.spec.winter, brief.spec.glycol == "allowed")
    return f"ethylene glycol {100.0 * share:g} % by volume" if share >= 0.005 else "water"
