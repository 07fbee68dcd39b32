"""A finished run in a notebook: it shows itself, and its tables come as data frames that know their units.

>>> from optimize.notebook import open_run
>>> run = open_run("results/example")  # doctest: +SKIP
"""

import base64
import html
import io
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from optimize import runs
from optimize.errors import FinfrontError

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class OpenRun:
    """A run that shows its front and its cores with a name wherever a notebook shows the last value of a cell."""

    run: runs.Run

    def __repr__(self) -> str:
        record = self.run.record
        return f"{record['title']}, {runs.run_id(record)}: {record['front']} cores on the front of {record['rated']:,}"

    def to_dataframe(self, table: str = "front") -> "pd.DataFrame":
        """A table of the run; units by column in `attrs["units"]`, labels in `attrs["labels"]`.

        Columns are named as outputs, "air_pressure_drop@full_power". Raises FinfrontError for a table the run has not.
        """
        from optimize.report.columns import column, label

        if table not in self.run.tables:
            do = f"name one of: {', '.join(self.run.tables)}"
            raise FinfrontError(f"the run has no table '{table}'", str(self.run.folder), do)
        found = self.run.tables[table].copy()
        parts = {str(title): column(str(title)) for title in found.columns}
        names = {title: title.removesuffix(f" [{c.unit}]") if c.unit else title for title, c in parts.items()}
        found = found.rename(columns=names)
        found.attrs["units"] = {names[title]: c.unit for title, c in parts.items() if c.unit}
        found.attrs["labels"] = {names[title]: label(title) for title in parts}
        found.attrs["run"] = runs.run_id(self.run.record)
        return found

    def _repr_html_(self) -> str:
        return "\n".join([f"<h3>{html.escape(repr(self))}</h3>", *self._picture(), self._table()])

    def _picture(self) -> list[str]:
        """The front, or the nearest misses, as a picture that needs no file."""
        from optimize.report import draw_main, style

        shown = []
        with style.house_style():
            for name, figure in draw_main(self.run).items():
                style.settle(figure)
                buffer = io.BytesIO()
                figure.savefig(buffer, format="png", metadata={"Software": None})
                picture = base64.b64encode(buffer.getvalue()).decode("ascii")
                shown.append(f'<img alt="{name}" style="max-width: 100%" src="data:image/png;base64,{picture}">')
        return shown

    def _table(self) -> str:
        """The cores with a name, or the nearest misses."""
        if "front" not in self.run.tables:
            return str(self.run.tables["misses"].head(10).to_html(index=False, border=0))
        from optimize.report.columns import columns_of, label
        from optimize.report.markdown import named_cores
        from optimize.report.summary import MAIN_OUTPUTS

        named = named_cores(self.run).set_index("core")
        wanted = ("pick", *self.run.record["variables"], *MAIN_OUTPUTS)
        titles = [c.title for name in wanted for c in columns_of(named, name)]
        shown = named[titles].rename(columns=label).T
        return str(shown.to_html(border=0, float_format=lambda value: f"{value:.4g}", na_rep=""))


def open_run(folder: str | Path) -> OpenRun:
    """A finished run by its folder. Raises FinfrontError when it holds none."""
    return OpenRun(runs.read(Path(folder)))
