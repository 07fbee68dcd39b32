"""Flow over the passages of a stack between two headers, solved as a network."""

import numpy as np
from scipy.optimize import fsolve

from physics.arrays import Array

PASSAGES = 40


def network_flows(count: int, ratio: float, n: float, opposite: bool) -> Array:
    """Flows (mean 1) of `count` passages between a dividing and a combining header, no wall friction.

    Pressure rises by k_d (W1^2 - W2^2) along the first, k_d = 1, and falls by k_c times it along the second,
    k_c = 2; passage loss m^n; `ratio` is the dynamic pressure at the mouth over the loss at the mean flow.
    """

    def residual(m: Array) -> Array:
        m = m * count / np.sum(m)
        share = m / count
        before = 1 - np.concatenate([[0], np.cumsum(share)[:-1]])  # header flow arriving at each passage
        feed = ratio * (1 - (before - share / 2) ** 2)
        # Combining header: dead end far from its mouth; same end: mouth at the first passage
        gathered = (
            np.cumsum(share) - share / 2 if opposite else (np.cumsum(share[::-1]) - share[::-1] / 2)[::-1]
        )
        drain = -2 * ratio * gathered**2
        drive = feed - drain
        target = np.mean(drive - m**n)
        return np.asarray(drive - m**n - target + (np.sum(m) - count))

    m = np.asarray(fsolve(residual, np.ones(count), xtol=1e-10))
    return m * count / np.sum(m)
