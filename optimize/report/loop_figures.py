"""The coolant circuit: the pump against what each core asks for, and where its head goes."""

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report import style
from optimize.report.columns import column, number, quantity, typeset, words
from optimize.report.labels import Note, along, place
from optimize.report.loop_data import CORE_PARTS, OPENING, HeadPanel, PumpPanel
from physics.arrays import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Core parts in blue, the circuit around it in amber; every part has a hatch of its own for those who see no colour.
_LOOKS: dict[str, tuple[str, str]] = {
    "core friction": ("#9db4c8", ""), "ends and turns": ("#c9d7e3", "////"), "tanks": ("#dfe8ef", "...."),
    "ports": ("#b4d3e6", "xxxx"), "steps, line to port": ("#fbe9c4", "\\\\\\\\"), "lines": ("#f3cf7a", ""),
    "fittings": ("#f8dfa5", "||||"), "front exchanger": ("#fdf4e0", "----"), OPENING: ("#e3e5e8", "oo"),
}
_CLEAR = 3.0  # [pt] air round curves and marks
_BAR = 0.62
_ROOM = 3.0  # [pt] on either side of a number in its part of a bar


def draw_pump(panels: tuple[PumpPanel, ...], headline: str) -> "Figure":
    """For each duty point the whole of the pump's curve, and beside it where the cores are."""
    figure = style.new_figure(0.4 + len(panels) * (3.9 if len(panels) == 1 else 3.3), headline)
    axes = figure.subplots(len(panels), 2, squeeze=False)
    for (whole, near), panel in zip(axes, panels, strict=True):
        _pump_panel(whole, panel, near=False)
        _pump_panel(near, panel, near=True)
        whole.set_ylabel(f"pressure rise of the pump [{typeset(column(panel.titles[1]).unit)}]")
        whole.set_title(words(panel.duty))
        near.set_title("the operating points, nearer", weight="normal", fontsize=8)
        _frame(whole, panel.near)
    style.settle(figure)
    for (whole, near), panel in zip(axes, panels, strict=True):
        _label_whole(whole, panel)
        _label_near(near, panel)
    return figure


def _pump_panel(ax: "Axes", panel: PumpPanel, near: bool) -> None:
    view = panel.near if near else panel.view
    ax.plot(*panel.pump.T, color=style.MODEL, linewidth=2.0, zorder=3)
    for i, (system, mark) in enumerate(zip(panel.systems, style.MARKS[1:], strict=False)):
        line = style.DUTY_LINES[i % len(style.DUTY_LINES)]
        ax.plot(*system.curve.T, color=style.FRONT, linewidth=1.0, linestyle=line, zorder=4)
        if near:
            ax.plot(
                *system.point, marker=mark, markersize=7.0, color="white", markeredgecolor=style.FRONT,
                markeredgewidth=1.4, zorder=7,
            )
    ax.plot(*panel.points.T, linestyle="none", marker="o", markersize=2.6, color=style.SHOP, zorder=5)
    unit = typeset(column(panel.titles[0]).unit)
    ax.set(xlim=tuple(view[0]), ylim=tuple(view[1]), xlabel=f"coolant volume flow [{unit}]")
    ax.locator_params(nbins=6)


def _frame(ax: "Axes", view: Array) -> None:
    """Outline of the part shown nearer."""
    (left, right), (low, high) = view
    ax.plot(
        [left, right, right, left, left], [low, low, high, high, low], color=style.SOFT, linewidth=0.9,
        linestyle=(0, (3, 2)), zorder=6,
    )


def _label_whole(ax: "Axes", panel: PumpPanel) -> None:
    """The lines, each once."""
    notes = [Note("pump", _xy(panel.pump[len(panel.pump) // 6]), style.MODEL, True)]
    if (low := panel.lowest_part) is not None:
        notes.append(Note("circuit with\na named core", _xy(low), style.FRONT))
    corner = (float(panel.near[0, 1]), float(panel.near[1, 1]))
    notes.append(Note("shown nearer", corner, style.SOFT))
    _place(ax, panel, notes, near=False)


def _label_near(ax: "Axes", panel: PumpPanel) -> None:
    """The named cores with what they get, from the top down, and what the dots are."""
    units = [column(title).unit for title in panel.titles]
    notes = [
        Note(f"{textwrap.fill(s.name, 22)}, {s.core}\n{_both(s.point, units)}", _xy(s.point))
        for s in sorted(panel.systems, key=lambda system: -float(system.point[1]))
    ]
    if (dot := panel.free_dot) is not None:
        notes.append(Note(f"dots: all {len(panel.points):,} front cores", _xy(dot), style.SHOP_TEXT))
    _place(ax, panel, notes, near=True)


def _both(point: Array, units: list[str]) -> str:
    return ", ".join(quantity(float(value), unit) for value, unit in zip(point, units, strict=True))


def _place(ax: "Axes", panel: PumpPanel, notes: list[Note], near: bool) -> None:
    """Notes off the pump, the operating points and, where it costs no long leader, the circuits in view."""
    view, steps = (panel.near, 24) if near else (panel.view, 8)
    light = 0.7 if near else 3.0
    parts = [
        (along(panel.pump, steps), 3.0), *((along(system.curve, steps), light) for system in panel.systems),
        (panel.points, 6.0), *((system.point[None, :], 60.0) for system in panel.systems),
    ]
    points = np.concatenate([part for part, _ in parts])
    weights = np.concatenate([np.full(len(part), weight) for part, weight in parts])
    inside = np.all((points >= view[:, 0]) & (points <= view[:, 1]), axis=1)
    place(ax, notes, points[inside], weights[inside], clear=_CLEAR)


def _xy(point: Array) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def draw_head(panels: tuple[HeadPanel, ...], headline: str) -> "Figure":
    """A panel for each duty point, a bar for each named core, on one scale of pressure."""
    rows = len(panels[0].picks)
    names = list(panels[0].parts)
    figure = style.new_figure(1.35 + len(panels) * (0.42 + 0.46 * rows), headline)
    axes = list(figure.subplots(len(panels), 1, sharex=True, squeeze=False).flat)
    for ax, panel in zip(axes, panels, strict=True):
        _head_panel(ax, panel)
    axes[-1].set_xlabel(f"pressure rise of the pump [{typeset(panels[0].unit)}]")
    axes[-1].set_xlim(*_head_view(panels))
    handles, _ = axes[0].get_legend_handles_labels()
    figure.legend(
        handles, [_legend_words(name) for name in names], loc="outside lower center", ncols=4, frameon=False,
        handlelength=2.6, handleheight=1.5,
    )
    style.settle(figure)
    for ax, panel in zip(axes, panels, strict=True):
        _write_values(ax, panel)
    return figure


def _legend_words(name: str) -> str:
    return f"core: {name.removeprefix('core ')}" if name in CORE_PARTS.values() else name


def _head_view(panels: tuple[HeadPanel, ...]) -> tuple[float, float]:
    high = max(float(np.nanmax(panel.total)) for panel in panels)
    low = min(float(np.nanmin(np.sum([np.minimum(v, 0.0) for v in p.parts.values()], axis=0))) for p in panels)
    return 1.05 * low, 1.14 * high


def _head_panel(ax: "Axes", panel: HeadPanel) -> None:
    at = np.arange(len(panel.picks))
    for name, left in panel.lefts.items():
        colour, hatch = _LOOKS[name]
        look: dict[str, Any] = {"color": colour, "hatch": hatch, "edgecolor": style.INK, "linewidth": 0.6}
        ax.barh(at, panel.parts[name], _BAR, left, label=name, **look)
    ax.set_yticks(at, [textwrap.fill(f"{name}, {core}", 24) for name, core in panel.picks], fontsize=7.5)
    ax.set(ylim=(len(at) - 0.5, -0.5))
    ax.grid(False, axis="y")
    ax.set_title(words(panel.duty), fontsize=8)


def _write_values(ax: "Axes", panel: HeadPanel) -> None:
    """The whole at the end of each bar, each part inside it where it has room."""
    for y, total in enumerate(panel.total):
        end = float(np.sum([max(float(values[y]), 0.0) for values in panel.parts.values()]))
        ax.annotate(
            quantity(float(total), panel.unit), (end, y), (4, 0), textcoords="offset points", va="center",
            fontsize=7.5, weight="bold",
        )
    scale = ax.transData.transform([[0.0, 0.0], [1.0, 0.0]])
    point = 72.0 / ax.figure.dpi * float(scale[1, 0] - scale[0, 0])
    for name, left in panel.lefts.items():
        for y, value in enumerate(panel.parts[name]):
            text = number(float(value), 2 if abs(value) < 10 else 3)
            if abs(value) * point > 4.8 * len(text) + 2 * _ROOM:
                _inside(ax, text, float(left[y] + value / 2), y, bool(_LOOKS[name][1]))


def _inside(ax: "Axes", text: str, x: float, y: float, hatched: bool) -> None:
    box = {"boxstyle": "square,pad=0.12", "facecolor": "white", "edgecolor": "none", "alpha": 0.9}
    ax.text(x, y, text, ha="center", va="center", fontsize=7.0, bbox=box if hatched else None, zorder=6)
