"""The command `coldside`, and `python -m coldside`: a quiet Ctrl-C first, then the commands of `cli.py`.

Ctrl-C must never show a traceback, wherever it strikes: while modules load, inside compiled code, or while the
program ends.  An exception could be lost or printed there, so the process ends at once, with one line.  What has to
be whole on disk is written to a temporary file and swapped in (`build/files.py`), so nothing is left half done.
"""

from __future__ import annotations

import os
import signal
from types import FrameType

INTERRUPTED = 130  # exit code, as a shell has it for SIGINT


def interrupted(number: int, frame: FrameType | None) -> None:
    """Handler of SIGINT: one line on stderr, exit code 130."""
    os.write(2, b"Interrupted.\n")
    os._exit(INTERRUPTED)


def main() -> None:
    """Entry point of the command."""
    signal.signal(signal.SIGINT, interrupted)
    from coldside.cli import main as commands

    commands()


if __name__ == "__main__":
    main()
