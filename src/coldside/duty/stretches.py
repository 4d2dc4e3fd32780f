"""A session written out: groups and repeats one after another, on sample indices.

What is here: `Stretch` and `unroll`.  What is not: what a stretch asks (`driver.py`).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from coldside.duty.model import SAMPLE_TIME, PhaseSpec, Session
from coldside.duty.samples import Replay
from coldside.errors import BadInput

SAMPLE_RATE = round(1.0 / SAMPLE_TIME)  # samples a second; times are index / rate, so that they are exact
SAID = {  # words for the chart's foot
    "idle": "idle", "traffic": "stop and go", "cruise": "cruise", "pull": "pull",
    "cooldown": "cooldown", "parked": "parked", "replay": "replay",
}  # fmt: skip


@dataclass(frozen=True)
class Stretch:
    """One span to be: its phase, and the samples at which it starts and ends."""

    phase: PhaseSpec
    index: int  # of the phase in the file, for messages
    kind: str
    label: str
    repeat: int
    start: int
    end: int

    @property
    def first(self) -> int:
        """First sample that it owns; the very first stretch owns its start too."""
        return self.start + 1 if self.start else 0

    def local(self) -> np.ndarray:
        """Times of its own samples since its start, s."""
        return (np.arange(self.first, self.end + 1) - self.start) / SAMPLE_RATE


def unroll(session: Session, replays: Mapping[int, Replay]) -> list[Stretch]:
    """Groups and repeats written out one after another, on sample indices."""
    stretches: list[Stretch] = []
    elapsed = 0.0
    for phase, index, kind, label, repeat, duration in _sequence(session, replays):
        start = math.floor(elapsed * SAMPLE_RATE + 0.5)
        elapsed += duration
        end = math.floor(elapsed * SAMPLE_RATE + 0.5)
        if end > start:
            stretches.append(Stretch(phase, index, kind, label, repeat, start, end))
    if not stretches:
        raise BadInput("the session has no phase, so there is nothing to forecast", where=session.file, key="phases")
    return stretches


_Turn = tuple[PhaseSpec, int, str, str, int, float]


def _sequence(session: Session, replays: Mapping[int, Replay]) -> Iterator[_Turn]:
    """(phase, its index, kind, label, repeat, duration) in the order in which they are driven."""
    for group, members in itertools.groupby(enumerate(session.phases), key=lambda item: item[1].group):
        phases = list(members)
        rounds = 1 if group is None else int(session.groups.get(group, 1))
        for k in range(rounds):
            for index, phase in phases:
                yield from _turns(
                    phase, index, replays, "" if group is None else f"{group} {k + 1} ", k if rounds > 1 else -1
                )


def _turns(phase: PhaseSpec, index: int, replays: Mapping[int, Replay], prefix: str, lap: int) -> Iterator[_Turn]:
    """One phase: itself, or a pull's repeats with the rests between them (none after the last)."""
    words = phase.name or SAID[phase.kind]
    if phase.kind != "pull":
        if phase.kind == "replay":
            if index not in replays:
                raise BadInput("a replay needs samples: the name of a CSV file", key=f"phases[{index}].samples")
            duration = float(replays[index].time[-1])
        elif phase.duration is None:
            raise BadInput(f"a {phase.kind} needs duration", key=f"phases[{index}].duration")
        else:
            duration = phase.duration
        yield phase, index, phase.kind, prefix + words, lap, duration
        return
    if phase.duration is None:
        raise BadInput("a pull needs duration", key=f"phases[{index}].duration")
    for r in range(phase.repeat):
        numbered = f"{words} {r + 1}" if phase.repeat > 1 else words
        repeat = lap if lap >= 0 else r if phase.repeat > 1 else -1  # in a repeated group the group is what repeats
        yield phase, index, "pull", prefix + numbered, repeat, phase.duration
        if phase.rest > 0.0 and r + 1 < phase.repeat:
            yield phase, index, "idle", prefix + "rest", -1, phase.rest
