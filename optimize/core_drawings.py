"""Drawings of some cores of a finished run, from the run's own study; nothing is rated for them."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from optimize import runs

if TYPE_CHECKING:
    from optimize.drawing import Drawing


def drawings(run: runs.Run, names: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Core by core its name and its drawing as SVG; the study is read once.

    Raises FinfrontError when the study of the run cannot be read, or has no such core.
    """
    from optimize.drawing import svg

    for name, drawing in _drawn(run, names):
        yield name, svg(drawing)


def write_drawings(folder: Path) -> list[Path]:
    """The cores with a name of a finished run into its drawings/, SVG and DXF; the files written."""
    from optimize.drawing.drawn_core import write_files

    run = runs.read(folder)
    names = list(dict.fromkeys(run.record.get("picks", {}).values()))
    return [
        path for name, drawing in _drawn(run, names) for path in write_files(drawing, folder / "drawings", name)
    ]


def _drawn(run: runs.Run, names: Sequence[str]) -> "Iterator[tuple[str, Drawing]]":
    from optimize.drawing import Plate, draw
    from optimize.space import Space
    from optimize.stored_core import core_of_read_run
    from optimize.study.load import load

    space = Space(load(run.folder / "study.toml"))
    day = f"{runs.made_of(run.record):%Y-%m-%d}"
    for name in names:
        plate = Plate(str(run.record["title"]), name, runs.run_id(run.record), day)
        yield name, draw(space, core_of_read_run(space, run, name), plate)
