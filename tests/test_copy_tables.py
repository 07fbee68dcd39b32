"""What copies do as tables: every share and percentile counted again by hand, lost copies named and never averaged."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binomtest
from small_studies import SECOND_DUTY, core, problem

from optimize import copy_tables
from optimize.evaluate import CoreProblem
from optimize.study.model import Tolerance
from optimize.tolerance.copies import copies
from optimize.tolerance.draws import Draws
from physics.flags import FLAG_TEXTS, Flag


@pytest.fixture(scope="module")
def p() -> CoreProblem:
    return problem(SECOND_DUTY, draws="64")


@pytest.fixture(scope="module")
def made(p):
    return {
        name: {kind: copies(p, [core(p, thickness=t)], Draws(p.study), kind)[0] for kind in ("shop", "model")}
        for name, t in (("C7", 0.07), ("C8", 0.09))
    }


def test_shares_and_their_intervals_are_those_of_the_copies(p, made):
    table = copy_tables.yield_table(p, made)
    for row in table[table["requirement"] == "every limit"].to_dict("records"):
        passed = int(np.all(made[row["core"]][row["scatter"]].margins >= 0, axis=1).sum())
        exact = binomtest(passed, 64).proportion_ci(p.study.scatter.confidence, method="exact")
        assert (row["passed"], row["draws"], row["lost"]) == (passed, 64, 0)
        assert row["low [%]"] == pytest.approx(100 * exact.low, abs=1e-9)
        assert row["high [%]"] == pytest.approx(100 * exact.high, abs=1e-9)
    lid = table[table["requirement"].str.startswith("clearance, thickness") & (table["core"] == "C8")]
    assert lid[lid["scatter"] == "shop"]["share [%]"].iloc[0] == pytest.approx(50.0, abs=10)


def test_percentiles_lie_in_their_intervals_and_are_order_statistics(p, made):
    table = copy_tables.percentile_table(p, made)
    heat = np.sort(made["C7"]["shop"].shown["heat_rejected"][:, 0]) / 1e3
    rows = table[(table["core"] == "C7") & (table["scatter"] == "shop") & (table["output"] == "heat_rejected")
                 & (table["duty"] == "full_power")].set_index("statistic")
    assert rows.loc["P50", "value"] == pytest.approx(heat[31])
    assert rows.loc["P95", "value"] == pytest.approx(heat[60])
    assert rows.loc["mean", "value"] == pytest.approx(heat.mean())
    known = rows.dropna()
    assert np.all((known["low"] <= known["value"]) & (known["value"] <= known["high"]))
    assert set(rows["unit"]) == {"kW"}


def test_lost_copies_are_counted_named_and_left_out(p, made):
    whole = made["C7"]["shop"]
    heat = whole.shown["heat_rejected"].copy()
    heat[:16] = np.nan
    lost = np.where(np.arange(64) < 16, int(Flag.AIR_CANNOT_PASS), 0)
    margins = whole.margins.copy()
    margins[:16] = np.nan
    broken = {"C7": {"shop": replace(whole, shown=whole.shown | {"heat_rejected": heat}, lost=lost, margins=margins)}}
    row = copy_tables.yield_table(p, broken).iloc[0]
    assert (row["lost"], row["draws"]) == (16, 64)
    assert row["passed"] <= 48
    table = copy_tables.percentile_table(p, broken)
    mean = table[(table["output"] == "heat_rejected") & (table["statistic"] == "mean")]["value"].iloc[0]
    assert mean == pytest.approx(heat[16:, 0].mean() / 1e3)
    assert copy_tables.lost_copies(broken) == {FLAG_TEXTS[Flag.AIR_CANNOT_PASS]: 16}
    assert copy_tables.lost_copies(made) == {}


def test_the_cloud_table_shows_the_first_copies_in_the_plane_of_the_objectives(p, made):
    table = copy_tables.cloud_table(p, made, most=10)
    assert len(table) == 2 * 2 * 10
    part = table[(table["core"] == "C8") & (table["scatter"] == "model")]
    np.testing.assert_allclose(
        part["heat_rejected@full_power [kW]"], made["C8"]["model"].objectives[:10, 0] / 1e3, rtol=1e-12
    )
    assert part["met"].tolist() == made["C8"]["model"].passed[:10].tolist()


def test_the_yields_under_the_model_stand_draw_by_draw():
    table = copy_tables.nested_table({"C1": np.array([0.5, 1.0]), "C2": np.array([0.0, 0.25])}, "shop")
    assert table["share [%]"].tolist() == [50.0, 100.0, 0.0, 25.0]
    assert table["model_draw"].tolist() == [0, 1, 0, 1]


def test_what_is_cut_off_a_law_is_told(p):
    blocked = p.study.variables["core.air_blockage"]
    wide = replace(blocked, values=(0.01,), tolerance=Tolerance("uniform", 0.02, 0.02, None, False))
    own = CoreProblem(replace(p.study, variables=p.study.variables | {"core.air_blockage": wide}))
    table = copy_tables.truncated_table(own, {"C1": core(own)})
    assert table["tolerance"].tolist() == ["air_blockage"]
    assert table["cut away [%]"].tolist() == pytest.approx([25.0])
    assert copy_tables.truncated_table(p, {"C1": core(p)}).empty
