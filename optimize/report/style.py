"""House style of the figures: A4 width, colours that also differ in grey, marks that differ in shape, no display."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH = 7.1  # [in] text width of an A4 page; type sizes below are therefore as printed
_POSITION_DIGITS = 5

INK = "#1d2229"
SOFT = "#5b636e"
RULE = "#d9dde2"
FEASIBLE = "#c3c8cf"
FRONT = "#12355b"
SHOP = "#3b8fc2"
SHOP_TEXT = "#1f6a96"
FAILED = "#c03a0b"
MODEL = "#a86f00"
MODEL_FILL = "#f3cf7a"
BAR = "#9db4c8"

DUTY_LINES: tuple[Any, ...] = ("-", (0, (5, 2)), (0, (1, 1.6)), (0, (5, 1.5, 1, 1.5)))
DUTY_COLOURS = (FRONT, "#2f86b8", "#a86f00", "#5b636e")
MARKS = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "*", "h", "p")

_STYLE = Path(__file__).with_name("house.mplstyle")


@contextmanager
def house_style() -> Iterator[None]:
    """Everything drawn and saved inside follows the house, whatever the user's own matplotlib settings say."""
    import matplotlib as mpl

    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(mpl.rc_params_from_file(_STYLE, use_default_template=False))
        yield


def new_figure(height: float, headline: str) -> "Figure":
    """An empty figure of A4 width with a headline; Agg canvas, so no display is asked for."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH, height), layout="constrained")
    FigureCanvasAgg(figure)
    title = figure.suptitle(headline, x=0.012, ha="left", weight="bold")
    # Wide letters: smaller type rather than a cut line.
    room = 0.976 * figure.bbox.width / title.get_window_extent().width
    title.set_fontsize(float(title.get_fontsize()) * min(1.0, room))
    return figure


def settle(figure: "Figure") -> None:
    """Lay the figure out and freeze it, so that labels placed by their size on the page stay where they are put."""
    from matplotlib.transforms import Bbox

    figure.draw_without_rendering()
    figure.set_layout_engine("none")
    for ax in figure.axes:
        # The solver's last digits follow addresses in memory; rounded, the same run gives the same bytes.
        ax.set_position(Bbox(ax.get_position(original=True).get_points().round(_POSITION_DIGITS)))


def save(figure: "Figure", folder: Path, name: str) -> list[Path]:
    """PNG and SVG without date or program in them."""
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    if isinstance(figure.get_layout_engine(), ConstrainedLayoutEngine):
        settle(figure)
    png, svg = folder / f"{name}.png", folder / f"{name}.svg"
    figure.savefig(png, metadata={"Software": None})
    figure.savefig(svg, metadata={"Date": None, "Creator": None})
    return [png, svg]


def limit_line(ax: "Axes", value: float, text: str, across: bool = True, end: float = 0.985) -> None:
    """A limit at `value` with its name: a line from left to right, or from bottom to top."""
    look: dict[str, Any] = {"color": FAILED, "linewidth": 1.1, "linestyle": (0, (9, 2, 1.5, 2)), "zorder": 3.5}
    note: dict[str, Any] = {"color": FAILED, "fontsize": 7.0, "textcoords": "offset points", "zorder": 6}
    note["bbox"] = {"boxstyle": "square,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.8}
    if across:
        ax.axhline(value, **look)
        ax.annotate(text, (end, value), (0, 2.5), xycoords=("axes fraction", "data"), ha="right", va="bottom", **note)
    else:
        ax.axvline(value, **look)
        ax.annotate(
            text, (value, end), (-3, 0), xycoords=("data", "axes fraction"), ha="right", va="top", rotation=90, **note
        )
