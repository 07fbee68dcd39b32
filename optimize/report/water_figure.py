"""More water: cooling of the knee over its coolant flow, and what each line and port would make of it."""

from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report import style
from optimize.report.columns import column, quantity, typeset, words
from optimize.report.end_labels import label_ends
from optimize.report.labels import Note, along, place
from optimize.report.water_data import ChoiceGrid, FlowCurve, WaterData
from physics.arrays import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_CLEAR = 5.0  # [pt] air round curves and marks
_LETTER = 0.045  # of the lines' width, for each letter of a port's name to the right of the last line
_MOST_LETTERS = 36  # of all lines' names, side by side; more stand upright


def draw_water(data: WaterData, headline: str) -> "Figure":
    """Above: cooling over flow. Below, for each duty point: cooling and flow with every line and port."""
    rows = len(data.grids)
    ports = max((len(grid.ports) for grid in data.grids), default=0)
    height = max(2.3, 0.6 + 0.145 * ports) + max((_upright_letters(grid) for grid in data.grids), default=0) * 0.075
    figure = style.new_figure(3.5 + height * rows, headline)
    grid = figure.add_gridspec(1 + rows, 2, height_ratios=[3.1, *([height] * rows)])
    top = figure.add_subplot(grid[0, :])
    _curves(top, data)
    lower: list[tuple[Axes, ChoiceGrid, Array]] = []
    for i, choice in enumerate(data.grids, start=1):
        for k, values in enumerate((choice.heat, choice.flow)):
            ax = figure.add_subplot(grid[i, k])
            _choices(ax, choice, values, choice.titles[1 - k], ("cooling", "coolant flow")[k])
            lower.append((ax, choice, values))
    style.settle(figure)
    _label_curves(top, data)
    for ax, choice, values in lower:
        _label_ports(ax, choice, values)
    return figure


def _curves(ax: "Axes", data: WaterData) -> None:
    for i, curve in enumerate(data.curves):
        look = _look(i)
        ax.plot(curve.flow, curve.heat, zorder=4, **look)
        ax.plot(*curve.point, marker="D", markersize=6, color="white", markeredgecolor=look["color"],
                markeredgewidth=1.4, zorder=6)
        if curve.stops is not None:
            ax.plot(*curve.stops, marker="|", markersize=17, markeredgewidth=2.0, color=style.FAILED, zorder=5)
    ax.set(xlabel=_axis("coolant volume flow", data.curves[0].titles[0]), xlim=(0, None))
    ax.set_ylabel(_axis("heat rejected", data.curves[0].titles[1]))
    low, high = ax.get_ylim()
    ax.set_ylim(low, high + 0.14 * (high - low))
    ax.margins(x=0.02)
    ax.set_title(f"{data.core} with more or less water than the circuit gives it")


def _look(i: int) -> dict[str, Any]:
    return {"color": style.DUTY_COLOURS[i % 4], "linestyle": style.DUTY_LINES[i % 4]}


def _axis(text: str, title: str) -> str:
    return f"{text} [{typeset(column(title).unit)}]"


def _label_curves(ax: "Axes", data: WaterData) -> None:
    notes = [Note(_curve_words(c), _xy(c.point), _look(i)["color"]) for i, c in enumerate(data.curves)]
    for curve in data.curves:
        if curve.stops is not None:
            text = f"more water stops paying:\n{quantity(float(curve.stops[0]), column(curve.titles[0]).unit)}"
            notes.append(Note(text, _xy(curve.stops), style.FAILED))
    lines = [along(np.column_stack([c.flow, c.heat])) for c in data.curves]
    marks = [at[None, :] for c in data.curves for at in (c.point, c.stops) if at is not None]
    points = np.concatenate([*lines, *marks])
    weights = np.full(len(points), 4.0)
    weights[len(points) - len(marks):] = 60.0
    place(ax, notes, points, weights, clear=_CLEAR)


def _curve_words(curve: FlowCurve) -> str:
    """What one more percent of water does where the circuit settles."""
    flow, heat = (quantity(float(v), column(t).unit) for v, t in zip(curve.point, curve.titles, strict=True))
    return f"{words(curve.duty)}: {flow}, {heat}\n1 % more water: {curve.gain:+.2f} % cooling"


def _xy(point: Array) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def _choices(ax: "Axes", grid: ChoiceGrid, values: Array, title: str, what: str) -> None:
    """A mark for each port over each line, the marks of a port joined to be followed."""
    x = np.arange(len(grid.lines), dtype=np.float64)
    for i, row in enumerate(values):
        colour = style.DUTY_COLOURS[i % len(style.DUTY_COLOURS)]
        ax.plot(
            x, row, color=colour, linewidth=0.6, alpha=0.9, marker=style.MARKS[i % len(style.MARKS)], markersize=4.5,
            markerfacecolor=colour if i < len(style.DUTY_COLOURS) else "white", zorder=4,
        )
    if grid.chosen is not None:
        ax.plot(
            grid.chosen[1], values[grid.chosen], marker="o", markersize=11, markerfacecolor="none",
            markeredgecolor=style.FAILED, markeredgewidth=1.4, zorder=5,
        )
    span = max(len(grid.lines) - 1, 1)
    ax.set_xticks(x, list(grid.lines), rotation=90 if _upright_letters(grid) else 0)
    room = 0.12 + _LETTER * max(map(len, grid.ports))
    ax.set(xlim=(-0.15 * span, x[-1] + room * span))
    ax.margins(y=0.1)
    ax.set_xlabel("line" + ("; ring: the knee's own" if grid.chosen is not None else ""))
    ax.set_ylabel(_axis("heat rejected" if what == "cooling" else what, title))
    ax.set_title(f"{what} by line and port, {words(grid.duty)}", fontsize=8)


def _upright_letters(grid: ChoiceGrid) -> int:
    """Letters of the longest name of a line, where the names have no room side by side; else none."""
    longest = max(map(len, grid.lines))
    return longest if longest * len(grid.lines) > _MOST_LETTERS else 0


def _label_ports(ax: "Axes", grid: ChoiceGrid, values: Array) -> None:
    notes = []
    for i, port in enumerate(grid.ports):
        known = np.flatnonzero(np.isfinite(values[i]))
        if port and len(known):
            colour = style.DUTY_COLOURS[i % len(style.DUTY_COLOURS)]
            own = grid.chosen is not None and i == grid.chosen[0]
            notes.append(Note(port, (float(known[-1]), float(values[i, known[-1]])), colour, own))
    label_ends(ax, notes, 7.0)
