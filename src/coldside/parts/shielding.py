"""Heat shields and flange spacers: how much of a part's pick-up they keep away.

What is here: the share of pick-up left behind a foil or a wrap, and the conductance of a flange with a
spacer in it.  What is not: the pick-up of the bare part (`lines.py`) and what surrounds it (`plant/`).
"""

from __future__ import annotations

import numpy as np

from coldside.errors import BadInput, require

STEFAN_BOLTZMANN = 5.670374e-8  # W/(m2 K4)
OUTSIDE_FILM = 10.0  # W/(m2 K), bare part in bay air, radiation included (tune): as `lines.PIPE_OUTSIDE_FILM`
SEEN_TEMPERATURE = 333.0  # K, mean of a warm bay's walls and the part (own)
DULL, BRIGHT = 0.8, 0.10  # emissivity of cast, painted or oxidised metal and rubber; of clean foil (from memory)
WRAP_THICKNESS, WRAP_CONDUCTIVITY = 4e-3, 0.06  # m, W/(m K): a woven glass or basalt sleeve (from memory)
SHIELDS = ("none", "foil", "wrap")
SPACERS = {"phenolic": 0.30, "nylon": 0.28, "plywood": 0.13, "aluminium": 170.0}  # W/(m K), handbooks, from memory
BOLT_SHARE = 0.05  # of the flange's area in steel bolts that pass the spacer (own)
BOLT_CONDUCTIVITY, BOLT_LENGTH = 45.0, 0.030  # W/(m K) of steel, from memory; m that a bolt is long without a spacer


def radiation_share() -> float:
    """Share of a bare part's outside film that is radiation, 0 to 1.

    Between two large grey faces: 4 sigma T^3/(1/e1 + 1/e2 - 1) over the whole film (textbook, from memory).
    """
    film = 4.0 * STEFAN_BOLTZMANN * SEEN_TEMPERATURE**3 / (2.0 / DULL - 1.0)
    return min(film / OUTSIDE_FILM, 1.0)


def radiation_left(e1: float, e2: float, e_shield: float) -> float:
    """Share of the radiation between two large grey faces that is left with one thin shield between them.

    (1/e1 + 1/e2 - 1)/(1/e1 + 1/e2 - 1 + 2/e_s - 1), emissivities above 0 to 1 (Cengel, Heat Transfer: radiation
    shields; from memory).
    """
    for name, e in (("emissivity", e1), ("emissivity", e2), ("the shield's emissivity", e_shield)):
        require(name, e, low=0.0, high=1.0, open_low=True)
    gap = 1.0 / e1 + 1.0 / e2 - 1.0
    return gap / (gap + 2.0 / e_shield - 1.0)


def shield_share(shield: str) -> float:
    """Share of the pick-up through air and radiation that is left behind `shield`, 0 to 1.

    "foil": one bright sheet with an air gap; convection stays, radiation falls as `radiation_left` says.
    "wrap": an insulating sleeve in series with the outside film.  `BadInput` for another word.
    """
    if shield == "none":
        return 1.0
    if shield == "foil":
        return 1.0 - radiation_share() * (1.0 - radiation_left(DULL, DULL, BRIGHT))
    if shield == "wrap":
        return 1.0 / (1.0 + OUTSIDE_FILM * WRAP_THICKNESS / WRAP_CONDUCTIVITY)
    raise BadInput(f'"{shield}" is no shield; one of {", ".join(SHIELDS)} is')


def spacer_conductance(thickness: float, area: float, material: str) -> float:
    """Conductance of a flange spacer with the bolts that pass through it [W/K]; infinite without thickness.

    `thickness` [m], `area` [m2] of the flange's contact, `material` one of `SPACERS`: k A/t of slab and bolts
    in parallel (plane wall, textbook).  `BadInput` on a negative thickness, an area <= 0, an unknown material.
    """
    require("spacer thickness", thickness, low=0.0)
    require("spacer area", area, low=0.0, open_low=True)
    if material not in SPACERS:
        raise BadInput(f'"{material}" is no spacer material; one of {", ".join(SPACERS)} is')
    if thickness == 0.0:
        return float(np.inf)
    bolts = BOLT_CONDUCTIVITY * BOLT_SHARE * area / (BOLT_LENGTH + thickness)
    return SPACERS[material] * (1.0 - BOLT_SHARE) * area / thickness + bolts


def shielded_pickup(pickup: float, shield: str, flange_share: float = 0.0, spacer: float = float("inf")) -> float:
    """Pick-up that is left [W/K] of a bare part's `pickup`, of which `flange_share` crosses a flange.

    The flange's part is in series with `spacer` [W/K]; the rest comes through air and radiation and meets
    `shield`.
    """
    flange = flange_share * pickup
    through = flange if np.isinf(spacer) else flange * spacer / (flange + spacer)
    return float((pickup - flange) * shield_share(shield) + through)
