"""Signs of texts told from their bytes equal what a search says."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
from hypothesis import given
from hypothesis import strategies as st

from pipeline.normalise.signs import LOWER, POINT, SEPARATOR, UPPER, Signs

TEXTS = st.lists(st.text("aZ09-. /_é", min_size=1, max_size=6), min_size=1, max_size=12)


@given(TEXTS, st.booleans(), st.integers(0, 3))
def test_property_signs_are_what_a_search_finds(texts: list[str], wide: bool, skipped: int) -> None:
    array = pa.array([*["#"] * skipped, *texts], type=pa.large_string() if wide else pa.string())[skipped:]
    signs = Signs.of(array)
    raw = [t.encode() for t in texts]
    assert signs.first.tolist() == [b[0] for b in raw] and signs.last.tolist() == [b[-1] for b in raw]
    for kind, among in ((SEPARATOR, "-. /_".replace(".", "")), (POINT, "."), (UPPER, "Z"), (LOWER, "a")):
        holds = [any(sign in among for sign in text) for text in texts]
        assert signs.holding(kind).tolist() == holds
        assert bool(signs.kinds & kind) == any(holds)
    allowed = np.zeros(256, dtype=bool)
    allowed[list(b"aZ09")] = True
    assert signs.within(allowed) == all(set(text) <= set("aZ09") for text in texts)
