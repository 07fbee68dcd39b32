"""The store of evaluated designs: what was acknowledged is never lost, and nothing damaged is taken for sound."""

import shutil
import sqlite3
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest

from optimize import store
from optimize.errors import FinfrontError

ABOUT = {"question": "q", "seed": "3", "plan": "p", "made": "2026-01-01T00:00:00+00:00"}


def batch(number: int) -> dict[str, np.ndarray]:
    random = np.random.default_rng(number)
    return {
        "rows.points": random.normal(size=(40, 3)), "rows.ordinals": np.arange(40) + 40 * number,
        "empty": np.zeros((0, 2)), "flag": np.array([number % 2 == 0]),
    }


def made(folder: Path, batches: int = 5) -> Path:
    place = folder / store.FILE
    with store.writing(place, ABOUT) as kept:
        for number in range(kept.kept, batches):
            kept.keep(batch(number))
    return place


def same(a: dict[str, np.ndarray], b: dict[str, np.ndarray]) -> bool:
    return list(a) == list(b) and all(
        a[k].dtype == b[k].dtype and a[k].shape == b[k].shape and a[k].tobytes() == b[k].tobytes() for k in a
    )


def sound(place: Path) -> int:
    """Number of batches the store gives, each checked against what was put in."""
    with store.reading(place) as kept:
        for number in range(kept.kept):
            assert same(kept.recall(number), batch(number))
        return kept.kept


def test_batches_come_back_bit_for_bit_after_closing(tmp_path):
    assert sound(made(tmp_path)) == 5
    assert sound(made(tmp_path, 8)) == 8


def test_a_closed_store_is_one_file_that_can_be_read_where_nothing_can_be_written(tmp_path):
    place = made(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [store.FILE]
    place.chmod(0o444)
    assert sound(place) == 5


def test_reading_goes_on_while_another_writes(tmp_path):
    place = tmp_path / store.FILE
    with store.writing(place, ABOUT) as kept:
        kept.keep(batch(0))
        assert sound(place) == 1
        kept.keep(batch(1))
        assert sound(place) == 2


def test_nothing_in_it_can_be_changed_or_taken_out(tmp_path):
    with sqlite3.connect(made(tmp_path)) as connection:
        for order in ("DELETE FROM batch", "UPDATE batch SET hash = x'00'", "UPDATE about SET value = ''"):
            with pytest.raises(sqlite3.IntegrityError, match="append-only"):
                connection.execute(order)


def test_no_store_and_an_empty_one_are_told_apart(tmp_path):
    with pytest.raises(FinfrontError, match="keeps no evaluated designs"), store.reading(tmp_path / store.FILE):
        pass
    (tmp_path / store.FILE).write_bytes(b"")
    with pytest.raises(FinfrontError, match="nothing has been evaluated yet"), store.reading(tmp_path / store.FILE):
        pass
    assert sound(made(tmp_path, 2)) == 2  # a process killed at birth leaves an empty file


def test_a_store_of_another_program_or_schema_is_refused(tmp_path):
    place = tmp_path / store.FILE
    with sqlite3.connect(place) as connection:
        connection.execute("CREATE TABLE notes (text)")
    with pytest.raises(FinfrontError, match="no store"), store.writing(place, ABOUT):
        pass
    other = made(tmp_path / "b" if (tmp_path / "b").mkdir() is None else tmp_path)
    with sqlite3.connect(other) as connection:
        connection.execute("PRAGMA user_version = 99")
    with pytest.raises(FinfrontError, match="schema 99"), store.reading(other):
        pass


def verdict(place: Path) -> int | None:
    """Sound batches given, or None where the store is refused in words; anything else is a failed test."""
    try:
        return sound(place)
    except FinfrontError as error:
        return None if error.do else -1


def damaged(folder: Path, number: int, kind: str, source: Path) -> Path:
    """A copy of a store with one fault."""
    random = np.random.default_rng(number)
    place = folder / f"{kind}{number}" / store.FILE
    place.parent.mkdir()
    data = bytearray(source.read_bytes())
    if kind == "flip":
        at = int(random.integers(len(data)))
        data[at] ^= 1 << int(random.integers(8))
    elif kind == "cut":
        del data[int(random.integers(len(data))) :]
    else:
        at, size = int(random.integers(len(data))), int(random.integers(1, 3000))
        data[at : at + size] = random.bytes(len(data[at : at + size]))
    place.write_bytes(data)
    return place


@pytest.mark.parametrize("kind", ["flip", "cut", "overwritten"])
def test_a_damaged_store_gives_what_was_put_in_or_is_refused(tmp_path, kind):
    """300 damaged stores: `sound` checks every batch given, so a wrong one fails here."""
    source = made(tmp_path, 6)
    verdicts = [verdict(damaged(tmp_path, number, kind, source)) for number in range(100)]
    assert None in verdicts
    assert all(n is None or 0 <= n <= 6 for n in verdicts)


@pytest.mark.parametrize("kind", ["flip", "cut", "overwritten"])
def test_salvage_keeps_the_batches_before_the_fault_and_the_damaged_file(tmp_path, kind):
    source = made(tmp_path, 6)
    for number in range(30):
        place = damaged(tmp_path, number, kind, source)
        if verdict(place) is not None:
            continue
        kept = store.salvage(place)
        assert list(place.parent.glob("evaluated.damaged*"))
        if kept or place.exists():
            assert sound(place) == kept
        assert sound(made(place.parent, 6)) == 6


def test_a_torn_write_ahead_log_loses_no_batch_before_the_tear(tmp_path):
    """A process killed between batches leaves a log; cut or damaged anywhere, what is read is its beginning."""
    place = tmp_path / "live" / store.FILE
    place.parent.mkdir()
    sizes = []
    log = place.with_name(place.name + "-wal")
    with store.writing(place, ABOUT) as kept:
        for number in range(6):
            kept.keep(batch(number))
            sizes.append(log.stat().st_size)
        states = {path.name: path.read_bytes() for path in place.parent.iterdir() if not path.name.endswith("-shm")}
    random = np.random.default_rng(1)
    for trial in range(300):
        folder = tmp_path / f"torn{trial}"
        folder.mkdir()
        for name, data in states.items():
            (folder / name).write_bytes(data)
        torn, whole = folder / log.name, bytearray(states[log.name])
        at = int(random.integers(len(whole)))
        if trial % 2:
            del whole[at:]
        else:
            whole[at] ^= 1 << int(random.integers(8))
        torn.write_bytes(whole)
        found = verdict(folder / store.FILE)
        before = sum(size <= at for size in sizes)
        assert found is None or found >= max(before, 0), (trial, at, sizes)
        with suppress(FinfrontError):
            assert sound(made(folder, 6)) == 6
        shutil.rmtree(folder)


def filled(place: Path, pages: int, done: list[int]) -> None:
    """Add batches to a store that may grow by some pages only: SQLite's own word for a full disk."""
    with store.writing(place, ABOUT) as kept:
        held = kept._connection.execute("PRAGMA page_count").fetchone()[0]
        kept._connection.execute(f"PRAGMA max_page_count = {held + pages}")
        for number in range(kept.kept, 1000):
            kept.keep(batch(number))
            done.append(number)


@pytest.mark.parametrize("pages", [0, 3, 10, 40, 200])
def test_a_full_disk_is_told_and_loses_nothing_kept(tmp_path, pages):
    place, done = tmp_path / store.FILE, list[int]()
    with pytest.raises(FinfrontError, match="no room") as told:
        filled(place, pages, done)
    assert "the same command" in told.value.do
    assert sound(place) == len(done)
    assert sound(made(tmp_path, len(done) + 3)) == len(done) + 3
