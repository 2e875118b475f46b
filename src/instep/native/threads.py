"""Work over frames, shared among threads: native code runs outside Python's lock."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise


def usable_cores() -> int:
    """How many cores this process may use; at most what the environment variable INSTEP_THREADS says."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    wished = os.environ.get("INSTEP_THREADS", "")
    return max(1, min(cores, int(wished))) if wished.isdigit() else cores


def share_frames(work: Callable[[int, int], None], frames: int, *, least: int, threads: int | None = None) -> None:
    """Call ``work(first, end)`` over ranges that together are all frames, at once on as many threads as there is work.

    `least` is how many frames are worth a thread of their own. Ranges begin at multiples of 64, so that two threads do
    not write the same line of cache.
    """
    count = max(1, min(threads or usable_cores(), frames // max(least, 1)))
    if count == 1:
        work(0, frames)
        return
    bounds = [min(-(-frames * k // count // 64) * 64, frames) for k in range(count)] + [frames]
    with ThreadPoolExecutor(count) as pool:
        for done in [pool.submit(work, first, end) for first, end in pairwise(bounds)]:
            done.result()
