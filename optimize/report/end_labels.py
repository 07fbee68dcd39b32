"""Labels at the right ends of lines, moved apart up and down where they would meet."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report.labels import Note, figure_dpi
from optimize.report.style import SOFT
from physics.arrays import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_OFF = 14.0  # [pt] from a line's end to its label
_LINE = 1.35  # of the type size, from one line of text to the next


def moved_apart(wanted: Array, gap: float, low: float, high: float, weights: Array | None = None) -> Array:
    """Places at least `gap` apart, in the order of the wanted ones and near them (least squares), in low .. high.

    A place with a large weight stays where it is.

    >>> moved_apart(np.array([1.0, 1.0, 9.0]), 2.0, 0.0, 10.0).tolist()
    [0.0, 2.0, 9.0]
    """
    from scipy.optimize import isotonic_regression

    order = np.argsort(wanted, kind="stable")
    steps = gap * np.arange(len(wanted))
    level = isotonic_regression(wanted[order] - steps, weights=None if weights is None else weights[order]).x
    places = np.empty_like(wanted, dtype=np.float64)
    places[order] = np.clip(level, low, max(low, high - steps[-1])) + steps
    return places


def label_ends(ax: "Axes", notes: Sequence[Note], size: float = 7.5, taken: Sequence[float] = ()) -> None:
    """Write a note to the right of each line's end, inside the axes; the layout must be settled before.

    The axes need room to the right of the ends. `taken`: heights [px] of texts that already stand there.
    """
    if not notes:
        return
    point = figure_dpi(ax) / 72.0
    ends = ax.transData.transform(np.array([note.at for note in notes]))
    frame = ax.get_window_extent()
    gap = _LINE * size * point
    wanted = np.concatenate([ends[:, 1], taken])
    weights = np.where(np.arange(len(wanted)) < len(ends), 1.0, 1e9)
    heights = moved_apart(wanted, gap, frame.y0 + gap / 2, frame.y1 - gap / 2, weights)
    leader: dict[str, Any] = {"arrowstyle": "-", "color": SOFT, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 3.0}
    leader["relpos"] = (0.0, 0.5)
    for note, end, height in zip(notes, ends, heights, strict=False):
        off = (height - end[1]) / point
        written = ax.annotate(
            note.text, note.at, (_OFF, off), textcoords="offset points", ha="left", va="center", fontsize=size,
            color=note.colour, weight="bold" if note.bold else "normal", arrowprops=leader, zorder=8,
            bbox={"boxstyle": "square,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.85},
        )
        written.set_in_layout(False)
