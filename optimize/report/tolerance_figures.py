"""Which figures of copies a run, or a core scattered alone, has data for."""

from typing import TYPE_CHECKING

from optimize.report import tolerance_headlines as headlines
from optimize.report.budget_data import budget_data
from optimize.report.budget_figure import draw_budget
from optimize.report.cloud_data import cloud_data, requirement_data
from optimize.report.cloud_figure import draw_clouds, draw_requirements
from optimize.report.nested_data import nested_data
from optimize.report.nested_figure import draw_nested
from optimize.report.robust_data import robust_data
from optimize.report.robust_figure import draw_robust
from optimize.report.tornado_data import tornado_data
from optimize.report.tornado_figure import draw_tornado
from optimize.report.yield_data import yield_data
from optimize.report.yield_figure import draw_yield
from optimize.runs import Run

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def front_figures(run: Run) -> dict[str, "Figure"]:
    """Figures of the copies of a run's front, by the name of their files."""
    drawn: dict[str, Figure] = {}
    if has_rows(run, "yield"):
        drawn["yield"] = draw_yield(yield_data(run), headlines.shares(run))
    if "robust" in run.tables and has_rows(run, "fallen"):
        robust = robust_data(run)
        drawn["robust"] = draw_robust(robust, headlines.robust(run, robust))
    return drawn | _shared(run)


def core_figures(run: Run) -> dict[str, "Figure"]:
    """Figures of the copies of one core: the tables hold no other."""
    drawn: dict[str, Figure] = {}
    if has_rows(run, "clouds"):
        clouds = cloud_data(run)
        drawn["copies"] = draw_clouds(clouds, headlines.copies(run, clouds))
    if has_rows(run, "yield"):
        requirements = requirement_data(run)
        drawn["requirements"] = draw_requirements(requirements, headlines.requirements(run, requirements))
    return drawn | _shared(run)


def _shared(run: Run) -> dict[str, "Figure"]:
    drawn: dict[str, Figure] = {}
    if has_rows(run, "nested"):
        nested = nested_data(run)
        drawn["nested"] = draw_nested(nested, headlines.nested(run, nested))
    if has_rows(run, "sensitivities"):
        tornado = tornado_data(run)
        drawn["tornado"] = draw_tornado(tornado, headlines.tornado(run, tornado))
    if has_rows(run, "budget") and "budget" in run.record:
        budget = budget_data(run)
        drawn["budget"] = draw_budget(budget, headlines.budget(run, budget))
    return drawn


def has_rows(run: Run, name: str) -> bool:
    """Whether a table is there and not empty."""
    return name in run.tables and len(run.tables[name]) > 0
