"""coldside: forecasts the charge cooling of a turbocharged car over a whole session, and says whether it holds.

The public names below are loaded when first used, so that a start costs nothing.  In the order in which the
data go: `load_build`, `load_session`, `load_limits`, `operating_point`, `simulate`, `judge`, `write_sheet`.
``docs/ARCHITECTURE.md`` has the map.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from coldside.build.files import load_build as load_build
    from coldside.duty.phases import load_limits as load_limits
    from coldside.duty.phases import load_session as load_session
    from coldside.plant.forecast import simulate as simulate
    from coldside.plant.steady import operating_point as operating_point
    from coldside.sheet.render import write_sheet as write_sheet

__version__ = "0.1.0"

PUBLIC = {  # name -> module that holds it
    "load_build": "coldside.build.files",
    "load_session": "coldside.duty.phases",
    "load_limits": "coldside.duty.phases",
    "operating_point": "coldside.plant.steady",
    "simulate": "coldside.plant.forecast",
    "write_sheet": "coldside.sheet.render",
}


def __getattr__(name: str) -> Any:
    if name == "judge":  # the package itself, which can be called
        return importlib.import_module("coldside.judge")
    if name in PUBLIC:
        return getattr(importlib.import_module(PUBLIC[name]), name)
    raise AttributeError(f"module 'coldside' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *PUBLIC, "judge"})
