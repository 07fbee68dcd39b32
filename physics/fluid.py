"""What the physics asks of a fluid, whatever stands behind it."""

from typing import Protocol

from physics.arrays import Array, Range, stacked


class Fluid(Protocol):
    """What a rating asks of a fluid; its ranges [K], [Pa] are where the properties are vouched for."""

    @property
    def name(self) -> str: ...

    @property
    def temperature_range(self) -> Range: ...

    @property
    def pressure_range(self) -> Range: ...

    @property
    def is_gas(self) -> bool:
        """Whether the density follows the pressure."""

    def density(self, T: Array | float, p: Array | float) -> Array:
        """Density [kg/m3]."""

    def specific_heat(self, T: Array | float, p: Array | float) -> Array:
        """Isobaric specific heat [J/(kg K)]."""

    def viscosity(self, T: Array | float, p: Array | float) -> Array:
        """Dynamic viscosity [Pa s]."""

    def conductivity(self, T: Array | float, p: Array | float) -> Array:
        """Thermal conductivity [W/(m K)]."""

    def transport(self, T: Array, p: Array) -> tuple[Array, Array, Array]:
        """Specific heat, viscosity and conductivity at once."""


def densities(fluid: Fluid, p: Array, *T: Array) -> tuple[Array, ...]:
    """Densities [kg/m3] at several temperatures [K], all at once, of the shape they broadcast to."""
    return tuple(fluid.density(stacked(*T), p))
