"""Rules of the trade worked by hand, with nothing of the program: the warming of an 800 hp car's tank.

Equations are those of the project's notes: tanks in series and a loop that moves as a plug (loop b1, b2), a core's
bench point scaled with both flows (heat B1: film of gas with m^0.55, of louvered fins with m^0.51, of coolant with
m^0.5 to m^0.8; cross-flow effectiveness of NTU and ratio of capacity rates), an exchanger in its duct (loop d4).
Numbers come from `examples/dunlin/build.toml` and `examples/sessions/dyno-pulls.toml`, engine of 3.5 L, by pocket
calculator:

Air, V 3.5 L, 31 degC and 98.5 kPa outside, plenum 47 degC: m = eta_v p V n / (2 R T), at
    3200, 4200, 5300, 6300, 7400 rpm: 0.137, 0.300, 0.406, 0.492, 0.557 kg/s.
After the compressors, T1 4 K over, pressure ratio 1.50, 2.44, 2.54, 2.60, 2.62 at an efficiency of 0.65, 0.68, 0.72,
    0.73, 0.73: 62, 135, 135, 136, 138 K over the air outside.
Core: bench 0.80 kg/s and 0.88 L/s of water, 0.86: NTU 2.43; eight tenths of its resistance on the charge side.  At
    those flows 0.99, 0.965, 0.945, 0.93, 0.916.
Loop: pump against core, exchanger and 5.8 m of 1 in hose: 13.5 US gal/min, 0.852 L/s, 3.54 kW/K; pump 150 W.
Exchanger: the ram of 8 m/s at a recovery of 0.7 and the fan against face and exit give 0.6 m3/s, 0.69 kg/s; bench
    1.3 kg/s, 0.62: NTU 1.30, eight tenths on the air side; there 0.81 of 694 W/K: 560 W/K.
Water 4.16 kJ/(L K), metal 0.9 kJ/(kg K): core 2.3 L and 7.7 kg, exchanger 2 L and 5.4 kg, tank 4.1 kg, hoses 1.70 L
    before the core and 1.24 L behind it.

Boost is taken as there at once.  `HEAT` and `AIR` are how well that is known: 6 % of the heat of a pull (efficiency of
the compressors and of the core, filling), 15 % of what the exchanger takes (air that reaches it).  Ten per cent of
coolant flow matter by 2 %.
"""

from __future__ import annotations

import math

import numpy as np

SPEEDS = np.array([3200.0, 4200.0, 5300.0, 6300.0, 7400.0])  # rpm
AIR_FLOW = np.array([0.137, 0.300, 0.406, 0.492, 0.557])  # kg/s
EFFECTIVENESS = np.array([0.99, 0.965, 0.945, 0.93, 0.916])
CHARGE_OVER = np.array([62.2, 135.4, 134.6, 136.4, 137.7])  # K over the air outside, before the core
PULL, REST, AFTER = 12.0, 30.0, 20.0  # s
FLOW, WATER, METAL = 0.852, 4160.0, 900.0  # L/s, J/(L K), J/(kg K)
EXCHANGER = 560.0  # W/K
PUMP = 150.0  # W
BEFORE_CORE, BEHIND_CORE = 1.70, 1.235  # L of hose
HEAT, AIR = 0.06, 0.15
STEP = 0.1  # s


def tank_warmer(litres: float, pulls: int, *, heat: float = 1.0, air: float = 1.0) -> float:
    """By how much the tank's outlet gets warmer over such pulls and 20 s after them, K; all starts at the air outside.

    `heat` and `air` are factors on the heat of a pull and on what the exchanger takes.
    """
    C, b = FLOW * WATER, air * EXCHANGER
    core_store, exchanger_store, tank_store = 2.3 * WATER + 7.71 * METAL, 2.0 * WATER + 5.44 * METAL, litres * WATER
    half = 0.5 * (tank_store + 4.08 * METAL)
    into, behind = ([0.0] * round(volume / (FLOW * STEP)) for volume in (BEFORE_CORE, BEHIND_CORE))
    first = second = core = cooled = highest = 0.0
    period = PULL + REST
    for k in range(round((pulls * period - REST + AFTER) / STEP)):
        t = math.fmod(k * STEP, period)
        rpm = SPEEDS[0] + (SPEEDS[-1] - SPEEDS[0]) * t / PULL
        a = heat * float(np.interp(rpm, SPEEDS, 1010.0 * EFFECTIVENESS * AIR_FLOW)) if t < PULL else 0.0
        into.append(second)
        arriving = into.pop(0)
        given = a * (float(np.interp(rpm, SPEEDS, CHARGE_OVER)) - arriving) + PUMP
        core += STEP * (C * (arriving - core) + given) / core_store
        behind.append(core)
        hot = behind.pop(0)
        cooled += STEP * (C * (hot - cooled) - b * hot) / exchanger_store
        first, second = first + STEP * C * (cooled - first) / half, second + STEP * C * (first - second) / half
        highest = max(highest, second)
    return highest


def known_to(litres: float, pulls: int) -> tuple[float, float]:
    """The answer's range, K: heat and air off at once, as independent errors."""
    middle = tank_warmer(litres, pulls)
    off = math.hypot(
        *(
            0.5 * (tank_warmer(litres, pulls, **{name: 1.0 + by}) - tank_warmer(litres, pulls, **{name: 1.0 - by}))
            for name, by in (("heat", HEAT), ("air", AIR))
        )
    )
    return middle - off, middle + off
