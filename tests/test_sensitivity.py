"""Local sensitivities: polynomials whose differences are exact, and a core whose geometry has simple derivatives."""

from dataclasses import replace

import numpy as np
import pytest
from small_studies import core, study

from optimize.evaluate import CoreProblem
from optimize.study.model import Limit, Tolerance
from optimize.tolerance.sensitivity import column_kind, core_sensitivities, local, step_of

ONE = np.array([1.0])


def normal(below: float, above: float | None = None, relative: bool = False) -> Tolerance:
    return Tolerance("normal", below, below if above is None else above, 3.0, relative)


def a_problem(units: str = "SI", **tolerances: Tolerance) -> CoreProblem:
    """The starter, limited in stack height and mass, with these tolerances and no others."""
    s = study()
    laws = {key.replace("__", "."): law for key, law in tolerances.items()}

    def of(part: str) -> dict[str, Tolerance]:
        return {key.split(".")[1]: law for key, law in laws.items() if key.split(".")[0] == part}

    limits = (
        Limit("stack_height", None, 1.0, None), Limit("dry_mass", None, 50.0, None),
        Limit("air_free_flow_area", 0.0, None, None),
    )
    return CoreProblem(replace(
        s, units=units, limits=limits,
        variables={key: replace(v, tolerance=laws.get(key)) for key, v in s.variables.items()},
        air_fins={k: replace(r, tolerances=of("air_fin")) for k, r in s.air_fins.items()},
        turbulators={k: replace(r, tolerances=of("turbulator")) for k, r in s.turbulators.items()},
        ports={k: replace(p, tolerances=of("port")) for k, p in s.ports.items()},
    ))


def row(found, output: str):
    return found.outputs.index(output)


# --- differences ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ahead", [False, True])
def test_the_slope_of_a_parabola_is_exact(ahead):
    slope, low, high = local(lambda x: 3 * x**2 - x, 2 * ONE, 0.5 * ONE, 1.5 * ONE, 3 * ONE, np.array([ahead]))
    assert slope == pytest.approx(np.array([[11 * 0.5]]), rel=1e-12)  # 6 x - 1 = 11 at 2
    assert low == pytest.approx(np.array([[-4.75]]), rel=1e-12)  # 5.25 - 10
    assert high == pytest.approx(np.array([[14.0]]), rel=1e-12)  # 24 - 10


@pytest.mark.parametrize("ahead", [False, True])
def test_the_error_of_a_slope_falls_with_the_square_of_its_step(ahead):
    def error(h: float) -> float:
        slope, _, _ = local(np.exp, ONE, h * ONE, ONE, ONE, np.array([ahead]))
        return abs(slope.item() / h - np.e)

    assert error(0.02) / error(0.01) == pytest.approx(4.0, rel=0.05)


def test_each_input_is_moved_alone_and_all_in_one_call():
    asked = []

    def function(x):
        asked.append(x.shape)
        return np.stack([x[0] * x[1], x[0] - 2 * x[1]])

    slope, low, high = local(
        function, np.array([2.0, 5.0]), np.array([0.1, 0.2]), np.array([1.0, 4.5]), np.array([2.5, 7.0])
    )
    assert asked == [(2, 9)]
    assert slope == pytest.approx(np.array([[0.5, 0.4], [0.1, -0.4]]), rel=1e-9)
    assert low == pytest.approx(np.array([[-5.0, -1.0], [-1.0, 1.0]]), rel=1e-12)
    assert high == pytest.approx(np.array([[2.5, 4.0], [0.5, -4.0]]), rel=1e-12)


# --- steps ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "nominal", "si", "us"), [
    ("air_fin.spacing", 8.9e-3, (0.01e-3, "0.01 mm"), (0.0254e-3, "0.001 in")),
    ("plate_thickness", 0.5e-3, (0.01e-3, "0.01 mm"), (0.0254e-3, "0.001 in")),
    ("thickness", 0.07, (0.1e-3, "0.1 mm"), (0.254e-3, "0.01 in")),
    ("port.bore", 0.022, (0.1e-3, "0.1 mm"), (0.254e-3, "0.01 in")),
    ("air_blockage", 0.04, (0.01, "1 point"), (0.01, "1 point")),
    ("density", 2730.0, (27.3, "1 %"), (27.3, "1 %")),
    ("air_fin.louver_angle", 27.0, (0.27, "1 %"), (0.27, "1 %")),
    ("coolant_fouling", 2e-5, (2e-7, "1 %"), (2e-7, "1 %")),
])  # fmt: skip
def test_a_slope_is_for_a_step_of_the_trade(name, nominal, si, us):
    for system, (size, words) in (("SI", si), ("US", us)):
        step, text = step_of(name, nominal, system)
        assert (step, text) == (pytest.approx(size, rel=1e-12), words)


def test_a_column_is_of_the_kind_of_its_variable():
    names = ("length", "coolant_blockage", "fin_conductivity", "port.radius", "lid_loss")
    kinds = [column_kind(name) for name in names]
    assert kinds == ["length", "fraction", "conductivity", "length", "number"]


# --- cores ----------------------------------------------------------------------------------------------------------


def test_the_stack_grows_by_the_passages_times_what_a_spacing_grows():
    """10 coolant passages between 11 of air; in SI a slope is for 0.01 mm of a fin."""
    p = a_problem(air_fin__spacing=normal(0.05e-3), turbulator__spacing=normal(0.03e-3))
    found = core_sensitivities(p, core(p))
    i = row(found, "stack_height")
    assert found.names == ("air_fin.spacing", "coolant_fin.spacing")
    assert found.per == ("0.01 mm", "0.01 mm")
    assert found.slope[i] == pytest.approx([11e-5, 10e-5], rel=1e-9)
    assert found.at_low[i] == pytest.approx([-11 * 0.05e-3, -10 * 0.03e-3], rel=1e-9)
    assert found.at_high[i] == pytest.approx([11 * 0.05e-3, 10 * 0.03e-3], rel=1e-9)
    names, slope, low, _ = found.displayed("SI")
    assert names[i] == "mm"
    assert slope[i] == pytest.approx([0.11, 0.10], rel=1e-9)
    assert low[i] == pytest.approx([-0.55, -0.30], rel=1e-9)


def test_a_study_in_us_units_has_slopes_for_a_thou():
    p = a_problem("US", air_fin__spacing=normal(0.05e-3))
    found = core_sensitivities(p, core(p))
    i = row(found, "stack_height")
    names, slope, low, high = found.displayed("US")
    assert (names[i], found.per) == ("in", ("0.001 in",))
    assert slope[i] == pytest.approx([0.011], rel=1e-9)
    assert (low[i], high[i]) == (pytest.approx([-0.55 / 25.4], rel=1e-9), pytest.approx([0.55 / 25.4], rel=1e-9))


def test_mass_goes_with_density():
    p = a_problem(material__density=normal(0.02, 0.03, relative=True))
    nominal = float(p.rate_choices(core(p), 1)["dry_mass"][0])
    found = core_sensitivities(p, core(p))
    i = row(found, "dry_mass")
    assert found.per == ("1 %",)
    assert found.slope[i] == pytest.approx([0.01 * nominal], rel=1e-9)
    assert found.at_low[i] == pytest.approx([-0.02 * nominal], rel=1e-9)
    assert found.at_high[i] == pytest.approx([0.03 * nominal], rel=1e-9)
    assert found.displayed("US")[0][i] == "lb"
    assert found.displayed("US")[1][i] == pytest.approx([0.01 * nominal / 0.45359237], rel=1e-9)


def test_a_change_of_temperature_has_no_zero_point():
    p = a_problem(core__thickness=normal(0.4e-3))
    found = core_sensitivities(p, core(p))
    i = row(found, "air_outlet_temperature@full_power")
    (si, us) = (found.displayed(system) for system in ("SI", "US"))
    assert (si[0][i], us[0][i]) == ("K", "degF")
    assert us[2][i] == pytest.approx(1.8 * si[2][i], rel=1e-12)
    assert si[2][i] == pytest.approx(found.at_low[i], rel=1e-12)
    assert 0 < found.at_low[i, 0] < 1  # a thinner core cools less, by less than a kelvin for 0.4 mm


def test_a_blockage_of_nothing_is_looked_at_from_above():
    """Free area goes with 1 - blockage, exactly."""
    p = a_problem(core__air_blockage=Tolerance("uniform", 0.02, 0.02, None, False))
    open_core = core(p, air_blockage=0.0)
    area = float(p.rate_choices(open_core, 1)["air_free_flow_area"][0])
    found = core_sensitivities(p, open_core)
    i = row(found, "air_free_flow_area")
    assert found.per == ("1 point",)
    assert found.slope[i] == pytest.approx([-0.01 * area], rel=1e-9)
    assert found.at_low[i] == pytest.approx([0.0], abs=1e-15)  # nothing is blocked less than not at all
    assert found.at_high[i] == pytest.approx([-0.02 * area], rel=1e-9)


def test_a_measured_law_reaches_to_its_least_and_greatest_deviation():
    law = Tolerance("measured", 0.1e-3, 0.2e-3, None, False, deviations=(0.2e-3, -0.1e-3, 0.05e-3))
    p = a_problem(air_fin__spacing=law)
    found = core_sensitivities(p, core(p))
    i = row(found, "stack_height")
    assert (found.at_low[i], found.at_high[i]) == (pytest.approx([-1.1e-3]), pytest.approx([2.2e-3]))


def test_a_copy_that_cannot_be_computed_is_not_a_number():
    p = a_problem(core__air_blockage=Tolerance("uniform", 0.02, 0.86, None, False))
    found = core_sensitivities(p, core(p))
    i = row(found, "air_pressure_drop@full_power")
    assert np.isnan(found.at_high[i, 0])
    assert np.isfinite(found.at_low[i, 0])
    assert found.slope[i, 0] > 0


def test_a_core_without_tolerances_has_no_sensitivities():
    p = a_problem()
    found = core_sensitivities(p, core(p))
    assert found.names == ()
    assert found.slope.shape == (len(found.outputs), 0)
