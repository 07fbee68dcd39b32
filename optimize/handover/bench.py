"""What a core should lose on a flow bench, and how far copies and correlations may take it: the acceptance figures.

Rated by the same sheet as everything else, under a study of its own whose duty points are the bench's: the core alone
(no lid, plenum, line, pump, blower), air and coolant at one temperature, so that no heat flows.
"""

from dataclasses import dataclass, replace

import numpy as np

from optimize.calculation_sheet import Sheet
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.space import Batch, Parameters
from optimize.study.model import Coolant, DutyPoint, Objective, Study, Variable
from optimize.tolerance.copies import made_batch, rated
from optimize.tolerance.draws import Draws
from optimize.tolerance.intervals import percentile
from optimize.tolerance.model_draws import model_factors
from physics.arrays import Array
from physics.core import geometry
from physics.fins import Flow
from physics.flags import FLAG_TEXTS, VOID, Flag
from physics.properties import coolant as coolant_fluid

TEMPERATURE = 293.15  # [K] of air and coolant alike
PRESSURE = 101_325.0  # [Pa] absolute, of the air at the inlet face
SHARES = (0.5, 0.75, 1.0)  # of the largest flow of the duty points
INNER = (0.025, 0.975)  # of the copies lie between
DRAWS = 4096  # copies: a hundred lie beyond either bound
WATER = Coolant("water", None, None)
_COOLANT_PRESSURE = 2.0e5  # liquids ignore it
_SLOW = 0.1
DUCTS = ("lid_loss", "plenum_loss")  # of the casting; a bench has neither lid nor plenum
_FLAGS = {"air": VOID | Flag.AIR_FAST | Flag.AIR_PROPERTIES, "coolant": VOID | Flag.COOLANT_TEMPERATURE}

Band = tuple[float, float]


@dataclass(frozen=True)
class BenchPoint:
    """One flow on the bench: kg/s, m3/s, loss in Pa; a band is where the inner 95 % of the copies lie.

    `shop`: copies within the shop's tolerances; `model`: the bands of the correlations; `both`: the two at once, and
    so what to accept. Infinite where copies have no numbers.
    """

    share: float
    mass_flow: float
    volume_flow: float
    Re: float
    loss: float
    shop: Band
    model: Band
    both: Band


@dataclass(frozen=True)
class Stream:
    """One fluid through the core, at a few flows. `lost`: copies without numbers, of all kinds and flows."""

    name: str
    fluid: str
    density: float
    points: tuple[BenchPoint, ...]
    cautions: tuple[str, ...]
    lost: int


@dataclass(frozen=True)
class _Rated:
    """The core and its copies on one bench: what was asked, the sheet, and the losses of the copies by kind (n, m)."""

    study: Study
    sheet: Sheet
    copies: dict[str, dict[str, Array]]


def bench(problem: CoreProblem, core: Parameters, draws: int = DRAWS) -> tuple[Stream, ...]:
    """Air, the study's coolant, and water unless it is the coolant: each at a half, three quarters and all of its flow.

    Raises FinfrontError where the core has no flow at any duty point.
    """
    air, coolant = largest_flows(problem, core)
    own = problem.study.coolant
    fluids = [own] if own.fluid == WATER.fluid else [own, WATER]
    streams = [_stream(_rated(problem.study, core, (air, coolant), own, draws), "air", "air")]
    for fluid in fluids:  # beside air so slow that it cannot be what ends a rating
        found = _rated(problem.study, core, (_SLOW * air, coolant), fluid, draws)
        streams.append(_stream(found, "coolant", fluid_words(fluid)))
    return tuple(streams)


def largest_flows(problem: CoreProblem, core: Parameters) -> tuple[float, float]:
    """The largest charge flow [kg/s] and coolant flow [m3/s] of the duty points, as the core is rated at them."""
    rating = problem.rate(problem.space.batch(core, np.zeros(1, dtype=np.int64)))
    found = [rating[name][0] for name in ("charge_flow", "coolant_volume_flow")]
    if not all(np.any(np.isfinite(flow)) for flow in found):
        what = "the core cannot be rated at any duty point: no flow to put on a bench"
        raise FinfrontError(what, problem.study.path, "see `finfront rate` for the reason, or choose another core")
    air, coolant = (float(np.nanmax(flow)) for flow in found)
    return air, coolant


def bench_study(study: Study, flows: tuple[float, float], fluid: Coolant) -> Study:
    """The study with the bench's duty points, and nothing around the core."""
    rho = float(coolant_fluid(fluid.fluid, fluid.strength, fluid.basis).density(TEMPERATURE, _COOLANT_PRESSURE))
    points = tuple(
        DutyPoint(
            f"{100 * share:.0f} %", 1.0, air_flow=share * flows[0], air_temperature=TEMPERATURE, air_pressure=PRESSURE,
            coolant_flow=share * flows[1] * rho, coolant_temperature=TEMPERATURE,
        )
        for share in SHARES
    )
    none = {f"ducts.{name}": Variable(f"ducts.{name}", (0.0,)) for name in DUCTS}
    goals = tuple(Objective(name, False, "worst") for name in ("air_pressure_drop", "coolant_pressure_drop"))
    return replace(
        study, coolant=fluid, duty=points, variables=study.variables | none, objectives=goals, limits=(), loop=None,
        blower=None, engine=None, net_gain=None, soak=None, run_tolerances={}, robust=None,
    )


def fluid_words(coolant: Coolant) -> str:
    """'ethylene glycol 50 % by volume'."""
    if coolant.strength is None:
        return coolant.fluid
    return f"{coolant.fluid} {100 * coolant.strength:.3g} % by {coolant.basis}"


def _rated(study: Study, core: Parameters, flows: tuple[float, float], fluid: Coolant, draws: int) -> _Rated:
    problem = CoreProblem(bench_study(study, flows, fluid))
    alone = core | {name: np.zeros(1) for name in DUCTS}
    sheet = Sheet(problem, alone)
    nominal, random = sheet.batch, Draws(problem.study, draws)
    made = made_batch([nominal], [problem.space.tolerances(alone)], random)
    factors = model_factors(problem.study, nominal.air_family, nominal.coolant_family, random)
    plain: Batch = made_batch([nominal], [{}], random)
    copies = {
        "shop": rated(problem, made, None, None), "model": rated(problem, plain, factors, None),
        "both": rated(problem, made, factors, None),
    }
    return _Rated(problem.study, sheet, {kind: found.shown for kind, found in copies.items()})


def _stream(found: _Rated, side: str, fluid: str) -> Stream:
    """One side of what was rated; the coolant's density from the flows it was given."""
    output, rating = f"{side}_pressure_drop", found.sheet.rating
    mass = [getattr(point, f"{side}_flow") for point in found.study.duty]
    if side == "air":
        density = float(found.sheet.problem.duty.air.density(np.array(TEMPERATURE), np.array(PRESSURE)))
    else:
        density = mass[0] / float(rating["coolant_volume_flow"][0, 0])
    losses = {kind: shown[output] for kind, shown in found.copies.items()}
    points = tuple(
        BenchPoint(
            SHARES[i], flow, flow / density, float(rating[f"{side}_Re"][0, i]), float(rating[output][0, i]),
            *(_band(losses[kind][:, i]) for kind in ("shop", "model", "both")),
        )
        for i, flow in enumerate(mass)
    )
    lost = sum(int(np.count_nonzero(np.isnan(values))) for values in losses.values())
    return Stream(side, fluid, density, points, tuple(_cautions(found.sheet, side)), lost)


def _band(losses: Array) -> Band:
    """Between which the inner 95 % of the copies lie (n,); a copy without numbers counts as worse than any."""
    values = np.where(np.isnan(losses), np.inf, losses)
    low, high = (percentile(values, p) for p in INNER)
    return low, high


def _cautions(sheet: Sheet, side: str) -> list[str]:
    """Why a loss is to be read with care, flow by flow; what concerns heat alone (Pr) is left out."""
    with np.errstate(all="ignore"):
        g = geometry(sheet.batch.designs)
    found, own = [], _FLAGS[side]
    part = g.air if side == "air" else g.coolant
    for i, name in enumerate(sheet.rating.duty_names):
        bits = int(sheet.rating.flags[0, i])
        found += [f"{name}: {text}" for flag, text in FLAG_TEXTS.items() if bits & flag & own]
        Re, Pr = (np.atleast_2d(sheet.rating[f"{side}_{number}"][0, i]) for number in ("Re", "Pr"))
        flow = Flow(Re, Pr, part.flow_length, part.width, part.stack_pitch, part.obstruction)
        texts = part.family.complaints(part.fin, part.surface, flow)
        found += [f"{name}: {text}" for text in texts if ": Pr = " not in text]
    return found
