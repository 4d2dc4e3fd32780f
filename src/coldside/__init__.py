"""coldside: forecasts the charge cooling of a turbocharged car over a whole session, and says whether it holds.

Nothing is imported here, so that a start costs nothing; import the module you need by its path, in the order in which
the data go: ``coldside.build.files``, ``coldside.plant.assemble``, ``coldside.plant.forecast``,
``coldside.judge.verdict``. ``docs/ARCHITECTURE.md`` has the map.
"""

from __future__ import annotations

__version__ = "0.1.0"
