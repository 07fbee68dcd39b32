"""Boiling points against CoolProp's water, handbook values of glycols, and the two ways to state a strength."""

import tomllib

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from published import REFERENCE
from scipy.optimize import brentq

from physics.boiling import boiling_temperature, water_mole_fraction
from physics.properties import coolant

HANDBOOK = tomllib.loads((REFERENCE / "humid_air_examples.toml").read_text(encoding="utf-8"))["boiling"]
GLYCOLS = ("ethylene glycol", "propylene glycol")


def test_water_boils_where_the_reference_equation_says_to_two_hundred_degrees() -> None:
    T = np.linspace(320.0, 473.0, 40)
    p = PropsSI("P", "T", T, "Q", 0, "Water")
    np.testing.assert_allclose(boiling_temperature("water", None, None, p), T, atol=0.02)


@pytest.mark.parametrize("name", GLYCOLS)
def test_glycol_boils_within_two_kelvin_of_the_handbook(name: str) -> None:
    """Tables at 1 atm, whole degF; strong propylene glycol boils below Raoult's law."""
    for strength, F in zip(HANDBOOK["strength"], HANDBOOK[f"{name.split()[0]}_F"], strict=True):
        boils = boiling_temperature(name, strength, "volume", 101325.0)
        assert boils == pytest.approx((F + 459.67) / 1.8, abs=2.0)


def test_half_ethylene_glycol_boils_near_a_hundred_and_seven_degrees() -> None:
    assert boiling_temperature("ethylene glycol", 0.5, "volume", 101325.0) - 273.15 == pytest.approx(107.2, abs=1.0)


@pytest.mark.parametrize("name", GLYCOLS)
def test_weak_glycol_lifts_the_boiling_point_as_the_ebullioscopic_constant_says(name: str) -> None:
    """0.513 K kg/mol for water: any handbook, from memory; 2 % by mass."""
    molar_mass = {"ethylene glycol": 0.06207, "propylene glycol": 0.07610}[name]
    lift = boiling_temperature(name, 0.02, "mass", 101325.0) - boiling_temperature("water", None, None, 101325.0)
    assert lift == pytest.approx(0.513 * 0.02 / 0.98 / molar_mass, rel=0.02)


@pytest.mark.parametrize("name", GLYCOLS)
@pytest.mark.parametrize("by_volume", [0.2, 0.35, 0.5])
def test_equal_mole_fractions_by_volume_and_by_mass_freeze_alike(name: str, by_volume: float) -> None:
    """CoolProp's data by volume and by mass come from different sources; ethylene glycol's lie up to 2.8 K apart."""
    x = water_mole_fraction(name, by_volume, "volume")
    by_mass = brentq(lambda s: water_mole_fraction(name, s, "mass") - x, 0.05, 0.7)
    one, other = coolant(name, by_volume, "volume"), coolant(name, by_mass, "mass")
    assert one.freezing_point == pytest.approx(other.freezing_point, abs=3.0 if name == "ethylene glycol" else 0.2)


@pytest.mark.parametrize(("name", "by_volume", "by_mass"), [
    ("ethylene glycol", 0.50, 0.527), ("propylene glycol", 0.50, 0.509),
])  # fmt: skip
def test_half_by_volume_is_the_share_by_mass_of_the_densities(name: str, by_volume: float, by_mass: float) -> None:
    """1113 and 1036 against 998 kg/m3 at 20 degC: any handbook, from memory."""
    volume, mass = water_mole_fraction(name, by_volume, "volume"), water_mole_fraction(name, by_mass, "mass")
    assert volume == pytest.approx(mass, abs=1e-3)


def test_no_glycol_is_water() -> None:
    for name in GLYCOLS:
        assert water_mole_fraction(name, 0.0, "volume") == water_mole_fraction("water", None, None) == 1.0


@pytest.mark.parametrize("name", GLYCOLS)
def test_pressure_and_glycol_lift_the_boiling_point(name: str) -> None:
    pressures = np.array([[80e3, 101e3], [200e3, 350e3]])
    T = np.stack([boiling_temperature(name, s, "volume", pressures) for s in (0.1, 0.3, 0.5)])
    assert T.shape == (3, 2, 2)
    assert np.all(np.diff(T, axis=0) > 0)
    assert np.all(np.diff(T.reshape(3, 4), axis=1) > 0)


@pytest.mark.parametrize(("arguments", "word"), [
    (("brine", 0.3, "mass"), "unknown coolant"), (("ethylene glycol", 0.3, None), "basis"),
    (("ethylene glycol", None, "mass"), "strength"), (("propylene glycol", 1.0, "mass"), "strength"),
])  # fmt: skip
def test_what_is_no_coolant_is_refused(arguments: tuple[str, float | None, str | None], word: str) -> None:
    with pytest.raises(ValueError, match=word):
        water_mole_fraction(*arguments)
