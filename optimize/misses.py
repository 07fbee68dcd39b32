"""What a core misses, in words: each requirement with how much, in the study's unit."""

import numpy as np

from optimize import units
from optimize.evaluate import CoreProblem
from optimize.feasibility import CLEARANCE_SCALES, requirements
from physics.arrays import Array
from physics.outputs import CLEARANCES, OUTPUTS


def misses(problem: CoreProblem, margins: Array, lacks: str = "") -> str:
    """'clearance, pocket width by 2.45 mm; ...' of margins (q,), the clearances first; "" where nothing is missed.

    `lacks`: what the study's catalogue lacks of the core, which then is all there is to say.
    """
    if lacks:
        return lacks
    if np.isnan(margins).any():
        return "cannot be computed"
    return "; ".join(_miss(problem, q, float(-margin)) for q, margin in enumerate(margins) if margin < 0)


def _miss(problem: CoreProblem, q: int, short: float) -> str:
    study, name, limits = problem.study, problem.margin_names[q], requirements(problem.study)
    first = len(problem.margin_names) - len(limits)
    if q < len(CLEARANCES):
        size = short * getattr(study.envelope, CLEARANCE_SCALES[CLEARANCES[q]])
        return f"{name} by {units.show(size, 'length', study.units, 3)}"
    if q < first:
        return name
    kind = OUTPUTS[limits[q - first].output].kind
    shown = "temperature difference" if kind == "temperature" else kind
    return f"{name} by {units.show(short * limits[q - first].scale, shown, study.units, 3)}"
