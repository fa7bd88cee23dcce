"""Compiled formulas: written once as scalar functions, called as arrays, by the kernel and by explain.

The machine code is kept in the user's cache folder under a name that holds a hash of every source
that is compiled, because numba's own cache watches only the file of the cached function: a changed
callee in another module would keep returning the old number.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import types
from collections.abc import Callable
from functools import cache, wraps
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.keeping import cache_root

COMPILED = ("rng.py", "physics", "sizing", "materials", "ingest", "normalise", "demand",
            "design_point", "stock")


def source_hash() -> str:
    """Hash of every Python source that is compiled, and of this file."""
    here = Path(__file__).resolve().parent
    digest = hashlib.sha256(Path(__file__).read_bytes())
    for name in COMPILED:
        for path in sorted((here / name).rglob("*.py")) or [here / name]:
            digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()[:16]


def cache_folder() -> Path:
    """Folder of the compiled code of just these sources; older ones beside it are removed."""
    return cache_root() / f"compiled-{source_hash()}"


def _prepare() -> bool:
    """Point numba at the cache folder; False where nothing can be kept."""
    folder = cache_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / f".probe-{os.getpid()}"
        probe.write_bytes(b"")
        probe.unlink()
    except OSError:
        return False
    kept = sorted(folder.parent.glob("compiled-*"), key=lambda p: p.stat().st_mtime)
    for stale in kept[:-4]:
        if stale != folder:
            shutil.rmtree(stale, ignore_errors=True)
    import numba

    os.environ["NUMBA_CACHE_DIR"] = str(folder)
    numba.config.CACHE_DIR = str(folder)  # type: ignore[attr-defined]
    return True


CAN_KEEP = _prepare()


def scalar(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile a scalar function: float64, strict arithmetic, no lock held, code kept on disk."""
    import numba

    return numba.njit(cache=CAN_KEEP, nogil=True, fastmath=False, error_model="numpy", forceinline=True)(function)


def arrays(function: Callable[..., Any]) -> Callable[..., Any]:
    """Array form of a function made by :func:`scalar`; broadcasts, takes Series, returns ndarray or float.

    The scalar form stays reachable as ``.scalar`` for use inside compiled code.
    """

    @cache
    def ufunc() -> Any:
        import numba

        plain = function.py_func  # type: ignore[attr-defined]
        twin = types.FunctionType(plain.__code__, plain.__globals__, plain.__name__, plain.__defaults__)
        # a name of its own: numba keys its cache on the qualified name, and code kept for the array form
        # has no entry point for Python, so that the scalar form loaded from it would crash
        twin.__qualname__ = f"{plain.__qualname__}_arrays"
        twin.__module__ = plain.__module__
        return numba.vectorize(cache=CAN_KEEP, nopython=True)(twin)

    @wraps(function.py_func)  # type: ignore[attr-defined]
    def call(*values: Any) -> NDArray[np.float64] | float:
        with np.errstate(all="ignore"):  # missing inputs are NaN on purpose
            return ufunc()(*(np.asarray(v, dtype=np.float64) for v in values))

    call.scalar = function  # type: ignore[attr-defined]
    return call
