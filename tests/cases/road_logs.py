"""Intake air before the compressor against road speed: 25 logs of one car, each predicted from others.

Origin, licence and the trap in the reading: tests/data/road-logs/README.md.  A drive starts at its first trusted
reading, the rise it starts from is the median of that reading's first minute, and those readings are neither fitted
nor judged.  What is predicted is the reading: the air drawn in, and the swing of the meter at the log's own air flow.
A gap in the record of more than a minute ends a drive: what the car did in it is not known.  A warm
minute is one with coolant over 80 degC and at least half of its readings to be trusted; the car's speed in it says to
which bin it belongs.

The five splits below were set beforehand.  Another half of the logs may do worse: of 60 random ones (`halves`) 45 meet
the mark of 2 K in every bin, the worst has 3.0 K in one, and 94 to 100 % of minutes lie within 4 K.  Of a half, a bin
below 20 km/h holds some 20 to 40 minutes of few logs, and logs differ by some 1.5 K each for reasons they do not tell.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path

import numpy as np

from cases.record import Measured
from coldside.parts.intake_air import Meter, PickUp, RoadLog, fit_pickup, warmth

LOGS = Path(__file__).resolve().parents[1] / "data" / "road-logs" / "logs_10s.csv"
SPEEDS = np.array([0, 5, 10, 20, 30, 45, 60, 80, 100, 120, 150, 400]) / 3.6  # m/s, the bins of the data's own table
WARM = 80.0  # degC, coolant
HALF = 3  # of the six readings of 10 s in a minute
MINUTE = 60.0  # s


@functools.cache
def road_logs() -> dict[int, tuple[RoadLog, ...]]:
    """The drives of every log by its number; log 12 has no reading with a warm engine."""
    rows = np.genfromtxt(LOGS, delimiter=",", names=True)
    found = {}
    for number in np.unique(rows["log"]).astype(int).tolist():
        own = rows[rows["log"] == number]
        breaks = np.flatnonzero(np.diff(own["t_s"]) > MINUTE) + 1
        found[number] = tuple(_drive(part) for part in np.split(own, breaks) if np.isfinite(part["rise_K"]).any())
    return found


def _drive(rows: np.ndarray) -> RoadLog:
    """From the first trusted reading on; only readings with a warm engine and after the first minute are kept."""
    own = rows[int(np.isfinite(rows["rise_K"]).argmax()) :]
    first = own["t_s"] < own["t_s"][0] + MINUTE
    return RoadLog(
        time=own["t_s"],
        road_speed=own["road_speed_m_s"],
        engine_speed=own["engine_speed_rpm"] / 60.0,
        rise=np.where((own["coolant_C"] > WARM) & ~first, own["rise_K"], np.nan),
        ambient=own["ambient_C"] + 273.15,
        warmth=warmth(own["coolant_C"][0] + 273.15, own["ambient_C"][0] + 273.15),
        start=float(np.nanmedian(own["rise_K"][first])),
        air_flow=own["air_flow_g_s"] / 1000.0,
    )


@functools.cache
def fitted(logs: tuple[int, ...]) -> tuple[PickUp, Meter | None]:
    found = fit_pickup([drive for number in logs for drive in road_logs()[number]])
    return found.pickup, found.meter


def warm_minutes(pickup: PickUp, meter: Meter | None, number: int) -> tuple[np.ndarray, np.ndarray]:
    """Predicted minus measured rise [K] and road speed [m/s] of every warm minute of a log."""
    found: list[tuple[float, float]] = []
    for drive in road_logs()[number]:
        off, minute = drive.read(pickup, meter) - drive.rise, (drive.time // MINUTE).astype(int)
        kept = np.isfinite(off)
        for one in np.unique(minute[kept]):
            here = minute == one
            if (kept & here).sum() >= HALF:
                found.append((float(off[kept & here].mean()), float(drive.road_speed[here].mean())))
    offs, speeds = np.array(found).reshape(-1, 2).T
    return offs, speeds


def judged(pairs: list[tuple[tuple[int, ...], tuple[int, ...]]]) -> dict[str, float]:
    """Of (logs fitted to, logs predicted): how the predicted warm minutes came out, all together."""
    parts = [warm_minutes(*fitted(known), number) for known, unknown in pairs for number in unknown]
    off, speed = (np.concatenate([part[k] for part in parts]) for k in (0, 1))
    place = np.digitize(speed, SPEEDS) - 1
    bins = [off[place == k] for k in range(len(SPEEDS) - 1)]
    missed = [float(np.median(np.abs(one))) for one in bins if one.size]
    return {
        "worst_bin_median": max(abs(float(np.median(one))) for one in bins if one.size),
        "worst_bin_median_without_sign": max(missed),
        "share_within_4_K": float(np.mean(np.abs(off) <= 4.0)),
        "minutes": float(off.size),
    }


def by(known: Callable[[int], bool]) -> dict[str, float]:
    """Fitted to the logs of these numbers, the others predicted."""
    numbers = tuple(road_logs())
    fit_to = tuple(n for n in numbers if known(n))
    return judged([(fit_to, tuple(n for n in numbers if n not in fit_to))])


def halves(splits: int = 30, seed: int = 1) -> list[dict[str, float]]:
    """As many random splits of the logs into 12 and 13, each both ways."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(splits):
        order = rng.permutation(tuple(road_logs())).tolist()
        one, other = tuple(sorted(order[:12])), tuple(sorted(order[12:]))
        found += [judged([(one, other)]), judged([(other, one)])]
    return found


def fifths() -> dict[str, float]:
    """Every log predicted once: five fits, each to four fifths of the logs (by number), for the fifth left out."""
    numbers = tuple(road_logs())
    return judged(
        [(tuple(n for n in numbers if n % 5 != k), tuple(n for n in numbers if n % 5 == k)) for k in range(5)]
    )


HOW = (
    "six figures and the meter's two fitted to {} (least squares); the other logs predicted from their own start, "
    "speeds, air flow and day, the first minute's readings as start and not judged"
)
MARK = (
    "pass marks set beforehand: median error of every speed bin of the data's own table 2 K, 80 % of warm minutes "
    "within 4 K (kept here: 93 %); both readings come in steps of 1 K"
)


def _of(part: str, what: str, compute: Callable[[], dict[str, float]], how: str) -> Measured:
    return Measured(
        id="data-pickup",
        part=part,
        what=what,
        data="road-logs",
        compute=compute,
        at_most={"worst_bin_median": 2.0, "worst_bin_median_without_sign": 2.0},
        at_least={"share_within_4_K": 0.93, "minutes": 400.0},
        unit="",
        limit_reason=MARK,
        source=("WeberRoadLogs",),
        how=HOW.format(how),
    )


MEASURED = [
    _of(
        "from the even logs",
        "intake air before the compressor over ambient, 13 logs that the fit has not seen",
        functools.partial(by, lambda n: n % 2 == 0),
        "the even logs alone",
    ),
    _of(
        "from the odd logs",
        "the same the other way: 12 logs, among them one that starts soaked and reads 25 to 38 K",
        functools.partial(by, lambda n: n % 2 == 1),
        "the odd logs alone",
    ),
    _of(
        "from the first half",
        "logs 13 to 25 predicted",
        functools.partial(by, lambda n: n <= 12),
        "logs 1 to 12",
    ),
    _of(
        "from the second half",
        "logs 1 to 12 predicted",
        functools.partial(by, lambda n: n > 12),
        "logs 13 to 25",
    ),
    _of(
        "by fifths",
        "every log predicted once, from four fifths of the logs",
        fifths,
        "four fifths of the logs, five times",
    ),
]
