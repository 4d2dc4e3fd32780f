"""Which uncertain inputs matter most for a figure.

What is here: `by_regression` (from draws that there are already, with errors), `variance_shares` (first and
total shares of the variance of any function, by pick and freeze), `by_variance` (the same for a build, on
request: hundreds of runs) and `words` (what to say).  What is not: drawing and running (`draws.py`, `bands.py`).

Sources, all from memory: Saltelli et al. 2010, Computer Physics Communications 181, for the first share;
Jansen 1999, Computer Physics Communications 117, for the total one; forward selection with an F test of each
step is textbook regression.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from coldside.build.model import Build
from coldside.duty.model import Session
from coldside.errors import BadInput, NoAnswer, require
from coldside.explore.bands import Bands, figures_of_draws
from coldside.explore.draws import Uncertain, scores
from coldside.explore.outcome import DRAWN, Fineness
from coldside.judge.wording import Quantity, Sentence, listed

CHANCE_FIND = 0.05  # chance that a regression names any input where none matters
MOST_NAMED = 8  # inputs that a regression names at most
RESAMPLES = 200  # of the bootstrap
WORTH_NAMING = 0.05  # share of the variance from which an input is named in words
REST = "all others together"


@dataclass(frozen=True)
class Influence:
    """One input's (or group's) share of a figure's variance, each with one standard error.

    `first` is what would go if this input alone were known exactly, `total` what would stay if all but this
    one were; a regression knows no interactions and gives `first` for both.  `slope` is the change of the
    figure, SI, for one standard deviation more of the input; None for a group.
    """

    name: str
    keys: tuple[str, ...]
    first: float
    first_error: float
    total: float
    total_error: float
    slope: float | None


@dataclass(frozen=True)
class Sensitivity:
    """What makes a figure uncertain: influences, largest total first, the figure's standard deviation [SI], runs made.

    `explained` is the share of the variance that the influences have together.
    """

    figure: str
    influences: tuple[Influence, ...]
    deviation: float
    explained: float
    runs: int
    method: str  # "regression" or "variance"


# ---------------------------------------------------------------- from the draws there are


def by_regression(bands: Bands, figure: str = "intake_max") -> Sensitivity:
    """Inputs that a linear regression of a figure on the draws' standard normal numbers finds, with their errors.

    Inputs are taken in one by one, the one that explains most first, as long as the step could hardly be
    chance (`CHANCE_FIND` over all inputs).  Costs no run.  Raises `BadInput` for a figure that there is not.
    """
    y, Z = _known(bands, figure)
    n, count = Z.shape
    centred, spread = y - y.mean(), float(y.var())
    if spread <= 0.0 or count == 0:
        return Sensitivity(figure, (), float(np.sqrt(spread)), 0.0, 0, "regression")
    chosen: list[int] = []
    slopes, errors, left = np.zeros(0), np.zeros(0), spread
    columns = Z - Z.mean(axis=0)
    while len(chosen) < min(MOST_NAMED, count, n - 3):
        gains = [
            least_squares(columns[:, [*chosen, k]], centred)[2] if k not in chosen else np.inf for k in range(count)
        ]
        best = int(np.argmin(gains))
        if not _worth_it(left, gains[best], n - len(chosen) - 2, count - len(chosen)):
            break
        chosen.append(best)
        slopes, errors, left = least_squares(columns[:, chosen], centred)
    # of the part that is linear in one input the variance is (slope x sd)^2; the sd of the scores drawn is not quite 1
    found = [
        Influence(
            bands.inputs[k].name,
            bands.inputs[k].keys,
            share := float((slope * Z[:, k].std()) ** 2 / spread),
            error_share := float(2.0 * abs(slope) * error * Z[:, k].var() / spread),
            share,
            error_share,
            float(slope),
        )
        for k, slope, error in zip(chosen, slopes, errors, strict=True)
    ]
    found.sort(key=lambda one: -one.total)
    return Sensitivity(figure, tuple(found), float(np.sqrt(spread)), 1.0 - left / spread, 0, "regression")


def _known(bands: Bands, figure: str) -> tuple[np.ndarray, np.ndarray]:
    if figure not in bands.outcomes:
        raise BadInput(f"there is no figure {figure}; there are " + ", ".join(bands.outcomes), key="figure")
    values = np.asarray(bands.outcomes[figure])
    good = np.isfinite(values)
    return values[good], bands.scores[good]


def least_squares(columns: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """Slopes, their standard errors and the mean square that is left (columns and y have mean 0)."""
    slopes, *_ = np.linalg.lstsq(columns, y, rcond=None)
    left = y - columns @ slopes
    free = max(len(y) - columns.shape[1] - 1, 1)
    inverse = np.linalg.pinv(columns.T @ columns)
    errors = np.sqrt(np.maximum(np.diag(inverse), 0.0) * float(left @ left) / free)
    return slopes, errors, float(left @ left) / len(y)


def _worth_it(before: float, after: float, free: int, candidates: int) -> bool:
    """Whether the best of some candidates takes more off the mean square than chance would (F test, Bonferroni)."""
    if after <= 0.0 or free < 1:
        return before > after and free >= 1
    from scipy.stats import f as fisher

    return bool(fisher.sf((before - after) / after * free, 1, free) * candidates < CHANCE_FIND)


# ---------------------------------------------------------------- pick and freeze


@dataclass(frozen=True)
class Shares:
    """First and total shares of the variance by group, their standard errors, the function's standard deviation."""

    first: np.ndarray
    first_error: np.ndarray
    total: np.ndarray
    total_error: np.ndarray
    deviation: float
    runs: int


def variance_shares(
    answer: Callable[[np.ndarray], np.ndarray],
    groups: Sequence[Sequence[int]],
    n: int = 64,
    seed: int = 0,
) -> Shares:
    """Shares of the variance of `answer` that groups of its inputs have.

    Parameters: `answer` maps standard normal numbers (runs, inputs) to values (runs,), NaN where there is none;
    `groups` of columns, every column in one of them; `n` rows, so that n (groups + 2) values are asked for.
    First shares as Saltelli et al. 2010, total ones as Jansen 1999, errors by bootstrap over the rows.
    Raises `NoAnswer` where too few rows have all their values.
    """
    count = sum(len(group) for group in groups)
    require("n", n, low=4, high=2**16)
    both = scores(2 * count, n, seed)
    A, B = both[:, :count], both[:, count:]
    mixed = []
    for group in groups:
        rows = A.copy()
        rows[:, list(group)] = B[:, list(group)]
        mixed.append(rows)
    values = np.asarray(answer(np.concatenate([A, B, *mixed])), dtype=float).reshape(len(groups) + 2, n)
    values = values[:, np.isfinite(values).all(axis=0)]
    if values.shape[1] < max(4, n // 4):
        raise NoAnswer(f"only {values.shape[1]} of {n} rows of draws have an answer; nothing can be said of shares")
    first, total, deviation = _estimates(values)
    rng = np.random.default_rng(seed)
    again = [_estimates(values[:, rng.integers(0, values.shape[1], values.shape[1])]) for _ in range(RESAMPLES)]
    return Shares(
        first,
        np.std([one[0] for one in again], axis=0),
        total,
        np.std([one[1] for one in again], axis=0),
        deviation,
        n * (len(groups) + 2),
    )


def _estimates(values: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """First and total shares and the deviation from values (A, B, mixed ones; rows)."""
    a, b, mixed = values[0], values[1], values[2:]
    middle = 0.5 * (a.mean() + b.mean())  # a constant taken off lowers the scatter of the products
    variance = float(np.var(np.concatenate([a, b])))
    if variance <= 0.0:
        return np.zeros(len(mixed)), np.zeros(len(mixed)), 0.0
    first = ((b - middle) * (mixed - a)).mean(axis=1) / variance
    total = 0.5 * ((a - mixed) ** 2).mean(axis=1) / variance
    return first, total, float(np.sqrt(variance))


def by_variance(
    build: Build,
    session: Session,
    bands: Bands,
    figure: str = "intake_max",
    *,
    most: int = 6,
    n: int = 64,
    fineness: Fineness = DRAWN,
) -> Sensitivity:
    """First and total shares of the inputs that matter, the others together as one group; n (most + 3) runs at most.

    `bands` (of the same build and session) chooses the `most` inputs that go along best with the figure.
    Raises `BadInput` for a figure that there is not, `NoAnswer` where most runs find no balance.
    """
    y, Z = _known(bands, figure)
    count = len(bands.inputs)
    with_figure = np.abs((Z - Z.mean(axis=0)).T @ (y - y.mean()))
    chosen = np.argsort(-with_figure, kind="stable")[:most].tolist()
    rest = [k for k in range(count) if k not in chosen]
    groups = [[k] for k in chosen] + ([rest] if rest else [])

    def answer(rows: np.ndarray) -> np.ndarray:
        return figures_of_draws(build, session, bands.inputs, rows, figure, fineness=fineness, shares=bands.shares)

    found = variance_shares(answer, groups, n, bands.seed)
    slopes = _slopes(Z, y, chosen)
    influences = [
        Influence(
            bands.inputs[group[0]].name if k < len(chosen) else REST,
            bands.inputs[group[0]].keys if k < len(chosen) else tuple(bands.inputs[i].name for i in group),
            float(found.first[k]),
            float(found.first_error[k]),
            float(found.total[k]),
            float(found.total_error[k]),
            slopes[k] if k < len(chosen) else None,
        )
        for k, group in enumerate(groups)
    ]
    influences.sort(key=lambda one: -one.total)
    return Sensitivity(figure, tuple(influences), found.deviation, float(found.first.sum()), found.runs, "variance")


def _slopes(Z: np.ndarray, y: np.ndarray, chosen: Sequence[int]) -> list[float]:
    slopes, _, _ = least_squares(Z[:, chosen] - Z[:, chosen].mean(axis=0), y - y.mean())
    return [float(slope) for slope in slopes]


# ---------------------------------------------------------------- words


def words(found: Sensitivity, inputs: Sequence[Uncertain], of: str = "the peak of the intake") -> tuple[Sentence, ...]:
    """What matters most, in words; `of` names the figure.  Nothing where no input stands out."""
    named = [one for one in found.influences if one.name != REST and one.total >= WORTH_NAMING]
    if not named:
        return (Sentence(f"No single input stands out in what makes {of} uncertain."),) if inputs else ()
    help_of = {item.name: item.help for item in inputs}
    said: list[str] = []
    values: dict[str, Quantity | str] = {}
    for k, one in enumerate(named[:3]):
        more = f" and {len(one.keys) - 1} alike" if len(one.keys) > 1 else ""
        said.append(f"{{name{k}}} ({{help{k}}}; {{share{k}}})")
        values[f"name{k}"], values[f"help{k}"] = one.name + more, help_of[one.name]
        values[f"share{k}"] = Quantity(min(max(one.total, 0.0), 1.0), "share")
    lead = f"What makes {of} uncertain is above all " if len(said) > 1 else f"What makes {of} uncertain is mostly "
    return (Sentence(lead + listed(said) + ".", values), Sentence("Measure the first of these before all else."))
