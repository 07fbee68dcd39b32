"""Figures of what stands around the core, each where the run has the tables for it."""

from typing import TYPE_CHECKING

from optimize.report import system_headlines as headlines
from optimize.report.columns import columns_of
from optimize.report.loop_data import head_data, pump_data
from optimize.report.loop_figures import draw_head, draw_pump
from optimize.report.net_gain_data import has_net_gain, net_gain_data
from optimize.report.net_gain_figure import draw_net_gain
from optimize.report.soak_data import gain_data, soak_data
from optimize.report.soak_figures import draw_soak, draw_soak_gains
from optimize.report.water_data import water_data
from optimize.report.water_figure import draw_water
from optimize.runs import Run

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def system_figures(run: Run) -> dict[str, "Figure"]:
    """Circuit, net gain and heat soak of a run with a front, by the name of their files."""
    drawn = _circuit_figures(run)
    if has_net_gain(run):
        gain = net_gain_data(run)
        joined = len(run.record["objectives"]) == 2
        drawn["net_gain"] = draw_net_gain(gain, headlines.net_gain(run, gain), joined)
    return drawn | soak_figures(run)


def _circuit_figures(run: Run) -> dict[str, "Figure"]:
    drawn: dict[str, Figure] = {}
    if {"flow", "pump"} <= set(run.tables):
        panels = pump_data(run)
        drawn["pump"] = draw_pump(panels, headlines.pump(run, panels))
    if columns_of(run.tables["front"], "pump_pressure_rise"):
        heads = head_data(run)
        drawn["head"] = draw_head(heads, headlines.head(run, heads))
    if "flow" in run.tables:
        water = water_data(run)
        drawn["water"] = draw_water(water, headlines.water(run, water))
    return drawn


def soak_figures(run: Run) -> dict[str, "Figure"]:
    """Traces over the schedule, and what more reservoir or ice buys."""
    drawn: dict[str, Figure] = {}
    if "soak" in run.tables:
        data = soak_data(run)
        drawn["soak"] = draw_soak(data, headlines.soak(run, data))
    if "soak_gains" in run.tables and (panels := gain_data(run)):
        drawn["soak_gains"] = draw_soak_gains(panels, headlines.soak_gains(run, panels))
    return drawn
