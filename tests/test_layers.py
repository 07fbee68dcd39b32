"""Who may import whom, read from the syntax trees, and what a bare `finfront --help` must not wait for."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGES = ("physics", "optimize")
SOURCES = sorted(path for package in PACKAGES for path in (ROOT / package).rglob("*.py"))
REPORT = [path for path in SOURCES if path.is_relative_to(ROOT / "optimize/report")]
TEXT_SUFFIXES = {".py", ".md", ".toml", ".csv", ".json", ".svg", ""}

# The one module each that may import it.
DOORS = {
    "pint": "optimize/units.py",
    "joblib": "optimize/workers.py", "distributed": "optimize/cluster.py", "moocore": "optimize/pareto.py",
    "tree_sitter": "optimize/study/lines.py", "tree_sitter_toml": "optimize/study/lines.py",
}  # fmt: skip
# The folders each.
ROOMS = {
    "CoolProp": ("physics/property_fits.py", "optimize/benchmark"), "pymoo": ("optimize/benchmark",),
    "typer": ("optimize/cli",), "rich": ("optimize/cli",), "optuna": ("optimize/search", "optimize/benchmark"),
    "pydantic": ("optimize/study",), "pydantic_core": ("optimize/study",), "xlsxwriter": ("optimize/handover",),
    "matplotlib": ("optimize/report", "optimize/handover"), "OCP": ("optimize/handover",),
    "ezdxf": ("optimize/drawing",), "bokeh": ("optimize/report/page",), "jinja2": ("optimize/report/page",),
}  # fmt: skip
# Slow to load: imported where used, never at the top of a module.
SLOW = (
    "CoolProp", "pint", "optuna", "joblib", "moocore", "matplotlib", "pandas", "scipy", "xlsxwriter", "OCP",
    "ezdxf", "bokeh", "jinja2", "distributed", "pymoo", "tree_sitter", "tree_sitter_toml",
)  # fmt: skip
CORE = [word for pair in (
    "air_fin=S20-80", "turbulator=TS-25-16", "passes=2 through the thickness", "thickness=65 mm", "passages=12",
    "port=R25", "line=-16",
) for word in ("--core", pair)]  # fmt: skip
NO_NAMES = {"utils", "util", "helpers", "helper", "misc", "common", "manager", "tools", "stuff"}
FORGOTTEN = re.compile(r"shared/|/work/|/tmp/|/home/|/root/|/Users/|[A-Z]:\\\\")


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def module_of(path: Path) -> str:
    return name_of(path).removesuffix(".py").removesuffix("/__init__").replace("/", ".")


def is_later(node: ast.AST) -> bool:
    """Not run when the module is loaded."""
    if isinstance(node, ast.If):
        return "TYPE_CHECKING" in ast.unparse(node.test)
    return isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda))


def imports(path: Path, top_only: bool = False) -> set[str]:
    """Full names of what a module imports; `top_only` leaves out functions and what is for the type checker alone."""
    found: set[str] = set()

    def visit(node: ast.AST) -> None:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.Import):
                found.update(alias.name for alias in child.names)
            elif isinstance(child, ast.ImportFrom):
                assert child.level == 0, f"{name_of(path)}: write imports in full"
                found.update(f"{child.module}.{alias.name}" for alias in child.names)
            elif top_only and is_later(child):
                continue
            visit(child)

    visit(ast.parse(path.read_text(encoding="utf-8")))
    return found


def starts(names: set[str], package: str) -> bool:
    return any(name == package or name.startswith(package + ".") for name in names)


def loaded_by(code: str) -> set[str]:
    """Modules loaded after a piece of code in a fresh interpreter."""
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys\nprint('\\n'.join(sys.modules))"], capture_output=True, text=True,
        cwd=ROOT,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return set(done.stdout.splitlines())


@pytest.mark.parametrize("path", [p for p in SOURCES if p.is_relative_to(ROOT / "physics")], ids=name_of)
def test_physics_imports_nothing_of_optimize(path):
    assert not starts(imports(path), "optimize")


@pytest.mark.parametrize("package", DOORS)
def test_one_module_alone_imports(package):
    assert [name_of(path) for path in SOURCES if starts(imports(path), package)] == [DOORS[package]]


@pytest.mark.parametrize("package", ROOMS)
def test_its_rooms_alone_import(package):
    importers = [name_of(path) for path in SOURCES if starts(imports(path), package)]
    assert importers
    rooms = tuple(room if room.endswith(".py") else f"{room}/" for room in ROOMS[package])
    assert [name for name in importers if not name.startswith(rooms)] == []


@pytest.mark.parametrize("path", SOURCES, ids=name_of)
def test_slow_libraries_are_imported_where_they_are_used(path):
    assert [package for package in SLOW if starts(imports(path, top_only=True), package)] == []


@pytest.mark.parametrize("path", REPORT, ids=name_of)
def test_the_report_neither_rates_nor_searches_nor_reads_studies(path):
    forbidden = ("physics.rating", "physics.core", "optimize.evaluate", "optimize.search", "optimize.space",
                 "optimize.feasibility", "optimize.tolerance", "optimize.job", "optimize.study.load")  # fmt: skip
    assert [name for name in forbidden if starts(imports(path), name)] == []


def test_drawing_a_report_loads_no_rating_and_no_search():
    modules = ", ".join(module_of(path) for path in REPORT)
    loaded = loaded_by(f"import {modules}")
    assert {"physics.rating", "optimize.evaluate", "optimize.search.sweep", "optuna", "joblib"} & loaded == set()


def test_studies_are_read_without_rating_or_searching():
    loaded = loaded_by("import optimize.study.load")
    assert {"physics.rating", "optimize.evaluate", "optimize.search.sweep"} & loaded == set()


def test_the_search_knows_nothing_of_cores_and_studies():
    for path in (p for p in SOURCES if p.is_relative_to(ROOT / "optimize/search")):
        names = imports(path)
        assert [n for n in names if n.startswith("physics.") and not n.startswith("physics.arrays")] == []
        assert not starts(names, "optimize.study")
        assert not starts(names, "optimize.evaluate")
        assert not starts(names, "optimize.space")


def test_the_command_line_is_imported_by_nobody():
    others = [path for path in SOURCES if not path.is_relative_to(ROOT / "optimize/cli")]
    assert [name_of(path) for path in others if starts(imports(path), "optimize.cli")] == []


@pytest.mark.parametrize(("words", "needed", "not_needed"), [
    (("--help",), "typer", ("numpy", "pydantic")),
    (("check", "studies/tow_rig_us_units.toml"), "optimize.study.load", ()),
    (("check", "studies/frost_sprint.toml"), "optimize.study.load", ()),
    (("rate", "studies/dune_racer.toml", *CORE), "physics.rating", ("optimize.tables", "optimize.runs")),
])  # fmt: skip
def test_a_command_waits_for_no_slow_library_it_does_not_use(words, needed, not_needed):
    code = f"import sys\nsys.argv = {['finfront', *words]}\nfrom optimize.cli import main\ntry:\n    main()\n"
    loaded = loaded_by(f"{code}except SystemExit as left:\n    assert left.code == 0")
    assert needed in loaded
    assert [package for package in (*SLOW, *not_needed) if starts(loaded, package)] == []


def test_rating_needs_no_property_library_and_no_search():
    loaded = loaded_by("import physics.rating, physics.fins, physics.properties")
    assert [package for package in (*SLOW, "optimize") if starts(loaded, package)] == []


def test_imports_make_no_circle():
    """Every module can be the first one imported, one after the other in one interpreter that forgets."""
    names = [module_of(path) for path in SOURCES]
    code = (
        "import importlib, sys\n"
        f"for name in {names!r}:\n"
        "    for loaded in [m for m in sys.modules if m.split('.')[0] in ('physics', 'optimize')]:\n"
        "        del sys.modules[loaded]\n"
        "    importlib.import_module(name)\n"
    )
    loaded_by(code)


# --- files ----------------------------------------------------------------------------------------------------------


def tracked() -> list[Path]:
    """Files of the repository; without git, every text beside the packages that is not made by a tool."""
    listed = subprocess.run(["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"], cwd=ROOT,
                            capture_output=True, text=True)  # fmt: skip
    if listed.returncode == 0 and listed.stdout:
        return [ROOT / name for name in listed.stdout.split("\0") if name and (ROOT / name).is_file()]
    tops = ["physics", "optimize", "tests", "studies", "results/README.md", "README.md", "DEVELOPERS.md"]
    return [p for top in tops for p in ([ROOT / top] if (ROOT / top).is_file() else (ROOT / top).rglob("*"))
            if p.is_file() and "__pycache__" not in p.parts]  # fmt: skip


def test_no_file_is_named_for_nothing_in_particular():
    assert [name_of(path) for path in tracked() if NO_NAMES & set(re.split(r"[_.\-]", path.stem.lower()))] == []


def test_no_file_names_a_place_on_one_machine():
    found = []
    for path in tracked():
        if path.suffix in TEXT_SUFFIXES and path != Path(__file__):
            text = path.read_text(encoding="utf-8", errors="replace")
            found += [f"{name_of(path)}: {match[0]}" for match in FORGOTTEN.finditer(text)]
    assert found == []


@pytest.mark.parametrize("path", SOURCES, ids=name_of)
def test_every_module_says_what_it_is_and_keeps_to_its_length(path):
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 320
    if text.strip():
        assert ast.get_docstring(ast.parse(text)), "a module begins with a docstring"


@pytest.mark.parametrize("path", SOURCES, ids=name_of)
def test_no_function_is_longer_than_forty_lines(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    functions = [node for node in ast.walk(tree) if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef))]
    assert [f.name for f in functions if f.end_lineno - f.lineno + 1 > 40] == []
