"""What this machine can do at most: bytes copied and multiply-adds a second, on one thread and on two."""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numba
import numpy as np


@numba.njit(nogil=True, fastmath={"contract"})
def _multiply_add(x: float, rounds: int) -> float:
    """Sixteen vectors of eight numbers, each multiplied and added to: nothing to wait for, nothing to load."""
    lanes = 128
    out = np.full(lanes, x)
    a, b = 1.0 - 1e-9, 1e-9
    for _ in range(rounds):
        for j in range(lanes):
            v = out[j]
            for _k in range(16):
                v = v * a + b
            out[j] = v
    return out.sum()


def _copy(source: np.ndarray, target: np.ndarray) -> None:
    np.copyto(target, source)


def best_seconds(work: Callable[[], object], repeats: int = 5) -> float:
    """Least wall time of several repeats: the machine may be shared."""
    least = float("inf")
    for _ in range(repeats):
        started = time.perf_counter()
        work()
        least = min(least, time.perf_counter() - started)
    return least


def on_threads(threads: int, work: Callable[[int], object]) -> None:
    """Call ``work(thread)`` on so many threads and wait."""
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(work, range(threads)))


def measured() -> dict[str, dict[int, float]]:
    """Bytes copied a second (read and written both counted) and float64 operations a second, by threads."""
    size = 16_000_000
    arrays = [(np.ones(size), np.zeros(size)) for _ in range(2)]
    rounds = 200_000
    _multiply_add(0.5, 1)
    copy, peak = {}, {}
    for threads in (1, 2):
        seconds = best_seconds(lambda t=threads: on_threads(t, lambda k: _copy(*arrays[k])))
        copy[threads] = threads * 2 * 8 * size / seconds
        seconds = best_seconds(lambda t=threads: on_threads(t, lambda k: _multiply_add(0.5, rounds)), 3)
        peak[threads] = threads * rounds * 128 * 16 * 2 / seconds
    return {"copy_bytes_per_s": copy, "multiply_add_per_s": peak}
