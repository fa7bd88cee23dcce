"""Values spread over rows and quantiles from counts: the same, to the last bit, as the library's plain way."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.normalise import spread
from pipeline.normalise.quantities import quantile


@given(
    st.lists(st.tuples(st.floats(-1e6, 1e9), st.integers(0, 60)), min_size=1, max_size=40),
    st.sampled_from([0.0, 0.1, 0.25, 0.5, 0.99, 1.0]),
)
def test_reference_quantile_of_counts_is_that_of_numpy(pairs, share):
    values, counts = (np.array(column) for column in zip(*pairs, strict=True))
    values, counts = values.astype(float), counts.astype(np.int64)
    counts[0] += 1
    assert quantile(values, counts, share) == np.quantile(np.repeat(values, counts), share)


@pytest.mark.parametrize(
    ("values", "missing"),
    [
        (np.array([1.5, -0.0, np.nan]), np.nan), (np.array([3, 1, 2], np.int8), 0),
        (np.array([True, False, True]), False), (np.array([7, 8, 9], np.int32), -1),
        (np.array(["2001-02-03", "NaT", "1999-01-01"], "datetime64[D]"), np.datetime64("NaT", "D")),
        (np.array(["a", "b", None], dtype=object), None), (np.array([1, 2, 3], np.int16), 0),
    ],
)  # fmt: skip
def test_compiled_and_plain_spreading_agree(values, missing, monkeypatch):
    codes = np.random.default_rng(4).integers(-1, 3, 500).astype(np.int32)
    plain = spread.gather(values, missing, codes)
    monkeypatch.setattr(spread, "ROWS_COMPILED", 1)
    quick = spread.gather(values, missing, codes)
    assert quick.dtype == plain.dtype == values.dtype
    assert quick.tobytes() == plain.tobytes()
    codes.flags.writeable = False
    assert spread.gather(values, missing, codes).tobytes() == plain.tobytes()
