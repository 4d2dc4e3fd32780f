"""Other words of the trade for our kinds of part and their keys: only to answer a mistaken one with the right one.

What is here: words and what they mean; no file is read differently because of them.  What is not: the kinds and keys
themselves (`build/schema.py`), nor the words of a session (`duty/phases.py`).
"""

from __future__ import annotations

from collections.abc import Mapping

# word for a part -> the kinds it may mean, the likelier first
OTHER_KINDS: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(
        ("intercooler", "aftercooler", "charge_cooler", "chargecooler", "cooler"), ("water_core", "air_core")
    ),
    **dict.fromkeys(("water_to_air", "barrel_cooler"), ("water_core",)),
    **dict.fromkeys(("air_to_air", "front_mount", "fmic"), ("air_core",)),
    **dict.fromkeys(("radiator", "heat_exchanger", "heat_exchangers", "hx", "condenser"), ("exchanger",)),
    **dict.fromkeys(("turbo", "turbocharger", "turbos"), ("compressor",)),
    **dict.fromkeys(("blower", "roots", "screw"), ("supercharger",)),
    **dict.fromkeys(("tank", "ice_tank", "icebox", "ice_box", "header_tank", "swirl_pot", "bottle"), ("reservoir",)),
    **dict.fromkeys(("manifold", "intake_manifold", "inlet_manifold", "intake"), ("plenum",)),
    **dict.fromkeys(("tube", "charge_pipe", "intercooler_pipe", "elbow", "coupler"), ("pipe",)),
    **dict.fromkeys(("line", "coolant_hose", "hard_line"), ("hose",)),
    **dict.fromkeys(("throttle_body", "throttlebody"), ("throttle",)),
    **dict.fromkeys(("air_filter", "airbox", "air_box"), ("filter",)),
    **dict.fromkeys(("thermocouple", "thermistor", "probe", "iat", "iat_sensor"), ("sensor",)),
    **dict.fromkeys(("water_pump", "circulation_pump"), ("pump",)),
    **dict.fromkeys(("check_valve", "restrictor", "tap", "solenoid"), ("valve",)),
    **dict.fromkeys(("water_injection", "methanol_injection", "meth"), ("injection",)),
    **dict.fromkeys(("refrigerant", "ac_chiller"), ("chiller",)),
    "electric_fan": ("fan",),
}

_TUBE = dict.fromkeys(("diameter", "inside_diameter", "id", "inner_diameter", "size"), "bore")
_MASS = dict.fromkeys(("weight", "dry_weight"), "metal_mass")
_CORE = {
    **_MASS,
    **dict.fromkeys(("efficiency", "effectiveness"), "bench_effectiveness"),
    **dict.fromkeys(("pressure_drop", "pressure_loss", "loss"), "bench_charge_loss"),
}
_SPEEDS = {
    **dict.fromkeys(("redline", "rev_limit", "limiter", "max_rpm"), "top_speed"),
    **dict.fromkeys(("idle", "idle_rpm"), "idle_speed"),
}

# table -> word for one of its keys -> the key
OTHER_KEYS: dict[str, Mapping[str, str]] = {
    "engine": {
        **_SPEEDS,
        **dict.fromkeys(("type", "layout"), "kind"),
        **dict.fromkeys(("capacity", "size", "swept_volume"), "displacement"),
        **dict.fromkeys(("compression", "cr"), "compression_ratio"),
        **dict.fromkeys(("ve", "filling"), "volumetric_efficiency"),
        **dict.fromkeys(("boost_pressure", "boost_target", "manifold_pressure"), "boost"),
        **dict.fromkeys(("afr", "mixture"), "lambda"),
        **dict.fromkeys(("bsfc", "thermal_efficiency"), "brake_efficiency"),
        **dict.fromkeys(("timing", "ignition", "ignition_timing", "spark_advance", "advance"), "spark"),
        **dict.fromkeys(("rod_length", "conrod"), "rod"),
        **dict.fromkeys(("ron", "octane_number"), "octane"),
        **dict.fromkeys(("iat_retard", "iat_trim", "timing_trim"), "trim_spark"),
        **dict.fromkeys(("boost_trim", "iat_boost_trim"), "trim_boost"),
        **dict.fromkeys(("injector_size", "injector_flow"), "injector_capacity"),
    },
    "car": {
        **dict.fromkeys(("weight", "kerb_weight", "curb_weight"), "mass"),
        **dict.fromkeys(("cda", "drag"), "drag_area"),
        **dict.fromkeys(("ratios", "gear_ratios", "gearbox"), "gears"),
        **dict.fromkeys(("diff", "axle_ratio", "rear_end"), "final_drive"),
        **dict.fromkeys(("driven_axle", "driven_wheels"), "drive"),
        **dict.fromkeys(("mu", "friction"), "grip"),
        **dict.fromkeys(("weight_distribution", "front_weight"), "front_share"),
        **dict.fromkeys(("cla", "downforce"), "downforce_area"),
        **dict.fromkeys(("tire_radius", "wheel_radius", "tyre_size"), "tyre_radius"),
    },
    "loops": {
        **dict.fromkeys(("fluid", "liquid", "mix"), "coolant"),
        **dict.fromkeys(("cap", "pressure_cap", "radiator_cap"), "cap_pressure"),
    },
    "ducts": {
        **dict.fromkeys(("location", "position"), "place"),
        **dict.fromkeys(("area", "opening", "inlet_size"), "inlet_area"),
        **dict.fromkeys(("outlet_area", "exit_size"), "exit_area"),
        **dict.fromkeys(("gap", "leak", "sealing"), "leak_area"),
    },
    "compressor": {"twin": "count", "eta": "efficiency", "max_speed": "speed_limit"},
    "supercharger": {"pulley_ratio": "drive_ratio", "max_speed": "speed_limit"},
    "pipe": _TUBE | _MASS | {"bends": "losses"},
    "hose": _TUBE | {"bends": "losses", "fittings": "losses"},
    "valve": _TUBE,
    "thermostat": _TUBE | {"opening_temperature": "opens_at"},
    "water_core": _CORE,
    "air_core": _CORE,
    "exchanger": _MASS
    | dict.fromkeys(("efficiency", "effectiveness"), "bench_effectiveness")
    | dict.fromkeys(("heat_rejection", "capacity"), "bench_heat"),
    "plenum": _MASS | {"size": "volume"},
    "pump": {
        **dict.fromkeys(("flow", "flow_curve", "pump_curve"), "curve"),
        **dict.fromkeys(("switch", "trigger"), "control"),
        **dict.fromkeys(("amps", "current_draw"), "current"),
        **dict.fromkeys(("wire", "awg"), "wire_gauge"),
    },
    "reservoir": _MASS | dict.fromkeys(("capacity", "size", "litres", "liters", "coolant_volume"), "volume"),
    "fan": {
        **dict.fromkeys(("flow", "cfm", "fan_curve"), "curve"),
        **dict.fromkeys(("switch", "trigger"), "control"),
        **dict.fromkeys(("amps", "current_draw"), "current"),
    },
    "sensor": {**dict.fromkeys(("response", "response_time", "lag", "tau"), "time_constant")},
}
