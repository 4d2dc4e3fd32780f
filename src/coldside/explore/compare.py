"""Two to four builds on one session: who is ahead in what, by how much, and how sure that is.

What is here: `compare`, `Comparison` and the figures behind them; `compared` judges forecasts that there are already.
What is not: the words and the JSON (`compare_words.py`), bands of one build (`bands.py`), what a build carries
(`inventory.py`).

Builds are drawn in pairs: an input that both have alike (the engine's, the day's, a part that is the same in both)
gets the same number in every draw, so that what is unknown to both alike drops out of the difference.  Two spans can
overlap widely and yet one build be ahead in nearly every draw.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coldside.build.model import Build
from coldside.duty.model import Session, Span
from coldside.errors import BadInput, ColdsideError, require
from coldside.explore.bands import DRAWS, Band, Bands, simulate_many
from coldside.explore.coarse import all_right, lacks
from coldside.explore.draws import Uncertain, uncertain_inputs
from coldside.explore.inventory import Inventory, electrical_energy, inventory
from coldside.explore.outcome import DRAWN, Fineness, Outcome, figures, run
from coldside.judge.power import mean_where
from coldside.judge.verdict import Verdict, judge
from coldside.parts.pump import Control
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast

FEWEST, MOST = 2, 4  # builds
LETTERS = "ABCD"
SURE = 0.95  # share of the paired draws in which the better one is better, from which that is clear
RUNS = ("pass", "lap", "run")  # kinds of what is driven against the clock
HOTTEST, MEAN = "hottest.", "mean."  # figures of a stretch: in boost, over all of it


@dataclass(frozen=True)
class Loss:
    """What a build does with some of its pumps or fans dead from the start: names, hottest intake [K], limits broken.

    `intake` is None where it finds no balance.
    """

    what: str  # "pumps" or "fans"
    names: tuple[str, ...]
    intake: float | None
    broken: tuple[str, ...]


@dataclass(frozen=True)
class Entry:
    """One build of a comparison; `figures` by name, SI, and their bands (empty without draws)."""

    letter: str
    forecast: Forecast
    verdict: Verdict
    inventory: Inventory
    energy: float  # J, electrical, of pumps and fans over the session
    figures: Mapping[str, float]
    bands: Bands | None
    losses: tuple[Loss, ...]

    @property
    def name(self) -> str:
        """The build's own name."""
        return self.forecast.build.name

    def band(self, figure: str) -> Band | None:
        """10th, 50th and 90th percentile of a figure; None without draws or for a figure that has none."""
        return None if self.bands is None else self.bands.figures.get(figure)


@dataclass(frozen=True)
class Contrast:
    """One figure of every build, SI.

    `kind` of unit; `lower` is better, or not; `values` by letter; `ahead` and `next` the letters of the best and the
    second best by value; `gap` how much better [SI, 0 or above] the best is, as a difference.  With draws: `band` of
    that gap in paired draws, `chance` that the one ahead is ahead, and `overlap`, whether the likely spans of the two
    overlap.  `settled` is "clear", "likely" or "open": too small to count, or `told_apart` is false.
    """

    figure: str
    kind: str
    lower: bool
    values: Mapping[str, float]
    ahead: str
    next: str
    gap: float
    settled: str
    band: Band | None = None
    chance: float | None = None
    overlap: bool | None = None

    @property
    def told_apart(self) -> bool:
        """Whether the likely range of the gap leaves out zero; without draws nothing says that it does not."""
        return self.band is None or self.band[0] > 0.0


@dataclass(frozen=True)
class Comparison:
    """Builds side by side on one session; `contrasts` in the order in which they are told, `stretches` by name."""

    session: Session
    entries: tuple[Entry, ...]
    contrasts: tuple[Contrast, ...]
    stretches: tuple[tuple[str, Contrast], ...]
    draws: int

    def contrast(self, figure: str) -> Contrast | None:
        """The contrast of a figure; None where not every build has it."""
        return next((one for one in self.contrasts if one.figure == figure), None)

    def entry(self, letter: str) -> Entry:
        """The build of a letter."""
        return self.entries[LETTERS.index(letter)]


@dataclass(frozen=True)
class _Told:
    """How a figure is told."""

    kind: str
    lower: bool
    least: float  # smallest gap that counts, SI; of a mass, volume or energy a share of the larger


TOLD = {
    "intake_max": _Told("temperature", True, 1.0),
    "sensor_max": _Told("temperature", True, 1.0),
    "power_mean": _Told("power", False, 0.005),
    "lost_to_heat_in_boost": _Told("share", True, 0.002),
    **{
        f"{figure}.{kind}": told
        for kind in RUNS
        for figure, told in {
            "run_best": _Told("stopwatch", True, 0.01),
            "run_total": _Told("stopwatch", True, 0.05),
            "heat_cost": _Told("seconds", True, 0.05),
        }.items()
    },
    "spread_temperature": _Told("share", True, 0.02),
    "spread_power": _Told("share", True, 0.002),
    "mass": _Told("mass", True, 0.05),
    "charge_volume": _Told("volume", True, 0.05),
    "energy": _Told("energy", True, 0.05),
}
OF_SHARE = ("power_mean", "mass", "charge_volume", "energy")
OF_STRETCH = _Told("temperature", True, 1.0)


# ---------------------------------------------------------------- comparing


def compare(
    builds: Sequence[Build],
    session: Session,
    *,
    n: int = DRAWS,
    seed: int = 0,
    fineness: Fineness = DRAWN,
    losses: bool = True,
    progress: Callable[[str], None] = lambda text: None,
) -> Comparison:
    """Two to four builds on one session.

    Parameters
    ----------
    builds : in the order in which they get their letters.
    n, seed : draws of the uncertain inputs, the same for all builds; 0 for none: nothing is then said of how sure
        a difference is.
    fineness : of the draws.
    losses : whether to run every build with its pumps dead, and with its fans dead (coarse, three more runs at most).
    progress : is told what is done, line by line.

    Runs: one fine, 1 + n coarse, and those of `losses`, for every build.  Raises `BadInput` for fewer than two or
    more than four builds, and as `simulate` and `simulate_many` do.
    """
    check_number(len(builds))
    require("n", n, low=0, high=2**20)
    forecasts = []
    for build in builds:
        progress(f"{build.name}, {session.name}:")
        forecasts.append(simulate(build, session, progress=progress))
    found: list[Bands | None] = [None] * len(builds)
    if n:
        progress(f"{n} draws of every build")
        lists = paired_inputs(builds, session)
        found = [
            simulate_many(build, session, n, seed, forecast=one, inputs=inputs, fineness=fineness, measure=seen)
            for build, one, inputs in zip(builds, forecasts, lists, strict=True)
        ]
    return compared(forecasts, found, losses=losses, fineness=fineness)


def check_number(count: int) -> None:
    """Refuse fewer builds than two or more than four."""
    if not FEWEST <= count <= MOST:
        given = "one build" if count == 1 else f"{count} builds"
        raise BadInput(f"{given} given; {FEWEST} to {MOST} can be compared", key="builds")


def compared(
    forecasts: Sequence[Forecast],
    bands: Sequence[Bands | None],
    *,
    losses: bool = True,
    fineness: Fineness = DRAWN,
) -> Comparison:
    """The same from forecasts of one session, and bands made with `paired_inputs` and `seen`, or None for all."""
    entries = tuple(
        _entry(letter, forecast, found, losses, fineness)
        for letter, forecast, found in zip(LETTERS, forecasts, bands, strict=False)
    )
    rows = _rows(entries)
    contrasts = [_contrast(entries, figure, told, rows) for figure, told in TOLD.items()]
    stretches = []
    for name in dict.fromkeys(stretch_name(span) for span in forecasts[0].demand.spans):
        # in boost where every build is in boost there, else over all of the stretch
        found_one = _contrast(entries, HOTTEST + name, OF_STRETCH, rows) or _contrast(
            entries, MEAN + name, OF_STRETCH, rows
        )
        if found_one is not None:
            stretches.append((name, found_one))
    return Comparison(
        session=forecasts[0].session,
        entries=entries,
        contrasts=tuple(one for one in contrasts if one is not None),
        stretches=tuple(stretches),
        draws=0 if rows is None else len(rows[0]),
    )


def seen(forecast: Forecast | Outcome) -> dict[str, float]:
    """Headline figures, and of every stretch of the session its hottest intake in boost and its mean intake, K."""
    found = figures(forecast)
    boost = forecast.boost
    masks: dict[str, np.ndarray] = {}
    for span in forecast.demand.spans:
        masks.setdefault(stretch_name(span), np.zeros(len(forecast.time), dtype=bool))[span.first : span.last + 1] = (
            True
        )
    for name, mask in masks.items():
        if (mask & boost).any():
            found[HOTTEST + name] = float(forecast.intake[mask & boost].max())
        mean = mean_where(forecast.intake, mask, forecast.time)
        if mean is not None:
            found[MEAN + name] = mean
    return found


def stretch_name(span: Span) -> str:
    """A stretch's words without repeats' numbers: "pull 3" is "pull", "lap 3 main straight" is "main straight"."""
    text = span.label
    if span.repeat >= 0:
        before, after = re.match(rf"(.*?)(?: {span.repeat + 1}(?: (.*))?)?$", text).groups()  # type: ignore[union-attr]
        text = re.sub(r" \d+$", "", after or before)
    return text


# ---------------------------------------------------------------- draws in pairs


def paired_inputs(builds: Sequence[Build], session: Session) -> list[tuple[Uncertain, ...]]:
    """For every build the inputs to draw, all lists equally long: what is alike in two builds has the same place.

    A place that a build has no input for holds one that moves nothing.
    """
    places: dict[tuple[Any, ...], int] = {}
    own: list[dict[int, Uncertain]] = []
    for build in builds:
        mine: dict[int, Uncertain] = {}
        for item in uncertain_inputs(build, session):
            place = places.setdefault(_identity(build, item), len(places))
            mine[place] = item
        own.append(mine)
    idle = Uncertain((), 0.0, 1.0, -np.inf, np.inf, "normal", "number", "of another build")
    return [tuple(mine.get(k, idle) for k in range(len(places))) for mine in own]


def _identity(build: Build, item: Uncertain) -> tuple[Any, ...]:
    """What must be the same in two builds for an input to be one and the same unknown."""
    if item.in_session:
        return ("session", item.name)
    given = build.givens[item.name]
    top, _, rest = item.name.partition(".")
    part = build.parts.get(rest.rpartition(".")[0]) if top == "parts" else None
    return (item.name, type(part).__name__, item.value, item.sd, item.form, repr(given.value))


def _rows(entries: Sequence[Entry]) -> list[np.ndarray] | None:
    """For every build the places, among its outcomes, of the draws in which all builds found a balance."""
    if any(entry.bands is None for entry in entries):
        return None
    numbers = []
    for entry in entries:
        assert entry.bands is not None
        numbers.append({row.tobytes(): k for k, row in enumerate(np.ascontiguousarray(entry.bands.scores))})
    shared = [key for key in numbers[0] if all(key in other for other in numbers[1:])]
    return [np.array([mine[key] for key in shared], dtype=int) for mine in numbers]


# ---------------------------------------------------------------- one build, one figure


def _entry(letter: str, forecast: Forecast, bands: Bands | None, losses: bool, fineness: Fineness) -> Entry:
    held, energy = inventory(forecast.build), electrical_energy(forecast)
    values = seen(forecast) | {"mass": held.mass, "charge_volume": held.charge_volume, "energy": energy}
    verdict = (
        judge(forecast, with_knock=False)
        if bands is None
        else judge(forecast, bands=bands.figures, chances=bands.chances, with_knock=False)
    )
    died = _losses(forecast, held, fineness) if losses else ()
    return Entry(letter, forecast, verdict, held, energy, values, bands, died)


def _losses(forecast: Forecast, held: Inventory, fineness: Fineness) -> tuple[Loss, ...]:
    build, session = forecast.build, forecast.session
    dead = [(what, names) for what, names in (("pumps", held.pumps), ("fans", held.fans)) if names]
    if not dead:
        return ()
    lacking = lacks(figures(forecast), figures(run(build, session, fineness, shares=forecast.shares)), session.limits)
    found = []
    for what, names in dead:
        parts: dict[str, Any] = dict(build.parts)
        parts |= {name: replace(parts[name], control=Control("off")) for name in names}
        try:
            without = figures(run(replace(build, parts=parts), session, fineness, shares=forecast.shares))
        except ColdsideError:
            found.append(Loss(what, names, None, ()))
            continue
        found_then = all_right(without, lacking, session.limits)
        broken = tuple(
            result.name
            for k, (limit, result) in enumerate(zip(session.limits, _named(forecast), strict=True))
            if f"limits.{k}" in found_then and limit.room(found_then[f"limits.{k}"]) < 0.0
        )
        found.append(Loss(what, names, found_then["intake_max"], broken))
    return tuple(found)


def _named(forecast: Forecast) -> Sequence[Any]:
    return judge(forecast, with_knock=False).limits


def _contrast(entries: Sequence[Entry], figure: str, told: _Told, rows: list[np.ndarray] | None) -> Contrast | None:
    """One figure; None where a build lacks it."""
    if any(figure not in entry.figures for entry in entries):
        return None
    sign = 1.0 if told.lower else -1.0
    ranked = sorted(entries, key=lambda entry: sign * entry.figures[figure])
    best, second = ranked[0], ranked[1]
    gap = sign * (second.figures[figure] - best.figures[figure])
    large = max(abs(entry.figures[figure]) for entry in entries)
    counts = gap >= told.least * (large if figure in OF_SHARE else 1.0)
    made = Contrast(
        figure=figure,
        kind=told.kind,
        lower=told.lower,
        values={entry.letter: entry.figures[figure] for entry in entries},
        ahead=best.letter,
        next=second.letter,
        gap=gap,
        settled="clear" if counts else "open",
    )
    return made if rows is None else _sure(made, entries, rows, counts)


def _sure(made: Contrast, entries: Sequence[Entry], rows: list[np.ndarray], counts: bool) -> Contrast:
    """A contrast with what the draws say of it; one without draws (a mass) as it is."""
    first, second = LETTERS.index(made.ahead), LETTERS.index(made.next)
    pair = entries[first], entries[second]
    spans = [entry.band(made.figure) for entry in pair]
    if spans[0] is None or spans[1] is None:
        return made
    values = [
        np.asarray(entry.bands.outcomes[made.figure])[rows[at]] if entry.bands is not None else np.zeros(0)
        for entry, at in zip(pair, (first, second), strict=True)
    ]
    gaps = (values[1] - values[0]) if made.lower else (values[0] - values[1])
    gaps = gaps[np.isfinite(gaps)]
    if gaps.size < 2:
        return made
    low, middle, high = (float(x) for x in np.percentile(gaps, (10.0, 50.0, 90.0)))
    # a draw that ties counts half
    chance = float(np.mean(gaps > 0.0) + 0.5 * np.mean(gaps == 0.0))
    word = "clear" if chance >= SURE else "likely"
    return replace(
        made,
        settled=word if counts and low > 0.0 else "open",
        band=(low, middle, high),
        chance=chance,
        overlap=max(spans[0][0], spans[1][0]) <= min(spans[0][2], spans[1][2]),
    )
