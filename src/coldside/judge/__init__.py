"""What a forecast means: limits, consistency, power kept, ledger and ladder in words.

`coldside.judge` is both this package and, by the public interface, the function that judges a forecast: the
package is therefore callable and passes its arguments to `coldside.judge.verdict.judge`.
"""

from __future__ import annotations

import sys
import types
from typing import Any


class _CallableModule(types.ModuleType):
    """A module that can be called; Python lets a module's class be replaced (data model, "Customizing module
    attribute access")."""

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        from coldside.judge.verdict import judge

        return judge(*args, **kwargs)


sys.modules[__name__].__class__ = _CallableModule
