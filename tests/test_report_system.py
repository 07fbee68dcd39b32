"""Figures and sections on circuit, blower, net gain and heat soak, from a made-up run with numbers known beforehand."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from figure_texts import cut_off, overlaps
from hypothesis import given, settings
from hypothesis import strategies as st

from optimize import runs
from optimize.errors import FinfrontError
from optimize.report import draw_all, write_report, write_soak
from optimize.report import system_headlines as headlines
from optimize.report.end_labels import moved_apart
from optimize.report.figure_data import at_limit, front_data
from optimize.report.front_figure_3 import draw_front_of_three
from optimize.report.loop_data import OPENING, HeadPanel, head_data, pump_data
from optimize.report.net_gain_data import duty_mean, net_gain_data
from optimize.report.soak_data import gain_data, soak_data
from optimize.report.style import house_style, save
from optimize.report.summary import summary
from optimize.report.system_figures import system_figures
from optimize.report.water_data import stops_paying, water_data

DUTIES = ("full_power", "long_climb")
WEIGHTS = (1.0, 3.0)
PICKS = {"knee": "C7", "most cooling": "C11", "least air loss": "C0", "best net gain": "C10"}
HEAT, LOSS = "heat_rejected@full_power [kW]", "air_pressure_drop@full_power [kPa]"
PARTS = {
    "coolant_core_loss": 0.30, "coolant_end_loss": 0.06, "coolant_tank_loss": 0.05, "coolant_port_loss": 0.14,
    "loop_step_loss": 0.03, "loop_line_loss": 0.10, "loop_fitting_loss": 0.12, "loop_front_loss": 0.15,
}  # of the pump's rise; 0.05 are left for an opening pressure
STUDY = """
[duty.full_power]
engine_speed = "6200 rpm"
[duty.long_climb]
engine_speed = "3800 rpm"
[coolant]
fluid = "water"
[ambient]
temperature = "38 degC"
[envelope]
pocket_length = "330 mm"
"""


def pump_head(flow: Any) -> Any:
    """A made-up pump [kPa] over flow [L/min]."""
    return 90.0 - 0.018 * np.asarray(flow) ** 2


def circuit(core: int, duty: int) -> float:
    """Made-up resistance of a core's circuit [kPa/(L/min)^2]."""
    return (0.016 + 0.0028 * core) * (1.0 + 0.25 * duty)


def own_flow(core: int, duty: int) -> float:
    """Where `circuit` meets `pump_head`: k V^2 = 90 - 0.018 V^2."""
    return float(np.sqrt(90.0 / (circuit(core, duty) + 0.018)))


def cooling(core: int, duty: int, flow: Any) -> Any:
    """Made-up cooling [kW] over flow [L/min], saturating."""
    return (54.0 + 0.9 * core) * (0.55 if duty else 1.0) * (1 - np.exp(-((np.asarray(flow) / 7.0) ** 0.8)))


def elasticity(flow: Any) -> Any:
    """d ln cooling/d ln flow of `cooling`, by hand: 0.8 u e^-u/(1 - e^-u) with u = (flow/7)^0.8."""
    u = (np.asarray(flow) / 7.0) ** 0.8
    return 0.8 * u * np.exp(-u) / (1 - np.exp(-u))


def front_table(unit: str = "kPa") -> pd.DataFrame:
    cores = np.arange(12)
    names = {core: ", ".join(n for n, c in PICKS.items() if c == core) for core in PICKS.values()}
    columns: dict[str, Any] = {
        "core": [f"C{i}" for i in cores], "pick": [names.get(f"C{i}", np.nan) for i in cores],
        "thickness [mm]": 50.0 + 3 * cores, "line": np.where(cores < 6, "-12", "-16"),
    }
    for d, duty in enumerate(DUTIES):
        flow = np.array([own_flow(i, d) for i in cores])
        rise = pump_head(flow)
        columns |= {
            f"heat_rejected@{duty} [kW]": [float(cooling(i, d, own_flow(i, d))) for i in cores],
            f"air_pressure_drop@{duty} [kPa]": (2.4 + 0.05 * cores**1.8) * (1 - 0.3 * d),
            f"air_outlet_temperature@{duty} [degC]": 66.0 - 0.7 * cores,
            f"coolant_volume_flow@{duty} [L/min]": flow, f"pump_pressure_rise@{duty} [{unit}]": rise,
            f"coolant_inlet_temperature@{duty} [degC]": 46.0 + d,
            f"coolant_pressure_drop@{duty} [kPa]": 0.55 * rise,
            **{f"{name}@{duty} [{unit}]": share * rise for name, share in PARTS.items()},
            f"charge_density@{duty} [kg/m^3]": 2.1 + 0.01 * cores,
            f"shaft_power@{duty} [kW]": 92.0 - 20 * d + 0.1 * cores,
            f"core_shaft_power@{duty} [kW]": 1.6 + 0.06 * cores**1.5,
            f"charge_flow_change@{duty} [kg/s]": 0.002 * cores,
            f"engine_power_change@{duty} [kW]": 1.2 * cores - 2.0 - d,
            f"shaft_power_change@{duty} [kW]": 0.06 * cores**2 - 1,
            f"net_gain@{duty} [kW]": 1.2 * cores - 1.0 - d - 0.06 * cores**2,
            f"freezing_margin@{duty} [K]": 46.0 + d, f"boiling_margin@{duty} [K]": 20.0 - 2.0 * cores,
            f"dew_point@{duty} [degC]": 31.0, f"coldest_metal_temperature@{duty} [degC]": 33.0 - 0.5 * cores,
            f"condensate_rate@{duty} [g/min]": np.maximum(0.0, 2.0 * cores - 9.0),
        }
    return pd.DataFrame(columns | {"soak_time_under_limit [s]": 40.0 - cores, "flags": ""})


def flow_table() -> pd.DataFrame:
    parts = []
    for core in PICKS.values():
        i = int(core[1:])
        for d, duty in enumerate(DUTIES):
            flow = np.geomspace(0.1, 2.0, 41) * own_flow(i, d)
            parts.append(pd.DataFrame({
                "core": core, "duty": duty, "coolant_volume_flow [L/min]": flow,
                "heat_rejected [kW]": cooling(i, d, flow), "air_outlet_temperature [degC]": 60.0,
                "coolant_inlet_temperature [degC]": 46.0, "pump_pressure_rise [kPa]": circuit(i, d) * flow**2,
                "d ln heat/d ln flow": elasticity(flow),
            }))
    return pd.concat(parts, ignore_index=True)


def pump_table() -> pd.DataFrame:
    flow = np.linspace(0.0, 75.0, 41)
    parts = [pd.DataFrame({"duty": d, "flow [L/min]": flow, "pressure [kPa]": pump_head(flow)}) for d in DUTIES]
    return pd.concat(parts, ignore_index=True)


def water_table() -> pd.DataFrame:
    ports = ("R16", "R19", "R22", "R25", "D25-17", "D28-20", "D32-21")
    rows = []
    for i, line in enumerate(("-8", "-10", "-12", "-16")):
        for k, port in enumerate(ports):
            row: dict[str, Any] = {"line": line, "port": port, "chosen": "yes" if (i, k) == (3, 4) else "no"}
            for d, duty in enumerate(DUTIES):
                flow = 44.0 - 5 * d - 20.0 / (i + 1.2) - 9.0 / (k + 1.5)
                row |= {
                    f"coolant_volume_flow@{duty} [L/min]": flow,
                    f"heat_rejected@{duty} [kW]": float(cooling(7, d, flow)),
                    f"air_outlet_temperature@{duty} [degC]": 64.0, f"coolant_inlet_temperature@{duty} [degC]": 46.0,
                    f"coolant_pressure_drop@{duty} [kPa]": 0.01 * flow**2,
                    f"pump_pressure_rise@{duty} [kPa]": float(pump_head(flow)),
                }
            rows.append(row | {"port_open_share [%]": 30.0 + 4 * k})
    return pd.DataFrame(rows)


def soak_table(cores: tuple[str, ...] = ("C7", "C10", "C11"), ice: float = 4.0) -> pd.DataFrame:
    """Three pulls of 11 s after rests of 60 s; the reservoir warms by 6 K a pull, a little more for later cores."""
    time = np.arange(0.0, 212.9, 0.5)
    within = time % 71.0
    heated, pulls = within < 11.0, np.minimum((time // 71.0) + np.minimum(within / 11.0, 1.0), 3.0)
    parts = []
    for i, core in enumerate(cores):
        left = np.maximum(0.0, ice * (1 - pulls / (2.4 - 0.3 * i)))
        reservoir = 3.0 + (6.0 + i) * np.maximum(0.0, pulls - (1.2 if ice else 0.0))
        charge = np.where(heated, 12.0 + 1.9 * reservoir + 9 * (1 - np.exp(-within / 3.0)), np.nan)
        parts.append(pd.DataFrame({
            "core": core, "time [s]": time, "heated": np.where(heated, "yes", "no"),
            "charge_temperature [degC]": charge,
            "coolant_temperature [degC]": reservoir + 1.5 * heated, "reservoir_temperature [degC]": reservoir,
            "ice_left [kg]": left,
        }))
    return pd.concat(parts, ignore_index=True)


def gains_table(cores: tuple[str, ...] = ("C7", "C10", "C11")) -> pd.DataFrame:
    parts = []
    for i, core in enumerate(cores):
        for what, volume, ice in (
            ("reservoir", np.linspace(3, 18, 11), np.full(11, 4.0)), ("ice", np.full(11, 6.0), np.linspace(0, 8, 11)),
        ):
            seconds = 33.0 * (1 - np.exp(-(volume + 3 * ice) / (20.0 + i)))
            parts.append(pd.DataFrame({
                "core": core, "what": what, "reservoir_volume [L]": volume, "ice [kg]": ice,
                "soak_time_under_limit [s]": seconds, "soak_time_to_limit [s]": seconds,
                "soak_hottest_charge [degC]": 80.0 - seconds,
            }))
    return pd.concat(parts, ignore_index=True)


def record() -> dict[str, Any]:
    return {
        "title": "Dune racer charge cooler", "study": "dune.toml", "study_sha256": "0" * 64, "made": "2026-01-02",
        "versions": {"finfront": "0"}, "seed": 1, "units": "SI", "workers": 1, "method": "sweep", "exact": True,
        "space": 900, "rated": 900, "feasible": 300, "not_computable": 0, "front": 12,
        "objectives": [
            {"output": "heat_rejected", "at": "full_power", "maximise": True, "label": "", "column": HEAT},
            {"output": "air_pressure_drop", "at": "full_power", "maximise": False, "label": "", "column": LOSS},
        ],
        "limits": [], "variables": ["thickness", "line"], "duty": list(DUTIES), "duty_weights": list(WEIGHTS),
        "flags": {}, "picks": PICKS, "bands": {}, "hypervolume": None, "scatter": {"draws": 0, "confidence": 0.95},
        "seconds": {"search": 1.0}, "cores_per_second": 900.0, "water": {"pays": 0.02},
        "net_gain": {
            "reference": {"thickness": "60 mm", "passages": "9", "air_fin": "S18-50"},
            "power_per_air": "1000 kJ/kg", "power_per_kelvin": "0.1 %",
        },
        "soak": {"limit": 45.0, "unit": "degC"},
    }


def made_up(folder: Path) -> runs.Run:
    front = front_table()
    designs = front[["core", HEAT, LOSS]].assign(layer=1, feasible="yes")
    limits = pd.DataFrame({"requirement": ["a"], "cores_turned_away": [9], "by_it_alone": [1], "share [%]": [1.0]})
    runs.write(folder, STUDY, {}, record(), {
        "front": front, "designs": designs, "limits": limits, "flow": flow_table(), "pump": pump_table(),
        "water": water_table(), "soak": soak_table(), "soak_gains": gains_table(),
    })
    return runs.read(folder)


def changed(run: runs.Run, changes: dict[str, Any] | None = None, **tables: pd.DataFrame | None) -> runs.Run:
    """The run with other entries in its record, and with other or without some tables."""
    found = {name: table for name, table in (run.tables | tables).items() if table is not None}
    return runs.Run(run.folder, run.record | (changes or {}), found)


def one_duty(run: runs.Run) -> runs.Run:
    """The run as of a study of its first duty point only."""
    tables = {
        name: run.tables[name][[c for c in run.tables[name] if "@long_climb" not in c]] for name in ("front", "water")
    }
    short = {name: run.tables[name][run.tables[name]["duty"] == "full_power"] for name in ("flow", "pump")}
    entries = {name: value for name, value in run.record.items() if name != "duty_weights"} | {"duty": ["full_power"]}
    return runs.Run(run.folder, entries, run.tables | tables | short)


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> runs.Run:
    return made_up(tmp_path_factory.mktemp("system"))


@pytest.fixture(scope="module")
def figures(run: runs.Run) -> dict[str, Any]:
    with house_style():
        return draw_all(run)


@pytest.fixture
def styled() -> Iterator[None]:
    with house_style():
        yield


def bare(run: runs.Run) -> runs.Run:
    """The run as of a study of the core alone."""
    front = run.tables["front"][["core", "pick", "thickness [mm]", "line", HEAT, LOSS, "flags"]]
    return changed(run, front=front, **dict.fromkeys(("flow", "pump", "water", "soak", "soak_gains")))


def one_core(run: runs.Run) -> runs.Run:
    """The run as if its knee were the whole front."""
    front = run.tables["front"][run.tables["front"]["core"] == "C7"].assign(pick="knee, best net gain")
    tables = {
        name: run.tables[name][run.tables[name]["core"] == "C7"] for name in ("flow", "soak", "soak_gains")
    }
    entries = {"picks": {"knee": "C7", "best net gain": "C7"}, "front": 1}
    return changed(run, entries, front=front.reset_index(drop=True), **tables)


def three_objectives(run: runs.Run) -> runs.Run:
    """The run with the mass as a third objective, a fifth named core, copies, and limits that meet in a corner."""
    mass = "filled_mass [kg]"
    front = run.tables["front"].assign(**{mass: 2.0 + np.arange(12) % 5})
    front.loc[5, "pick"] = "lightest"
    copies = [
        front.loc[i % 12, [HEAT, LOSS, mass]].astype(float) * (1 + 0.004 * np.sin(i)) for i in range(96)
    ]
    clouds = pd.concat([
        pd.DataFrame(copies).assign(
            core=[f"C{i % 12}" for i in range(96)], scatter=kind, met=[i % 7 > 0 for i in range(96)]
        )
        for kind in ("shop", "model")
    ], ignore_index=True)
    third = {"output": "filled_mass", "at": None, "maximise": False, "label": "", "column": mass}
    limits = [
        {"output": "air_pressure_drop", "at": "worst", "bound": 6.4, "unit": "kPa"},
        {"output": "filled_mass", "at": None, "bound": 6.2, "unit": "kg"},
    ]
    entries = {
        "objectives": [*run.record["objectives"], third], "picks": PICKS | {"lightest": "C5"}, "limits": limits,
    }
    designs = run.tables["designs"].assign(**{mass: 3.0})
    return changed(run, entries, front=front, clouds=clouds, designs=designs)


def long_names(run: runs.Run) -> runs.Run:
    """The run with ids of a large search and names of lines and ports that need room."""
    def longer(text: Any) -> str:
        return re.sub(r"^C(\d+)$", r"C12345\1", str(text))

    tables = {name: run.tables[name].assign(core=run.tables[name]["core"].map(longer))
              for name in ("front", "designs", "flow", "soak", "soak_gains")}
    water = run.tables["water"]
    water = water.assign(line="hose of size " + water["line"].astype(str), port="port " + water["port"])
    return changed(run, {"picks": {name: longer(core) for name, core in PICKS.items()}}, water=water, **tables)


def drawn_problems(figures: dict[str, Any]) -> dict[str, Any]:
    """Texts that meet or are cut off, by figure."""
    found = {name: (overlaps(figure), cut_off(figure)) for name, figure in figures.items()}
    return {name: problems for name, problems in found.items() if problems != ([], [])}


class TestPumpData:
    def test_pump_and_circuits_are_those_of_the_tables(self, run: runs.Run) -> None:
        full, climb = pump_data(run)
        assert (full.duty, climb.duty) == DUTIES
        assert full.titles == ("coolant_volume_flow [L/min]", "pump_pressure_rise [kPa]")
        np.testing.assert_allclose(climb.pump[:, 1], pump_head(climb.pump[:, 0]), rtol=1e-6)
        knee = next(system for system in climb.systems if system.core == "C7")
        np.testing.assert_allclose(knee.curve[:, 1], circuit(7, 1) * knee.curve[:, 0] ** 2, rtol=1e-6)

    def test_every_named_core_stands_where_its_circuit_meets_the_pump(self, run: runs.Run) -> None:
        for d, panel in enumerate(pump_data(run)):
            assert {system.name: system.core for system in panel.systems} == PICKS
            for system in panel.systems:
                flow = own_flow(int(system.core[1:]), d)
                np.testing.assert_allclose(system.point, [flow, pump_head(flow)], rtol=1e-6)

    def test_all_cores_of_the_front_have_an_operating_point_in_view(self, run: runs.Run) -> None:
        for panel in pump_data(run):
            assert panel.points.shape == (12, 2)
            assert np.all((panel.points > panel.view[:, 0]) & (panel.points < panel.view[:, 1]))

    def test_near_view_holds_every_core_and_is_never_too_near(self, run: runs.Run) -> None:
        for panel in (*pump_data(run), *pump_data(one_core(run))):
            assert np.all((panel.points > panel.near[:, 0]) & (panel.points < panel.near[:, 1]))
            # 6 % to either side of the middle, at least.
            assert np.all(np.ptp(panel.near, axis=1) >= 0.12 * panel.near.mean(axis=1) * (1 - 1e-9))

    def test_circuits_end_a_little_beyond_the_pump(self, run: runs.Run) -> None:
        for system in pump_data(run)[0].systems:
            assert system.point[0] < system.curve[-1, 0] <= 1.15 * system.point[0]

    def test_named_cores_have_the_order_and_so_the_marks_of_the_front(self, run: runs.Run) -> None:
        assert [s.core for s in pump_data(run)[0].systems] == [pick.core for pick in front_data(run).picks]

    def test_duty_point_that_states_its_flow_has_no_panel(self, run: runs.Run) -> None:
        flow = run.tables["flow"]
        assert [p.duty for p in pump_data(changed(run, flow=flow[flow["duty"] == "long_climb"]))] == ["long_climb"]

    def test_dot_that_is_named_is_no_named_core_s(self, run: runs.Run) -> None:
        panel = pump_data(run)[0]
        assert panel.free_dot is not None
        assert all(not np.allclose(panel.free_dot, system.point) for system in panel.systems)


class TestHeadData:
    def test_parts_and_opening_pressure_make_up_the_rise(self, run: runs.Run) -> None:
        for panel in head_data(run):
            np.testing.assert_allclose(np.sum(list(panel.parts.values()), axis=0), panel.total, rtol=1e-6)
            # What `PARTS` leave of the rise: 1 - 0.95.
            np.testing.assert_allclose(panel.parts[OPENING], 0.05 * panel.total, rtol=1e-5)

    def test_core_share_is_that_of_its_four_parts(self, run: runs.Run) -> None:
        # 0.30 + 0.06 + 0.05 + 0.14
        np.testing.assert_allclose(head_data(run)[0].core_share, 0.55, rtol=1e-6)

    def test_part_that_is_nothing_everywhere_is_left_out(self, run: runs.Run) -> None:
        front = run.tables["front"].copy()
        for duty in DUTIES:
            front[f"pump_pressure_rise@{duty} [kPa]"] -= front[f"loop_front_loss@{duty} [kPa]"]
            front[f"loop_front_loss@{duty} [kPa]"] = 0.0
        assert "front exchanger" not in head_data(changed(run, front=front))[0].parts

    def test_rounding_of_the_table_is_no_opening_pressure(self, run: runs.Run) -> None:
        front = run.tables["front"].copy()
        for duty in DUTIES:
            front[f"pump_pressure_rise@{duty} [kPa]"] *= 0.95 * (1 + 1e-6)
        assert OPENING not in head_data(changed(run, front=front))[0].parts

    def test_pressure_given_back_lies_left_of_zero(self) -> None:
        parts = {"core friction": np.array([5.0]), "ends and turns": np.array([-1.0]), "ports": np.array([2.0])}
        panel = HeadPanel("a", "kPa", (("knee", "C1"),), parts, np.array([6.0]))
        assert {name: left.tolist() for name, left in panel.lefts.items()} == {
            "core friction": [0.0], "ends and turns": [0.0], "ports": [5.0],
        }


class TestWaterData:
    def test_flow_from_which_more_water_does_not_pay_is_where_the_elasticity_says(self, run: runs.Run) -> None:
        for curve in water_data(run).curves:
            assert curve.stops is not None
            # The table has 41 flows; straight lines in ln(flow) between them.
            assert float(elasticity(curve.stops[0])) == pytest.approx(0.02, rel=0.01)
            assert not curve.is_past

    def test_gain_of_more_water_is_the_elasticity_at_the_operating_point(self, run: runs.Run) -> None:
        for d, curve in enumerate(water_data(run).curves):
            # Straight lines between 41 flows.
            assert curve.gain == pytest.approx(float(elasticity(own_flow(7, d))), rel=0.01)
            np.testing.assert_allclose(curve.point, [own_flow(7, d), cooling(7, d, own_flow(7, d))], rtol=1e-6)

    def test_water_that_pays_to_the_end_has_no_mark(self) -> None:
        assert stops_paying(np.array([1.0, 2.0]), np.array([0.5, 0.02]), 0.02) is None
        assert stops_paying(np.array([]), np.array([]), 0.02) is None

    def test_water_that_never_pays_stops_at_once(self) -> None:
        assert stops_paying(np.array([1.0, 2.0]), np.array([0.01, 0.0]), 0.02) == 1.0

    def test_dip_before_the_flow_turns_turbulent_is_no_end(self) -> None:
        flow = np.array([1.0, 2.0, 4.0, 8.0])
        at = stops_paying(flow, np.array([0.01, 0.10, 0.04, 0.00]), 0.02)
        assert at == pytest.approx(4.0 * 2.0**0.5)

    def test_choices_are_the_rows_of_the_table(self, run: runs.Run) -> None:
        table = run.tables["water"]
        for grid in water_data(run).grids:
            assert grid.lines == ("-8", "-10", "-12", "-16")
            assert (grid.lines[grid.chosen[1]], grid.ports[grid.chosen[0]]) == ("-16", "D25-17")  # type: ignore[index]
            for i, port in enumerate(grid.ports):
                for k, line in enumerate(grid.lines):
                    row = table[(table["line"].astype(str) == line) & (table["port"] == port)].iloc[0]
                    assert grid.heat[i, k] == row[f"heat_rejected@{grid.duty} [kW]"]
                    assert grid.flow[i, k] == row[f"coolant_volume_flow@{grid.duty} [L/min]"]

    def test_study_with_one_line_and_one_port_has_nothing_to_choose(self, run: runs.Run) -> None:
        assert water_data(changed(run, water=run.tables["water"][:1])).grids == ()

    def test_pair_that_was_not_rated_is_no_number(self, run: runs.Run) -> None:
        grid = water_data(changed(run, water=run.tables["water"][1:])).grids[0]
        assert np.isnan(grid.heat).sum() == 1


class TestNetGainData:
    def test_gain_is_the_weighted_mean_and_the_sum_of_its_parts(self, run: runs.Run) -> None:
        data = net_gain_data(run)
        np.testing.assert_allclose(data.gain, data.engine + data.shaft, atol=1e-6)
        front = run.tables["front"].set_index("core")
        own = [float(front.loc["C7", f"net_gain@{duty} [kW]"]) for duty in DUTIES]
        # Weights 1 and 3.
        assert data.gain[data.cores.index("C7")] == pytest.approx((own[0] + 3 * own[1]) / 4)

    def test_best_is_the_greatest_gain(self, run: runs.Run) -> None:
        data = net_gain_data(run)
        # d/dn (1.2 n - 0.06 n^2) = 0 at n = 10.
        assert (data.cores[data.best], data.picks[data.best]) == ("C10", "best net gain")
        assert np.all(np.diff(data.x) > 0)

    def test_one_duty_point_needs_no_weights(self, run: runs.Run) -> None:
        data = net_gain_data(one_duty(run))
        assert data.at == "full power"
        assert data.gain[0] == run.tables["front"]["net_gain@full_power [kW]"][0]

    def test_several_duty_points_need_weights(self, run: runs.Run) -> None:
        entries = {name: value for name, value in run.record.items() if name != "duty_weights"}
        with pytest.raises(KeyError, match="duty_weights"):
            duty_mean(runs.Run(run.folder, entries, run.tables), run.tables["front"], "net_gain")


class TestSoakData:
    def test_traces_are_the_rows_of_the_table(self, run: runs.Run) -> None:
        data, table = soak_data(run), run.tables["soak"]
        assert [trace.name for trace in data.traces] == ["knee, C7", "best net gain, C10", "most cooling, C11"]
        rows = table[table["core"] == "C10"]
        assert np.array_equal(data.traces[1].charge, rows["charge_temperature [degC]"].to_numpy(), equal_nan=True)
        assert data.traces[1].hottest == rows["charge_temperature [degC]"].max()
        assert (data.limit, data.limit_text) == (45.0, "limit 45 °C")

    def test_three_pulls_are_shaded_for_eleven_seconds_each(self, run: runs.Run) -> None:
        pulls = soak_data(run).pulls
        assert len(pulls) == 3
        # A sample stands for half the way to the next: up to a step of 0.5 s more.
        assert all(10.5 <= high - low <= 11.5 for low, high in pulls)

    def test_core_that_could_not_be_computed_is_left_out(self, run: runs.Run) -> None:
        table = run.tables["soak"].copy()
        table.loc[table["core"] == "C10", [c for c in table if "temperature" in c]] = np.nan
        assert [trace.name for trace in soak_data(changed(run, soak=table)).traces] == ["knee, C7", "most cooling, C11"]

    def test_gains_are_the_rows_of_what_varied(self, run: runs.Run) -> None:
        reservoir, ice = gain_data(run)
        assert (reservoir.title, ice.title) == ("reservoir_volume [L]", "ice [kg]")
        np.testing.assert_allclose(reservoir.lines[0].amount, np.linspace(3, 18, 11))
        np.testing.assert_allclose(ice.lines[2].amount, np.linspace(0, 8, 11))

    def test_study_s_own_amount_is_the_one_held_while_the_other_varied(self, run: runs.Run) -> None:
        assert [panel.own for panel in gain_data(run)] == [6.0, 4.0]
        table = run.tables["soak_gains"]
        alone = gain_data(changed(run, soak_gains=table[table["what"] == "reservoir"]))
        assert len(alone) == 1
        assert np.isnan(alone[0].own)


class TestMovedApart:
    @given(st.lists(st.floats(0.0, 100.0), min_size=1, max_size=9))
    @settings(max_examples=60, deadline=None)
    def test_no_two_places_are_nearer_than_the_gap(self, wanted: list[float]) -> None:
        places = moved_apart(np.array(wanted), 10.0, 0.0, 100.0)
        assert np.all(np.diff(np.sort(places)) >= 10.0 - 1e-9)
        assert np.all((places >= -1e-9) & (places <= 100.0 + 1e-9))

    def test_places_that_are_apart_stay(self) -> None:
        assert moved_apart(np.array([30.0, 10.0]), 5.0, 0.0, 100.0).tolist() == [30.0, 10.0]

    def test_heavy_place_stays_and_the_others_give_way(self) -> None:
        places = moved_apart(np.array([50.0, 50.0]), 10.0, 0.0, 100.0, np.array([1.0, 1e9]))
        assert places == pytest.approx([40.0, 50.0], abs=1e-6)


NEW = {"pump", "head", "water", "net_gain", "soak", "soak_gains"}


class TestFigures:
    def test_run_with_every_table_has_every_figure(self, figures: dict[str, Any]) -> None:
        assert set(figures) == NEW | {"front", "range", "limits"}

    def test_run_without_the_tables_has_none_of_them(self, run: runs.Run) -> None:
        assert system_figures(bare(run)) == {}

    def test_no_text_meets_another_or_the_edge(self, figures: dict[str, Any], styled: None) -> None:
        assert drawn_problems(figures) == {}

    @pytest.mark.parametrize("change", ["one core", "long names"])
    def test_no_text_meets_another_in_a_run_of_another_size(self, run: runs.Run, styled: None, change: str) -> None:
        shown = one_duty(one_core(run)) if change == "one core" else long_names(run)
        assert drawn_problems(system_figures(shown)) == {}

    def test_five_named_cores_have_room_beside_the_front_of_three(self, run: runs.Run, styled: None) -> None:
        shown = three_objectives(run)
        figure = draw_front_of_three(front_data(shown), "five")
        assert (overlaps(figure), cut_off(figure)) == ([], [])
        key = " ".join(text.get_text() for text in figure.axes[3].texts)
        assert all(f"{name}, {core}" in key for name, core in shown.record["picks"].items())

    def test_best_net_gain_is_named_in_the_front_like_every_pick(self, figures: dict[str, Any]) -> None:
        texts = [text.get_text() for text in figures["front"].axes[0].texts]
        assert sum(text.startswith("best net gain, C10\n") for text in texts) == 1

    def test_core_within_a_kelvin_of_boiling_is_only_just_within(self, run: runs.Run) -> None:
        limit = {"output": "boiling_margin", "at": "worst", "bound": 5.5, "unit": "K"}
        shown = changed(run, {"limits": [limit]})
        # C7 has 20 - 14 = 6 K, C0 has 20 K.
        assert at_limit(shown, shown.tables["front"], 7) == ("hottest wall below the boiling point by",)
        assert at_limit(shown, shown.tables["front"], 0) == ()

    def test_every_axis_names_its_unit(self, figures: dict[str, Any]) -> None:
        for name in ("pump", "net_gain"):
            assert all(ax.get_xlabel().endswith("]") for ax in figures[name].axes)
        labels = [ax.get_xlabel() or ax.get_ylabel() for ax in figures["soak_gains"].axes]
        assert labels == ["time under the\ncharge limit [s]", "", "reservoir volume [L]", "ice [kg]"]
        assert [ax.get_ylabel() for ax in figures["pump"].axes[::2]] == ["pressure rise of the pump [kPa]"] * 2

    def test_parts_of_the_head_differ_without_colour(self, figures: dict[str, Any]) -> None:
        patches = figures["head"].legends[0].get_patches()
        texts = figures["head"].legends[0].get_texts()
        # Friction of the core and the lines are both plain; they are the first of their group and stand apart.
        looks = {(p.get_hatch(), t.get_text().startswith("core")) for p, t in zip(patches, texts, strict=True)}
        assert len(looks) == len(patches) == 9

    def test_same_run_gives_the_same_bytes(self, run: runs.Run, tmp_path: Path, styled: None) -> None:
        both = []
        for name in ("a", "b"):
            (tmp_path / name).mkdir()
            figures = system_figures(one_duty(run))
            saved = [path for figure in ("pump", "net_gain") for path in save(figures[figure], tmp_path / name, figure)]
            both.append([path.read_bytes() for path in saved])
        assert both[0] == both[1]

    def test_circuit_without_its_record_is_told_as_damage(self, run: runs.Run, tmp_path: Path) -> None:
        entries = {name: value for name, value in run.record.items() if name != "water"}
        runs.write(tmp_path, STUDY, {}, entries, run.tables)
        with pytest.raises(FinfrontError, match="water"):
            write_report(tmp_path)


class TestWriteSoak:
    def test_tables_of_a_typed_core_are_drawn(self, tmp_path: Path) -> None:
        entries = {"soak": {"limit": 45.0, "unit": "degC"}}
        written = write_soak(soak_table(("this core",)), gains_table(("this core",)), entries, tmp_path)
        assert [path.name for path in written] == ["soak.png", "soak.svg", "soak_gains.png", "soak_gains.svg"]
        assert all(path.stat().st_size > 1000 for path in written)

    def test_nothing_won_is_told(self, tmp_path: Path) -> None:
        gains = gains_table(("this core",)).assign(**{"soak_time_under_limit [s]": 0.0})
        run = runs.Run(tmp_path, {"title": "", "soak": {"limit": 9.0, "unit": "degC"}}, {"soak_gains": gains})
        assert headlines.soak_gains(run, gain_data(run)) == "More reservoir or ice wins no second under the limit"

    def test_gains_may_be_missing(self, tmp_path: Path) -> None:
        written = write_soak(soak_table(("this core",), 0.0), None, {"soak": {"limit": 45.0, "unit": "degC"}}, tmp_path)
        assert [path.name for path in written] == ["soak.png", "soak.svg"]


class TestSummary:
    def test_every_section_stands_where_there_is_data_and_nowhere_else(self, run: runs.Run) -> None:
        heads = ["Coolant circuit", "Blower and net gain", "Heat soak", "Moisture, freezing, boiling"]
        found = re.findall(r"^## (.+)$", summary(run), re.MULTILINE)
        assert [head for head in found if head in heads] == heads
        assert not set(heads) & set(re.findall(r"^## (.+)$", summary(bare(run)), re.MULTILINE))

    def test_head_of_each_named_core_is_split(self, run: runs.Run) -> None:
        # C0 at full power: rise 90 - 0.018 * 90/0.034 = 42.35 kPa; ports 0.14 of it.
        line = next(line for line in summary(run).splitlines() if line.startswith("| coolant loss, ports, full power"))
        assert line.split(" | ")[1] == "5.93"

    def test_flow_from_which_water_does_not_pay_is_told(self, run: runs.Run) -> None:
        text = summary(run)
        stops = water_data(run).curves[0].stops
        assert stops is not None
        assert f"more water stops paying at {stops[0]:.1f} L/min" in text
        assert "| -16 (the knee's) | D25-17 |" in text

    def test_estimate_is_called_one_with_what_it_rests_on(self, run: runs.Run) -> None:
        text = summary(run)
        assert "**This net gain is an estimate.**" in text
        assert "reference core: thickness 60 mm, passages 9, air fin S18-50" in text
        assert "more charge: 1000 kJ/kg" in text
        # C10: 1.2 * 10 - 0.06 * 100 - 1 - 3/4 = 4.25 kW; engine 12 - 2.75, shaft 6 - 1.
        assert "best net gain, C10: +4.25 kW" in text
        assert "engine power +9.25 kW minus shaft power +5 kW" in text

    def test_seconds_won_stand_by_litre_and_kilogram(self, run: runs.Run) -> None:
        text = summary(run)
        # 33 (1 - exp(-(6 + 3 * 4)/20)) = 19.58 s for the study's own amounts.
        assert "| 6 | 19.6 |" in text
        assert "| 4 | 19.6 |" in text

    def test_cores_that_boil_and_sweat_are_counted(self, run: runs.Run) -> None:
        text = summary(run)
        # 20 - 2 n < 0 for n = 11; 2 n - 9 > 0 from n = 5 to 11, 13 g/min at most.
        assert "in 1 of 12 front cores the coolant may boil" in text
        assert "in 7 of 12 front cores the coldest metal is below the dew point: at most 13.0 g/min" in text
        assert "would freeze" not in text
