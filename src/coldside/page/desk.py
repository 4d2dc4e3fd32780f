"""What every place works with: the folder, and (made when first needed) drafts, solver and jobs.

Here: `Desk`.
"""

from __future__ import annotations

from pathlib import Path

from coldside.page.project import Project


class Desk:
    """The one owner of the page's state.  `system` is the unit system shown until somebody chooses."""

    def __init__(self, folder: str | Path, system: str = "si") -> None:
        self.project = Project(folder)
        self.system = system
