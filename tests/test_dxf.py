"""The DXF of a core, read back by an independent library: sound, layered, its dimensions measure what they say."""

import json
import re
import shutil
import sys

import ezdxf
import pytest
from drawn_cores import CASES, SI, US_CASES, core, drawn, space, texts
from small_studies import ROOT

from optimize import cli
from optimize.core_drawings import write_drawings
from optimize.drawing import Plate, draw, write_dxf
from optimize.drawing.lettering import clean

LAYERS = {"OUTLINE", "HIDDEN", "CENTRE", "POCKET", "DIM", "TEXT", "FLOW", "FRAME", "HATCH"}
SOME = [("SI", "round"), ("SI", "two side by side"), ("SI", "does not fit"), ("US", "slot"), ("US", "two through")]


@pytest.fixture(scope="module", params=SOME, ids=" ".join)
def read_back(request, tmp_path_factory):
    system, name = request.param
    drawing = drawn(system, **(US_CASES if system == "US" else CASES)[name])
    path = tmp_path_factory.mktemp("dxf") / "core.dxf"
    write_dxf(drawing, path)
    return system, drawing, ezdxf.readfile(path)


def everything(document):
    """Entities of the model space, dimensions taken apart."""
    for entity in document.modelspace():
        yield from document.blocks.get(entity.dxf.geometry) if entity.dxftype() == "DIMENSION" else (entity,)


def test_the_file_is_sound_and_in_millimetres(read_back):
    _, drawing, document = read_back
    audit = document.audit()
    assert (audit.errors, audit.fixes) == ([], [])
    assert document.dxfversion == "AC1024"  # R2010
    assert document.units == ezdxf.units.MM
    assert tuple(document.header["$LIMMAX"])[:2] == (drawing.width, drawing.height)


def test_layers_are_named_by_what_lies_on_them(read_back):
    _, _, document = read_back
    named = {layer.dxf.name for layer in document.layers}
    assert named >= LAYERS
    used = {entity.dxf.layer for entity in everything(document)}
    assert used <= named
    assert used >= LAYERS
    widths = {layer.dxf.name: layer.dxf.lineweight for layer in document.layers}
    assert (widths["OUTLINE"], widths["DIM"], widths["TEXT"], widths["FRAME"]) == (50, 25, 35, 70)
    assert document.layers.get("POCKET").dxf.linetype != document.layers.get("OUTLINE").dxf.linetype


def test_every_text_of_the_drawing_is_in_the_file(read_back):
    _, drawing, document = read_back
    found = [entity.plain_text() for entity in everything(document) if entity.dxftype() == "TEXT"]
    assert sorted(found) == sorted(texts(drawing))


def test_every_dimension_measures_what_it_says(read_back):
    system, _, document = read_back
    dimensions = document.modelspace().query("DIMENSION")
    assert len(dimensions) > 15
    for entity in dimensions:
        said = float(re.search(r"[0-9]+(?:\.[0-9]+)?", entity.dxf.text)[0]) * (25.4 if system == "US" else 1.0)
        style = document.dimstyles.get(entity.dxf.dimstyle)
        assert entity.get_measurement() * style.dxf.dimlfac == pytest.approx(said, abs=0.016), entity.dxf.text
        assert entity.dxf.actual_measurement == pytest.approx(said, abs=0.016)


def test_numbers_of_the_study_stand_in_the_dimensions(tmp_path):
    write_dxf(drawn(), tmp_path / "a.dxf")
    said = [entity.dxf.text for entity in ezdxf.readfile(tmp_path / "a.dxf").modelspace().query("DIMENSION")]
    for text in ("286 ±0.5", "69 ±0.4", "(328 ±0.5)", "(112.2 ±1.37)", "pitch 1.27 ±0.038", "plate 0.5 ±0.02"):
        assert text in said


@pytest.mark.parametrize("hostile", [
    "%%d 5%% %%u", "\\U+0041 \\M+1", "^J ^I caret", "{\\fArial;x} \\P", "a\n0\nEOF\n", "\x00\x07", "𝄞 é", "\ud800 x",
])  # fmt: skip
def test_no_text_of_the_user_becomes_a_code(tmp_path, hostile):
    drawing = draw(space("SI"), core(), Plate(hostile, "C1", hostile, "2026"))
    write_dxf(drawing, tmp_path / "a.dxf")
    document = ezdxf.readfile(tmp_path / "a.dxf")
    assert document.audit().errors == []
    found = [entity.plain_text() for entity in everything(document) if entity.dxftype() == "TEXT"]
    # As written, but for spaces put into what would be a code
    assert found.count("") == texts(drawing).count("")
    without = [text.replace(" ", "") for text in found]
    assert clean(hostile).replace(" ", "") in without


def test_the_same_core_gives_the_same_bytes(tmp_path):
    for name in ("a", "b"):
        write_dxf(drawn(), tmp_path / f"{name}.dxf")
    assert (tmp_path / "a.dxf").read_bytes() == (tmp_path / "b.dxf").read_bytes()


# --- finfront draw --------------------------------------------------------------------------------------------------


def typed(monkeypatch, capsys, *words):
    monkeypatch.setattr(sys, "argv", ["finfront", "draw", *map(str, words)])
    with pytest.raises(SystemExit) as left:
        cli.main()
    out, err = capsys.readouterr()
    return left.value.code, out.splitlines(), err


def test_a_core_of_a_run_is_drawn_under_its_own_name(tmp_path, monkeypatch, capsys):
    code, out, err = typed(monkeypatch, capsys, ROOT / "results/example", "--pick", "knee", "--out", tmp_path)
    assert (code, err) == (0, "")
    assert out == [str(tmp_path / "C919911.svg"), str(tmp_path / "C919911.dxf")]
    text = (tmp_path / "C919911.svg").read_text(encoding="utf-8")
    made = json.loads((ROOT / "results/example/run.json").read_text(encoding="utf-8"))["made"]
    assert f"dune_racer {made[:10]} {made[11:16]}" in text


def test_a_core_typed_by_hand_and_one_changed_by_hand_are_drawn(tmp_path, monkeypatch, capsys):
    study, run = ROOT / "studies/dune_racer.toml", ROOT / "results/example"
    words = [word for key, value in SI.items() for word in ("--core", f"{key}={value}")]
    assert typed(monkeypatch, capsys, study, *words, "--out", tmp_path / "a")[0] == 0
    assert "69 ±0.4" in (tmp_path / "a/core.svg").read_text(encoding="utf-8")
    changed = typed(monkeypatch, capsys, study, "--run", run, "--core", "thickness=77 mm", "--out", tmp_path / "b")
    assert changed[0] == 0
    text = (tmp_path / "b/core.svg").read_text(encoding="utf-8")
    assert "77 ±0.4" in text
    assert "C919911, changed" in text


@pytest.mark.parametrize("words", [
    ["--core", "thickness=7"], ["--run", "nothing"], [], ["--run", "RUN", "--pick", "C0"],
    ["--run", "RUN", "--core", "tank_wall=60 mm"],
], ids=" ".join)  # fmt: skip
def test_a_core_that_is_none_is_refused_in_words(tmp_path, monkeypatch, capsys, words):
    words = [str(ROOT / "results/example") if word == "RUN" else word for word in words]
    study = ROOT / "studies/dune_racer.toml"
    code, out, err = typed(monkeypatch, capsys, study, *words, "--out", tmp_path / "out")
    assert (code, out) == (2, [])
    assert err.startswith("error: ")
    assert not (tmp_path / "out").exists()




def test_a_run_has_the_drawings_of_its_named_cores(tmp_path):
    shutil.copytree(ROOT / "results/example", tmp_path / "run", ignore=shutil.ignore_patterns("figures", "drawings"))
    written = write_drawings(tmp_path / "run")
    picks = set(json.loads((tmp_path / "run/run.json").read_text(encoding="utf-8"))["picks"].values())
    assert {path.name for path in written} == {f"{name}.{kind}" for name in picks for kind in ("svg", "dxf")}
    for path in written:
        assert path.parent == tmp_path / "run/drawings"
        if path.suffix == ".dxf":
            assert not ezdxf.readfile(path).audit().errors
