"""Rows that cannot be what their columns say: swapped columns, dead sensors, wrong units, heat out of balance."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from optimize.errors import FinfrontError
from optimize.fitting.bench_file import BenchFile, Values
from optimize.fitting.posterior import Measured, row_covariance, slopes_at
from optimize.fitting.rigs import Bench
from optimize.fitting.scales import Scales
from optimize.tolerance.laws import INNER_95
from physics.arrays import Array, IntArray

_SPAN = 1.3  # of flows, before a loss is asked to rise with them
_EXPONENTS = (0.8, 3.0)  # of a loss over flow, in any core
_FAR = 5.0  # standard deviations of what bands and bench allow
_FAR_KELVIN = 15.0  # and so many, for temperatures: less may be heat lost on the way
_NEAR = 0.35  # of the logarithm of a ratio of units
_PRESSURES = {"psi": 6894.757, "kPa": 1e3, "mbar": 100.0, "Pa": 1.0, "bar": 1e5, "inHg": 3386.39, "inH2O": 249.089}
_PAIRS = (("air_loss", "air_flow"), ("coolant_loss", "coolant_flow"))


def refuse_nonsense(file: BenchFile) -> None:
    """FinfrontError for columns that contradict one another, before anything is predicted."""
    for loss, flow in _PAIRS:
        if loss in file.values and flow in file.values and len(file) >= 3:
            _refuse_exponent(file, loss, flow)
    if "air_outlet_temperature" in file.values:
        _refuse_order(file)


def _refuse_exponent(file: BenchFile, loss: str, flow: str) -> None:
    x, y = file.values[flow], file.values[loss]
    if np.max(x) < _SPAN * np.min(x):
        return
    if np.ptp(y) == 0:
        raise FinfrontError(f"'{loss}' never changes while '{flow}' does", file.name, "is the sensor connected?")
    exponent = float(np.polyfit(np.log(x), np.log(y), 1)[0])
    if not _EXPONENTS[0] <= exponent <= _EXPONENTS[1]:
        what = f"'{loss}' goes with the {exponent:.2f}th power of '{flow}'; a core's goes with 1 to 2"
        raise FinfrontError(what, file.name, "are the two columns swapped, or is one in another unit?")


def _refuse_order(file: BenchFile) -> None:
    """Air must leave between its own inlet and the coolant's, and the coolant warmer where the air is hotter."""
    air, liquid, out = (file.values[n] for n in ("air_inlet_temperature", "coolant_inlet_temperature",
                                                 "air_outlet_temperature"))
    wrong = (out - liquid) * (air - out) <= 0
    said = "'air_outlet_temperature' does not lie between the two inlet temperatures"
    if not np.any(wrong) and "coolant_outlet_temperature" in file.values:
        wrong = (file.values["coolant_outlet_temperature"] - liquid) * (air - liquid) <= 0
        said = "the coolant does not warm where the air is hotter"
    if np.any(wrong):
        lines = ", ".join(str(line) for line in file.lines[wrong][:8])
        do = "are inlet and outlet swapped? else leave the rows out: --leave-out FILE:LINE"
        raise FinfrontError(said, f"{file.name}, lines {lines}", do)


def refuse_far(parts: Sequence[Bench], scales: Scales, rows: Measured) -> None:
    """FinfrontError where rows lie farther from the published sheet than bands and bench could ever explain."""
    z = np.zeros(len(scales.names))
    m, J = slopes_at(parts, scales, z)
    sd = np.sqrt(np.diag(row_covariance(parts, scales, z)) + np.sum(J * J, axis=1))
    for number, part in enumerate(parts):
        for name in part.file.outputs:
            own = (rows.file == number) & (np.array(rows.output) == name)
            y, near = rows.y[own], m[own]
            off = float(np.median(np.abs(y - near)))
            if np.median(np.abs(y - near) / sd[own]) > _FAR and ("temperature" not in name or off > _FAR_KELVIN):
                raise FinfrontError(_how_far(name, y, near), part.file.name, _guess(part.file, name, y, near))


def _how_far(name: str, y: Array, m: Array) -> str:
    if "temperature" in name:
        return f"'{name}' lies {np.median(y - m):+.0f} K from what this core could do"
    return f"'{name}' is {np.median(y / m):.3g} times what this core could have"


def _guess(file: BenchFile, name: str, y: Array, m: Array) -> str:
    """The unit that would explain it, if one does."""
    usual = "check units, columns and the core (--core)"
    written = file.units.get(name, "")
    if "loss" not in name or written not in _PRESSURES:
        return usual
    wanted = np.log(_PRESSURES[written]) - float(np.log(np.median(y / m)))
    off, meant = min((abs(wanted - np.log(size)), unit) for unit, size in _PRESSURES.items() if unit != written)
    return f"{usual}: it looks like {meant} written as {written}" if off < _NEAR else usual


@dataclass(frozen=True)
class HeatBalance:
    """Heat of both sides of a hot test [W] (N,), and the 95 % half width of their difference.

    bias, bias_half_width : by how much more the air gives than the coolant takes over the whole file, as a share, and
    what it may be by what is stated.
    """

    name: str
    lines: IntArray
    air: Array
    coolant: Array
    half_width: Array
    bias: float
    bias_half_width: float

    @property
    def broken(self) -> Array:
        """(N,) where the two differ by more than the uncertainties allow."""
        return np.asarray(np.abs(self.air - self.coolant) > self.half_width)

    @property
    def is_biased(self) -> bool:
        """Whether heat is missing, or too much, in the file as a whole."""
        return abs(self.bias) > self.bias_half_width


def heat_balance(part: Bench) -> HeatBalance | None:
    """Air against coolant; None where a file has not all four temperatures."""
    file = part.file
    if not {"air_outlet_temperature", "coolant_outlet_temperature"} <= set(file.values):
        return None
    duty = part.duty()
    T_air = (file.values["air_inlet_temperature"] + file.values["air_outlet_temperature"]) / 2
    T_liquid = (file.values["coolant_inlet_temperature"] + file.values["coolant_outlet_temperature"]) / 2
    fall, rise = _fall(file), _rise(file)
    C_air = duty.air_flow * duty.air.specific_heat(T_air, duty.air_inlet_pressure)
    C = duty.coolant_flow * duty.coolant.specific_heat(T_liquid, duty.coolant_inlet_pressure)

    def errors(u: Values) -> Array:
        """What each quantity makes the difference uncertain by (k, N)."""
        return np.stack([
            C_air * u["air_inlet_temperature"], C_air * u["air_outlet_temperature"],
            C_air * fall * u["air_flow"] / file.values["air_flow"], C * u["coolant_inlet_temperature"],
            C * u["coolant_outlet_temperature"], C * rise * u["coolant_flow"] / file.values["coolant_flow"],
        ])

    own, common = errors(file.random), errors(file.common)
    air, liquid = C_air * fall, C * rise
    share = float(np.mean(air - liquid)) / float(np.mean(liquid))
    of_mean = np.sum(np.mean(own**2, axis=1)) / len(file) + np.sum(np.mean(common, axis=1) ** 2)
    half = INNER_95 * float(np.sqrt(of_mean)) / float(np.mean(liquid))
    of_rows = INNER_95 * np.sqrt(np.sum(own**2 + common**2, axis=0))
    return HeatBalance(file.name, file.lines, air, liquid, of_rows, share, half)


def doubted(part: Bench, balance: HeatBalance | None) -> Bench:
    """A hot test whose heat does not balance: either outlet may be wrong by all of it, in every row alike."""
    if balance is None or not balance.is_biased:
        return part
    file, share = part.file, abs(balance.bias)
    changes = {"air_outlet_temperature": _fall(file), "coolant_outlet_temperature": _rise(file)}
    common = file.common | {name: np.hypot(file.common[name], share * by) for name, by in changes.items()}
    return replace(part, file=replace(file, common=common))


def _fall(file: BenchFile) -> Array:
    return file.values["air_inlet_temperature"] - file.values["air_outlet_temperature"]


def _rise(file: BenchFile) -> Array:
    return file.values["coolant_outlet_temperature"] - file.values["coolant_inlet_temperature"]
