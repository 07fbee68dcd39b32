"""Studies with loop, blower and schedule through the search's own problem: tables, gains, and what stays as it was."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from small_studies import PAIRS, ROOT, problem, study

from optimize import soak_tables, water
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem, output_names
from optimize.soaking import SoakRun, soak_outputs
from optimize.space import Parameters
from optimize.study.load import load
from optimize.study.model_system import Engine, Reservoir, Soak, SoakPhase, Trace
from optimize.surroundings import tables_of
from optimize.typed_core import typed_core
from physics.flags import Flag
from physics.outputs import OUTPUTS
from physics.reservoir import MELTING

DUNE = [
    "thickness=65 mm", "passages=11", "passes=1", "air_fin=S22-50", "turbulator=TS-20-16", "port=D28-20", "line=-16",
]
FROST = ["thickness=64 mm", "passages=9", "passes=1", "air_fin=S22-50", "turbulator=TS-20-16", "port=R19", "line=-12"]


@cache
def example(name: str) -> CoreProblem:
    return CoreProblem(load(ROOT / f"studies/{name}.toml"))


def core_of(p: CoreProblem, pairs: list[str]) -> Parameters:
    return typed_core(p.space, pairs)


@cache
def dune() -> tuple[CoreProblem, Parameters]:
    return example("dune_racer"), core_of(example("dune_racer"), DUNE)


@cache
def frost() -> tuple[CoreProblem, Parameters]:
    return example("frost_sprint"), core_of(example("frost_sprint"), FROST)


def test_a_study_without_the_tables_has_none_of_their_outputs():
    assert tables_of(study()) == frozenset()
    assert not [name for name in output_names(study()) if OUTPUTS[name].needs]
    assert not problem().around.closes


def test_an_example_has_exactly_the_outputs_of_its_tables():
    p, core = dune()
    needed = {OUTPUTS[name].needs for name in p.outputs} - {""}
    assert needed == tables_of(p.study) & {output.needs for output in OUTPUTS.values()}
    rating = p.rate_choices(core, 1, soak=True)
    assert set(p.outputs) <= set(rating.values)
    assert all(np.all(np.isfinite(rating[name])) for name in p.outputs)


def test_the_reference_core_gains_nothing_over_itself():
    p, _ = dune()
    reference = core_of(p, [f"{name}={value}" for name, value in p.study.net_gain.reference.items()])
    rating = p.rate_choices(reference, 1)
    for name in ("charge_flow_change", "shaft_power_change", "engine_power_change", "net_gain"):
        np.testing.assert_allclose(rating[name], 0.0, atol=1e-6)


def test_net_gain_is_engine_power_less_shaft_power():
    p, core = dune()
    rating = p.rate_choices(core, 1)
    np.testing.assert_allclose(
        rating["net_gain"], rating["engine_power_change"] - rating["shaft_power_change"], rtol=1e-12
    )
    more = rating["charge_flow_change"][0]
    reference = p.rate_choices(core_of(p, [f"{k}={v}" for k, v in p.study.net_gain.reference.items()]), 1)
    assert more[1] == pytest.approx(rating["charge_flow"][0, 1] - reference["charge_flow"][0, 1], rel=1e-9)
    denser = rating["charge_density"][0, 0] / reference["charge_density"][0, 0] - 1
    assert more[0] == pytest.approx(0.80 * denser, rel=1e-9)
    shaft = rating["shaft_power"][0] * np.array([1 + denser, 1.0]) - reference["shaft_power"][0]
    np.testing.assert_allclose(rating["shaft_power_change"][0], shaft, rtol=1e-9)


def test_a_reference_that_is_no_core_of_the_study_is_told_with_its_table():
    s = example("dune_racer").study
    wrong = replace(s.net_gain, reference={**s.net_gain.reference, "thickness": "56 kPa"})
    with pytest.raises(FinfrontError, match="length") as told:
        CoreProblem(replace(s, net_gain=wrong))
    assert "'reference' in [net_gain]" in told.value.where


def test_every_line_and_port_is_in_the_table_once_and_the_chosen_pair_is_the_core_itself():
    p, core = dune()
    table = water.choice_table(p, core)
    assert len(table) == 2 * len(p.study.ports)
    chosen = table[table["chosen"] == "yes"]
    assert chosen[["line", "port"]].to_numpy().tolist() == [["-16", "D28-20"]]
    own = p.rate_choices(core, 1)["heat_rejected"][0, 0] / 1e3
    assert float(chosen["heat_rejected@full_power [kW]"].iloc[0]) == pytest.approx(own, rel=1e-9)


def test_a_wider_line_gives_more_water_and_more_cooling_at_every_port():
    p, core = dune()
    table = water.choice_table(p, core).set_index(["port", "line"])
    for column in ("coolant_volume_flow@full_power [L/min]", "heat_rejected@full_power [kW]"):
        by_line = table[column].unstack("line")
        assert (by_line["-16"] > by_line["-12"]).all()


def test_system_and_pump_curves_meet_at_the_operating_point():
    p, core = dune()
    flow, pump = water.flow_table(p, core, "C1"), water.pump_table(p, core)
    rating = p.rate_choices(core, 1)
    for i, duty in enumerate(p.duty.names):
        own = rating["coolant_volume_flow"][0, i] * 6e4
        rise = rating["pump_pressure_rise"][0, i] / 1e3
        system, given = flow[flow["duty"] == duty], pump[pump["duty"] == duty]
        x, y = (system[f"{n}"].to_numpy() for n in ("coolant_volume_flow [L/min]", "pump_pressure_rise [kPa]"))
        assert np.exp(np.interp(np.log(own), np.log(x), np.log(y))) == pytest.approx(rise, rel=2e-3)
        # straight between 41 points of a curve
        assert np.interp(own, given["flow [L/min]"], given["pressure [kPa]"]) == pytest.approx(rise, rel=3e-3)


def test_more_water_pays_less_and_less():
    p, core = dune()
    table = water.flow_table(p, core, "C1")
    one = table[table["duty"] == "full_power"]
    slope = one["d ln heat/d ln flow"].to_numpy()
    assert np.all(slope > 0)
    assert slope[0] > 3 * slope[-1]


def test_a_schedule_keeps_its_energy_and_its_limits():
    p, core = frost()
    run, batch = soak_tables.one_core(p, core)
    soaked = run.run(batch, keep=True).soaked
    assert soaked.energy_error[0] < 1e-6
    assert 0 <= soaked.time_to_limit[0] <= soaked.time_under_limit[0] <= run.pulling
    assert 0 <= soaked.ice_left[0] <= run.reservoir.ice
    table = soak_tables.trace_table(p, soaked, "C1")
    assert table["time [s]"].is_monotonic_increasing
    assert float(table["charge_temperature [degC]"].max()) == pytest.approx(
        float(soaked.hottest_charge[0]) - 273.15, abs=1e-9
    )


def test_a_schedule_run_from_the_rating_of_many_cores_is_that_of_each():
    p, core = frost()
    many = {**core, "thickness": np.array([0.048, 0.064, 0.076]), "line": np.array([p.space.code("line", "-12")] * 3)}
    batches = list(p.space.batches_of(many, 3))
    together = soak_outputs(p.soaks.run(batches[0]).soaked)
    for i in range(3):
        one = {**core, "thickness": many["thickness"][i : i + 1]}
        alone = soak_outputs(p.soaks.run(next(iter(p.space.batches_of(one, 1)))).soaked)
        for name, value in alone.items():
            assert together[name][i] == pytest.approx(float(value[0]), rel=1e-9, abs=1e-9), name


def test_more_ice_never_shortens_the_time_under_the_limit_and_more_warm_water_melts_it_sooner():
    p, core = frost()
    table = soak_tables.gains_table(p, core, "C1")
    ice = table[table["what"] == "ice"]
    assert np.all(np.diff(ice["soak_time_under_limit [s]"]) >= -1e-9)
    assert np.all(np.diff(ice["soak_hottest_charge [degC]"]) <= 1e-9)
    litres = table[table["what"] == "reservoir"]["reservoir_volume [L]"].to_numpy()
    assert litres[[0, -1]].tolist() == pytest.approx([4.5, 27.0])


def test_a_long_pull_settles_where_core_and_front_exchanger_pass_on_the_same_heat():
    """The transient's end against the steady liquid-coupled pair of the rating."""
    p, core = dune()
    steady = p.rate_choices(core, 1)
    start = float(steady["coolant_inlet_temperature"][0, 0]) - 12.0
    soak = Soak(400.0, (SoakPhase("full_power", 900.0, True, None, None),), None, 0.2, 3.0)
    loop = replace(p.study.loop, reservoir=Reservoir(2e-3, start, 0.0, 273.15))
    run = SoakRun(replace(p.study, soak=soak, loop=loop), p.duty, p.around)
    batch = p.space.batch(core, np.zeros(1, dtype=np.int64))
    end = run.run(batch, keep=True).soaked.traces
    # storage takes rho cp of the start for the whole run: some tenths of a kelvin
    assert end.inlet_temperature[0, -1] == pytest.approx(float(steady["coolant_inlet_temperature"][0, 0]), abs=0.8)
    assert end.charge_temperature[0, -1] == pytest.approx(float(steady["air_outlet_temperature"][0, 0]), abs=0.8)


def flags_of(p: CoreProblem, core: Parameters) -> int:
    return int(np.bitwise_or.reduce(p.rate_choices(core, 1, soak=True).flags, axis=None))


def with_soak(p: CoreProblem, **changes: object) -> CoreProblem:
    return CoreProblem(replace(p.study, soak=replace(p.study.soak, **changes)))


def test_flags_of_a_soak_are_those_of_the_coolant_its_pulls_see():
    p, core = frost()
    schedule = p.soaks.run(soak_tables.one_core(p, core)[1])
    low, high = float(schedule.soaked.coldest_inlet[0]), float(schedule.soaked.hottest_inlet[0])
    assert MELTING <= low < MELTING + 0.5
    assert low < high
    assert not flags_of(p, core) & Flag.FREEZING
    iced = p.rate_at(
        soak_tables.one_core(p, core)[1], p.duty.at(np.array([0]), coolant_inlet_temperature=np.array([low])),
        p.around.at(np.array([0]), temperature_open=np.array([False])),
    )
    assert iced.flags[0, 0] & Flag.CONDENSATION
    assert flags_of(p, core) & Flag.CONDENSATION
    assert schedule.condensate[0] == pytest.approx(float(iced["condensate_rate"][0, 0]))


def test_a_soak_that_cannot_be_computed_says_why():
    p, core = frost()
    long = with_soak(p, step=10.0)
    assert flags_of(long, core) & Flag.SOAK_STEP
    loop = replace(p.study.loop, opening_pressure=5e5)
    shut = CoreProblem(replace(p.study, loop=loop))
    flags = flags_of(shut, core)
    assert flags & Flag.SOAK_NO_VALUE
    assert flags & Flag.PUMP_STALLS


def test_a_charge_as_cold_as_a_node_still_has_a_soak():
    """Where charge and coolant enter equally warm there is no heat to take a conductance from."""
    p, core = frost()
    points = (replace(p.study.duty[0], air_temperature=p.soaks.nodes[1], air_pressure=150e3, manifold_pressure=None),)
    level = CoreProblem(replace(p.study, duty=points))
    assert np.isfinite(level.rate_choices(core, 1, soak=True)["soak_hottest_charge"][0])


def test_a_pump_off_in_a_rest_lets_the_metal_keep_its_heat():
    p, core = frost()
    hot, rest = SoakPhase("pull", 12.0, True, None, None), SoakPhase("pull", 120.0, False, None, 0.0)
    runs = [
        with_soak(p, schedule=(hot, replace(rest, pump_speed=speed))).soaks.run(
            soak_tables.one_core(p, core)[1], keep=True
        ).soaked.traces
        for speed in (None, 0.0)
    ]
    cooled, kept = (float(t.metal_temperature[0, -1]) for t in runs)
    before = float(runs[1].metal_temperature[0][np.searchsorted(runs[1].time, 12.0)])
    assert kept == pytest.approx(before, abs=1e-9)
    assert cooled < kept - 5


def test_a_trace_may_begin_and_idle_with_the_engine_at_rest():
    p = example("dune_racer")
    core = core_of(p, DUNE)
    points = tuple(
        replace(point, air_flow=None, manifold_pressure=None, engine_speed=100.0) for point in p.study.duty
    )
    engine = Engine(6e-3, ((0.0, 0.9),))
    trace = Trace("full_power", (0.0, 1.0, 2.0, 6.0, 8.0), (0.0, 0.0, 80.0, 110.0, 0.0), (1.0, 1.0, 1.0, 1.0, 0.0))
    soak = Soak(350.0, (), trace, 0.1, 3.0)
    loop = replace(p.study.loop, reservoir=Reservoir(4e-3, 310.0, 0.0, 273.15))
    driven = CoreProblem(replace(p.study, duty=points, engine=engine, soak=soak, loop=loop))
    assert driven.soaks.pulling == pytest.approx(7.0)
    done = driven.soaks.run(soak_tables.one_core(driven, core)[1], keep=True).soaked
    assert np.isfinite(done.hottest_charge[0])
    assert np.isnan(done.traces.charge_temperature[0, 0])  # the engine stands


def test_condensate_of_an_iced_soak_is_told_beside_the_ice():
    p, core = frost()
    text = "\n".join(soak_tables.soak_lines(p, p.soaks.run(soak_tables.one_core(p, core)[1])))
    assert "is not in the balance: it would melt" in text


def test_the_starter_rates_as_before_whatever_stands_around_other_studies():
    p = problem()
    core = typed_core(p.space, PAIRS)
    rating = p.rate_choices(core, 1)
    assert rating["coolant_inlet_temperature"][0, 0] == pytest.approx(46 + 273.15)
    assert rating["charge_flow"][0, 0] == pytest.approx(0.80)
