"""The certified front: equal to the sweep's to the last bit, and bounds that no core of a box beats."""

from dataclasses import replace

import numpy as np
import pytest
from small_studies import ROOT

from optimize.bounded import BoundedCores
from optimize.goal_bounds import cannot_bound
from optimize.search.branch import CHUNK, Part, certified
from optimize.search.sweep import sweep
from optimize.study.load import load
from optimize.study.model import Limit, Objective, Study

RACER, FINE, TOW_RIG = (
    load(ROOT / "studies" / name) for name in ("dune_racer.toml", "dune_racer_fine.toml", "tow_rig_us_units.toml")
)
OBJECTIVES = (
    ("air_outlet_temperature", False), ("air_pressure_drop", False), ("coolant_pressure_drop", False),
    ("heat_rejected", True), ("dry_mass", False), ("core_thickness", False), ("stack_height", False),
)
PER_CORE = {"dry_mass", "core_thickness", "stack_height"}


def random_part(whole: Study, random: np.random.Generator, cores: int) -> Study:
    """A study of some values of each variable, with other goals and looser or tighter limits."""
    values = {key: list(v.values) for key, v in whole.variables.items() if not v.is_fixed}
    while np.prod([float(len(v)) for v in values.values()]) > cores:
        key = max(values, key=lambda k: len(values[k]) * random.uniform(0.3, 1.0))
        values[key].pop(random.integers(len(values[key])))
    variables = {k: replace(v, values=tuple(values[k])) if k in values else v for k, v in whole.variables.items()}
    bounded = [p.name for p in whole.duty if p.engine_speed is None]
    chosen = random.choice(len(OBJECTIVES), size=random.integers(2, 4), replace=False)
    everywhere = ["worst", "mean"] if len(bounded) == len(whole.duty) else ["worst"]
    places = [random.choice(bounded + everywhere) for _ in chosen]
    objectives = tuple(
        Objective(OBJECTIVES[i][0], OBJECTIVES[i][1], None if OBJECTIVES[i][0] in PER_CORE else str(at))
        for i, at in zip(chosen, places, strict=True)
    )
    limits = tuple(
        replace(limit, maximum=limit.maximum and limit.maximum * random.uniform(0.97, 1.1))
        for limit in whole.limits if random.random() < 0.8
    )
    return replace(
        whole, variables=variables, objectives=objectives, limits=limits, net_gain=None, robust=None, soak=None
    )


def same(study: Study, workers: int = 1) -> int:
    """Check both fronts of a study against each other, bit by bit; the number of cores rated in full."""
    problem = BoundedCores(study)
    truth, found = sweep(problem, workers).front, certified(problem, workers)
    order = np.argsort(truth.ordinals)
    assert truth.ordinals[order].tolist() == found.front.ordinals.tolist()
    for name in ("points", "objectives", "margins", "tie"):
        assert getattr(truth, name)[order].tobytes() == getattr(found.front, name).tobytes(), name
    return found.proof.rated


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("whole", [RACER, TOW_RIG], ids=["racer", "tow rig"])
def test_the_certified_front_is_the_sweep_s(whole, seed):
    same(random_part(whole, np.random.default_rng(seed), 20_000))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 140))
@pytest.mark.parametrize("whole", [RACER, TOW_RIG], ids=["racer", "tow rig"])
def test_the_certified_front_is_the_sweep_s_in_many_parts(whole, seed):
    same(random_part(whole, np.random.default_rng(seed), 150_000))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(200, 202))
@pytest.mark.parametrize("whole", [FINE, TOW_RIG], ids=["racer", "tow rig"])
def test_the_certified_front_is_the_sweep_s_over_ten_million_cores(whole, seed):
    part = random_part(whole, np.random.default_rng(seed), 1e7)
    assert same(part, workers=2) < 0.02 * 1e7


@pytest.mark.parametrize("whole", [RACER, TOW_RIG], ids=["racer", "tow rig"])
@pytest.mark.parametrize("seed", range(5))
def test_no_core_of_a_box_is_better_than_its_bound(whole, seed):
    random = np.random.default_rng(seed)
    problem = BoundedCores(random_part(whole, random, 1e12))
    sizes = np.array([axis.size for axis in problem.axes])
    low = random.integers(0, sizes, (400, len(sizes)))
    high, spans = low.copy(), problem.spans
    for axis in (*spans.ladders, *spans.lists):
        reach = CHUNK if axis in spans.ladders else sizes[axis]
        high[:, axis] = np.minimum(low[:, axis] + random.integers(0, reach, len(low)), sizes[axis] - 1)
    bound = problem.better(low, high, np.empty((0, len(problem.objective_names))))
    bounded = 0
    for _ in range(12):
        points = random.integers(low, high + 1).astype(float)
        made = problem.evaluate(points)
        feasible = np.all(made.margins >= 0, axis=1) & np.all(np.isfinite(made.objectives), axis=1)
        assert np.all(bound[feasible] <= made.objectives[feasible])
        bounded += np.count_nonzero(feasible & np.all(np.isfinite(bound), axis=1))
    assert bounded > 0


def test_workers_and_blocks_change_nothing_but_the_time():
    problem = BoundedCores(random_part(RACER, np.random.default_rng(5), 60_000))
    fronts = [certified(problem, workers, block) for workers, block in ((1, 32_768), (2, 32_768), (1, 700))]
    for other in fronts[1:]:
        assert other.front.ordinals.tolist() == fronts[0].front.ordinals.tolist()
        assert other.front.objectives.tobytes() == fronts[0].front.objectives.tobytes()
    assert fronts[0].proof == fronts[1].proof


def test_most_cores_are_never_rated():
    found = certified(BoundedCores(RACER))
    assert found.proof.points == 2_358_720
    assert len(found.front) == 20
    assert found.proof.rated < 0.02 * found.proof.points


def test_a_space_without_a_feasible_core_has_an_empty_front():
    hopeless = replace(RACER, limits=(Limit("air_outlet_temperature", None, 300.0, "full_power"),))
    part = random_part(RACER, np.random.default_rng(1), 3000)
    assert len(certified(BoundedCores(replace(hopeless, variables=part.variables, net_gain=None))).front) == 0


def test_a_part_keeps_the_ends_of_its_longest_axis():
    part = Part((np.arange(3), np.arange(10))).thinned()
    assert [v.tolist() for v in part.values] == [[0, 1, 2], [0, 2, 4, 6, 8, 9]]


@pytest.mark.parametrize(("output", "maximise", "at", "word"), [
    ("effectiveness", True, "full_power", "no bound"), ("air_pressure_drop", True, "full_power", "maximised"),
    ("air_outlet_temperature", False, "long_climb", "breathes"), ("port_area", True, None, "no bound"),
    ("air_pressure_drop", False, "mean", "breathes"),
])  # fmt: skip
def test_what_cannot_be_bounded_is_said(output, maximise, at, word):
    assert cannot_bound(RACER) is None
    said = cannot_bound(replace(RACER, objectives=(Objective(output, maximise, at), RACER.objectives[1])))
    assert said is not None
    assert word in said
