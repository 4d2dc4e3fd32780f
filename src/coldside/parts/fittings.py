"""Loss coefficients of fittings, each on the velocity head in its own bore: what to add up for a hose's `losses`.

What is here: swept bends, sharp contractions and enlargements, and fittings whose loss is a multiple of the pipe's
fully turbulent friction factor (elbows, mitres, tees, valves).  Library functions: nothing in `plant/` calls them;
the figures in the help of `losses` are theirs, and a script adds them up for a hose of many fittings.  What is not:
the loss itself (`lines.py`).  Bore is the inside of the fitting, not the hose's name; a coefficient on a smaller bore d
counts (D/d)^4 on the larger D.
"""

from __future__ import annotations

import numpy as np

from coldside.errors import BadInput, nearest, require

# loss coefficient over the fully turbulent friction factor (Crane2009 as quoted in makers' documents, from memory)
EQUIVALENT = {
    "screwed elbow": 30.0,
    "mitre": 60.0,
    "tee, into the branch": 60.0,
    "tee, straight through": 20.0,
    "swing check valve": 100.0,
    "ball valve": 3.0,
}
ENTRANCE, EXIT = 0.57, 1.0  # sharp-edged out of a tank (Miller), into a tank (all of the velocity head)


def turbulent_friction(bore: float) -> float:
    """Darcy friction factor of a clean commercial steel tube of `bore` [m] at full turbulence, 5 mm to 0.5 m.

    The Colebrook equation at the Reynolds number and roughness that the library `fluids` fits to the rounded factors
    of Crane2009 (its coefficients: 7.5e6 D, 3.4127e-5 D^-1.0112).
    """
    require("bore", bore, low=5e-3, high=0.5)
    Re, rough = 7.5e6 * bore, 3.4126825e-5 * bore**-1.0112
    x = 7.0  # 1/sqrt(f)
    for _ in range(30):  # contracts by about 20 a step
        x = -2.0 * np.log10(rough / 3.7 + 2.51 * x / Re)
    return float(x**-2)


def fitting_loss(fitting: str, bore: float) -> float:
    """Loss coefficient of a name in `EQUIVALENT` with this `bore` [m]; `BadInput` for another name."""
    if fitting not in EQUIVALENT:
        close = nearest(fitting, EQUIVALENT)
        hint = f'; nearest: "{close}"' if close else "; one of " + ", ".join(EQUIVALENT)
        raise BadInput(f'"{fitting}" is no fitting that is listed{hint}')
    return EQUIVALENT[fitting] * turbulent_friction(bore)


def swept_bend_loss(radius: float, angle: float, friction: float) -> float:
    """Loss coefficient of a smooth bend, its own length's friction included.

    Parameters
    ----------
    radius : of the centre line over the bore, 0.5 to 20.
    angle : turned, rad, 0 to pi.
    friction : Darcy factor of the tube at that flow, see `correlations.friction_factor`.

    K = f a r + (0.10 + 2.4 f) sin(a/2) + 6.6 f (sin(a/2)^0.5 + sin(a/2)) / r^(4a/pi) (Rennels2012, from memory;
    the library `fluids` has the same form).
    """
    require("radius over bore", radius, low=0.5, high=20.0)
    require("angle", angle, low=0.0, high=np.pi)
    require("friction factor", friction, low=0.0, high=0.2)
    half = np.sin(0.5 * angle)
    turning = 6.6 * friction * (np.sqrt(half) + half) / radius ** (4.0 * angle / np.pi)
    return float(friction * angle * radius + (0.10 + 2.4 * friction) * half + turning)


def enlargement_loss(small: float, large: float) -> float:
    """Loss coefficient of a sudden step up from bore `small` to `large` [m], on the small bore: (1 - b^2)^2 (Borda)."""
    return float((1.0 - _ratio(small, large) ** 2) ** 2)


def contraction_loss(large: float, small: float) -> float:
    """Loss coefficient of a sudden sharp step down from bore `large` to `small` [m], on the small bore.

    0.0696 (1 - b^5) l^2 + (l - 1)^2 with the jet's velocity ratio l = 1 + 0.622 (1 - 0.215 b^2 - 0.785 b^5)
    (Rennels2012, from memory; the library `fluids` has the same form).
    """
    b = _ratio(small, large)
    jet = 1.0 + 0.622 * (1.0 - 0.215 * b**2 - 0.785 * b**5)
    return float(0.0696 * (1.0 - b**5) * jet**2 + (jet - 1.0) ** 2)


def _ratio(small: float, large: float) -> float:
    require("smaller bore", small, low=0.0, open_low=True)
    require("larger bore", large, low=small)
    return small / large
