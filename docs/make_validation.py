"""Writes docs/validation.md: every check case and comparison with measured data, with what our code makes of it.

Run `make validation` after a case or the code that it checks has changed; `tests/cases/test_validation.py` fails
until it is done.  The rows come from the records in `tests/cases` (`record.py` there says what one holds) and the
gaps from `tests/cases/catalogue.py`; nothing is listed by hand here.

Every `got` is rounded to a tenth of what the case allows, and to six digits at most, so that the page does not
change from one machine to the next.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterable
from itertools import groupby
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "validation.md"
sys.path.insert(0, str(ROOT / "tests"))  # the records are part of the tests

from cases.catalogue import LAWS, NOT_YET, NOTES  # noqa: E402
from cases.record import Case, Measured, failures, load, load_measured, shortfalls  # noqa: E402
from coldside.sources import cite  # noqa: E402

MOST_DIGITS = 6
HEAD = """# What was checked, against what, and what came out

Made from the tests' own records by `make validation`; do not edit. Every row is a test: `make test` fails when one is
missed. Ids are those of the project's design notes (charge, heat, loop); others are cases of our own. Figures are in
SI units (K, Pa, kg/s, W/K, m3/s) unless the name says otherwise. *Allowed* is the largest difference from *expected*:
in percent of it, or in the figure's own unit. Sources stand by their key; the list is at the end, with how far each
was read.
"""
COLUMNS = ("case", "what", "expected", "got", "allowed", "verdict", "source", "how the expected figure was found")


def rounded(value: float, allowed: float) -> str:
    """A figure with a tenth of `allowed` as its last digit, and six digits at most; noise about 0 is 0."""
    if not math.isfinite(value):
        return str(value)
    decimals = 1 - math.floor(math.log10(allowed))
    held = round(value, min(decimals, 300))
    if held == 0.0:
        return "0"
    digits = max(1, min(MOST_DIGITS, math.floor(math.log10(abs(held))) + 1 + decimals))
    text = f"{held:#.{digits}g}"
    if "e" in text and 1e-6 <= abs(held) < 1e9:
        text = f"{float(text):.{max(0, digits - 1 - math.floor(math.log10(abs(held))))}f}"
    return text.rstrip(".")


def cell(text: str) -> str:
    """Text that stays inside one cell of a table."""
    return text.replace("|", "\\|").replace("\n", " ")


def row(cells: Iterable[str]) -> str:
    """One line of a table."""
    return "| " + " | ".join(cell(text) for text in cells) + " |"


def allowed(case: Case, expected: float) -> float:
    """What the case allows on one figure, in the figure's unit."""
    return case.tolerance * (abs(expected) if case.kind == "relative" else 1.0)


def told(case: Case) -> str:
    """The tolerance in words, with its reason."""
    size = f"{100.0 * case.tolerance:.4g} %" if case.kind == "relative" else f"{case.tolerance:.4g}"
    return f"{size}: {case.tolerance_reason}"


def case_row(case: Case) -> str:
    """One case, its figures one below the other."""
    got = case.compute(**case.inputs)
    expected, found = [], []
    for figure, value in case.expected.items():
        name = figure.replace("_", " ")
        expected.append(f"{name} {value:.10g}")
        found.append(rounded(float(got.get(figure, math.nan)), allowed(case, value)))
    what = f"{case.what}; {case.part}" if case.part else case.what
    if case.remark:
        what += f". **{case.remark}**"
    verdict = "**missed**" if failures(case, got) else "holds"
    sources = ", ".join(case.source)
    return row((case.id, what, "<br>".join(expected), "<br>".join(found), told(case), verdict, sources, case.how))


def measured_row(measured: Measured) -> str:
    """One comparison with measured data."""
    got = measured.compute()
    asked, found = [], []
    for limits, word in ((measured.at_most, "at most"), (measured.at_least, "at least")):
        for figure, limit in limits.items():
            asked.append(f"{figure.replace('_', ' ')} {word} {limit:g} {measured.unit}".rstrip())
            # two digits of the limit: such a figure comes out of a fit, whose last digits are the fitter's
            found.append(rounded(float(got.get(figure, math.nan)), 0.1 * abs(limit) or 0.1))
    what = f"{measured.what}; {measured.part}" if measured.part else measured.what
    verdict = "**missed**" if shortfalls(measured, got) else "holds"
    sources = ", ".join(measured.source)
    cells = (
        measured.id,
        what,
        "<br>".join(asked),
        "<br>".join(found),
        measured.limit_reason,
        verdict,
        f"{sources}; tests/data/{measured.data}",
        measured.how,
    )
    return row(cells)


def table(heads: Iterable[str], lines: Iterable[str]) -> list[str]:
    """A table from its rows."""
    heads = list(heads)
    return [row(heads), "|" + "---|" * len(heads), *lines, ""]


def order(name: str) -> tuple[str, int]:
    """Ids in the order of their numbers."""
    letters = name.rstrip("0123456789")
    number = name[len(letters) :]
    return letters, int(number) if number else -1


def note_of(case: Case) -> str:
    """The note that an id belongs to, "" for a case of our own."""
    note = case.id.partition("-")[0]
    return note if note in NOTES and case.id in NOTES[note][1] else ""


def gaps() -> list[str]:
    """The cases of the notes that are not met yet."""
    if not NOT_YET:
        return []
    lines = [row((name, later.what, later.why, later.belongs)) for name, later in NOT_YET.items()]
    return ["## Not met yet", "", *table(("case", "what", "why not", "belongs to"), lines)]


def laws() -> list[str]:
    """The laws of the notes, each with the test that shows it."""
    if not LAWS:
        return []
    lines = [row((law, f"`{test}`")) for law, test in LAWS.items()]
    return ["## Laws without a number", "", *table(("law", "test"), lines)]


def bibliography(keys: Iterable[str]) -> list[str]:
    """Every source that a row names."""
    lines = [row((key, cite(key))) for key in sorted(set(keys), key=str.casefold)]
    return ["## Sources", "", *table(("key", "source, and how far it was read"), lines)]


def validation_page(cases: list[Case] | None = None, measured: list[Measured] | None = None) -> str:
    """The whole page."""
    cases = load() if cases is None else cases
    measured = load_measured() if measured is None else measured
    lines = [HEAD]
    lines.append(f"{len(cases)} cases with {sum(len(case.expected) for case in cases)} figures")
    lines[-1] += f", and {len(measured)} comparisons with measured data." if measured else "."
    lines.append("")
    ranked = sorted(cases, key=lambda case: (list(NOTES).index(note_of(case)) if note_of(case) else 9, order(case.id)))
    for note, group in groupby(ranked, key=note_of):
        lines += [f"## {NOTES[note][0] if note else 'Cases of our own'}", ""]
        lines += table(COLUMNS, [case_row(case) for case in group])
    if measured:
        heads = ("comparison", "what", "asked", "got", "why that limit", "verdict", "data", "how")
        lines += ["## Measured data", "", *table(heads, [measured_row(one) for one in measured])]
    lines += laws()
    lines += gaps()
    named = [key for record in (*cases, *measured) for key in record.source]
    lines += bibliography(named)
    return "\n".join(lines).rstrip("\n") + "\n"


def unlike(stored: str, made: str) -> list[str]:
    """Lines in which a stored page differs from a made one by more than one unit in the last digit of a `got`."""
    before, after = stored.splitlines(), made.splitlines()
    if len(before) != len(after):
        only = [line for line in after if line not in before] or [line for line in before if line not in after]
        return only or after
    return [new for old, new in zip(before, after, strict=True) if old != new and not _near(old, new)]


def _near(old: str, new: str) -> bool:
    """Whether two rows are alike but for the last digit of what was got."""
    left, right = old.split(" | "), new.split(" | ")
    got = COLUMNS.index("got")
    if len(left) != len(right) or len(left) <= got or left[:got] + left[got + 1 :] != right[:got] + right[got + 1 :]:
        return False
    pairs = list(zip(left[got].split("<br>"), right[got].split("<br>"), strict=False))
    return len(left[got].split("<br>")) == len(right[got].split("<br>")) and all(_alike(a, b) for a, b in pairs)


def _alike(one: str, other: str) -> bool:
    try:
        values = float(one), float(other)
    except ValueError:
        return one == other
    steps = [_step(text) for text in (one, other)]
    return abs(values[0] - values[1]) <= 1.001 * max(steps)


def _step(text: str) -> float:
    """One unit in the last digit of a number as written."""
    mantissa, _, power = text.partition("e")
    decimals = len(mantissa.partition(".")[2])
    return 10.0 ** (int(power or 0) - decimals)


def main() -> None:
    """Write the page."""
    PAGE.write_text(validation_page(), encoding="utf-8")


if __name__ == "__main__":
    main()
