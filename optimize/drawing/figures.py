"""Numbers as a drawing prints them: millimetres, or inches with millimetres in brackets, with their tolerances."""

from dataclasses import dataclass

INCH = 25.4
Band = tuple[float, float]  # how far below and above the nominal, both >= 0 [mm]


@dataclass(frozen=True)
class Figures:
    """Prints lengths given in millimetres: "SI" in millimetres, "US" in inches."""

    system: str

    @property
    def unit(self) -> str:
        return "in" if self.system == "US" else "mm"

    def plain(self, value: float) -> str:
        """A length in the sheet's unit, without it.

        >>> Figures("SI").plain(286.0), Figures("US").plain(286.0), Figures("US").plain(1.4111)
        ('286', '11.260', '0.0556')
        """
        if self.system != "US":
            return _trimmed(value, 3 if abs(value) < 10 else 2)
        inches = value / INCH
        return f"{inches:.4f}" if 0 < abs(inches - round(inches, 3)) > 0.002 * abs(inches) else f"{inches:.3f}"

    def length(self, value: float, band: Band | None = None, both: bool = True) -> str:
        """A length with its tolerance; in inches with millimetres in brackets unless told otherwise.

        >>> Figures("SI").length(286.0, (0.5, 0.5)), Figures("SI").length(2.0, (0.0, 0.1))
        ('286 ±0.5', '2 +0.1/−0')
        >>> Figures("US").length(309.88, (0.508, 0.508))
        '12.200 ±0.020 [309.88]'
        """
        text = f"{self.plain(value)} {self.tolerance(band)}".rstrip()
        return f"{text} [{_trimmed(value, 2)}]" if self.system == "US" and both else text

    def tolerance(self, band: Band | None) -> str:
        """A tolerance in the sheet's unit, "" for none."""
        if band is None or band == (0.0, 0.0):
            return ""
        below, above = (self._small(side) for side in band)
        return f"±{above}" if below == above else f"+{above}/−{below}"

    def _small(self, value: float) -> str:
        if self.system != "US":
            return _trimmed(value, 3 if value >= 0.01 else 4)
        inches = value / INCH
        return f"{inches:.3f}" if abs(inches - round(inches, 3)) < 0.02 * inches else f"{inches:.5f}".rstrip("0")

    def signed(self, value: float) -> str:
        """Room with its sign and unit.

        >>> Figures("SI").signed(-0.0023e3), Figures("SI").signed(12.25)
        ('−2.3 mm', '+12.25 mm')
        """
        return f"{'−' if value < 0 else '+'}{self.plain(abs(value))} {self.unit}"

    def area(self, value: float) -> str:
        """An area given in mm2, with its unit."""
        if self.system == "US":
            return f"{value / INCH**2:.3f} in²"
        return f"{value:.0f} mm²" if value >= 1000 else f"{value:.4g} mm²"


def _trimmed(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text).replace("-", "−")
