"""The sheet of one core: everything on it, units at every number, cautions where they are due."""

import json
import math
import re

import numpy as np
import pytest
from small_studies import SECOND_DUTY, core, problem

from optimize import units
from optimize.calculation_sheet import Sheet, si_key
from optimize.space import KINDS
from physics.flags import FLAG_TEXTS, Flag
from physics.outputs import OUTPUTS

SI_UNITS = {
    "W", "K", "Pa", "m", "m2", "m3", "kg", "deg", "m_per_s", "kg_per_s", "m3_per_s", "kg_per_s_m2", "W_per_K",
    "K_per_W", "W_per_m_K", "W_per_m2_K", "m2_K_per_W", "kg_per_m3",
}  # fmt: skip


@pytest.fixture(scope="module", params=["SI", "US"])
def p(request):
    return problem(SECOND_DUTY, units=f'"{request.param}"')


@pytest.fixture(scope="module")
def sheet(p):
    return Sheet(p, core(p))


def numbers(data):
    if isinstance(data, dict):
        return [n for value in data.values() for n in numbers(value)]
    if isinstance(data, list):
        return [n for value in data for n in numbers(value)]
    return [data] if isinstance(data, (int, float)) and not isinstance(data, bool) else []


# --- JSON -----------------------------------------------------------------------------------------------------------


def test_json_holds_every_output_at_every_duty_point(p, sheet):
    data = sheet.json()
    assert list(data["duty"]) == ["full_power", "long_climb"]
    own = [OUTPUTS[name] for name in p.outputs]
    assert len(data["geometry"]) == sum(output.per == "core" for output in own)
    for duty in data["duty"].values():
        assert len(duty) == sum(output.per == "duty" for output in own)
    for output in own:
        key = si_key(output.name, output.kind)
        if output.per == "core":
            assert data["geometry"][key] == sheet.rating[output.name][0]
        else:
            assert [data["duty"][d][key] for d in p.duty.names] == sheet.rating[output.name][0].tolist()


def test_json_keys_carry_the_si_unit_of_their_kind(sheet):
    data = sheet.json()
    known = {si_key(o.name, o.kind): (o.name, o.kind) for o in OUTPUTS.values()}
    known |= {si_key(name, kind): (name, kind) for name, kind in KINDS.items()}
    for part in (data["geometry"], *data["duty"].values(), data["core"]):
        for key in part:
            if key in ("air_fin", "turbulator", "port", "passes"):
                continue
            name, kind = known[key]
            unit = key[len(name) + 1 :]
            assert unit in SI_UNITS or (unit == "" and units.KINDS[kind].base == ""), key


def test_json_is_the_same_whatever_the_units_of_the_study():
    si, us = (Sheet(q, core(q)).json() for q in (problem(), problem(units='"US"')))
    assert si == us


def test_json_numbers_are_finite_and_strictly_valid(sheet):
    text = json.dumps(sheet.json(), allow_nan=False)
    assert all(math.isfinite(n) for n in numbers(json.loads(text)))


@pytest.mark.parametrize("changes", [{"thickness": 0.004}, {"length": 0.005}, {"air_blockage": 1.0}])
def test_json_of_a_core_that_cannot_be_is_null_and_still_valid(p, changes):
    broken = Sheet(p, core(p) | {k: np.array([v]) for k, v in changes.items()})
    data = json.loads(json.dumps(broken.json(), allow_nan=False))
    assert data["duty"]["full_power"]["heat_rejected_W"] is None
    assert any("not computable" in caution for caution in data["cautions"])


def test_json_core_holds_what_was_typed_in_si(p, sheet):
    data = sheet.json()["core"]
    assert data["thickness_m"] == 0.07
    assert data["passages"] == 10.0
    assert (data["air_fin"], data["passes"], data["port"]) == ("S18-64", "1", "R22")
    assert data["fin_conductivity_W_per_m_K"] == 180.0
    assert data["coolant_fouling_m2_K_per_W"] == 2e-5


def test_json_requirements_are_the_margins_of_the_search(p, sheet):
    (batch,) = p.space.batches_of(core(p), 1)
    margins = p.judge(batch, p.rate(batch)).margins[0]
    assert list(sheet.json()["requirements"]) == list(p.margin_names)
    assert list(sheet.json()["requirements"].values()) == margins.tolist()


# --- text -----------------------------------------------------------------------------------------------------------


NUMBER = r"-?(?:[0-9][0-9.e+-]*|nan)"


def rows(text):
    """Label, cells and unit of every line of numbers."""
    found = {}
    for line in text.splitlines():
        if match := re.fullmatch(rf"  (\S.*?)\s{{2,}}({NUMBER}(?:\s+{NUMBER})*)(.*)", line):
            found[match[1]] = (match[2].split(), match[3].strip())
    return found


def test_text_holds_every_output_by_its_label_with_values_and_unit(p, sheet):
    found = rows(sheet.text())
    for output in (OUTPUTS[name] for name in p.outputs):
        cells, unit = found[output.label]
        shown = np.ravel(units.to_display(sheet.rating[output.name][0], output.kind, p.study.units))
        assert [float(cell) for cell in cells] == pytest.approx(shown.tolist(), rel=1e-4, abs=1e-12), output.label
        assert unit == units.unit_symbol(output.kind, p.study.units)


def test_text_names_the_study_the_core_and_the_duty_points(p, sheet):
    text = sheet.text()
    assert text.splitlines()[0] == p.study.title
    for word in ("S18-64", "TS-20-16", "R22", "full_power", "long_climb"):
        assert word in text
    for name in p.space.variables:
        assert re.search(rf"(?m)^  {name}\s", text), name


def test_no_row_of_the_text_runs_into_its_number(p, sheet):
    for output in (OUTPUTS[name] for name in p.outputs):
        assert re.search(rf"(?m)^  {re.escape(output.label)}\s+\S", sheet.text()), output.label


def test_text_tells_every_requirement_and_marks_the_missed_ones(p):
    broken = Sheet(p, core(p, passages=16.0))
    text = broken.text()
    for name, margin in broken.requirements():
        (line,) = [line for line in text.splitlines() if line.startswith(f"  {name} ") and "%" in line
                   and ("+" in line or "-" in line)]
        assert line.endswith("MISSED") == (margin < 0), name
    assert "MISSED" in text


def test_a_margin_of_nothing_is_not_shown_as_negative(p, sheet):
    assert not re.search(r"-0\.00\s+%", sheet.text())


def test_text_gives_source_and_band_of_both_correlations(sheet):
    text = sheet.text()
    assert text.count("Manglik & Bergles") == 2
    assert "-20 to +20 %" in text


# --- cautions -------------------------------------------------------------------------------------------------------


def test_a_core_inside_every_range_has_no_caution():
    q = problem()
    sheet = Sheet(q, core(q))
    assert sheet.cautions() == []
    assert "none: inside the range" in sheet.text()


def test_an_out_of_range_core_is_told_by_duty_point_and_by_the_bound_it_leaves(p):
    sheet = Sheet(p, core(p, air_fin="W14-64"))
    cautions = sheet.cautions()
    assert np.all(sheet.rating.flags & Flag.AIR_FIN_RANGE)
    for i, duty in enumerate(p.duty.names):
        assert f"{duty}: {FLAG_TEXTS[Flag.AIR_FIN_RANGE]}" in cautions
        Re = sheet.rating["air_Re"][0, i]
        assert f"{duty}: wavy: Re = {Re:.4g}, holds for 50 to 2000" in cautions
    for caution in cautions:
        assert caution in sheet.text()
    assert sheet.json()["cautions"] == cautions


def test_cautions_of_one_duty_point_are_not_told_of_the_other():
    cold = SECOND_DUTY.replace('"55 degC"', '"8 degC"')
    q = problem(cold)
    cautions = Sheet(q, core(q)).cautions()
    assert cautions
    assert all(caution.startswith("long_climb: ") for caution in cautions)
    assert any("Pr = " in caution for caution in cautions)


@pytest.mark.parametrize("flag", list(Flag))
def test_every_flag_has_its_words(flag):
    assert FLAG_TEXTS[flag]


# --- keys -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "key"),
    [
        ("power", "x_W"), ("temperature", "x_K"), ("absolute pressure", "x_Pa"), ("fraction", "x"), ("number", "x"),
        ("small area", "x_m2"), ("volume", "x_m3"), ("film", "x_W_per_m2_K"), ("mass velocity", "x_kg_per_s_m2"),
        ("volume flow", "x_m3_per_s"), ("fouling", "x_m2_K_per_W"), ("resistance", "x_K_per_W"),
        ("conductance", "x_W_per_K"), ("velocity", "x_m_per_s"), ("density", "x_kg_per_m3"),
    ],
)
def test_a_key_spells_its_si_unit(kind, key):
    assert si_key("x", kind) == key
