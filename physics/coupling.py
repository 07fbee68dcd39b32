"""How core, loop and front exchanger pass heat on, and what that does to the stores of `physics.reservoir`.

Everything works in place on rows (n,) of a block of cores, as it is called four times a step.
"""

from dataclasses import dataclass

import numpy as np

from physics.arrays import Array, BoolArray
from physics.reservoir import MELTING, Rows, Stores, rows, wide

_NO_FLOW = 1e-9  # [W/K] what a stopped pump still carries, so that nothing is divided by zero


@dataclass(frozen=True)
class Coupling:
    """How core and loop pass heat on in one kind of phase, as functions of the coolant's temperature into the core.

    `temperature` (k,) [K], k = 1, 2 or 3, rising; each value (n, k) or (1, k). Between the nodes holds the polynomial
    through them, beyond the ends their value.
    """

    temperature: Array
    air_capacity: Array  # [W/K]
    air_inlet_temperature: Array  # [K]
    air_conductance: Array  # [W/K] charge to metal: on the charge's inlet temperature less the metal's
    coolant_conductance: Array  # [W/K] metal to coolant: on the metal's temperature less the coolant's at the inlet
    coolant_flow: Array  # [m3/s]
    front_conductance: Array  # [W/K] on the coolant's temperature into the front exchanger less the ambient's
    ambient_temperature: float  # [K]

    def __post_init__(self) -> None:
        if self.temperature.ndim != 1 or not 1 <= self.temperature.size <= 3 or np.any(np.diff(self.temperature) <= 0):
            raise ValueError("a coupling has one, two or three rising temperatures")


def split(K: Array, R_air: Array, C_air: Array) -> tuple[Array, Array]:
    """Conductances charge to metal and metal to coolant [W/K] in series to K = eps C_min, that of the rated heat.

    K_a = C_a [1 - exp(-1/(R_a C_a))]: a charge that passes metal of one temperature; 1/K_c = 1/K - 1/K_a.
    Metal at rest with both then passes on the rated heat exactly.

    >>> K_a, K_c = split(np.array([200.0]), np.array([0.001]), np.array([250.0]))
    >>> round(float(K_a[0]), 2), round(float((1 / (1 / K_a + 1 / K_c))[0]), 6)
    (245.42, 200.0)
    """
    K_a = -C_air * np.expm1(-1 / (R_air * C_air))
    return K_a, 1 / (1 / K - 1 / K_a)


@dataclass(frozen=True)
class Curves:
    """Polynomials over the nodes [K above melting] in Newton's form: divided differences (k, r, n).

    Rows from `varying` on are constant for the whole block: they are filled in once and never evaluated.
    """

    nodes: tuple[float, ...]
    differences: Array
    varying: int


@dataclass(frozen=True)
class Exchange:
    """A coupling made ready for a block."""

    rates: Curves  # K_c, C_c, K_f, K_a, T_a,in
    charge: Curves  # K_a, T_a,in, C_a
    ambient: float  # [K above melting]
    fastest: Array  # (n,) [W/K] largest coolant capacity rate
    metal: Array  # (n,) [W/K] largest conductance at the metal
    extremes: tuple[Array, Array]  # (n,) coldest and hottest of what heats or cools [K above melting]
    known: BoolArray  # (n,) whether all of it is a number


def exchange_of(coupling: Coupling, heated: bool, stores: Stores, block: slice) -> Exchange:
    """A coupling at the designs of a block; at rest (not heated) no heat comes from the charge."""
    c, n = coupling, block.stop - block.start
    ambient = float(c.ambient_temperature) - MELTING
    K_a, T_a, C_a = c.air_conductance, c.air_inlet_temperature - MELTING, c.air_capacity
    if not heated:
        K_a, T_a, C_a = (np.full((1, c.temperature.size), value) for value in (0.0, ambient, 1.0))
    parts = (c.coolant_conductance, c.coolant_flow, c.front_conductance, K_a, T_a, C_a)
    values = np.stack([wide(part, block, n).T for part in parts], axis=1)
    values[:, 1] = np.maximum(values[:, 1] * stores.volumetric_heat, _NO_FLOW)
    nodes = tuple(float(T) - MELTING for T in c.temperature)
    sources = values[:, 4]
    return Exchange(
        _curves(nodes, values[:, :5]), _curves(nodes, values[:, 3:]), ambient,
        np.max(values[:, 1], axis=0), np.max(values[:, 0] + values[:, 3], axis=0),
        (np.minimum(np.min(sources, axis=0), ambient), np.maximum(np.max(sources, axis=0), ambient)),
        np.all(np.isfinite(values), axis=(0, 1)),
    )


def _curves(nodes: tuple[float, ...], values: Array) -> Curves:
    """Polynomials through values (k, r, n) at the nodes."""
    d = np.array(values)
    for order in range(1, len(nodes)):
        for i in range(len(nodes) - 1, order - 1, -1):
            d[i] = (d[i] - d[i - 1]) / (nodes[i] - nodes[i - order])
    varying = np.flatnonzero(np.any(d[1:] != 0, axis=(0, 2)))
    return Curves(nodes, d, int(varying[-1]) + 1 if varying.size else 0)


class Work:
    """Room for what a step passes through, and for a coupling's values: stepping makes no arrays."""

    def __init__(self, stores: Stores) -> None:
        shape, cells = stores.start.shape, stores.cells
        n = shape[1]
        self.stage, self.slope, self.sum = (rows(np.empty(shape), cells) for _ in range(3))
        self.rates, self.charge = np.empty((5, n)), np.empty((3, n))
        self.K_coolant, self.C, self.K_front, self.K_air, self.T_air = self.rates
        self.charge_K_air, self.charge_T_air, self.C_air = self.charge
        self.inside, self.shift, self.reservoir, self.to_coolant = np.empty((4, n))

    def fill(self, exchange: Exchange) -> None:
        """Put in what is constant in a coupling."""
        self.rates[:] = exchange.rates.differences[0]
        self.charge[:] = exchange.charge.differences[0]


def _evaluate(curves: Curves, T: Array, out: Array, work: Work) -> None:
    """The varying rows where the coolant enters the core at T (n,)."""
    if not curves.varying:
        return
    nodes, d, out = curves.nodes, curves.differences[:, : curves.varying], out[: curves.varying]
    np.maximum(T, nodes[0], out=work.inside)
    np.minimum(work.inside, nodes[-1], out=work.inside)
    np.subtract(work.inside, nodes[-2], work.shift)
    np.multiply(d[-1], work.shift, out)
    np.add(out, d[-2], out)
    for i in range(len(nodes) - 3, -1, -1):
        np.subtract(work.inside, nodes[i], work.shift)
        np.multiply(out, work.shift, out)
        np.add(out, d[i], out)


def advance(y: Rows, stores: Stores, exchange: Exchange, half: Array, whole: Array, work: Work) -> None:
    """One step of the classical Runge-Kutta scheme, in place: y + (k1 + 2 k2 + 2 k3 + k4)/6.

    `half` and `whole` (rows, n) are half the step and all of it over the capacities: slopes come as half a step's
    change, the third one doubled.
    """
    at, k, total = work.stage, work.slope, work.sum
    _change(y, stores, exchange, half, total, work)
    np.add(y.stores, total.stores, at.stores)
    _change(at, stores, exchange, half, k, work)
    np.add(y.stores, k.stores, at.stores)
    np.add(total.all, k.all, total.all)
    np.add(total.all, k.all, total.all)
    _change(at, stores, exchange, whole, k, work)
    np.add(y.stores, k.stores, at.stores)
    np.add(total.all, k.all, total.all)
    _change(at, stores, exchange, half, k, work)
    np.add(total.all, k.all, total.all)
    np.multiply(total.all, 1 / 3, total.all)
    np.add(y.all, total.all, y.all)


def _change(T: Rows, stores: Stores, exchange: Exchange, scale: Array, out: Rows, work: Work) -> None:
    """Write what each row takes in [W], tallies too, times `scale` (rows, n) to `out`.

    metal: K_a (T_a,in - T_m) - K_c (T_m - T_c,in)
    cells: C_c (T_before - T), and where the coolant arrives from the core also K_c (T_m - T_c,in) less what the front
           exchanger takes, K_f [T_c,in + K_c (T_m - T_c,in)/C_c - T_ambient]
    What one row gives another takes: energy is kept by construction.
    """
    w, to_coolant, to_ambient = work, work.to_coolant, out.ambient_heat
    np.maximum(T.reservoir, stores.coldest, out=w.reservoir)
    inlet = T.inlet if stores.cells else w.reservoir
    _evaluate(exchange.rates, inlet, w.rates, w)
    np.subtract(w.T_air, T.metal, out.charge_heat)
    np.multiply(out.charge_heat, w.K_air, out.charge_heat)
    np.subtract(T.metal, inlet, to_coolant)
    np.multiply(to_coolant, w.K_coolant, to_coolant)
    np.subtract(out.charge_heat, to_coolant, out.metal)
    np.divide(to_coolant, w.C, to_ambient)
    np.add(to_ambient, inlet, to_ambient)
    np.subtract(to_ambient, exchange.ambient, to_ambient)
    np.multiply(to_ambient, w.K_front, to_ambient)
    _circulate(T, out, w, stores.cells)
    np.add(out.entry, to_coolant, out.entry)
    np.subtract(out.entry, to_ambient, out.entry)
    np.multiply(out.all, scale, out.all)


def _circulate(T: Rows, out: Rows, work: Work, cells: int) -> None:
    """What the coolant carries from row to row of the circuit [W]."""
    if not cells:
        out.reservoir[:] = 0.0
        return
    np.subtract(T.last, work.reservoir, out.reservoir)
    np.subtract(work.reservoir, T.first, out.first)
    np.subtract(T.upstream, T.downstream, out.downstream)
    np.multiply(out.circuit, work.C, out.circuit)


def charge_temperature(T: Rows, stores: Stores, exchange: Exchange, out: Array, work: Work) -> Array:
    """Write the charge out of the core (n,) [K above melting] to `out`: T_a,in - K_a (T_a,in - T_m)/C_a.

    Returns what enters the core (n,).
    """
    np.maximum(T.reservoir, stores.coldest, out=work.reservoir)
    inlet = T.inlet if stores.cells else work.reservoir
    _evaluate(exchange.charge, inlet, work.charge, work)
    np.subtract(T.metal, work.charge_T_air, out)
    np.multiply(out, work.charge_K_air, out)
    np.divide(out, work.C_air, out)
    np.add(out, work.charge_T_air, out)
    return inlet
