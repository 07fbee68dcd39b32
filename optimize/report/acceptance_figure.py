"""Losses at which a delivered core is accepted, over flow: the shop's zone, and what is left of it inside the guard."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from optimize.report import style
from physics.arrays import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class AcceptedLine:
    """One fluid: mass flow [kg/s] (n,), expected loss (n,), the zone and what is accepted (n, 2), in one unit."""

    fluid: str
    flow: Array
    expected: Array
    zone: Array
    accepted: Array


def write_acceptance_figure(lines: Sequence[AcceptedLine], core: str, unit: str, folder: Path) -> list[Path]:
    """acceptance.png and acceptance.svg in a folder."""
    with style.house_style():
        return style.save(draw_acceptance(lines, core, unit), folder, "acceptance")


def draw_acceptance(lines: Sequence[AcceptedLine], core: str, unit: str) -> "Figure":
    """A panel a fluid."""
    possible = any(np.any(line.accepted[:, 0] <= line.accepted[:, 1]) for line in lines)
    said = "accepted inside the green bars" if possible else "no loss can be accepted: the bench is too coarse"
    figure = style.new_figure(3.6, f"{core}: {said}")
    axes = np.atleast_1d(figure.subplots(1, len(lines)))
    for ax, line in zip(axes, lines, strict=True):
        _draw(ax, line)
        ax.set_xlabel("mass flow [kg/s]")
        ax.set_title(line.fluid, fontsize=8, loc="left")
    axes[0].set_ylabel(f"loss of the core alone [{unit}]")
    figure.legend(*axes[0].get_legend_handles_labels(), loc="outside lower left", ncols=3, frameon=False, fontsize=7.5)
    return figure


def _draw(ax: "Axes", line: AcceptedLine) -> None:
    width = 0.055 * float(np.max(line.flow))
    height = line.zone[:, 1] - line.zone[:, 0]
    label = "zone: shop and correlations, 95 %"
    ax.bar(line.flow, height, width, bottom=line.zone[:, 0], color=style.FEASIBLE, label=label)
    possible = line.accepted[:, 0] <= line.accepted[:, 1]
    left = np.where(possible, line.accepted[:, 1] - line.accepted[:, 0], 0.0)
    ax.bar(line.flow, left, 0.6 * width, bottom=line.accepted[:, 0], color="#3f8f4f", label="accept")
    ax.plot(line.flow, line.expected, "o", color=style.INK, markersize=4, markerfacecolor="white", label="expected")
    for flow, (low, high), good in zip(line.flow, line.accepted, possible, strict=True):
        said = f"{low:.3g} .. {high:.3g}" if good else "bench too coarse"
        ax.annotate(said, (flow, float(line.zone[line.flow == flow, 1][0])), (0, 3), textcoords="offset points",
                    ha="right" if flow == np.max(line.flow) else "center", fontsize=6.5)
    ax.set_xlim(0.4 * float(np.min(line.flow)), 1.12 * float(np.max(line.flow)))
    ax.set_ylim(0, 1.2 * float(np.max(line.zone)))
