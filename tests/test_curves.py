"""Trade-off curves: they pass through the core they are drawn around, and their prices are its differences."""

import numpy as np
import pytest
from small_studies import SECOND_DUTY, core, problem

from optimize import units
from optimize.curves import CURVE_OUTPUTS, curve, curve_table, curve_variables, numeric_variables, values_of
from optimize.errors import FinfrontError
from physics.outputs import OUTPUTS

STEPS = '{ from = "40 mm", to = "90 mm", step = "5 mm" }'
ENDLESS = '{ from = "40 mm", to = "90 mm" }'


@pytest.fixture(scope="module")
def p():
    return problem(SECOND_DUTY, thickness=STEPS)


@pytest.fixture(scope="module")
def table(p):
    return curve_table(p, core(p), "thickness")


def column(table, start):
    (name,) = [c for c in table.columns if c.startswith(start)]
    return table[name].to_numpy()


@pytest.mark.parametrize("name", ["thickness", "passages"])
@pytest.mark.parametrize("output", CURVE_OUTPUTS)
def test_a_curve_at_the_cores_own_value_is_the_cores_rating(p, name, output):
    at = core(p)
    values, rating = curve(p, at, name)
    (i,) = np.flatnonzero(values == at[name][0])
    np.testing.assert_allclose(rating[output][i], p.rate_choices(at, 1)[output][0], rtol=1e-12)


def test_a_curve_varies_nothing_but_its_variable(p):
    values, rating = curve(p, core(p), "thickness")
    for i, value in enumerate(values):
        alone = p.rate_choices(core(p, thickness=float(value)), 1)
        for output in CURVE_OUTPUTS:
            np.testing.assert_allclose(rating[output][i], alone[output][0], rtol=1e-12)


def test_values_of_a_curve_are_the_studys_own_steps_or_41_between_its_ends(p):
    assert values_of(p, "thickness") == pytest.approx(np.arange(40, 91, 5) * 1e-3, rel=1e-12)
    endless = values_of(problem(thickness=ENDLESS), "thickness")
    assert (len(endless), endless[0], endless[-1]) == (41, 0.04, 0.09)


def test_a_thicker_core_cools_more_loses_more_air_pressure_and_weighs_more(table):
    assert np.all(np.diff(column(table, "heat_rejected@full_power")) > 0)
    assert np.all(np.diff(column(table, "air_outlet_temperature@full_power")) < 0)
    assert np.all(np.diff(column(table, "air_pressure_drop@full_power")) > 0)
    assert np.all(np.diff(column(table, "dry_mass")) > 0)
    assert np.all(np.diff(column(table, "filled_mass")) > 0)


def test_a_thicker_core_of_one_pass_gives_the_coolant_more_room(table):
    assert np.all(np.diff(column(table, "coolant_pressure_drop@full_power")) < 0)


def test_each_millimetre_of_thickness_cools_less_than_the_one_before(table):
    assert np.all(np.diff(column(table, "heat_rejected@full_power"), 2) < 0)


@pytest.mark.parametrize("duty", ["full_power", "long_climb"])
@pytest.mark.parametrize("cost", ["air_pressure_drop", "filled_mass"])
def test_the_price_is_the_finite_difference_between_the_neighbours(table, cost, duty):
    gain = column(table, f"heat_rejected@{duty}")
    loss = column(table, f"{cost}@{duty}" if OUTPUTS[cost].per == "duty" else cost)
    price = column(table, f"d {cost}/d heat_rejected@{duty}")
    assert price[1:-1] == pytest.approx((loss[2:] - loss[:-2]) / (gain[2:] - gain[:-2]), rel=1e-12)
    assert price[0] == pytest.approx((loss[1] - loss[0]) / (gain[1] - gain[0]), rel=1e-12)
    assert np.all(price > 0)


def test_the_unit_of_a_price_stands_in_its_column(table):
    assert "d air_pressure_drop/d heat_rejected@full_power [kPa/kW]" in table
    us = problem(thickness=STEPS, units='"US"')
    assert "d filled_mass/d heat_rejected@full_power [lb/hp]" in curve_table(us, core(us), "thickness")


def test_two_variables_make_one_curve_for_each_value_of_the_second(p):
    both = curve_table(p, core(p), "thickness", "passages")
    assert len(both) == 11 * 9
    for passages, part in both.groupby("passages"):
        alone = curve_table(p, core(p, passages=float(passages)), "thickness")
        mine, theirs = (t["heat_rejected@full_power [kW]"].to_numpy() for t in (part, alone))
        assert mine == pytest.approx(theirs, rel=1e-12)


def test_a_curve_needs_no_value_of_what_it_varies(p):
    at = core(p)
    del at["thickness"]
    assert len(curve_table(p, at, "thickness")) == 11


def test_a_curve_says_which_cores_fail_and_what(p):
    table = curve_table(p, core(p), "passages")
    stack = p.rate_choices(core(p) | {"passages": np.arange(6.0, 15.0)}, 9)["stack_height"]
    too_wide = stack > p.study.envelope.pocket_width
    told = table["fails"].str.contains("clearance, pocket width").to_numpy()
    assert np.any(too_wide)
    assert np.array_equal(told, too_wide)


def test_columns_are_in_the_units_of_the_study():
    us = problem(thickness=STEPS, units='"US"')
    table = curve_table(us, core(us), "thickness")
    assert table["thickness [in]"].to_numpy() == pytest.approx(np.arange(40, 91, 5) / 25.4, rel=1e-9)
    watts = us.rate_choices(core(us, thickness=0.04), 1)["heat_rejected"][0, 0]
    assert table["heat_rejected@full_power [hp]"][0] == pytest.approx(watts / 745.69987, rel=1e-8)
    assert units.unit_label("power", "US") == "hp"


def test_prices_are_empty_where_cooling_stands_still_or_a_core_is_alone():
    p = problem(thickness='["70 mm"]')
    at = core(p)
    assert "thickness" not in numeric_variables(p)
    table = curve_table(p, at, "passages")
    assert np.all(np.isfinite(column(table, "d air_pressure_drop/d heat_rejected")))
    lid = problem(lid_loss="{ from = 0.1, to = 0.5, step = 0.1 }")
    prices = column(curve_table(lid, core(lid, lid_loss=0.3), "lid_loss"), "d filled_mass/d heat_rejected")
    assert np.all(np.isnan(prices) | (prices == 0))


def test_only_what_the_study_varies_along_a_scale_makes_a_curve(p):
    assert numeric_variables(p) == ["thickness", "passages"]
    assert curve_variables(p, ["thickness"]) == ["thickness"]
    for wrong in (["port"], ["length"], ["nonsense"], ["thickness", "thickness"], ["thickness", "passages", "port"]):
        with pytest.raises(FinfrontError) as caught:
            curve_variables(p, wrong)
        assert "--vary" in caught.value.where
