"""Formulas of the drop pipe: SI in, SI out."""
