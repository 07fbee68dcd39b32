"""The picture of the project: the front, the feasible cores behind it, and the copies round some of its cores."""

from typing import TYPE_CHECKING

import numpy as np

from optimize.report import style
from optimize.report.columns import column, label, quantity
from optimize.report.figure_data import MODEL_SHARE, CopyCloud, FrontData, LimitLine, Pick, outline
from optimize.report.labels import Note, along, place
from physics.arrays import Array, BoolArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_CLOUD_SIZE = 3.0
_TOP = 0.6  # of the height; the name of an upright limit ends below a level one above this


def draw_front_of_two(data: FrontData, headline: str) -> "Figure":
    """A panel for the shop's copies, one for the model's bands."""
    if not data.shop:
        figure = style.new_figure(4.6, headline)
        panel = figure.add_subplot()
        _shop_panel(panel, data)
        style.settle(figure)
        _label_shop(panel, data)
        return figure
    figure = style.new_figure(4.9, headline)
    shop, model = figure.subplots(1, 2, width_ratios=(1.75, 1.0))
    _shop_panel(shop, data)
    _model_panel(model, data)
    style.settle(figure)
    _label_shop(shop, data)
    _label_model(model, data)
    return figure


def draw_cloud(ax: "Axes", cloud: CopyCloud, pair: tuple[int, int], size: float = _CLOUD_SIZE) -> None:
    """Copies that meet everything as dots, the others as crosses."""
    good, bad = cloud.values[cloud.met][:, pair], cloud.values[~cloud.met][:, pair]
    ax.scatter(good[:, 0], good[:, 1], size, color=style.SHOP, linewidths=0, alpha=0.75, zorder=4)
    ax.scatter(bad[:, 0], bad[:, 1], 1.9 * size, color=style.FAILED, marker="x", linewidths=0.6, alpha=0.9, zorder=4.2)


def draw_outline(ax: "Axes", cloud: CopyCloud, pair: tuple[int, int], faint: bool = False) -> None:
    """Where `MODEL_SHARE` of the copies lie."""
    edge = outline(cloud.values[:, pair])
    if len(edge):
        alpha = 0.0 if faint else 0.22
        ax.fill(edge[:, 0], edge[:, 1], facecolor=(*_rgb(style.MODEL_FILL), alpha), edgecolor="none", zorder=1.5)
        ax.plot(edge[:, 0], edge[:, 1], color=style.MODEL, linewidth=0.9, linestyle=(0, (4, 2)), zorder=3)


def _rgb(colour: str) -> tuple[float, float, float]:
    from matplotlib.colors import to_rgb

    return to_rgb(colour)


def set_view(ax: "Axes", data: FrontData, pair: tuple[int, int], view: Array) -> None:
    """Axis titles with units, and the part of the plane to show."""
    ax.set(
        xlabel=label(data.titles[pair[0]]), ylabel=label(data.titles[pair[1]]),
        xlim=tuple(view[pair[0]]), ylim=tuple(view[pair[1]]),
    )


def draw_limits(ax: "Axes", limits: tuple[LimitLine, ...], pair: tuple[int, int]) -> None:
    """Limits on the plotted outputs; one just outside the view widens it."""
    shown = [(limit, limit.axis == pair[1]) for limit in limits if limit.axis in pair]
    for limit, across in shown:
        low, high = ax.get_ylim() if across else ax.get_xlim()
        pad = 0.05 * (high - low)
        wider = (min(low, limit.value - pad), max(high, limit.value + pad))
        (ax.set_ylim if across else ax.set_xlim)(*wider)
    low, high = ax.get_ylim()
    heights = [(limit.value - low) / (high - low) for limit, across in shown if across]
    for limit, across in shown:
        end = 0.985 if across else min([0.985, *(height - 0.03 for height in heights if height > _TOP)])
        style.limit_line(ax, limit.value, limit.text, across, end)


def _shop_panel(ax: "Axes", data: FrontData) -> None:
    pair = (0, 1)
    set_view(ax, data, pair, data.near)
    ax.scatter(
        data.feasible[:, 0], data.feasible[:, 1], 5, color=style.FEASIBLE, linewidths=0, zorder=1, rasterized=True
    )
    _front_line(ax, data, 1.6)
    for cloud in data.shop:
        draw_cloud(ax, cloud, pair)
    draw_picks(ax, data.picks, pair)
    draw_limits(ax, data.limits, pair)
    if data.shop:
        ax.set_title("What the shop controls")


def _model_panel(ax: "Axes", data: FrontData) -> None:
    pair = (0, 1)
    set_view(ax, data, pair, data.wide)
    _front_line(ax, data, 1.0)
    for cloud in data.model:
        draw_outline(ax, cloud, pair)
    named = {pick.core for pick in data.picks}
    for cloud in data.shop:
        if cloud.core in named:
            draw_cloud(ax, cloud, pair, 1.2)
    draw_picks(ax, data.picks, pair, 4.5)
    draw_limits(ax, data.limits, pair)
    ax.set_title("What nobody knows yet")


def _front_line(ax: "Axes", data: FrontData, width: float) -> None:
    ax.plot(*data.front.T, color=style.FRONT, linewidth=width, marker="o", markersize=width + 1.6, zorder=5)


def draw_picks(ax: "Axes", picks: tuple[Pick, ...], pair: tuple[int, int], size: float = 7.0) -> None:
    """Named cores: a mark of its own shape each."""
    for pick, mark in zip(picks, style.MARKS[1:], strict=False):
        ax.plot(
            *pick.values[list(pair)], marker=mark, markersize=size, color="white", markeredgecolor=style.FRONT,
            markeredgewidth=1.4, zorder=7, clip_on=False,
        )


def pick_words(pick: Pick, titles: tuple[str, ...]) -> str:
    """Name, id and objectives of a core.

    >>> pick_words(Pick("knee", "C7", np.array([56.91, 2.852])), ("heat_rejected@a [kW]", "air_pressure_drop@a [kPa]"))
    'knee, C7\\n56.9 kW, 2.85 kPa'
    """
    values = ", ".join(quantity(v, column(t).unit) for v, t in zip(pick.values, titles, strict=True))
    edge = f"\njust within: {', '.join(pick.at_limit)}" if pick.at_limit else ""
    return f"{pick.name}, {pick.core}\n{values}{edge}"


def _obstacles(data: FrontData, pair: tuple[int, int], cloud_weight: float) -> tuple[Array, Array]:
    """Points a label should not cover, and how much each weighs."""
    parts = [
        (along(data.front), 4.0), (data.feasible, 0.15), *((cloud.values, cloud_weight) for cloud in data.shop),
        *((pick.values[None, :], 60.0) for pick in data.picks),
    ]
    points = np.concatenate([values[:, pair] for values, _ in parts])
    return points, np.concatenate([np.full(len(values), weight) for values, weight in parts])


def _label_shop(ax: "Axes", data: FrontData) -> None:
    points, weights = _obstacles(data, (0, 1), 0.8)
    notes = [Note(pick_words(pick, data.titles), _xy(pick.values)) for pick in data.picks]
    place(ax, notes + _shop_notes(data) + _feasible_note(ax, data), points, weights)


def _xy(values: Array) -> tuple[float, float]:
    return float(values[0]), float(values[1])


def _shop_notes(data: FrontData) -> list[Note]:
    """What the dots and the crosses are, said once each, at a copy at the edge of a cloud."""
    named = {pick.core for pick in data.picks}
    plain = [c for c in data.shop if c.core not in named] or list(data.shop)
    notes = []
    if good := [c for c in plain if np.any(c.met)]:
        cloud = good[len(good) // 2]
        text = f"each dot: this core as the shop\nmight build it ({len(cloud.values)} copies)"
        notes.append(Note(text, _xy(_edge_copy(cloud, cloud.met, data)), style.SHOP_TEXT))
    if bad := sorted((c for c in data.shop if not np.all(c.met)), key=lambda c: int(np.sum(~c.met))):
        cloud = bad[-1]
        notes.append(Note("cross: a copy that\nbreaks a limit", _xy(_edge_copy(cloud, ~cloud.met, data)), style.FAILED))
    return notes


def _edge_copy(cloud: CopyCloud, which: BoolArray, data: FrontData) -> Array:
    """The copy that stands out most towards the side where no core lies."""
    sense = np.where(data.maximise, 1.0, -1.0) / np.ptp(data.near, axis=1)
    chosen = cloud.values[which]
    return np.asarray(chosen[np.argmax((chosen * sense).sum(axis=1))])


def _feasible_note(ax: "Axes", data: FrontData) -> list[Note]:
    """What the grey is, amid the grey cores of the worse corner."""
    inside = np.all((data.feasible > data.near[:, 0]) & (data.feasible < data.near[:, 1]), axis=1)
    if not np.any(inside):
        return []
    shown = data.feasible[inside]
    sense = np.where(data.maximise, -1.0, 1.0) / np.ptp(data.near, axis=1)
    worse = shown[np.argsort((shown * sense).sum(axis=1))[len(shown) // 2 :]]
    at = np.median(worse, axis=0)
    text = f"grey: feasible cores ({data.feasible_words})"
    return [Note(text, _xy(at), style.SOFT, leader=False)]


def _label_model(ax: "Axes", data: FrontData) -> None:
    points, weights = _obstacles(data, (0, 1), 0.1)
    notes = [Note(pick.name, _xy(pick.values), style.INK, True) for pick in data.picks]
    outlines = [edge for cloud in data.model if len(edge := outline(cloud.values))]
    if outlines:
        edges = np.concatenate(outlines)
        points = np.concatenate([points, edges])
        weights = np.concatenate([weights, np.full(len(edges), 2.0)])
        edge = outlines[len(outlines) // 2]
        sense = np.where(data.maximise, -1.0, 1.0) / np.ptp(data.wide, axis=1)
        at = edge[np.argmax((edge * sense).sum(axis=1))]
        text = f"{100 * MODEL_SHARE:.0f} % of what the\ncore may turn out\nto do: correlations\nhave their bands"
        notes.append(Note(text, _xy(at), style.MODEL))
    place(ax, notes, points, weights, 7.0)
