"""Requirements as margins: each one can fail, does at the right value, and at the right duty point."""

from dataclasses import replace

import numpy as np
import pytest
from small_studies import ROOT, SECOND_DUTY, core, points, study, with_limits

from optimize.evaluate import CoreProblem
from optimize.feasibility import at_duty, margin_names, requirements
from optimize.search.archive import judge
from optimize.study.load import load
from optimize.study.model import Limit, Study
from physics.flags import FLAG_TEXTS, Flag
from physics.outputs import CLEARANCES, OUTPUTS
from physics.rating import Rating

BANKS = "whole coolant passages in every bank"
RANGE = "inside the range of every correlation"


@pytest.fixture(scope="module")
def two() -> Study:
    """The starter with a second duty point."""
    return study(SECOND_DUTY)


def margin(study, name, **changes):
    """One margin of the ordinary core under a study."""
    p = CoreProblem(study)
    (batch,) = p.space.batches_of(core(p, **changes), 1)
    return float(p.judge(batch, p.rate(batch)).margins[0, p.margin_names.index(name)])


def rated(study, **changes):
    p = CoreProblem(study)
    return p.rate_choices(core(p, **changes), 1)


# --- limits ---------------------------------------------------------------------------------------------------------

LIMITED = [
    ("air_pressure_drop", "full_power"), ("air_pressure_drop", "long_climb"), ("air_pressure_drop", "worst"),
    ("coolant_pressure_drop", "worst"), ("air_outlet_temperature", "full_power"), ("heat_rejected", "worst"),
    ("effectiveness", "worst"), ("filled_mass", None), ("stack_height", None), ("air_acceleration_loss", "full_power"),
]  # fmt: skip


def value_at(rating, output, at, highest):
    column = rating[output]
    if at is None:
        return float(column[0])
    if at == "worst":
        return float(max(column[0]) if highest else min(column[0]))
    return float(column[0, rating.duty_names.index(at)])


@pytest.mark.parametrize(("output", "at"), LIMITED)
def test_a_maximum_fails_just_above_its_value_and_holds_at_it(two, output, at):
    value = value_at(rated(two), output, at, highest=True)
    for bound, sign in ((value, 0.0), (np.nextafter(value, -np.inf), -1.0), (np.nextafter(value, np.inf), 1.0)):
        s = with_limits(two, Limit(output, None, float(bound), at))
        assert np.sign(margin(s, margin_names(s)[-1])) == sign


@pytest.mark.parametrize(("output", "at"), LIMITED)
def test_a_minimum_fails_just_below_its_value_and_holds_at_it(two, output, at):
    value = value_at(rated(two), output, at, highest=False)
    for bound, sign in ((value, 0.0), (np.nextafter(value, np.inf), -1.0), (np.nextafter(value, -np.inf), 1.0)):
        s = with_limits(two, Limit(output, float(bound), None, at))
        assert np.sign(margin(s, margin_names(s)[-1])) == sign


def test_a_limit_with_both_ends_gives_two_requirements_and_each_can_fail(two):
    heat = float(rated(two)["heat_rejected"].min())
    s = with_limits(two, Limit("heat_rejected", heat - 1e3, heat + 1e6, "worst"))
    high, low = margin_names(s)[-2:]
    assert "(max)" in high
    assert "(min)" in low
    assert margin(s, high) > 0 < margin(s, low)
    assert margin(with_limits(two, Limit("heat_rejected", heat + 1e3, heat + 1e6, "worst")), low) < 0
    assert margin(with_limits(two, Limit("heat_rejected", heat - 2e3, heat - 1e3, "worst")), high) < 0


def test_the_worst_duty_of_a_maximum_is_the_highest_and_of_a_minimum_the_lowest():
    flags = np.zeros((2, 3), dtype=np.int64)
    rating = Rating(("a", "b", "c"), {"heat_rejected": np.array([[3.0, 1.0, 2.0], [5.0, 9.0, 7.0]])}, flags)
    assert at_duty(rating, "heat_rejected", "worst", worst_is_high=True).tolist() == [3.0, 9.0]
    assert at_duty(rating, "heat_rejected", "worst", worst_is_high=False).tolist() == [1.0, 5.0]
    assert at_duty(rating, "heat_rejected", "b", worst_is_high=True).tolist() == [1.0, 9.0]
    mean = at_duty(rating, "heat_rejected", "mean", worst_is_high=True, weights=np.array([1.0, 0.0, 3.0]))
    assert mean.tolist() == [2.25, 6.5]


def test_a_mean_without_weights_is_a_mistake_of_ours():
    rating = Rating(("a",), {"heat_rejected": np.ones((1, 1))}, np.zeros((1, 1), dtype=np.int64))
    with pytest.raises(ValueError, match="weights"):
        at_duty(rating, "heat_rejected", "mean", worst_is_high=True)


def test_a_margin_is_the_share_of_its_bound_and_of_50_k_for_a_temperature(two):
    rating = rated(two)
    loss, out = float(rating["air_pressure_drop"].max()), float(rating["air_outlet_temperature"][0, 0])
    s = with_limits(
        two, Limit("air_pressure_drop", None, 2 * loss, "worst"),
        Limit("air_outlet_temperature", None, out + 10.0, "full_power"),
    )
    loss_name, out_name = margin_names(s)[-2:]
    assert margin(s, loss_name) == pytest.approx(0.5, rel=1e-12)
    assert margin(s, out_name) == pytest.approx(0.2, rel=1e-9)


def test_a_bound_of_zero_still_has_a_sign(two):
    s = with_limits(two, Limit("heat_rejected", 0.0, None, "worst"), Limit("air_acceleration_loss", None, 0.0, "worst"))
    assert margin(s, margin_names(s)[-2]) > 0
    assert margin(s, margin_names(s)[-1]) > 0  # cooled air slows down: the acceleration loss is negative


def test_what_cannot_be_computed_has_no_margin_at_the_worst_duty():
    # So little free area that the air cannot pass at any duty.
    s = study(air_flow='"9 kg/s"', thickness='{ from = "40 mm", to = "90 mm", step = "2 mm" }')
    p = CoreProblem(s)
    (batch,) = p.space.batches_of(core(p), 1)
    rating = p.rate(batch)
    assert np.all(rating.flags & Flag.AIR_CANNOT_PASS)
    judged = p.judge(batch, rating)
    assert np.all(np.isnan(judged.objectives))
    assert np.isnan(judged.margins[0, p.margin_names.index("air loss, total, worst (max)")])


# --- the pocket -----------------------------------------------------------------------------------------------------

# Which length of the pocket, and the clearance of the ordinary core it governs (70 mm thick, one pass, 22 mm bore).
POCKET = {"length_clearance": "pocket_length", "width_clearance": "pocket_width", "lid_clearance": "proud_height"}


@pytest.mark.parametrize("name", POCKET)
def test_a_clearance_fails_as_soon_as_the_pocket_is_too_small(two, name):
    room, key = float(rated(two)[name][0]), POCKET[name]
    tight = getattr(two.envelope, key) - room
    for by, sign in ((1e-9, 1.0), (-1e-9, -1.0)):
        s = replace(two, envelope=replace(two.envelope, **{key: tight + by}))
        assert np.sign(margin(s, OUTPUTS[name].label)) == sign


def test_a_port_too_high_too_wide_or_too_near_the_flange_fails(two):
    slot = two.ports["SL17-30"]

    def with_slot(**sizes):
        port = replace(slot, values=slot.values | sizes)
        return replace(two, ports=two.ports | {"SL17-30": port})

    # 40 mm thick, 3 mm wall and 3 mm land on both sides leave 28 mm for the height
    label = OUTPUTS["port_height_clearance"].label
    for height, sign in ((0.028 - 1e-9, 1.0), (0.028 + 1e-9, -1.0)):
        s = with_slot(height=height, width=0.03)
        assert np.sign(margin(s, label, port="SL17-30", thickness=0.04)) == sign
    label, stack = OUTPUTS["port_width_clearance"].label, float(rated(two)["stack_height"][0])
    for width, sign in ((stack - 0.012 - 1e-9, 1.0), (stack - 0.012 + 1e-9, -1.0)):
        assert np.sign(margin(with_slot(height=0.017, width=width), label, port="SL17-30")) == sign
    # 66 mm below the flange less 12 mm of walls and lands
    label = OUTPUTS["port_flange_clearance"].label
    for height, sign in ((0.054 - 1e-9, 1.0), (0.054 + 1e-9, -1.0)):
        s = with_slot(height=height, width=0.06)
        assert np.sign(margin(s, label, port="SL17-30", thickness=0.09)) == sign


@pytest.mark.parametrize("study_file", ["dune_racer.toml", "tow_rig_us_units.toml"])
def test_a_core_exactly_as_thick_as_the_room_under_the_lid_fits(study_file):
    s = load(ROOT / "studies" / study_file)
    room = round(s.envelope.pocket_depth + s.envelope.proud_height, 9)
    p = CoreProblem(s)
    at = p.space.choices(points(p, 1)) | {"thickness": np.array([room])}
    (batch,) = p.space.batches_of(at, 1)
    label = OUTPUTS["lid_clearance"].label
    assert p.judge(batch, p.rate(batch)).margins[0, p.margin_names.index(label)] >= 0


# --- banks and range ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("passages", "banks", "left_over"), [(9, 2, 1), (10, 2, 0), (9, 3, 0), (10, 4, 2), (5, 6, 5)])
def test_banks_side_by_side_need_whole_passages(two, passages, banks, left_over):
    found = margin(two, BANKS, passages=float(passages), passes=f"{banks} side by side")
    assert found == pytest.approx(-left_over / banks, abs=1e-15)


def test_passes_through_the_thickness_need_no_whole_banks(two):
    assert margin(two, BANKS, passages=9.0, passes="2 through the thickness") >= 0
    assert margin(two, BANKS) >= 0


@pytest.mark.parametrize(
    ("flag", "changes", "duty"),
    [
        (Flag.AIR_FIN_RANGE, {"air_fin": "W14-64"}, {}),  # Re far above the 2000 of wavy fins
        (Flag.COOLANT_FIN_RANGE, {"turbulator": "TS-20-16"}, {"coolant_temperature": 280.0}),  # Pr above 15
        (Flag.COOLANT_TEMPERATURE, {"turbulator": "OPEN-30"}, {"coolant_temperature": 372.0}),
    ],
)
def test_a_core_out_of_range_is_refused_only_where_the_study_says_so(two, flag, changes, duty):
    s = replace(two, duty=tuple(replace(point, **duty) for point in two.duty))
    assert np.any(rated(s, **changes).flags & flag), FLAG_TEXTS[flag]
    assert RANGE not in margin_names(s)
    refusing = replace(s, search=replace(s.search, out_of_range="refuse"))
    assert margin(refusing, RANGE, **changes) == -1.0


def test_a_core_inside_every_range_is_not_refused(two):
    one_duty = replace(two, duty=two.duty[:1], search=replace(two.search, out_of_range="refuse"))
    assert not np.any(rated(one_duty).flags)
    assert margin(one_duty, RANGE) == 0.0


def test_one_duty_point_out_of_range_is_enough_to_refuse(two):
    cold = replace(two.duty[1], coolant_temperature=280.0)
    s = replace(two, duty=(two.duty[0], cold), search=replace(two.search, out_of_range="refuse"))
    flags = rated(s).flags[0]
    assert flags[0] == 0
    assert flags[1] & Flag.COOLANT_FIN_RANGE
    assert margin(s, RANGE) == -1.0


# --- names and examples ---------------------------------------------------------------------------------------------


def test_names_and_columns_of_margins_match_in_number_and_order(two):
    s = replace(two, search=replace(two.search, out_of_range="refuse"))
    p = CoreProblem(s)
    assert p.margin_names[: len(CLEARANCES)] == tuple(OUTPUTS[name].label for name in CLEARANCES)
    assert p.margin_names[len(CLEARANCES) : len(CLEARANCES) + 2] == (BANKS, RANGE)
    assert p.margin_names[len(CLEARANCES) + 2 :] == tuple(r.name for r in requirements(s))
    assert p.evaluate(points(p, 20)).margins.shape == (20, len(p.margin_names))
    assert len(set(p.margin_names)) == len(p.margin_names)


@pytest.mark.parametrize("name", ["dune_racer.toml", "tow_rig_us_units.toml"])
def test_every_limit_of_an_example_study_is_active_and_leaves_something(name):
    """Each limit alone turns some core away that meets all else, so that none is dead weight in the example."""
    p = CoreProblem(load(ROOT / "studies" / name))
    verdict = judge(p.evaluate(points(p, 20_000)))
    limits = dict(zip(p.margin_names, verdict.violated_alone, strict=True))
    assert np.count_nonzero(verdict.feasible) > 0
    assert [r.name for r in requirements(p.study) if limits[r.name] == 0] == []


def test_a_limit_on_the_weighted_mean_is_kept_by_the_weights(two):
    weights = np.array([point.weight for point in two.duty])
    mean = float(np.sum(rated(two)["heat_rejected"][0] * weights) / weights.sum())
    for bound, sign in ((mean - 1.0, 1.0), (mean + 1.0, -1.0)):
        s = with_limits(two, Limit("heat_rejected", bound, None, "mean"))
        assert np.sign(margin(s, margin_names(s)[-1])) == sign


def test_a_core_whose_numbers_have_not_settled_is_not_computable(two):
    p = CoreProblem(two)
    (batch,) = p.space.batches_of(core(p), 1)
    rating = p.rate(batch)
    unsettled = Rating(rating.duty_names, rating.values, rating.flags | int(Flag.NOT_SETTLED))
    assert judge(p.judge(batch, rating)).feasible[0]
    assert not judge(p.judge(batch, unsettled)).feasible[0]
