"""Yield along the front: a thin drawing of what `yield_data` worked out."""

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report import style
from optimize.report.columns import label
from optimize.report.labels import Note, along, figure_dpi, place
from optimize.report.yield_data import LOW_SHARE, YieldCurve, YieldData
from physics.arrays import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LOOKS: tuple[dict[str, Any], ...] = (
    {"color": style.FRONT, "marker": "o", "markersize": 4.5, "linewidth": 1.2, "linestyle": "-"},
    {
        "color": style.SHOP, "marker": "s", "markersize": 4.0, "linewidth": 1.0, "linestyle": (0, (4, 2)),
        "markerfacecolor": "white",
    },
)
_KIND_WORDS = {"shop": "as the shop builds them", "shop and run": "and as the car is run"}
_DENSE = 80  # cores; above it the front is no line to follow, and marks are smaller
_RING = 6.0  # [pt] air round a ringed core
_LARGEST_MISS = 120.0  # [pt^2] area of a mark that stands for all copies
_BESIDE = 7.0  # [pt] from a core's mark to the band of what the model may make of it
_ROW = 0.32  # [in]
_HEADROOM = 0.2  # of the shares shown
_HEAVY = 100.0  # of what no label may cover
_LINE_WEIGHT = 8.0  # of a point of a line under a label


def draw_yield(data: YieldData, headline: str) -> "Figure":
    """Above: how many copies meet everything, and what that may turn out to be. Below: what the others miss."""
    rows = len(data.missed)
    figure = style.new_figure(3.8 + _ROW * rows + (0.5 if rows else 0.0), headline)
    if not rows:
        share = figure.subplots()
        _shares(share, data)
        share.set_xlabel(label(data.title))
    else:
        share, missed = figure.subplots(2, 1, sharex=True, height_ratios=(3.1, _ROW * rows + 0.1))
        _shares(share, data)
        _missed(missed, data)
    style.settle(figure)
    _label_shares(share, data)
    return figure


def _shares(ax: "Axes", data: YieldData) -> None:
    dense = len(data.x) > _DENSE
    ax.axhspan(-10, LOW_SHARE, color="#f6efe9", zorder=0)
    for curve, own in zip(data.curves, _LOOKS, strict=False):
        bars = np.stack([curve.share - curve.low, curve.high - curve.share]).clip(0)
        look = own | ({"markersize": 2.5} if dense else {})
        look |= {"linestyle": "none"} if dense or not data.in_line else {}
        bar: dict[str, Any] = {"elinewidth": 0.35, "capsize": 0.0} if dense else {"elinewidth": 0.8, "capsize": 2.0}
        ax.errorbar(data.x, curve.share, bars, zorder=4, **look, **bar)
    shop = data.curves[0]
    ax.plot(
        data.x[data.low], shop.share[data.low], marker="o", markersize=6 if dense else 10, markerfacecolor="none",
        markeredgecolor=style.FAILED, markeredgewidth=1.0 if dense else 1.4, linestyle="none", zorder=5,
    )
    _model_bands(ax, data)
    lowest = min([*(float(c.low.min()) for c in data.curves), *(band.yields.low for band in data.bands)])
    bottom = min(90.0, max(-4.0, lowest - 12.0))
    # Room for labels over the cores that never fail.
    ax.set(ylim=(bottom, 100 + _HEADROOM * (100 - bottom)))
    ax.set_yticks([tick for tick in ax.get_yticks() if bottom <= tick <= 100])
    ax.margins(x=0.06)
    ax.set_ylabel("copies that meet every limit [%]")
    fewest, most = data.draws
    copies = f"{fewest:,}" if fewest == most else f"{fewest:,} to {most:,}"
    ax.set_title(
        f"{copies} copies of each front core; thin bars: {data.intervals}",
        weight="normal", fontsize=8,
    )


def _model_bands(ax: "Axes", data: YieldData) -> None:
    """Beside each named core: P05 .. P95 and median of the yields its model may make of it."""
    from matplotlib.transforms import ScaledTranslation

    figure = ax.get_figure(root=True)
    assert figure is not None
    beside = ax.transData + ScaledTranslation(_BESIDE / 72, 0, figure.dpi_scale_trans)
    for band in data.bands:
        x, ends = [data.x[band.place]] * 2, [band.yields.low, band.yields.high]
        for width, colour in ((6.5, style.MODEL), (4.9, style.MODEL_FILL)):
            ax.plot(x, ends, color=colour, linewidth=width, solid_capstyle="butt", transform=beside, zorder=3.4)
        ax.plot(x, ends, color=style.MODEL, marker="_", markersize=6.5, linestyle="none", transform=beside, zorder=3.5)
        ax.plot(
            x[:1], [band.yields.middle], marker="D", markersize=4.6, color="white", markeredgecolor=style.MODEL,
            markeredgewidth=1.2, transform=beside, zorder=6,
        )


def _beside(ax: "Axes", x: float) -> float:
    """Where a band stands, in data coordinates; the layout must be settled."""
    across, up = ax.transData.transform((x, 0.0))
    return float(ax.transData.inverted().transform((across + _BESIDE * figure_dpi(ax) / 72, up))[0])


def _label_shares(ax: "Axes", data: YieldData) -> None:
    """The picks, each kind of scatter once, the band of the model and the ring."""
    points, weights = _obstacles(ax, data)
    shop = data.curves[0]
    notes = []
    for i in sorted((i for i, name in enumerate(data.picks) if name), key=lambda i: shop.share[i]):
        at = (float(data.x[i]), float(shop.share[i]))
        notes.append(Note(f"{data.picks[i]}, {data.cores[i]}", at, style.INK, True))
    notes += _kind_notes(data)
    if data.bands:
        band = max(data.bands, key=lambda band: band.yields.high - band.yields.low)
        at = (_beside(ax, float(data.x[band.place])), (band.yields.low + band.yields.middle) / 2)
        text = "what the yield may turn out to be, as\ncorrelations are off in their bands:\nP05 .. P95, diamond P50"
        notes.append(Note(text, at, style.MODEL))
    if np.any(data.low):
        i = int(np.flatnonzero(data.low)[np.argmin(shop.share[data.low])])
        text = f"ringed: below {LOW_SHARE:.0f} %\nfrom the shop alone"
        notes.append(Note(text, (float(data.x[i]), float(shop.share[i])), style.FAILED))
    place(ax, notes, points, weights, clear=_RING)


def _kind_notes(data: YieldData) -> list[Note]:
    """Both kinds where they are furthest apart; nothing to tell apart where there is one."""
    if len(data.curves) < 2:
        return []
    gap = np.abs(data.curves[0].share - data.curves[1].share)
    i = int(np.argmax(gap)) if np.any(gap > 0) else len(data.x) // 2
    colours = (style.FRONT, style.SHOP_TEXT)
    return [
        Note(_KIND_WORDS[curve.kind], (float(data.x[i]), float(curve.share[i])), colour)
        for curve, colour in zip(data.curves, colours, strict=False)
    ]


def _obstacles(ax: "Axes", data: YieldData) -> tuple[Array, Array]:
    """What no label should cover: lines or marks, intervals, bands, and above all the ringed cores."""
    lines = [_line(data, curve) for curve in data.curves]
    marks = [np.column_stack([data.x, curve.share]) for curve in data.curves]
    bands = [
        np.linspace((x := _beside(ax, float(data.x[b.place])), b.yields.low), (x, b.yields.high), 40)
        for b in data.bands
    ]
    heavy = np.concatenate([marks[0][data.low], *(marks if len(data.x) <= _DENSE else []), *bands])
    points = np.concatenate([*lines, heavy])
    return points, np.concatenate([np.full(len(points) - len(heavy), _LINE_WEIGHT), np.full(len(heavy), _HEAVY)])


def _line(data: YieldData, curve: YieldCurve) -> Array:
    points = np.column_stack([data.x, curve.share])
    return along(points, 24) if data.in_line and len(data.x) <= _DENSE else points


def _missed(ax: "Axes", data: YieldData) -> None:
    """A row for each requirement, a mark for each core, its area the share of copies that miss it."""
    for row, shares in enumerate(data.missed.values()):
        for share, own, fill in zip(shares, _LOOKS, (True, False), strict=False):
            area = _LARGEST_MISS * share[share > 0] / 100 * (0.4 if len(data.x) > _DENSE else 1.0)
            look: dict[str, Any] = {"facecolor": style.FRONT, "alpha": 0.8, "linewidths": 0} if fill else {
                "facecolor": "none", "edgecolor": style.SHOP, "linewidths": 1.0,
            }
            ax.scatter(data.x[share > 0], np.full(area.size, float(row)), area, marker=own["marker"], zorder=4, **look)
    names = [textwrap.fill(name, 26) for name in data.missed]
    ax.set_yticks(range(len(names)), names, fontsize=7)
    ax.set(ylim=(len(names) - 0.4, -0.6), xlabel=label(data.title))
    ax.set_title("which limit the others break; area: share of copies", weight="normal", fontsize=8)
