"""Tables: every number under the right name, in the unit the name carries."""

import re
from dataclasses import replace

import numpy as np
import pint
import pytest
from small_studies import SECOND_DUTY, points, problem, study

from optimize import tables, units
from optimize.evaluate import CoreProblem
from optimize.study.model import Objective
from optimize.tolerance.copies import SHOWN
from physics.flags import Flag
from physics.outputs import OUTPUTS

REGISTRY = pint.UnitRegistry()
PINT = {"%": "percent", "in": "inch", "gal": "gallon"}


@pytest.fixture(scope="module", params=["SI", "US"])
def p(request):
    return problem(SECOND_DUTY, units=f'"{request.param}"')


@pytest.fixture(scope="module")
def cores(p):
    return points(p, 60, seed=9)


@pytest.fixture(scope="module")
def table(p, cores):
    return tables.core_table(p, np.arange(60) + 100, cores, p.outputs, {"note": [f"n{i}" for i in range(60)]})


def displayed(si, kind, label):
    """By pint, apart from our own conversion."""
    if not label:
        return np.asarray(si)
    name = re.sub(r"[A-Za-z%]+", lambda m: PINT.get(m[0], m[0]), label).replace("^", "**")
    if kind != "temperature":
        name = name.replace("degF", "delta_degF").replace("degC", "delta_degC")
    base = units.KINDS[kind].base.replace("^", "**").replace("K", "kelvin") if kind == "temperature" else None
    base = base or units.KINDS[kind].base.replace("^", "**") or "dimensionless"
    return REGISTRY.Quantity(np.asarray(si, dtype=float), base).to(name).magnitude


def test_every_output_stands_in_its_column_in_the_unit_the_column_names(p, cores, table):
    rating = p.rate_points(cores)
    for name in p.outputs:
        output = OUTPUTS[name]
        columns = [c for c in table.columns if re.fullmatch(rf"{name}(@\w+)?( \[.*\])?", c)]
        assert len(columns) == (2 if output.per == "duty" else 1), name
        for column in columns:
            duty = re.search(r"@(\w+)", column)
            si = rating[name][:, p.duty.names.index(duty[1])] if duty else rating[name]
            label = re.search(r"\[(.*)\]", column)
            expected = displayed(si, output.kind, label[1] if label else "")
            np.testing.assert_allclose(table[column], expected, rtol=1e-12, atol=1e-12, err_msg=column)


def test_variables_stand_in_their_columns_by_name_or_in_display_units(p, cores, table):
    thickness = np.array([p.space.variables["thickness"].values[int(i)] for i in cores[:, 3]])
    (column,) = [c for c in table.columns if c.startswith("thickness")]
    inch = p.study.units == "US"
    assert table[column].to_numpy() == pytest.approx(thickness / (0.0254 if inch else 1e-3), rel=1e-12)
    assert column == ("thickness [in]" if inch else "thickness [mm]")
    assert table["air_fin"].tolist() == [p.space.variables["air_fin"].values[int(i)] for i in cores[:, 0]]
    assert table["passes"].tolist() == [p.space.variables["passes"].values[int(i)] for i in cores[:, 2]]


def test_cores_are_named_by_their_numbers_and_extra_columns_come_next(table):
    assert table["core"].tolist() == [f"C{i}" for i in range(100, 160)]
    assert list(table.columns[:2]) == ["core", "note"]
    assert table.columns[-1] == "flags"


def test_column_names_are_unique(table):
    assert table.columns.is_unique


def test_flags_are_told_in_words_over_all_duty_points(p, cores, table):
    flags = p.rate_points(cores).flags
    for row, text in zip(flags, table["flags"], strict=True):
        raised = {flag.name.lower() for flag in Flag if np.any(row & flag)}
        assert set(text.split()) == raised
    assert set(table["flags"]) != {""}


def test_flag_words_of_none_is_nothing():
    assert tables.flag_words(np.array([[0, 0], [1, 16]])) == ["", "air_fin_range header"]


def test_key_outputs_hold_objectives_limits_and_masses_once_each(p):
    names = tables.key_outputs(p)
    asked = {o.output for o in p.study.objectives} | {limit.output for limit in p.study.limits}
    assert asked | {"stack_height", "dry_mass", "filled_mass"} | set(SHOWN) == set(names)
    assert len(names) == len(set(names))


def test_objectives_as_searched_come_back_in_their_own_sense_and_unit(p, cores):
    judged = p.evaluate(cores)
    columns = tables.objective_columns(p, judged.objectives)
    rating = p.rate_points(cores)
    heat, loss = columns.values()
    unit = {"SI": ("kW", "kPa"), "US": ("hp", "psi")}[p.study.units]
    assert list(columns) == [f"heat_rejected@full_power [{unit[0]}]", f"air_pressure_drop@full_power [{unit[1]}]"]
    np.testing.assert_allclose(heat, displayed(rating["heat_rejected"][:, 0], "power", unit[0]), rtol=1e-12)
    np.testing.assert_allclose(loss, displayed(rating["air_pressure_drop"][:, 0], "pressure", unit[1]), rtol=1e-12)


def test_the_worst_and_the_mean_have_headers_of_their_own():
    s = replace(study(SECOND_DUTY), objectives=(
        Objective("heat_rejected", True, "mean"), Objective("air_outlet_temperature", False, "worst"),
    ))  # fmt: skip
    headers = tables.objective_headers(CoreProblem(s))
    assert headers == ["heat_rejected@mean [kW]", "air_outlet_temperature@worst [degC]"]


def test_the_worst_and_the_weighted_mean_stand_beside_the_duty_points(p, cores):
    table = tables.core_table(p, np.arange(60), cores, p.outputs, {}, overall=True)
    weights = np.array([point.weight for point in p.study.duty])
    for name, worst in (("air_pressure_drop", np.maximum), ("heat_rejected", np.minimum)):
        unit = units.unit_label(OUTPUTS[name].kind, p.study.units)
        first, second = (table[f"{name}@{duty} [{unit}]"] for duty in p.duty.names)
        np.testing.assert_allclose(table[f"{name}@worst [{unit}]"], worst(first, second), rtol=1e-12)
        mean = (weights[0] * first + weights[1] * second) / weights.sum()
        np.testing.assert_allclose(table[f"{name}@mean [{unit}]"], mean, rtol=1e-12)
