"""Draws: evenly spread in every replicate, belonging to their names, correlated where asked and nowhere else."""

from dataclasses import fields, replace

import numpy as np
import pytest
from scipy import stats
from scipy.special import ndtri
from small_studies import SECOND_DUTY, study

from optimize.seeds import stream
from optimize.study.corrections import EXPONENTS
from optimize.study.model import Correlation, Study, Tolerance
from optimize.tolerance.draws import FACTORS, REPLICATES, Draws, correlation_matrix, points, tolerance_names
from optimize.tolerance.intervals import share_interval
from physics.duty import ModelFactors

SHOP = [("shop", name) for name in tolerance_names()]
MODEL = [("model", name) for name in FACTORS]
TOLERANCE = Tolerance("normal", 0.01, 0.01, 3.0, True)
PAIRS = (Correlation(("air_fin.spacing", "coolant_fin.spacing"), 0.8),
         Correlation(("coolant_fin.spacing", "plate_thickness"), -0.5), Correlation(("thickness", "length"), 0.3))


@pytest.fixture(scope="module")
def made() -> Study:
    """The starter with two duty points."""
    return study(SECOND_DUTY, draws="256")


def correlated(study: Study, *pairs: Correlation) -> Study:
    return replace(study, scatter=replace(study.scatter, correlations=pairs))


def same(one: Draws, other: Draws, keys=SHOP + MODEL) -> bool:
    return all(np.array_equal(one[key], other[key]) for key in keys)


# --- spread ---------------------------------------------------------------------------------------------------------


def test_each_replicate_has_one_draw_in_each_of_as_many_equal_slices(made):
    """A (0, m, 1)-net in base 2, in every column."""
    draws = Draws(made, 512)
    assert np.array_equal(np.unique(draws.replicate, return_counts=True)[1], np.full(REPLICATES, 64))
    for key in SHOP + MODEL:
        for r in range(REPLICATES):
            slices = np.floor(draws[key][draws.replicate == r] * 64)
            assert np.array_equal(np.sort(slices), np.arange(64)), (key, r)


def test_draws_are_uniform_and_never_touch_0_or_1(made):
    draws = Draws(made, 4096)
    for key in SHOP + MODEL:
        assert 0 < draws[key].min() < draws[key].max() < 1
        assert stats.kstest(draws[key], "uniform").statistic < 1 / 512  # within a slice of a replicate
    columns = [draws[key] for key in SHOP + MODEL]
    pairs = len(columns) * (len(columns) - 1) / 2
    bound = stats.norm.isf(0.5e-3 / pairs) / np.sqrt(4096)  # of independent draws
    assert np.abs(np.corrcoef(columns) - np.eye(len(columns))).max() < bound


def test_the_first_half_of_the_draws_are_the_draws_of_half_as_many(made):
    pairs = correlated(made, *PAIRS)
    for count in (1, 2, 4, 8, 64, 100, 128, 256, 300):
        few, many = Draws(pairs, count), Draws(pairs, 2 * count).part(0, count)
        assert few.count == many.count == count
        assert np.array_equal(few.replicate, many.replicate)
        assert same(few, many), count


def test_a_part_is_that_stretch_of_the_draws(made):
    draws = Draws(made, 64)
    part = draws.part(16, 48)
    assert part.count == 32
    assert np.array_equal(part["shop", "length"], draws["shop", "length"][16:48])
    assert np.array_equal(part.replicate, draws.replicate[16:48])


@pytest.mark.parametrize(("start", "stop"), [(0, 65), (-1, 8), (8, 8), (64, 65)])
def test_draws_that_are_not_there_are_refused(made, start, stop):
    with pytest.raises(ValueError, match="among 64"):
        Draws(made, 64).part(start, stop)


def test_without_a_number_there_are_as_many_draws_as_the_study_asks_for(made):
    assert Draws(made).count == 256 == len(Draws(made)["shop", "length"])


def test_replicates_are_independent():
    """400 seeds: the means of eight replicates of a rough function, pair by pair, within what independence allows."""
    u = np.stack([points(2, 64, np.random.SeedSequence(seed)) for seed in range(400)])
    means = np.prod(u, axis=2).reshape(400, 8, REPLICATES).mean(axis=1)
    apart = np.corrcoef(means.T) - np.eye(REPLICATES)
    assert np.abs(apart).max() < stats.norm.isf(0.5e-3 / 28) / np.sqrt(400)
    assert not any(np.array_equal(u[0, i::8], u[0, j::8]) for i in range(8) for j in range(i))


def over_independent(function, exact, variance, count, seeds=200, width=15):
    """Mean square error of the mean over the draws by that of independent ones, for every pair of columns."""
    squares = []
    for seed in range(seeds):
        z = ndtri(np.clip(points(width, count, np.random.SeedSequence(seed)), 1e-12, 1 - 1e-12))
        squares.append((np.mean(function(z[:, :, None], z[:, None, :]), axis=0) - exact) ** 2)
    return (np.mean(squares, axis=0) * count / variance)[np.triu_indices(width, 1)]


def test_a_share_that_hangs_on_two_tolerances_scatters_less_than_with_independent_draws():
    """Share of z1 + z2 < 1, both normal: Phi(1/sqrt 2). No pair may be worse, or no exact interval would hold."""
    share = stats.norm.cdf(1 / np.sqrt(2))
    ratio = over_independent(lambda a, b: a + b < 1, share, share * (1 - share), 256)
    assert ratio.max() < 1
    assert np.median(ratio) < 0.5


@pytest.mark.parametrize("count", [128, 256])
def test_what_only_two_tolerances_together_do_scatters_a_fifteenth_more_at_most(count):
    """Share of z1 z2 > 0, a half, for columns of two sequences.

    Of 16 signs, 8 of each, paired at random with 16 others the sum of products has the variance 16^2/15, not 16.
    """
    ratio = over_independent(lambda a, b: a * b > 0, 0.5, 0.25, count)
    i, j = np.triu_indices(15, 1)
    assert np.mean(ratio[i // 5 != j // 5]) == pytest.approx(16 / 15, abs=0.05)
    assert ratio[i // 5 == j // 5].max() < 1


@pytest.mark.parametrize("p", [0.5, 0.9, 0.99])
def test_the_exact_interval_of_a_share_holds_it_with_our_draws(p):
    """Share of the sum of 15 normal tolerances below its p-quantile, 400 seeds of 256 draws."""
    bound, held = stats.norm.ppf(p) * np.sqrt(15), 0
    for seed in range(400):
        z = ndtri(np.clip(points(15, 256, np.random.SeedSequence(seed)), 1e-12, 1 - 1e-12))
        low, high = share_interval(int(np.count_nonzero(z.sum(axis=1) < bound)), 256, 0.95)
        held += low <= p <= high
    assert held / 400 >= 0.95


# --- seeds ----------------------------------------------------------------------------------------------------------


def test_the_same_seed_and_purpose_give_the_same_bits(made):
    assert same(Draws(made, 64), Draws(made, 64))


def test_another_seed_or_another_purpose_gives_other_draws(made):
    draws = Draws(made, 64)
    for other in (Draws(replace(made, seed=made.seed + 1), 64), Draws(made, 64, "nested"), Draws(made, 64, "robust")):
        assert not any(np.array_equal(draws[key], other[key]) for key in SHOP + MODEL)


def test_the_search_and_the_scatter_draw_from_streams_of_their_own():
    states = {purpose: tuple(stream(7, purpose).generate_state(8)) for purpose in ("search", "scatter")}
    assert states["search"] != states["scatter"]
    assert states["search"] == tuple(stream(7, "search").generate_state(8))
    assert states["search"] != tuple(stream(8, "search").generate_state(8))


# --- names ----------------------------------------------------------------------------------------------------------


def test_every_band_has_a_factor_in_the_model():
    references = {"air_Re", "coolant_Re"}
    assert {field.name for field in fields(ModelFactors)} - references == {*FACTORS, *EXPONENTS}


def test_a_tolerance_added_elsewhere_leaves_the_other_draws_as_they_are(made):
    """So that what it does can be seen copy by copy, and not through other luck."""
    length = made.variables["core.length"]
    more = replace(made, variables=made.variables | {"core.length": replace(length, tolerance=TOLERANCE)})
    assert same(Draws(made), Draws(more))


def test_what_scatters_from_run_to_run_leaves_the_shop_and_the_model_their_draws(made):
    keys = ["full_power.air_flow", "ambient.temperature", "long_climb.coolant_temperature", "another.quantity"]
    before = Draws(made)
    for some in (keys[:1], keys):
        assert same(before, Draws(replace(made, run_tolerances=dict.fromkeys(some, TOLERANCE))))


def test_what_scatters_from_run_to_run_leaves_its_like_their_draws(made):
    one = Draws(replace(made, run_tolerances={"long_climb.air_flow": TOLERANCE}))
    two = dict.fromkeys(["ambient.pressure", "full_power.air_flow", "long_climb.air_flow"], TOLERANCE)
    both = Draws(replace(made, run_tolerances=two))
    assert same(one, both, [("run", "long_climb.air_flow")])
    runs = [both["run", key] for key in two]
    assert not any(np.array_equal(runs[i], runs[j]) for i in range(3) for j in range(i))


def test_a_study_of_many_duty_points_still_has_draws_for_each(made):
    duty = tuple(replace(made.duty[0], name=f"point_{i}") for i in range(40))
    draws = Draws(replace(made, duty=duty), 16)
    assert len({tuple(draws["run", f"point_{i}.air_flow"]) for i in range(40)}) == 40


# --- rank correlations ----------------------------------------------------------------------------------------------


def test_correlated_tolerances_have_the_rank_correlation_asked_for(made):
    draws = Draws(correlated(made, *PAIRS), 4096)
    for pair in PAIRS:
        one, other = (draws["shop", name] for name in pair.between)
        assert stats.spearmanr(one, other).statistic == pytest.approx(pair.rank, abs=0.02), pair


def test_tolerances_correlated_through_a_third_have_the_correlation_left_open_at_nought(made):
    draws = Draws(correlated(made, *PAIRS[:2]), 4096)
    rank = stats.spearmanr(draws["shop", "air_fin.spacing"], draws["shop", "plate_thickness"]).statistic
    assert rank == pytest.approx(0.0, abs=0.02)


def test_correlated_draws_are_uniform_as_far_as_independent_draws_would_show(made):
    draws = Draws(correlated(made, *PAIRS), 4096)
    for name in {name for pair in PAIRS for name in pair.between}:
        assert stats.kstest(draws["shop", name], "uniform").pvalue > 1e-3
        assert 0 < draws["shop", name].min() < draws["shop", name].max() < 1


def test_over_many_seeds_the_rank_correlations_are_those_asked_for(made):
    """Twenty seeds: a single rank correlation of 4096 independent draws has a standard error of 0.013 and less."""
    pairs = correlated(made, *PAIRS)
    every = [Draws(replace(pairs, seed=seed), 4096) for seed in range(20)]
    for pair in PAIRS:
        found = [stats.spearmanr(*(draws["shop", name] for name in pair.between)).statistic for draws in every]
        assert np.mean(found) == pytest.approx(pair.rank, abs=0.005), pair


def test_what_is_not_correlated_keeps_its_draws(made):
    named = {name for pair in PAIRS for name in pair.between}
    others = [key for key in SHOP if key[1] not in named] + MODEL
    before, after = Draws(made, 256), Draws(correlated(made, *PAIRS), 256)
    assert same(before, after, others)
    assert not same(before, after, [("shop", "coolant_fin.spacing")])


# Pearson's 2 sin(pi rank/6): 30 degrees for 1, 15 for a half, whose sine is (sqrt 6 - sqrt 2)/4.
@pytest.mark.parametrize(("rank", "score"), [(0.5, (6**0.5 - 2**0.5) / 2), (0.0, 0.0), (-0.9, -0.9079809994790936)])
def test_ranks_become_correlations_of_normal_scores_by_pearsons_formula(rank, score):
    matrix = correlation_matrix(["a", "b", "c"], [Correlation(("a", "c"), rank)])
    assert matrix == pytest.approx(np.array([[1, 0, score], [0, 1, 0], [score, 0, 1]]), rel=1e-12)


@pytest.mark.parametrize(
    "ranks", [(-0.9, -0.9, -0.9), (0.9, 0.9, -0.9), (0.9, 0.9, 0.0), (1.0, 0.0, 0.0), (-1.0, 0.0, 0.0)]
)
def test_correlations_that_cannot_be_are_refused(made, ranks):
    pairs = [("thickness", "length"), ("length", "density"), ("thickness", "density")]
    wrong = [Correlation(pair, rank) for pair, rank in zip(pairs, ranks, strict=True)]
    with pytest.raises(ValueError, match="contradict one another"):
        correlation_matrix(["thickness", "length", "density"], wrong)
    with pytest.raises(ValueError, match="contradict one another"):
        Draws(correlated(made, *wrong), 8)
