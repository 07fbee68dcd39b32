"""What differs between two studies: every field, nothing but fields."""

from dataclasses import replace
from pathlib import Path
from shutil import copytree

from optimize.study.differences import Difference, differences
from optimize.study.load import load
from optimize.study.model import Study

_RACER = Path(__file__).parent.parent / "studies" / "dune_racer.toml"


def _changed(tmp_path: Path, *swaps: tuple[str, str], catalogue: tuple[str, str] | None = None) -> Study:
    text = _RACER.read_text(encoding="utf-8")
    for old, new in swaps:
        assert old in text
        text = text.replace(old, new, 1)
    copytree(_RACER.parent / "catalogues", tmp_path / "catalogues")
    if catalogue is not None:
        ports = tmp_path / "catalogues" / "ports.toml"
        ports.write_text(ports.read_text(encoding="utf-8").replace(*catalogue, 1), encoding="utf-8")
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    return load(tmp_path / "study.toml")


def test_a_study_does_not_differ_from_itself_moved_to_another_folder(tmp_path: Path) -> None:
    assert differences(load(_RACER), _changed(tmp_path)) == []


def test_comments_and_spaces_do_not_count(tmp_path: Path) -> None:
    other = _changed(tmp_path, ("seed = 7", "seed   =   7   # of the draws"))
    assert differences(load(_RACER), other) == []


def test_a_changed_field_is_told_by_its_dotted_name(tmp_path: Path) -> None:
    other = _changed(tmp_path, ('pocket_depth = "66 mm"', 'pocket_depth = "60 mm"'))
    assert differences(load(_RACER), other) == [Difference("envelope.pocket_depth", "66 mm", "60 mm")]
    assert str(differences(load(_RACER), other)[0]) == "envelope.pocket_depth: 66 mm -> 60 mm"


def test_a_limit_is_told_by_what_it_bounds(tmp_path: Path) -> None:
    other = _changed(tmp_path, ('max = "8 kPa"', 'max = "7 kPa"'))
    assert differences(load(_RACER), other) == [
        Difference("limits[air_pressure_drop, worst].max", "8 kPa", "7 kPa")
    ]


def test_a_field_taken_out_or_put_in_is_absent_on_one_side(tmp_path: Path) -> None:
    other = _changed(tmp_path, ('cap_pressure = "100 kPa"', ""), ('units = "SI"', 'units = "US"'))
    assert set(differences(load(_RACER), other)) == {
        Difference("loop.cap_pressure", "100 kPa", None), Difference("units", "SI", "US")
    }


def test_a_catalogue_is_compared_too(tmp_path: Path) -> None:
    other = _changed(tmp_path, catalogue=('bore = "16 mm"', 'bore = "15 mm"'))
    found = differences(load(_RACER), other)
    assert [(d.before, d.after) for d in found] == [("16 mm", "15 mm")]
    assert found[0].where.startswith("catalogues/ports.toml: ")


def test_another_seed_is_a_difference_wherever_it_was_given() -> None:
    study = load(_RACER)
    assert differences(study, replace(study, seed=8)) == [Difference("seed", "7", "8")]
