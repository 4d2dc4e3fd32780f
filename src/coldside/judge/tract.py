"""The charge tract of a build in figures and words: what it holds, how it fills, leaks, and pulls at its couplers.

Here: `charge_tract` and its sentences, for a build that has not run: full load at the boost target, on a standard
day.  Not here: the physics (`parts/charge_tract.py`) and what a forecast's own pressures do (`reasons.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coldside.build.model import Build, Parallel, Path, names_on
from coldside.errors import BadInput
from coldside.judge.wording import Quantity, Sentence, listed
from coldside.media import air
from coldside.parts import charge_tract as vessel
from coldside.parts import engine, lines
from coldside.parts.compressor import CompressorSpec
from coldside.parts.lines import PipeSpec, PlenumSpec
from coldside.parts.supercharger import SuperchargerSpec
from coldside.plant.charge import EQUAL_RATIOS

DAY, PRESSURE = 298.15, 101325.0  # K, Pa: the standard day that a build is looked at
CHARGE_RISE = 30.0  # K of charge over ambient: as the charge side takes it for flows that are not given
SPOOLED = 0.98  # of the highest boost target, from which the tract counts as full
TO_SPARE = 0.1  # of the engine's flow, for the second of the two filling times
KEPT_AWAY = 0.02  # share of a part's pick-up from which shield and spacer are told to work


@dataclass(frozen=True)
class Coupler:
    """The couplers of one pipe: pull [N] at `gauge` [Pa], and what they are rated for [Pa gauge], if that is known."""

    part: str
    force: float
    gauge: float
    rating: float | None

    @property
    def left(self) -> float | None:
        """Share of the rating that is left, below 0 beyond it."""
        return None if self.rating is None else 1.0 - self.gauge / self.rating


@dataclass(frozen=True)
class Tract:
    """The charge tract at full load and the first engine speed with all its boost; SI.

    `held` volumes by part [m3]; `air` [kg] taken up from ambient to `gauge` [Pa], `flow` the engine's then [kg/s],
    `fill_time` the first over the second [s]; `leak_area` [m2] and `leak_flow` [kg/s] at `gauge`, None without a
    pressure-decay test; `lag` of boost [s].
    """

    held: tuple[tuple[str, float], ...]
    gauge: float
    speed: float
    flow: float
    air: float
    lag: float
    leak_area: float | None
    leak_flow: float | None
    couplers: tuple[Coupler, ...]

    @property
    def volume(self) -> float:
        """All that is held, m3."""
        return sum(volume for _, volume in self.held)

    @property
    def fill_time(self) -> float:
        """Time in which the engine's whole flow would fill the tract, s."""
        return float(vessel.fill_time(self.air, self.flow))


def charge_tract(build: Build) -> Tract:
    """The charge tract between the first compressor and the engine; see `Tract`.

    Couplers are taken at the highest boost target of all, each branch of a group with its even share of the flow.
    """
    spec, T = build.engine, DAY + CHARGE_RISE
    n = np.linspace(0.2 * spec.top_speed, spec.top_speed, 321)
    target = np.asarray(engine.boost_target(spec, n, PRESSURE))
    flow = np.asarray(engine.air_flow(spec, n, target, T, 0.0))
    most = int(np.argmax(target))
    first = int(np.argmax(target >= PRESSURE + SPOOLED * (target[most] - PRESSURE)))
    held, couplers, air_mass = [], [], 0.0
    for station in _stations(build, float(target[first])):
        volume = vessel.held_volume(build.parts[station.name], engine.four_stroke_equivalent(spec))
        if volume > 0.0:
            held.append((station.name, volume))
            air_mass += float(vessel.air_to_fill(volume, PRESSURE, station.pressure, T))
    for station in _stations(build, float(target[most])):
        pipe, p = build.parts[station.name], station.pressure
        if isinstance(pipe, PipeSpec):
            stream = (station.share * float(flow[most]), float(air.density(T, p)))
            couplers.append(coupler(station.name, pipe, p - PRESSURE, PRESSURE, stream))
    area = leak_area(build)
    return Tract(
        held=tuple(held),
        gauge=float(target[first]) - PRESSURE,
        speed=float(n[first]),
        flow=float(flow[first]),
        air=air_mass,
        lag=spec.boost_lag,
        leak_area=area,
        leak_flow=None if area is None else float(vessel.leak_flow(area, target[first], T, PRESSURE)),
        couplers=tuple(couplers),
    )


@dataclass(frozen=True)
class _Station:
    """A part behind the first compressor: pressure in it [Pa absolute], its share of the engine's flow."""

    name: str
    pressure: float
    share: float


def _stations(build: Build, target: float) -> list[_Station]:
    """Parts behind the first compressor; what lies between two stages has a pressure of its own."""
    walked = _shares(build.charge, 1.0)
    machines = compressors(build)
    if not machines:
        return []
    names = [name for name, _ in walked]
    first, last = names.index(machines[0]), names.index(machines[-1])
    between = target
    if len(machines) > 1:
        split = build.parts[machines[0]].ratio_share
        between = PRESSURE * (target / PRESSURE) ** (EQUAL_RATIOS if split is None else split)
    return [
        _Station(name, between if i < last else target, share)
        for i, (name, share) in enumerate(walked)
        if i > first and name not in machines
    ]


def compressors(build: Build) -> list[str]:
    """Names of the compressors and superchargers on the charge path, in flow order."""
    return [name for name in names_on(build.charge) if isinstance(build.parts[name], CompressorSpec | SuperchargerSpec)]


def _shares(path: Path, share: float) -> list[tuple[str, float]]:
    """Parts in walk order with an even share of the flow."""
    found: list[tuple[str, float]] = []
    for item in path:
        if isinstance(item, Parallel):
            for branch in item.branches:
                found += _shares(branch, share / len(item.branches))
        else:
            found.append((item, share))
    return found


def coupler(
    name: str, spec: PipeSpec, gauge: float, ambient: float, stream: tuple[float, float] = (0.0, 1.2)
) -> Coupler:
    """What pulls at the couplers of a pipe at `gauge` [Pa]; `stream` is flow [kg/s] and density [kg/m3] in it."""
    force = vessel.blow_off_force(spec.bore + 2.0 * spec.wall, gauge, *stream, spec.bore)
    rating = None if spec.coupler_rating is None else spec.coupler_rating.absolute(ambient) - ambient
    return Coupler(name, float(force), gauge, rating)


def leak_area(build: Build) -> float | None:
    """Effective leak area behind the last compressor by the plenum's test [m2]; None when no test is given.

    `BadInput`, with the part's name, for a test that is not whole or does not fall.
    """
    machines = compressors(build)
    if not machines:
        return None
    names = names_on(build.charge)
    behind = names[names.index(machines[-1]) + 1 :]
    displacement = engine.four_stroke_equivalent(build.engine)
    volume = sum(vessel.held_volume(build.parts[name], displacement) for name in behind)
    area = 0.0
    for name in behind:
        spec = build.parts[name]
        if isinstance(spec, PlenumSpec):
            try:
                area += vessel.tested_leak_area(spec, volume)
            except BadInput as error:
                raise BadInput(error.message, where=build.file, key=f"parts.{name}") from None
    return area or None


# ---------------------------------------------------------------- in words


def tract_sentences(build: Build) -> tuple[Sentence, ...]:
    """What `coldside check` says of the charge tract."""
    tract = charge_tract(build)
    if not tract.held:
        return ()
    return (
        *_volume_words(tract),
        *coupler_sentences(tract.couplers, " at the boost asked for; what a session comes to is its forecast's"),
        _leak_words(tract),
        *_shield_words(build),
    )


def _volume_words(tract: Tract) -> list[Sentence]:
    values: dict[str, Quantity | str] = {"all": Quantity(tract.volume, "air_volume")}
    pieces = []
    for i, (name, volume) in enumerate(tract.held):
        values[f"v{i}"] = Quantity(volume, "air_volume")
        values[f"n{i}"] = name
        pieces.append(f"{{n{i}}} {{v{i}}}")
    said = [Sentence("Holds {all} of air between compressor and engine: " + listed(pieces) + ".", values)]
    if tract.gauge > 0.0:
        said.append(
            Sentence(
                "To reach {boost} it takes up {air} of air: {least} of the engine's whole air flow at {speed}, "
                "{spared} where only a tenth of that flow is left for it. The boost's own lag is {lag} "
                "(boost_lag).",
                {
                    "boost": Quantity(tract.gauge, "pressure_gauge"),
                    "air": Quantity(tract.air, "mass"),
                    "speed": Quantity(tract.speed, "engine_speed"),
                    "least": f"{tract.fill_time:.2g} s",
                    "spared": f"{tract.fill_time / TO_SPARE:.2g} s",
                    "lag": f"{tract.lag:.2g} s",
                },
            )
        )
    return said


def coupler_sentences(couplers: Sequence[Coupler], when: str = "") -> list[Sentence]:
    """What pulls at the couplers, pipes alike in one sentence; then those that nobody rated.  `when`: of that pull."""
    alike: dict[tuple[float, float, float | None], list[str]] = {}
    for found in couplers:
        alike.setdefault((round(found.force, 3), round(found.gauge, 1), found.rating), []).append(found.part)
    said = []
    for (force, gauge, rating), parts in alike.items():
        values: dict[str, Quantity | str] = {
            "parts": listed(parts),
            "force": Quantity(force, "force"),
            "gauge": Quantity(gauge, "pressure_gauge"),
        }
        text = "{parts}: {gauge} pulls at each coupler with {force}" + when
        if rating is None:
            said.append(Sentence(text + ".", values))
            continue
        left = Coupler("", force, gauge, rating).left or 0.0
        values["rating"] = Quantity(rating, "pressure_gauge")
        values["left"] = Quantity(abs(left), "share")
        where = "over" if left < 0.0 else "under"
        start = "Over its rating: " if left < 0.0 else ""
        said.append(Sentence(start + text + ", {left} " + where + " the {rating} it is rated for.", values))
    unrated = [found.part for found in couplers if found.rating is None]
    if unrated:
        said.append(
            Sentence(
                "What the couplers of {parts} are rated for was not given (coupler_rating): not checked.",
                {"parts": listed(unrated)},
            )
        )
    return said


def _leak_words(tract: Tract) -> Sentence:
    if tract.leak_area is None or tract.leak_flow is None:
        return Sentence(
            "No pressure-decay test is given: the tract is taken as tight. If you make one: a regulator, no more than "
            "the weakest part is rated for, and stand clear of the couplers."
        )
    return Sentence(
        "By its pressure-decay test it leaks like an ideal hole of {hole}: {flow} at {boost}, {share} of the engine's "
        "air flow.",
        {
            "hole": Quantity(2.0 * float(np.sqrt(tract.leak_area / np.pi)), "length"),
            "flow": Quantity(tract.leak_flow, "mass_flow"),
            "boost": Quantity(tract.gauge, "pressure_gauge"),
            "share": Quantity(tract.leak_flow / tract.flow, "share", 1),
        },
    )


def _shield_words(build: Build) -> list[Sentence]:
    """What shields and spacers leave of a part's pick-up."""
    found = []
    for name in names_on(build.charge):
        spec = build.parts[name]
        if isinstance(spec, PipeSpec) and spec.shield != "none":
            bare, left = lines.bare_pickup(spec), lines.pipe_pickup(spec)
        elif isinstance(spec, PlenumSpec) and (spec.shield != "none" or spec.spacer > 0.0):
            bare, left = spec.pickup, lines.plenum_pickup(spec)
        else:
            continue
        values: dict[str, Quantity | str] = {
            "part": name,
            "bare": Quantity(bare, "conductance"),
            "left": Quantity(left, "conductance"),
        }
        if left < (1.0 - KEPT_AWAY) * bare:
            found.append(Sentence("{part}: shield and spacer leave {left} of its pick-up of {bare}.", values))
        else:
            found.append(
                Sentence("{part}: its spacer keeps no heat away, because it is not what its heat crosses.", values)
            )
    return found
