"""Sobol' indices: functions whose indices are known in closed form, and a core whose stack height is a sum."""

from dataclasses import replace

import numpy as np
import pytest
from small_studies import core, study

from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.study.model import Correlation, Objective, Tolerance
from optimize.tolerance import indices as module
from optimize.tolerance.copies import SHOWN
from optimize.tolerance.indices import Indices, core_indices, sobol

CONFIDENCE = 0.999  # so that a test that looks at twenty intervals does not fail by luck
G = np.array([0.0, 1.0, 4.5, 9.0, 99.0])


def ishigami(u):
    """Ishigami & Homma 1990, a = 7, b = 0.1, on -pi .. pi."""
    x = np.pi * (2 * u - 1)
    return (np.sin(x[0]) + 7 * np.sin(x[1]) ** 2 + 0.1 * x[2] ** 4 * np.sin(x[0]))[None]


def ishigami_indices():
    """Partial variances in closed form: of x1, x2, and of x1 with x3."""
    one = 0.5 * (1 + 0.1 * np.pi**4 / 5) ** 2
    two, both = 49 / 8, 0.01 * np.pi**8 * (1 / 18 - 1 / 50)
    whole = one + two + both
    return np.array([one, two, 0]) / whole, np.array([one + both, two, both]) / whole


def g_function(u):
    """Sobol' 1993: the product of (|4 u - 2| + a)/(1 + a)."""
    return np.prod((np.abs(4 * u - 2) + G[:, None]) / (1 + G[:, None]), axis=0)[None]


def g_indices():
    own = 1 / (3 * (1 + G) ** 2)
    whole = np.prod(1 + own) - 1
    others = np.array([np.prod(np.delete(1 + own, i)) for i in range(len(G))])
    return own / whole, own * others / whole


WEIGHTS = np.array([3.0, -2.0, 1.0, 0.0])


def linear(u):
    return (5.0 + WEIGHTS @ u)[None]


def linear_indices():
    share = WEIGHTS**2 / np.sum(WEIGHTS**2)
    return share, share


CASES = {
    "Ishigami": (ishigami, ishigami_indices(), 3), "g function": (g_function, g_indices(), 5),
    "linear": (linear, linear_indices(), 4),
}


def found(name, points=8192, seed=3, confidence=CONFIDENCE) -> Indices:
    function, _, d = CASES[name]
    return sobol(function, [f"x{i}" for i in range(d)], points, seed, confidence)


def test_the_closed_form_of_ishigami_is_the_published_one():
    first, total = ishigami_indices()
    assert first == pytest.approx([0.313905, 0.442411, 0.0], abs=1e-6)
    assert total == pytest.approx([0.557589, 0.442411, 0.243684], abs=1e-6)


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("seed", [0, 1])
def test_the_indices_are_those_of_the_closed_form(name, seed):
    first, total = CASES[name][1]
    i = found(name, seed=seed)
    assert i.first[0] == pytest.approx(first, abs=0.02)
    assert i.total[0] == pytest.approx(total, abs=0.02)


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("seed", [0, 1, 2, 3])
def test_the_intervals_hold_the_truth(name, seed):
    first, total = CASES[name][1]
    i = found(name, points=1024, seed=seed)
    assert np.all((i.first_low[0] <= first + 1e-12) & (first <= i.first_high[0] + 1e-12))
    assert np.all((i.total_low[0] <= total + 1e-12) & (total <= i.total_high[0] + 1e-12))


def test_an_interval_holds_its_estimate_and_narrows_with_the_points():
    few, many = found("Ishigami", 1024), found("Ishigami", 16384)
    for i in (few, many):
        assert np.all((i.first_low <= i.first) & (i.first <= i.first_high))
        assert np.all((i.total_low <= i.total) & (i.total <= i.total_high))
    # sixteen times the points: a quarter of the width
    ratio = (many.first_high - many.first_low) / (few.first_high - few.first_low)
    assert ratio == pytest.approx(np.full((1, 3), 0.25), rel=0.3)


def test_a_surer_interval_is_wider():
    sure, unsure = found("Ishigami", 1024, confidence=0.99), found("Ishigami", 1024, confidence=0.8)
    assert np.all(sure.total_high - sure.total_low > unsure.total_high - unsure.total_low)


def test_an_input_that_does_nothing_has_indices_of_nothing():
    i = found("linear")
    for value in (i.first, i.first_low, i.first_high, i.total, i.total_low, i.total_high):
        assert value[0, 3] == 0


@pytest.mark.parametrize("value", [0.0, 5.0, -1e9])
def test_an_output_that_does_not_move_has_indices_of_zero(value):
    def function(u):
        return np.stack([np.full(u.shape[1], value), u[0]])

    i = sobol(function, ["x"], 64, 0, 0.95, ["still", "moved"])
    for name in ("first", "first_low", "first_high", "total", "total_low", "total_high"):
        assert getattr(i, name)[0] == [0.0], name
    assert i.first[1] == pytest.approx([1.0], abs=0.05)


def test_round_off_is_not_taken_for_scatter():
    i = sobol(lambda u: (300.0 * (1 + 1e-15 * u[0]))[None], ["x"], 64, 0, 0.95)
    assert i.total == 0


def test_each_output_has_the_indices_it_has_alone():
    both = sobol(lambda u: np.concatenate([ishigami(u), linear(u[[0, 1, 2, 2]])]), list("abc"), 1024, 5, 0.95)
    alone = sobol(ishigami, list("abc"), 1024, 5, 0.95)
    for name in ("first", "total", "first_low", "total_high"):
        assert getattr(both, name)[:1] == pytest.approx(getattr(alone, name), rel=1e-12)


def test_an_offset_of_the_output_changes_nothing():
    far = sobol(lambda u: ishigami(u) + 1e6, list("abc"), 1024, 5, 0.95)
    assert far.first == pytest.approx(sobol(ishigami, list("abc"), 1024, 5, 0.95).first, abs=1e-6)


def test_the_same_seed_gives_the_same_bits_and_another_does_not():
    one, same, other = found("Ishigami", 256), found("Ishigami", 256), found("Ishigami", 256, seed=4)
    for name in ("first", "first_low", "first_high", "total", "total_low", "total_high"):
        assert np.array_equal(getattr(one, name), getattr(same, name)), name
        assert not np.array_equal(getattr(one, name), getattr(other, name)), name


def test_all_points_are_asked_for_at_once():
    asked = []
    sobol(lambda u: (asked.append(u.shape), ishigami(u))[1], list("abc"), 128, 0, 0.95)
    assert asked == [(3, 5 * 128)]


def test_a_missing_value_is_refused_and_counted():
    def function(u):
        return np.where(u[0] < 0.5, np.nan, u[0])[None]

    with pytest.raises(ValueError, match="of 192 points have no value"):
        sobol(function, ["x"], 64, 0, 0.95)


@pytest.mark.parametrize("points", [0, 1, 100])
def test_points_that_are_no_power_of_two_are_refused(points):
    with pytest.raises(ValueError, match="powers of two"):
        found("linear", points)


# --- cores ----------------------------------------------------------------------------------------------------------


def normal(half: float) -> Tolerance:
    return Tolerance("normal", half, half, 3.0, False)


def a_problem(objectives=None, **tolerances: Tolerance) -> CoreProblem:
    """The starter with tolerances on the core alone: by the key of the variable, dots as double underscores."""
    s = study()
    laws = {key.replace("__", "."): law for key, law in tolerances.items()}
    return CoreProblem(replace(
        s, variables={key: replace(v, tolerance=laws.get(key)) for key, v in s.variables.items()},
        air_fins={k: replace(r, tolerances=_of("air_fin", laws)) for k, r in s.air_fins.items()},
        turbulators={k: replace(r, tolerances=_of("turbulator", laws)) for k, r in s.turbulators.items()},
        ports={k: replace(p, tolerances={}) for k, p in s.ports.items()},
        objectives=objectives or s.objectives, scatter=replace(s.scatter, correlations=()),
    ))


def _of(part: str, laws: dict[str, Tolerance]) -> dict[str, Tolerance]:
    return {key.split(".")[1]: law for key, law in laws.items() if key.split(".")[0] == part}


def test_the_stack_height_scatters_by_what_is_stacked():
    """11 air passages and 10 coolant passages, each of one spacing: variances 11^2 and 10^2 of theirs."""
    p = a_problem(
        (Objective("stack_height", False, None), Objective("dry_mass", False, None)),
        air_fin__spacing=normal(0.06e-3), turbulator__spacing=normal(0.03e-3), core__thickness=normal(0.4e-3),
    )
    i = core_indices(p, core(p), 4096)
    assert i.names == ("thickness", "air_fin.spacing", "coolant_fin.spacing")
    row = i.outputs.index("stack_height")
    air, coolant = (11 * 0.06) ** 2, (10 * 0.03) ** 2
    shares = np.array([0.0, air, coolant]) / (air + coolant)
    assert i.first[row] == pytest.approx(shares, abs=0.01)
    assert i.total[row] == pytest.approx(shares, abs=0.01)
    assert np.all((i.first_low[row] <= shares) & (shares <= i.first_high[row] + 1e-12))


def test_a_core_answers_by_the_main_outputs_its_objectives_and_what_is_limited():
    p = a_problem((Objective("air_pressure_drop", False, "full_power"), Objective("dry_mass", False, None)),
                  core__thickness=normal(0.4e-3))  # fmt: skip
    limited = [f"{limit.output}@{limit.at}" if limit.at else limit.output for limit in p.study.limits]
    found = core_indices(p, core(p), 16).outputs
    assert found[: len(SHOWN) + 1] == (*(f"{name}@full_power" for name in SHOWN), "dry_mass")
    assert len(limited) > 0
    assert set(found[len(SHOWN) + 1 :]) == set(limited) - set(found[: len(SHOWN) + 1])


def test_all_scatter_is_of_the_only_tolerance():
    p = a_problem(core__thickness=normal(0.4e-3))
    i = core_indices(p, core(p), 1024)
    assert i.total == pytest.approx(np.ones_like(i.total), abs=0.02)


def test_a_core_without_tolerances_has_no_indices():
    p = a_problem()
    i = core_indices(p, core(p), 64)
    assert i.names == ()
    assert i.first.shape == (len(i.outputs), 0)


def test_copies_rated_in_parts_are_those_rated_at_once(monkeypatch):
    p = a_problem(core__thickness=normal(0.4e-3), core__air_blockage=normal(0.01))
    whole = core_indices(p, core(p), 64)
    monkeypatch.setattr(module, "ROWS", 37)
    assert core_indices(p, core(p), 64).first == pytest.approx(whole.first, abs=1e-3)


def test_correlated_tolerances_are_refused_by_name():
    p = a_problem(core__thickness=normal(0.4e-3), core__length=normal(0.4e-3))
    tied = replace(p.study.scatter, correlations=(Correlation(("length", "thickness"), 0.5),))
    p = CoreProblem(replace(p.study, scatter=tied))
    with pytest.raises(FinfrontError, match="length and thickness are correlated"):
        core_indices(p, core(p), 64)


def test_a_correlation_of_what_this_core_has_not_is_no_hindrance():
    p = a_problem(core__thickness=normal(0.4e-3))
    tied = replace(p.study.scatter, correlations=(Correlation(("thickness", "port.bore"), 0.5),))
    p = CoreProblem(replace(p.study, scatter=tied))
    assert core_indices(p, core(p), 16).names == ("thickness",)


def test_copies_without_numbers_are_refused_with_their_count_and_reason():
    p = a_problem(core__air_blockage=Tolerance("uniform", 0.04, 0.86, None, False))
    with pytest.raises(FinfrontError, match=r"\d+ of 192 copies .* the air loss would exceed 30 %"):
        core_indices(p, core(p), 64)
