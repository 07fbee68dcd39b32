"""A small run whose tables of copies are written by hand: nothing is rated, so every number in them is known."""

from pathlib import Path
from typing import Any

import pandas as pd

from optimize.runs import Run

HEAT, LOSS, MASS = "heat_rejected@full_power [kW]", "air_pressure_drop@full_power [kPa]", "filled_mass [kg]"
CORES = {  # core: name, heat, loss, mass, share of copies that meet everything
    "C1": ("least air loss", 40.0, 2.0, 3.0, 100.0), "C2": ("", 44.0, 2.4, 3.1, 99.0),
    "C3": ("knee", 50.0, 3.0, 3.2, 75.0), "C4": ("", 53.0, 4.0, 3.3, 92.0), "C5": ("most heat", 55.0, 5.5, 3.5, 40.0),
}
PICKS = {name: core for core, (name, *_) in CORES.items() if name}
LOSS_LIMIT, MASS_LIMIT = "air loss, total, worst (max)", "filled mass (max)"
NESTED = {"C1": [100.0] * 20, "C3": [20.0] + [60.0] * 9 + [80.0] * 9 + [100.0], "C5": [0.0] * 10 + [90.0] * 10}
TOLERANCES = {
    "thickness": "0.4 mm", "air_fin.pitch": "0.03 mm", "air_fin.thickness": "-0.01/+0.02 mm", "length": "0.5 mm",
}
EFFECTS = {
    "thickness": (-0.1, 0.12), "air_fin.pitch": (0.5, -0.4), "air_fin.thickness": (0.2, 0.05), "length": (0.0, 0.0),
}
FACTORS = {  # tightened, relaxed alone, relaxed together
    "thickness": (1.0, 2.0, 1.5), "air_fin.pitch": (0.5, 1.0, 1.0), "air_fin.thickness": (1.0, 1.0, 1.0),
    "length": (1.0, 3.0, 3.0),
}
WITH_RUN = ("shop", "run", "shop and run")


def run_by_hand(folder: Path, kinds: tuple[str, ...] = ("shop",), three: bool = False) -> Run:
    """A run of five front cores; `three` objectives or two."""
    titles = [HEAT, LOSS, MASS][: 3 if three else 2]
    record: dict[str, Any] = {
        "title": "By hand", "picks": PICKS, "duty": ["full_power", "long_climb"], "variables": ["thickness", "air_fin"],
        "objectives": [
            {"output": t.partition("@")[0].partition(" ")[0], "at": "full_power" if "@" in t else None,
             "maximise": t == HEAT, "label": t, "column": t} for t in titles
        ],
        "limits": [
            {"requirement": LOSS_LIMIT, "output": "air_pressure_drop", "at": "worst", "side": "max", "bound": 6.0,
             "unit": "kPa"},
            {"requirement": MASS_LIMIT, "output": "filled_mass", "at": None, "side": "max", "bound": 3.6, "unit": "kg"},
        ],
        "scatter": {"draws": 512, "confidence": 0.95, "kinds": [*kinds, "model"], "lost": {"the pump stalls": 3},
                    "each_look": 0.95, "nested": [8, 256]},
        "robust": {
            "of": ["P05 of heat rejected, full_power", "P95 of air loss, total, full_power"], "share": 0.9,
            "draws": 1024, "scatter": "shop", "band": 300, "whole": True,
            "width_used": [0.3, 0.45], "misjudged": 0, "limits_of": [], "pacemakers": 5,
            "stages": [[256, 300], [1024, 40]], "copies": 100000, "picks": {"knee": "C4"},
        },
        "budget": {
            "core": "C3", "before": [0.75, 0.71, 0.787], "after": [0.995, 0.99, 0.998], "together": [0.76, 0.72, 0.797],
            "reachable": True, "wanted": 0.99, "fit_error": 0.004, "loosest_tried": 3.0,
        },
    }
    tables = {
        "front": front(), "yield": yields(kinds), "percentiles": percentiles(kinds),
        "clouds": clouds((*kinds, "model")),
        "nested": pd.DataFrame([
            {"core": core, "scatter": kinds[-1], "model_draw": i, "share [%]": share}
            for core, values in NESTED.items() for i, share in enumerate(values)
        ]),
        "truncated": pd.DataFrame([{"core": "C3", "tolerance": "air_fin.thickness", "cut away [%]": 1.25}]),
        "robust": robust(titles), "fallen": fallen(titles), **core_tables(),
    }
    return Run(folder, record, tables)


def front() -> pd.DataFrame:
    return pd.DataFrame([
        {"core": core, "pick": name or None, "thickness [mm]": 60.0 + i, "air_fin": f"S{i}", HEAT: heat, LOSS: loss,
         MASS: mass}
        for i, (core, (name, heat, loss, mass, _)) in enumerate(CORES.items())
    ])


def yields(kinds: tuple[str, ...]) -> pd.DataFrame:
    """A limit on the loss at the worst of two duty points, one on the mass, a clearance that every copy keeps."""
    rows = []
    for core, (_, _, _, _, share) in CORES.items():
        for i, kind in enumerate(kinds):
            met = share - 5.0 * i if share < 100 else share
            for name, duty, value in (
                ("every limit", None, met), (LOSS_LIMIT, None, met), (LOSS_LIMIT, "full_power", met),
                (LOSS_LIMIT, "long_climb", 100.0), (MASS_LIMIT, None, (100.0 + met) / 2),
                ("clearance, pocket length", None, 100.0),
            ):
                rows.append({
                    "core": core, "scatter": kind, "requirement": name, "duty": duty, "draws": 512,
                    "passed": round(5.12 * value), "share [%]": value, "low [%]": max(value - 3.0, 0.0),
                    "high [%]": min(value + 2.5, 100.0), "lost": 0,
                })
    return pd.DataFrame(rows)


def percentiles(kinds: tuple[str, ...]) -> pd.DataFrame:
    rows = []
    for core, (_, heat, loss, _, _) in CORES.items():
        for kind in (*kinds, "model"):
            for output, unit, value in (("heat_rejected", "kW", heat), ("air_pressure_drop", "kPa", loss)):
                for statistic, shift in (("P05", -0.04), ("P50", 0.0), ("P95", 0.06), ("mean", 0.001)):
                    own = value * (1 + shift)
                    rows.append({
                        "core": core, "scatter": kind, "output": output, "duty": "full_power", "statistic": statistic,
                        "value": own, "low": 0.99 * own, "high": 1.01 * own, "unit": unit, "lost": 0,
                    })
    return pd.DataFrame(rows)


def clouds(kinds: tuple[str, ...]) -> pd.DataFrame:
    """Nine copies of each core on a ring; the last breaks a limit."""
    rows = []
    for core, (_, heat, loss, mass, _) in CORES.items():
        for size, kind in enumerate(kinds, start=1):
            for i in range(9):
                rows.append({
                    "core": core, "scatter": kind, HEAT: heat + 0.2 * size * (i - 4), LOSS: loss + 0.1 * (i % 3 - 1),
                    MASS: mass + 0.01 * (i - 4), "met": i < 8,
                })
    return pd.DataFrame(rows)


def standing(core: str, titles: list[str]) -> dict[str, Any]:
    """Nominal values, those of the copies (4 % worse) and their intervals (1 % to either side), and the share."""
    _, heat, loss, mass, share = CORES[core]
    row: dict[str, Any] = {}
    own_sense = ((HEAT, heat, "P05", 0.96), (LOSS, loss, "P95", 1.04), (MASS, mass, "P95", 1.04))
    for title, value, statistic, worse in own_sense:
        if title in titles:
            own = f"{statistic} of {title}"
            row |= {f"nominal {title}": value, own: worse * value, f"low {own}": 0.99 * worse * value,
                    f"high {own}": 1.01 * worse * value}
    ends = {"low [%]": share - 3.0, "high [%]": min(share + 2.5, 100.0)}
    return row | {"share [%]": share, **ends, "draws": 1024, "lost": 0}


def robust(titles: list[str]) -> pd.DataFrame:
    names = {"C1": "least air loss", "C2": "", "C4": "knee"}
    return pd.DataFrame([
        {"core": core, "pick": name, "also_nominal": "yes", "thickness [mm]": 61.0, "air_fin": "S1",
         **standing(core, titles)}
        for core, name in names.items()
    ])


def fallen(titles: list[str]) -> pd.DataFrame:
    verdicts = {
        "C1": ("stays", None), "C2": ("stays", None), "C3": ("beaten", "beaten by C4"), "C4": ("stays", None),
        "C5": ("fails", "60 % of its copies miss air loss, total, worst (max)"),
    }
    return pd.DataFrame([
        {"core": core, "verdict": verdict, "because": because, **standing(core, titles)}
        for core, (verdict, because) in verdicts.items()
    ])


def core_tables() -> dict[str, pd.DataFrame]:
    """Sensitivities, indices and budget of the knee."""
    outputs = (("air_pressure_drop", "full_power", "kPa"), ("air_pressure_drop", "worst", "kPa"),
               ("heat_rejected", "full_power", "kW"), ("filled_mass", None, "kg"))
    labels = [
        {"core": "C3", "output": output, "duty": duty, "unit": unit, "tolerance": name}
        for output, duty, unit in outputs for name in TOLERANCES
    ]
    ends = [EFFECTS[str(label["tolerance"])] for label in labels]
    return {
        "sensitivities": pd.DataFrame([
            label | {"slope": 0.1, "per": "0.01 mm", "at_low": low, "at_high": high}
            for label, (low, high) in zip(labels, ends, strict=True)
        ]),
        "indices": pd.DataFrame([
            {k: v for k, v in label.items() if k != "unit"}
            | {"first": 0.5, "first_low": 0.4, "first_high": 0.6, "total": 0.62, "total_low": 0.5, "total_high": 1.1}
            for label in labels
        ]),
        "budget": pd.DataFrame([
            {"core": "C3", "tolerance": name, "half_width": width, "cost": 1.0, "tightened_factor": FACTORS[name][0],
             "tightened": "0.015 mm" if name == "air_fin.pitch" else width, "relaxed_alone_factor": FACTORS[name][1],
             "relaxed_together_factor": FACTORS[name][2]}
            for name, width in TOLERANCES.items()
        ]),
    }


def one_core(run: Run, core: str) -> dict[str, pd.DataFrame]:
    """The tables of one core, as a core scattered alone has them."""
    names = ("front", "clouds", "yield", "percentiles", "nested", "sensitivities", "indices", "budget")
    return {name: run.tables[name][run.tables[name]["core"] == core].reset_index(drop=True) for name in names}
