"""What the figures of the coolant circuit show: the pump against what each core asks for, and where its head goes."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimize.report.columns import column, columns_of, one_column
from optimize.report.figure_data import Pick, objective_titles, picks_of, sorted_front
from optimize.runs import Run
from physics.arrays import Array

if TYPE_CHECKING:
    import pandas as pd

CORE_PARTS = {
    "coolant_core_loss": "core friction", "coolant_end_loss": "ends and turns", "coolant_tank_loss": "tanks",
    "coolant_port_loss": "ports",
}
LOOP_PARTS = {
    "loop_step_loss": "steps, line to port", "loop_line_loss": "lines", "loop_fitting_loss": "fittings",
    "loop_front_loss": "front exchanger",
}
OPENING = "opening pressure"
_LOW = 0.55  # of a core's own flow, where its circuit's curve is named
_BEYOND = 1.15  # of a core's own flow, where its circuit's curve ends
_LEAST = 0.06  # of flow and pressure, to either side in the near view
_AIR = 0.22  # of the points' extent, beyond them in the near view
_NOTHING = 1e-3  # of the whole; a rest below it is rounding of the tables


@dataclass(frozen=True)
class System:
    """A named core in its circuit: flow and pressure (k, 2) it would take, and where it meets the pump (2,).

    The curve ends a little beyond the pump's, where there is nothing more to read off it.
    """

    name: str
    core: str
    curve: Array
    point: Array


@dataclass(frozen=True)
class PumpPanel:
    """One duty point: the pump's curve (k, 2), the named cores' circuits, operating points (n, 2) of the whole front.

    `titles`: columns of flow and pressure, with their units.
    """

    duty: str
    titles: tuple[str, str]
    pump: Array
    systems: tuple[System, ...]
    points: Array

    @property
    def view(self) -> Array:
        """Lowest and highest flow and pressure to show (2, 2): the pump's curve as far as it lifts, and every core."""
        lifting = self.pump[self.pump[:, 1] >= 0.0]
        high = np.nanmax(np.concatenate([lifting, self.points]), axis=0)
        return np.array([[0.0, 1.04 * high[0]], [0.0, 1.16 * high[1]]])

    @property
    def near(self) -> Array:
        """View about the operating points (2, 2): all of them, and no less than `_LEAST` about their middle.

        The pump's curve is of one coolant temperature, each core's point of its own: nearer, they would not quite meet.
        """
        low, high = np.nanmin(self.points, axis=0), np.nanmax(self.points, axis=0)
        middle = (low + high) / 2
        half = np.maximum((high - low) * (0.5 + _AIR), _LEAST * middle)
        return np.column_stack([middle - half, middle + half])

    @property
    def lowest_part(self) -> Array | None:
        """A point low on the circuit that takes least; None without a named core."""
        if not self.systems:
            return None
        system = max(self.systems, key=lambda system: float(system.point[0]))
        return np.asarray(system.curve[int(np.argmin(np.abs(system.curve[:, 0] - _LOW * system.point[0])))])

    @property
    def free_dot(self) -> Array | None:
        """The operating point furthest from those of named cores; None where every core of the front has a name."""
        named = np.array([system.point for system in self.systems]).reshape(-1, 2)
        if len(self.points) <= len(named):
            return None
        away = np.abs(self.points[:, None, 0] - named[None, :, 0]).min(axis=1, initial=np.inf)
        return np.asarray(self.points[int(np.argmax(np.nan_to_num(away, nan=-1.0)))])


def named_picks(run: Run) -> tuple[Pick, ...]:
    """The named cores in the order of the figure of the front, so that each has the same mark everywhere."""
    return picks_of(run, sorted_front(run), objective_titles(run))


def loop_duties(run: Run) -> list[str]:
    """Duty points that leave their flow to the circuit, in the record's order."""
    there = set(run.tables["flow"]["duty"].astype(str))
    return [str(duty) for duty in run.record["duty"] if duty in there]


def pump_data(run: Run) -> tuple[PumpPanel, ...]:
    """Pump and circuits at each duty point that leaves its flow to them."""
    return tuple(_pump_panel(run, duty) for duty in loop_duties(run))


def _pump_panel(run: Run, duty: str) -> PumpPanel:
    pump, flow, front = run.tables["pump"], run.tables["flow"], run.tables["front"]
    own = [one_column(front, name, duty).title for name in ("coolant_volume_flow", "pump_pressure_rise")]
    titles = [one_column(flow, name).title for name in ("coolant_volume_flow", "pump_pressure_rise")]
    curve = [one_column(pump, name).title for name in ("flow", "pressure")]
    at = front.set_index("core")[own]
    systems = []
    for pick in named_picks(run):
        rows = flow[(flow["core"] == pick.core) & (flow["duty"] == duty)]
        if len(rows):
            system = _pairs(rows, titles)
            point = _pairs(at.loc[[pick.core]], own)[0]
            systems.append(System(pick.name, pick.core, system[system[:, 0] <= _BEYOND * point[0]], point))
    return PumpPanel(
        duty, (titles[0], titles[1]), _pairs(pump[pump["duty"] == duty], curve), tuple(systems), _pairs(front, own)
    )


def _pairs(table: "pd.DataFrame", titles: list[str]) -> Array:
    return np.column_stack([table[title].to_numpy(dtype=np.float64) for title in titles])


@dataclass(frozen=True)
class HeadPanel:
    """One duty point: parts (p,) of the pump's pressure rise of p named cores, by words; `total` (p,) is the rise.

    A part may be negative: a passage's end can give back a little pressure.
    """

    duty: str
    unit: str
    picks: tuple[tuple[str, str], ...]
    parts: dict[str, Array]
    total: Array

    @property
    def core_share(self) -> Array:
        """Share of the rise that the core itself takes (p,)."""
        return np.asarray(sum(self.parts[name] for name in CORE_PARTS.values() if name in self.parts) / self.total)

    @property
    def lefts(self) -> dict[str, Array]:
        """Where each part's bar begins: those above zero one after another, those below zero to the left of it."""
        up, down = np.zeros_like(self.total), np.zeros_like(self.total)
        lefts = {}
        for name, values in self.parts.items():
            lefts[name] = np.where(values >= 0, up, down)
            up, down = up + np.maximum(values, 0.0), down + np.minimum(values, 0.0)
        return lefts


def head_data(run: Run) -> tuple[HeadPanel, ...]:
    """Where the head goes at each duty point; parts that are nothing everywhere are left out."""
    panels = [_head_panel(run, str(duty)) for duty in run.record["duty"] if _has_rise(run, str(duty))]
    used = {
        name for panel in panels for name, values in panel.parts.items() if np.any(np.abs(values) > 0)
    }
    return tuple(
        HeadPanel(p.duty, p.unit, p.picks, {n: v for n, v in p.parts.items() if n in used}, p.total) for p in panels
    )


def _has_rise(run: Run, duty: str) -> bool:
    return any(c.at == duty for c in columns_of(run.tables["front"], "pump_pressure_rise"))


def _head_panel(run: Run, duty: str) -> HeadPanel:
    picks, front = named_picks(run), run.tables["front"]
    rows = front.set_index("core").loc[[pick.core for pick in picks]]
    rise = one_column(front, "pump_pressure_rise", duty)
    total = rows[rise.title].to_numpy(dtype=np.float64)
    parts = {
        words: rows[one_column(rows, name, duty).title].to_numpy(dtype=np.float64)
        for name, words in (CORE_PARTS | LOOP_PARTS).items()
    }
    rest = total - np.sum(list(parts.values()), axis=0)
    parts[OPENING] = np.where(np.abs(rest) > _NOTHING * np.abs(total), rest, 0.0)
    return HeadPanel(duty, column(rise.title).unit, tuple((p.name, p.core) for p in picks), parts, total)
