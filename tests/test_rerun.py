"""A run carried over to a changed study: fates by hand, the front of a fresh run, worths by fresh sweeps."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from small_studies import SMALL, write

from optimize import job, method, runs
from optimize.begun import begun
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.report import write_report
from optimize.report.rerun_data import rerun_data, worth_words
from optimize.rerun.answer import BEATEN, DIES, REPAIRED, STAYS, answer
from optimize.rerun.lines import survey_lines
from optimize.rerun.survey import Survey, surveyed, warm_front
from optimize.rerun.worth import changes, worth_table
from optimize.search.sweep import sweep
from optimize.study.load import load
from optimize.study.model import Study

NOW = datetime(2026, 3, 9, 14, 5, 6, tzinfo=UTC)
KEYS = SMALL | {"thickness": '{ from = "40 mm", to = "90 mm", step = "5 mm" }', "draws": "0"}


def quiet(*_):
    pass


def carried_out(asked: Study, out: Path, survey: Survey | None = None) -> job.Outcome:
    """What the command does between the survey and the drawing."""
    start = None if survey is None else survey.start
    also = None if survey is None else (lambda _, archive, __: answer(survey, archive))
    with begun(asked, out, NOW, method.search_plan(CoreProblem(asked)), start) as work:
        return job.run(asked, work.folder, 1, work.made, quiet, work.store, start, also)


def changed(place: Path, name: str, *swaps: tuple[str, str]) -> Study:
    text = place.read_text(encoding="utf-8")
    for old, new in swaps:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    other = place.with_name(name)
    other.write_text(text, encoding="utf-8")
    return load(other)


def dimension(place: Path, key: str) -> str:
    """The line of a dimension of the pocket, as the starter has it."""
    return next(line for line in place.read_text(encoding="utf-8").splitlines() if line.startswith(f"{key} = "))


@pytest.fixture(scope="module")
def place(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("studies")
    return write(folder, **KEYS)


@pytest.fixture(scope="module")
def before(place, tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("runs") / "before"
    carried_out(load(place), folder)
    return folder


@pytest.fixture(scope="module")
def shallower(place) -> Study:
    """The pocket lower by 12 mm in all, so that the thick cores no longer fit."""
    asked = load(place)
    depth = 1e3 * asked.envelope.pocket_depth
    return changed(place, "shallower.toml", (dimension(place, "pocket_depth"), f'pocket_depth = "{depth - 12:g} mm"'))


@pytest.fixture(scope="module")
def survey(before, shallower) -> Survey:
    return surveyed(before, shallower)


@pytest.fixture(scope="module")
def after(shallower, survey, tmp_path_factory) -> job.Outcome:
    return carried_out(shallower, tmp_path_factory.mktemp("runs") / "after", survey)


def test_the_front_of_a_rerun_is_that_of_a_fresh_run_bit_for_bit(shallower, after, tmp_path):
    fresh = carried_out(shallower, tmp_path / "fresh")
    for name in ("front", "designs", "limits"):
        assert (after.folder / f"{name}.csv").read_bytes() == (fresh.folder / f"{name}.csv").read_bytes()


def test_the_survivors_lead_to_the_exact_front_with_a_part_of_the_ratings(survey, after):
    warm = warm_front(survey)
    front = after.tables["front"]
    assert len(warm) == len(front)
    record = after.record["rerun"]["warm"]
    assert record["found"] == record["front"] == len(front)
    assert record["share"] == pytest.approx(1.0)


def test_a_core_dies_or_is_repaired_exactly_where_its_thickness_stands_above_the_lid(before, shallower, after):
    """The only requirement that a lower pocket takes from these cores, by hand: thickness against depth and room."""
    room = 1e3 * (shallower.envelope.pocket_depth + shallower.envelope.proud_height)
    old = runs.read(before).tables["front"].set_index("core")
    fates = after.tables["fates"]
    assert set(fates["core_before"]) == set(old.index)
    for row in fates.itertuples():
        over = old.loc[row.core_before, "thickness [mm]"] - room
        told = "clearance, thickness under the lid" in row.because
        assert told == (over > 1e-9)
        if over > 1e-9:
            assert f"thickness under the lid by {over:.3g} mm" in row.because
            assert row.fate in (REPAIRED, DIES)
        elif not row.because:
            assert row.fate in (STAYS, BEATEN)
    assert (fates["fate"] == REPAIRED).any()


def test_a_repair_changes_little_and_keeps_everything(survey):
    assert survey.repairs
    for i, point in survey.repairs.items():
        assert not survey.alive[i]
        assert (survey.problem.evaluate(point[None, :]).margins >= 0).all()


def test_cores_that_keep_their_place_are_told_so(before, place, tmp_path):
    """A wider lid lets nothing die, and what is on the front stays there or is beaten by what now fits."""
    asked = load(place)
    depth = 1e3 * asked.envelope.pocket_depth
    deeper = changed(place, "deeper.toml", (dimension(place, "pocket_depth"), f'pocket_depth = "{depth + 10:g} mm"'))
    outcome = carried_out(deeper, tmp_path / "deeper", surveyed(before, deeper))
    fates = outcome.tables["fates"]
    assert set(fates["fate"]) <= {STAYS, BEATEN}
    assert (fates["because"] == "").all()
    front = outcome.tables["front"]
    titles = [o["column"] for o in outcome.record["objectives"]]
    rows = {tuple(np.round(row, 9)) for row in front[titles].to_numpy()}
    for row in fates.itertuples():
        values = tuple(np.round(fates.loc[row.Index, [f"now {t}" for t in titles]].to_numpy(float), 9))
        assert (row.fate == STAYS) == (values in rows)
    assert outcome.record["rerun"]["hypervolume"]["after"] >= outcome.record["rerun"]["hypervolume"]["before"] - 1e-12


def with_depth(asked: Study, by: float) -> Study:
    return replace(asked, envelope=replace(asked.envelope, pocket_depth=asked.envelope.pocket_depth + by))


def with_width(asked: Study, by: float) -> Study:
    return replace(asked, envelope=replace(asked.envelope, pocket_width=asked.envelope.pocket_width + by))


def with_loss(asked: Study, by: float) -> Study:
    first = asked.limits[0]
    assert first.output == "air_pressure_drop"
    return replace(asked, limits=(replace(first, maximum=first.maximum + by), *asked.limits[1:]))


@pytest.fixture(scope="module")
def worth(place) -> tuple[CoreProblem, pd.DataFrame]:
    problem = CoreProblem(load(place))
    table, judged = worth_table(problem, sweep(problem).front.points)
    assert judged < problem.space.size
    return problem, table


@pytest.mark.parametrize(("what", "by", "made", "amount"), [
    *[("pocket depth", by, with_depth, 1e-3 * by) for by in (-10.0, -5.0, 5.0, 10.0)],
    *[("pocket width", by, with_width, 1e-3 * by) for by in (-10.0, -2.0, 5.0, 10.0)],
    *[("limit: air loss, total, worst (max)", share, with_loss, share) for share in (-0.1, -0.05, 0.05, 0.1)],
])  # fmt: skip
def test_a_worth_is_that_of_a_fresh_sweep_of_the_changed_study(worth, what, by, made, amount):
    problem, table = worth
    if what.startswith("limit"):
        bound = problem.study.limits[0].maximum
        by, amount = by * bound / 1e3, amount * bound
    row = table[(table["what"] == what) & np.isclose(table["by"], by)]
    assert len(row) == 1
    front = sweep(CoreProblem(made(problem.study, amount))).front
    assert row["cores on the front"].item() == len(front)
    from optimize.tables import objective_columns

    for title, values in objective_columns(problem, front.objectives).items():
        best = values.max() if title.startswith("heat") else values.min()
        assert row[f"best {title}"].item() == pytest.approx(best, rel=1e-12)


def test_every_dimension_and_limit_is_moved_both_ways(worth):
    problem, _ = worth
    moved = changes(problem)
    assert {c.what for c in moved} >= {"pocket length", "pocket width", "pocket depth", "proud height"}
    assert len({c.what for c in moved}) == 4 + len(problem.study.limits)
    for c in moved:
        if not c.what.startswith("limit"):
            assert (np.sign(c.shift[c.shift != 0]) == np.sign(c.by)).all()


def test_a_part_no_longer_in_the_catalogue_kills_its_cores_by_name(before, place, tmp_path):
    asked = load(place)
    used = runs.read(before).tables["front"]["air_fin"].iloc[0]
    rolls = {name: roll for name, roll in asked.air_fins.items() if name != used}
    key = "core.air_fin"
    variable = asked.variables[key]
    fewer = replace(
        asked, air_fins=rolls,
        variables=asked.variables | {key: replace(variable, values=tuple(v for v in variable.values if v != used))},
    )
    survey = surveyed(before, fewer)
    lost = [text for text in survey.carried.lacks if text]
    assert lost
    assert set(lost) == {f"no air fin '{used}' in the catalogue"}
    assert not survey.alive[~survey.carried.possible].any()


def test_nothing_left_is_an_answer(before, place, tmp_path):
    none = changed(place, "none.toml", (dimension(place, "pocket_length"), 'pocket_length = "100 mm"'))
    survey = surveyed(before, none)
    assert not survey.alive.any()
    assert "keeps everything" in "\n".join(survey_lines(survey))
    outcome = carried_out(none, tmp_path / "none", survey)
    assert not outcome.feasible
    assert set(outcome.tables["fates"]["fate"]) == {DIES}
    write_report(outcome.folder)
    assert "0 stays on the front" in (outcome.folder / "summary.md").read_text(encoding="utf-8")


def test_other_objectives_are_told_of_the_old_front_too(before, place, tmp_path):
    asked = load(place)
    text = place.read_text(encoding="utf-8")
    assert 'maximise = "heat_rejected"' in text
    other = changed(place, "other.toml", ('maximise = "heat_rejected"', 'minimise = "air_outlet_temperature"'))
    outcome = carried_out(other, tmp_path / "other", surveyed(before, other))
    fates = outcome.tables["fates"]
    column = next(c for c in fates if c.startswith("before air_outlet_temperature"))
    assert np.allclose(fates[column], fates[column.replace("before", "now")])
    assert asked.objectives != other.objectives


def test_an_evolution_starts_from_the_survivors_and_says_what_that_saved(place, tmp_path):
    asked = changed(
        place, "evolve.toml", ('method = "auto"', 'method = "evolve"'),
        (dimension(place, "evaluations"), "evaluations = 2000"), (dimension(place, "population"), "population = 60"),
    )
    carried_out(asked, tmp_path / "before")
    less = changed(
        place.with_name("evolve.toml"), "less.toml",
        (dimension(place, "pocket_depth"), f'pocket_depth = "{1e3 * asked.envelope.pocket_depth - 12:g} mm"'),
    )
    survey = surveyed(tmp_path / "before", less)
    warm = carried_out(less, tmp_path / "warm", survey)
    record = warm.record["rerun"]["warm"]
    assert 0 < record["cold_rated"] <= 2000
    exact = sweep(CoreProblem(less)).front
    assert len(warm.tables["front"]) == len(exact)
    assert len(survey.start) > 0


def test_the_report_tells_before_and_after_and_draws_it(after):
    written = {path.name for path in write_report(after.folder)}
    assert {"before_after.png", "worth.png"} <= written
    text = (after.folder / "summary.md").read_text(encoding="utf-8")
    assert "## Before and after" in text
    assert "the new front is exact" in text
    page = (after.folder / "report.html").read_text(encoding="utf-8")
    assert 'id="before-and-after"' in page
    data = rerun_data(runs.read(after.folder))
    assert len(data.old) == len(after.tables["fates"])
    said = {worth.what: worth_words(worth, data.titles) for worth in data.worths}
    assert "less" in said["pocket depth"]


def test_a_run_without_a_store_cannot_be_carried_over(before, shallower, tmp_path):
    (tmp_path / "bare").mkdir()
    for path in before.iterdir():
        if path.is_file() and "sqlite" not in path.name:
            (tmp_path / "bare" / path.name).write_bytes(path.read_bytes())
    with pytest.raises(FinfrontError, match="keeps no evaluated designs"):
        surveyed(tmp_path / "bare", shallower)
    with pytest.raises(FinfrontError, match="no finished run"):
        surveyed(tmp_path, shallower)
