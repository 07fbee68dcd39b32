"""Sheets as data: the same rows as the text, in the study's units, ready for JSON, for the cores that are shown."""

import json
import math
import re
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from small_studies import SECOND_DUTY, SMALL, core, problem, study

from optimize import job, runs, units
from optimize.calculation_sheet import Sheet
from optimize.core_sheets import MOST_SHEETS, core_sheet, core_sheets
from optimize.space import KINDS


@pytest.fixture(scope="module", params=["SI", "US"])
def p(request):
    return problem(SECOND_DUTY, units=f'"{request.param}"')


def test_data_and_text_hold_the_same_rows(p):
    lines = [line for line in Sheet(p, core(p)).text().splitlines() if line.startswith("  ")]
    data = core_sheet(p, core(p))
    for group in data["groups"]:
        for label, values, unit in group["rows"]:
            own = [line[2 + len(label) :].split() for line in lines if line[2:].startswith(f"{label}  ")]
            assert [*(f"{v:.5g}" for v in values), *unit.split()] in own
    for label, text, unit in data["core"]:
        assert any(re.fullmatch(rf"  {label}\s+{re.escape(text)}\s*{re.escape(unit)}", line) for line in lines)


def test_heads_are_the_duty_points_and_values_are_as_many(p):
    for group in core_sheet(p, core(p))["groups"]:
        width = {(): 1, ("full_power", "long_climb"): 2, ("worst", "weighted"): 2}[tuple(group["heads"])]
        assert {len(values) for _, values, _ in group["rows"]} == {width}


def test_a_length_is_that_of_the_study_in_its_own_unit():
    for system, text, unit in (("SI", "70", "mm"), ("US", "2.75591", "in")):
        p = problem(units=f'"{system}"')
        data = core_sheet(p, core(p))
        assert ["thickness", text, unit] in data["core"]
        rows = {label: values for group in data["groups"] for label, values, _ in group["rows"]}
        assert rows["core thickness"][0] == pytest.approx(70 if system == "SI" else 70 / 25.4, rel=1e-7)


def test_a_requirement_is_met_when_its_margin_is_not_negative(p):
    thick = core(p, thickness=0.2)  # no pocket of the starter takes 200 mm
    rows = {name: (margin, met) for name, margin, met in core_sheet(p, thick)["requirements"]}
    assert all((margin >= 0) is met for margin, met in rows.values() if margin is not None)
    assert rows["clearance, thickness under the lid"][1] is False


def test_what_cannot_be_computed_is_null_and_the_rest_valid(p):
    broken = core(p) | {"length": np.array([0.005])}
    data = json.loads(json.dumps(core_sheet(p, broken), allow_nan=False))
    rows = {label: values for group in data["groups"] for label, values, _ in group["rows"]}
    assert rows["heat rejected"] == [None, None]
    assert any("not computable" in caution for caution in data["cautions"])


def test_many_sheets_are_those_of_the_cores_one_by_one_in_order(p):
    cores = [core(p, thickness=t) for t in (0.05, 0.06, 0.07)]
    seen = []
    assert core_sheets(p.study, cores, 1, lambda *done: seen.append(done)) == [core_sheet(p, one) for one in cores]
    assert seen == [(3, 3)]


def test_a_job_keeps_a_sheet_of_every_front_core_with_the_picks_first(tmp_path: Path):
    asked = study(**SMALL | {"draws": "0"})
    outcome = job.run(asked, tmp_path / "run", 1, datetime(2026, 1, 2, tzinfo=UTC), lambda *_: None)
    sheets = runs.read_sheets(tmp_path / "run")
    front = outcome.tables["front"].set_index("core")
    assert set(sheets) == set(front.index)
    assert len(sheets) <= MOST_SHEETS
    named = set(outcome.record["picks"].values())
    assert set(list(sheets)[: len(named)]) == named
    knee = outcome.record["picks"]["knee"]
    (thickness,) = [text for label, text, _ in sheets[knee]["core"] if label == "thickness"]
    assert float(thickness) == pytest.approx(front.loc[knee, "thickness [mm]"])
    rows = {label: values for group in sheets[knee]["groups"] for label, values, _ in group["rows"]}
    assert rows["heat rejected"][0] == pytest.approx(front.loc[knee, "heat_rejected@full_power [kW]"], rel=1e-6)


def test_a_run_without_sheets_has_none_and_a_damaged_file_is_said(tmp_path: Path):
    assert runs.read_sheets(tmp_path) == {}
    (tmp_path / runs.SHEETS).write_text("[1, 2]")
    with pytest.raises(runs.FinfrontError, match="cannot be read"):
        runs.read_sheets(tmp_path)


def test_units_of_the_core_are_known_for_every_variable(p):
    known = {units.unit_symbol(kind, p.study.units) for kind in KINDS.values()}
    assert {unit for _, _, unit in core_sheet(p, core(p))["core"]} <= known | {""}
    assert all(math.isfinite(float(text)) for label, text, _ in core_sheet(p, core(p))["core"] if label in KINDS)
