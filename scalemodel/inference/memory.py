"""What a process does with the memory of arrays that it no longer needs."""

from functools import cache

import numpy as np

LARGEST_KEPT = 31 * 2**20
"""Just below the largest array [bytes] that the C library of Linux can be brought to keep."""


@cache
def keep_freed_arrays() -> None:
    """Have the memory of freed arrays stand ready for the next, instead of giving it back to the system.

    The C library of Linux asks the system for every array of more than 128 kB and gives it back when it is freed; the
    system then clears each page again as it is touched, which takes as long as a pass of the sampler's own arithmetic.
    The library raises that bound by itself to the size of the largest such array that was freed (mallopt(3), on
    M_MMAP_THRESHOLD), so one is asked for and freed here. Nothing touches it, so it costs no memory; with another
    library nothing happens.
    """
    np.empty(LARGEST_KEPT, dtype=np.uint8)
