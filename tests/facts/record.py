"""Rules of the trade as records: what goes in, the range that the answer must fall in, and what the tool says.

`FACTS` holds every rule twice or more: where it holds and where it does not.  `test_facts.py` runs them,
`docs/facts.md` is made from them by `make facts`.  The rules are common practice without a source; the ranges come
from the equations of the project's notes (loop g, charge C44), which a hand calculation gives.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from cases.knock import REFERENCE, SPEED
from coldside.build.files import load_build
from coldside.duty.model import LimitSpec, PhaseSpec, Session
from coldside.duty.phases import load_session
from coldside.judge.knock import judge_knock
from coldside.judge.verdict import judge
from coldside.media import fuels
from coldside.parts.combustion import Burn
from coldside.parts.knock import delay_integral, ethanol_delay_low, gasoline_delay
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast

EXAMPLES = Path(__file__).parents[2] / "examples"
RULE_40F = LimitSpec(quantity="over_ambient", at_most=40.0 / 1.8, during="boost")
CORES = ("parts.left_core.bench_effectiveness", "parts.right_core.bench_effectiveness")
DYNO, TRAFFIC = "dyno-pulls", "traffic-then-pull"

Found = tuple[Mapping[str, float], str]  # figures, and what the tool says


@dataclass(frozen=True, kw_only=True)
class Fact:
    """One rule in one place: `rule` in the trade's words, `inputs`, `compute` (figures, and the tool's words).

    `ranges` by figure, low and high, in `unit`; `why` that range; `holds`, whether the rule does there.
    """

    rule: str
    inputs: str
    compute: Callable[[], Found]
    ranges: Mapping[str, tuple[float, float]]
    unit: str
    why: str
    holds: bool


def outside(fact: Fact, figures: Mapping[str, float]) -> list[str]:
    """One line for each figure out of its range."""
    return [
        f"{fact.rule} ({fact.inputs}): {name} = {figures[name]:.4g} {fact.unit}, must be in {low:g} to {high:g}"
        for name, (low, high) in fact.ranges.items()
        if not low <= figures[name] <= high
    ]


# ---------------------------------------------------------------- runs


def _solve(build: str, overrides: list[str], session: Session) -> Forecast:
    return simulate(load_build(EXAMPLES / f"{build}.toml", overrides), session)


def _session(name: str, **changes: object) -> Session:
    return replace(load_session(EXAMPLES / "sessions" / f"{name}.toml"), **changes)  # type: ignore[arg-type]


def _said(forecast: Forecast, *, reasons: int = 1) -> str:
    """Headline and the first reasons of the verdict."""
    words = judge(forecast, with_knock=False).words()
    return " ".join([words.headline, *words.reasons[:reasons]])


def _over(forecast: Forecast) -> float:
    return float(forecast.intake[forecast.peak] - forecast.demand.ambient_temperature[forecast.peak])


def _pulls(effectiveness: str) -> Found:
    found = _solve("tern/water", [f"{key}={effectiveness}" for key in CORES], _session(DYNO, limits=(RULE_40F,)))
    coolant = max(float(trace.max()) for trace in found.coolant_in_cores.values())
    figures = {
        "hottest over ambient": _over(found),
        "coolant over ambient": coolant - float(found.demand.ambient_temperature[0]),
    }
    return figures, _said(found, reasons=9)


def _tank(volume: str, pulls: int) -> Found:
    """Dunlin with an engine of 3.5 L (about 800 hp) and its tank at ambient: pulls of 12 s, 30 s apart."""
    dyno = _session(DYNO)
    pull = replace(dyno.phases[1], duration=12.0, repeat=pulls, rest=30.0 if pulls > 1 else 0.0)
    after = PhaseSpec(kind="idle", duration=20.0, air={"nose": 8.0})  # in which the loop turns over
    changed = ["engine.displacement=3.5 L", f"parts.tank.volume={volume}", "parts.tank.start_temperature=31 degC"]
    found = _solve("dunlin/build", changed, replace(dyno, phases=(pull, after), limits=(RULE_40F,)))
    tank = found.tank["charge"]
    figures = {"power": float(found.power.max()) / 745.7, "tank warmer by": float(tank.max() - tank[0])}
    return figures, _said(found)


def _soak(build: str) -> Found:
    """Twenty-five minutes of stop and go from a cold start, then the highway: the sensor's reading."""
    found = _solve(build, [], _session(TRAFFIC, start="ambient"))
    assert found.sensor is not None
    over = found.sensor - found.demand.ambient_temperature
    end = next(span.last for span in found.demand.spans if span.kind == "traffic")
    span = next(span for span in found.demand.spans if span.label == "highway")
    settled, soaked = float(over[span.last]), float(over[end])
    at_20 = int(np.searchsorted(found.time, 1200.0))
    back = int((over[end : span.last] <= settled + 0.1 * (soaked - settled)).argmax())
    figures = {
        "share of the soak after 20 min": float(over[at_20] / over[:end].max()),
        "minutes of highway to lose 90 % of it": back * 0.1 / 60.0,
        "soaked, K": float(over[:end].max()),
    }
    return figures, _said(found, reasons=2)


def _pump_off(build: str) -> Found:
    """Pump off in traffic less pump always on: K at the pull's peak, and of the tank when traffic ends."""
    session = _session(TRAFFIC, start="ambient", limits=(RULE_40F,))
    off, on = (_solve(build, [f"parts.pump.control={control}"], session) for control in ("schedule", "always"))
    end = next(span.last for span in off.demand.spans if span.kind == "traffic")
    figures = {
        "tank, off less on": float(off.tank["charge"][end] - on.tank["charge"][end]),
        "peak of the pull, off less on": _over(off) - _over(on),
    }
    return figures, "Pump off: " + _said(off) + " Pump on: " + _said(on)


def _knock(fuel: str) -> Found:
    """Tern with another fuel, one pull, no known knock-limited point: what its charge's heat asks for."""
    dyno = _session(DYNO)
    session = replace(dyno, phases=(dyno.phases[0], replace(dyno.phases[1], repeat=1)))
    found = judge_knock(_solve("tern/water", [f"engine.fuel={fuel}"], session))
    assert found is not None
    low, high = found.change_octane
    figures = {"octane numbers more, low": low, "high": high, "bar absolute": found.worst.p / 1e5}
    return figures, " ".join(sentence.words() for sentence in found.sentences)


def _integral(fuel: str, pressure: float, intake: float) -> Found:
    """End-gas integral of the notes' reference engine at CA50 near its best; above 1 it knocks."""
    if fuel == "E85":
        engine = replace(REFERENCE, fuel=fuels.fuel("E85"), evaporation_drop=49.0)
        law: Callable[..., object] = ethanol_delay_low
    elif fuel == "E85 by the law of gasoline":
        engine = replace(REFERENCE, fuel=fuels.fuel("E85"), evaporation_drop=49.0)
        law = functools.partial(gasoline_delay, octane=108.0)
    else:
        engine, law = REFERENCE, functools.partial(gasoline_delay, octane=95.0)
    solved = engine.solve(SPEED, pressure, intake, Burn(24.0, 55.0))
    value = float(delay_integral(solved, law))  # type: ignore[arg-type]
    words = "knocks at this spark: retard it, cool the charge or lower boost" if value > 1.0 else "does not knock"
    return {"integral": value}, f"The integral is {'above' if value > 1.0 else 'below'} 1: {words}."


# ---------------------------------------------------------------- the rules

BACK_TO_BACK = "Water-to-air runs 30 to 40 degF (17 to 22 K) over ambient on back-to-back pulls"
TANK = "A tank of 2 to 3 US gal cures heat soak at 800 hp"
AIR_TO_AIR = "Air-to-air soaks in 20 to 30 min of stop and go and recovers in a few minutes of highway"
PUMP = "Switch the pump off in traffic"
ETHANOL = "Fuel high in ethanol takes knock away"

FACTS = (
    Fact(
        rule=BACK_TO_BACK,
        inputs="tern/water, dyno-pulls: bench effectiveness 0.82, 2.5 US gal, 22 psi",
        compute=functools.partial(_pulls, "0.82"),
        ranges={"hottest over ambient": (17.0, 24.0), "coolant over ambient": (2.0, 10.0)},
        unit="K",
        why="(1 - e)(T2 - Ta) + e(Tw - Ta), T2 136 K over: e 0.88 at that flow and coolant 3 to 9 K give 18 to 24",
        holds=True,
    ),
    Fact(
        rule=BACK_TO_BACK,
        inputs="the same with cores of bench effectiveness 0.70",
        compute=functools.partial(_pulls, "0.70"),
        ranges={"hottest over ambient": (24.0, 42.0), "coolant over ambient": (2.0, 10.0)},
        unit="K",
        why="at an effectiveness of 0.8 or less the rule cannot hold even with coolant at ambient: 0.2 x 136 K is 27",
        holds=False,
    ),
    Fact(
        rule=TANK,
        inputs="dunlin/build, 3.5 L, tank 2.5 US gal at ambient: one pull of 12 s",
        compute=functools.partial(_tank, "2.5 US gal", 1),
        ranges={"power": (700.0, 900.0), "tank warmer by": (4.0, 18.0)},
        unit="hp, K",
        why="0.6 x 66 kW x 12 s: 12 to 18 K in 11.4 to 7.6 L of glycol, 7 K in all of the loop's 17 L of water; less "
        "what its exchanger gives away",
        holds=True,
    ),
    Fact(
        rule=TANK,
        inputs="the same: twelve pulls, 30 s apart",
        compute=functools.partial(_tank, "2.5 US gal", 12),
        ranges={"power": (700.0, 900.0), "tank warmer by": (14.0, 75.0)},
        unit="hp, K",
        why="between one pull's rise and the 106 - 31 K at which steady full load settles whatever the volume",
        holds=False,
    ),
    Fact(
        rule=TANK,
        inputs="the same with 10 US gal: twelve pulls, 30 s apart",
        compute=functools.partial(_tank, "10 US gal", 12),
        ranges={"power": (700.0, 900.0), "tank warmer by": (8.0, 75.0)},
        unit="hp, K",
        why="four times the tank delays the same end: capacity buys time, never steady capacity",
        holds=False,
    ),
    Fact(
        rule=AIR_TO_AIR,
        inputs="tern/air, traffic-then-pull started cold",
        compute=functools.partial(_soak, "tern/air"),
        ranges={
            "share of the soak after 20 min": (0.55, 1.0),
            "minutes of highway to lose 90 % of it": (0.1, 10.0),
            "soaked, K": (8.0, 30.0),
        },
        unit="",
        why="a core in its bay has a time constant of 7.5 to 25 min: 0.55 or more after 20; on the highway 3 s of the "
        "core alone to 270 s of pipes and manifold: 0.1 to 10 min for 90 %",
        holds=True,
    ),
    Fact(
        rule=AIR_TO_AIR,
        inputs="plover/build, the same session",
        compute=functools.partial(_soak, "plover/build"),
        ranges={
            "share of the soak after 20 min": (0.55, 1.0),
            "minutes of highway to lose 90 % of it": (0.1, 10.0),
            "soaked, K": (8.0, 30.0),
        },
        unit="",
        why="as above",
        holds=True,
    ),
    Fact(
        rule=PUMP,
        inputs="dunlin/build (tank chilled to 4 degC), traffic-then-pull started cold",
        compute=functools.partial(_pump_off, "dunlin/build"),
        ranges={"tank, off less on": (-45.0, -15.0), "peak of the pull, off less on": (-15.0, -1.0)},
        unit="K",
        why="a tank colder than the air is warmed by every turn of the loop: off keeps up to its 34 K under ambient",
        holds=True,
    ),
    Fact(
        rule=PUMP,
        inputs="tern/water (three exchangers with fans, tank at ambient), the same session",
        compute=functools.partial(_pump_off, "tern/water"),
        ranges={"tank, off less on": (0.0, 10.0), "peak of the pull, off less on": (-1.0, 3.0)},
        unit="K",
        why="exchangers with fans give away more at idle than the bay gives: nothing is gained by stopping the pump",
        holds=False,
    ),
    Fact(
        rule=ETHANOL,
        inputs="reference engine of the notes, 2.0 bar absolute, 40 degC, spark 24 deg, gasoline 95",
        compute=functools.partial(_integral, "gasoline", 2e5, 313.15),
        ranges={"integral": (1.1, 1.5)},
        unit="",
        why="charge-C44: 1.31, knocks",
        holds=True,
    ),
    Fact(
        rule=ETHANOL,
        inputs="the same on E85",
        compute=functools.partial(_integral, "E85", 2e5, 313.15),
        ranges={"integral": (0.04, 0.74)},
        unit="",
        why="charge-C44: 0.04 to 0.74 by three laws, none knocks",
        holds=True,
    ),
    Fact(
        rule=ETHANOL,
        inputs="the same on E85 with charge of 200 degF",
        compute=functools.partial(_integral, "E85", 2e5, 366.48),
        ranges={"integral": (1.0, 1.4)},
        unit="",
        why="charge-C44: 1.20 by the lower law: heat alone can bring knock back",
        holds=False,
    ),
    Fact(
        rule=ETHANOL,
        inputs="the same on E85 at 3.5 bar absolute, by the law of gasoline with octane 108",
        compute=functools.partial(_integral, "E85 by the law of gasoline", 3.5e5, 313.15),
        ranges={"integral": (1.0, 2.0)},
        unit="",
        why="charge-C44: supported to about 2.5 bar absolute, this law passes 1 between 3.0 and 3.5 bar",
        holds=False,
    ),
    Fact(
        rule=ETHANOL,
        inputs="tern/water on E85, one dyno pull, no known knock-limited point: what the tool will and will not say",
        compute=functools.partial(_knock, "E85"),
        ranges={"octane numbers more, low": (0.4, 1.6), "high": (0.4, 1.6), "bar absolute": (2.2, 2.7)},
        unit="",
        why="1.0 to 1.5 octane numbers per 10 K of charge, here 7 K (0.7 to 1.05; alcohol is known worse), and 22 psi "
        "over 98.5 kPa",
        holds=True,
    ),
)
