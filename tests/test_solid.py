"""Where everything lies in the pocket, by hand; and the STEP file read back: names, volumes, places."""

import sys
from math import acos, pi, sqrt

import pytest
from small_studies import core, problem

from optimize.errors import FinfrontError
from optimize.handover import write_solid
from optimize.handover.placing import placed

# The starter's core: 286 x 70, 10 coolant passages of 2, 11 air passages of 6.35, plates 0.5, side plates 1.5
L, T, H = 286.0, 70.0, 11 * 6.35 + 10 * (2 + 2 * 0.5) + 2 * 1.5
TANK, WALL, LAND = 18.0, 3.0, 3.0
POCKET = (330.0, 118.0, 66.0, 24.0)
NAMES = [
    "core block", "tank, inlet end", "tank, far end", "coolant inlet, opening", "coolant outlet, opening",
    "keep-out, pocket and room under the lid",
]  # fmt: skip
PORTS = {
    "R22": pi / 4 * 22**2,
    "SL17-30": pi / 4 * 17**2 + 13 * 17,
    "D28-20": 14**2 * acos(-6 / 14) + 6 * sqrt(14**2 - 6**2),
}


def place(header='"centre"', **changes):
    p = problem(header=header)
    return placed(p.space, core(p, **changes))


def mm(values):
    return pytest.approx([1e-3 * v for v in values], abs=1e-9)


# --- places ---------------------------------------------------------------------------------------------------------


def test_the_core_stands_on_the_floor_of_the_pocket():
    found = place()
    assert found.core.low == mm((-L / 2, -H / 2, -66))
    assert found.core.size == mm((L, H, T))
    assert found.keep_out.size == mm((POCKET[0], POCKET[1], POCKET[2] + POCKET[3]))
    assert found.keep_out.high[2] == pytest.approx(0.024)
    assert found.tanks[0].outside.low[0] == pytest.approx(-1e-3 * (L / 2 + TANK + WALL))
    assert found.tanks[1].outside.high[0] == pytest.approx(1e-3 * (L / 2 + TANK + WALL))


def test_one_pass_has_its_ports_at_both_ends_low_in_the_middle():
    inlet, outlet = place().ports
    assert (inlet.end, outlet.end) == (-1, 1)
    for port in (inlet, outlet):
        assert port.y == pytest.approx(0, abs=1e-12)
        assert port.bottom == pytest.approx(1e-3 * (-66 + WALL + LAND))
        assert (port.height, port.width) == (pytest.approx(0.022), pytest.approx(0.022))


def test_two_passes_through_the_thickness_come_back_above_and_turn_at_the_far_end():
    found = place(passes="2 through the thickness")
    inlet, outlet = found.ports
    chamber = (T - 3 * WALL) / 2
    assert (inlet.end, outlet.end) == (-1, -1)
    assert inlet.bottom == pytest.approx(1e-3 * (-66 + WALL + LAND))
    assert outlet.bottom == pytest.approx(1e-3 * (-66 + WALL + chamber + WALL + LAND))
    assert [len(tank.chambers) for tank in found.tanks] == [2, 1]
    assert found.tanks[1].chambers[0].size == mm((TANK, H - 2 * WALL, T - 2 * WALL))


def test_three_passes_leave_at_the_far_end():
    found = place(passes="3 through the thickness")
    assert found.ports[1].end == 1
    assert [len(tank.chambers) for tank in found.tanks] == [2, 2]


def test_banks_side_by_side_share_the_stack():
    inlet, outlet = place(passes="2 side by side").ports
    chamber = (H - 3 * WALL) / 2
    assert inlet.y == pytest.approx(-1e-3 * (chamber + WALL) / 2)
    assert outlet.y == pytest.approx(1e-3 * (chamber + WALL) / 2)
    assert inlet.bottom == outlet.bottom


@pytest.mark.parametrize(("header", "sides"), [('"same end"', (-1, -1)), ('"opposite ends"', (-1, 1))])
def test_headers_fed_at_an_end_have_their_ports_there(header, sides):
    edge = 1e-3 * (H / 2 - WALL - LAND - 11)
    assert [port.y for port in place(header).ports] == pytest.approx([side * edge for side in sides])


def test_a_core_that_cannot_be_built_is_refused():
    with pytest.raises(FinfrontError, match="no such core"):
        place(tank_wall=0.06)


def test_without_the_kernel_the_message_says_what_to_install(monkeypatch, tmp_path):
    for name in [n for n in sys.modules if n == "OCP" or n.startswith("OCP.")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "OCP", None)
    p = problem()
    with pytest.raises(FinfrontError) as refused:
        write_solid(p.space, core(p), tmp_path / "core.step")
    assert "pip install --editable '.[solid]'" in str(refused.value)
    assert not list(tmp_path.iterdir())


# --- the file -------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def kernel():
    return pytest.importorskip("OCP.STEPControl", reason="no geometry kernel: pip install --editable '.[solid]'")


def read(kernel, path):
    """Solids of a file by name: (volume [mm3], lowest corner, highest corner)."""
    from OCP.Bnd import Bnd_Box
    from OCP.BRepBndLib import BRepBndLib
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    reader = kernel.STEPControl_Reader()
    reader.ReadFile(str(path))
    reader.TransferRoots()
    names = [line.split("'")[1] for line in path.read_text().split(";") if "= PRODUCT('" in line]
    found = {}
    for i, name in enumerate(names, start=1):
        shape, properties, box = reader.Shape(i), GProp_GProps(), Bnd_Box()
        BRepGProp.VolumeProperties_s(shape, properties)
        BRepBndLib.AddOptimal_s(shape, box, False, False)
        low, high = box.CornerMin(), box.CornerMax()
        found[name] = (properties.Mass(), (low.X(), low.Y(), low.Z()), (high.X(), high.Y(), high.Z()))
    return found


def solids(kernel, folder, **changes):
    p = problem()
    return read(kernel, write_solid(p.space, core(p, **changes), folder / "core.step"))


def test_every_solid_has_its_name_and_the_block_its_volume(kernel, tmp_path):
    found = solids(kernel, tmp_path)
    assert list(found) == NAMES
    volume, low, high = found["core block"]
    assert volume == pytest.approx(L * T * H, rel=1e-6)
    assert low == pytest.approx((-L / 2, -H / 2, -66), abs=1e-4)
    assert high == pytest.approx((L / 2, H / 2, T - 66), abs=1e-4)
    assert found[NAMES[-1]][0] == pytest.approx(330 * 118 * 90, rel=1e-9)


@pytest.mark.parametrize("port", PORTS)
def test_ports_have_their_true_shape(kernel, tmp_path, port):
    found = solids(kernel, tmp_path, port=port)
    shell = (TANK + WALL) * H * T - TANK * (H - 2 * WALL) * (T - 2 * WALL)
    assert found["tank, far end"][0] == pytest.approx(shell - WALL * PORTS[port], rel=1e-9)
    # From the inside of the end wall to 10 beyond the pocket
    reach = POCKET[0] / 2 + 10 - (L / 2 + TANK)
    assert found["coolant outlet, opening"][0] == pytest.approx(PORTS[port] * reach, rel=1e-9)
    assert found["coolant inlet, opening"][1][2] == pytest.approx(-66 + WALL + LAND, abs=1e-3)


def test_the_turn_has_no_wall_between_its_passes(kernel, tmp_path):
    found = solids(kernel, tmp_path, passes="2 through the thickness")
    outside, chamber = (TANK + WALL) * H * T, (T - 3 * WALL) / 2
    inlet = outside - 2 * TANK * (H - 2 * WALL) * chamber - 2 * WALL * PORTS["R22"]
    assert found["tank, inlet end"][0] == pytest.approx(inlet, rel=1e-9)
    assert found["tank, far end"][0] == pytest.approx(outside - TANK * (H - 2 * WALL) * (T - 2 * WALL), rel=1e-9)


def test_the_same_core_gives_the_same_bytes_and_stdout_stays_clean(kernel, tmp_path, capfd):
    p = problem()
    first, second = (
        write_solid(p.space, core(p), tmp_path / folder / "core.step")
        for folder in ("a", "b")
    )
    assert first.read_bytes() == second.read_bytes()
    assert capfd.readouterr().out == ""


def test_a_place_that_cannot_be_written_is_a_message(kernel, tmp_path):
    p = problem()
    (tmp_path / "core.step").mkdir()
    with pytest.raises(FinfrontError, match="cannot write"):
        write_solid(p.space, core(p), tmp_path / "core.step")
