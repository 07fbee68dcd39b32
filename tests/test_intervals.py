"""Intervals: published values, exact enumeration of what they cover, and means whose answer is a closed form."""

import numpy as np
import pytest
from scipy import integrate, stats

from optimize.study.model import Tolerance
from optimize.tolerance.draws import points
from optimize.tolerance.intervals import (
    capability,
    looks,
    mean_interval,
    percentile,
    percentile_interval,
    ppm,
    share_interval,
)
from optimize.tolerance.laws import manufactured, model_factor

P = np.linspace(0.005, 0.995, 199)


# --- shares ---------------------------------------------------------------------------------------------------------


def test_the_interval_of_7_in_50_is_the_published_one():
    """The scipy documentation's binomtest example, exact method."""
    assert share_interval(7, 50, 0.95) == pytest.approx((0.0581917, 0.2673960), abs=1e-7)


def test_one_sided_bounds_are_the_ends_of_a_two_sided_90_percent_interval():
    """Lower bound of 3 in 15: the scipy documentation's one-sided example; upper bound of 0 in n: 1 - 0.05^(1/n)."""
    assert share_interval(3, 15, 0.90)[0] == pytest.approx(0.0568469, abs=1e-7)
    assert share_interval(0, 200, 0.90)[1] == pytest.approx(1 - 0.05 ** (1 / 200), rel=1e-12)
    exact = stats.binomtest(0, 200, alternative="less").proportion_ci(0.95, "exact")
    assert share_interval(0, 200, 0.90) == pytest.approx((exact.low, exact.high), abs=1e-12)


def test_no_failure_in_n_bounds_the_share_by_the_root_of_the_tail():
    low, high = share_interval(0, 200, 0.95)
    assert low == 0.0
    assert high == pytest.approx(1 - 0.025 ** (1 / 200), rel=1e-12)
    assert share_interval(200, 200, 0.95) == pytest.approx((1 - high, 1.0), rel=1e-12)


@pytest.mark.parametrize(("passed", "drawn"), [(0, 1), (1, 1), (1, 512), (256, 512), (511, 512), (3, 7), (0, 200)])
def test_the_interval_is_that_of_scipys_exact_binomial_test(passed, drawn):
    exact = stats.binomtest(passed, drawn).proportion_ci(0.99, "exact")
    assert share_interval(passed, drawn, 0.99) == pytest.approx((exact.low, exact.high), abs=1e-10)


def test_many_counts_at_once_have_the_intervals_of_each():
    low, high = share_interval(np.arange(10), 9, 0.95)
    assert list(zip(low, high, strict=True)) == [share_interval(k, 9, 0.95) for k in range(10)]


@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.999])
def test_the_interval_holds_every_share_at_least_as_often_as_it_says(confidence):
    """Each possible count weighted by its binomial probability: no chance is left in this."""
    for n in range(1, 61):
        k = np.arange(n + 1)
        low, high = share_interval(k, n, confidence)
        holds = (low[:, None] <= P) & (high[:, None] >= P)
        covered = np.sum(stats.binom.pmf(k[:, None], n, P) * holds, axis=0)
        assert covered.min() >= confidence, n


@pytest.mark.parametrize(("passed", "drawn"), [(1, 0), (-1, 5), (6, 5), (np.array([0, 6]), 5)])
def test_counts_that_are_no_share_are_refused(passed, drawn):
    with pytest.raises(ValueError, match="no share"):
        share_interval(passed, drawn, 0.95)


# --- shares with a stop rule ----------------------------------------------------------------------------------------


def covered(each, first, most, narrow, p):
    """Probability that the interval of the look stopped at holds p: the counts' distribution followed look by look."""
    n, alive, total = first, stats.binom.pmf(np.arange(first + 1), first, p), 0.0
    while True:
        low, high = share_interval(np.arange(n + 1), n, each)
        stops = (high - low <= narrow) | (n >= most)
        total += alive[stops & (low <= p) & (p <= high)].sum()
        if n >= most:
            return total
        alive = np.convolve(np.where(stops, 0.0, alive), stats.binom.pmf(np.arange(n + 1), n, p))
        n *= 2


STOPS = [(8, 64, 0.3), (16, 128, 0.2), (8, 256, 0.15), (32, 512, 0.08)]


@pytest.mark.parametrize(("first", "most", "narrow"), STOPS)
def test_doubling_until_the_interval_is_narrow_keeps_its_confidence(first, most, narrow):
    count = int(np.log2(most / first)) + 1
    assert min(covered(looks(0.9, count), first, most, narrow, p) for p in P[::2]) >= 0.9


@pytest.mark.parametrize(("first", "most", "narrow"), STOPS)
def test_without_the_surer_looks_it_would_not(first, most, narrow):
    assert min(covered(0.9, first, most, narrow, p) for p in P[::2]) < 0.9


@pytest.mark.parametrize(("confidence", "count"), [(0.95, 1), (0.95, 5), (0.9, 6), (0.999, 3)])
def test_the_errors_of_all_looks_add_up_to_the_one_allowed(confidence, count):
    assert count * (1 - looks(confidence, count)) == pytest.approx(1 - confidence, rel=1e-9)


# --- percentiles ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("p", [0.01, 0.05, 0.5, 0.95, 0.99, 1.0])
def test_a_percentile_is_the_least_value_that_enough_do_not_exceed(p):
    values = np.random.default_rng(1).normal(size=257)
    assert percentile(values, p) == np.quantile(values, p, method="inverted_cdf")


def test_a_percentile_takes_lost_copies_as_infinite_but_not_as_missing():
    assert percentile(np.array([1.0, np.inf, 2.0, np.inf]), 0.5) == 2.0
    assert percentile(np.array([1.0, np.inf, 2.0, np.inf]), 0.95) == np.inf
    with pytest.raises(ValueError, match="1 of 3 values are NaN"):
        percentile(np.array([1.0, np.nan, 2.0]), 0.5)


@pytest.mark.parametrize("p", [0.05, 0.5, 0.95])
@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.999])
@pytest.mark.parametrize("n", [6, 11, 59, 60, 72, 100, 149, 256, 512, 1000, 4096])
def test_the_interval_of_a_percentile_holds_it_as_often_as_it_says_and_is_no_wider_than_it_must(n, confidence, p):
    """The draws below the percentile are binomial: it lies between positions a and b where a < their number <= b."""
    below, tail = stats.binom(n, p), (1 - confidence) / 2
    place = percentile_interval(n, p, confidence)
    if place is None:
        assert below.pmf(0) > tail or below.pmf(n) > tail
        return
    first, last = place
    assert 0 <= first < last < n
    assert below.cdf(last) - below.cdf(first) >= confidence
    assert below.cdf(first) <= tail < below.cdf(first + 1)
    assert below.sf(last) <= tail < below.sf(last - 1)


@pytest.mark.parametrize(
    ("p", "confidence", "least"), [(0.5, 0.95, 6), (0.95, 0.9, 59), (0.05, 0.9, 59), (0.95, 0.95, 72)]
)
def test_the_fewest_draws_that_bound_a_percentile_are_those_of_wilks(p, confidence, least):
    """Wilks (1941), from memory: 0.95^59 < 0.05, the 95/95 rule; the median by the least and greatest of six."""
    assert percentile_interval(least - 1, p, confidence) is None
    place = percentile_interval(least, p, confidence)
    assert place is not None
    assert place[0] == 0 or p > 0.5
    assert place[1] == least - 1 or p < 0.5


def test_the_interval_of_a_percentile_holds_it_in_as_many_samples_as_it_says():
    """A thousand samples of a normal law; the exact coverage of these positions is 0.953."""
    ordered = np.sort(np.random.default_rng(5).normal(size=(1000, 200)), axis=1)
    place = percentile_interval(200, 0.95, 0.95)
    assert place is not None
    holds = (ordered[:, place[0]] <= stats.norm.ppf(0.95)) & (ordered[:, place[1]] >= stats.norm.ppf(0.95))
    assert np.mean(holds) == pytest.approx(0.95, abs=0.021)  # 3 standard errors


# --- means ----------------------------------------------------------------------------------------------------------

MEAN = float(np.expm1(1.0)) ** 3


def smooth(u):
    """exp(x) exp(y) exp(z) on the unit cube, whose mean is (e - 1)^3."""
    return np.exp(np.sum(u, axis=1))


def seeds(first, count):
    return [np.random.SeedSequence(first + i) for i in range(count)]


def test_students_interval_of_the_mean_is_scipys():
    values, replicate = np.random.default_rng(3).normal(size=64), np.arange(64) % 8
    means = values.reshape(8, 8).mean(axis=0)
    exact = stats.ttest_1samp(means, 0.0).confidence_interval(0.95)
    assert mean_interval(values, replicate, 0.95) == pytest.approx((means.mean(), exact.low, exact.high), rel=1e-12)


def test_a_mean_without_replicates_is_bounded_by_nothing():
    assert mean_interval(np.array([1.0, 2.0]), np.array([0, 0]), 0.95) == (1.5, -np.inf, np.inf)


def test_the_interval_of_a_mean_holds_it_about_as_often_as_it_says():
    replicate = np.arange(256) % 8
    found = [mean_interval(smooth(points(3, 256, seed)), replicate, 0.95) for seed in seeds(1000, 400)]
    holds = np.mean([low <= MEAN <= high for _, low, high in found])
    assert 0.93 <= holds <= 0.99


def slope(draw):
    """Of the root mean square error against the number of draws, both logarithmic."""
    counts = 2 ** np.arange(6, 13)
    errors = [np.sqrt(np.mean([(np.mean(smooth(draw(n, seed))) - MEAN) ** 2 for seed in seeds(1, 40)])) for n in counts]
    return np.polyfit(np.log(counts), np.log(errors), 1)[0]


def test_the_error_of_independent_draws_falls_with_the_root_of_their_number():
    assert slope(lambda n, seed: np.random.default_rng(seed).random((n, 3))) == pytest.approx(-0.5, abs=0.1)


def test_the_error_of_our_draws_falls_faster_their_replicates_kept():
    assert slope(lambda n, seed: points(3, n, seed)) < -0.8


# --- capability -----------------------------------------------------------------------------------------------------


def test_the_capability_of_the_handbooks_example():
    """NIST/SEMATECH e-Handbook 6.1.6, from memory: limits 8 and 20, mean 16, deviation 2."""
    values = 16 + 2 * stats.zscore(np.arange(100.0), ddof=1)
    assert capability(values, 8.0, 20.0) == pytest.approx((1.0, 0.66667), abs=5e-6)


def test_a_one_sided_limit_has_the_capability_of_that_side():
    values = 16 + 2 * stats.zscore(np.arange(100.0), ddof=1)
    assert capability(values, -np.inf, 20.0) == (np.inf, pytest.approx(2 / 3))
    assert capability(values, 8.0, np.inf) == (np.inf, pytest.approx(4 / 3))


def test_without_scatter_a_dimension_is_capable_of_everything_or_of_nothing():
    assert capability(np.full(5, 16.0), 8.0, 20.0) == (np.inf, np.inf)
    assert capability(np.full(5, 21.0), 8.0, 20.0) == (np.inf, -np.inf)


# Textbook parts per million of a centred normal law, recomputed from it: 2e6 Phi(-3 Cpk).
@pytest.mark.parametrize(("index", "parts"), [(1.0, 2699.8), (4 / 3, 63.34), (5 / 3, 0.5733), (2.0, 0.001973)])
def test_the_parts_per_million_of_a_capability_are_those_of_the_textbooks(index, parts):
    assert ppm(index) == pytest.approx(parts, rel=2e-4)
    assert ppm(index) == pytest.approx(2e6 * stats.norm.sf(3 * index), rel=1e-12)


# --- a failure probability ------------------------------------------------------------------------------------------


def test_a_failure_probability_of_known_answer_is_found_within_its_interval():
    """An axially stressed beam: R lognormal (3e6, 3e5), F normal (750, 50), fails where R < F / (pi 1e-4).

    Reference 0.029198194625 (OpenTURNS documentation, from memory), recomputed here by quadrature.
    """
    spread = np.sqrt(np.log(1 + 0.1**2))
    median = 3.0e6 / np.sqrt(1 + 0.1**2)
    law = stats.lognorm(spread, scale=median)
    exact = integrate.quad(lambda z: stats.norm.pdf(z) * law.cdf((750 + 50 * z) / (np.pi * 1e-4)), -9, 9, epsabs=1e-13)
    assert exact[0] == pytest.approx(0.029198194625, rel=1e-9)
    random, n = np.random.default_rng(2026), 100_000
    band = (np.expm1(-1.959964 * spread), np.expm1(1.959964 * spread))
    strength = median * model_factor(band, random.random(n))
    force = manufactured("force", 750.0, Tolerance("normal", 150.0, 150.0, 3.0, False), random.random(n))
    failed = int(np.count_nonzero(strength < force / (np.pi * 1e-4)))
    low, high = share_interval(failed, n, 0.997)
    assert failed / n == pytest.approx(exact[0], abs=3 * np.sqrt(exact[0] * (1 - exact[0]) / n))
    assert low < exact[0] < high
