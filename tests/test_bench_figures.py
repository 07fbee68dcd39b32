"""What a core should lose on a flow bench: against a sum by hand, an independent library, and what must always hold."""

from dataclasses import replace
from pathlib import Path

import fluids
import numpy as np
import pandas as pd
import pytest
from small_studies import ROOT, core, problem, study, untoleranced, with_variable

from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.handover.bench import bench
from optimize.stored_core import core_of_run
from optimize.study.load import load
from optimize.study.model import Coolant

FEW = 256
EXAMPLE = Path(ROOT) / "results/example"


@pytest.fixture(scope="module")
def streams():
    p = problem()
    return bench(p, core(p), FEW)


def of(streams, fluid: str):
    return next(stream for stream in streams if stream.fluid.startswith(fluid))


def test_air_loss_of_plain_fins_is_the_sum_by_hand():
    p = problem(air_flow='"0.15 kg/s"')
    point = of(bench(p, core(p, air_fin="P16-64"), FEW), "air").points[-1]
    # 10 coolant passages: 11 air passages 286 - 2 x 5 wide, 6.35 high, 70 long; 16 fins of 0.12 an inch; 4 % blocked
    gap, height, length = 25.4e-3 / 16 - 0.12e-3, 6.35e-3 - 0.12e-3, 0.070
    free = 11 * 0.276 * 6.35e-3 * (gap * height) / (25.4e-3 / 16 * 6.35e-3) * 0.96
    stack = 11 * 6.35e-3 + 10 * (2e-3 + 2 * 0.5e-3) + 2 * 1.5e-3
    sigma, diameter = free / (0.286 * stack), 2 * gap * height / (gap + height)
    rho, mu = 101_325 / (287.05 * 293.15), 1.813e-5
    G = 0.15 / free
    Re = G * diameter / mu
    assert point.Re == pytest.approx(Re, rel=0.005)
    # Shah & London 1978, tables: f Re 19.07 and 18.23, K 0.931 and 1.00 at aspects 0.2 and 0.25
    aspect = gap / height
    fRe, K = np.interp(aspect, [0.2, 0.25], [19.07, 18.23]), np.interp(aspect, [0.2, 0.25], [0.931, 1.00])
    wide, narrow = 1.0, np.sqrt(sigma)  # diameters of the same ratio of areas
    entry = fluids.contraction_sharp(Di1=wide, Di2=narrow, method="Rennels") + 1 - sigma**2
    end = fluids.diffuser_sharp(Di1=narrow, Di2=wide) - (1 - sigma**2)
    expected = G * G / (2 * rho) * (4 * fRe / Re * length / diameter + K + entry + end)
    assert point.loss == pytest.approx(expected, rel=0.04)


def test_flows_are_shares_of_the_largest_of_the_duty_points(streams):
    # The starter: 0.80 kg/s of air, 55 L/min of coolant
    assert [point.mass_flow for point in of(streams, "air").points] == pytest.approx([0.4, 0.6, 0.8])
    for fluid in ("ethylene glycol", "water"):
        litres = [60e3 * point.volume_flow for point in of(streams, fluid).points]
        assert litres == pytest.approx([27.5, 41.25, 55], rel=1e-6)


def test_densities_are_those_of_20_degrees(streams):
    assert of(streams, "air").density == pytest.approx(101_325 / (287.05 * 293.15), rel=1e-3)
    assert of(streams, "water").density == pytest.approx(998.2, rel=1e-3)
    assert of(streams, "air").points[0].volume_flow == pytest.approx(0.4 / of(streams, "air").density)


def test_loss_rises_with_flow_and_no_faster_than_its_square(streams):
    for stream in streams:
        losses = np.array([point.loss for point in stream.points])
        flows = np.array([point.mass_flow for point in stream.points])
        exponents = np.diff(np.log(losses)) / np.diff(np.log(flows))
        assert np.all((exponents > 1) & (exponents < 2.1))


def test_each_band_holds_the_nominal_and_both_together_are_the_widest(streams):
    for stream in streams:
        for point in stream.points:
            for low, high in (point.shop, point.model, point.both):
                assert low < point.loss < high
            width = {kind: np.diff(getattr(point, kind))[0] for kind in ("shop", "model", "both")}
            assert width["both"] > 0.95 * max(width["shop"], width["model"])


def test_correlations_take_the_air_loss_no_further_than_their_band(streams):
    # Offset strip: f within 20 %; only friction scatters, so the loss does less than that
    for point in of(streams, "air").points:
        assert 0.79 * point.loss < point.model[0]
        assert point.model[1] < 1.21 * point.loss
        assert point.model[1] > 1.10 * point.loss


def test_without_tolerances_the_shop_has_no_width_and_both_are_the_correlations():
    s = untoleranced(study())
    p = CoreProblem(s)
    for stream in bench(p, core(p), FEW):
        for point in stream.points:
            assert point.shop == (point.loss, point.loss)
            assert point.both == point.model


def test_without_bands_the_correlations_have_no_width():
    none = dict.fromkeys(("air_j", "air_f", "coolant_j", "coolant_f", "tank_loss"), (0.0, 0.0))
    p = CoreProblem(replace(study(), bands=none))
    for stream in bench(p, core(p), FEW):
        for point in stream.points:
            assert point.model == pytest.approx((point.loss, point.loss), rel=1e-12)
            assert point.both == pytest.approx(point.shop, rel=1e-12)


def test_lid_and_plenum_are_not_on_the_bench(streams):
    p = CoreProblem(with_variable(with_variable(study(), "ducts.lid_loss", 9.0), "ducts.plenum_loss", 9.0))
    assert [point.loss for point in bench(p, core(p), FEW)[0].points] == [x.loss for x in streams[0].points]


def test_water_is_there_once():
    p = CoreProblem(replace(study(), coolant=Coolant("water", None, None)))
    assert [stream.fluid for stream in bench(p, core(p), FEW)] == ["air", "water"]


def test_air_that_cannot_pass_leaves_the_coolant_its_figures():
    p = problem(air_flow='"3.5 kg/s"', air_pressure='"490 kPa"')
    air, *coolants = bench(p, core(p), FEW)
    assert np.isnan(air.points[-1].loss)
    assert air.points[-1].both[1] == np.inf
    assert air.lost > 0
    assert any("30 % of the inlet pressure" in text for text in air.cautions)
    for stream in coolants:
        assert np.isfinite([point.both for point in stream.points]).all()
        assert not any("air" in text for text in stream.cautions)


def test_the_flow_that_loop_and_engine_make_is_that_of_the_run():
    p = CoreProblem(load(EXAMPLE / "study.toml"))
    chosen = core_of_run(p.space, EXAMPLE, "knee")
    front = pd.read_csv(EXAMPLE / "front.csv").set_index("core").loc["C919911"]
    names = [f"coolant_volume_flow@{duty} [L/min]" for duty in ("full_power", "long_climb")]
    found = of(bench(p, chosen, 64), "ethylene glycol").points[-1]
    assert 60e3 * found.volume_flow == pytest.approx(max(front[name] for name in names), rel=1e-6)


def test_cautions_of_a_bench_are_not_about_heat(streams):
    # Cold glycol is outside the range of j in Pr; that says nothing of a loss
    assert [text for stream in streams for text in stream.cautions if "Pr" in text] == []


def test_a_core_that_cannot_be_rated_is_refused():
    p = problem(air_flow='"60 kg/s"')
    with pytest.raises(FinfrontError, match="cannot be rated"):
        bench(p, core(p), 16)
