"""One core's copies: thin drawings of what `cloud_data` worked out."""

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report import style
from optimize.report.cloud_data import MODEL, Cloud, CloudData, RequirementData, RequirementRow
from optimize.report.columns import label
from optimize.report.copy_data import percent, share_text
from optimize.report.figure_data import MODEL_SHARE
from optimize.report.front_figure import draw_cloud, draw_limits, draw_outline

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Pair = tuple[int, int]

_PAIRS: tuple[Pair, ...] = ((0, 1), (0, 2), (1, 2))
_TITLES = {
    "shop": "as the shop builds it", "run": "as it is run", "shop and run": "as it is built and run",
    MODEL: "what nobody knows yet",
}
_BOXES: dict[str, tuple[str, str]] = {MODEL: (style.MODEL, "--")}
_KIND_LOOKS: dict[str, dict[str, Any]] = {
    "shop": {"marker": "o", "color": style.FRONT},
    "run": {"marker": "^", "color": "white", "markeredgecolor": style.MODEL},
    "shop and run": {"marker": "s", "color": "white", "markeredgecolor": style.SHOP},
}
_ROW = 0.27  # [in] of one kind of scatter


def draw_clouds(data: CloudData, headline: str) -> "Figure":
    """A panel for each kind of scatter, the model's to a scale of its own; three objectives: a row for each pair."""
    pairs = _PAIRS[: 1 if len(data.titles) == 2 else 3]
    columns = min(len(data.clouds), 2)
    lines = -(-len(data.clouds) // columns)
    figure = style.new_figure(0.8 + 3.05 * lines * len(pairs), headline)
    axes = figure.subplots(lines * len(pairs), columns, squeeze=False)
    for p, pair in enumerate(pairs):
        block = list(axes[p * lines : (p + 1) * lines].flat)
        for ax, cloud in zip(block, data.clouds, strict=False):
            _panel(ax, data, cloud, pair)
            if p == 0:
                _title(ax, cloud)
        for ax in block[len(data.clouds) :]:
            ax.set_axis_off()
    figure.supxlabel(_said(data), fontsize=7.5)
    return figure


def _said(data: CloudData) -> str:
    text = "Dots: copies that meet every limit; crosses: copies that break one. Box: P05 .. P95, its cross lines P50."
    if any(cloud.kind == MODEL for cloud in data.clouds):
        text += (
            f"\nOutline: {100 * MODEL_SHARE:.0f} % of what the core as drawn may turn out to do, as correlations are "
            "off within their\nbands (small dots: draws of it); there the shop's copies stand for scale."
        )
    return text + (" Square: the core as drawn." if data.nominal is not None else "")


def _panel(ax: "Axes", data: CloudData, cloud: Cloud, pair: Pair) -> None:
    x, y = pair
    view = data.wide if cloud.kind == MODEL else data.near
    ax.set(xlim=tuple(view[x]), ylim=tuple(view[y]), xlabel=label(data.titles[x]), ylabel=label(data.titles[y]))
    if cloud.kind == MODEL:
        draw_outline(ax, cloud.copies, pair)
        across, up = cloud.copies.values[:, pair].T
        ax.scatter(across, up, 2.5, color=style.MODEL, linewidths=0, alpha=0.6, zorder=3)
    for shown in data.clouds:
        if shown.kind == ("shop" if cloud.kind == MODEL else cloud.kind):
            draw_cloud(ax, shown.copies, pair, 4.0 if shown is cloud else 1.2)
    _percentile_box(ax, cloud, pair)
    if data.nominal is not None:
        ax.plot(
            data.nominal[x], data.nominal[y], marker="s", markersize=6, color="white", markeredgecolor=style.INK,
            markeredgewidth=1.3, zorder=7,
        )
    draw_limits(ax, data.limits, pair)


def _title(ax: "Axes", cloud: Cloud) -> None:
    under = "one unknown truth, the same for all copies"
    if cloud.share is not None:
        under = f"{share_text(cloud.share)} meet every limit"
    ax.set_title(f"{_TITLES.get(cloud.kind, cloud.kind)}\n{under}", fontsize=8)


def _percentile_box(ax: "Axes", cloud: Cloud, pair: Pair) -> None:
    one, other = cloud.spreads[pair[0]], cloud.spreads[pair[1]]
    if one is None or other is None:
        return
    colour, line = _BOXES.get(cloud.kind, (style.INK, "-"))
    look: dict[str, Any] = {"color": colour, "linewidth": 1.1, "linestyle": line, "zorder": 6}
    across, up = (one.low, one.high, one.high, one.low, one.low), (other.low, other.low, other.high, other.high)
    ax.plot(across, (*up, other.low), **look)
    ax.plot([one.middle] * 2, [other.low, other.high], **(look | {"linewidth": 0.7}))
    ax.plot([one.low, one.high], [other.middle] * 2, **(look | {"linewidth": 0.7}))


def draw_requirements(data: RequirementData, headline: str) -> "Figure":
    """A row for each requirement and duty point, a mark with its interval for each kind of scatter."""
    kinds = len(data.kinds)
    step = 0.30 if kinds == 1 else _ROW * 0.72 * kinds + 0.06
    note = _kept_words(data)
    spare = 0.13 * note.count("\n") + (0.25 if kinds > 1 else 0.0)
    figure = style.new_figure(1.15 + step * len(data.rows) + spare, headline)
    grid = figure.add_gridspec(2, 1, height_ratios=(0.25 if kinds > 1 else 1e-3, step * len(data.rows)))
    ax = figure.add_subplot(grid[1])
    for y, row in enumerate(data.rows):
        _requirement_marks(ax, y, row, data)
    lowest = min(share.low for row in data.rows for share in row.shares.values())
    left = max(0.0, lowest - 0.06 * (100 - lowest) - 0.5)
    ax.set_yticks(range(len(data.rows)), [_row_words(row) for row in data.rows])
    for tick, row in zip(ax.get_yticklabels(), data.rows, strict=True):
        tick.set_fontsize(7.0 if row.duty else 8.0)
        tick.set_color(style.SOFT if row.duty else style.INK)
    ax.tick_params(axis="y", length=0)
    ax.set(
        xlim=(left, 100 + 0.01 * (100 - left)), ylim=(len(data.rows) - 0.5, -0.5),
        xlabel=f"copies that meet it [%]; bars: exact {100 * data.confidence:.4g} % interval",
    )
    if kinds > 1:
        key = figure.add_subplot(grid[0])
        key.set_axis_off()
        handles, names = ax.get_legend_handles_labels()
        key.legend(handles[:kinds], names[:kinds], loc="center left", ncols=kinds, frameon=False, borderaxespad=0.0)
    if note:
        figure.supxlabel(note, fontsize=7.5)
    return figure


def _requirement_marks(ax: "Axes", y: int, row: RequirementRow, data: RequirementData) -> None:
    shifts = np.linspace(-0.3, 0.3, len(data.kinds)) if len(data.kinds) > 1 else np.zeros(1)
    for kind, shift in zip(data.kinds, shifts, strict=True):
        if (share := row.shares.get(kind)) is None:
            continue
        look = _KIND_LOOKS[kind]
        edge = look.get("markeredgecolor", look["color"])
        ax.plot([share.low, share.high], [y + shift] * 2, color=edge, linewidth=2.0, solid_capstyle="butt", zorder=3)
        ax.plot(
            share.value, y + shift, linestyle="none", markersize=5.5, zorder=4, clip_on=False, markeredgewidth=1.2,
            label=_TITLES[kind], **look,
        )
        ax.annotate(
            share_text(share), (1.02, y + shift), xycoords=("axes fraction", "data"), va="center", fontsize=7.0,
            color=edge, weight="normal" if row.duty else "bold",
        )


def _row_words(row: RequirementRow) -> str:
    return f"at {row.duty}" if row.duty else textwrap.fill(row.requirement, 34)


def _kept_words(data: RequirementData) -> str:
    if not data.kept:
        return ""
    text = f"Met by every copy ({percent(data.kept_low)} .. 100 %): {'; '.join(data.kept)}."
    return textwrap.fill(text, 118)
