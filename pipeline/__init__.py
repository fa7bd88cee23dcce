"""Wellstring: from water-well records to drop pipe.

The Python API mirrors the command line, frames in and frames out::

    import pipeline
    manifest = pipeline.run("wells.csv", "outputs/wells")
    sized = pipeline.size(frame)          # a frame with columns of the table 'wells'
    sheet = pipeline.explain({"depth_static": "120 ft", "flow_duty": "10 gpm"})
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"
__all__ = ["__version__", "explain", "run", "size"]

if TYPE_CHECKING:
    from pipeline.api import explain, run, size


def __getattr__(name: str) -> Any:
    """Load the heavy parts only when they are asked for."""
    if name in ("run", "size", "explain"):
        from pipeline import api

        return getattr(api, name)
    raise AttributeError(f"module 'pipeline' has no attribute '{name}'")
