"""A check case as a record: what goes in, what must come out, how closely and why, and who says so.

Each module beside this one holds `CASES`, a list of `Case`, and may hold `MEASURED`, a list of `Measured`: a
comparison with measured data.  `load()` and `load_measured()` gather them; tests run them with `failures` and
`shortfalls`; `docs/validation.md` is made from the same records by `make validation`.  A case without a
tolerance, a reason for it, or a known source does not load.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from coldside.sources import SOURCES

NO_RECORDS = ("record", "catalogue", "__init__")  # modules beside this one that hold none


@dataclass(frozen=True, kw_only=True)
class Case:
    """One check case.

    `id` and, where one case of the notes has several, `part`; `what` in words; `inputs` by name, SI;
    `compute(**inputs)` gives a mapping of results by our code; `expected` the figures, SI;
    `tolerance` on each, "relative" or "absolute" (`kind`); `tolerance_reason` why so close and no closer;
    `source` keys of coldside.sources; `how` printed, derived, or computed with which library;
    `remark`, where the notes' own figure is wrong or differs: what they say, and the computation that shows it.
    """

    id: str
    part: str = ""
    what: str
    inputs: Mapping[str, Any]
    compute: Callable[..., Mapping[str, float]]
    expected: Mapping[str, float]
    tolerance: float
    kind: str = "relative"
    tolerance_reason: str
    source: tuple[str, ...]
    how: str
    remark: str = ""

    def __post_init__(self) -> None:
        for name in ("id", "what", "tolerance_reason", "how"):
            if not getattr(self, name).strip():
                raise ValueError(f"case {self.name or '?'} has no {name}")
        if not self.expected or not self.source:
            raise ValueError(f"case {self.name} lacks an expected figure or a source")
        if self.kind not in ("relative", "absolute"):
            raise ValueError(f"case {self.name}: kind must be relative or absolute, not {self.kind!r}")
        if not 0.0 < self.tolerance < float("inf"):
            raise ValueError(f"case {self.name} needs a tolerance above 0")
        if self.kind == "relative" and 0.0 in self.expected.values():
            raise ValueError(f"case {self.name}: a figure of 0 needs an absolute tolerance")
        unknown = [key for key in self.source if key not in SOURCES]
        if unknown:
            raise ValueError(f"case {self.name} cites {unknown}, not in coldside.sources")

    @property
    def name(self) -> str:
        """Identity: id, and the part where there are several."""
        return f"{self.id} {self.part}".strip()


@dataclass(frozen=True, kw_only=True)
class Measured:
    """One comparison with measured data.

    `id`, and `part` where one has several; `what` in words; `data`, the folder under `tests/data` whose README
    tells where the data are from and under which licence; `compute()` gives figures by name; `at_most` and
    `at_least`, the limits on them; `unit` what they are in ("K", "%", "" for a plain number); `limit_reason`
    why that limit; `source` keys of coldside.sources; `how`, what was fitted and what was predicted.
    """

    id: str
    part: str = ""
    what: str
    data: str
    compute: Callable[[], Mapping[str, float]]
    at_most: Mapping[str, float] = field(default_factory=dict)
    at_least: Mapping[str, float] = field(default_factory=dict)
    unit: str = ""
    limit_reason: str
    source: tuple[str, ...]
    how: str

    def __post_init__(self) -> None:
        for name in ("id", "what", "data", "limit_reason", "how"):
            if not getattr(self, name).strip():
                raise ValueError(f"comparison {self.name or '?'} has no {name}")
        if not (self.at_most or self.at_least) or not self.source:
            raise ValueError(f"comparison {self.name} lacks a limit or a source")
        unknown = [key for key in self.source if key not in SOURCES]
        if unknown:
            raise ValueError(f"comparison {self.name} cites {unknown}, not in coldside.sources")

    @property
    def name(self) -> str:
        """Identity: id, and the part where there are several."""
        return f"{self.id} {self.part}".strip()


def failures(case: Case, got: Mapping[str, float] | None = None) -> list[str]:
    """One line for each expected figure that our code misses; empty when the case holds.

    `got` is what `compute` gave, where it was called already.
    """
    got = case.compute(**case.inputs) if got is None else got
    lines = []
    for figure, expected in case.expected.items():
        if figure not in got:
            lines.append(f"{case.name}: {figure} was not computed")
            continue
        value = float(got[figure])
        off = abs(value - expected) / (abs(expected) if case.kind == "relative" else 1.0)
        if not off <= case.tolerance:
            lines.append(
                f"{case.name}: {figure} = {value:.8g}, expected {expected:.8g}; off by {off:.3g} {case.kind}, "
                f"allowed {case.tolerance:g} ({case.tolerance_reason})"
            )
    return lines


def shortfalls(measured: Measured, got: Mapping[str, float] | None = None) -> list[str]:
    """One line for each figure beyond its limit; empty when the comparison holds.  `got` as in `failures`."""
    got = measured.compute() if got is None else got
    lines = []
    for limits, sign, word in ((measured.at_most, 1.0, "at most"), (measured.at_least, -1.0, "at least")):
        for figure, limit in limits.items():
            value = float(got.get(figure, float("nan")))
            if not sign * value <= sign * limit:
                lines.append(
                    f"{measured.name}: {figure} = {value:.6g} {measured.unit}, must be {word} {limit:g} "
                    f"({measured.limit_reason})"
                )
    return lines


def load(*modules: str) -> list[Case]:
    """The cases of these modules of `tests/cases` (of all, without a name); no name may occur twice."""
    return _gathered("CASES", modules)


def load_measured(*modules: str) -> list[Measured]:
    """The comparisons with measured data of these modules (of all, without a name); no name may occur twice."""
    return _gathered("MEASURED", modules)


def _gathered(holder: str, modules: tuple[str, ...]) -> list[Any]:
    here = Path(__file__).parent
    wanted = modules or tuple(
        sorted(
            file.stem for file in here.glob("*.py") if file.stem not in NO_RECORDS and not file.stem.startswith("test_")
        )
    )
    found: list[Any] = []
    for module in wanted:
        loaded = importlib.import_module(f"cases.{module}")
        found.extend(getattr(loaded, holder, ()))  # makers of cases stand here too and hold none
    names = [record.name for record in found]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"cases that occur twice: {twice}")
    return found
