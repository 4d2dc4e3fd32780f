"""Writes docs/facts.md: rules of the trade, the range that the answer must fall in, what came out, what the tool says.

Run `make facts` after a record in `tests/facts/record.py` or what it runs has changed.
"""

from __future__ import annotations

import sys
from itertools import groupby
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "facts.md"
sys.path.insert(0, str(ROOT / "tests"))  # the records are part of the tests

from facts.record import FACTS, Fact, outside  # noqa: E402

HEAD = """# Rules of the trade, tried

Made from the tests' own records by `make facts`; do not edit. The rules are common practice, without a source; every
range comes from a hand calculation with the equations of the project's notes, every result from the bundled, invented
builds. A rule is shown where it holds and where it does not, with what the tool says there. Knock figures are no tuning
instruction.
"""
COLUMNS = ("inputs", "must fall in", "came out", "in range", "the rule", "why that range", "what the tool says")


def row(fact: Fact) -> str:
    """One record as a line of the table."""
    figures, words = fact.compute()
    asked = [f"{name} {low:g} to {high:g}" for name, (low, high) in fact.ranges.items()]
    found = [
        f"{name} {figures[name]:.2g}" if abs(figures[name]) < 100 else f"{name} {figures[name]:.0f}"
        for name in fact.ranges
    ]
    unit = f" ({fact.unit})" if fact.unit else ""
    cells = (
        fact.inputs,
        "<br>".join(asked) + unit,
        "<br>".join(found) + unit,
        "**no**" if outside(fact, figures) else "yes",
        "holds" if fact.holds else "does not hold",
        fact.why,
        words,
    )
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def facts_page() -> str:
    """The whole page."""
    lines = [HEAD]
    for rule, facts in groupby(FACTS, key=lambda fact: fact.rule):
        lines += [f"## {rule}", "", "| " + " | ".join(COLUMNS) + " |", "|" + "---|" * len(COLUMNS)]
        lines += [row(fact) for fact in facts]
        lines.append("")
    return "\n".join(lines).rstrip("\n") + "\n"


if __name__ == "__main__":
    PAGE.write_text(facts_page(), encoding="utf-8")
