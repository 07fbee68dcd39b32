"""From a study's tables of loop, blower and engine to the installation a core is rated in."""

from dataclasses import fields, replace

import numpy as np

from optimize.study.model import DutyPoint, Study
from optimize.study.model_system import Blower as BlowerTable
from optimize.study.model_system import LineType, Loop, PumpCurve, Section
from physics.arrays import Array
from physics.blower import Blower, Curve, Engine
from physics.boiling import boiling_temperature
from physics.columns import column
from physics.duty import Duty
from physics.humid_air import humidity_of
from physics.installation import BREATHING, GIVEN, HELD, Asked, Installation
from physics.loop import FrontExchanger, Run, loss_law
from physics.loop import Loop as Circuit
from physics.pipes import COEFFICIENTS, FITTINGS, Line
from physics.properties import AIR, coolant
from physics.pump import Pump, pump

_COOLANT_PRESSURE = 2.0e5  # liquids ignore it


def tables_of(study: Study) -> frozenset[str]:
    """The optional tables a study holds, by the names outputs ask for (`physics.outputs.Output.needs`)."""
    loop = study.loop
    present = {
        "loop": loop is not None,
        "loop.front_exchanger": loop is not None and loop.front_exchanger is not None,
        "loop.cap_pressure": loop is not None and loop.cap_pressure is not None,
        "blower": study.blower is not None,
        "net_gain": study.net_gain is not None,
        "ambient.humidity": all(point.humidity is not None for point in study.duty),
        "soak": study.soak is not None,
    }
    return frozenset(name for name, there in present.items() if there)


Quantities = dict[str, Array]  # of the duty points by name, (m,) or (n, m) each, NaN where a point leaves it open

_QUANTITIES = tuple(f.name for f in fields(DutyPoint) if f.name not in ("name", "weight", "outside"))


def quantities_of(study: Study) -> Quantities:
    """What the duty points say, (m,) each, NaN for what is left to loop and blower."""
    return {
        name: np.array([np.nan if getattr(p, name) is None else getattr(p, name) for p in study.duty], dtype=float)
        for name in _QUANTITIES
    }


def duty_of(study: Study, said: Quantities | None = None) -> Duty:
    """The duty points as arrays; as `said` where it is not what the study says."""
    said, fluid = said or quantities_of(study), study.coolant
    return Duty(
        names=tuple(p.name for p in study.duty),
        air=AIR,
        coolant=coolant(fluid.fluid, fluid.strength, fluid.basis),
        air_flow=said["air_flow"],
        air_inlet_temperature=said["air_temperature"],
        air_inlet_pressure=said["air_pressure"],
        coolant_flow=said["coolant_flow"],
        coolant_inlet_temperature=said["coolant_temperature"],
        coolant_inlet_pressure=np.full(len(study.duty), _COOLANT_PRESSURE),
    )


def _asked(points: tuple[DutyPoint, ...], said: Quantities) -> Asked:
    """What the duty points are held to."""
    return Asked(
        air=tuple(_way(p) for p in points),
        flow_open=np.array([p.coolant_flow is None for p in points]),
        temperature_open=np.array([p.coolant_temperature is None for p in points]),
        **{name: said[name] for name in (
            "ambient_temperature", "ambient_pressure", "front_air_flow", "pump_speed", "manifold_pressure",
            "engine_speed",
        )},
    )


def _way(point: DutyPoint) -> str:
    if point.manifold_pressure is not None:
        return HELD
    return BREATHING if point.engine_speed is not None else GIVEN


def installation_of(study: Study, said: Quantities | None = None) -> Installation:
    """Everything around the core; the line is the first of the catalogue until a batch brings its own."""
    said, loop = said or quantities_of(study), study.loop
    front = loop.front_exchanger if loop is not None else None
    fluid = coolant(study.coolant.fluid, study.coolant.strength, study.coolant.basis)
    return Installation(
        asked=_asked(study.duty, said),
        loop=_circuit(loop, study.lines) if loop is not None else None,
        front=FrontExchanger(front.effectiveness, front.UA) if front is not None else None,
        blower=_blower(study.blower) if study.blower is not None else None,
        engine=_engine(study),
        humidity_ratio=_humidity_ratio(said),
        boiling_temperature=_boiling(study, said["ambient_pressure"]),
        freezing_temperature=fluid.freezing_point,
    )


def _circuit(loop: Loop, lines: dict[str, LineType]) -> Circuit:
    front = loop.front_exchanger
    return Circuit(
        pumps=tuple(_pump(curve) for curve in loop.pumps),
        line=_line(next(iter(lines.values()))),
        runs=tuple(_run(name, loop.sections, lines) for name in dict.fromkeys(s.line for s in loop.sections)),
        front_loss=loss_law(front.flow, front.loss) if front is not None else None,
        opening_pressure=loop.opening_pressure,
    )


def _pump(curve: PumpCurve) -> Pump:
    """The curve at its own speed, by the affinity laws."""
    return pump(np.array(curve.flow) * curve.speed, np.array(curve.head) * curve.speed**2)


def _line(line: LineType) -> Line:
    return Line(column(line.bore), column(line.roughness))


def _run(name: str | None, sections: tuple[Section, ...], lines: dict[str, LineType]) -> Run:
    """All sections of one line size as one."""
    own = [section for section in sections if section.line == name]
    fittings = [(kind, count) for section in own for kind, count in section.fittings.items()]
    return Run(
        length=sum(section.length for section in own),
        equivalent_length=sum(count * FITTINGS.get(kind, 0.0) for kind, count in fittings),
        coefficient=sum(count * COEFFICIENTS.get(kind, 0.0) for kind, count in fittings),
        line=_line(lines[name]) if name is not None else None,
    )


def _curve(table: tuple[tuple[float, float], ...]) -> Curve:
    x, y = zip(*table, strict=True)
    return Curve(np.array(x), np.array(y))


def _blower(table: BlowerTable) -> Blower:
    return Blower(
        displacement=table.displacement, volumetric=_curve(table.volumetric), isentropic=_curve(table.isentropic),
        mechanical=table.mechanical, inlet_loss=table.inlet_loss, drive_ratio=table.drive_ratio,
    )


def _engine(study: Study) -> Engine | None:
    if study.engine is None:
        return None
    return Engine(displacement=study.engine.displacement, volumetric=_curve(study.engine.volumetric))


def _humidity_ratio(said: Quantities) -> Array | None:
    """Water in the air taken in, kg per kg of dry air; None unless every point states its humidity."""
    T, p, humidity = (said[name] for name in ("ambient_temperature", "ambient_pressure", "humidity"))
    return None if np.any(np.isnan(humidity)) else humidity_of(T, p, humidity)


def _boiling(study: Study, ambient_pressure: Array) -> Array | None:
    """Boiling point of the coolant under the cap (m,) [K]."""
    loop, fluid = study.loop, study.coolant
    if loop is None or loop.cap_pressure is None:
        return None
    return np.asarray(
        boiling_temperature(fluid.fluid, fluid.strength, fluid.basis, ambient_pressure + loop.cap_pressure)
    )


def with_line(around: Installation, line: Line | None) -> Installation:
    """The installation with the lines of a batch."""
    if around.loop is None or line is None:
        return around
    return replace(around, loop=replace(around.loop, line=line))
