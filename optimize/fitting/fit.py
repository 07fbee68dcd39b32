"""The whole fit: bench files and a core in, the posterior, what it says, and the model file out."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.fitting.bench_file import BenchFile, read_bench
from optimize.fitting.findings import Prediction, chance_of_misfit, widened
from optimize.fitting.posterior import Posterior, fitted, measured_of, predictions, row_covariance, slopes_at
from optimize.fitting.rigs import Bench, benches
from optimize.fitting.sanity import HeatBalance, doubted, heat_balance, refuse_far, refuse_nonsense
from optimize.fitting.scales import Scales, scales_of
from optimize.fitting.steady import steady
from optimize.space import Batch, Parameters
from optimize.study.corrections import EXPONENTS, SIDES, FittedModel
from physics.arrays import Array

_UNLIKELY = 0.01  # chance of a misfit below which the rows scatter more than stated
_HOPELESS = 10.0  # times: so much more scatter is no scatter
_MOST = 4000  # rows fitted together: their covariance is a full matrix


@dataclass(frozen=True)
class Fit:
    """What a fit found.

    Attributes
    ----------
    parts, held : files fitted, and files kept apart for proof. published : predictions (N,) before the fit.
    misfit, chance : of the fit to the uncertainties as stated, and how probable one as large is.
    scatter : factor on the stated uncertainties, 1 where the rows scatter so; the posterior is that of the product.
    """

    problem: CoreProblem
    core: Parameters
    batch: Batch
    scales: Scales
    parts: list[Bench]
    held: list[Bench]
    published: Array
    posterior: Posterior
    misfit: float
    chance: float
    scatter: float
    balances: list[HeatBalance]

    @property
    def stated(self) -> Array:
        """Covariance of the rows as stated (N, N)."""
        return self.posterior.V / self.scatter**2


def read_all(paths: Sequence[Path], left_out: Mapping[str, Collection[int]]) -> list[BenchFile]:
    """Files read and looked through; raises FinfrontError with what is wrong."""
    unknown = set(left_out) - {str(path) for path in paths}
    if unknown:
        what = f"rows are left out of '{min(unknown)}', which is no bench file given"
        raise FinfrontError(what, "--leave-out", "write FILE:LINE with the file as given")
    twice = [str(path) for i, path in enumerate(paths) if path.resolve() in [p.resolve() for p in paths[:i]]]
    if twice:
        raise FinfrontError(f"'{twice[0]}' is given twice", do="give each file once, fitted or held out")
    files = [steady(read_bench(path, left_out.get(str(path), ()))) for path in paths]
    for file in files:
        refuse_nonsense(file)
    return files


def fit(problem: CoreProblem, core: Parameters, files: Sequence[BenchFile], held: Sequence[BenchFile] = ()) -> Fit:
    """Fit the corrections of a core to its bench rows; `held` files are only predicted. Raises FinfrontError."""
    if problem.study.fitted is not None:
        do = "fit with the study as it was before ('fitted' in [model] left out)"
        raise FinfrontError("the study names a fitted model already", problem.study.path, do)
    batch = problem.space.batch(core, np.zeros(1, dtype=np.int64))
    scales = scales_of(problem, core, batch)
    made = benches(problem, core, [*files, *held], scales)
    parts, kept = made[: len(files)], made[len(files) :]
    scales = replace(scales, reference={side: _reference(problem, batch, parts, scales, side) for side in SIDES})
    rows = measured_of(parts)
    if len(rows) > _MOST:
        raise FinfrontError(f"{len(rows):,} measured values at once", do=f"fit {_MOST:,} at most: thin the files")
    refuse_far(parts, scales, rows)
    balances = [heat_balance(part) for part in made]
    parts = [doubted(part, balance) for part, balance in zip(parts, balances, strict=False)]  # not those kept apart
    found = fitted(parts, scales)
    chance = chance_of_misfit(found)
    scatter = widened(found) if chance < _UNLIKELY else 1.0
    if scatter > _HOPELESS:
        raise _hopeless(found, parts, scatter)
    published = predictions(parts, scales, np.zeros((1, len(scales.names))))[0]
    whole = found if scatter == 1.0 else fitted(parts, scales, found.mean, scatter=scatter)
    told = [balance for balance in balances if balance is not None]
    return Fit(problem, core, batch, scales, parts, kept, published, whole, found.misfit, chance, scatter, told)


def _hopeless(found: Posterior, parts: Sequence[Bench], scatter: float) -> FinfrontError:
    """Rows that no fit comes near, with the worst of them."""
    rows = found.measured
    worst = int(np.argmax(np.abs(found.residuals) / np.sqrt(np.diag(found.V))))
    file = parts[int(rows.file[worst])].file
    what = f"the rows lie {scatter:.0f} times farther from the best fit than their files state"
    do = "state what the rigs are uncertain by; check core, units and columns, or leave a bad row out"
    where = f"{rows.output[worst]} most of all, {file.name}, line {file.lines[int(rows.row[worst])]}"
    return FinfrontError(what, where, do)


def held_prediction(found: Fit) -> Prediction:
    """The rows of files kept apart, predicted by the fit."""
    z = found.posterior.mean
    rows = measured_of(found.held)
    m, J = slopes_at(found.held, found.scales, z)
    V = row_covariance(found.held, found.scales, z)
    variance = np.diag(V) + np.einsum("ij,jk,ik->i", J, found.posterior.covariance, J)
    return Prediction(rows.y - m, np.sqrt(variance))


def model_of(found: Fit) -> FittedModel:
    """What other cores can use: multipliers, and exponents of measured sides; dimensions are the core's own."""
    reached = {side: _reached(found, side) for side in SIDES}
    untold = [name for name in EXPONENTS for side in SIDES if name.startswith(side) and reached[side] is None]
    names = [name for name in found.scales.names if name not in found.scales.shop and name not in untold]
    at = [found.scales.names.index(name) for name in names]
    covariance = found.posterior.covariance[np.ix_(at, at)]
    return FittedModel(
        tuple(names), tuple(found.posterior.mean[at].tolist()), tuple(tuple(row) for row in covariance.tolist()),
        {name: found.scales.bands[name] for name in names if name in found.scales.bands},
        {"air": found.batch.air_family.name, "coolant": found.batch.coolant_family.name},
        reached, found.scales.reference, about_of(found),
    )


def about_of(found: Fit) -> str:
    """'23 values of flow.csv (flow bench), water.csv (water rig)'."""
    files = ", ".join(f"{Path(part.file.name).name} ({part.file.said.rig})" for part in found.parts)
    return f"{many(len(found.posterior.measured), 'value')} of {files}"


def many(n: int, what: str) -> str:
    """'1 row', '3 rows'."""
    return f"{n} {what}{'s' if n != 1 else ''}"


def reynolds(parts: Sequence[Bench], scales: Scales, side: str) -> Array:
    """Reynolds numbers of a side in all rows that measure it."""
    zero = np.zeros((1, len(scales.names)))
    found = [
        part.rated(scales, zero)[f"{side}_Re"][0]
        for part in parts if any(name.startswith(side) or "temperature" in name for name in part.file.outputs)
    ]
    return np.concatenate(found) if found else np.empty(0)


def _reference(problem: CoreProblem, batch: Batch, parts: Sequence[Bench], scales: Scales, side: str) -> float:
    """The geometric mean over the rows that measure a side; over the study's duty points where none does."""
    Re = reynolds(parts, scales, side)
    if not Re.size:
        Re = problem.rate(batch)[f"{side}_Re"][0]
    return float(np.exp(np.nanmean(np.log(Re))))


def _reached(found: Fit, side: str) -> tuple[float, float] | None:
    Re = reynolds(found.parts, found.scales, side)
    return (float(np.min(Re)), float(np.max(Re))) if Re.size else None
