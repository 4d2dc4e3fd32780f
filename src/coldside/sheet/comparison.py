"""A comparison of builds as plain text for a terminal.  The words themselves are made in `explore/compare_words.py`."""

from __future__ import annotations

import textwrap

from coldside.explore.compare import Comparison
from coldside.explore.compare_words import comparison_words

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
    lines = [*textwrap.wrap(words.headline, width), "", *words.names]
    for head, name in HEADS:
        said = getattr(words, name)
        if said:
            lines += ["", head]
            for text in said:
                lines += textwrap.wrap(text, width, initial_indent="- ", subsequent_indent="  ")
    lines += ["", f"{found.draws} draws of what is unknown, in pairs." if found.draws else NO_DRAWS]
    return "\n".join(lines)
