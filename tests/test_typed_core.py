"""A core typed by hand or taken from a run: read with units, refused in words."""

import shlex
from datetime import UTC, datetime

import numpy as np
import pytest
from small_studies import PAIRS, SMALL, TYPED, core, points, problem

from optimize import job, runs, tables
from optimize.errors import FinfrontError
from optimize.stored_core import core_of_run, cores_of_read_run
from optimize.typed_core import given_values, typed_core

NOW = datetime(2026, 3, 9, tzinfo=UTC)


@pytest.fixture(scope="module")
def p():
    return problem()


def without(name):
    return [pair for pair in PAIRS if not pair.startswith(name + "=")]


def test_a_typed_core_is_the_core_meant(p):
    typed = typed_core(p.space, PAIRS)
    assert typed.keys() == core(p).keys()
    for name, value in core(p).items():
        assert typed[name] == pytest.approx(value, rel=1e-14), name


@pytest.mark.parametrize(("text", "si"), [("2.75 in", 0.06985), ("70mm", 0.07), ("7 cm", 0.07), ("  70 mm ", 0.07)])
def test_units_are_read_as_in_a_study(p, text, si):
    assert given_values(p.space, [f"thickness = {text}"])["thickness"] == pytest.approx([si], rel=1e-14)


def test_what_the_study_fixes_may_be_changed(p):
    typed = typed_core(p.space, [*PAIRS, "length=250 mm", "air_blockage=10 %", "lid_loss=0.5"])
    assert (typed["length"][0], typed["air_blockage"][0], typed["lid_loss"][0]) == (0.25, 0.1, 0.5)


def test_no_more_can_be_blocked_than_a_tolerance_can_act_on(p):
    with pytest.raises(FinfrontError, match="air_blockage must be below 90 %"):
        given_values(p.space, ["air_blockage=95 %"])


def test_a_variable_left_open_needs_no_value(p):
    assert "thickness" not in typed_core(p.space, without("thickness"), ("thickness",))


def test_a_later_pair_replaces_an_earlier_one(p):
    assert given_values(p.space, ["passages=8", "passages=9"])["passages"][0] == 9.0


def test_all_that_is_missing_is_told_at_once_with_an_example_that_works(p):
    with pytest.raises(FinfrontError) as caught:
        typed_core(p.space, [])
    for name in p.space.names:
        assert name in caught.value.what
    words = shlex.split(caught.value.do.removeprefix("add "))
    assert words[::2] == ["--core"] * len(p.space.names)
    proposed = typed_core(p.space, words[1::2])
    assert np.all(np.isfinite(p.rate_choices(proposed, 1)["air_sigma"]))


@pytest.mark.parametrize("system", ["SI", "US"])
def test_the_example_of_a_continuous_variable_works_in_both_systems(system):
    q = problem(thickness='{ from = "40 mm", to = "90 mm" }', units=f'"{system}"',
                coolant_fouling='["1e-5 m^2*K/W", "2e-5 m^2*K/W"]', fin_conductivity='["180 W/m/K", "200 W/m/K"]',
                density='["2700 kg/m^3", "2730 kg/m^3"]', lid_area='["300 cm^2", "310 cm^2"]',
                air_blockage='["4 %", "5 %"]', turn_loss="[1.2, 1.3]")  # fmt: skip
    with pytest.raises(FinfrontError) as caught:
        typed_core(q.space, [])
    typed_core(q.space, shlex.split(caught.value.do.removeprefix("add "))[1::2])


@pytest.mark.parametrize(
    ("pair", "what"),
    [
        ("thickness", "KEY=VALUE"), ("", "KEY=VALUE"), ("=70 mm", "unknown variable"),
        ("thicknes=70 mm", "unknown variable"), ("core.thickness=70 mm", "unknown variable"),
        ("thickness=", "expected a length"), ("thickness=70", "unit"), ("thickness=70 kPa", "kPa"),
        ("thickness=7,0 mm", "decimal comma"), ("thickness=-70 mm", "above zero"), ("thickness=nan mm", "expected"),
        ("thickness=1e400 mm", "error: "), ("passages=8.5", "whole number"), ("passages=0", "whole number"),
        ("passages=-3", "whole number"), ("passages=8 mm", "expected a number"), ("passes=7 side by side", "unknown"),
        ("passes=2", "unknown passes"), ("air_fin=S18", "unknown air_fin"), ("turbulator=", "unknown turbulator"),
        ("port=all", "unknown port"), ("air_fouling=1 m", "expected"), ("air_blockage=4", "unit"),
    ],
)
def test_a_wrong_pair_is_refused_where_it_stands(p, pair, what):
    with pytest.raises(FinfrontError) as caught:
        typed_core(p.space, [*PAIRS, pair])
    assert what in str(caught.value)
    assert caught.value.where == f"--core {pair}"


@pytest.mark.parametrize(
    "pair", ["thickness=0 mm", "length=0 mm", "plate_thickness=0 mm", "air_blockage=100 %", "air_blockage=95 %",
             "fin_conductivity=0 W/m/K", "lid_area=0 cm^2", "density=0 kg/m^3"],
)
def test_a_value_no_study_may_hold_is_refused_or_told_as_no_core(p, pair):
    """Bounds of the study file hold for typed values too; else the rating must be blank, never a number."""
    try:
        typed = typed_core(p.space, [*PAIRS, pair])
    except FinfrontError:
        return
    rating = p.rate_choices(typed, 1)
    assert np.isnan(rating["heat_rejected"][0, 0])


def test_a_near_name_is_proposed(p):
    with pytest.raises(FinfrontError) as caught:
        typed_core(p.space, ["thicknes=70 mm"])
    assert "thickness" in caught.value.do
    with pytest.raises(FinfrontError) as caught:
        typed_core(p.space, ["air_fin=S18-46"])
    assert "S18-64" in caught.value.do


# --- from a run -----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module", params=["SI", "US"])
def run(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("run")
    q = problem(**SMALL | {"units": f'"{request.param}"', "draws": "0"})
    outcome = job.run(q.study, folder, 1, NOW, lambda *_: None)
    return q, folder, outcome


def test_a_core_of_a_run_rates_as_the_run_says(run):
    q, folder, outcome = run
    front = outcome.tables["front"]
    for name in front["core"].tolist()[:8]:
        rating = q.rate_choices(core_of_run(q.space, folder, name), 1)
        row = front[front["core"] == name].iloc[0]
        shown = tables.output_columns(rating, ("heat_rejected", "air_pressure_drop"), q.study.units)
        for column, value in shown.items():
            assert value[0] == pytest.approx(row[column], rel=1e-7), column  # eight digits in the table


def test_a_core_of_the_first_layers_need_not_be_on_the_front(run):
    q, folder, outcome = run
    behind = outcome.tables["designs"].query("layer == 2")["core"].iloc[0]
    assert set(core_of_run(q.space, folder, behind)) == set(q.space.variables)


def test_every_pick_of_a_run_has_its_core(run):
    q, folder, outcome = run
    for pick, name in outcome.record["picks"].items():
        one, other = (core_of_run(q.space, folder, n) for n in (pick, name))
        assert all(np.array_equal(one[key], other[key]) for key in one)


def test_many_cores_at_once_are_the_points_the_search_rated(run):
    q, folder, outcome = run
    designs = outcome.tables["designs"]
    together = cores_of_read_run(q.space, runs.read(folder), designs["core"].tolist())
    ordinals = designs["core"].str.removeprefix("C").astype(int).to_numpy()
    digits = np.unravel_index(ordinals, [axis.size for axis in q.axes])  # a sweep counts the last axis fastest
    there = q.space.choices(np.stack(digits, axis=1).astype(float))
    for key in q.space.names:
        assert np.array_equal(np.broadcast_to(together[key], len(designs)), np.broadcast_to(there[key], len(designs)))


@pytest.mark.parametrize("name", ["C99999999", "", "Knee", "C", "nonsense"])
def test_a_core_the_run_does_not_hold_is_told_with_those_it_has(run, name):
    q, folder, _ = run
    with pytest.raises(FinfrontError) as caught:
        core_of_run(q.space, folder, name)
    assert "knee" in caught.value.do


def test_a_run_of_another_study_is_refused(run):
    _, folder, _ = run
    wider = problem(length='["286 mm", "280 mm"]')
    with pytest.raises(FinfrontError, match="does not vary length"):
        core_of_run(wider.space, folder, "knee")


def test_a_run_of_another_catalogue_is_refused(run):
    _, folder, outcome = run
    row = outcome.tables["front"].iloc[0]
    fewer = problem()
    fewer.space.words["port"] = tuple(name for name in fewer.space.words["port"] if name != row["port"])
    with pytest.raises(FinfrontError, match="has no port"):
        core_of_run(fewer.space, folder, row["core"])


def test_a_run_with_a_record_that_lacks_its_picks_is_told_as_damaged(run, tmp_path):
    q, _, outcome = run
    runs.write(tmp_path, "", {}, {"units": q.study.units}, outcome.tables)
    with pytest.raises(FinfrontError):
        core_of_run(q.space, tmp_path, "knee")


def test_points_of_a_space_are_cores_too(p):
    assert set(p.space.choices(points(p, 3))) == set(TYPED) | set(core(p))
