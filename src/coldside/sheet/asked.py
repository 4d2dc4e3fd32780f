"""What was asked for besides a forecast, as sections for paper and terminal and as JSON.

Here: `Asked`, `Section`.  Each part is made elsewhere (`explore/`, `judge/consistency.py`) and is None when it was not
asked for.  Layout is `render.py` and `terminal.py`; the bands of limits and of the headline are in the verdict.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from coldside.explore.bands import Band, Bands, bands_json
from coldside.explore.changes import Changes, changes_json
from coldside.explore.failure_words import failures_json
from coldside.explore.failure_words import sentences as failure_sentences
from coldside.explore.failures import Failures
from coldside.explore.sensitivity import by_regression
from coldside.explore.sensitivity import words as influence_words
from coldside.judge.consistency_words import Consistency, consistency_json
from coldside.judge.corrections import Rerun, rerun_words, reruns_json
from coldside.judge.proposal import Proposal, proposal_json
from coldside.judge.sureness import cost_shown
from coldside.judge.verdict import LimitResult
from coldside.judge.wording import Quantity, shown
from coldside.units import show

FIGURES = {  # figure of a band -> words and kind of unit; "*" stands for a loop's name or a limit's number
    "intake_max": ("intake, peak in boost", "temperature"),
    "over_ambient_max": ("intake over ambient, peak", "temperature_difference"),
    "sensor_max": ("intake sensor, highest in boost", "temperature"),
    "coolant_max.*": ("coolant of loop *, highest in boost into the cores", "temperature"),
    "power_mean": ("power, mean in boost", "power"),
    "lost_to_heat_in_boost": ("of the work done in boost, warm charge takes", "tenths"),
    **{
        f"{figure}.{kind}": (words, unit)
        for kind, every in (("pass", "passes"), ("lap", "laps"), ("run", "runs"))
        for figure, words, unit in (
            ("run_best", f"best {kind}", "stopwatch"),
            ("run_mean", f"a {kind} on average", "stopwatch"),
            ("run_total", f"all {every} together", "stopwatch"),
            ("heat_cost", f"what heat costs the {every} in all", "seconds"),
        )
    },
    "spread_temperature": ("from repeat to repeat, the hottest over ambient differs by", "share"),
    "spread_power": ("from repeat to repeat, the mean power differs by", "share"),
    "seconds_over.*": ("time over the limit on the *", "time"),
}
MEANING = "Likely: four of five of them fall in it. What the model itself leaves out is not in it."


HEADINGS = {"how alike its runs are": "Repeat for repeat"}


def heading(title: str) -> str:
    """A section's title as it is printed."""
    return HEADINGS.get(title, title[:1].upper() + title[1:])


@dataclass(frozen=True)
class Section:
    """A heading, sentences, and a table below them (no rows: none); the first column names the row."""

    title: str
    sentences: tuple[str, ...]
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True)
class Asked:
    """Answers beside the forecast; None for what was not asked."""

    bands: Bands | None = None
    consistency: Consistency | None = None
    changes: Changes | None = None
    failures: Failures | None = None
    proposal: Proposal | None = None  # of a limit, where none was given; its words are in the headline
    corrections: tuple[Rerun, ...] | None = None

    @property
    def likely(self) -> Mapping[str, Band]:
        """Bands by figure, SI; empty without draws."""
        return {} if self.bands is None else self.bands.figures

    @property
    def peak(self) -> Band | None:
        """The band of the intake's peak, K, for the chart; None without draws."""
        return self.likely.get("intake_max")

    def sections(self, limits: Sequence[LimitResult], system: str) -> tuple[Section, ...]:
        """Sections in the order in which they are told; `limits` are those that the bands were drawn for."""
        found = []
        if self.bands is not None:
            found.append(_how_sure(self.bands, limits, system))
        if self.consistency is not None:
            found.append(Section("how alike its runs are", self.consistency.words(system)))
        if self.changes is not None:
            found.append(Section("what to change", tuple(one.words(system) for one in self.changes.sentences)))
        if self.failures is not None:
            said = tuple(one.words(system) for one in failure_sentences(self.failures))
            found.append(Section("when something dies", said))
        if self.corrections is not None:
            told = tuple(one.words(system) for one in rerun_words(self.corrections))
            found.append(Section("power corrections against the session run again", told or (NO_BOOST,)))
        return tuple(section for section in found if section.sentences or section.rows)

    def json(self, system: str) -> dict[str, Any]:
        """Blocks to add to the forecast's JSON, only those asked for."""
        said: dict[str, Any] = {}
        if self.bands is not None:
            said["bands"] = bands_json(self.bands)
            said["bands"]["inputs"] = len(self.bands.inputs)
            said["bands"]["influences"] = _influences(self.bands)
        if self.consistency is not None:
            said["consistency"] = consistency_json(self.consistency, system)
        if self.changes is not None:
            said["changes"] = changes_json(self.changes, system)
        if self.failures is not None:
            said["failures"] = failures_json(self.failures, system)
        if self.corrections is not None:
            said["corrections_run_again"] = reruns_json(self.corrections, system)
        if self.proposal is not None:
            said["proposed_limit"] = proposal_json(self.proposal, system)
        return said


NO_BOOST = "Power corrections: the session has no boost, so nothing was run again."
NOTHING = Asked()


def _how_sure(bands: Bands, limits: Sequence[LimitResult], system: str) -> Section:
    rows = []
    for name, band in bands.figures.items():
        words, kind = _told(name, limits)
        if words:
            low, middle, high = (_say(value, kind, system) for value in band)
            rows.append((words, low, middle, high))
    count = f"From {bands.draws} runs with {len(bands.inputs)} uncertain values varied within their +-."
    failed = f" {len(bands.failed)} more found no balance and are left out." if bands.failed else ""
    above = [sentence.words(system) for sentence in influence_words(by_regression(bands), bands.inputs)]
    heads = ("figure", "one in ten below", "middle", "one in ten above")
    return Section("how sure", (*above, f"{count}{failed} {MEANING}"), heads, tuple(rows))


def _told(name: str, limits: Sequence[LimitResult]) -> tuple[str, str]:
    """Words and unit of a figure; empty for one that is told elsewhere (a limit's value, with the limit)."""
    if name in FIGURES:
        return FIGURES[name]
    head, _, tail = name.partition(".")
    words, kind = FIGURES.get(f"{head}.*", ("", ""))
    if head == "seconds_over":
        k = int(tail)
        if k >= len(limits) or limits[k].quantity == "spread":
            return "", ""
        tail = limits[k].name
    return words.replace("*", tail), kind


def _say(value: float, kind: str, system: str) -> str:
    if kind == "tenths":  # of a per cent
        return shown(Quantity(value, "share", 1), system)
    if kind == "seconds":  # of heat's cost
        return cost_shown(value)
    return show(value, kind, system) if kind == "power" else shown(Quantity(value, kind), system)


def _influences(bands: Bands) -> list[dict[str, Any]]:
    """Inputs that the draws find to matter for the intake's peak: share of its variance, kelvin per standard deviation.

    By regression; the share's error is one standard error.
    """
    return [
        {
            "key": one.name,
            "alike": list(one.keys[1:]),
            "share": one.total,
            "share_error": one.total_error,
            "K_per_deviation": one.slope,
        }
        for one in by_regression(bands).influences
    ]
