"""Scatter: laws against their textbook form, clouds that move only by what is said to scatter, exact intervals."""

from dataclasses import fields, replace

import numpy as np
import pytest
from scipy import stats
from small_studies import SECOND_DUTY, core, points, study, untoleranced, with_limits, with_variable

from optimize.evaluate import CoreProblem
from optimize.feasibility import margin_names
from optimize.study.model import Limit, Study, Tolerance
from optimize.tolerance.laws import manufactured, model_factor, share_interval
from optimize.tolerance.scatter import CORES_A_TASK, FACTORS, KINDS, SHOWN, Cloud, Draws, bands, clouds, copies, scatter
from physics.outputs import OUTPUTS

U = np.linspace(0.0005, 0.9995, 1000)
NO_BAND = dict.fromkeys(FACTORS, (0.0, 0.0))
LID = OUTPUTS["lid_clearance"].label


def normal(half, sigmas=3.0, relative=False):
    return Tolerance("normal", half, sigmas, relative)


# --- laws -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sigmas", [1.0, 2.0, 3.0, 4.0])
def test_a_normal_law_has_the_half_width_over_its_sigmas_for_deviation(sigmas):
    made = manufactured("thickness", 0.07, normal(0.4e-3, sigmas), U)
    assert made == pytest.approx(stats.norm(0.07, 0.4e-3 / sigmas).ppf(U), rel=1e-12)


def test_a_uniform_law_reaches_from_end_to_end():
    made = manufactured("plate_thickness", 0.5e-3, Tolerance("uniform", 0.02e-3, None, False), U)
    assert made == pytest.approx(stats.uniform(0.48e-3, 0.04e-3).ppf(U), rel=1e-12)


def test_a_triangular_law_peaks_at_the_nominal():
    made = manufactured("air_blockage", 0.04, Tolerance("triangular", 0.02, None, False), U)
    assert made == pytest.approx(stats.triang(0.5, 0.02, 0.04).ppf(U), rel=1e-12)


@pytest.mark.parametrize("law", ["normal", "uniform", "triangular"])
def test_a_relative_half_width_is_a_share_of_the_nominal(law):
    sigmas = 3.0 if law == "normal" else None
    share = manufactured("length", 0.25, Tolerance(law, 0.04, sigmas, True), U)
    assert share == pytest.approx(manufactured("length", 0.25, Tolerance(law, 0.01, sigmas, False), U), rel=1e-14)


@pytest.mark.parametrize("law", ["normal", "uniform", "triangular"])
def test_a_law_rises_with_the_draw_and_has_the_nominal_in_its_middle(law):
    tolerance = Tolerance(law, 0.4e-3, 3.0 if law == "normal" else None, False)
    assert np.all(np.diff(manufactured("thickness", 0.07, tolerance, U)) > 0)
    assert manufactured("thickness", 0.07, tolerance, np.array([0.5])) == pytest.approx([0.07], rel=1e-14)


# UQ: NIST/SEMATECH e-Handbook 6.1.6, capability indices (from memory); ppm recomputed from the normal law.
@pytest.mark.parametrize(("sigmas", "ppm"), [(3.0, 2699.8), (4.0, 63.34), (5.0, 0.5733), (6.0, 0.001973)])
def test_a_half_width_of_so_many_sigmas_leaves_the_parts_per_million_of_its_capability(sigmas, ppm):
    """Cp = half width / 3 sigma: 3 sigmas are Cp 1.00, 4 are 1.33; half of the misses lie on each side."""
    edges = manufactured("thickness", 0.07, normal(0.4e-3, sigmas), np.array([0.5e-6 * ppm, 1 - 0.5e-6 * ppm]))
    # the printed ppm are good to 5e-4, and the 1 - u of the upper end to an ulp of 1
    assert edges[0] == pytest.approx(0.07 - 0.4e-3, abs=0.4e-3 * 1e-4)
    assert edges[1] == pytest.approx(0.07 + 0.4e-3, abs=0.4e-3 * 1e-4)


def test_no_length_is_made_below_zero_and_the_law_is_cut_not_piled_up():
    made = manufactured("seal_land", 1e-3, normal(2e-3, 1.0), U)
    assert np.all(made > 0)
    assert made == pytest.approx(stats.truncnorm(-0.5, np.inf, 1e-3, 2e-3).ppf(U), rel=1e-9)


@pytest.mark.parametrize("name", ["air_blockage", "coolant_blockage"])
def test_a_blocked_share_stays_between_nothing_and_nine_tenths(name):
    made = manufactured(name, 0.5, normal(1.0, 1.0), U)
    assert made == pytest.approx(stats.truncnorm(-0.5, 0.4, 0.5, 1.0).ppf(U), rel=1e-9)
    cut = manufactured(name, 0.01, Tolerance("uniform", 0.02, None, False), U)
    assert cut == pytest.approx(stats.uniform(0.0, 0.03).ppf(U), rel=1e-12, abs=1e-15)
    triangle = manufactured(name, 0.01, Tolerance("triangular", 0.02, None, False), U)
    whole = stats.triang(0.5, -0.01, 0.04)
    assert triangle == pytest.approx(whole.ppf(whole.cdf(0.0) + U * whole.sf(0.0)), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("relative", [True, False])
def test_a_half_width_of_nothing_makes_the_nominal_exactly(relative):
    assert np.all(manufactured("thickness", 0.07, normal(0.0, relative=relative), U) == 0.07)


def test_a_band_of_nothing_is_a_factor_of_one_exactly():
    assert np.all(model_factor((0.0, 0.0), U) == 1.0)


@pytest.mark.parametrize("band", [(-0.2, 0.2), (-0.2, 0.35), (-0.08, 0.08), (-0.5, 1.0)])
def test_a_band_holds_95_percent_of_the_factors_and_its_median_is_one(band):
    low, middle, high = model_factor(band, np.array([0.025, 0.5, 0.975]))
    assert (low, middle, high) == pytest.approx((1 + band[0], 1.0, 1 + band[1]), rel=1e-7)
    many = model_factor(band, (np.arange(100_000) + 0.5) / 100_000)
    assert np.mean((many >= 1 + band[0]) & (many <= 1 + band[1])) == pytest.approx(0.95, abs=2e-5)
    assert np.all(many > 0)


# --- shares and their intervals -------------------------------------------------------------------------------------


def test_the_interval_of_7_in_50_is_the_published_one():
    """The scipy documentation's binomtest example, exact method."""
    assert share_interval(7, 50, 0.95) == pytest.approx((0.0581917, 0.2673960), abs=1e-7)


def test_one_sided_bounds_are_the_ends_of_a_two_sided_90_percent_interval():
    assert share_interval(3, 15, 0.90)[0] == pytest.approx(0.0568469, abs=1e-7)
    assert share_interval(0, 200, 0.90)[1] == pytest.approx(0.0148670, abs=1e-7)


def test_no_failure_in_n_bounds_the_share_by_the_root_of_the_tail():
    low, high = share_interval(0, 200, 0.95)
    assert low == 0.0
    assert high == pytest.approx(1 - 0.025 ** (1 / 200), rel=1e-12)
    assert share_interval(200, 200, 0.95) == pytest.approx((1 - high, 1.0), rel=1e-12)


@pytest.mark.parametrize(("passed", "drawn"), [(0, 1), (1, 1), (1, 512), (256, 512), (511, 512), (3, 7)])
def test_the_interval_is_that_of_scipys_exact_binomial_test(passed, drawn):
    exact = stats.binomtest(passed, drawn).proportion_ci(0.99, "exact")
    assert share_interval(passed, drawn, 0.99) == pytest.approx((exact.low, exact.high), abs=1e-10)


def test_a_failure_probability_of_known_answer_is_found_within_its_interval():
    """An axially stressed beam: R lognormal (3e6, 3e5), F normal (750, 50), fails where R < F / (pi 1e-4).

    Reference 0.0291981946 (OpenTURNS documentation, from memory; recomputed by quadrature).
    """
    random, n = np.random.default_rng(2026), 100_000
    spread = np.sqrt(np.log(1 + 0.1**2))
    median = 3.0e6 / np.sqrt(1 + 0.1**2)
    band = (np.expm1(-1.959964 * spread), np.expm1(1.959964 * spread))
    strength = median * model_factor(band, random.random(n))
    force = manufactured("force", 750.0, normal(150.0), random.random(n))
    failed = int(np.count_nonzero(strength < force / (np.pi * 1e-4)))
    low, high = share_interval(failed, n, 0.997)
    assert failed / n == pytest.approx(0.029198194625, abs=3 * 5.32e-4)
    assert low < 0.029198194625 < high


# --- clouds ---------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def made() -> Study:
    """The starter with two duty points and 256 copies."""
    return study(SECOND_DUTY, draws="256")


def clouds_of(study, **changes):
    p = CoreProblem(study)
    return dict(zip(KINDS, clouds(p, core(p, **changes), Draws(study)), strict=True))


def spread(cloud, name="heat_rejected"):
    return np.ptp(cloud.shown[name], axis=0)


def nominal(study, **changes):
    p = CoreProblem(study)
    return p.rate_choices(core(p, **changes), 1)


def test_a_core_has_three_clouds_of_as_many_copies_as_asked(made):
    found = clouds_of(made)
    assert tuple(found) == KINDS == tuple(c.kind for c in found.values())
    for cloud in found.values():
        assert cloud.objectives.shape == (256, 2)
        assert cloud.met.shape == (256, len(margin_names(made)))
        assert {name: v.shape for name, v in cloud.shown.items()} == dict.fromkeys(SHOWN, (256, 2))


def test_the_copies_lie_round_the_nominal_core(made):
    rating = nominal(made)
    for cloud in clouds_of(made).values():
        for name in SHOWN:
            below = np.mean(cloud.shown[name] < rating[name], axis=0)
            # A little beside the half: some scatter is bent, and braze only ever blocks more or less.
            assert np.all((below > 0.3) & (below < 0.7)), (cloud.kind, name)


def test_objectives_of_a_cloud_are_in_their_own_sense(made):
    cloud = clouds_of(made)["both"]
    assert np.array_equal(cloud.objectives[:, 0], cloud.shown["heat_rejected"][:, 0])
    assert np.array_equal(cloud.objectives[:, 1], cloud.shown["air_pressure_drop"][:, 0])


@pytest.mark.parametrize("name", SHOWN)
def test_without_tolerances_the_shop_makes_the_nominal_core_every_time(made, name):
    s = untoleranced(made)
    found = clouds_of(s)
    assert np.all(spread(found["shop"], name) == 0)
    assert found["shop"].shown[name][0] == pytest.approx(nominal(s)[name][0], rel=1e-12)
    assert np.all(spread(found["model"], name) > 0)
    assert np.array_equal(found["both"].shown[name], found["model"].shown[name])


def test_a_shop_without_tolerances_still_makes_all_copies(made):
    """Else its share is 1 of 1, with an interval from 2.5 to 100 %."""
    cloud = clouds_of(untoleranced(made))["shop"]
    assert len(cloud.met) == 256
    assert cloud.share(0.95)[1] > 0.98


@pytest.mark.parametrize("name", SHOWN)
def test_without_bands_the_model_leaves_nothing_open(made, name):
    found = clouds_of(replace(made, bands=NO_BAND))
    assert np.all(spread(found["model"], name) == 0)
    assert np.all(spread(found["shop"], name) > 0)
    assert found["both"].shown[name] == pytest.approx(found["shop"].shown[name], rel=1e-12)


def test_shop_and_model_are_kept_apart_and_both_holds_both(made):
    found = clouds_of(made)
    deviation = {kind: np.std(cloud.shown["heat_rejected"], axis=0) for kind, cloud in found.items()}
    # Independent and nearly linear: variances add, within what 256 draws show.
    together = np.sqrt(deviation["shop"] ** 2 + deviation["model"] ** 2)
    assert deviation["both"] == pytest.approx(together, rel=0.15)


def test_bands_of_the_study_override_those_of_the_fins(made):
    p = CoreProblem(made)
    batch = p.space.batch(core(p, air_fin="M17-64"), np.zeros(1, dtype=np.int64))
    published = bands(made, batch.air_family, batch.coolant_family)
    assert published["air_j"] == (-0.08, 0.08)
    assert published["air_f"] == (-0.10, 0.10)
    assert published["tank_loss"] == (-0.25, 0.25)
    own = bands(replace(made, bands=made.bands | {"air_j": (-0.01, 0.02)}), batch.air_family, batch.coolant_family)
    assert own == published | {"air_j": (-0.01, 0.02)}


@pytest.mark.parametrize(
    ("factor", "moves", "stays"),
    [
        ("air_j", "heat_rejected", "coolant_pressure_drop"), ("air_f", "air_pressure_drop", "heat_rejected"),
        ("coolant_j", "heat_rejected", "air_pressure_drop"),
        ("coolant_f", "coolant_pressure_drop", "heat_rejected"),
        ("tank_loss", "coolant_pressure_drop", "heat_rejected"),
    ],
)  # fmt: skip
def test_each_band_moves_what_it_is_about_and_hardly_the_rest(made, factor, moves, stays):
    s = replace(made, bands=NO_BAND | {factor: (-0.2, 0.2)})
    cloud, rating = clouds_of(s)["model"], nominal(s)
    moved, stayed = (spread(cloud, name) / np.abs(rating[name][0]) for name in (moves, stays))
    assert np.all(moved > 1e-3)
    assert np.all(stayed < 0.5 * moved)


TOLERANCES = [
    "thickness", "plate_thickness", "air_blockage", "air_fin.pitch", "air_fin.spacing", "air_fin.thickness",
    "coolant_fin.pitch", "coolant_fin.spacing", "coolant_fin.thickness", "port.bore",
]  # fmt: skip


@pytest.mark.parametrize("name", TOLERANCES)
def test_each_tolerance_scatters_its_own_column_by_its_own_law(made, name):
    p = CoreProblem(made)
    at = core(p)
    acting = p.space.tolerances(at)
    assert set(acting) == set(TOLERANCES)
    batch = copies(p, at, Draws(made))
    exact = p.space.batch(at, np.zeros(1, dtype=np.int64)).parameters
    column, tolerance = batch.parameters[name], acting[name]
    half = tolerance.half_width * (exact[name][0] if tolerance.relative else 1.0)
    deviation = {"normal": half / (tolerance.sigmas or 1), "uniform": half / 3**0.5, "triangular": half / 6**0.5}
    assert column.shape == (256,)
    # 256 low-discrepancy draws know a mean and a deviation to a few per cent
    assert np.mean(column) == pytest.approx(exact[name][0], abs=0.05 * half)
    assert np.std(column) == pytest.approx(deviation[tolerance.law], rel=0.06)
    for other in set(batch.parameters) - set(TOLERANCES):
        assert batch.parameters[other].size == 1, other


def test_every_tolerance_of_the_ordinary_core_moves_the_shop_cloud(made):
    bare = untoleranced(made)
    full = CoreProblem(made).space.tolerances(core(CoreProblem(made)))
    for name in ("thickness", "plate_thickness", "air_blockage"):
        key = f"core.{name}"
        one = replace(bare, variables=bare.variables | {key: replace(bare.variables[key], tolerance=full[name])})
        assert np.any(spread(clouds_of(one)["shop"]) > 0), name
    for part, store, entry in (
        ("air_fin", "air_fins", "S18-64"), ("coolant_fin", "turbulators", "TS-20-16"), ("port", "ports", "R22"),
    ):  # fmt: skip
        for name in (n for n in TOLERANCES if n.startswith(part)):
            item = getattr(bare, store)[entry]
            item = replace(item, tolerances={name.split(".")[1]: full[name]})
            one = replace(bare, **{store: getattr(bare, store) | {entry: item}})
            assert any(np.any(spread(clouds_of(one)["shop"], n) > 0) for n in SHOWN), name


# --- draws ----------------------------------------------------------------------------------------------------------


def same_bits(one: list[list[Cloud]], other: list[list[Cloud]]) -> bool:
    return all(
        np.array_equal(a.objectives, b.objectives, equal_nan=True) and np.array_equal(a.met, b.met)
        and all(np.array_equal(a.shown[n], b.shown[n], equal_nan=True) for n in SHOWN)
        for first, second in zip(one, other, strict=True) for a, b in zip(first, second, strict=True)
    )


def cores_of(study, count):
    p = CoreProblem(study)
    return [p.space.choices(point[None, :]) for point in points(p, count, seed=3)]


def test_the_same_seed_gives_the_same_bits_and_another_seed_other_draws(made):
    cores = cores_of(made, 3)
    first = scatter(made, cores)
    assert same_bits(first, scatter(made, cores))
    assert not same_bits(first, scatter(replace(made, seed=made.seed + 1), cores))


def test_two_workers_give_the_bits_of_one(made):
    s = replace(made, scatter=replace(made.scatter, draws=32))
    cores = cores_of(s, 2 * CORES_A_TASK + 3)
    calls = []
    alone = scatter(s, cores, 1, lambda done, total: calls.append((done, total)))
    assert same_bits(alone, scatter(s, cores, 2))
    assert calls[-1] == (len(cores), len(cores))
    assert [done for done, _ in calls] == sorted({done for done, _ in calls})


def test_a_cloud_does_not_depend_on_the_cores_scattered_with_it(made):
    cores = cores_of(made, CORES_A_TASK + 2)
    assert same_bits([scatter(made, cores)[-1]], scatter(made, cores[-1:]))


def test_two_cores_share_their_draws(made):
    """Common random numbers: a copy of one core is as thick above its nominal as the same copy of the other."""
    p, draws = CoreProblem(made), Draws(made)
    thin, thick = (copies(p, core(p, thickness=t), draws).parameters for t in (0.05, 0.08))
    assert thin["thickness"] - 0.05 == pytest.approx(thick["thickness"] - 0.08, abs=1e-15)
    assert np.array_equal(thin["air_fin.pitch"], thick["air_fin.pitch"])
    other = copies(p, core(p, air_fin="W14-64", port="D28-20"), draws).parameters
    ordinary = copies(p, core(p), draws).parameters
    assert np.array_equal(other["plate_thickness"], ordinary["plate_thickness"])


def test_a_tolerance_added_elsewhere_leaves_the_other_draws_as_they_are(made):
    """So that what it does can be seen copy by copy, and not through other luck."""
    length = made.variables["core.length"]
    more = replace(made, variables=made.variables | {"core.length": replace(length, tolerance=normal(0.5e-3))})
    before, after = Draws(made), Draws(more)
    for key in [("shop", name) for name in TOLERANCES] + [("model", name) for name in FACTORS]:
        assert np.array_equal(before[key], after[key]), key


def test_draws_fill_the_cube_evenly_and_never_touch_its_faces(made):
    draws = Draws(made)
    columns = [draws["shop", name] for name in TOLERANCES] + [draws["model", name] for name in FACTORS]
    for column in columns:
        # a scrambled net: one point in each of 256 equal strata
        assert sorted((column * 256).astype(int)) == list(range(256))
        assert 0 < column.min() < column.max() < 1
    assert np.abs(np.corrcoef(columns) - np.eye(len(columns))).max() < 0.3


def test_the_search_and_the_scatter_draw_from_streams_of_their_own():
    from optimize.seeds import stream

    states = {purpose: tuple(stream(7, purpose).generate_state(8)) for purpose in ("search", "scatter")}
    assert states["search"] != states["scatter"]
    assert states["search"] == tuple(stream(7, "search").generate_state(8))
    assert states["search"] != tuple(stream(8, "search").generate_state(8))


# --- shares of cores ------------------------------------------------------------------------------------------------


def met(study, name, kind="shop", **changes):
    return clouds_of(study, **changes)[kind].met[:, margin_names(study).index(name)]


def test_a_core_exactly_at_the_lid_is_met_about_half_the_time(made):
    assert np.mean(met(made, LID, thickness=0.09)) == pytest.approx(0.5, abs=2 / 256)
    assert np.all(met(made, LID, thickness=0.088))  # 2 mm of room for +-0.4 mm
    assert np.mean(met(made, LID, thickness=0.09 + 0.4e-3 / 3)) == pytest.approx(stats.norm.cdf(-1), abs=2 / 256)


def test_an_untoleranced_core_exactly_at_a_limit_meets_it_every_time_and_beyond_it_never(made):
    s = untoleranced(made)
    value = float(nominal(s)["air_pressure_drop"].max())
    for bound, share in ((value, 1.0), (np.nextafter(value, 0.0), 0.0)):
        limited = with_limits(s, Limit("air_pressure_drop", None, float(bound), "worst"))
        assert clouds_of(limited)["shop"].share(0.95)[0] == share
    assert np.all(met(s, LID, thickness=0.09))


def test_an_untoleranced_core_meets_in_its_copies_what_it_meets_itself(made):
    """Thickness untoleranced and at the lid, other things scattered: the lid still holds in every copy."""
    s = with_variable(made, "core.thickness", 0.09)
    s = replace(s, variables=s.variables | {"core.thickness": replace(s.variables["core.thickness"], tolerance=None)})
    assert np.all(met(s, LID, thickness=0.09))


def test_the_share_counts_copies_that_meet_everything_at_once(made):
    cloud = clouds_of(made, thickness=0.09)["both"]
    count = int(np.sum(cloud.met.all(axis=1)))
    assert np.array_equal(cloud.passed, cloud.met.all(axis=1))
    assert cloud.share(0.95) == (count / 256, *share_interval(count, 256, 0.95))


def test_a_copy_that_cannot_be_computed_meets_nothing_that_needs_computing(made):
    s = replace(made, duty=tuple(replace(point, air_flow=9.0) for point in made.duty))
    cloud = clouds_of(s)["both"]
    assert np.all(np.isnan(cloud.shown["air_pressure_drop"]))
    assert not np.any(cloud.passed)
    assert cloud.share(0.95)[0] == 0.0


def test_every_band_has_a_factor_in_the_model():
    from physics.duty import ModelFactors

    assert {field.name for field in fields(ModelFactors)} == set(FACTORS)
