"""How long a command takes from nothing: each time a fresh process, with all its imports."""

import subprocess
import sys
from collections.abc import Sequence

from optimize.benchmark.rates import best
from optimize.evaluate import CoreProblem
from optimize.typed_core import example_pairs

_COMMAND = "from optimize.cli import main; main()"


def seconds_of_python() -> float:
    """Seconds of an interpreter that does nothing."""
    return _seconds("pass")


def seconds_of_help() -> float:
    """Seconds of `finfront --help`."""
    return _seconds(_COMMAND, ("--help",))


def seconds_of_rate(problem: CoreProblem) -> float:
    """Seconds of `finfront rate` on the study's file with a core from the middle of its space."""
    pairs = example_pairs(problem.space, problem.space.names)
    return _seconds(_COMMAND, ("rate", problem.study.path, *(f"--core={pair}" for pair in pairs)))


def _seconds(code: str, words: Sequence[str] = ()) -> float:
    return best(lambda: subprocess.run([sys.executable, "-c", code, *words], check=True, capture_output=True))
