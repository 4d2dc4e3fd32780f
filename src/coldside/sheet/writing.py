"""Files put in place whole: the old one stays until the new one is complete.  Here: `write_whole`."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from coldside.errors import BadInput


def write_whole(path: str | Path, data: bytes) -> Path:
    """Write `data` to `path` in one go, with the permissions of what stood there.  Returns the path.

    BadInput when the place cannot be written.
    """
    target = Path(path)
    scratch = ""
    try:
        handle, scratch = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        mode = target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask()
        os.chmod(scratch, mode)
        os.replace(scratch, target)
    except OSError as fault:
        if scratch and os.path.exists(scratch):
            os.unlink(scratch)
        raise BadInput(f"cannot be written: {fault.strerror or fault}", where=str(target)) from fault
    return target


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
