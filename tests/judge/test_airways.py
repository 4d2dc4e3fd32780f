"""Sentences on ducts: gaps beside the faces, and hot air that comes back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from coldside.judge import airways
from judge import made


def texts(look, forecast, system="si"):
    return [sentence.words(system) for sentence in look(forecast)]


def test_a_leak_is_told_from_a_tenth_of_the_air_on():
    base = made.forecast()
    assert texts(airways.leaking, base) == []  # no gaps
    whole = base.air_flow["rear"]

    def with_gaps(share: float):
        return replace(base, flow={**base.flow, ("beside faces of rear", "cooling"): share * whole})

    assert texts(airways.leaking, with_gaps(0.09)) == []
    assert texts(airways.leaking, with_gaps(0.25)) == [
        "In boost 25 % of the air of duct rear takes the gaps beside its faces: sealing them is cheap."
    ]


def test_own_hot_air_is_told_with_its_worst_moment():
    base = made.forecast()
    rise = np.where(np.abs(base.time - 200.0) < 1.0, 9.0, 1.0)
    entering = {**base.inlet, ("rear_hx", "cooling"): made.AMBIENT + rise}
    assert texts(airways.own_air, replace(base, inlet=entering)) == [
        (
            "Duct rear breathes its own hot air again where the car stands: at 3:19 it draws in air 9 K over ambient; "
            "seal inlet from exit, or lead the exit away."
        )
    ]
    cool = {**base.inlet, ("rear_hx", "cooling"): np.full_like(base.time, made.AMBIENT + 4.0)}
    assert texts(airways.own_air, replace(base, inlet=cool)) == []
