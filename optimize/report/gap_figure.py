"""How far searches were from the exact front over the time they had: a line each, named at its end."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report import style
from optimize.report.end_labels import label_ends
from optimize.report.labels import Note
from physics.arrays import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_FLOORS = (10.0, 1.0, 0.1, 0.01, 0.001)  # [%] the bottom of the figure; what is nearer the front is drawn on it
_COLOURS = (style.FRONT, style.INK, style.SHOP, style.MODEL, style.SOFT)
_MARKED = 9  # marks along a line
_ROOM = 0.25  # of the width, to the right of the ends, for their names


@dataclass(frozen=True)
class GapLine:
    """One searcher: `times` [s] (t,), and its `gaps` to the exact front [%] reached then, (seeds, t)."""

    name: str
    times: Array
    gaps: Array

    @property
    def middle(self) -> Array:
        """Median over the seeds (t,)."""
        return np.asarray(np.median(self.gaps, axis=0))


def write_gap_figure(lines: Sequence[GapLine], headline: str, about: str, folder: Path) -> list[Path]:
    """gap.png and gap.svg in a folder."""
    with style.house_style():
        return style.save(draw_gap(lines, headline, about), folder, "gap")


def draw_gap(lines: Sequence[GapLine], headline: str, about: str) -> "Figure":
    """Time across, gap up, both logarithmic; bold the median of the seeds, thin each of them."""
    figure = style.new_figure(4.2, headline)
    ax = figure.subplots()
    floor = _floor(lines)
    for i, line in enumerate(lines):
        _draw(ax, line, i, floor)
    last = max(float(line.times[-1]) for line in lines)
    first = min(float(line.times[0]) for line in lines)
    right = last * (last / first) ** (_ROOM / (1 - _ROOM))
    ax.set(xscale="log", yscale="log", xlim=(0.9 * first, right), ylim=(0.45 * floor, 130.0))
    ax.set_xticks(ticks := [t for t in _decades(first, last) if t <= 1.01 * last], [f"{t:g}" for t in ticks])
    ax.set_xticks([], minor=True)
    percents = [100.0, *(p for p in _FLOORS if p >= floor)]
    cut = any(np.any(line.gaps < floor) for line in lines)
    ax.set_yticks(percents, [f"≤ {p:g}" if cut and p == floor else f"{p:g}" for p in percents])
    ax.set_yticks([], minor=True)
    ax.set_xlabel("time since the search began [s]")
    ax.set_ylabel("hypervolume missing to the exact front [%]")
    ax.set_title(about, weight="normal", fontsize=8)
    style.settle(figure)
    label_ends(ax, [_note(line, i, floor) for i, line in enumerate(lines)])
    return figure


def _decades(first: float, last: float) -> list[float]:
    return [m * 10.0**e for e in range(-3, 5) for m in (1, 2, 5) if first <= m * 10.0**e <= 1.01 * last]


def _floor(lines: Sequence[GapLine]) -> float:
    """The decade below the smallest gap that is one."""
    gaps = np.concatenate([line.middle for line in lines])
    smallest = float(np.min(gaps[gaps > _FLOORS[-1]], initial=100.0))
    return next((p for p in _FLOORS if p <= smallest), _FLOORS[-1])


def _draw(ax: "Axes", line: GapLine, i: int, floor: float) -> None:
    look: dict[str, Any] = {"color": _COLOURS[i % len(_COLOURS)], "drawstyle": "steps-post", "zorder": 4}
    if len(line.gaps) > 1:
        for seed in line.gaps:
            ax.plot(line.times, np.maximum(seed, floor), linewidth=0.5, alpha=0.55, **look)
    shown = np.maximum(line.middle, floor)
    marks = _evenly(line)
    ax.plot(
        line.times, shown, linewidth=1.6, linestyle=style.DUTY_LINES[i % len(style.DUTY_LINES)],
        marker=style.MARKS[i], markevery=marks, markersize=5, markerfacecolor="white", **look,
    )


def _evenly(line: GapLine) -> list[int]:
    """Positions of marks, about evenly over the logarithm of the time; the end is one."""
    wanted = np.geomspace(line.times[0], line.times[-1], _MARKED)
    return sorted({*np.clip(np.searchsorted(line.times, wanted), 0, len(line.times) - 1).tolist()})


def _note(line: GapLine, i: int, floor: float) -> Note:
    gap = float(line.middle[-1])
    reached = "exact" if gap < 1e-9 else f"{gap:.2g} %"
    return Note(f"{line.name}: {reached}", (float(line.times[-1]), max(gap, floor)), _COLOURS[i % len(_COLOURS)])
