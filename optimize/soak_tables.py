"""A schedule run with one core, as tables: courses over time, and what more reservoir or more ice would buy."""

from typing import TYPE_CHECKING

import numpy as np

from optimize import units
from optimize.evaluate import CoreProblem
from optimize.soaking import SoakRating, SoakRun
from optimize.space import Batch, Parameters
from optimize.tables import header
from physics.arrays import Array
from physics.flags import FLAG_TEXTS, Flag
from physics.humid_air import latent_heat
from physics.reservoir import LATENT_HEAT, MELTING
from physics.soak import Soaked

if TYPE_CHECKING:
    import pandas as pd

_TIMES = (0.5, 3.0)  # of the reservoir's volume, or of the ice
_STEPS = 11
_LEAST_ICE = 2.0  # [kg] to ask about where the study has none
_MOST_ROWS = 4000


def one_core(problem: CoreProblem, core: Parameters) -> tuple[SoakRun, Batch]:
    """The study's schedule and the core as a batch of one."""
    assert problem.soaks is not None
    return problem.soaks, problem.space.batch(core, np.zeros(1, dtype=np.int64))


def trace_table(problem: CoreProblem, soaked: Soaked, name: str) -> "pd.DataFrame":
    """The courses of one core over time."""
    import pandas as pd

    traces, system = soaked.traces, problem.study.units
    assert traces is not None
    every = max(1, -(-traces.time.size // _MOST_ROWS))
    columns = {
        ("charge_temperature", "temperature"): traces.charge_temperature,
        ("coolant_temperature", "temperature"): traces.inlet_temperature,
        ("metal_temperature", "temperature"): traces.metal_temperature,
        ("reservoir_temperature", "temperature"): traces.reservoir_temperature,
        ("ice_left", "mass"): traces.ice,
    }
    shown = {header(n, kind, system): units.to_display(v[0], kind, system)[::every] for (n, kind), v in columns.items()}
    heated = np.where(np.isnan(traces.charge_temperature[0]), "no", "yes")[::every]
    return pd.DataFrame({"core": name, "time [s]": traces.time[::every], "heated": heated, **shown})


def gains_table(problem: CoreProblem, core: Parameters, name: str) -> "pd.DataFrame":
    """The schedule with other reservoirs, then with other amounts of ice (for water only), all else the same."""
    import pandas as pd

    run, batch = one_core(problem, core)
    V, ice = run.reservoir.volume, run.reservoir.ice
    volumes = np.linspace(_TIMES[0] * V, _TIMES[1] * V, _STEPS)
    parts = [_gains(problem, run.run(batch, volume=volumes).soaked, name, "reservoir", volumes, np.full(_STEPS, ice))]
    if problem.study.coolant.fluid == "water":
        masses = np.linspace(0.0, 2.0 * max(ice, _LEAST_ICE), _STEPS)
        parts.append(_gains(problem, run.run(batch, ice=masses).soaked, name, "ice", np.full(_STEPS, V), masses))
    return pd.concat(parts, ignore_index=True)


def _gains(
    problem: CoreProblem, soaked: Soaked, name: str, what: str, volumes: Array, masses: Array
) -> "pd.DataFrame":
    import pandas as pd

    system = problem.study.units
    columns = {
        ("reservoir_volume", "volume"): volumes, ("ice", "mass"): masses,
        ("soak_time_under_limit", "time"): soaked.time_under_limit,
        ("soak_time_to_limit", "time"): soaked.time_to_limit,
        ("soak_hottest_charge", "temperature"): soaked.hottest_charge,
    }
    shown = {header(n, kind, system): units.to_display(v, kind, system) for (n, kind), v in columns.items()}
    return pd.DataFrame({"core": name, "what": what, **shown})


def soak_record(problem: CoreProblem) -> dict[str, float | str]:
    """What a figure of the courses must know besides them."""
    assert problem.soaks is not None
    system = problem.study.units
    limit = float(units.to_display(problem.soaks.soak.limit, "temperature", system))
    return {"limit": limit, "unit": units.unit_label("temperature", system)}


def soak_lines(problem: CoreProblem, schedule: SoakRating) -> list[str]:
    """What came of the schedule, in words and numbers, and what is to be read with care."""
    soaked = schedule.soaked
    system, run = problem.study.units, problem.soaks
    assert run is not None

    def show(value: Array, kind: str) -> str:
        return units.show(float(value[0]), kind, system)

    limit = units.show(run.soak.limit, "temperature", system)
    recovery = float(soaked.recovery_time[0])
    lines = [
        f"charge under {limit}: {show(soaked.time_under_limit, 'time')} of {run.pulling:g} s of pulling",
        f"pulling until {limit} is first reached: {show(soaked.time_to_limit, 'time')}",
        f"hottest charge: {show(soaked.hottest_charge, 'temperature')}",
        f"reservoir at the end: {show(soaked.last_reservoir_temperature, 'temperature')}",
    ]
    if run.reservoir.ice > 0:
        lines.append(f"ice left: {show(soaked.ice_left, 'mass')} of {units.show(run.reservoir.ice, 'mass', system)}")
    within = units.show(run.soak.recovered_within, "temperature difference", system)
    known = "not within the schedule" if np.isinf(recovery) else f"{recovery:.0f} s after the last pull"
    lines.append(f"reservoir within {within} of its start: {known}")
    lines.append(f"heat from the charge: {soaked.heat_from_charge[0] / 1e3:.0f} kJ, "
                 f"to the air over the front exchanger: {soaked.heat_to_ambient[0] / 1e3:.0f} kJ; "
                 f"balance error {soaked.energy_error[0]:.1e}")
    lines += [f"{FLAG_TEXTS[flag]}" for flag in Flag if int(np.bitwise_or.reduce(schedule.flags[0])) & flag]
    if schedule.condensate[0] > 0:
        lines.append(_condensate_line(problem, float(schedule.condensate[0])))
    return lines


def _condensate_line(problem: CoreProblem, rate: float) -> str:
    """The heat of what condenses, which the balance leaves out, beside the melting of the ice."""
    run, system = problem.soaks, problem.study.units
    assert run is not None
    heat = rate * float(latent_heat(MELTING)) * run.pulling
    text = (
        f"condensate in a pull, at most: {units.show(rate, 'small mass flow', system)}; its heat, up to "
        f"{heat / 1e3:.0f} kJ over all pulls, is not in the balance"
    )
    if run.reservoir.ice > 0:
        text += f": it would melt {units.show(heat / LATENT_HEAT, 'mass', system)} of ice more"
    return text
