"""Materials: bill lines of a well, and the same goods summed over draws for demand."""

from pipeline.materials.draws import (
    added,
    cost_cable_beyond,
    draw_rows,
    draw_sums,
    first_cost_constants,
    price_table,
    settled,
    worth,
)
from pipeline.materials.goods import Catalogue, catalogue
from pipeline.materials.lines import bill, missing_prices
from pipeline.materials.quantities import Batch, length_cable, pieces, volume_bleach, volume_water

__all__ = [
    "Batch", "Catalogue", "added",
    "bill", "catalogue", "cost_cable_beyond", "draw_rows", "draw_sums", "first_cost_constants", "length_cable",
    "missing_prices", "pieces", "price_table", "settled", "volume_bleach", "volume_water", "worth",
]  # fmt: skip
