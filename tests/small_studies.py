"""Studies for tests of the search side: the starter with a few lines changed, written into a folder and loaded."""

import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from optimize.evaluate import CoreProblem
from optimize.space import Parameters
from optimize.study.load import load
from optimize.study.model import Limit, Study, Variable
from optimize.study.starter import write_starter

ROOT = Path(__file__).parents[1]

# A few hundred cores of all families, searched in a second or two.
SMALL = {
    "thickness": '{ from = "40 mm", to = "90 mm", step = "10 mm", '
    'tolerance = { law = "normal", half_width = "0.4 mm", sigmas = 3 } }',
    "passages": "{ from = 6, to = 10, step = 2 }",
    "draws": "32",
}
SECOND_DUTY = """
[duty.long_climb]
weight = 3.0
air_flow = "0.55 kg/s"
air_temperature = "118 degC"
air_pressure = "175 kPa"
coolant_flow = "45 L/min"
coolant_temperature = "55 degC"
"""
# One core, fully named, ordinary and feasible in the starter study.
TYPED = {
    "thickness": "70 mm", "passages": "10", "passes": "1", "air_fin": "S18-64", "turbulator": "TS-20-16", "port": "R22",
}  # fmt: skip
PAIRS = [f"{key}={value}" for key, value in TYPED.items()]


def write(folder: Path, name: str = "study.toml", extra: str = "", **keys: str) -> Path:
    """The starter in a folder, the first `key = ...` line of each key named replaced; `extra` put behind all tables."""
    path = folder / name
    if not path.exists():
        write_starter(path)
    text = path.read_text(encoding="utf-8")
    for key, value in keys.items():
        text, count = re.subn(rf"(?m)^{key} = .*$", lambda _: f"{key} = {value}", text, count=1)  # noqa: B023
        assert count == 1, key
    path.write_text(text + extra, encoding="utf-8")
    return path


def study(extra: str = "", **keys: str) -> Study:
    """The starter study with lines replaced."""
    return _study(extra, tuple(sorted(keys.items())))


@cache
def _study(extra: str, keys: tuple[tuple[str, str], ...]) -> Study:
    with TemporaryDirectory() as folder:
        return load(write(Path(folder), extra=extra, **dict(keys)))


def problem(extra: str = "", **keys: str) -> CoreProblem:
    return CoreProblem(study(extra, **keys))


def core(problem: CoreProblem, **changes: Any) -> Parameters:
    """The ordinary core as values (1,) of every variable; changes as SI numbers or names."""
    space = problem.space
    given = {"thickness": 0.07, "passages": 10.0} | {k: TYPED[k] for k in ("passes", "air_fin", "turbulator", "port")}
    fixed = {name: v.values[0] for name, v in space.variables.items() if v.is_fixed}
    return {name: np.array([space.code(name, value)]) for name, value in (fixed | given | changes).items()}


def points(problem: CoreProblem, count: int, seed: int = 0) -> np.ndarray:
    """Points anywhere in the space, (count, axes)."""
    random = np.random.default_rng(seed)
    columns = [
        random.uniform(axis.low, axis.high, count) if axis.size is None else random.integers(axis.size, size=count)
        for axis in problem.axes
    ]
    return np.array(columns, dtype=float).T.reshape(count, len(columns))


def with_limits(study: Study, *limits: Limit) -> Study:
    return replace(study, limits=limits)


def with_variable(study: Study, key: str, *values: float | str) -> Study:
    """The study with one variable set to these values, its tolerance kept."""
    old = study.variables[key]
    return replace(study, variables=study.variables | {key: Variable(key, values, None, None, old.tolerance)})


def untoleranced(study: Study) -> Study:
    """The study as a shop without scatter would make it."""
    return replace(
        study,
        variables={key: replace(v, tolerance=None) for key, v in study.variables.items()},
        air_fins={key: replace(roll, tolerances={}) for key, roll in study.air_fins.items()},
        turbulators={key: replace(roll, tolerances={}) for key, roll in study.turbulators.items()},
        ports={key: replace(port, tolerances={}) for key, port in study.ports.items()},
    )
