"""The cores of a front worth a name: its knee, and the best of each objective within every limit."""

import numpy as np

from optimize.evaluate import objective_name
from optimize.pareto import knee
from optimize.study.model import Objective
from physics.arrays import Array

_NAMES = {
    ("heat_rejected", True): "most cooling",
    ("effectiveness", True): "most effective",
    ("air_outlet_temperature", False): "coolest charge",
    ("air_pressure_drop", False): "least air loss",
    ("coolant_pressure_drop", False): "least coolant loss",
    ("dry_mass", False): "lightest",
    ("filled_mass", False): "lightest",
    ("net_gain", True): "best net gain",
    ("soak_time_under_limit", True): "longest cool",
    ("soak_hottest_charge", False): "coolest charge",
}


def picks(front: Array, objectives: tuple[Objective, ...]) -> dict[str, int]:
    """Positions in a front (n, k; to be minimised) by name; ties go to the better of the other objectives.

    >>> heat, loss = Objective("heat_rejected", True, "full"), Objective("air_pressure_drop", False, "full")
    >>> picks(np.array([[-3.0, 9.0], [-2.8, 2.0], [-1.0, 1.0]]), (heat, loss))
    {'knee': 1, 'most cooling': 0, 'least air loss': 2}
    """
    found = {"knee": knee(front)}
    for i, objective in enumerate(objectives):
        order = [i, *(j for j in range(front.shape[1]) if j != i)]
        best = int(np.lexsort(tuple(front[:, j] for j in reversed(order)))[0])
        name = pick_name(objective)
        found[name if name not in found else f"{name}, {objective_name(objective)}"] = best
    return found


def pick_name(objective: Objective) -> str:
    """What the best core in an objective is called."""
    fallback = f"{'most' if objective.maximise else 'least'} {objective_name(objective)}"
    return _NAMES.get((objective.output, objective.maximise), fallback)
