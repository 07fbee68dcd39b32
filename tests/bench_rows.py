"""Bench files of a core whose truth is known: rated with hidden multipliers, numpy's noise, no code of the fitter."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from optimize.evaluate import CoreProblem
from optimize.space import Parameters
from optimize.study.model import Tolerance
from physics.duty import Duty, ModelFactors
from physics.fluid import Fluid
from physics.properties import AIR, coolant
from physics.rating import rate

WATER = coolant("water", None, None)
GLYCOL = coolant("ethylene glycol", 0.5, "volume")
P_LIQUID = 2e5
REFERENCE = {"air": 2000.0, "coolant": 1000.0}
COVERAGE = 1.959964
AIR_FLOWS, LIQUID_FLOWS = np.linspace(0.25, 0.85, 8), np.linspace(0.2, 1.0, 8)  # [kg/s]


class Truth:
    """A core of a study with multipliers of its own; writes what rigs would read on it."""

    def __init__(self, problem: CoreProblem, core: Parameters, factors: dict[str, float], seed: int) -> None:
        self.random = np.random.default_rng(seed)
        alone = core | {"lid_loss": np.zeros(1), "plenum_loss": np.zeros(1)}
        batch = problem.space.batch(alone, np.zeros(1, dtype=np.int64))
        # Every dimension is as the shop made it, within the study's tolerances.
        made = {name: self.made(law, batch.parameters[name]) for name, law in problem.space.tolerances(core).items()}
        self.designs = replace(batch, parameters=batch.parameters | made).designs
        # Its exponents too are as they are; the multipliers hold at these Reynolds numbers.
        exponents = {f"{name}_exponent": self.random.normal(0.0, 0.05, 1) for name in list(factors)[:4]}
        self.factors = ModelFactors(
            **{name: np.array([value]) for name, value in factors.items()}, **exponents,
            air_Re=np.array([REFERENCE["air"]]), coolant_Re=np.array([REFERENCE["coolant"]]),
        )

    def made(self, law: Tolerance, nominal: np.ndarray) -> np.ndarray:
        half = law.above * (nominal[0] if law.relative else 1.0)
        draws = {"normal": lambda: self.random.normal(0.0, half / (law.sigmas or 1.0)),
                 "uniform": lambda: self.random.uniform(-half, half),
                 "triangular": lambda: self.random.triangular(-half, 0.0, half)}  # fmt: skip
        return nominal + draws[law.law]()

    def at(self, name: str, Re: float) -> float:
        """The true multiplier at a Reynolds number."""
        return float(self.factors.tank_loss[0] if name == "tank_loss" else self.factors.on(name).at(np.log(Re))[0])

    def outputs(self, air, T_air, p, liquid, T_liquid, fluid: Fluid) -> dict[str, np.ndarray]:
        n = len(air)
        duty = Duty(tuple(map(str, range(n))), AIR, fluid, air, T_air, p, liquid, T_liquid, np.full(n, P_LIQUID))
        found = rate(self.designs, duty, self.factors)
        names = ("air_pressure_drop", "coolant_pressure_drop", "air_outlet_temperature", "coolant_outlet_temperature")
        return {name: found[name][0] for name in names}

    def read(self, values, half_width) -> np.ndarray:
        """What an instrument of this 95 % half width shows."""
        return values + self.random.normal(size=len(values)) * np.asarray(half_width) / COVERAGE

    def flow_bench(self, path: Path, flows=AIR_FLOWS) -> Path:
        n = len(flows)
        T, p = np.full(n, 295.0), np.full(n, 99e3)
        loss = self.outputs(flows, T, p, np.full(n, 0.5), T, GLYCOL)["air_pressure_drop"]
        rows = zip(self.read(flows, 0.01 * flows), self.read(T, 1.0), self.read(p, 0.002 * p),
                   self.read(loss, 0.01 * loss), strict=True)  # fmt: skip
        lines = [f"{m * 60 / 0.45359237:.6f}, {t * 1.8 - 459.67:.4f}, {q / 6894.757293:.6f}, {d / 100:.6f}"
                 for m, t, q, d in rows]  # fmt: skip
        head = (
            "# invented for a test\n# rig: flow bench\n# uncertainty: air_loss 1 %, air_flow 1 %, "
            "air_inlet_temperature 1 K, air_inlet_pressure 0.2 %\n"
            "air_flow [lb/min], air_inlet_temperature [degF], air_inlet_pressure [psi], air_loss [mbar]\n"
        )
        path.write_text(head + "\n".join(lines) + "\n", encoding="utf-8")
        return path

    def water_rig(self, path: Path, flows=LIQUID_FLOWS) -> Path:
        n = len(flows)
        T = np.full(n, 293.15)
        loss = self.outputs(np.full(n, 0.08), T, np.full(n, 101_325.0), flows, T, WATER)["coolant_pressure_drop"]
        rho = WATER.density(T, np.full(n, P_LIQUID))
        shown = self.read(loss, 0.01 * loss), self.read(flows / rho, 0.01 * flows / rho), self.read(T, 1.0)
        rows = zip(*shown, strict=True)
        lines = [f"{d / 1e3:.6f}; {v * 6e4:.6f}; {t - 273.15:.4f}".replace(".", ",") for d, v, t in rows]
        head = (
            "# rig: water rig\n# fluid: water\n# decimal: comma\n"
            "# uncertainty: coolant_loss 1 %, coolant_flow 1 %, coolant_inlet_temperature 1 K\n"
            "coolant_loss [kPa]; coolant_flow [L/min]; coolant_inlet_temperature [degC]\n"
        )
        path.write_text(head + "\n".join(lines) + "\n", encoding="utf-8")
        return path

    def hot_test(self, path: Path, n: int = 6) -> Path:
        air, liquid = np.linspace(0.4, 0.8, n), np.linspace(0.9, 0.5, n)
        T_air, T_liquid, p = np.full(n, 420.0), np.full(n, 318.0), np.full(n, 200e3)
        out = self.outputs(air, T_air, p, liquid, T_liquid, GLYCOL)
        columns = {
            "air_flow [kg/s]": self.read(air, 0.015 * air), "air_inlet_temperature [K]": self.read(T_air, 1.0),
            "air_inlet_pressure [kPa]": self.read(p, 0.003 * p) / 1e3,
            "coolant_flow [kg/s]": self.read(liquid, 0.01 * liquid),
            "coolant_inlet_temperature [K]": self.read(T_liquid, 0.5),
            "air_outlet_temperature [degC]": self.read(out["air_outlet_temperature"], 1.0) - 273.15,
            "coolant_outlet_temperature [degC]": self.read(out["coolant_outlet_temperature"], 0.5) - 273.15,
            "air_loss [kPa]": self.read(out["air_pressure_drop"], 0.02 * out["air_pressure_drop"]) / 1e3,
            "coolant_loss [kPa]": self.read(out["coolant_pressure_drop"], 0.02 * out["coolant_pressure_drop"]) / 1e3,
        }
        head = (
            "# rig: hot test\n# uncertainty: air_outlet_temperature 1 K, coolant_outlet_temperature 0.5 K, "
            "air_loss 2 %, coolant_loss 2 %, air_flow 1.5 %, coolant_flow 1 %, air_inlet_temperature 1 K, "
            "coolant_inlet_temperature 0.5 K, air_inlet_pressure 0.3 %\n"
        )
        return written(path, head, columns)

    def log(self, path: Path, seconds: float = 60.0, rate_hz: float = 5.0) -> Path:
        """A pull after a rest: the first third drifts, the rest is steady and noisy."""
        t = np.arange(0.0, seconds, 1 / rate_hz)
        n = len(t)
        drift = np.clip(1 - t / (seconds / 3), 0.0, 1.0)
        air, liquid = np.full(n, 0.7), np.full(n, 0.8)
        T_air, T_liquid, p = 420.0 - 40.0 * drift, 318.0 - 10.0 * drift, np.full(n, 200e3)
        out = self.outputs(air, T_air, p, liquid, T_liquid, GLYCOL)
        columns = {
            "time [s]": t, "air_flow [kg/s]": self.read(air, 0.02 * air),
            "air_inlet_temperature [K]": self.read(T_air, 1.5), "air_inlet_pressure [kPa]": self.read(p, 1e3) / 1e3,
            "coolant_flow [kg/s]": self.read(liquid, 0.02 * liquid),
            "coolant_inlet_temperature [K]": self.read(T_liquid, 0.5),
            "air_outlet_temperature [K]": self.read(out["air_outlet_temperature"], 1.5),
        }
        head = (
            "# rig: dyno log\n# window: 5 s\n# uncertainty: air_outlet_temperature 1 K, air_flow 1.5 %, "
            "coolant_flow 1 %, air_inlet_temperature 1 K, coolant_inlet_temperature 0.5 K, air_inlet_pressure 0.3 %\n"
        )
        return written(path, head, columns)


def written(path: Path, head: str, columns: dict[str, np.ndarray]) -> Path:
    """A bench file of columns by their titles."""
    lines = [", ".join(f"{v:.6f}" for v in row) for row in zip(*columns.values(), strict=True)]
    path.write_text("\n".join([head + ", ".join(columns), *lines, ""]), encoding="utf-8")
    return path
