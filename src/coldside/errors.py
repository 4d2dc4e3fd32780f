"""The error tree, the range guard and the nearest-name helper: the one place that words a refusal.

What is here: `ColdsideError` and its three kinds, `keys_of` (names the build's file in a refusal), `require` (range
guard of public functions) and `nearest` (the closest allowed name).  What is not: reading of files
(`build/files.py`) and the exit codes' use (`cli.py`).
"""

from __future__ import annotations

import contextlib
import difflib
import math
from collections.abc import Iterable, Iterator, Sequence

import numpy as np


class ColdsideError(Exception):
    """Root of every error that coldside raises on purpose; `exit_code` is the command's exit code."""

    exit_code = 3


class BadInput(ColdsideError):
    """The user's text, file or value is wrong: says where, what was read, what would be right.

    `where` is "file:line" or the argument's name (may be empty when the caller knows better and
    adds it), `key` the dotted key, `read` what was found, `right` what would be right.
    """

    exit_code = 2

    def __init__(self, message: str, *, where: str = "", key: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.where = where
        self.key = key

    def __str__(self) -> str:
        # a message that already starts with its key ('parts.tank.volume = "9" has no unit') does not get it twice
        key = "" if self.message.startswith(self.key) else self.key
        head = ": ".join(part for part in (self.where, key) if part)
        return f"{head}: {self.message}" if head else self.message


class ManyBadInputs(BadInput):
    """Every fault of one input together, in file order; `faults` holds the single ones."""

    def __init__(self, faults: Sequence[BadInput]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class NoAnswer(ColdsideError):
    """Sound input without a balance (a pump that cannot lift): says which part stops it."""

    exit_code = 2


class Internal(ColdsideError):
    """Our own fault; says what to send us."""

    exit_code = 3


BUILD_TABLES = ("engine", "car", "bay", "charge", "loops", "ducts", "parts")


@contextlib.contextmanager
def keys_of(build: object) -> Iterator[None]:
    """A refusal met while solving that names a key of the build names the build's file too."""
    try:
        yield
    except BadInput as error:
        if not error.where and error.key.partition(".")[0] in BUILD_TABLES:
            error.where = str(build)
        raise


def _within(value: float | np.ndarray, low: float | None, high: float | None, open_low: bool) -> bool:
    """The quick answer of `require` where all is well: from the smallest and the largest element; NaN fails it."""
    if isinstance(value, float):
        least = most = value
    else:
        array = np.asarray(value, dtype=float)
        if array.size == 0:
            return True
        if array.ndim == 0:
            least = most = float(array)
        else:  # the ufuncs themselves: half the cost of the methods, and this is asked hundreds of times a plant
            least, most = float(np.minimum.reduce(array, axis=None)), float(np.maximum.reduce(array, axis=None))
    floor = -math.inf if low is None else low
    above = least > floor if open_low else least >= floor
    return above and most <= (math.inf if high is None else high) and math.isfinite(least) and math.isfinite(most)


def require(
    name: str,
    value: float | np.ndarray,
    *,
    low: float | None = None,
    high: float | None = None,
    open_low: bool = False,
) -> None:
    """Raise `BadInput` unless every element of `value` is finite and within [low, high].

    `open_low` excludes `low` itself.  NaN is bad input.  Names the first element that fails.
    """
    if _within(value, low, high, open_low):
        return
    flat = np.atleast_1d(np.asarray(value, dtype=float)).ravel()
    bad = ~np.isfinite(flat)
    if low is not None:
        bad |= (flat <= low) if open_low else (flat < low)
    if high is not None:
        bad |= flat > high
    if not bad.any():
        return
    first = flat[int(np.argmax(bad))]
    if low is not None and high is not None:
        allowed = f"from {low:g} to {high:g}"
    elif low is not None:
        allowed = f"above {low:g}" if open_low else f"at least {low:g}"
    elif high is not None:
        allowed = f"at most {high:g}"
    else:
        allowed = "finite"
    raise BadInput(f"{name} = {first:g} is out of range; it must be {allowed}", where="", key="")


def nearest(name: str, allowed: Iterable[str]) -> str | None:
    """The allowed name closest to `name`, or None when nothing is close."""
    names = sorted(allowed)
    hits = difflib.get_close_matches(name, names, n=1, cutoff=0.6)
    if hits:
        return hits[0]
    folded = {n.casefold(): n for n in names}
    return folded.get(name.casefold())
