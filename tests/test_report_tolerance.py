"""Figures and sections on copies of cores: equal to their tables, every share with its interval, labels that fit."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from copy_tables_by_hand import CORES, HEAT, LOSS, NESTED, PICKS, WITH_RUN, one_core, run_by_hand
from figure_texts import boxes_of, cut_off, overlaps

from optimize.report import write_scatter
from optimize.report.budget_data import budget_data
from optimize.report.cloud_data import cloud_data, requirement_data
from optimize.report.copy_data import Share, interval_text, percent, share_text
from optimize.report.nested_data import nested_data, quantile_dots, stacked
from optimize.report.robust_data import robust_data
from optimize.report.robust_figure import draw_robust
from optimize.report.style import house_style
from optimize.report.tolerance_figures import core_figures, front_figures
from optimize.report.tolerance_sections import knee_share, tolerance_sections
from optimize.report.tornado_data import MOST_ROWS, tornado_data
from optimize.report.yield_data import yield_data
from optimize.runs import Run

FRONT_FIGURES = {"yield", "robust", "nested", "tornado", "budget"}
CORE_FIGURES = {"copies", "requirements", "nested", "tornado", "budget"}


@pytest.fixture
def run(tmp_path: Path) -> Run:
    return run_by_hand(tmp_path)


@pytest.fixture
def styled() -> Iterator[None]:
    with house_style():
        yield


@pytest.fixture(params=["shop", "shop and run", "three objectives"])
def any_run(request: pytest.FixtureRequest, tmp_path: Path) -> Run:
    if request.param == "three objectives":
        return run_by_hand(tmp_path, three=True)
    return run_by_hand(tmp_path, ("shop",) if request.param == "shop" else WITH_RUN)


def changed(run: Run, **tables: Any) -> Run:
    return Run(run.folder, run.record, run.tables | tables)


def words_of(figure: Any) -> str:
    return "\n".join(text for text, _ in boxes_of(figure))


class TestYieldData:
    def test_shares_and_intervals_are_those_of_the_table(self, run: Run) -> None:
        curve = yield_data(run).curves[0]
        assert curve.share.tolist() == [100.0, 99.0, 75.0, 92.0, 40.0]
        assert curve.low.tolist() == [97.0, 96.0, 72.0, 89.0, 37.0]
        assert curve.high.tolist() == [100.0, 100.0, 77.5, 94.5, 42.5]

    def test_the_model_and_the_run_alone_have_no_curve(self, tmp_path: Path) -> None:
        data = yield_data(run_by_hand(tmp_path, WITH_RUN))
        assert [curve.kind for curve in data.curves] == ["shop", "shop and run"]
        assert data.curves[1].share.tolist() == [100.0, 89.0, 65.0, 82.0, 30.0]

    def test_band_of_a_pick_is_p05_p50_p95_of_its_nested_yields(self, run: Run) -> None:
        bands = {yield_data(run).cores[band.place]: band.yields for band in yield_data(run).bands}
        assert set(bands) == set(NESTED)
        # One of 20 draws is at or below P05, 10 at or below P50, 19 at or below P95.
        assert (bands["C3"].low, bands["C3"].middle, bands["C3"].high) == (20.0, 60.0, 80.0)

    def test_missed_counts_copies_over_all_duty_points_once(self, run: Run) -> None:
        missed = yield_data(run).missed
        assert set(missed) == {"air loss, total, worst (max)", "filled mass (max)"}
        np.testing.assert_allclose(missed["filled mass (max)"][0], [0.0, 0.5, 12.5, 4.0, 30.0])

    def test_cores_below_nine_copies_of_ten_are_ringed(self, run: Run) -> None:
        assert yield_data(run).low.tolist() == [False, False, True, False, True]


class TestRobustData:
    def test_values_and_intervals_are_those_of_the_table(self, run: Run) -> None:
        knee = next(core for core in robust_data(run).cores if core.pick == "knee")
        np.testing.assert_allclose(knee.nominal, [53.0, 4.0])
        np.testing.assert_allclose(knee.values, [0.96 * 53.0, 1.04 * 4.0])
        np.testing.assert_allclose(knee.low, 0.99 * knee.values)
        np.testing.assert_allclose(knee.high, 1.01 * knee.values)

    def test_each_objective_has_its_own_statistic(self, run: Run) -> None:
        assert robust_data(run).statistics == ("P05", "P95")

    def test_box_is_p05_to_p95_of_the_copies(self, run: Run) -> None:
        core = next(core for core in robust_data(run).cores if core.core == "C4")
        np.testing.assert_allclose(core.copies, [[0.96 * 53.0, 1.06 * 53.0], [0.96 * 4.0, 1.06 * 4.0]])

    def test_objective_without_percentiles_has_no_box(self, tmp_path: Path) -> None:
        core = robust_data(run_by_hand(tmp_path, three=True)).cores[0]
        assert np.isnan(core.copies[2]).all()
        assert np.isfinite(core.copies[:2]).all()

    def test_favourites_that_fall_off_bear_their_verdict_and_name(self, run: Run) -> None:
        fallen = {core.core: (core.pick, core.verdict, core.because) for core in robust_data(run).fallen}
        assert fallen == {
            "C3": ("knee", "beaten", "beaten by C4"),
            "C5": ("most heat", "fails", "60 % of its copies miss air loss, total, worst (max)"),
        }

    def test_front_without_a_core_is_drawn_and_said(self, run: Run, styled: None) -> None:
        fallen = run.tables["fallen"].assign(verdict="fails", because="5 of 9 copies have no numbers")
        bare = changed(run, robust=run.tables["robust"].iloc[:0], fallen=fallen)
        figure = front_figures(bare)["robust"]
        assert overlaps(figure) == []
        assert "no core keeps its limits in 90 % of its copies" in words_of(figure)
        assert "**No core reaches that.**" in "\n".join(tolerance_sections(bare))

    def test_an_end_nobody_knows_is_left_out(self, run: Run, styled: None) -> None:
        table = run.tables["robust"].copy()
        table[f"high P95 of {LOSS}"] = np.inf
        figure = draw_robust(robust_data(changed(run, robust=table)), "x")
        assert np.isfinite(figure.axes[0].get_ylim()).all()
        assert figure.axes[0].get_ylim()[1] < 20


class TestNestedData:
    def test_the_most_uncertain_core_comes_first(self, run: Run) -> None:
        assert [core.core for core in nested_data(run).cores] == ["C5", "C3", "C1"]

    def test_a_dot_is_an_equal_share_of_the_draws(self) -> None:
        dots = quantile_dots(np.repeat([0.0, 50.0, 100.0], [25, 50, 25]), 20)
        assert dots.tolist() == [0.0] * 5 + [50.0] * 10 + [100.0] * 5

    def test_dots_that_would_overlap_stand_on_each_other(self) -> None:
        places, heights = stacked(np.array([1.0, 1.2, 1.4, 9.0]), 1.0)
        assert heights.tolist() == [0.0, 1.0, 2.0, 0.0]
        np.testing.assert_allclose(places, [1.2, 1.2, 1.2, 9.0])

    def test_yield_as_published_stands_beside_with_its_interval(self, run: Run, styled: None) -> None:
        knee = next(core for core in nested_data(run).cores if core.name == "knee")
        assert knee.as_published == Share(75.0, 72.0, 77.5)
        assert "as rated 75.0 % (72.0 .. 77.5)" in words_of(front_figures(run)["nested"])

    def test_figure_says_that_it_is_one_truth_and_not_scatter(self, run: Run, styled: None) -> None:
        said = words_of(front_figures(run)["nested"])
        assert "is the truth and holds for every core built" in said
        assert "not scatter" in said


class TestTornadoData:
    def test_largest_effect_is_on_top_and_both_ends_are_those_of_the_table(self, run: Run) -> None:
        rows = tornado_data(run).panels[0].rows
        assert [(row.name, row.at_low, row.at_high) for row in rows] == [
            ("air fin pitch", 0.5, -0.4), ("air fin thickness", 0.2, 0.05), ("thickness", -0.1, 0.12),
        ]

    def test_output_is_shown_where_it_is_limited_and_once(self, run: Run) -> None:
        shown = [panel.output for panel in tornado_data(run).panels]
        assert shown == ["air loss, total, worst (full power)", "heat rejected, full power", "filled mass"]
        assert [panel.limit for panel in tornado_data(run).panels] == ["at most 6 kPa", "", "at most 3.6 kg"]

    def test_half_width_has_its_unit(self, run: Run) -> None:
        widths = {row.name: row.half_width for row in tornado_data(run).panels[0].rows}
        assert widths == {"air fin pitch": "±0.03 mm", "air fin thickness": "-0.01/+0.02 mm", "thickness": "±0.4 mm"}

    def test_tolerance_that_moves_nothing_is_counted_not_drawn(self, run: Run) -> None:
        panel = tornado_data(run).panels[0]
        assert (panel.others, panel.others_size) == (1, 0.0)
        assert len(panel.rows) <= MOST_ROWS

    def test_share_of_the_scatter_stands_with_its_interval_and_within_all(self, run: Run, styled: None) -> None:
        assert "62 %\n(50 .. 100)" in words_of(front_figures(run)["tornado"])

    def test_shares_at_the_worst_are_those_of_the_duty_point_that_governs(self, run: Run) -> None:
        indices = run.tables["indices"]
        fewer = changed(run, indices=indices[indices["duty"] != "worst"])
        assert tornado_data(fewer).panels[0].rows[0].total == (0.62, 0.5, 1.1)
        other = run.tables["sensitivities"].copy()
        other.loc[other["duty"] == "full_power", "at_low"] *= 0.5
        assert tornado_data(changed(fewer, sensitivities=other)).panels[0].rows[0].total is None

    def test_without_indices_there_is_no_word_of_them(self, run: Run, styled: None) -> None:
        tables = {name: table for name, table in run.tables.items() if name != "indices"}
        assert "Sobol" not in words_of(front_figures(Run(run.folder, run.record, tables))["tornado"])


class TestBudgetData:
    def test_what_must_be_tighter_comes_first_with_its_text(self, run: Run) -> None:
        first = budget_data(run).rows[0]
        assert (first.name, first.today, first.tightened_text) == ("air fin pitch", "±0.03 mm", "±0.015 mm")
        assert [row.tighter for row in budget_data(run).rows] == [True, False, False, False]

    def test_what_may_be_looser_is_the_half_width_times_its_factor(self, run: Run) -> None:
        loose = {row.name: (row.alone_text, row.together_text) for row in budget_data(run).rows if row.looser}
        assert loose == {"thickness": ("±0.8 mm", "±0.6 mm"), "length": ("≥ ±1.5 mm",) * 2}

    def test_figure_gives_every_share_with_its_interval(self, run: Run, styled: None) -> None:
        said = words_of(front_figures(run)["budget"])
        for share in ("75.0 % (71.0 .. 78.7)", "99.5 % (99.0 .. 99.8)", "76.0 % (72.0 .. 79.7)"):
            assert share in said

    def test_share_out_of_reach_is_said_loudly(self, run: Run, styled: None) -> None:
        record = run.record | {"budget": run.record["budget"] | {"reachable": False}}
        far = Run(run.folder, record, run.tables)
        assert "NOT REACHED" in words_of(front_figures(far)["budget"])
        assert "**That is not the share wanted**" in "\n".join(tolerance_sections(far))


class TestCloudData:
    def test_boxes_are_the_percentiles_of_their_own_kind(self, run: Run) -> None:
        cloud = cloud_data(run, "C3").clouds[0]
        assert cloud.kind == "shop"
        heat, loss = cloud.spreads
        assert heat is not None
        assert loss is not None
        np.testing.assert_allclose([heat.low, heat.middle, heat.high], [48.0, 50.0, 53.0])
        np.testing.assert_allclose([loss.low, loss.middle, loss.high], [2.88, 3.0, 3.18])

    def test_the_model_has_no_share(self, run: Run) -> None:
        shares = {cloud.kind: cloud.share for cloud in cloud_data(run, "C3").clouds}
        assert shares == {"shop": Share(75.0, 72.0, 77.5), "model": None}

    def test_requirements_are_told_by_duty_point_most_missed_first(self, run: Run) -> None:
        data = requirement_data(run, "C3")
        assert [(row.requirement, row.duty, row.shares["shop"].value) for row in data.rows] == [
            ("every limit", "", 75.0), ("air loss, total, worst (max)", "", 75.0),
            ("air loss, total, worst (max)", "full power", 75.0), ("air loss, total, worst (max)", "long climb", 100.0),
            ("filled mass (max)", "", 87.5),
        ]
        assert data.kept == ("clearance, pocket length",)


class TestDrawing:
    def test_labels_do_not_overlap(self, any_run: Run, styled: None) -> None:
        drawn = front_figures(any_run) | {f"core {n}": f for n, f in core_figures(any_run).items()}
        assert set(drawn) == FRONT_FIGURES | {f"core {name}" for name in CORE_FIGURES}
        assert {name: found for name, figure in drawn.items() if (found := overlaps(figure))} == {}

    def test_no_text_is_cut_off_by_the_edge(self, any_run: Run, styled: None) -> None:
        drawn = front_figures(any_run) | {f"core {n}": f for n, f in core_figures(any_run).items()}
        assert {name: found for name, figure in drawn.items() if (found := cut_off(figure))} == {}

    def test_quantities_on_axes_have_units(self, any_run: Run, styled: None) -> None:
        for name, figure in (front_figures(any_run) | core_figures(any_run)).items():
            titles = [ax.get_xlabel() for ax in figure.axes if ax.axison and ax.get_xlabel()]
            assert all("[" in title or name == "budget" for title in titles), titles

    def test_long_front_is_drawn_without_a_thicket(self, run: Run, styled: None) -> None:
        import pandas as pd

        def more(table: Any, count: int = 100) -> Any:
            own = table[table["core"] == "C2"]
            parts = []
            for i in range(count):
                part = own.assign(core=f"X{i}")
                for title in (t for t in part.columns if t.endswith((HEAT, LOSS))):
                    part[title] = part[title] * (1 + 0.002 * i)
                parts.append(part)
            return pd.concat([table, *parts], ignore_index=True)

        names = ("front", "yield", "percentiles", "robust", "fallen")
        long = changed(run, **{name: more(run.tables[name]) for name in names})
        drawn = {name: front_figures(long)[name] for name in ("yield", "robust")}
        assert {name: found for name, figure in drawn.items() if (found := overlaps(figure))} == {}

    def test_run_without_copies_has_none_of_these_figures(self, run: Run, styled: None) -> None:
        bare = Run(run.folder, run.record, {"front": run.tables["front"]})
        assert front_figures(bare) == {}
        assert tolerance_sections(bare) == []
        assert knee_share(bare) == ""


class TestWriteScatter:
    def test_one_core_is_drawn_from_its_tables_and_a_short_record(self, run: Run, tmp_path: Path) -> None:
        record = {name: run.record[name] for name in ("objectives", "limits", "scatter", "budget")}
        written = write_scatter(tmp_path, one_core(run, "C3"), record)
        assert {path.name for path in written} == {f"{n}.{kind}" for n in CORE_FIGURES for kind in ("png", "svg")}
        assert all(path.stat().st_size > 0 for path in written)

    def test_same_tables_give_the_same_bytes(self, run: Run, tmp_path: Path) -> None:
        bytes_of = []
        for name in ("a", "b"):
            (tmp_path / name).mkdir()
            written = write_scatter(tmp_path / name, one_core(run, "C3"), run.record)
            bytes_of.append([path.read_bytes() for path in written])
        assert bytes_of[0] == bytes_of[1]

    def test_what_has_no_table_is_not_drawn(self, run: Run, tmp_path: Path) -> None:
        tables = {name: table for name, table in one_core(run, "C3").items() if name in ("yield", "front")}
        assert {path.stem for path in write_scatter(tmp_path, tables, run.record)} == {"requirements"}


class TestWords:
    @pytest.mark.parametrize(("share", "words"), [
        (Share(75.0, 71.0, 78.7), "75.0 % (71.0 .. 78.7)"), (Share(99.97, 99.85, 99.999), "99.97 % (99.85 .. >99.99)"),
        (Share(0.0, 0.0, 0.7), "0 % (0 .. 0.7)"),
    ])
    def test_share_is_written_with_its_interval(self, share: Share, words: str) -> None:
        assert share_text(share) == words

    def test_share_never_rounds_to_all_or_nothing(self) -> None:
        assert (percent(99.99), percent(0.001)) == (">99.9", "<0.1")

    @pytest.mark.parametrize(("values", "words"), [
        ((75.02, 74.93, 75.08), "75.0 (74.9 .. 75.1)"), ((0.0, -0.004, 0.004), "0.000 (-0.004 .. 0.004)"),
        ((-12.3, -12.9, -11.8), "-12.3 (-12.9 .. -11.8)"),
        ((5.0, np.nan, np.nan), "5.00 (too few copies for an interval)"),
        ((np.nan, np.nan, np.nan), "no number"),
    ])
    def test_value_is_written_to_the_digit_its_interval_knows(self, values: tuple[float, ...], words: str) -> None:
        assert interval_text(*values) == words


class TestSections:
    def text(self, run: Run) -> str:
        return "\n\n".join(tolerance_sections(run))

    def test_copies_of_the_knee_have_share_and_percentiles_with_intervals(self, run: Run) -> None:
        said = self.text(run)
        assert "- shop: 75.0 % (72.0 .. 77.5) meet every limit; 25.0 % (22.5 .. 28.0) miss air loss, total" in said
        # P05 of 50 kW less 4 %, and 1 % to either side.
        assert "48.0 (47.5 .. 48.5)" in said

    def test_nested_yield_is_told_as_one_unknown_truth(self, run: Run) -> None:
        said = self.text(run)
        assert "the yield lies between 20.0 and 80.0 % (5th to 95th percentile, median 60.0 %; each from 256" in said
        assert "known to a few points); it is one unknown truth, not scatter" in said

    def test_model_alone_has_no_share_anywhere(self, run: Run) -> None:
        assert "- model:" not in self.text(run)

    def test_lost_copies_and_truncated_laws_are_named(self, run: Run) -> None:
        said = self.text(run)
        assert "the pump stalls (3)" in said
        assert "air fin thickness of C3, 1.25 %" in said

    def test_robust_front_tells_who_falls_off_and_why(self, run: Run) -> None:
        said = self.text(run)
        assert "| C3 | knee | beaten | beaten by C4 | 75.0 % (72.0 .. 77.5) |" in said
        assert "Of the 5 cores of the nominal front 3 stay; beaten by other cores' copies: 1; failing: 1;" in said
        assert "| copies that meet every limit | 100 % (97.0 .. 100) | 92.0 % (89.0 .. 94.5) |" in said

    def test_budget_is_told_in_words(self, run: Run) -> None:
        said = self.text(run)
        assert "- air fin pitch: from ±0.03 mm to **±0.015 mm**" in said
        assert "With that, 99.5 % (99.0 .. 99.8) meet every limit." in said
        assert "thickness ±0.4 mm to ±0.6 mm, length ±0.5 mm to ≥ ±1.5 mm; then 76.0 % (72.0 .. 79.7) meet" in said
        assert "Further, but one of these alone: thickness ±0.4 mm to ±0.8 mm." in said

    def test_knee_share_has_its_interval(self, run: Run) -> None:
        assert "75.0 % (72.0 .. 77.5) of its copies" in knee_share(run)

    def test_no_share_of_copies_stands_without_interval(self, any_run: Run) -> None:
        said = self.text(any_run)
        assert len(re.findall(r"% \([\d.]+ \.\. [\d.]+\)[^.;]* meet every limit", said)) >= 2 * len(PICKS)
        assert re.findall(r"% (?:of its copies )?meet every limit", said) == []

    def test_named_cores_are_those_of_the_record(self, run: Run) -> None:
        said = self.text(run)
        assert all(f"**{name}, {core}**" in said for name, core in PICKS.items())
        assert len(CORES) == 5
