"""New points for a search: spread over the whole space, or moved a little or a long way from good ones."""

import numpy as np

from optimize.search.problem import Axis
from physics.arrays import Array


def neighbours(parents: Array, axes: tuple[Axis, ...], count: int, random: np.random.Generator) -> Array:
    """Points (count, axes) around parents picked at random: half of them steps, half leaps.

    A step moves one to three variables a little. A leap takes one name and one other variable anywhere: what
    crossover rarely does, changing a fin and the count that suits it together.
    """
    if not len(parents):
        return latin_hypercube(axes, count, random)
    points = parents[random.integers(len(parents), size=count)].copy()
    names = [number for number, axis in enumerate(axes) if axis.outer]
    others = [number for number, axis in enumerate(axes) if not axis.outer]
    for number, point in enumerate(points):
        leap = number % 2 == 0 and names and others
        size = min(len(axes), int(random.integers(1, 4)))
        changed = [random.choice(names), random.choice(others)] if leap else random.choice(len(axes), size, False)
        for i in changed:
            point[i] = _anywhere(axes[i], random) if leap else _near(point[i], axes[i], random)
    return points


def _anywhere(axis: Axis, random: np.random.Generator) -> float:
    return float(random.uniform(axis.low, axis.high) if axis.size is None else random.integers(axis.size))


def _near(x: float, axis: Axis, random: np.random.Generator) -> float:
    """Any name; a ladder up to a sixth of its length up or down; a number by up to a tenth of its range."""
    if axis.size is None:
        reach = (axis.high - axis.low) * 10.0 ** random.uniform(-4.0, -1.0)
        return float(np.clip(x + reach * random.uniform(-1.0, 1.0), axis.low, axis.high))
    if axis.outer:
        return _anywhere(axis, random)
    steps = random.integers(1, max(1, axis.size // 6) + 1)
    return float(np.clip(x + random.choice((-1.0, 1.0)) * steps, 0.0, axis.size - 1.0))


def step(point: Array, axes: tuple[Axis, ...], random: np.random.Generator) -> None:
    """Move a point along one discrete axis: to any name, or one rung up or down."""
    if not axes:
        return
    number = int(random.integers(len(axes)))
    axis = axes[number]
    if axis.size is None:
        return
    if axis.outer:
        point[number] = random.integers(axis.size)
    else:
        point[number] = np.clip(point[number] + random.choice((-1.0, 1.0)), 0.0, axis.size - 1.0)


def latin_hypercube(axes: tuple[Axis, ...], count: int, random: np.random.Generator) -> Array:
    """Points (count, axes), each axis covered evenly: one point in each of `count` equal strata."""
    points = np.empty((count, len(axes)))
    for column, axis in zip(points.T, axes, strict=True):
        share = (random.permutation(count) + random.random(count)) / count
        if axis.size is None:
            column[:] = axis.low + share * (axis.high - axis.low)
        else:
            column[:] = np.minimum(np.floor(share * axis.size), axis.size - 1)
    return points
