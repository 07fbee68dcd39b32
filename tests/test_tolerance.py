"""Scatter: clouds that move only by what is said to scatter."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from small_studies import ROOT, SECOND_DUTY, core, points, study, untoleranced, with_limits, with_variable

from optimize.evaluate import CoreProblem
from optimize.feasibility import margin_names
from optimize.study.load import load
from optimize.study.model import Limit, Study, Tolerance
from optimize.tolerance.copies import SHOWN, Copies, copies, kinds_of, made_batch
from optimize.tolerance.draws import FACTORS, Draws
from optimize.tolerance.intervals import share_interval
from optimize.tolerance.model_draws import bands
from optimize.tolerance.operating import scattered as scattered_quantities
from optimize.tolerance.scatter import CORES_A_TASK, scatter
from optimize.tolerance.yields import EVERY_LIMIT, confidence_of, nested, scattered, share_of, shares
from physics.flags import Flag
from physics.outputs import OUTPUTS

NO_BAND = dict.fromkeys(FACTORS, (0.0, 0.0))
LID = OUTPUTS["lid_clearance"].label


# --- clouds ---------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def made() -> Study:
    """The starter with two duty points and 256 copies."""
    return study(SECOND_DUTY, draws="256")


def clouds_of(study, **changes):
    p = CoreProblem(study)
    return {kind: copies(p, [core(p, **changes)], Draws(study), kind)[0] for kind in kinds_of(study)}


def made_of(p, at, draws):
    """Parameters of the manufactured copies of a core."""
    return made_batch([p.space.batch(at, np.zeros(1, dtype=np.int64))], [p.space.tolerances(at)], draws).parameters


def spread(cloud, name="heat_rejected"):
    return np.ptp(cloud.shown[name], axis=0)


def nominal(study, **changes):
    p = CoreProblem(study)
    return p.rate_choices(core(p, **changes), 1)


def test_a_core_has_clouds_of_as_many_copies_as_asked(made):
    found = clouds_of(made)
    assert tuple(found) == ("shop", "model")
    for cloud in found.values():
        assert cloud.objectives.shape == (256, 2)
        assert cloud.met.shape == (256, len(margin_names(made)))
        assert {name: v.shape for name, v in cloud.shown.items()} == dict.fromkeys(SHOWN, (256, 2))


def test_the_copies_lie_round_the_nominal_core(made):
    rating = nominal(made)
    for kind, cloud in clouds_of(made).items():
        for name in SHOWN:
            below = np.mean(cloud.shown[name] < rating[name], axis=0)
            # A little beside the half: some scatter is bent, and braze only ever blocks more or less.
            assert np.all((below > 0.3) & (below < 0.7)), (kind, name)


def test_objectives_of_a_cloud_are_in_their_own_sense(made):
    cloud = clouds_of(made)["model"]
    assert np.array_equal(cloud.objectives[:, 0], cloud.shown["heat_rejected"][:, 0])
    assert np.array_equal(cloud.objectives[:, 1], cloud.shown["air_pressure_drop"][:, 0])


@pytest.mark.parametrize("name", SHOWN)
def test_without_tolerances_the_shop_makes_the_nominal_core_every_time(made, name):
    s = untoleranced(made)
    found = clouds_of(s)
    assert np.all(spread(found["shop"], name) == 0)
    assert found["shop"].shown[name][0] == pytest.approx(nominal(s)[name][0], rel=1e-12)
    assert np.all(spread(found["model"], name) > 0)


def test_a_shop_without_tolerances_still_makes_all_copies(made):
    """Else its share is 1 of 1, with an interval from 2.5 to 100 %."""
    cloud = clouds_of(untoleranced(made))["shop"]
    assert len(cloud.met) == 256
    assert share_of(cloud.passed, 0.95).low > 0.98


@pytest.mark.parametrize("name", SHOWN)
def test_without_bands_the_model_leaves_nothing_open(made, name):
    found = clouds_of(replace(made, bands=NO_BAND))
    assert np.all(spread(found["model"], name) == 0)
    assert np.all(spread(found["shop"], name) > 0)


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
    parameters = made_of(p, at, Draws(made))
    exact = p.space.batch(at, np.zeros(1, dtype=np.int64)).parameters
    column, tolerance = parameters[name], acting[name]
    half = tolerance.above * (exact[name][0] if tolerance.relative else 1.0)
    deviation = {"normal": half / (tolerance.sigmas or 1), "uniform": half / 3**0.5, "triangular": half / 6**0.5}
    assert column.shape == (256,)
    # 256 low-discrepancy draws know a mean and a deviation to a few per cent
    assert np.mean(column) == pytest.approx(exact[name][0], abs=0.05 * half)
    assert np.std(column) == pytest.approx(deviation[tolerance.law], rel=0.06)
    for other in set(parameters) - set(TOLERANCES):
        assert parameters[other].size == 1, other


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


def same_bits(one: list[dict[str, Copies]], other: list[dict[str, Copies]]) -> bool:
    return all(
        np.array_equal(a.objectives, b.objectives, equal_nan=True)
        and np.array_equal(a.margins, b.margins, equal_nan=True)
        and all(np.array_equal(a.shown[n], b.shown[n], equal_nan=True) for n in SHOWN)
        for first, second in zip(one, other, strict=True) for a, b in zip(first.values(), second.values(), strict=True)
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
    thin, thick = (made_of(p, core(p, thickness=t), draws) for t in (0.05, 0.08))
    assert thin["thickness"] - 0.05 == pytest.approx(thick["thickness"] - 0.08, abs=1e-15)
    assert np.array_equal(thin["air_fin.pitch"], thick["air_fin.pitch"])
    other = made_of(p, core(p, air_fin="W14-64", port="D28-20"), draws)
    ordinary = made_of(p, core(p), draws)
    assert np.array_equal(other["plate_thickness"], ordinary["plate_thickness"])


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
        assert share_of(clouds_of(limited)["shop"].passed, 0.95).value == share
    assert np.all(met(s, LID, thickness=0.09))


def test_an_untoleranced_core_meets_in_its_copies_what_it_meets_itself(made):
    """Thickness untoleranced and at the lid, other things scattered: the lid still holds in every copy."""
    s = with_variable(made, "core.thickness", 0.09)
    s = replace(s, variables=s.variables | {"core.thickness": replace(s.variables["core.thickness"], tolerance=None)})
    assert np.all(met(s, LID, thickness=0.09))


def test_the_share_counts_copies_that_meet_everything_at_once(made):
    cloud = clouds_of(made, thickness=0.09)["shop"]
    count = int(np.sum(cloud.met.all(axis=1)))
    share = share_of(cloud.passed, 0.95)
    assert (share.passed, share.drawn) == (count, 256)
    assert (share.low, share.high) == share_interval(count, 256, 0.95)


def test_a_copy_that_cannot_be_computed_meets_nothing_and_is_named(made):
    s = replace(made, duty=tuple(replace(point, air_flow=9.0) for point in made.duty))
    cloud = clouds_of(s)["shop"]
    assert np.all(np.isnan(cloud.shown["air_pressure_drop"]))
    assert not np.any(cloud.met)
    assert np.all(cloud.lost & Flag.AIR_CANNOT_PASS)


def test_a_limit_at_the_worst_duty_point_is_counted_at_each(made):
    value = float(nominal(made)["air_pressure_drop"].max())
    limited = with_limits(made, Limit("air_pressure_drop", None, value, "worst"))
    p, cloud = CoreProblem(limited), clouds_of(limited)["shop"]
    counted = {(name, duty): share for name, duty, share in shares(p, cloud)}
    loss = cloud.shown["air_pressure_drop"]
    name = next(n for n in p.margin_names if n.startswith("air loss"))
    for i, duty in enumerate(p.duty.names):
        assert counted[name, duty].passed == np.count_nonzero(loss[:, i] <= value)
    assert counted[name, ""].passed == np.count_nonzero(loss.max(axis=1) <= value)
    assert counted[EVERY_LIMIT, ""].passed <= counted[name, ""].passed


# --- the stop rule --------------------------------------------------------------------------------------------------


def test_draws_are_doubled_until_the_share_is_known_or_the_budget_ends(made):
    asked = replace(made.scatter, draws=64, narrow_to=0.08, most_draws=1024)
    p = CoreProblem(replace(made, scatter=asked))
    sure, doubtful = scattered(p, [core(p), core(p, thickness=0.09)], "shop")
    assert len(sure.lost) < 256
    assert len(doubtful.lost) == 1024  # about half are good: no such interval in the budget
    whole = copies(p, [core(p, thickness=0.09)], Draws(p.study, 1024), "shop")[0]
    assert np.array_equal(doubtful.margins, whole.margins)


def test_each_look_of_the_stop_rule_is_surer_for_all_of_them_to_hold(made):
    asked = replace(made.scatter, draws=64, narrow_to=0.01, most_draws=1024)
    assert confidence_of(CoreProblem(replace(made, scatter=asked))) == pytest.approx(1 - 0.05 / 5)
    assert confidence_of(CoreProblem(made)) == made.scatter.confidence


# --- yield under the model ------------------------------------------------------------------------------------------


def test_without_shop_tolerances_each_model_has_a_yield_of_nothing_or_all(made):
    """The nominal core under each factor, rated one by one, keeps its limit or does not."""
    value = float(nominal(made)["air_pressure_drop"].max())
    s = with_limits(untoleranced(made), Limit("air_pressure_drop", None, value, "worst"))
    s = replace(s, bands=NO_BAND | {"air_f": (-0.2, 0.2)}, scatter=replace(s.scatter, nested=(32, 8)))
    p = CoreProblem(s)
    yields = nested(p, core(p))
    # more friction than published loses more: above the median factor of 1 nothing passes
    factor = Draws(s, 32, "nested")["model", "air_f"]
    assert yields.tolist() == (factor <= 0.5).astype(float).tolist()


def test_the_yield_under_a_model_is_that_of_its_copies_rated_alone(made):
    value = float(nominal(made)["air_pressure_drop"].max())
    s = with_limits(made, Limit("air_pressure_drop", None, value, "worst"))
    s = replace(s, bands=NO_BAND | {"air_f": (-0.05, 0.05)}, scatter=replace(s.scatter, nested=(4, 64)))
    p = CoreProblem(s)
    yields = nested(p, core(p))
    shop = copies(p, [core(p)], Draws(s, 64), "shop")[0].shown["air_pressure_drop"].max(axis=1)
    under = copies(CoreProblem(untoleranced(s)), [core(p)], Draws(s, 4, "nested"), "model")[0]
    share = under.shown["air_pressure_drop"].max(axis=1) / value  # friction's factor on the loss of this core
    expected = [np.mean(shop * x <= value) for x in share]
    assert yields == pytest.approx(expected, abs=1.5 / 64)


# --- operating scatter ----------------------------------------------------------------------------------------------


def test_runs_differ_by_their_own_duty_point_alone(made):
    law = Tolerance("normal", 0.1, 0.1, 2.0, True)
    s = replace(made, run_tolerances={"long_climb.air_flow": law})
    assert kinds_of(s) == ("shop", "run", "shop and run", "model")
    found = clouds_of(s)
    assert spread(found["run"])[0] == 0
    assert spread(found["run"])[1] > 0
    assert np.array_equal(found["shop"].shown["heat_rejected"], clouds_of(made)["shop"].shown["heat_rejected"])


def test_a_run_is_rated_as_a_study_with_its_numbers(made):
    law = Tolerance("uniform", 0.2, 0.2, None, True)
    s = replace(made, run_tolerances={"full_power.air_flow": law, "full_power.air_temperature": replace(
        law, below=9.0, above=9.0, relative=False)})
    draws, run = Draws(s), clouds_of(s)["run"]
    point = s.duty[0]
    for i in (0, 7, 200):
        flow = point.air_flow * (0.8 + 0.4 * draws["run", "full_power.air_flow"][i])
        warm = point.air_temperature - 9.0 + 18.0 * draws["run", "full_power.air_temperature"][i]
        own = replace(made, duty=(replace(point, air_flow=flow, air_temperature=warm), s.duty[1]))
        assert run.shown["heat_rejected"][i] == pytest.approx(nominal(own)["heat_rejected"][0], rel=1e-9)


def test_the_air_outside_is_the_same_for_all_duty_points_that_share_it():
    s = load(ROOT / "studies/dune_racer.toml")
    assert list(s.run_tolerances) == ["ambient.temperature"]
    draws = Draws(s, 64)
    said = scattered_quantities(s, draws)["ambient_temperature"]
    assert said.shape == (64, 2)
    assert np.array_equal(said[:, 0], said[:, 1])
    # +-8 K are two standard deviations about 36 degC
    assert np.mean(said) == pytest.approx(309.15, abs=0.2)
    assert np.std(said) == pytest.approx(4.0, rel=0.1)
