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
from coldside.explore.strategy import strategy
from coldside.explore.strategy_words import sentences
from coldside.judge.knock import judge_knock
from coldside.judge.verdict import judge
from coldside.media import fuels
from coldside.parts.combustion import Burn
from coldside.parts.knock import (
    ACCURACY_ETHANOL,
    ACCURACY_UNCALIBRATED,
    delay_integral,
    ethanol_delay_low,
    gasoline_delay,
)
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast

EXAMPLES = Path(__file__).parents[2] / "examples"
RULE_40F = LimitSpec(quantity="over_ambient", at_most=40.0 / 1.8, during="boost")
RULE_20F = 20.0 / 1.8  # K over ambient that the trade reads on an air-to-air car on the move (note g3: 15 to 20 degF)
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


def _soak(build: str, *overrides: str) -> Found:
    """Twenty-five minutes of stop and go from a cold start, then the highway: the sensor's reading.

    The session's limit is the trade's own: the sensor at most 20 degF over ambient in the pull after the highway.
    """
    session = _session(TRAFFIC, start="ambient")
    most = session.ambient.temperature + RULE_20F
    sensor = LimitSpec(quantity="sensor", at_most=most, during="boost")
    found = _solve(build, list(overrides), replace(session, limits=(sensor,)))
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
        "left after 6 min of highway, K": settled,
    }
    return figures, _said(found, reasons=2)


def _pump_off(build: str, start: str) -> Found:
    """Pump off in traffic less pump always on: K of the tank when traffic ends and at the pull's peak.

    The words are those of `coldside strategy` on the same build and session: may the pump stand in traffic, and why.
    """
    session = _session(TRAFFIC, start=start, limits=(RULE_40F,))
    off, on = (_solve(build, [f"parts.pump.control={control}"], session) for control in ("schedule", "always"))
    end = next(span.last for span in off.demand.spans if span.kind == "traffic")
    figures = {
        "tank, off less on": float(off.tank["charge"][end] - on.tank["charge"][end]),
        "peak of the pull, off less on": _over(off) - _over(on),
    }
    said = [one.words() for one in sentences(strategy(on.build, session))]
    return figures, next(text for text in said if text.startswith("In traffic: "))


def _knock(fuel: str, *overrides: str) -> Found:
    """Tern with another fuel, one pull, no known knock-limited point: what its charge's heat asks for."""
    dyno = _session(DYNO)
    session = replace(dyno, phases=(dyno.phases[0], replace(dyno.phases[1], repeat=1)))
    forecast = _solve("tern/water", [f"engine.fuel={fuel}", *overrides], session)
    found = judge_knock(forecast)
    assert found is not None
    low, high = found.change_octane
    over = found.worst.T - found.reference
    figures = {
        "octane numbers for 10 K, low": 10.0 * low / over,
        "high": 10.0 * high / over,
        "octane numbers more": high,
        "bar absolute": found.worst.p / 1e5,
        "charge over ambient, K": over,
    }
    return figures, " ".join(sentence.words() for sentence in found.sentences)


def _integral(fuel: str, pressure: float, intake: float) -> Found:
    """End-gas integral of the notes' reference engine at CA50 near its best; above 1 it knocks.

    No command tells it: what the tool says of knock without a known point is that only differences are known.
    """
    said = [ACCURACY_UNCALIBRATED]
    if fuel == "gasoline":
        engine, law = REFERENCE, functools.partial(gasoline_delay, octane=95.0)
    else:
        engine = replace(REFERENCE, fuel=fuels.fuel("E85"), evaporation_drop=49.0)
        law = functools.partial(gasoline_delay, octane=108.0)
        if fuel == "E85":
            law = ethanol_delay_low  # type: ignore[assignment]
        said.append(ACCURACY_ETHANOL)
    solved = engine.solve(SPEED, pressure, intake, Burn(24.0, 55.0))
    return {"integral": float(delay_integral(solved, law))}, "No such figure. " + " ".join(said)


# ---------------------------------------------------------------- the rules

BACK_TO_BACK = "Water-to-air runs 30 to 40 degF (17 to 22 K) over ambient on back-to-back pulls"
TANK = "A tank of 2 to 3 US gal cures heat soak at 800 hp"
AIR_TO_AIR = "Air-to-air soaks in 20 to 30 min of stop and go and recovers in a few minutes of highway"
PUMP = "Switch the pump off in traffic"
ETHANOL = "Fuel high in ethanol takes knock away"

SOAKS = "share of the soak after 20 min"
LOSES = "minutes of highway to lose 90 % of it"
LEFT = "left after 6 min of highway, K"

FACTS = (
    Fact(
        rule=BACK_TO_BACK,
        inputs="tern/water, dyno-pulls: bench effectiveness 0.82, 2.5 US gal, 22 psi",
        compute=functools.partial(_pulls, "0.82"),
        ranges={"hottest over ambient": (18.0, 24.5), "coolant over ambient": (3.0, 9.0)},
        unit="K",
        why="(1 - e)(T2 - Ta) + e(Tw - Ta), T2 136 K over: e 0.88 at that flow and coolant 3 to 9 K give 19 to 24",
        holds=True,
    ),
    Fact(
        rule=BACK_TO_BACK,
        inputs="the same with cores of bench effectiveness 0.70",
        compute=functools.partial(_pulls, "0.70"),
        ranges={"hottest over ambient": (29.0, 39.0), "coolant over ambient": (3.0, 9.0)},
        unit="K",
        why="e 0.77 to 0.80 at that flow and the same coolant give 30 to 38; at 0.8 or less the rule cannot hold even "
        "with coolant at ambient: 0.2 x 136 K is 27",
        holds=False,
    ),
    Fact(
        rule=TANK,
        inputs="dunlin/build, 3.5 L, tank 2.5 US gal at ambient: one pull of 12 s",
        compute=functools.partial(_tank, "2.5 US gal", 1),
        ranges={"power": (760.0, 840.0), "tank warmer by": (5.7, 6.5)},
        unit="hp, K",
        why="by hand, two halves of a tank and the loop as a plug (`tests/facts/by_hand.py`): 0.14 to 0.56 kg/s of "
        "charge 62 to 138 K over, 0.99 to 0.92 of it taken, 0.85 L/s through 9.5 L, core, hoses and an exchanger that "
        "takes 560 W/K in 0.7 kg/s of air: 6.1 K, known to 6 % of the heat and 15 % of the exchanger",
        holds=True,
    ),
    Fact(
        rule=TANK,
        inputs="the same: twelve pulls, 30 s apart",
        compute=functools.partial(_tank, "2.5 US gal", 12),
        ranges={"power": (760.0, 840.0), "tank warmer by": (16.9, 22.5)},
        unit="hp, K",
        why="the same by hand: 19.7 K after 8 min, where it has settled: what the exchanger takes counts most (17.3 or "
        "22.6 K with 15 % more or less of it)",
        holds=False,
    ),
    Fact(
        rule=TANK,
        inputs="the same with 10 US gal: twelve pulls, 30 s apart",
        compute=functools.partial(_tank, "10 US gal", 12),
        ranges={"power": (760.0, 840.0), "tank warmer by": (13.3, 16.7)},
        unit="hp, K",
        why="the same by hand with 38 L: 15.0 K, on its way to the same 20; four times the tank delays the end, it "
        "does not move it",
        holds=False,
    ),
    *(
        Fact(
            rule=AIR_TO_AIR,
            inputs=inputs,
            compute=functools.partial(_soak, *build),
            ranges={SOAKS: (0.85, 1.0), LOSES: (0.5, 5.0), "soaked, K": (9.0, 33.0), LEFT: (2.0, 10.0)},
            unit="",
            why=why,
            holds=True,
        )
        for inputs, build, why in (
            (
                "tern/air, traffic-then-pull started cold",
                ("tern/air",),
                (
                    "a core in its bay has a time constant of 7.5 to 25 min: after 20 of 25 min 0.87 to 0.97 of what "
                    "is there at the end; 2 to 10 W/K of wall at 90 degC round 10 g/s at idle: 9 to 33 K, round 28 g/s "
                    "cruising 3 to 14; 3 s of the core alone to 4.5 min of pipes and manifold, times 2.3: a few minutes"
                ),
            ),
            ("plover/build, the same session", ("plover/build",), "as above"),
        )
    ),
    Fact(
        rule=AIR_TO_AIR,
        inputs="tern/air with a sensor that takes 20 % of its boss's temperature",
        compute=functools.partial(
            _soak, "tern/air", "parts.intake_sensor.soak=20 %", "parts.intake_sensor.boss_time=15 min"
        ),
        ranges={SOAKS: (0.85, 1.0), "soaked, K": (20.0, 45.0), LEFT: (12.0, 24.0)},
        unit="",
        why="20 % in full flow are 0.3 to 0.4 of a boss at 90 degC in the flow of a cruise, 52 K over ambient, beside "
        "3 to 9 K of the gas: what the sensor reads never comes back, the charge does",
        holds=False,
    ),
    Fact(
        rule=PUMP,
        inputs="dunlin/build (tank of 10 US gal chilled to 4 degC), traffic-then-pull started cold",
        compute=functools.partial(_pump_off, "dunlin/build", "ambient"),
        ranges={"tank, off less on": (-38.0, -28.0), "peak of the pull, off less on": (-6.5, -1.5)},
        unit="K",
        why="off keeps 33 of 34 K under ambient (2 W/K into 158 kJ/K), on ends within 5 K of ambient; on the highway "
        "the exchanger takes 0.8 to 1.5 kW/K from 188 kJ/K: 6 to 21 % of it are left after 6 min, times 0.85",
        holds=True,
    ),
    Fact(
        rule=PUMP,
        inputs="tern/water (three exchangers with fans), traffic-then-pull as written, started soaked",
        compute=functools.partial(_pump_off, "tern/water", "soaked"),
        ranges={"tank, off less on": (34.0, 45.0), "peak of the pull, off less on": (0.0, 2.5)},
        unit="K",
        why="a soaked tank starts as warm as a parked bay, 45 K over ambient; 3 W/K take 12 % of 36 kJ/K in 25 min, "
        "exchangers with fans all but 1 to 3 K; 6 min of highway at 400 W/K and more leave 0 to 8 % of it in 56 kJ/K",
        holds=False,
    ),
    Fact(
        rule=ETHANOL,
        inputs="reference engine of the notes, 2.0 bar absolute, 40 degC, spark 24 deg, gasoline 95",
        compute=functools.partial(_integral, "gasoline", 2e5, 313.15),
        ranges={"integral": (1.25, 1.37)},
        unit="",
        why="charge-C44, another code: 1.31, knocks",
        holds=True,
    ),
    Fact(
        rule=ETHANOL,
        inputs="the same on E85",
        compute=functools.partial(_integral, "E85", 2e5, 313.15),
        ranges={"integral": (0.36, 0.44)},
        unit="",
        why="charge-C44: 0.40 by this law (0.04 to 0.74 by three and two evaporation drops, none knocks)",
        holds=True,
    ),
    Fact(
        rule=ETHANOL,
        inputs="the same on E85 with charge of 200 degF",
        compute=functools.partial(_integral, "E85", 2e5, 366.48),
        ranges={"integral": (1.12, 1.28)},
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
        ranges={
            "octane numbers for 10 K, low": (0.6, 1.5),
            "high": (1.0, 1.5),
            "octane numbers more": (0.6, 1.3),
            "bar absolute": (2.4, 2.6),
        },
        unit="",
        why="1.0 to 1.5 octane numbers for 10 K of charge (charge-F; of alcohol known worse, 0.6 and more); 6 to 9 K "
        "at that early moment of a first pull; 22 psi over 98.5 kPa are 2.5 bar",
        holds=True,
    ),
    Fact(
        rule=ETHANOL,
        inputs="the same with cores of bench effectiveness 0.50",
        compute=functools.partial(_knock, "E85", *(f"{key}=0.50" for key in CORES)),
        ranges={
            "octane numbers for 10 K, low": (0.6, 1.5),
            "high": (1.0, 1.5),
            "octane numbers more": (3.0, 9.0),
            "charge over ambient, K": (30.0, 61.0),
        },
        unit="",
        why="0.45 of 136 K are 61 K at most, half of it early in the pull, where the need is greatest: 3 to 9 of "
        "the 13 octane numbers that E85 has over gasoline 95",
        holds=False,
    ),
)
