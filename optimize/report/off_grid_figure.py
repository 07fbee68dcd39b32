"""The front off the grid in the plane of the objectives, and the front on the grid it began with."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimize.report import style
from optimize.report.columns import label
from optimize.report.figure_data import matrix, objective_titles
from optimize.report.off_grid_section import BEFORE
from optimize.runs import Run
from physics.arrays import Array

if TYPE_CHECKING:
    from matplotlib.figure import Figure


_MANY = 500  # cores whose rings make one band: it lies beneath


@dataclass(frozen=True)
class OffGridData:
    """Both fronts: titles of the objectives, k of them, `grid` (n, k) and `moved` (m, k); words for the first."""

    titles: tuple[str, ...]
    grid: Array
    moved: Array
    before: str


def off_grid_data(run: Run) -> OffGridData:
    """Both fronts of a run that has one off the grid."""
    titles, before = objective_titles(run), BEFORE[run.record["off_grid"]["begun_with"]]
    grid = matrix(run.tables["front"], titles) if "front" in run.tables else np.empty((0, len(titles)))
    return OffGridData(titles, grid, matrix(run.tables["off_grid"], titles), before)


def draw_off_grid(data: OffGridData, headline: str) -> "Figure":
    """A panel for the first objective against each of the others."""
    figure = style.new_figure(4.2, headline)
    panels = figure.subplots(1, len(data.titles) - 1, squeeze=False)[0]
    size, over = (22.0, 4) if len(data.grid) < _MANY else (14.0, 2)
    for other, ax in enumerate(panels, start=1):
        ax.scatter(
            data.moved[:, 0], data.moved[:, other], 2.0, color=style.SHOP, linewidths=0, zorder=3, rasterized=True,
            label=f"off the grid ({len(data.moved):,} cores)",
        )
        ax.scatter(
            data.grid[:, 0], data.grid[:, other], size, facecolors="none", edgecolors=style.FRONT, linewidths=0.9,
            zorder=over, label=f"{data.before} ({len(data.grid):,})",
        )
        ax.set(xlabel=label(data.titles[0]), ylabel=label(data.titles[other]))
    handles, names = panels[0].get_legend_handles_labels()
    figure.legend(handles, names, loc="outside lower center", ncol=2, frameon=False, fontsize=7.5, markerscale=1.5)
    return figure
