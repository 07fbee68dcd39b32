"""What copies of cores do, as tables in long form: shares, percentiles, clouds, yields under the model, fronts."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize import units
from optimize.evaluate import CoreProblem
from optimize.space import Parameters
from optimize.tables import objective_headers
from optimize.tolerance.copies import MODEL, Copies, answers, kinds_of
from optimize.tolerance.draws import replicates
from optimize.tolerance.intervals import mean_interval, percentile, percentile_interval
from optimize.tolerance.laws import cut_away
from optimize.tolerance.yields import confidence_of, shares
from physics.arrays import Array, BoolArray
from physics.flags import FLAG_TEXTS, Flag
from physics.outputs import OUTPUTS

if TYPE_CHECKING:
    import pandas as pd

PERCENTILES = (0.05, 0.50, 0.95)
Made = Mapping[str, Mapping[str, Copies]]  # core -> kind of scatter -> its copies


def yield_table(problem: CoreProblem, made: Made) -> "pd.DataFrame":
    """Share of copies that meet every limit, each limit alone, and each at every duty point.

    What the model leaves open is one unknown truth: it has no share of copies, but a distribution of them (`nested`).
    """
    import pandas as pd

    return pd.DataFrame([
        {
            "core": core, "scatter": kind, "requirement": requirement, "duty": duty, "draws": share.drawn,
            "passed": share.passed, "share [%]": 100 * share.value, "low [%]": 100 * share.low,
            "high [%]": 100 * share.high, "lost": int(np.count_nonzero(copies.lost)),
        }
        for core, kinds in made.items() for kind, copies in kinds.items() if kind != MODEL
        for requirement, duty, share in shares(problem, copies)
    ])


def percentile_table(problem: CoreProblem, made: Made) -> "pd.DataFrame":
    """Percentiles and mean of what is asked for over the copies that have numbers, each with its interval."""
    import pandas as pd

    rows = []
    for core, kinds in made.items():
        for kind, copies in kinds.items():
            for (name, duty), values in answers(problem, copies).items():
                label = {"core": core, "scatter": kind, "output": name, "duty": duty}
                rows += [label | row for row in _statistics(problem, copies.lost == 0, name, values)]
    return pd.DataFrame(rows)


def _statistics(problem: CoreProblem, sound: BoolArray, name: str, made: Array) -> list[dict[str, object]]:
    kind, system = OUTPUTS[name].kind, problem.study.units
    values = np.asarray(units.to_display(made[sound], kind, system))
    shared = {"unit": units.unit_label(kind, system), "lost": int(np.count_nonzero(~sound))}
    if not values.size:
        return []
    ordered, confidence = np.sort(values), confidence_of(problem)
    rows: list[dict[str, object]] = []
    for p in PERCENTILES:
        place = percentile_interval(len(values), p, confidence)
        low, high = (np.nan, np.nan) if place is None else (ordered[place[0]], ordered[place[1]])
        known = {"value": percentile(values, p), "low": low, "high": high}
        rows.append({"statistic": f"P{100 * p:02.0f}"} | known | shared)
    mean, low, high = mean_interval(values, replicates(len(sound))[sound], confidence)
    return [*rows, {"statistic": "mean", "value": mean, "low": low, "high": high} | shared]


def cloud_table(problem: CoreProblem, made: Made, most: int) -> "pd.DataFrame":
    """The copies themselves in the plane of the objectives, at most `most` of each cloud."""
    import pandas as pd

    system, parts = problem.study.units, []
    for core, kinds in made.items():
        for kind, copies in kinds.items():
            shown = {
                title: units.to_display(copies.objectives[:most, i], OUTPUTS[o.output].kind, system)
                for i, (title, o) in enumerate(zip(objective_headers(problem), problem.study.objectives, strict=True))
            }
            parts.append(pd.DataFrame({"core": core, "scatter": kind, **shown, "met": copies.passed[:most]}))
    return pd.concat(parts, ignore_index=True)


def scatter_record(problem: CoreProblem, made: Made) -> dict[str, Any]:
    """What the report must know of the copies."""
    return {
        "kinds": list(kinds_of(problem.study)), "lost": lost_copies(made), "each_look": confidence_of(problem),
        "nested": list(problem.study.scatter.nested),
    }


def lost_copies(made: Made) -> dict[str, int]:
    """Copies without numbers, by reason in words; over all cores and kinds of scatter."""
    lost: dict[str, int] = {}
    for kinds in made.values():
        for copies in kinds.values():
            for flag in Flag:
                if count := int(np.count_nonzero(copies.lost & flag)):
                    lost[FLAG_TEXTS[flag]] = lost.get(FLAG_TEXTS[flag], 0) + count
    return lost


def nested_table(yields: Mapping[str, Array], kind: str) -> "pd.DataFrame":
    """The yield of each core under every draw of the model."""
    import pandas as pd

    return pd.concat([
        pd.DataFrame({"core": core, "scatter": kind, "model_draw": np.arange(len(y)), "share [%]": 100 * y})
        for core, y in yields.items()
    ], ignore_index=True)


def truncated_table(problem: CoreProblem, cores: Mapping[str, Parameters]) -> "pd.DataFrame":
    """Tolerances of which something was cut away, because no length is below zero and no blocked share above 90 %."""
    import pandas as pd

    rows = []
    for name, core in cores.items():
        nominal = problem.space.batch(core, np.zeros(1, dtype=np.int64)).parameters
        for key, tolerance in problem.space.tolerances(core).items():
            if (cut := cut_away(key, float(nominal[key][0]), tolerance)) > 0:
                rows.append({"core": name, "tolerance": key, "cut away [%]": 100 * cut})
    return pd.DataFrame(rows, columns=["core", "tolerance", "cut away [%]"])
