"""An equation of plain text as HTML: letters with their index, powers raised, signs of print.

Here: `equation_html`, `letter_html`.  What an equation may hold: `origin_terms.py`.
"""

from __future__ import annotations

import re

from coldside.sheet.origin_terms import FUNCTIONS
from coldside.sheet.scale import escape

GREEK = {
    "eps": "ε",
    "eta": "η",
    "rho": "ρ",
    "lambda": "λ",
    "tau": "τ",
    "alpha": "α",
    "sum": "Σ",
    "integral": "∫",
}
SIGNS = (("+-", "±"), ("*", "·"), ("-", "−"), ("<=", "≤"), (">=", "≥"))
_PIECE = re.compile(
    r"d\((?P<rate>\w+)\)|(?P<letter>[A-Za-z]+(?:_[A-Za-z0-9]+)*)|(?P<power>\^)|(?P<sign>\+-|<=|>=|[-*])|(?P<rest>.)"
)
_POWER = re.compile(r"-?[A-Za-z0-9_.]+")


def letter_html(letter: str) -> str:
    """A letter of an equation: "T_core" -> T with the index "core"; Greek where it is the name of one."""
    name, _, index = letter.partition("_")
    printed = escape(GREEK.get(name, name))
    if letter in FUNCTIONS:
        return printed
    return f"<var>{printed}</var>" + (f"<sub>{escape(index.replace('_', ', '))}</sub>" if index else "")


def equation_html(equation: str) -> str:
    """An equation of plain text as HTML; a power is the number, letter or bracket behind ^."""
    made, at = [], 0
    while at < len(equation):
        found = _PIECE.match(equation, at)
        assert found is not None  # its last branch takes anything
        at = found.end()
        if found["power"]:
            end = _power_end(equation, at)
            inner = equation[at:end]
            if inner.startswith("(") and inner.endswith(")"):
                inner = inner[1:-1]
            made.append(f"<sup>{equation_html(inner)}</sup>")
            at = end
        elif found["rate"]:
            made.append("d" + letter_html(found["rate"]))
        elif found["letter"]:
            made.append(letter_html(found["letter"]))
        else:
            made.append(escape(_printed(found[0])))
    return "".join(made)


def _power_end(equation: str, at: int) -> int:
    """Where the power that begins at `at` ends."""
    if equation[at] != "(":
        found = _POWER.match(equation, at)
        return at + 1 if found is None else found.end()
    depth = 0
    for k in range(at, len(equation)):
        depth += {"(": 1, ")": -1}.get(equation[k], 0)
        if depth == 0:
            return k + 1
    return len(equation)


def _printed(text: str) -> str:
    for plain, printed in SIGNS:
        text = text.replace(plain, printed)
    return text
