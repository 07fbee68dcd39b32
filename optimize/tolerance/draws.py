"""Uniform draws for everything that scatters: scrambled Sobol' points in replicates, rank-correlated where asked.

Draw i is point i // R of replicate i % R, of R independent randomisations: the first n of 2 n draws are the n draws,
and the replicates say how sure a mean is.

A replicate is a Latin supercube (Owen 1998, from memory): columns by fives, each five a scrambled Sobol' sequence of
its own, put together in random order. One sequence for all columns would not do: in fifty dimensions some pairs of
them are so uneven that a share scatters up to ten times as much (in variance) as with independent draws, and no
interval that takes draws as independent would hold.
"""

from collections.abc import Sequence
from dataclasses import fields
from functools import lru_cache
from math import ceil, pi

import numpy as np

from optimize.seeds import stream
from optimize.space import KINDS, PORT_KEYS
from optimize.study.corrections import EXPONENTS, FACTORS
from optimize.study.model import Correlation, DutyPoint, Study
from physics.arrays import Array, IntArray
from physics.fins import Fin

REPLICATES = 8
_AMBIENT = ("temperature", "pressure", "humidity")
_EDGE = 1e-12  # no draw is nearer to 0 or 1
_GROUP = 5  # columns of one Sobol' sequence
_FIRST = 16  # points of a sequence shuffled among themselves, then as many again, twice as many, ...


class Draws:
    """Draws (count,) in (0, 1) by (kind, name), such as ("shop", "air_fin.pitch") or ("model", "air_j").

    A draw belongs to its name, whether or not the study gives that a tolerance. `replicate` (count,): which of the
    randomisations each draw is of. Within one, each column has one draw in each of as many equal slices as there are
    draws, if that is a power of two from 16 on; rank-correlated columns are uniform, but not so evenly.
    """

    def __init__(self, study: Study, count: int | None = None, purpose: str = "scatter") -> None:
        self.count = max(study.scatter.draws if count is None else count, 1)
        self.replicate = replicates(self.count)
        asked = purpose, self.count, tuple(_run_keys(study)), tuple(study.scatter.correlations)
        self._columns = _columns(study.seed, *asked)

    def __getitem__(self, key: tuple[str, str]) -> Array:
        return self._columns[key]

    def part(self, start: int, stop: int) -> "Draws":
        """Draws start .. stop - 1. ValueError where there are not so many."""
        if not 0 <= start < stop <= self.count:
            raise ValueError(f"no draws {start} to {stop} among {self.count}")
        part = object.__new__(Draws)
        part._columns = {key: u[start:stop] for key, u in self._columns.items()}
        part.count, part.replicate = stop - start, self.replicate[start:stop]
        return part


@lru_cache(maxsize=4)
def _columns(
    seed: int, purpose: str, count: int, run_keys: tuple[str, ...], correlations: tuple[Correlation, ...]
) -> dict[tuple[str, str], Array]:
    """All columns of draws (count,), read-only; made once a process, as they take as long as thousands of copies."""
    columns: dict[tuple[str, str], Array] = {}
    names = {"shop": tolerance_names(), "model": [*FACTORS, *EXPONENTS], "run": list(run_keys)}
    *seeds, last = stream(seed, purpose).spawn(len(names) + 1)
    for (kind, keys), own in zip(names.items(), seeds, strict=True):
        u = np.clip(points(len(keys), count, own), _EDGE, 1 - _EDGE)
        columns |= {(kind, key): u[:, i].copy() for i, key in enumerate(keys)}
    columns |= _correlated(correlations, count, last)
    for column in columns.values():
        column.flags.writeable = False
    return columns


def replicates(count: int) -> IntArray:
    """Which replicate each of the first draws is of (count,)."""
    return np.arange(count, dtype=np.int64) % REPLICATES


def tolerance_names() -> list[str]:
    """Everything of a core that can carry a tolerance."""
    own = [name for name in KINDS if name != "passages"]
    fins = [f"{part}.{f.name}" for part in ("air_fin", "coolant_fin") for f in fields(Fin)]
    return [*own, *fins, *(f"port.{key}" for key in PORT_KEYS)]


def _run_keys(study: Study) -> list[str]:
    """The air outside and all that duty points say, whether or not it scatters."""
    said = [
        f"{point.name}.{f.name}" for point in study.duty for f in fields(DutyPoint)
        if f.name != "weight" and isinstance(getattr(point, f.name), (int, float))
    ]
    return list(dict.fromkeys([*(f"ambient.{name}" for name in _AMBIENT), *said, *sorted(study.run_tolerances)]))


def points(width: int, count: int, seed: np.random.SeedSequence) -> Array:
    """Points (count, width) in [0, 1), replicates interleaved; those of one seed begin alike, in count and in width."""
    from scipy.stats.qmc import Sobol

    u = np.empty((count, width))
    each = max(_FIRST, 1 << (ceil(count / REPLICATES) - 1).bit_length())
    for first, group in zip(range(0, width, _GROUP), seed.spawn(ceil(width / _GROUP)), strict=True):
        columns = u[:, first : first + _GROUP]
        for r, child in enumerate(group.spawn(REPLICATES)[:count]):
            random = np.random.default_rng(child)
            own = Sobol(_GROUP, scramble=True, rng=random).random(each)[_shuffled(each, random)]
            columns[r::REPLICATES] = own[: len(columns[r::REPLICATES]), : columns.shape[1]]
    return u


def _shuffled(count: int, random: np.random.Generator) -> IntArray:
    """Positions 0 .. count - 1 in random order that leaves the first 16, 32, 64, ... among themselves.

    Shuffled from 1, 2, 4, ... on, too few ways would be left to pair columns: what two of them do only together would
    scatter a quarter more (in variance) than with independent draws at 256 draws; so it is a fifteenth at most.
    """
    starts = [0, *(_FIRST << k for k in range((count // _FIRST).bit_length() - 1))]
    return np.concatenate([start + random.permutation(max(start, _FIRST)) for start in starts])


def correlation_matrix(names: Sequence[str], correlations: Sequence[Correlation]) -> Array:
    """Correlations of normal scores that give rank correlations: 2 sin(pi rank/6) (Pearson 1907, from memory).

    Raises ValueError where no such variables exist: the matrix is not positive definite.
    """
    matrix = np.eye(len(names))
    for c in correlations:
        i, j = (names.index(name) for name in c.between)
        matrix[i, j] = matrix[j, i] = 2 * np.sin(pi * c.rank / 6)
    if np.min(np.linalg.eigvalsh(matrix), initial=1.0) < 1e-9:
        raise ValueError("the correlations contradict one another: no tolerances can have them all")
    return matrix


def _correlated(
    correlations: Sequence[Correlation], count: int, seed: np.random.SeedSequence
) -> dict[tuple[str, str], Array]:
    """The columns that correlations name, made of draws of their own, side by side in a sequence (by fives)."""
    from scipy.special import ndtr, ndtri

    names = list(dict.fromkeys(name for c in correlations for name in c.between))
    if not names:
        return {}
    root = np.linalg.cholesky(correlation_matrix(names, correlations))
    scores = ndtri(np.clip(points(len(names), count, seed), _EDGE, 1 - _EDGE))
    made = {}
    for i, name in enumerate(names):
        mixed = sum((root[i, j] * scores[:, j] for j in range(i + 1)), np.zeros(count))
        made["shop", name] = np.clip(ndtr(mixed), _EDGE, 1 - _EDGE)
    return made
