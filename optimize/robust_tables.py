"""The front of the copies as tables: who is on it, and what became of the front of the cores."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize import units
from optimize.evaluate import CoreProblem
from optimize.picks import picks
from optimize.search.archive import Archive
from optimize.search.band import BandRule
from optimize.search.rows import Rows
from optimize.study.model import Robust
from optimize.tables import core_name, header, variable_columns
from optimize.tolerance.draws import replicates
from optimize.tolerance.goals import goals_of, statistic
from optimize.tolerance.intervals import share_interval
from optimize.tolerance.race import Race, Standing, most_missed, race
from physics.arrays import Array
from physics.outputs import OUTPUTS

if TYPE_CHECKING:
    import pandas as pd

STAYS, BEATEN, FAILS, UNPROVEN = "stays", "beaten", "fails", "unproven"


@dataclass(frozen=True)
class RobustFront:
    """The band that was raced, the race, and what the front of the cores and that of the copies are in it."""

    band: Rows
    race: Race
    nominal: list[int]  # positions in the band of the front of the cores
    named: dict[str, int]  # picks of the front of the copies, by position in it
    whole: bool  # whether the band held all cores that could be on it
    used: Array  # (k,) share of the band's width by which what copies lose was seen to differ
    misjudged: int  # cores with margins to spare whose copies failed all the same: they may have ruled out good ones


def robust_front(problem: CoreProblem, archive: Archive, workers: int, progress: Any) -> RobustFront:
    """Race the band; the cores of the nominal front get all their copies."""
    assert archive.band is not None
    band = archive.band.rows
    on_front = np.isin(band.ordinals, archive.front.ordinals)
    cores = [problem.space.core(point) for point in band.points]
    done = race(problem, cores, on_front, band.tie, workers, progress)
    values = np.array([done.standings[i].values for i in done.front])
    named = picks(values, problem.study.objectives) if done.front else {}
    rule = archive.band.rule
    used, misjudged = width_used(band, done, rule), _misjudged(band, done, rule)
    whole = archive.band.whole and bool(np.all(used <= 1)) and not misjudged
    return RobustFront(band, done, np.flatnonzero(on_front).tolist(), named, whole, used, misjudged)


def width_used(band: Rows, done: Race, rule: BandRule) -> Array:
    """How far what copies lose differs among all cores raced, over the width of the band (k,)."""
    values = {i: seen for i, seen in done.seen.items() if np.all(np.isfinite(seen))}
    if not values:
        return np.zeros(len(rule.width))
    return np.asarray(np.ptp(np.array(list(values.values())) - band.objectives[list(values)], axis=0) / rule.width)


def _misjudged(band: Rows, done: Race, rule: BandRule) -> int:
    sure = np.all(band.margins >= rule.spare, axis=1)
    return int(np.count_nonzero(sure[sorted(done.failed)]))


def robust_table(problem: CoreProblem, found: RobustFront) -> "pd.DataFrame":
    """The front of the copies."""
    import pandas as pd

    nominal = set(found.nominal)
    labels = [", ".join(name for name, at in found.named.items() if at == k) for k in range(len(found.race.front))]
    return pd.DataFrame({
        "core": [core_name(int(found.band.ordinals[i])) for i in found.race.front],
        "pick": labels,
        "also_nominal": ["yes" if i in nominal else "no" for i in found.race.front],
        **variable_columns(problem, found.band.points[found.race.front]),
        **_standing_columns(problem, found, found.race.front),
    })


def fallen_table(problem: CoreProblem, found: RobustFront) -> "pd.DataFrame":
    """The front of the cores: which of them stay on that of the copies, and why the others do not."""
    import pandas as pd

    verdicts = [_verdict(problem, found, i) for i in found.nominal]
    return pd.DataFrame({
        "core": [core_name(int(found.band.ordinals[i])) for i in found.nominal],
        "verdict": [verdict for verdict, _ in verdicts], "because": [because for _, because in verdicts],
        **_standing_columns(problem, found, found.nominal),
    })


def _verdict(problem: CoreProblem, found: RobustFront, i: int) -> tuple[str, str]:
    standing = found.race.standings[i]
    if i in found.race.front:
        return STAYS, ""
    if not standing.keeps or not np.all(np.isfinite(standing.values)):
        return UNPROVEN if standing.may_keep else FAILS, _why_it_fails(problem, standing)
    for j in found.race.front:
        if np.all(found.race.standings[j].values <= standing.values):
            same = np.all(found.race.standings[j].values == standing.values)
            return BEATEN, f"{'does no better than' if same else 'beaten by'} {core_name(int(found.band.ordinals[j]))}"
    raise AssertionError("a core that keeps its limits is on the front or beaten")


def _why_it_fails(problem: CoreProblem, standing: Standing) -> str:
    robust, lost = problem.study.robust, int(np.count_nonzero(standing.held.lost))
    assert robust is not None
    if lost:
        return f"{lost} of {len(standing.held.lost)} copies have no numbers"
    if standing.share.low >= robust.share:
        return _limit_missed(problem, robust, standing)
    name, missed = most_missed(standing.held, problem.margin_names)
    drawn = len(standing.held.passed)
    shares = (missed / drawn, *share_interval(missed, drawn, problem.study.scatter.confidence))
    value, low, high = (_percent(100 * share) for share in shares)
    return f"{value} % ({low} .. {high}) of its copies miss {name}"


def _limit_missed(problem: CoreProblem, robust: Robust, standing: Standing) -> str:
    """The first limit on a percentile or mean of the copies that is not surely kept, with its interval."""
    held, system = standing.held, problem.study.units
    for j, (_, goal, r) in enumerate(goals_of(problem, robust).bounded):
        every = replicates(len(held.lost))
        ends = goal.of(held.bounded[:, j], held.lost > 0, every, problem.study.scatter.confidence)
        if not ends[2] <= r.sign * r.bound:
            kind = OUTPUTS[r.output].kind
            value, *others, bound = (
                float(units.to_display(x, kind, system)) for x in (*(goal.sign * e for e in ends), r.bound)
            )
            low, high = sorted(others)
            said = f"{goal.name} is {value:.4g} ({low:.4g} .. {high:.4g}), the limit {bound:.4g}"
            return f"{said} {units.unit_label(kind, system)}".rstrip()
    raise AssertionError("no limit is missed")


def _percent(share: float) -> str:
    return f"{share:.1f}" if share >= 1 or share == 0 else f"{share:.2g}"


def _standing_columns(problem: CoreProblem, found: RobustFront, members: list[int]) -> dict[str, Array | list[Any]]:
    """Objectives of core and copies with intervals, in their own sense and display units; shares."""
    study, robust = problem.study, problem.study.robust
    assert robust is not None
    standings = [found.race.standings[i] for i in members]
    columns: dict[str, Array | list[Any]] = {}
    for j, (o, goal) in enumerate(zip(study.objectives, goals_of(problem, robust).objectives, strict=True)):
        kind = OUTPUTS[o.output].kind
        plain = header(o.output, kind, study.units, o.at)
        title = f"{statistic(o.of or robust.of, goal.sign)} of {plain}"
        own = {
            f"nominal {plain}": found.band.objectives[members, j], title: np.array([s.values[j] for s in standings]),
            f"low {title}": np.array([(s.low if goal.sign > 0 else s.high)[j] for s in standings]),
            f"high {title}": np.array([(s.high if goal.sign > 0 else s.low)[j] for s in standings]),
        }
        columns |= {name: units.to_display(goal.sign * value, kind, study.units) for name, value in own.items()}
    shares = [s.share for s in standings]
    return columns | {
        "share [%]": [100 * s.value for s in shares], "low [%]": [100 * s.low for s in shares],
        "high [%]": [100 * s.high for s in shares], "draws": [s.drawn for s in shares],
        "lost": [int(np.count_nonzero(s.held.lost)) for s in standings],
    }


def robust_record(problem: CoreProblem, found: RobustFront) -> dict[str, Any]:
    """What the report must know of the race."""
    robust = problem.study.robust
    assert robust is not None
    return {
        "of": [goal.name for goal in goals_of(problem, robust).objectives], "share": robust.share,
        "limits_of": [goal.name for _, goal, _ in goals_of(problem, robust).bounded],
        "draws": robust.draws, "scatter": robust.scatter, "band": len(found.band), "whole": found.whole,
        "width_used": found.used.tolist(), "misjudged": found.misjudged,
        "pacemakers": found.race.pacemakers, "stages": [list(stage) for stage in found.race.stages],
        "copies": found.race.rated,
        "picks": {
            name: core_name(int(found.band.ordinals[found.race.front[k]])) for name, k in found.named.items()
        },
    }



