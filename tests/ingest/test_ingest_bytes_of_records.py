"""Every byte and line of the open records is of one kind; nothing of them is kept here."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import SourceError
from pipeline.ingest.files import list_files, open_file

RECORDS = Path(__file__).resolve().parents[2].parent / "shared" / "records"

pytestmark = [
    pytest.mark.records,
    pytest.mark.skipif(not RECORDS.is_dir(), reason="the open records are not beside the checkout"),
]


def test_data_bytes_and_lines_of_every_text_add_up() -> None:
    checked = 0
    for file in list_files([RECORDS]):
        try:
            parts = list(open_file(file))
        except SourceError:
            continue
        texts = [p for p in parts if p.text is not None and not p.one_of_many]
        found = []
        for part in texts:
            head = next(((h, g) for h, g in part.heads() if h.lines == 1), None)
            if head is not None:
                found.append(part.parse(*head, None))
        if len(found) != len(texts) or not texts or file.path.suffix in (".gz", ".zip"):
            continue
        raw = file.path.read_bytes()
        assert sum(sum(p.bytes.values()) for p in found) == len(raw), file.name
        lines = raw.count(b"\n") + (not raw.endswith(b"\n"))
        assert sum(sum(p.kinds.values()) for p in found) == sum(p.lines for p in found) == lines, file.name
        assert all(p.rows_read == len(p.frame) + len(p.faults) for p in found), file.name
        checked += 1
    assert checked > 40
