"""The band near a front holds every core whose copies may be on the front of the copies, however it is put together."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimize.pareto import nondominated
from optimize.search import band as module
from optimize.search.band import Band, BandRule, merge_bands
from optimize.search.problem import Evaluation
from optimize.search.rows import Rows
from physics.arrays import Array


def rows(objectives: Array, margins: Array) -> Rows:
    n = len(objectives)
    judged = Evaluation(objectives, margins, np.zeros((n, 0)))
    return Rows(np.arange(n), np.arange(n, dtype=float)[:, None], judged.objectives, judged.margins, judged.tie)


def cores(seed: int, n: int, k: int) -> tuple[Array, Array, Array, Array]:
    """Objectives and margins of cores, and what their copies are worse by, each within its own bounds."""
    random = np.random.default_rng(seed)
    f, g = random.uniform(0, 10, (n, k)), random.uniform(-0.3, 1, (n, 2))
    return f, g, random.uniform(0.1, 0.9, (n, k)), random.uniform(-0.2, 0.1, (n, 2))


RULE = BandRule(width=np.array([0.8, 0.8, 0.8]), spare=np.full(2, 0.2), short=np.full(2, 0.1))


def rule(k: int) -> BandRule:
    return BandRule(RULE.width[:k], RULE.spare, RULE.short)


def front_of_copies(f: Array, g: Array, worse: Array, shift: Array) -> set[int]:
    keeps = np.flatnonzero(np.all(g + shift >= 0, axis=1))
    return set(keeps[nondominated((f + worse)[keeps])].tolist())


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 400), st.integers(2, 3))
def test_no_core_on_the_front_of_the_copies_is_outside_the_band(seed: int, n: int, k: int) -> None:
    f, g, worse, shift = cores(seed, n, k)
    kept = Band.of(rule(k), rows(f, g))
    assert front_of_copies(f, g, worse, shift) <= set(kept.rows.ordinals.tolist())


def test_a_narrower_band_loses_cores() -> None:
    """The rule is not idle: at half the width some front of copies is not all in the band."""
    half = BandRule(0.1 * RULE.width[:2], RULE.spare, RULE.short)
    lost = 0
    for seed in range(40):
        f, g, worse, shift = cores(seed, 400, 2)
        lost += not front_of_copies(f, g, worse, shift) <= set(Band.of(half, rows(f, g)).rows.ordinals.tolist())
    assert lost > 0


def test_the_band_is_far_smaller_than_all() -> None:
    f, g, _, _ = cores(1, 20_000, 2)
    assert len(Band.of(rule(2), rows(f, g)).rows) < 4_000


@pytest.mark.parametrize("parts", [2, 7, 50])
def test_bands_of_parts_merge_to_the_band_of_all(parts: int) -> None:
    f, g, _, _ = cores(3, 5_000, 3)
    whole, all_rows = Band.of(rule(3), rows(f, g)), rows(f, g)
    order = np.random.default_rng(0).permutation(5_000)
    pieces: list[Band] = []
    for index in np.array_split(order, parts):
        before = merge_bands(pieces) if pieces else None
        pieces.append(Band.of(rule(3), all_rows.take(np.sort(index)), before))
    merged = merge_bands(pieces)
    np.testing.assert_array_equal(merged.rows.ordinals, whole.rows.ordinals)
    np.testing.assert_array_equal(merged.anchors, whole.anchors)
    assert merged.whole


def test_a_band_too_large_keeps_the_nearest_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST", 50)
    f, g, _, _ = cores(5, 3_000, 2)
    full = Band.of(rule(2), rows(f, g))
    cut = merge_bands([full])
    assert not cut.whole
    assert len(cut.rows) == 50
    best = np.flatnonzero(np.all(g >= RULE.spare, axis=1))
    front = set(best[nondominated(f[best])].tolist())
    assert front <= set(cut.rows.ordinals.tolist())


def test_cores_without_numbers_are_never_in_the_band() -> None:
    f, g, _, _ = cores(6, 200, 2)
    f[:50], g[50:100] = np.nan, np.nan
    kept = Band.of(rule(2), rows(f, g))
    assert kept.rows.ordinals.min() >= 100
