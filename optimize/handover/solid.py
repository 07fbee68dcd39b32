"""Core, tanks, ports and keep-out as solids in a STEP file (AP214, millimetres), each under its name.

Needs the extra `solid`: the wheel of an open geometry kernel, 67 MB to fetch and 380 MB unpacked.
"""

import contextlib
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

from optimize.errors import FinfrontError
from optimize.handover.placing import INLET, Box, Opening, Placed, Point, Tank, placed
from optimize.runs import NO_DATE
from optimize.space import Parameters, Space

_MM = 1000.0
STUB = 0.010  # [m] of a port beyond the end of the pocket, into the casting
_ROUND = 1e-9  # relative: a D as high as its circle is a circle


def write_solid(space: Space, core: Parameters, path: Path, made: datetime = NO_DATE) -> Path:
    """The core (values (1,) of every variable) in its pocket as a STEP file; the same bytes for the same core and date.

    The core block is its outline (fins and passages are not modelled); the mass of the tanks differs from that of
    the rating by the division walls that are left out where the coolant turns. Raises FinfrontError without the
    kernel, or where no such core can be built.
    """
    _need_kernel()
    found = placed(space, core)
    path.parent.mkdir(parents=True, exist_ok=True)
    with _quiet_kernel():
        _write(_solids(found), path, made)
    return path


def _need_kernel() -> None:
    try:
        import OCP.gp  # noqa: F401
    except ImportError:
        what = "a solid needs a geometry kernel, which is not installed"
        raise FinfrontError(what, do="in the folder of finfront: pip install --editable '.[solid]'") from None


def _solids(found: Placed) -> dict[str, Any]:
    """The solids by their names."""
    ends = [found.keep_out.low[0], found.keep_out.high[0]]
    tanks = {f"tank, {'inlet end' if t.end == INLET else 'far end'}": _tank(t, found.ports) for t in found.tanks}
    ports = {f"{port.name}, opening": _stub(port, ends) for port in found.ports}
    return {"core block": _box(found.core), **tanks, **ports, "keep-out, pocket and room under the lid": _box(
        found.keep_out
    )}


def _box(box: Box) -> Any:
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox

    return BRepPrimAPI_MakeBox(_point(*box.low), _point(*box.high)).Shape()


def _point(x: float, y: float, z: float) -> Any:
    from OCP.gp import gp_Pnt

    return gp_Pnt(_MM * x, _MM * y, _MM * z)


def _tank(tank: Tank, ports: tuple[Opening, Opening]) -> Any:
    """The shell less its chambers and the openings of its ports."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut

    holes = [_box(room) for room in tank.chambers]
    holes += [_prism(port, port.x) for port in ports if port.end == tank.end]
    shape = _box(tank.outside)
    for hole in holes:
        shape = BRepAlgoAPI_Cut(shape, hole).Shape()
    return shape


def _stub(port: Opening, ends: list[float]) -> Any:
    """The opening from the chamber through the wall to a little way into the casting."""
    end = min(port.x[1], ends[0] - STUB) if port.end == INLET else max(port.x[1], ends[1] + STUB)
    return _prism(port, (port.x[0], end))


def _prism(port: Opening, x: tuple[float, float]) -> Any:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
    from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
    from OCP.gp import gp_Vec

    face = BRepBuilderAPI_MakeFace(_outline(port, x[0])).Face()
    return BRepPrimAPI_MakePrism(face, gp_Vec(_MM * (x[1] - x[0]), 0.0, 0.0)).Shape()


def _outline(port: Opening, x: float) -> Any:
    """The rim of an opening in the plane at x: true arcs and lines."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeWire

    wire = BRepBuilderAPI_MakeWire()
    for edge in _edges(port, x):
        wire.Add(edge)
    return wire.Wire()


def _edges(port: Opening, x: float) -> list[Any]:
    R, y, low, high = port.radius, port.y, port.bottom, port.bottom + port.height
    if port.shape == "round" or (port.shape == "D" and port.height >= 2 * R * (1 - _ROUND)):
        return [_circle(x, y, low + R, R)]
    if port.shape == "D":
        rise = port.height - R  # of the flat above the centre
        half = (R * R - rise * rise) ** 0.5
        left, right = (x, y - half, high), (x, y + half, high)
        return [_arc(left, (x, y, low), right), _line(right, left)]
    straight = (port.width - port.height) / 2
    if straight <= 0:
        return [_circle(x, y, low + R, R)]
    a, b, c, e = ((x, y + side * straight, z) for side, z in ((-1, low), (1, low), (1, high), (-1, high)))
    right, left = (x, y + port.width / 2, low + R), (x, y - port.width / 2, low + R)
    return [_line(a, b), _arc(b, right, c), _line(c, e), _arc(e, left, a)]


def _circle(x: float, y: float, z: float, radius: float) -> Any:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
    from OCP.gp import gp_Ax2, gp_Circ, gp_Dir

    return BRepBuilderAPI_MakeEdge(gp_Circ(gp_Ax2(_point(x, y, z), gp_Dir(1.0, 0.0, 0.0)), _MM * radius)).Edge()


def _arc(start: Point, through: Point, end: Point) -> Any:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
    from OCP.GC import GC_MakeArcOfCircle

    return BRepBuilderAPI_MakeEdge(GC_MakeArcOfCircle(_point(*start), _point(*through), _point(*end)).Value()).Edge()


def _line(start: Point, end: Point) -> Any:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge

    return BRepBuilderAPI_MakeEdge(_point(*start), _point(*end)).Edge()


def _write(solids: dict[str, Any], path: Path, made: datetime) -> None:
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPCAFControl import STEPCAFControl_Writer
    from OCP.STEPControl import STEPControl_StepModelType
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDataStd import TDataStd_Name
    from OCP.TDocStd import TDocStd_Document
    from OCP.XCAFDoc import XCAFDoc_DocumentTool

    document = TDocStd_Document(TCollection_ExtendedString("core"))
    shapes = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    for name, shape in solids.items():
        TDataStd_Name.Set_s(shapes.AddShape(shape, False), TCollection_ExtendedString(name))
    writer = STEPCAFControl_Writer()
    writer.SetNameMode(True)
    written = writer.Transfer(document, STEPControl_StepModelType.STEPControl_AsIs)
    _head(writer, path.stem, made)
    if not written or writer.Write(str(path)) != IFSelect_ReturnStatus.IFSelect_RetDone:
        raise FinfrontError(f"cannot write '{path}'", do="name another place with --out, or make room")


def _head(writer: Any, name: str, made: datetime) -> None:
    """What the file says of itself: no name of a person, and the date of the run."""
    from OCP.APIHeaderSection import APIHeaderSection_MakeHeader
    from OCP.TCollection import TCollection_HAsciiString

    head = APIHeaderSection_MakeHeader(writer.ChangeWriter().Model())
    head.SetName(TCollection_HAsciiString(name))
    head.SetTimeStamp(TCollection_HAsciiString(made.strftime("%Y-%m-%dT%H:%M:%S")))
    head.SetAuthorValue(1, TCollection_HAsciiString(""))
    head.SetOrganizationValue(1, TCollection_HAsciiString(""))
    head.SetOriginatingSystem(TCollection_HAsciiString("finfront"))


@contextlib.contextmanager
def _quiet_kernel() -> Iterator[None]:
    """The kernel tells of its progress on stdout, where only results belong."""
    from OCP.Message import Message, Message_Gravity

    printers = list(Message.DefaultMessenger_s().Printers())
    before = [printer.GetTraceLevel() for printer in printers]
    for printer in printers:
        printer.SetTraceLevel(Message_Gravity.Message_Fail)
    try:
        yield
    finally:
        for printer, level in zip(printers, before, strict=True):
            printer.SetTraceLevel(level)
