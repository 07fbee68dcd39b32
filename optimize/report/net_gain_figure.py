"""What each front core gains over the reference core, and the two parts of that gain."""

from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report import style
from optimize.report.columns import label, quantity, typeset
from optimize.report.labels import Note, along, place
from optimize.report.net_gain_data import NetGainData

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_CLEAR = 5.0  # [pt] air round curves and marks
_DENSE = 80  # cores; above it the front is no line to follow, and marks are smaller
_PARTS: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("gain", "net gain", {"color": style.FRONT, "linestyle": "-", "marker": "o", "linewidth": 1.8}),
    ("engine", "engine power gained, estimated", {
        "color": style.SHOP_TEXT, "linestyle": (0, (5, 2)), "marker": "s", "linewidth": 1.0,
    }),
    ("shaft", "shaft power saved at the blower", {
        "color": style.MODEL, "linestyle": (0, (1, 1.6)), "marker": "^", "linewidth": 1.2,
    }),
)


def draw_net_gain(data: NetGainData, headline: str, joined: bool) -> "Figure":
    """The gain and its parts along the first objective; `joined`: as lines, where the front is one."""
    figure = style.new_figure(4.5, headline)
    ax = figure.subplots()
    _lines(ax, data, joined and len(data.x) <= _DENSE)
    ax.axhline(0, color=style.SOFT, linewidth=0.9, zorder=2, label="as the reference core")
    for i in _named(data):
        ax.axvline(data.x[i], color=style.RULE, linewidth=0.9, linestyle=(0, (4, 2)), zorder=1)
    ax.plot(
        data.x[data.best], data.gain[data.best], marker="*", markersize=14, color="white",
        markeredgecolor=style.FRONT, markeredgewidth=1.4, zorder=7,
    )
    ax.set_xlabel(label(data.title))
    ax.set_ylabel(f"over the reference core [{typeset(data.unit)}]")
    ax.margins(x=0.06, y=0.16)
    # The parts often lie on each other: a key below says more than words with leaders among them.
    ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.13), ncol=2, frameon=False, fontsize=7.5, handlelength=3)
    ax.set_title(f"{data.at}; the engine's part is an estimate", weight="normal", fontsize=8)
    style.settle(figure)
    _label(ax, data)
    return figure


def _lines(ax: "Axes", data: NetGainData, joined: bool) -> None:
    for name, text, look in _PARTS:
        size = (4.5 if name == "gain" else 3.5) if len(data.x) <= _DENSE else 2.2
        own = {} if joined else {"linestyle": "none"}
        ax.plot(
            data.x, getattr(data, name), markersize=size, zorder=5 if name == "gain" else 4, label=text, **(look | own)
        )


def _named(data: NetGainData) -> list[int]:
    """Positions of the named cores and of the best, the best first."""
    return [data.best, *(i for i, name in enumerate(data.picks) if name and i != data.best)]


def _label(ax: "Axes", data: NetGainData) -> None:
    notes = []
    for i in _named(data):
        name = data.picks[i] or "best net gain"
        text = f"{name}, {data.cores[i]}\nnet {data.gain[i]:+.2f} {typeset(data.unit)}"
        notes.append(Note(text, (float(data.x[i]), float(data.gain[i])), style.INK, i == data.best))
    lines = [np.column_stack([data.x, getattr(data, name)]) for name, *_ in _PARTS]
    ground = np.column_stack([np.linspace(data.x.min(), data.x.max(), 60), np.zeros(60)])
    points = np.concatenate([*(along(line) if len(data.x) <= _DENSE else line for line in lines), ground])
    heavy = np.column_stack([data.x, data.gain])[_named(data)]
    points = np.concatenate([points[np.all(np.isfinite(points), axis=1)], heavy])
    weights = np.full(len(points), 8.0)
    weights[len(points) - len(heavy):] = 60.0
    place(ax, notes, points, weights, clear=_CLEAR)


def best_words(data: NetGainData) -> str:
    """The greatest gain in a few words."""
    name = data.picks[data.best] or "best net gain"
    return f"{name}, {data.cores[data.best]}: {quantity(float(data.gain[data.best]), data.unit)}"
