"""The one array type of the project: float64, SI inside."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]
Range = tuple[float, float]


def stacked(*values: Array) -> Array:
    """Arrays one behind the other on a new first axis, each in the shape they broadcast to.

    >>> stacked(np.array([1.0, 2.0]), np.array([3.0])).tolist()
    [[1.0, 2.0], [3.0, 3.0]]
    """
    if any(value.shape != values[0].shape for value in values):
        values = tuple(np.broadcast_arrays(*values, subok=True))
    return np.concatenate([value[None] for value in values])


def out_of_range(value: Array | float, allowed: Range) -> BoolArray:
    """Where a temperature or pressure lies outside a range; NaN counts as outside.

    >>> out_of_range(np.array([200.0, 300.0, 700.0]), (250.0, 600.0)).tolist()
    [True, False, True]
    """
    low, high = allowed
    return np.asarray(~((np.asarray(value) >= low) & (np.asarray(value) <= high)))
