"""What a shop wants to know of a build before it runs: charge tract, filling, electrics, cores; in sentences and JSON.

Here: `workshop` (the sections of `coldside check`) and `workshop_json`.  Not here: the figures behind them
(`tract.py`, `plant/filling.py`, `parts/`), and defaults and paths (`build/check.py`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from coldside.build.model import Build
from coldside.judge.tract import charge_tract, tract_sentences
from coldside.judge.wording import Sentence


@dataclass(frozen=True)
class Section:
    """A heading and its sentences."""

    title: str
    sentences: tuple[Sentence, ...]

    def words(self, system: str) -> tuple[str, list[str]]:
        """Heading and sentences in "si" or "us" units."""
        return self.title, [sentence.words(system) for sentence in self.sentences]


def workshop(build: Build) -> tuple[Section, ...]:
    """The sections of `coldside check`, those that have something to say."""
    found = (Section("Charge tract", tract_sentences(build)),)
    return tuple(section for section in found if section.sentences)


def workshop_json(build: Build) -> dict[str, Any]:
    """The same as figures; keys carry the unit, what is not known is null."""
    return {"charge_tract": _tract_json(build)}


def _tract_json(build: Build) -> dict[str, Any]:
    tract = charge_tract(build)
    return {
        "volume_m3": tract.volume,
        "parts": {name: {"charge_volume_m3": volume} for name, volume in tract.held},
        "not_counted": list(tract.unknown),
        "boost_Pa_gauge": tract.gauge,
        "engine_speed_rpm": tract.speed * 60.0,
        "air_flow_kg_s": tract.flow,
        "fill_air_kg": tract.air,
        "fill_time_s": tract.fill_time if tract.air > 0.0 else None,
        "leak_area_m2": tract.leak_area,
        "leak_flow_kg_s": tract.leak_flow,
        "couplers": [
            {
                "part": found.part,
                "pressure_Pa_gauge": found.gauge,
                "pull_N": found.force,
                "rating_Pa_gauge": found.rating,
                "rating_margin": found.left,
            }
            for found in tract.couplers
        ],
    }
