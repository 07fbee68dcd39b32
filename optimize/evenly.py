"""Some of many, those that must be there first, the others evenly: which cores of a front are shown in detail."""

from collections.abc import Sequence
from typing import TypeVar

T = TypeVar("T")


def evenly(along: Sequence[T], first: Sequence[T], most: int) -> list[T]:
    """At most `most` of `along`: those of `first`, then evenly from end to end, in the order they were chosen.

    >>> evenly(list(range(11)), [4], 4), evenly([3, 1, 2], [], 9), evenly([], [], 5)
    ([4, 0, 5, 10], [3, 1, 2], [])
    """
    chosen = list(dict.fromkeys(first))[:most]
    rest = [one for one in along if one not in set(chosen)]
    room = min(most - len(chosen), len(rest))
    if room == 1:
        return [*chosen, rest[len(rest) // 2]]
    return [*chosen, *(rest[round(i * (len(rest) - 1) / (room - 1))] for i in range(room))]
