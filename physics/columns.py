"""Batches as columns: frozen dataclasses whose fields are arrays of shape (n,) or (1,).

A field of shape (1,) is shared by the whole batch, so what depends only on shared fields is computed once.
"""

from dataclasses import fields, replace
from functools import cache
from typing import Any, ClassVar, Protocol, TypeVar

import numpy as np

from physics.arrays import Array, IntArray


class Columns(Protocol):
    """Any dataclass of columns (nested ones included)."""

    __dataclass_fields__: ClassVar[dict[str, Any]]


C = TypeVar("C", bound=Columns)


def column(value: float | Array) -> Array:
    """A value as a column: (1,) for a number, (n,) as given.

    >>> column(2.0).shape
    (1,)
    """
    return np.atleast_1d(np.asarray(value, dtype=float))


def batch_size(columns: Columns) -> int:
    """Number of designs: the length of the longest column (1 when everything is shared)."""
    return max(_lengths(columns))


def _lengths(columns: Columns) -> list[int]:
    sizes = [1]
    for value in _values(columns):
        sizes += [value.shape[0]] if isinstance(value, np.ndarray) else _lengths(value)
    return sizes


@cache
def _names(columns: type[Columns]) -> tuple[str, ...]:
    return tuple(field.name for field in fields(columns))


def _values(columns: Columns) -> list[Any]:
    values = [getattr(columns, name) for name in _names(type(columns))]
    return [v for v in values if isinstance(v, np.ndarray) or hasattr(v, "__dataclass_fields__")]


def take(columns: C, index: IntArray) -> C:
    """The designs at `index`; shared columns stay shared."""
    changes: dict[str, Any] = {}
    for field in fields(columns):
        value = getattr(columns, field.name)
        if isinstance(value, np.ndarray):
            changes[field.name] = value if value.shape[0] == 1 else value[index]
        elif hasattr(value, "__dataclass_fields__"):
            changes[field.name] = take(value, index)
    return replace(columns, **changes)


def points_first(values: Array) -> Array:
    """What duty points have, (m,) or (n, m), as (m, 1) or (m, n): it broadcasts against columns of designs.

    Designs are many and points few: with designs on the last axis, next to each other in memory, numpy's inner loops
    are long.
    """
    return values[:, None] if values.ndim == 1 else np.ascontiguousarray(values.T)
