"""What stores heat around a core: reservoir with ice, lines, core metal, front exchanger.

    reservoir -> supply cells -> core -> front exchanger -> return cells -> reservoir

Cells are stirred tanks in series. Temperatures are taken above melting ice here, and the row of an iced reservoir is
the temperature its enthalpy would give without ice, below zero: so stored energy is capacity times row everywhere.
"""

from dataclasses import dataclass, fields

import numpy as np

from physics.arrays import Array

MELTING = 273.15
LATENT_HEAT = 333.5e3  # [J/kg] of ice, handbook value
ICE_HEAT = 2.1e3  # [J/(kg K)] of ice, handbook value near 0 degC
_WATER_DENSITY = 999.8  # [kg/m3] of melt water at 0 degC, handbook value
_TALLIES = 2  # rows behind the stores: heat from the charge, heat to the ambient [J]


@dataclass(frozen=True)
class Circuit:
    """Reservoir, lines and metals as columns, (n,) or (1,).

    Line volumes hold half the core's coolant each, the return's the front exchanger's too. `cells` are those of each
    way; with 0 all of it is one stirred tank (volumes and front metal join the reservoir). Ice only with water.
    """

    reservoir_volume: Array  # [m3] of coolant, before any ice has melted
    ice_mass: Array  # [kg]
    ice_temperature: Array  # [K]
    start_temperature: Array  # [K] of all coolant and metal, before the ice goes in
    supply_volume: Array  # [m3]
    return_volume: Array  # [m3]
    core_metal: Array  # [J/K]
    front_metal: Array  # [J/K]
    volumetric_heat: Array  # [J/(m3 K)] of the coolant
    cells: int = 3


@dataclass(frozen=True)
class Rows:
    """Named views of an array (rows, n): reservoir, supply cells, return cells, core metal, two tallies."""

    all: Array
    stores: Array
    circuit: Array  # reservoir and cells
    reservoir: Array
    first: Array
    last: Array
    upstream: Array
    downstream: Array
    inlet: Array  # what enters the core; the reservoir without cells
    entry: Array  # where what leaves the core arrives
    metal: Array
    charge_heat: Array
    ambient_heat: Array


def rows(array: Array, cells: int) -> Rows:
    """The views of an array of `row_count(cells)` rows."""
    last = 2 * cells
    return Rows(
        array, array[: last + 2], array[: last + 1], array[0], array[min(1, last)], array[last], array[1:last],
        array[2 : last + 1], array[cells], array[min(cells + 1, last)], array[last + 1], array[last + 2],
        array[last + 3],
    )


def row_count(cells: int) -> int:
    """Reservoir, cells of both ways, core metal, tallies."""
    return 2 * cells + 2 + _TALLIES


@dataclass(frozen=True)
class Stores:
    """Heat capacities (rows, n) [J/K], 1 for the tallies; temperatures at the start (rows, n) [K above melting]."""

    cells: int
    capacity: Array
    start: Array
    coldest: Array  # (n,) of the reservoir: 0 with ice, no end without [K above melting]
    melt_capacity: Array  # (n,) [J/K] of the reservoir where there is ice, else 0
    volumetric_heat: Array  # (n,)

    def reservoir_temperature(self, apparent: Array) -> Array:
        """From the reservoir's row, with or without ice [K above melting]."""
        return np.maximum(apparent, self.coldest)

    def energy(self, stores: Array) -> Array:
        """Stored energy [J] above all of it at 0 degC without ice, of rows (r, n) or (r, t, n).

        Summed row by row: a reduction's order would depend on the number of cores.
        """
        total = np.zeros(stores.shape[1:])
        for capacity, row in zip(self.capacity, stores, strict=False):
            total = total + capacity * row
        return total

    def ice(self, apparent: Array) -> Array:
        """Ice in the reservoir [kg]."""
        return np.maximum(-apparent, 0.0) * self.melt_capacity / LATENT_HEAT


def stores_of(circuit: Circuit, block: slice) -> Stores:
    """The stores of the designs of a block, at the start.

    Coolant and ice come to equilibrium in the reservoir before the run; lines and metals are still at the start
    temperature then. Ice that is cold enough freezes some of the coolant.
    """
    c, cells = _columns(circuit, block), circuit.cells
    capacity = np.ones((row_count(cells), block.stop - block.start))
    start = np.zeros_like(capacity)
    row, T = rows(capacity, cells), rows(start, cells)
    row.reservoir[:] = c["reservoir_volume"] * c["volumetric_heat"]
    row.metal[:] = c["core_metal"]
    if cells:
        capacity[1 : cells + 1] = c["supply_volume"] * c["volumetric_heat"] / cells
        capacity[cells + 1 : 2 * cells + 1] = c["return_volume"] * c["volumetric_heat"] / cells
    else:
        row.reservoir[:] += (c["supply_volume"] + c["return_volume"]) * c["volumetric_heat"]
    row.entry[:] += c["front_metal"]
    T.stores[:] = c["start_temperature"] - MELTING
    heat = row.reservoir * T.reservoir - c["ice_mass"] * (LATENT_HEAT + ICE_HEAT * (MELTING - c["ice_temperature"]))
    row.reservoir[:] += c["ice_mass"] * c["volumetric_heat"] / _WATER_DENSITY
    T.reservoir[:] = heat / row.reservoir
    iced = c["ice_mass"] > 0
    T.reservoir[:] = np.where(iced, T.reservoir, c["start_temperature"] - MELTING)
    return Stores(
        cells, capacity, start, np.where(iced, 0.0, -np.inf), np.where(iced, row.reservoir, 0.0), c["volumetric_heat"]
    )


def _columns(circuit: Circuit, block: slice) -> dict[str, Array]:
    n = block.stop - block.start
    return {f.name: wide(getattr(circuit, f.name), block, n) for f in fields(circuit) if f.name != "cells"}


def wide(values: Array, block: slice, n: int) -> Array:
    """The rows of a block, from (n, ...) or a shared (1, ...)."""
    part = values if values.shape[0] == 1 else values[block]
    return np.broadcast_to(part, (n, *values.shape[1:]))
