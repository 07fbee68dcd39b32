"""Where the texts of a figure stand on its page: what meets what, what is cut off."""

from itertools import combinations
from typing import Any


def boxes_of(figure: Any) -> list[tuple[str, Any]]:
    """Every text that is not a tick's: what it says, and its box."""
    from matplotlib.text import Text

    texts = [figure._suptitle, figure._supxlabel, *(t for legend in figure.legends for t in legend.get_texts())]
    for ax in figure.axes:
        titles = [ax.title, ax._left_title, ax._right_title]
        texts += [*ax.texts, *titles, *((ax.xaxis.label, ax.yaxis.label) if ax.axison else ())]
        if ax.get_legend() is not None:
            texts += ax.get_legend().get_texts()
    shown = [t for t in texts if t is not None and t.get_text() and t.get_visible()]
    return [(t.get_text(), Text.get_window_extent(t)) for t in shown]


def overlaps(figure: Any) -> list[tuple[str, str]]:
    """Pairs of texts that meet by two pixels or more."""
    figure.draw_without_rendering()
    found = []
    for (one, a), (other, b) in combinations(boxes_of(figure), 2):
        shared = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
        if min(shared) >= 2.0:
            found.append((one, other))
    return found


def cut_off(figure: Any) -> list[str]:
    """Texts, ticks among them, that reach over the edge of the page by more than a pixel."""
    figure.draw_without_rendering()
    boxes = boxes_of(figure)
    for ax in figure.axes:
        if ax.axison:
            ticks = [axis.get_tightbbox(figure.canvas.get_renderer()) for axis in (ax.xaxis, ax.yaxis)]
            boxes += [("ticks", box) for box in ticks if box is not None]
    page = figure.bbox
    return [t for t, b in boxes if b.x0 < -1 or b.y0 < -1 or b.x1 > page.x1 + 1 or b.y1 > page.y1 + 1]
