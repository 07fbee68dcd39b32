"""Headlines of the figures of circuit, blower and heat soak."""

import numpy as np

from optimize.report.columns import column, quantity, typeset, words
from optimize.report.headlines import fit
from optimize.report.loop_data import HeadPanel, PumpPanel
from optimize.report.net_gain_data import NetGainData
from optimize.report.net_gain_figure import best_words
from optimize.report.soak_data import GainPanel, SoakData
from optimize.report.water_data import WaterData
from optimize.runs import Run

_A_SECOND = 0.5  # rounds to none


def pump(run: Run, panels: tuple[PumpPanel, ...]) -> str:
    """What the pump gives the knee at the first duty point."""
    panel, knee = panels[0], str(run.record["picks"]["knee"])
    own = next((system.point for system in panel.systems if system.core == knee), None)
    if own is None:
        return fit(run, "where pump and circuit meet")
    flow, rise = (quantity(float(v), column(t).unit) for v, t in zip(own, panel.titles, strict=True))
    return fit(run, f"the knee gets {flow} at {rise}, {words(panel.duty)}")


def head(run: Run, panels: tuple[HeadPanel, ...]) -> str:
    """How much of the head the core itself takes."""
    low = min(float(panel.core_share.min()) for panel in panels)
    high = max(float(panel.core_share.max()) for panel in panels)
    share = f"{100 * low:.0f}" if round(100 * low) == round(100 * high) else f"{100 * low:.0f} to {100 * high:.0f}"
    return fit(run, f"the core takes {share} % of the pump's head, the circuit the rest")


def water(run: Run, data: WaterData) -> str:
    """Whether the knee would do with more water, at the first duty point."""
    curve = data.curves[0]
    unit = column(curve.titles[0]).unit
    if curve.stops is None:
        return fit(run, f"more water still pays at the knee's {quantity(float(curve.point[0]), unit)}")
    said = f"more water stops paying at {quantity(float(curve.stops[0]), unit)}"
    return fit(run, f"{said}; the knee gets {quantity(float(curve.point[0]), unit)}")


def net_gain(run: Run, data: NetGainData) -> str:
    """The greatest gain."""
    if data.gain[data.best] <= 0:
        return fit(run, "no front core gains over the reference core, by estimate")
    return fit(run, f"{best_words(data)} over the reference, by estimate")


def soak(run: Run, data: SoakData) -> str:
    """The hottest charge of the best core against the limit."""
    best = min(data.traces, key=lambda trace: trace.hottest)
    limit = data.limit_text.removeprefix("limit ")
    if best.hottest <= data.limit:
        return fit(run, f"{best.name} stays under {limit}")
    over = f"{best.hottest - data.limit:.1f} {typeset(data.unit)}"
    if len(data.traces) == 1:
        return fit(run, f"the charge passes {limit} by {over}")
    return fit(run, f"every core passes {limit}, {best.name} least: by {over}")


def soak_gains(run: Run, panels: tuple[GainPanel, ...]) -> str:
    """How much longer the first core stays under the limit from the smallest to the largest amount."""
    if all(np.ptp(panel.lines[0].under_limit) < _A_SECOND for panel in panels):
        return fit(run, f"more {' or '.join(panel.what for panel in panels)} wins no second under the limit")
    parts = []
    for panel in panels:
        line, unit = panel.lines[0], typeset(column(panel.title).unit)
        more = f"{line.under_limit[-1] - line.under_limit[0]:+.0f} {column(panel.time_title).unit}"
        parts.append(f"{more} from {line.amount[0]:.4g} to {line.amount[-1]:.4g} {unit} of {panel.what}")
    return fit(run, f"{panels[0].lines[0].name}, under the limit: {', '.join(parts)}")
