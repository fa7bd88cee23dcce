"""Rules over the wells as one scan, and the gate that judges their shares.

Rows are never removed: they go on with their issues. The rules are rows of ``schemas/rules.csv``
(stage ``validate``) and, for every typical range of ``schemas/fields.csv``, one made from row V200. Rules of stage
``normalise`` that declare a share are judged too: what was given up there no longer shows in the wells.
"""

from pipeline.validate.context import newest_date, region_middles
from pipeline.validate.gate import Verdict, judge
from pipeline.validate.rules import Rule, declared, losses
from pipeline.validate.scan import lost_values, merge_metrics, scan

__all__ = ["Rule", "Verdict", "declared", "judge", "losses", "lost_values", "merge_metrics",
           "newest_date", "region_middles", "scan"]  # fmt: skip
