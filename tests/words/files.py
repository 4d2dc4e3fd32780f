"""Small, invented, valid files that the tests of reading start from, and a way to spoil them in one place."""

from __future__ import annotations

BUILD = """\
# Kestrel: an INVENTED car for the tests.
schema = "coldside.build/1"
name = "Kestrel"

[engine]
kind = "piston"
displacement = "2.0 L"
cylinders = 4
boost = [["2500 rpm", "8 psi"], ["7500 rpm", "20 psi"]]
fuel = "E85"
lambda = 0.82                       # on the rich side
brake_efficiency = "0.30 +- 0.02"

[bay]
temperature_rise = "35 degF rise"

[charge]
path = ["filter", "turbo", "hot_pipe", ["left_core", "right_core"], "throttle", "plenum", "intake_sensor"]

[loops.charge]
coolant = "ethylene glycol 30 % by volume"
path = ["tank", "pump", "feed_hose", ["left_core", "right_core"], "nose_hx"]
cap_pressure = "0.9 bar gauge"

[ducts.nose]
path = ["nose_hx", "nose_fan"]
place = "nose"
inlet_area = "400 cm2"

[parts.filter]
kind = "filter"

[parts.turbo]
kind = "compressor"
design_flow = "0.30 kg/s"
design_pressure_ratio = 2.6

[parts.hot_pipe]
kind = "pipe"
length = "0.9 m"
bore = "2.5 in"

[parts.left_core]
kind = "water_core"
bench_charge_flow = "0.15 kg/s"
bench_coolant_flow = "12 L/min"
bench_charge_in = "140 degC"
bench_coolant_in = "30 degC"
bench_effectiveness = "0.80 +- 0.03"
bench_charge_loss = "4 kPa"
bench_coolant_loss = "9 kPa"
metal_mass = "2.2 kg"
coolant_volume = "0.6 L"

[parts.right_core]
kind = "water_core"
bench_charge_flow = "20 lb/min"
bench_coolant_flow = "3.2 US gal/min"
bench_charge_in = "284 degF"
bench_coolant_in = "86 degF"
bench_effectiveness = "80 % +- 3 %"
bench_charge_loss = "0.6 psi"
bench_coolant_loss = "1.3 psi"
metal_mass = "5 lb"
coolant_volume = "37 in3"

[parts.throttle]
kind = "throttle"

[parts.plenum]
kind = "plenum"

[parts.intake_sensor]
kind = "sensor"

[parts.tank]
kind = "reservoir"
volume = "9 L"                      # behind the driver
height = "0.5 m"

[parts.pump]
kind = "pump"
curve = [["0 L/min", "8 m"],
         ["15 L/min", "6 m"],
         ["28 L/min", "1 m"]]
control = "above 40 degC charge, 4 K hysteresis"

[parts.feed_hose]
kind = "hose"
length = "5 ft"
bore = "19 mm"

[parts.nose_hx]
kind = "exchanger"
bench_coolant_flow = "20 L/min"
bench_cooling_flow = "0.9 kg/s"
bench_coolant_in = "60 degC"
bench_cooling_in = "25 degC"
bench_heat = "14 kW +- 5 %"
bench_coolant_loss = "8 kPa"
bench_cooling_loss = "170 Pa"

[parts.nose_fan]
kind = "fan"
curve = [["0 m3/s", "190 Pa"], ["0.4 m3/s", "0 Pa"]]
control = "schedule"
"""

SESSION = """\
# An INVENTED day.
schema = "coldside.session/1"
name = "Three pulls"
start = "soaked"

[ambient]
temperature = "31 degC"
altitude = "240 m"
humidity = "45 %"

[[phases]]
kind = "idle"
duration = "2 min"

[[phases]]
kind = "pull"
on = "dyno"
from = "3000 rpm"
to = "7000 rpm"
duration = "10 s"
repeat = 3
rest = "4 min"
fans = "60 %"
[phases.air]
nose = "8 m/s"

[[phases]]
kind = "cruise"
group = "lap"
duration = "30 s"
speed = "60 mph"

[[phases]]
kind = "cooldown"
group = "lap"
duration = "20 s"

[groups.lap]
repeat = 2

[[limits]]
quantity = "intake"
at_most = "60 degC"
during = "boost"

[[limits]]
quantity = "over_ambient"
at_most = "45 degF rise"
"""

LIMITS = """\
schema = "coldside.limits/1"

[[limits]]
quantity = "coolant"
at_most = "65 degC"
during = "always"

[[limits]]
quantity = "spread"
at_most = "15 %"
"""

MAP = """\
# An INVENTED map.
# reference_temperature: 298.15 K
# reference_pressure: 100 kPa abs
speed_rpm,corrected_flow_kg_s,pressure_ratio,efficiency
60000,0.05,1.30,0.66
60000,0.08,1.28,0.72
60000,0.12,1.20,0.68
90000,0.09,1.85,0.68
90000,0.14,1.80,0.75
90000,0.20,1.60,0.70
120000,0.14,2.70,0.66
120000,0.20,2.62,0.75
120000,0.28,2.20,0.68
"""


def spoiled(text: str, *edits: tuple[str, str]) -> str:
    """The text with every (old, new) edit made; each old must stand in it exactly once."""
    for old, new in edits:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
        text = text.replace(old, new)
    return text
