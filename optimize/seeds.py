"""Random streams: one root from the study's seed, one child for each named purpose."""

import numpy as np

_PURPOSES = ("search", "scatter", "nested", "robust", "pilot", "indices", "off_grid")


def stream(seed: int, purpose: str) -> np.random.SeedSequence:
    """The seed sequence of a purpose; the same whatever else draws.

    >>> stream(0, "search").generate_state(1)[0] != stream(0, "scatter").generate_state(1)[0]
    np.True_
    """
    return np.random.SeedSequence(seed).spawn(len(_PURPOSES))[_PURPOSES.index(purpose)]
