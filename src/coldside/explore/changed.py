"""Single changes of a build or a session: what an owner could fit, seal, fill or do otherwise, one at a time.

What is here: `KINDS`, `changed` (the build and session after one change, None where it does not apply) and
`said` (what it is, in words).  Pure; nothing is run.  What is not: running and ranking (`changes.py`).

Amounts are those that shops fit next (own): half as much again of a face, one hose size up, and so on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

from coldside.build.model import Build, Duct, names_on
from coldside.duty.model import PhaseSpec, Session
from coldside.judge.trials import RESTING, larger_tanks
from coldside.judge.wording import Quantity, Sentence, listed
from coldside.media.air import standard_atmosphere
from coldside.media.coolants import parse_coolant
from coldside.parts.airflow import FanSpec
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec, derived_from_sizes
from coldside.parts.lines import FilterSpec, HoseSpec
from coldside.parts.pump import GENERIC_CURVE, PumpSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.units import Pressure

TANK, FACE, CORE, INLET, REST = 2.0, 1.5, 1.5, 1.5, 1.5  # factors
SPEED = 1.25  # of a stronger pump's or fan's wheel: flow with it, head with its square, power with its cube
BORE = 1.3  # the next size of hose: 19 to 25 mm
BOOST = 0.9  # of gauge boost
COLDEST = 278.15  # K of ambient from which water alone is tried
FAN_RISE, FAN_SHARE = 180.0, 0.6  # Pa shut off, and free flow over the face's bench flow, of a fan put in new (own)
SPRAY = 0.5 / 6e4  # m3/s of water on a face, 0.5 L/min (own)
AIR = 1.2  # kg/m3, of fan curves

Pair = tuple[Build, Session]
CoreLike = WaterCoreSpec | AirCoreSpec | ExchangerSpec


# ---------------------------------------------------------------- what a build has


def cores_of(build: Build) -> tuple[str, ...]:
    """Charge cores, in flow order."""
    return tuple(name for name in names_on(build.charge) if isinstance(build.parts[name], WaterCoreSpec | AirCoreSpec))


def loops_of(build: Build) -> tuple[str, ...]:
    """Loops that serve a charge core."""
    cores = set(cores_of(build))
    return tuple(name for name, loop in build.loops.items() if cores & set(names_on(loop.path)))


def on_loops(build: Build, kind: type) -> tuple[str, ...]:
    """Parts of a kind on the loops that serve a charge core."""
    names = (name for loop in loops_of(build) for name in names_on(build.loops[loop].path))
    return tuple(name for name in names if isinstance(build.parts.get(name), kind))


def faces_of(build: Build) -> tuple[str, ...]:
    """Faces in the air that carry off the charge's heat: exchangers of those loops, and air cores."""
    exchangers = [name for name in on_loops(build, ExchangerSpec) if build.parts[name].heat is None]
    return (*exchangers, *(name for name in cores_of(build) if isinstance(build.parts[name], AirCoreSpec)))


def dry_faces(build: Build) -> tuple[str, ...]:
    """Such faces that no water is sprayed on."""
    return tuple(name for name in faces_of(build) if not build.parts[name].spray)


def ducts_of(build: Build) -> tuple[str, ...]:
    """Ducts with such a face."""
    faces = set(faces_of(build))
    return tuple(name for name, duct in build.ducts.items() if faces & set(names_on(duct.path)))


def fans_of(build: Build) -> tuple[str, ...]:
    """Fans of those ducts that may run."""
    names = (name for duct in ducts_of(build) for name in names_on(build.ducts[duct].path))
    return tuple(n for n in names if isinstance(build.parts[n], FanSpec) and build.parts[n].control.mode != "off")


def fanless(build: Build) -> tuple[str, ...]:
    """Ducts with such a face and no fan at all."""
    return tuple(
        name
        for name in ducts_of(build)
        if not any(isinstance(build.parts[part], FanSpec) for part in names_on(build.ducts[name].path))
    )


# ---------------------------------------------------------------- parts scaled


def widened(build: Build, name: str, by: float) -> CoreLike:
    """A core or exchanger with `by` times the passages side by side, alike in all else.

    Bench flows and heat go with it, effectiveness and losses at those flows stay; its mass and what it holds go with
    it whether typed or reckoned from sizes.
    """
    spec: Any = build.parts[name]
    made: dict[str, Any] = {}
    for key in ("charge_flow", "coolant_flow", "cooling_flow", "heat"):
        for bench in ("bench", "bench2"):
            old = getattr(spec, f"{bench}_{key}", None)
            if old is not None:
                made[f"{bench}_{key}"] = by * old
    for key in ("metal_mass", "coolant_volume", "charge_volume", "stack_height"):
        old = getattr(spec, key, None)
        if old is not None:
            made[key] = by * old
    grown: CoreLike = replace(spec, **made)
    if spec.stack_height is None:
        return grown
    typed = frozenset(
        key.rpartition(".")[2]
        for key, given in build.givens.items()
        if key.startswith(f"parts.{name}.") and given.origin != "default"
    )
    follows: dict[str, Any] = derived_from_sizes(grown, typed)
    return replace(grown, **follows)


def _faster(curve: Iterable[tuple[float, float]], by: float) -> tuple[tuple[float, float], ...]:
    return tuple((by * flow, by**2 * rise) for flow, rise in curve)


def _stronger_pump(spec: PumpSpec) -> PumpSpec:
    current = None if spec.current is None else spec.current * SPEED**3
    return replace(spec, curve=_faster(GENERIC_CURVE if spec.curve is None else spec.curve, SPEED), current=current)


def _stronger_fan(spec: FanSpec) -> FanSpec:
    current = None if spec.current is None else spec.current * SPEED**3
    off = None if spec.off_loss is None else spec.off_loss * SPEED**2
    return replace(spec, curve=_faster(spec.curve, SPEED), current=current, off_loss=off)


def _with_parts(build: Build, parts: dict[str, Any]) -> Build | None:
    return replace(build, parts={**build.parts, **parts}) if parts else None


# ---------------------------------------------------------------- one change each


def _tank(build: Build, session: Session) -> Pair | None:
    if not on_loops(build, ReservoirSpec):
        return None
    for loop in loops_of(build):
        build = larger_tanks(build, loop, TANK)
    return build, session


def _pump(build: Build, session: Session) -> Pair | None:
    made = _with_parts(build, {name: _stronger_pump(build.parts[name]) for name in on_loops(build, PumpSpec)})
    return None if made is None else (made, session)


def _bore(build: Build, session: Session) -> Pair | None:
    hoses = {name: build.parts[name] for name in on_loops(build, HoseSpec)}
    made = _with_parts(build, {name: replace(hose, bore=BORE * hose.bore) for name, hose in hoses.items()})
    return None if made is None else (made, session)


def _face(build: Build, session: Session) -> Pair | None:
    names = [name for name in faces_of(build) if isinstance(build.parts[name], ExchangerSpec)]
    made = _with_parts(build, {name: widened(build, name, FACE) for name in names})
    return None if made is None else (made, session)


def _core(build: Build, session: Session) -> Pair | None:
    made = _with_parts(build, {name: widened(build, name, CORE) for name in cores_of(build)})
    return None if made is None else (made, session)


def _fan(build: Build, session: Session) -> Pair | None:
    made = _with_parts(build, {name: _stronger_fan(build.parts[name]) for name in fans_of(build)})
    return None if made is None else (made, session)


def new_fan_name(build: Build, duct: str) -> str:
    """A free name for a fan put into a duct."""
    name = f"{duct}_fan"
    while name in build.parts:
        name += "_new"
    return name


def _new_fan(build: Build, session: Session) -> Pair | None:
    ducts, parts = dict(build.ducts), dict(build.parts)
    for name in fanless(build):
        duct = build.ducts[name]
        flows = [getattr(build.parts[part], "bench_cooling_flow", None) for part in names_on(duct.path)]
        largest = max((flow for flow in flows if flow is not None), default=0.0)
        if largest <= 0.0 or duct.spec.inlet == "open":
            continue
        free, fan = FAN_SHARE * largest / AIR, new_fan_name(build, name)
        curve = ((0.0, FAN_RISE), (0.55 * free, 0.68 * FAN_RISE), (free, 0.0))  # shaped as the bundled fans' curves
        parts[fan] = FanSpec(curve=curve)
        ducts[name] = Duct(name, duct.spec, (*duct.path, fan))
    return None if len(parts) == len(build.parts) else (replace(build, parts=parts, ducts=ducts), session)


def _with_ducts(build: Build, session: Session, change: Callable[[Any], dict[str, Any]]) -> Pair | None:
    ducts = dict(build.ducts)
    for name in ducts_of(build):
        made = change(ducts[name].spec)
        if made:
            ducts[name] = replace(ducts[name], spec=replace(ducts[name].spec, **made))
    return None if ducts == dict(build.ducts) else (replace(build, ducts=ducts), session)


def _seal(build: Build, session: Session) -> Pair | None:
    """Gaps closed; air that comes back at a standstill then falls to what is usual of a sealed duct."""
    return _with_ducts(build, session, lambda s: {"leak_area": 0.0, "recirculation": None} if s.leak_area else {})


def _inlet(build: Build, session: Session) -> Pair | None:
    def larger(spec: Any) -> dict[str, Any]:
        return {k: INLET * v for k in ("inlet_area", "exit_area") if (v := getattr(spec, k)) is not None}

    return _with_ducts(build, session, larger)


def _coolant(build: Build, session: Session) -> Pair | None:
    """Water alone; benches that were taken with the loop's own coolant stay as they were taken."""
    loops, parts = dict(build.loops), dict(build.parts)
    if session.coldest_air < COLDEST:
        return None
    for name in loops_of(build):
        old, names = build.loops[name].coolant, names_on(build.loops[name].path)
        starts = [getattr(build.parts.get(part), "start_temperature", None) for part in names]
        cold = any(T is not None and T < COLDEST for T in starts)
        ice = any(getattr(build.parts.get(part), "ice", 0.0) > 0.0 for part in names)
        if parse_coolant(old).mass_fraction == 0.0 or parse_coolant(old).is_oil or (cold and not ice):
            continue
        loops[name] = replace(build.loops[name], coolant="water")
        for part in names:
            spec = build.parts.get(part)
            if isinstance(spec, WaterCoreSpec | ExchangerSpec) and spec.bench_coolant is None:
                parts[part] = replace(spec, bench_coolant=old)
    return None if loops == dict(build.loops) else (replace(build, loops=loops, parts=parts), session)


def station_pressure(session: Session) -> float:
    """Air pressure of a session, Pa absolute."""
    given = session.ambient.pressure
    if given is not None:
        return given.value if isinstance(given, Pressure) else float(str(given))
    return float(standard_atmosphere(session.ambient.altitude or 0.0)[1])


def _boost(build: Build, session: Session) -> Pair | None:
    around = station_pressure(session)

    def lower(level: Any) -> Pressure:
        if level.gauge:
            return Pressure(level.value * (BOOST if level.value > 0.0 else 1.0), True)
        return Pressure(around + BOOST * (level.value - around) if level.value > around else level.value, False)

    curve = tuple((n, lower(level)) for n, level in build.engine.boost)
    return replace(build, engine=replace(build.engine, boost=curve)), session


def _rest(build: Build, session: Session) -> Pair | None:
    grouped = {name for name, times in session.groups.items() if times > 1}

    def longer(phase: PhaseSpec) -> PhaseSpec:
        if phase.repeat > 1 and phase.rest > 0.0:
            return replace(phase, rest=REST * phase.rest)
        if phase.group in grouped and phase.kind in RESTING and phase.duration:
            off = None if phase.engine_off is None else phase.engine_off + (REST - 1.0) * phase.duration
            return replace(phase, duration=REST * phase.duration, engine_off=off)
        return phase

    phases = tuple(longer(phase) for phase in session.phases)
    return None if phases == session.phases else (build, replace(session, phases=phases))


def _intake(build: Build, session: Session) -> Pair | None:
    filters = {n: s for n in names_on(build.charge) if isinstance(s := build.parts[n], FilterSpec)}
    warm = {n: replace(s, bay_share=0.0) for n, s in filters.items() if s.pickup_at_rest is None and s.bay_share > 0.0}
    made = _with_parts(build, warm)
    return None if made is None else (made, session)


def _spray(build: Build, session: Session) -> Pair | None:
    made = _with_parts(build, {n: replace(build.parts[n], spray=SPRAY) for n in dry_faces(build)})
    return None if made is None or session.coldest_air < COLDEST else (made, session)


CHANGES: dict[str, Callable[[Build, Session], Pair | None]] = {
    "tank": _tank,
    "pump": _pump,
    "bore": _bore,
    "exchanger": _face,
    "core": _core,
    "fan": _fan,
    "new fan": _new_fan,
    "sealing": _seal,
    "inlet": _inlet,
    "coolant": _coolant,
    "intake air": _intake,
    "spray": _spray,
    "boost": _boost,
    "rest": _rest,
}
KINDS = tuple(CHANGES)
SHORT = {  # the same in a word or two
    "tank": "twice the coolant",
    "pump": "a stronger pump",
    "bore": "larger hoses",
    "exchanger": "more face in the air",
    "core": "a larger core",
    "fan": "a stronger fan",
    "new fan": "a fan where there is none",
    "sealing": "gaps sealed",
    "inlet": "larger openings",
    "coolant": "water instead of the mix",
    "intake air": "intake air from outside the bay",
    "spray": "water sprayed on the faces",
    "boost": "less boost",
    "rest": "longer rests",
}


def changed(kind: str, build: Build, session: Session) -> Pair | None:
    """The build and session after the change `kind`, one of `KINDS`; None where there is nothing of the sort to change.

    Nothing else moves: an exchanger's duct keeps its inlet, a tank its place, a wastegate's curve its shape.
    """
    return CHANGES[kind](build, session)


def said(kind: str, build: Build) -> Sentence:
    """What the change is, in words that start a line."""

    def of(names: Iterable[str]) -> str:
        return listed(tuple(dict.fromkeys(names)))

    half = f"{100.0 * (FACE - 1.0):.0f} % more "
    faster = f"with {100.0 * (SPEED - 1.0):.0f} % more flow and {100.0 * (SPEED**2 - 1.0):.0f} % more pressure"
    if kind == "bore":
        hoses = on_loops(build, HoseSpec)
        bores = [build.parts[name].bore for name in hoses]
        values: dict[str, Quantity | str] = {"names": of(hoses)}
        values |= {"old": Quantity(min(bores), "length"), "new": Quantity(BORE * min(bores), "length")}
        return Sentence("The next size of hose ({new} bore instead of {old}) for {names}", values)
    if kind == "spray":
        text_of = "{flow} of water sprayed on {names} in boost, where the rules allow it (the water is carried too)"
        return Sentence(text_of, {"flow": Quantity(SPRAY, "volume_flow"), "names": of(dry_faces(build))})
    text = {
        "tank": lambda: f"Twice the coolant in {of(on_loops(build, ReservoirSpec))}",
        "pump": lambda: f"A stronger pump for {of(on_loops(build, PumpSpec))}, {faster}",
        "exchanger": lambda: (
            half + "face for " + of(n for n in faces_of(build) if isinstance(build.parts[n], ExchangerSpec))
        ),
        "core": lambda: half + "core side by side for " + of(cores_of(build)),
        "fan": lambda: f"A stronger fan for {of(fans_of(build))}, {faster}",
        "new fan": lambda: "A fan that always runs, where there is none: duct " + of(fanless(build)),
        "sealing": lambda: "Gaps beside the faces sealed in duct " + of(d for d in ducts_of(build) if _leaks(build, d)),
        "inlet": lambda: half + "inlet and exit area for duct " + of(ducts_of(build)),
        "coolant": lambda: (
            "Water with corrosion inhibitor instead of the antifreeze mix (never where the car may freeze)"
        ),
        "intake air": lambda: "Air for the compressor drawn from outside the engine bay",
        "boost": lambda: f"{100.0 * (1.0 - BOOST):.0f} % less boost",
        "rest": lambda: "Rests between the runs half as long again",
    }
    return Sentence("{what}", {"what": text[kind]()})


def _leaks(build: Build, duct: str) -> bool:
    return bool(build.ducts[duct].spec.leak_area)
