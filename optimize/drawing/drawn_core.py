"""The drawing of one core of a study or a run as files; for `finfront draw`."""

from pathlib import Path

from optimize.asked import Known
from optimize.drawing.dxf_file import write_dxf
from optimize.drawing.primitives import Drawing
from optimize.drawing.sheet import Plate, draw
from optimize.drawing.svg_file import svg
from optimize.runs import CORE_NAME, run_id
from optimize.space import Parameters, Space
from optimize.study.model import Study


def plate_of(study: Study, known: Known) -> Plate:
    """What the title block says of a core typed by hand, or of one of a run."""
    if known.record is None:
        return Plate(study.title, "core", f"{Path(study.path).stem}, as typed", "–")
    return Plate(study.title, known.name.replace("-", ", "), run_id(known.record), f"{known.made:%Y-%m-%d}")


def write_drawing(space: Space, core: Parameters, plate: Plate, out: Path) -> list[Path]:
    """C123.svg and C123.dxf in a folder, which is made; core.svg and core.dxf where the core has no name of a run."""
    return write_files(draw(space, core, plate), out, plate.core if CORE_NAME.fullmatch(plate.core) else "core")


def write_files(drawing: Drawing, out: Path, name: str) -> list[Path]:
    """A drawing as SVG and DXF in a folder, which is made."""
    out.mkdir(parents=True, exist_ok=True)
    paths = [out / f"{name}.svg", out / f"{name}.dxf"]
    paths[0].write_text(svg(drawing), encoding="utf-8", newline="")
    write_dxf(drawing, paths[1])
    return paths
