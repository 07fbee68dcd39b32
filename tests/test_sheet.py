"""Workbook and page of one core, read back: numbers are numbers and right, text stays text, the page fits."""

import sys
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import openpyxl
import pytest
from small_studies import ROOT, core, problem, study, write

from optimize import cli, runs
from optimize.asked import known_core
from optimize.evaluate import CoreProblem
from optimize.handover import page, workbook
from optimize.handover.digits import decimals_within, shown
from optimize.handover.page import drawn
from optimize.handover.specification import specification
from optimize.handover.subject import subject
from optimize.report.style import house_style
from optimize.stored_core import core_of_run
from optimize.study.load import load
from optimize.study.model import Variable
from optimize.typed_core import typed_core

FEW = 64
EXAMPLE = Path(ROOT) / "results/example"
MADE = datetime.fromisoformat(runs.read(EXAMPLE).record["made"])
SHEETS = ["Specification", "Bench", "Calculation", "Tolerances", "Read me"]
STRANGE = "\u202eabc\u05d0\u05d1 漢字 🚀 \x01\x07\ufffe_x0041_"
HOSTILE = [
    "=cmd|' /C calc'!A0 <script>alert(1)</script>", "@SUM(A1)", '=HYPERLINK("http://a.example","b")', "-2",
    "a\nb\r\nc\td", "x" * 500, "$x_1$ \\frac{1}{2} $ 100 % &P &D %s {0}", "https://a.example/../../etc/passwd'\"`",
    STRANGE,
]  # fmt: skip


@pytest.fixture(scope="module")
def example():
    p = CoreProblem(load(EXAMPLE / "study.toml"))
    run = runs.read(EXAMPLE)
    return subject(p, core_of_run(p.space, EXAMPLE, "knee"), "C919911", run.record, run.tables, FEW)


@pytest.fixture(scope="module")
def book(example, tmp_path_factory):
    return openpyxl.load_workbook(workbook.write(example, tmp_path_factory.mktemp("book") / "C919911.xlsx"))


def rows(sheet) -> dict[str, list]:
    """The first row of each label: the cells behind it."""
    found: dict[str, list] = {}
    for row in sheet.iter_rows():
        if isinstance(row[0].value, str):
            found.setdefault(row[0].value, [cell.value for cell in row[1:]])
    return found


def cells(book):
    return [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]


# --- the workbook ---------------------------------------------------------------------------------------------------


def test_the_specification_has_the_figures_of_the_study(book):
    found = rows(book["Specification"])
    # results/example/study.toml and its catalogues, by hand
    assert found["core length"][:5] == [286, 285.5, 286.5, "mm", "± 0.5 mm, normal"]
    assert found["core length"][5:7] == [3, 1]
    assert found["core thickness"][:3] == pytest.approx([89, 88.6, 89.4])
    assert found["parting plate thickness"][:3] == pytest.approx([0.5, 0.48, 0.52])
    assert found["side plate thickness"][:5] == [1.5, None, None, "mm", "none stated"]
    assert found["coolant passages"][0] == 12
    assert found["air passages"][0] == 13
    assert found["fin density"][:3] == pytest.approx([25, 25 / 1.03, 25 / 0.97])
    assert found["air blockage"][:3] == pytest.approx([4, 2, 6])
    # 13 x 6.35 + 12 x (1.5 + 2 x 0.5) + 2 x 1.5
    assert found["stack height"][0] == pytest.approx(115.55)
    assert found["overall length with tanks"][0] == pytest.approx(286 + 2 * 21)
    assert found["clearance, thickness under the lid"][0] == pytest.approx(66 + 24 - 89)
    # D32-21, 21 high, on wall and land of 3 each: its middle 66 - 16.5 below the flange
    assert found["coolant inlet, middle below the flange"][0] == pytest.approx(49.5)


def test_inches_in_a_study_of_inches(tmp_path):
    p = CoreProblem(load(Path(ROOT) / "studies/tow_rig_us_units.toml"))
    pairs = ["thickness=2.5 in", "passages=10", "passes=2 through the thickness", "air_fin=S18-250",
             "turbulator=TS-80-14", "port=SL700-1200"]  # fmt: skip
    s = subject(p, typed_core(p.space, pairs), "core", None, None, FEW)
    found = rows(openpyxl.load_workbook(workbook.write(s, tmp_path / "core.xlsx"))["Specification"])
    assert found["core length"][:4] == [pytest.approx(12.2), pytest.approx(12.18), pytest.approx(12.22), "in"]
    assert found["density"][0] == pytest.approx(170)
    assert found["pocket depth"][0] == pytest.approx(2.75)
    # Two chambers and a third wall of 0.12 in 2.5: the outlet lies in the upper one, 0.7 high on a land of 0.12
    chamber = (2.5 - 3 * 0.12) / 2
    assert found["coolant outlet, middle below the flange"][0] == pytest.approx(
        2.75 - (0.12 + chamber + 0.12 + 0.12 + 0.35)
    )


def test_the_bench_has_room_to_fill_in_beside_what_to_accept(example, book):
    table = [row for row in book["Bench"].iter_rows(values_only=True) if row[0] in (50, 75, 100)]
    assert len(table) == 9
    for row in table:
        assert all(isinstance(value, float | int) for value in row[:13])
        assert row[13] is None
        low, high = row[9], row[10]
        assert low < row[5] < row[4] < row[6] < high
        # 1 % on the loss, 1 % on a flow whose square or nearly it grows with
        assert 1.010 < row[11] / low < 1.025
        assert 1.010 < high / row[12] < 1.025
    assert table[2][10] == pytest.approx(example.bench[0].points[-1].both[1] / 1000)
    assert [row[1] for row in table[:3]] == pytest.approx([0.4, 0.6, 0.8])  # of 0.80 kg/s


def test_the_calculation_is_the_front_table_of_the_run(book):
    front = runs.read(EXAMPLE).tables["front"].set_index("core").loc["C919911"]
    found = rows(book["Calculation"])
    for label, column in (("heat rejected", "heat_rejected@{} [kW]"), ("air core loss", "")):
        if column:
            expected = [front[column.format(duty)] for duty in ("full_power", "long_climb")]
            assert found[label][1:3] == pytest.approx(expected, rel=1e-6)
    assert found["dry mass"][:2] == ["kg", pytest.approx(front["dry_mass [kg]"], rel=1e-6)]


def test_shares_and_percentiles_are_those_of_the_run(book):
    found = rows(book["Tolerances"])
    table = runs.read(EXAMPLE).tables["yield"]
    own = table[(table["core"] == "C919911") & (table["requirement"] == "every limit")]
    expected = own[["share [%]", "low [%]", "high [%]"]].to_numpy().ravel()
    assert found["every limit"][1 : 1 + len(expected)] == pytest.approx(list(expected))
    budget = runs.read(EXAMPLE).tables["budget"].set_index("tolerance")
    assert found["thickness"][9] == f"{budget.loc['thickness', 'relaxed_together_factor']:g} times"


def test_a_core_of_no_run_has_copies_made(tmp_path):
    p = problem(draws="32")
    s = subject(p, core(p), "core", None, None, FEW)
    book = openpyxl.load_workbook(workbook.write(s, tmp_path / "core.xlsx"))
    found = rows(book["Tolerances"])
    assert 0 <= found["every limit"][1] <= 100
    assert "What each tolerance does" not in found
    assert "core given by hand" in rows(book["Read me"])["made"][0]


def test_the_read_me_says_what_made_it_and_what_to_be_careful_of(book):
    found = rows(book["Read me"])
    assert found["run"][0] == f"dune_racer {MADE:%Y-%m-%d %H:%M}"
    assert found["seed"][0] == "7"
    assert "numpy" in found["versions"][0]
    text = " ".join(str(cell.value) for cell in cells(book))
    for word in ("coolant into the engine", "flow-bench test", "local codes", "emission rules", "licensed"):
        assert word in text


def test_sheets_are_named_frozen_and_print_on_a4(book):
    assert book.sheetnames == SHEETS
    for sheet in book:
        assert sheet.page_setup.paperSize == 9
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert sheet.oddFooter.left.text
    assert all(book[name].freeze_panes for name in SHEETS[:4])


def test_numbers_are_numbers_and_nothing_is_a_formula(book):
    for cell in cells(book):
        assert cell.data_type in ("n", "s")
        if cell.data_type == "s" and cell.column > 1:
            assert not cell.value.replace(".", "").isdigit() or cell.value in ("1", "7"), cell.coordinate


def test_the_same_run_gives_the_same_bytes_dated_by_the_run(example, book, tmp_path):
    for write_, name in ((workbook.write, "x.xlsx"), (page.write, "x.pdf")):
        first, second = (write_(example, tmp_path / f"{i}{name}").read_bytes() for i in range(2))
        assert first == second
    assert book.properties.created == MADE.replace(tzinfo=None)


# --- hostile text ---------------------------------------------------------------------------------------------------


def renamed(text: str):
    """The starter with a text in every place a user may write one, and its ordinary core."""
    s = study(draws="16")
    fin, turbulator, port = s.air_fins["S18-64"], s.turbulators["TS-20-16"], s.ports["R22"]
    choices = {key: Variable(key, (text,)) for key in ("core.air_fin", "core.turbulator", "tanks.port")}
    s = replace(
        s, title=text, about=text, path=text, variables=s.variables | choices,
        air_fins={text: replace(fin, name=text)}, turbulators={text: replace(turbulator, name=text)},
        ports={text: replace(port, name=text)}, duty=(replace(s.duty[0], name=text),),
        objectives=tuple(replace(o, at=None if o.at is None else text) for o in s.objectives),
        limits=tuple(replace(x, at=None if x.at is None else text) for x in s.limits),
    )  # fmt: skip
    p = CoreProblem(s)
    return p, core(p, air_fin=text, turbulator=text, port=text)


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_text_of_a_user_stays_text_and_stays_on_the_page(text, tmp_path):
    p, chosen = renamed(text)
    record = {"made": "2026-01-02T03:04:05+00:00", "study": text, "study_sha256": text, "versions": {text: text}}
    s = subject(p, chosen, text, record, None, 16)
    book = openpyxl.load_workbook(workbook.write(s, tmp_path / "a.xlsx"))
    for cell in cells(book):
        assert cell.data_type in ("n", "s")
        assert cell.hyperlink is None
        if cell.data_type == "s":
            assert not set("\n\r\t\x01\x07\u202e\ufffe") & set(cell.value)
    with house_style():
        paper = drawn(s)
        renderer = paper.figure.canvas.get_renderer()
        for artist in paper.axes.texts:
            box = artist.get_window_extent(renderer).transformed(paper.axes.transData.inverted())
            assert box.x0 > 4
            assert box.x1 < 206
        if text == STRANGE:
            assert paper.save(tmp_path / "a.pdf", text).read_bytes().count(b"/Type /Page ") == 1


# --- digits, names, commands ----------------------------------------------------------------------------------------


def test_numbers_show_no_more_digits_than_their_bounds_are_worth():
    assert decimals_within([115.5512345], 114.83, 116.23) == 2
    assert decimals_within([50.0], None, None) == 0
    assert shown(float("nan"), 2) == "-"


def test_a_pick_goes_by_the_name_of_its_core():
    run = runs.read(EXAMPLE)
    assert known_core(run, "knee", False).name == "C919911"
    changed = known_core(run, "knee", True)
    assert (changed.name, changed.tables) == ("C919911-changed", None)


def typed(monkeypatch, capsys, *words) -> tuple[int, str, str]:
    monkeypatch.setattr(sys, "argv", ["finfront", *map(str, words)])
    with pytest.raises(SystemExit) as left:
        cli.main()
    out, err = capsys.readouterr()
    return left.value.code, out, err


def test_the_command_writes_both_files_of_a_core_given_by_hand(monkeypatch, capsys, tmp_path):
    path = write(tmp_path, air_fin='"S18-64"', turbulator='"TS-20-16"', port='"R22"', passes='"1"', draws="16")
    given = ["--core", "thickness=70 mm", "--core", "passages=10"]
    code, out, err = typed(monkeypatch, capsys, "sheet", path, *given, "--out", tmp_path / "new")
    assert (code, err) == (0, "")
    assert out.split() == [str(tmp_path / "new" / name) for name in ("core.xlsx", "core.pdf")]
    assert all(Path(name).stat().st_size > 10_000 for name in out.split())


def test_a_core_the_run_does_not_have_is_a_message(monkeypatch, capsys, tmp_path):
    for command in ("sheet", "solid"):
        code, out, err = typed(monkeypatch, capsys, command, EXAMPLE, "--pick", "C1", "--out", tmp_path)
        assert (code, out) == (2, "")
        assert err.startswith("error: the run has no core 'C1'")


def test_a_core_within_every_tolerance_is_within_every_length_that_follows(example):
    """The arithmetic sum by hand: overall length is the core's and twice tank and wall; the stack n of each."""
    entries = {entry.label: entry for section in specification(example) for entry in section.entries}
    overall, length = entries["overall length with tanks"], entries["core length"]
    assert overall.high - overall.value == pytest.approx(length.high - length.value)
    assert overall.value - overall.low == pytest.approx(length.value - length.low)
    v, n = example.values, int(example.values["passages"])
    band = {name: example.tolerances[name] for name in ("air_fin.spacing", "coolant_fin.spacing", "plate_thickness")}
    by_hand = 1e3 * (
        (n + 1) * band["air_fin.spacing"].above + n * band["coolant_fin.spacing"].above
        + 2 * n * band["plate_thickness"].above * v["plate_thickness"]
    )
    stack = entries["stack height"]
    assert stack.high - stack.value == pytest.approx(by_hand, rel=1e-6)
    lid, thickness = entries["clearance, thickness under the lid"], entries["core thickness"]
    assert lid.value - lid.low == pytest.approx(thickness.high - thickness.value)
