"""The core among pump, lines, front exchanger, blower and engine: operating points, balances, limits."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from circuits import BLOWER, ENGINE, PUMP, asked, installation, loop
from cores import core, duty, one
from crossflow_field import field
from scipy.optimize import brentq

from physics.blower import Curve, Engine
from physics.columns import column
from physics.duty import Duty, ModelFactors
from physics.fins import OPEN
from physics.flags import Flag
from physics.installation import BREATHING, HELD, Installation
from physics.loop import FrontExchanger, loss_law
from physics.pipes import Line
from physics.properties import AIR
from physics.pump import pump
from physics.rating import Rating, rate

POINT = duty()
OUTPUTS = ("heat_rejected", "air_pressure_drop", "coolant_volume_flow", "coolant_inlet_temperature", "shaft_power")


def in_car(d: Any = None, around: Installation | None = None, point: Duty = POINT, **factors: Any) -> Rating:
    k = ModelFactors(**factors) if factors else None
    return rate(d if d is not None else core(), point, k, None, around or installation())


def given_flow(flow: float, **changes: Any) -> Rating:
    """The same car with the coolant's mass flow imposed."""
    return in_car(
        around=installation(asked(flow_open=False, **changes)), point=replace(POINT, coolant_flow=np.array([flow]))
    )


def pump_gives(r: Rating) -> float:
    """What the pump gives at the flow of a rating, from its table by scipy, not by our root [Pa]."""
    from scipy.interpolate import PchipInterpolator

    flow = one(r, "coolant_volume_flow") * density_ratio(r)
    return float(PchipInterpolator(PUMP.flow, PUMP.head)(flow)) * 9.80665 * mean_density(r)


def mean_density(r: Rating) -> float:
    return float(POINT.coolant.density(r["coolant_mean_temperature"], 2e5).item())


def density_ratio(r: Rating) -> float:
    """Volume flow at the mean temperature over that at the inlet."""
    return float(POINT.coolant.density(r["coolant_inlet_temperature"], 2e5).item()) / mean_density(r)


def test_operating_point_is_the_root_found_by_brute_force() -> None:
    def gap(flow: float) -> float:
        r = given_flow(flow)
        return pump_gives(r) - one(r, "pump_pressure_rise")

    root = brentq(gap, 0.2, 1.5, xtol=1e-9)
    assert one(in_car(), "coolant_volume_flow") == pytest.approx(
        one(given_flow(root), "coolant_volume_flow"), rel=2e-6
    )


def test_what_the_circuit_takes_rises_with_flow_so_that_the_root_is_one() -> None:
    rises = [one(given_flow(flow), "pump_pressure_rise") for flow in np.linspace(0.02, 1.6, 25)]
    assert np.all(np.diff(rises) > 0)


def test_head_goes_nowhere_but_into_the_parts_of_the_circuit() -> None:
    r = in_car()
    parts = ("loop_line_loss", "loop_fitting_loss", "loop_step_loss", "loop_front_loss", "coolant_pressure_drop")
    assert one(r, "pump_pressure_rise") == pytest.approx(sum(one(r, name) for name in parts), rel=1e-12)
    assert one(r, "pump_pressure_rise") == pytest.approx(pump_gives(r), rel=1e-5)


@pytest.mark.parametrize("change", [
    {"line": Line(column(23e-3), column(1.5e-6))}, {"pumps": (PUMP, PUMP)}, {"front_loss": None},
])  # fmt: skip
def test_a_freer_circuit_moves_more_coolant_and_cools_more(change: dict[str, Any]) -> None:
    before, after = in_car(), in_car(around=installation(loop=loop(**change)))
    assert one(after, "coolant_volume_flow") > one(before, "coolant_volume_flow")
    assert one(after, "heat_rejected") > one(before, "heat_rejected")
    assert one(after, "coolant_pressure_drop") > one(before, "coolant_pressure_drop")


def test_a_slower_pump_moves_less() -> None:
    flows = [one(in_car(around=installation(asked(pump_speed=s))), "coolant_volume_flow") for s in (0.4, 0.7, 1.0)]
    assert flows == sorted(flows)


@pytest.mark.parametrize("stopped", [{"pump_speed": 0.0}, {"opening": 140e3}])
def test_a_pump_that_cannot_move_the_coolant_says_so(stopped: dict[str, float]) -> None:
    around = installation(
        asked(pump_speed=stopped.get("pump_speed", 1.0)), loop=loop(opening_pressure=stopped.get("opening", 0.0))
    )
    r = in_car(around=around)
    assert r.flags[0, 0] & Flag.PUMP_STALLS
    assert np.isnan(one(r, "heat_rejected"))


def test_liquid_coupled_pair_passes_on_exactly_the_heat_of_the_core() -> None:
    r = in_car(around=installation(asked(temperature_open=True)))
    C_air_front = 3.0 * float(AIR.specific_heat(307.0, 96e3))
    T_hot = one(r, "coolant_outlet_temperature")
    C_loop = one(r, "heat_rejected") / (T_hot - one(r, "coolant_inlet_temperature"))
    front = one(r, "front_effectiveness") * min(C_loop, C_air_front) * (T_hot - 307.0)
    assert front == pytest.approx(one(r, "heat_rejected"), rel=1e-9)


def test_identity_of_the_liquid_coupled_pair_holds() -> None:
    """Q = (T_hot,in - T_cold,in)/[1/(eps1 Cmin1) + 1/(eps2 Cmin2) - 1/C_loop]; energy balance, standard."""
    r = in_car(around=installation(asked(temperature_open=True)))
    T_air, T_in, T_out = (one(r, f"{n}_temperature") for n in ("air_inlet", "coolant_inlet", "coolant_outlet"))
    Q = one(r, "heat_rejected")
    C_loop = Q / (T_out - T_in)
    K_front = 0.55 * min(C_loop, 3.0 * float(AIR.specific_heat(307.0, 96e3)))
    assert pytest.approx((T_air - 307.0) / (1 / (Q / (T_air - T_in)) + 1 / K_front - 1 / C_loop), rel=1e-9) == Q


def test_front_exchanger_by_UA_equals_one_by_its_effectiveness() -> None:
    by_UA = in_car(around=installation(asked(temperature_open=True), front=FrontExchanger(None, 2400.0)))
    eps = one(by_UA, "front_effectiveness")
    assert 0 < eps < 1
    by_eps = in_car(around=installation(asked(temperature_open=True), front=FrontExchanger(eps, None)))
    assert one(by_eps, "heat_rejected") == pytest.approx(one(by_UA, "heat_rejected"), rel=1e-6)


def test_an_enormous_pump_and_front_exchanger_give_the_bench_rating() -> None:
    """The pump holds its head at any flow, the line is as wide as the port: only the core is left to take it."""
    bench = in_car(around=installation(asked(flow_open=False)), point=duty(coolant_flow=1.9, coolant_temperature=34.0))
    head = one(bench, "coolant_pressure_drop") / (9.80665 * mean_density(bench))
    enormous = pump([0.0, 1e3], [head * (1 + 1e-9), head * (1 - 1e-9)])
    free = loop(pumps=(enormous,), line=Line(column(19e-3), column(1e-6)), runs=(), front_loss=None)
    cool = asked(temperature_open=True, front_air_flow=1e6, ambient_temperature=34.0 + 273.15)
    car = in_car(
        around=installation(cool, loop=free, front=FrontExchanger(1.0, None)),
        point=duty(coolant_flow=np.nan, coolant_temperature=np.nan),
    )
    for name in ("coolant_volume_flow", "heat_rejected", "coolant_inlet_temperature", "coolant_pressure_drop"):
        # the enormous pump's curve falls by 2e-9 of its head a cubic metre: the flow stops moving at 3e-6
        assert one(car, name) == pytest.approx(one(bench, name), rel=1e-5)


def test_held_manifold_pressure_is_held() -> None:
    r = in_car(around=installation(asked(air=HELD)))
    assert one(r, "air_outlet_pressure") == pytest.approx(198e3, rel=2e-6)
    assert one(r, "charge_flow") == pytest.approx(0.80)


def test_charge_comes_as_hot_as_the_blower_makes_it() -> None:
    """Borgnakke & Sonntag's formula for the outlet of a supercharger, with cp of the air at the mean temperature."""
    r = in_car(around=installation(asked(air=HELD)))
    ratio = one(r, "air_inlet_pressure") / 94e3
    assert one(r, "pressure_ratio") == pytest.approx(ratio)
    T2 = one(r, "air_inlet_temperature")
    cp = float(AIR.specific_heat((307 + T2) / 2, 1.5e5))
    eta = float(np.interp(ratio, BLOWER.isentropic.x, BLOWER.isentropic.y))
    assert pytest.approx(307 * (1 + (ratio ** (287.05 / cp) - 1) / eta), rel=1e-3) == T2
    assert one(r, "shaft_power") == pytest.approx(0.80 * cp * (T2 - 307) / 0.95, rel=5e-3)


def test_breathing_engine_takes_what_the_blower_gives() -> None:
    r = in_car(around=installation(asked(air=BREATHING)))
    density = one(r, "charge_density")
    taken = ENGINE.displacement / 2 * 110.0 * 0.95 * density
    given = BLOWER.displacement * 110.0 * 2.1 * one(r, "volumetric_efficiency") * float(AIR.density(307.0, 94e3))
    assert one(r, "charge_flow") == pytest.approx(taken, rel=2e-5)
    assert one(r, "charge_flow") == pytest.approx(given, rel=1e-9)


def test_every_kilopascal_lost_in_the_core_is_paid_at_the_blower() -> None:
    easy, hard = (in_car(core(air_blockage=b), installation(asked(air=HELD))) for b in (0.02, 0.35))
    assert one(hard, "air_pressure_drop") > one(easy, "air_pressure_drop")
    for name in ("air_inlet_temperature", "shaft_power", "core_shaft_power", "blower_speed"):
        assert one(hard, name) > one(easy, name)
    assert 0 < one(easy, "core_shaft_power") < one(easy, "shaft_power")


def test_fixed_blower_speed_loses_charge_to_a_restrictive_core() -> None:
    easy, hard = (in_car(core(lid_loss=K), installation(asked(air=BREATHING))) for K in (0.3, 30.0))
    assert one(hard, "charge_flow") < one(easy, "charge_flow")
    assert one(hard, "air_outlet_pressure") < one(easy, "air_outlet_pressure")


@pytest.mark.parametrize("air", [HELD, BREATHING])
def test_everything_settles_in_the_usual_passes(air: str, monkeypatch: pytest.MonkeyPatch) -> None:
    around = installation(asked(air=air, temperature_open=True))
    usual = in_car(around=around)
    assert not usual.flags[0, 0] & Flag.NOT_SETTLED
    monkeypatch.setattr("physics.rating._passes", lambda around: 60)
    settled = in_car(around=around)
    for name in OUTPUTS:
        assert one(usual, name) == pytest.approx(one(settled, name), rel=2e-5)


def test_cores_rated_together_equal_cores_rated_alone() -> None:
    thickness = np.linspace(0.045, 0.085, 7)
    bores = np.linspace(12e-3, 24e-3, 7)
    together = in_car(
        core(thickness=thickness),
        installation(asked(2, HELD, temperature_open=True, manifold_pressure=[180e3, 205e3]),
                     loop=loop(line=Line(bores, column(1.5e-6)))),
        duty(air_flow=np.array([0.6, 0.8])),
    )  # fmt: skip
    for i in range(7):
        alone = in_car(
            core(thickness=thickness[i]),
            installation(asked(2, HELD, temperature_open=True, manifold_pressure=[180e3, 205e3]),
                         loop=loop(line=Line(column(bores[i]), column(1.5e-6)))),
            duty(air_flow=np.array([0.6, 0.8])),
        )  # fmt: skip
        for name in OUTPUTS:
            np.testing.assert_array_equal(together[name][i], alone[name][0])


def test_energy_of_the_core_balances_in_the_car() -> None:
    r = in_car(core(coolant_family=OPEN), installation(asked(air=BREATHING, temperature_open=True)))
    C = one(r, "heat_rejected") / (one(r, "air_inlet_temperature") - one(r, "air_outlet_temperature"))
    C_min = one(r, "UA") / one(r, "NTU")
    span = one(r, "air_inlet_temperature") - one(r, "coolant_inlet_temperature")
    assert one(r, "effectiveness") * C_min * span == pytest.approx(one(r, "heat_rejected"), rel=1e-9)
    assert C_min * (1 - 1e-9) <= C


def test_humid_charge_on_cold_metal_condenses_and_says_so() -> None:
    dry = installation(asked(), humidity_ratio=np.array([0.001]))
    wet = installation(asked(), humidity_ratio=np.array([0.022]))
    cold = duty(coolant_temperature=3.0)
    assert not in_car(around=dry).flags[0, 0] & Flag.CONDENSATION
    r = in_car(around=wet, point=cold)
    assert r.flags[0, 0] & Flag.CONDENSATION
    assert one(r, "coldest_metal_temperature") < one(r, "dew_point")
    assert 0 < one(r, "condensate_rate") < 0.022 * 0.80


def test_coolant_near_boiling_or_freezing_is_flagged() -> None:
    around = installation(asked(), boiling_temperature=np.array([330.0]), freezing_temperature=236.0)
    r = in_car(around=around)
    assert r.flags[0, 0] & Flag.BOILING
    assert one(r, "boiling_margin") < 0 < one(r, "freezing_margin")
    assert in_car(around=replace(around, freezing_temperature=330.0)).flags[0, 0] & Flag.FREEZING




@pytest.mark.parametrize("flow", [0.97, 0.5, 0.2, 0.1])
@pytest.mark.parametrize("air", [142.0, 10.0], ids=["hot charge", "charge colder than coolant"])
def test_hottest_wall_is_that_of_a_finite_difference_field(flow: float, air: float) -> None:
    """One unmixed crossflow pass, passages evenly fed: where the air enters over the leaving coolant."""
    around = installation(asked(flow_open=False), boiling_temperature=np.array([400.0]))
    r = in_car(core(header_factor=0.0), around, duty(coolant_flow=flow, air_temperature=air))
    UA, film, T_air, T_in = (one(r, name) for name in (
        "UA", "coolant_resistance", "air_inlet_temperature", "coolant_inlet_temperature",
    ))
    corners = []
    for cells in (60, 120):
        _, hot, cold = field(UA / one(r, "air_capacity_rate"), UA / one(r, "coolant_capacity_rate"), cells)
        corners.append(float((cold + (hot - cold) * film * UA)[0, -1]))
    wall = T_in + (T_air - T_in) * (2 * corners[1] - corners[0])
    assert 400.0 - one(r, "boiling_margin") == pytest.approx(max(wall, T_in), abs=0.02)


def test_hottest_wall_of_more_passes_lies_between_the_mixed_outlet_and_one_long_edge() -> None:
    around = installation(asked(flow_open=False), boiling_temperature=np.array([400.0]))
    for side_by_side in (0, 1):
        d = core(passages=12, passes=3, side_by_side=side_by_side, header_factor=0.0)
        r = in_car(d, around, duty(coolant_flow=0.3))
        share = one(r, "coolant_resistance") * one(r, "UA")
        T_air, T_in, T_out = (one(r, f"{n}_temperature") for n in ("air_inlet", "coolant_inlet", "coolant_outlet"))
        edge = T_air - (T_air - T_in) * np.exp(-one(r, "UA") / one(r, "coolant_capacity_rate"))
        low, high = (T + (T_air - T) * share for T in (T_out, edge))
        assert low + 0.5 < 400.0 - one(r, "boiling_margin") < high - 0.5


def test_an_unevenly_fed_core_has_a_hotter_wall() -> None:
    around = installation(asked(flow_open=False), boiling_temperature=np.array([400.0]))
    even, uneven = (in_car(core(header_factor=k), around, duty(coolant_flow=1.5)) for k in (0.0, 6.0))
    assert one(uneven, "passage_flow_spread") > 0.02
    assert one(uneven, "boiling_margin") < one(even, "boiling_margin") - 0.1


def test_a_charge_colder_than_the_coolant_condenses_where_it_enters() -> None:
    """Fog at 2 degC: the metal is coldest under the entering charge, nearer to it than to the coolant."""
    wet = installation(asked(), humidity_ratio=np.array([0.006]))
    r = in_car(around=wet, point=duty(air_temperature=2.0, air_pressure=200e3, coolant_temperature=20.0))
    T_air, T_in = one(r, "air_inlet_temperature"), one(r, "coolant_inlet_temperature")
    assert T_air < one(r, "coldest_metal_temperature") < T_in
    assert one(r, "coldest_metal_temperature") < one(r, "air_wall_temperature")
    assert r.flags[0, 0] & Flag.CONDENSATION


def test_a_blower_below_ratio_one_neither_heats_nor_cools_nor_takes_power() -> None:
    r = in_car(around=installation(asked(air=HELD, manifold_pressure=70e3)))
    assert one(r, "pressure_ratio") < 1
    assert one(r, "air_inlet_temperature") == 307.0
    assert one(r, "shaft_power") == 0
    assert r.flags[0, 0] & Flag.BLOWER_RANGE


def test_parts_asked_for_more_than_was_measured_of_them_are_flagged() -> None:
    around = installation(asked())
    assert not in_car(around=around).flags[0, 0] & Flag.TABLE_RANGE
    small = pump(np.array([0, 20, 40]) / 6e4, np.array([12.5, 12.0, 10.4]))
    assert in_car(around=installation(asked(), loop=loop(pumps=(small,)))).flags[0, 0] & Flag.TABLE_RANGE
    short = loss_law((10 / 6e4, 30 / 6e4), (1e3, 7e3))
    assert in_car(around=installation(asked(), loop=loop(front_loss=short))).flags[0, 0] & Flag.TABLE_RANGE
    engine = Engine(7e-3, Curve(np.array([20.0, 100.0]), np.array([0.9, 0.95])))
    fast = in_car(around=installation(asked(air=BREATHING), engine=engine))
    assert fast.flags[0, 0] & Flag.TABLE_RANGE


def test_a_charge_outside_the_pressures_of_its_data_is_flagged() -> None:
    for pressure, out in ((70e3, True), (215e3, False), (600e3, True)):
        flags = in_car(point=duty(air_flow=0.2, air_pressure=pressure)).flags[0, 0]
        assert bool(flags & Flag.AIR_PROPERTIES) is out


def test_next_to_no_flow_is_a_stall_not_a_number() -> None:
    """The pump opens the loop by one part in 10^12 only."""
    head = float(PUMP.head[0]) * 9.80665 * float(POINT.coolant.density(POINT.coolant_inlet_temperature, 2e5).item())
    for share in (1 - 1e-12, 1.0):
        r = in_car(around=installation(asked(), loop=loop(opening_pressure=share * head)))
        assert r.flags[0, 0] & Flag.PUMP_STALLS
        assert np.isnan(one(r, "heat_rejected"))
