"""Points of a search with their verdicts, row by row."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from physics.arrays import Array, BoolArray, IntArray

AnyArray = TypeVar("AnyArray", bound=NDArray[Any])


@dataclass(frozen=True)
class Rows:
    """Points and their verdicts, row by row.

    Attributes
    ----------
    ordinals : (n,) number of each point in its search: index in the sweep, or number of the evaluation.
    points : (n, axes), as in `optimize.search.problem.Axis`.
    objectives, margins, tie : (n, k), (n, q), (n, t), as in `optimize.search.problem.Evaluation`.
    """

    ordinals: IntArray
    points: Array
    objectives: Array
    margins: Array
    tie: Array

    def __len__(self) -> int:
        return len(self.ordinals)

    def take(self, index: IntArray | BoolArray) -> "Rows":
        """The rows at `index`, as read-only copies."""
        return Rows(*(read_only(getattr(self, f.name)[index]) for f in fields(self)))

    @staticmethod
    def join(parts: "Sequence[Rows]") -> "Rows":
        """All rows of all parts, in order."""
        return Rows(*(np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Rows)))


def read_only(array: AnyArray) -> AnyArray:
    """The array, closed to writing."""
    array.flags.writeable = False
    return array
