"""A run folder into pictures and a summary; reads nothing else, and knows nothing of searching."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from optimize import runs
from optimize.errors import FinfrontError

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from optimize.runs import Run

__all__ = ["write_curves", "write_report", "write_scatter", "write_soak"]


def write_report(folder: Path) -> list[Path]:
    """Draw every figure of a finished run into its figures/, write summary.md and report.html; the files written.

    Raises FinfrontError when the folder holds no finished run, a damaged one, or cannot be written to.
    """
    from optimize.report import style
    from optimize.report.page import page
    from optimize.report.summary import summary

    run = runs.read(folder)
    written: list[Path] = []
    try:
        (folder / "figures").mkdir(exist_ok=True)
        with style.house_style():
            for name, figure in draw_all(run).items():
                written += style.save(figure, folder / "figures", name)
        for place, text in ((folder / "summary.md", summary(run)), (folder / "report.html", page(run))):
            place.write_text(text, encoding="utf-8", newline="\n")
            written.append(place)
    except KeyError as missing:
        raise FinfrontError(f"'{folder}' is damaged: {missing} is missing", do="make the run again") from missing
    except OSError as error:
        raise FinfrontError(f"cannot write the report into '{folder}': {error.strerror}") from None
    return written


def write_curves(
    table: "pd.DataFrame", names: Sequence[str], system: str, duty_names: Sequence[str], folder: Path
) -> list[Path]:
    """Draw a table of curves of one or two variables into a folder; the files written.

    `system` says which units the table is in; its titles carry them, so nothing is converted.
    """
    from optimize.report import style
    from optimize.report.columns import words
    from optimize.report.curve_data import family_data
    from optimize.report.curve_figure import PER_FIGURE, draw_curves

    curves = family_data(table, names, duty_names)
    written: list[Path] = []
    with style.house_style():
        for i in range(0, len(curves), PER_FIGURE):
            figure = draw_curves(curves[i : i + PER_FIGURE], f"Trade-off over {' and '.join(map(words, names))}")
            written += style.save(figure, folder, "curves" if i == 0 else f"curves_{i // PER_FIGURE + 1}")
    return written


def write_soak(
    traces: "pd.DataFrame", gains: "pd.DataFrame | None", record: dict[str, Any], folder: Path
) -> list[Path]:
    """Draw the heat soak of some cores into a folder; the files written.

    `traces` and `gains` as soak.csv and soak_gains.csv of a run; of the record "title", "soak" and, where the cores
    have names, "picks".
    """
    from optimize.report import style
    from optimize.report.system_figures import soak_figures
    from optimize.runs import Run

    tables = {"soak": traces} | ({"soak_gains": gains} if gains is not None else {})
    written: list[Path] = []
    with style.house_style():
        for name, figure in soak_figures(Run(folder, {"title": ""} | record, tables)).items():
            written += style.save(figure, folder, name)
    return written


def write_scatter(folder: Path, tables: dict[str, "pd.DataFrame"], record: dict[str, Any]) -> list[Path]:
    """Draw the copies of one core into a folder; the files written.

    `tables`: those of "clouds", "yield", "percentiles", "nested", "sensitivities", "indices" and "budget" there are, as
    in a run; "front", if there, gives the core as drawn. Of the record "objectives", "limits", "scatter" and, for the
    figure of the budget, "budget"; "title" and "picks" where there are.
    """
    from optimize.report import style
    from optimize.report.tolerance_figures import core_figures
    from optimize.runs import Run

    written: list[Path] = []
    with style.house_style():
        for name, figure in core_figures(Run(folder, {"title": "", "picks": {}} | record, tables)).items():
            written += style.save(figure, folder, name)
    return written


def draw_main(run: "Run") -> "dict[str, Figure]":
    """The figure that answers: the front, or without one the nearest misses; to be called in the house style."""
    from optimize.report import headlines
    from optimize.report.core_data import miss_data
    from optimize.report.figure_data import front_data
    from optimize.report.figures import draw_misses
    from optimize.report.front_figure import draw_front_of_two
    from optimize.report.front_figure_3 import draw_front_of_three

    if "front" in run.tables:
        draw_front = draw_front_of_two if len(run.record["objectives"]) == 2 else draw_front_of_three
        return {"front": draw_front(front_data(run), headlines.front(run))}
    return {"misses": draw_misses(miss_data(run), headlines.misses(run))} if len(run.tables["misses"]) else {}


def draw_all(run: "Run") -> "dict[str, Figure]":
    """Every figure a run has data for, by the name of its file; to be called in the house style."""
    from optimize.report import headlines
    from optimize.report.core_data import limit_data, range_data
    from optimize.report.figures import draw_limits, draw_range
    from optimize.report.off_grid_figure import draw_off_grid, off_grid_data
    from optimize.report.system_figures import system_figures
    from optimize.report.tolerance_figures import front_figures

    drawn = draw_main(run)
    if "front" in run.tables:
        drawn |= front_figures(run) | _curves(run) | system_figures(run)
        drawn["range"] = draw_range(range_data(run), headlines.range_of_front(run))
    if "off_grid" in run.tables:
        drawn["off_grid"] = draw_off_grid(off_grid_data(run), headlines.off_grid(run))
    drawn["limits"] = draw_limits(limit_data(run), headlines.limits(run))
    return drawn | _rerun(run)


def _rerun(run: "Run") -> "dict[str, Figure]":
    """Before and after, of a run that was carried over from another."""
    from optimize.report import headlines
    from optimize.report.rerun_data import is_rerun, rerun_data
    from optimize.report.rerun_figures import draw_before_after, draw_worth

    if not is_rerun(run):
        return {}
    data = rerun_data(run)
    drawn = {"before_after": draw_before_after(data, headlines.before_after(run))}
    if data.worths:
        drawn["worth"] = draw_worth(data, headlines.worth(run))
    return drawn


def _curves(run: "Run") -> dict[str, "Figure"]:
    """Curves, a few variables a figure."""
    from optimize.report import headlines
    from optimize.report.curve_data import curve_data
    from optimize.report.curve_figure import PER_FIGURE, draw_curves

    if "curves" not in run.tables:
        return {}
    curves = curve_data(run)
    parts = [curves[i : i + PER_FIGURE] for i in range(0, len(curves), PER_FIGURE)]
    return {
        "curves" if i == 1 else f"curves_{i}": draw_curves(part, headlines.curves(run))
        for i, part in enumerate(parts, start=1)
    }
