"""Operating scatter: duty points and the air outside as they differ from run to run."""

import numpy as np

from optimize.study.model import Study
from optimize.surroundings import Quantities, duty_of, installation_of, quantities_of
from optimize.tolerance.draws import Draws
from optimize.tolerance.laws import manufactured
from physics.duty import Duty
from physics.installation import Installation


def operating(study: Study, draws: Draws) -> tuple[Duty, Installation]:
    """The duty points and what stands around the core, one row a draw."""
    said = scattered(study, draws)
    return duty_of(study, said), installation_of(study, said)


def scattered(study: Study, draws: Draws) -> Quantities:
    """What the duty points say, (draws, m) where it scatters; what comes from [ambient] is the same for all of them."""
    said = quantities_of(study)
    for key, tolerance in study.run_tolerances.items():
        name, columns = _acts_on(study, key)
        wide = np.array(np.broadcast_to(said[name], (draws.count, len(study.duty))))
        for i in columns:
            wide[:, i] = manufactured(key, float(said[name][..., i].flat[0]), tolerance, draws["run", key])
        said[name] = wide
    return said


def _acts_on(study: Study, key: str) -> tuple[str, list[int]]:
    """The quantity a key of `Study.run_tolerances` scatters, and the duty points it does so in."""
    place, name = key.split(".")
    if place != "ambient":
        return name, [[p.name for p in study.duty].index(place)]
    quantity = "humidity" if name == "humidity" else f"ambient_{name}"
    return quantity, [i for i, point in enumerate(study.duty) if name in point.outside]
