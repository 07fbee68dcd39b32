"""Heat soak against published closed forms, an adaptive solver of equations written anew, and itself."""

import tomllib
from dataclasses import fields, replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.polynomial import Polynomial
from published import REFERENCE
from scipy.integrate import solve_ivp

from physics import soak
from physics.arrays import Array
from physics.columns import column
from physics.loop import coupled_inlet
from physics.reservoir import MELTING
from physics.soak import Circuit, Coupling, Phase, Soaked, Traces, simulate, split

EXAMPLES = tomllib.loads((REFERENCE / "transient_examples.toml").read_text(encoding="utf-8"))
WATER = 4.18e6  # [J/(m3 K)]
LIMIT = MELTING + 45
LATENT, ICE, WATER_DENSITY = 333.5e3, 2.1e3, 999.8  # handbook values of ice and of water at 0 degC

# Three nodes, every value a curve; the coolant of the runs below leaves the nodes' range now and then.
NODES = np.array([278.15, 295.15, 313.15])
CURVED = {
    "air_capacity": [250.0, 251.0, 253.0], "air_inlet_temperature": [395.0, 396.5, 397.0],
    "air_conductance": [230.0, 233.0, 235.0], "coolant_conductance": [880.0, 960.0, 1010.0],
    "coolant_flow": [4.6e-4, 5.0e-4, 5.2e-4], "front_conductance": [310.0, 340.0, 350.0],
}

STEADY_PULL = {
    "air_capacity": 250.0, "air_inlet_temperature": 400.0, "air_conductance": 200.0, "coolant_conductance": 800.0,
    "coolant_flow": 5e-4,
}


def coupling(ambient: float = 305.15, nodes: Array = NODES, **values: Any) -> Coupling:
    """Curved by default; a number is constant over the nodes."""
    given = {**CURVED, **values}
    wide = {name: np.atleast_2d(np.broadcast_to(np.asarray(v, float), (len(nodes),))) for name, v in given.items()}
    return Coupling(nodes, ambient_temperature=ambient, **wide)


def one_node(**values: Any) -> Coupling:
    """Constant values; what is not named does nothing."""
    nothing = dict.fromkeys(CURVED, 0.0) | {"air_capacity": 1.0, "air_inlet_temperature": MELTING}
    return coupling(**({"nodes": np.array([MELTING])} | nothing | values))


def circuit(**changes: Any) -> Circuit:
    values: dict[str, Any] = {
        "reservoir_volume": 6e-3, "ice_mass": 0.0, "ice_temperature": MELTING, "start_temperature": 285.15,
        "supply_volume": 1.2e-3, "return_volume": 2.4e-3, "core_metal": 2700.0, "front_metal": 2900.0,
        "volumetric_heat": WATER,
    }
    cells = int(changes.pop("cells", 3))
    return Circuit(**{name: column(value) for name, value in (values | changes).items()}, cells=cells)


def tank(heat_capacity: float, T_start: float, **changes: Any) -> Circuit:
    """One stirred tank [J/K], T [degC], and a core whose metal weighs next to nothing and does nothing."""
    nothing = {"supply_volume": 0.0, "return_volume": 0.0, "front_metal": 0.0, "core_metal": 1.0, "cells": 0}
    volume = heat_capacity / WATER
    return circuit(**(nothing | {"reservoir_volume": volume, "start_temperature": MELTING + T_start} | changes))


PULL, REST = coupling(), coupling(ambient=300.15, front_conductance=[90.0, 95.0, 97.0])
SCHEDULE = (Phase(PULL, 15.0, True), Phase(REST, 40.0, False), Phase(PULL, 12.0, True), Phase(REST, 60.0, False))
WITH_ICE = {"ice_mass": 1.0, "ice_temperature": MELTING - 8}


def run(c: Circuit, phases: Any, step: float = 0.2, limit: float = LIMIT, within: float = 3.0) -> Soaked:
    return simulate(c, phases, step, limit, within, keep=True)


def traces(c: Circuit, phases: Any, step: float = 0.2) -> Traces:
    kept = run(c, phases, step).traces
    assert kept is not None
    return kept


def time_at(time: Array, T: Array, value: float) -> float:
    """Time at which a monotone temperature passes a value."""
    return float(np.interp(value, T, time) if T[-1] > T[0] else np.interp(-value, -T, time))


def same(one: Soaked | Traces, other: Soaked | Traces, i: int) -> bool:
    """Whether the only core of `one` is the i-th of `other`, bit for bit."""
    names = [f.name for f in fields(one) if f.name not in ("traces", "time")]
    return all(getattr(one, name)[0].tobytes() == getattr(other, name)[i].tobytes() for name in names)


# Published examples


def test_a_stirred_tank_with_throughflow_cools_as_smith_van_ness_and_abbott_print() -> None:
    case = EXAMPLES["stirred_tank"]
    C = case["flow"] * 4180.0
    through = one_node(ambient=MELTING + case["T_in"], coolant_flow=C / WATER, front_conductance=C)
    t = traces(tank(case["mass"] * 4180.0, case["T_start"]), [Phase(through, 800.0, False)], step=2.0)
    time = time_at(t.time, t.reservoir_temperature[0], MELTING + case["T_end"])
    assert time == pytest.approx(case["recomputed"]["time"], rel=1e-4)
    assert time == pytest.approx(case["printed"]["time"], rel=1e-4)


def iced_tank() -> Traces:
    """The ice tank: glycol of one temperature takes the place of the ambient."""
    case = EXAMPLES["iced_tank"]
    C = case["glycol_flow"] * case["glycol_cp"]
    K = C * -np.expm1(-case["UA"] / C)
    vh = case["liquid_cp"] * WATER_DENSITY
    bath = one_node(ambient=MELTING + case["T_glycol_in"], coolant_flow=2 * K / vh, front_conductance=K)
    ice = tank(0.0, 0.0, ice_mass=case["mass"], volumetric_heat=vh)
    return traces(ice, [Phase(bath, 50e3, False)], step=50.0)


# The source's latent heat is 1.5e-4 smaller than ours: its ice is gone 4.4 s earlier, 0.009 K at 31 ks, 0.3 % of the
# heat at 40 ks; shares and temperatures are printed to three figures
def test_an_iced_tank_melts_and_then_warms_as_the_liege_exercise_prints() -> None:
    case, t = EXAMPLES["iced_tank"], iced_tank()
    at = lambda course, time: float(np.interp(time, t.time, course[0]))  # noqa: E731
    for answers in (case["printed"], case["recomputed"]):
        for time, share in answers["ice_share"]:
            assert at(t.ice, time) / case["mass"] == pytest.approx(share, rel=2e-3, abs=5e-4)
        for time, T in answers["water"]:
            assert at(t.reservoir_temperature, time) - MELTING == pytest.approx(T, abs=0.01)
    melting = t.time[np.flatnonzero(t.ice[0] > 0)[-1]]
    assert melting == pytest.approx(case["printed"]["melting_time"], abs=50)
    assert -t.heat_to_ambient[0, 200] / t.time[200] == pytest.approx(case["recomputed"]["melting_heat"], rel=1e-5)
    assert t.stored_energy[0, -1] / case["mass"] == pytest.approx(case["printed"]["last_energy"], rel=1e-3)
    i = int(np.searchsorted(t.time, 40e3))
    heat = -np.diff(t.heat_to_ambient[0, [i - 1, i + 1]]) / 100
    assert heat == pytest.approx(case["recomputed"]["heat_at_40ks"], rel=3e-3)


def exchanger() -> tuple[dict[str, Any], float, float, float]:
    """Kern's case, C_min, C_max and eps of its counterflow exchanger."""
    case = EXAMPLES["tank_and_exchanger"]
    C_min, C_max = case["hot_flow"] * case["hot_cp"], case["pumped"] * case["cp"]
    e = np.exp(-case["U"] * case["area"] / C_min * (1 - C_min / C_max))
    eps = (1 - e) / (1 - C_min / C_max * e)
    assert eps == pytest.approx(case["recomputed"]["effectiveness"], rel=1e-5)
    return case, C_min, C_max, eps


def test_a_tank_heated_through_the_front_exchanger_takes_kerns_hours() -> None:
    case, C_min, C_max, eps = exchanger()
    hot = one_node(
        ambient=MELTING + case["T_hot_in"], coolant_flow=C_max / WATER, front_conductance=eps * C_min
    )
    t = traces(tank(case["mass"] * case["cp"], case["T_start"]), [Phase(hot, 6 * 3600.0, False)], step=60.0)
    hours = time_at(t.time, t.reservoir_temperature[0], MELTING + case["T_end"]) / 3600
    assert hours == pytest.approx(case["printed"]["hours"], rel=5e-5)


# 1e-3: the metal, whose heat is taken off the tank's, lags a little behind it
def test_a_tank_heated_through_the_core_takes_kerns_hours() -> None:
    case, C_min, C_max, eps = exchanger()
    metal = 1e5
    K_air, K_coolant = split(column(eps * C_min), column(0.5 / case["U"] / case["area"]), column(C_min))
    hot = one_node(
        air_capacity=C_min, air_inlet_temperature=MELTING + case["T_hot_in"], air_conductance=K_air[0],
        coolant_conductance=K_coolant[0], coolant_flow=C_max / WATER,
    )
    c = tank(case["mass"] * case["cp"] - metal, case["T_start"], core_metal=metal)
    t = traces(c, [Phase(hot, 5.5 * 3600.0, True)], step=4.0)
    hours = time_at(t.time, t.reservoir_temperature[0], MELTING + case["T_end"]) / 3600
    assert hours == pytest.approx(case["printed"]["hours"], rel=1e-3)


def test_a_metal_lump_cools_as_holman_prints() -> None:
    case = EXAMPLES["metal_lump"]
    metal = case["density"] * case["cp"] * np.pi / 6 * case["diameter"] ** 3
    K = case["h"] * np.pi * case["diameter"] ** 2
    assert K / metal == pytest.approx(case["printed"]["inverse_time_constant"], rel=1e-4)
    air = one_node(air_inlet_temperature=MELTING + case["T_around"], air_conductance=K)
    t = traces(tank(1e3, case["T_start"], core_metal=metal), [Phase(air, 7000.0, True)], step=10.0)
    time = time_at(t.time, t.metal_temperature[0], MELTING + case["T_end"])
    assert time == pytest.approx(case["recomputed"]["time"], rel=1e-4)
    assert time == pytest.approx(case["printed"]["time"], rel=1e-4)


def test_a_long_pull_comes_to_rest_at_the_liquid_coupled_pair() -> None:
    case = EXAMPLES["coupled_pair"]
    K1, K2 = case["effectiveness_core"] * case["C_air"], case["effectiveness_front"] * case["C_loop"]
    K_air, K_coolant = split(column(K1), column(1.5e-3), column(case["C_air"]))
    hot, cold = MELTING + 10 + case["difference"], MELTING + 10
    pull = one_node(
        ambient=cold, air_capacity=case["C_air"], air_inlet_temperature=hot, air_conductance=K_air[0],
        coolant_conductance=K_coolant[0], coolant_flow=case["C_loop"] / WATER, front_conductance=K2,
    )
    t = traces(circuit(), [Phase(pull, 800.0, True)], step=0.25)
    charged, given = (float(np.diff(h[0, [-41, -1]])[0] / 10) for h in (t.heat_from_charge, t.heat_to_ambient))
    assert charged == pytest.approx(case["expected"]["heat"], rel=1e-4)
    assert given == pytest.approx(case["expected"]["heat"], rel=1e-4)
    assert t.charge_temperature[0, -1] == pytest.approx(hot - charged / case["C_air"], abs=1e-6)
    meets = coupled_inlet(*(column(v) for v in (hot, cold, K1, K2, case["C_loop"])))
    assert t.inlet_temperature[0, -1] == pytest.approx(meets[0], abs=1e-6)


# Energy


def test_heat_from_the_charge_goes_to_the_ambient_or_stays() -> None:
    done = run(circuit(**WITH_ICE), SCHEDULE)
    assert done.traces is not None
    t = done.traces
    stored = t.stored_energy[0] - t.stored_energy[0, 0]
    assert t.heat_from_charge[0] - t.heat_to_ambient[0] == pytest.approx(stored, rel=1e-6, abs=1e-3)
    assert done.heat_from_charge[0] > 1e5
    assert t.ice[0, 0] > 0
    assert done.energy_error[0] < 1e-12


def test_stored_energy_is_that_of_coolant_metal_and_ice_by_hand() -> None:
    t = traces(circuit(**WITH_ICE), SCHEDULE)
    liquid = 12 * ((6e-3 + 1.2e-3 + 2.4e-3) * WATER + 2700 + 2900)
    assert t.stored_energy[0, 0] == pytest.approx(liquid - 1.0 * (LATENT + ICE * 8), rel=1e-12)


@settings(max_examples=10, deadline=None)
@given(st.floats(1e-3, 2e-2), st.floats(0.0, 3.0), st.floats(2e-4, 3e-3), st.integers(0, 5), st.floats(0.2, 0.6))
def test_energy_is_kept_whatever_the_circuit(V: float, ice: float, line: float, cells: int, step: float) -> None:
    c = circuit(reservoir_volume=V, ice_mass=ice, supply_volume=line, return_volume=2 * line, cells=cells)
    done = simulate(c, SCHEDULE, step, LIMIT, 3.0)
    assert done.unstable[0] or done.energy_error[0] < 1e-11


# The scheme


@pytest.mark.parametrize("heated", [True, False])
def test_halving_the_step_divides_the_error_by_sixteen(heated: bool) -> None:
    smooth = coupling(nodes=np.array([275.0, 300.0, 340.0]))
    courses = []
    for i, step in enumerate((0.4, 0.2, 0.1, 0.05)):
        t = traces(circuit(), [Phase(smooth, 24.0, heated)], step)
        courses.append(np.stack([t.inlet_temperature, t.metal_temperature, t.reservoir_temperature])[:, 0, :: 2**i])
    errors = [np.max(np.abs(coarse - fine), axis=1) for coarse, fine in pairwise(courses)]
    for before, after in pairwise(errors):
        assert np.log2(before / after) == pytest.approx([4, 4, 4], abs=0.35)


def slopes(phase: Phase, c: Circuit) -> Any:
    """Right-hand side in kelvin and joule, written from the equations: (H, T of the cells, T_metal, Q_a, Q_f)."""
    k = phase.coupling
    names = ("air_inlet_temperature", "air_conductance", "coolant_conductance", "coolant_flow", "front_conductance")
    fits = [Polynomial.fit(k.temperature, getattr(k, name)[0], len(k.temperature) - 1) for name in names]
    vh, n = float(c.volumetric_heat[0]), c.cells
    supply, back = (float(v[0]) * vh / n for v in (c.supply_volume, c.return_volume))

    def f(_: float, y: Array) -> Array:
        H, cells, T_m = y[0], y[1 : 2 * n + 1], y[2 * n + 1]
        T_in = cells[n - 1]
        T_air, K_air, K_coolant, flow, K_front = (
            p(np.clip(T_in, k.temperature[0], k.temperature[-1])) for p in fits
        )
        Q_a = K_air * (T_air - T_m) if phase.heated else 0.0
        Q_c = K_coolant * (T_m - T_in)
        T_front = T_in + Q_c / (flow * vh)
        Q_f = K_front * (T_front - k.ambient_temperature)
        into = np.concatenate([[reservoir(H, c)[0]], cells[:-1]])
        rate = flow * vh * (into - cells)
        rate[n] += Q_c - Q_f
        rate[:n] /= supply
        rate[n:] /= back
        rate[n] *= back / (back + float(c.front_metal[0]))
        d_H = flow * vh * (cells[-1] - into[0])
        return np.concatenate([[d_H], rate, [(Q_a - Q_c) / float(c.core_metal[0]), Q_a, Q_f]])

    return f


def reservoir(H: float, c: Circuit) -> tuple[float, float]:
    """Temperature [K] and ice [kg] at an enthalpy above liquid at 0 degC."""
    ice = float(c.ice_mass[0])
    C = float(c.volumetric_heat[0]) * (float(c.reservoir_volume[0]) + ice / WATER_DENSITY)
    if ice > 0 and H < 0:
        return MELTING, -H / LATENT
    return MELTING + H / C, 0.0


def adaptive(c: Circuit, phases: Any) -> list[Array]:
    """States at the end of each phase."""
    T0, ice = float(c.start_temperature[0]), float(c.ice_mass[0])
    H = float(c.volumetric_heat[0] * c.reservoir_volume[0]) * (T0 - MELTING)
    H -= ice * (LATENT + ICE * (MELTING - float(c.ice_temperature[0])))
    y, ends = np.array([H, *[T0] * (2 * c.cells + 1), 0.0, 0.0]), []
    for phase in phases:
        done = solve_ivp(slopes(phase, c), (0, phase.lasts), y, method="LSODA", rtol=1e-10, atol=1e-7, max_step=0.5)
        y = done.y[:, -1]
        ends.append(y)
    return ends


# With ice the fixed step has a kink where the last of it goes, worth some 1e-6 K at this step
@pytest.mark.parametrize(("ice", "tolerance"), [({}, 1e-6), (WITH_ICE, 2e-5), (WITH_ICE | {"ice_mass": 3.0}, 2e-5)])
def test_the_run_meets_an_adaptive_solver_of_the_same_equations(ice: dict[str, float], tolerance: float) -> None:
    c = circuit(**ice)
    t = traces(c, SCHEDULE, step=0.1)
    ends = np.cumsum([round(phase.lasts / 0.1) + 1 for phase in SCHEDULE]) - 1
    for i, y in zip(ends, adaptive(c, SCHEDULE), strict=True):
        T, left = reservoir(y[0], c)
        assert t.reservoir_temperature[0, i] == pytest.approx(T, abs=tolerance)
        assert t.ice[0, i] == pytest.approx(left, abs=1e-5)
        assert t.inlet_temperature[0, i] == pytest.approx(y[c.cells], abs=tolerance)
        assert t.metal_temperature[0, i] == pytest.approx(y[2 * c.cells + 1], abs=tolerance)
        assert t.heat_from_charge[0, i] == pytest.approx(y[-2], rel=1e-5)
        assert t.heat_to_ambient[0, i] == pytest.approx(y[-1], rel=1e-5, abs=10)


# Batches


def several() -> tuple[Circuit, list[Phase]]:
    """Five cores that differ in everything; some values shared."""
    r = np.random.default_rng(5)
    scatter = lambda values: np.asarray(values) * r.uniform(0.9, 1.1, (5, 1))  # noqa: E731
    shared = np.atleast_2d(CURVED["air_inlet_temperature"])
    pull = Coupling(
        NODES, ambient_temperature=305.15,
        **{name: scatter(v) if name != "air_inlet_temperature" else shared for name, v in CURVED.items()},
    )
    metal, supply = r.uniform(2e3, 4e3, 5), r.uniform(1e-3, 2e-3, 5)
    c = circuit(ice_mass=[0.0, 0.5, 1.0, 0.0, 2.0], core_metal=metal, supply_volume=supply)
    return c, [Phase(pull, 8.0, True), Phase(pull, 10.0, False), Phase(pull, 3.0, True), Phase(pull, 20.0, False)]


def alone(c: Circuit, phases: list[Phase], i: int) -> tuple[Circuit, list[Phase]]:
    """The i-th core by itself."""
    pick = lambda v: v[[i % len(v)]] if isinstance(v, np.ndarray) and v.ndim else v  # noqa: E731
    single = replace(c, **{f.name: pick(getattr(c, f.name)) for f in fields(c) if f.name != "cells"})
    k = phases[0].coupling
    kept = ("temperature", "ambient_temperature")
    one = replace(k, **{f.name: pick(getattr(k, f.name)) for f in fields(k) if f.name not in kept})
    return single, [replace(phase, coupling=one) for phase in phases]


@pytest.mark.parametrize("block", [2, 5, 8192])
def test_cores_together_are_cores_one_by_one_bit_for_bit(block: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(soak, "_BLOCK", block)
    c, phases = several()
    together = run(c, phases)
    for i in range(5):
        one = run(*alone(c, phases, i))
        assert one.traces is not None
        assert together.traces is not None
        assert same(one, together, i)
        assert same(one.traces, together.traces, i)


def test_traces_do_not_change_what_comes_of_a_run() -> None:
    c, phases = several()
    with_traces, without = run(c, phases), simulate(c, phases, 0.2, LIMIT, 3.0)
    assert without.traces is None
    for f in fields(Soaked):
        if f.name != "traces":
            assert getattr(without, f.name).tobytes() == getattr(with_traces, f.name).tobytes()


def test_a_core_too_quick_for_the_step_is_nan_and_told_and_no_other() -> None:
    c, phases = several()
    quick = replace(c, core_metal=np.array([*c.core_metal[:2], 20.0, *c.core_metal[3:]]))
    well, done = run(c, phases), run(quick, phases)
    assert done.unstable.tolist() == [False, False, True, False, False]
    assert np.isnan(done.hottest_charge[2])
    assert np.isnan(done.energy_error[2])
    assert done.traces is not None
    assert np.all(np.isnan(done.traces.metal_temperature[2]))
    for i in (0, 1, 3, 4):
        for f in fields(Soaked):
            if f.name != "traces":
                assert getattr(done, f.name)[i] == getattr(well, f.name)[i]


def test_a_core_that_blows_up_below_the_limit_of_each_rate_is_told_too() -> None:
    # Three equal cells in a ring: the ring's own rates reach further than each cell's (discs of Gershgorin)
    ring = circuit(cells=1, reservoir_volume=1e-3, supply_volume=1e-3, return_volume=1e-3, front_metal=0.0)
    pull = one_node(ambient=300.0, **(STEADY_PULL | {"air_conductance": 20.0, "coolant_conductance": 80.0}))
    assert simulate(ring, [Phase(pull, 400.0, True)], 3.9, LIMIT, 3.0).unstable.tolist() == [True]
    assert simulate(ring, [Phase(pull, 400.0, True)], 1.0, LIMIT, 3.0).unstable.tolist() == [False]


def test_inputs_that_are_no_numbers_give_nan_but_are_not_called_unstable() -> None:
    c, phases = several()
    holed = replace(phases[0].coupling, coolant_conductance=np.full((5, 3), 900.0))
    holed.coolant_conductance[1, 2] = np.nan
    done = run(c, [Phase(holed, 10.0, True)])
    assert np.isnan(done.time_under_limit).tolist() == [False, True, False, False, False]
    assert not np.any(done.unstable)


# Behaviour


def test_ice_melts_in_the_order_of_its_mass_and_never_grows_in_a_pull() -> None:
    c = circuit(ice_mass=[1.0, 1.5, 2.0], reservoir_volume=3e-3)
    t = traces(c, [Phase(PULL, 60.0, True)])
    assert np.all(np.diff(t.ice, axis=1) <= 0)
    assert np.all(t.ice[:, 0] > 0)
    gone = np.argmax(t.ice == 0, axis=1)
    assert 0 < gone[0] < gone[1] < gone[2]
    assert np.all(t.reservoir_temperature[t.ice > 0] == MELTING)
    assert np.all(t.reservoir_temperature[:, -1] > MELTING + 0.5)


def test_ice_and_coolant_start_in_equilibrium_by_hand() -> None:
    c = circuit(ice_mass=[0.2, 2.0], ice_temperature=MELTING - 10, reservoir_volume=5e-3)
    t = traces(c, [Phase(PULL, 1.0, True)])
    cold = 12 * 5e-3 * WATER  # [J] coolant at 12 degC gives to come to 0 degC
    assert t.ice[0, 0] == 0
    mixed = (cold - 0.2 * (LATENT + ICE * 10)) / (WATER * (5e-3 + 0.2 / WATER_DENSITY))
    assert t.reservoir_temperature[0, 0] - MELTING == pytest.approx(mixed, rel=1e-12)
    assert t.ice[1, 0] == pytest.approx(2.0 - (cold - 2.0 * ICE * 10) / LATENT, rel=1e-12)
    assert t.inlet_temperature[:, 0].tolist() == [285.15, 285.15]


@pytest.mark.parametrize(("cells", "halfway"), [(3, 0.12), (30, 0.02)])
def test_cold_reaches_the_core_after_the_supply_volume_over_the_flow(cells: int, halfway: float) -> None:
    flow, volume = 5e-4, 4e-3
    c = circuit(cells=cells, ice_mass=20.0, supply_volume=volume, return_volume=6e-3, start_temperature=300.15)
    t = traces(c, [Phase(one_node(coolant_flow=flow, ambient=300.15), 60.0, False)], step=0.1)
    left = (t.inlet_temperature[0] - MELTING) / 27
    # Tanks in series: the mean is volume over flow for any number, the median nears it with many
    assert np.trapezoid(left, t.time) == pytest.approx(volume / flow, rel=2e-3)
    assert time_at(t.time, left, 0.5) == pytest.approx(volume / flow, rel=halfway)


def lump(limit: float, lasts: float, step: float) -> tuple[Soaked, float]:
    """A metal lump warmed by the charge alone, and the time its charge reaches the limit in closed form."""
    K, C_air, metal, T_air, T0 = 200.0, 250.0, 2500.0, 400.0, 290.0
    pull = one_node(air_capacity=C_air, air_inlet_temperature=T_air, air_conductance=K)
    done = run(tank(1e4, T0 - MELTING, core_metal=metal), [Phase(pull, lasts, True)], step, limit)
    span = (T_air - limit) * C_air / K / (T_air - T0)
    return done, float(-metal / K * np.log(span))


def test_time_to_the_limit_is_that_of_a_lump_in_closed_form() -> None:
    done, time = lump(limit=345.0, lasts=20.0, step=0.2)
    assert time == pytest.approx(6.0, abs=0.5)
    assert done.time_to_limit[0] == pytest.approx(time, abs=5e-4)  # straight within the step
    assert done.time_under_limit[0] == done.time_to_limit[0]
    assert done.hottest_charge[0] == pytest.approx(400 - 0.8 * 110 * np.exp(-0.08 * 20), abs=1e-4)


def test_a_limit_never_reached_counts_the_whole_pull_and_one_passed_at_once_nothing() -> None:
    never, _ = lump(limit=399.9, lasts=20.0, step=0.3)
    assert never.time_to_limit[0] == pytest.approx(20.0, rel=1e-12)
    at_once, _ = lump(limit=300.0, lasts=20.0, step=0.3)
    assert at_once.time_to_limit[0] == at_once.time_under_limit[0] == 0


# Straight within a step: off by up to h^2/8 T''/T', 0.02 s here for two crossings
def test_a_crossing_between_steps_is_found_as_a_fine_run_finds_it() -> None:
    coarse, fine = (simulate(circuit(), SCHEDULE, step, 312.0, 3.0) for step in (0.4, 0.04))
    assert 1 < fine.time_to_limit[0] < 15
    assert fine.time_to_limit[0] + 1 < fine.time_under_limit[0] < 26
    assert coarse.time_to_limit[0] == pytest.approx(fine.time_to_limit[0], abs=0.01)
    assert coarse.time_under_limit[0] == pytest.approx(fine.time_under_limit[0], abs=0.02)


def test_time_under_the_limit_is_that_of_the_trace() -> None:
    done = run(circuit(), SCHEDULE, step=0.04, limit=312.0)
    t = done.traces
    assert t is not None
    T, width = t.charge_temperature[0], np.diff(t.time, append=t.time[-1])
    assert done.time_under_limit[0] == pytest.approx(np.sum(width[T < 312.0]), abs=0.1)
    assert done.hottest_charge[0] == np.nanmax(T)


def test_no_heat_comes_from_the_charge_at_rest() -> None:
    t = traces(circuit(), SCHEDULE)
    pulling = ((t.time <= 15) | (t.time >= 55)) & (t.time <= 67)
    at_rest = np.isnan(t.charge_temperature[0])
    assert np.all(pulling | at_rest)
    assert len(np.unique(t.heat_from_charge[0, (t.time > 15) & (t.time < 55)])) == 1
    assert np.count_nonzero(np.diff(t.time) == 0) == len(SCHEDULE) - 1


def resting(ambient: float, lasts: float, within: float = 3.0) -> Soaked:
    """A stirred tank warmed by the core for 30 s, then cooled towards an ambient."""
    pull = one_node(**STEADY_PULL)
    rest = one_node(ambient=ambient, front_conductance=400.0, coolant_flow=5e-4)
    return run(tank(2e4, 20.0, core_metal=2000.0), [Phase(pull, 30.0, True), Phase(rest, lasts, False)], within=within)


def test_recovery_time_is_that_of_a_cooling_tank_in_closed_form() -> None:
    done = resting(ambient=285.15, lasts=200.0)
    assert done.traces is not None
    hot = np.max(done.traces.reservoir_temperature[0])
    expected = 2e4 / 400 * np.log((hot - 285.15) / (MELTING + 23 - 285.15))
    assert 20 < expected < 150
    assert done.recovery_time[0] == pytest.approx(expected, rel=1e-5)


def test_recovery_is_never_where_it_is_too_hot_outside_and_at_once_where_it_was_never_warm() -> None:
    assert resting(ambient=310.0, lasts=100.0).recovery_time[0] == np.inf
    assert resting(ambient=285.15, lasts=10.0).recovery_time[0] == np.inf
    assert resting(ambient=285.15, lasts=10.0, within=80.0).recovery_time[0] == 0


def test_a_stopped_pump_leaves_the_reservoir_as_it_is() -> None:
    still = coupling(coolant_flow=0.0, coolant_conductance=0.0, front_conductance=0.0)
    done = run(circuit(), [Phase(PULL, 10.0, True), Phase(still, 60.0, False)])
    t = done.traces
    assert t is not None
    assert t.reservoir_temperature[0, -1] == pytest.approx(t.reservoir_temperature[0, 51], abs=1e-9)
    assert not done.unstable[0]


def test_a_coupling_passes_through_its_nodes_and_holds_beyond_them() -> None:
    curved = one_node(ambient=MELTING, nodes=NODES, front_conductance=[100.0, 180.0, 140.0], coolant_flow=5e-4)
    for T, K in zip([250.0, *NODES, 350.0], [100.0, 100.0, 180.0, 140.0, 140.0], strict=True):
        t = traces(tank(1e9, T - MELTING), [Phase(curved, 1.0, False)])
        assert t.heat_to_ambient[0, -1] == pytest.approx(K * (T - MELTING), rel=1e-6)


@settings(max_examples=25, deadline=None)
@given(st.floats(50, 500), st.floats(0.1, 0.99), st.floats(0.05, 0.9))
def test_split_conductances_in_series_are_the_rated_one(C_air: float, effectiveness: float, air_share: float) -> None:
    NTU = -np.log1p(-effectiveness)
    K = column(effectiveness * C_air)
    K_air, K_coolant = split(K, column(air_share / (NTU * C_air)), column(C_air))
    assert 1 / (1 / K_air + 1 / K_coolant) == pytest.approx(K, rel=1e-9)
    assert K_coolant[0] > 0
    assert effectiveness * C_air < K_air[0] < C_air * (1 + 1e-12)


@pytest.mark.parametrize("nodes", [[], [290.0, 290.0], [300.0, 290.0], [280.0, 290.0, 300.0, 310.0]])
def test_a_coupling_without_one_to_three_rising_temperatures_is_refused(nodes: list[float]) -> None:
    with pytest.raises(ValueError, match="rising temperatures"):
        replace(PULL, temperature=np.array(nodes))


@pytest.mark.parametrize(("phases", "step"), [((), 0.2), (SCHEDULE, 0.0), ((Phase(PULL, 0.0, True),), 0.2)])
def test_a_schedule_without_time_is_refused(phases: tuple[Phase, ...], step: float) -> None:
    with pytest.raises(ValueError, match="longer than 0 s"):
        simulate(circuit(), phases, step, LIMIT, 3.0)
