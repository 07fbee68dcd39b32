"""What the coolant circuit makes of a core: every line and port, more or less flow, and the pump's own curve."""

from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from optimize import units
from optimize.evaluate import CoreProblem
from optimize.space import Batch, Parameters
from optimize.tables import header, output_columns
from physics.arrays import Array
from physics.installation import Installation
from physics.loop import GRAVITY
from physics.outputs import OUTPUTS
from physics.pump import in_series
from physics.rating import Rating

if TYPE_CHECKING:
    import pandas as pd

CHOICE_OUTPUTS = (
    "coolant_volume_flow", "heat_rejected", "air_outlet_temperature", "coolant_inlet_temperature",
    "coolant_pressure_drop", "pump_pressure_rise",
)
FLOW_OUTPUTS = (
    "coolant_volume_flow", "heat_rejected", "air_outlet_temperature", "coolant_inlet_temperature", "pump_pressure_rise",
)
_FLOWS = 41
_SPAN = (0.1, 2.0)  # of the flow the circuit gives
PAYS = 0.02  # d ln(heat)/d ln(flow) below which more water is said not to pay


def has_loop(problem: CoreProblem) -> bool:
    """Whether some duty point leaves its coolant flow to a loop."""
    return problem.around.loop is not None and bool(np.any(problem.around.asked.flow_open))


def choice_table(problem: CoreProblem, core: Parameters) -> "pd.DataFrame":
    """The core with every line and port the study may choose: flow, cooling, restriction."""
    import pandas as pd

    names = [name for name in ("line", "port") if name in core]
    codes = [problem.space.coded(problem.space.variables[name]) for name in names]
    rows = np.array(list(product(*codes)))
    cores: Parameters = core | {name: rows[:, i] for i, name in enumerate(names)}
    rating = problem.rate_choices(cores, len(rows))
    columns: dict[str, object] = {name: problem.space.labels(name, rows[:, i]) for i, name in enumerate(names)}
    own = np.all([rows[:, i] == core[name][0] for i, name in enumerate(names)], axis=0)
    shown = output_columns(rating, (*CHOICE_OUTPUTS, "port_open_share"), problem.study.units)
    return pd.DataFrame({**columns, "chosen": np.where(own, "yes", "no"), **shown})


def flow_table(problem: CoreProblem, core: Parameters, name: str) -> "pd.DataFrame":
    """The core at imposed coolant flows: what the circuit would take, what the core would cool, and whether it pays.

    Duty points that state their flow are left out: there is nothing to move along.
    """
    import pandas as pd

    batch = problem.space.batch(core, np.zeros(1, dtype=np.int64))
    settled = problem.rate(batch)
    density = settled_density(problem, settled)
    parts = []
    for i in np.flatnonzero(problem.around.asked.flow_open):
        own = float(settled["coolant_volume_flow"][0, i])
        flows = np.geomspace(_SPAN[0] * own, _SPAN[1] * own, _FLOWS)
        rating = _at_flows(problem, batch, int(i), flows * density[i])
        heat, flow = rating["heat_rejected"][0], rating["coolant_volume_flow"][0]
        parts.append(pd.DataFrame({
            "core": name, "duty": problem.duty.names[i], **_columns(problem, rating),
            "d ln heat/d ln flow": np.gradient(np.log(np.abs(heat)), np.log(flow)),
        }))
    return pd.concat(parts, ignore_index=True)


def _at_flows(problem: CoreProblem, batch: Batch, i: int, flows: Array) -> Rating:
    """One core at one duty point, at coolant mass flows (k,): k duty points."""
    index = np.full(len(flows), i)
    closed = np.zeros(len(flows), dtype=bool)
    return problem.rate_at(
        batch, problem.duty.at(index, coolant_flow=flows), problem.around.at(index, flow_open=closed)
    )


def _columns(problem: CoreProblem, rating: Rating) -> dict[str, Array]:
    """Outputs of one core over many points, in display units."""
    system = problem.study.units
    return {
        header(name, OUTPUTS[name].kind, system): units.to_display(rating[name][0], OUTPUTS[name].kind, system)
        for name in FLOW_OUTPUTS
    }


def settled_density(problem: CoreProblem, rating: Rating, name: str = "coolant_inlet_temperature") -> Array:
    """Coolant density at a temperature of the first core (m,)."""
    duty = problem.duty
    return np.asarray(duty.coolant.density(rating[name][0], duty.coolant_inlet_pressure))


def pump_table(problem: CoreProblem, core: Parameters) -> "pd.DataFrame":
    """The pumps' curve at each duty point's speed, over the flow at the core's inlet, in the coolant this core has."""
    import pandas as pd

    rating = problem.rate(problem.space.batch(core, np.zeros(1, dtype=np.int64)))
    rho_in, rho = (settled_density(problem, rating, f"coolant_{at}_temperature") for at in ("inlet", "mean"))
    system, parts = problem.study.units, []
    for i in np.flatnonzero(problem.around.asked.flow_open):
        flow, head = _pump_curve(problem.around, int(i))
        parts.append(pd.DataFrame({
            "duty": problem.duty.names[i],
            header("flow", "volume flow", system): units.to_display(flow * rho[i] / rho_in[i], "volume flow", system),
            header("pressure", "pressure", system): units.to_display(rho[i] * GRAVITY * head, "pressure", system),
        }))
    return pd.concat(parts, ignore_index=True)


def _pump_curve(around: Installation, i: int) -> tuple[Array, Array]:
    """Flow [m3/s] and head [m] at the speed of a duty point."""
    assert around.loop is not None
    speed = around.asked.pump_speed[i : i + 1]
    flow = np.linspace(0.0, max(float(np.max(pump.reach(speed))) for pump in around.loop.pumps), _FLOWS)
    return flow, in_series(around.loop.pumps, flow, speed)[0]
