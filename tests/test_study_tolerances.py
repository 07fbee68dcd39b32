"""How tolerances are written in a study: laws, operating scatter, [scatter], [robust]; every refusal word for word."""

import pickle
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from study_texts import COMPLETE, block, faults, line_in, mutations, outcome

from optimize.study import schema
from optimize.study.faults import StudyFaults
from optimize.study.load import load
from optimize.study.model import Correlation, Robust, Scatter, Study, Tolerance
from optimize.study.starter import starter, write_starter
from optimize.tolerance.draws import tolerance_names
from physics.properties import ConstantFluid

AIR_FINS, PORTS = "catalogues/air_fins.toml", "catalogues/ports.toml"
LENGTH = 'length = "286 mm"'
LAW = 'length = { value = "40 mm", tolerance = { %s } }'
BLOCKAGE = 'coolant_blockage = "3 %"'
AIR_FLOW, AIR_TEMPERATURE, AIR_PRESSURE = (
    'air_flow = "0.80 kg/s"', 'air_temperature = "142 degC"', 'air_pressure = "215 kPa"'
)
COOLANT_FLOW, COOLANT_TEMPERATURE = 'coolant_flow = "55 L/min"', 'coolant_temperature = "46 degC"'
AMBIENT = '[ambient]\ntemperature = "38 degC"\npressure = "94 kPa"'
CHECK = "check the number and its unit"
NARROW = "narrow the tolerance, or check its unit"
UNIT = "use a unit of that kind"
ADD = "add it; the file that `finfront new` writes shows every key"
SKEWED = "give half_width, or below and above for a skewed law"
SIGMAS = "say how many standard deviations the half width is: sigmas = 3, or Cp = 1 for the same"
TEN = [6.30, 6.31, 6.32, 6.33, 6.34, 6.36, 6.37, 6.38, 6.39, 6.45]  # mm
SAMPLES = "spacing [mm]\n" + "".join(f"{x}\n" for x in TEN)


@pytest.fixture
def edited(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., str]:
    """Writes the starter into the working folder with replacements in one of its files; its text then."""
    monkeypatch.chdir(tmp_path)
    write_starter("study.toml")

    def edit(*replacements: tuple[str, str], file: str = "study.toml") -> str:
        text = Path(file).read_text()
        for old, new in replacements:
            assert old in text, old
            text = text.replace(old, new, 1)
        Path(file).write_text(text)
        return text

    return edit


def tolerance_of_length(edited: Callable[..., str], law: str) -> Tolerance:
    edited((LENGTH, LAW % law))
    tolerance = load("study.toml").variables["core.length"].tolerance
    assert tolerance is not None
    return tolerance


def si(tolerance: Tolerance) -> tuple[float, float, float | None, bool]:
    return tolerance.below, tolerance.above, tolerance.sigmas, tolerance.relative


def near(*values: float | bool | None) -> tuple[object, ...]:
    return tuple(pytest.approx(x, rel=1e-13) if isinstance(x, float) else x for x in values)


# --- tolerances: what is read ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("law", "numbers"), [
    ('law = "normal", half_width = "0.3 mm", sigmas = 3', (3e-4, 3e-4, 3.0, False)),
    ('law = "normal", half_width = "0.3 mm", Cp = 1.33', (3e-4, 3e-4, 3.99, False)),
    ('law = "normal", half_width = "4 %", Cp = 1', (0.04, 0.04, 3.0, True)),
    ('law = "normal", below = "0 mm", above = "0.2 mm", sigmas = 2', (0.0, 2e-4, 2.0, False)),
    ('law = "uniform", below = "0.01 in", above = "0 mm"', (2.54e-4, 0.0, None, False)),
    ('law = "triangular", below = "1 %", above = "3 %"', (0.01, 0.03, None, True)),
])
def test_a_law_reaches_to_either_side(
    edited: Callable[..., str], law: str, numbers: tuple[float, float, float | None, bool]
) -> None:
    tolerance = tolerance_of_length(edited, law)
    assert si(tolerance) == near(*numbers)
    assert tolerance.law == law.split('"')[1]
    assert (tolerance.bounded, tolerance.deviations, tolerance.tighten_cost) == (False, (), 1.0)


def test_a_normal_law_may_be_bounded_and_costly_to_tighten(edited: Callable[..., str]) -> None:
    law = 'law = "normal", half_width = "0.3 mm", sigmas = 2, bounded = true, tighten_cost = 3'
    assert tolerance_of_length(edited, law) == Tolerance("normal", 3e-4, 3e-4, 2.0, False, True, (), 3.0)


@pytest.mark.parametrize(("below", "above", "numbers"), [
    ("1 point", "2 points", (0.01, 0.02, None, False)), ("10 %", "20 %", (0.1, 0.2, None, True)),
])
def test_the_sides_of_a_fraction_are_points_or_shares_of_it(
    edited: Callable[..., str], below: str, above: str, numbers: tuple[float, float, None, bool]
) -> None:
    law = f'law = "uniform", below = "{below}", above = "{above}"'
    edited((BLOCKAGE, f'coolant_blockage = {{ value = "3 %", tolerance = {{ {law} }} }}'))
    tolerance = load("study.toml").variables["core.coolant_blockage"].tolerance
    assert tolerance is not None
    assert si(tolerance) == near(*numbers)


def test_a_pure_number_has_a_bare_tolerance(edited: Callable[..., str]) -> None:
    Path("turn.csv").write_text("turn_loss\n" + "1.25\n" * 9 + "1.1\n")
    edited(
        ("turn_loss = 1.2", 'turn_loss = { value = 1.2, tolerance = { law = "uniform", below = 0.1, above = 0.3 } }'),
        ("lid_loss = 0.35", 'lid_loss = { value = 0.35, tolerance = { law = "uniform", half_width = "10 %" } }'),
    )
    study = load("study.toml")
    assert study.variables["tanks.turn_loss"].tolerance == Tolerance("uniform", 0.1, 0.3, None, False)
    assert study.variables["ducts.lid_loss"].tolerance == Tolerance("uniform", 0.1, 0.1, None, True)
    edited(('law = "uniform", below = 0.1, above = 0.3', 'law = "measured", samples = "turn.csv", nominal = 1.2'))
    found = load("study.toml").variables["tanks.turn_loss"].tolerance
    assert found is not None
    assert found.deviations == pytest.approx([0.05] * 9 + [-0.1])


def test_measured_samples_in_a_study_are_deviations_from_their_nominal(edited: Callable[..., str]) -> None:
    Path("measured").mkdir()
    text = "# bench of March\nlength [mm]\n\n" + "40.1 # first\n" + "39.8\n" * 8 + "40.25\n"
    Path("measured/length.csv").write_text(text)
    tolerance = tolerance_of_length(
        edited, 'law = "measured", samples = "measured/length.csv", nominal = "40 mm", tighten_cost = 0.5'
    )
    assert tolerance.deviations == pytest.approx([1e-4] + [-2e-4] * 8 + [2.5e-4], rel=1e-9)
    assert si(tolerance) == (pytest.approx(2e-4), pytest.approx(2.5e-4), None, False)
    assert (tolerance.law, tolerance.bounded, tolerance.tighten_cost) == ("measured", False, 0.5)
    study = load("study.toml")
    assert study.files["measured/length.csv"] == text
    assert pickle.loads(pickle.dumps(study)) == study


def test_samples_all_on_one_side_reach_to_that_side_only(edited: Callable[..., str]) -> None:
    Path("length.csv").write_text("length [in]\n" + "1.6\n" * 10)
    tolerance = tolerance_of_length(edited, 'law = "measured", samples = "length.csv", nominal = "38.1 mm"')
    assert (tolerance.below, tolerance.above) == (0.0, pytest.approx(0.1 * 25.4e-3))


def test_samples_of_a_catalogue_are_found_beside_it_and_serve_all_its_fins(edited: Callable[..., str]) -> None:
    Path("catalogues/measured/spacing.csv").write_text(SAMPLES)
    edited(('spacing = { law = "normal", half_width = "0.05 mm", sigmas = 3 }',
            'spacing = { law = "measured", samples = "measured/spacing.csv", nominal = "6.35 mm" }'), file=AIR_FINS)
    study = load("study.toml")
    assert study.files["catalogues/measured/spacing.csv"] == SAMPLES
    for roll in study.air_fins.values():
        assert roll.tolerances["spacing"].deviations == pytest.approx([(x - 6.35) * 1e-3 for x in TEN], abs=1e-15)


@pytest.mark.parametrize(("file", "entry", "own", "shelf", "key", "numbers"), [
    (AIR_FINS, "[fin.S18-64]", 'thickness = { law = "normal", half_width = "1 um", Cp = 1 }', "air_fins", "thickness",
     (1e-6, 1e-6, 3.0, False)),
    (AIR_FINS, "[fin.L16-80]", 'louver_angle = { law = "uniform", below = "1 deg", above = "2 deg" }', "air_fins",
     "louver_angle", (1.0, 2.0, None, False)),
    (PORTS, "[port.R22]", 'bore = { law = "triangular", below = "0 mm", above = "0.5 mm" }', "ports", "bore",
     (0.0, 5e-4, None, False)),
])
def test_catalogues_know_the_same_tolerances(
    edited: Callable[..., str], file: str, entry: str, own: str, shelf: str, key: str,
    numbers: tuple[float, float, float | None, bool],
) -> None:
    edited((entry, f"{entry}\ntolerances = {{ {own} }}"), file=file)
    name = re.findall(r"[.]([^\]]*)\]", entry)[0]
    assert si(getattr(load("study.toml"), shelf)[name].tolerances[key]) == near(*numbers)


def test_the_laws_the_starter_shows_are_read(edited: Callable[..., str]) -> None:
    Path("measured").mkdir()
    Path("measured/thickness.csv").write_text("thickness [mm]\n" + "64.1\n" * 10)
    shown = re.findall(r'(?m)^#   (\{ law = .*?\})(?: |$)', starter())
    assert len(shown) == 4
    old = re.search(r"(?m)^thickness = .*", starter())[0]  # type: ignore[index]
    for law in shown:
        new = f'thickness = {{ value = "64 mm", tolerance = {law} }}'
        edited((old, new))
        assert load("study.toml").variables["core.thickness"].tolerance is not None
        old = new


# --- tolerances: every refusal, word for word --------------------------------------------------------------------

TABLE = "[core.length.tolerance]"
SEVERAL = "expected 'normal', 'uniform', 'triangular' or 'measured', got"
LAW_FAULTS = [
    ('law = "nrmal", half_width = "1 mm"', f"'law' in {TABLE}: {SEVERAL} 'nrmal'", "did you mean 'normal'?"),
    ('half_width = "1 mm"', f"missing key 'law' in {TABLE}", ADD),
    ('law = "uniform", half_widht = "1 mm"', f"unknown key 'half_widht' in {TABLE}", "did you mean 'half_width'?"),
    ('law = "uniform", below = "0 mm", abov = "1 mm"', f"unknown key 'abov' in {TABLE}", "did you mean 'above'?"),
    ('law = "normal", half_width = "1 mm", sigma = 3', f"unknown key 'sigma' in {TABLE}", "did you mean 'sigmas'?"),
    ('law = "normal", half_width = "1 mm"', f"neither 'sigmas' nor 'Cp' in {TABLE}", SIGMAS),
    ('law = "normal", half_width = "1 mm", sigmas = 3, Cp = 1', f"both 'sigmas' and 'Cp' in {TABLE}", SIGMAS),
    ('law = "uniform", half_width = "0 mm"', f"'half_width' in {TABLE}: a half width of zero is no tolerance",
     "widen it, or leave the tolerance out"),
    ('law = "normal", half_width = "1 mm", sigmas = 0', f"'sigmas' in {TABLE}: must be at least 1, got 0", CHECK),
    ('law = "normal", half_width = "1 mm", Cp = -1.33', f"'Cp' in {TABLE}: must be at least 0.34, got -1.33", CHECK),
    ('law = "normal", half_width = "1 mm", Cp = "1.33"', f"'Cp' in {TABLE}: expected a bare number, got '1.33'",
     "write it without quotes and without a unit"),
    ('law = "uniform", half_width = "1 mm", sigmas = 3', f"'sigmas' in {TABLE}: a uniform law has no sigmas",
     "leave it out, or write law = 'normal'"),
    ('law = "triangular", half_width = "1 mm", Cp = 1', f"'Cp' in {TABLE}: a triangular law has no Cp",
     "leave it out, or write law = 'normal'"),
    ('law = "uniform", half_width = "1 mm", bounded = true',
     f"'bounded' in {TABLE}: a uniform law is bounded by nature", "leave it out"),
    ('law = "normal", half_width = "1 mm", sigmas = 3, bounded = 1',
     f"'bounded' in {TABLE}: expected true or false, got 1", "see this key in the file that `finfront new` writes"),
    ('law = "uniform"', f"missing key 'half_width' in {TABLE}", SKEWED),
    ('law = "uniform", half_width = "1 mm", above = "1 mm"', f"both 'half_width' and 'above' in {TABLE}", SKEWED),
    ('law = "uniform", half_width = "1 mm", below = "1 mm", above = "1 mm"',
     f"both 'half_width' and 'below' in {TABLE}", SKEWED),
    ('law = "uniform", below = "1 mm"', f"missing key 'above' in {TABLE}",
     "add it: a skewed law has both; one of them may be zero"),
    ('law = "uniform", above = "1 mm"', f"missing key 'below' in {TABLE}",
     "add it: a skewed law has both; one of them may be zero"),
    ('law = "uniform", below = "0 mm", above = "0 in"', f"'above' in {TABLE}: 'below' and 'above' are both zero",
     "widen one of them, or leave the tolerance out"),
    ('law = "uniform", below = "1 %", above = "1 mm"',
     f"'above' in {TABLE}: one of 'below' and 'above' is a share of the value, the other is not",
     "write both in %, or both in a unit"),
    ('law = "uniform", below = "-1 mm", above = "1 mm"', f"'below' in {TABLE}: must be at least 0 mm, got '-1 mm'",
     CHECK),
    ('law = "uniform", below = "-1 %", above = "1 %"', f"'below' in {TABLE}: must be at least zero, got '-1 %'",
     "a width has no sign"),
    ('law = "uniform", half_width = "-1 %"', f"'half_width' in {TABLE}: must be at least zero, got '-1 %'",
     "a half width counts to both sides"),
    ('law = "uniform", half_width = "100 %"',
     f"'half_width' in {TABLE}: the half width '100 %' is as wide as the value itself", "stay below 100 %"),
    ('law = "uniform", below = "1 %", above = "100 %"',
     f"'above' in {TABLE}: the width '100 %' is as wide as the value itself", "stay below 100 %"),
    ('law = "uniform", half_width = "2 points"',
     f"'half_width' in {TABLE}: 'points' are percentage points, for fractions only",
     "write '4 %' of the value, or its own unit"),
    ('law = "uniform", below = "0 mm", above = "2 kPa"',
     f"'above' in {TABLE}: expected a length such as '87 mm', got 'kPa'", UNIT),
    ('law = "uniform", half_width = 1',
     f"'half_width' in {TABLE}: expected a length such as '87 mm', got the bare number 1",
     "write number and unit together, in quotes"),
    ('law = "uniform", half_width = "1,5 mm"', f"'half_width' in {TABLE}: decimal comma in '1,5 mm'",
     "write '1.5 mm'"),
    ('law = "uniform", half_width = "1 mm", tighten_cost = 0', f"'tighten_cost' in {TABLE}: must be above 0, got 0",
     CHECK),
    ('law = "uniform", half_width = "1 mm", tighten_cost = "3"',
     f"'tighten_cost' in {TABLE}: expected a bare number, got '3'", "write it without quotes and without a unit"),
    ('law = "uniform", half_width = "1 mm", nominal = "40 mm"', f"'nominal' in {TABLE}: a uniform law has no nominal",
     "leave it out, or write law = 'measured'"),
    ('law = "normal", half_width = "1 mm", sigmas = 3, samples = "nowhere.csv"',
     f"'samples' in {TABLE}: a normal law has no samples", "leave it out, or write law = 'measured'"),
    ('law = "measured", samples = "ten.csv", nominal = "40 mm", half_width = "1 mm"',
     f"'half_width' in {TABLE}: a measured law has no half_width", "leave it out: the samples say how they scatter"),
    ('law = "measured", samples = "ten.csv", nominal = "40 mm", bounded = true',
     f"'bounded' in {TABLE}: a measured law has no bounded", "leave it out: the samples say how they scatter"),
    ('law = "measured", samples = "ten.csv"', f"missing key 'nominal' in {TABLE}",
     "add what the samples should have been, such as '6.35 mm'"),
    ('law = "measured", nominal = "40 mm"', f"missing key 'samples' in {TABLE}",
     "add the path of a file, such as 'measured/spacing.csv'"),
    ('law = "measured", sample = "ten.csv", nominal = "40 mm"', f"unknown key 'sample' in {TABLE}",
     "did you mean 'samples'?"),
    ('law = "measured", samples = 3, nominal = "40 mm"',
     f"'samples' in {TABLE}: expected the path of a file of samples, got 3", "write it in quotes"),
    ('law = "measured", samples = "nowhere.csv", nominal = "40 mm"',
     f"'samples' in {TABLE}: no such file: 'nowhere.csv'", "paths are read from the folder of the study"),
    ('law = "measured", samples = "ten.csv", nominal = "40 K"',
     f"'nominal' in {TABLE}: expected a length such as '87 mm', got 'K'", UNIT),
    ('law = "measured", samples = "ten.csv", nominal = "0 mm"',
     f"'nominal' in {TABLE}: must be above 0 mm, got '0 mm'", CHECK),
    # what does not fit the value
    ('law = "uniform", half_width = "40 mm"',
     "'length' in [core]: the half width 40 mm is not smaller than the value 40 mm", NARROW),
    ('law = "uniform", below = "41 mm", above = "1 mm"',
     "'length' in [core]: the width below, 41 mm, is not smaller than the value 40 mm", NARROW),
    ('law = "uniform", below = "0 mm", above = "40 mm"',
     "'length' in [core]: the width above, 40 mm, is not smaller than the value 40 mm", NARROW),
    ('law = "measured", samples = "ten.csv", nominal = "81 mm"',
     "'length' in [core]: the deviation of a sample, 41 mm below, is not smaller than the value 40 mm", NARROW),
]


@pytest.mark.parametrize(("law", "what", "do"), LAW_FAULTS)
def test_a_fault_of_a_tolerance_is_told_word_for_word(
    edited: Callable[..., str], law: str, what: str, do: str
) -> None:
    Path("ten.csv").write_text("length [mm]\n" + "40\n" * 10)
    text = edited((LENGTH, LAW % law))
    assert faults() == [block(what, f"study.toml, line {line_in(text, LAW % law)}", do)]


@pytest.mark.parametrize(("law", "what"), [
    ('half_width = "5 points"', "the half width 5 % is not smaller than the value 3 %"),
    ('below = "1 point", above = "5 points"', "the width above, 5 %, is not smaller than the value 3 %"),
])
def test_points_are_held_against_the_fraction(edited: Callable[..., str], law: str, what: str) -> None:
    new = f'coolant_blockage = {{ value = "3 %", tolerance = {{ law = "uniform", {law} }} }}'
    text = edited((BLOCKAGE, new))
    told = block(f"'coolant_blockage' in [core]: {what}", f"study.toml, line {line_in(text, new)}", NARROW)
    assert faults() == [told]


def test_a_tolerance_that_leaves_the_bounds_of_its_value_is_told(edited: Callable[..., str]) -> None:
    new = 'coolant_blockage = { value = "80 %", tolerance = { law = "uniform", below = "0 %", above = "20 %" } }'
    text = edited((BLOCKAGE, new))
    what = "the tolerance takes 80 % to 96 %; it must stay at least 0 % and below 90 %"
    where = f"study.toml, line {line_in(text, new)}"
    assert faults() == [block(f"'coolant_blockage' in [core]: {what}", where, NARROW)]


def test_a_count_has_no_tolerance_measured_or_not(edited: Callable[..., str]) -> None:
    Path("passages.csv").write_text("passages\n" + "9\n" * 10)
    for law in ('law = "uniform", half_width = 1', 'law = "measured", samples = "passages.csv", nominal = 9'):
        old = re.search(r"(?m)^passages = .*", Path("study.toml").read_text())[0]  # type: ignore[index]
        new = f"passages = {{ value = 9, tolerance = {{ {law} }} }}"
        text = edited((old, new))
        told = block("'passages' in [core]: a count has no tolerance", f"study.toml, line {line_in(text, new)}",
                     "leave the tolerance out")
        assert faults() == [told]


def test_all_faults_of_a_tolerance_are_told_at_once(edited: Callable[..., str]) -> None:
    law = 'law = "uniform", below = "1 K", sigmas = 3, bounded = 2, tighten_cost = -1, size = 3'
    edited((LENGTH, LAW % law))
    told = {fault.split("\n")[0] for fault in faults()}
    assert told == {
        f"error: 'below' in {TABLE}: expected a length such as '87 mm', got 'K'",
        f"error: missing key 'above' in {TABLE}",
        f"error: 'sigmas' in {TABLE}: a uniform law has no sigmas",
        f"error: 'bounded' in {TABLE}: a uniform law is bounded by nature",
        f"error: 'bounded' in {TABLE}: expected true or false, got 2",
        f"error: 'tighten_cost' in {TABLE}: must be above 0, got -1",
        f"error: unknown key 'size' in {TABLE}",
    }


def test_a_fault_of_a_catalogue_s_tolerance_is_told_in_the_catalogue(edited: Callable[..., str]) -> None:
    text = edited(('thickness = { law = "uniform", half_width = "5 %" }',
                   'thickness = { law = "measured", samples = "spacing.csv", nominal = "0.1 mm" }'), file=AIR_FINS)
    where = f"{AIR_FINS}, line {line_in(text, 'thickness = {')}"
    assert faults() == [block(
        "'samples' in [tolerances.thickness]: no such file: 'catalogues/spacing.csv'", where,
        "paths are read from the folder of the catalogue",
    )]


def test_samples_wider_than_a_fin_are_told_of_that_fin(edited: Callable[..., str]) -> None:
    Path("catalogues/spacing.csv").write_text("spacing [mm]\n" + "0.1\n" * 10)
    own = 'tolerances = { spacing = { law = "measured", samples = "spacing.csv", nominal = "6.5 mm" } }'
    text = edited(("[fin.S18-64]", f"[fin.S18-64]\n{own}"), file=AIR_FINS)
    what = "spacing: the deviation of a sample, 6.4 mm below, is not smaller than the value 6.35 mm"
    assert faults() == [block(
        f"'tolerances' in [fin.S18-64]: {what}", f"{AIR_FINS}, line {line_in(text, own)}",
        "narrow it, here or in the file's [tolerances]",
    )]


# --- files of samples --------------------------------------------------------------------------------------------

NAME = "name the one column first"


def with_samples(edited: Callable[..., str], text: str) -> list[str]:
    """Faults of a study whose length has been measured so."""
    Path("length.csv").write_text(text)
    edited((LENGTH, LAW % 'law = "measured", samples = "length.csv", nominal = "40 mm"'))
    return faults()


@pytest.mark.parametrize(("text", "row", "what", "do"), [
    ("", 1, "expected the header 'length [mm]', got nothing", NAME),
    ("# nothing\n", 1, "expected the header 'length [mm]', got nothing", NAME),
    ("40\n40\n", 1, "expected the header 'length [mm]', got '40'", NAME),
    ("# of March\nlength\n40\n", 2, "expected the header 'length [mm]', got 'length'", NAME),
    ("length []\n40\n", 1, "expected the header 'length [mm]', got 'length []'", NAME),
    ("spacing [mm]\n40\n", 1, "expected the header 'length [mm]', got 'spacing [mm]'", NAME),
    ("length [mm],width [mm]\n40,1\n", 1, "expected the header 'length [mm]', got 'length [mm],width [mm]'", NAME),
    ("length [kPa]\n40\n", 1, "expected a length such as '87 mm', got 'kPa'", UNIT),
    ("length [Mm]\n40\n", 1, "expected a length such as '87 mm', got the unknown unit 'Mm'", "did you mean 'mm'?"),
    ("length [mm]\n", 1, "expected at least 10 rows, got 0",
     "measure more of them: these say little of how they scatter"),
    ("length [mm]\n" + "40\n" * 9, 10, "expected at least 10 rows, got 9",
     "measure more of them: these say little of how they scatter"),
    ("length [mm]\n" + "40\n" * 9 + "40,1\n", 11, "expected one number with a decimal point, got '40,1'",
     "mend the row"),
    ("length [mm]\n" + "40\n" * 9 + "40 mm\n", 11, "expected one number with a decimal point, got '40 mm'",
     "mend the row"),
    ("length [mm]\nnan\n" + "40\n" * 9, 2, "expected one number with a decimal point, got 'nan'", "mend the row"),
    ("length [mm]\n-1\n" + "40\n" * 9, 2, "must be above 0 mm, got '-1'", "mend the row"),
])
def test_a_fault_of_a_file_of_samples_is_told_by_its_row(
    edited: Callable[..., str], text: str, row: int, what: str, do: str
) -> None:
    assert with_samples(edited, text) == [block(what, f"length.csv, row {row}", do)]


def test_all_faulty_rows_of_samples_are_told(edited: Callable[..., str]) -> None:
    told = with_samples(edited, "length [mm]\n40\nx\n40\n0\n1;2\n")
    assert [re.search(r"row (\d+)", fault)[1] for fault in told] == ["3", "5", "6"]  # type: ignore[index]


def test_a_flood_of_faulty_rows_is_cut(edited: Callable[..., str]) -> None:
    told = with_samples(edited, "length [mm]\n" + "x\n" * 500)
    assert len(told) == 101
    assert told[-1] == block("and 400 more faulty rows", "length.csv", "mend the others first")


def test_samples_that_are_no_text_are_told_where_they_are_named(edited: Callable[..., str]) -> None:
    Path("length.csv").mkdir()
    new = LAW % 'law = "measured", samples = "length.csv", nominal = "40 mm"'
    text = edited((LENGTH, new))
    where = f"study.toml, line {line_in(text, new)}"
    assert faults() == [block(f"'samples' in {TABLE}: not a file: 'length.csv'", where,
                              "paths are read from the folder of the study")]


# --- operating scatter -------------------------------------------------------------------------------------------


def scattered(key: str, value: str, law: str) -> str:
    return f'{key} = {{ value = "{value}", tolerance = {{ {law} }} }}'


def test_without_tolerances_nothing_scatters_from_run_to_run(edited: Callable[..., str]) -> None:
    assert load("study.toml").run_tolerances == {}
    edited((AIR_FLOW, 'air_flow = { value = "0.80 kg/s" }'))
    study = load("study.toml")
    assert (study.duty[0].air_flow, study.run_tolerances) == (0.8, {})


# of the complete starter: its three duty points say each of these somewhere
SCATTERED = [
    ("full_power", "air_flow", AIR_FLOW, "0.80 kg/s", 'half_width = "5 %"', (0.05, 0.05, True)),
    ("full_power", "air_temperature", AIR_TEMPERATURE, "142 degC", 'half_width = "5.4 degF"', (3.0, 3.0, False)),
    ("full_power", "air_pressure", AIR_PRESSURE, "215 kPa", 'below = "0 kPa", above = "2 kPa"', (0.0, 2e3, False)),
    ("full_power", "coolant_temperature", COOLANT_TEMPERATURE, "46 degC", 'half_width = "3 K"', (3.0, 3.0, False)),
    ("long_pull", "engine_speed", 'engine_speed = "6200 rpm"', "6200 rpm", 'half_width = "60 rpm"', (1.0, 1.0, False)),
    ("long_pull", "front_air_flow", 'front_air_flow = "1.6 kg/s"', "1.6 kg/s", 'half_width = "0.1 kg/s"',
     (0.1, 0.1, False)),
    ("long_pull", "pump_speed", 'pump_speed = "100 %"', "100 %", 'half_width = "4 points"', (0.04, 0.04, False)),
    ("long_pull", "ambient_temperature", 'ambient_temperature = "44 degC"', "44 degC",
     'below = "8 K", above = "2 K"', (8.0, 2.0, False)),
    ("long_pull", "ambient_pressure", 'ambient_pressure = "90 kPa"', "90 kPa", 'half_width = "1 %"',
     (0.01, 0.01, True)),
    ("held_boost", "manifold_pressure", 'manifold_pressure = "200 kPa"', "200 kPa", 'half_width = "1 psi"',
     (6894.757293168361, 6894.757293168361, False)),
    ("ambient", "temperature", 'temperature = "38 degC"', "38 degC", 'half_width = "6 K"', (6.0, 6.0, False)),
    ("ambient", "pressure", 'pressure = "94 kPa"', "94 kPa", 'half_width = "2 kPa"', (2e3, 2e3, False)),
    ("ambient", "humidity", 'humidity = "40 %"', "40 %", 'below = "10 points", above = "20 points"',
     (0.1, 0.2, False)),
]


@pytest.mark.parametrize(("place", "key", "old", "value", "width", "numbers"), SCATTERED)
def test_every_quantity_of_a_run_may_scatter(
    edited: Callable[..., str], place: str, key: str, old: str, value: str, width: str,
    numbers: tuple[float, float, bool],
) -> None:
    Path("study.toml").write_text(COMPLETE)
    plain = load("study.toml")
    edited((f"\n{old}", "\n" + scattered(key, value, f'law = "uniform", {width}')))
    study = load("study.toml")
    (name, tolerance), = study.run_tolerances.items()
    assert name == f"{place}.{key}"
    assert (tolerance.below, tolerance.above, tolerance.relative) == near(*numbers)
    assert study.duty == plain.duty


def test_everything_may_scatter_at_once(edited: Callable[..., str]) -> None:
    Path("study.toml").write_text(COMPLETE)
    edited(*((f"\n{old}", "\n" + scattered(key, value, f'law = "uniform", {width}'))
             for _, key, old, value, width, _ in SCATTERED))
    assert set(load("study.toml").run_tolerances) == {f"{place}.{key}" for place, key, *_ in SCATTERED}


def test_an_own_humidity_may_scatter_beside_that_of_the_air_outside(edited: Callable[..., str]) -> None:
    Path("study.toml").write_text(COMPLETE)
    law = 'law = "normal", half_width = "10 %", Cp = 1'
    edited(('ambient_pressure = "90 kPa"', 'ambient_pressure = "90 kPa"\n' + scattered("humidity", "80 %", law)),
           ('\nhumidity = "40 %"', "\n" + scattered("humidity", "40 %", law)))
    study = load("study.toml")
    assert set(study.run_tolerances) == {"long_pull.humidity", "ambient.humidity"}
    assert [point.humidity for point in study.duty] == [0.4, 0.8, 0.4]
    assert ["humidity" in point.outside for point in study.duty] == [True, False, True]


@pytest.mark.parametrize(("value", "width", "numbers"), [
    ("55 L/min", 'half_width = "5 L/min"', (5e-3 / 60 * 1050, 5e-3 / 60 * 1050, False)),
    ("55 L/min", 'below = "6 L/min", above = "0 L/min"', (6e-3 / 60 * 1050, 0.0, False)),
    ("55 L/min", 'half_width = "5 %"', (0.05, 0.05, True)),
    ("0.9 kg/s", 'half_width = "0.1 kg/s"', (0.1, 0.1, False)),
    ("0.9 kg/s", 'half_width = "5 %"', (0.05, 0.05, True)),
])
def test_a_coolant_flow_scatters_in_its_own_kind_of_flow(
    edited: Callable[..., str], value: str, width: str, numbers: tuple[float, float, bool]
) -> None:
    fluid = ConstantFluid("test", 3500.0, 1e-3, 0.4, density=1050.0)
    edited((COOLANT_FLOW, scattered("coolant_flow", value, f'law = "uniform", {width}')))
    study = load("study.toml", lambda name, strength, basis: fluid)
    tolerance = study.run_tolerances["full_power.coolant_flow"]
    assert (tolerance.below, tolerance.above, tolerance.relative) == near(*numbers)
    expected = 55e-3 / 60 * 1050.0 if value.endswith("min") else 0.9
    assert study.duty[0].coolant_flow == pytest.approx(expected, rel=1e-14)


def test_what_runs_measured_becomes_deviations(edited: Callable[..., str]) -> None:
    fluid = ConstantFluid("test", 3500.0, 1e-3, 0.4, density=1050.0)
    Path("flow.csv").write_text("coolant_flow [L/min]\n" + "54\n" * 5 + "57\n" * 5)
    Path("air.csv").write_text("air_temperature [degF]\n" + "285.8\n" * 10)
    edited(
        (COOLANT_FLOW, scattered("coolant_flow", "55 L/min", 'law = "measured", samples = "flow.csv", '
                                                             'nominal = "55 L/min"')),
        (AIR_TEMPERATURE, scattered("air_temperature", "142 degC", 'law = "measured", samples = "air.csv", '
                                                                   'nominal = "140 degC"')),
    )
    study = load("study.toml", lambda name, strength, basis: fluid)
    flow, air = (study.run_tolerances[f"full_power.{key}"] for key in ("coolant_flow", "air_temperature"))
    assert flow.deviations == pytest.approx([-1e-3 / 60 * 1050] * 5 + [2e-3 / 60 * 1050] * 5, rel=1e-9)
    assert (flow.below, flow.above) == (pytest.approx(1e-3 / 60 * 1050), pytest.approx(2e-3 / 60 * 1050))
    assert air.deviations == pytest.approx([1.0] * 10, abs=1e-9)  # 285.8 degF are 141 degC
    assert set(study.files) >= {"flow.csv", "air.csv"}


def test_an_operating_scatter_the_starter_shows_is_read(edited: Callable[..., str]) -> None:
    shown = re.findall(r'(?m)^#   (\{ value = "(?:0\.80 kg/s|142 degC)".*?\} \})', starter())
    edited((AIR_FLOW, f"air_flow = {shown[0]}"), (AIR_TEMPERATURE, f"air_temperature = {shown[1]}"))
    assert set(load("study.toml").run_tolerances) == {"full_power.air_flow", "full_power.air_temperature"}


POINT = "[duty.full_power]"
UNIFORM = 'law = "uniform", %s'
HUMID = 'half_width = "10 points"'
RUN_FAULTS = [
    (AIR_FLOW, scattered("air_flow", "0.8 mm", UNIFORM % 'half_width = "1 %"'),
     "'value' in [duty.full_power.air_flow]: expected a mass flow such as '0.8 kg/s', got 'mm'", UNIT),
    (AIR_FLOW, scattered("air_flow", "0.8 kg/s", UNIFORM % 'half_width = "1 L/min"'),
     "'half_width' in [duty.full_power.air_flow.tolerance]: expected a mass flow such as '0.8 kg/s', got 'L/min'",
     UNIT),
    (AIR_FLOW, scattered("air_flow", "0.8 kg/s", UNIFORM % 'half_width = "0.8 kg/s"'),
     f"'air_flow' in {POINT}: the half width 0.8 kg/s is not smaller than the value 0.8 kg/s", NARROW),
    (AIR_FLOW, 'air_flow = { valu = "0.8 kg/s" }', "unknown key 'valu' in [duty.full_power.air_flow]",
     "did you mean 'value'?"),
    (AIR_FLOW, 'air_flow = { tolerance = { law = "uniform", half_width = "1 %" } }',
     "missing key 'value' in [duty.full_power.air_flow]", ADD),
    (AIR_FLOW, 'air_flow = { value = "0.8 kg/s", tolerance = "5 %" }',
     "'tolerance' in [duty.full_power.air_flow]: expected a table, got '5 %'",
     "see this key in the file that `finfront new` writes"),
    (AIR_FLOW, 'air_flow = ["0.8 kg/s"]',
     f"'air_flow' in {POINT}: expected a mass flow such as '0.8 kg/s', got a list",
     "write number and unit together, in quotes"),
    (AIR_TEMPERATURE, scattered("air_temperature", "500 degC", UNIFORM % 'half_width = "3 K"'),
     "'value' in [duty.full_power.air_temperature]: 500 degC is outside the known properties of the air",
     "stay within -23.15 degC to 326.85 degC"),
    (AIR_TEMPERATURE, scattered("air_temperature", "142 degC", UNIFORM % 'half_width = "3 %"'),
     "'half_width' in [duty.full_power.air_temperature.tolerance]: "
     "a temperature is no amount: no share of it can be taken", "write a difference, such as '3 K'"),
    (AIR_TEMPERATURE, scattered("air_temperature", "142 degC", UNIFORM % 'below = "1 K", above = "3 points"'),
     "'above' in [duty.full_power.air_temperature.tolerance]: "
     "a temperature is no amount: no share of it can be taken", "write a difference, such as '3 K'"),
    (AIR_TEMPERATURE, scattered("air_temperature", "142 degC", UNIFORM % 'half_width = "3 degC"'),
     "'half_width' in [duty.full_power.air_temperature.tolerance]: "
     "expected a temperature difference such as '3 K', got 'degC'", "write a difference in K (or degF)"),
    (AIR_TEMPERATURE, scattered("air_temperature", "142 degC", UNIFORM % 'half_width = "-3 K"'),
     "'half_width' in [duty.full_power.air_temperature.tolerance]: must be at least 0 K, got '-3 K'", CHECK),
    (AIR_TEMPERATURE, scattered("air_temperature", "142 degC", UNIFORM % 'below = "5 K", above = "200 K"'),
     f"'air_temperature' in {POINT}: the tolerance takes 142 degC to 342 degC: "
     "342 degC is outside the known properties of the air", NARROW),
    (AIR_PRESSURE, scattered("air_pressure", "215 kPa", UNIFORM % 'half_width = "200 kPa"'),
     f"'air_pressure' in {POINT}: the tolerance takes 215 kPa to 15 kPa: "
     "15 kPa is no absolute pressure of a charge: it is below 20 kPa", NARROW),
    (AIR_PRESSURE, scattered("air_pressure", "215 kPa", UNIFORM % 'half_width = "2 psig"'),
     "'half_width' in [duty.full_power.air_pressure.tolerance]: 'psig' is a gauge pressure", "write 'psi'"),
    (COOLANT_TEMPERATURE, scattered("coolant_temperature", "46 degC", UNIFORM % 'half_width = "60 K"'),
     f"'coolant_temperature' in {POINT}: the tolerance takes 46 degC to -14 degC: "
     "-14 degC is outside the known properties of ethylene glycol 50 % by volume", NARROW),
    (COOLANT_FLOW, scattered("coolant_flow", "0 L/min", UNIFORM % 'half_width = "1 kg/s"'),
     "'value' in [duty.full_power.coolant_flow]: must be above zero, got '0 L/min'", CHECK),
    (COOLANT_FLOW, scattered("coolant_flow", "55 L/min", UNIFORM % 'half_width = "0.1 kg/s"'),
     "'half_width' in [duty.full_power.coolant_flow.tolerance]: expected a volume flow such as '55 L/min', got 'kg/s'",
     UNIT),
    (COOLANT_FLOW, scattered("coolant_flow", "0.9 kg/s", UNIFORM % 'half_width = "5 L/min"'),
     "'half_width' in [duty.full_power.coolant_flow.tolerance]: expected a mass flow such as '0.8 kg/s', got 'L/min'",
     UNIT),
    (COOLANT_FLOW, scattered("coolant_flow", "55 L/min", UNIFORM % 'half_width = "55 L/min"'),
     f"'coolant_flow' in {POINT}: the half width 55 L/min is not smaller than the value 55 L/min", NARROW),
    ("weight = 1.0", 'weight = { value = 1.0 }', f"'weight' in {POINT}: expected a bare number, got a table",
     "write it without quotes and without a unit"),
    ("[envelope]",
     f"{AMBIENT}\n{scattered('humidity', '95 %', UNIFORM % HUMID)}\n[envelope]",
     "'humidity' in [ambient]: the tolerance takes 95 % to 105 %; it must stay at least 0 % and at most 100 %",
     NARROW),
    ("[envelope]", AMBIENT.replace(
        'pressure = "94 kPa"', scattered("pressure", "94 kPa", 'law = "normal", half_width = "22 kPa", sigmas = 2')
    ) + "\n[envelope]",
     "'pressure' in [ambient]: the tolerance takes 94 kPa to 116 kPa: 116 kPa is no pressure of the air outside",
     NARROW),
]


@pytest.mark.parametrize(("old", "new", "what", "do"), RUN_FAULTS)
def test_a_fault_of_operating_scatter_is_told_word_for_word(
    edited: Callable[..., str], old: str, new: str, what: str, do: str
) -> None:
    text = edited((f"\n{old}", f"\n{new}"))
    key = re.match(r"'(\w+)' in \[ambient\]", what)
    assert faults() == [block(what, f"study.toml, line {line_in(text, f'{chr(10)}{key[1] if key else new}')}", do)]


def test_ambient_is_no_name_of_a_duty_point(edited: Callable[..., str]) -> None:
    text = COMPLETE.replace("[duty.held_boost]", "[duty.ambient]")
    Path("study.toml").write_text(text)
    where = f"study.toml, line {line_in(text, chr(10) + '[duty.ambient]')}"
    assert faults() == [block("'ambient' in [duty]: this cannot be the name of a duty point", where,
                              "use small letters, digits and '_', up to 40; not 'worst', 'mean' or 'ambient'")]


# --- [scatter] ---------------------------------------------------------------------------------------------------

DRAWS = "draws = 512 "


def test_without_keys_the_scatter_is_as_documented(edited: Callable[..., str]) -> None:
    edited((re.search(r"(?ms)^draws = 512.*?^$", starter())[0], ""))  # type: ignore[index]
    assert load("study.toml").scatter == Scatter(512, 0.95, None, 16_384, (64, 256), 0.99, ())


def test_every_key_of_scatter_is_read(edited: Callable[..., str]) -> None:
    keys = 'narrow_to = "0.5 points"\nmost_draws = 4096\nnested = [32, 128]\nwanted_share = "97.5 %"\n'
    pairs = 'correlations = [{ between = ["air_fin.spacing", "air_fin.pitch"], rank = 0.6 }, ' \
            '{ between = ["thickness", "plate_thickness"], rank = -0.25 }]\n'
    edited((f"\n{DRAWS}", f"\n{keys}{pairs}{DRAWS}"))
    assert load("study.toml").scatter == Scatter(512, 0.95, 0.005, 4096, (32, 128), 0.975, (
        Correlation(("air_fin.spacing", "air_fin.pitch"), 0.6), Correlation(("thickness", "plate_thickness"), -0.25),
    ))


def test_more_draws_than_the_usual_most_are_the_most(edited: Callable[..., str]) -> None:
    edited((DRAWS, "draws = 65536 "))
    assert load("study.toml").scatter.most_draws == 65536


def test_the_starter_behind_its_marks_shows_scatter_and_robust_as_they_are_without_them(
    edited: Callable[..., str]
) -> None:
    Path("study.toml").write_text(COMPLETE)
    study = load("study.toml")
    assert study.scatter == Scatter(narrow_to=0.01, correlations=study.scatter.correlations)
    assert study.scatter.correlations == (Correlation(("air_fin.spacing", "air_fin.pitch"), 0.6),)
    assert study.robust == Robust()


def test_what_may_be_correlated_has_draws_of_its_own(edited: Callable[..., str]) -> None:
    known = schema.Known((), None, None, None, None, None, {"loop": {}}, lambda path: None, lambda *how: (), {})  # type: ignore[arg-type, return-value]
    assert len(known.scattering) > 30
    assert set(known.scattering) <= set(tolerance_names())
    assert {"passages", "air_fin", "turbulator", "port", "passes", "line"}.isdisjoint(known.scattering)


BOTH = 'between = ["air_fin.spacing", "air_fin.pitch"]'
IMPOSSIBLE = "the correlations contradict one another: no tolerances can have them all"
ENTRY = "[[scatter.correlations]]"
SCATTER_FAULTS = [
    ("draws = 500", "'draws' in [scatter]: must be 0 or a power of two, got 500", "256 or 512"),
    ('narrow_to = "1 %"', "'narrow_to' in [scatter]: expected points such as '1 point', got '1 %'",
     "write points of the share, such as '1 point' or '0.5 points'"),
    ("narrow_to = 0.01", "'narrow_to' in [scatter]: expected points such as '1 point', got 0.01",
     "write points of the share, such as '1 point' or '0.5 points'"),
    ('narrow_to = "0 points"', "'narrow_to' in [scatter]: must be above 0 points and below 100 points, got '0 points'",
     CHECK),
    ('narrow_to = "one point"', "'narrow_to' in [scatter]: expected a fraction such as '4 %', got 'one point'",
     "write points of the share, such as '1 point' or '0.5 points'"),
    ("most_draws = 1000", "'most_draws' in [scatter]: must be a power of two, got 1000", "512 or 1024"),
    ("most_draws = 0", "'most_draws' in [scatter]: must be at least 1 and at most 1048576, got 0", "check the number"),
    ("nested = [64]", "'nested' in [scatter]: expected two numbers such as [64, 256], got 1 of them",
     "write draws of the model, and copies under each of them"),
    ("nested = 64", "'nested' in [scatter]: expected a list, got 64",
     "see this key in the file that `finfront new` writes"),
    ("nested = [64, 100]", "'nested' in [scatter]: must be a power of two, got 100", "64 or 128"),
    ('nested = [64, "256"]', "'nested' in [scatter]: expected a whole number, got '256'",
     "write it without quotes and without a point"),
    ("nested = [1024, 2048]", "'nested' in [scatter]: 1024 times 2048 copies of one core are more than 1048576",
     "lower one of them"),
    ('wanted_share = "100 %"', "'wanted_share' in [scatter]: must be above 0 % and below 100 %, got '100 %'", CHECK),
    ("wanted_share = 0.99",
     "'wanted_share' in [scatter]: expected a fraction such as '4 %', got the bare number 0.99",
     "write number and unit together, in quotes"),
    ('wanted_shore = "99 %"', "unknown key 'wanted_shore' in [scatter]", "did you mean 'wanted_share'?"),
    ("confidence = 95", "'confidence' in [scatter]: must be above 0 and below 1, got 95", CHECK),
    ("correlations = 0.6", "'correlations' in [scatter]: expected a list, got 0.6",
     "see this key in the file that `finfront new` writes"),
    ("correlations = [0.6]", "'correlations' in [scatter]: expected a table, got 0.6",
     "see this key in the file that `finfront new` writes"),
    (f"correlations = [{{ {BOTH} }}]", f"missing key 'rank' in {ENTRY}", ADD),
    (f"correlations = [{{ {BOTH}, rnak = 0.6 }}]", f"unknown key 'rnak' in {ENTRY}", "did you mean 'rank'?"),
    (f"correlations = [{{ {BOTH}, rank = 1 }}]", f"'rank' in {ENTRY}: must be above -1 and below 1, got 1", CHECK),
    (f'correlations = [{{ {BOTH}, rank = "60 %" }}]', f"'rank' in {ENTRY}: expected a bare number, got '60 %'",
     "write it without quotes and without a unit"),
    ('correlations = [{ between = ["thickness"], rank = 0.6 }]',
     f"'between' in {ENTRY}: expected two names such as ['air_fin.spacing', 'air_fin.pitch'], got a list",
     "name two things that can carry a tolerance"),
    ('correlations = [{ between = ["thickness", "thickness"], rank = 0.6 }]',
     f"'between' in {ENTRY}: 'thickness' goes with itself anyway", "name two different things"),
    ('correlations = [{ between = ["thickness", 3], rank = 0.6 }]',
     f"'between' in {ENTRY}: expected the name of a dimension, got 3", "write it in quotes"),
    ('correlations = [{ between = ["thickness", "air_fin.pich"], rank = 0.6 }]',
     f"'between' in {ENTRY}: 'air_fin.pich' cannot carry a tolerance", "did you mean 'air_fin.pitch'?"),
    ('correlations = [{ between = ["thickness", "air_fin"], rank = 0.6 }]',
     f"'between' in {ENTRY}: 'air_fin' cannot carry a tolerance", "name a dimension of it, such as 'air_fin.pitch'"),
    ('correlations = [{ between = ["thickness", "turbulator.spacing"], rank = 0.6 }]',
     f"'between' in {ENTRY}: 'turbulator.spacing' cannot carry a tolerance", "did you mean 'coolant_fin.spacing'?"),
    ('correlations = [{ between = ["thickness", "passages"], rank = 0.6 }]',
     f"'between' in {ENTRY}: 'passages' cannot carry a tolerance",
     "use one of: length, thickness, plate_thickness, side_plate_thickness, air_bar_width, coolant_bar_width, "
     "divider_width, air_blockage, coolant_blockage, air_fouling, coolant_fouling, tank_length, ..."),
    ('correlations = [{ between = ["thickness", "tank_length"], rank = 0.6 }]',
     f"'between' in {ENTRY}: 'tank_length' has no tolerance", "give it one, or leave the correlation out"),
    ('correlations = [{ between = ["port.width", "air_fin.pitch"], rank = 0.6 }]',
     f"'between' in {ENTRY}: no port to choose from has a tolerance on width",
     "give it one, or leave the correlation out"),
    ('correlations = [{ between = ["air_fin.louver_pitch", "air_fin.pitch"], rank = 0.6 }]',
     f"'between' in {ENTRY}: no air fin to choose from has a tolerance on louver_pitch",
     "give it one, or leave the correlation out"),
    (f'correlations = [{{ {BOTH}, rank = 0.6 }}, {{ between = ["air_fin.pitch", "air_fin.spacing"], rank = 0.6 }}]',
     f"'between' in {ENTRY}: 'air_fin.pitch' and 'air_fin.spacing' have a correlation already",
     "keep one of the two"),
    (f'correlations = [{{ {BOTH}, rank = 0.9 }}, {{ between = ["air_fin.spacing", "thickness"], rank = 0.9 }}, '
     '{ between = ["air_fin.pitch", "thickness"], rank = -0.9 }]', f"'correlations' in [scatter]: {IMPOSSIBLE}",
     "bring one of the ranks nearer to zero, or mend its sign"),
]


@pytest.mark.parametrize(("line", "what", "do"), SCATTER_FAULTS)
def test_a_fault_of_scatter_is_told_word_for_word(
    edited: Callable[..., str], line: str, what: str, do: str
) -> None:
    key = line.split(" ")[0]
    old = f"\n{key} = " if key in ("draws", "confidence") else f"\n{DRAWS}"
    new = f"\n{line} # " if key in ("draws", "confidence") else f"\n{line}\n{DRAWS}"
    text = edited((old, new))
    assert faults() == [block(what, f"study.toml, line {line_in(text, f'{chr(10)}{line}')}", do)]


@pytest.mark.parametrize(("old", "new", "what", "do"), [
    (DRAWS, 'draws = 0\nnarrow_to = "1 point" ',
     "'narrow_to' in [scatter]: with draws = 0 there is no interval to narrow",
     "give draws a power of two, or leave it out"),
    (DRAWS, "draws = 512\nmost_draws = 256 ", "'most_draws' in [scatter]: must be at least the 512 of 'draws', got 256",
     "raise it, or lower draws"),
])
def test_draws_that_do_not_agree_are_told(
    edited: Callable[..., str], old: str, new: str, what: str, do: str
) -> None:
    text = edited((old, new))
    assert faults() == [block(what, f"study.toml, line {line_in(text, new) + 1}", do)]


def test_correlations_written_as_tables_are_told_by_their_own_lines(edited: Callable[..., str]) -> None:
    tables = f'[[scatter.correlations]]\n{BOTH}\nrank = 2\n[[scatter.correlations]]\n{BOTH}\nrank = "x"\n'
    text = edited(("\n[model]", f"\n{tables}\n[model]"))
    lines = [f"study.toml, line {line_in(text, part)}" for part in ("rank = 2", 'rank = "x"')]
    assert [fault.split("\n")[1] for fault in faults()] == [f"  where: {line}" for line in lines]


def test_a_fin_that_is_not_offered_does_not_count_for_a_correlation(edited: Callable[..., str]) -> None:
    own = 'tolerances = { strip_length = { law = "uniform", half_width = "1 %" } }'
    edited(("[fin.S18-64]", f"[fin.S18-64]\n{own}"), file=AIR_FINS)
    pair = 'correlations = [{ between = ["air_fin.strip_length", "thickness"], rank = 0.1 }]'
    edited((f"\n{DRAWS}", f"\n{pair}\n{DRAWS}"))
    assert load("study.toml").scatter.correlations[0].rank == 0.1
    edited(('air_fin = "all"', 'air_fin = ["S16-80", "P16-64"]'))
    assert faults()[0].startswith(
        f"error: 'between' in {ENTRY}: no air fin to choose from has a tolerance on strip_length\n"
    )


def test_a_correlation_is_not_asked_for_its_tolerance_while_that_cannot_be_read(edited: Callable[..., str]) -> None:
    edited(('pitch = { law = "normal"', 'pitch = { law = "nrml"'), file=AIR_FINS)
    pairs = 'correlations = [{ between = ["air_fin.pitch", "length"], rank = 0.1 }]'
    edited((f"\n{DRAWS}", f"\n{pairs}\n{DRAWS}"), (LENGTH, LAW % 'law = "nrml"'))
    assert [re.search(r"'(\w+)' in \[([\w.]+)\]", fault)[0] for fault in faults()] == [  # type: ignore[index]
        f"'law' in {TABLE}", "'law' in [tolerances.pitch]",
    ]


# --- [robust] and what of the copies is asked --------------------------------------------------------------------

MODEL = "\n[model]"
RUN = (AIR_FLOW, scattered("air_flow", "0.8 kg/s", 'law = "uniform", half_width = "5 %"'))


def test_without_its_table_there_is_no_front_of_the_copies(edited: Callable[..., str]) -> None:
    assert load("study.toml").robust is None
    edited((MODEL, f"\n[robust]\n{MODEL}"))
    assert load("study.toml").robust == Robust("P95", 0.99, 4096, "shop")


@pytest.mark.parametrize(("of", "known"), [
    ("P50", "P50"), ("P95", "P95"), ("P97.5", "P97.5"), ("P99.0", "P99"), ("P99.9", "P99.9"), ("mean", "mean"),
])
def test_what_of_the_copies_counts_is_read(edited: Callable[..., str], of: str, known: str) -> None:
    table = f'[robust]\nof = "{of}"\nshare = "97 %"\ndraws = 1024\nscatter = "shop and run"\n'
    edited((MODEL, f"\n{table}{MODEL}"), RUN, ('at = "full_power"', f'at = "full_power"\nof = "{of}"'),
           ('max = "25 kPa"', f'max = "25 kPa"\nof = "{of}"'))
    study = load("study.toml")
    assert study.robust == Robust(known, 0.97, 1024, "shop and run")
    assert [goal.of for goal in (*study.objectives, *study.limits)] == [known, None, None, known]


def test_the_worst_of_the_copies_may_be_an_objective(edited: Callable[..., str]) -> None:
    edited((MODEL, f"\n[robust]\n{MODEL}"), ('at = "full_power"', 'at = "full_power"\nof = "worst"'))
    assert load("study.toml").objectives[0].of == "worst"


def test_the_worst_of_the_copies_may_be_no_limit(edited: Callable[..., str]) -> None:
    edited((MODEL, f"\n[robust]\n{MODEL}"), ('max = "25 kPa"', 'max = "25 kPa"\nof = "worst"'))
    with pytest.raises(StudyFaults, match="no number of copies shows what the worst of all does"):
        load("study.toml")


OF = "write 'P95' for what 95 % of the copies do at least as well as"
ROBUST_FAULTS = [
    *((f"of = {of}", f"'of' in [robust]: expected 'P50' to 'P99.9', 'mean' or 'worst', got {given}", OF)
      for of, given in (('"P49"', "'P49'"), ('"P99.95"', "'P99.95'"), ('"P100"', "'P100'"), ('"p95"', "'p95'"),
                        ("95", "95"), ('"best"', "'best'"), ("[]", "a list"))),
    ('share = "100 %"', "'share' in [robust]: must be above 0 % and below 100 %, got '100 %'", CHECK),
    ("share = 0.99", "'share' in [robust]: expected a fraction such as '4 %', got the bare number 0.99",
     "write number and unit together, in quotes"),
    ("draws = 4000", "'draws' in [robust]: must be a power of two, got 4000", "2048 or 4096"),
    ("draws = 4", "'draws' in [robust]: must be at least 8 and at most 1048576, got 4", "check the number"),
    ('scatter = "run"', "'scatter' in [robust]: expected 'shop' or 'shop and run', got 'run'",
     "write one of these words"),
    ('scatter = "shop and run"',
     "'scatter' in [robust]: nothing scatters from run to run: "
     "no duty point and no value of [ambient] has a tolerance",
     "write 'shop', or air_flow = { value = '0.8 kg/s', tolerance = { ... } } in a duty point"),
    ("shares = 3", "unknown key 'shares' in [robust]", "did you mean 'share'?"),
]


@pytest.mark.parametrize(("line", "what", "do"), ROBUST_FAULTS)
def test_a_fault_of_robust_is_told_word_for_word(edited: Callable[..., str], line: str, what: str, do: str) -> None:
    text = edited((MODEL, f"\n[robust]\n{line}\n{MODEL}"))
    assert faults() == [block(what, f"study.toml, line {line_in(text, f'[robust]{chr(10)}{line}') + 1}", do)]


def test_runs_may_be_asked_for_where_only_the_air_outside_scatters(edited: Callable[..., str]) -> None:
    air = AMBIENT.replace('"38 degC"', '{ value = "38 degC", tolerance = { law = "uniform", half_width = "6 K" } }')
    edited((MODEL, f'\n{air}\n[robust]\nscatter = "shop and run"\n{MODEL}'))
    robust = load("study.toml").robust
    assert robust is not None
    assert robust.scatter == "shop and run"


@pytest.mark.parametrize(("old", "table"), [('at = "full_power"', "objectives"), ('max = "12 kPa"', "limits")])
def test_a_goal_of_the_copies_needs_the_robust_front(edited: Callable[..., str], old: str, table: str) -> None:
    text = edited((old, f'{old}\nof = "P99"'))
    where = f"study.toml, line {line_in(text, chr(10) + 'of = ' + chr(34) + 'P99')}"
    assert faults() == [block(f"'of' in [[{table}]]: needs the table [robust]", where,
                              "add it, or leave 'of' out: without it there are no copies to ask")]


def test_a_goal_of_unknown_copies_is_told(edited: Callable[..., str]) -> None:
    text = edited((MODEL, f"\n[robust]\n{MODEL}"), ('max = "12 kPa"', 'max = "12 kPa"\nof = "P9"'))
    where = f"study.toml, line {line_in(text, 'of = ' + chr(34) + 'P9' + chr(34))}"
    what = "'of' in [[limits]]: expected 'P50' to 'P99.9', 'mean' or 'worst', got 'P9'"
    assert faults() == [block(what, where, OF)]


def test_a_misspelt_robust_table_is_told_once(edited: Callable[..., str]) -> None:
    edited((MODEL, f"\n[robus]\n{MODEL}"), ('max = "12 kPa"', 'max = "12 kPa"\nof = "P99"'))
    told = faults()
    assert len(told) == 1
    assert told[0].startswith("error: unknown key 'robus' at the top of the file\n")


def test_faults_of_all_these_tables_show_at_once(edited: Callable[..., str]) -> None:
    text = edited(
        (AIR_FLOW, scattered("air_flow", "0.8 kg/s", 'law = "normal", half_width = "5 %"')),
        (LENGTH, LAW % 'law = "uniform", below = "1 mm"'), ('max = "12 kPa"', 'max = "12 kPa"\nof = "p99"'),
        ("\ndraws = 512 ", "\ndraws = 100 "), (MODEL, f"\n[robust]\nshare = 1\n{MODEL}"),
    )
    places = [int(re.search(r"line (\d+)", fault)[1]) for fault in faults()]  # type: ignore[index]
    assert places == [line_in(text, part) for part in (
        "\nair_flow =", f"\n{LAW[:8]}", 'of = "p99"', "\ndraws = 100", "\nshare = 1")]


# --- any text ----------------------------------------------------------------------------------------------------

TOLERANT = (
    COMPLETE.replace(AIR_FLOW, scattered("air_flow", "0.8 kg/s", 'law = "normal", half_width = "5 %", Cp = 0.67'))
    .replace(COOLANT_FLOW, scattered("coolant_flow", "55 L/min", 'law = "uniform", below = "5 %", above = "0 %"'))
    .replace(AIR_TEMPERATURE, scattered("air_temperature", "142 degC", 'law = "triangular", half_width = "5 K"'))
    .replace(LENGTH, LAW % 'law = "measured", samples = "length.csv", nominal = "40 mm", tighten_cost = 3')
    .replace('scatter = "shop"', 'scatter = "shop and run"').replace('max = "12 kPa"', 'max = "12 kPa"\nof = "P99"')
)
PIECES = st.sampled_from([
    "[", "]", "{", "}", '"', "=", ",", "#", "\n", "1", "-1", "0", "nan", "true", '""', "[]", "{}", '"4 %"', '"1 point"',
    '"0 mm"', '"3 K"', '"5 L/min"', "law", '"measured"', '"normal"', "half_width", "below", "above = ", "sigmas", "Cp",
    "bounded", "samples", "nominal", "tolerance", "value", "rank", "between", '"thickness"', '"air_fin.pitch"',
    "narrow_to", "nested", '"P50"', '"mean"', "of = ", "[robust]\n", "[scatter]\n", '"shop and run"', "9" * 400, "\x00",
    '{ law = "normal", half_width = "1 %", Cp = 1 }', '"length.csv"', '"."', "[[scatter.correlations]]\n",
])
HEADER = "length [mm]\n"
PARTS = [("[duty.full_power]", "[duty.long_pull]"), ("[core]", "[material]"), ("[[objectives]]", "[model]")]


@pytest.mark.parametrize(("first", "last"), PARTS)
def test_any_mutation_of_tolerances_gives_a_study_or_its_faults(
    edited: Callable[..., str], first: str, last: str
) -> None:
    Path("length.csv").write_text(HEADER + "40.1\n" * 10)
    start, end = TOLERANT.index(f"\n{first}"), TOLERANT.index(f"\n{last}")

    @settings(max_examples=120, deadline=None, suppress_health_check=list(HealthCheck))
    @given(mutations(TOLERANT, PIECES, start, end, longest=6))
    def attempt(text: str) -> None:
        Path("study.toml").write_bytes(text.encode("utf-8", "surrogatepass"))
        found = outcome("study.toml")
        told = found.faults if isinstance(found, StudyFaults) else ()
        assert told or isinstance(found, Study)
        assert all(fault.what and fault.do for fault in told)

    Path("study.toml").write_text(TOLERANT)
    assert isinstance(outcome("study.toml"), Study)
    attempt()


def test_any_mutation_of_samples_gives_a_study_or_faults_by_row(edited: Callable[..., str]) -> None:
    Path("study.toml").write_text(TOLERANT)
    pieces = st.sampled_from(["#", "\n", ",", "[", "]", "mm", "in", "K", "%", "1e5", "-1", "0", "nan", "\ufeff"])

    @settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
    @given(mutations(HEADER + "40.1\n39.9\n40.25\n" * 5, pieces))
    def attempt(text: str) -> None:
        Path("length.csv").write_bytes(text.encode("utf-8", "surrogatepass"))
        found = outcome("study.toml")
        if isinstance(found, StudyFaults):
            assert all(fault.what and fault.do for fault in found.faults)
        else:
            tolerance = found.variables["core.length"].tolerance
            assert tolerance is not None
            assert len(tolerance.deviations) >= 10

    attempt()


LENGTHS = st.floats(0.0, 30.0).map(lambda x: round(x, 3))


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(below=LENGTHS, above=LENGTHS, Cp=st.floats(0.34, 5.0).map(lambda x: round(x, 2)))
def test_sides_and_capability_arrive_as_written(
    tmp_path_factory: pytest.TempPathFactory, below: float, above: float, Cp: float
) -> None:
    folder = tmp_path_factory.getbasetemp() / "sides"
    if not folder.exists():
        write_starter(folder / "study.toml")
    law = f'law = "normal", below = "{below} mm", above = "{above} mm", Cp = {Cp}'
    (folder / "study.toml").write_text(starter().replace(LENGTH, LAW % law))
    found = outcome(str(folder / "study.toml"))
    if below == above == 0.0:
        assert isinstance(found, StudyFaults)
        return
    assert isinstance(found, Study)
    tolerance = found.variables["core.length"].tolerance
    assert tolerance is not None
    assert si(tolerance) == near(below / 1e3, above / 1e3, 3 * Cp, False)
