"""Branches and items of an invented trader who serves the three invented territories."""

from __future__ import annotations

NOTE = "# invented for demonstration: no trader, branch, price or stock behind it"

BRANCHES = """branch_id,area_code,region_code,share
Harrow Lane,Brindle,Ambrel Flats|Dunmoor Plain|Brackmere Coast,
Harrow Lane,Brindle,Cinder*,0.5
Quarry Yard,Brindle,Cinder*,0.5
Quarry Yard,Brindle,Graysill|Elkhollow|Tallow Hills|Emberlow|Ninebark*,
Osemba Depot,Osemba,*,
Tidewharf,Veldran,*,
"""

ITEMS = """item_id,branch_id,sku,length_piece_ft,pack,minimum_order,lead_time_days,lead_time_sd_days,on_hand,on_order
torque_arrestor,Harrow Lane,T-100,,12,,10,3,8,
torque_arrestor,Quarry Yard,T-100,,12,,10,3,30,
splice_kit,Harrow Lane,K-220,,10,,5,,25,10
splice_kit,,K-220,,10,,5,,,
check_valve-1.25,,V-125,,6,12,14,4,,
pitless_adapter-1,Harrow Lane,A-310,,1,,21,7,3,2
well_cap_vented,Harrow Lane,C-410,,4,,7,2,12,
"""


def make() -> dict[str, str]:
    """File names with their text."""
    return {"branches.csv": f"{NOTE}\n{BRANCHES}", "items.csv": f"{NOTE}\n{ITEMS}"}
