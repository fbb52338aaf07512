"""What a file must look like: the help of a command says it, and the app's upload beside it."""

from __future__ import annotations

MEASURED_ROWS = (
    "Columns: air speed, rotor speed, electrical power (into the element); optional thrust, dial (the pitch that was "
    "set) "
    "and time. Units stand in the header: air_speed_km_h, rotor_speed_rpm, electrical_power_w, thrust_n, dial_deg, "
    "time_s. "
    "Use steady rows: the rotor's own inertia is not taken off. [measurement] in the scenario says how good the "
    "instruments are."
)
SWEEP_ROWS = (
    "Columns: time, electrical power, one setting (pitch, resistance or ratio), and air speed, or road speed with the "
    "head wind (optional); rotor speed (optional). Units stand in the header: time_s, electrical_power_w, pitch_deg, "
    "air_speed_km_h, road_speed_mph, wind_speed_mph, rotor_speed_rpm. Hold each setting half a minute or more, and go "
    "through them twice or more, in another order each time. Two or three numbers a setting give a wide answer."
)
SPIN_UP_ROWS = (
    "Columns: rotor_speed_rpm and vibration_mm_s (root mean square, at the bearing or on the mount), a row for each "
    "reading, three or more; time_s optional. Readings at many speeds, up to the last step and not above it."
)
TAP_ROWS = (
    "Columns: time_s and acceleration_m_s2 (or acceleration_x_m_s2, _y_, _z_) of a phone fixed to the mount; one sharp "
    "tap with a soft hammer, some seconds long, 50 rows a second or more. Rotor stopped and tied."
)
OTHER_READINGS = (
    "Others: heat_power, current, rotor_speed, thrust, fuel_without, fuel_working, fuel_change_per_distance, and of a "
    "battery vehicle battery_power_without, battery_power_working, battery_power_change; conditions "
    "wind_from, grade, temperature, pitch, resistance, compared_with."
)
RUN_LIST = """\b
  [vehicle]
  mass = "2300 kg"
  [engine]
  fuel = "petrol"                # petrol, e10, diesel, lpg
  displacement = "1.6 L"         # for litres from manifold pressure
  peak_torque = "190 N*m"        # or torque_curve = "torque.csv": for litres from calculated load
  [columns]                      # only for headers windtoll does not know
  "Spd2" = "vehicle speed (mph)"
  [directions]                   # to use a wind that is given with where it comes from
  out = "north-east"
  [[run]]                        # written by windtoll record, one a run
  file = "run_01.csv"
  state = "working"              # absent, stowed, working
  pair = 1                       # same road, same direction, same hour
  direction = "out"
  date = "2026-05-03 10:12"
  head_wind = "2 m/s"            # tail wind negative
  temperature = "14 degC"
  gust = "4 m/s"                 # optional, as the lines that follow
  vehicle_ahead = false          # or how much of the run: "20 %"
  tyre_pressure = "2.5 bar"      # checked cold, the same for every run
  fuel_used = "1.84 L"           # metered, or weighed ("1.37 kg"): the best source, for every run or none
                                 # battery: energy_used = "3.2 kWh" (display, or meter at the charger) in its place
                                 # no log of a run: distance = "15 km" and duration = "10.5 min" in place of file
  control = "control_01.csv"     # a second vehicle's log of the same drive, for every run or none
  [[run]]
  file = "run_02.csv"
  state = "stowed"
  pair = 1
"""
PASSENGER_READINGS = (
    "Columns: electrical_power_w and road_speed_mph (or _km_h), a row for each reading. Optional, where a passenger "
    "has them: rotor_speed_rpm, voltage_v, current_a (both at the element), air_speed_mph (at the rotor), "
    "free_air_speed_mph, wind_speed_mph (head wind), thrust_n, dial_deg (or pitch_deg), resistance_ohm, ratio, "
    "heading_deg (the way the road ran), time_s. Cells may be empty."
)
