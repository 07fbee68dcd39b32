"""Units: what is read, what is refused, and the conversions against their definitions."""

import math
import subprocess
import sys
import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimize import units
from optimize.unit_factors import FACTORS, KNOWN
from optimize.units import KINDS, UnitError, from_display, parse, parse_one_of, show, to_display, unit_label
from physics.outputs import OUTPUTS

# By definition: inch 25.4 mm, pound 0.45359237 kg, US gallon 231 cubic inches, standard gravity 9.80665 m/s2
# (NIST Special Publication 811, 2008, appendix B); ISO Btu 1055.056 J (31-4); mechanical horsepower 550 ft lbf/s.
INCH, POUND, GRAVITY, BTU = 0.0254, 0.45359237, 9.80665, 1055.056
PSI = POUND * GRAVITY / INCH**2
GALLON = 231 * INCH**3


@pytest.mark.parametrize(("text", "kind", "expected"), [
    ("87 mm", "length", 0.087),
    ("87mm", "length", 0.087),
    (" 87  mm ", "length", 0.087),
    ("3.5 in", "length", 3.5 * INCH),
    ("1e-1 m", "length", 0.1),
    (".5 in", "length", 0.5 * INCH),
    ("4 thou", "length", 0.004 * INCH),
    ("300 cm^2", "area", 0.03),
    ("18 1/in", "per length", 18 / INCH),
    ("18 fpi", "per length", 18 / INCH),
    ("1.5 psi", "pressure", 1.5 * PSI),
    ("31 psia", "absolute pressure", 31 * PSI),
    ("2.15 bar", "absolute pressure", 215e3),
    ("30 degC", "temperature", 303.15),
    ("212 degF", "temperature", 373.15),
    ("290 K", "temperature", 290.0),
    ("55 L/min", "volume flow", 55e-3 / 60),
    ("12 gal/min", "volume flow", 12 * GALLON / 60),
    ("12 gpm", "volume flow", 12 * GALLON / 60),
    ("60 lb/min", "mass flow", POUND),
    ("50 %", "fraction", 0.5),
    ("27 deg", "angle", 27.0),
    ("180 W/m/K", "conductivity", 180.0),
    ("2e-5 m^2*K/W", "fouling", 2e-5),
    ("2e-5 m^2 K/W", "fouling", 2e-5),
    ("1 Btu/h/ft/degF", "conductivity", BTU / 3600 / (12 * INCH) * 1.8),
    ("170 lb/ft^3", "density", 170 * POUND / (12 * INCH) ** 3),
    ("1 hp", "power", 550 * 12 * INCH * POUND * GRAVITY),
    ("3 K", "temperature difference", 3.0),
    ("9 degF", "temperature difference", 5.0),
    ("6000 rpm", "rotation", 100.0),
    ("6000 rev/min", "rotation", 100.0),
    ("100 rev/s", "rotation", 100.0),
    ("30 ft", "head", 30 * 12 * INCH),
    ("13.8 V", "voltage", 13.8),
    ("6 N*m", "torque", 6.0),
    ("6 Nm", "torque", 6.0),
    ("5 lbf*ft", "torque", 5 * POUND * GRAVITY * 12 * INCH),
    ("1000 kJ/kg", "specific work", 1e6),
    ("430 Btu/lb", "specific work", 430 * BTU / POUND),
    ("2 min", "time", 120.0),
    ("12 g/min", "small mass flow", 2e-4),
    ("1 oz/min", "small mass flow", POUND / 16 / 60),
    ("60 W", "small power", 60.0),
    ("2 Btu", "energy", 2 * BTU),
])
def test_a_text_becomes_the_si_value_of_its_definition(text: str, kind: str, expected: float) -> None:
    # Values are rounded to 15 digits on purpose: at most 5e-15, and a little for the way the factor is made.
    assert parse(text, kind) == pytest.approx(expected, rel=1e-14)


@pytest.mark.parametrize(("text", "kind", "what", "do"), [
    ("1,5 psi", "pressure", "decimal comma in '1,5 psi'", "write '1.5 psi'"),
    ("10 kPa", "length", "expected a length such as '87 mm', got 'kPa'", "use a unit of that kind"),
    ("87", "length", "expected a length such as '87 mm', got '87' without a unit", "write the unit behind the number"),
    ("", "length", "expected a length such as '87 mm', got ''", "write a number, a space and a unit"),
    ("mm 87", "length", "expected a length such as '87 mm', got 'mm 87'", "write a number, a space and a unit"),
    ("30 delta_degC", "temperature",
     "expected a temperature such as '30 degC', got a difference ('delta_degC')", "use degC, degF or K"),
    ("30 C", "temperature",
     "expected a temperature such as '30 degC', got the unknown unit 'C'", "did you mean 'degC'?"),
    ("-300 degC", "temperature", "'-300 degC' is not above absolute zero", "check the sign and the unit"),
    ("87 Mm", "length", "expected a length such as '87 mm', got the unknown unit 'Mm'", "did you mean 'mm'?"),
    ("3 points", "length", "expected a length such as '87 mm', got the unknown unit 'points'", "did you mean 'in'?"),
    ("3 m2", "area", "expected an area such as '300 cm^2', got the unknown unit 'm2'", "did you mean 'm^2'?"),
    ("15 psig", "absolute pressure", "'psig' is a gauge pressure",
     "add the pressure of the air outside and give it absolute"),
    ("9**9**9 mm", "length", "'**9**9 mm' is not a unit",
     "build units of names, * / and ^, such as 'W/m^2/K' or 'kg/m^3'"),
    ("3 degC", "temperature difference", "expected a temperature difference such as '3 K', got 'degC'",
     "write a difference in K (or degF)"),
    ("3 delta_degC", "temperature difference",
     "expected a temperature difference such as '3 K', got 'delta_degC'", "write a difference in K (or degF)"),
    ("16 psig", "pressure", "'psig' is a gauge pressure", "write 'psi'"),
    ("100 1/min", "rotation", "expected a speed of rotation such as '6500 rpm', got '1/min'",
     "use a unit of that kind"),
    ("100 RPM", "rotation", "expected a speed of rotation such as '6500 rpm', got the unknown unit 'RPM'",
     "did you mean 'rpm'?"),
    ("3 m*rpm", "velocity", "expected a velocity such as '10 m/s', got 'm*rpm'", "use a unit of that kind"),
    ("6 J", "torque", "expected a torque such as '6 N*m', got 'J'", "use a unit of that kind"),
    ("5 %", "angle", "expected an angle such as '27 deg', got '%'", "use a unit of that kind"),
    ("5 deg", "fraction", "expected a fraction such as '4 %', got 'deg'", "use a unit of that kind"),
])
def test_a_refused_text_says_what_was_expected_and_what_to_do(text: str, kind: str, what: str, do: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse(text, kind)
    assert (caught.value.what, caught.value.do) == (what, do)


@pytest.mark.parametrize("text", [
    "9**9**9 mm", "9^9^9 mm", "1 mm**9**9", "1 m^99", "1 m^-", "1e999 mm", "1e-999999999 mm", "nan mm", "inf mm",
    "1 mm; 2", "1 mm\n", "1 (m)", "1 __import__('os')", "٣ mm", "1 m" + "*m" * 400, "1_0 mm", "0x1 mm", "1 mm mm",
])
def test_no_text_reaches_pint_that_is_not_a_plain_quantity(text: str) -> None:
    start = time.perf_counter()
    try:
        value = parse(text, "length")
    except UnitError:
        value = math.nan
    assert time.perf_counter() - start < 2.0
    assert math.isnan(value) or text == "1 mm\n"


def _outcome(text: str, kind: str) -> float | UnitError:
    try:
        return parse(text, kind)
    except UnitError as error:
        return error


@given(st.text(max_size=80), st.sampled_from(sorted(KINDS)))
def test_any_text_is_a_finite_value_or_a_unit_error(text: str, kind: str) -> None:
    outcome = _outcome(text, kind)
    if isinstance(outcome, UnitError):
        assert outcome.what
        assert outcome.do
    else:
        assert math.isfinite(outcome)


def test_the_unit_decides_between_kinds() -> None:
    assert parse_one_of("0.9 kg/s", ("volume flow", "mass flow")) == (0.9, "mass flow")
    with pytest.raises(UnitError, match="expected a volume flow or a mass flow such as '55 L/min', got 'mm'"):
        parse_one_of("3 mm", ("volume flow", "mass flow"))


@pytest.mark.parametrize("kind", sorted(KINDS))
@pytest.mark.parametrize("system", units.SYSTEMS)
def test_display_units_are_read_back_by_the_reader(kind: str, system: str) -> None:
    label = unit_label(kind, system)
    value = float(from_display(7.0, kind, system))
    assert parse(f"7 {label}", kind) == pytest.approx(value, rel=1e-14)
    assert float(to_display(value, kind, system)) == pytest.approx(7.0, rel=1e-13)


@pytest.mark.parametrize("base", FACTORS)
def test_the_table_of_factors_is_what_pint_says(base: str) -> None:
    told = {unit: units.pint_factor(unit, base) for unit in KNOWN - {base}}
    of_the_kind = {unit: factor for unit, factor in told.items() if factor is not None}
    assert FACTORS[base] == pytest.approx(of_the_kind, rel=1e-15)


def test_examples_and_display_units_of_all_kinds_are_read_without_pint() -> None:
    code = (
        "import sys\nfrom optimize.units import *\n"
        "for kind in KINDS:\n"
        "    parse(KINDS[kind].example, kind)\n"
        "    [parse(f'1 {unit_label(kind, system)}', kind) for system in SYSTEMS]\n"
        "print('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"


def test_display_keeps_the_shape_of_an_array() -> None:
    temperature = np.array([[273.15, 373.15], [300.0, np.nan]])
    shown = to_display(temperature, "temperature", "US")
    assert shown.shape == (2, 2)
    np.testing.assert_allclose(shown[0], [32.0, 212.0], rtol=1e-13)


def test_every_kind_of_output_has_units() -> None:
    assert {output.kind for output in OUTPUTS.values()} <= KINDS.keys()


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_the_example_of_a_kind_is_of_that_kind(kind: str) -> None:
    assert math.isfinite(parse(KINDS[kind].example, kind))


def test_a_value_is_shown_in_the_system_asked_for() -> None:
    assert show(12_000.0, "pressure", "SI") == "12 kPa"
    assert show(2 * PSI, "pressure", "US") == "2 psi"
    assert show(1.5, "number", "US") == "1.5"


def test_an_unknown_system_is_a_mistake_of_the_programmer() -> None:
    with pytest.raises(ValueError, match="'SI' or 'US'"):
        unit_label("length", "metric")
