"""What a run has evaluated: one append-only SQLite file in its folder, safe at every instant.

`about` says what was asked and with which versions; `batch` holds the batches of the search in order, each with a hash
over itself and the hash before it. A batch is one transaction, on the disk before `keep` returns (write-ahead log,
synchronous = FULL). A batch is a line of JSON (names, types and shapes), then the arrays, all compressed by zlib.
"""

import hashlib
import json
import sqlite3
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from math import prod
from pathlib import Path

import numpy as np

from optimize.errors import FinfrontError
from optimize.search.memory import Arrays

FILE = "evaluated.sqlite"
SCHEMA = 1
_APPLICATION = 0x66696E66  # "finf"
_GO_ON = "give the same command again: nothing kept is lost"
_SALVAGE = "`finfront run` with --salvage goes on from the batches before it; or name another folder with --out"
_TABLES = """
CREATE TABLE about (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
CREATE TABLE batch (number INTEGER PRIMARY KEY, content BLOB NOT NULL, hash BLOB NOT NULL) STRICT;
CREATE TRIGGER about_stays BEFORE UPDATE ON about BEGIN SELECT RAISE(ABORT, 'append-only'); END;
CREATE TRIGGER about_is_kept BEFORE DELETE ON about BEGIN SELECT RAISE(ABORT, 'append-only'); END;
CREATE TRIGGER batch_stays BEFORE UPDATE ON batch BEGIN SELECT RAISE(ABORT, 'append-only'); END;
CREATE TRIGGER batch_is_kept BEFORE DELETE ON batch BEGIN SELECT RAISE(ABORT, 'append-only'); END;
"""

About = dict[str, str]


class Store:
    """An open store; a `Memory` of a search. `kept` batches were checked when it was opened."""

    def __init__(self, place: Path, connection: sqlite3.Connection, about: About) -> None:
        self.place, self._connection, self.about = place, connection, about
        self.kept, self._hash = 0, _first_hash(about)
        for content, held in self._batches():
            self._hash = _next_hash(self._hash, content)
            if held != self._hash:
                raise _damaged(place, self.kept)
            self.kept += 1

    def _batches(self) -> Iterator[tuple[bytes, bytes]]:
        """Content and hash of every batch; raises FinfrontError where one is missing or cannot be read."""
        number = 0
        with _faults(self.place, lambda: number):
            rows = self._connection.execute("SELECT number, content, hash FROM batch ORDER BY number")
            for found, content, held in rows:
                if found != number:
                    raise _damaged(self.place, number)
                yield content, held
                number += 1

    def recall(self, number: int) -> Arrays:
        """Batch `number`; raises FinfrontError when it has been damaged since the store was opened."""
        with _faults(self.place, lambda: number):
            row = self._connection.execute("SELECT content FROM batch WHERE number = ?", (number,)).fetchone()
        try:
            return unpacked(row[0])
        except (zlib.error, ValueError, TypeError):
            raise _damaged(self.place, number) from None

    def keep(self, arrays: Arrays) -> None:
        """Append the next batch; it is on the disk when this returns. Raises FinfrontError where there is no room."""
        self.append(packed(arrays))

    def append(self, content: bytes) -> None:
        """The same of a batch already packed."""
        after = _next_hash(self._hash, content)
        with _faults(self.place, lambda: self.kept):
            self._connection.execute("INSERT INTO batch VALUES (?, ?, ?)", (self.kept, content, after))
        self._hash, self.kept = after, self.kept + 1


@contextmanager
def writing(place: Path, about: About) -> Iterator[Store]:
    """The store of a run to add to; made, with what it is about, if there is none. Its caller is the only writer.

    Raises FinfrontError when it is damaged, or made by another program or a later version.
    """
    with _faults(place, lambda: None), closing(sqlite3.connect(place, isolation_level=None, timeout=30)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        if _is_empty(connection):
            _make(connection, about)
        yield Store(place, connection, _read_about(place, connection))
        with suppress(sqlite3.Error):  # a reader may be looking; the write-ahead log then stays beside it
            connection.execute("PRAGMA journal_mode = DELETE")


@contextmanager
def reading(place: Path) -> Iterator[Store]:
    """The store of a run to read, also while another process writes.

    Raises FinfrontError when there is none, it holds nothing yet or it is damaged.
    """
    if not place.is_file():
        do = "give a run made by this version of finfront, or make it again"
        raise FinfrontError("the run keeps no evaluated designs", str(place), do)
    address = place.resolve().as_uri() + "?mode=ro"
    with _faults(place, lambda: None), closing(sqlite3.connect(address, uri=True, timeout=30)) as connection:
        if _is_empty(connection):
            raise FinfrontError("nothing has been evaluated yet", str(place), "wait for the first batch")
        yield Store(place, connection, _read_about(place, connection))


def salvage(place: Path) -> int:
    """Set a damaged store aside and make one of the batches that are sound; returns their number.

    What is set aside is `evaluated.damaged.sqlite`, numbered if there is one. Without a sound `about` nothing is left.
    """
    sound: list[bytes] = []
    about = None
    with suppress(FinfrontError, sqlite3.Error), closing(sqlite3.connect(place, isolation_level=None)) as connection:
        about = _read_about(place, connection)
        before = _first_hash(about)
        for content, held in connection.execute("SELECT content, hash FROM batch ORDER BY number"):
            before = _next_hash(before, content)
            if before != held:
                break
            sound.append(content)
    _set_aside(place)
    if about is None:
        return 0
    with writing(place, about) as store:
        for content in sound:
            store.append(content)
    return len(sound)


def _set_aside(place: Path) -> None:
    """Rename a store and what belongs to it."""
    number = 0
    while (aside := place.with_name(f"evaluated.damaged{number or ''}.sqlite")).exists():
        number += 1
    for end in ("", "-wal", "-shm", "-journal"):
        part = place.with_name(place.name + end)
        if part.exists():
            part.rename(aside.with_name(aside.name + end))


def packed(arrays: Arrays) -> bytes:
    """Arrays as bytes, the same for the same arrays.

    >>> unpacked(packed({"a": np.arange(3), "b": np.zeros((0, 2))}))["a"]
    array([0, 1, 2])
    """
    heads = [(name, array.dtype.str, array.shape) for name, array in arrays.items()]
    parts = [json.dumps(heads).encode() + b"\n", *(np.ascontiguousarray(array).tobytes() for array in arrays.values())]
    return zlib.compress(b"".join(parts))


def unpacked(content: bytes) -> Arrays:
    """The inverse of `packed`; the arrays are read-only. Raises ValueError or zlib.error for anything else."""
    head, _, body = zlib.decompress(content).partition(b"\n")
    arrays, at = {}, 0
    for name, kind, shape in json.loads(head):
        arrays[name] = np.frombuffer(body, np.dtype(kind), prod(shape), at).reshape(shape)
        at += arrays[name].nbytes
    return arrays


def _is_empty(connection: sqlite3.Connection) -> bool:
    """Whether the file was made but never written: a process killed at birth leaves it so."""
    return bool(connection.execute("SELECT count(*) FROM sqlite_master").fetchone() == (0,))


def _make(connection: sqlite3.Connection, about: About) -> None:
    pragmas = f"PRAGMA application_id = {_APPLICATION}; PRAGMA user_version = {SCHEMA};"
    connection.executescript(f"BEGIN IMMEDIATE; {pragmas} {_TABLES}")
    connection.executemany("INSERT INTO about VALUES (?, ?)", [*about.items(), ("hash", _first_hash(about).hex())])
    connection.execute("COMMIT")


def _read_about(place: Path, connection: sqlite3.Connection) -> About:
    kind, version = (connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("application_id", "user_version"))
    if kind != _APPLICATION:
        raise FinfrontError("this is no store of evaluated designs, or a damaged one", str(place), _SALVAGE)
    if version != SCHEMA:
        do = "read it with the version of finfront that made it"
        raise FinfrontError(f"the store is of schema {version}; this version knows {SCHEMA}", str(place), do)
    about = dict(connection.execute("SELECT key, value FROM about ORDER BY rowid"))
    if about.pop("hash", None) != _first_hash(about).hex():
        raise FinfrontError("the store is damaged: what it is about does not agree with its hash", str(place), _SALVAGE)
    if connection.execute("PRAGMA quick_check(1)").fetchone() != ("ok",):
        raise FinfrontError("the store is damaged: its pages do not hang together", str(place), _SALVAGE)
    return about


def _first_hash(about: About) -> bytes:
    return hashlib.sha256(json.dumps(about, sort_keys=True).encode()).digest()


def _next_hash(before: bytes, content: bytes) -> bytes:
    return hashlib.sha256(before + content).digest()


def _damaged(place: Path, number: int | None) -> FinfrontError:
    what = "the store is damaged" if number is None else f"batch {number} of the store is damaged"
    return FinfrontError(what, str(place), _SALVAGE)


@contextmanager
def _faults(place: Path, number: Callable[[], int | None]) -> Iterator[None]:
    """What SQLite complains of, in words; `number` is the batch at hand."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        name = str(getattr(error, "sqlite_errorname", ""))
        if name == "SQLITE_FULL" or name.startswith("SQLITE_IOERR"):
            what = "no room left on the disk, or it fails"
            raise FinfrontError(what, str(place), f"make room, then {_GO_ON}") from None
        if name == "SQLITE_BUSY":
            raise FinfrontError("another program has the store open", str(place), f"close it, then {_GO_ON}") from None
        if name in ("SQLITE_CANTOPEN", "SQLITE_READONLY", "SQLITE_PERM", "SQLITE_AUTH"):
            what = f"the store cannot be opened: {error}"
            raise FinfrontError(what, str(place), f"look to the rights of its folder, then {_GO_ON}") from None
        raise _damaged(place, number()) from None
