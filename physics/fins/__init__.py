"""Fin families: one module a family, each giving geometry, j, f, validity box, published band and source."""

from physics.fins.family import Bound, Fin, FinFamily, Flow, Surface
from physics.fins.louver import LOUVER
from physics.fins.measured import measured
from physics.fins.offset_strip import OFFSET_STRIP
from physics.fins.plain import OPEN, PLAIN
from physics.fins.wavy import WAVY

AIR_FAMILIES = {family.name: family for family in (OFFSET_STRIP, PLAIN, LOUVER, WAVY)}
COOLANT_FAMILIES = {family.name: family for family in (OFFSET_STRIP, PLAIN, OPEN)}

__all__ = [
    "AIR_FAMILIES", "COOLANT_FAMILIES", "LOUVER", "OFFSET_STRIP", "OPEN", "PLAIN", "WAVY",
    "Bound", "Fin", "FinFamily", "Flow", "Surface", "measured",
]
