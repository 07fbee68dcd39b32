"""What stands around the core and closes what a duty point leaves open: coolant flow and temperature, the charge.

Each pass of the thermal sheet is followed by one step of `Installation.meet`: a Newton step on the coolant flow, the
liquid-coupled pair for the coolant's temperature, the blower for the charge. All settle together.
"""

from dataclasses import dataclass, fields, replace

import numpy as np

from physics.arrays import Array, BoolArray, IntArray
from physics.blower import Blower, Engine, Intake, compressed, engine_flow, intake, swept_flow
from physics.columns import points_first, take
from physics.core import Designs, Geometry
from physics.duty import Duty, ModelFactors
from physics.film import friction, friction_slope
from physics.fluid import Fluid, densities
from physics.loop import (
    FrontExchanger,
    Loop,
    coupled_inlet,
    first_flow,
    loop_loss,
    next_flow,
    pump_pressure,
)
from physics.losses import air_loss, coolant_loss
from physics.pipes import step_resistance
from physics.thermal import State, Thermal, conductance

GIVEN, HELD, BREATHING = "charge given", "manifold pressure held", "engine breathes"
_FIRST_LOSS = 0.04  # of the charge pressure, before the core's loss is known
_FIRST_RATIO = 1.6  # of the blower, before the engine's breathing is known
_FIRST_EFFECTIVENESS = 0.8  # of the core, before it is known
_KAPPA = 0.285  # (gamma - 1)/gamma of air, for the slope of a Newton step only


@dataclass(frozen=True)
class Asked:
    """What the duty points are held to; (m,) each, or (n, m) where each design has its own, NaN where it is not said.

    `flow_open` and `temperature_open` are (m,); in a rating all are as `points_first` makes them.
    """

    air: tuple[str, ...]  # GIVEN, HELD or BREATHING
    flow_open: BoolArray  # coolant flow left to the loop
    temperature_open: BoolArray
    ambient_temperature: Array
    ambient_pressure: Array
    front_air_flow: Array
    pump_speed: Array  # share of the curve's speed
    manifold_pressure: Array
    engine_speed: Array  # [rev/s]

    def at(self, index: IntArray, **changes: Array | BoolArray) -> "Asked":
        """The points at `index`, with some of the arrays changed."""
        arrays = {name: values[..., index] for name, values in self._arrays().items()}
        return Asked(air=tuple(self.air[i] for i in index), **(arrays | changes))  # type: ignore[arg-type]

    def take(self, index: IntArray) -> "Asked":
        """What the designs at `index` are held to."""
        return replace(self, **{n: _rows(values, index) for n, values in self._arrays().items()})  # type: ignore[arg-type]

    @property
    def size(self) -> int:
        """Number of designs it is given for: 1 when all share it."""
        return max(len(values) if values.ndim == 2 else 1 for values in self._arrays().values())

    def _arrays(self) -> dict[str, Array]:
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name != "air"}

    def way(self, air: str) -> BoolArray:
        """Duty points whose charge comes about in this way, in the shape of `flow_open`."""
        return np.array([way == air for way in self.air]).reshape(self.flow_open.shape)

    def points_first(self) -> "Asked":
        """With arrays (m, 1), or (m, n) where each design has its own."""
        return replace(self, **{n: points_first(values) for n, values in self._arrays().items()})  # type: ignore[arg-type]


@dataclass(frozen=True)
class Installation:
    """The parts around the core, each None where the study has none, and the moisture and boiling they bring."""

    asked: Asked
    loop: Loop | None = None
    front: FrontExchanger | None = None
    blower: Blower | None = None
    engine: Engine | None = None
    humidity_ratio: Array | None = None  # of the air taken in (m,) or (n, m)
    boiling_temperature: Array | None = None  # of the coolant at the cap's pressure (m,) or (n, m) [K]
    freezing_temperature: float = float("nan")
    before: Intake | None = None  # the air before the blower, and cp of that over the front exchanger: once a rating
    front_heat: Array | None = None

    @property
    def closes(self) -> bool:
        """Whether anything is left for it to solve."""
        return bool(np.any(self.asked.flow_open | self.asked.temperature_open | ~self.asked.way(GIVEN)))

    def take(self, index: IntArray) -> "Installation":
        """The installation of the designs at `index`."""
        loop = self.loop and replace(self.loop, line=take(self.loop.line, index))
        own = {name: _rows(values, index) for name, values in self._moist().items()}
        return replace(self, asked=self.asked.take(index), loop=loop, **own)  # type: ignore[arg-type]

    def at(self, index: IntArray, **changes: Array | BoolArray) -> "Installation":
        """The installation at the duty points at `index`, held to something else in some of them."""
        kept = {name: value[..., index] for name, value in self._moist().items()}
        return replace(self, asked=self.asked.at(index, **changes), **kept)  # type: ignore[arg-type]

    def _moist(self) -> dict[str, Array]:
        values = {name: getattr(self, name) for name in ("humidity_ratio", "boiling_temperature")}
        return {name: value for name, value in values.items() if value is not None}

    def points_first(self) -> "Installation":
        """What belongs to duty points as (m, 1), or (m, n) where each design has its own."""
        moist = {name: points_first(values) for name, values in self._moist().items()}
        return replace(self, asked=self.asked.points_first(), **moist)  # type: ignore[arg-type]

    def fitted(self, d: Designs, air: Fluid) -> "Installation":
        """The installation with what stays as it is in all passes: the line joined to the ports, the air taken in."""
        loop = self.loop
        if loop is not None:
            loop = replace(loop, step=step_resistance(loop.line.area, d.port.line_area))
        before = self._intake(air) if self.blower is not None else None
        return replace(self, loop=loop, before=before, front_heat=self._front_heat(air))

    def _intake(self, air: Fluid) -> Intake:
        return self.before or intake(air, self.asked.ambient_temperature, self.blower_inlet_pressure)

    def _front_heat(self, air: Fluid) -> Array:
        if self.front_heat is not None:
            return self.front_heat
        return air.specific_heat(self.asked.ambient_temperature, self.asked.ambient_pressure)

    def first(self, duty: Duty) -> Duty:
        """The duty with a first guess in place of what it leaves open."""
        duty = self._first_charge(duty)
        T = np.where(self.asked.temperature_open, self.asked.ambient_temperature, duty.coolant_inlet_temperature)
        flow = duty.coolant_flow
        if self.loop is not None and np.any(self.asked.flow_open):
            rho = duty.coolant.density(T, duty.coolant_inlet_pressure)
            flow = np.where(self.asked.flow_open, first_flow(self.loop, rho, self.asked.pump_speed), flow)
        duty = replace(duty, coolant_flow=flow, coolant_inlet_temperature=T)
        if self.front is None or not np.any(self.asked.temperature_open):
            return duty
        C_loop = flow * duty.coolant.specific_heat(T, duty.coolant_inlet_pressure)
        C_air = duty.air_flow * duty.air.specific_heat(duty.air_inlet_temperature, duty.air_inlet_pressure)
        return self._coupled(duty, _FIRST_EFFECTIVENESS * np.minimum(C_loop, C_air), C_loop)

    def _first_charge(self, duty: Duty) -> Duty:
        if self.blower is None or np.all(self.asked.way(GIVEN)):
            return duty
        p = np.where(
            self.asked.way(HELD), self.asked.manifold_pressure * (1 + _FIRST_LOSS), duty.air_inlet_pressure
        )
        return self._blown(duty, np.where(self.asked.way(BREATHING), _FIRST_RATIO * self.blower_inlet_pressure, p))

    @property
    def blower_inlet_pressure(self) -> Array:
        """Ambient less what filter and throttle take (m,) [Pa]."""
        return self.asked.ambient_pressure - (self.blower.inlet_loss if self.blower is not None else 0.0)

    def meet(self, d: Designs, g: Geometry, duty: Duty, k: ModelFactors, thermal: Thermal, state: State) -> Duty:
        """The duty one step nearer to what loop, front exchanger, blower and engine make of this core."""
        if self.loop is not None and np.any(self.asked.flow_open):
            duty = self._pumped(d, g, duty, k, thermal, state)
        duty = self.coupled(duty, thermal)
        if self.blower is not None and not np.all(self.asked.way(GIVEN)):
            duty = self._charged(d, g, duty, k, thermal, state)
        return duty

    def _pumped(self, d: Designs, g: Geometry, duty: Duty, k: ModelFactors, thermal: Thermal, state: State) -> Duty:
        """One Newton step of the coolant flow."""
        assert self.loop is not None
        p, m = duty.coolant_inlet_pressure, duty.coolant_flow
        T = duty.coolant_inlet_temperature, state.coolant, state.coolant_out
        rho_in, rho, rho_out = densities(duty.coolant, p, *T)
        f = friction(g.coolant, duty.coolant, thermal.coolant, k.on("coolant_f"))
        core = coolant_loss(d, g, m, thermal.coolant.G, f.f, (rho_in, rho, rho_out), k.tank_loss)
        slope = friction_slope(g.coolant, thermal.coolant, f.published) + k.coolant_f_exponent
        core_slope = (2 * core.total + slope * core.core) / m
        outside = loop_loss(self.loop, m, rho, duty.coolant.viscosity(state.coolant, p))
        rise, rise_slope = pump_pressure(self.loop, m, rho, self.asked.pump_speed)
        new = next_flow(m, rise, rise_slope, core.total + outside.total, core_slope + outside.slope)
        return replace(duty, coolant_flow=np.where(self.asked.flow_open, new, m))

    def coupled(self, duty: Duty, thermal: Thermal) -> Duty:
        """The coolant temperature at which core and front exchanger pass on the same heat."""
        if self.front is None or not np.any(self.asked.temperature_open):
            return duty
        return self._coupled(duty, conductance(thermal), thermal.coolant.capacity)

    def _coupled(self, duty: Duty, K_core: Array, C_loop: Array) -> Duty:
        K_front, _ = self.front_conductance(duty, C_loop)
        T = coupled_inlet(duty.air_inlet_temperature, self.asked.ambient_temperature, K_core, K_front, C_loop)
        T = np.where(self.asked.temperature_open, T, duty.coolant_inlet_temperature)
        return replace(duty, coolant_inlet_temperature=T)

    def front_conductance(self, duty: Duty, C_loop: Array) -> tuple[Array, Array]:
        """eps C_min of the front exchanger [W/K] and eps; nothing where no air flows over it."""
        assert self.front is not None
        C_air = self.asked.front_air_flow * self._front_heat(duty.air)
        blows = C_air > 0  # nowhere where no flow is said
        K, eps = self.front.conductance(C_loop, np.where(blows, C_air, 1.0))
        return np.where(blows, K, 0.0), np.where(blows, eps, 0.0)

    def _charged(self, d: Designs, g: Geometry, duty: Duty, k: ModelFactors, thermal: Thermal, state: State) -> Duty:
        """The charge pressure before the core by its present loss, then what the blower makes of it."""
        asked, p_in = self.asked, duty.air_inlet_pressure
        f = friction(g.air, duty.air, thermal.air, k.on("air_f")).f
        loss = air_loss(
            d, g, duty.air, duty.air_flow, duty.air_inlet_temperature, state.air, state.air_out, p_in, f
        ).total
        p = np.broadcast_to(p_in, loss.shape)
        if np.any(held := asked.way(HELD)):
            p = np.where(held, _upstream(asked.manifold_pressure, p_in * loss), p)
        if np.any(breathing := asked.way(BREATHING)):
            p = np.where(breathing, self._breathed(duty, loss, state), p)
        return self._blown(duty, p)

    def _breathed(self, duty: Duty, loss: Array, state: State) -> Array:
        """Charge pressure nearer to that at which the engine takes what the blower gives [Pa]: one Newton step.

        Manifold pressure follows from the flow the engine must take, the rest is the loss; both change with the
        pressure by way of the blower's volumetric efficiency and the heat of compression.
        """
        assert self.engine is not None
        p = duty.air_inlet_pressure
        p_out = p - loss
        needed = duty.air_flow / engine_flow(self.engine, self.asked.engine_speed, np.ones(1))
        p_manifold = p_out * needed / duty.air.density(state.air_out, p_out)
        growth = self._growth(duty, p, p_manifold, loss, state)
        return p + (p_manifold + loss - p) / (1 - growth)

    def _growth(self, duty: Duty, p: Array, p_manifold: Array, loss: Array, state: State) -> Array:
        """d(manifold pressure + loss)/d(charge pressure), near enough for a Newton step."""
        assert self.blower is not None
        T1, ratio = self.asked.ambient_temperature, p / self.blower_inlet_pressure
        eta, step = self.blower.volumetric.at(ratio), 1.01
        flow = (self.blower.volumetric.at(step * ratio) / eta - 1) / (step - 1)
        T2 = duty.air_inlet_temperature
        heating = _KAPPA * (T1 / self.blower.isentropic.at(ratio) + T2 - T1)
        left = (state.air_out - duty.coolant_inlet_temperature) / (T2 - duty.coolant_inlet_temperature)
        return (p_manifold * (flow + left * heating / state.air_out) + loss * (2 * flow - 1)) / p

    def _blown(self, duty: Duty, p: Array) -> Duty:
        """Charge pressure [Pa] into the core to flow and temperature there; points with a given charge stay."""
        assert self.blower is not None
        asked, before = self.asked, self._intake(duty.air)
        given, breathing = asked.way(GIVEN), asked.way(BREATHING)
        ratio = p / self.blower_inlet_pressure
        T2 = compressed(before, ratio, self.blower.isentropic.at(ratio)).T2
        flow = duty.air_flow
        if np.any(breathing):
            speed = asked.engine_speed * (self.blower.drive_ratio or 0.0)
            flow = np.where(breathing, swept_flow(self.blower, speed, ratio, before.rho), flow)
        return replace(
            duty, air_flow=flow, air_inlet_pressure=p,
            air_inlet_temperature=np.where(given, duty.air_inlet_temperature, T2),
        )


def _rows(values: Array, index: IntArray) -> Array:
    """The designs at `index` of (n, m); what is (m,) or (1, m) stays shared."""
    return values[index] if values.ndim == 2 and len(values) > 1 else values


def _upstream(p_after: Array, p_times_loss: Array) -> Array:
    """Pressure before a loss that falls as 1/p, for a pressure held behind it [Pa].

    p = p_after + c/p, c the present pressure times the present loss.

    >>> round(float(_upstream(np.array(180e3), np.array(190e3 * 9.5e3))), 1)
    189523.9
    """
    return (p_after + np.sqrt(p_after * p_after + 4 * p_times_loss)) / 2
