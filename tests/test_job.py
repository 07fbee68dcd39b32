"""The whole job, on studies small enough to check by hand-written loops, and its folder read back from disk."""

import hashlib
import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from small_studies import ROOT, SMALL, points, problem, study, with_limits, with_variable, write

from optimize import job, method, runs
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.pareto import normalised_hypervolume
from optimize.report.summary import summary
from optimize.search.evolve import evolve
from optimize.search.sweep import sweep
from optimize.seeds import stream
from optimize.study.load import load
from optimize.study.model import Limit, Objective, Study
from optimize.tolerance.draws import FACTORS
from physics.outputs import CLEARANCES, OUTPUTS

NOW = datetime(2026, 3, 9, 14, 5, 6, tzinfo=UTC)
HEAT, LOSS = "heat_rejected@full_power [kW]", "air_pressure_drop@full_power [kPa]"


def quiet(*_):
    pass


def small(**changes) -> Study:
    s = study(**SMALL)
    return replace(s, search=replace(s.search, **changes)) if changes else s


def run(s, folder: Path, workers: int = 1) -> job.Outcome:
    folder.mkdir(exist_ok=True)
    return job.run(s, folder, workers, NOW, quiet)


def content(folder: Path, pattern: str = "*.csv") -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.glob(pattern))}


def record_of(folder: Path) -> dict:
    return json.loads((folder / runs.RECORD).read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> job.Outcome:
    return run(small(), tmp_path_factory.mktemp("one"))


@pytest.fixture(scope="module")
def everything() -> tuple[CoreProblem, np.ndarray, pd.DataFrame]:
    """Every core of the small study, rated, with its verdict written out here limit by limit."""
    p = CoreProblem(small())
    grid = np.stack(np.meshgrid(*(np.arange(a.size) for a in p.axes), indexing="ij"), axis=-1).reshape(-1, len(p.axes))
    rating, choices = p.rate_points(grid.astype(float)), p.space.choices(grid.astype(float))
    fits = np.all([rating[name] >= 0 for name in CLEARANCES], axis=0)
    layouts = [p.space.variables["passes"].values[int(i)] for i in grid[:, p.space.names.index("passes")]]
    banks = np.array([n % 2 == 0 or layout != "2 side by side"
                      for n, layout in zip(choices["passages"], layouts, strict=True)])  # fmt: skip
    kept = (rating["air_pressure_drop"].max(axis=1) <= 12e3) & (rating["coolant_pressure_drop"].max(axis=1) <= 25e3)
    table = pd.DataFrame({
        "heat": rating["heat_rejected"][:, 0], "loss": rating["air_pressure_drop"][:, 0],
        "coolant_loss": rating["coolant_pressure_drop"].max(axis=1), "mass": rating["dry_mass"],
        "feasible": fits & banks & kept,
    })  # fmt: skip
    return p, grid, table


# --- the search -----------------------------------------------------------------------------------------------------


def test_the_front_of_a_sweep_is_what_a_plain_loop_over_all_pairs_finds(done, everything):
    _, _, table = everything
    good = table[table["feasible"]]
    rows = list(zip(good["heat"], good["loss"], good["coolant_loss"], good["mass"], good.index, strict=True))
    front = []
    for a in rows:
        beaten = False
        for b in rows:
            better = (b[0] > a[0] and b[1] <= a[1]) or (b[0] >= a[0] and b[1] < a[1])
            tie = b[:2] == a[:2] and b[2:] < a[2:]  # least coolant loss, then the lightest, then the first
            if better or tie:
                beaten = True
                break
        if not beaten:
            front.append(a[4])
    found = done.tables["front"]
    assert 10 < len(front) == len(found)
    # All axes but one order the grid here as the search orders it: outer axes first.
    assert sorted(found["core"]) == sorted(f"C{i}" for i in front)


def test_counts_are_those_of_every_core(done, everything):
    _, grid, table = everything
    record = done.record
    assert record["space"] == record["rated"] == len(grid)
    assert record["feasible"] == int(table["feasible"].sum())
    assert record["not_computable"] == int(table["heat"].isna().sum())
    assert (record["method"], record["exact"]) == ("sweep", True)


def test_limits_count_the_cores_each_requirement_turns_away(done, everything):
    p, grid, _ = everything
    margins = p.evaluate(grid.astype(float)).margins
    bad = margins < 0
    table = done.tables["limits"].set_index("requirement")
    for i, name in enumerate(p.margin_names):
        assert table.loc[name, "cores_turned_away"] == bad[:, i].sum()
        assert table.loc[name, "by_it_alone"] == (bad[:, i] & (bad.sum(axis=1) == 1)).sum()
        assert table.loc[name, "share [%]"] == pytest.approx(100 * bad[:, i].mean())
    assert table["cores_turned_away"].is_monotonic_decreasing


def test_designs_hold_three_layers_and_samples_each_core_once(done, everything):
    _, _, table = everything
    designs = done.tables["designs"]
    assert designs["core"].is_unique
    assert set(designs["layer"]) == {0, 1, 2, 3}
    assert set(designs.loc[designs["layer"] > 0, "feasible"]) == {"yes"}
    truth = table["feasible"].to_numpy()[designs["core"].str[1:].astype(int)]
    assert np.array_equal(truth, designs["feasible"] == "yes")
    front = designs[designs["layer"] == 1]["core"].tolist()
    assert front == done.tables["front"]["core"].tolist()


# --- the folder -----------------------------------------------------------------------------------------------------


def test_a_run_folder_holds_everything_and_reads_back(done):
    files = {path.relative_to(done.folder).as_posix() for path in done.folder.rglob("*") if path.is_file()}
    assert files == {
        "run.json", "study.toml", "designs.csv", "front.csv", "yield.csv", "percentiles.csv", "clouds.csv",
        "nested.csv", "truncated.csv", "indices.csv", "sensitivities.csv", "budget.csv", "curves.csv", "limits.csv",
        "sheets.json", "catalogues/air_fins.toml", "catalogues/turbulators.toml", "catalogues/ports.toml",
        "catalogues/measured/m17_64.csv",
    }  # fmt: skip
    back = runs.read(done.folder)
    assert back.record == json.loads(json.dumps(done.record))
    for name, table in done.tables.items():
        assert list(back.tables[name].columns) == list(table.columns), name
        assert len(back.tables[name]) == len(table), name


def test_the_study_in_a_run_folder_is_the_same_question(done):
    again = load(done.folder / "study.toml")
    assert replace(again, path="") == replace(small(), path="")


def test_catalogues_from_another_folder_come_into_the_run_too(tmp_path):
    """A study may name ../catalogues: what it read there belongs to the answer as well."""
    text = write(tmp_path, **SMALL).read_text(encoding="utf-8").replace('"catalogues/', '"../catalogues/')
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine/study.toml").write_text(text.replace('draws = 32', 'draws = 0'), encoding="utf-8")
    s = load(tmp_path / "mine/study.toml")
    run(s, tmp_path / "run")
    written = [path.name for path in (tmp_path / "run").rglob("*.toml")]
    assert {"air_fins.toml", "turbulators.toml", "ports.toml"} <= set(written)


def test_the_record_says_what_was_asked_and_how_it_was_answered(done):
    s, record = small(), done.record
    assert record["study_sha256"] == hashlib.sha256(s.text.encode()).hexdigest()
    assert (record["title"], record["study"], record["seed"], record["units"]) == (s.title, "study.toml", 1, "SI")
    assert record["made"] == "2026-03-09T14:05:06+00:00"
    assert record["workers"] == 1
    assert record["versions"]["finfront"]
    assert record["variables"] == ["air_fin", "turbulator", "passes", "thickness", "passages", "port"]
    assert record["duty"] == ["full_power"]
    assert record["out_of_range"] == "flag"
    assert record["scatter"] == {"draws": 32, "confidence": 0.95, "kinds": ["shop", "model"], "lost": {},
                                 "each_look": 0.95, "nested": [64, 256]}
    assert record["seconds"]["search"] > 0
    assert record["cores_per_second"] == pytest.approx(record["rated"] / record["seconds"]["search"])
    assert record["front"] == len(done.tables["front"])


def test_objectives_and_limits_of_the_record_name_their_columns_and_bounds(done):
    objectives, limits = done.record["objectives"], done.record["limits"]
    assert [(o["output"], o["maximise"], o["column"]) for o in objectives] == [
        ("heat_rejected", True, HEAT), ("air_pressure_drop", False, LOSS),
    ]  # fmt: skip
    assert [(one["output"], one["side"], one["unit"]) for one in limits] == [
        ("air_pressure_drop", "max", "kPa"), ("coolant_pressure_drop", "max", "kPa"),
    ]  # fmt: skip
    assert [one["bound"] for one in limits] == pytest.approx([12.0, 25.0])
    for objective in objectives:
        assert objective["column"] in done.tables["front"]
        assert objective["column"] in done.tables["clouds"]
    assert {one["requirement"] for one in limits} <= set(done.tables["limits"]["requirement"])


def test_picks_are_the_extremes_of_the_front_table(done):
    front = done.tables["front"].set_index("core")
    picks = done.record["picks"]
    assert set(picks) == {"knee", "most cooling", "least air loss"}
    assert picks["most cooling"] == front[HEAT].idxmax()
    assert picks["least air loss"] == front[LOSS].idxmin()
    for name, core in picks.items():
        assert name in front.loc[core, "pick"].split(", ")
        assert set(done.record["bands"][name]) == set(FACTORS)


def test_the_hypervolume_is_the_area_under_the_staircase(done):
    given, front = done.record["hypervolume"], done.tables["front"].sort_values(HEAT, ascending=False)
    heat, loss = -front[HEAT].to_numpy() * 1e3, front[LOSS].to_numpy() * 1e3
    (x1, y1), (x0, y0) = given["reference"], given["ideal"]
    area, ceiling = 0.0, y1
    for x, y in zip(heat, loss, strict=True):  # from most cooling on: each step lowers the ceiling
        area += (x1 - x) * (ceiling - y)
        ceiling = y
    assert given["share"] == pytest.approx(area / ((x1 - x0) * (y1 - y0)), rel=1e-9)
    assert (x0, y0) == pytest.approx((heat.min(), loss.min()))
    assert x1 == pytest.approx(heat.max() + 0.1 * np.ptp(heat))


def test_every_front_core_is_scattered_in_every_kind(done):
    cores = done.tables["front"]["core"].tolist()
    yields, clouds = done.tables["yield"], done.tables["clouds"]
    every = yields[yields["requirement"] == "every limit"]
    assert every["core"].tolist() == cores
    assert set(every["scatter"]) == {"shop"}
    assert len(clouds) == 32 * 2 * len(cores)
    assert np.all(yields["low [%]"] <= yields["share [%]"])
    assert np.all(yields["share [%]"] <= yields["high [%]"])


def test_curves_go_round_the_knee_along_every_scale(done):
    curves = done.tables["curves"]
    assert curves["varied"].unique().tolist() == ["thickness", "passages"]
    knee = done.tables["front"].set_index("core").loc[done.record["picks"]["knee"]]
    at = curves[(curves["varied"] == "thickness") & np.isclose(curves["thickness [mm]"], knee["thickness [mm]"])]
    assert at[HEAT].to_numpy() == pytest.approx([knee[HEAT]], rel=1e-12)
    assert at["fails"].tolist() == [""]


def test_progress_is_told_step_by_step_to_its_end(tmp_path):
    calls = []
    job.run(small(), tmp_path, 1, NOW, lambda what, done, total: calls.append((what, done, total)))
    told = {"cores rated", "front cores scattered", "calculation sheets"}
    assert {what for what, _, _ in calls} == told
    for what in told:
        steps = [(done, total) for name, done, total in calls if name == what]
        assert [done for done, _ in steps] == sorted(done for done, _ in steps)
        assert steps[-1][0] == steps[-1][1]


# --- repeatable -----------------------------------------------------------------------------------------------------


def test_two_workers_write_the_bytes_of_one(done, tmp_path):
    two = run(small(), tmp_path / "two", workers=2)
    assert content(two.folder) == content(done.folder)
    own = ("workers", "seconds", "cores_per_second")
    one_record, two_record = ({k: v for k, v in record_of(o.folder).items() if k not in own} for o in (done, two))
    assert one_record == two_record


def test_the_same_seed_writes_the_same_bytes_and_another_seed_other_copies(done, tmp_path):
    again = run(small(), tmp_path / "again")
    assert content(again.folder) == content(done.folder)
    other = content(run(replace(small(), seed=2), tmp_path / "other").folder)
    assert other["front.csv"] == content(done.folder)["front.csv"]  # a sweep draws nothing
    assert other["clouds.csv"] != content(done.folder)["clouds.csv"]


def test_an_evolution_repeats_itself_and_follows_its_seed(tmp_path):
    s = small(method="evolve", evaluations=240, population=30)
    s = replace(s, scatter=replace(s.scatter, draws=0))
    first, again, other = (
        run(replace(s, seed=seed), tmp_path / name) for name, seed in (("a", 5), ("b", 5), ("c", 6))
    )
    assert content(first.folder) == content(again.folder)
    assert content(first.folder)["designs.csv"] != content(other.folder)["designs.csv"]
    assert (first.record["method"], first.record["exact"]) == ("evolve", False)
    assert first.record["rated"] <= 240


def test_a_certified_front_is_the_sweep_s_and_told_as_such(done, tmp_path):
    outcome = run(small(method="certify"), tmp_path)
    for name in ("front.csv", "misses.csv", "limits.csv", "yield.csv"):
        assert content(outcome.folder).get(name) == content(done.folder).get(name), name
    record = outcome.record
    assert (record["method"], record["exact"], record["space"]) == ("certify", True, done.record["space"])
    assert (record["counted"], record["feasible"]) == (done.record["rated"], done.record["feasible"])
    text = summary(runs.read(outcome.folder))
    assert f"exact over {record['space']:,} cores: {record['rated']:,} ratings in full" in text
    assert "drawn evenly meet everything" in text


def test_what_cannot_be_certified_is_refused(tmp_path):
    continuous = study(**SMALL | {"thickness": '{ from = "40 mm", to = "90 mm" }', "method": '"certify"'})
    with pytest.raises(FinfrontError, match="needs steps"):
        run(continuous, tmp_path)
    boundless = small(method="certify")
    boundless = replace(boundless, objectives=(Objective("port_area", False, None), *boundless.objectives[:1]))
    with pytest.raises(FinfrontError, match="'port_area' has no bound"):
        run(boundless, tmp_path)


def test_large_spaces_are_certified_where_bounds_and_no_copies_are_asked():
    racer = load(ROOT / "studies" / "dune_racer_fine.toml")
    assert method.search_method(CoreProblem(racer)) == "certify"
    boundless = replace(racer, objectives=(Objective("port_area", False, None), *racer.objectives))
    assert method.search_method(CoreProblem(boundless)) == "evolve"


# --- edges ----------------------------------------------------------------------------------------------------------


def test_nothing_feasible_leaves_the_nearest_misses_and_says_so(tmp_path):
    s = with_limits(small(), Limit("air_pressure_drop", None, 10.0, "worst"))
    outcome = run(s, tmp_path)
    assert not outcome.feasible
    assert set(outcome.tables) == {"designs", "limits", "misses"}
    misses = runs.read(tmp_path).tables["misses"]
    assert len(misses) == 10
    assert misses["fails"].str.contains("air loss, total, worst").all()
    assert (outcome.record["front"], outcome.record["picks"], outcome.record["hypervolume"]) == (0, {}, None)


def test_the_misses_are_the_nearest_of_all_cores_and_told_by_how_much(tmp_path, everything):
    p, grid, _ = everything
    s = with_limits(small(), Limit("air_pressure_drop", None, 10.0, "worst"))
    run(s, tmp_path)
    misses = runs.read(tmp_path).tables["misses"]
    judged = CoreProblem(s).evaluate(grid.astype(float))
    short = np.where(judged.margins < 0, -judged.margins, 0.0).sum(axis=1)
    assert p.space.names == CoreProblem(s).space.names
    told = short[misses["core"].str[1:].astype(int)]
    assert told[0] == pytest.approx(short.min(), rel=1e-12)
    assert np.all(np.diff(told) > -1e-9)
    # Nothing nearer is left out, but for cores that miss by the very same.
    nearer = short[short < told[-1] * (1 - 1e-9)]
    assert np.all(np.abs(nearer[:, None] - told).min(axis=1) < 1e-9)


def test_a_study_in_which_no_core_can_be_computed_still_ends_in_a_folder(tmp_path):
    s = small()
    s = replace(s, duty=tuple(replace(point, air_flow=90.0) for point in s.duty))
    outcome = run(s, tmp_path)
    assert not outcome.feasible
    assert outcome.record["not_computable"] == outcome.record["rated"]
    assert len(runs.read(tmp_path).tables["misses"]) == 0


def one_core() -> Study:
    s = study(**SMALL)
    fixed = {"core.thickness": 0.07, "core.passages": 10.0, "core.passes": "1", "core.air_fin": "S18-64",
             "core.turbulator": "TS-20-16", "tanks.port": "R22"}  # fmt: skip
    for key, value in fixed.items():
        s = with_variable(s, key, value)
    return s


def test_a_study_of_one_core_is_answered_with_that_core(tmp_path):
    outcome = run(one_core(), tmp_path)
    assert outcome.record["rated"] == outcome.record["feasible"] == len(outcome.tables["front"]) == 1
    assert outcome.record["variables"] == []
    assert "curves" not in outcome.tables
    assert set(outcome.tables["yield"]["scatter"]) == {"shop"}
    assert set(outcome.tables["clouds"]["scatter"]) == {"shop", "model"}


@pytest.mark.parametrize("s", [one_core(), small()], ids=["one core", "fewer cores than the budget"])
def test_an_evolution_of_a_space_smaller_than_its_budget_finds_the_front_of_the_sweep(tmp_path, s, done):
    fewer = with_variable(with_variable(s, "core.air_fin", "S18-64"), "core.turbulator", "TS-20-16")
    evolved = replace(fewer, search=replace(fewer.search, method="evolve", evaluations=1200, population=60))
    found, exact = run(evolved, tmp_path / "evolve"), run(fewer, tmp_path / "sweep")
    assert np.sort(found.tables["front"][HEAT]) == pytest.approx(np.sort(exact.tables["front"][HEAT]), rel=1e-12)


def test_a_continuous_variable_makes_auto_evolve(tmp_path):
    s = study(**SMALL | {"thickness": '{ from = "40 mm", to = "90 mm" }', "draws": "0"})
    outcome = run(replace(s, search=replace(s.search, evaluations=300, population=30)), tmp_path)
    assert (outcome.record["method"], outcome.record["space"]) == ("evolve", None)
    assert "yield" not in outcome.tables
    thickness = outcome.tables["front"]["thickness [mm]"]
    assert thickness.between(40, 90).all()


def test_a_sweep_over_a_continuous_variable_is_a_fault_of_the_user(tmp_path):
    """Told when the study is read, or at the latest by the job; not an unexpected error."""
    with pytest.raises(FinfrontError):
        run(study(**SMALL | {"thickness": '{ from = "40 mm", to = "90 mm" }', "method": '"sweep"'}), tmp_path)


def test_a_space_too_large_to_sweep_is_certified_or_evolved(monkeypatch):
    monkeypatch.setattr(method, "LARGEST_SWEEP", 1000)
    s = small(evaluations=200, population=20)
    assert method.search_method(CoreProblem(s)) == "certify"
    s = replace(s, objectives=(Objective("effectiveness", True, "worst"), *s.objectives[1:]))
    used, archive = method.search(CoreProblem(s), 1, quiet)
    assert used == "evolve"
    assert archive.rated <= 200


def test_a_study_that_refuses_cores_out_of_range_has_none_on_its_front(tmp_path, done):
    outcome = run(small(out_of_range="refuse"), tmp_path)
    ranges = ("air_fin_range", "coolant_fin_range", "air_temperature", "coolant_temperature")
    assert not outcome.tables["front"]["flags"].str.contains("|".join(ranges)).any()
    assert outcome.record["feasible"] < done.record["feasible"]


def test_three_objectives_with_worst_and_mean_have_their_columns(tmp_path):
    s = with_variable(small(), "core.air_fin", "S18-64")
    s = replace(s, objectives=(
        replace(s.objectives[0], at="mean"), replace(s.objectives[1], at="worst"),
        replace(s.objectives[1], output="filled_mass", at=None),
    ))  # fmt: skip
    outcome = run(s, tmp_path)
    for objective in outcome.record["objectives"]:
        for table in ("front", "designs", "clouds"):
            assert objective["column"] in outcome.tables[table], (table, objective["column"])
    assert set(outcome.record["picks"]) == {"knee", "most cooling", "least air loss", "lightest"}


# --- sweep against evolve -------------------------------------------------------------------------------------------


def share_found(p: CoreProblem, evaluations: int, population: int) -> float:
    """Hypervolume of the evolved front over that of the exact one."""
    exact = sweep(p, 2).front.objectives
    seed = int(stream(p.study.seed, "search").generate_state(1)[0])
    found = evolve(p, seed, evaluations, population).front.objectives
    best, worst = exact.min(axis=0), exact.max(axis=0)
    reference = worst + 0.1 * (worst - best)
    return normalised_hypervolume(found, best, reference) / normalised_hypervolume(exact, best, reference)


def test_an_evolution_comes_near_the_exact_front_of_a_coarse_dune_racer():
    s = load(ROOT / "studies/dune_racer.toml")
    steps = {"core.thickness": 10, "core.passages": 2, "core.air_fin": 4, "core.turbulator": 3, "tanks.port": 2}
    for key, step in steps.items():
        s = with_variable(s, key, *s.variables[key].values[::step])
    p = CoreProblem(s)
    assert 10_000 < p.space.size < 20_000
    assert share_found(p, 1000, 50) >= 0.95


@pytest.mark.slow
def test_an_evolution_of_fifty_thousand_reaches_99_percent_of_the_dune_racers_front():
    s = load(ROOT / "studies/dune_racer.toml")
    assert share_found(CoreProblem(s), 50_000, s.search.population) >= 0.99


def test_every_front_core_keeps_every_limit_it_was_given(done):
    front = done.tables["front"]
    assert (front[LOSS] <= 12).all()
    assert (front["coolant_pressure_drop@full_power [kPa]"] <= 25).all()
    for name in CLEARANCES:
        assert (front[f"{name} [mm]"] >= 0).all()
    own = {name for name, output in OUTPUTS.items() if not output.needs}
    assert own == {column.split("@")[0].split(" [")[0] for column in front.columns} & set(OUTPUTS)


def test_points_of_a_front_lead_back_to_their_cores(done):
    p = problem(**SMALL)
    archive = sweep(p)
    table = p.space.choices(archive.front.points)
    assert table["thickness"] * 1e3 == pytest.approx(done.tables["front"]["thickness [mm]"].to_numpy())
    assert points(p, 2).shape == (2, len(p.axes))
