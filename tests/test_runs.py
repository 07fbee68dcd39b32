"""The run folder: written once, read back whole, and never over another one."""

import json
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pandas as pd
import pytest

from optimize import runs
from optimize.errors import FinfrontError

NOW = datetime(2026, 3, 9, 14, 5, 6, tzinfo=UTC)
TABLES = {
    "designs": pd.DataFrame({"core": ["C1", "C2"], "x [mm]": [1 / 3, 70.0], "flags": ["", "header"]}),
    "limits": pd.DataFrame({"requirement": ["a, b", 'quote "q"'], "cores_turned_away": [3, 0]}),
}


def write(folder: Path, record: dict | None = None) -> Path:
    folder.mkdir(exist_ok=True)
    files = {"catalogues/air_fins.toml": "# Å fin\n"}
    runs.write(folder, "title = 'Ünder'\n", files, {"seed": 1} if record is None else record, TABLES)
    return folder


def test_a_new_folder_is_named_by_study_and_time(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    folder = runs.new_folder(None, "somewhere/dune_racer.toml", NOW)
    assert folder == Path("results/dune_racer-20260309-140506")
    assert folder.is_dir()


def test_an_empty_folder_is_taken_and_a_missing_one_made_with_its_parents(tmp_path):
    (tmp_path / "empty").mkdir()
    assert runs.new_folder(tmp_path / "empty", "x.toml", NOW) == tmp_path / "empty"
    assert runs.new_folder(tmp_path / "a" / "b", "x.toml", NOW).is_dir()


def test_a_folder_with_anything_in_it_is_refused_and_left_alone(tmp_path):
    (tmp_path / "note.txt").write_text("mine")
    with pytest.raises(FinfrontError, match="not an empty folder"):
        runs.new_folder(tmp_path, "x.toml", NOW)
    assert [path.name for path in tmp_path.iterdir()] == ["note.txt"]


@pytest.mark.parametrize("below", ["", "deeper"])
def test_a_file_in_the_way_is_refused(tmp_path, below):
    (tmp_path / "file").write_text("mine")
    with pytest.raises(FinfrontError) as caught:
        runs.new_folder(tmp_path / "file" / below, "x.toml", NOW)
    assert "--out" in caught.value.do


def test_the_stamp_is_utc_whatever_the_clock_of_the_machine():
    elsewhere = NOW.astimezone(timezone(timedelta(hours=-7)))
    assert runs.stamp(NOW) == runs.stamp(elsewhere) == "2026-03-09T14:05:06+00:00"


def test_what_is_written_is_read_back(tmp_path):
    run = runs.read(write(tmp_path / "run"))
    assert run.record == {"seed": 1}
    assert set(run.tables) == set(TABLES)
    assert run.tables["designs"]["x [mm]"].tolist() == pytest.approx([1 / 3, 70.0], rel=1e-7)  # eight digits
    assert run.tables["limits"]["requirement"].tolist() == ["a, b", 'quote "q"']
    assert (tmp_path / "run/study.toml").read_text(encoding="utf-8") == "title = 'Ünder'\n"
    assert (tmp_path / "run/catalogues/air_fins.toml").read_text(encoding="utf-8") == "# Å fin\n"


def test_the_record_is_plain_json_with_its_letters(tmp_path):
    folder = write(tmp_path / "run", {"title": "Grüße", "share": 0.5})
    text = (folder / runs.RECORD).read_text(encoding="utf-8")
    assert json.loads(text) == {"title": "Grüße", "share": 0.5}
    assert "Grüße" in text
    assert text.endswith("\n")


def test_the_record_comes_last_so_that_a_broken_run_is_no_run(tmp_path):
    class Broken:
        def to_csv(self, *args, **kwargs):
            raise OSError(28, "No space left on device")

    (tmp_path / "run").mkdir()
    with pytest.raises(OSError, match="space"):
        runs.write(tmp_path / "run", "", {}, {}, {"front": Broken()})
    assert not (tmp_path / "run" / runs.RECORD).exists()
    with pytest.raises(FinfrontError, match="no finished run"):
        runs.read(tmp_path / "run")


def test_no_file_of_a_study_is_written_outside_the_run(tmp_path):
    (tmp_path / "run").mkdir()
    outside = {"../mine.toml": "x", str(tmp_path / "absolute.toml"): "x", "catalogues/../../up.toml": "x"}
    runs.write(tmp_path / "run", "", outside, {}, {})
    assert sorted(path.name for path in tmp_path.iterdir()) == ["run"]


@pytest.mark.parametrize("path", ["run", "nothing", "run/study.toml"])
def test_a_folder_without_a_record_is_no_run(tmp_path, path):
    (write(tmp_path / "run") / runs.RECORD).unlink()
    with pytest.raises(FinfrontError, match="no finished run"):
        runs.read(tmp_path / path)


@pytest.mark.parametrize(
    ("file", "content"),
    [
        (runs.RECORD, b"{ not json"), (runs.RECORD, b""), (runs.RECORD, b"\xff\xfe\x00"), (runs.RECORD, b"[1, 2]"),
        ("designs.csv", b""), ("designs.csv", b"\xff\xfe\x00\x01"), ("designs.csv", b'a,b\n1,2\n1,2,3\n'),
    ],
)
def test_a_damaged_run_is_told_and_not_traced(tmp_path, file, content):
    folder = write(tmp_path / "run")
    (folder / file).write_bytes(content)
    with pytest.raises(FinfrontError, match="cannot be read"):
        runs.read(folder)


def test_versions_name_the_program_and_what_its_numbers_depend_on():
    found = runs.versions()
    assert {"python", "finfront", "numpy", "scipy"} <= set(found)
    assert all(found.values())
