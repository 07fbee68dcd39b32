"""What every fin family provides: geometry, j, f, the box it holds in, and its published band, in one object.

Flag, text and Monte Carlo band all come from that object, so that they cannot drift apart.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from physics.arrays import Array, BoolArray

NAN = np.array([np.nan])
# Re over which interrupted fins leave laminar flow; 900 to 1400 for strip fins by Joshi & Webb 1987 (from memory)
INTERRUPTED = (1000.0, 2000.0)


@dataclass(frozen=True)
class Fin:
    """Fin geometry as columns, (n,) or (1,); lengths [m], angle [deg]; NaN where the family has no use for it.

    `spacing` is the plate spacing b (fin height over all). The last three fields belong to measured surfaces.
    """

    spacing: Array
    pitch: Array = field(default_factory=lambda: NAN)
    thickness: Array = field(default_factory=lambda: NAN)
    strip_length: Array = field(default_factory=lambda: NAN)
    louver_pitch: Array = field(default_factory=lambda: NAN)
    louver_angle: Array = field(default_factory=lambda: NAN)
    louver_length: Array = field(default_factory=lambda: NAN)
    wave_length: Array = field(default_factory=lambda: NAN)
    wave_amplitude: Array = field(default_factory=lambda: NAN)
    hydraulic_diameter: Array = field(default_factory=lambda: NAN)
    area_density: Array = field(default_factory=lambda: NAN)
    fin_area_ratio: Array = field(default_factory=lambda: NAN)

    @property
    def gap(self) -> Array:
        """Clear gap between fins, s = pitch - t [m]."""
        return self.pitch - self.thickness

    @property
    def height(self) -> Array:
        """Clear fin height, h = b - t [m]."""
        return self.spacing - self.thickness


@dataclass(frozen=True)
class Surface:
    """A finned passage per unit of its volume: shares and densities, same shape as the fin's columns."""

    open_share: Array  # free-flow area over (width x spacing)
    area_density: Array  # wetted area over (width x length x spacing) [1/m]
    fin_area_ratio: Array  # fin area over wetted area
    hydraulic_diameter: Array  # [m]
    metal_share: Array  # fin metal volume over passage volume
    edge_ratio: Array  # t/l_s, the bracket of the strip fin's efficiency; 0 for continuous fins
    laws: tuple[Array, ...] = ()  # what j and f take from the fin alone, made once a core; what, the family knows


@dataclass(frozen=True)
class Flow:
    """What j and f may depend on besides the fin: all broadcastable, lengths [m]."""

    Re: Array
    Pr: Array
    length: Array  # uninterrupted by turns
    width: Array  # of one passage, across the flow
    stack_pitch: Array  # one own and one opposite passage with two plates
    obstruction: Array  # opposite passage with its two plates
    log_Re: Array = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "log_Re", np.log(self.Re))


Value = Callable[[Fin, Surface, Flow], Array]


@dataclass(frozen=True)
class Bound:
    """One side of the box a correlation holds in: low <= value <= high."""

    label: str
    low: float
    high: float
    value: Value

    def outside(self, fin: Fin, surface: Surface, flow: Flow) -> BoolArray:
        value = self.value(fin, surface, flow)
        outside: BoolArray = ~((value >= self.low) & (value <= self.high))
        return outside


@dataclass(frozen=True)
class FinFamily:
    """A family of surfaces. `band_j`, `band_f`: published spread as (low, high) fractions, taken as 95 %."""

    name: str
    source: str
    surface: Callable[[Fin], Surface]
    j: Value
    f: Value
    box: tuple[Bound, ...]
    band_j: tuple[float, float]
    band_f: tuple[float, float]
    transition: tuple[float, float] = (2300.0, 1e4)  # Re: laminar property ratios below, turbulent above
    mixed: bool = False  # an open passage: the fluid mixes across
    # Re at which f may turn from falling to rising, or back
    turns: Callable[[Fin, Surface], Sequence[Array | float]] = lambda fin, surface: ()
    note: str = ""

    def outside(self, fin: Fin, surface: Surface, flow: Flow) -> BoolArray:
        """True where any bound of the box is left."""
        result: BoolArray = np.zeros(np.shape(flow.Re), dtype=bool)
        for bound in self.box:
            result = result | bound.outside(fin, surface, flow)
        return result

    def complaints(self, fin: Fin, surface: Surface, flow: Flow) -> list[str]:
        """The bounds a single core leaves, in words."""
        texts = []
        for bound in self.box:
            if np.any(bound.outside(fin, surface, flow)):
                value = float(np.ravel(bound.value(fin, surface, flow))[0])
                texts.append(f"{self.name}: {bound.label} = {value:.4g}, holds for {bound.low:g} to {bound.high:g}")
        return texts


def reynolds(low: float, high: float) -> Bound:
    """The usual bound on the Reynolds number of the hydraulic diameter."""
    return Bound("Re", low, high, lambda fin, surface, flow: flow.Re)
