"""`python -m coldside`: the same as the command `coldside`."""

from __future__ import annotations

from coldside.cli import main

if __name__ == "__main__":
    main()
