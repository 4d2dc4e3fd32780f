"""A session written out: groups and repeats one after another, on sample indices.

What is here: `Stretch` and `unroll`.  What is not: what a stretch asks (`driver.py`).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

import numpy as np

from coldside.duty.drive import Driven
from coldside.duty.model import SAMPLE_TIME, PhaseSpec, Session
from coldside.duty.runs import Piece, Runner
from coldside.duty.samples import Replay
from coldside.duty.schedules import schedule, schedule_name
from coldside.errors import BadInput

SAMPLE_RATE = round(1.0 / SAMPLE_TIME)  # samples a second; times are index / rate, so that they are exact
LONGEST_SESSION = 6 * 3600.0  # s, groups and repeats written out
CREEP_SPEED = 1.5  # m/s in a queue (own)
PADDOCK_IDLE = 120.0  # s of idle at the end of a wait in the paddock
SAID = {  # words for the chart's foot
    "idle": "idle", "traffic": "stop and go", "cruise": "cruise", "pull": "pull",
    "cooldown": "cooldown", "parked": "parked", "replay": "replay", "pass": "pass", "lap": "lap", "cycle": "cycle",
    "staging": "staging", "paddock": "paddock",
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
    part: str = ""  # what it is of a phase with several: see `runs.Piece`, or "off", "rest"
    piece: Piece | None = None
    since: float = 0.0  # time of its piece's march at sample `start`, s: marches do not begin on samples

    @property
    def first(self) -> int:
        """First sample that it owns; the very first stretch owns its start too."""
        return self.start + 1 if self.start else 0

    @property
    def driven(self) -> Driven | None:
        """The march that it is taken from, if any."""
        return None if self.piece is None else self.piece.driven

    def local(self) -> np.ndarray:
        """Times of its own samples since its start, s."""
        return (np.arange(self.first, self.end + 1) - self.start) / SAMPLE_RATE


def unroll(session: Session, replays: Mapping[int, Replay], runner: Runner) -> list[Stretch]:
    """Groups and repeats written out one after another, on sample indices.

    The runner is told when each phase begins: a run is driven in the air of its own start.

    Raises `BadInput` where nothing is to be done, or more than `LONGEST_SESSION`.
    """
    stretches: list[Stretch] = []
    elapsed = 0.0
    for turn in _sequence(session, replays, runner):
        runner.clock = elapsed + turn.duration
        start = math.floor(elapsed * SAMPLE_RATE + 0.5)
        since = start / SAMPLE_RATE - elapsed
        elapsed += turn.duration
        end = math.floor(elapsed * SAMPLE_RATE + 0.5)
        if end > start:
            phase, index, kind, label, repeat, _, part, piece = turn
            stretches.append(Stretch(phase, index, kind, label, repeat, start, end, part, piece, since))
        if elapsed > LONGEST_SESSION + 1.0:
            raise BadInput(
                f"the session lasts over {LONGEST_SESSION / 3600.0:.0f} h, the longest that is solved",
                where=session.file,
                key=f"phases[{turn.place}]",
            )
    if not stretches:
        raise BadInput("the session has no phase, so there is nothing to forecast", where=session.file, key="phases")
    return stretches


class _Turn(NamedTuple):
    """One stretch in the order in which they are driven, with the exact time it takes, s."""

    phase: PhaseSpec
    place: int  # of the phase in the file
    kind: str
    label: str
    repeat: int
    duration: float
    part: str = ""
    piece: Piece | None = None


def _sequence(session: Session, replays: Mapping[int, Replay], runner: Runner) -> Iterator[_Turn]:
    for group, members in itertools.groupby(enumerate(session.phases), key=lambda item: item[1].group):
        phases = list(members)
        rounds = 1 if group is None else int(session.groups.get(group, 1))
        for k in range(rounds):
            for index, phase in phases:
                prefix = "" if group is None else f"{group} {k + 1} "
                for turn in _turns(phase, index, replays, k if rounds > 1 else -1, runner):
                    yield turn._replace(label=prefix + turn.label)


def _turns(phase: PhaseSpec, index: int, replays: Mapping[int, Replay], lap: int, runner: Runner) -> Iterator[_Turn]:
    """One phase: itself, or its repeats with what stands between them."""
    words = phase.name or SAID[phase.kind]
    if phase.kind in ("pass", "lap") or (phase.kind == "pull" and phase.duration is None):
        yield from _driven(phase, index, runner, lap)
    elif phase.kind == "pull":
        yield from _pulls(phase, index, words, lap)
    elif phase.kind == "cycle":
        name = schedule_name(needed(phase.schedule, "cycle", "schedule", index))
        duration = float(schedule(name)[0][-1])
        for r in range(phase.repeat):
            label = phase.name or name
            numbered, repeat = (f"{label} {r + 1}", r) if phase.repeat > 1 else (label, -1)
            yield _Turn(phase, index, "cycle", numbered, lap if lap >= 0 else repeat, duration)
    elif phase.kind == "paddock":
        whole = needed(phase.duration, "paddock", "duration", index)
        off = whole - PADDOCK_IDLE if phase.engine_off is None and whole > PADDOCK_IDLE else phase.engine_off
        off = whole if off is None else min(off, whole)
        yield _Turn(phase, index, "paddock", f"{words}, engine off", lap, off, "off")
        yield _Turn(phase, index, "paddock", f"{words}, idle", lap, whole - off, "rest")
    elif phase.kind == "replay":
        if index not in replays:
            raise BadInput("a replay needs samples: the name of a CSV file", key=f"phases[{index}].samples")
        yield _Turn(phase, index, "replay", words, lap, float(replays[index].time[-1]))
    else:
        yield _Turn(phase, index, phase.kind, words, lap, needed(phase.duration, phase.kind, "duration", index))


def _pulls(phase: PhaseSpec, index: int, words: str, lap: int) -> Iterator[_Turn]:
    """A pull's repeats with the rests between them (none after the last)."""
    for r in range(phase.repeat):
        numbered = f"{words} {r + 1}" if phase.repeat > 1 else words
        repeat = lap if lap >= 0 else r if phase.repeat > 1 else -1  # in a repeated group the group is what repeats
        yield _Turn(phase, index, "pull", numbered, repeat, needed(phase.duration, "pull", "duration", index))
        if phase.rest > 0.0 and r + 1 < phase.repeat:
            yield _Turn(phase, index, "idle", "rest", -1, phase.rest, "rest")


def _driven(phase: PhaseSpec, index: int, runner: Runner, lap: int) -> Iterator[_Turn]:
    """Passes, laps and pulls that last as long as they take."""
    counted = itertools.count()
    for piece in runner.pieces(phase, index):
        repeat = -1
        if piece.part == "run":
            r = next(counted)
            repeat = lap if lap >= 0 else r if phase.repeat > 1 else -1
        kind = "idle" if piece.part == "rest" else phase.kind
        yield _Turn(phase, index, kind, piece.label, repeat, piece.duration, piece.part, piece)


_T = TypeVar("_T")


def needed(value: _T | None, kind: str, key: str, index: int) -> _T:
    """The value of a key that a kind of phase cannot do without; refuses its absence."""
    if value is None:
        raise BadInput(f"a {kind} needs {key}", key=f"phases[{index}].{key}")
    return value
