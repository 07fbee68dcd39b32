"""Laws of scatter against scipy's distributions, densities integrated by quadrature, and exact counting."""

import numpy as np
import pytest
from scipy import integrate, stats

from optimize.study.model import Tolerance
from optimize.tolerance.laws import cut_away, manufactured, model_factor, tightened

U = np.linspace(0.0005, 0.9995, 1000)
ENDS = np.array([1e-12, 1e-9, 1e-6, 1e-3, 0.5, 1 - 1e-3, 1 - 1e-6, 1 - 1e-9, 1 - 1e-12])
SIDES = [(0.4e-3, 0.4e-3), (0.1e-3, 0.3e-3), (0.3e-3, 0.1e-3), (0.0, 0.3e-3), (0.3e-3, 0.0)]
LAWS = ["normal", "bounded", "uniform", "triangular"]


def tolerance(law, below, above=None, sigmas=3.0, relative=False):
    above = below if above is None else above
    if law == "bounded":
        return Tolerance("normal", below, above, sigmas, relative, bounded=True)
    return Tolerance(law, below, above, sigmas if law == "normal" else None, relative)


def measured(*deviations):
    return Tolerance("measured", 0.0, 0.0, None, False, deviations=deviations)


# --- each law -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sigmas", [1.0, 2.0, 3.0, 4.0])
def test_a_normal_law_has_the_half_width_over_its_sigmas_for_deviation(sigmas):
    exact = stats.norm(0.07, 0.4e-3 / sigmas)
    for u in (U, ENDS):
        made = manufactured("thickness", 0.07, tolerance("normal", 0.4e-3, sigmas=sigmas), u)
        assert made == pytest.approx(exact.ppf(u), rel=1e-12)


@pytest.mark.parametrize("sigmas", [1.0, 3.0, 4.0])
def test_a_bounded_normal_law_is_a_truncated_one(sigmas):
    exact = stats.truncnorm(-sigmas, sigmas, 0.07, 0.4e-3 / sigmas)
    for u in (U, ENDS):
        made = manufactured("thickness", 0.07, tolerance("bounded", 0.4e-3, sigmas=sigmas), u)
        assert made == pytest.approx(exact.ppf(u), rel=1e-11)


@pytest.mark.parametrize(("below", "above"), SIDES)
def test_a_uniform_law_reaches_from_end_to_end(below, above):
    made = manufactured("plate_thickness", 0.5e-3, tolerance("uniform", below, above), U)
    assert made == pytest.approx(stats.uniform(0.5e-3 - below, below + above).ppf(U), rel=1e-12)


@pytest.mark.parametrize(("below", "above"), SIDES)
def test_a_triangular_law_peaks_at_the_nominal(below, above):
    made = manufactured("plate_thickness", 0.5e-3, tolerance("triangular", below, above), U)
    exact = stats.triang(below / (below + above), 0.5e-3 - below, below + above)
    assert made == pytest.approx(exact.ppf(U), rel=1e-12)


def two_piece(below, above, edge):
    """Density of a deviation: one height at 0, a normal law's fall to either side, nothing beyond the edges."""

    def density(x):
        side = below if x < 0 else above
        return np.exp(-0.5 * (x / side) ** 2) if side > 0 and abs(x) <= edge * side else 0.0

    return density


@pytest.mark.parametrize("bounded", [False, True])
@pytest.mark.parametrize(("below", "above"), SIDES)
def test_a_skewed_normal_law_has_the_two_piece_density(below, above, bounded):
    """Its distribution at what the draws give, by integrating the density from end to end."""
    law = tolerance("bounded" if bounded else "normal", below, above, sigmas=2.0)
    density = two_piece(below / 2, above / 2, 2.0 if bounded else 9.0)
    u = np.array([0.001, 0.01, 0.1, 0.25, 0.4, 0.5, 0.7, 0.9, 0.99, 0.999])
    least, most = -4.5 * below, 4.5 * above

    def mass(x):
        parts = [(least, min(x, 0.0)), (0.0, max(x, 0.0))]
        return sum(integrate.quad(density, a, b, points=None, epsabs=1e-16, limit=200)[0] for a, b in parts)

    if bounded:
        least, most = -below, above
    shares = np.array([mass(x) for x in manufactured("thickness", 0.07, law, u) - 0.07]) / mass(most)
    assert shares == pytest.approx(u, rel=1e-7)


@pytest.mark.parametrize(("below", "above"), SIDES)
def test_a_skewed_normal_law_has_its_mode_at_the_nominal_and_the_sides_their_shares(below, above):
    share = below / (below + above)
    made = manufactured("thickness", 0.07, tolerance("normal", below, above), U)
    assert np.mean(made < 0.07) == pytest.approx(share, abs=1e-3)
    assert np.all(made <= 0.07) if above == 0 else np.any(made > 0.07)
    assert np.all(made >= 0.07) if below == 0 else np.any(made < 0.07)


def test_a_law_with_one_side_is_half_a_normal_law():
    above = manufactured("thickness", 0.07, tolerance("normal", 0.0, 0.3e-3), U)
    assert above == pytest.approx(stats.halfnorm(0.07, 0.1e-3).ppf(U), rel=1e-12)
    below = manufactured("thickness", 0.07, tolerance("normal", 0.3e-3, 0.0), U)
    assert 0.07 - below == pytest.approx(stats.halfnorm(0.0, 0.1e-3).isf(U), rel=1e-9)


@pytest.mark.parametrize("count", [1, 2, 3, 7, 49, 100])
def test_a_measured_law_draws_each_deviation_as_often_as_any_other(count):
    deviations = np.random.default_rng(count).normal(0.0, 1e-4, count)
    u = (np.arange(10 * count) + 0.5) / (10 * count)
    made = manufactured("thickness", 0.07, measured(*deviations), u)
    assert made == pytest.approx(np.repeat(np.sort(0.07 + deviations), 10), rel=1e-15)
    assert np.array_equal(manufactured("thickness", 0.07, measured(*deviations), np.array([1e-12, 1 - 1e-12])),
                          [0.07 + deviations.min(), 0.07 + deviations.max()])


def test_a_deviation_measured_twice_is_drawn_twice_as_often():
    made = manufactured("thickness", 0.07, measured(2e-4, -1e-4, 2e-4), U)
    assert np.mean(made > 0.07) == pytest.approx(2 / 3, abs=1e-3)


# --- all laws -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize(("below", "above"), SIDES)
def test_a_law_rises_with_the_draw(law, below, above):
    for u in (U, ENDS):
        assert np.all(np.diff(manufactured("thickness", 0.07, tolerance(law, below, above), u)) > 0)


@pytest.mark.parametrize("law", LAWS)
def test_an_even_law_has_the_nominal_in_its_middle(law):
    made = manufactured("thickness", 0.07, tolerance(law, 0.4e-3), np.array([0.5]))
    assert made == pytest.approx([0.07], rel=1e-14)


# Two-piece normal: mean sqrt(2/pi) (sa - sb), variance (1 - 2/pi)(sa - sb)^2 + sa sb (John 1982, from memory).
# Triangular and uniform on [-b, a]: (a - b)/3 and (a^2 + ab + b^2)/18; (a - b)/2 and (a + b)^2/12.
MOMENTS = {
    "normal": lambda b, a: ((2 / np.pi) ** 0.5 * (a - b) / 3, ((1 - 2 / np.pi) * (a - b) ** 2 + a * b) / 9),
    "uniform": lambda b, a: ((a - b) / 2, (a + b) ** 2 / 12),
    "triangular": lambda b, a: ((a - b) / 3, (a * a + a * b + b * b) / 18),
}  # fmt: skip


@pytest.mark.parametrize("law", MOMENTS)
@pytest.mark.parametrize(("below", "above"), SIDES)
def test_a_law_has_the_mean_and_the_variance_of_the_textbook(law, below, above):
    u = (np.arange(1_000_000) + 0.5) / 1_000_000
    deviation = manufactured("thickness", 0.07, tolerance(law, below, above), u) - 0.07
    mean, variance = MOMENTS[law](below, above)
    assert np.mean(deviation) == pytest.approx(mean, abs=1e-5 * (below + above))
    assert np.var(deviation) == pytest.approx(variance, rel=1e-4)


@pytest.mark.parametrize("law", LAWS)
def test_a_relative_half_width_is_a_share_of_the_nominal(law):
    share = manufactured("length", 0.25, tolerance(law, 0.04, 0.08, relative=True), U)
    assert share == pytest.approx(manufactured("length", 0.25, tolerance(law, 0.01, 0.02), U), rel=1e-14)


@pytest.mark.parametrize("relative", [True, False])
@pytest.mark.parametrize("law", LAWS)
def test_a_half_width_of_nothing_makes_the_nominal_exactly(law, relative):
    assert np.all(manufactured("thickness", 0.07, tolerance(law, 0.0, relative=relative), U) == 0.07)
    assert cut_away("thickness", 0.07, tolerance(law, 0.0, relative=relative)) == 0.0


def test_a_normal_law_without_sigmas_and_a_law_nobody_knows_are_refused():
    for law in (Tolerance("normal", 1e-4, 1e-4, None, False), Tolerance("lognormal", 1e-4, 1e-4, 3.0, False)):
        with pytest.raises(ValueError, match="no law"):
            manufactured("thickness", 0.07, law, U)


# Textbook parts per million of a centred process (Montgomery, from memory), recomputed from the normal law.
@pytest.mark.parametrize(("sigmas", "ppm"), [(3.0, 2699.8), (4.0, 63.34), (5.0, 0.5733), (6.0, 0.001973)])
def test_a_half_width_of_so_many_sigmas_leaves_the_parts_per_million_of_its_capability(sigmas, ppm):
    """Cp = half width / 3 sigma: 3 sigmas are Cp 1.00, 4 are 1.33; half of the misses lie on each side."""
    u = np.array([0.5e-6 * ppm, 1 - 0.5e-6 * ppm])
    edges = manufactured("thickness", 0.07, tolerance("normal", 0.4e-3, sigmas=sigmas), u)
    # the printed ppm are good to 5e-4, and the 1 - u of the upper end to an ulp of 1
    assert edges[0] == pytest.approx(0.07 - 0.4e-3, abs=0.4e-3 * 1e-4)
    assert edges[1] == pytest.approx(0.07 + 0.4e-3, abs=0.4e-3 * 1e-4)


# --- what physics cuts away -----------------------------------------------------------------------------------------


def test_no_length_is_made_below_zero_and_the_law_is_cut_not_piled_up():
    law, exact = tolerance("normal", 2e-3, sigmas=1.0), stats.norm(1e-3, 2e-3)
    made = manufactured("seal_land", 1e-3, law, U)
    assert np.all(made > 0)
    assert made == pytest.approx(stats.truncnorm(-0.5, np.inf, 1e-3, 2e-3).ppf(U), rel=1e-9)
    assert cut_away("seal_land", 1e-3, law) == pytest.approx(exact.cdf(0.0), rel=1e-12)


@pytest.mark.parametrize("sigmas", [3.0, 5.0, 8.0, 12.0])
def test_however_little_is_cut_away_it_is_known_to_all_its_digits(sigmas):
    law = tolerance("normal", 1e-3, sigmas=sigmas)
    assert cut_away("seal_land", 1e-3, law) == pytest.approx(stats.norm.cdf(-sigmas), rel=1e-9)
    blocked = tolerance("normal", 0.3, sigmas=sigmas)
    both = stats.norm.sf(sigmas) + stats.norm.cdf(-2 * sigmas)
    assert cut_away("air_blockage", 0.6, blocked) == pytest.approx(both, rel=1e-9)


@pytest.mark.parametrize("name", ["air_blockage", "coolant_blockage"])
def test_a_blocked_share_stays_between_nothing_and_nine_tenths(name):
    law = tolerance("normal", 1.0, sigmas=1.0)
    assert manufactured(name, 0.5, law, U) == pytest.approx(stats.truncnorm(-0.5, 0.4, 0.5, 1.0).ppf(U), rel=1e-9)
    assert cut_away(name, 0.5, law) == pytest.approx(stats.norm.cdf(-0.5) + stats.norm.sf(0.4), rel=1e-12)
    flat = tolerance("uniform", 0.02)
    assert manufactured(name, 0.01, flat, U) == pytest.approx(stats.uniform(0.0, 0.03).ppf(U), rel=1e-12, abs=1e-15)
    assert cut_away(name, 0.01, flat) == pytest.approx(0.25, rel=1e-12)
    assert cut_away(name, 0.89, flat) == pytest.approx(0.25, rel=1e-12)


@pytest.mark.parametrize(("below", "above"), [(0.02, 0.02), (0.02, 0.05)])
def test_a_triangle_over_the_edge_is_cut_there(below, above):
    whole = stats.triang(below / (below + above), 0.01 - below, below + above)
    made = manufactured("air_blockage", 0.01, tolerance("triangular", below, above), U)
    assert made == pytest.approx(whole.ppf(whole.cdf(0.0) + U * whole.sf(0.0)), rel=1e-9, abs=1e-12)
    assert cut_away("air_blockage", 0.01, tolerance("triangular", below, above)) == pytest.approx(whole.cdf(0.0))


def test_a_skewed_normal_law_is_cut_by_its_own_lower_side():
    """Lower side 1 mm, upper 3 mm: a quarter of the law lies below, and of that what a normal law has beyond one."""
    law = tolerance("normal", 1e-3, 3e-3, sigmas=1.0)
    assert cut_away("seal_land", 1e-3, law) == pytest.approx(0.25 * 2 * stats.norm.sf(1.0), rel=1e-12)
    upper = manufactured("seal_land", 1e-3, law, U)
    cut = 0.5 * stats.norm.sf(1.0)
    assert np.all(upper > 0)
    assert np.mean(upper > 1e-3) == pytest.approx(0.75 / (1 - cut), abs=1e-3)


def test_what_a_bounded_law_sorts_out_is_not_cut_away_by_physics():
    assert cut_away("seal_land", 1e-3, tolerance("bounded", 1e-3, sigmas=1.0)) == 0.0
    wide = tolerance("bounded", 2e-3, sigmas=2.0)
    exact = stats.truncnorm(-2, 2, 1e-3, 1e-3)
    assert cut_away("seal_land", 1e-3, wide) == pytest.approx(exact.cdf(0.0), rel=1e-9)
    made = manufactured("seal_land", 1e-3, wide, U)
    assert made == pytest.approx(stats.truncnorm(-1, 2, 1e-3, 1e-3).ppf(U), rel=1e-9)


def test_measured_deviations_that_cannot_be_are_left_out_and_the_rest_are_as_likely_as_each_other():
    law = measured(-2e-3, -1.5e-3, 0.0, 1e-3, 2e-3, -0.5e-3, 3e-3)
    assert cut_away("seal_land", 1e-3, law) == pytest.approx(2 / 7, rel=1e-12)
    u = (np.arange(50) + 0.5) / 50
    values, counts = np.unique(manufactured("seal_land", 1e-3, law, u), return_counts=True)
    assert values == pytest.approx([0.5e-3, 1e-3, 2e-3, 3e-3, 4e-3], rel=1e-12)
    assert np.array_equal(counts, [10] * 5)


@pytest.mark.parametrize(("name", "most"), [("ambient.humidity", 1.0), ("full_power.humidity", 1.0),
                                            ("full_power.air_flow", np.inf)])  # fmt: skip
def test_what_a_run_brings_is_cut_at_zero_and_humidity_at_one(name, most):
    exact = stats.truncnorm(-2.5, (most - 0.5) / 0.2, 0.5, 0.2)
    law = tolerance("normal", 0.6)
    assert manufactured(name, 0.5, law, U) == pytest.approx(exact.ppf(U), rel=1e-9)
    whole = stats.norm(0.5, 0.2)
    assert cut_away(name, 0.5, law) == pytest.approx(whole.cdf(0.0) + whole.sf(most), rel=1e-9)


@pytest.mark.parametrize("law", [tolerance("uniform", 0.01), tolerance("triangular", 0.01), measured(-0.01, 0.01)])
def test_a_law_of_which_physics_leaves_nothing_is_refused(law):
    with pytest.raises(ValueError, match="physically possible"):
        manufactured("air_blockage", 0.95, law, U)


# --- tightening -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("factor", [0.3, 1.0, 2.0])
def test_a_tightened_tolerance_deviates_by_the_factor(law, factor):
    wide = tolerance(law, 0.1e-3, 0.3e-3)
    whole, part = (manufactured("thickness", 0.07, t, U) - 0.07 for t in (wide, tightened(wide, factor)))
    assert part == pytest.approx(factor * whole, rel=1e-9, abs=1e-15)


def test_a_measured_tolerance_is_tightened_deviation_by_deviation():
    part = manufactured("thickness", 0.07, tightened(measured(2e-4, -1e-4), 0.5), np.array([0.25, 0.75]))
    assert part - 0.07 == pytest.approx([-0.5e-4, 1e-4], rel=1e-9)


# --- bands of correlations ------------------------------------------------------------------------------------------


def test_a_band_of_nothing_is_a_factor_of_one_exactly():
    assert np.all(model_factor((0.0, 0.0), U) == 1.0)


@pytest.mark.parametrize("band", [(-0.2, 0.2), (-0.2, 0.35), (-0.08, 0.08), (-0.5, 1.0)])
def test_a_band_holds_95_percent_of_the_factors_and_its_median_is_one(band):
    low, middle, high = model_factor(band, np.array([0.025, 0.5, 0.975]))
    assert (low, middle, high) == pytest.approx((1 + band[0], 1.0, 1 + band[1]), rel=1e-7)
    many = model_factor(band, (np.arange(100_000) + 0.5) / 100_000)
    assert np.mean((many >= 1 + band[0]) & (many <= 1 + band[1])) == pytest.approx(0.95, abs=2e-5)
    assert np.all(many > 0)
