"""Field metadata of specifications: the one owner of what the user may write.

Every specification in `parts/`, `duty/` and `build/` is a frozen, keyword-only dataclass whose fields
are made with `given(...)`.  `build/schema.py` makes the reader's models, the docs and the list of
defaults from this metadata; nothing else lists fields.  Values on a specification are SI floats
(see `units.py` for the kinds); a pressure level is a `units.Pressure`, a curve a tuple of pairs.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

REQUIRED = dataclasses.MISSING


@dataclass(frozen=True)
class Field:
    """What the reader, the docs and the sampler must know of one key."""

    kind: str  # a name of units.KINDS, or "curve", "text", "count", "choice", "flag", "path", "control", "file"
    help: str  # one line, in the user's words
    sd: float | None  # one standard deviation of the default, in the field's SI unit
    sd_share: float | None  # or as a share of the default's value
    low: float | None  # smallest allowed value, SI, inclusive
    high: float | None  # largest allowed value, SI, inclusive
    choices: tuple[str, ...]  # for kind "choice"
    curve: tuple[str, str] | None  # kinds of the two columns of a curve
    shape: str  # for curves: "", "falls" (second column must not rise), "any"; x must always rise
    when_absent: str  # for a default of None: what is used instead, in words


def given(
    kind: str,
    help: str,
    *,
    default: Any = REQUIRED,
    sd: float | None = None,
    sd_share: float | None = None,
    low: float | None = None,
    high: float | None = None,
    choices: tuple[str, ...] = (),
    curve: tuple[str, str] | None = None,
    shape: str = "",
    when_absent: str = "",
    alias: str = "",
) -> Any:
    """A dataclass field that carries what `Field` holds; without `default` the key is required.

    `alias` is the key in the file where it differs from the attribute (Python keywords: `from`).
    """
    meta = {
        "coldside": Field(kind, help, sd, sd_share, low, high, choices, curve, shape, when_absent),
        "alias": alias,
    }
    return dataclasses.field(default=default, metadata=meta)


SURROUNDINGS = ("bay", "engine", "ambient")  # what a part may take heat from


def surroundings_field(default: str, help: str = "what surrounds it") -> Any:
    """Key `surroundings`: where a part's pick-up comes from."""
    return given("choice", help, default=default, choices=SURROUNDINGS)


def pickup_field(into: str, default: float | None, *, sd_share: float | None = 0.5, when_absent: str = "") -> Any:
    """Key `pickup`: heat conductance into a part, W/K; a default without a better basis is good to half of itself."""
    share = None if default is None else sd_share
    words = f"heat conductance from its surroundings to the {into}"
    return given("conductance", words, default=default, sd_share=share, low=0.0, high=100.0, when_absent=when_absent)


def height_field(help: str = "height over the car's datum", when_absent: str = "not known") -> Any:
    """Key `height` or `high_point`: over a datum of the car, m."""
    return given("length", help, default=None, low=-2.0, high=3.0, when_absent=when_absent)


def bleed_field() -> Any:
    """Key `bleed`: air can be let out at the part's highest point."""
    return given(
        "flag", "true if air can be let out at its highest point (a bleed screw or a steam line)", default=False
    )


def field_of(spec: type, name: str) -> Field:
    """The metadata of field `name` of the specification class `spec`."""
    for item in dataclasses.fields(spec):
        if item.name == name:
            return item.metadata["coldside"]
    raise KeyError(name)
