"""Fits to bench rows: hidden truths recovered, a regression by hand, rows that cannot be, what follows from a fit."""

import csv
import shutil
import tomllib
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from bench_rows import COVERAGE, Truth
from scipy import stats
from small_studies import ROOT

from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.fitting import next_point
from optimize.fitting.bench_file import read_bench
from optimize.fitting.findings import (
    chance_of_misfit,
    corrections,
    left_one_out,
    outliers,
    standardised,
    validation,
)
from optimize.fitting.fit import fit, held_prediction, model_of, read_all
from optimize.fitting.next_point import goals_of, next_points
from optimize.fitting.posterior import (
    Measured,
    Posterior,
    _posterior,
    fitted,
    measured_of,
    row_covariance,
    slopes_at,
)
from optimize.fitting.quantities import OUTPUTS
from optimize.fitting.rigs import benches
from optimize.fitting.scales import Scales, scales_of
from optimize.fitting.steady import steady
from optimize.handover.acceptance import Guard, acceptance
from optimize.handover.bench import largest_flows
from optimize.study.corrections import as_toml
from optimize.study.load import load
from optimize.tolerance.draws import Draws
from optimize.tolerance.model_draws import fitted_bands, model_factors
from optimize.typed_core import typed_core
from physics.duty import ModelFactors
from physics.fins import OFFSET_STRIP, Fin
from physics.flags import Flag
from physics.rating import rate

RACER = load(ROOT / "studies" / "dune_racer.toml")
PAIRS = ["air_fin=S20-80", "turbulator=TS-25-16", "passes=2 through the thickness", "thickness=65 mm", "passages=12",
         "port=R25", "line=-16"]  # fmt: skip
HIDDEN = {"air_j": 1.08, "air_f": 0.93, "coolant_j": 0.9, "coolant_f": 1.12, "tank_loss": 1.05}


@pytest.fixture(scope="module")
def problem() -> CoreProblem:
    return CoreProblem(RACER)


@pytest.fixture(scope="module")
def core(problem):
    return typed_core(problem.space, PAIRS)


def files(truth: Truth, folder: Path):
    rigs = {"flow.csv": truth.flow_bench, "water.csv": truth.water_rig, "hot.csv": truth.hot_test}
    return read_all([write(folder / name) for name, write in rigs.items()], {})


@pytest.fixture(scope="module")
def found(problem, core, tmp_path_factory):
    return fit(problem, core, files(Truth(problem, core, HIDDEN, 1), tmp_path_factory.mktemp("bench")))


# --- the truth is found ---------------------------------------------------------------------------------------------


def test_hidden_multipliers_are_found(found):
    truth = Truth(found.problem, found.core, HIDDEN, 1)
    for c in corrections(found.posterior, found.scales):
        if c.name in HIDDEN:
            assert c.after[0] <= there(truth, c.name, found) <= c.after[2], c
    told = {c.name: c.verdict for c in corrections(found.posterior, found.scales)}
    assert told["air_f"] == told["coolant_f"] == told["air_j"] == "told by the rows"
    assert told["tank_loss"].startswith("not told")
    assert len(found.scales.shop) == len(found.problem.space.tolerances(found.core))
    assert {name for name in found.scales.shop if told[name] == "told by the rows"} == set()


def there(truth: Truth, name: str, found) -> float:
    """The true multiplier at the reference of a fit."""
    return truth.at(name, found.scales.reference["air" if name.startswith("air") else "coolant"])


def coverage(problem, core, folder, repetitions) -> dict[str, int]:
    """How often the 95 % interval of each told correction holds a truth drawn from the published band."""
    inside = dict.fromkeys(HIDDEN, 0)
    for seed in range(repetitions):
        random = np.random.default_rng([seed, 99])
        z = random.normal(size=len(HIDDEN))
        truth = {name: float((1.2 if name != "tank_loss" else 1.25) ** (v / COVERAGE)) if v > 0 else
                 float((0.8 if name != "tank_loss" else 0.75) ** (-v / COVERAGE))
                 for name, v in zip(HIDDEN, z, strict=True)}  # fmt: skip
        hidden = Truth(problem, core, truth, seed)
        made = fit(problem, core, files(hidden, folder))
        for c in corrections(made.posterior, made.scales):
            if c.name in inside:
                inside[c.name] += c.after[0] <= there(hidden, c.name, made) <= c.after[2]
    return inside


def assert_nominal(inside: dict[str, int], repetitions: int) -> None:
    """As often as 95 % would have it, to a chance of one in a thousand for all."""
    for name, count in inside.items():
        assert stats.binomtest(count, repetitions, 0.95).pvalue > 1e-3, (name, count)


def test_intervals_hold_the_truth_as_often_as_they_say(problem, core, tmp_path):
    assert_nominal(coverage(problem, core, tmp_path, 25), 25)


@pytest.mark.slow
def test_intervals_hold_the_truth_as_often_as_they_say_in_200_repetitions(problem, core, tmp_path):
    assert_nominal(coverage(problem, core, tmp_path, 200), 200)


def test_a_linear_regression_has_its_textbook_posterior():
    """Normal equations of generalised least squares with a standard normal prior, by plain inverses."""
    random = np.random.default_rng(2)
    J, z = random.normal(size=(9, 3)), np.array([0.4, -1.0, 0.2])
    A = random.normal(size=(9, 9))
    V = A @ A.T + np.eye(9)
    y = J @ z + np.linalg.cholesky(V) @ random.normal(size=9)
    precision = J.T @ np.linalg.inv(V) @ J + np.eye(3)
    mean = np.linalg.inv(precision) @ J.T @ np.linalg.inv(V) @ y
    rows = Measured(y, np.zeros(9, dtype=int), np.arange(9), ("air_loss",) * 9)
    made = _posterior(("a", "b", "c"), rows, mean, J @ mean, J, V)
    np.testing.assert_allclose(made.covariance, np.linalg.inv(precision), rtol=1e-10)
    # The misfit at the minimum: y' (V + J J')^-1 y, chi-square of nine degrees of freedom.
    assert made.misfit == pytest.approx(y @ np.linalg.solve(V + J @ J.T, y), rel=1e-10)
    left = left_one_out(made)
    for i in range(9):
        own = np.arange(9) != i
        # The law of one of several normal values given the others: all of them have the covariance V + J J'.
        whole = V + J @ J.T
        weights = np.linalg.solve(whole[np.ix_(own, own)], whole[own, i])
        assert left.residual[i] == pytest.approx(y[i] - weights @ y[own], rel=1e-9)
        assert left.deviation[i] ** 2 == pytest.approx(whole[i, i] - weights @ whole[own, i], rel=1e-9)


def test_leaving_rows_out_by_hand_gives_what_the_linear_way_gives(found):
    left = left_one_out(found.posterior)
    part = found.parts[0]
    for i in (0, 4, 7):
        without = [replace(part, file=part.file.take(np.delete(np.arange(len(part.file)), i))), *found.parts[1:]]
        again = fitted(without, found.scales)
        predicted = part.predicted(found.scales, again.mean[None])[0, i, 0]
        residual = part.file.values["air_loss"][i] - predicted
        assert residual == pytest.approx(left.residual[i], abs=0.15 * left.deviation[i])


def test_rows_left_out_lie_inside_their_intervals_about_as_often_as_said(found):
    left = left_one_out(found.posterior)
    assert stats.binomtest(int(left.inside.sum()), len(left.inside), 0.9).pvalue > 1e-3
    assert not outliers(found.posterior).any()
    assert chance_of_misfit(found.posterior) > 1e-3
    assert found.scatter == 1.0


def test_a_file_kept_apart_is_predicted(problem, core, tmp_path):
    flow, water, hot = files(Truth(problem, core, HIDDEN, 3), tmp_path)
    made = fit(problem, core, [flow, hot], [water])
    apart = held_prediction(made)
    assert np.mean(np.abs(apart.residual) <= 1.645 * apart.deviation) > 0.6
    assert len(apart.residual) == 8


def test_an_outlier_is_named_and_rows_that_scatter_widen_the_bands(problem, core, tmp_path):
    flow, water, hot = files(Truth(problem, core, HIDDEN, 4), tmp_path)
    values = flow.values | {"air_loss": flow.values["air_loss"] * np.where(np.arange(8) == 3, 1.15, 1.0)}
    made = fit(problem, core, [replace(flow, values=values), water, hot])
    assert int(np.argmax(np.abs(standardised(made.posterior)))) == 3
    assert np.flatnonzero(outliers(made.posterior)).tolist() == [3]
    assert made.scatter > 1.0
    assert np.all(made.posterior.deviations <= 1 + 1e-9)


def test_comparison_errors_shrink_and_stay_within_their_uncertainty(found):
    before = validation(found.posterior, found.published)
    after = validation(found.posterior, found.posterior.predicted)
    assert sum(abs(b.error) > 2 * b.uncertainty for b in before) >= 4
    assert all(abs(a.error) < 3 * a.uncertainty for a in after)
    row = next(v for v in after if v.output == "air_loss" and v.file == 0)
    own = np.arange(8)
    assert row.error == pytest.approx(float(np.mean(-found.posterior.residuals[own])))


# --- measured surfaces ----------------------------------------------------------------------------------------------


def surfaces() -> dict[str, list[dict[str, str]]]:
    """Strip fins of Kays & London, read second-hand: j and f over Re (see the head of the file)."""
    lines = (ROOT / "tests/reference/kays_london_jf.csv").read_text(encoding="utf-8").splitlines()
    found: dict[str, list[dict[str, str]]] = {}
    for row in csv.DictReader(line for line in lines if not line.startswith("#")):
        if row["kind"] == "offset strip":
            found.setdefault(row["surface"], []).append(row)
    return found


def with_surface(part, rows):
    """A bench whose core has a measured surface on the air side, one row a Reynolds number, and what it would read."""
    sizes = ("plate_spacing_mm", "fin_thickness_mm", "strip_length_mm")
    spacing, thickness, strip = (np.array([1e-3 * float(rows[0][key])]) for key in sizes)
    fin = Fin(spacing, np.array([0.0254 / float(rows[0]["fins_per_inch"])]), thickness, strip)
    sizes = {f"air_fin.{key}": getattr(fin, key) for key in ("spacing", "pitch", "thickness", "strip_length")}
    batch = replace(part.batch, parameters=part.batch.parameters | sizes, air_family=OFFSET_STRIP)
    bench = replace(part, batch=batch)
    n, Re = len(rows), np.array([float(row["Re"]) for row in rows])
    own = part.file.take(np.zeros(n, dtype=int))
    scales = Scales(dict.fromkeys(HIDDEN, (-0.2, 0.2)), {}, {"air": float(Re[0]), "coolant": 1.0})
    zero = np.zeros((1, len(scales.names)))
    bench = replace(bench, file=own)
    flow = own.values["air_flow"] * Re / bench.rated(scales, zero).values["air_Re"][0]
    bench = replace(bench, file=replace(own, values=own.values | {"air_flow": flow}))
    rating = bench.rated(scales, zero)
    measured = {}
    for name, output, column in (("air_j", "air_outlet_temperature", "j"), ("air_f", "air_loss", "f")):
        ratio = np.array([float(row[column]) for row in rows]) / np.broadcast_to(rating[f"air_{column}"], (1, n))[0]
        alone = [rate(batch.designs, bench.duty(), replace(ModelFactors(), **{name: np.array([r])})) for r in ratio]
        measured[output] = np.array([a[OUTPUTS[output]][0, i] for i, a in enumerate(alone)])
    kept = {k: v for k, v in bench.file.values.items() if k not in OUTPUTS} | measured
    random = bench.file.random | {"air_outlet_temperature": np.full(n, 0.25), "air_loss": 0.02 * measured["air_loss"]}
    return replace(bench, file=replace(bench.file, values=kept, random=random)), scales


def test_measured_surfaces_are_predicted_from_one_of_their_points(found):
    """Fit each at its lowest Re, predict the others; readings taken as good to 4 % and 0.5 K (our guess)."""
    inside, beside, published = [], [], []
    for rows in surfaces().values():
        bench, scales = with_surface(found.parts[2], rows)
        first, rest = (replace(bench, file=bench.file.take(index)) for index in ([0], np.arange(1, len(rows))))
        made = fitted([first], scales)
        y = measured_of([rest]).y
        m, J = slopes_at([rest], scales, made.mean)
        V = row_covariance([rest], scales, made.mean) + J @ made.covariance @ J.T
        sd = np.sqrt(np.diag(V))
        inside += (np.abs(y - m) <= 1.645 * sd).tolist()
        beside += (np.abs(y - m) / sd).tolist()
        published += (np.abs(y - slopes_at([rest], scales, np.zeros(len(scales.names)))[0]) / sd).tolist()
    assert len(inside) == 8  # two outputs at four further points
    assert sum(inside) >= 6
    # Nearer than the published correlation in the root mean square: not in every point, see 1/8-15.61.
    assert np.mean(np.square(beside)) < np.mean(np.square(published))


# --- little data ----------------------------------------------------------------------------------------------------


def test_one_point_tells_little_and_nothing_breaks(problem, core, tmp_path):
    path = Truth(problem, core, HIDDEN, 5).flow_bench(tmp_path / "one.csv", np.array([0.6]))
    made = fit(problem, core, read_all([path], {}))
    told = {c.name: c.verdict for c in corrections(made.posterior, made.scales)}
    assert told["coolant_j"].startswith("not told")
    assert told["coolant_f"].startswith("not told")
    assert made.posterior.deviations[made.posterior.names.index("air_j")] == pytest.approx(1.0, abs=1e-3)
    model = model_of(made)
    assert model.Re["coolant"] is None
    # Of a side without rows all stays as published: no exponent, and a Reynolds number of the duty points
    assert {"air_f_exponent", "coolant_f_exponent"} & set(model.names) == {"air_f_exponent"}
    duty = problem.rate(made.batch)["coolant_Re"][0]
    assert duty.min() <= model.reference["coolant"] <= duty.max()


def test_points_at_one_flow_leave_pairs_untold(problem, core, tmp_path):
    path = Truth(problem, core, HIDDEN, 6).flow_bench(tmp_path / "same.csv", np.full(6, 0.6))
    made = fit(problem, core, read_all([path], {}))
    told = {c.name: c.verdict for c in corrections(made.posterior, made.scales)}
    assert told["air_f_exponent"].startswith("not told")
    rho = made.posterior.covariance / np.outer(made.posterior.deviations, made.posterior.deviations)
    of = made.posterior.names.index
    assert rho[of("air_f"), of("air_blockage")] < -0.3  # either would raise the loss


def test_a_log_is_cut_to_its_steady_parts(problem, core, tmp_path):
    truth = Truth(problem, core, HIDDEN, 7)
    path = truth.log(tmp_path / "log.csv")
    log = read_bench(path)
    parts = steady(log)
    assert 6 <= len(parts) <= 8
    assert np.all(parts.values["time"] > 18)
    assert np.all(parts.random["air_outlet_temperature"] < 1.5 / COVERAGE)
    assert parts.common["air_outlet_temperature"] == pytest.approx(np.full(len(parts), 0.5**0.5 / COVERAGE))
    made = fit(problem, core, [parts])
    c = next(c for c in corrections(made.posterior, made.scales) if c.name == "air_j")
    assert c.after[0] < there(truth, "air_j", made) < c.after[2]


def test_a_log_of_real_steps_is_fitted_as_its_means_are(problem, core, tmp_path):
    """Six settings that differ by what a bench gets wrong from one to the next, each held without a tremor."""
    truth = Truth(problem, core, HIDDEN, 7)
    hot = read_bench(truth.hot_test(tmp_path / "hot.csv"))
    file = read_bench(truth.log(tmp_path / "log.csv"))
    n = 6 * 50
    held = {name: np.repeat(v, 50) for name, v in hot.values.items() if name in file.values}
    sensors = {name: np.repeat(hot.random[name], 50) for name in held}
    log = replace(file, values=held | {"time": np.arange(n) / 10}, random=sensors, lines=np.arange(n),
                  common={name: np.zeros(n) for name in held})  # fmt: skip
    made = fit(problem, core, [steady(log)])
    assert len(made.posterior.measured) == 6
    c = next(c for c in corrections(made.posterior, made.scales) if c.name == "air_j")
    assert c.after[0] < there(truth, "air_j", made) < c.after[2]


def test_readings_too_coarse_to_scatter_are_no_surer_than_their_sensor(problem, core, tmp_path):
    log = read_bench(Truth(problem, core, HIDDEN, 7).log(tmp_path / "log.csv"))
    held = {name: v if name == "time" else np.full_like(v, v[-1]) for name, v in log.values.items()}
    parts = steady(replace(log, values=held))
    assert np.all(parts.random["air_outlet_temperature"] > 0)
    assert len(fit(problem, core, [parts]).posterior.measured) == len(parts)


# --- rows that cannot be --------------------------------------------------------------------------------------------

FLOW = """# rig: flow bench
# uncertainty: air_loss 1 %, air_flow 1 %, air_inlet_temperature 1 K, air_inlet_pressure 0.2 %
air_flow [kg/s], air_inlet_temperature [degC], air_inlet_pressure [kPa], air_loss [kPa]
0.3, 22, 99, 0.395
0.5, 22, 99, 0.87
0.7, 22, 99, 1.48
"""


@pytest.mark.parametrize(("old", "new", "said"), [
    ("# rig: flow bench\n", "", "does not say what rig"), ("flow bench", "blow bench", "unknown rig"),
    ("air_loss [kPa]", "air_loss", "has no unit"), ("air_loss [kPa]", "air_loss [kg]", "expected a pressure"),
    ("air_loss [kPa]", "air_lost [kPa]", "unknown column"), ("0.3, 22", "0.3, ", "a value is missing"),
    ("0.3, 22", "nan, 22", "a value is missing"), ("0.3, 22", "x, 22", "is not a number"),
    ("0.3, 22", "1e999, 22", "not finite"), ("0.3, 22, 99, 0.395", "0.3, 22, 99", "3 values under 4 columns"),
    ("0.3, 22", "-0.3, 22", "not above zero"), ("air_loss 1 %, ", "", "no uncertainty is stated for 'air_loss'"),
    ("air_loss 1 %", "air_loss 1 kg", "uncertainty of 'air_loss'"), ("1 K", "1 %", "per cent of a temperature"),
    ("air_loss 1 %", "air_loss 0 %", "not above zero"),
    ("air_inlet_pressure [kPa]", "coolant_loss [kPa]", "needs a column"),
    ("0.2 %", "0.2 %, air_los 1 %", "unknown 'air_los'"), ("[degC]", "[psig]", "temperature"),
    ("air_inlet_pressure [kPa]", "air_inlet_pressure [barg]", "gauge"),
    ("air_flow 1 %", "air_flow 5 cfm", "expected a mass flow"), ("air_flow 1 %", "air_flow 250 %", "more than 50 %"),
    ("0.3, 22", "1_0, 22", "is not a number"), ("air_loss 1 %", "air_loss 1 %, air_loss 2 %", "said twice"),
    ("0.2 %", "0.2 %\n# common: air_loss -1 %", "below zero"), ("0.2 %", "0.2 %, coolant_loss 1 %", "has no column"),
    ("# rig: flow bench\n", "# rig: flow bench\n# rig: water rig\n", "said twice"),
    ("# rig: flow bench\n", "# rig: flow bench\n# duct: yes\n", "did you mean 'ducts'"),
])  # fmt: skip
def test_a_wrong_file_is_refused_with_its_reason(tmp_path, old, new, said):
    assert old in FLOW
    (tmp_path / "rig.csv").write_text(FLOW.replace(old, new), encoding="utf-8")
    with pytest.raises(FinfrontError) as refused:
        read_all([tmp_path / "rig.csv"], {})
    assert said in str(refused.value)
    assert "rig.csv" in str(refused.value)


def test_a_good_file_is_read_in_any_order_and_with_a_decimal_comma(tmp_path):
    (tmp_path / "a.csv").write_text(FLOW, encoding="utf-8")
    rows = FLOW.replace("# rig", "# decimal: comma\n# rig").splitlines()
    turned = [line if line.startswith("#") else ";".join(reversed(line.split(","))) for line in rows]
    commas = [line if line.startswith("#") or "[" in line else line.replace(".", ",") for line in turned]
    (tmp_path / "b.csv").write_text("\n".join(commas), encoding="utf-8")
    one, other = (read_bench(tmp_path / name) for name in ("a.csv", "b.csv"))
    for name, values in one.values.items():
        assert other.values[name].tolist() == values.tolist()
        assert other.random[name] == pytest.approx(one.random[name])


def test_a_point_is_no_decimal_mark_where_the_comma_is(tmp_path):
    rows = FLOW.replace("# rig", "# decimal: comma\n# rig").replace(", ", ";").replace(";air_", ", air_")
    head, *rest = rows.split("air_flow [kg/s]")
    (tmp_path / "a.csv").write_text(head + "air_flow [kg/s]" + rest[0].replace(", air", ";air"), encoding="utf-8")
    with pytest.raises(FinfrontError, match=r"'0\.3' is not a number"):
        read_bench(tmp_path / "a.csv")


def test_a_table_as_spreadsheets_save_it_is_read_or_told_what_to_do(tmp_path):
    lines = FLOW.splitlines()
    quoted = [f'"{line}",,,' if line.startswith("#") else line for line in lines]
    (tmp_path / "a.csv").write_text("\r\n".join(quoted), encoding="utf-8-sig")
    assert len(read_bench(tmp_path / "a.csv")) == 3
    commas = [line if line.startswith("#") else line.replace(", ", ";").replace(".", ",") for line in lines]
    (tmp_path / "b.csv").write_text("\n".join(commas), encoding="utf-8")
    with pytest.raises(FinfrontError, match="add a line '# decimal: comma'"):
        read_bench(tmp_path / "b.csv")
    (tmp_path / "c.csv").write_bytes(FLOW.encode("utf-16"))
    with pytest.raises(FinfrontError, match="as CSV in UTF-8"):
        read_bench(tmp_path / "c.csv")


def test_rows_far_from_any_fit_are_refused_with_the_worst_of_them(problem, core, tmp_path):
    flow = files(Truth(problem, core, HIDDEN, 4), tmp_path)[0]
    values = flow.values | {"air_loss": flow.values["air_loss"] * np.where(np.arange(8) == 3, 0.3, 1.0)}
    with pytest.raises(FinfrontError, match=rf"air_loss most of all, .*flow.csv, line {flow.lines[3]}"):
        fit(problem, core, [replace(flow, values=values)])


def test_uncertainties_may_be_said_in_several_lines(tmp_path):
    (tmp_path / "a.csv").write_text(FLOW.replace("1 %, air_flow", "1 %\n# uncertainty: air_flow"), encoding="utf-8")
    assert read_bench(tmp_path / "a.csv").random["air_loss"][0] == pytest.approx(0.01 * 395 / COVERAGE)


def test_flow_at_a_stated_depression_is_a_loss_at_a_flow(tmp_path):
    text = FLOW.replace("air_loss [kPa]", "test_depression [inH2O]").replace("air_flow [kg/s]", "air_flow [cfm]")
    text = text.replace("air_loss 1 %", "test_depression 1 %")
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    file = read_bench(tmp_path / "a.csv")
    assert file.values["air_loss"][0] == pytest.approx(0.395 * 249.089, rel=1e-4)
    assert file.by_volume == {"air_flow"}


def test_rows_are_left_out_only_when_told(tmp_path):
    path = tmp_path / "rig.csv"
    path.write_text(FLOW.replace("0.5, 22", "x, 22"), encoding="utf-8")
    with pytest.raises(FinfrontError, match="not a number"):
        read_all([path], {})
    assert len(read_all([path], {str(path): {5}})[0]) == 2
    with pytest.raises(FinfrontError, match="no row on this line"):
        read_all([path], {str(path): {5, 77}})
    with pytest.raises(FinfrontError, match="no bench file given"):
        read_all([path], {"other.csv": {5}})
    with pytest.raises(FinfrontError, match="given twice"):
        read_all([path, path], {})
    with pytest.raises(FinfrontError, match="no such file"):
        read_all([tmp_path / "none.csv"], {})


@pytest.mark.parametrize(("change", "said"), [
    (lambda v: v | {"air_flow": v["air_loss"] / 1e3, "air_loss": v["air_flow"] * 1e3}, "swapped"),
    (lambda v: v | {"air_loss": np.full(8, 900.0)}, "never changes"),
    (lambda v: v | {"air_loss": v["air_loss"][::-1]}, "swapped"),
])  # fmt: skip
def test_columns_that_contradict_one_another_are_refused(problem, core, tmp_path, change, said):
    from optimize.fitting.sanity import refuse_nonsense

    file = read_bench(Truth(problem, core, HIDDEN, 8).flow_bench(tmp_path / "flow.csv"))
    refuse_nonsense(file)
    with pytest.raises(FinfrontError) as refused:
        refuse_nonsense(replace(file, values=change(file.values)))
    assert said in str(refused.value)


def test_inlet_and_outlet_swapped_are_refused(problem, core, tmp_path):
    from optimize.fitting.sanity import refuse_nonsense

    file = read_bench(Truth(problem, core, HIDDEN, 8).hot_test(tmp_path / "hot.csv"))
    v = file.values
    for one, other in (("air_inlet_temperature", "air_outlet_temperature"),
                       ("coolant_inlet_temperature", "coolant_outlet_temperature")):  # fmt: skip
        with pytest.raises(FinfrontError, match=r"lie between|does not warm"):
            refuse_nonsense(replace(file, values=v | {one: v[other], other: v[one]}))


@pytest.mark.parametrize(
    ("factor", "unit"), [(1 / 68.94757, "psi"), (1 / 10, "kPa"), (100.0, "Pa"), (1 / 33.86, "inHg")]
)
def test_losses_in_another_unit_are_refused_with_a_guess(problem, core, tmp_path, factor, unit):
    file = read_bench(Truth(problem, core, HIDDEN, 9).flow_bench(tmp_path / "flow.csv"))
    wrong = replace(file, values=file.values | {"air_loss": file.values["air_loss"] * factor})
    with pytest.raises(FinfrontError) as refused:
        fit(problem, core, [wrong])
    assert "times what this core could have" in str(refused.value)
    assert f"it looks like {unit} written as mbar" in str(refused.value)


def test_heat_out_of_balance_is_seen(problem, core, tmp_path):
    hot = files(Truth(problem, core, HIDDEN, 10), tmp_path)[2]
    assert fit(problem, core, [hot]).balances[0].broken.sum() <= 1
    rise = hot.values["coolant_outlet_temperature"] - hot.values["coolant_inlet_temperature"]
    leaks = hot.values | {"coolant_outlet_temperature": hot.values["coolant_inlet_temperature"] + 0.85 * rise}
    made = fit(problem, core, [replace(hot, values=leaks)])
    assert made.balances[0].broken.sum() >= 5
    assert made.balances[0].is_biased


def test_heat_that_goes_astray_in_every_row_is_doubted(problem, core, tmp_path):
    """Each row alone is within what is stated; all of them together are not, and j must not take the blame for sure."""
    truth = Truth(problem, core, HIDDEN, 13)
    hot = files(truth, tmp_path)[2]
    assert not fit(problem, core, [hot]).balances[0].is_biased
    fall = hot.values["air_inlet_temperature"] - hot.values["air_outlet_temperature"]
    astray = hot.values | {"air_outlet_temperature": hot.values["air_outlet_temperature"] - 0.04 * fall}
    made = fit(problem, core, [replace(hot, values=astray)])
    assert made.balances[0].is_biased
    assert made.balances[0].broken.sum() < 6
    c = next(c for c in corrections(made.posterior, made.scales) if c.name == "air_j")
    assert c.after[0] < there(truth, "air_j", made) < c.after[2]


# --- use ------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def fitted_study(found, tmp_path_factory):
    folder = tmp_path_factory.mktemp("fitted")
    shutil.copytree(ROOT / "studies" / "catalogues", folder / "catalogues")
    (folder / "model.toml").write_text(as_toml(model_of(found)), encoding="utf-8")
    text = (ROOT / "studies" / "dune_racer.toml").read_text(encoding="utf-8")
    assert "[model]" not in text
    (folder / "study.toml").write_text(text + '\n[model]\nfitted = "model.toml"\n', encoding="utf-8")
    return load(folder / "study.toml")


def test_a_model_written_and_read_is_the_same(found, fitted_study):
    assert fitted_study.fitted == model_of(found)
    assert "model.toml" in fitted_study.files


def test_a_band_to_one_side_is_a_band(found, fitted_study, tmp_path):
    shutil.copytree(Path(fitted_study.path).parent, tmp_path / "s")
    own = model_of(found)
    one_sided = replace(own, bands=own.bands | {"air_j": (0.0, 0.2), "tank_loss": (0.0, 0.0)})
    (tmp_path / "s/model.toml").write_text(as_toml(one_sided), encoding="utf-8")
    assert load(tmp_path / "s/study.toml").fitted == one_sided


def test_rating_uses_the_fitted_means(found, fitted_study, problem, core):
    batch = found.batch
    with_fit = CoreProblem(fitted_study)
    own = with_fit.rate(with_fit.space.batch(core, np.zeros(1, dtype=np.int64)))
    by_hand = problem.rate(batch, found.scales.factors(found.posterior.mean[None]))
    for name in ("air_outlet_temperature", "air_pressure_drop", "coolant_pressure_drop"):
        assert own[name] == pytest.approx(by_hand[name], rel=1e-12)
    assert not np.array_equal(own["air_pressure_drop"], problem.rate(batch)["air_pressure_drop"])


def test_draws_follow_the_posterior(found, fitted_study):
    batch = found.batch
    made = model_factors(fitted_study, batch.air_family, batch.coolant_family, Draws(fitted_study, 4096))
    scores = np.log([made.air_j, made.coolant_j])
    rho = found.posterior.covariance[0, 2] / np.prod(found.posterior.deviations[[0, 2]])
    assert np.corrcoef(scores)[0, 1] == pytest.approx(rho, abs=0.05)
    low, high = np.percentile(made.air_f, (2.5, 97.5))
    band = fitted_bands(fitted_study, batch.air_family, batch.coolant_family)["air_f"]
    assert (low - 1, high - 1) == pytest.approx(band, abs=0.004)


def test_other_fins_and_reynolds_numbers_are_flagged(found, fitted_study, core):
    p = CoreProblem(fitted_study)
    here = p.rate(p.space.batch(core, np.zeros(1, dtype=np.int64)))
    wavy = next(name for name, roll in fitted_study.air_fins.items() if roll.family == "wavy")
    other = core | {"air_fin": np.array([p.space.code("air_fin", wavy)])}
    there = p.rate(p.space.batch(other, np.zeros(1, dtype=np.int64)))
    assert np.all(there.flags & Flag.FIT_RANGE)
    reach = fitted_study.fitted.Re["air"]
    beyond = (here["air_Re"] < reach[0]) | (here["air_Re"] > reach[1])
    side = (here["coolant_Re"] < fitted_study.fitted.Re["coolant"][0]) | (
        here["coolant_Re"] > fitted_study.fitted.Re["coolant"][1]
    )
    assert np.array_equal(here.flags & Flag.FIT_RANGE > 0, beyond | side)


@pytest.mark.parametrize(("change", "said"), [
    ({"names": '["air_j", "bogus"]'}, "unknown names"), ({"mean": "[0.1]"}, "1 values for 9 names"),
    ({"mean": "[nan, 0, 0, 0, 0, 0, 0, 0, 0]"}, "beyond 6"), ({"mean": "[50, 0, 0, 0, 0, 0, 0, 0, 0]"}, "beyond 6"),
    ({"covariance": "[[1.0]]"}, "not a symmetric"), ({"covariance": f"{np.ones((9, 9)).tolist()}"}, "not a symmetric"),
    ({"covariance": '["x"]'}, "covariance"), ({"about": "3"}, "about"),
])  # fmt: skip
def test_a_model_file_at_fault_is_told_by_its_line(fitted_study, tmp_path, change, said):
    folder = Path(fitted_study.path).parent
    shutil.copytree(folder, tmp_path / "s")
    table = tomllib.loads((tmp_path / "s/model.toml").read_text(encoding="utf-8"))
    keys = {k: repr(v).replace("'", '"') for k, v in table.items() if not isinstance(v, dict)} | change
    tables = [f"[{k}]\n" + "\n".join(f"{n} = {v!r}".replace("'", '"') for n, v in t.items())
              for k, t in table.items() if isinstance(t, dict)]  # fmt: skip
    text = "\n".join([*(f"{k} = {v}" for k, v in keys.items()), *tables])
    (tmp_path / "s/model.toml").write_text(text, encoding="utf-8")
    with pytest.raises(FinfrontError) as refused:
        load(tmp_path / "s/study.toml")
    assert said in str(refused.value)
    assert "model.toml" in str(refused.value)


def test_a_study_with_a_fitted_model_is_not_fitted_again(fitted_study, core):
    with pytest.raises(FinfrontError, match="fitted model already"):
        fit(CoreProblem(fitted_study), core, [])


# --- what next, and what to accept ----------------------------------------------------------------------------------


def test_the_row_measured_next_shrinks_what_it_said_it_would(problem, core, tmp_path):
    truth = Truth(problem, core, HIDDEN, 11)
    made = fit(problem, core, read_all([truth.flow_bench(tmp_path / "flow.csv")], {}))
    goals, ranked = next_points(made)
    assert ranked[0].rig == "hot test"  # no heat was measured yet, and the first goal is a temperature
    assert all(a.gain >= b.gain for a, b in pairwise(ranked))
    assert all(np.all(c.goals <= goals.deviations * (1 + 1e-9)) for c in ranked)
    temperature = goals.names.index("air outlet temperature, full_power")
    more = fit(problem, core, read_all([tmp_path / "flow.csv", truth.hot_test(tmp_path / "hot.csv", 1)], {}))
    assert goals_of(more).deviations[temperature] < 0.7 * goals.deviations[temperature]


@pytest.mark.parametrize("spoilt", [False, True])
def test_a_row_on_the_same_rig_takes_what_a_fit_with_it_takes(problem, core, tmp_path, spoilt):
    """Its rig gets wrong again what it got wrong before, and scatters as its rows did."""
    flow, water, hot = files(Truth(problem, core, HIDDEN, 12), tmp_path)
    common = {name: 3.0 * u for name, u in flow.random.items()}
    loss = flow.values["air_loss"] * np.where(np.arange(8) == 3, 1.25 if spoilt else 1.0, 1.0)
    flow = replace(flow, common=common, values=flow.values | {"air_loss": loss})
    made = fit(problem, core, [flow, water, hot])
    assert (made.scatter > 1.0) == spoilt
    goals, ranked = next_points(made)
    claimed = {c.air_flow: c.goals for c in ranked if c.rig == "flow bench"}
    asked = next_point._flows("flow bench", *measured_flows(problem, core), made)
    (part,) = benches(problem, core, [asked], made.scales)
    more = next_point._to_measure(part, made.scales, made.posterior.mean, made)
    for i in (0, 4):
        row = more.take(np.array([i]))
        joined = {
            name: {k: np.concatenate([v, getattr(row, name)[k]]) for k, v in getattr(flow, name).items()}
            for name in ("values", "random", "common")
        }
        both = replace(flow, lines=np.arange(9), **joined)
        parts = benches(problem, core, [both, water, hot], made.scales)
        again = fitted(parts, made.scales, made.posterior.mean, scatter=made.scatter)
        refitted = np.sqrt(np.einsum("ij,jk,ik->i", goals.slopes, again.covariance, goals.slopes))
        assert claimed[float(row.values["air_flow"][0])] == pytest.approx(refitted, rel=0.01)


def measured_flows(problem, core):
    return (flow * np.array(next_point.SHARES) for flow in largest_flows(problem, core))


def test_another_core_is_rated_as_itself_and_tells_of_the_correlations(problem, core, found):
    other = core | {"thickness": np.array([0.08])}
    _, ranked = next_points(found, {"C1": other})
    assert min(c.gain for c in ranked) >= 0.0
    assert max(c.gain for c in ranked if c.core == "C1") > 0.0
    batch = problem.space.batch(other, np.zeros(1, dtype=np.int64))
    scales = replace(scales_of(problem, other, batch), reference=found.scales.reference)
    z = next_point._carried(found, scales)
    (part,) = benches(problem, other, [next_point._flows("flow bench", *measured_flows(problem, other), found)], scales)
    row = next_point._to_measure(part, scales, z, found)
    assert row.random["air_loss"] / row.values["air_loss"] == pytest.approx(np.full(5, 0.01 / COVERAGE), rel=1e-6)


def test_acceptance_is_guarded_by_the_bench(problem, core):
    fine, coarse = (acceptance(problem, core, Guard(u, u)) for u in (0.005, 0.4))
    for a in fine:
        assert a.possible
        # Read at either limit and as wrong as may be, the loss is at the end of the zone
        assert a.low * (1 - a.uncertainty) == pytest.approx(a.point.both[0])
        assert a.high * (1 + a.uncertainty) == pytest.approx(a.point.both[1])
        assert a.low < a.point.loss < a.high
    assert not any(a.possible for a in coarse)
    losses = np.array([a.point.loss for a in fine[:3]])
    flows = np.array([a.point.mass_flow for a in fine[:3]])
    n = np.polyfit(np.log(flows), np.log(losses), 1)[0]
    assert fine[0].uncertainty == pytest.approx(0.005 * np.hypot(1, n))


def test_a_posterior_has_a_deviation_of_one_where_nothing_was_measured():
    rows = Measured(np.zeros(0), np.zeros(0), np.zeros(0), ())
    nothing = Posterior(("a",), np.zeros(1), np.eye(1), rows, np.zeros(0), np.zeros((0, 1)), np.zeros((0, 0)), 0.0)
    assert nothing.deviations.tolist() == [1.0]
