"""Write expected.txt anew from wells.toml: python tests/golden/refresh.py, then read the difference."""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[1]), str(HERE.parent), str(HERE)]

from golden_text import EXPECTED, text, unsigned  # noqa: E402

if __name__ == "__main__":
    EXPECTED.write_text(text(), encoding="utf-8")
    print(f"{EXPECTED.name} written; read the difference before committing it.")
    for line in unsigned():
        print(f"not frozen: {line}")
