"""What a search is given: axes, and a function from points to objectives and margins."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from physics.arrays import Array


@dataclass(frozen=True)
class Axis:
    """One variable of a search.

    A column of a point matrix holds the index 0 .. size-1 of a discrete axis, or the value in [low, high]
    of a continuous one. All points of one block of a sweep share the value of every `outer` axis; an
    evolution takes an `outer` axis as a list of names without order.

    Raises
    ------
    ValueError
        If a discrete axis has no value, or a continuous one no width.

    >>> Axis("fin pitch", size=5).discrete, Axis("length", low=0.1, high=0.6).discrete
    (True, False)
    """

    name: str
    size: int | None = None
    low: float = 0.0
    high: float = 0.0
    outer: bool = False

    def __post_init__(self) -> None:
        if self.size is not None and self.size < 1:
            raise ValueError(f"axis {self.name!r}: expected at least one value, got size {self.size}")
        if self.size is None and not self.low < self.high:
            raise ValueError(f"axis {self.name!r}: expected low < high, got {self.low} and {self.high}")
        if self.size is None and self.outer:
            raise ValueError(f"axis {self.name!r}: only a discrete axis can be outer")

    @property
    def discrete(self) -> bool:
        """Whether the axis is a list of values."""
        return self.size is not None


@dataclass(frozen=True)
class Evaluation:
    """The verdict on n points.

    Margins come fastest as the transpose of a (q, n) array: the search reads them column by column.

    Attributes
    ----------
    objectives : (n, k), all to be minimised, NaN where not computable.
    margins : (n, q), signed and normalised, >= 0 is good, NaN where not computable.
    tie : (n, t), smaller is better; decides between points of equal objectives, column by column. t may be 0.

    Raises
    ------
    ValueError
        If the three are not matrices of the same number of rows.
    """

    objectives: Array
    margins: Array
    tie: Array

    def __post_init__(self) -> None:
        rows = len(self.objectives)
        shapes = [np.shape(a) for a in (self.objectives, self.margins, self.tie)]
        if any(len(shape) != 2 or shape[0] != rows for shape in shapes):
            raise ValueError(f"expected three matrices of {rows} rows, got shapes {shapes}")


class Problem(Protocol):
    """A search problem. It must be picklable, and its verdict on a point must not depend on the batch."""

    @property
    def axes(self) -> tuple[Axis, ...]:
        """The variables, in the order of the columns of a point matrix."""
        ...

    @property
    def objective_names(self) -> tuple[str, ...]:
        """Names of the k objectives."""
        ...

    @property
    def margin_names(self) -> tuple[str, ...]:
        """Names of the q margins."""
        ...

    def evaluate(self, points: Array) -> Evaluation:
        """Judge points (n, axes)."""
        ...
