"""The quick look for lines that part tables says what the full pass says. All texts are invented."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.ingest import eights, scan

PIECES = st.sampled_from(["a", "bb", ",", ",", "\n", "\n", " ", "\t", '"', "#", "x,y", "\r\n", "1,2\n", '"p,q",r\n', "é"])


def full(buffer: np.ndarray, skip: int, delimiter: int) -> bool:
    room = int((buffer == 10).sum()) + 2
    place, shape = np.empty((2, room), np.int64), np.empty((3, room), np.int64)
    count = scan.shapes(buffer, skip, delimiter, ord('"'), place, shape)
    first = buffer[np.minimum(place[0, :count], buffer.size - 1)]
    parts = (first == ord("#")) | (shape[1, :count] <= 1) | (shape[2, :count] <= 1)
    return bool(parts[1:].any())


@settings(max_examples=600, deadline=None)
@given(st.lists(PIECES, min_size=1, max_size=30), st.integers(0, 9), st.sampled_from(",\t"))
def test_property_parting_lines_are_those_of_the_full_pass(pieces: list[str], skip: int, delimiter: str) -> None:
    text = "".join(pieces).encode()
    buffer = np.frombuffer(text, np.uint8)
    skip = min(skip, len(text) - 1)
    found = scan.parts(buffer, eights.words_of(buffer), skip, ord(delimiter), ord('"'), ord("#"))
    assert bool(found) == full(buffer, skip, ord(delimiter))
