"""What a command line asks for: a study, a core of it, and what its run knows of that core."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from optimize.errors import FinfrontError

if TYPE_CHECKING:
    import pandas as pd

    from optimize.evaluate import CoreProblem
    from optimize.handover.acceptance import Guard
    from optimize.runs import Run
    from optimize.space import Parameters
    from optimize.study.model import Study


@dataclass(frozen=True)
class Known:
    """What a run knows of a core; a core given by hand has no record, and one changed by hand no tables.

    `name` is fit for a file: "C123", "C123-changed", or "core".
    """

    name: str
    record: dict[str, Any] | None
    tables: "Mapping[str, pd.DataFrame] | None"

    @property
    def made(self) -> datetime:
        from optimize.runs import made_of

        return made_of(self.record)


def study_of(path: Path, seed: int | None = None) -> "Study":
    """A study file, with another seed if one is given."""
    from optimize.study.load import load

    study = load(path)
    return study if seed is None else replace(study, seed=seed)


def problem_of(path: Path) -> "CoreProblem":
    """The problem of a study file."""
    from optimize.evaluate import CoreProblem

    return CoreProblem(study_of(path))


def soaking_problem(path: Path) -> "CoreProblem":
    """The problem of a study that has a schedule; FinfrontError where it has none."""
    problem = problem_of(path)
    if problem.soaks is None:
        do = "add the table [soak]; `finfront new` writes one to fill in"
        raise FinfrontError("the study has no schedule of pulls and rests", problem.study.path, do)
    return problem


def core_of(
    problem: "CoreProblem", pairs: list[str] | None, run: Path | None, pick: str, open_names: tuple[str, ...] = ()
) -> "Parameters":
    """The core meant by --core, or by --run and --pick with --core on top."""
    from optimize.typed_core import given_values, typed_core

    if run is None:
        return typed_core(problem.space, pairs or [], open_names)
    from optimize.stored_core import core_of_run

    return core_of_run(problem.space, run, pick) | given_values(problem.space, pairs or [])


def places(path: Path, pairs: list[str] | None, run: Path | None) -> tuple[Path, Path | None]:
    """The study file, and the run the core is of, where a path is a study or the folder of a run."""
    from optimize import runs

    if not path.is_dir():
        return path, run
    runs.check_finished(path)
    return path / "study.toml", run or (path if pairs is None else None)


def core_and_run(
    path: Path, pairs: list[str] | None, run: Path | None, pick: str
) -> "tuple[CoreProblem, Parameters, Known]":
    """The problem of a study or a run, the core meant, and what its run knows of it."""
    from optimize import runs
    from optimize.stored_core import core_of_read_run
    from optimize.typed_core import given_values

    study, folder = places(path, pairs, run)
    problem = problem_of(study)
    if folder is None:
        return problem, core_of(problem, pairs, None, pick), Known("core", None, None)
    read = runs.read(folder)
    core = core_of_read_run(problem.space, read, pick) | given_values(problem.space, pairs or [])
    return problem, core, known_core(read, pick, bool(pairs))


def known_core(run: "Run", pick: str, changed: bool) -> Known:
    """The core of a run by its name or pick; `changed` by hand it is no longer the one the run knows."""
    from optimize.runs import CORE_NAME

    picks = run.record.get("picks")
    name = str(picks.get(pick, pick)) if isinstance(picks, dict) else pick
    if not CORE_NAME.fullmatch(name):
        do = "name one of designs.csv: --pick C1"
        raise FinfrontError("the core has no name to call files by", str(run.folder), do)
    return Known(f"{name}-changed", run.record, None) if changed else Known(name, run.record, run.tables)


def cores_of_picks(problem: "CoreProblem", run: Path | None, pick: str) -> "dict[str, Parameters]":
    """The named cores of a run but the one picked, by name and core; none without a run."""
    if run is None:
        return {}
    from optimize import runs
    from optimize.stored_core import core_of_read_run

    read = runs.read(run)
    chosen = read.record["picks"].get(pick, pick)
    others = {core: name for name, core in read.record["picks"].items() if core != chosen}
    return {f"{core} ({name})": core_of_read_run(problem.space, read, core) for core, name in others.items()}


def lines_of(texts: list[str]) -> dict[str, set[int]]:
    """'FILE:LINE' texts to the lines of each file."""
    found: dict[str, set[int]] = {}
    for text in texts:
        file, colon, line = text.rpartition(":")
        if not colon or not line.isdecimal():
            raise FinfrontError(f"expected FILE:LINE, got '{text}'", "--leave-out", "write --leave-out rig.csv:12")
        found.setdefault(file, set()).add(int(line))
    return found


def guard_of(loss: str, flow: str) -> "Guard":
    """What the bench of an acceptance cannot tell, as typed."""
    from optimize.handover.acceptance import Guard

    return Guard(_share_of(loss, "--loss"), _share_of(flow, "--flow"))


def _share_of(text: str, option: str) -> float:
    """A share such as '1 %', above zero."""
    from optimize import units

    try:
        share = units.parse(text, "fraction")
    except units.UnitError as error:
        raise FinfrontError(error.what, option, error.do) from None
    if not 0 < share < 1:
        do = "write what the bench states, such as '1 %'"
        raise FinfrontError(f"'{text}' is not between 0 and 100 %", option, do)
    return share
