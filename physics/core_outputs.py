"""What a settled core does: its outputs by name, as `physics.outputs` lists them."""

import numpy as np

from physics.arrays import Array
from physics.core import Designs, Geometry
from physics.duty import Duty
from physics.fluid import Fluid
from physics.losses import AirLoss, CoolantLoss
from physics.thermal import State, Thermal

_FILLING_TEMPERATURE, _FILLING_PRESSURE = 293.15, 101325.0  # the filled mass is weighed at


def state_values(duty: Duty, state: State, air: AirLoss) -> dict[str, Array]:
    """What the core was rated at, and the charge it leaves to the engine."""
    p_out = duty.air_inlet_pressure - air.total
    return {
        "charge_flow": duty.air_flow, "air_inlet_temperature": duty.air_inlet_temperature,
        "air_inlet_pressure": duty.air_inlet_pressure,
        "coolant_inlet_temperature": duty.coolant_inlet_temperature,
        "air_outlet_pressure": p_out, "charge_density": duty.air.density(state.air_out, p_out),
    }


def thermal_values(thermal: Thermal, state: State) -> dict[str, Array]:
    """Heat, temperatures, resistances."""
    air, coolant = thermal.air, thermal.coolant
    C_min, C_max = np.minimum(air.capacity, coolant.capacity), np.maximum(air.capacity, coolant.capacity)
    layers = ("air", "air_fouling", "plate", "coolant_fouling", "coolant")
    return {
        "heat_rejected": state.heat,
        "air_outlet_temperature": state.air_out,
        "coolant_outlet_temperature": state.coolant_out,
        "effectiveness": thermal.effectiveness,
        "NTU": thermal.UA / C_min, "C_ratio": C_min / C_max, "UA": thermal.UA,
        "air_capacity_rate": air.capacity, "coolant_capacity_rate": coolant.capacity,
        **{f"{layer}_resistance": R for layer, R in zip(layers, thermal.resistances, strict=True)},
        "air_heat_transfer_coefficient": air.h, "coolant_heat_transfer_coefficient": coolant.h,
        "air_fin_efficiency": air.eta_fin, "air_surface_efficiency": air.eta_surface,
        "coolant_fin_efficiency": coolant.eta_fin, "coolant_surface_efficiency": coolant.eta_surface,
        "air_mean_temperature": state.air, "coolant_mean_temperature": state.coolant,
        "air_wall_temperature": state.air_wall, "coolant_wall_temperature": state.coolant_wall,
    }


def flow_values(g: Geometry, duty: Duty, thermal: Thermal, state: State, air: AirLoss) -> dict[str, Array]:
    """Reynolds numbers, velocities, flows."""
    a, c = thermal.air, thermal.coolant
    rho_coolant = duty.coolant.density(state.coolant, duty.coolant_inlet_pressure)
    rho_inlet = duty.coolant.density(duty.coolant_inlet_temperature, duty.coolant_inlet_pressure)
    return {
        "air_Re": a.flow.Re, "coolant_Re": c.flow.Re, "air_Pr": a.flow.Pr, "coolant_Pr": c.flow.Pr,
        "air_j": a.j, "coolant_j": c.j,
        "air_mass_velocity": a.G, "coolant_mass_velocity": c.G,
        "air_face_velocity": duty.air_flow / (air.rho_in * g.frontal_area),
        "air_core_velocity": a.G / air.rho_in,
        "coolant_core_velocity": c.G / rho_coolant,
        "coolant_volume_flow": duty.coolant_flow / rho_inlet,
    }


def loss_values(air: AirLoss, coolant: CoolantLoss) -> dict[str, Array]:
    """Losses term by term."""
    return {
        "air_lid_loss": air.lid, "air_entry_loss": air.core.entry, "air_acceleration_loss": air.core.acceleration,
        "air_friction_loss": air.core.friction, "air_exit_loss": air.core.exit, "air_core_loss": air.core_total,
        "air_plenum_loss": air.plenum, "air_pressure_drop": air.total,
        "coolant_core_loss": coolant.core, "coolant_end_loss": coolant.ends,
        "coolant_tank_loss": coolant.tanks, "coolant_port_loss": coolant.ports,
        "coolant_pressure_drop": coolant.total,
    }


def core_columns(d: Designs, g: Geometry, coolant: Fluid) -> dict[str, Array]:
    """What belongs to the core alone, in the shape of the designs' columns."""
    rho = float(coolant.density(_FILLING_TEMPERATURE, _FILLING_PRESSURE))
    return {
        "stack_height": g.stack_height, "core_thickness": d.thickness, "core_length": d.length,
        "overall_length": g.overall_length, "dry_mass": g.dry_mass, "filled_mass": g.dry_mass + rho * g.coolant_volume,
        "coolant_volume": g.coolant_volume, "air_area": g.air.area, "coolant_area": g.coolant.area,
        "air_free_flow_area": g.air.free_area, "coolant_free_flow_area": g.coolant.free_area,
        "air_hydraulic_diameter": g.air.surface.hydraulic_diameter,
        "coolant_hydraulic_diameter": g.coolant.surface.hydraulic_diameter,
        "air_sigma": g.air.sigma, "coolant_sigma": g.coolant.sigma,
        "air_fin_area_ratio": g.air.surface.fin_area_ratio,
        "port_area": d.port.area, "port_open_share": d.port.area / g.port_face,
    }
