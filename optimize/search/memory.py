"""What a search has done before: batches kept as plain arrays, so that a search cut short goes on where it was.

A search is a fixed sequence of batches. Asked again, it takes from its memory what is there and adds the rest.
"""

from dataclasses import fields
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from optimize.search.archive import Archive
from optimize.search.band import Band, BandRule
from optimize.search.rows import Rows

Arrays = dict[str, NDArray[Any]]

_ROWS = ("kept", "feasible_sample", "infeasible_sample", "misses")
_COUNTS = ("rated", "feasible", "not_computable")


class Memory(Protocol):
    """Batches already done, numbered from 0, and the place for those to come."""

    @property
    def kept(self) -> int:
        """Number of batches held."""
        ...

    def recall(self, number: int) -> Arrays:
        """A batch held."""
        ...

    def keep(self, arrays: Arrays) -> None:
        """Hold the next batch. It is safe when this returns."""
        ...


class Nothing:
    """The memory of a search that keeps none."""

    kept = 0

    def recall(self, number: int) -> Arrays:
        raise ValueError(f"nothing was kept, so there is no batch {number}")

    def keep(self, arrays: Arrays) -> None:
        pass


def rows_to_arrays(rows: Rows, name: str) -> Arrays:
    """Rows as arrays named "NAME.points" and so on."""
    return {f"{name}.{f.name}": getattr(rows, f.name) for f in fields(Rows)}


def rows_of_arrays(arrays: Arrays, name: str) -> Rows:
    """The inverse of `rows_to_arrays`."""
    return Rows(*(arrays[f"{name}.{f.name}"] for f in fields(Rows)))


def all_rows(arrays: Arrays) -> list[Rows]:
    """All rows of a batch, by whatever name."""
    return [rows_of_arrays(arrays, name[: -len(".ordinals")]) for name in arrays if name.endswith(".ordinals")]


def archive_to_arrays(archive: Archive) -> Arrays:
    """An archive as arrays; the rule of its band, which the study gives, is left out."""
    arrays: Arrays = {"counts": np.array([getattr(archive, name) for name in _COUNTS], dtype=np.int64)}
    arrays |= {name: getattr(archive, name) for name in ("layer", "violated", "violated_alone")}
    for name in _ROWS:
        arrays |= rows_to_arrays(getattr(archive, name), name)
    if archive.band is not None:
        arrays |= {"anchors": archive.band.anchors, "whole": np.array([archive.band.whole])}
        arrays |= rows_to_arrays(archive.band.rows, "band")
    return arrays


def archive_of_arrays(arrays: Arrays, rule: BandRule | None) -> Archive:
    """The inverse of `archive_to_arrays`."""
    band = None
    if rule is not None:
        band = Band(rule, rows_of_arrays(arrays, "band"), arrays["anchors"], bool(arrays["whole"][0]))
    rated, feasible, not_computable = (int(count) for count in arrays["counts"])
    kept, feasible_sample, infeasible_sample, misses = (rows_of_arrays(arrays, name) for name in _ROWS)
    return Archive(
        kept, arrays["layer"], feasible_sample, infeasible_sample, misses, rated, feasible, not_computable,
        arrays["violated"], arrays["violated_alone"], band,
    )
