"""Memory between batches: kept by the process, not given back to the system and taken again page by page."""

import numpy as np

_BLOCK = 16 * 2**20  # bytes


def keep_freed() -> None:
    """Let twice `_BLOCK` of freed memory stay with the process: a batch of some thousand cores frees less than that.

    glibc gives free memory back beyond twice its threshold, which is at first 128 kB and rises to the largest block
    that was ever freed (malloc, M_TRIM_THRESHOLD). Such a block is made and freed here, without being touched; other
    allocators do not mind.
    """
    np.empty(_BLOCK, dtype=np.uint8)
