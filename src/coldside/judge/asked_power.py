"""Whether the car makes the power that was asked of it, what holds it back, and what would make it.

Here: `asked_power`.  Not here: power kept and lost to heat (`power.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coldside.judge.tract import compressors
from coldside.judge.wording import Quantity, Sentence
from coldside.parts.compressor import CompressorSpec
from coldside.parts.supercharger import SuperchargerSpec, belt_power
from coldside.plant.results import Forecast

AS_ASKED = 0.02  # of the power asked, within which it is that power whatever is known of the engine
LIKELY = 1.2816  # standard deviations from the middle of a normal spread to its 10th and 90th percentile
NEAR_TOP = 0.88  # of the engine's highest speed, from which a session has shown what power it makes
MOST_RATIO = 5.0  # pressure ratio of one stage
SHORT = 0.005  # of the target: a pressure further below it is all that the machine gives
TRIMMED = 1e3  # Pa of boost taken by the car's own trims from which it is told
COMPRESSION = 0.2857  # exponent of the pressure ratio in the ideal temperature ratio of air
MOST_TIMES = 20.0  # the plenum's pressure or the engine's size, at which the search for a power ends
TOLD = 100.0 / 60.0  # rev/s to which a supercharger's speed is told
TURNS = 40  # of that search, which a belt that takes a tenth of the power settles in six


@dataclass(frozen=True)
class _Belt:
    """A supercharger at one sample: its `power` off the crank [W], its pressure `ratio`, and what it has `spare`: the
    air that it moves over what the engine takes, 1 where none goes back through its bypass.
    """

    spec: SuperchargerSpec
    power: float
    ratio: float
    spare: float

    def takes(self, air: float, pressure: float) -> float:
        """Its power [W] at so many times the engine's air and so many times its pressure ratio (ideal work)."""
        if self.ratio <= 1.0:
            return self.power
        work = ((self.ratio * pressure) ** COMPRESSION - 1.0) / (self.ratio**COMPRESSION - 1.0)
        return self.power * max(1.0, air / self.spare) * work


def asked_power(forecast: Forecast) -> list[Sentence]:
    """For the headline: that the power asked for is missed, whether its likely range holds it, what would make it.

    Nothing where no power was asked for, or where the session never shows full load near top speed.  Power goes with
    the plenum's absolute pressure, and with the engine's size (Analytic: the air drawn does), less what a belt takes.
    What the car's own trims take off at that moment comes first; more boost is told only where the machine gives it.
    """
    engine, demand = forecast.build.engine, forecast.demand
    if engine.asked_power is None or not (demand.full_load & forecast.boost).any():
        return []
    if float(demand.engine_speed[demand.full_load].max()) < NEAR_TOP * engine.top_speed:
        return []
    at = int(np.argmax(forecast.power))
    made, asked = float(forecast.power[at]), engine.asked_power
    if made >= asked * (1.0 - AS_ASKED):
        return []
    cool = float(forecast.power_at_ambient[at])
    values: dict[str, Quantity | str] = {
        "made": Quantity(made, "power"),
        "asked": Quantity(asked, "power"),
        "cool": Quantity(cool, "power"),
    }
    text, what, made_untrimmed = "It makes {made} at most, not the {asked} asked for: ", "that", made
    share = likely_share(forecast)
    if asked <= made * (1.0 + share):
        text = "It makes {made} at most (likely {low} to {high}), not quite the {asked} asked for: "
        values |= {"low": Quantity(made * (1.0 - share), "power"), "high": Quantity(made * (1.0 + share), "power")}
    taken = 0.0 if demand.boost_taken is None else float(demand.boost_taken[at])
    if taken >= TRIMMED:
        made_untrimmed = _untrimmed(forecast, at, taken)
        values |= {"taken": Quantity(taken, "boost_difference"), "untrimmed": Quantity(made_untrimmed, "power")}
        text += (
            "the car's own trims take {taken} of boost off there as the charge is warm; without them it would make "
            "about {untrimmed}, as far as knock allows"
        )
        what = "the {asked}"
    if made_untrimmed < asked:
        text += ("" if what == "that" else "; ") + _what_makes_it(forecast, at, what, values)
    if cool >= asked:
        text += "; charge as cool as the air outside would make {cool} too"
    return [Sentence(text + ".", values)]


def _what_makes_it(forecast: Forecast, at: int, what: str, values: dict[str, Quantity | str]) -> str:
    """The clause on what would make the power asked for, which it calls `what`; its places are put in `values`."""
    engine, air = forecast.build.engine, forecast.demand.ambient_pressure
    made, asked, belt = float(forecast.power[at]), engine.asked_power or 0.0, _belt(forecast, at)
    times = _times(asked, made, belt)
    takes = times * float(forecast.plenum_pressure[at])
    values["takes"] = Quantity(takes - air, "boost")
    stages = [forecast.build.parts[name] for name in compressors(forecast.build)]
    turbos = len(stages) > 1 or any(isinstance(one, CompressorSpec) and one.count > 1 for one in stages)
    machine = "supercharger" if belt is not None else "turbos" if turbos else "turbo"
    if takes > MOST_RATIO ** max(len(stages), 1) * air:
        most = "two turbo stages give" if len(stages) > 1 else f"one {'turbo stage' if belt is None else machine} gives"
        engine_too = "a larger engine would do" if belt is None else "a larger engine and supercharger would do"
        return f"{what} would take a boost of {{takes}}, more than {most}; {engine_too}"
    gives = float(
        forecast.compressor_out_pressure[at]
        if engine.boost_reference == "compressor_out"
        else forecast.plenum_pressure[at]
    )
    if gives < (1.0 - SHORT) * float(forecast.demand.plenum_target[at]):
        values["gives"] = Quantity(gives - air, "boost")
        return f"its {machine} {'give' if machine == 'turbos' else 'gives'} no more than {{gives}} there, whatever " + (
            f"boost is asked of it; {_larger(forecast, times, belt, values)}"
            if belt is not None
            else f"boost is asked for; a larger {'pair' if machine == 'turbos' else 'one'} would do"
        )
    if belt is not None and times > belt.spare:
        return f"{what} takes a boost of about {{takes}}, more than its supercharger gives on this pulley; " + _larger(
            forecast, times, belt, values
        )
    text = f"{what} takes a boost of about {{takes}}, as far as {machine}, fuel and knock allow"
    if engine.kind == "piston" and engine.displacement is not None:
        text += ", or {size} of engine"
        values["size"] = Quantity(engine.displacement * _times(asked, made, belt, squeezed=False), "engine_volume")
    return text


def _larger(forecast: Forecast, times: float, belt: _Belt, values: dict[str, Quantity | str]) -> str:
    """The clause on pulley and supercharger, for a belt that must move so many `times` the engine's air."""
    spec = belt.spec
    if spec.displacement is None:  # a wheel's pressure goes with the square of its speed: no figure without its map
        return "it takes a smaller pulley, as far as its speed, fuel and knock allow, or a larger supercharger"
    faster = times / belt.spare
    speed = faster * spec.drive_ratio * float(forecast.demand.engine_speed[forecast.demand.full_load].max())
    if spec.speed_limit is not None and speed > spec.speed_limit:
        values["speed"] = Quantity(round(speed / TOLD) * TOLD, "engine_speed")
        values["limit"] = Quantity(spec.speed_limit, "engine_speed")
        return (
            "it takes a larger supercharger: a smaller pulley would have to turn this one at about {speed}, and its "
            "limit is {limit}"
        )
    values["faster"] = Quantity(faster - 1.0, "share")
    return (
        "it takes a smaller pulley, which turns it about {faster} faster, as far as its speed, fuel and knock allow, "
        "or a larger supercharger"
    )


def _belt(forecast: Forecast, at: int) -> _Belt | None:
    """The supercharger at a sample; None without one."""
    for stage in forecast.stages:
        spec = forecast.build.parts.get(stage.name)
        if isinstance(spec, SuperchargerSpec):
            spare = float(stage.flow[at]) / max(float(forecast.charge_flow[at]), 1e-9)
            power = float(belt_power(stage.shaft_power[at], spec))
            return _Belt(spec, power, float(stage.pressure_ratio[at]), max(spare, 1.0))
    return None


def _times(asked: float, made: float, belt: _Belt | None, *, squeezed: bool = True) -> float:
    """How many times its air the engine needs for the power `asked` [W]: `squeezed` into it, or by its size."""
    if belt is None:
        return asked / made
    times = 1.0
    for _ in range(TURNS):
        needs = asked + belt.takes(times, times if squeezed else 1.0)
        times = min(needs / (made + belt.power), MOST_TIMES)
    return times


def _untrimmed(forecast: Forecast, at: int, taken: float) -> float:
    """Power [W] at a sample with the boost that the car's own trims have `taken` [Pa], as far as the belt gives it."""
    made, belt = float(forecast.power[at]), _belt(forecast, at)
    times = 1.0 + taken / float(forecast.plenum_pressure[at])
    if belt is None:
        return made * times
    times = min(times, belt.spare)
    return (made + belt.power) * times - belt.takes(times, times)


def likely_share(forecast: Forecast) -> float:
    """Half the likely range of the highest power as a share of it, from how well its efficiency is known."""
    given = forecast.build.givens.get("engine.brake_efficiency")
    if given is None or given.sd is None:
        return AS_ASKED
    return max(AS_ASKED, LIKELY * given.sd / forecast.build.engine.brake_efficiency)
