"""Manufactured copies of a core: what the shop's tolerances do, what the model's bands leave open, and both.

All cores of a study share the same scrambled Sobol' draws, column by column, so that two cores differ by their
design and not by luck.
"""

from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, fields

import numpy as np

from optimize.evaluate import CoreProblem
from optimize.feasibility import objective_value
from optimize.seeds import stream
from optimize.space import KINDS as VARIABLE_KINDS
from optimize.space import PORT_KEYS, Batch, Parameters
from optimize.study.model import Study
from optimize.tolerance.laws import manufactured, model_factor, share_interval
from optimize.workers import in_order
from physics.arrays import Array, BoolArray
from physics.duty import ModelFactors
from physics.fins import Fin, FinFamily

KINDS = ("shop", "model", "both")  # what the shop can control; what nobody knows yet; together
FACTORS = ("air_j", "air_f", "coolant_j", "coolant_f", "tank_loss")
SHOWN = ("heat_rejected", "air_outlet_temperature", "air_pressure_drop", "coolant_pressure_drop")
CORES_A_TASK = 8


@dataclass(frozen=True)
class Cloud:
    """Copies of one core under one kind of scatter.

    Attributes
    ----------
    objectives : (draws, k), in their own sense and SI unit.
    shown : outputs of `SHOWN`, (draws, m).
    met : (draws, q) whether each requirement is met, columns as in `CoreProblem.margin_names`.
    """

    kind: str
    objectives: Array
    shown: dict[str, Array]
    met: BoolArray

    @property
    def passed(self) -> BoolArray:
        """Copies that meet every requirement, (draws,)."""
        return np.asarray(np.all(self.met, axis=1))

    def share(self, confidence: float) -> tuple[float, float, float]:
        """Share of copies that meet everything, with its exact binomial interval."""
        count = int(np.count_nonzero(self.passed))
        return count / len(self.met), *share_interval(count, len(self.met), confidence)


class Draws:
    """Uniform draws, one column for every tolerance a study names and every correlation it trusts."""

    def __init__(self, study: Study) -> None:
        from scipy.stats.qmc import Sobol

        names = _tolerance_names()
        columns = [*(("shop", name) for name in names), *(("model", name) for name in FACTORS)]
        random = np.random.default_rng(stream(study.seed, "scatter"))
        sequence = Sobol(len(columns), scramble=True, rng=random)
        u = sequence.random(max(study.scatter.draws, 1))
        self.count = len(u)
        self._columns = {key: np.clip(u[:, i], 1e-12, 1 - 1e-12) for i, key in enumerate(columns)}

    def __getitem__(self, key: tuple[str, str]) -> Array:
        return self._columns[key]


def _tolerance_names() -> list[str]:
    """Everything that can carry a tolerance, whether or not this study gives it one: a draw belongs to its name."""
    own = [name for name in VARIABLE_KINDS if name != "passages"]
    fins = [f"{part}.{f.name}" for part in ("air_fin", "coolant_fin") for f in fields(Fin)]
    return [*own, *fins, *(f"port.{key}" for key in PORT_KEYS)]


def bands(study: Study, air: FinFamily, coolant: FinFamily) -> dict[str, tuple[float, float]]:
    """The band of each correlation: the study's own, else what the fin families publish."""
    published = {
        "air_j": air.band_j, "air_f": air.band_f, "coolant_j": coolant.band_j, "coolant_f": coolant.band_f,
    }
    return published | study.bands


def copies(problem: CoreProblem, choices: Parameters, draws: Draws) -> Batch:
    """One core (columns of one value) as a batch of manufactured copies."""
    nominal = problem.space.batch(choices, np.zeros(1, dtype=np.int64))
    made = {
        name: manufactured(name, float(nominal.parameters[name][0]), tolerance, draws["shop", name])
        for name, tolerance in problem.space.tolerances(choices).items()
    }
    if not made:
        made = {"length": np.full(draws.count, nominal.parameters["length"][0])}
    return Batch(nominal.index, nominal.parameters | made, nominal.air_family, nominal.coolant_family)


def model_factors(problem: CoreProblem, batch: Batch, draws: Draws) -> ModelFactors:
    """Multipliers on the correlations of a core, one a draw."""
    band = bands(problem.study, batch.air_family, batch.coolant_family)
    return ModelFactors(**{name: model_factor(band[name], draws["model", name]) for name in FACTORS})


def clouds(problem: CoreProblem, choices: Parameters, draws: Draws) -> list[Cloud]:
    """The three clouds of one core."""
    nominal = problem.space.batch(choices, np.zeros(1, dtype=np.int64))
    made = copies(problem, choices, draws)
    factors = model_factors(problem, nominal, draws)
    cases: list[tuple[str, Batch, ModelFactors | None]] = [
        ("shop", made, None), ("model", nominal, factors), ("both", made, factors),
    ]
    return [_cloud(problem, kind, batch, k) for kind, batch, k in cases]


def _cloud(problem: CoreProblem, kind: str, batch: Batch, factors: ModelFactors | None) -> Cloud:
    """Rate the copies; one that cannot be computed meets nothing."""
    rating = problem.rate(batch, factors)
    judged = problem.judge(batch, rating)
    values = np.stack([objective_value(problem.study, rating, o) for o in problem.study.objectives], axis=1)
    with np.errstate(invalid="ignore"):
        met = judged.margins >= 0
    return Cloud(kind, values, {name: np.array(rating[name]) for name in SHOWN}, met)


def scatter(
    study: Study, cores: list[Parameters], workers: int = 1, progress: Callable[[int, int], None] | None = None
) -> list[list[Cloud]]:
    """Clouds of many cores, in their order, whatever the number of workers."""
    tasks = [(study, cores[i : i + CORES_A_TASK]) for i in range(0, len(cores), CORES_A_TASK)]
    done: list[list[Cloud]] = []
    with closing(in_order(_task, tasks, workers)) as parts:
        for part in parts:
            done += part
            if progress is not None:
                progress(len(done), len(cores))
    return done


def _task(study: Study, cores: list[Parameters]) -> list[list[Cloud]]:
    problem, draws = CoreProblem(study), Draws(study)
    return [clouds(problem, choices, draws) for choices in cores]
