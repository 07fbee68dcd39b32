"""A dyno log cut into its steady parts: a mean row for each window in which nothing drifts.

The scatter within a window says how sure its mean is (neighbours in time are alike, which is allowed for). What the
file states of its sensors does not average out: half of its variance is shared by all windows, as an offset is, half
differs from window to window, as what depends on the level does.
"""

import numpy as np

from optimize.errors import FinfrontError
from optimize.fitting.bench_file import BenchFile, Values
from optimize.fitting.quantities import DYNO_LOG
from physics.arrays import Array, IntArray

_FEWEST = 5  # samples of a window
_FILLED = 0.8  # of a window's time that samples must reach over
_FLOW_DRIFT = 0.05  # of its mean, over a window
_OF_LEVEL = 0.5**0.5  # of a sensor's uncertainty: what changes with what it reads, half the variance (our judgement)
_TEMPERATURES = ("air_inlet_temperature", "air_outlet_temperature", "coolant_inlet_temperature",
                 "coolant_outlet_temperature")


def steady(file: BenchFile) -> BenchFile:
    """The file itself, or of a log its steady windows; FinfrontError where there are none."""
    if file.said.rig != DYNO_LOG:
        return file
    time = file.values["time"]
    if np.any(np.diff(time) < 0):
        line = int(file.lines[int(np.argmax(np.diff(time) < 0)) + 1])
        raise FinfrontError("time runs backwards", f"{file.name}, line {line}", "put the log in order, or part it")
    window = np.floor((time - time[0]) / file.said.window).astype(np.int64)
    parts = [np.flatnonzero(window == w) for w in np.unique(window)]
    kept = [part for part in parts if _is_steady(file, part)]
    if not kept:
        what = f"no steady part of {file.said.window:g} s in the log ({len(parts)} looked at)"
        raise FinfrontError(what, file.name, "say a shorter '# window: 5 s', or a wider '# steady: 2 K'")
    return _means(file, kept)


def _is_steady(file: BenchFile, part: IntArray) -> bool:
    t = file.values["time"][part]
    if len(part) < _FEWEST or np.ptp(t) < _FILLED * file.said.window * (1 - 1 / len(part)):
        return False
    for name, values in file.values.items():
        if name == "time":
            continue
        drift = abs(np.polyfit(t - t[0], values[part], 1)[0]) * file.said.window
        most = file.said.steady if name in _TEMPERATURES else _FLOW_DRIFT * float(np.mean(values[part]))
        if name not in ("air_loss", "coolant_loss") and drift > most:
            return False
    return True


def _means(file: BenchFile, parts: list[IntArray]) -> BenchFile:
    lines = np.array([file.lines[part[0]] for part in parts])
    values: Values = {name: np.array([np.mean(v[part]) for part in parts]) for name, v in file.values.items()}
    names = [name for name in values if name != "time"]
    sensor = {
        name: np.array([np.hypot(np.mean(file.random[name][part]), np.mean(file.common[name][part])) for part in parts])
        for name in names
    }
    scatter = {name: np.array([_of_the_mean(file.values[name][part]) for part in parts]) for name in names}
    random = {name: np.hypot(scatter[name], _OF_LEVEL * sensor[name]) for name in names}
    common = {name: np.sqrt(1 - _OF_LEVEL**2) * sensor[name] for name in names}
    return BenchFile(file.name, file.said, values, file.by_volume, random, common, lines, file.units)


def _of_the_mean(x: Array) -> float:
    """Standard uncertainty of a mean of samples that resemble their neighbours (first-order autocorrelation)."""
    away = x - np.mean(x)
    power = float(away @ away)
    if power == 0:
        return 0.0
    alike = min(max(float(away[1:] @ away[:-1]) / power, 0.0), 0.95)
    independent = max(len(x) * (1 - alike) / (1 + alike), 2.0)
    return float(np.sqrt(power / (len(x) - 1) / independent))


