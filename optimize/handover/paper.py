"""One A4 sheet, drawn on in millimetres from its upper left corner; no text is wider than it may be."""

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from optimize.handover.plain_text import clean
from optimize.report.style import INK, RULE

if TYPE_CHECKING:
    from matplotlib.patches import Patch

WIDTH, HEIGHT = 210.0, 297.0  # [mm]
_INCH = 25.4
_POINT = _INCH / 72
_SMALLEST = 5.5  # [points] type is no smaller; then the text is cut
_CLOSE = 0.995  # of its room a text fills that is made smaller


class Paper:
    """The sheet while it is drawn; make it inside `house_style`."""

    def __init__(self) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        self.figure = Figure(figsize=(WIDTH / _INCH, HEIGHT / _INCH))
        FigureCanvasAgg(self.figure)
        self.axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.axes.set_xlim(0, WIDTH)
        self.axes.set_ylim(HEIGHT, 0)
        self.axes.axis("off")

    def text(
        self, x: float, y: float, text: str, room: float, size: float = 7.0, bold: bool = False, colour: str = INK,
        align: str = "left",
    ) -> None:
        """A line of text with its foot at y: smaller, and then cut, where it is wider than `room`."""
        text, weight = clean(text), "bold" if bold else "normal"
        wide = width_of(text, weight)
        if size * wide > room:
            size = max(_CLOSE * room / wide, _SMALLEST)
        while size * wide > room and len(text) > 1:
            text = text[: min(int(len(text) * room / (size * wide)), len(text) - 1) - 1].rstrip(" …") + "…"
            wide = width_of(text, weight)
        self.axes.text(x, y, text, fontsize=size, weight=weight, color=colour, ha=align, va="baseline")

    def lines(self, x: float, y: float, text: str, room: float, size: float = 6.5, most: int = 4, **look: Any) -> float:
        """A text broken into lines, at most so many; the y of the next line."""
        step, kept = size * _POINT * 1.3, _broken(clean(text, 1000), room / size, most)
        for line in kept:
            self.text(x, y, line, room, size, **look)
            y += step
        return y

    def line(self, points: Sequence[tuple[float, float]], colour: str = RULE, width: float = 0.2, **look: Any) -> None:
        """A line through points; `width` [mm]."""
        x, y = zip(*points, strict=True)
        self.axes.plot(x, y, color=colour, linewidth=width / _POINT, solid_capstyle="butt", **look)

    def box(
        self, x: float, y: float, width: float, height: float, edge: str | None = None, fill: str | None = None,
        line: float = 0.25,
    ) -> None:
        """A rectangle."""
        from matplotlib.patches import Rectangle

        self.patch(Rectangle(
            (x, y), width, height, edgecolor=edge or "none", facecolor=fill or "none", linewidth=line / _POINT
        ))

    def patch(self, patch: "Patch") -> None:
        self.axes.add_patch(patch)

    def save(self, path: Path, title: str) -> Path:
        """As PDF, without a date or a program in it."""
        import warnings

        meta: dict[str, Any] = {"Title": clean(title), "Creator": None, "Producer": None, "CreationDate": None}
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="Glyph .* missing")  # letters that no font here has
            self.figure.savefig(path, format="pdf", metadata=meta)
        return path


@lru_cache(maxsize=8192)
def width_of(text: str, weight: str = "normal") -> float:
    """Width of a text in type of one point [mm]."""
    import warnings

    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")  # letters that no font here has
        font = FontProperties(family="DejaVu Sans", size=1.0, weight=weight)
        width, _, _ = text_to_path.get_text_width_height_descent(text, font, ismath=False)
    return float(width) * _POINT


def _broken(text: str, room: float, most: int) -> list[str]:
    """The lines of a text in type of one point; what is over stays in the last."""
    found, used, space = [""], 0.0, width_of("a a") - 2 * width_of("a")
    for word in text.split():
        wide = width_of(word)
        if found[-1] and used + space + wide > room and len(found) < most:
            found.append(word)
            used = wide
        else:
            used += (space if found[-1] else 0.0) + wide
            found[-1] = f"{found[-1]} {word}".strip()
    return found
