"""Runs killed at random instants and gone on with, through the real command; `python tests/kills.py 1000` for many.

After each kill the store must hold at least what it held before, and at the end the run must equal one never stopped,
to the last bit.
"""

import random
import signal
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from small_studies import SMALL, write

from optimize import store
from optimize.errors import FinfrontError

COMMAND = [sys.executable, "-c", "from optimize.cli import main; main()", "run"]
KINDS = {
    # A sweep cut into some tasks, and an evolution of some tens of batches
    "sweep": SMALL | {"thickness": '{ from = "40 mm", to = "90 mm", step = "1 mm" }', "draws": "0"},
    "evolve": SMALL | {"method": '"evolve"', "evaluations": "3000", "population": "60", "draws": "0"},
}
SECONDS = (0.8, 3.2)  # a command lives before it is killed; starting up takes about one


def study(folder: Path, kind: str) -> Path:
    """A study of a kind, written into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    return write(folder, **KINDS[kind])


def held(folder: Path) -> int:
    """Batches in a store, each of them sound; 0 where there is none yet."""
    place = folder / store.FILE
    try:
        with store.reading(place) as kept:
            return kept.kept
    except FinfrontError as error:
        if "nothing has been evaluated" in error.what or "keeps no" in error.what:
            return 0
        raise


def killed(path: Path, out: Path, seconds: float, how: signal.Signals) -> tuple[int, str]:
    """Run for some seconds, then kill; the exit code and what was said on stderr."""
    command = [*COMMAND, str(path), "--out", str(out), "--workers", "1"]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    try:
        _, said = process.communicate(timeout=seconds)
    except subprocess.TimeoutExpired:
        process.send_signal(how)
        _, said = process.communicate(timeout=60)
    return process.returncode, said


def tables(folder: Path) -> dict[str, bytes]:
    """Every table of a run."""
    return {path.name: path.read_bytes() for path in sorted(folder.glob("*.csv"))}


def finished(path: Path, out: Path) -> dict[str, bytes]:
    """The tables of a run left alone until they are written."""
    process = subprocess.Popen(
        [*COMMAND, str(path), "--out", str(out), "--workers", "1"], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
    )
    while process.poll() is None and not (out / "run.json").exists():
        time.sleep(0.05)
    process.kill()  # drawing takes longest and is not what is looked at
    process.wait()
    return tables(out)


def trial(folder: Path, kind: str, kills: int, seed: int) -> int:
    """Kill a run some times, or as often as it takes runs to be killed so often; the number of runs finished."""
    path, done, number = study(folder / "study", kind), 0, 0
    truth = finished(path, folder / "truth")
    assert truth
    chance = random.Random(seed)
    while number < kills:
        out, before = folder / f"run{done}", 0
        while number < kills and not (out / "run.json").exists():
            how = signal.SIGINT if chance.random() < 0.25 else signal.SIGKILL
            code, said = killed(path, out, chance.uniform(*SECONDS), how)
            number += 1
            assert "Traceback" not in said, said
            assert code in (-9, -2, 130, 0), said
            now = held(out)
            assert now >= before, f"{before - now} batches lost"
            before = now
        assert finished(path, out) == truth
        done += 1
    return done


if __name__ == "__main__":
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    for each in KINDS:
        with TemporaryDirectory() as place:
            print(f"{each}: {wanted // 2} kills, {trial(Path(place), each, wanted // 2, 0)} runs, nothing lost")
