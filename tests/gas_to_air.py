"""The gas-to-air exchanger of a text, plate-fin on both sides, as a core that `rate` takes."""

from dataclasses import replace

import numpy as np
from cores import core, duty, fin
from published import example

from physics.columns import column
from physics.core import Designs
from physics.duty import Duty
from physics.fins import OFFSET_STRIP, FinFamily, measured
from physics.ports import round_port
from physics.properties import ConstantFluid
from physics.rating import Rating, rate

CASE = example("gas_to_air")


def published_family() -> FinFamily:
    """The example's power laws of the measured surface."""
    fit, Re = CASE["fit"], [100.0, 1000.0, 10000.0]
    j = [fit["j_at_1000"] * (r / 1000) ** fit["j_power"] for r in Re]
    f = [fit["f_at_1000"] * (r / 1000) ** fit["f_power"] for r in Re]
    return measured("1/8-19.86", Re, j, f, (-0.1, 0.1), (-0.1, 0.1))


def published_core(passages: float, family: FinFamily) -> Designs:
    """No bars, no blockage; tanks and ducts so wide that nothing is lost in them. Coolant side: hot gas."""
    s, c = CASE["surface"], CASE["core"]
    cut = fin(
        spacing=s["spacing"],
        pitch=1 / s["fins_per_metre"],
        thickness=s["thickness"],
        strip_length=s["strip_length"],
    )
    if family is not OFFSET_STRIP:
        stated = ("hydraulic_diameter", "area_density", "fin_area_ratio")
        cut = replace(cut, **{name: column(s[name]) for name in stated})
    side = c["flow_length"]
    tank_face = 4 / np.pi * side * c["no_flow"]
    return core(
        length=side,
        thickness=side,
        passages=passages,
        plate_thickness=c["plate_thickness"],
        side_plate_thickness=c["plate_thickness"],
        air_bar_width=0,
        coolant_bar_width=0,
        air_blockage=0,
        coolant_blockage=0,
        coolant_fouling=0,
        fin_conductivity=c["conductivity"],
        plate_conductivity=c["conductivity"],
        tank_length=1e3,
        turn_loss=0,
        lid_loss=0,
        plenum_loss=0,
        air_fin=cut,
        coolant_fin=cut,
        air_family=family,
        coolant_family=family,
        port=round_port(column(np.sqrt(tank_face)), column(np.sqrt(tank_face))),
    )


def published_duty(air_side: str, coolant_side: str) -> Duty:
    """The two streams of the example, either on either side."""
    a, c = CASE[air_side], CASE[coolant_side]
    air, hot = (
        ConstantFluid(name, x["cp"], x["mu"], x["cp"] * x["mu"] / x["Pr"], gas_constant=287.05)
        for name, x in ((air_side, a), (coolant_side, c))
    )
    return duty(
        a["mass_flow"],
        a["T_in"],
        a["p_in"],
        c["mass_flow"],
        c["T_in"],
        air=air,
        coolant=hot,
        coolant_pressure=c["p_in"],
    )


def as_published() -> Rating:
    """Air on the air side, gas on the coolant side, measured surface."""
    return rate(published_core(CASE["core"]["gas_layers"], published_family()), published_duty("air", "gas"))


def exchanged() -> Rating:
    """Gas on the air side: its passages are then one fewer than the air's."""
    return rate(published_core(CASE["core"]["gas_layers"] - 1, published_family()), published_duty("gas", "air"))


def by_correlation() -> Rating:
    """As published, with the offset-strip correlation in place of the measured surface."""
    return rate(published_core(CASE["core"]["gas_layers"], OFFSET_STRIP), published_duty("air", "gas"))
