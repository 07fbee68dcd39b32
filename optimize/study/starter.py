"""The first study of a user: a commented file, and the catalogues it names, written beside it."""

import os
from importlib.resources import files
from pathlib import Path

from optimize.errors import FinfrontError

CATALOGUES = (
    "catalogues/air_fins.toml",
    "catalogues/turbulators.toml",
    "catalogues/ports.toml",
    "catalogues/measured/m17_64.csv",
    "catalogues/lines.toml",
)


def starter() -> str:
    """Text of the starter study."""
    return _packaged("study.toml")


def write_starter(path: str | os.PathLike[str]) -> list[Path]:
    """Write the starter study, and those of its catalogues that are not there yet; the paths written.

    A study that is there is never written over; a catalogue that is there is kept: the study takes "all" of it.

    Raises
    ------
    FinfrontError
        if the study is there already, or its folder cannot be written to.
    """
    study = Path(path)
    if os.path.lexists(study):
        raise FinfrontError("the file is there already", str(study), "choose another name; nothing was written")
    texts = {study: starter()}
    texts |= {study.parent / name: _packaged(name) for name in CATALOGUES}
    written = []
    for target, text in texts.items():
        if target == study or not os.path.lexists(target):
            _write_new(target, text)
            written.append(target)
    return written


def _write_new(target: Path, text: str) -> None:
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with open(target, "x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "not a path"
        raise FinfrontError(f"cannot be written: {reason}", str(target), "choose another folder") from None


def _packaged(name: str) -> str:
    return files("optimize.study").joinpath("starter_files", name).read_text(encoding="utf-8")
