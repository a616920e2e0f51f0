"""Libraries of linear algebra keep to one thread each.

Decided 2026-11-30. Small matrices, one thread. Ours are small: threads that wait for each other cost more than they
do, most of all beside another busy process. Measured by tests/bench/speed_table.py (two cores, others busy, one run
each of medians of 7): a frame of 3000 x 2000 takes 25 ms of processor time instead of 88, of which 44 % went by where
the sky is taken off.
"""

from __future__ import annotations

import os

ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")


def keep_to_one_thread() -> None:
    """For this process and those it starts, unless somebody has said otherwise. Before numpy is loaded."""
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")
