"""What a fit to bench rows says: bands of the multipliers before and after, residuals before and after."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report import style
from physics.arrays import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MOST = 8.0  # standard uncertainties shown to either side; what lies beyond stands at the edge as a triangle


@dataclass(frozen=True)
class BandRow:
    """A multiplier: before (low, high), after (low, middle, high), and what the rows say of it."""

    name: str
    before: tuple[float, float]
    after: tuple[float, float, float]
    verdict: str


@dataclass(frozen=True)
class ResidualRow:
    """Residuals of one output of one file, in standard uncertainties, over the flow as a share of its largest (n,)."""

    name: str
    flow: Array
    published: Array
    fitted: Array


def write_fit_figure(
    bands: Sequence[BandRow], residuals: Sequence[ResidualRow], headline: str, folder: Path
) -> list[Path]:
    """fit.png and fit.svg in a folder."""
    with style.house_style():
        return style.save(draw_fit(bands, residuals, headline), folder, "fit")


def draw_fit(bands: Sequence[BandRow], residuals: Sequence[ResidualRow], headline: str) -> "Figure":
    """Left the bands, right a strip of residuals for each output of each file."""
    figure = style.new_figure(max(3.4, 0.95 * len(residuals) + 0.9), headline)
    halves: Any = figure.subfigures(1, 2, width_ratios=(1.0, 1.15))
    left, right = halves
    _draw_bands(left.subplots(), bands)
    axes = np.atleast_1d(right.subplots(len(residuals), 1, sharex=True, sharey=True))
    for ax, row in zip(axes, residuals, strict=True):
        _draw_residuals(ax, row)
    axes[-1].set_xlabel("flow, share of the largest of the file")
    right.supylabel("predicted less measured, in standard uncertainties (grey: ±2; triangles: beyond)", fontsize=7.5)
    axes[0].legend(loc="lower left", bbox_to_anchor=(0.0, 1.18), ncols=2, frameon=False, borderpad=0)
    return figure


def _draw_bands(ax: "Axes", bands: Sequence[BandRow]) -> None:
    for i, band in enumerate(bands):
        ax.plot(band.before, (i - 0.14, i - 0.14), color=style.MODEL_FILL, linewidth=6, solid_capstyle="butt",
                label="published band" if i == 0 else None)
        low, middle, high = band.after
        ax.plot((low, high), (i + 0.14, i + 0.14), color=style.FRONT, linewidth=3, solid_capstyle="butt",
                label="after the test" if i == 0 else None)
        ax.plot(middle, i + 0.14, "o", color=style.FRONT, markersize=5, markerfacecolor="white")
        ax.annotate(f"{middle:.3f}: {band.verdict}", (min(low, band.before[0]), i + 0.27), va="top", fontsize=6.5,
                    color=style.SOFT, annotation_clip=False,
                    bbox={"boxstyle": "square,pad=0.1", "facecolor": "white", "edgecolor": "none"})
    ax.axvline(1.0, color=style.INK, linewidth=0.8, zorder=0)
    ax.set_yticks(range(len(bands)), [band.name for band in bands])
    ax.set(ylim=(len(bands) - 0.35, -0.6), xlabel="multiplier on the published correlation, 95 %")
    ax.grid(False, axis="y")
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, frameon=False, borderpad=0)


def _draw_residuals(ax: "Axes", row: ResidualRow) -> None:
    ax.axhspan(-2, 2, color=style.RULE, zorder=0, linewidth=0)
    ax.axhline(0.0, color=style.SOFT, linewidth=0.7)
    for values, mark, colour, label in (
        (row.published, "s", style.MODEL, "published"), (row.fitted, "o", style.FRONT, "fitted"),
    ):
        shown = np.clip(values, -_MOST, _MOST)
        inside = np.abs(values) <= _MOST
        look: dict[str, Any] = {"markersize": 4.2, "markerfacecolor": "white", "label": label}
        ax.plot(row.flow[inside], shown[inside], mark, color=colour, **look)
        for sign, edge in ((1.0, "^"), (-1.0, "v")):
            beyond = ~inside & (np.sign(values) == sign)
            ax.plot(row.flow[beyond], shown[beyond], edge, color=colour, markersize=5)
    ax.set_title(row.name, fontsize=7.5, weight="normal", loc="left", pad=2)
    ax.set(ylim=(-1.15 * _MOST, 1.15 * _MOST))
    ax.set_yticks([-5, 0, 5])
