"""Run by `test_kills.py` as a process of its own and killed at any moment: edits and saves without end.

After every change that has come back, its number is written to the journal, unbuffered: what stands there was
acknowledged.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

from coldside.page.drafts import Change, Drafts
from coldside.page.project import Project
from coldside.page.store import Store


def main(folder: str, who: str) -> None:
    """Count up in key `note_WHO`; save after every third change."""
    drafts = Drafts(Project(folder), Store(Path(folder) / "coldside.db"))
    journal = os.open(f"{folder}/{who}.journal", os.O_CREAT | os.O_APPEND | os.O_WRONLY)
    found = drafts.open("car.toml").literals().get(f"parts.tank.note_{who}", "0")
    count = int(found)
    while True:
        count += 1
        drafts.set("car.toml", [Change(f"parts.tank.note_{who}", count)])
        os.write(journal, b"%d\n" % count)
        if count % 3 == 0:
            drafts.save("car.toml")
            os.write(journal, b"saved %d\n" % count)
        time.sleep(0.02)  # so that a second one gets its turn: SQLite's waiting is not fair to who always waits


main(*sys.argv[1:])
