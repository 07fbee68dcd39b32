"""The report of a run: figure data equal to the tables, labels that do not meet, the same bytes twice."""

import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from figure_texts import cut_off, overlaps

from optimize import job, runs
from optimize.curves import curve_table
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.report import draw_all, write_curves, write_report
from optimize.report.copy_data import interval_text
from optimize.report.core_data import limit_data, miss_data, range_data
from optimize.report.curve_data import CurveData, CurveRow, curve_data, curve_view, family_data
from optimize.report.figure_data import at_limit, front_data, outline, spaced_cores
from optimize.report.figures import share_words
from optimize.report.headlines import fit
from optimize.report.labels import Note, place
from optimize.report.style import house_style, new_figure, settle
from optimize.report.summary import summary
from optimize.report.yield_data import LOW_SHARE, yield_data
from optimize.study.load import load
from optimize.study.starter import write_starter

HEAT, LOSS = "heat_rejected@full_power [kW]", "air_pressure_drop@full_power [kPa]"
SMALLER = {
    'step = "2 mm", tolerance': 'step = "10 mm", tolerance', "draws = 512": "draws = 64",
    'turbulator = "all"': 'turbulator = ["TS-25-16"]',
}
SECOND_DUTY = """
[duty.long_climb]
weight = 2.0
air_flow = "0.55 kg/s"
air_temperature = "118 degC"
air_pressure = "175 kPa"
coolant_flow = "45 L/min"
coolant_temperature = "55 degC"

[envelope]"""
THIRD_OBJECTIVE = '\n[[objectives]]\nminimise = "filled_mass"\n\n[search]'


def small_run(folder: Path, changes: dict[str, str]) -> runs.Run:
    """A finished run of the starter study with some of its text changed."""
    write_starter(folder / "study.toml")
    text = (folder / "study.toml").read_text(encoding="utf-8")
    turbulators = (folder / "catalogues/turbulators.toml").read_text(encoding="utf-8")
    first = re.findall(r"^\[turbulator\.([^\]]+)\]", turbulators, re.MULTILINE)[0]
    for old, new in (SMALLER | changes).items():
        assert old in text, old
        text = text.replace(old, new.replace("TS-25-16", first), 1)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    out = folder / "run"
    out.mkdir()
    job.run(load(folder / "study.toml"), out, 1, datetime(2026, 1, 2, tzinfo=UTC), lambda *_: None)
    return runs.read(out)


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> runs.Run:
    """Two objectives, two duty points, an air-loss limit that cuts the front."""
    return small_run(tmp_path_factory.mktemp("two"), {
        "\n[envelope]": SECOND_DUTY, 'max = "12 kPa"': 'max = "4 kPa"', 'max = "25 kPa"': 'max = "60 kPa"',
    })


@pytest.fixture(scope="module")
def three(tmp_path_factory: pytest.TempPathFactory) -> runs.Run:
    """Three objectives, the mean and the worst of two duty points among them, US units, a title full of traps."""
    return small_run(tmp_path_factory.mktemp("three"), {
        "\n[envelope]": SECOND_DUTY, "\n[search]": THIRD_OBJECTIVE, 'units = "SI"': 'units = "US"',
        'title = "My charge cooler"': 'title = "Cost $5 | <b>_x_</b> $"',
        'maximise = "heat_rejected"\nat = "full_power"': 'maximise = "heat_rejected"\nat = "mean"',
        'minimise = "air_pressure_drop"\nat = "full_power"': 'minimise = "air_pressure_drop"\nat = "worst"',
        'max = "25 kPa"': 'max = "60 kPa"',
    })


@pytest.fixture(scope="module")
def none(tmp_path_factory: pytest.TempPathFactory) -> runs.Run:
    """Nothing feasible."""
    return small_run(tmp_path_factory.mktemp("none"), {'max = "25 kPa"': 'max = "25 Pa"'})


@pytest.fixture(params=["two", "three", "none"])
def any_run(request: pytest.FixtureRequest) -> runs.Run:
    run: runs.Run = request.getfixturevalue(request.param)
    return run


@pytest.fixture
def styled() -> Iterator[None]:
    with house_style():
        yield


class TestFrontData:
    def test_front_is_the_table_in_the_order_of_the_first_objective(self, two: runs.Run) -> None:
        data, table = front_data(two), two.tables["front"]
        assert data.titles == (HEAT, LOSS)
        assert data.maximise == (True, False)
        assert np.all(np.diff(data.front[:, 0]) >= 0)
        for core, row in zip(data.cores, data.front, strict=True):
            told = table[table["core"] == core].iloc[0]
            assert (told[HEAT], told[LOSS]) == tuple(row)

    def test_grey_cores_are_the_feasible_ones_off_the_front(self, two: runs.Run) -> None:
        designs = two.tables["designs"]
        rows = designs[(designs["feasible"] == "yes") & (designs["layer"] != 1)]
        assert np.array_equal(front_data(two).feasible, rows[[HEAT, LOSS]].to_numpy())
        assert front_data(two).feasible_words == f"{two.record['feasible']:,}"

    def test_every_pick_of_the_record_is_drawn_with_its_own_values(self, two: runs.Run) -> None:
        shown = {name: pick for pick in front_data(two).picks for name in pick.name.split(", ")}
        assert {name: pick.core for name, pick in shown.items()} == two.record["picks"]
        table = two.tables["front"].set_index("core")
        assert all(tuple(p.values) == tuple(table.loc[p.core, [HEAT, LOSS]]) for p in shown.values())

    def test_clouds_are_the_copies_of_the_table(self, two: runs.Run) -> None:
        table = two.tables["clouds"]
        data = front_data(two)
        assert {pick.core for pick in data.picks} <= {cloud.core for cloud in data.shop}
        assert [cloud.core for cloud in data.model] == [pick.core for pick in data.picks]
        for kind, clouds in (("shop", data.shop), ("model", data.model)):
            for cloud in clouds:
                rows = table[(table["core"] == cloud.core) & (table["scatter"] == kind)]
                assert np.array_equal(cloud.values, rows[[HEAT, LOSS]].to_numpy())
                assert cloud.met.tolist() == rows["met"].tolist()

    def test_a_copy_that_cannot_be_computed_is_not_drawn(self, two: runs.Run) -> None:
        clouds = two.tables["clouds"].copy()
        core = two.record["picks"]["knee"]
        first = clouds[(clouds["core"] == core) & (clouds["scatter"] == "shop")].index[0]
        clouds.loc[first, HEAT] = np.nan
        data = front_data(runs.Run(two.folder, two.record, two.tables | {"clouds": clouds}))
        whole = {c.core: len(c.values) for c in front_data(two).shop}
        assert {c.core: len(c.values) for c in data.shop} == whole | {core: whole[core] - 1}

    def test_a_limit_on_a_plotted_output_is_a_line_at_its_value(self, two: runs.Run) -> None:
        lines = [(line.axis, line.value, line.text) for line in front_data(two).limits]
        assert lines == [(1, 4.0, "limit 4 kPa")]

    def test_view_holds_the_front_and_the_clouds(self, any_run: runs.Run) -> None:
        if "front" not in any_run.tables:
            return
        data = front_data(any_run)
        shown = np.concatenate([data.front, *(cloud.values for cloud in data.shop)])
        for view in (data.near, data.wide):
            assert np.all(shown >= view[:, 0])
            assert np.all(shown <= view[:, 1])

    def test_mean_and_worst_objectives_come_from_the_tables(self, three: runs.Run) -> None:
        data, table = front_data(three), three.tables["front"].set_index("core").loc[list(front_data(three).cores)]
        heat = table[[f"heat_rejected@{d} [hp]" for d in ("full_power", "long_climb")]].to_numpy()
        loss = table[[f"air_pressure_drop@{d} [psi]" for d in ("full_power", "long_climb")]].to_numpy()
        # Weights 1 and 2 as in the study; tables are written to eight digits.
        np.testing.assert_allclose(data.front[:, 0], heat @ np.array([1, 2]) / 3, rtol=1e-6)
        np.testing.assert_allclose(data.front[:, 1], loss.max(axis=1), rtol=1e-6)
        assert data.titles[2] == "filled_mass [lb]"

    def test_core_with_no_room_left_says_so(self, two: runs.Run) -> None:
        table = two.tables["front"].copy()
        table.loc[0, "lid_clearance [mm]"] = 0.0
        assert "thickness under the lid" in at_limit(two, table, 0)
        table.loc[0, "lid_clearance [mm]"] = 1.0
        table.loc[0, LOSS] = 3.99
        assert "thickness under the lid" not in at_limit(two, table, 0)
        assert "air loss, total" in at_limit(two, table, 0)


class TestOutline:
    def test_ellipse_holds_nine_tenths_of_the_points(self) -> None:
        points = np.random.default_rng(0).normal(size=(200, 2)) @ np.array([[3.0, 1.0], [0.0, 0.2]])
        from matplotlib.path import Path as Outline

        inside = Outline(outline(points)).contains_points(points, radius=1e-9)
        assert 0.88 <= inside.mean() <= 0.92

    @pytest.mark.parametrize("points", [np.zeros((2, 2)), np.column_stack([np.arange(9.0), np.ones(9)])])
    def test_points_on_a_line_have_no_outline(self, points: Any) -> None:
        assert len(outline(points)) == 0

    def test_clouds_that_would_crowd_are_left_out(self) -> None:
        front = np.column_stack([np.linspace(0, 1, 400), np.linspace(0, 1, 400) ** 2])
        chosen = spaced_cores(front, [0, 3, 399], 10)
        assert {0, 3, 399} <= set(chosen)
        assert len(chosen) <= 10
        assert len(spaced_cores(front[:3], [1], 10)) == 3


class TestYieldData:
    def test_shares_and_intervals_are_those_of_the_table(self, two: runs.Run) -> None:
        table = two.tables["yield"]
        table = table[(table["scatter"] == "shop") & (table["requirement"] == "every limit")].set_index("core")
        data = yield_data(two)
        assert [curve.kind for curve in data.curves] == ["shop"]
        for i, core in enumerate(data.cores):
            told = [table[f"{part} [%]"][core] for part in ("share", "low", "high")]
            assert told == [data.curves[0].share[i], data.curves[0].low[i], data.curves[0].high[i]]
        assert np.array_equal(data.low, data.curves[0].share < LOW_SHARE)

    def test_every_pick_has_a_band_from_its_nested_yields(self, two: runs.Run) -> None:
        data = yield_data(two)
        assert {data.cores[band.place] for band in data.bands} == set(two.record["picks"].values())
        for band in data.bands:
            own = two.tables["nested"][two.tables["nested"]["core"] == data.cores[band.place]]["share [%]"]
            assert np.mean(own <= band.yields.low) >= 0.05
            assert np.mean(own < band.yields.low) < 0.05

    def test_what_copies_miss_is_what_they_do_not_meet(self, two: runs.Run) -> None:
        data, table = yield_data(two), two.tables["yield"]
        assert data.missed
        table = table[(table["scatter"] == "shop") & table["duty"].isna()].set_index(["requirement", "core"])
        for name, shares in data.missed.items():
            requirement = next(r for r in table.index.levels[0] if r.replace("_", " ") == name)
            told = [table.loc[(requirement, core), "share [%]"] for core in data.cores]
            np.testing.assert_allclose(shares[0], 100 - np.array(told))


class TestCurveData:
    def test_lines_are_the_columns_of_each_duty_point(self, two: runs.Run) -> None:
        table = two.tables["curves"]
        curves = {curve.title: curve for curve in curve_data(two)}
        assert set(curves) == {"thickness [mm]", "passages"}
        rows = table[table["varied"] == "thickness"]
        heat = curves["thickness [mm]"].rows[0]
        assert np.array_equal(curves["thickness [mm]"].x, rows["thickness [mm]"].to_numpy())
        assert np.array_equal(heat.lines["long_climb"], rows["heat_rejected@long_climb [kW]"].to_numpy())
        assert heat.title == "heat_rejected [kW]"

    def test_own_value_is_the_knee_s(self, two: runs.Run) -> None:
        knee = two.tables["front"].set_index("core").loc[two.record["picks"]["knee"]]
        assert {c.title: c.own for c in curve_data(two)} == {t: knee[t] for t in ("thickness [mm]", "passages")}

    def test_own_value_is_never_in_the_shaded_part(self, any_run: runs.Run) -> None:
        for curve in curve_data(any_run) if "curves" in any_run.tables else ():
            assert not curve.breaks[np.argmin(np.abs(curve.x - curve.own))]

    def test_values_that_break_a_requirement_are_one_stretch_where_they_adjoin(self) -> None:
        breaks = np.array([True, True, False, False, True])
        curve = CurveData("x", np.array([0.0, 1.0, 2.0, 3.0, 4.0]), 2.0, breaks, ("a",), (), "")
        assert curve.spans == [(0.0, 1.5), (3.5, 4.0)]

    def test_two_variables_make_a_line_for_each_value_of_the_second(self, two: runs.Run, tmp_path: Path) -> None:
        problem = CoreProblem(load(two.folder / "study.toml"))
        table = curve_table(problem, problem.space.core(np.zeros(len(problem.space.axes))), "thickness", "passages")
        full, climb = family_data(table, ("thickness", "passages"), problem.duty.names)
        assert (full.heading, climb.heading) == ("full power", "long climb")
        assert len(full.rows[0].lines) == 6
        told = table[table["passages"] == 6.0]["heat_rejected@long_climb [kW]"]
        assert climb.rows[0].lines["passages 6"].tolist() == told.tolist()
        written = write_curves(table, ("thickness", "passages"), "SI", problem.duty.names, tmp_path)
        assert [path.name for path in written] == ["curves.png", "curves.svg"]

    def test_a_limit_near_the_lines_is_in_view(self) -> None:
        row = CurveRow("air_pressure_drop [kPa]", {"a": np.array([0.0, 10.0])}, ((11.0, "limit"), (50.0, "limit")))
        low, high = curve_view((row,))
        assert low < 0.0
        assert 11.0 < high < 50.0


class TestLimitData:
    def test_bars_are_shares_of_all_cores(self, any_run: runs.Run) -> None:
        data, table = limit_data(any_run), any_run.tables["limits"]
        acting = table[table["cores_turned_away"] > 0]
        np.testing.assert_allclose(data.share, 100 * acting["cores_turned_away"] / any_run.record["rated"])
        np.testing.assert_allclose(data.alone, 100 * acting["by_it_alone"] / any_run.record["rated"])
        assert len(data.names) + len(data.idle) == len(table)
        assert np.all(data.alone <= data.share)

    def test_small_shares_are_never_called_nothing(self) -> None:
        assert share_words(1e-6) == "<0.1 %"


class TestRangeData:
    def test_each_variable_is_a_strip_or_named_as_the_same(self, two: runs.Run) -> None:
        data = range_data(two)
        assert len(data.strips) + len(data.same) == len(two.record["variables"])
        front = two.tables["front"].sort_values(HEAT)
        for strip in data.strips:
            told = front[strip.title].tolist()
            shown = [strip.names[int(v)] for v in strip.values] if strip.names else strip.values.tolist()
            assert shown == told


class TestNothingFeasible:
    def test_figures_are_limits_and_nearest_misses_only(self, none: runs.Run, styled: None) -> None:
        assert set(draw_all(none)) == {"limits", "misses"}

    def test_misses_are_the_percentages_of_the_table(self, none: runs.Run) -> None:
        data, table = miss_data(none), none.tables["misses"]
        assert data.cores == tuple(table["core"])
        told = re.search(r"coolant loss, total, worst \(max\) by ([0-9.e+]+) %", table["fails"][0])
        assert told is not None
        assert data.missed["coolant loss, total, worst (max)"][0] == float(told[1])

    def test_summary_says_that_nothing_is_feasible(self, none: runs.Run) -> None:
        text = summary(none)
        assert f"None of {none.record['rated']:,} cores rated meets everything" in text
        assert "nearest misses" in text


class TestDrawing:
    def test_labels_do_not_overlap(self, any_run: runs.Run, styled: None) -> None:
        assert {name: found for name, figure in draw_all(any_run).items() if (found := overlaps(figure))} == {}

    def test_no_text_is_cut_off_by_the_edge(self, any_run: runs.Run, styled: None) -> None:
        assert {name: found for name, figure in draw_all(any_run).items() if (found := cut_off(figure))} == {}

    def test_every_axis_with_a_quantity_names_its_unit(self, two: runs.Run, styled: None) -> None:
        figure = draw_all(two)["front"]
        for ax in figure.axes:
            assert ax.get_xlabel().endswith("[kW]")
            assert ax.get_ylabel().endswith("[kPa]")

    def test_picks_are_labelled_with_name_core_and_both_values(self, two: runs.Run, styled: None) -> None:
        texts = [text.get_text() for text in draw_all(two)["front"].axes[0].texts]
        knee = next(pick for pick in front_data(two).picks if "knee" in pick.name)
        label = next(text for text in texts if "knee" in text)
        assert knee.core in label
        assert re.search(r"\d kW, .*\d kPa", label)

    def test_three_objectives_make_three_pairs(self, three: runs.Run, styled: None) -> None:
        panels = draw_all(three)["front"].axes
        pairs = {(ax.get_xlabel(), ax.get_ylabel()) for ax in panels if ax.axison}
        heat, loss, mass = "heat rejected, mean [hp]", "air loss, total, worst [psi]", "filled mass [lb]"
        assert pairs == {(heat, loss), (heat, mass), (loss, mass)}

    def test_notes_on_one_point_make_room_for_each_other(self, styled: None) -> None:
        figure = new_figure(3.0, "x")
        ax = figure.subplots()
        settle(figure)
        written = place(ax, [Note(f"note {i}", (0.5, 0.5)) for i in range(6)], np.empty((0, 2)), np.empty(0))
        from matplotlib.text import Text

        boxes = [Text.get_window_extent(text) for text in written]
        assert not any(a.overlaps(b) for a, b in combinations(boxes, 2))

    def test_wide_headline_is_made_smaller_not_cut(self, styled: None) -> None:
        figure = new_figure(3.0, "W" * 90)
        assert figure._suptitle.get_window_extent().x1 <= figure.bbox.x1  # type: ignore[attr-defined]

    def test_headline_leaves_the_title_out_where_it_has_no_room(self, two: runs.Run) -> None:
        long = runs.Run(two.folder, two.record | {"title": "T" * 80}, two.tables)
        assert fit(long, "all is well") == "All is well"


@pytest.fixture(scope="module")
def written(two: runs.Run, tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, bytes]]:
    """Files of two reports of one run, the second under other matplotlib settings."""
    import matplotlib as mpl

    both = []
    for settings in ({}, {"font.size": 20, "lines.linewidth": 9, "svg.hashsalt": "mine"}):
        folder = tmp_path_factory.mktemp("written") / "run"
        shutil.copytree(two.folder, folder)
        with mpl.rc_context(settings):  # type: ignore[arg-type]
            both.append({path.name: path.read_bytes() for path in write_report(folder)})
    return both


class TestWriteReport:
    def test_same_run_gives_the_same_bytes_whatever_the_user_s_settings(self, written: list[dict[str, bytes]]) -> None:
        assert written[0] == written[1]

    def test_every_figure_is_a_png_and_an_svg(self, written: list[dict[str, bytes]]) -> None:
        figures = ("front", "yield", "nested", "tornado", "budget", "curves", "range", "limits")
        pages = {"summary.md", "report.html"}
        assert set(written[0]) == {f"{f}.{kind}" for f in figures for kind in ("png", "svg")} | pages
        assert all(text.startswith(b"\x89PNG") for name, text in written[0].items() if name.endswith(".png"))

    def test_no_date_stands_in_a_figure(self, written: list[dict[str, bytes]]) -> None:
        assert not any(b"<dc:date>" in text for name, text in written[0].items() if name.endswith(".svg"))

    def test_run_without_scatter_has_a_front_and_no_yield(self, two: runs.Run, styled: None) -> None:
        of_copies = ("yield", "percentiles", "clouds", "nested", "truncated", "indices", "sensitivities", "budget")
        tables = {name: t for name, t in two.tables.items() if name not in of_copies}
        run = runs.Run(two.folder, two.record, tables)
        assert set(draw_all(run)) == {"front", "curves", "range", "limits"}
        assert "Copies of them" not in summary(run)

    def test_front_of_one_core_is_drawn(self, two: runs.Run, styled: None) -> None:
        knee = two.record["picks"]["knee"]
        front = two.tables["front"][two.tables["front"]["core"] == knee].reset_index(drop=True)
        record = two.record | {"front": 1, "picks": {"knee": knee}, "hypervolume": None}
        run = runs.Run(two.folder, record, two.tables | {"front": front})
        assert set(draw_all(run)) == {"front", "yield", "nested", "tornado", "budget", "curves", "range", "limits"}

    def test_matplotlib_is_not_imported_before_it_is_used(self) -> None:
        code = "import sys, optimize.report; sys.exit('matplotlib' in sys.modules)"
        assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0

    def test_folder_without_a_run_is_refused(self, tmp_path: Path) -> None:
        with pytest.raises(FinfrontError, match="no finished run"):
            write_report(tmp_path)

    def test_damaged_run_is_refused(self, two: runs.Run, tmp_path: Path) -> None:
        shutil.copytree(two.folder, tmp_path / "a")
        (tmp_path / "a" / "limits.csv").unlink()
        with pytest.raises(FinfrontError, match="limits"):
            write_report(tmp_path / "a")


class TestSummary:
    def test_counts_and_knee_are_those_of_the_record(self, two: runs.Run) -> None:
        text, record = summary(two), two.record
        assert f"Of {record['rated']:,} cores rated {record['feasible']:,} meet everything" in text
        assert f"The knee of that front is {record['picks']['knee']}" in text
        assert f"exact over {record['rated']:,} cores, all of them rated" in text

    def test_flags_are_counted_and_told_in_words(self, two: runs.Run) -> None:
        front = two.tables["front"].assign(flags="")
        front.loc[:1, "flags"] = "air_fin_range header"
        text = summary(runs.Run(two.folder, two.record, two.tables | {"front": front}))
        assert f"2 of {len(front)} front cores: air fins outside the range of their correlation." in text
        bare = summary(runs.Run(two.folder, two.record, two.tables | {"front": front.assign(flags="")}))
        assert "No front core is outside the range" in bare

    def test_front_of_an_evolutionary_search_is_not_called_exact(self, two: runs.Run) -> None:
        text = summary(runs.Run(two.folder, two.record | {"exact": False, "method": "evolve"}, two.tables))
        assert "exact over" not in text
        assert "not proven" in text

    def test_duty_stands_in_the_words_of_the_study(self, two: runs.Run) -> None:
        assert "duty point long climb: weight 2.0, air flow 0.55 kg/s, air temperature 118 degC" in summary(two)

    def test_percentiles_are_those_of_the_table(self, two: runs.Run) -> None:
        table = two.tables["percentiles"]
        row = table[
            (table["core"] == two.record["picks"]["knee"]) & (table["scatter"] == "model")
            & (table["output"] == "heat_rejected") & (table["duty"] == "full_power") & (table["statistic"] == "P95")
        ].iloc[0]
        assert interval_text(row["value"], row["low"], row["high"]) in summary(two)

    def test_share_of_the_knee_stands_with_its_interval(self, two: runs.Run) -> None:
        assert re.search(r"; [\d.]+ % \([\d.]+ \.\. [\d.]+\) of its copies, built to the tolerances", summary(two))

    def test_cautions_are_there(self, any_run: runs.Run) -> None:
        text = summary(any_run)
        for caution in ("coolant into the engine", "Pressure-test", "local codes", "no bench test"):
            assert caution in text

    def test_title_is_text_and_nothing_else(self, three: runs.Run) -> None:
        assert summary(three).startswith(r"# Cost $5 \| \<b\>\_x\_\</b\> $")
