"""Why a rating is to be read with care, or could not be made."""

from enum import IntFlag

import numpy as np

from physics.arrays import BoolArray, IntArray


class Flag(IntFlag):
    """Why a rating is to be read with care, or cannot be made (those of `VOID`: NaN)."""

    AIR_FIN_RANGE = 1
    COOLANT_FIN_RANGE = 2
    AIR_PROPERTIES = 4
    COOLANT_TEMPERATURE = 8
    HEADER = 16
    NOT_SETTLED = 32
    AIR_FAST = 64
    AIR_CANNOT_PASS = 128
    NO_CORE = 256
    NO_VALUE = 512
    PUMP_STALLS = 1024
    BLOWER_RANGE = 2048
    CONDENSATION = 4096
    FREEZING = 8192
    BOILING = 16384
    TABLE_RANGE = 32768
    SOAK_STEP = 65536
    SOAK_NO_VALUE = 131072
    FIT_RANGE = 262144


FLAG_TEXTS = {
    Flag.AIR_FIN_RANGE: "air fins outside the range of their correlation",
    Flag.COOLANT_FIN_RANGE: "coolant passages outside the range of their correlation",
    Flag.AIR_PROPERTIES: "air temperature or pressure outside the range of the property data",
    Flag.COOLANT_TEMPERATURE: "coolant or its wall outside the property data (near freezing, or above 100 degC)",
    Flag.HEADER: "tank too tight for the passages: flow spread beyond what its formula was checked for",
    Flag.NOT_SETTLED: "outlet temperatures did not settle to 0.01 K, or flows and pressures to 3e-4",
    Flag.AIR_FAST: "air loss above 15 % of the inlet pressure: the formula is some per cent low there",
    Flag.AIR_CANNOT_PASS: "not computable: the air loss would exceed 30 % of the inlet pressure",
    Flag.NO_CORE: "not computable: no room left for passages or fin gaps, or a port of no shape",
    Flag.NO_VALUE: "not computable: a correlation has no value here",
    Flag.PUMP_STALLS: "not computable: the pump cannot move the coolant",
    Flag.BLOWER_RANGE: "blower pressure ratio outside the tables of its efficiencies, or below 1",
    Flag.CONDENSATION: "metal below the dew point of the charge: water condenses in the core",
    Flag.FREEZING: "coolant below its freezing point",
    Flag.TABLE_RANGE: "pump, front exchanger or engine beyond the points that were measured",
    Flag.SOAK_STEP: "heat soak not computable: the step of the schedule is too long for this core",
    Flag.SOAK_NO_VALUE: "heat soak not computable: the core has no rating in one of its phases",
    Flag.FIT_RANGE: "corrections from the bench used on other fins or Reynolds numbers than they were fitted on",
    Flag.BOILING: "hottest wall above the boiling point of the coolant at cap pressure",
}


VOID = Flag.AIR_CANNOT_PASS | Flag.NO_CORE | Flag.NO_VALUE | Flag.PUMP_STALLS  # no numbers at all


def joined(raised: list[tuple[Flag, BoolArray]]) -> IntArray:
    """Flags raised where they are, in one array of bits."""
    flags = np.zeros((1, 1), dtype=np.int64)
    for flag, where in raised:
        flags = flags | np.where(where, int(flag), 0)
    return flags
