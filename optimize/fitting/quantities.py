"""What bench files may hold, by name and kind of unit, and what each rig must say."""

from dataclasses import dataclass

FLOW_BENCH, WATER_RIG, HOT_TEST, DYNO_LOG = "flow bench", "water rig", "hot test", "dyno log"

KINDS: dict[str, tuple[str, ...]] = {
    "air_flow": ("mass flow", "volume flow"),
    "air_inlet_temperature": ("temperature",),
    "air_inlet_pressure": ("absolute pressure",),
    "air_outlet_temperature": ("temperature",),
    "air_loss": ("pressure",),
    "coolant_flow": ("volume flow", "mass flow"),
    "coolant_inlet_temperature": ("temperature",),
    "coolant_outlet_temperature": ("temperature",),
    "coolant_loss": ("pressure",),
    "time": ("time",),
}
ALIASES = {"test_depression": "air_loss"}  # flow at a stated depression is a loss at a flow
OUTPUTS = {  # what is predicted -> the output of a rating
    "air_loss": "air_pressure_drop", "coolant_loss": "coolant_pressure_drop",
    "air_outlet_temperature": "air_outlet_temperature", "coolant_outlet_temperature": "coolant_outlet_temperature",
}
_AIR_IN = ("air_flow", "air_inlet_temperature", "air_inlet_pressure")
_COOLANT_IN = ("coolant_flow", "coolant_inlet_temperature")


@dataclass(frozen=True)
class Rig:
    """What a rig is set to (`inputs`, all needed), and what it measures (`outputs`, one at least; those of `must`)."""

    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    must: tuple[str, ...]

    @property
    def columns(self) -> tuple[str, ...]:
        return self.inputs + self.outputs


RIGS = {
    FLOW_BENCH: Rig(_AIR_IN, ("air_loss",), ("air_loss",)),
    WATER_RIG: Rig(_COOLANT_IN, ("coolant_loss",), ("coolant_loss",)),
    HOT_TEST: Rig(_AIR_IN + _COOLANT_IN, tuple(OUTPUTS), ("air_outlet_temperature",)),
    DYNO_LOG: Rig(_AIR_IN + _COOLANT_IN, tuple(OUTPUTS), ("air_outlet_temperature",)),
}
