"""Check cases of cooling-air ducts, one exchanger as the face; and a core before a radiator."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from cases.record import Case
from coldside.parts.airflow import FAN_CURVE_DENSITY, DuctSpec, FanSpec, porous_pressure
from coldside.parts.core_losses import BENCH_AIR
from coldside.parts.correlations import transfer_units_crossflow
from coldside.parts.exchanger import CELLS, ExchangerSpec
from coldside.plant.flows import LEAK, Air, duct_flows
from generators import EXCHANGER, Held, build_of, exact_values, rated, settled, stack_bench

FOUR = "four digits stated, and 5 mm/s of creep that keeps an opening's loss from a flat spot"
STANDARD = Air(298.15, 101325.0, 0.0)  # loop-C22: 1.184 kg/m3


def face(area: float, linear: float, square: float, at: float, height: float = 0.3) -> ExchangerSpec:
    """A face of `area` that loses linear u + square u^2 [Pa], u the face velocity; stated at the velocity `at`."""
    loss = linear * at + square * at * at
    exponent = 2.0 - linear * at / loss
    return replace(
        EXCHANGER,
        bench_cooling_flow=BENCH_AIR * area * at,
        bench_cooling_loss=loss,
        cooling_loss_exponent=exponent,
        face_height=height,
    )


def links(spec: DuctSpec, front: ExchangerSpec, speed: float, around: Air = STANDARD) -> dict[str, float]:
    """Air through each link of a duct with one face, kg/s, by name; nothing is warm."""
    build = build_of({"face": front}, (), duct=("face",), duct_spec=spec)
    flows = duct_flows(build, build.ducts["duct"])
    m = flows.flow(build, np.array([speed]), np.array([around.temperature]), {}, around)[0]
    return dict(zip(flows.network.names, m, strict=True))


def volume_flow(
    spec: DuctSpec,
    front: ExchangerSpec,
    speed: float,
    around: Air,
    fan: FanSpec | None = None,
    leaving: float | None = None,
) -> float:
    """Air through the duct, m3/s of the faces' mean density."""
    parts: dict[str, object] = {"face": front} | ({"fan": fan} if fan else {})
    build = build_of(parts, (), duct=tuple(parts), duct_spec=spec)
    T = around.temperature if leaving is None else leaving
    command = {"fan": np.ones(1)} if fan else {}
    m = duct_flows(build, build.ducts["duct"]).flow(build, np.array([speed]), np.array([T]), command, around)[0, 0]
    cold = 101325.0 / (287.055 * around.temperature)
    return float(m) / (0.5 * cold * (1.0 + around.temperature / T))


def _duct_and_core(
    recovery: float, K_core: float, K_duct: float, K_inlet: float, area_ratio: float, speed: float
) -> dict[str, float]:
    """Face velocity over road speed; the inlet's and the duct's loss stand for the opening losses."""
    area = 0.1
    spec = DuctSpec(
        place="nose",
        inlet_area=area / area_ratio,
        recovery=recovery,
        inlet_loss=K_inlet,
        exit_area=area,
        exit_loss=K_duct,
    )
    front = face(area, 0.0, 0.5 * K_core * BENCH_AIR, 0.25 * speed)
    return {"velocity_ratio": volume_flow(spec, front, speed, STANDARD) / area / speed}


def _leaky(
    speed: float, inlet: float, area: float, K_core: float, K_inlet: float, recovery: float, leak: float
) -> dict[str, float]:
    """Face velocity, and the share of the air that passes beside the face."""
    spec = DuctSpec(place="nose", inlet_area=inlet, recovery=recovery, inlet_loss=K_inlet, leak_area=leak)
    m = links(spec, face(area, 0.0, 0.5 * K_core * BENCH_AIR, 0.2 * speed), speed)
    return {"face_velocity": m["face"] / BENCH_AIR / area, "leak_share": m.get(LEAK + "duct", 0.0) / sum(m.values())}


def _porous(K: float) -> dict[str, float]:
    """Where Taylor's pressure holds the loss of a sheet, u over V; on the branch where it falls with u or rises."""
    return {"velocity_ratio": brentq(lambda u: float(porous_pressure(1.0, u, 1.0)) - 0.5 * K * u * u, 1e-9, 1.0)}


def _bare(K: float, speed: float) -> dict[str, float]:
    spec = DuctSpec(place="nose", inlet="open", face_area=0.15)
    m = links(spec, face(0.15, 0.0, 0.5 * K * BENCH_AIR, 0.3 * speed), speed)
    return {"velocity_ratio": m["face"] / BENCH_AIR / 0.15 / speed}


def _linear_and_square(share_of_ram: float, speed: float, linear: float, square: float) -> dict[str, float]:
    spec = DuctSpec(place="nose", inlet_area=0.12, recovery=share_of_ram, inlet_loss=0.0)
    return {"face_velocity": volume_flow(spec, face(0.12, linear, square, 6.0), speed, STANDARD) / 0.12}


def _fan_and_ram(
    shut_off: float, free: float, share_of_ram: float, speed: float, area: float, linear: float, square: float
) -> dict[str, float]:
    """A fan whose pressure is stated at the day's density, so that its curve is given at that of fan curves."""
    spec = DuctSpec(place="nose", inlet_area=area, recovery=share_of_ram, inlet_loss=0.0)
    fan = FanSpec(curve=((0.0, shut_off * FAN_CURVE_DENSITY / BENCH_AIR), (free, 0.0)))
    return {"flow": volume_flow(spec, face(area, linear, square, 3.0), speed, STANDARD, fan)}


def _draught(T_air: float, T_core: float, height: float, linear: float, square: float) -> dict[str, float]:
    """Natural draught through a hot face at a standstill."""
    spec = DuctSpec(place="nose", inlet_area=0.12, recovery=0.5, inlet_loss=0.0)
    around = Air(T_air, 101325.0, 0.0)
    return {
        "face_velocity": volume_flow(spec, face(0.12, linear, square, 1.0, height), 0.0, around, leaving=T_core) / 0.12
    }


def _preheated(m_air: float, heat: float, covers: float, T_coolant: float, T_ambient: float) -> dict[str, float]:
    """A charge core covers a share of a radiator: heat the radiator still gives, over that without the core's heat."""
    cp_charge, cp_air, cp_loop = 1010.0, 1006.0, 3600.0
    m_charge, m_loop = 0.3, 1.0
    C1, C2, C3 = m_charge * cp_charge, covers * m_air * cp_air, m_air * cp_air
    core = rated(800.0, 800.0, m_charge, covers * m_air)
    UA = float(transfer_units_crossflow(0.5, C3 / (m_loop * cp_loop))) * C3
    radiator = rated(2.0 * UA, 2.0 * UA, m_loop, m_air, liquid=1)
    values = {
        "core": exact_values(core, CELLS["air_core"], m_charge, covers * m_air, (cp_charge, cp_air)),
        "radiator": exact_values(radiator, CELLS["exchanger"], m_loop, m_air, (cp_loop, cp_air)),
    }

    def at(T_charge: float) -> tuple[float, float, float]:
        """Heat of the core, rise of the air that passes it, heat of the radiator."""
        held = Held(
            charge=(m_charge, cp_charge, T_charge),
            coolant=(m_loop / 1000.0, 1000.0, cp_loop),
            cooling=(m_air, cp_air),
            values=values,
            pickup={"source coolant": 1e12},
        )
        plant = stack_bench(0.1, covers, held, ambient=T_ambient, bay=T_coolant)
        _, heats, _ = settled(plant)
        front, behind = plant.index("core", "cooling"), plant.index("radiator", "cooling")
        return (
            float(-heats.crossed[plant.index("core", "charge"), 0]),
            float(heats.T_out[front, 0]) - T_ambient,
            float(heats.crossed[behind, 0]),
        )

    assert min(C1, C2) > 0.0
    T_charge = brentq(lambda T: at(T)[0] + heat, T_ambient, T_ambient + 400.0, xtol=1e-9)
    _, rise, warm = at(T_charge)
    return {"preheat": rise, "capacity_factor": warm / at(T_ambient)[2]}


EXAMPLE = {
    "speed": 100.0 / 3.6, "inlet": 0.05, "area": 0.15, "K_core": 15.0, "K_inlet": 0.5, "recovery": 0.9,
}  # fmt: skip

CASES = [
    Case(
        id="loop-C23",
        what="duct and core, all losses with the square of the flow",
        inputs={"recovery": 1.0, "K_core": 12.0, "K_duct": 1.5, "K_inlet": 0.3, "area_ratio": 2.5, "speed": 30.0},
        compute=_duct_and_core,
        expected={"velocity_ratio": 0.2550},
        tolerance=1e-3,
        tolerance_reason=FOUR,
        source=("Analytic",),
        how="derived",
    ),
    Case(
        id="loop-C24",
        what="0.8 of the ram pressure at 100 km/h on a core of 12 u + 8 u^2",
        inputs={"share_of_ram": 0.8, "speed": 100.0 / 3.6, "linear": 12.0, "square": 8.0},
        compute=_linear_and_square,
        expected={"face_velocity": 6.051},
        tolerance=1e-3,
        tolerance_reason=FOUR,
        source=("Analytic",),
        how="derived",
    ),
    *(
        Case(
            id="loop-C25",
            part=part,
            what="a fan and ram pressure on a core of 12 u + 8 u^2",
            inputs={
                "shut_off": 220.0,
                "free": 0.6,
                "share_of_ram": 0.6,
                "speed": speed,
                "area": 0.12,
                "linear": 12.0,
                "square": 8.0,
            },
            compute=_fan_and_ram,
            expected={"flow": flow},
            tolerance=1e-3,
            tolerance_reason=FOUR,
            source=("Analytic",),
            how="computed with a root finder",
        )
        for part, speed, flow in (("at 30 km/h", 30.0 / 3.6, 0.3654), ("standing", 0.0, 0.3366))
    ),
    *(
        Case(
            id="loop-C26",
            part=f"leak of {1e4 * leak:.0f} cm2",
            what="air beside the face takes from the face: velocity through it, share that leaks",
            inputs={**EXAMPLE, "leak": leak},
            compute=_leaky,
            expected={"face_velocity": u, "leak_share": share},
            tolerance=1e-3,
            tolerance_reason=FOUR,
            source=("Analytic",),
            how="derived: the face and its leak lose the same, the inlet loses on both",
        )
        for leak, u, share in ((0.02, 5.492, 0.2513), (0.04, 5.019, 0.4017))
    ),
    *(
        Case(
            id="loop-d5",
            part=f"leak of {1e4 * leak:.0f} cm2",
            what="the notes' table of leaks: velocity through the face",
            inputs={**EXAMPLE, "leak": leak},
            compute=_leaky,
            expected={"face_velocity": u} | ({"leak_share": share} if share else {}),
            tolerance=6e-3,
            kind="absolute",
            tolerance_reason="two decimals stated",
            source=("Analytic",),
            how="derived",
        )
        for leak, u, share in (
            (0.0, 5.968, 0.0),
            (0.01, 5.73, 0.14),
            (0.08, 4.18, 0.57),
            (0.12, 3.53, 0.67),
        )
    ),
    *(
        Case(
            id="loop-d5",
            part=f"sealed duct, K = {K:.0f}",
            what="velocity through a sealed duct of a third of the face at its inlet, over road speed",
            inputs={"recovery": 1.0, "K_core": K, "K_duct": 0.0, "K_inlet": 0.5, "area_ratio": 3.0, "speed": 30.0},
            compute=_duct_and_core,
            expected={"velocity_ratio": ratio},
            tolerance=6e-4,
            kind="absolute",
            tolerance_reason="three decimals stated",
            source=("Analytic",),
            how="derived",
        )
        for K, ratio in ((10.0, 0.263), (15.0, 0.226), (30.0, 0.170), (60.0, 0.125))
    ),
    Case(
        id="loop-C41",
        what="a bare core in an open stream by Taylor's pressure alone, K = 15",
        inputs={"K": 15.0},
        compute=_porous,
        expected={"velocity_ratio": 0.2105},
        tolerance=1e-3,
        tolerance_reason="four digits stated",
        source=("Taylor1944",),
        how="derived: u/V = 1/(1 + K/4), formula from memory; see the bare face below for K above 4",
    ),
    *(
        Case(
            id="loop-C41",
            part=f"bare face, K = {K:g}",
            what="a bare face in a duct's place: Taylor's ratio while it is open, the stream's own pressure when dense",
            inputs={"K": K, "speed": 30.0},
            compute=_bare,
            expected={"velocity_ratio": ratio},
            tolerance=5e-4,
            tolerance_reason="5 mm/s of creep in 5 m/s, and 1e-2 Pa s/kg that keeps a slope",
            source=source,
            how="derived: 1/(1 + K/4) up to K = 4; above, the pressure of rho V^2/2 gives K^-1/2",
        )
        for K, ratio, source in (
            (1.0, 0.8, ("Taylor1944",)),
            (3.0, 4.0 / 7.0, ("Taylor1944",)),
            (4.0, 0.5, ("Taylor1944",)),
            (15.0, 15.0**-0.5, ("Analytic",)),
            (30.0, 30.0**-0.5, ("Analytic",)),
        )
    ),
    Case(
        id="loop-C28",
        what="natural draught of a hot core at a standstill",
        inputs={"T_air": 303.15, "T_core": 333.15, "height": 0.3, "linear": 12.0, "square": 8.0},
        compute=_draught,
        expected={"face_velocity": 0.02534},
        tolerance=5e-3,
        tolerance_reason="the notes' own: ideal gas, CoolProp Air; the square part hardly counts",
        source=("CoolProp",),
        how="computed with CoolProp 8.0.0 Air",
    ),
    Case(
        id="heat-T37",
        what="a charge core in front of 60 % of a radiator: air behind it, and heat the radiator still gives",
        inputs={"m_air": 1.7, "heat": 25e3, "covers": 0.6, "T_coolant": 371.15, "T_ambient": 308.15},
        compute=_preheated,
        expected={"preheat": 24.364, "capacity_factor": 0.76797},
        tolerance=1e-4,
        tolerance_reason="five digits stated",
        source=("Analytic",),
        how="derived: conservation of energy, fixed conductance and flows",
    ),
    Case(
        id="heat-T37",
        part="on the whole face",
        what="the notes' second figure: 45 kW from a core in front of all of the radiator",
        inputs={"m_air": 1.7, "heat": 45e3, "covers": 1.0, "T_coolant": 371.15, "T_ambient": 308.15},
        compute=_preheated,
        expected={"preheat": 26.3, "capacity_factor": 0.58},
        tolerance=5e-3,
        tolerance_reason="two digits stated of the factor, 0.5823",
        source=("Analytic",),
        how="derived: conservation of energy, fixed conductance and flows",
    ),
]
