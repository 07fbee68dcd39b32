"""What the documents say of the code is so: modules, names, commands, tables, and the one message they quote."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from small_studies import write

from optimize import cli, runs
from optimize.study.starter import write_starter

ROOT = Path(__file__).parents[1]
README, DEVELOPERS = (ROOT / name for name in ("README.md", "DEVELOPERS.md"))
SOURCES = [path for package in ("physics", "optimize") for path in (ROOT / package).rglob("*.py")]
DONE = len(README.read_text(encoding="utf-8").splitlines()) > 20
written = pytest.mark.skipif(not DONE, reason="the README is not written yet")


def blocks(path: Path) -> list[str]:
    return re.findall(r"(?s)```\w*\n(.*?)```", path.read_text(encoding="utf-8"))


def map_names() -> list[tuple[str, str]]:
    """(package, name) of every module the map of DEVELOPERS.md names."""
    found, package = [], ""
    for line in blocks(DEVELOPERS)[0].splitlines():
        if not line.startswith(" "):
            package = line.split("/")[0]
            continue
        # Two columns of "name  what it does", or "one, two  what they do".
        for column in re.split(r"\s{3,}", line.strip()):
            match = re.match(r"((?:[a-z_]+/?)(?:, [a-z_]+)*)(?:  .*)?$", column)
            if match and package in ("physics", "optimize"):
                found += [(package, name.strip("/ ")) for name in match[1].split(",")]
    return found


def exists(package: str, name: str) -> bool:
    base = ROOT / package / name
    return base.with_suffix(".py").is_file() or (base / "__init__.py").is_file()


# --- DEVELOPERS.md --------------------------------------------------------------------------------------------------


def test_the_map_names_modules_that_are_there():
    lines = blocks(DEVELOPERS)[0].splitlines()
    words = {name for _, name in map_names()}
    assert {"properties", "core", "fins", "rating", "space", "job", "cli", "tables", "curves"} <= words
    first = [(p, n) for p, n in map_names() if any(re.match(rf"\s+{n}\b", line) for line in lines)]
    assert [f"{package}/{name}" for package, name in first if not exists(package, name)] == []


def test_every_module_has_its_place_on_the_map():
    text = blocks(DEVELOPERS)[0]
    missing = []
    for package in ("physics", "optimize"):
        for path in (ROOT / package).iterdir():
            name = path.stem
            known = path.suffix == ".py" or (path / "__init__.py").is_file()
            if known and not name.startswith("__") and not re.search(rf"(?m)(^|[\s,]){name}\b", text):
                missing.append(f"{package}/{name}")
    # Foundations without a line of their own.
    assert set(missing) - {"physics/arrays", "optimize/errors", "optimize/seeds"} == set()


def test_every_file_and_folder_named_in_backticks_is_there():
    text = DEVELOPERS.read_text(encoding="utf-8") + README.read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:physics|optimize|tests|studies)/[\w./]*)`", text))
    assert named
    assert [name for name in sorted(named) if not (ROOT / name).exists()] == []


def test_dotted_names_in_backticks_are_modules_or_what_they_hold():
    text = DEVELOPERS.read_text(encoding="utf-8")
    for dotted in set(re.findall(r"`((?:physics|optimize)\.[a-z_.]+)`", text)):
        package, *rest = dotted.split(".")
        assert exists(package, "/".join(rest)), dotted


def test_names_of_the_how_to_add_part_are_in_the_files_it_sends_the_reader_to():
    text = DEVELOPERS.read_text(encoding="utf-8")
    for names, file in (
        (("AIR_FAMILIES", "COOLANT_FAMILIES"), "physics/fins/__init__.py"), (("_SHAPES",), "optimize/space.py"),
        (("margin_names", "margins"), "optimize/feasibility.py"), (("FinFamily", "Bound"), "physics/fins/family.py"),
    ):  # fmt: skip
        for name in names:
            assert name in text
            assert re.search(rf"\b{name}\b", (ROOT / file).read_text(encoding="utf-8")), (name, file)


def nomenclature() -> list[str]:
    text = DEVELOPERS.read_text(encoding="utf-8").split("## Nomenclature")[1]
    rows = [line.split("|")[2] for line in text.splitlines() if line.startswith("|")][2:]
    return [name for cell in rows for name in re.findall(r"`([^`]+)`", cell)]


@pytest.mark.parametrize("name", nomenclature())
def test_every_name_of_the_nomenclature_is_used_in_the_code(name):
    physics = "\n".join(path.read_text(encoding="utf-8") for path in SOURCES if "physics" in path.parts)
    # Whole, or behind the side it belongs to: air_mass_velocity.
    assert re.search(rf"(\b|_){re.escape(name.split('.')[-1])}\b", physics)


def test_the_commands_for_developers_run_what_is_there():
    text = DEVELOPERS.read_text(encoding="utf-8")
    assert (ROOT / ".ci/run").is_file()
    for module in re.findall(r"python -m ([\w.]+)", text):
        package, *rest = module.split(".")
        assert exists(package, "/".join(rest)), module
    assert "slow" in (ROOT / "pyproject.toml").read_text(encoding="utf-8")


# --- README.md ------------------------------------------------------------------------------------------------------


def commands() -> list[str]:
    return [command.name or command.callback.__name__ for command in cli.app.registered_commands]


@written
def test_every_command_is_in_the_readme_and_it_names_no_other():
    text = README.read_text(encoding="utf-8")
    for command in commands():
        assert re.search(rf"finfront {command}\b", text), command
    named = set(re.findall(r"(?m)^(?:.*/)?finfront ([a-z]+)\b", "\n".join(blocks(README))))
    assert named <= set(commands())


@written
def test_every_option_in_the_readme_is_one(capsys):
    helped = ""
    for command in commands():
        sys_argv, sys.argv = sys.argv, ["finfront", command, "--help"]
        try:
            with pytest.raises(SystemExit):
                cli.main()
        finally:
            sys.argv = sys_argv
        helped += capsys.readouterr().out
    text = re.sub(r"(?m)pip install.*?(&&|$)|^dask .*$", "", README.read_text(encoding="utf-8"))
    for option in set(re.findall(r"(?<![\w-])--[a-z]+\b", text)) - {"--quiet", "--editable"}:
        assert option in helped, option


@written
def test_the_readme_has_one_command_to_run_and_one_to_test():
    lines = "\n".join(blocks(README)).splitlines()
    setups = [line for line in lines if line.startswith("python3 -m venv")]
    assert len(setups) == 2
    run, test = setups
    study = re.search(r"finfront run (\S+)", run)
    assert (ROOT / study[1]).is_file()
    assert "'.[test]'" in test
    assert test.endswith("pytest")


@written
def test_no_placeholder_is_left_in_the_readme():
    assert re.findall(r"@[A-Z]+@|TODO|FIXME", README.read_text(encoding="utf-8")) == []


@written
def test_the_message_the_readme_quotes_is_what_finfront_says(tmp_path, monkeypatch):
    (quoted,) = [block for block in blocks(README) if block.startswith("error: ")]
    key = re.search(r"unknown key '(\w+)'", quoted)
    assert key
    monkeypatch.chdir(tmp_path)
    write_starter("study.toml")
    fins = tmp_path / "catalogues/air_fins.toml"
    fins.write_text(fins.read_text(encoding="utf-8").replace("fin_density =", f"{key[1]} =", 1), encoding="utf-8")
    command = "import sys\nsys.argv = ['finfront', 'check', 'study.toml']\nfrom optimize.cli import main\nmain()"
    done = subprocess.run([sys.executable, "-c", command], capture_output=True, text=True, cwd=tmp_path)
    assert done.returncode == 2

    def without_place(message: str) -> list[str]:
        return [line for line in message.strip().splitlines() if "where:" not in line]

    # Not its place: folders and lines differ between the starter and the reader's own files.
    assert without_place(quoted)[0] in done.stderr
    assert without_place(quoted)[1] in done.stderr


@written
def test_the_pass_layouts_of_the_readme_can_be_written(tmp_path):
    text = README.read_text(encoding="utf-8")
    for layout in re.findall(r'`"(1|N [a-z ]+)"`', text):
        path = write(tmp_path, name=f"{layout.replace(' ', '_')}.toml", passes=f'"{layout.replace("N", "2")}"')
        assert tomllib.loads(path.read_text(encoding="utf-8"))["core"]["passes"]
        from optimize.study.load import load

        load(path)


@written
def test_the_exit_codes_of_the_readme_are_those_of_the_command_line():
    text = " ".join(README.read_text(encoding="utf-8").split())
    assert re.search(r"Exit codes: 0 .* 1 nothing feasible.* 2 bad input.* 130 interrupted", text)
    assert re.search(r"Exit codes: 0 .* 1 nothing feasible.* 2 bad input.* 130 interrupted", cli.__doc__)


# --- results/README.md ----------------------------------------------------------------------------------------------


def test_every_table_and_file_of_a_run_is_in_the_readme_of_the_results():
    text = (ROOT / "results/README.md").read_text(encoding="utf-8")
    for table in runs.TABLES:
        assert f"`{table}.csv`" in text, table
    for file in (runs.RECORD, runs.SHEETS, "summary.md", "report.html", "figures/", "study.toml"):
        assert f"`{file}`" in text, file
    named = set(re.findall(r"`(\w+)\.csv`", text))
    assert named == set(runs.TABLES)


def test_the_docstring_of_runs_names_every_table():
    for table in runs.TABLES:
        assert f"{table}.csv" in runs.__doc__
