"""Temperatures inside one crossflow pass, both fluids unmixed, by finite differences."""

import numpy as np

from physics.arrays import Array


def field(NTU_hot: float, NTU_cold: float, cells: int) -> tuple[float, Array, Array]:
    """(effectiveness on the hot side, hot field, cold field), scaled to 1 at the hot and 0 at the cold inlet.

    Box scheme, second order: each cell exchanges by the difference of its mean temperatures. NTU on each
    stream's own capacity. Rows follow the hot stream, columns the cold one.
    """
    a, b = NTU_hot / cells, NTU_cold / cells
    hot, cold = np.zeros((cells, cells)), np.zeros((cells, cells))
    entering = np.ones(cells)
    for row in range(cells):
        stream = 0.0
        for column in range(cells):
            difference = (entering[column] - stream) / (1 + (a + b) / 2)
            hot[row, column] = entering[column] - a * difference / 2
            cold[row, column] = stream + b * difference / 2
            entering[column] -= a * difference
            stream += b * difference
    return float(1 - entering.mean()), hot, cold


def means(NTU_hot: float, NTU_cold: float, cells: int = 20) -> tuple[float, float, float]:
    """(effectiveness on the hot side, mean hot, mean cold), Richardson-extrapolated; errors below 1e-4."""
    coarse, fine = (
        np.array([eps, hot.mean(), cold.mean()])
        for eps, hot, cold in (field(NTU_hot, NTU_cold, n) for n in (cells, 2 * cells))
    )
    eps, hot, cold = fine + (fine - coarse) / 3
    return float(eps), float(hot), float(cold)
