"""The same wells typed in feet and in metres give the same pipe, pieces and plan."""

import numpy as np
import pandas as pd

from pipeline import api
from pipeline.settings import Settings
from pipeline.units import convert


def wells(unit):
    """Invented wells whose numbers were written in a unit and converted to SI on reading."""
    rng = np.random.default_rng(11)
    feet = np.round(rng.uniform(80, 600, 40))
    level = np.round(feet * rng.uniform(0.1, 0.5, 40))
    if unit == "ft":
        depth, static = (np.asarray(convert(v, "ft", "m")) for v in (feet, level))
    else:
        depth, static = feet * 0.3048, level * 0.3048
    return pd.DataFrame({
        "source_id": "invented", "well_id": [f"u{i:02d}" for i in range(40)], "depth_completed_m": depth,
        "depth_static_m": static, "flow_tested_m3_per_s": np.full(40, 6.309e-4), "market_code": "us",
        "use_code": "domestic",
    })  # fmt: skip


def test_property_units_change_neither_choice_nor_pieces():
    done = [api.size(wells(unit), Settings(market="us", draws=2)) for unit in ("ft", "m")]
    for table, columns in (("selection", ["well_id", "option_id", "piece_count", "joint_count"]),
                           ("install_plan", ["well_id", "people_crew_count", "install_note_codes"]),
                           ("bill_lines", ["well_id", "item_id"])):  # fmt: skip
        first, second = (frames[table][columns].reset_index(drop=True) for frames in done)
        assert len(first) > 0
        pd.testing.assert_frame_equal(first, second)
    quantity = [frames["bill_lines"]["quantity"].to_numpy() for frames in done]
    np.testing.assert_allclose(*quantity, rtol=1e-9)
