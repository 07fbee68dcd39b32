"""What stands around the core, in a study file: what is read, every fault word for word, agreement between tables."""

import pickle
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from study_texts import COMPLETE, block, faults, line_in, mutations, outcome

from optimize.evaluate import tables_of
from optimize.space import variable_name
from optimize.study import goals, schema
from optimize.study.agreement import agreement_faults
from optimize.study.catalogue_lines import Family
from optimize.study.faults import StudyFaults
from optimize.study.load import load
from optimize.study.model import Study
from optimize.study.model_system import Section, SoakPhase
from optimize.study.schema_scatter import CorrelationTable
from optimize.study.starter import starter, write_starter
from optimize.study.tolerances import ToleranceTable
from physics.outputs import OUTPUTS
from physics.pipes import DASH_FAMILIES

ROOT = Path(__file__).parents[1]
LINES = "catalogues/lines.toml"
CHECK = "check the number and its unit"
ADD = "add it; the file that `finfront new` writes shows every key"
RPM = 1 / 60


@pytest.fixture
def edited(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., str]:
    """Writes the complete starter into the working folder with replacements in one of its files; its text then."""
    monkeypatch.chdir(tmp_path)
    write_starter("study.toml")
    Path("study.toml").write_text(COMPLETE)

    def edit(*replacements: tuple[str, str], file: str = "study.toml") -> str:
        text = Path(file).read_text()
        for old, new in replacements:
            assert old in text, old
            text = text.replace(old, new, 1)
        Path(file).write_text(text)
        return text

    return edit


def without(table: str, text: str = COMPLETE) -> tuple[str, str]:
    """The replacement that takes a table out, header and keys."""
    found = re.search(rf"(?m)^\[{re.escape(table)}\][^\n]*\n(?:[^\[\n][^\n]*\n)*", text)
    assert found, table
    return found[0], ""


# --- what is read ------------------------------------------------------------------------------------------------


def test_the_starter_behind_its_marks_loads_and_holds_every_table(edited: Callable[..., str]) -> None:
    study = load("study.toml")
    assert None not in (study.loop, study.blower, study.engine, study.net_gain, study.soak)
    assert tables_of(study) == {
        "loop", "loop.front_exchanger", "loop.cap_pressure", "blower", "net_gain", "ambient.humidity", "soak",
    }  # fmt: skip
    assert pickle.loads(pickle.dumps(study)) == study
    assert study.files[LINES] == Path(LINES).read_text()


def test_the_starter_shows_every_key_of_every_table() -> None:
    text = starter()
    shown = {*re.findall(r"(?m)(?:^#* ?|[{,] )([A-Za-z_]+) = ", text), *re.findall(r"\[+([a-z_.]+)\]", text)}
    tables = [schema.StudyFile, schema.DutyTable, schema.LoopTable, schema.BlowerTable, schema.EngineTable,
              schema.NetGainTable, schema.SoakTable, schema.AmbientTable, schema.ScatterTable, CorrelationTable,
              schema.RobustTable, ToleranceTable]
    keys = {key for table in tables for key in table.model_fields}
    flat = {part for name in shown for part in name.split(".")}
    assert keys - flat == set()


def test_the_starter_without_its_marks_has_nothing_around_the_core(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    write_starter("study.toml")
    study = load("study.toml")
    assert (study.loop, study.blower, study.engine, study.net_gain, study.soak, study.robust) == (None,) * 6
    assert study.lines == {}
    assert "loop.line" not in study.variables
    assert (study.duty[0].pump_speed, study.duty[0].manifold_pressure, study.duty[0].humidity) == (1.0, None, None)


def test_duty_points_leave_open_what_they_do_not_say_and_share_the_air_outside(edited: Callable[..., str]) -> None:
    bench, engine, held = load("study.toml").duty
    assert (bench.air_flow, bench.air_pressure, bench.engine_speed) == (0.8, 215e3, None)
    assert engine.engine_speed == pytest.approx(6200 * RPM, rel=1e-14)
    assert (engine.air_flow, engine.coolant_flow, engine.coolant_temperature) == (None, None, None)
    assert (engine.ambient_temperature, held.ambient_temperature) == (317.15, 311.15)
    assert (engine.ambient_pressure, held.ambient_pressure) == (90e3, 94e3)
    assert (engine.humidity, engine.front_air_flow) == (0.4, 1.6)
    assert (held.manifold_pressure, held.air_temperature, held.coolant_temperature) == (200e3, None, 319.15)
    assert held.coolant_flow is None


def test_a_loop_is_read_in_si(edited: Callable[..., str]) -> None:
    study = load("study.toml")
    loop = study.loop
    assert loop is not None
    first, second = loop.pumps
    np.testing.assert_allclose(first.flow, np.array([0, 40, 80, 110]) / 60e3, rtol=1e-14)
    assert (first.head, first.speed) == ((12.0, 10.9, 7.4, 2.8), pytest.approx(13.8 / 13))
    np.testing.assert_allclose(second.head, np.array([29e3, 21e3, 6e3]) / (998 * 9.80665), rtol=1e-14)
    assert loop.sections[0] == Section("reservoir to core", 1.4, None, {"elbow 90": 2.0, "sharp entry": 1.0})
    assert loop.sections[1].line == "-20"
    assert loop.front_exchanger is not None
    assert (loop.front_exchanger.loss, loop.front_exchanger.effectiveness) == ((2100.0, 16e3), 0.52)
    assert loop.reservoir is not None
    assert (loop.reservoir.volume, loop.reservoir.ice, loop.reservoir.ice_temperature) == (0.006, 0.0, 273.15)
    assert (loop.cap_pressure, loop.opening_pressure) == (110e3, 0.0)
    assert study.variables["loop.line"].values == ("-12", "-16", "-20")


def test_lines_take_their_bore_from_the_dash_table_or_as_given(edited: Callable[..., str]) -> None:
    lines = load("study.toml").lines
    # 7/8 in hose bore of dash 16 in the tube series (SAE hose table, from memory)
    assert lines["-16"].bore == pytest.approx(0.875 * 0.0254, abs=1e-5)
    assert (lines["M19"].bore, lines["M19"].roughness) == (0.019, 1.5e-6)
    assert lines["-16"].roughness == 1.5e-6


def test_all_lines_of_the_catalogue_may_be_asked_for(edited: Callable[..., str]) -> None:
    edited(('line = ["-12", "-16", "-20"]', 'line = "all"'))
    study = load("study.toml")
    assert study.variables["loop.line"].values == tuple(study.lines) == ("-10", "-12", "-16", "-20", "M19")


def test_the_catalogue_of_lines_beside_the_studies_loads(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    write_starter("study.toml")
    Path("study.toml").write_text(COMPLETE)
    Path(LINES).write_text((ROOT / "studies" / LINES).read_text())
    bores = [line.bore for line in load("study.toml").lines.values()]
    assert len(bores) == 11
    assert min(bores) > 0.007
    assert max(bores) < 0.029


def test_efficiencies_may_be_one_value_or_rows(edited: Callable[..., str]) -> None:
    study = load("study.toml")
    assert study.blower is not None
    assert study.engine is not None
    assert study.blower.volumetric == ((1.0, 0.96), (1.8, 0.89), (2.6, 0.8))
    assert study.engine.volumetric == (pytest.approx((2000 * RPM, 0.88)), pytest.approx((100.0, 0.93)))
    edited(('volumetric_efficiency = [[1.0, "96 %"], [1.8, "89 %"], [2.6, "80 %"]]', 'volumetric_efficiency = "90 %"'),
           ('volumetric_efficiency = [["2000 rpm", "88 %"], ["6000 rpm", "93 %"]]', 'volumetric_efficiency = "105 %"'))
    study = load("study.toml")
    assert study.blower is not None
    assert study.engine is not None
    assert (study.blower.volumetric, study.engine.volumetric) == (((1.0, 0.9),), ((0.0, 1.05),))


ISENTROPIC = "isentropic_efficiency = { built_in_pressure_ratio = 1.3, internal_efficiency = \"80 %\" }"


def test_a_built_in_ratio_becomes_a_curve(edited: Callable[..., str]) -> None:
    """A Roots machine, built-in ratio 1: (g/(g - 1)) (r^k - 1)/(r - 1), times the internal efficiency; at 2: 0.7665."""
    edited((ISENTROPIC, ISENTROPIC.replace("1.3", "1")))
    blower = load("study.toml").blower
    assert blower is not None
    ratios, values = zip(*blower.isentropic, strict=True)
    assert np.interp(2.0, ratios, values) == pytest.approx(0.8 * 0.7665, rel=2e-3)


def test_a_blower_by_its_leakage_becomes_curves(edited: Callable[..., str]) -> None:
    """The printed example of the University of Liege (a dry screw compressor): 62.9 % volumetric, 49.0 % isentropic."""
    edited(
        ('volumetric_efficiency = [[1.0, "96 %"]', '# volumetric_efficiency = [[1.0, "96 %"]'),
        (ISENTROPIC, "# " + ISENTROPIC),
        ('displacement = "2.4 L"', 'displacement = "7.876 L"'),
        ('inlet_loss = "2 kPa"', 'inlet_loss = "0 kPa"'),
        ("\n[engine]", '\n[blower.leakage]\narea = "130.9 mm^2"\ntorque = "46.25 N*m"\nspeed = "2000 rpm"\n[engine]'),
        ('temperature = "38 degC"', 'temperature = "15 degC"'), ('pressure = "94 kPa"', 'pressure = "100 kPa"'),
    )
    blower = load("study.toml").blower
    assert blower is not None
    for rows, expected in ((blower.volumetric, 0.629), (blower.isentropic, 0.490)):
        ratios, values = zip(*rows, strict=True)
        assert np.interp(3.0, ratios, values) == pytest.approx(expected, abs=0.003)


def test_the_reference_core_is_kept_as_typed(edited: Callable[..., str]) -> None:
    gain = load("study.toml").net_gain
    assert gain is not None
    assert gain.reference == {
        "thickness": "60 mm", "passages": "9", "passes": "1", "air_fin": "S18-64", "turbulator": "TS-20-16",
        "port": "R22", "line": "-16",
    }  # fmt: skip
    assert (gain.power_per_air, gain.power_per_kelvin) == (1e6, 0.0)


def test_variables_a_reference_may_name_are_those_of_the_search(edited: Callable[..., str]) -> None:
    study = load("study.toml")
    names = {variable_name(key) for key in study.variables}
    assert {*schema.VARIABLES, "line"} == names


def test_a_schedule_is_multiplied_out(edited: Callable[..., str]) -> None:
    soak = load("study.toml").soak
    assert soak is not None
    assert soak.schedule == (
        SoakPhase("long_pull", 11.0, True, None, None), SoakPhase("long_pull", 240.0, False, 0.2, 0.6),
    ) * 3  # fmt: skip
    assert (soak.limit, soak.trace, soak.step, soak.recovered_within) == (333.15, None, 0.2, 3.0)


SCHEDULE = re.search(r"(?m)^schedule = .*\nrepeat = 3\n", COMPLETE)[0]  # type: ignore[index]
TRACE = 'trace = "traces/stage.csv"\ntrace_duty = "long_pull"\n'


def traced(edited: Callable[..., str], text: str) -> None:
    """The complete starter with a trace instead of its schedule."""
    edited((SCHEDULE, TRACE))
    Path("traces").mkdir()
    Path("traces/stage.csv").write_text(text)


@pytest.mark.parametrize(("text", "load_share"), [
    ("time [s],engine_speed [rpm],load\n# a start\n10,3000,0.5\n10.5,6000,1\n", (0.5, 1.0)),
    ("time [s], engine_speed [rpm]\n10, 3000\n10.5, 6000\n", (1.0, 1.0)),
])
def test_a_trace_counts_from_its_first_row(
    edited: Callable[..., str], text: str, load_share: tuple[float, ...]
) -> None:
    traced(edited, text)
    study = load("study.toml")
    assert study.soak is not None
    assert study.soak.trace is not None
    assert study.soak.schedule == ()
    trace = study.soak.trace
    assert (trace.duty, trace.time, trace.load) == ("long_pull", (0.0, 0.5), load_share)
    assert trace.engine_speed == pytest.approx((50.0, 100.0))
    assert study.files["traces/stage.csv"] == text


def test_water_may_hold_ice(edited: Callable[..., str]) -> None:
    edited(
        ('fluid = "ethylene glycol"', 'fluid = "water"'), ('strength = "50 %"\n', ""), ('basis = "volume" ', "#"),
        ('## ice = "4 kg"', 'ice = "4 kg"'), ('## ice_temperature = "-8 degC"', 'ice_temperature = "-8 degC"'),
    )
    loop = load("study.toml").loop
    assert loop is not None
    assert loop.reservoir is not None
    assert (loop.reservoir.ice, loop.reservoir.ice_temperature) == (4.0, 265.15)


def test_families_of_lines_are_those_of_the_physics() -> None:
    assert get_args(Family) == DASH_FAMILIES


# --- faults of values, word for word -----------------------------------------------------------------------------

PUMP = 'curve = [["0 L/min", "12 m"], ["40 L/min", "10.9 m"], ["80 L/min", "7.4 m"], ["110 L/min", "2.8 m"]]'
LOSS = 'loss = [["20 L/min", "2.1 kPa"], ["60 L/min", "16 kPa"]]'
FITTINGS = 'fittings = { "elbow 90" = 2, "sharp entry" = 1 }'
BLOWER_ROWS = 'volumetric_efficiency = [[1.0, "96 %"], [1.8, "89 %"], [2.6, "80 %"]]'
ENGINE_ROWS = 'volumetric_efficiency = [["2000 rpm", "88 %"], ["6000 rpm", "93 %"]]'
REFERENCE = 'reference = { thickness = "60 mm", passages = 9'
PHASE = '{ pull = "long_pull", lasts = "11 s" }'
QUOTES = "write number and unit together, in quotes"
NO_QUOTES = "write it without quotes and without a unit"
CURVE = "write [['0 L/min', '9.5 m'], ['60 L/min', '4 m']]"

# (what is replaced, by what, what is told of its line, what to do)
VALUE_FAULTS = [
    # duty points and the air outside
    ('engine_speed = "6200 rpm"', 'engine_speed = "6200 1/min"',
     "'engine_speed' in [duty.long_pull]: expected a speed of rotation such as '6500 rpm', got '1/min'",
     "use a unit of that kind"),
    ('engine_speed = "6200 rpm"', 'engine_speed = "0 rpm"',
     "'engine_speed' in [duty.long_pull]: must be above 0 rpm, got '0 rpm'", CHECK),
    ('front_air_flow = "1.6 kg/s"', 'front_air_flow = "1.6 m/s"',
     "'front_air_flow' in [duty.long_pull]: expected a mass flow such as '0.8 kg/s', got 'm/s'",
     "use a unit of that kind"),
    ('pump_speed = "100 %"', 'pump_speed = "0 %"', "'pump_speed' in [duty.long_pull]: must be above 0 %, got '0 %'",
     CHECK),
    ('ambient_temperature = "44 degC"', 'ambient_temperature = "-40 degC"',
     "'ambient_temperature' in [duty.long_pull]: -40 degC is outside the known properties of the air",
     "stay within -23.15 degC to 326.85 degC"),
    ('manifold_pressure = "200 kPa"', 'manifold_pressure = "14 psig"',
     "'manifold_pressure' in [duty.held_boost]: 'psig' is a gauge pressure",
     "add the pressure of the air outside and give it absolute"),
    ('manifold_pressure = "200 kPa"', 'manifold_pressure = "15 kPa"',
     "'manifold_pressure' in [duty.held_boost]: 15 kPa is no absolute pressure of a charge: it is below 20 kPa",
     "was a gauge pressure given? add the pressure of the air outside"),
    ('pressure = "94 kPa"', 'pressure = "9.4 kPa"',
     "'pressure' in [ambient]: 9.4 kPa is no pressure of the air outside",
     "give it absolute: about 101 kPa at the sea"),
    ('temperature = "38 degC"', "temperature = 38",
     "'temperature' in [ambient]: expected a temperature such as '30 degC', got the bare number 38", QUOTES),
    ('humidity = "40 %"', 'humidity = "140 %"', "'humidity' in [ambient]: must be at least 0 % and at most 100 %, "
     "got '140 %'", CHECK),
    ('humidity = "40 %"', 'humidty = "40 %"', "unknown key 'humidty' in [ambient]", "did you mean 'humidity'?"),
    # the loop
    ('line = ["-12", "-16", "-20"]', 'line = ["-12", "-15"]', "'line' in [loop]: unknown line '-15'",
     "did you mean '-16'?"),
    ('line = ["-12", "-16", "-20"]', "line = 16", "'line' in [loop]: expected a line, got 16", "write names in quotes"),
    ('cap_pressure = "110 kPa"', 'cap_pressure = "16 psig"', "'cap_pressure' in [loop]: 'psig' is a gauge pressure",
     "write 'psi'"),
    ('cap_pressure = "110 kPa"', 'cap_pressure = "-1 kPa"',
     "'cap_pressure' in [loop]: must be at least 0 kPa, got '-1 kPa'", CHECK),
    ('opening_pressure = "0 kPa"', 'opening_pressure = "3 m"',
     "'opening_pressure' in [loop]: expected a pressure such as '12 kPa', got 'm'", "use a unit of that kind"),
    (PUMP, 'curve = "12 m"', "'curve' in [loop.pump]: expected 2 rows or more of flow and head, got '12 m'", CURVE),
    (PUMP, 'curve = [["0 L/min", "12 m"]]',
     "'curve' in [loop.pump]: expected 2 rows or more of flow and head, got 1 of them", CURVE),
    (PUMP, 'curve = [["0 L/min", "12 m"], ["40 L/min"]]',
     "'curve' in [loop.pump]: expected a row of flow and head, got a list", CURVE),
    (PUMP, 'curve = [["0 L/min", "12 m"], ["40 L/min", "12.1 m"]]', "'curve' in [loop.pump]: the curve rises with flow",
     "give a curve that falls, or stays level"),
    (PUMP, 'curve = [["5 L/min", "12 m"], ["40 L/min", "10 m"]]',
     "'curve' in [loop.pump]: the curve does not start at zero flow",
     "add the head against a closed valve: ['0 L/min', ...]"),
    (PUMP, 'curve = [["0 L/min", "0 m"], ["40 L/min", "0 m"]]',
     "'curve' in [loop.pump]: the pump gives no head at zero flow", "check the first row"),
    (PUMP, 'curve = [["0 L/min", "12 m"], ["40 L/min", "90 kPa"]]',
     "'curve' in [loop.pump]: heads and pressures in one curve", "write all in metres, or all in kPa"),
    (PUMP, 'curve = [["0 L/min", "12 m"], ["0 L/min", "10 m"]]',
     "'curve' in [loop.pump]: flow must rise from row to row: '0 L/min' follows '0 L/min'", "sort the rows, each once"),
    (PUMP, 'curve = [["0 L/min", "12 m"], ["40 L/min", "-1 m"]]',
     "'curve' in [loop.pump]: must be at least 0 m, got '-1 m'", CHECK),
    (PUMP, 'curve = [["0 L/min", "12 m"], ["40 L/min", "10 V"]]',
     "'curve' in [loop.pump]: expected a head or a pressure such as '8.6 m', got 'V'", "use a unit of that kind"),
    (PUMP, 'curve = [["0 L/min", 12], ["40 L/min", "10 m"]]',
     "'curve' in [loop.pump]: expected a head such as '8.6 m', got the bare number 12", QUOTES),
    ('voltage = "13.8 V"', 'voltage = "13.8 W"',
     "'voltage' in [loop.pump]: expected a voltage such as '13.8 V', got 'W'",
     "use a unit of that kind"),
    ('curve_voltage = "13 V"', 'curve_density = "998 kg/m^3"\ncurve_voltage = "13 V"',
     "'curve_density' in [loop.pump]: a curve in metres of head is the same for every fluid", "leave it out"),
    ('speed = "100 %"\n\n', 'speed = "0 %"\n\n', "'speed' in [loop.second_pump]: must be above 0 %, got '0 %'", CHECK),
    ('length = "1.4 m"', 'length = "-1 m"', "'length' in [[loop.sections]]: must be at least 0 mm, got '-1 m'", CHECK),
    ('line = "-20"', 'line = "-21"', "'line' in [[loop.sections]]: unknown line '-21'", "did you mean '-20'?"),
    ('line = "-20"', "line = -20", "'line' in [[loop.sections]]: expected a line, got -20", "write its name in quotes"),
    (FITTINGS, 'fittings = { "elbow 60" = 2 }', "unknown fitting 'elbow 60' in [loop.sections.fittings]",
     "did you mean 'elbow 90'?"),
    (FITTINGS, 'fittings = { "elbow 90" = 1.5 }',
     "'elbow 90' in [loop.sections.fittings]: expected a whole number, got 1.5", NO_QUOTES),
    (FITTINGS, 'fittings = { "elbow 90" = 0 }',
     "'elbow 90' in [loop.sections.fittings]: must be at least 1 and at most 1000, got 0", CHECK),
    (LOSS, 'loss = [["20 L/min", "2.1 kPa"]]',
     "'loss' in [loop.front_exchanger]: expected 2 rows or more of flow and loss, got 1 of them",
     "write [['20 L/min', '3 kPa'], ['50 L/min', '18 kPa']]"),
    (LOSS, 'loss = [["20 L/min", "2.1 kPa"], ["60 L/min", "2 kPa"]]',
     "'loss' in [loop.front_exchanger]: the loss does not rise with flow", "check the rows"),
    (LOSS, 'loss = [["0 L/min", "2.1 kPa"], ["60 L/min", "16 kPa"]]',
     "'loss' in [loop.front_exchanger]: must be above 0 L/min, got '0 L/min'", CHECK),
    ('effectiveness = "52 %"', 'effectiveness = "100 %"',
     "'effectiveness' in [loop.front_exchanger]: must be above 0 % and below 100 %, got '100 %'", CHECK),
    ('effectiveness = "52 %"', 'UA = "950 W"',
     "'UA' in [loop.front_exchanger]: expected a conductance such as '900 W/K', got 'W'", "use a unit of that kind"),
    ('metal = "3.2 kg"', 'metal = "3.2 L"',
     "'metal' in [loop.front_exchanger]: expected a mass such as '6 kg', got 'L'",
     "use a unit of that kind"),
    ('volume = "6 L"', 'volume = "0 L"', "'volume' in [loop.reservoir]: must be above 0 L, got '0 L'", CHECK),
    ('start_temperature = "38 degC"', 'start_temperature = "-40 degC"',
     "'start_temperature' in [loop.reservoir]: -40 degC: ethylene glycol 50 % by volume freezes at -37.11 degC",
     "start warmer, or strengthen the mixture"),
    ('start_temperature = "38 degC"', 'start_temperature = "-20 degC"',
     "'start_temperature' in [loop.reservoir]: "
     "-20 degC is outside the known properties of ethylene glycol 50 % by volume", "stay within -10 degC to 100 degC"),
    ('## ice = "4 kg"', 'ice = "4 kg"', "'ice' in [loop.reservoir]: ice in ethylene glycol 50 % by volume",
     "ice needs fluid = 'water': melting, it would thin a glycol"),
    ('## ice_temperature = "-8 degC"', 'ice_temperature = "8 degC"',
     "'ice_temperature' in [loop.reservoir]: ice at 8 degC has melted",
     "give 0 degC or less; -8 degC is below freezing"),
    ('## ice_temperature = "-8 degC"', 'ice_temperature = "-8 degC"',
     "'ice_temperature' in [loop.reservoir]: no ice to have it", "add ice = '4 kg', or leave it out"),
    # blower, engine, net gain
    ('displacement = "2.4 L"', 'displacement = "2.4 m"',
     "'displacement' in [blower]: expected a volume such as '1.2 L', got 'm'", "use a unit of that kind"),
    ("drive_ratio = 2.05", 'drive_ratio = "2.05"', "'drive_ratio' in [blower]: expected a bare number, got '2.05'",
     NO_QUOTES),
    (BLOWER_ROWS, 'volumetric_efficiency = [[0.9, "96 %"]]',
     "'volumetric_efficiency' in [blower]: must be at least 1, got 0.9", CHECK),
    (BLOWER_ROWS, 'volumetric_efficiency = [[1.0, "104 %"]]',
     "'volumetric_efficiency' in [blower]: must be above 0 % and at most 100 %, got '104 %'", CHECK),
    (BLOWER_ROWS, 'volumetric_efficiency = [["1.0", "96 %"]]',
     "'volumetric_efficiency' in [blower]: expected a bare number, got '1.0'", NO_QUOTES),
    (BLOWER_ROWS, "volumetric_efficiency = []",
     "'volumetric_efficiency' in [blower]: expected a row or more of pressure ratio and efficiency, got 0 of them",
     "write [[1.0, '96 %'], [1.8, '88 %']]"),
    (BLOWER_ROWS, 'volumetric_efficiency = [[1.8, "96 %"], [1.4, "90 %"]]',
     "'volumetric_efficiency' in [blower]: pressure ratio must rise from row to row: 1.4 follows 1.8",
     "sort the rows, each once"),
    (ISENTROPIC, "isentropic_efficiency = 0.64",
     "'isentropic_efficiency' in [blower]: expected a fraction such as '4 %', got the bare number 0.64", QUOTES),
    (ISENTROPIC, ISENTROPIC.replace("1.3", "0.9"),
     "'built_in_pressure_ratio' in [blower.isentropic_efficiency]: must be at least 1, got 0.9", CHECK),
    (ISENTROPIC, ISENTROPIC.replace('"80 %"', '"0 %"'),
     "'internal_efficiency' in [blower.isentropic_efficiency]: must be above 0 % and at most 100 %, got '0 %'", CHECK),
    (ISENTROPIC, "isentropic_efficiency = { built_in_pressure_ratio = 1.0 }",
     "missing key 'internal_efficiency' in [blower.isentropic_efficiency]", ADD),
    ('mechanical_efficiency = "95 %"', 'mechanical_efficiency = "105 %"',
     "'mechanical_efficiency' in [blower]: must be above 0 % and at most 100 %, got '105 %'", CHECK),
    ('inlet_loss = "2 kPa"', 'inlet_loss = "2 bar"',
     "'inlet_loss' in [blower]: must be at least 0 kPa and below 50 kPa, got '2 bar'", CHECK),
    (ENGINE_ROWS, 'volumetric_efficiency = [["2000 rpm", "8 K"]]',
     "'volumetric_efficiency' in [engine]: expected a fraction such as '4 %', got 'K'", "use a unit of that kind"),
    (ENGINE_ROWS, 'volumetric_efficiency = "140 %"',
     "'volumetric_efficiency' in [engine]: must be above 0 % and at most 130 %, got '140 %'", CHECK),
    (REFERENCE, 'reference = { thicknes = "60 mm", passages = 9', "unknown variable 'thicknes' in [net_gain.reference]",
     "did you mean 'thickness'?"),
    (REFERENCE, "reference = { thickness = 60, passages = 9",
     "'thickness' in [net_gain.reference]: expected text, got 60", "write it in quotes"),
    (REFERENCE, 'reference = { thickness = "60 mm", passages = true',
     "'passages' in [net_gain.reference]: expected a number, got true", "write it without quotes"),
    ('air_fin = "S18-64", turb', 'air_fin = "S18-65", turb',
     "'air_fin' in [net_gain.reference]: unknown air_fin 'S18-65'", "did you mean 'S18-64'?"),
    ('port = "R22", line = "-16" }', 'port = "R22", line = "-15" }',
     "'line' in [net_gain.reference]: unknown line '-15'", "did you mean '-16'?"),
    ('power_per_air = "1000 kJ/kg"', 'power_per_air = "1000 kW"',
     "'power_per_air' in [net_gain]: expected a work per mass such as '1000 kJ/kg', got 'kW'",
     "use a unit of that kind"),
    ('power_per_kelvin = "0 %"', 'power_per_kelvin = "20 %"',
     "'power_per_kelvin' in [net_gain]: must be at least 0 % and below 10 %, got '20 %'", CHECK),
    # soak
    ('limit = "60 degC"', 'limit = "60 K"',
     "'limit' in [soak]: -213.15 degC is outside the known properties of the air",
     "stay within -23.15 degC to 326.85 degC"),
    (PHASE, '{ pull = "longpull", lasts = "11 s" }',
     "'pull' in [[soak.schedule]]: unknown duty point 'longpull'", "did you mean 'long_pull'?"),
    (PHASE, '{ rest = "long_pull", lasts = "11 s" }', "'schedule' in [soak]: no pull: nothing would heat the coolant",
     "add { pull = 'full_power', lasts = '11 s' }"),
    (PHASE, '{ pull = "long_pull", lasts = "11 s", pump_speed = "0 %" }',
     "'pump_speed' in [[soak.schedule]]: the pump stands still in a pull", "let it run, or make this a rest"),
    (PHASE, '{ pull = "long_pull", lasts = "0 s" }', "'lasts' in [[soak.schedule]]: must be above 0 s, got '0 s'",
     CHECK),
    (PHASE, '{ lasts = "11 s" }', "neither 'pull' nor 'rest' in [[soak.schedule]]",
     "give exactly one of the two, with the name of a duty point"),
    (PHASE, '{ pull = "long_pull", rest = "long_pull", lasts = "11 s" }',
     "both 'pull' and 'rest' in [[soak.schedule]]", "give exactly one of the two, with the name of a duty point"),
    (PHASE, '{ pull = "long_pull" }', "missing key 'lasts' in [[soak.schedule]]", ADD),
    ("repeat = 3", "repeat = 0", "'repeat' in [soak]: must be at least 1 and at most 10000, got 0", "check the number"),
    ('step = "0.2 s"', 'step = "20 s"', "'step' in [soak]: a step of 20 s is longer than a phase of 11 s",
     "write a shorter step"),
    ('step = "0.2 s"', 'step = "0.0001 s"', "'step' in [soak]: the run has more than 1000000 steps",
     "write a longer step, or a shorter run"),
    ('recovered_within = "3 K"', 'recovered_within = "3 degC"',
     "'recovered_within' in [soak]: expected a temperature difference such as '3 K', got 'degC'",
     "write a difference in K (or degF)"),
]


@pytest.mark.parametrize(("old", "new", "what", "do"), VALUE_FAULTS)
def test_a_fault_of_a_value_is_told_word_for_word_with_its_line(
    edited: Callable[..., str], old: str, new: str, what: str, do: str
) -> None:
    edited((old, new))
    assert faults() == [block(what, f"study.toml, line {line_in(COMPLETE, old)}", do)]


# --- faults of agreement -----------------------------------------------------------------------------------------

ENGINE_POINT = 'engine_speed = "6200 rpm"'
HELD_POINT = 'manifold_pressure = "200 kPa"'
BENCH_AIR = 'air_temperature = "142 degC"'
WAYS = "air_flow with air_temperature and air_pressure, or air_flow with manifold_pressure, or engine_speed alone"
ONE_WAY = "keep one way: behind engine_speed, blower and engine make flow, temperature and pressure"
ONE_WAY_HELD = "keep one way: behind manifold_pressure, the blower makes temperature and pressure before the core"
AMBIENT = "add it, or give ambient_temperature and ambient_pressure in every duty point"

# (replacements, what is told, of which text's line, what to do)
AGREEMENT = [
    # the air, in one of three ways
    ([(BENCH_AIR, "")], "missing key 'air_temperature' in [duty.full_power]", "[duty.full_power]",
     f"give the air in one way: {WAYS}"),
    ([("air_flow = \"0.80 kg/s\"\nair_t", "air_t")], "missing key 'air_flow' in [duty.full_power]", "[duty.full_power]",
     f"give the air in one way: {WAYS}"),
    ([(ENGINE_POINT, "")], "missing key 'air_flow' in [duty.long_pull]", "[duty.long_pull]", f"give the air: {WAYS}"),
    ([(ENGINE_POINT, f'{ENGINE_POINT}\nair_flow = "0.8 kg/s"')],
     "both engine_speed and air_flow in [duty.long_pull]", ENGINE_POINT, ONE_WAY),
    ([(ENGINE_POINT, f'{ENGINE_POINT}\nmanifold_pressure = "200 kPa"\n{BENCH_AIR}')],
     "both engine_speed and air_temperature, manifold_pressure in [duty.long_pull]", ENGINE_POINT, ONE_WAY),
    ([(HELD_POINT, f'{HELD_POINT}\nair_pressure = "210 kPa"')],
     "both manifold_pressure and air_pressure in [duty.held_boost]", HELD_POINT, ONE_WAY_HELD),
    ([(f'air_flow = "0.80 kg/s"\n{HELD_POINT}', HELD_POINT)], "missing key 'air_flow' in [duty.held_boost]",
     "[duty.held_boost]", "add it: manifold_pressure goes with an air_flow; or give engine_speed instead of both"),
    ([("drive_ratio = 2.05", "#")], "'engine_speed' in [duty.long_pull]: needs 'drive_ratio' in [blower]", ENGINE_POINT,
     "add it: revolutions of the blower per revolution of the engine"),
    ([without("engine")], "'engine_speed' in [duty.long_pull]: needs the table [engine]", ENGINE_POINT,
     "add it: displacement and volumetric efficiency give the air it takes"),
    ([without("blower"), without("net_gain"), without("duty.held_boost")],
     "'engine_speed' in [duty.long_pull]: needs the table [blower]", ENGINE_POINT,
     "add it: the engine's speed drives the blower"),
    ([without("blower"), without("net_gain"),
      (ENGINE_POINT, f'air_flow = "0.8 kg/s"\nair_pressure = "2 bar"\n{BENCH_AIR}')],
     "'manifold_pressure' in [duty.held_boost]: needs the table [blower]", HELD_POINT,
     "add it, or give air_temperature and air_pressure before the core"),
    # the coolant
    ([('coolant_temperature = "46 degC"', "")], "missing key 'coolant_temperature' in [duty.full_power]",
     "[duty.full_power]", "add it; or leave coolant_flow out as well, for [loop] to make both"),
    ([('front_air_flow = "1.6 kg/s"', "")], "missing key 'front_air_flow' in [duty.long_pull]", "[duty.long_pull]",
     "add it: the front exchanger cools with it; or give coolant_temperature"),
    ([without("loop.front_exchanger"), ('front_air_flow = "1.6 kg/s"', ""), (', front_air_flow = "0.2 kg/s"', "")],
     "missing key 'coolant_temperature' in [duty.long_pull]", "[duty.long_pull]",
     "add it, or a table [loop.front_exchanger] that makes it"),
    ([without("loop.front_exchanger"), ('pump_speed = "100 %"', 'coolant_temperature = "50 degC"'),
      (', front_air_flow = "0.2 kg/s"', "")],
     "'front_air_flow' in [duty.long_pull]: needs the table [loop.front_exchanger]", "front_air_flow =",
     "add it, or leave front_air_flow out"),
    ([without("loop.front_exchanger"), ('front_air_flow = "1.6 kg/s"', 'coolant_temperature = "50 degC"')],
     "'front_air_flow' in [[soak.schedule]]: needs the table [loop.front_exchanger]", "schedule =",
     "add it, or leave front_air_flow out"),
    ([('coolant_flow = "55 L/min"', 'coolant_flow = "55 L/min"\npump_speed = "90 %"')],
     "both coolant_flow and pump_speed in [duty.full_power]", 'pump_speed = "90 %"',
     "keep one: a coolant_flow that is given stays what it is at any speed"),
    # the air outside
    ([without("ambient"), ("[duty.held_boost]", '[duty.held_boost]\nhumidity = "40 %"'),
      ("[duty.long_pull]", '[duty.long_pull]\nhumidity = "40 %"'),
      ("[duty.full_power]", '[duty.full_power]\nhumidity = "40 %"')],
     "'blower': needs the table [ambient]", "[blower]", AMBIENT),
    ([('humidity = "40 %"', ""), ("[duty.held_boost]", '[duty.held_boost]\nhumidity = "40 %"'),
      ("[duty.long_pull]", '[duty.long_pull]\nhumidity = "40 %"')],
     "missing key 'humidity' in [duty.full_power]", "[duty.full_power]",
     "give it in [ambient], or in every duty point"),
    # pumps, front exchanger, blower, lines
    ([('lines = "catalogues/lines.toml"', "#")], "missing key 'lines' in [catalogues]", "[catalogues]",
     "add it: [loop] takes its line from a catalogue"),
    ([('curve_voltage = "13 V"', "#")], "missing key 'curve_voltage' in [loop.pump]", "[loop.pump]",
     "add it: the voltage the curve was measured at"),
    ([('voltage = "13.8 V"', "#")], "'curve_voltage' without 'voltage' in [loop.pump]", "curve_voltage =",
     "add the voltage the pump runs at, or leave both out"),
    ([('voltage = "13.8 V"', 'speed = "110 %"\nvoltage = "13.8 V"')], "both speed and voltage in [loop.pump]",
     'voltage = "13.8 V"', "keep one: the voltage makes the speed"),
    ([without("loop.pump")], "missing key 'pump' in [loop]", "[loop]", ADD),
    ([('effectiveness = "52 %"', "#")], "neither effectiveness nor UA in [loop.front_exchanger]",
     "[loop.front_exchanger]", "give one of them: effectiveness = '52 %' or UA = '950 W/K'"),
    ([('effectiveness = "52 %"', 'effectiveness = "52 %"\nUA = "950 W/K"')],
     "both effectiveness and UA in [loop.front_exchanger]", 'UA = "950 W/K"',
     "give one of them: effectiveness = '52 %' or UA = '950 W/K'"),
    ([(BLOWER_ROWS, "")], "missing key 'volumetric_efficiency' in [blower]", "[blower]",
     "add it, or [blower.leakage] instead of both"),
    ([(BLOWER_ROWS, 'leakage = { area = "20 mm^2", torque = "3 N*m", speed = "12000 rpm" }'), (ISENTROPIC, ISENTROPIC)],
     "'isentropic_efficiency' in [blower]: [blower.leakage] gives it already", "isentropic_efficiency =",
     "keep one of the two"),
    ([(BLOWER_ROWS, 'leakage = { area = "0.2 m^2", torque = "3 N*m", speed = "12000 rpm" }'), (ISENTROPIC, "")],
     "'leakage' in [blower]: all the blower sweeps leaks back: a smaller leak area or a higher speed is needed",
     "leakage =", "check area and speed, and their units"),
    # net gain and soak
    ([without("blower"), without("duty.held_boost"), ('front_air_flow = "1.6 kg/s"', 'front_air_flow = "1.6 kg/s"'),
      (ENGINE_POINT, f'air_flow = "0.8 kg/s"\nair_pressure = "2 bar"\n{BENCH_AIR}')],
     "'net_gain': needs the table [blower]", "[net_gain]",
     "add it: what is gained is counted at the blower's shaft"),
    ([without("loop.reservoir")], "'soak': needs the table [loop.reservoir]", "[soak]",
     "add it: what soaks up the heat"),
    ([(SCHEDULE, "")], "neither schedule nor trace in [soak]", "[soak]", "give one of the two"),
    ([(SCHEDULE, 'trace = "catalogues/trace.csv"\n')], "missing key 'trace_duty' in [soak]", "[soak]",
     "add it: it goes with 'trace'"),
    ([("repeat = 3", 'trace_duty = "long_pull"')], "missing key 'trace' in [soak]", "[soak]",
     "add it: it goes with 'trace_duty'"),
    ([(SCHEDULE, 'trace = "catalogues/trace.csv"\ntrace_duty = "full_power"\n')],
     "'trace_duty' in [soak]: duty point 'full_power' has no engine_speed", "trace_duty =",
     "name one whose air is given by engine_speed: the trace drives it"),
    ([(SCHEDULE, 'trace = "catalogues/trace.csv"\ntrace_duty = "longpull"\n')],
     "'trace_duty' in [soak]: unknown duty point 'longpull'", "trace_duty =", "did you mean 'long_pull'?"),
    ([("repeat = 3", 'repeat = 3\ntrace = "catalogues/trace.csv"\ntrace_duty = "long_pull"')],
     "both schedule and trace in [soak]", 'trace = "catalogues', "give one of the two"),
    ([(SCHEDULE, 'trace = "catalogues/trace.csv"\ntrace_duty = "long_pull"\nrepeat = 3\n')],
     "'repeat' in [soak]: a trace is driven once", "repeat = 3", "leave repeat out"),
    ([(SCHEDULE, 'trace = "trace.csv"\ntrace_duty = "long_pull"\n')],
     "'trace' in [soak]: no such file: 'trace.csv'", "trace =", "paths are read from the folder of the study"),
]


@pytest.mark.parametrize(("replacements", "what", "at", "do"), AGREEMENT, ids=[row[1][:60] for row in AGREEMENT])
def test_tables_that_do_not_agree_are_told_with_the_line_to_mend(
    edited: Callable[..., str], replacements: list[tuple[str, str]], what: str, at: str, do: str
) -> None:
    Path("catalogues/trace.csv").write_text("time [s],engine_speed [rpm]\n0,3000\n1,6000\n")
    text = edited(*replacements)
    place = line_in(text, f"\n{at}" if at.startswith("[") else at)
    assert faults() == [block(what, f"study.toml, line {place}", do)]


def test_a_study_without_a_loop_is_told_what_is_missing_for_the_coolant(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    write_starter("study.toml")
    bare = starter().replace('coolant_flow = "55 L/min"', "#").replace('coolant_temperature = "46 degC"', "#", 1)
    Path("study.toml").write_text(bare)
    where = f"study.toml, line {line_in(bare, chr(10) + '[duty.full_power]')}"
    flow, temperature = (f"add it, or a table [{table}] that makes {what}" for table, what in (
        ("loop", "the flow"), ("loop.front_exchanger", "it")))
    assert faults() == [
        block("missing key 'coolant_flow' in [duty.full_power]", where, flow),
        block("missing key 'coolant_temperature' in [duty.full_power]", where, temperature),
    ]


@pytest.mark.parametrize(("asks", "at", "what"), [
    ('[loop]\ncap_pressure = "110 kPa"\n', ("loop", "cap_pressure"), "needs the table [ambient]"),
    ("[soak]\n[loop.reservoir]\n", ("soak",), "needs the table [ambient]"),
])
def test_the_air_outside_is_asked_for_by_what_needs_it(asks: str, at: tuple[str, ...], what: str) -> None:
    raw = tomllib.loads(asks + '[duty.a]\nair_flow = ""\nair_temperature = ""\nair_pressure = ""\n'
                        'coolant_temperature = ""\n')
    told = {path: (error.context or {})["what"] for path, error in agreement_faults(raw)}
    assert told[at] == what
    raw["duty"]["a"] |= {"ambient_temperature": "", "ambient_pressure": ""}
    assert at not in dict(agreement_faults(raw))


def test_an_own_humidity_asks_for_the_air_outside_of_its_point() -> None:
    raw = {"duty": {"a": {"humidity": "40 %"}}}
    assert ("duty", "a", "humidity") in dict(agreement_faults(raw))


@pytest.mark.parametrize(("key", "own"), [("temperature", "ambient_temperature"), ("humidity", "humidity")])
def test_a_tolerance_of_the_air_outside_that_acts_on_no_duty_point_is_refused(key: str, own: str) -> None:
    raw = {"ambient": {key: {"value": "", "tolerance": {}}}, "duty": {"a": {own: ""}, "b": {own: ""}}}
    told = {path: (error.context or {})["what"] for path, error in agreement_faults(raw)}
    assert told["ambient", key, "tolerance"] == f"acts on nothing: every duty point has its own {own}"
    del raw["duty"]["b"][own]
    assert ("ambient", key, "tolerance") not in dict(agreement_faults(raw))


# --- goals -------------------------------------------------------------------------------------------------------

OBJECTIVE = 'maximise = "heat_rejected"'


@pytest.mark.parametrize(("output", "needed"), [
    ("pump_pressure_rise", "the table [loop]"), ("front_effectiveness", "the table [loop.front_exchanger]"),
    ("shaft_power", "the table [blower]"), ("net_gain", "the table [net_gain]"),
    ("boiling_margin", "'cap_pressure' in [loop]"), ("condensate_rate", "'humidity' in [ambient]"),
])
def test_an_output_whose_table_the_study_lacks_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, output: str, needed: str
) -> None:
    monkeypatch.chdir(tmp_path)
    write_starter("study.toml")
    Path("study.toml").write_text(starter().replace(OBJECTIVE, f'maximise = "{output}"'))
    assert faults() == [block(f"'maximise' in [[objectives]]: '{output}' needs {needed}",
                              f"study.toml, line {line_in(starter(), OBJECTIVE)}", "add it, or ask for another output")]


def test_outputs_whose_tables_are_there_may_be_asked_for(edited: Callable[..., str]) -> None:
    edited((OBJECTIVE, 'maximise = "net_gain"'), ('output = "coolant_pressure_drop"\nmax = "25 kPa"',
                                                  'output = "boiling_margin"\nmin = "5 K"'))
    study = load("study.toml")
    assert study.objectives[0].output == "net_gain"
    assert study.limits[1].minimum == 5.0


def test_every_need_of_an_output_is_a_table_or_key_the_reader_knows() -> None:
    needs = {output.needs for output in OUTPUTS.values()} - {""}
    assert needs <= {"loop", "loop.front_exchanger", "blower", "net_gain", "soak", *goals.KEYS}


# --- catalogue of lines ------------------------------------------------------------------------------------------

DASH = 'dash = 10\nfamily = "tube series hose"'
ONE_OF = "give one of them: bore = '14.3 mm', or dash = 10 with its family"


@pytest.mark.parametrize(("old", "new", "what", "at", "do"), [
    (DASH, 'dash = 11\nfamily = "tube series hose"',
     "'family' in [line.-10]: no bore known for dash 11 as tube series hose: there are 4, 6, 8, 10, 12, 16, 20, 24",
     "family", "take one of these, or measure: bore = '14.3 mm'"),
    (DASH, "dash = 10", "missing key 'family' in [line.-10]", "[line.-10]",
     "say which hose or fitting: the bore of a dash differs between families"),
    (DASH, 'family = "tube series hose"', "'family' without 'dash' in [line.-10]", "family",
     "add the dash size, or leave it out"),
    (DASH, f'{DASH}\nbore = "14 mm"', "both bore and dash in [line.-10]", "bore", ONE_OF),
    (DASH, 'roughness = "1 um"', "neither bore nor dash in [line.-10]", "[line.-10]", ONE_OF),
    (DASH, 'dash = -10\nfamily = "tube series hose"',
     "'dash' in [line.-10]: must be at least 1 and at most 64, got -10", "dash = -10", CHECK),
    (DASH, 'dash = "-10"\nfamily = "tube series hose"', "'dash' in [line.-10]: expected a whole number, got '-10'",
     'dash = "-10"', NO_QUOTES),
    (DASH, 'dash = 10\nfamily = "tube serie hose"',
     "'family' in [line.-10]: "
     "expected 'tube series hose', '37 degree fitting' or 'nominal hose', got 'tube serie hose'",
     "family", "did you mean 'tube series hose'?"),
    ('bore = "19 mm"', 'bore = "0 mm"', "'bore' in [line.M19]: must be above 0 mm, got '0 mm'", "bore", CHECK),
    ('bore = "19 mm"', "bore = 19",
     "'bore' in [line.M19]: expected a length such as '87 mm', got the bare number 19", "bore", QUOTES),
    ('roughness = "1.5 um"', 'roughness = "1.5 mm"',
     "'roughness' in [line.M19]: 1.5 mm is no roughness in a bore of 19 mm",
     "roughness", "check the unit: hoses have some um"),
    ("[line.M19]", '[line."M/19"]', "'M/19' in [line]: this cannot be the name of an entry", '[line."M/19"]',
     "use letters, digits, spaces and - _ . +, up to 40; not 'all'"),
    ('title = "Coolant lines"', 'titel = "Coolant lines"', "unknown key 'titel' at the top of the file", "titel",
     "did you mean 'title'?"),
])
def test_a_fault_of_the_catalogue_of_lines_is_told_with_its_own_line(
    edited: Callable[..., str], old: str, new: str, what: str, at: str, do: str
) -> None:
    text = edited((old, new), file=LINES)
    place = line_in(text, f"\n{at}") if "title" not in old else 1
    assert faults() == [block(what, f"{LINES}, line {place}", do)]


def test_a_line_that_is_not_in_the_catalogue_because_of_a_fault_there_is_told_once(edited: Callable[..., str]) -> None:
    edited((DASH, "dash = 10"), file=LINES)
    edited(('line = ["-12", "-16", "-20"]', 'line = "-10"'))
    assert len(faults()) == 1


# --- traces ------------------------------------------------------------------------------------------------------

HEADER = "time [s],engine_speed [rpm],load"


@pytest.mark.parametrize(("text", "row", "what", "do"), [
    ("time,rpm\n0,1\n", 1, f"expected the header '{HEADER}', got 'time,rpm'",
     "name the columns first; load may be left out"),
    ("# nothing\n", 1, f"expected the header '{HEADER}', got nothing", "name the columns first; load may be left out"),
    (f"{HEADER}\n0,3000,1\n", 2, "expected at least 2 rows, got 1", "a run needs a start and an end"),
    (f"{HEADER}\n0,3000,1\n0,3000,1\n", 3, "time must rise from row to row: 0 follows 0", "mend the row"),
    (f"{HEADER}\n0,3000,1\n1,3000\n", 3,
     f"expected 3 numbers {HEADER} with decimal points, got '1,3000'", "mend the row"),
    (f"{HEADER}\n0,3000,1\n1,fast,1\n", 3, "engine_speed [rpm]: expected a number, got 'fast'", "mend the row"),
    (f"{HEADER}\n0,3000,1\n1,-1,1\n", 3, "engine_speed [rpm]: must be at least zero, got '-1'", "mend the row"),
    (f"{HEADER}\n0,0,1\n1,3000,0\n", 3,
     "no row with an engine speed and a load above zero: nothing would heat the coolant", "record a run that pulls"),
    (f"{HEADER}\n0,3000,1\n1,3000,1.2\n", 3, "load: must be from 0 to 1, got '1.2'", "mend the row"),
])
def test_a_faulty_row_of_a_trace_is_told_by_its_row(
    edited: Callable[..., str], text: str, row: int, what: str, do: str
) -> None:
    traced(edited, text)
    assert faults() == [block(what, f"traces/stage.csv, row {row}", do)]


def test_all_faulty_rows_of_a_trace_are_told(edited: Callable[..., str]) -> None:
    traced(edited, f"{HEADER}\n0,3000,1\n1,3000,2\n0.5,3000,1\n2,x,1\n3,3000,1\n")
    assert [re.search(r"row (\d)", fault)[1] for fault in faults()] == ["3", "4", "5"]  # type: ignore[index]


# --- all at once -------------------------------------------------------------------------------------------------


def test_faults_of_values_and_of_agreement_show_at_once(edited: Callable[..., str]) -> None:
    text = edited(
        without("engine"), without("loop.reservoir"), (BENCH_AIR, ""),
        ('effectiveness = "52 %"', 'effectiveness = "152 %"'), ('["40 L/min", "10.9 m"]', '["40 L/min", "10.9 V"]'),
        ('"16 kPa"', '"16 L"'), ('mechanical_efficiency = "95 %"', "mechanical_efficiency = 95"),
        (PHASE, '{ pull = "nobody", lasts = "0 s" }'), ("passages = 9", "passage = 9"),
        ('humidity = "40 %"', 'humidity = "half"'),
    )
    edited(("dash = 12", "dash = 13"), file=LINES)
    places = [re.search(r"where: (.*), line (\d+)", fault) for fault in faults()]
    found = [(place[1], int(place[2])) for place in places if place]
    expected = [line_in(text, part) for part in (
        "\n[duty.full_power]", ENGINE_POINT, 'humidity = "half"', "curve = [[", "loss = [[", "effectiveness =",
        "mechanical_efficiency =", "reference = {", "\n[soak]", "schedule = [", "schedule = [",
    )]
    lines = Path(LINES).read_text()
    assert found == [*(("study.toml", n) for n in expected), (LINES, line_in(lines, "dash = 13") + 1)]


def test_every_faulty_row_of_a_curve_is_told_on_its_own_line(edited: Callable[..., str]) -> None:
    rows = ['["0 L/min", "12 m"]', '["40 L", "10 m"]', '["30 L/min"]', '["50 L/min", "9 m"]']
    text = edited((PUMP, "curve = [\n  " + ",\n  ".join(rows) + "\n]"))
    places = [int(re.search(r"line (\d+)", fault)[1]) for fault in faults()]  # type: ignore[index]
    assert places == [line_in(text, '["40 L"'), line_in(text, '["30 L/min"]')]


@pytest.mark.parametrize(("old", "new", "what", "do"), [
    (BENCH_AIR, 'air_temperatur = "142 degC"', "unknown key 'air_temperatur' in [duty.full_power]",
     "did you mean 'air_temperature'?"),
    ("\n[engine]", "\n[engin]", "unknown key 'engin' at the top of the file", "did you mean 'engine'?"),
    ("\n[ambient]", "\n[ambeint]", "unknown key 'ambeint' at the top of the file", "did you mean 'ambient'?"),
    ("drive_ratio =", "drive_ration =", "unknown key 'drive_ration' in [blower]", "did you mean 'drive_ratio'?"),
    ("\n[loop.reservoir]", "\n[loop.resevoir]", "unknown key 'resevoir' in [loop]", "did you mean 'reservoir'?"),
    ("\nlines =", "\nline =", "unknown key 'line' in [catalogues]", "did you mean 'lines'?"),
    ("\nschedule =", "\nshedule =", "unknown key 'shedule' in [soak]", "did you mean 'schedule'?"),
])
def test_a_misspelt_key_is_not_told_again_as_missing(
    edited: Callable[..., str], old: str, new: str, what: str, do: str
) -> None:
    text = edited((old, new))
    assert faults() == [block(what, f"study.toml, line {line_in(text, new)}", do)]


PIECES = st.sampled_from([
    "[", "]", "{", "}", '"', "=", ",", "#", "\n", "all", "1", "-1", "0", "nan", "true", '""', "[]", "{}", "[[]]",
    '"0 K"', '"1 kPa"', '"1 m"', "[loop]", "[[loop.sections]]", "[soak]", "[duty.x]", "trace = \"x.csv\"\n", "9" * 400,
    "\x00", "speed = 1\n", "UA = \"1 W/K\"\n", "[blower.leakage]\n",
])


def _mutations(text: str) -> st.SearchStrategy[str]:
    """The part about what stands around the core, with stretches dropped or replaced."""
    return mutations(text, PIECES, text.index("[duty.long_pull]"), text.index("[envelope]"), longest=6)


def test_any_mutation_of_the_tables_gives_a_study_or_its_faults(edited: Callable[..., str]) -> None:
    @settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
    @given(_mutations(COMPLETE))
    def attempt(text: str) -> None:
        Path("study.toml").write_bytes(text.encode("utf-8", "surrogatepass"))
        found = outcome("study.toml")
        told = found.faults if isinstance(found, StudyFaults) else ()
        assert told or isinstance(found, Study)
        assert all(fault.what and fault.do for fault in told)

    attempt()
