"""The book of figures: which recipe is whose.

Here: `RECIPES`, `recipe_of`.  Recipes are in `origin_forecast.py` and `origin_checks.py`.
"""

from __future__ import annotations

import re

from coldside.sheet import origin_checks, origin_forecast
from coldside.sheet.origin_terms import Recipe

RECIPES = (*origin_forecast.RECIPES, *origin_checks.RECIPES)


def recipe_of(address: str) -> tuple[Recipe, dict[str, str]] | None:
    """The recipe of an address and what its pattern names in it (a loop, a part); None where there is none."""
    for recipe in RECIPES:
        found = re.fullmatch(recipe.pattern, address, re.DOTALL)
        if found is not None:
            return recipe, {name.rstrip("23"): text for name, text in found.groupdict().items() if text}
    return None
