"""Facts cut out of remarks: what is read, what is left, and that nothing else of the remark leaves."""

from __future__ import annotations

import pytest

from pipeline.normalise.phrases import cut_one


@pytest.mark.parametrize(
    ("remark", "fact"),
    [
        ("private use; recommended pump setting 410' at 12 gpm", "410 ft"),
        ("Recommended pump set at 95 ft.", "95 ft"),
        ("recommended pump setting 25 to 30ft at 50 GPM", "25-30 ft"),
        ("set pump at 61.5 m from casing top", "61.5 m"),
        ("pump set @ 140'", "140 ft"),
        ("RECOMMENDED PUMP SETTING: 60 to 60' at 25 GPM max", "60 ft"),
        # a number without a unit, or of something else, is no depth
        ("recommended pump setting 180", ""),
        ("recommended pump setting at 25 gpm max", ""),
        ("top of packer at 176'", ""),
        ("finish bit size 6 in at 480'", ""),
        ("pumpset at 30'", ""),
        # the pump of a test hangs elsewhere than the one that stays
        ("during the test pump set at 120 ft", ""),
        # two pieces of advice that differ settle nothing
        ("set pump at 100 ft. recommended pump setting 140 ft", ""),
        ("", ""),
    ],
)
def test_only_a_setting_with_a_unit_is_read(remark: str, fact: str) -> None:
    assert cut_one(remark, "pump_recommended") == fact


def test_names_do_not_leave_the_remark() -> None:
    assert cut_one("call Ilva Quillby 555-0134, set pump at 80 ft, key with Tomas", "pump_recommended") == "80 ft"
