"""A run begun or gone on with: its folder, its one writer, its store, and whether it asks what it asked before."""

import hashlib
import json
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from optimize import one_writer, runs, store
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.search.memory import all_rows
from optimize.search.rows import Rows
from optimize.study.differences import differences
from optimize.study.load import load
from optimize.study.model import Study
from physics.arrays import Array

_MOST_SHOWN = 12
_BITS = ("finfront", "numpy", "scipy", "optuna", "moocore")  # versions that may change the last bit
_OWN = {one_writer.FILE, *(store.FILE + end for end in ("", "-wal", "-shm", "-journal"))}


@dataclass(frozen=True)
class Begun:
    """A run at work: its folder, when it was begun (UTC), its store, and whether its tables are written already."""

    folder: Path
    made: datetime
    store: store.Store
    finished: bool


@dataclass(frozen=True)
class Stored:
    """The designs a run has evaluated: `rows` sorted by ordinal, each once, of the problem as the run had it."""

    problem: CoreProblem
    rows: Rows


@contextmanager
def begun(
    study: Study, out: Path | None, now: datetime, plan: str, start: Array | None = None, salvage: bool = False
) -> Iterator[Begun]:
    """Begin a run, or go on with the one in the folder; `plan` says how the search is cut into batches.

    Without `out` an unfinished run of the same question under results/ is gone on with. With `salvage` a damaged store
    is first cut back to the batches that are sound. Raises FinfrontError when another process writes there, when the
    folder holds anything else, or another question.
    """
    about = about_of(study, now, plan, start)
    folder = _folder(study, out, now, about)
    place = folder / store.FILE
    with one_writer.one_writer(folder, now):
        if salvage and place.exists():
            store.salvage(place)
        with store.writing(place, about) as kept:
            _check_same(study, folder, kept.about, about)
            runs.write_study(folder, study.text, study.files)
            yield Begun(folder, datetime.fromisoformat(kept.about["made"]), kept, (folder / runs.RECORD).is_file())


def about_of(study: Study, now: datetime, plan: str, start: Array | None = None) -> store.About:
    """What a store is about."""
    return {
        "question": question(study), "seed": str(study.seed), "plan": plan,
        "start": "" if start is None else hashlib.sha256(np.ascontiguousarray(start).tobytes()).hexdigest(),
        "versions": json.dumps(runs.versions()), "made": runs.stamp(now),
        "study": runs.brought_inside(study.text, study.files)["study.toml"], "files": json.dumps(study.files),
    }


def question(study: Study) -> str:
    """Hash of all a study and its files say, in their order, comments and spaces left out."""
    said = [
        (name, tomllib.loads(text) if name.endswith(".toml") else text)
        for name, text in runs.brought_inside(study.text, study.files).items()
    ]
    text = json.dumps([said, study.seed], default=str)
    return hashlib.sha256(text.encode()).hexdigest()


def stored_designs(folder: Path) -> Stored:
    """Every design the store of a run holds; works while another process writes.

    Raises FinfrontError when there is none, it is damaged, or the study beside it is no longer the one it is about.
    """
    with store.reading(folder / store.FILE) as kept:
        study = replace(load(folder / "study.toml"), seed=int(kept.about["seed"]))
        if question(study) != kept.about["question"]:
            do = "put the study back as it was, or make the run again"
            raise FinfrontError("the study was changed after the run", str(folder / "study.toml"), do)
        parts = [rows for number in range(kept.kept) for rows in all_rows(kept.recall(number))]
    if not parts:
        raise FinfrontError("nothing has been evaluated yet", str(folder), "wait for the first batch")
    rows = Rows.join(parts)
    return Stored(CoreProblem(study), rows.take(np.unique(rows.ordinals, return_index=True)[1]))


def _folder(study: Study, out: Path | None, now: datetime, about: store.About) -> Path:
    """The folder to write to: `out`, an unfinished run of the same question, or a new one."""
    if out is None:
        left = [f for f in sorted(Path("results").glob(f"{Path(study.path).stem}-*")) if _is_left(f, about)]
        return left[-1] if left else runs.new_folder(None, study.path, now)
    if out.is_dir() and ((out / store.FILE).is_file() or {f.name for f in out.iterdir()} <= _OWN):
        return out
    return runs.new_folder(out, study.path, now)


def _is_left(folder: Path, about: store.About) -> bool:
    """Whether a folder holds an unfinished run of the same question that nobody is at work on."""
    if (folder / runs.RECORD).exists() or one_writer.is_held(folder):
        return False
    try:
        with store.reading(folder / store.FILE) as kept:
            return all(kept.about[key] == about[key] for key in ("question", "plan", "start"))
    except (FinfrontError, KeyError):
        return False


def _check_same(study: Study, folder: Path, held: store.About, about: store.About) -> None:
    """Refuse to mix a run with another question, other versions, or another search."""
    do = "name another folder with --out; `finfront rerun` carries a run over to a changed study"
    if held["question"] != about["question"]:
        changes = _changes(study, folder, int(held["seed"]))
        raise FinfrontError(f"the study is not the one this run was begun with{changes}", str(folder), do)
    before, now = (json.loads(each["versions"]) for each in (held, about))
    other = [f"{name} {before.get(name)}, now {now[name]}" for name in _BITS if before.get(name) != now[name]]
    if other:
        do = "go on with the versions it was begun with, or name another folder with --out"
        raise FinfrontError(f"the run was begun with other versions: {'; '.join(other)}", str(folder), do)
    for key, what in (("plan", "is searched in another way"), ("start", "starts from other cores")):
        if held[key] != about[key]:
            raise FinfrontError(f"the run in the folder {what}: {held[key] or 'from none'}", str(folder), do)


def _changes(study: Study, folder: Path, seed: int) -> str:
    """What a study says otherwise than the one in the folder, a line each."""
    try:
        found = differences(replace(load(folder / "study.toml"), seed=seed), study)
    except FinfrontError:
        return ""
    lines = [f"\n  {each}" for each in found[:_MOST_SHOWN]] or ["\n  the order of its fields"]
    return ":" + "".join(lines) + (f"\n  and {len(found) - _MOST_SHOWN} more" if len(found) > _MOST_SHOWN else "")
