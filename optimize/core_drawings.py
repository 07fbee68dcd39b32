"""Drawings of some cores of a finished run, from the run's own study; nothing is rated for them."""

from collections.abc import Iterator, Sequence

from optimize import runs


def drawings(run: runs.Run, names: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Core by core its name and its drawing as SVG; the study is read once.

    Raises FinfrontError when the study of the run cannot be read, or has no such core.
    """
    from optimize.drawing import Plate, draw, svg
    from optimize.runs import run_id
    from optimize.space import Space
    from optimize.stored_core import core_of_read_run
    from optimize.study.load import load

    space = Space(load(run.folder / "study.toml"))
    for name in names:
        plate = Plate(str(run.record["title"]), name, run_id(run.record), str(run.record["made"])[:10])
        yield name, svg(draw(space, core_of_read_run(space, run, name), plate))
