"""A worksheet filled from top to bottom: titles, headings, rows of texts and numbers, notes; one look for all."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, isfinite
from typing import Any

from optimize.handover.digits import excel_format
from optimize.handover.plain_text import clean
from optimize.report.style import FAILED, FRONT, INK, MODEL_FILL, RULE, SOFT

Value = str | float | None
_PALE = "#e6edf4"
_LINE = 14.5  # [points] height of a line of a note
_LETTERS = 1.15  # of a note in the width of a column unit
LONGEST_CELL = 2000
_FONT = {"font_name": "Calibri", "font_size": 10, "font_color": INK, "valign": "vcenter"}
_BODY = {**_FONT, "bottom": 1, "bottom_color": RULE}
_STYLES: dict[str, dict[str, Any]] = {
    "title": {**_FONT, "bold": True, "font_size": 15, "font_color": "#ffffff", "bg_color": FRONT},
    "under": {**_FONT, "font_color": "#ffffff", "bg_color": FRONT},
    "heading": {**_FONT, "bold": True, "font_size": 11, "font_color": FRONT, "bg_color": _PALE},
    "head": {**_FONT, "bold": True, "text_wrap": True, "bottom": 2, "bottom_color": FRONT, "valign": "bottom"},
    "head left": {
        **_FONT, "bold": True, "text_wrap": True, "bottom": 2, "bottom_color": FRONT, "valign": "bottom", "indent": 1,
        "align": "left",
    },
    "head right": {
        **_FONT, "bold": True, "text_wrap": True, "bottom": 2, "bottom_color": FRONT, "valign": "bottom",
        "align": "right",
    },
    "text": {**_BODY, "text_wrap": True},
    "soft": {**_BODY, "text_wrap": True, "font_color": SOFT, "indent": 1},
    "bad": {**_BODY, "text_wrap": True, "font_color": FAILED, "bold": True, "indent": 1},
    "note": {**_FONT, "text_wrap": True, "valign": "top"},
    "loud": {**_FONT, "text_wrap": True, "valign": "top", "font_color": FAILED, "bold": True},
    "number": {**_BODY, "align": "right"},
    "accept": {**_BODY, "align": "right", "bold": True, "bg_color": MODEL_FILL},
    "fill in": {**_FONT, "border": 1, "border_color": FRONT, "align": "right"},
    "failed": {"font_color": "#ffffff", "bg_color": FAILED, "bold": True},
}


class Look:
    """The formats of a workbook, made when asked for."""

    def __init__(self, book: Any) -> None:
        self._book, self._made = book, dict[tuple[str, int | None], Any]()

    def __call__(self, style: str, places: int | None = None) -> Any:
        key = (style, places)
        if key not in self._made:
            number = {} if places is None else {"num_format": excel_format(places)}
            self._made[key] = self._book.add_format(_STYLES[style] | number)
        return self._made[key]


@dataclass(frozen=True)
class Words:
    """What stands on every sheet of a workbook: over it and at its foot."""

    core: str
    title: str
    run: str


class Grid:
    """A worksheet and the row it has come to. `widths` [letters] of its columns."""

    def __init__(
        self, book: Any, look: Look, name: str, widths: Sequence[float], words: Words, upright: bool = False
    ) -> None:
        self.sheet, self.look, self.widths, self.at = book.add_worksheet(name), look, widths, 0
        for i, width in enumerate(widths):
            self.sheet.set_column(i, i, width)
        self._band(f"{name}: {words.core}", "title", 24)
        self._band(f"{words.title}  |  {words.run}", "under", 16)
        self.at += 1
        self._print_setup(words, upright)

    def _band(self, text: str, style: str, height: float) -> None:
        self.sheet.set_row(self.at, height)
        for i in range(len(self.widths)):
            self.sheet.write_blank(self.at, i, None, self.look(style))
        self.sheet.write_string(self.at, 0, clean(text, int(0.9 * sum(self.widths))), self.look(style))
        self.at += 1

    def _print_setup(self, words: Words, upright: bool) -> None:
        self.sheet.set_paper(9)  # A4
        if not upright:
            self.sheet.set_landscape()
        self.sheet.fit_to_pages(1, 0)
        self.sheet.set_margins(left=0.5, right=0.5, top=0.75, bottom=0.75)
        self.sheet.hide_gridlines(2)
        title, run = (clean(text, 40).replace("&", "&&") for text in (words.title, words.run))
        core = clean(words.core, 40).replace("&", "&&")
        self.sheet.set_header(f"&L&9 {title}&R&9 {core}")
        self.sheet.set_footer(f"&L&8 {run}&C&8 calculated figures: check before making&R&8 page &P of &N")

    def freeze(self) -> None:
        """What stands above stays in sight, and is printed on every page."""
        self.sheet.freeze_panes(self.at, 1)
        self.sheet.repeat_rows(self.at - 1)

    def heading(self, text: str) -> None:
        """A section of the sheet."""
        if self.at > 3:
            self.at += 1
        self._band(text, "heading", 18)

    def heads(self, texts: Sequence[str], left: Sequence[int] = ()) -> None:
        """Heads of columns, over numbers but for the first and those at `left`."""
        texts = [*texts, *("" for _ in range(len(self.widths) - len(texts)))]
        for i, text in enumerate(texts):
            self._text(i, text, "head" if i == 0 else "head left" if i in left else "head right")
        self._fit_height(texts)
        self.at += 1

    def row(self, values: Sequence[Value], places: Sequence[int | None] | int = 2, styles: Sequence[str] = ()) -> None:
        """Texts and numbers side by side; `places`: decimals of the numbers, `styles` in place of the usual ones."""
        values = [*values, *(None for _ in range(len(self.widths) - len(values)))]
        for i, value in enumerate(values):
            decimals = places if isinstance(places, int) else places[i] if i < len(places) else None
            self.cell(i, value, decimals, styles[i] if i < len(styles) else "")
        self._fit_height(values)
        self.at += 1

    def _fit_height(self, values: Sequence[Value]) -> None:
        """As many lines as the longest text needs in its column."""
        needed = [
            ceil(len(clean(v, LONGEST_CELL)) / (width * _LETTERS))
            for v, width in zip(values, self.widths, strict=True) if isinstance(v, str)
        ]
        if (lines := max(needed, default=1)) > 1:
            self.sheet.set_row(self.at, _LINE * lines)

    def cell(self, column: int, value: Value, places: int | None = 2, style: str = "") -> None:
        """One cell of the row the sheet has come to; numbers to 12 digits (286, not 285.9999999999999), NaN a dash."""
        if isinstance(value, str):
            self._text(column, value, style or ("text" if column == 0 else "soft"))
        elif value is None:
            self.sheet.write_blank(self.at, column, None, self.look(style or "text"))
        elif isfinite(value):
            self.sheet.write_number(self.at, column, float(f"{value:.12g}"), self.look(style or "number", places))
        else:
            self._text(column, "-", style or "number")

    def _text(self, column: int, text: str, style: str) -> None:
        self.sheet.write_string(self.at, column, clean(text, LONGEST_CELL), self.look(style))

    def note(self, text: str, style: str = "note") -> None:
        """A text across the whole sheet, as many lines high as it needs."""
        text = clean(text, LONGEST_CELL)
        lines = max(1, ceil(len(text) / (sum(self.widths) * _LETTERS)))
        self.sheet.set_row(self.at, _LINE * lines)
        self.sheet.merge_range(self.at, 0, self.at, len(self.widths) - 1, "", self.look(style))
        self.sheet.write_string(self.at, 0, text, self.look(style))
        self.at += 1

    def over(self, first: int, last: int, text: str) -> None:
        """A head over several columns, in the row the sheet has come to."""
        self.sheet.merge_range(self.at, first, self.at, last, "", self.look("head right"))
        self.sheet.write_string(self.at, first, clean(text), self.look("head right"))
