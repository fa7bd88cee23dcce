"""Rows in order: short texts compared as numbers, long or foreign ones by the library, alike."""

from __future__ import annotations

import pandas as pd
import pyarrow as pa
from hypothesis import given
from hypothesis import strategies as st

from pipeline.normalise.order import by_text, ordered

PLAIN = st.text("aAbB0129-_ .", max_size=20)
ANY = st.text(max_size=40)


@given(st.lists(st.one_of(PLAIN, PLAIN, ANY), max_size=30))
def test_property_texts_sort_by_code_point_and_equal_ones_keep_their_places(texts: list[str]) -> None:
    texts = [t for t in texts if not any(0xD800 <= ord(c) <= 0xDFFF for c in t)]
    order, unlike = by_text(pa.array(texts, type=pa.large_string()))
    wanted = sorted(range(len(texts)), key=lambda i: (texts[i].encode(), i))
    assert list(order) == wanted and unlike == (len(set(texts)) == len(texts))


@given(st.lists(st.tuples(PLAIN, st.integers(0, 3)), min_size=2, max_size=30))
def test_property_frames_sort_by_all_keys(rows: list[tuple[str, int]]) -> None:
    frame = pd.DataFrame({"id": pd.Series([r[0] for r in rows], dtype="str"), "n": [r[1] for r in rows]})
    frame["place"] = range(len(frame))
    out = ordered(frame, ["id", "n"])
    wanted = sorted(zip(frame["id"], frame["n"], frame["place"], strict=True), key=lambda r: (r[0].encode(), r[1], r[2]))
    assert list(out.itertuples(index=False, name=None)) == wanted
