"""Every output of a rating, once: name, label, kind of unit, whether it belongs to the core or to a duty point, and
which tables of a study it needs.

Limits, objectives, columns, figures and the calculation sheet all speak these names.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Output:
    """One named output; `per` is "core" (one value a core) or "duty" (one value a core and duty point).

    `needs`: the table, or key of a table, without which a study does not have it; empty for what every study has.
    """

    name: str
    label: str
    kind: str
    per: str
    group: str
    needs: str = ""


def _outputs(group: str, per: str, rows: list[tuple[str, str, str]], needs: str = "") -> list[Output]:
    return [Output(name, label, kind, per, group, needs) for name, label, kind in rows]


_ALL = [
    *_outputs("Duty results", "duty", [
        ("heat_rejected", "heat rejected", "power"),
        ("air_outlet_temperature", "air outlet temperature", "temperature"),
        ("coolant_outlet_temperature", "coolant outlet temperature", "temperature"),
        ("effectiveness", "effectiveness", "fraction"),
        ("air_pressure_drop", "air loss, total", "pressure"),
        ("coolant_pressure_drop", "coolant loss, total", "pressure"),
    ]),
    *_outputs("Rated at", "duty", [
        ("charge_flow", "charge mass flow", "mass flow"),
        ("air_inlet_temperature", "air inlet temperature", "temperature"),
        ("air_inlet_pressure", "air inlet pressure, absolute", "absolute pressure"),
        ("coolant_volume_flow", "coolant volume flow", "volume flow"),
        ("coolant_inlet_temperature", "coolant inlet temperature", "temperature"),
        ("air_outlet_pressure", "air outlet pressure, absolute", "absolute pressure"),
        ("charge_density", "charge density behind the core", "density"),
    ]),
    *_outputs("Coolant boiling", "duty", [
        ("boiling_margin", "hottest wall below the boiling point by", "temperature difference"),
    ], "loop.cap_pressure"),
    *_outputs("Coolant circuit", "duty", [
        ("pump_pressure_rise", "pressure rise of the pump", "pressure"),
        ("loop_line_loss", "coolant loss, lines", "pressure"),
        ("loop_fitting_loss", "coolant loss, fittings of the lines", "pressure"),
        ("loop_step_loss", "coolant loss, steps between line and port", "pressure"),
        ("loop_front_loss", "coolant loss, front exchanger", "pressure"),
        ("pumping_power", "power the pump gives the coolant", "small power"),
        ("freezing_margin", "coolant above its freezing point by", "temperature difference"),
    ], "loop"),
    *_outputs("Front exchanger", "duty", [
        ("front_effectiveness", "effectiveness of the front exchanger", "fraction"),
    ], "loop.front_exchanger"),
    *_outputs("Blower", "duty", [
        ("pressure_ratio", "pressure ratio of the blower", "number"),
        ("blower_speed", "blower speed", "rotation"),
        ("volumetric_efficiency", "volumetric efficiency of the blower", "fraction"),
        ("isentropic_efficiency", "isentropic efficiency of the blower", "fraction"),
        ("shaft_power", "shaft power of the blower", "power"),
        ("core_shaft_power", "shaft power due to the loss of the core", "power"),
    ], "blower"),
    *_outputs("Net gain over the reference core", "duty", [
        ("charge_flow_change", "more charge mass flow", "mass flow"),
        ("shaft_power_change", "more shaft power", "power"),
        ("engine_power_change", "more engine power, estimated", "power"),
        ("net_gain", "net gain, estimated", "power"),
    ], "net_gain"),
    *_outputs("Moisture", "duty", [
        ("dew_point", "dew point of the charge in the core", "temperature"),
        ("coldest_metal_temperature", "coldest metal on the air side", "temperature"),
        ("condensate_rate", "condensate, at most", "small mass flow"),
        ("condensation_heat", "heat of that condensate, not in the heat rejected", "power"),
    ], "ambient.humidity"),
    *_outputs("Heat transfer", "duty", [
        ("NTU", "number of transfer units", "number"),
        ("C_ratio", "capacity ratio C_min/C_max", "number"),
        ("UA", "overall conductance UA", "conductance"),
        ("air_capacity_rate", "air capacity rate, flow times specific heat", "conductance"),
        ("coolant_capacity_rate", "coolant capacity rate, flow times specific heat", "conductance"),
        ("air_resistance", "resistance, air film and fins", "resistance"),
        ("air_fouling_resistance", "resistance, air fouling", "resistance"),
        ("plate_resistance", "resistance, parting plates", "resistance"),
        ("coolant_fouling_resistance", "resistance, coolant fouling", "resistance"),
        ("coolant_resistance", "resistance, coolant film and fins", "resistance"),
        ("air_heat_transfer_coefficient", "air film coefficient", "film"),
        ("coolant_heat_transfer_coefficient", "coolant film coefficient", "film"),
        ("air_fin_efficiency", "air fin efficiency", "fraction"),
        ("air_surface_efficiency", "air surface efficiency", "fraction"),
        ("coolant_fin_efficiency", "coolant fin efficiency", "fraction"),
        ("coolant_surface_efficiency", "coolant surface efficiency", "fraction"),
        ("air_mean_temperature", "air mean temperature", "temperature"),
        ("coolant_mean_temperature", "coolant mean temperature", "temperature"),
        ("air_wall_temperature", "wall temperature, air side", "temperature"),
        ("coolant_wall_temperature", "wall temperature, coolant side", "temperature"),
    ]),
    *_outputs("Flow", "duty", [
        ("air_Re", "air Reynolds number", "number"),
        ("coolant_Re", "coolant Reynolds number", "number"),
        ("air_Pr", "air Prandtl number", "number"),
        ("coolant_Pr", "coolant Prandtl number", "number"),
        ("air_j", "air Colburn factor j", "number"),
        ("air_f", "air Fanning factor f", "number"),
        ("coolant_j", "coolant Colburn factor j", "number"),
        ("coolant_f", "coolant Fanning factor f", "number"),
        ("air_mass_velocity", "air mass velocity G", "mass velocity"),
        ("coolant_mass_velocity", "coolant mass velocity G", "mass velocity"),
        ("air_face_velocity", "air face velocity", "velocity"),
        ("air_core_velocity", "air velocity between the fins, at the inlet", "velocity"),
        ("coolant_core_velocity", "coolant velocity in the passages", "velocity"),
        ("header_ratio", "header dynamic pressure over core loss", "number"),
        ("passage_flow_spread", "coolant flow spread over the passages, (max - min)/mean", "fraction"),
        ("spread_heat_penalty", "cooling lost to the flow spread", "fraction"),
    ]),
    *_outputs("Air loss", "duty", [
        ("air_lid_loss", "air loss, duct before the core", "pressure"),
        ("air_entry_loss", "air loss, core entry", "pressure"),
        ("air_acceleration_loss", "air loss, acceleration", "pressure"),
        ("air_friction_loss", "air loss, core friction", "pressure"),
        ("air_exit_loss", "air loss, core exit", "pressure"),
        ("air_core_loss", "air loss, core (entry to exit)", "pressure"),
        ("air_plenum_loss", "air loss, duct after the core", "pressure"),
    ]),
    *_outputs("Coolant loss", "duty", [
        ("coolant_core_loss", "coolant loss, core friction", "pressure"),
        ("coolant_end_loss", "coolant loss, passage ends and turns", "pressure"),
        ("coolant_tank_loss", "coolant loss, tanks", "pressure"),
        ("coolant_port_loss", "coolant loss, ports", "pressure"),
    ]),
    *_outputs("Core", "core", [
        ("stack_height", "stack height", "length"),
        ("core_thickness", "core thickness", "length"),
        ("core_length", "core length", "length"),
        ("overall_length", "overall length with tanks", "length"),
        ("dry_mass", "dry mass", "mass"),
        ("filled_mass", "filled mass", "mass"),
        ("coolant_volume", "coolant volume", "volume"),
        ("air_area", "air heat-transfer area", "area"),
        ("coolant_area", "coolant heat-transfer area", "area"),
        ("air_free_flow_area", "air free-flow area", "area"),
        ("coolant_free_flow_area", "coolant free-flow area of one pass", "area"),
        ("air_hydraulic_diameter", "air hydraulic diameter", "small length"),
        ("coolant_hydraulic_diameter", "coolant hydraulic diameter", "small length"),
        ("air_sigma", "air sigma, free-flow over frontal area", "number"),
        ("coolant_sigma", "coolant sigma, free-flow over tank-face area", "number"),
        ("air_fin_area_ratio", "air fin area over total area", "number"),
        ("port_area", "port opening", "small area"),
        ("port_open_share", "share of the tank end face the port opens", "fraction"),
    ]),
    *_outputs("Heat soak", "core", [
        ("soak_time_under_limit", "time under the charge limit, of all pulls", "time"),
        ("soak_time_to_limit", "time of pulling until the charge limit is first reached", "time"),
        ("soak_hottest_charge", "hottest charge of the schedule", "temperature"),
        ("soak_last_coolant_temperature", "reservoir at the end of the schedule", "temperature"),
        ("soak_ice_left", "ice left at the end of the schedule", "mass"),
    ], "soak"),
    *_outputs("Clearances", "core", [
        ("length_clearance", "clearance, pocket length", "length"),
        ("width_clearance", "clearance, pocket width", "length"),
        ("lid_clearance", "clearance, thickness under the lid", "length"),
        ("port_height_clearance", "clearance, port height in the tank end", "length"),
        ("port_width_clearance", "clearance, port width in the tank end", "length"),
        ("port_flange_clearance", "clearance, port below the flange", "length"),
    ]),
]

OUTPUTS: dict[str, Output] = {output.name: output for output in _ALL}
CLEARANCES = tuple(output.name for output in _ALL if output.group == "Clearances")
