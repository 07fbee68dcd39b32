"""The robust front over the nominal one: what the copies hold of what the drawing promised."""

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report import style
from optimize.report.columns import column, label, quantity
from optimize.report.copy_data import share_text
from optimize.report.front_figure import draw_limits
from optimize.report.labels import Note, along, place
from optimize.report.robust_data import BEATEN, FAILS, UNPROVEN, FallenCore, RobustCore, RobustData
from physics.arrays import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Pair = tuple[int, int]

_PAIRS = ((0, 1), (0, 2), (1, 2))
_LETTERS = "ABCDEFGHIJKLMNOP"
_KEY_WIDTH = 52  # characters of a line of the key
_MOST_NAMED = 4  # fallen cores with a label of their own
_DENSE = 60  # cores; above it links and whiskers would be a thicket
_FALLEN: dict[str, dict[str, Any]] = {
    UNPROVEN: {
        "marker": "P", "color": "white", "markersize": 7.0, "markeredgecolor": style.FAILED, "markeredgewidth": 1.3,
    },
    FAILS: {"marker": "x", "color": style.FAILED, "markersize": 7.0, "markeredgewidth": 1.8},
    BEATEN: {
        "marker": "v", "color": "white", "markersize": 6.5, "markeredgecolor": style.MODEL, "markeredgewidth": 1.4,
    },
}


def draw_robust(data: RobustData, headline: str) -> "Figure":
    """Two objectives: one plane. Three: their pairs, and a key."""
    if len(data.titles) == 2:
        figure = style.new_figure(5.2, headline)
        ax = figure.subplots()
        _panel(ax, data, (0, 1))
        ax.set_title(_said(data), weight="normal", fontsize=8)
        style.settle(figure)
        _label(ax, data)
        return figure
    figure = style.new_figure(7.6, headline)
    panels = list(figure.subplots(2, 2).flat)
    for ax, pair in zip(panels, _PAIRS, strict=False):
        _panel(ax, data, pair)
    _key(panels[3], data)
    style.settle(figure)
    for ax, pair in zip(panels, _PAIRS, strict=False):
        _letters(ax, data, pair)
    return figure


def _said(data: RobustData) -> str:
    """What the marks stand for, in a line."""
    return (
        f"{data.draws:,} copies of each core ({data.kind}); box: P05 .. P95 of the copies; bars: "
        f"{100 * data.confidence:.4g} % interval; {data.share:.4g} % of copies must meet all"
    )


def _panel(ax: "Axes", data: RobustData, pair: Pair) -> None:
    x, y = pair
    ax.set(
        xlabel=label(data.titles[x]), ylabel=label(data.titles[y]), xlim=tuple(data.view[x]), ylim=tuple(data.view[y])
    )
    line = len(data.titles) == 2
    ax.plot(
        data.nominal[:, x], data.nominal[:, y], color=style.SOFT, linewidth=1.0, marker="o", markersize=3.6,
        markerfacecolor="white", linestyle=(0, (4, 2)) if line else "none", zorder=3,
    )
    dense = len(data.cores) > _DENSE
    for core in data.cores:
        if not dense:
            _box(ax, core, pair)
        _whiskers(ax, core, pair, dense)
    if data.cores:
        values = np.stack([core.values for core in data.cores])
        ax.plot(
            values[:, x], values[:, y], color=style.FRONT, linewidth=1.6, marker="s",
            markersize=2.5 if dense else 3.6, linestyle="-" if line else "none", zorder=5,
        )
    for fallen in data.fallen:
        ax.plot(fallen.values[x], fallen.values[y], linestyle="none", zorder=6, **_FALLEN[fallen.verdict])
    for core, mark in zip(named(data), style.MARKS[1:], strict=False):
        ax.plot(
            core.values[x], core.values[y], marker=mark, markersize=7.0, color="white", markeredgecolor=style.FRONT,
            markeredgewidth=1.5, zorder=7,
        )
    draw_limits(ax, data.limits, pair)
    if not line:
        ax.locator_params(axis="x", nbins=6)


def named(data: RobustData) -> tuple[RobustCore, ...]:
    """Robust cores with a name."""
    return tuple(core for core in data.cores if core.pick)


def _box(ax: "Axes", core: RobustCore, pair: Pair) -> None:
    """P05 .. P95 of the copies; a bar where the table tells one of the two only."""
    (x0, x1), (y0, y1) = core.copies[list(pair)]
    look: dict[str, Any] = {"color": style.SHOP, "alpha": 0.22, "zorder": 2}
    if np.all(np.isfinite([x0, x1, y0, y1])):
        ax.fill([x0, x1, x1, x0], [y0, y0, y1, y1], linewidth=0, **look)
        ax.plot([x0, x1, x1, x0, x0], [y0, y0, y1, y1, y0], color=style.SHOP, linewidth=0.6, zorder=2.1)
    elif np.all(np.isfinite([x0, x1])):
        ax.plot([x0, x1], [core.values[pair[1]]] * 2, linewidth=4.0, solid_capstyle="butt", **look)
    elif np.all(np.isfinite([y0, y1])):
        ax.plot([core.values[pair[0]]] * 2, [y0, y1], linewidth=4.0, solid_capstyle="butt", **look)


def _whiskers(ax: "Axes", core: RobustCore, pair: Pair, dense: bool) -> None:
    """Intervals of both values, and the way from the nominal core; an end nobody knows is left out."""
    x, y = core.values[list(pair)]
    low, high = core.low[list(pair)], core.high[list(pair)]
    (left, down), (right, up) = np.where(np.isfinite(low), low, (x, y)), np.where(np.isfinite(high), high, (x, y))
    bars = np.abs([[x - left, y - down], [right - x, up - y]])
    ax.errorbar(
        x, y, xerr=bars[:, :1], yerr=bars[:, 1:], color=style.FRONT, elinewidth=0.5 if dense else 0.9,
        capsize=0 if dense else 2.0, zorder=4.5,
    )
    if not dense:
        ax.plot(
            [core.nominal[pair[0]], x], [core.nominal[pair[1]], y], color=style.SOFT, linewidth=0.6, linestyle=":",
            zorder=2.5,
        )


def _xy(values: Array, pair: Pair = (0, 1)) -> tuple[float, float]:
    return float(values[pair[0]]), float(values[pair[1]])


def core_words(core: RobustCore, data: RobustData) -> str:
    """Name, id, and what the copies hold.

    The statistic stands before the values where it is the same for all, else before each.
    """
    values = [quantity(v, column(t).unit) for v, t in zip(core.values, data.titles, strict=True)]
    parts = [f"{statistic} {value}" for statistic, value in zip(data.statistics, values, strict=True)]
    one = len(set(data.statistics)) == 1
    return f"{core.pick}, {core.core}\n{data.statistics[0] + ' ' + ', '.join(values) if one else ', '.join(parts)}"


def fallen_words(core: FallenCore, width: int = 34) -> str:
    """Who falls off, and why, in lines of `width` characters."""
    name = f"nominal {core.pick}, {core.core}," if core.pick else core.core
    why = textwrap.fill(core.because or core.verdict, width)
    kept = f"\n{share_text(core.share)} {core.counted}" if core.verdict in (FAILS, UNPROVEN) else ""
    return f"{name} falls off:\n{why}{kept}"


def _label(ax: "Axes", data: RobustData) -> None:
    points, weights = _obstacles(data, (0, 1))
    own = [core for core in data.fallen if core.pick] or list(data.fallen)[:1]
    colours = {FAILS: style.FAILED, UNPROVEN: style.FAILED, BEATEN: style.MODEL}
    notes = [Note(fallen_words(c), _xy(c.values), colours[c.verdict]) for c in own[:_MOST_NAMED]]  # longest first
    notes += [Note(core_words(core, data), _xy(core.values), style.FRONT) for core in named(data)]
    told = {core.core for core in own[:_MOST_NAMED]}
    place(ax, [*notes, *_group_notes(data, told), *_line_notes(data)], points, weights, 7.0, clear=4.0)


def _group_notes(data: RobustData, told: set[str]) -> list[Note]:
    """What the other crosses and triangles are, said once each."""
    notes = []
    for verdict, text, colour in (
        (FAILS, "cross: falls off, too many\ncopies break a limit", style.FAILED),
        (UNPROVEN, "open plus: not shown to keep\nits limits by so many copies", style.FAILED),
        (BEATEN, "triangle: falls off, beaten\nby another core's copies", style.MODEL),
    ):
        others = [c for c in data.fallen if c.verdict == verdict and c.core not in told]
        if others:
            core = others[len(others) // 2]
            more = f" ({len(others)} more)" if any(c.verdict == verdict for c in data.fallen if c.core in told) else ""
            notes.append(Note(text + more, _xy(core.values), colour))
    return notes


def _line_notes(data: RobustData) -> list[Note]:
    """Both fronts by name."""
    of = ", ".join(dict.fromkeys(data.statistics))
    notes = [Note("nominal front:\nas drawn", _xy(data.nominal[len(data.nominal) // 4]), style.SOFT)]
    if data.cores:
        middle = data.cores[(2 * len(data.cores)) // 3]
        notes.append(Note(f"robust front:\n{of} of the copies", _xy(middle.values), style.FRONT, True))
    return notes


def _limit_points(data: RobustData, pair: Pair) -> list[tuple[Array, float]]:
    """Points on the lines of the limits, to keep labels off them."""
    parts = []
    for limit in (limit for limit in data.limits if limit.axis in pair):
        points = np.linspace(data.view[:, 0], data.view[:, 1], 120)
        points[:, limit.axis] = limit.value
        parts.append((points, 2.0))
    return parts


def _obstacles(data: RobustData, pair: Pair) -> tuple[Array, Array]:
    line = len(data.titles) == 2
    parts = [(along(data.nominal) if line else data.nominal, 3.0), *_limit_points(data, pair)]
    if data.cores:
        values = np.stack([core.values for core in data.cores])
        marked = np.stack([core.values for core in named(data) or data.cores])
        parts += [(along(values) if line else values, 4.0), (marked, 40.0)]
    if data.fallen:
        parts.append((np.stack([core.values for core in data.fallen]), 40.0))
    points = np.concatenate([values[:, pair] for values, _ in parts])
    return points, np.concatenate([np.full(len(values), weight) for values, weight in parts])


def _letters(ax: "Axes", data: RobustData, pair: Pair) -> None:
    points, weights = _obstacles(data, pair)
    marked = [*((c.values, style.FRONT) for c in named(data)), *((c.values, style.FAILED) for c in keyed_fallen(data))]
    notes = [
        Note(letter, _xy(values, pair), colour, True)
        for letter, (values, colour) in zip(_LETTERS, marked, strict=False)
    ]
    place(ax, notes, points, weights, 9.0)


def keyed_fallen(data: RobustData) -> tuple[FallenCore, ...]:
    """Fallen cores that the key names: those with a name."""
    return tuple(core for core in data.fallen if core.pick)[:_MOST_NAMED]


def _key(ax: "Axes", data: RobustData) -> None:
    """Named cores of both fronts, then what each mark means."""
    ax.set_axis_off()
    ax.set(xlim=(0, 1), ylim=(0, 1))
    marks = zip(named(data), style.MARKS[1:], strict=False)
    picks = [(core_words(core, data), mark, style.FRONT) for core, mark in marks]
    falls = [(fallen_words(core, 200), _FALLEN[core.verdict]["marker"], style.FAILED) for core in keyed_fallen(data)]
    y = 1.0
    for letter, (text, mark, colour) in zip(_LETTERS, [*picks, *falls], strict=False):
        y = _entry(ax, y, mark, colour, "white" if colour == style.FRONT else colour, f"{letter}  {text}")
    y -= 0.02
    for mark, colour, face, text in _legend_rows(data):
        y = _entry(ax, y, mark, colour, face, text)


def _entry(ax: "Axes", y: float, mark: str, colour: str, face: str, text: str) -> float:
    """One entry of the key from height `y` down; where the next may start."""
    lines = [part for line in text.split("\n") for part in textwrap.wrap(line, _KEY_WIDTH)]
    ax.plot(
        0.02, y - 0.02, marker=mark, markersize=5.5, color=face, markeredgecolor=colour, markeredgewidth=1.3,
        clip_on=False,
    )
    ax.text(0.07, y, "\n".join(lines), va="top", fontsize=7.0, linespacing=1.15)
    return y - 0.022 - 0.037 * len(lines)


def _legend_rows(data: RobustData) -> list[tuple[str, str, str, str]]:
    """Mark, edge, face and words of each kind of mark that is there."""
    of = ", ".join(dict.fromkeys(data.statistics))
    verdicts = {core.verdict for core in data.fallen}
    rows = [
        ("s", style.FRONT, style.FRONT, f"robust front, {len(data.cores):,} cores: {of} of {data.draws:,} copies each"),
        ("o", style.SOFT, "white", f"nominal front, {len(data.nominal):,} cores as drawn"),
    ]
    if len(data.cores) <= _DENSE:
        rows.append(("s", style.SHOP, "#d5e7f2", "box: P05 .. P95 of a core's copies"))
    if FAILS in verdicts:
        rows.append(("x", style.FAILED, style.FAILED, "falls off (as drawn): too many copies break a limit"))
    if UNPROVEN in verdicts:
        rows.append(("P", style.FAILED, "white", "falls off (as drawn): not shown to keep its limits"))
    if BEATEN in verdicts:
        rows.append(("v", style.MODEL, "white", "falls off (as drawn): beaten by another core's copies"))
    return rows
