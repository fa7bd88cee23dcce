"""Make the invented sample data: ``python sample_data/make_sample_data.py`` writes the same bytes each time.

Three sources of one invented scenario: completion reports of a state (US units), a borehole survey (metric) and
a provincial registry of several tables (mixed units). ``make()`` also tells which faults were planted where.
"""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [path for path in (str(HERE), str(HERE.parent)) if path not in sys.path]

from scenario import registry, state, stock, survey  # noqa: E402
from scenario.lines import Truth  # noqa: E402

SEED = 4711


def make(seed: int = SEED) -> tuple[dict[str, bytes], dict[str, Truth]]:
    """File names with their bytes, and the planted faults: source -> fault -> ids of the records."""
    files: dict[str, bytes] = {}
    truth: dict[str, Truth] = {}
    for name, source in (("brindle", state), ("osemba", survey), ("veldran", registry)):
        made, planted = source.make(seed)
        files.update(made)
        truth[name] = planted
    return files, truth


def stock_files() -> dict[str, bytes]:
    """Files for ``wellstring stock`` on the sample: branches and items of an invented trader."""
    return {f"stock/{name}": text.encode() for name, text in stock.make().items()}


def main() -> None:
    """Write every file beside this one."""
    files = make()[0] | stock_files()
    (HERE / "stock").mkdir(exist_ok=True)
    for name, content in files.items():
        (HERE / name).write_bytes(content)
        print(f"{name}  {len(content):,} bytes")


if __name__ == "__main__":
    main()
