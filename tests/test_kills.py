"""Sixty random kills of the real command: nothing acknowledged is lost, the end is that of a run never stopped."""

import subprocess

import pytest
from kills import COMMAND, KINDS, study, trial


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("kind", KINDS)
def test_a_run_killed_again_and_again_ends_as_one_never_stopped(tmp_path, kind, seed):
    assert trial(tmp_path, kind, 15, seed) >= 1


def test_a_second_starter_is_refused_at_once_and_the_first_goes_on(tmp_path):
    path, out = study(tmp_path, "evolve"), tmp_path / "run"
    command = [*COMMAND, str(path), "--out", str(out), "--workers", "1"]
    first = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        while not (out / ".writer").exists() or not (out / ".writer").read_text():
            assert first.poll() is None
        second = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
        assert second.returncode == 2
        assert f"process {first.pid} on " in second.stderr
        assert "Traceback" not in second.stderr
        assert first.poll() is None
    finally:
        first.kill()
        first.wait()
