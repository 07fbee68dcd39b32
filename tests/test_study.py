"""The study reader: what it gives, every fault word for word, and no traceback for any text."""

import pickle
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from study_texts import block, faults, mutations, outcome

from optimize.errors import FinfrontError
from optimize.study.faults import StudyFaults
from optimize.study.lines import key_lines
from optimize.study.load import load
from optimize.study.model import Study, Tolerance, Variable
from optimize.study.starter import CATALOGUES, starter, write_starter
from optimize.study.toml_file import MOST_BYTES
from physics.properties import ConstantFluid

ROOT = Path(__file__).parents[1]
EXAMPLES = ["dune_racer.toml", "tow_rig_us_units.toml"]
AIR_FINS, TURBULATORS, PORTS, TABLE, LINES = CATALOGUES
LENGTH = 'length = "286 mm"'
THICKNESS = re.search(r"thickness = \{ from.*", starter())[0]  # type: ignore[index]


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Texts of the starter study and its catalogues by file name."""
    folder = tmp_path_factory.mktemp("clean")
    return {path.relative_to(folder).as_posix(): path.read_text() for path in write_starter(folder / "study.toml")}


@pytest.fixture
def edited(clean: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Writes the starter into the working folder with one replacement in one of its files."""
    monkeypatch.chdir(tmp_path)
    write_starter("study.toml")

    def edit(old: str, new: str, file: str = "study.toml") -> None:
        text = Path(file).read_text()
        assert old in text
        Path(file).write_text(text.replace(old, new, 1))

    return edit


def line(clean: dict[str, str], text: str, file: str = "study.toml") -> int:
    return clean[file][: clean[file].index(text)].count("\n") + 1


# --- what is read ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_example_studies_load(name: str) -> None:
    study = load(ROOT / "studies" / name)
    assert len(study.objectives) in (2, 3)
    assert set(study.variables["core.air_fin"].values) == set(study.air_fins)
    assert "invented" in study.about.lower()


def test_the_dune_racer_offers_some_millions_of_cores_of_all_families() -> None:
    study = load(ROOT / "studies" / EXAMPLES[0])
    assert 2e6 < np.prod([variable.size or 1 for variable in study.variables.values()]) < 8e6
    assert {roll.family for roll in study.air_fins.values()} == {"offset strip", "plain", "louver", "wavy", "measured"}


def test_the_starter_loads_and_says_what_its_file_says(edited: Callable[..., None]) -> None:
    study = load("study.toml")
    point = study.duty[0]
    assert (study.path, study.seed, study.units, study.header) == ("study.toml", 1, "SI", "centre")
    assert study.text == starter()
    assert (study.coolant.fluid, study.coolant.strength, study.coolant.basis) == ("ethylene glycol", 0.5, "volume")
    assert (point.name, point.air_flow, point.air_temperature, point.air_pressure) == ("full_power", 0.8, 415.15, 215e3)
    assert study.variables["core.plate_thickness"] == Variable(
        "core.plate_thickness", (0.0005,), tolerance=Tolerance("uniform", 0.04, 0.04, None, True)
    )
    assert study.variables["core.air_blockage"].tolerance == Tolerance("triangular", 0.02, 0.02, None, False)
    assert study.variables["core.thickness"].tolerance == Tolerance("normal", 0.0004, 0.0004, 3.0, False)
    assert study.variables["core.passes"].values == ("1", "2 through the thickness", "2 side by side")
    assert study.limits[0].maximum == 12e3
    assert study.bands == {"tank_loss": (-0.25, 0.25)}
    assert set(study.files) == {*CATALOGUES} - {LINES}  # named only behind a "#"


def test_fins_and_ports_carry_their_dimensions_and_tolerances(edited: Callable[..., None]) -> None:
    own = 'tolerances = { thickness = { law = "uniform", half_width = "1 um" } }'
    edited("[fin.S18-64]", f"[fin.S18-64]\n{own}", AIR_FINS)
    study = load("study.toml")
    strip, measured = study.air_fins["S18-64"], study.air_fins["M17-64"]
    pitch = pytest.approx(0.0254 / 18, rel=1e-14)
    assert strip.values == {"pitch": pitch, "spacing": 0.00635, "thickness": 0.0001, "strip_length": 0.0032}
    assert strip.tolerances["thickness"] == Tolerance("uniform", 1e-6, 1e-6, None, False)
    assert strip.tolerances["pitch"] == Tolerance("normal", 0.03, 0.03, 3.0, True)
    assert measured.table is not None
    assert measured.table[0] == (300.0, 0.0262, 0.106)
    assert (measured.band_j, measured.band_f) == ((-0.08, 0.08), (-0.1, 0.1))
    assert study.air_fins["L16-80"].values["louver_angle"] == 27.0
    assert study.turbulators["OPEN-30"].values == {"spacing": 0.003}
    assert study.ports["SL17-30"].values == {"height": 0.017, "width": 0.03, "line_bore": 0.0219}
    assert study.ports["D28-20"].tolerances == {"open_height": Tolerance("uniform", 0.0002, 0.0002, None, False)}


@pytest.mark.parametrize(("text", "values", "ends"), [
    ('"286 mm"', (0.286,), (None, None)),
    ('["280 mm", "286 mm"]', (0.28, 0.286), (None, None)),
    ('{ choose = ["280 mm", "286 mm"] }', (0.28, 0.286), (None, None)),
    ('{ from = "280 mm", to = "286 mm", step = "2 mm" }', (0.28, 0.282, 0.284, 0.286), (None, None)),
    ('{ from = "280 mm", to = "285 mm", step = "2 mm" }', (0.28, 0.282, 0.284), (None, None)),
    ('{ from = "280 mm", to = "286 mm" }', (), (0.28, 0.286)),
])
def test_a_number_may_be_fixed_chosen_stepped_or_continuous(
    edited: Callable[..., None], text: str, values: tuple[float, ...], ends: tuple[float | None, float | None]
) -> None:
    edited(LENGTH, f"length = {text}")
    variable = load("study.toml").variables["core.length"]
    assert (variable.values, (variable.low, variable.high)) == (values, ends)
    assert (variable.is_fixed, variable.is_continuous) == (len(values) == 1, not values)
    assert variable.size == (len(values) or None)


def test_a_fine_range_hits_its_end_in_spite_of_rounding(edited: Callable[..., None]) -> None:
    edited(THICKNESS, 'thickness = { from = "40 mm", to = "90 mm", step = "0.1 mm" }')
    values = load("study.toml").variables["core.thickness"].values
    assert values == tuple(float(f"{0.04 + i * 1e-4:.4f}") for i in range(501))


def test_a_volume_flow_becomes_a_mass_flow_at_the_coolants_inlet_temperature(edited: Callable[..., None]) -> None:
    fluid = ConstantFluid("test", 3500.0, 1e-3, 0.4, density=1050.0)
    study = load("study.toml", lambda name, strength, basis: fluid)
    assert study.duty[0].coolant_flow == pytest.approx(55e-3 / 60 * 1050.0, rel=1e-14)
    edited('coolant_flow = "55 L/min"', 'coolant_flow = "0.9 kg/s"')
    assert load("study.toml", lambda name, strength, basis: fluid).duty[0].coolant_flow == 0.9


def test_a_coolant_as_hot_as_the_air_or_hotter_is_no_fault(edited: Callable[..., None]) -> None:
    edited('air_temperature = "142 degC"', 'air_temperature = "46 degC"')
    load("study.toml")
    edited('air_temperature = "46 degC"', 'air_temperature = "10 degC"')
    load("study.toml")


def test_water_needs_no_strength_and_no_basis(edited: Callable[..., None]) -> None:
    edited('fluid = "ethylene glycol"', 'fluid = "water"')
    edited('strength = "50 %"\n', "")
    edited('basis = "volume" ', "#")
    assert load("study.toml").coolant.strength is None


def test_a_study_survives_pickling(edited: Callable[..., None]) -> None:
    study = load("study.toml")
    assert pickle.loads(pickle.dumps(study)) == study


def test_a_file_with_a_byte_order_mark_and_windows_line_ends_loads(edited: Callable[..., None]) -> None:
    Path("study.toml").write_bytes(b"\xef\xbb\xbf" + starter().replace("\n", "\r\n").encode())
    assert load("study.toml").seed == 1


# --- SI and US ---------------------------------------------------------------------------------------------------

# Exact by definition (inch, pound, gallon, standard gravity), as in test_units.
_TO_US: dict[str, Callable[[float], str]] = {
    "mm": lambda x: f"{x / 25.4!r} in",
    "cm^2": lambda x: f"{x / 2.54**2!r} in^2",
    "kg/s": lambda x: f"{x / 0.45359237 * 60!r} lb/min",
    "kPa": lambda x: f"{x * 1e3 / (0.45359237 * 9.80665 / 0.0254**2)!r} psi",
    "L/min": lambda x: f"{x * 1e-3 / (231 * 0.0254**3)!r} gal/min",
    "degC": lambda x: f"{x * 1.8 + 32!r} degF",
    "kg/m^3": lambda x: f"{x / 0.45359237 * 0.3048**3!r} lb/ft^3",
}


def _us(text: str) -> str:
    def one(match: re.Match[str]) -> str:
        convert = _TO_US.get(match[2])
        return f'"{convert(float(match[1]))}"' if convert else match[0]

    return re.sub(r'"([0-9.e-]+) ([A-Za-z][^"]*)"', one, text)


def _numbers(value: object) -> list[float]:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return [float(value)]
    if isinstance(value, dict):
        return [number for item in value.values() for number in _numbers(item)]
    if isinstance(value, (list, tuple)):
        return [number for item in value for number in _numbers(item)]
    return _numbers(vars(value)) if hasattr(value, "__dataclass_fields__") else []


@pytest.mark.parametrize("name", ["starter", EXAMPLES[0]])
def test_si_and_us_spellings_of_one_study_give_the_same_numbers(
    name: str, edited: Callable[..., None], tmp_path: Path
) -> None:
    path = Path("study.toml") if name == "starter" else ROOT / "studies" / name
    si = load(path)
    (tmp_path / "us").mkdir()
    for file, text in {"study.toml": si.text, **si.files}.items():
        target = tmp_path / "us" / file
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(_us(text) if file.endswith(".toml") else text)
    us = load(tmp_path / "us" / "study.toml")
    assert us.text.count(" in\"") > 10
    a, b = _numbers(si), _numbers(us)
    assert len(a) == len(b) > 150
    np.testing.assert_allclose(a, b, rtol=1e-12, atol=0.0)


# --- faults, word for word ---------------------------------------------------------------------------------------

# (what is replaced, by what, what is told of its line, what to do)
TOLERANCE = 'length = { value = "40 mm", tolerance = { %s } }'
RANGE = "length = { %s }"
STUDY_FAULTS = [
    (LENGTH, 'lenth = "286 mm"', "unknown key 'lenth' in [core]", "did you mean 'length'?"),
    (LENGTH, 'length = "30 kPa"', "'length' in [core]: expected a length such as '87 mm', got 'kPa'",
     "use a unit of that kind"),
    (LENGTH, "length = 286", "'length' in [core]: expected a length such as '87 mm', got the bare number 286",
     "write number and unit together, in quotes"),
    (LENGTH, 'length = "286"', "'length' in [core]: expected a length such as '87 mm', got '286' without a unit",
     "write the unit behind the number"),
    (LENGTH, 'length = "286,5 mm"', "'length' in [core]: decimal comma in '286,5 mm'", "write '286.5 mm'"),
    (LENGTH, 'length = "-3 mm"', "'length' in [core]: must be above 0 mm, got '-3 mm'",
     "check the number and its unit"),
    (LENGTH, 'length = "0 mm"', "'length' in [core]: must be above 0 mm, got '0 mm'", "check the number and its unit"),
    (LENGTH, "length = true", "'length' in [core]: expected a length such as '87 mm', got true",
     "write number and unit together, in quotes"),
    (LENGTH, "length = []", "'length' in [core]: expected a list of values, got an empty list", "name at least one"),
    (LENGTH, 'length = ["286 mm", "28.6 cm"]', "'length' in [core]: '28.6 cm' stands twice in the list",
     "name it once"),
    (LENGTH, RANGE % 'from = "90 mm", to = "40 mm"', "'to' in [core.length]: 'to' is below 'from'", "swap the two"),
    (LENGTH, RANGE % 'from = "40 mm", to = "40 mm"',
     "'to' in [core.length]: the range is empty: 'to' equals 'from'", "write the value alone"),
    (LENGTH, RANGE % 'from = "40 mm", to = "90 mm", step = "0 mm"',
     "'step' in [core.length]: must be above zero, got '0 mm'", "leave the step out for a continuous range"),
    (LENGTH, RANGE % 'from = "40 mm", to = "90 mm", step = "-1 mm"',
     "'step' in [core.length]: must be above zero, got '-1 mm'", "leave the step out for a continuous range"),
    (LENGTH, RANGE % 'from = "40 mm", to = "90 mm", step = "60 mm"',
     "'step' in [core.length]: the step '60 mm' is longer than the range", "write the values as a list"),
    (LENGTH, RANGE % 'from = "40 mm", to = "90 mm", step = "1e-8 mm"',
     "'step' in [core.length]: the range has more than 1000000 steps", "use a wider step, or none: continuous"),
    (LENGTH, RANGE % 'from = "40 mm"', "missing key 'to' in [core.length]",
     "add it; the file that `finfront new` writes shows every key"),
    (LENGTH, TOLERANCE % 'law = "nrmal", half_width = "1 mm"',
     "'law' in [core.length.tolerance]: expected 'normal', 'uniform', 'triangular' or 'measured', got 'nrmal'",
     "did you mean 'normal'?"),
    ("passages = { from = 6", "passages = { from = 6.5", "'from' in [core.passages]: expected a whole number, got 6.5",
     "write it without quotes and without a unit"),
    ("passages = { from = 6, to = 14 }", "passages = 0",
     "'passages' in [core]: must be at least 1 and at most 1000, got 0", "check the number and its unit"),
    ("turn_loss = 1.2", 'turn_loss = "1.2"', "'turn_loss' in [tanks]: expected a bare number, got '1.2'",
     "write it without quotes and without a unit"),
    ("turn_loss = 1.2", "turn_loss = nan", "'turn_loss' in [tanks]: expected a finite number, got nan",
     "write a number"),
    ('coolant_blockage = "3 %"', 'coolant_blockage = "90 %"',
     "'coolant_blockage' in [core]: must be at least 0 % and below 90 %, got '90 %'", "check the number and its unit"),
    ('coolant_blockage = "3 %"', "coolant_blockage = 0.03",
     "'coolant_blockage' in [core]: expected a fraction such as '4 %', got the bare number 0.03",
     "write number and unit together, in quotes"),
    ('air_temperature = "142 degC"', 'air_temperature = "142 delta_degC"',
     "'air_temperature' in [duty.full_power]: "
     "expected a temperature such as '30 degC', got a difference ('delta_degC')",
     "use degC, degF or K"),
    ('air_temperature = "142 degC"', 'air_temperature = "-300 degC"',
     "'air_temperature' in [duty.full_power]: '-300 degC' is not above absolute zero", "check the sign and the unit"),
    ('air_temperature = "142 degC"', 'air_temperature = "500 degC"',
     "'air_temperature' in [duty.full_power]: 500 degC is outside the known properties of the air",
     "stay within -23.15 degC to 326.85 degC"),
    ('coolant_temperature = "46 degC"', 'coolant_temperature = "120 degC"',
     "'coolant_temperature' in [duty.full_power]: "
     "120 degC is outside the known properties of ethylene glycol 50 % by volume", "stay within -10 degC to 100 degC"),
    ('air_pressure = "215 kPa"', 'air_pressure = "15 kPa"',
     "'air_pressure' in [duty.full_power]: 15 kPa is no absolute pressure of a charge: it is below 20 kPa",
     "was a gauge pressure given? add the pressure of the air outside"),
    ('air_pressure = "215 kPa"', 'air_pressure = "17 psig"',
     "'air_pressure' in [duty.full_power]: 'psig' is a gauge pressure",
     "add the pressure of the air outside and give it absolute"),
    ('coolant_flow = "55 L/min"', 'coolant_flow = "55 mm"',
     "'coolant_flow' in [duty.full_power]: expected a volume flow or a mass flow such as '55 L/min', got 'mm'",
     "use a unit of that kind"),
    ('coolant_flow = "55 L/min"', 'coolant_flow = "0 L/min"',
     "'coolant_flow' in [duty.full_power]: must be above zero, got '0 L/min'", "check the number and its unit"),
    ('strength = "50 %"', 'strength = "80 %"',
     "'strength' in [coolant]: ethylene glycol: strength is a fraction from 0.1 to 0.6, not 0.8",
     "give a strength in that range"),
    ('basis = "volume"', 'basis = "volum"', "'basis' in [coolant]: expected 'volume' or 'mass', got 'volum'",
     "did you mean 'volume'?"),
    ('fluid = "ethylene glycol"', 'fluid = "ethylen glycol"',
     "'fluid' in [coolant]: expected 'water', 'ethylene glycol' or 'propylene glycol', got 'ethylen glycol'",
     "did you mean 'ethylene glycol'?"),
    ('maximise = "heat_rejected"', 'maximise = "heat_rejectd"',
     "'maximise' in [[objectives]]: unknown output 'heat_rejectd'", "did you mean 'heat_rejected'?"),
    ('minimise = "air_pressure_drop"', 'minimise = "air_pressure_drop"\nmaximise = "UA"',
     "both 'maximise' and 'minimise' in [[objectives]]", "give exactly one of the two"),
    ('output = "coolant_pressure_drop"', 'output = "coolant_presure_drop"',
     "'output' in [[limits]]: unknown output 'coolant_presure_drop'", "did you mean 'coolant_pressure_drop'?"),
    ('max = "12 kPa"', 'max = "12 mm"', "'max' in [[limits]]: expected a pressure such as '12 kPa', got 'mm'",
     "use a unit of that kind"),
    ('max = "12 kPa"', "max = 12", "'max' in [[limits]]: expected a pressure such as '12 kPa', got the bare number 12",
     "write number and unit together, in quotes"),
    ('max = "12 kPa"', 'max = "12 kPa"\nmin = "14 kPa"',
     "'max' in [[limits]]: 'max' is below 'min': nothing can keep both", "swap the two, or drop one"),
    ('air_fin = "all"', 'air_fin = ["S18-64", "S18-65"]', "'air_fin' in [core]: unknown air fin 'S18-65'",
     "did you mean 'S18-64'?"),
    ('air_fin = "all"', 'air_fin = ["S18-64", "S18-64"]', "'air_fin' in [core]: 'S18-64' stands twice in the list",
     "name it once"),
    ('turbulator = "all"', 'turbulator = "TS-20-17"', "'turbulator' in [core]: unknown turbulator 'TS-20-17'",
     "did you mean 'TS-20-16'?"),
    ('port = "all"', 'port = ["R23"]', "'port' in [tanks]: unknown port 'R23'", "did you mean 'R22'?"),
    ('passes = ["1",', 'passes = ["1 side by side",', "'passes' in [core]: unknown pass layout '1 side by side'",
     "did you mean '6 side by side'?"),
    ('header = "centre"', 'header = "center"',
     "'header' in [tanks]: expected 'centre', 'same end' or 'opposite ends', got 'center'", "did you mean 'centre'?"),
    ("seed = 1 ", "seed = -1 ", "'seed': must be at least 0 and at most 9223372036854775807, got -1",
     "check the number"),
    ("seed = 1 ", 'seed = "1"', "'seed': expected a whole number, got '1'",
     "write it without quotes and without a point"),
    ('units = "SI"', 'units = "metric"', "'units': expected 'SI' or 'US', got 'metric'", "write one of these words"),
    ('tank_loss = ["-25 %", "25 %"]', 'tank_loss = ["25 %", "-25 %"]',
     "'tank_loss' in [model]: '25 %' is above '-25 %'", "write the lower end first"),
    ("evaluations = 50000", "evaluations = 20", "'evaluations' in [search]: fewer than one population of 200",
     "raise it"),
    ('air_fins = "catalogues/air_fins.toml"', 'air_fins = "catalogues/fins.toml"',
     "'air_fins' in [catalogues]: no such file: 'catalogues/fins.toml'",
     "paths are read from the folder of the study"),
]


@pytest.mark.parametrize(("old", "new", "what", "do"), STUDY_FAULTS)
def test_a_fault_of_the_study_is_told_word_for_word_with_its_line(
    edited: Callable[..., None], clean: dict[str, str], old: str, new: str, what: str, do: str
) -> None:
    edited(old, new)
    assert faults() == [block(what, f"study.toml, line {line(clean, old)}", do)]


@pytest.mark.parametrize(("old", "new", "what", "at", "do"), [
    (LENGTH + "\n", "", "missing key 'length' in [core]", "\n[core]",
     "add it; the file that `finfront new` writes shows every key"),
    ("\n[tanks]", "\n[tank]", "unknown key 'tank' at the top of the file", "\n[tanks]", "did you mean 'tanks'?"),
    (LENGTH, 'length = "9 mm"', "'air_bar_width' in [core]: two bars leave no room in a length of 9 mm",
     "\nair_bar_width", "check the units of both"),
    ("weight = 1.0", "weight = 0", "'duty': the weights of the duty points sum to zero", "\n[duty.full_power]",
     "give one of them a weight above zero"),
    ('maximise = "heat_rejected"\nat = "full_power"', 'maximise = "heat_rejected"',
     "missing key 'at' in [[objectives]]",
     "\n[[objectives]]", "say where 'heat_rejected' is taken: full_power, worst, mean"),
    ('maximise = "heat_rejected"', 'maximise = "filled_mass"',
     "'at' in [[objectives]]: 'filled_mass' belongs to the core, not to a duty point", '\nat = "full_power"',
     "leave 'at' out"),
    ('at = "full_power"', 'at = "ful_power"', "'at' in [[objectives]]: unknown duty point 'ful_power'",
     '\nat = "full_power"', "did you mean 'full_power'?"),
    ('at = "worst"\n\n[[limits]]', 'at = "best"\n\n[[limits]]', "'at' in [[limits]]: unknown duty point 'best'",
     '\nat = "worst"', "use one of: full_power, worst, mean"),
    ('max = "12 kPa"\n', "", "neither 'min' nor 'max' in [[limits]]", "\n[[limits]]", "give one of them, or both"),
    ('output = "coolant_pressure_drop"', 'output = "air_pressure_drop"',
     "[[limits]]: a second entry for 'air_pressure_drop' at 'worst'", '\n[[limits]]\noutput = "coolant_pressure_drop"',
     "keep one, with both 'min' and 'max' if need be"),
    ('minimise = "air_pressure_drop"', 'minimise = "heat_rejected"',
     "[[objectives]]: a second entry for 'heat_rejected' at 'full_power'", '\n[[objectives]]\nminimise', "keep one"),
    ('[[objectives]]\nminimise = "air_pressure_drop"\nat = "full_power"\n', "",
     "[[objectives]]: expected two or three objectives, got 1", "\n[[objectives]]",
     "each is a table [[objectives]] with 'maximise' or 'minimise'"),
    ('strength = "50 %"\n', "", "missing key 'strength' in [coolant]", "\n[coolant]", "add strength = '50 %'"),
    ('basis = "volume" ', "#", "missing key 'basis' in [coolant]", "\n[coolant]",
     "say 'volume' or 'mass': they differ"),
])
def test_a_fault_told_of_another_line_points_there(
    edited: Callable[..., None], clean: dict[str, str], old: str, new: str, what: str, at: str, do: str
) -> None:
    edited(old, new)
    assert faults() == [block(what, f"study.toml, line {line(clean, at) + 1}", do)]


CATALOGUE_FAULTS = [
    (AIR_FINS, 'thickness = "0.1 mm"', 'thickness = "1.5 mm"',
     "'thickness' in [fin.S18-64]: a fin 1.5 mm thick leaves no gap in a pitch of 1.411 mm",
     "check the units of both"),
    (AIR_FINS, 'fin_density = "18 1/in"', 'fin_density = "18 1/in"\npitch = "1.4 mm"',
     "both pitch and fin_density in [fin.S18-64]", "give one of them: pitch = '1.4 mm' or fin_density = '18 1/in'"),
    (AIR_FINS, 'family = "offset strip"', 'family = "offset stripe"',
     "'family' in [fin.S18-64]: unknown family 'offset stripe'", "did you mean 'offset strip'?"),
    (AIR_FINS, 'family = "offset strip"', 'family = "open"', "'family' in [fin.S18-64]: unknown family 'open'",
     "use one of: offset strip, plain, louver, wavy, measured"),
    (AIR_FINS, 'strip_length = "3.2 mm"', 'strip_lenght = "3.2 mm"', "unknown key 'strip_lenght' in [fin.S18-64]",
     "did you mean 'strip_length'?"),
    (AIR_FINS, 'louver_angle = "27 deg"', 'louver_angle = "97 deg"',
     "'louver_angle' in [fin.L16-80]: must be above 0 deg and below 90 deg, got '97 deg'",
     "check the number and its unit"),
    (AIR_FINS, 'louver_length = "6.8 mm"', 'louver_length = "9 mm"',
     "'louver_length' in [fin.L16-80]: 9 mm does not fit the spacing of 8 mm",
     "a louver ends short of the bends of its fin"),
    (AIR_FINS, 'table = "measured/m17_64.csv"', 'table = "measured/m17.csv"',
     "'table' in [fin.M17-64]: no such file: 'catalogues/measured/m17.csv'",
     "paths are read from the folder of the catalogue"),
    (AIR_FINS, "[fin.S18-64]", '[fin."S18/64"]', "'S18/64' in [fin]: this cannot be the name of an entry",
     "use letters, digits, spaces and - _ . +, up to 40; not 'all'"),
    (PORTS, 'open_height = "20 mm"', 'open_height = "29 mm"',
     "'open_height' in [port.D28-20]: 29 mm is more than twice the radius of 14 mm",
     "the open height of a D port is measured from the crown of its arc"),
    (PORTS, 'width = "30 mm"', 'width = "3 mm"',
     "'width' in [port.SL17-30]: 3 mm is less than the height of 17 mm",
     "the height of a slot is its short side, across the core thickness"),
    (PORTS, 'shape = "D"', 'shape = "d"', "'shape' in [port.D28-20]: unknown shape 'd'", "use one of: round, D, slot"),
    (PORTS, 'bore = "22 mm"', 'bore = "0 mm"', "'bore' in [port.R22]: must be above 0 mm, got '0 mm'",
     "check the number and its unit"),
]


@pytest.mark.parametrize(("file", "old", "new", "what", "do"), CATALOGUE_FAULTS)
def test_a_fault_of_a_catalogue_is_told_with_its_own_file_and_line(
    edited: Callable[..., None], clean: dict[str, str], file: str, old: str, new: str, what: str, do: str
) -> None:
    edited(old, new, file)
    assert faults() == [block(what, f"{file}, line {line(clean, old, file)}", do)]


def test_a_fin_without_pitch_or_fin_density_is_told_at_its_header(
    edited: Callable[..., None], clean: dict[str, str]
) -> None:
    edited('fin_density = "18 1/in"\n', "", AIR_FINS)
    assert faults() == [block("neither pitch nor fin_density in [fin.S18-64]",
                              f"{AIR_FINS}, line {line(clean, '[fin.S18-64]', AIR_FINS)}",
                              "give one of them: pitch = '1.4 mm' or fin_density = '18 1/in'")]


def test_an_entry_without_its_family_is_told_what_families_there_are(
    edited: Callable[..., None], clean: dict[str, str]
) -> None:
    edited('family = "plain"\n', "", TURBULATORS)
    assert faults() == [block("missing key 'family' in [turbulator.TP-20-14]",
                              f"{TURBULATORS}, line {line(clean, '[turbulator.TP-20-14]', TURBULATORS)}",
                              "use one of: offset strip, plain, open, measured")]


def test_a_tolerance_of_a_dimension_the_entry_lacks_is_refused(edited: Callable[..., None]) -> None:
    own = 'tolerances = { louver_pitch = { law = "uniform", half_width = "1 %" } }'
    edited("[fin.S18-64]", f"[fin.S18-64]\n{own}", AIR_FINS)
    assert "a tolerance on louver_pitch, which this entry does not have" in faults()[0]


def test_a_default_tolerance_wider_than_a_fin_is_told_of_every_such_fin(edited: Callable[..., None]) -> None:
    edited('half_width = "0.05 mm"', 'half_width = "7 mm"', AIR_FINS)
    told = faults()
    assert len(told) == 4  # those of 6.35 mm; the two of 8 mm still fit
    assert "spacing: the half width 7 mm is not smaller than the value 6.35 mm" in told[0]


@pytest.mark.parametrize(("old", "new", "what"), [
    ("450,0.0213", "300,0.0213", "Re must rise from row to row: 300 follows 300"),
    ("450,0.0213", "450,-1", "j: must be above zero, got '-1'"),
    ("450,0.0213", "450,0,0213", "expected three numbers Re,j,f with decimal points, got '450,0,0213,0.0828'"),
    ("450,0.0213", "450,abc", "j: expected a number, got 'abc'"),
    ("450,0.0213", "450,nan", "j: expected a number, got 'nan'"),
])
def test_a_faulty_row_of_a_measured_table_is_told_by_its_row(
    edited: Callable[..., None], clean: dict[str, str], old: str, new: str, what: str
) -> None:
    edited(old, new, TABLE)
    assert faults() == [block(what, f"{TABLE}, row {line(clean, old, TABLE)}", "mend the row")]


@pytest.mark.parametrize(("text", "what", "row"), [
    ("Re,f,j\n1,2,3\n", "expected the header 'Re,j,f', got 'Re,f,j'", 1),
    ("", "expected the header 'Re,j,f', got nothing", 1),
    ("# two\nRe,j,f\n100,1,1\n200,1,1\n", "expected at least 3 rows, got 2", 4),
])
def test_a_measured_table_needs_its_header_and_three_rows(
    edited: Callable[..., None], text: str, what: str, row: int
) -> None:
    Path(TABLE).write_text(text)
    told = faults()
    assert told[0].startswith(f"error: {what}\n  where: {TABLE}, row {row}\n")
    assert len(told) == 1


def test_all_faulty_rows_of_a_measured_table_are_told(edited: Callable[..., None]) -> None:
    Path(TABLE).write_text("Re,j,f\n100,1,1\n90,1,1\n120,x,1\n130,1,-1\n140,1,1\n")
    assert [re.search(r"row (\d)", fault)[1] for fault in faults()] == ["3", "4", "5"]  # type: ignore[index]


# --- files that cannot be read -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("data", "what", "where"), [
    (b"title = [", "not valid TOML: invalid value", ", line 1"),
    (b"a = 1\nb = \n", "not valid TOML: invalid value", ", line 2"),
    (b"[a]\n[a]\n", "table 'a' is written twice", ", line 2"),
    (b"a = 1\na = 2\n", "a key is written twice in one table", ", line 2"),
    (b"a = 1\nb = '\xff'\n", "not UTF-8 text", ", line 2"),
    (b"a = 1\nb.b.b.b.b.b.b.b.b.b = 1\n", "tables nested deeper than 8", ", line 2"),
    (b"\na = " + b"[" * 100_000, "tables nested deeper than 8", ", line 2"),
    (b"#" * (MOST_BYTES + 1), "larger than 1 MB", ""),
    (b"a = " + b"9" * 5000, "not valid TOML: a value cannot be read", ", line 1"),
])
def test_an_unreadable_study_has_one_fault_with_its_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, data: bytes, what: str, where: str
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("study.toml").write_bytes(data)
    (told,) = faults()
    assert told.startswith(f"error: {what}\n  where: study.toml{where}\n  do:    ")


@pytest.mark.parametrize(("path", "what"), [
    ("nowhere.toml", "no such study file"), (".", "not a file"), ("a\0b", "no such study file"),
    ("x" * 5000, "no such study file"), ("/dev/null", "not a file"),
])
def test_a_path_that_is_no_study_is_told(path: str, what: str) -> None:
    with pytest.raises(StudyFaults) as caught:
        load(path)
    assert (caught.value.what, caught.value.where) == (what, path)


def test_a_catalogue_that_is_not_toml_is_told_with_its_own_line(edited: Callable[..., None]) -> None:
    Path(PORTS).write_text("[port.A]\nshape =\n")
    assert faults()[0].startswith(f"error: not valid TOML: invalid value\n  where: {PORTS}, line 2\n")


# --- all at once -------------------------------------------------------------------------------------------------


def test_all_faults_of_all_files_are_told_at_once_study_first_then_by_file_and_line(
    edited: Callable[..., None], clean: dict[str, str]
) -> None:
    edited('wall = "3 mm"', 'wal = "3 mm"')
    edited(LENGTH, 'length = "286,0 mm"')
    edited('turbulator = "all"', 'turbulator = ["TS-20-16", "TS", "OPEN"]')
    edited('at = "full_power"', 'at = "wurst"')
    edited('air_temperature = "142 degC"', "air_temperature = 142")
    edited('open_height = "20 mm"', 'open_height = "29 mm"', PORTS)
    edited('louver_angle = "27 deg"', 'louver_angle = "27 mm"', AIR_FINS)
    edited('thickness = "0.1 mm"', 'thickness = "10 mm"', AIR_FINS)
    edited("450,0.0213", "30,0.0213", TABLE)
    places = [re.search(r"where: (.*), (?:line|row) (\d+)", fault) for fault in faults()]
    found = [(place[1], int(place[2])) for place in places if place]
    expected = [("study.toml", line(clean, text)) for text in (
        "air_temperature", LENGTH, 'turbulator = "all"', 'turbulator = "all"', 'wall = "3 mm"', 'at = "full_power"'
    )]
    expected += [(AIR_FINS, line(clean, text, AIR_FINS)) for text in ('thickness = "0.1 mm"', "louver_angle")]
    expected += [(TABLE, line(clean, "450,", TABLE)), (PORTS, line(clean, "open_height = \"20", PORTS))]
    assert found == expected


def test_faults_print_as_blocks_and_survive_pickling(edited: Callable[..., None]) -> None:
    edited(LENGTH, 'lenth = "286 mm"')
    edited("draws = 512", "draws = 3")
    with pytest.raises(StudyFaults) as caught:
        load("study.toml")
    assert isinstance(caught.value, FinfrontError)
    assert str(caught.value).count("\nerror: ") == 1
    assert str(pickle.loads(pickle.dumps(caught.value))) == str(caught.value)


def test_the_path_is_printed_as_the_user_gave_it(edited: Callable[..., None], tmp_path: Path) -> None:
    edited(LENGTH, "length = 3")
    edited('bore = "22 mm"', "bore = 22", PORTS)
    with pytest.raises(StudyFaults) as caught:
        load(f"../{tmp_path.name}/study.toml")
    folder = f"../{tmp_path.name}"
    assert [fault.file for fault in caught.value.faults] == [f"{folder}/study.toml", f"{folder}/{PORTS}"]


def test_a_flood_of_faults_is_cut(edited: Callable[..., None]) -> None:
    edited("seed = 1 ", "".join(f"k{i} = 1\n" for i in range(300)) + "seed = 1 ")
    told = faults()
    assert len(told) == 101
    assert told[-1].startswith("error: and 200 more faults\n")


# --- any text ----------------------------------------------------------------------------------------------------

PIECES = st.sampled_from([
    "[", "]", "{", "}", '"', "'''", '"""', "=", ".", ",", "#", "\n", "\\", "all", "1", "-1", "0", "1e400", "nan", "inf",
    "true", '""', "[]", "{}", "[[]]", '"9**9**9 mm"', '"1,5 psi"', '"0 K"', '"1 psi"', "1979-05-27", "07:32:00",
    "\x00", "\ud7ff", "é", "[core]", "[[limits]]", "[duty.x]", "at = 1\n", 'output = "UA"\n', "max = 1\n", "tolerance",
    '{ law = "normal" }', '{ from = 1, to = 2 }', '{ choose = ["1 mm"] }', "9" * 400, '"\\u0000"', '"../../x"', '"/"',
    "a.b.c.d.e.f.g.h.i = 1\n",
])


@pytest.mark.parametrize("file", ["study.toml", AIR_FINS, TURBULATORS, PORTS, TABLE])
def test_any_mutation_of_a_file_gives_a_study_or_its_faults(
    file: str, clean: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    write_starter("study.toml")

    @settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
    @given(mutations(clean[file], PIECES))
    def attempt(text: str) -> None:
        Path(file).write_bytes(text.encode("utf-8", "surrogatepass"))
        found = outcome("study.toml")
        told = found.faults if isinstance(found, StudyFaults) else ()
        assert told or isinstance(found, Study)
        assert all(fault.what and fault.do and (fault.line is None or fault.line >= 1) for fault in told)

    attempt()


@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(PIECES | st.text(max_size=4), max_size=30).map("".join))
def test_any_text_gives_faults(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    path = tmp_path_factory.getbasetemp() / "any.toml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    with pytest.raises(StudyFaults):
        load(path)


# --- lines, starter ----------------------------------------------------------------------------------------------


def test_lines_follow_tables_dotted_and_quoted_keys_and_lists_of_tables() -> None:
    text = 'a.b = 1\n["x y".c]\nd = """\n"""\ne = { f = [\n  1,  # one\n  { g = 2 } ] }\n'
    text += "[[l]]\n[l.m]\nn = 1\n[[l]]\no = 1\n"
    assert key_lines(text) == {
        ("a",): 1, ("a", "b"): 1, ("x y",): 2, ("x y", "c"): 2, ("x y", "c", "d"): 3, ("x y", "c", "e"): 5,
        ("x y", "c", "e", "f"): 5, ("x y", "c", "e", "f", 0): 6, ("x y", "c", "e", "f", 1): 7,
        ("x y", "c", "e", "f", 1, "g"): 7, ("l",): 8, ("l", 0): 8, ("l", 0, "m"): 9, ("l", 0, "m", "n"): 10,
        ("l", 1): 11, ("l", 1, "o"): 12,
    }


def test_the_starter_is_never_written_over_and_keeps_catalogues_that_are_there(tmp_path: Path) -> None:
    (tmp_path / "catalogues").mkdir()
    (tmp_path / PORTS).write_text('[port.MINE]\nshape = "round"\nbore = "20 mm"\nline_bore = "20 mm"\n')
    written = write_starter(tmp_path / "new.toml")
    assert tmp_path / PORTS not in written
    assert set(load(tmp_path / "new.toml").ports) == {"MINE"}
    before = (tmp_path / "new.toml").read_text()
    with pytest.raises(FinfrontError, match="the file is there already"):
        write_starter(tmp_path / "new.toml")
    assert (tmp_path / "new.toml").read_text() == before


def test_a_starter_in_a_folder_that_cannot_be_made_is_an_error_of_the_user(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(FinfrontError, match="cannot be written"):
        write_starter(tmp_path / "file" / "new.toml")


def test_the_starter_catalogues_hold_every_family_and_shape(edited: Callable[..., None]) -> None:
    study = load("study.toml")
    assert {roll.family for roll in study.air_fins.values()} == {"offset strip", "plain", "louver", "wavy", "measured"}
    assert "open" in {roll.family for roll in study.turbulators.values()}
    assert {port.shape for port in study.ports.values()} == {"round", "D", "slot"}
