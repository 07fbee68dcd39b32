"""Tolerance budgets: shops whose yield is known in closed form against a search over all factors, and a real core."""

import time
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from scipy.special import ndtri
from scipy.stats import beta, multivariate_normal, norm, qmc
from small_studies import ROOT, core, study

from optimize.evaluate import CoreProblem
from optimize.study.load import load
from optimize.study.model import Limit, Tolerance
from optimize.tolerance.budget import LOOSER, Shop, budget, enough_draws, planned
from optimize.tolerance.budget_search import FLOOR, Search, cost_of
from optimize.tolerance.budget_surface import fit
from optimize.tolerance.copies import SHOP, copies
from optimize.tolerance.draws import Draws
from optimize.tolerance.laws import tightened
from optimize.typed_core import typed_core

N = 16_384


def scores(d: int, seed: int, n: int = N):
    """Normal scores (d, n), sigma 1."""
    return ndtri(np.clip(qmc.Sobol(d, rng=seed).random(n), 1e-12, 1 - 1e-12)).T


def linear_shop(slopes, rooms, costs, n: int = N, change=lambda m, x: m) -> Shop:
    """Margins room - slopes . x, each x normal with sigma = its factor; `change(margins, x)` to spoil them."""
    slopes, rooms = np.atleast_2d(np.array(slopes, float)), np.atleast_1d(np.array(rooms, float))
    first, second = scores(slopes.shape[1], 1, n), scores(slopes.shape[1], 2, n)

    def margins(x):
        return change(rooms - x.T @ slopes.T, x)

    names = tuple(f"t{i}" for i in range(slopes.shape[1]))
    return Shop(
        names, np.array(costs, float), np.full(len(names), np.inf), lambda i, s: s * first[i],
        lambda s: margins(s[:, None] * first), lambda s: margins(s[:, None] * second),
    )


def search_of(shop: Shop, floor: float = FLOOR) -> Search:
    one = np.ones(len(shop.names))
    values = np.column_stack([shop.column(i, 1.0) for i in range(len(one))])
    return Search(fit(values, shop.searched(one)), shop.column, shop.costs, floor)


def dense_best(share, costs, wanted: float, steps: int = 71) -> float:
    """Least reciprocal cost over a dense grid of factors from the floor to 1; `share` of (k, d) factors."""
    factors = np.array(list(product(np.linspace(FLOOR, 1, steps), repeat=len(costs))))
    cost = np.sum(np.array(costs) * (1 / factors - 1), axis=1)
    return float(np.min(cost[share(factors) >= wanted]))


def one_requirement(slopes, room):
    return lambda s: norm.cdf(room / np.sqrt(np.sum((np.array(slopes) * s) ** 2, axis=-1)))


# --- the cheapest ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("slopes", "room", "costs"), [
    ([1.0, 2.0], 2.4, [1.0, 1.0]),
    ([1.0, 2.0], 2.4, [1.0, 5.0]),
    ([1.0, 1.0, 1.0], 2.0, [1.0, 2.0, 4.0]),
    ([3.0, 1.0, 0.2], 3.5, [1.0, 1.0, 1.0]),
])  # fmt: skip
def test_the_cost_is_the_least_of_a_dense_search_under_one_requirement(slopes, room, costs):
    wanted, shop = 0.99, linear_shop(slopes, room, costs)
    found = search_of(shop).cheapest(int(np.ceil(wanted * N)))
    share = one_requirement(slopes, room)
    assert cost_of(found, shop.costs) == pytest.approx(dense_best(share, costs, wanted), rel=0.03)
    assert share(found) == pytest.approx(wanted, abs=0.001)


@pytest.mark.parametrize("costs", [[1.0, 1.0, 1.0], [4.0, 1.0, 1.0]])
def test_the_cost_is_the_least_of_a_dense_search_under_two_requirements_that_share_a_tolerance(costs):
    slopes, rooms, wanted = np.array([[1.0, 1.5, 0.0], [0.0, 1.0, 2.0]]), np.array([2.4, 2.7]), 0.97
    shop = linear_shop(slopes, rooms, costs)
    found = search_of(shop).cheapest(int(np.ceil(wanted * N)))

    def share(s):
        return multivariate_normal(np.zeros(2), (slopes * s**2) @ slopes.T).cdf(rooms)

    def shares(factors):
        return np.array([share(s) for s in factors])

    assert cost_of(found, shop.costs) == pytest.approx(dense_best(shares, costs, wanted, 29), rel=0.03)
    assert share(found) == pytest.approx(wanted, abs=0.0015)


def test_ten_like_tolerances_of_rising_cost_are_tightened_by_its_cube_root():
    """Lagrange: cost/s^2 in proportion to s, so s goes with the cube root of the cost."""
    costs = np.arange(1.0, 11.0)
    found = search_of(linear_shop([1.0] * 10, 5.0, costs)).cheapest(int(np.ceil(0.99 * N)))
    truth = np.cbrt(costs) * 5.0 / norm.ppf(0.99) / np.sqrt(np.sum(np.cbrt(costs) ** 2))
    assert np.all(truth < 1)
    assert cost_of(found, costs) == pytest.approx(cost_of(truth, costs), rel=0.03)
    assert found == pytest.approx(truth, rel=0.1)


def test_what_costs_nothing_is_tightened_in_place_of_what_does():
    found = search_of(linear_shop([1.0, 1.0], 2.6, [0.0, 1.0])).cheapest(int(np.ceil(0.99 * N)))
    assert found[1] == 1.0
    assert found[0] < 0.6


def test_what_does_not_matter_is_left_as_it_is():
    found = search_of(linear_shop([1.0, 0.0], 1.5, [1.0, 0.1])).cheapest(int(np.ceil(0.99 * N)))
    assert found[1] == 1.0
    assert found[0] == pytest.approx(1.5 / norm.ppf(0.99), rel=0.01)


def test_nothing_is_found_where_the_tightest_is_not_enough():
    assert search_of(linear_shop([1.0], 0.3 * 2.0, [1.0])).cheapest(int(np.ceil(0.99 * N))) is None


def test_the_reciprocal_cost_is_what_halving_costs():
    assert cost_of(np.array([0.5, 0.25, 1.0, 3.0]), np.array([2.0, 1.0, 7.0, 9.0])) == 2.0 + 3.0


# --- the surface ----------------------------------------------------------------------------------------------------


def test_a_quadratic_with_products_is_fitted_exactly():
    x = scores(3, 0, 1024).T * np.array([1e-4, 0.01, 30.0]) + np.array([9e-3, 0.04, 2730.0])

    def margins(x):
        a, b, c = (x - np.array([9e-3, 0.04, 2730.0])).T / np.array([[1e-4], [0.01], [30.0]])
        return np.column_stack([0.5 + a - 0.3 * b**2 + 0.2 * a * c, 1.0 + b * c])

    surface = fit(x, margins(x))
    other = scores(3, 9, 512).T * np.array([2e-4, 0.02, 60.0]) + np.array([9e-3, 0.04, 2730.0])
    assert surface.fit_error == 0
    assert np.array_equal(surface.spare(other) >= 0, np.all(margins(other) >= 0, axis=1))


def test_a_requirement_that_is_just_met_by_all_copies_fails_none():
    x = scores(2, 0, 256).T
    surface = fit(x, np.column_stack([np.zeros(256), x[:, 0] + 1]))
    assert np.array_equal(surface.spare(x) >= 0, x[:, 0] >= -1)


def test_a_requirement_that_none_meets_is_met_by_none():
    x = scores(2, 0, 256).T
    assert not np.any(fit(x, np.column_stack([np.full(256, -0.1), x[:, 0] + 9])).spare(x) >= 0)


def test_a_requirement_that_only_knows_yes_and_no_is_parted_half_way():
    x = scores(1, 0, 1024).T
    surface = fit(x, np.where(x > 0.2, -1.0, 0.0))
    assert surface.fit_error < 0.1
    assert np.all(surface.spare(np.array([[-1.0], [1.5]])) * np.array([1, -1]) > 0)


def test_copies_without_margins_are_left_out_of_the_fit_and_counted():
    x = scores(2, 0, 512).T
    whole = 1 - x[:, :1]
    spoilt = whole.copy()
    spoilt[:40] = np.nan
    surface = fit(x, spoilt)
    assert surface.lost == 40
    assert surface.spare(x) == pytest.approx(fit(x, whole).spare(x) * np.std(whole) / np.std(whole[40:]), abs=1e-9)


# --- budgets of shops -----------------------------------------------------------------------------------------------


def lower(passed: int, drawn: int, confidence: float) -> float:
    """Clopper & Pearson's lower end, by the quantile of the beta distribution."""
    return float(beta.ppf((1 - confidence) / 2, passed, drawn - passed + 1))


def test_a_budget_reaches_the_wanted_share_and_its_shares_are_those_rated():
    shop = linear_shop([1.0, 2.0, 0.0], 3.0, [1.0, 1.0, 1.0])
    b = planned(shop, 0.99, 0.95)
    assert b.reachable
    assert b.cost == cost_of(b.tightened, shop.costs)
    for share, factors in ((b.before, np.ones(3)), (b.after, b.tightened), (b.together, b.relaxed_together)):
        passed = np.count_nonzero(np.all(shop.verified(factors) >= 0, axis=1))
        assert (share.passed, share.drawn) == (passed, N)
    assert b.before.value == pytest.approx(norm.cdf(3 / np.sqrt(5)), abs=0.003)
    assert b.after.low == pytest.approx(lower(b.after.passed, N, 1 - 0.05 / 12), rel=1e-9)
    assert b.after.low >= 0.99
    truth = one_requirement([1.0, 2.0, 0.0], 3.0)(b.tightened)
    assert 0.99 <= truth <= 0.995


def test_a_share_already_reached_is_not_tightened_for():
    b = planned(linear_shop([1.0, 1.0], 6.0, [1.0, 1.0]), 0.99, 0.95)
    assert b.reachable
    assert b.cost == 0
    assert np.all(b.tightened == 1)
    assert b.after == b.before


def test_a_share_out_of_reach_is_said_to_be():
    shop = linear_shop([1.0, 0.0], 0.3, [1.0, 1.0])
    b = planned(shop, 0.99, 0.95)
    assert not b.reachable
    assert b.tightened[0] == FLOOR
    assert b.tightened[1] == 1.0
    assert b.after.value == pytest.approx(norm.cdf(1.0), abs=0.003)
    assert planned(shop, 0.99, 0.95, floor=0.1).reachable


def test_a_nominal_that_fails_is_not_mended_by_tightening():
    b = planned(linear_shop([1.0], -0.5, [1.0]), 0.99, 0.95)
    assert not b.reachable
    assert b.tightened == [1.0]
    assert b.after == b.before


def test_what_does_not_matter_is_relaxed_and_what_does_is_not():
    b = planned(linear_shop([1.0, 0.0, 1e-3], 2.0, [1.0, 1.0, 1.0]), 0.99, 0.95)
    assert b.relaxed_alone.tolist() == [1.0, 3.0, 3.0]
    assert b.relaxed_together.tolist() == [1.0, 3.0, 3.0]
    assert b.together.passed >= b.before.passed


def test_slack_over_the_wanted_share_is_used_but_only_once():
    """Room of 3.4 for two like tolerances: one may go to twice (3.4/sqrt 5 = 1.52 sigmas is 93.6 %), not both."""
    b = planned(linear_shop([1.0, 1.0], 3.4, [1.0, 1.0]), 0.93, 0.95)
    share = one_requirement([1.0, 1.0], 3.4)
    assert b.relaxed_alone.tolist() == [2.0, 2.0]
    assert share(b.relaxed_together) >= 0.93 > share(np.array([2.0, 2.0]))
    assert b.together.low >= 0.93
    assert np.any(b.relaxed_together > 1)
    assert set(b.relaxed_together) <= {1.0, *LOOSER}


def test_copies_without_margins_fail_and_are_counted():
    """Beyond 2 sigmas of the first there are no numbers: Phi(-2) of all copies, and none once it is tightened."""
    def spoilt(m, x):
        return np.where(x[0][:, None] > 2.0, np.nan, m)

    b = planned(linear_shop([0.0, 1.0], 5.0, [1.0, 1.0], change=spoilt), 0.99, 0.95)
    assert b.lost == pytest.approx(N * norm.cdf(-2), abs=20)
    assert b.before.passed == N - b.lost
    b = planned(linear_shop([1.0, 1.0], 2.6, [1.0, 1.0], change=spoilt), 0.99, 0.95)
    assert b.lost > 0
    assert b.reachable
    assert b.after.low >= 0.99


def test_a_budget_of_copies_that_are_all_lost_is_out_of_reach():
    b = planned(linear_shop([1.0], 1.0, [1.0], n=1024, change=lambda m, x: m * np.nan), 0.99, 0.95)
    assert (b.lost, b.before.passed, b.reachable) == (1024, 0, False)


def test_a_wrong_surface_is_found_out_by_the_rating():
    """A step that no quadratic follows, at 1.2 sigmas: the rating must still hold 99 %, with 1.2 = 2.326 s at most."""
    def cliff(m, x):
        return np.where(np.abs(x[0][:, None]) > 1.2, -0.01, m + 1)

    b = planned(linear_shop([0.0], 1.0, [1.0], change=cliff), 0.99, 0.95)
    assert b.reachable
    assert b.after.low >= 0.99
    assert b.tightened[0] <= 1.2 / norm.ppf(0.995)


def test_a_curved_requirement_is_met():
    """1 - x^2 at least 0: two-sided, 2 Phi(1/s) - 1."""
    b = planned(linear_shop([0.0], 1.0, [1.0], change=lambda m, x: 1 - x.T**2), 0.99, 0.95)
    assert b.reachable
    assert b.fit_error == 0
    assert b.tightened[0] == pytest.approx(1 / norm.ppf(0.995), rel=0.04)


def test_too_few_draws_for_the_share_are_refused():
    with pytest.raises(ValueError, match=r"256 draws cannot show a share of 0\.99"):
        planned(linear_shop([1.0], 9.0, [1.0], n=256), 0.99, 0.95)


@pytest.mark.parametrize("wanted", [0.5, 0.9, 0.99, 0.999, 0.9999])
def test_enough_draws_can_show_the_share(wanted):
    n = enough_draws(wanted, 0.95)
    assert 0.025 ** (1 / n) >= wanted  # no bad copy among n
    assert n & (n - 1) == 0


# --- cores ----------------------------------------------------------------------------------------------------------


def stack_problem(maximum: float, **tolerances: Tolerance) -> CoreProblem:
    """The starter with two tolerances that matter to its stack height alone, which is limited."""
    s = study()
    return CoreProblem(replace(
        s, limits=(Limit("stack_height", None, maximum, None),),
        variables={k: replace(v, tolerance=tolerances.get(k.split(".")[1])) for k, v in s.variables.items()},
        air_fins={k: replace(r, tolerances={"spacing": tolerances["air"]}) for k, r in s.air_fins.items()},
        turbulators={k: replace(r, tolerances={"spacing": tolerances["coolant"]}) for k, r in s.turbulators.items()},
        ports={k: replace(p, tolerances={}) for k, p in s.ports.items()},
    ))


def normal(half: float, cost: float = 1.0) -> Tolerance:
    return Tolerance("normal", half, half, 3.0, False, tighten_cost=cost)


def test_a_stack_of_passages_has_the_budget_of_a_sum():
    """11 air and 10 coolant spacings: sigma of the stack is root((11 sa)^2 + (10 sc)^2); 1.5 of them to spare."""
    sa, sc = 0.06e-3 / 3, 0.05e-3 / 3
    sigma = np.hypot(11 * sa, 10 * sc)
    p = stack_problem(1.0, air=normal(3 * sa), coolant=normal(3 * sc))
    height = float(p.rate_choices(core(p), 1)["stack_height"][0])
    p = stack_problem(height + 1.5 * sigma, air=normal(3 * sa, 2.0), coolant=normal(3 * sc), thickness=normal(0.1e-3))
    b = budget(p, core(p), None, 0.99, 0.95)
    assert b.names == ("thickness", "air_fin.spacing", "coolant_fin.spacing")
    assert b.costs.tolist() == [1.0, 2.0, 1.0]
    assert b.before.value == pytest.approx(norm.cdf(1.5), abs=0.005)
    assert b.reachable
    assert b.tightened[0] == 1.0
    share = one_requirement([11 * sa, 10 * sc], 1.5 * sigma)
    assert 0.99 <= share(b.tightened[1:]) <= 0.996
    least = dense_best(share, [2.0, 1.0], share(b.tightened[1:]))
    assert b.cost == pytest.approx(least, rel=0.03)
    assert b.relaxed_alone.tolist() == [3.0, 1.0, 1.0]


def test_a_core_without_tolerances_has_nothing_to_budget():
    p = stack_problem(1.0, air=normal(0.0), coolant=normal(0.0))
    p = CoreProblem(replace(p.study, air_fins={k: replace(r, tolerances={}) for k, r in p.study.air_fins.items()},
                            turbulators={k: replace(r, tolerances={}) for k, r in p.study.turbulators.items()}))
    b = budget(p, core(p), None, 0.99, 0.95)
    assert b.names == ()
    assert b.reachable
    assert b.after == b.before == b.together


@pytest.fixture(scope="module")
def heavy():
    """A core of the dune racer whose mass limit three copies in ten miss."""
    p = CoreProblem(load(ROOT / "studies" / "dune_racer.toml"))
    pairs = ["thickness=85 mm", "passages=17", "passes=1", "air_fin=S28-38", "turbulator=TS-15-18", "port=D32-21",
             "line=-16"]  # fmt: skip
    return p, typed_core(p.space, pairs)


def test_a_core_too_heavy_for_three_copies_in_ten_reaches_99_percent_in_seconds(heavy):
    """Down to a fifth of its tolerances; a third is not enough for it."""
    p, choices = heavy
    start = time.perf_counter()
    b = budget(p, choices, None, 0.99, 0.95, floor=0.2)
    print(f"budget of {len(b.names)} tolerances: {time.perf_counter() - start:.1f} s")
    assert b.before.value == pytest.approx(0.7, abs=0.03)
    assert b.reachable
    assert b.after.low >= 0.99
    own = {name: tightened(law, s) for (name, law), s in zip(p.space.tolerances(choices).items(), b.tightened,
                                                             strict=True)}  # fmt: skip
    made = copies(p, [choices], Draws(p.study, b.after.drawn), SHOP, own)[0]
    assert np.count_nonzero(made.passed) == b.after.passed
    loose = dict(zip(b.names, b.relaxed_alone, strict=True))
    # no port and no blockage weighs anything; plates and fins do
    assert all(loose[name] > 1 for name in ("port.radius", "port.open_height", "air_blockage", "coolant_blockage"))
    assert all(loose[name] == 1 for name in ("plate_thickness", "air_fin.thickness", "thickness"))
    assert b.tightened[b.names.index("port.radius")] == 1.0


def test_a_core_that_the_usual_floor_keeps_from_its_share_is_said_to_be_out_of_reach(heavy):
    p, choices = heavy
    b = budget(p, choices, None, 0.99, 0.95)
    assert not b.reachable
    assert b.before.value < b.after.value < 0.99
    assert min(b.tightened) == FLOOR
