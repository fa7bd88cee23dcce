"""Invented wells of every family and stop flag keep their frozen text; refresh.py writes it anew."""

from __future__ import annotations

import difflib

from golden_text import EXPECTED, text, unsigned


def test_golden_wells_keep_their_text() -> None:
    kept, now = EXPECTED.read_text(encoding="utf-8"), text()
    changed = "\n".join(difflib.unified_diff(kept.splitlines(), now.splitlines(), "kept", "now", lineterm="", n=1))
    assert kept == now, f"{changed}\n\nIf every line is wanted: python tests/golden/refresh.py"


def test_golden_wells_without_a_signature_say_why() -> None:
    assert all(len(line.split(": ", 1)[1]) > 20 for line in unsigned())
