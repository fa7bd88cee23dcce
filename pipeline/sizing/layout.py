"""Places of the numbers that the kernel reads: one row a constant of an option, one column a value of a well.

Every place is named once here; constants.py and inputs.py fill them, kernel.py reads them.
"""

from __future__ import annotations

from pipeline import schema

# constants of an option
OPTION = (
    "velocity_per_flow",
    "reynolds_per_ratio",
    "loss_per_flow2",
    "area_bore",
    "area_outside",
    "weight",
    "rating",
    "surge_limit",
    "dead_head_limit",
    "wave_speed",
    "tension_sustained",
    "tension_pulling",
    "temperature_max",
    "ph_min",
    "chloride_max",
    "hand_bad",
    "fuel_bad",
    "width",
    "coil_longest",
    "piece",
    "stick",
    "cost_fixed",
    "cost_pipe",
    "cost_per_m",
    "cost_per_joint",
    "class_penalty",
    "joint_penalty",
    "glued_penalty",
    "band_head",
    "turbulent_4000",
    "renewals_neutral",
    "renewals_acid",
    "stress_pull",
    "stress_hoop",
    "stress_radial",
    "stress_allowed",
)
# values of a well
WELL = (
    "flow", "head", "head_is_given", "length", "depth_pump", "depth_discharge", "level_static", "level_pumping",
    "gamma", "viscosity", "pressure_head", "head_shutoff", "ratio_shutoff", "weight_pump", "weight_cable_per_m",
    "volume_pump", "area_cable", "bore", "width_pump", "ph", "chloride", "temperature", "hand",
    "fuel", "plunger",
)  # fmt: skip
# scalars of a run
RUN = (
    "velocity_limit", "velocity_most", "friction_limit", "lift_hand", "lift_roller", "lift_winch", "install_hand",
    "install_roller", "install_winch", "install_hoist", "pulls", "energy", "penalty_splice", "depth_glued",
    "penalty_band", "penalty_chemistry", "penalty_dead_head", "penalty_soft", "share_acid", "make_up",
)  # fmt: skip
# what is worked out for one option in one well, beside its checks
QUANTITY = (
    "velocity", "friction", "total", "running", "pulling", "lowered", "joints", "splices", "method", "goods", "first",
    "present", "score", "dead_head", "surge", "bought", "overpull",
)  # fmt: skip

O = {name: place for place, name in enumerate(OPTION)}  # noqa: E741
W = {name: place for place, name in enumerate(WELL)}
R = {name: place for place, name in enumerate(RUN)}
Q = {name: place for place, name in enumerate(QUANTITY)}

_ROWS = sorted(schema.rows("checks"), key=lambda row: int(row["position"]))
CHECKS = tuple(row["check_code"] for row in _ROWS)
UCUM = tuple(row["ucum"] for row in _ROWS)
KIND = tuple(row["kind"] for row in _ROWS)
IS_LOWER = tuple(row["sense"] == "lower" for row in _ROWS)
N_STOP = KIND.count("stop")
