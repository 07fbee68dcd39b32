"""Several runs and several cores: ranges against every subset, comparisons field by field, the list of runs, notes."""

import json
import re
import shutil
from datetime import UTC, datetime
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from figure_texts import cut_off, overlaps
from hostile import hostile
from small_studies import SECOND_DUTY, write
from test_rerun import KEYS, carried_out, changed, dimension

from optimize import method, runs, store
from optimize.begun import begun
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.export import export_trials
from optimize.history import history, text_of
from optimize.notes import FILE, LONGEST, add_note, notes_of
from optimize.one_writer import one_writer
from optimize.pareto import hypervolume
from optimize.report import write_report
from optimize.report.compare_figure import draw_fronts, write_compare_figure
from optimize.report.range_figure import draw_range
from optimize.report.style import house_style
from optimize.several import subset
from optimize.several.candidates import candidates
from optimize.several.compare import compared
from optimize.several.compare_text import comparison_text, write_comparison
from optimize.several.parts import PartKind, different_parts, shared
from optimize.several.range_of_cores import range_of
from optimize.several.range_tables import cores_table, drawn_range, parts_table, range_text, write_range
from optimize.several.subset import Choice, best_levels, best_of_two, dominated_with
from optimize.study.load import load

NOW = datetime(2026, 3, 9, 14, 5, 6, tzinfo=UTC)


@pytest.fixture(scope="module")
def place(tmp_path_factory) -> Path:
    return write(tmp_path_factory.mktemp("studies"), **KEYS)


@pytest.fixture(scope="module")
def folder(place, tmp_path_factory) -> Path:
    """A folder with runs: as the starter asks, with a shallower pocket, with a second duty point."""
    folder = tmp_path_factory.mktemp("results")
    asked = load(place)
    carried_out(asked, folder / "first")
    depth = 1e3 * asked.envelope.pocket_depth
    less = changed(place, "less.toml", (dimension(place, "pocket_depth"), f'pocket_depth = "{depth - 12:g} mm"'))
    carried_out(less, folder / "second")
    twice = place.with_name("twice.toml")
    twice.write_text(place.read_text(encoding="utf-8") + SECOND_DUTY, encoding="utf-8")
    carried_out(load(twice), folder / "duties")
    return folder


# --- subsets --------------------------------------------------------------------------------------------------------


def invented(seed: int, objectives: int, n: int = 12) -> tuple[np.ndarray, tuple[PartKind, ...]]:
    """Cores in the unit box, and four kinds of parts of three sorts each."""
    random = np.random.default_rng(seed)
    kinds = tuple(PartKind(f"k{i}", random.integers(0, 3, n), ("a", "b", "c")) for i in range(4))
    return random.random((n, objectives)), kinds


def choice_of(rows: np.ndarray, kinds: tuple[PartKind, ...], count: int) -> Choice:
    return Choice(
        len(rows), count, count * len(kinds),
        lambda chosen, slot: (
            dominated_with(rows[np.delete(chosen, slot)], rows), different_parts(kinds, chosen, slot)
        ), True,
    )  # fmt: skip


def brute_force(rows: np.ndarray, kinds: tuple[PartKind, ...], count: int) -> dict[int, float]:
    """The best hypervolume of every set of at most so many parts, by its number of parts where that is gained by it."""
    best: dict[int, float] = {}
    for some in combinations(range(len(rows)), count):
        parts = sum(len({kind.codes[i] for i in some}) for kind in kinds)
        best[parts] = max(best.get(parts, 0.0), hypervolume(rows[list(some)], np.ones(rows.shape[1])))
    return {n: v for n, v in best.items() if all(v > other + 1e-12 for m, other in best.items() if m < n)}


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_the_chain_of_greatest_hypervolume_is_that_of_every_subset(seed, count):
    random = np.random.default_rng(seed)
    x = np.sort(random.random(9))
    front = np.stack([x, np.sort(random.random(9))[::-1]], axis=1)[random.permutation(9)]
    reference = np.array([1.1, 1.1])
    best = max(hypervolume(front[list(some)], reference) for some in combinations(range(9), count))
    chosen = best_of_two(front, reference, count)
    assert len(chosen) == count
    assert hypervolume(front[chosen], reference) == pytest.approx(best, rel=1e-12)


@pytest.mark.parametrize("tried", [10**6, 0], ids=["every set", "exchange"])
@pytest.mark.parametrize("objectives", [2, 3])
@pytest.mark.parametrize("seed", range(5))
def test_the_best_sets_for_each_number_of_parts_are_those_of_all_sets(seed, objectives, tried, monkeypatch):
    monkeypatch.setattr(subset, "MOST_TRIED", tried)
    rows, kinds = invented(seed, objectives)
    found, every = best_levels(choice_of(rows, kinds, 3), [np.array([0, 1, 2]), np.array([3, 6, 9])])
    assert every == bool(tried)
    assert {level.parts: level.cover for level in found} == pytest.approx(brute_force(rows, kinds, 3), rel=1e-9)
    for level in found:
        assert len(set(level.chosen.tolist())) == 3
        assert sum(len(np.unique(kind.codes[level.chosen])) for kind in kinds) == level.parts


@pytest.mark.parametrize("objectives", [2, 3, 4])
@pytest.mark.parametrize("held", [0, 1, 4, 7])
def test_what_a_set_dominates_with_each_candidate_is_the_library_s_hypervolume(objectives, held):
    random = np.random.default_rng(held)
    rest, candidates_ = random.random((held, objectives)), random.random((30, objectives)) * 1.2
    found = dominated_with(rest, candidates_)
    for row, share in zip(candidates_, found, strict=True):
        inside = np.minimum(np.vstack([rest, row]), 1.0)
        assert share == pytest.approx(hypervolume(inside, np.ones(objectives)), abs=1e-12)


def test_different_parts_are_counted_by_hand():
    kinds = (PartKind("fin", np.array([0, 0, 1]), ("a", "b")), PartKind("port", np.array([0, 0, 0]), ("p",)))
    assert different_parts(kinds, np.array([0, 1]), 1).tolist() == [2, 2, 3]  # beside core 0
    assert shared(2, 2, 2) == 1.0
    assert shared(3, 2, 2) == 0.5  # the port, not the fin
    assert shared(3, 2, 3) == 0.75  # three parts where two would do, four at most beyond them
    assert shared(2, 2, 1) == 1.0


# --- a range --------------------------------------------------------------------------------------------------------


def test_without_weight_a_range_is_the_best_cover_of_all_subsets(folder):
    found = range_of(folder / "first", 3, 0.0)
    c = found.candidates
    front = c.objectives[: c.front]
    assert len(front) == len(runs.read(folder / "first").tables["front"])
    reference = front.max(axis=0) + 0.1 * np.ptp(front, axis=0)
    best = max(hypervolume(front[list(some)], reference) for some in combinations(range(len(front)), 3))
    assert hypervolume(c.objectives[found.chosen.chosen], reference) == pytest.approx(best, rel=1e-12)
    assert found.chosen.cover == pytest.approx(best / hypervolume(front, reference), rel=1e-9)


def test_with_full_weight_two_cores_share_more_than_any_other_two(folder):
    found = range_of(folder / "first", 2, 1.0)
    kinds = found.candidates.kinds
    every = combinations(range(len(found.candidates.names)), 2)
    fewest = min(sum(1 + (k.codes[a] != k.codes[b]) for k in kinds) for a, b in every)
    assert found.chosen.parts == fewest
    assert found.method == "every set was tried"


@pytest.mark.parametrize("duties", [(), ("full_power", "long_climb")])
@pytest.mark.parametrize("count", [2, 3, 5])
def test_more_weight_never_needs_more_parts_and_never_covers_more(folder, count, duties):
    found = [range_of(folder / "duties", count, weight, duties) for weight in (0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0)]
    parts, cover = ([getattr(f.chosen, name) for f in found] for name in ("parts", "cover"))
    assert parts == sorted(parts, reverse=True)
    assert cover == sorted(cover, reverse=True)


def test_one_core_a_duty_is_the_best_there(folder):
    c = candidates(runs.read(folder / "duties"))
    found = range_of(folder / "duties", 9, 0.0, ("long_climb", "full_power"))
    rating = c.problem.rate_choices(c.choices, len(c.names))
    for core, duty in zip(found.chosen.chosen, (1, 0), strict=True):
        heat, loss = rating["heat_rejected"][:, duty], rating["air_pressure_drop"][:, duty]
        on_front = slice(0, c.front)
        score = (heat[on_front].max() - heat) / np.ptp(heat[on_front])
        score += (loss - loss[on_front].min()) / np.ptp(loss[on_front])
        assert score[core] == pytest.approx(score.min(), abs=1e-12)


def test_a_run_without_a_store_gives_the_same_range(folder, tmp_path):
    shutil.copytree(folder / "first", tmp_path / "old")
    (tmp_path / "old" / store.FILE).unlink()
    old, new = (range_of(place, 3, 0.5) for place in (tmp_path / "old", folder / "first"))
    assert set(old.candidates.names) == set(new.candidates.names)  # so small a sweep is kept whole in both
    assert [old.candidates.names[i] for i in old.chosen.chosen] == [new.candidates.names[i] for i in new.chosen.chosen]


def test_what_sharing_costs_each_core_is_told_against_the_unshared_and_the_front(folder):
    found = range_of(folder / "first", 3, 1.0)
    cores, designs = cores_table(found), runs.read(folder / "first").tables["designs"].set_index("core")
    free = {found.candidates.names[i] for i in found.free.chosen}
    titles = [o["column"] for o in runs.read(folder / "first").record["objectives"]]
    front = set(found.candidates.names[: found.candidates.front])
    assert set(cores["in_place_of"]) == free
    for _, row in cores.iterrows():
        assert row["nearest_on_front"] in front
        for other, what in ((row["in_place_of"], "above_unshared"), (row["nearest_on_front"], "above_front")):
            for title in titles:
                column = next(c for c in cores.columns if c.startswith(f"{title.split('@')[0]}_{what}"))
                expected = designs.loc[row["core"], title] - designs.loc[other, title]
                assert row[column] == pytest.approx(expected, abs=1e-6)


def test_the_parts_list_names_every_part_once_and_whom_it_serves(folder, tmp_path):
    found = range_of(folder / "first", 3, 0.5)
    parts, cores = parts_table(found), cores_table(found)
    assert len(parts) == found.chosen.parts
    assert set(", ".join(parts["serves"]).split(", ")) == set(cores["core"])
    for kind in found.candidates.kinds:
        own = parts[parts["part"] == kind.name]
        assert sum(len(served.split(", ")) for served in own["serves"]) == 3
    fins = parts[parts["part"] == "air fin roll"].set_index("what")["serves"]
    for row in cores.itertuples():
        assert row.core in fins[row.air_fin]
    written = {path.name for path in write_range(found, tmp_path / "out")}
    assert written == {"cores.csv", "parts.csv", "trade.csv", "range.md"}
    assert "What sharing costs" in range_text(found)


def test_a_tank_is_shared_where_stack_thickness_and_passes_agree_and_bars_where_heights_do(folder):
    c = candidates(runs.read(folder / "first"))
    kinds = {kind.name: kind.codes for kind in c.kinds}
    n = len(c.names)
    stack = c.problem.rate_choices(c.choices, n)["stack_height"]
    thickness, passes, fin = (np.broadcast_to(c.choices[name], n) for name in ("thickness", "passes", "air_fin"))
    heights = np.array([roll.values["spacing"] for roll in c.problem.study.air_fins.values()])[fin.astype(int)]
    for a, b in combinations(range(min(n, 40)), 2):
        same = abs(stack[a] - stack[b]) < 1e-9 and thickness[a] == thickness[b] and passes[a] == passes[b]
        assert (kinds["tanks"][a] == kinds["tanks"][b]) == same
        assert (kinds["air bars"][a] == kinds["air bars"][b]) == (heights[a] == heights[b])


def test_a_range_that_cannot_be_is_refused(folder, tmp_path):
    with pytest.raises(FinfrontError, match="no duty point 'cruise'"):
        range_of(folder / "first", 3, 0.0, ("cruise",))
    with pytest.raises(FinfrontError, match="named twice"):
        range_of(folder / "first", 3, 0.0, ("full_power", "full_power"))
    with pytest.raises(FinfrontError, match="fewer than 999"):
        range_of(folder / "first", 999, 0.0)
    with pytest.raises(FinfrontError, match="no finished run"):
        range_of(tmp_path, 3, 0.0)


@pytest.mark.parametrize("count", [2, 4, 8])
def test_labels_of_a_range_s_figure_do_not_overlap(folder, count):
    for duties in ((), ("full_power", "long_climb")):
        with house_style():
            figure = draw_range(drawn_range(range_of(folder / "duties", count, 0.3, duties)))
            assert (overlaps(figure), cut_off(figure)) == ([], [])


# --- compare --------------------------------------------------------------------------------------------------------


def test_a_comparison_tells_what_differs_and_rates_each_core_under_both(folder, tmp_path):
    found = compared([folder / "first", folder / "second"])
    assert found.changes["field"].tolist() == ["envelope.pocket_depth"]
    for front, name in zip(found.fronts, ("first", "second"), strict=True):
        table = runs.read(folder / name).tables["front"]
        assert list(front.cores) == table["core"].tolist()
        assert np.allclose(front.values, table[list(found.objectives)].to_numpy(), rtol=1e-6)
    assert found.hypervolumes[0] >= found.hypervolumes[1]
    room = 1e3 * sum((load(folder / "second/study.toml").envelope.pocket_depth,
                      load(folder / "second/study.toml").envelope.proud_height))  # fmt: skip
    picks = found.picks.set_index(["run", "core"])
    for row in found.crossed.itertuples():
        name = row.of
        over = picks.loc[(name, row.core), "thickness [mm]"] - room if row.under == "second" else -1.0
        assert ("thickness under the lid" in row.verdict) == (over > 1e-9)
        if row.under == name:
            assert row.verdict == "keeps everything"
    assert {path.name for path in write_comparison(found, tmp_path)} >= {"compare.md", "crossed.csv"}
    assert "envelope.pocket_depth" in comparison_text(found)


def test_a_run_compared_with_itself_differs_in_nothing(folder):
    found = compared([folder / "first", folder / "first"])
    assert found.changes.empty
    assert found.hypervolumes[0] == found.hypervolumes[1]
    assert [front.name for front in found.fronts] == ["first (1)", "first (2)"]


def test_one_run_alone_is_refused(folder):
    with pytest.raises(FinfrontError, match="nothing to be compared"):
        compared([folder / "first"])


def test_a_core_whose_fin_the_other_catalogue_lacks_cannot_be_made_there(folder, place, tmp_path):
    fins = place.parent / "catalogues" / "air_fins.toml"
    knee = runs.read(folder / "first").record["picks"]["knee"]
    designs = runs.read(folder / "first").tables["designs"].set_index("core")
    lacking = designs.loc[knee, "air_fin"]
    shutil.copytree(place.parent, tmp_path / "studies")
    text = fins.read_text(encoding="utf-8")
    (tmp_path / "studies/catalogues/air_fins.toml").write_text(
        re.sub(rf"\b{re.escape(lacking)}\b", "Z99-99", text), encoding="utf-8"
    )
    study = tmp_path / "studies" / place.name
    study.write_text(
        re.sub(rf"\b{re.escape(lacking)}\b", "Z99-99", study.read_text(encoding="utf-8")), encoding="utf-8"
    )
    carried_out(load(study), tmp_path / "renamed")
    crossed = compared([folder / "first", tmp_path / "renamed"]).crossed
    own = crossed[(crossed["core"] == knee) & (crossed["of"] == "first") & (crossed["under"] == "renamed")].iloc[0]
    assert own["verdict"] == f"cannot be made: no air fin '{lacking}' in the catalogue"
    assert own[list(compared([folder / "first", folder / "second"]).objectives)].isna().all()


def test_runs_in_other_units_are_shown_in_the_first_s(folder, place, tmp_path):
    us = tmp_path / "us"
    shutil.copytree(place.parent, us)
    study = write(us, place.name, units='"US"')
    carried_out(load(study), tmp_path / "american")
    found = compared([tmp_path / "american", folder / "first"])
    assert all("[hp]" in title or "[psi]" in title for title in found.objectives)
    own, other = found.fronts
    assert np.allclose(own.values, other.values, rtol=1e-9)  # the same cores
    assert found.hypervolumes[0] == pytest.approx(found.hypervolumes[1], rel=1e-9)
    assert "everything is shown in US" in " ".join(found.remarks)
    heat = runs.read(folder / "first").tables["front"]["heat_rejected@full_power [kW]"].to_numpy()
    assert np.sort(other.values[:, 0]) == pytest.approx(np.sort(heat / 0.745699872), rel=1e-6)


def test_a_limit_that_differs_is_drawn_with_the_name_of_its_run(folder, place, tmp_path):
    losses = np.sort(runs.read(folder / "first").tables["front"]["air_pressure_drop@full_power [kPa]"])
    between = f"{losses[-3:-1].mean():.3g}"
    tighter = changed(place, "tighter.toml", ('max = "12 kPa"', f'max = "{between} kPa"'))
    carried_out(tighter, tmp_path / "tighter")
    found = compared([folder / "first", tmp_path / "tighter"])
    texts = [line.text for line in found.limits]
    assert any(text.startswith(f"limit {between} kPa") and text.endswith("tighter") for text in texts)
    with house_style():
        figure = draw_fronts(found.fronts, found.objectives, found.limits, found.title)
        assert (overlaps(figure), cut_off(figure)) == ([], [])


def test_a_run_that_found_nothing_is_compared_all_the_same(folder, place, tmp_path):
    width = dimension(place, "pocket_width")
    carried_out(changed(place, "narrow.toml", (width, 'pocket_width = "30 mm"')), tmp_path / "narrow")
    found = compared([folder / "first", tmp_path / "narrow"])
    assert "narrow found no core that meets everything" in found.remarks
    assert found.hypervolumes[1] == 0.0
    assert all("pocket width" in row.verdict for row in found.crossed.itertuples() if row.under == "narrow")
    files = write_compare_figure(found.fronts, found.objectives, found.limits, found.title, tmp_path)
    assert {path.name for path in files} == {"compare.png", "compare.svg"}


@pytest.mark.parametrize("key", ["seed", "picks", "title", "limits"])
def test_a_run_whose_record_lacks_something_is_told_as_damaged(folder, tmp_path, key):
    shutil.copytree(folder / "first", tmp_path / "run")
    record = json.loads((tmp_path / "run" / runs.RECORD).read_text(encoding="utf-8"))
    record.pop(key)
    (tmp_path / "run" / runs.RECORD).write_text(json.dumps(record), encoding="utf-8")
    with pytest.raises(FinfrontError, match=f"damaged.*{key}"):
        compared([folder / "first", tmp_path / "run"])


def test_a_title_that_is_a_script_is_a_text_on_every_page(folder, tmp_path):
    shutil.copytree(folder / "first", tmp_path / "run")
    record = json.loads((tmp_path / "run" / runs.RECORD).read_text(encoding="utf-8"))
    record["title"] = "<script>alert(1)</script> | # x"
    (tmp_path / "run" / runs.RECORD).write_text(json.dumps(record), encoding="utf-8")
    write_range(range_of(tmp_path / "run", 2, 0.5), tmp_path)
    write_comparison(compared([tmp_path / "run", folder / "second"]), tmp_path)
    for page in ("range.md", "compare.md"):
        assert "<script>" not in (tmp_path / page).read_text(encoding="utf-8")


# --- the list, and notes --------------------------------------------------------------------------------------------


def test_the_list_shows_every_run_and_one_bad_folder_hides_none(folder, place, tmp_path):
    shutil.copytree(folder, tmp_path / "all")
    everything = tmp_path / "all"
    (everything / "no_run").mkdir()
    for name, text in (("broken", "{"), ("empty", "{}"), ("list", "[]")):
        (everything / name).mkdir()
        (everything / name / runs.RECORD).write_text(text)
    (everything / "noise").mkdir()
    undated = json.loads((everything / "second" / runs.RECORD).read_text()) | {"made": "on a Thursday"}
    (everything / "undated").mkdir()
    (everything / "undated" / runs.RECORD).write_text(json.dumps(undated))
    (everything / "noise" / store.FILE).write_bytes(bytes(range(256)) * 40)
    asked = load(place)
    with begun(asked, everything / "open", NOW, method.search_plan(CoreProblem(asked))):
        assert "being written" in text_of(history(everything))
    entries = {entry.folder.name: " ".join(entry.lines) for entry in history(everything)}
    assert set(entries) == {"first", "second", "duties", "broken", "empty", "list", "noise", "open", "undated"}
    record = json.loads((everything / "first" / runs.RECORD).read_text())
    for told in (f"seed {record['seed']}", f"{record['rated']:,} cores", f"{record['front']:,} on the front",
                 f"knee {record['picks']['knee']}"):  # fmt: skip
        assert told in entries["first"]
    assert "unfinished" in entries["open"]
    for name in ("broken", "empty", "list", "noise", "undated"):
        assert "cannot be read" in entries[name]


def test_a_run_s_own_folder_lists_that_run(folder):
    assert [entry.folder for entry in history(folder / "first")] == [folder / "first"]


def test_the_newest_run_comes_first(folder):
    made = [entry.made for entry in history(folder)]
    assert made == sorted(made, reverse=True)
    with pytest.raises(FinfrontError, match="no folder"):
        history(folder / "nothing")


def test_notes_are_kept_in_order_and_shown_and_do_no_harm(folder, tmp_path):
    shutil.copytree(folder / "first", tmp_path / "run")
    run = tmp_path / "run"
    add_note(run, "chosen for\ntooling", NOW)
    add_note(run, "<script>alert(1)</script> =1+1 | # x", NOW)
    assert notes_of(run) == [
        "2026-03-09 14:05 chosen for tooling", "2026-03-09 14:05 <script>alert(1)</script> =1+1 | # x",
    ]  # fmt: skip
    write_report(run)
    assert "chosen for tooling" in (run / "summary.md").read_text(encoding="utf-8")
    page = (run / "report.html").read_text(encoding="utf-8")
    assert "chosen for tooling" in page
    assert "<script>alert(1)" not in page
    assert "chosen for tooling" in text_of(history(tmp_path))


def test_no_note_whatever_is_in_it_breaks_a_line_a_page_or_a_terminal(folder, tmp_path):
    shutil.copytree(folder / "first", tmp_path / "run")
    said = [text[:LONGEST] for text in hostile(40) if any(letter.isprintable() for letter in text)]
    for text in said:
        add_note(tmp_path / "run", text, NOW)
    notes = notes_of(tmp_path / "run")
    assert len(notes) == len(said) > 30
    assert all(note.startswith("2026-03-09 14:05 ") and note.isprintable() for note in notes)
    write_report(tmp_path / "run")
    page = (tmp_path / "run" / "report.html").read_text(encoding="utf-8")
    for tag in ("<script>window.hacked", "<img src=x", "<svg onload", "<b>bold"):
        assert tag not in page
    assert "\x1b" not in text_of(history(tmp_path))


def test_a_note_after_one_that_was_cut_off_is_a_line_of_its_own(folder, tmp_path):
    shutil.copytree(folder / "first", tmp_path / "run")
    (tmp_path / "run" / FILE).write_bytes(b"2026-03-01 10:00 chosen f")
    add_note(tmp_path / "run", "chosen for tooling", NOW)
    assert notes_of(tmp_path / "run") == ["2026-03-01 10:00 chosen f", "2026-03-09 14:05 chosen for tooling"]


@pytest.mark.parametrize("text", ["", "  \n", "\x00\x07", "x" * (LONGEST + 1)])
def test_a_note_that_says_nothing_or_never_ends_is_refused(folder, text):
    with pytest.raises(FinfrontError):
        add_note(folder / "first", text, NOW)
    assert not (folder / "first" / FILE).exists()


def test_a_note_can_be_put_on_a_run_at_work_but_not_on_any_folder(folder, place, tmp_path):
    asked = load(place)
    with begun(asked, tmp_path / "open", NOW, method.search_plan(CoreProblem(asked))), pytest.raises(FinfrontError), \
            one_writer(tmp_path / "open", NOW):  # fmt: skip
        pass
    add_note(tmp_path / "open", "let it run", NOW)
    with pytest.raises(FinfrontError, match="holds no run"):
        add_note(tmp_path, "x", NOW)


# --- the dashboard's study ------------------------------------------------------------------------------------------


def test_trials_are_the_designs_and_the_best_of_them_the_front(folder, tmp_path):
    import optuna
    from optuna.storages.journal import JournalFileBackend

    count = export_trials(folder / "first", tmp_path / "trials.log")
    run = runs.read(folder / "first")
    storage = optuna.storages.JournalStorage(JournalFileBackend(str(tmp_path / "trials.log")))
    study = optuna.load_study(study_name=None, storage=storage)
    assert len(study.trials) == count == len(run.tables["designs"])
    titles = [o["column"] for o in run.record["objectives"]]
    assert [d.name for d in study.directions] == ["MAXIMIZE", "MINIMIZE"]
    table = run.tables["designs"].set_index("core")
    for trial in study.trials:
        row = table.loc[trial.user_attrs["core"]]
        assert trial.values == pytest.approx(row[titles].tolist())
        assert (max(trial.system_attrs["constraints"]) <= 0) == (row["feasible"] == "yes")
        assert trial.params["thickness [mm]"] == row["thickness [mm]"]
    best = {t.user_attrs["core"]: tuple(t.values) for t in study.best_trials}
    front = set(run.tables["front"]["core"])
    assert front <= set(best)
    assert set(best.values()) == {best[core] for core in front}  # the others have equal objectives
    named = {t.user_attrs["pick"]: t.user_attrs["core"] for t in study.trials if t.user_attrs["pick"]}
    assert {pick: core for names, core in named.items() for pick in names.split(", ")} == run.record["picks"]
    assert "clearance, pocket width" in study.user_attrs["requirements"]
    with pytest.raises(FinfrontError, match="there already"):
        export_trials(folder / "first", tmp_path / "trials.log")
