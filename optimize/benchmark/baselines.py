"""Scalar baselines of a study: the same cores rated one at a time, with the fits or with CoolProp asked each time."""

from collections.abc import Iterator
from dataclasses import dataclass
from types import SimpleNamespace as Record

import numpy as np

from optimize.benchmark.rates import random_points
from optimize.benchmark.scalar_core import floats
from optimize.benchmark.scalar_fluids import PolynomialGas, PolynomialLiquid, ScalarFluid, looked_up
from optimize.benchmark.scalar_rating import AIR_FAMILIES, COOLANT_FAMILIES, OUTPUTS, rate_core
from optimize.evaluate import CoreProblem
from physics.arrays import Array
from physics.outputs import OUTPUTS as OUTPUT
from physics.properties import FittedGas, FittedLiquid

_TRIES = 4096  # points looked through for cores that have a baseline


@dataclass(frozen=True)
class Baseline:
    """Cores both ways can rate: points (n, axes), each as floats, and the duty points as floats."""

    points: Array
    cores: list[Record]
    duties: list[Record]


def why_none(problem: CoreProblem) -> str | None:
    """Why a study has no scalar baseline, None where it has one."""
    if problem.around.closes:
        return "the baselines have everything given at the duty points; this study leaves flows or temperatures open"
    families = {(batch.air_family.name, batch.coolant_family.name) for batch in problem.space.batches(_some(problem))}
    if not any(air in AIR_FAMILIES and coolant in COOLANT_FAMILIES for air, coolant in families):
        return "the baselines know offset strip fins in the air, offset strip or plain ones in the coolant"
    return None


def _some(problem: CoreProblem) -> Array:
    return random_points(problem.axes, _TRIES, np.random.default_rng(0))


def baseline(problem: CoreProblem, count: int) -> Baseline:
    """Up to `count` computable cores spread over the space, in families that have a scalar script."""
    points, cores, kept = _some(problem), [], []
    for batch in problem.space.batches(points):
        if batch.air_family.name in AIR_FAMILIES and batch.coolant_family.name in COOLANT_FAMILIES:
            rating, designs = problem.rate(batch), batch.designs
            good = np.flatnonzero(np.all(np.isfinite(rating["heat_rejected"]), axis=1))
            cores += [floats(designs, int(i)) for i in good]
            kept += batch.index[good].tolist()
    order = np.argsort(kept)[:count]
    chosen = points[np.array(kept, dtype=np.int64)[order]]
    return Baseline(chosen, [cores[i] for i in order], duty_records(problem))


def duty_records(problem: CoreProblem) -> list[Record]:
    """The duty points as floats."""
    d = problem.duty
    columns = {
        "air_flow": d.air_flow, "air_temperature": d.air_inlet_temperature, "air_pressure": d.air_inlet_pressure,
        "coolant_flow": d.coolant_flow, "coolant_temperature": d.coolant_inlet_temperature,
        "coolant_pressure": d.coolant_inlet_pressure,
    }
    return [Record(**{name: float(values[i]) for name, values in columns.items()}) for i in range(len(d.names))]


def fitted(problem: CoreProblem) -> tuple[ScalarFluid, ScalarFluid]:
    """Air and coolant by the product's polynomials."""
    air, coolant = problem.duty.air, problem.duty.coolant
    assert isinstance(air, FittedGas)
    assert isinstance(coolant, FittedLiquid)
    return PolynomialGas(air), PolynomialLiquid(coolant)


def coolprop(problem: CoreProblem) -> tuple[ScalarFluid, ScalarFluid]:
    """Air and coolant by CoolProp, one property a call."""
    return looked_up(problem.study.coolant)


def scalar_ratings(baseline: Baseline, fluids: tuple[ScalarFluid, ScalarFluid]) -> Iterator[list[Record]]:
    """Each core rated, one after the other."""
    for core in baseline.cores:
        yield rate_core(core, baseline.duties, *fluids)


def differences(problem: CoreProblem, baseline: Baseline, rated: list[list[Record]]) -> dict[str, float]:
    """Largest relative difference of each output from the product's rating; temperatures over the inlet difference."""
    rating, found = problem.rate_points(baseline.points), {}
    span = problem.duty.air_inlet_temperature - problem.duty.coolant_inlet_temperature
    for name in OUTPUTS:
        values = rating[name] if OUTPUT[name].per == "duty" else rating[name][:, None]
        ours = np.array([[getattr(one, name) for one in core] for core in rated])
        scale = np.abs(span) if name.endswith("temperature") else np.abs(values)
        found[name] = float(np.max(np.abs(ours - values) / scale))
    return found
