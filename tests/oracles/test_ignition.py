"""What an Arrhenius law of ignition delay cannot show: chemistry whose delay rises with temperature (charge-C45)."""

from __future__ import annotations

import numpy as np
import pytest

from coldside.parts.knock import gasoline_delay

pytestmark = pytest.mark.oracle


def _delay(T: float) -> float:
    """Delay [s] of n-dodecane and air at phi 1, 40 bar, constant volume: steepest rise of temperature."""
    ct = pytest.importorskip("cantera")
    gas = ct.Solution("nDodecane_Reitz.yaml", "nDodecane_IG")
    gas.TP = T, 40e5
    gas.set_equivalence_ratio(1.0, "c12h26", "o2:1.0, n2:3.76")
    reactor = ct.IdealGasReactor(gas, clone=False)
    net = ct.ReactorNet([reactor])
    times, temperatures = [0.0], [T]
    while net.time < 5e-3:
        net.step()
        times.append(net.time)
        temperatures.append(reactor.T)
    return float(times[int(np.argmax(np.gradient(temperatures, times)))])


def test_delay_that_rises_with_temperature():
    """Cantera 3.2.0: 950 K takes 1.25 times as long as 900 K (trend, > 1); the law of gasoline falls."""
    assert _delay(950.0) / _delay(900.0) > 1.0
    assert gasoline_delay(4e6, 950.0, 100.0) < gasoline_delay(4e6, 900.0, 100.0)
