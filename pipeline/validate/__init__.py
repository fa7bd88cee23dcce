"""Rules over the wells as one scan, and the gate that judges their shares.

Rows are never removed: they go on with their issues. The rules are rows of ``schemas/rules.csv``
(stage ``validate``) and, for every typical range of ``schemas/fields.csv``, one made from row V200.
"""

from pipeline.validate.context import newest_date, region_middles
from pipeline.validate.gate import Verdict, judge
from pipeline.validate.rules import Rule, declared
from pipeline.validate.scan import merge_metrics, scan

__all__ = ["Rule", "Verdict", "declared", "judge", "merge_metrics", "newest_date", "region_middles", "scan"]
