"""Published examples of pipes and pumps, each solved by the product's own friction, fittings and pump curves.

Expected values and their sources: tests/reference/loop_examples.toml.
"""

import tomllib
from typing import Any

import numpy as np
import pytest
from published import REFERENCE
from scipy import constants
from scipy.optimize import root

from physics.arrays import Array
from physics.columns import column
from physics.pipes import Line, LineLoss, line_loss, pipe_friction, rough_friction
from physics.properties import coolant
from physics.pump import Pump, pump

EXAMPLES = tomllib.loads((REFERENCE / "loop_examples.toml").read_text(encoding="utf-8"))
FOOT, GRAVITY = constants.foot, constants.g
GALLON_PER_MINUTE = constants.gallon / constants.minute


def loss_of(case: dict[str, Any]) -> LineLoss:
    """Pipe and fittings of an example."""
    return line_loss(
        Line(column(case["bore"]), column(case["roughness"])),
        case["length"],
        sum(case["equivalent_lengths"].values()),
        sum(case.get("coefficients", {}).values()),
        *(column(v) for v in (case["flow"] * case["rho"], case["rho"], case["mu"])),
    )


def dynamic(case: dict[str, Any]) -> float:
    velocity = case["flow"] / (np.pi / 4 * case["bore"] ** 2)
    return float(case["rho"] * velocity**2 / 2)


def test_oil_in_a_line_with_valves_loses_what_crane_and_the_library_say() -> None:
    """Laminar friction is the same; f_T is ours (Haaland) against a fit to Crane's table: +0.6 % on 9 % of the loss."""
    case = EXAMPLES["laminar_line"]
    loss = loss_of(case)
    K = float(loss.total[0]) / dynamic(case)
    psi = (float(loss.total[0]) + case["rho"] * GRAVITY * case["rise"]) / constants.psi
    assert pytest.approx(case["printed"]["coefficient"], rel=0.002) == K
    assert pytest.approx(case["recomputed"]["coefficient"], rel=0.002) == K
    assert pytest.approx(case["printed"]["loss_psi"], rel=0.001) == psi
    f = float(loss.friction[0]) / dynamic(case) / (case["length"] / case["bore"])
    assert f == pytest.approx(case["printed"]["friction_darcy"], rel=2e-4)  # printed to four figures


def test_rough_friction_is_that_of_the_fit_to_cranes_table_within_its_roughness() -> None:
    """Crane: Nikuradse at 0.0018 in; Haaland's exponent 1.11 lies above it, by 0.6 % at 5 in."""
    case = EXAMPLES["laminar_line"]
    f = 4 * float(rough_friction(case["roughness"] / case["bore"]))
    assert f == pytest.approx(case["printed"]["rough_friction_darcy"], rel=0.01)


def test_water_pumped_uphill_needs_cranes_head_and_power() -> None:
    """Haaland against Colebrook -1.1 % on the pipe, so -0.6 % on K; our f_T +0.8 %. The lift is 95 % of the head."""
    case = EXAMPLES["pumping_power"]
    loss = float(loss_of(case).total[0])
    head = loss / (case["rho"] * GRAVITY) + case["rise"]
    power = case["rho"] * GRAVITY * head * case["flow"] / case["efficiency"]
    assert loss / dynamic(case) == pytest.approx(case["recomputed"]["coefficient"], rel=0.008)
    assert head / FOOT == pytest.approx(case["printed"]["head_ft"], rel=0.005)
    assert head / FOOT == pytest.approx(case["recomputed"]["head_ft"], rel=0.0005)
    assert power / constants.hp == pytest.approx(case["printed"]["power_hp"], rel=0.005)
    assert power == pytest.approx(case["recomputed"]["power_W"], rel=0.001)


def test_a_smooth_pipe_has_cranes_friction() -> None:
    """Water from our own fits. Haaland lies 1 % below the library's Colebrook here (its band is 1.5 %, from memory)."""
    case = EXAMPLES["smooth_pipe"]
    water = coolant("water")
    T = case["temperature_degC"] + 273.15
    nu = float(water.viscosity(T, case["pressure"]) / water.density(T, case["pressure"]))
    Re = 4 * case["flow"] / (np.pi * case["bore"] * nu)
    assert pytest.approx(case["recomputed"]["Re"], rel=0.001) == Re
    f = 4 * float(pipe_friction(column(Re), case["roughness"] / case["bore"])[0][0])
    smooth = 4 * float(pipe_friction(column(Re), 0.0)[0][0])
    assert f == pytest.approx(case["printed_library"]["friction_darcy"], rel=0.012)
    assert f == pytest.approx(case["printed_crane"]["friction_darcy"], rel=0.012)
    assert smooth == pytest.approx(case["recomputed"]["friction_darcy_no_roughness"], rel=0.012)


# --- pumps at other speeds -------------------------------------------------------------------------------------------


def test_a_slower_pump_gives_cranes_flow_head_and_power() -> None:
    """Power at the same efficiency is flow times head; the points on either side of the rated one do not matter."""
    case = EXAMPLES["slower_pump"]
    speed = case["speeds_rpm"][1] / case["speeds_rpm"][0]
    rated = np.array([0.0, case["flow_gpm"], 1.5 * case["flow_gpm"]])
    one = pump(rated * GALLON_PER_MINUTE, np.array([150.0, case["head_ft"], 80.0]) * FOOT)
    flow = case["expected"]["flow_gpm"]
    head = float(one.at(column(flow * GALLON_PER_MINUTE), speed)[0][0]) / FOOT
    power = case["power_hp"] * flow * head / (case["flow_gpm"] * case["head_ft"])
    assert head == pytest.approx(case["expected"]["head_ft"], rel=1e-5)
    assert power == pytest.approx(case["expected"]["power_hp"], rel=1e-5)


def test_a_faster_pump_gives_the_heads_of_fox_and_mcdonald() -> None:
    case = EXAMPLES["faster_pump"]
    speed = case["speeds_rpm"][1] / case["speeds_rpm"][0]
    best, expected = case["best_point"], case["expected"]
    flow = np.array([0.0, best["flow_gpm"]]) * GALLON_PER_MINUTE
    one = pump(flow, np.array([case["shutoff_ft"], best["head_ft"]]) * FOOT)
    head = float(one.at(column(expected["flow_gpm"] * GALLON_PER_MINUTE), speed)[0][0])
    assert float(one.shutoff(speed)) / FOOT == pytest.approx(expected["shutoff_ft"], rel=1e-3)
    assert head / FOOT == pytest.approx(expected["head_ft"], rel=1e-3)


# --- the network of eleven pipes -------------------------------------------------------------------------------------

NETWORK = EXAMPLES["eleven_pipes"]
CUBIC_FOOT = FOOT**3


def pipe_heads(Q: Array) -> Array:
    """Head each pipe loses [ft], signed, at flows [ft3/s]."""
    D, L, K = (np.array(NETWORK[name], dtype=float) for name in ("diameter_in", "length_ft", "coefficient"))
    D = D / 12
    e = NETWORK["roughness_ft"] / D
    Re = 4 * np.abs(Q) * NETWORK["rho_slug_ft3"] / (np.pi * D * NETWORK["mu_lbf_s_ft2"])
    f, _ = pipe_friction(Re, e)
    total = NETWORK["equivalent_length"] * 4 * rough_friction(e) + K + 4 * f * L / D
    return np.asarray(8 * Q * np.abs(Q) * total / (np.pi**2 * NETWORK["g_ft_s2"] * D**4))


def solve_network(head: Pump | float) -> Array:
    """Flows of all pipes [ft3/s], the pump's first."""
    K1, K2, K3, K4 = NETWORK["loads"].values()
    b2, b4, b7, b10 = NETWORK["boosters_ft"].values()

    def residuals(Q: Array) -> list[float]:
        Q1, Q2, Q3, Q4, Q5, Q6, Q7, Q8, Q9, Q10, Q11 = Q
        h1, h2, h3, h4, h5, h6, h7, h8, h9, h10, h11 = pipe_heads(Q)
        return [
            Q1 - Q2 - Q3, Q6 - Q2 - Q4, Q3 - Q4 - Q5, Q5 - Q10 - Q7, Q7 - Q8 - Q9, Q11 - Q6 - Q7,
            K1 * Q2**2 + h2 + h6 + h11 + h1 - pump_head(head, Q1) + NETWORK["source_coefficient"] * Q1**2 - b2,
            h4 + K3 * Q4**2 - h2 - K1 * Q2**2 + h3 + b2 - b4,
            h7 + h8 + K4 * Q8**2 - h6 - h4 - K3 * Q4**2 + h5 + b4 - b7,
            h9 + K4 * Q9**2 - h8 - K4 * Q8**2,
            h10 + K2 * Q10**2 - h11 - h9 - K4 * Q9**2 - h7 + b7 - b10,
        ]  # fmt: skip

    found = root(residuals, [10.0, 3.0, 7.0, 3.0, 5.0, 5.0, 3.0, 1.5, 1.5, 3.0, 8.0], tol=1e-10)
    assert found.success, found.message
    return np.asarray(found.x)


def pump_head(head: Pump | float, Q1: float) -> float:
    """[ft] at a flow [ft3/s]."""
    return float(head.at(column(Q1 * CUBIC_FOOT), 1.0)[0][0]) / FOOT if isinstance(head, Pump) else head


def network_pump() -> Pump:
    """The published curve; it droops below 1000 gpm, where ours, which never rises, is held at its highest head."""
    gpm, ft = np.array(NETWORK["pump_gpm"][2:]), np.array(NETWORK["pump_ft"][2:])
    flow = np.concatenate([[0.0], gpm]) / NETWORK["gallons_per_ft3"] / constants.minute * CUBIC_FOOT
    return pump(flow, np.concatenate([ft[:1], ft]) * FOOT)


def test_eleven_pipes_share_the_flow_of_a_constant_head() -> None:
    """The source has the same Haaland formula with 0.3086 for 1/1.8^2 (0.01 % less): to the printed digits."""
    flows = solve_network(NETWORK["constant_head_ft"])
    assert flows == pytest.approx(NETWORK["expected_constant"], rel=2e-4)


def test_a_pump_feeds_eleven_pipes_at_the_published_point() -> None:
    """Our monotone cubics against the source's cubic spline between the same points."""
    one, expected = network_pump(), NETWORK["expected_curve"]
    flows = solve_network(one)
    head = pump_head(one, flows[0])
    weight = NETWORK["rho_slug_ft3"] * NETWORK["g_ft_s2"]  # lbf/ft3
    power = weight * flows[0] * head / NETWORK["efficiency"] / 550  # ft lbf/s in a horsepower
    assert flows[:3] == pytest.approx([expected["Q1"], expected["Q2"], expected["Q3"]], rel=5e-4)
    assert head == pytest.approx(expected["head_ft"], rel=5e-4)
    assert power == pytest.approx(expected["power_hp"], rel=1e-3)
