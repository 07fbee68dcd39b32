"""Design variables to cores: every one must arrive, and only where it belongs."""

import itertools
import tomllib
from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest
from small_studies import ROOT, core, points, problem, study, with_variable

from optimize import units
from optimize.evaluate import CoreProblem
from optimize.space import KINDS, PASSES, Space, split_passes, variable_name
from optimize.study import schema
from optimize.study.catalogue_entries import DIMENSIONS
from optimize.study.load import load
from optimize.study.model import Variable
from physics.core import HEADERS

NAMED = ("air_fin", "turbulator", "port", "passes")
TABLES = {
    "core": schema.CoreTable, "tanks": schema.TanksTable, "material": schema.MaterialTable, "ducts": schema.DuctsTable,
}  # fmt: skip
KEYS = [f"{top}.{key}" for top, table in TABLES.items() for key in table.model_fields if key != "header"]
NUMERIC = [key for key in KEYS if variable_name(key) not in NAMED]
THROUGH = "2 through the thickness"


def leaves(part, prefix=""):
    """Every column of Designs by its path."""
    found = {}
    for field in fields(part):
        value = getattr(part, field.name)
        if isinstance(value, np.ndarray):
            found[prefix + field.name] = value
        elif is_dataclass(value) and not callable(getattr(value, "j", None)):
            found |= leaves(value, f"{prefix}{field.name}.")
    return found


def designs(problem, choices):
    return problem.space.batch(choices, np.zeros(1, dtype=np.int64)).designs


def moved(one, other):
    """Names of the columns that differ."""
    a, b = leaves(one), leaves(other)
    return {name for name in a if not np.array_equal(a[name], b[name], equal_nan=True)}


# --- axes ----------------------------------------------------------------------------------------------------------


def test_axes_are_what_varies_and_the_outer_ones_come_first():
    space = problem().space
    assert space.names == ("air_fin", "turbulator", "passes", "thickness", "passages", "port")
    assert [axis.name for axis in space.axes] == list(space.names)
    assert [axis.size for axis in space.axes] == [6, 3, 3, 26, 9, 3]
    assert [axis.outer for axis in space.axes] == [True, True, True, False, False, False]
    assert space.size == 6 * 3 * 3 * 26 * 9 * 3


def test_a_continuous_variable_is_an_axis_with_ends_and_makes_the_space_endless():
    space = problem(thickness='{ from = "40 mm", to = "90 mm" }').space
    axis = space.axes[space.names.index("thickness")]
    assert (axis.size, axis.low, axis.high, axis.outer) == (None, 0.04, 0.09, False)
    assert space.size is None


def test_values_of_a_continuous_axis_arrive_unchanged():
    p = problem(thickness='{ from = "40 mm", to = "90 mm" }')
    at = points(p, 50)
    values = p.space.choices(at)["thickness"]
    assert np.array_equal(values, at[:, p.space.names.index("thickness")])


def test_a_study_that_fixes_everything_is_a_space_of_one_core():
    one = study()
    for name, value in (("thickness", 0.07), ("passages", 9.0), ("passes", "1"), ("air_fin", "P16-64"),
                        ("turbulator", "OPEN-30")):
        one = with_variable(one, f"core.{name}", value)
    space = Space(with_variable(one, "tanks.port", "R22"))
    assert (space.axes, space.size) == ((), 1)
    (batch,) = space.batches(np.zeros((1, 0)))
    assert batch.air_family.name == "plain"
    assert batch.coolant_family.name == "open"


def test_all_takes_a_catalogue_in_the_order_of_its_file():
    s = study()
    text = tomllib.loads((ROOT / "optimize/study/starter_files/catalogues/air_fins.toml").read_text(encoding="utf-8"))
    assert s.variables["core.air_fin"].values == tuple(text["fin"])
    choices = Space(s).choices(points(CoreProblem(s), 300))
    assert Space(s).labels("air_fin", choices["air_fin"]) == [tuple(text["fin"])[int(i)] for i in choices["air_fin"]]


def test_a_list_of_names_takes_those_and_in_that_order():
    space = problem(air_fin='["W14-64", "S16-80"]').space
    values = space.choices(np.array([[0.0] * 6, [1.0] + [0.0] * 5]))["air_fin"]
    assert space.labels("air_fin", values) == ["W14-64", "S16-80"]


# --- points -> choices -> parameters -> Designs ---------------------------------------------------------------------


def test_points_of_mixed_families_and_ports_become_the_cores_they_name():
    p = problem(passes=str(list(PASSES)).replace("'", '"'))
    s, at = p.study, points(p, 400)
    seen = np.zeros(len(at), dtype=int)
    for batch in p.space.batches(at):
        for row, where in enumerate(batch.index):
            seen[where] += 1
            named = {n: p.space.variables[n].values[int(i)] for n, i in zip(p.space.names, at[where], strict=True)}
            d = {name: v if v.size == 1 else v[[row]] for name, v in leaves(batch.designs).items()}
            roll, turbulator = s.air_fins[named["air_fin"]], s.turbulators[named["turbulator"]]
            assert batch.air_family.name.startswith(roll.family)
            assert batch.coolant_family.name.startswith(turbulator.family)
            for part, values in (("air_fin", roll.values), ("coolant_fin", turbulator.values)):
                for key in (f.name for f in fields(batch.designs.air_fin)):
                    assert d[f"{part}.{key}"][0] == pytest.approx(values.get(key, np.nan), rel=0, abs=0, nan_ok=True)
            assert (d["passes"][0], d["side_by_side"][0]) == split_passes(named["passes"])
            assert (d["thickness"][0], d["passages"][0]) == (named["thickness"], named["passages"])
    assert np.all(seen == 1)


def test_a_batch_holds_one_pair_of_families_only():
    pairs = [(b.air_family.name, b.coolant_family.name) for b in problem().space.batches(points(problem(), 400))]
    assert len(set(pairs)) == len(pairs) == 5 * 3


def test_ports_of_every_shape_mix_in_one_batch_and_keep_their_sizes():
    p = problem(air_fin='"S18-64"', turbulator='"TS-20-16"')
    port = p.space.names.index("port")
    at = points(p, 60)
    (batch,) = p.space.batches(at)
    names = [p.space.variables["port"].values[int(i)] for i in at[:, port]]
    bores = {"R22": 0.022, "D28-20": 0.020, "SL17-30": 0.017}
    widths = {"R22": 0.022, "D28-20": 0.028, "SL17-30": 0.030}
    areas = {
        "R22": np.pi / 4 * 0.022**2,
        # a circle less the segment the flat cuts off, 8 mm deep
        "D28-20": np.pi * 0.014**2 - (0.014**2 * np.arccos(6 / 14) - 0.006 * np.sqrt(0.014**2 - 0.006**2)),
        "SL17-30": np.pi / 4 * 0.017**2 + 0.013 * 0.017,
    }
    drawn = batch.designs.port
    assert drawn.height == pytest.approx([bores[n] for n in names], rel=1e-12)
    assert drawn.width == pytest.approx([widths[n] for n in names], rel=1e-12)
    assert drawn.area == pytest.approx([areas[n] for n in names], rel=1e-12)


@pytest.mark.parametrize("text", PASSES)
def test_every_pass_layout_arrives_as_its_number_and_its_arrangement(text):
    d = designs(problem(), core(problem(), passes=text))
    assert (d.passes[0], d.side_by_side[0]) == (float(text[0]), float("side" in text))


def test_pass_layouts_of_space_and_of_the_study_file_are_the_same():
    assert PASSES == schema.PASSES


def test_columns_that_do_not_change_in_a_block_are_shared():
    p = problem(port='"R22"')
    inner = list(itertools.product(range(26), range(9)))
    block = np.array([[0.0, 1.0, 2.0, i, j] for i, j in inner])
    (batch,) = p.space.batches(block)
    sizes = {name: column.size for name, column in leaves(batch.designs).items()}
    assert {name for name, size in sizes.items() if size > 1} == {"thickness", "passages"}
    assert set(sizes.values()) == {1, len(block)}


# --- every variable arrives ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("key", NUMERIC)
def test_a_numeric_variable_moves_its_own_column_and_no_other(key):
    p, name = problem(), variable_name(key)
    at = core(p)
    other = at | {name: at[name] * 1.25 + 1e-6}
    assert moved(designs(p, at), designs(p, other)) == {name}


@pytest.mark.parametrize("key", NUMERIC)
def test_a_numeric_variable_set_in_the_study_reaches_its_column_and_the_rating(key):
    name, s = variable_name(key), study(turbulator='"TS-20-16"')
    # Two passes, so that dividers and turns count; fouling and all losses away from zero.
    before = CoreProblem(s)
    value = float(core(before)[name][0]) * 1.25 + (1e-5 if KINDS[name] == "fouling" else 0.0)
    value = round(value) if name == "passages" else value
    after = CoreProblem(with_variable(s, key, value))
    one, two = core(before, passes=THROUGH), core(after, passes=THROUGH) | {name: np.array([value])}
    assert after.space.choices(np.zeros((1, len(after.axes))))[name][0] == value
    a, b = before.rate_choices(one, 1), after.rate_choices(two, 1)
    assert any(not np.array_equal(a[output], b[output], equal_nan=True) for output in a.values), f"{key} does nothing"


@pytest.mark.parametrize(
    ("name", "value", "columns"),
    [
        ("passes", THROUGH, {"passes"}),
        ("passes", "2 side by side", {"passes", "side_by_side"}),
        ("air_fin", "S16-80", {"air_fin.pitch", "air_fin.spacing", "air_fin.thickness"}),
        ("turbulator", "TP-20-14", {"coolant_fin.pitch", "coolant_fin.strip_length"}),
        ("port", "D28-20", {"port.area", "port.perimeter", "port.height", "port.width"}),
    ],
)
def test_a_name_moves_its_own_columns_and_no_other(name, value, columns):
    p = problem()
    assert moved(designs(p, core(p)), designs(p, core(p, **{name: value}))) == columns


@pytest.mark.parametrize("header", HEADERS)
def test_the_header_arrives_as_its_mouth_and_factor(header):
    p = CoreProblem(replace(study(), header=header))
    d = designs(p, core(p))
    assert (d.header_mouth[0], d.header_factor[0]) == HEADERS[header]


FIN_CASES = [
    (entry, key)
    for entry, family in (("S18-64", "offset strip"), ("P16-64", "plain"), ("L16-80", "louver"), ("W14-64", "wavy"),
                          ("M17-64", "measured"))
    for key in DIMENSIONS[family]
]


@pytest.mark.parametrize(("entry", "key"), FIN_CASES)
def test_every_dimension_of_an_air_fin_moves_its_column_and_the_rating(entry, key):
    s = study()
    roll = s.air_fins[entry]
    wider = replace(roll, values=roll.values | {key: roll.values[key] * 1.02})
    before, after = CoreProblem(s), CoreProblem(replace(s, air_fins=s.air_fins | {entry: wider}))
    at = core(before, air_fin=entry)
    assert moved(designs(before, at), designs(after, at)) == {f"air_fin.{key}"}
    a, b = before.rate_choices(at, 1), after.rate_choices(at, 1)
    assert any(not np.array_equal(a[o], b[o], equal_nan=True) for o in ("UA", "air_pressure_drop")), "does nothing"


@pytest.mark.parametrize(
    ("entry", "key"),
    [("TS-20-16", k) for k in DIMENSIONS["offset strip"]] + [("TP-20-14", k) for k in DIMENSIONS["plain"]]
    + [("OPEN-30", "spacing")],
)
def test_every_dimension_of_a_turbulator_moves_its_column_and_the_rating(entry, key):
    s = study()
    roll = s.turbulators[entry]
    wider = replace(roll, values=roll.values | {key: roll.values[key] * 1.02})
    before, after = CoreProblem(s), CoreProblem(replace(s, turbulators=s.turbulators | {entry: wider}))
    at = core(before, turbulator=entry)
    assert moved(designs(before, at), designs(after, at)) == {f"coolant_fin.{key}"}
    a, b = before.rate_choices(at, 1), after.rate_choices(at, 1)
    assert any(not np.array_equal(a[o], b[o], equal_nan=True) for o in ("UA", "coolant_pressure_drop"))


@pytest.mark.parametrize(
    ("entry", "key"),
    [(e, k) for e, shape in (("R22", "round"), ("D28-20", "D"), ("SL17-30", "slot")) for k in DIMENSIONS[shape]],
)
def test_every_dimension_of_a_port_moves_the_coolant_loss(entry, key):
    s = study()
    port = s.ports[entry]
    wider = replace(port, values=port.values | {key: port.values[key] * 1.02})
    before, after = CoreProblem(s), CoreProblem(replace(s, ports=s.ports | {entry: wider}))
    at = core(before, port=entry)
    assert all(name.startswith("port.") for name in moved(designs(before, at), designs(after, at)))
    a, b = (p.rate_choices(at, 1)["coolant_port_loss"] for p in (before, after))
    assert np.all(a != b)


def test_the_numbers_a_measured_fin_states_reach_the_rating():
    s = study()
    roll = s.air_fins["M17-64"]
    drawn = CoreProblem(s).rate_choices(core(problem(), air_fin="M17-64"), 1)
    for key, value in (("hydraulic_diameter", 2.2e-3), ("area_density", 1500.0), ("fin_area_ratio", 0.7)):
        stated = CoreProblem(
            replace(s, air_fins=s.air_fins | {"M17-64": replace(roll, values=roll.values | {key: value})})
        )
        rating = stated.rate_choices(core(stated, air_fin="M17-64"), 1)
        assert np.all(rating["UA"] != drawn["UA"]), key


# --- names and kinds -----------------------------------------------------------------------------------------------


def test_every_numeric_key_of_the_study_file_has_a_kind_and_no_kind_is_left_over():
    assert {variable_name(key) for key in NUMERIC} == set(KINDS)


def test_no_two_keys_of_the_study_file_share_a_name():
    assert len({variable_name(key) for key in KEYS}) == len(KEYS)


def test_the_study_holds_every_key_of_the_study_file():
    assert set(study().variables) == set(KEYS)


@pytest.mark.parametrize("path", ["optimize/study/starter_files/study.toml", "studies/tow_rig_us_units.toml"])
def test_the_kind_of_a_variable_reads_its_text_as_the_study_does(path):
    s = load(ROOT / path)
    raw = tomllib.loads((ROOT / path).read_text(encoding="utf-8"))
    for key in NUMERIC:
        top, name = key.split(".")
        written = raw[top][name]
        written = written.get("value", written.get("from")) if isinstance(written, dict) else written
        assert units.parse(str(written), KINDS[variable_name(key)]) == s.variables[key].numbers[0], key


def test_a_tolerance_acts_on_a_core_only_if_its_parts_have_it():
    p = problem()
    acting = p.space.tolerances(core(p, turbulator="OPEN-30", port="SL17-30"))
    assert set(acting) == {
        "thickness", "plate_thickness", "air_blockage", "air_fin.pitch", "air_fin.spacing", "air_fin.thickness",
        "coolant_fin.spacing",
    }
    round_core = p.space.tolerances(core(p))
    assert "port.bore" in round_core
    assert "port.open_height" not in round_core


def test_a_variable_knows_whether_it_is_fixed_a_list_or_continuous():
    assert Variable("x", (1.0,)).is_fixed
    assert Variable("x", (), 1.0, 2.0).is_continuous
    assert (Variable("x", (1.0, 2.0)).size, Variable("x", (), 1.0, 2.0).size) == (2, None)
