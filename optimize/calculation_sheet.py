"""The calculation sheet of one core: every intermediate with its unit, as text or as JSON in SI."""

import re
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np

from optimize import units
from optimize.evaluate import CoreProblem
from optimize.feasibility import over_duty_points
from optimize.space import KINDS, Parameters
from physics.arrays import Array
from physics.core import geometry
from physics.fins import Flow
from physics.flags import FLAG_TEXTS, Flag
from physics.outputs import OUTPUTS, Output
from physics.rating import Rating

_LABEL, _CELL = 52, 14


@dataclass(frozen=True)
class Group:
    """Rows under one title: label, values in display units (NaN: not computable), unit; `heads` over the values."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, tuple[float, ...], str], ...]


class Sheet:
    """One core, rated at every duty point of a study."""

    def __init__(self, problem: CoreProblem, core: Parameters) -> None:
        self.problem, self.core = problem, core
        self.batch = problem.space.batch(core, np.zeros(1, dtype=np.int64))
        self.rating: Rating = problem.rate(self.batch, soak=True)
        self.margins = problem.judge(self.batch, self.rating).margins[0]

    def requirements(self) -> list[tuple[str, float]]:
        """Each requirement with its margin as a share of its bound; negative is missed."""
        return list(zip(self.problem.margin_names, self.margins.tolist(), strict=True))

    def cautions(self) -> list[str]:
        """Flags in words, duty point by duty point, and which bound of which correlation is left."""
        found = []
        for i, duty in enumerate(self.rating.duty_names):
            bits = int(self.rating.flags[0, i])
            found += [f"{duty}: {text}" for flag, text in FLAG_TEXTS.items() if bits & flag]
            if bits & (Flag.AIR_FIN_RANGE | Flag.COOLANT_FIN_RANGE):
                found += [f"{duty}: {text}" for text in self._complaints(i)]
        return found

    def _complaints(self, i: int) -> list[str]:
        with np.errstate(all="ignore"):
            g = geometry(self.batch.designs)
        texts = []
        for side, name in ((g.air, "air"), (g.coolant, "coolant")):
            at = [np.atleast_2d(self.rating[f"{name}_{number}"][0, i]) for number in ("Re", "Pr")]
            flow = Flow(at[0], at[1], side.flow_length, side.width, side.stack_pitch, side.obstruction)
            texts += side.family.complaints(side.fin, side.surface, flow)
        return texts

    def text(self) -> str:
        """The sheet in the units of the study."""
        study = self.problem.study
        lines = [study.title, "", "Core"]
        lines += [_row(name, [value_text(value)], unit) for name, value, unit in self.core_rows()]
        for group in self.groups():
            lines += ["", _row(group.title, list(group.heads), "")]
            lines += [_row(label, [f"{v:.5g}" for v in values], unit) for label, values, unit in group.rows]
        lines += ["", "Requirements (margin as a share of the bound; negative: missed)"]
        verdicts = [(name, f"{100 * m:+.2f}", "%" if m >= 0 else "%   MISSED") for name, m in self.requirements()]
        lines += [_row(name, [margin], verdict) for name, margin, verdict in verdicts]
        lines += ["", "Correlations"] + [f"  {line}" for line in self.sources()]
        cautions = self.cautions() or ["none: inside the range of every correlation"]
        lines += ["", "Cautions"] + [f"  {line}" for line in cautions]
        return "\n".join(lines)

    def sources(self) -> list[str]:
        """Where j and f of both sides come from, and how far they are trusted."""
        lines = []
        for side, family in (("air", self.batch.air_family), ("coolant", self.batch.coolant_family)):
            j, f = (_band(band) for band in (family.band_j, family.band_f))
            lines.append(f"{side}: {family.name} fins, {family.source}; band j {j}, f {f}")
            lines += [f"  {family.note}"] if family.note else []
        return lines

    def core_rows(self) -> list[tuple[str, float | str, str]]:
        """Each design variable, what the study varies first: its name, its value in the study's units, its unit."""
        system, rows = self.problem.study.units, list[tuple[str, float | str, str]]()
        for name in [*self.problem.space.names, *(n for n in self.core if n not in self.problem.space.names)]:
            if name in self.problem.space.words:
                rows.append((name, str(self.problem.space.labels(name, self.core[name])[0]), ""))
            else:
                value = float(units.to_display(self.core[name][0], KINDS[name], system))
                rows.append((name, value, units.unit_symbol(KINDS[name], system)))
        return rows

    def groups(self) -> list[Group]:
        """The outputs in the units of the study; worst and mean of several duty points behind the duty results."""
        found = []
        for title, outputs in groupby(self._outputs(), key=lambda output: output.group):
            rows = list(outputs)
            heads = self.rating.duty_names if rows[0].per == "duty" else ()
            found.append(Group(title, tuple(heads), tuple(self._output_row(output) for output in rows)))
            found += self._overall() if title == "Duty results" else []
        return found

    def _overall(self) -> list[Group]:
        """Worst and weighted mean over the duty points, where there are several."""
        rows = []
        for name, (worst, mean) in over_duty_points(self.problem.study, self.rating).items():
            output = OUTPUTS[name]
            rows.append(self._shown(f"{output.label}, over all", np.array([worst[0], mean[0]]), output.kind))
        return [Group("Over all duty points", ("worst", "weighted"), tuple(rows))] if rows else []

    def _output_row(self, output: Output) -> tuple[str, tuple[float, ...], str]:
        return self._shown(output.label, np.ravel(self.rating[output.name][0]), output.kind)

    def _shown(self, label: str, values: Array, kind: str) -> tuple[str, tuple[float, ...], str]:
        system = self.problem.study.units
        shown = units.to_display(values, kind, system)
        return label, tuple(float(v) for v in shown), units.unit_symbol(kind, system)

    def json(self) -> dict[str, Any]:
        """The sheet as data: keys carry SI units, NaN is null."""
        core = {
            name: self.problem.space.labels(name, v)[0] if name in self.problem.space.words else float(v[0])
            for name, v in self.core.items()
        }
        keyed = {n if n in self.problem.space.words else si_key(n, KINDS[n]): v for n, v in core.items()}
        return {
            "study": self.problem.study.title,
            "core": keyed,
            "geometry": self._values("core", ...),
            "over_duty_points": {
                si_key(name, OUTPUTS[name].kind): {"worst": _plain(worst[0]), "weighted": _plain(mean[0])}
                for name, (worst, mean) in over_duty_points(self.problem.study, self.rating).items()
            },
            "duty": {duty: self._values("duty", i) for i, duty in enumerate(self.rating.duty_names)},
            "requirements": {name: _plain(margin) for name, margin in self.requirements()},
            "correlations": self.sources(),
            "cautions": self.cautions(),
        }

    def _outputs(self) -> list[Output]:
        """The outputs the study has."""
        return [OUTPUTS[name] for name in self.problem.outputs]

    def _values(self, per: str, at: Any) -> dict[str, float | None]:
        chosen = [output for output in self._outputs() if output.per == per]
        return {si_key(o.name, o.kind): _plain(self.rating[o.name][0][at]) for o in chosen}


def si_key(name: str, kind: str) -> str:
    """A key that carries its SI unit.

    >>> si_key("heat_rejected", "power"), si_key("air_heat_transfer_coefficient", "film"), si_key("NTU", "number")
    ('heat_rejected_W', 'air_heat_transfer_coefficient_W_per_m2_K', 'NTU')
    """
    unit = units.KINDS[kind].base
    top, _, bottom = unit.partition("/")
    words = "_".join(re.findall(r"[A-Za-z]+[23]?", top.replace("^", "")))
    under = "_".join(re.findall(r"[A-Za-z]+[23]?", bottom.replace("^", "")))
    return "_".join(part for part in (name, words, f"per_{under}" if under else "") if part)


def value_text(value: float | str) -> str:
    """A value of a design variable for the eye."""
    return value if isinstance(value, str) else f"{value:.6g}"


def _row(label: str, cells: list[str], unit: str) -> str:
    return f"  {label:<{_LABEL}}{''.join(f'{cell:>{_CELL}}' for cell in cells)}  {unit}".rstrip()


def _band(band: tuple[float, float]) -> str:
    return f"{100 * band[0]:+.0f} to {100 * band[1]:+.0f} %"


def _plain(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None
