"""The front of the copies: staged search against brute force, why cores fall off, lost copies, seeds and workers."""

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from small_studies import SMALL, core, study

from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.pareto import nondominated
from optimize.robust_tables import fallen_table, robust_front, robust_record, robust_table
from optimize.search.sweep import Grid, sweep
from optimize.study.model import Limit, Robust, Study
from optimize.tolerance.copies import copies
from optimize.tolerance.draws import Draws
from optimize.tolerance.goals import Goal, Goals, goals_of, level_of, statistic
from optimize.tolerance.race import race
from optimize.tolerance.robust import Shift, band_rule, check_draws, rule_of
from physics.flags import Flag

ROBUST = Robust(of="P95", share=0.9, draws=512)
SOLID = {
    "thickness": SMALL["thickness"], "passages": "{ from = 6, to = 10, step = 2 }",
    "air_fin": '["S18-64", "L16-80"]', "turbulator": '"TS-20-16"',
}  # fmt: skip


@cache
def small(robust: Robust = ROBUST, **changes: Any) -> Study:
    """A space of a hundred cores or so, all limits of the starter."""
    return replace(study(**SOLID), robust=robust, **changes)


def everything(problem: CoreProblem) -> np.ndarray:
    grid = Grid.of(problem.axes, 100_000)
    return np.concatenate([grid.block(i)[0] for i in range(grid.blocks)])


def brute_force(s: Study) -> set[tuple[float, ...]]:
    """Every core of the space with all its copies: percentiles by sorting, shares by scipy's exact interval.

    A limit with a statistic of its own (P50 only) is kept by the upper end of scipy's interval of it.
    """
    from scipy.stats import binomtest, quantile_test

    problem = CoreProblem(s)
    assert s.robust is not None
    cores = everything(problem)
    made = copies(problem, [problem.space.core(p) for p in cores], Draws(s, s.robust.draws, "robust"), "shop")
    values, keeps = [], []
    own = [i for i, limit in enumerate(s.limits) if limit.of is not None]
    each = [i for i in range(len(problem.margin_names)) if i - len(problem.margin_names) + len(s.limits) not in own]
    for c in made:
        signed = [np.where(c.lost > 0, np.inf, (-v if o.maximise else v))
                  for v, o in zip(c.objectives.T, s.objectives, strict=True)]
        values.append([np.sort(v)[int(np.ceil(0.95 * len(v))) - 1] for v in signed])
        good = int(np.count_nonzero(np.all(c.margins[:, each] >= 0, axis=1)))
        low = binomtest(good, len(c.lost)).proportion_ci(0.95, method="exact").low
        ends = [float(quantile_test(c.bounded[:, i], p=0.5).confidence_interval(0.95).high) for i in own]
        kept = all(end <= s.limits[i].maximum for end, i in zip(ends, own, strict=True))
        keeps.append(low >= s.robust.share and kept and bool(np.all(np.isfinite(values[-1]))))
    index = np.flatnonzero(keeps)
    best = index[nondominated(np.array(values)[index])].tolist()
    tie = problem.evaluate(cores).tie
    best.sort(key=lambda i: (*values[i], *tie[i], i))  # of equal ones the first stays
    return {tuple(cores[i]) for n, i in enumerate(best) if n == 0 or values[i] != values[best[n - 1]]}


def staged(s: Study, workers: int = 1) -> Any:
    problem = CoreProblem(s)
    archive = sweep(problem, workers, rule=band_rule(problem))
    return problem, robust_front(problem, archive, workers, None)


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("limit", [None, 6.4e3])
def test_the_staged_front_is_that_of_all_cores_with_all_copies(seed: int, limit: float | None) -> None:
    s = replace(small(), seed=seed)
    if limit is not None:  # a limit that cuts through the front
        s = replace(s, limits=(*s.limits, Limit("air_pressure_drop", None, limit, "full_power")))
    expected = brute_force(s)
    _, found = staged(s)
    assert {tuple(found.band.points[i]) for i in found.race.front} == expected
    assert len(expected) >= 2
    assert len(found.band) < len(everything(CoreProblem(s)))


def test_a_core_that_misses_a_limit_as_drawn_but_whose_median_keeps_it_is_not_lost() -> None:
    """Cores come out thinner than drawn, so that the median of their loss is below that of the drawing."""
    thinner = '{ law = "normal", below = "3 mm", above = "0 mm", sigmas = 3 }'
    thickness = f'{{ from = "50 mm", to = "80 mm", step = "0.5 mm", tolerance = {thinner} }}'
    base = study(**SOLID | {"thickness": thickness, "passages": "10", "air_fin": '"S18-64"'})
    median = Limit("air_pressure_drop", None, 3.0e3, "full_power", "P50")
    edge = replace(base, robust=ROBUST, limits=(*base.limits, median))
    expected = brute_force(edge)
    problem, found = staged(edge)
    assert {tuple(found.band.points[i]) for i in found.race.front} == expected
    drawn = problem.evaluate(np.array(sorted(expected)))
    assert np.any(drawn.margins[:, -1] < 0)  # the case in question is among them


def test_more_copies_go_where_designs_are_close() -> None:
    _, found = staged(small())
    cores = [n for _, n in found.race.stages]
    assert cores == sorted(cores, reverse=True)
    assert cores[-1] < cores[0] == len(found.band) - len(found.nominal)
    assert found.race.stages[0][0] == 256
    assert found.race.stages[-1][0] == 512


def test_two_workers_give_the_bits_of_one() -> None:
    problem, one = staged(small())
    _, two = staged(small(), workers=2)
    assert robust_table(problem, one).equals(robust_table(problem, two))
    assert fallen_table(problem, one).equals(fallen_table(problem, two))


def test_every_core_of_the_nominal_front_has_a_verdict_and_a_reason() -> None:
    tight = replace(small(), limits=(*small().limits, Limit("air_pressure_drop", None, 6.4e3, "full_power")))
    problem, found = staged(tight)
    table = fallen_table(problem, found)
    assert len(table) == len(found.nominal) > 0
    assert set(table["verdict"]) <= {"stays", "beaten", "fails"}
    for row in table.to_dict("records"):
        assert (row["verdict"] == "stays") == (row["because"] == "")
        assert row["draws"] == 512
        if row["verdict"] == "fails":
            assert row["low [%]"] < 90


def test_objectives_of_the_copies_are_worse_than_those_of_the_core_and_within_their_interval() -> None:
    problem, found = staged(small())
    table = robust_table(problem, found)
    for title in [c for c in table.columns if c.startswith(("P95 of", "P05 of"))]:
        plain = table["nominal " + title[len("P95 of "):]]
        assert np.all(table[title] > plain) if title.startswith("P95") else np.all(table[title] < plain)
        assert np.all((table["low " + title] <= table[title]) & (table[title] <= table["high " + title]))


def test_a_limit_of_a_percentile_is_kept_by_the_percentile_and_not_by_every_copy() -> None:
    base = small()
    p50 = Limit("air_pressure_drop", None, 6.4e3, "full_power", of="P50")
    problem, found = staged(replace(base, limits=(*base.limits, p50)))
    assert problem is not None
    kept = [found.race.standings[i] for i in found.race.front]
    assert all(np.median(s.held.bounded[:, 0]) <= 6.4e3 for s in kept)
    assert goals_of(problem, ROBUST).each.size == len(problem.margin_names) - 1


def test_the_record_counts_the_copies_that_were_rated() -> None:
    problem, found = staged(small())
    known = robust_record(problem, found)
    (first, n), (last, m) = known["stages"][0], known["stages"][-1]
    assert known["copies"] == first * n + (last - first) * m + 512 * known["pacemakers"]
    assert known["whole"] is True
    assert known["of"] == ["P05 of heat rejected, full_power", "P95 of air loss, total, full_power"]


def test_too_few_copies_to_show_the_share_are_refused() -> None:
    with pytest.raises(FinfrontError, match="64 copies cannot show that 99 %"):
        check_draws(Robust(share=0.99, draws=64), Goals((), (), np.arange(3)), 0.95)
    check_draws(Robust(share=0.99, draws=512), Goals((), (), np.arange(3)), 0.95)


def test_too_few_copies_for_an_interval_of_the_percentile_are_refused() -> None:
    far = Goals((Goal("P99.5 of the loss", 1.0, 0.995),), (), np.arange(3))
    with pytest.raises(FinfrontError, match=r"512 copies are too few for an interval of the P99\.5") as told:
        check_draws(Robust(share=0.9, draws=512), far, 0.95)
    assert "ask for 1024 or more" in str(told.value)  # 1 - 0.995^n >= 0.975 from n = 736 on
    check_draws(Robust(share=0.9, draws=1024), far, 0.95)


@pytest.mark.parametrize(("of", "sign", "expected"), [("P95", 1.0, 94.0), ("P95", -1.0, -6.0), ("worst", 1.0, 99.0)])
def test_a_goal_is_read_from_the_bad_side(of: str, sign: float, expected: float) -> None:
    values, replicate = np.arange(100.0), np.arange(100) % 8
    values = values if sign > 0 else values + 1
    goal = Goal("", sign, level_of(of))
    value, low, high = goal.of(values, np.zeros(100, dtype=bool), replicate, 0.95)
    assert low <= value <= high
    assert value == expected


def test_a_lost_copy_is_worse_than_any_and_leaves_no_mean() -> None:
    values, lost, replicate = np.arange(100.0), np.arange(100) < 10, np.arange(100) % 8
    assert Goal("", 1.0, 0.95).of(np.where(lost, np.nan, values), lost, replicate, 0.95)[0] == np.inf
    assert Goal("", 1.0, 0.5).of(np.where(lost, np.nan, values), lost, replicate, 0.95)[0] == 59.0
    assert np.isnan(Goal("", 1.0, None).of(np.where(lost, np.nan, values), lost, replicate, 0.95)[0])


def test_statistics_are_named_as_they_are_read() -> None:
    assert [statistic(of, sign) for of, sign in (("P99", 1.0), ("P99", -1.0), ("mean", -1.0))] == ["P99", "P01", "mean"]


def test_the_band_is_twice_as_wide_as_the_pilot_saw() -> None:
    margins = np.array([[-0.05, 0.02], [-0.01, 0.03]])
    rule = rule_of(Shift(np.array([[0.1, 0.0], [0.4, 0.2]]), margins, margins - 0.01))
    np.testing.assert_allclose(rule.width, [0.6, 0.4], rtol=1e-6)
    np.testing.assert_allclose(rule.spare, [0.12, 0.0])
    np.testing.assert_allclose(rule.short, [0.0, 0.06])


def test_a_core_whose_copies_are_lost_leaves_the_race_and_is_named() -> None:
    """Air so fast that no copy has a loss: the core cannot be on any front, whatever it is nominally."""
    s = small()
    fast = replace(s, duty=tuple(replace(p, air_flow=9.0) for p in s.duty))
    problem = CoreProblem(fast)
    done = race(problem, [core(problem)], np.ones(1, dtype=bool), np.zeros((1, 0)), 1)
    assert done.front == []
    assert np.all(done.standings[0].held.lost & Flag.AIR_CANNOT_PASS)


def test_objectives_may_each_ask_for_another_statistic() -> None:
    s = small()
    own = replace(s, objectives=(s.objectives[0], replace(s.objectives[1], of="mean")))
    names = [g.name for g in goals_of(CoreProblem(own), ROBUST).objectives]
    assert names[1].startswith("mean of ")


def test_a_band_too_narrow_for_what_the_race_saw_is_not_said_to_be_whole() -> None:
    problem = CoreProblem(small())
    rule = band_rule(problem)
    found = robust_front(problem, sweep(problem, 1, rule=rule), 1, None)
    lost = np.array([values - found.band.objectives[i] for i, values in found.race.seen.items()])
    assert len(lost) == len(found.band)
    np.testing.assert_allclose(found.used, (lost.max(axis=0) - lost.min(axis=0)) / rule.width, rtol=1e-12)
    assert np.all((found.used > 0) & (found.used < 1))
    narrow = robust_front(problem, sweep(problem, 1, rule=replace(rule, width=rule.width / 1000)), 1, None)
    assert np.max(narrow.used) > 1
    assert robust_record(problem, narrow)["whole"] is False
