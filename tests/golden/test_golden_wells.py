"""Invented wells of every family and stop flag keep their frozen text; refresh.py writes it anew."""

from __future__ import annotations

import difflib
import re

from golden_text import EXPECTED, text, unsigned

from pipeline import schema


def test_golden_wells_keep_their_text() -> None:
    kept, now = EXPECTED.read_text(encoding="utf-8"), text()
    changed = "\n".join(difflib.unified_diff(kept.splitlines(), now.splitlines(), "kept", "now", lineterm="", n=1))
    assert kept == now, f"{changed}\n\nIf every line is wanted: python tests/golden/refresh.py"


def test_golden_wells_without_a_signature_say_why() -> None:
    assert all(len(line.split(": ", 1)[1]) > 20 for line in unsigned())


def test_golden_wells_cover_every_family_and_every_stop_that_a_pipe_on_the_market_can_raise() -> None:
    kept = EXPECTED.read_text(encoding="utf-8")
    family = {row["option_id"]: row["family_code"] for row in schema.rows("options")}
    assert {family[option] for option in re.findall(r"^take ([\w.-]+);", kept, flags=re.M)} == set(schema.codes("family"))
    stops = {row["code"] for row in schema.rows("rules") if row["stage"] == "risk" and row["severity"] == "stop"}
    # threaded PVC of Schedule 40, and barbs on a pipe that is held by its outside, are not sold here
    sold = schema.rows("options")
    thin = [r for r in sold if r["family_code"] == "pvc" and r["joint_code"] == "threaded" and "Sch 40" in r["class_label"]]
    barbs = [r for r in sold if r["joint_code"] == "barbed" and r["control"] == "outside"]
    assert not thin and not barbs
    assert stops - {"R27", "R32"} <= set(re.findall(r"(R\d\d) stop", kept))
