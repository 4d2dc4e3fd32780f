"""What a shop wants to know of a build before it runs: charge tract, filling, electrics, cores; in sentences and JSON.

Here: `workshop` (the sections of `coldside check`) and `workshop_json`.  Not here: the figures behind them
(`tract.py`, `plant/filling.py`, `parts/`), and defaults and paths (`build/check.py`).
"""

from __future__ import annotations

from typing import Any

from coldside.build.model import Build, names_on
from coldside.judge.filling import electric_sentences, electrics_json, filling_json, filling_sentences
from coldside.judge.tract import Coupler, charge_tract, tract_sentences
from coldside.media.coolants import Coolant, parse_coolant
from coldside.parts.core_losses import loss_corrections
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec, rating_notes

Section = tuple[str, list[str]]  # heading, sentences


def workshop(build: Build, system: str = "si") -> list[Section]:
    """The sections of `coldside check` in "si" or "us" units, those that have something to say."""
    found = (
        ("Charge tract", [sentence.words(system) for sentence in tract_sentences(build)]),
        ("Filling and bleeding", [sentence.words(system) for sentence in filling_sentences(build)]),
        ("Electrics", [sentence.words(system) for sentence in electric_sentences(build)]),
        ("Cores", core_lines(build, system)),
    )
    return [section for section in found if section[1]]


def core_lines(build: Build, system: str) -> list[str]:
    """How every core and exchanger was rated, and how its sizes and its bench agree; none for one bench point alone."""
    said = []
    for name, spec in build.parts.items():
        if not _is_rated(spec):
            continue
        coolant = _coolant_of(build, name)
        said += [f"{name}: {words}." for words in rating_notes(spec, coolant, system)]
        for side, factor in loss_corrections(spec, coolant).items():
            said.append(f"{name}: its {side} loss from sizes, times {factor:.2f}, meets its bench.")
    return said


def _is_rated(spec: object) -> bool:
    """True for what exchanges heat and is rated: a face with a heat of its own is not."""
    if isinstance(spec, ExchangerSpec):
        return spec.heat is None
    return isinstance(spec, WaterCoreSpec | AirCoreSpec)


def _coolant_of(build: Build, name: str) -> Coolant | None:
    """The coolant of the loop that a part lies on."""
    for loop in build.loops.values():
        if name in names_on(loop.path):
            return parse_coolant(loop.coolant)
    return None


def workshop_json(build: Build) -> dict[str, Any]:
    """The same as figures; keys carry the unit, what is not known is null."""
    return {
        "charge_tract": _tract_json(build),
        "filling": filling_json(build),
        "electrics": electrics_json(build),
    }


def _tract_json(build: Build) -> dict[str, Any]:
    tract = charge_tract(build)
    return {
        "volume_m3": tract.volume,
        "parts": {name: {"charge_volume_m3": volume} for name, volume in tract.held},
        "boost_Pa_gauge": tract.gauge,
        "engine_speed_rpm": tract.speed * 60.0,
        "air_flow_kg_s": tract.flow,
        "fill_air_kg": tract.air,
        "fill_time_s": tract.fill_time if tract.air > 0.0 else None,
        "leak_area_m2": tract.leak_area,
        "leak_flow_kg_s": tract.leak_flow,
        "couplers": [coupler_block(found) for found in tract.couplers],
    }


def coupler_block(found: Coupler) -> dict[str, Any]:
    """One pipe's couplers; an unknown rating is null."""
    return {
        "part": found.part,
        "pressure_Pa_gauge": found.gauge,
        "pull_N": found.force,
        "rating_Pa_gauge": found.rating,
        "rating_margin": found.left,
    }
