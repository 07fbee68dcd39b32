"""One writer a run folder: a lock that the system lets go when its process ends, however it ends."""

import fcntl
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from typing import IO

from optimize.errors import FinfrontError

FILE = ".writer"


@contextmanager
def one_writer(folder: Path, now: datetime) -> Iterator[None]:
    """Hold a folder for this process; raises FinfrontError at once, saying who holds it, where another does."""
    place = folder / FILE
    file = _locked(place)
    try:
        file.truncate(0)
        file.write(f"process {os.getpid()} on {socket.gethostname()} since {now:%Y-%m-%d %H:%M:%S %Z}")
        file.flush()
        yield
    finally:
        with suppress(OSError):
            place.unlink()
        file.close()


def is_held(folder: Path) -> bool:
    """Whether a process writes to a folder."""
    try:
        with open(folder / FILE, "rb") as file:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:
        return False
    return False


def _locked(place: Path) -> IO[str]:
    """The file, locked. One that its holder unlinked while we waited for nothing is no longer the folder's."""
    while True:
        file = open(place, "a+", encoding="utf-8")  # noqa: SIM115 - held until the run ends
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            file.seek(0)
            holder = file.read().strip() or "a process that has just begun"
            file.close()
            do = "wait for it, or name another folder with --out"
            raise FinfrontError(f"the run folder is being written by {holder}", str(place.parent), do) from None
        with suppress(FileNotFoundError):
            if os.stat(place).st_ino == os.fstat(file.fileno()).st_ino:
                return file
        file.close()
