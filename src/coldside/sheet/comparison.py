"""A comparison of builds as plain text for a terminal.  The words themselves are made in `explore/compare_words.py`."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from coldside.explore.compare import Comparison
from coldside.explore.compare_words import comparison_words, sessions_words

HEADS = (
    ("Limits", "limits"),
    ("What differs", "differences"),
    ("Who is ahead where", "where"),
    ("What each carries and draws", "carries"),
    ("When something dies", "failures"),
    ("Summing up", "summing_up"),
)
NO_DRAWS = "How sure a difference is was not asked for (--draws 0)."


def comparison_text(found: Comparison, system: str = "si", width: int = 100) -> str:
    """A comparison as text `width` columns wide in "si" or "us" units, what matters most first."""
    words = comparison_words(found, system)
    lines = []
    for name in words.names:
        lines += textwrap.wrap(name, width, subsequent_indent="   ")
    lines += ["", *textwrap.wrap(words.headline, width)]
    for head, name in HEADS:
        said = getattr(words, name)
        if said:
            lines += ["", head]
            for text in said:
                lines += textwrap.wrap(text, width, initial_indent="- ", subsequent_indent="  ")
    tried = f"{found.draws} cases of what is not known were tried, the same ones for every build."
    lines += ["", *textwrap.wrap(tried if found.draws else NO_DRAWS, width)]
    return "\n".join(lines)


def sessions_text(found: Sequence[Comparison], system: str = "si", width: int = 100) -> str:
    """The same of one session or several, after one another; of several, who is ahead over all of them at the end."""
    texts = [comparison_text(one, system, width) for one in found]
    if len(found) > 1:
        lines = ["Over these sessions"]
        for text in sessions_words(found, system):
            lines += textwrap.wrap(text, width, initial_indent="- ", subsequent_indent="  ")
        texts.append("\n".join(lines))
    return "\n\n\n".join(texts)
