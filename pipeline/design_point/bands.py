"""A value with its low, high and basis, for every well at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.settings import Band

Floats = NDArray[np.float64]
BASES = np.array(["recorded", "derived", "neighbours", "assumed"], dtype=object)
RECORDED, DERIVED, NEIGHBOURS, ASSUMED = range(4)


@dataclass
class Banded:
    """Arrays of one quantity over wells: base, low end, high end, and how it is known (index of BASES)."""

    base: Floats
    low: Floats
    high: Floats
    basis: NDArray[np.int8]

    @classmethod
    def recorded(cls, values: Floats) -> Banded:
        """Recorded values, without a band; NaN where not recorded."""
        return cls(values.copy(), values.copy(), values.copy(), np.full(len(values), RECORDED, np.int8))

    def fill(self, base: Floats, low: Floats, high: Floats, basis: int | NDArray[np.int8]) -> Banded:
        """Fill what is still missing; a later filling never touches an earlier one."""
        gap = np.isnan(self.base) & ~np.isnan(base)
        self.base = np.where(gap, base, self.base)
        self.low = np.where(gap, np.minimum(low, base), self.low)
        self.high = np.where(gap, np.maximum(high, base), self.high)
        self.basis = np.where(gap, np.asarray(basis, np.int8), self.basis)
        return self

    def fill_band(self, band: Band, scale: Floats | float, basis: int = ASSUMED) -> Banded:
        """Fill what is still missing from a declared band times ``scale``."""
        size = np.ones(len(self.base))
        return self.fill(band.base * scale * size, band.low * scale * size, band.high * scale * size, basis)

    def clip(self, least: Floats | float, most: Floats | float) -> Banded:
        """Keep base, low and high within limits."""
        self.base, self.low, self.high = (np.clip(x, least, most) for x in (self.base, self.low, self.high))
        return self

    def columns(self, name: str, stem: str) -> dict[str, object]:
        """The four columns of a banded field."""
        basis = BASES[self.basis]
        basis[np.isnan(self.base)] = None
        return {name: self.base, f"{name}_low": self.low, f"{name}_high": self.high, f"{stem}_basis_code": basis}


def add(*terms: Banded, signs: tuple[int, ...] | None = None) -> Banded:
    """Sum of independent banded quantities: bases add, spreads add in quadrature, the weakest basis stays.

    The low and high of each term are its tenth and ninetieth percentile, taken as independent.
    """
    signs = signs or (1,) * len(terms)
    base = sum((s * t.base for s, t in zip(signs, terms, strict=True)), np.zeros_like(terms[0].base))
    down = np.zeros_like(base)
    up = np.zeros_like(base)
    for sign, term in zip(signs, terms, strict=True):
        lower, upper = term.base - term.low, term.high - term.base
        down += np.square(lower if sign > 0 else upper)
        up += np.square(upper if sign > 0 else lower)
    basis = np.max(np.stack([t.basis for t in terms]), axis=0).astype(np.int8)
    recorded_only = basis == RECORDED
    basis = np.where(recorded_only, np.int8(DERIVED), basis)
    return Banded(base, base - np.sqrt(down), base + np.sqrt(up), basis)


def constant(band: Band, size: int, basis: int = ASSUMED) -> Banded:
    """A declared band for every well."""
    ones = np.ones(size)
    return Banded(band.base * ones, band.low * ones, band.high * ones, np.full(size, basis, np.int8))
