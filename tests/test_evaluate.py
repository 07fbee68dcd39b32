"""A study as a search problem: a verdict depends on the point alone, and not on units or on company."""

import pickle
import re
from dataclasses import replace

import numpy as np
import pint
import pytest
from small_studies import ROOT, SECOND_DUTY, core, points, problem, study

from optimize.evaluate import TIE_BREAKS, CoreProblem, objective_name
from optimize.study.load import load
from optimize.study.model import Objective
from optimize.study.starter import write_starter

ULPS = 1e-13  # numpy computes the ends of an array by other instructions than its middle


def same(a, b, rel=ULPS):
    assert np.array_equal(np.isnan(a), np.isnan(b))
    np.testing.assert_allclose(a, b, rtol=rel, atol=1e-300)


# --- batches --------------------------------------------------------------------------------------------------------


def test_a_batch_of_mixed_families_is_the_same_cores_one_by_one():
    p = problem(SECOND_DUTY)
    at = points(p, 60)
    together = p.evaluate(at)
    for i, point in enumerate(at):
        alone = p.evaluate(point[None, :])
        same(together.objectives[i], alone.objectives[0])
        same(together.margins[i], alone.margins[0], 1e-11)  # differences of near values
        same(together.tie[i], alone.tie[0])


def test_a_rating_of_mixed_families_is_the_same_cores_one_by_one():
    p = problem(SECOND_DUTY)
    at = points(p, 25, seed=1)
    together = p.rate_points(at)
    for i, point in enumerate(at):
        alone = p.rate_points(point[None, :])
        assert np.array_equal(together.flags[i], alone.flags[0])
        for name in p.outputs:
            a, b = np.ravel(together[name][i]), np.ravel(alone[name][0])
            scale = {"spread_heat_penalty": 1.0}.get(name, 0.0)  # 1 - ratio of two near values
            np.testing.assert_allclose(a, b, rtol=1e-11, atol=1e-14 * (1 + scale), err_msg=name)


def test_the_order_of_points_does_not_matter():
    p = problem()
    at = points(p, 200)
    order = np.random.default_rng(5).permutation(len(at))
    same(p.evaluate(at).objectives[order], p.evaluate(at[order]).objectives)


def test_a_point_named_twice_gets_two_verdicts():
    p = problem()
    twice = p.evaluate(np.repeat(points(p, 1), 3, axis=0))
    assert twice.objectives.shape == (3, 2)
    assert twice.margins.shape == (3, len(p.margin_names))


def test_no_points_give_an_empty_verdict():
    p = problem()
    nothing = p.evaluate(np.empty((0, len(p.axes))))
    assert nothing.objectives.shape == (0, 2)
    assert nothing.margins.shape == (0, len(p.margin_names))


def test_ratings_of_choices_keep_their_order_across_families():
    p = problem()
    names = ["S18-64", "P16-64", "S16-80", "L16-80", "S18-64"]
    at = core(p) | {"air_fin": np.array([p.space.code("air_fin", name) for name in names])}
    rating = p.rate_choices(at, len(names))
    for i, name in enumerate(names):
        same(rating["heat_rejected"][i], p.rate_choices(core(p, air_fin=name), 1)["heat_rejected"][0])
    assert rating["heat_rejected"][0] == rating["heat_rejected"][4]


def test_a_problem_sent_to_another_process_gives_the_same_verdict():
    p = problem()
    at = points(p, 50)
    away = pickle.loads(pickle.dumps(p))
    assert np.array_equal(p.evaluate(at).objectives, away.evaluate(at).objectives, equal_nan=True)


# --- objectives -----------------------------------------------------------------------------------------------------


def test_objectives_are_turned_so_that_less_is_better():
    s = replace(study(SECOND_DUTY), objectives=(
        Objective("heat_rejected", True, "full_power"), Objective("air_pressure_drop", False, "long_climb"),
        Objective("filled_mass", False, None),
    ))  # fmt: skip
    p = CoreProblem(s)
    at = points(p, 60)
    found, rating = p.evaluate(at).objectives, p.rate_points(at)
    same(found[:, 0], -rating["heat_rejected"][:, 0])
    same(found[:, 1], rating["air_pressure_drop"][:, 1])
    same(found[:, 2], rating["filled_mass"])
    assert np.nanmax(found[:, 0]) < 0 < np.nanmin(found[:, 1])


def test_the_worst_of_something_to_maximise_is_its_lowest_and_the_mean_is_weighted():
    s = replace(study(SECOND_DUTY), objectives=(
        Objective("heat_rejected", True, "worst"), Objective("air_pressure_drop", False, "worst"),
        Objective("heat_rejected", True, "mean"),
    ))  # fmt: skip
    p = CoreProblem(s)
    at = points(p, 60)
    found, rating = p.evaluate(at).objectives, p.rate_points(at)
    heat = rating["heat_rejected"]
    same(found[:, 0], -np.minimum(heat[:, 0], heat[:, 1]))
    same(found[:, 1], np.maximum(*rating["air_pressure_drop"].T))
    same(found[:, 2], -(1.0 * heat[:, 0] + 3.0 * heat[:, 1]) / 4.0)  # weights of the two duty points


def test_ties_go_by_the_worst_coolant_loss_then_the_dry_mass():
    p = problem(SECOND_DUTY)
    at = points(p, 30)
    tie, rating = p.evaluate(at).tie, p.rate_points(at)
    assert TIE_BREAKS == ("coolant_pressure_drop", "dry_mass")
    same(tie[:, 0], rating["coolant_pressure_drop"].max(axis=1))
    same(tie[:, 1], rating["dry_mass"])


def test_an_objective_is_named_by_its_label_and_its_duty_point():
    assert objective_name(Objective("filled_mass", False, None)) == "filled mass"
    assert problem().objective_names == ("heat rejected, full_power", "air loss, total, full_power")


# --- units ----------------------------------------------------------------------------------------------------------

US = {
    "mm": "inch", "kPa": "psi", "kg/s": "lb/min", "L/min": "gallon/min", "W/m/K": "Btu/hour/ft/delta_degF",
    "kg/m^3": "lb/ft^3", "cm^2": "inch**2", "m^2*K/W": "ft**2*hour*delta_degF/Btu", "1/in": "1/mm",
}  # fmt: skip
WRITTEN = {
    "inch": "in", "gallon/min": "gal/min", "Btu/hour/ft/delta_degF": "Btu/h/ft/degF", "inch**2": "in^2",
    "ft**2*hour*delta_degF/Btu": "ft^2*h*degF/Btu",
}  # fmt: skip


def in_us_units(text: str) -> str:
    """Every quantity of a TOML text in US units, by pint, to all digits; the fin densities go metric."""
    registry = pint.UnitRegistry()

    def other(match: re.Match[str]) -> str:
        number, unit = float(match[1]), match[2]
        if unit == "degC":
            return f'"{registry.Quantity(number, "degC").to("degF").magnitude!r} degF"'
        if unit not in US:
            return match[0]
        value = registry.Quantity(number, unit.replace("^", "**").replace("1/in", "1/inch")).to(US[unit]).magnitude
        return f'"{value!r} {WRITTEN.get(US[unit], US[unit])}"'

    return re.sub(r'"(-?[0-9][0-9.e+-]*) ([A-Za-z1][^"]*)"', other, text)


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[CoreProblem, CoreProblem]:
    """The starter with two duty points, and the same in US units down to the last catalogue entry."""
    folders = [tmp_path_factory.mktemp(name) for name in ("si", "us")]
    for folder in folders:
        for path in write_starter(folder / "study.toml"):
            if path.name == "study.toml":
                path.write_text(path.read_text(encoding="utf-8") + SECOND_DUTY, encoding="utf-8")
            if folder == folders[1] and path.suffix == ".toml":
                path.write_text(in_us_units(path.read_text(encoding="utf-8")), encoding="utf-8")
    si, us = (CoreProblem(load(folder / "study.toml")) for folder in folders)
    return si, us


def test_the_us_copy_holds_no_metric_length(pair):
    text = pair[1].study.text + "".join(v for k, v in pair[1].study.files.items() if k.endswith(".toml"))
    quantities = re.findall(r'"[0-9.e+-]+ (mm|kPa|degC|kg/s|L/min|cm\^2)"', text)
    assert quantities == []
    assert ' in"' in text
    assert ' degF"' in text


def test_a_study_in_us_units_gives_the_ratings_of_the_same_study_in_si(pair):
    si, us = pair
    assert si.space.names == us.space.names
    assert si.space.size == us.space.size
    at = points(si, 300)
    a, b = si.rate_points(at), us.rate_points(at)
    assert np.array_equal(a.flags, b.flags)
    for name in si.outputs:
        scale = np.nanmax(np.abs(a[name])) or 1.0  # acceleration losses and clearances pass through zero
        np.testing.assert_allclose(a[name] / scale, b[name] / scale, rtol=1e-12, atol=1e-12, err_msg=name)


def test_a_study_in_us_units_gives_the_margins_and_objectives_of_the_same_in_si(pair):
    at = points(pair[0], 300)
    a, b = (p.evaluate(at) for p in pair)
    assert pair[0].margin_names == pair[1].margin_names
    np.testing.assert_allclose(a.objectives, b.objectives, rtol=1e-12)
    np.testing.assert_allclose(a.margins, b.margins, rtol=1e-12, atol=1e-12)


def test_tolerances_in_us_units_are_the_same_tolerances(pair):
    si, us = (p.space.tolerances(core(p)) for p in pair)
    assert si.keys() == us.keys()
    for key in si:
        assert (si[key].law, si[key].relative, si[key].sigmas) == (us[key].law, us[key].relative, us[key].sigmas)
        assert (si[key].below, si[key].above) == pytest.approx((us[key].below, us[key].above), rel=1e-12)


@pytest.mark.parametrize("name", ["dune_racer", "tow_rig_us_units", "frost_sprint"])
def test_no_bit_of_a_core_depends_on_what_else_is_in_the_batch(name):
    """A shortcut for a whole batch (all laminar, all of one pass, a series ended early) must give the others' bits."""
    problem = CoreProblem(load(ROOT / f"studies/{name}.toml"))
    many = points(problem, 240, seed=3)
    together = problem.rate_points(many)
    for j in range(0, len(many), 6):
        alone = problem.rate_points(many[j : j + 1])
        for output, value in alone.values.items():
            assert np.array_equal(value[0], together[output][j], equal_nan=True), output
        assert np.array_equal(alone.flags[0], together.flags[j])
