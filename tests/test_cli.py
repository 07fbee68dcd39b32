"""The command line as typed: results on stdout, the rest on stderr, and no traceback whatever is typed."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from small_studies import PAIRS, ROOT, SMALL, write

from optimize import cli, runs
from optimize.study.starter import CATALOGUES

SMALLER = SMALL | {"air_fin": '["S18-64", "P16-64"]', "turbulator": '"TS-20-16"', "port": '"R22"', "draws": "16"}
RERUN = ("changes", "fates", "worth")
OFF_GRID = {"off_grid", "off_grid_builds"}
CORE = [word for pair in PAIRS for word in ("--core", pair)]
COMMANDS = (
    "new", "check", "rate", "run", "curves", "scatter", "draw", "soak", "sheet", "solid", "report", "benchmark",
    "rerun", "compare", "range", "runs", "note", "trials", "fit", "accept",
)  # fmt: skip


class Typed:
    """Runs one command in this process."""

    def __init__(self, capsys, monkeypatch):
        self.capsys, self.monkeypatch = capsys, monkeypatch

    def __call__(self, *words) -> tuple[int, str, str]:
        self.monkeypatch.setattr(sys, "argv", ["finfront", *map(str, words)])
        self.capsys.readouterr()
        with pytest.raises(SystemExit) as left:
            cli.main()
        out, err = self.capsys.readouterr()
        return left.value.code, out, err

    def refused(self, *words) -> str:
        """The message of a command that must be refused with code 2, in the one form all errors have."""
        code, out, err = self(*words)
        assert code == 2
        assert out == ""
        assert "Traceback" not in err
        assert err.startswith("error: ") or "\nerror: " in err
        for sign_of_ours in ("with --debug and report it", "ValueError", "KeyError", "TypeError", "NoneType"):
            assert sign_of_ours not in err
        return err


@pytest.fixture
def typed(capsys, monkeypatch) -> Typed:
    return Typed(capsys, monkeypatch)


@pytest.fixture
def here(tmp_path, monkeypatch) -> Path:
    monkeypatch.chdir(tmp_path)
    write(tmp_path, **SMALLER)
    return tmp_path


@pytest.fixture
def undrawn(monkeypatch):
    """Without figures, which take seconds; the run in another process below has them."""

    def write_page(folder):
        (folder / "summary.md").write_text("# Drawn\n")
        return [folder / "summary.md"]

    monkeypatch.setattr("optimize.report.write_report", write_page)


@pytest.fixture(scope="module")
def finished(tmp_path_factory) -> tuple[Path, Path, int, str, str]:
    """Study, run folder, exit code, stdout and stderr of a real run in another process."""
    folder = tmp_path_factory.mktemp("finished")
    path = write(folder, **SMALLER)
    command = [sys.executable, "-m", "optimize.cli", "run", str(path), "--out", str(folder / "run"), "--workers", "1"]
    done = subprocess.run(started(command), capture_output=True, text=True, cwd=folder)
    return path, folder / "run", done.returncode, done.stdout, done.stderr


def started(command: list[str]) -> list[str]:
    """The command line without relying on the installed script."""
    return [command[0], "-c", "import sys; from optimize.cli import main; main()", *command[3:]]


# --- every command --------------------------------------------------------------------------------------------------


def test_new_writes_a_study_that_is_sound(typed, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = typed("new", "my.toml")
    assert (code, err) == (0, "")
    assert out.splitlines() == ["my.toml", *CATALOGUES]
    assert typed("check", "my.toml")[0] == 0


def test_new_never_writes_over_a_study(typed, here):
    before = (here / "study.toml").read_bytes()
    message = typed.refused("new", "study.toml")
    assert "study.toml" in message
    assert (here / "study.toml").read_bytes() == before


@pytest.mark.parametrize("path", ["study.toml/deeper.toml", "catalogues"])
def test_new_refuses_a_place_it_cannot_write(typed, here, path):
    typed.refused("new", path)


def test_check_tells_what_varies_and_how_many_cores_that_makes(typed, here):
    code, out, err = typed("check", "study.toml")
    assert (code, err) == (0, "")
    assert "sound. 108 cores, 1 duty point, 9 requirements" in out
    assert "thickness: 6 values" in out


@pytest.mark.parametrize("name", ["dune_racer.toml", "tow_rig_us_units.toml"])
def test_check_finds_the_examples_sound(typed, name):
    code, out, err = typed("check", ROOT / "studies" / name)
    assert (code, err) == (0, "")
    assert "sound" in out


def test_check_tells_every_fault_at_once_with_its_line(typed, here):
    text = (here / "study.toml").read_text(encoding="utf-8")
    text = text.replace('wall = "3 mm"', 'wall = 3').replace('length = "18 mm"', 'lenght = "18 mm"')
    (here / "study.toml").write_text(text, encoding="utf-8")
    message = typed.refused("check", "study.toml")
    assert message.count("error: ") >= 2
    assert "line" in message
    assert "lenght" in message


def test_rate_prints_the_sheet(typed, here):
    code, out, err = typed("rate", "study.toml", *CORE)
    assert (code, err) == (0, "")
    assert "heat rejected" in out
    assert "Requirements" in out


def test_rate_as_json_prints_json_and_nothing_else(typed, here):
    code, out, err = typed("rate", "study.toml", *CORE, "--json")
    assert (code, err) == (0, "")
    data = json.loads(out)
    assert data["duty"]["full_power"]["heat_rejected_W"] == pytest.approx(44e3, rel=0.05)
    assert data["core"]["thickness_m"] == 0.07


def test_run_ends_with_a_summary_on_stdout_and_everything_in_its_folder(finished):
    _, folder, code, out, err = finished
    assert code == 0, err
    assert "Traceback" not in err
    assert out.startswith("# ")
    assert out.rstrip().endswith(f"Everything is in {folder}")
    own = set(runs.TABLES) - {"misses", "water", "flow", "pump", "soak", "soak_gains", "robust", "fallen"}
    own -= {*RERUN, *OFF_GRID}
    assert {f"{name}.csv" for name in own} <= {path.name for path in folder.iterdir()}
    assert (folder / "summary.md").read_text(encoding="utf-8") in out
    assert any((folder / "figures").iterdir())


def test_progress_goes_to_stderr_and_not_to_stdout(finished):
    *_, out, err = finished
    assert "cores rated" in err
    assert "cores rated ━" not in out
    assert "\x1b" not in out


def test_run_without_workers_uses_all_cores(typed, here, undrawn):
    code, _, err = typed("run", "study.toml", "--out", "run")
    assert code == 0, err
    assert json.loads((here / "run" / runs.RECORD).read_text())["workers"] == os.cpu_count()


def test_run_names_its_folder_by_study_and_time_if_not_told(typed, here, undrawn):
    code, _, err = typed("run", "study.toml", "--workers", 1)
    assert code == 0, err
    (folder,) = (here / "results").iterdir()
    assert folder.name.startswith("study-20")


def test_run_takes_a_seed_in_place_of_the_studys(typed, here, finished, undrawn):
    code, _, err = typed("run", "study.toml", "--out", "other", "--workers", 1, "--seed", 99)
    assert code == 0, err
    assert runs.read(here / "other").record["seed"] == 99
    assert (here / "other/clouds.csv").read_bytes() != (finished[1] / "clouds.csv").read_bytes()
    assert (here / "other/front.csv").read_bytes() == (finished[1] / "front.csv").read_bytes()


def test_run_with_nothing_feasible_exits_1_and_shows_the_nearest_misses(typed, here):
    text = (here / "study.toml").read_text(encoding="utf-8").replace('max = "12 kPa"', 'max = "1 Pa"')
    (here / "study.toml").write_text(text, encoding="utf-8")
    code, out, err = typed("run", "study.toml", "--out", "run", "--workers", 1)
    assert code == 1, err
    assert "Traceback" not in err
    assert "miss" in out
    assert (here / "run/misses.csv").is_file()


def test_rate_takes_a_core_of_a_run_by_pick_and_by_name(typed, finished):
    path, folder, *_ = finished
    picks = runs.read(folder).record["picks"]
    for pick, name in picks.items():
        code, by_pick, _ = typed("rate", path, "--run", folder, "--pick", pick)
        assert code == 0
        assert by_pick == typed("rate", path, "--run", folder, "--pick", name)[1]
    assert typed("rate", path, "--run", folder)[1] == typed("rate", path, "--run", folder, "--pick", "knee")[1]


def test_a_typed_value_goes_on_top_of_a_core_of_a_run(typed, finished):
    path, folder, *_ = finished
    out = typed("rate", path, "--run", folder, "--core", "thickness=61 mm", "--json")[1]
    assert json.loads(out)["core"]["thickness_m"] == pytest.approx(0.061)


def test_curves_prints_its_table_and_writes_it(typed, here):
    code, out, err = typed("curves", "study.toml", *CORE, "--vary", "thickness", "--out", "c")
    assert code == 0, err
    table = pd.read_csv(here / "c/curves.csv")
    assert table["thickness [mm]"].tolist() == [40, 50, 60, 70, 80, 90]
    assert len(out.splitlines()) == 7
    assert "wrote" in err
    assert "wrote" not in out
    assert len(list((here / "c").iterdir())) > 1


def test_curves_of_two_variables_of_a_core_of_a_run(typed, here, finished):
    path, folder, *_ = finished
    code, _, err = typed("curves", path, "--run", folder, "--vary", "thickness", "--vary", "passages", "--out", "c")
    assert code == 0, err
    assert len(pd.read_csv(here / "c/curves.csv")) == 6 * 3


def test_curves_need_no_value_of_what_they_vary(typed, here):
    words = [word for pair in PAIRS if not pair.startswith("thickness") for word in ("--core", pair)]
    assert typed("curves", "study.toml", *words, "--vary", "thickness", "--out", "c")[0] == 0


def test_report_draws_a_finished_run_again(typed, finished):
    _, folder, *_ = finished
    before = (folder / "summary.md").read_text(encoding="utf-8")
    code, out, err = typed("report", folder)
    assert (code, err) == (0, "")
    assert all(Path(line).is_file() for line in out.splitlines())
    assert str(folder / "summary.md") in out.splitlines()
    assert (folder / "summary.md").read_text(encoding="utf-8") == before


def test_benchmark_tells_rates(typed, here):
    code, out, err = typed("benchmark", "study.toml", "--cores", 100)
    assert (code, err) == (0, "")
    assert "cores/s" in out
    assert "one core alone" in out


# --- help -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself(typed, command):
    code, out, err = typed(command, "--help")
    assert (code, err) == (0, "")
    assert "Usage" in out


def test_help_lists_every_command_and_there_are_no_others(typed):
    code, out, _ = typed("--help")
    assert code == 0
    assert {command.name or command.callback.__name__ for command in cli.app.registered_commands} == set(COMMANDS)
    for command in COMMANDS:
        assert f"\n  {command} " in out


def test_no_command_at_all_shows_the_help_and_not_an_error(typed):
    code, out, err = typed()
    assert "Usage" in out + err
    assert "error: " not in err
    assert code in (0, 2)


# --- wrong input ----------------------------------------------------------------------------------------------------

WRONG = [
    ["bogus"], ["--bogus"], ["check"], ["check", "study.toml", "extra"], ["check", "nothing.toml"], ["check", "."],
    ["check", "catalogues/air_fins.toml"], ["check", "binary.toml"], ["check", "empty.toml"],
    ["rate"], ["rate", "study.toml"], ["rate", "study.toml", "--bogus"], ["rate", "study.toml", "--core"],
    ["rate", "study.toml", *CORE, "--core", "nonsense"], ["rate", "study.toml", *CORE, "--core", "thickness=7"],
    ["rate", "study.toml", *CORE, "--core", "thickness=7 kPa"], ["rate", "study.toml", *CORE, "--core", "air_fin=X"],
    ["rate", "study.toml", "--run", "nothing"], ["rate", "study.toml", "--run", "study.toml"],
    ["rate", "study.toml", "--run", "catalogues"], ["rate", "nothing.toml", *CORE],
    ["run"], ["run", "nothing.toml"], ["run", "study.toml", "--workers", "0"], ["run", "study.toml", "--workers", "x"],
    ["run", "study.toml", "--seed", "-1"], ["run", "study.toml", "--seed", "1.5"],
    ["run", "study.toml", "--out", "catalogues"], ["run", "study.toml", "--out", "study.toml"],
    ["run", "study.toml", "--out", "study.toml/deeper"], ["run", "study.toml", "--out", "/proc/finfront"],
    ["curves", "study.toml", *CORE], ["curves", "study.toml", *CORE, "--vary", "port"],
    ["curves", "study.toml", *CORE, "--vary", "length"], ["curves", "study.toml", *CORE, "--vary", "nonsense"],
    ["curves", "study.toml", *CORE, "--vary", "thickness", "--vary", "thickness"],
    ["curves", "study.toml", "--vary", "thickness"],
    ["curves", "study.toml", *CORE, "--vary", "thickness", "--out", "study.toml"],
    ["curves", "study.toml", *CORE, "--vary", "thickness", "--out", "study.toml/deeper"],
    ["report"], ["report", "nothing"], ["report", "catalogues"], ["report", "study.toml"],
    ["benchmark", "study.toml", "--cores", "0"], ["benchmark", "nothing.toml"], ["new"],
]  # fmt: skip


@pytest.mark.parametrize("words", WRONG, ids=lambda words: " ".join(words).replace(" ".join(CORE), "CORE"))
def test_wrong_input_is_refused_in_words(typed, here, words):
    (here / "binary.toml").write_bytes(bytes(range(256)))
    (here / "empty.toml").write_text("")
    message = typed.refused(*words)
    assert len(message.splitlines()) >= 2  # what, and where or what to do
    assert not (here / "results").exists()


@pytest.mark.parametrize("name", ["C999999", "nobody", ""])
def test_a_pick_the_run_does_not_hold_is_refused(typed, finished, name):
    path, folder, *_ = finished
    assert "knee" in typed.refused("rate", path, "--run", folder, "--pick", name)


def test_a_run_into_a_folder_that_is_in_use_leaves_it_alone(typed, finished):
    path = finished[0]
    before = {p.name: p.stat().st_mtime_ns for p in path.parent.iterdir() if p.is_file()}
    typed.refused("run", path, "--out", path.parent, "--workers", "1")
    assert {p.name: p.stat().st_mtime_ns for p in path.parent.iterdir() if p.is_file()} == before


@pytest.mark.parametrize("command", [["check"], ["run", "--workers", "1", "--out", "run"]], ids=" ".join)
def test_a_continuous_variable_where_only_steps_will_do_is_refused(typed, here, command):
    text = (here / "study.toml").read_text(encoding="utf-8").replace(', step = "10 mm"', "")
    (here / "study.toml").write_text(text.replace('method = "auto"', 'method = "sweep"'), encoding="utf-8")
    typed.refused(command[0], "study.toml", *command[1:])


@pytest.mark.parametrize("record", ["{}", "[]", '{"picks": {}}'])
@pytest.mark.parametrize("command", ["rate", "report"])
def test_a_damaged_run_is_refused(typed, here, command, record):
    (here / "run").mkdir()
    (here / "run" / runs.RECORD).write_text(record)
    typed.refused(*(["rate", "study.toml", "--run", "run"] if command == "rate" else ["report", "run"]))


# --- faults of ours, and interruptions ------------------------------------------------------------------------------


def test_an_unexpected_error_is_told_without_a_traceback_and_debug_shows_it(typed, here, monkeypatch):
    def broken(*_):
        raise RuntimeError("inside")

    monkeypatch.setattr("optimize.evaluate.CoreProblem.judge", broken)
    code, out, err = typed("rate", "study.toml", *CORE)
    assert (code, out) == (2, "")
    assert "RuntimeError: inside" in err
    assert "--debug" in err
    assert "Traceback" not in err
    monkeypatch.setattr(sys, "argv", ["finfront", "rate", "study.toml", *CORE, "--debug"])
    with pytest.raises(RuntimeError, match="inside"):
        cli.main()


@pytest.mark.parametrize("loading", [False, True])
def test_an_interruption_says_so_and_exits_130(typed, here, monkeypatch, loading):
    def stopped(*_):
        try:
            raise KeyboardInterrupt
        except KeyboardInterrupt as caught:
            if loading:  # what compiled modules make of it
                raise ImportError("initialization failed") from caught
            raise

    monkeypatch.setattr("optimize.job.search", stopped)
    code, out, err = typed("run", "study.toml", "--out", "run", "--workers", "1")
    assert (code, out) == (130, "")
    assert "stopped" in err
    assert "the same command goes on from there" in err
    assert "Traceback" not in err
    assert not (here / "run/run.json").exists()


def test_an_interrupted_run_can_be_started_again_into_the_same_folder(typed, here, monkeypatch, undrawn):
    with monkeypatch.context() as patch:
        patch.setattr("optimize.job.search", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
        typed("run", "study.toml", "--out", "run", "--workers", "1")
    assert typed("run", "study.toml", "--out", "run", "--workers", "1")[0] == 0


def test_results_survive_a_terminal_that_knows_no_unicode(finished):
    """The sheet has superscripts and degree signs; a C locale must not break it."""
    path, *_ = finished
    command = started([sys.executable, "-m", "optimize.cli", "rate", str(path), *CORE])
    environment = {"PATH": os.environ["PATH"], "LC_ALL": "C", "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    done = subprocess.run(command, capture_output=True, cwd=path.parent, env=environment)
    assert b"Traceback" not in done.stderr
    assert done.returncode == 0, done.stderr.decode()


def test_a_closed_pipe_is_no_fault_to_report(finished):
    """`finfront rate ... | head -1` must not end in a complaint."""
    path, *_ = finished
    command = started([sys.executable, "-m", "optimize.cli", "rate", str(path), *CORE])
    first = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=path.parent)
    first.stdout.close()
    err = first.stderr.read().decode()
    first.wait()
    assert "Traceback" not in err
    assert "report it" not in err


def test_the_installed_script_is_this_command_line():
    assert 'finfront = "optimize.cli:main"' in (ROOT / "pyproject.toml").read_text(encoding="utf-8")


# --- the bench ------------------------------------------------------------------------------------------------------


def test_a_core_is_fitted_accepted_and_its_model_used(typed, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    study, bench = ROOT / "studies/dune_racer.toml", ROOT / "studies/bench"
    run = ["--run", ROOT / "results/example"]
    code, out, err = typed("fit", study, bench / "flow_bench.csv", bench / "hot_test.csv", *run, "--out", "fit")
    assert code == 0
    assert "told by the rows" in out
    assert "What to measure next" in out
    written = {Path(line.removeprefix("wrote ")).name for line in err.splitlines() if line.startswith("wrote ")}
    assert written == {"model.toml", "fit.md", "corrections.csv", "rows.csv", "next.csv", "fit.png", "fit.svg"}
    assert all((tmp_path / "fit" / name).stat().st_size > 0 for name in written)
    code, out, _ = typed("accept", study, *run, "--loss", "2 %", "--out", "accepted")
    assert code == 0
    assert "accept from" in out
    assert (tmp_path / "accepted/acceptance.png").stat().st_size > 0
    assert "given twice" in typed.refused("fit", study, bench / "flow_bench.csv", bench / "flow_bench.csv", *run)
    assert "expected FILE:LINE" in typed.refused("fit", study, bench / "flow_bench.csv", *run, "--leave-out", "x")
    assert "between 0 and 100" in typed.refused("accept", study, *run, "--flow", "0 %")
