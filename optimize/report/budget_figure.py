"""The tolerance budget: what to ask of a supplier, a thin drawing of what `budget_data` worked out."""

from typing import TYPE_CHECKING, Any

from optimize.report import style
from optimize.report.budget_data import BudgetData, BudgetRow
from optimize.report.copy_data import share_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_ROW = 0.36  # [in]
_TICKS = (0.3, 0.4, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0)
_COLUMNS = (0.0, 0.34, 0.70)
_HEADS = ("must become", "may become,\nall at once", "may become,\nit alone")
_SAME = "–"
_TIGHT: dict[str, Any] = {"color": style.FAILED, "marker": "<"}
_LOOSE: dict[str, Any] = {"color": style.SHOP, "marker": ">"}


def draw_budget(data: BudgetData, headline: str) -> "Figure":
    """A row for each tolerance: from today's half width to what it must or may become, and the same in numbers."""
    rows = len(data.rows)
    figure = style.new_figure(1.95 + _ROW * rows, headline)
    ax, numbers = figure.subplots(1, 2, sharey=True, width_ratios=(1.0, 0.98))
    for y, row in enumerate(data.rows):
        _row(ax, y, row)
    _frame(ax, data)
    _numbers(numbers, data)
    figure.supxlabel(_said(data), fontsize=8, x=0.012, ha="left")
    return figure


def _frame(ax: "Axes", data: BudgetData) -> None:
    from matplotlib.ticker import NullLocator

    lows = [row.tightened for row in data.rows]
    highs = [max(row.alone, row.together) for row in data.rows]
    ax.set_xscale("log")
    ax.set(xlim=(min([0.62, *lows]) / 1.12, max([1.6, *highs]) * 1.12), ylim=(len(data.rows) - 0.45, -0.55))
    low, high = ax.get_xlim()
    ticks = [tick for tick in _TICKS if low <= tick <= high]
    ax.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
    ax.xaxis.set_minor_locator(NullLocator())
    ax.axvline(1.0, color=style.INK, linewidth=1.0, zorder=2)
    ax.set_yticks(range(len(data.rows)), [f"{row.name}\n{row.today}" for row in data.rows], fontsize=7.5)
    ax.tick_params(axis="y", length=0)
    ax.set_xlabel("times today's half width")
    for text, off, side in (("◂ tighter", -20, "right"), ("today", 0, "center"), ("looser ▸", 20, "left")):
        ax.annotate(text, (1.0, 1.0), (off, 6), xycoords=("data", "axes fraction"), textcoords="offset points",
                    ha=side, va="bottom", fontsize=8)
    ax.annotate("half width\ntoday", (0.0, 1.0), (-4, 6), xycoords="axes fraction", textcoords="offset points",
                ha="right", va="bottom", fontsize=8)


def _row(ax: "Axes", y: int, row: BudgetRow) -> None:
    """Arrows from today to tighter and to looser; a ring where it alone may go further than with all others."""
    for factor, look in ((row.tightened, _TIGHT), (row.together, _LOOSE)):
        if abs(factor - 1) > 1e-9:
            ax.plot([1.0, factor], [y, y], color=look["color"], linewidth=2.4, solid_capstyle="butt", zorder=3)
            ax.plot(factor, y, markersize=7, linestyle="none", zorder=5, **look)
    if row.alone > 1 + 1e-9:
        ax.plot([1.0, row.alone], [y, y], color=style.SHOP, linewidth=0.8, linestyle=(0, (3, 2)), zorder=2.5)
        ax.plot(
            row.alone, y, marker="o", markersize=8.5, linestyle="none", zorder=4, color="white",
            markeredgecolor=style.SHOP, markeredgewidth=1.2,
        )
    if not row.tighter and not row.looser:
        ax.plot(1.0, y, marker="|", markersize=8, color=style.INK, zorder=4)


def _numbers(ax: "Axes", data: BudgetData) -> None:
    """The table beside the arrows."""
    ax.set_axis_off()
    ax.set(xlim=(0, 1))
    for x, head in zip(_COLUMNS, _HEADS, strict=True):
        ax.annotate(
            head, (x, 1.0), (0, 6), xycoords="axes fraction", textcoords="offset points", va="bottom", fontsize=8
        )
    for y, row in enumerate(data.rows):
        cells = (
            (row.tightened_text if row.tighter else _SAME, style.FAILED if row.tighter else style.SOFT, row.tighter),
            (_looser(row.together, row.together_text), _colour(row.together), row.together > 1 + 1e-9),
            (_looser(row.alone, row.alone_text), _colour(row.alone), False),
        )
        for x, (text, colour, bold) in zip(_COLUMNS, cells, strict=True):
            weight = "bold" if bold else "normal"
            ax.text(x, y, text, color=colour, fontsize=7.5, weight=weight, va="center")


def _looser(factor: float, text: str) -> str:
    return text if factor > 1 + 1e-9 else _SAME


def _colour(factor: float) -> str:
    return style.SHOP_TEXT if factor > 1 + 1e-9 else style.SOFT


def _said(data: BudgetData) -> str:
    """The three shares, each with its interval."""
    tightened = f"with every tolerance that must become tighter (red): {share_text(data.after)}"
    if not data.reachable:
        tightened = f"NOT REACHED: at the tightest tolerances tried {share_text(data.after)}"
    elif not any(row.tighter for row in data.rows):
        tightened = "nothing has to become tighter"
    return "\n".join([
        f"Copies that meet every limit ({100 * data.confidence:.4g} % interval, below for all tries at once); "
        f"wanted: {data.wanted:.4g} %. Dash: as today.",
        f"today: {share_text(data.before)}",
        tightened,
        f"as today, but everything looser that may be, all at once (blue): {share_text(data.together)}",
    ])
