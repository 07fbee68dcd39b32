"""Fluid properties against CoolProp, a textbook table, a handbook table and a course exercise."""

import json
import pickle
import subprocess
import sys
import warnings
from pathlib import Path

import numpy as np
import pytest
from comparisons import air_table_errors, glycol_table_errors
from CoolProp.CoolProp import PropsSI
from published import table

from physics import property_fits
from physics.arrays import out_of_range
from physics.fluid import Fluid
from physics.properties import AIR, ConstantFluid, coolant

FIT = 5e-4  # what the shipped fits promise
METHODS = {"density": "D", "specific_heat": "C", "viscosity": "V", "conductivity": "L"}
MIXTURES = [
    ("ethylene glycol", "volume", "AEG"),
    ("ethylene glycol", "mass", "MEG"),
    ("propylene glycol", "volume", "APG"),
    ("propylene glycol", "mass", "MPG"),
]
# None of these is a node of the fits; both ends are included.
STRENGTHS = [0.10, 0.137, 0.25, 0.333, 0.40, 0.50, 0.571, 0.60]
EVERY_FLUID = [AIR, coolant("water"), *(coolant(name, 0.4, basis) for name, basis, _ in MIXTURES)]


@pytest.mark.parametrize("method", METHODS)
def test_air_stays_within_its_promise_of_coolprop(method: str) -> None:
    T, p = (a.ravel() for a in np.meshgrid(np.linspace(250.0, 600.0, 83), np.linspace(0.8e5, 5.0e5, 11)))
    expected = PropsSI(METHODS[method], "T", T, "P", p, "Air")
    np.testing.assert_allclose(getattr(AIR, method)(T, p), expected, rtol=FIT)


@pytest.mark.parametrize("method", METHODS)
def test_water_stays_within_its_promise_of_coolprop(method: str) -> None:
    water = coolant("water")
    T = np.linspace(*water.temperature_range, 157)
    expected = PropsSI(METHODS[method], "T", T, "P", np.full_like(T, 2.0e5), "Water")
    np.testing.assert_allclose(getattr(water, method)(T, 2.0e5), expected, rtol=FIT)


@pytest.mark.parametrize("strength", STRENGTHS)
@pytest.mark.parametrize(("name", "basis", "code"), MIXTURES)
def test_glycol_follows_coolprop_over_its_whole_range(
    name: str, basis: str, code: str, strength: float
) -> None:
    mixture = coolant(name, strength, basis)
    T = np.linspace(*mixture.temperature_range, 37)
    for method, key in METHODS.items():
        expected = PropsSI(key, "T", T, "P", np.full_like(T, 2.0e5), f"INCOMP::{code}[{strength}]")
        # A cubic by a quintic is CoolProp's own form: exact but for the printed digits.
        np.testing.assert_allclose(getattr(mixture, method)(T, 2.0e5), expected, rtol=1e-8)


@pytest.mark.parametrize("strength", STRENGTHS)
@pytest.mark.parametrize(("name", "basis", "code"), MIXTURES)
def test_range_starts_above_freezing_or_at_minus_ten(
    name: str, basis: str, code: str, strength: float
) -> None:
    mixture = coolant(name, strength, basis)
    freezing = PropsSI("T_freeze", "T", 300.0, "P", 2.0e5, f"INCOMP::{code}[{strength}]")
    assert mixture.freezing_point == pytest.approx(freezing, abs=2e-3)
    low, high = mixture.temperature_range
    assert high == 373.15
    assert freezing < low
    assert low == pytest.approx(max(263.15, freezing), abs=0.02)


def test_air_table_of_coolprop_is_met() -> None:
    # Its six printed digits add less than 1e-5 to the fit's 0.05 %.
    rows = table("air_properties_coolprop.csv")
    T, p = rows.T_C.to_numpy() + 273.15, rows.p_bar.to_numpy() * 1e5
    np.testing.assert_allclose(AIR.density(T, p), rows.rho, rtol=FIT)
    np.testing.assert_allclose(AIR.specific_heat(T, p), rows.cp, rtol=FIT)
    np.testing.assert_allclose(AIR.viscosity(T, p) * 1e6, rows.mu_uPas, rtol=FIT)
    np.testing.assert_allclose(AIR.conductivity(T, p) * 1e3, rows.k_mW, rtol=FIT)


def test_air_of_the_textbook_is_met_as_well_as_coolprop_meets_it() -> None:
    # What CoolProp itself differs from the book by, plus the fit's 0.05 %.
    bands = {"density": 1e-3, "specific heat": 1e-3, "viscosity": 5.4e-3, "conductivity": 2e-2}
    for name, error in air_table_errors().items():
        np.testing.assert_allclose(error, 0, atol=bands[name], err_msg=name)


@pytest.mark.parametrize("fraction", [0.3, 0.5])
def test_handbook_glycol_table_is_met_by_volume_fraction(fraction: float) -> None:
    error = glycol_table_errors(fraction)
    np.testing.assert_allclose(error["density"], 0, atol=1e-3)
    np.testing.assert_allclose(error["specific heat"], 0, atol=1e-3)
    # Printed to three digits: half a digit on top of the 0.1 %.
    k = table("eg_water_properties.csv").query("fraction == @fraction").table_k.to_numpy(dtype=float)
    assert np.all(np.abs(error["conductivity"]) <= 1e-3 + 5e-4 / k)
    # The header's 2.3 % is 2.34 % at its worst point.
    np.testing.assert_allclose(error["viscosity"], 0, atol=0.0235)


def test_course_exercise_glycol_specific_heat() -> None:
    # University of Liège exercise, 40 % by mass near 44.6 degC: 3615.4 and 3615.1 by two programs.
    assert coolant("ethylene glycol", 0.40, "mass").specific_heat(
        np.array([44.67 + 273.15]), 1.0e5
    ) == pytest.approx(3615.3, rel=1e-3)


def test_volume_and_mass_fractions_are_never_mixed() -> None:
    for row in table("eg_water_properties.csv").to_dict("records"):
        T = float(row["T_C"]) + 273.15
        by_volume = coolant("ethylene glycol", row["fraction"], "volume")
        by_mass = coolant("ethylene glycol", row["fraction"], "mass")
        converted = coolant("ethylene glycol", row["mass_fraction_equiv"], "mass")
        # Five printed digits; the converted strength has only four.
        assert by_volume.specific_heat(T, 2.0e5) == pytest.approx(row["AEG_cp"], rel=2e-5)
        assert by_mass.specific_heat(T, 2.0e5) == pytest.approx(row["MEG_cp"], rel=2e-5)
        assert converted.specific_heat(T, 2.0e5) == pytest.approx(row["MEGm_cp"], rel=2e-4)


def test_same_number_by_volume_and_by_mass_is_another_fluid() -> None:
    for name in ("ethylene glycol", "propylene glycol"):
        by_volume, by_mass = (coolant(name, 0.5, basis) for basis in ("volume", "mass"))
        assert by_volume != by_mass
        assert by_volume.name != by_mass.name
        assert abs(by_volume.viscosity(300.0, 2e5) / by_mass.viscosity(300.0, 2e5) - 1.0) > 0.02


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("oil", 0.3, "mass"), "unknown coolant 'oil'.*'water', 'ethylene glycol', 'propylene glycol'"),
        (("oil",), "unknown coolant"),
        (("water", 0.3, None), "water takes no strength"),
        (("water", None, "volume"), "water takes no strength and no basis"),
        (("ethylene glycol",), "basis of its strength must be 'volume' or 'mass'"),
        (("ethylene glycol", 0.3), "basis of its strength"),
        (("ethylene glycol", 0.3, "weight"), "not 'weight'"),
        (("ethylene glycol", None, "mass"), "give its strength"),
        (("propylene glycol", 0.09, "mass"), "fraction from 0.1 to 0.6, not 0.09"),
        (("propylene glycol", 50.0, "volume"), "fraction from 0.1 to 0.6, not 50"),
        (("propylene glycol", float("nan"), "volume"), "not nan"),
    ],
)
def test_wrong_coolant_is_refused_with_the_reason(arguments: tuple[object, ...], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        coolant(*arguments)  # type: ignore[arg-type]


def test_strength_at_the_end_of_its_range_forgives_rounding() -> None:
    assert coolant("ethylene glycol", 0.1 + 0.2 + 0.3, "mass") == coolant("ethylene glycol", 0.6, "mass")


def test_constant_fluid_is_constant() -> None:
    oil = ConstantFluid("oil", 1900.0, 0.02, 0.14, density=860.0)
    T = np.array([[280.0], [360.0]])
    for method, value in (("specific_heat", 1900.0), ("viscosity", 0.02), ("conductivity", 0.14)):
        np.testing.assert_array_equal(getattr(oil, method)(T, 1e5), [[value], [value]])
    np.testing.assert_array_equal(oil.density(T, 1e5), [[860.0], [860.0]])
    assert not out_of_range(T, oil.temperature_range).any()


def test_constant_gas_is_ideal() -> None:
    gas = ConstantFluid("gas", 1005.0, 1.8e-5, 0.026, gas_constant=287.0)
    rho = gas.density(np.array([[287.0], [574.0]]), np.array([1.0e5, 2.0e5]))
    np.testing.assert_allclose(rho, [[1e5 / 287**2, 2e5 / 287**2], [0.5e5 / 287**2, 1e5 / 287**2]])


@pytest.mark.parametrize("extra", [{}, {"density": 1.2, "gas_constant": 287.0}])
def test_constant_fluid_wants_one_way_to_its_density(extra: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="exactly one of density and gas_constant"):
        ConstantFluid("gas", 1005.0, 1.8e-5, 0.026, **extra)


@pytest.mark.parametrize("fluid", EVERY_FLUID, ids=lambda fluid: fluid.name)
def test_range_is_flagged_just_past_its_ends(fluid: Fluid) -> None:
    low, high = fluid.temperature_range
    T = np.array([low - 1e-3, low, high, high + 1e-3, np.nan])
    assert out_of_range(T, fluid.temperature_range).tolist() == [True, False, False, True, True]


@pytest.mark.parametrize("fluid", EVERY_FLUID, ids=lambda fluid: fluid.name)
def test_values_stay_positive_and_finite_at_any_temperature(fluid: Fluid) -> None:
    T = np.array([-1e9, 0.0, 1.0, 100.0, 250.0, 300.0, 400.0, 650.0, 5000.0, 1e9])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for method in METHODS:
            values = getattr(fluid, method)(T, 2.0e5)
            assert np.isfinite(values).all()
            assert (values > 0.0).all()


@pytest.mark.parametrize("fluid", EVERY_FLUID, ids=lambda fluid: fluid.name)
def test_unknown_temperature_stays_unknown(fluid: Fluid) -> None:
    assert all(np.isnan(getattr(fluid, method)(np.array([np.nan]), 2e5))[0] for method in METHODS)


@pytest.mark.parametrize("fluid", EVERY_FLUID, ids=lambda fluid: fluid.name)
def test_arguments_are_left_alone_and_batches_agree_with_singles(fluid: Fluid) -> None:
    T, p = np.array([[280.0], [320.0], [370.0]]), np.array([1.1e5, 1.9e5])
    kept = T.copy(), p.copy()
    for method in METHODS:
        batch = np.broadcast_to(getattr(fluid, method)(T, p), (3, 2))
        singles = [[float(getattr(fluid, method)(t, q)) for q in p] for t in T[:, 0]]
        np.testing.assert_allclose(batch, singles, rtol=1e-14)
    np.testing.assert_array_equal(T, kept[0])
    np.testing.assert_array_equal(p, kept[1])


@pytest.mark.parametrize(
    "fluid", [*EVERY_FLUID, ConstantFluid("oil", 1900.0, 0.02, 0.14, density=860.0)], ids=lambda f: f.name
)
def test_fluid_survives_the_way_to_a_worker(fluid: Fluid) -> None:
    assert pickle.loads(pickle.dumps(fluid)) == fluid


def test_properties_do_not_import_coolprop() -> None:
    code = (
        "import sys; import physics.properties as p; p.coolant('ethylene glycol', 0.5, 'mass');"
        "import physics.property_fits; sys.exit(any('coolprop' in name.lower() for name in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=Path(__file__).parents[1], check=False)
    assert done.returncode == 0


def test_check_accepts_what_is_shipped(capsys: pytest.CaptureFixture[str]) -> None:
    assert property_fits.main(["--check"]) == 0
    assert "too large" not in capsys.readouterr().out


def test_check_refuses_an_error_above_its_limit(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(property_fits, "shipped_errors", lambda: [("Air", "density", 5.1e-4)])
    assert property_fits.main(["--check"]) == 1
    assert "too large" in capsys.readouterr().out


def test_shipped_tables_are_what_the_command_makes(tmp_path: Path) -> None:
    property_fits.write_tables(tmp_path)
    for made in sorted(tmp_path.iterdir()):
        fresh, shipped = (json.loads((d / made.name).read_text()) for d in (tmp_path, property_fits.DATA))
        if fresh["source"] != shipped["source"]:
            pytest.skip(f"shipped from {shipped['source']}, installed is {fresh['source']}")
        assert fresh.keys() == shipped.keys()
        # A unit of the seventh digit, the last written: it may round the other way on another processor.
        np.testing.assert_allclose(numbers(fresh), numbers(shipped), rtol=1.01e-6, atol=1e-15)


def numbers(tree: object) -> list[float]:
    """Every number of a JSON tree in order, except the errors, whose last digit is noise."""
    if isinstance(tree, dict):
        return [x for key, branch in tree.items() if key != "max_error" for x in numbers(branch)]
    if isinstance(tree, list):
        return [x for branch in tree for x in numbers(branch)]
    return [float(tree)] if isinstance(tree, (int, float)) else []
