"""Which keys and tables of a study ask for others: what duty points leave open, loop, blower, ambient, soak.

Read from the file as written, so that a fault in a value does not hide one of agreement; of each table or duty point
the first thing to mend is told.
"""

from collections.abc import Iterator
from typing import Any

from pydantic_core import PydanticCustomError

from optimize.study.faults import refusal
from optimize.study.lines import Path

Raw = dict[str, Any]
Faults = Iterator[tuple[Path, PydanticCustomError]]
WAYS = "air_flow with air_temperature and air_pressure, or air_flow with manifold_pressure, or engine_speed alone"


def agreement_faults(raw: Raw) -> Faults:
    """What is wrong between the tables of a file: place, and what is told of it."""
    for name, point in duty_points(raw).items():
        yield from _air(raw, ("duty", name), point)
        yield from _coolant(raw, ("duty", name), point)
    yield from _outside(raw)
    yield from _idle_scatter(raw)
    yield from _tables(raw)
    if isinstance(soak := raw.get("soak"), dict):
        yield from _soak(raw, soak)


def has(raw: object, dotted: str) -> bool:
    """Whether a table or key stands in the file.

    >>> has({"loop": {"pump": {}}}, "loop.pump"), has({"loop": 3}, "loop.pump")
    (True, False)
    """
    for key in dotted.split("."):
        if not isinstance(raw, dict) or key not in raw:
            return False
        raw = raw[key]
    return True


def duty_points(raw: Raw) -> dict[str, Raw]:
    """The duty points that are tables."""
    duty = raw.get("duty")
    return {name: point for name, point in duty.items() if isinstance(point, dict)} if isinstance(duty, dict) else {}


def has_output_table(raw: Raw, needed: str) -> bool:
    """Whether a study has what an output needs: a table, a key, or the humidity of every duty point."""
    if needed != "ambient.humidity":
        return has(raw, needed)
    return has(raw, needed) or ("humidity" not in _missing_somewhere(raw, ("humidity",)) and bool(duty_points(raw)))


def _missing(key: str, do: str) -> PydanticCustomError:
    return refusal(f"missing key '{key}'", do, "key")


def _needs(table: str, do: str) -> PydanticCustomError:
    return refusal(f"needs the table [{table}]", do)


def _air(raw: Raw, path: Path, point: Raw) -> Faults:
    """The three ways to give the air do not mix."""
    if "engine_speed" in point:
        yield from _breathing(raw, path, point)
    elif "manifold_pressure" in point:
        yield from _held(raw, path, point)
    elif not {"air_flow", "air_temperature", "air_pressure"} & point.keys():
        yield (*path, "air_flow"), _missing("air_flow", f"give the air: {WAYS}")
    else:
        for key in ("air_flow", "air_temperature", "air_pressure"):
            if key not in point:
                yield (*path, key), _missing(key, f"give the air in one way: {WAYS}")


def _breathing(raw: Raw, path: Path, point: Raw) -> Faults:
    surplus = [k for k in ("air_flow", "air_temperature", "air_pressure", "manifold_pressure") if k in point]
    if surplus:
        do = "keep one way: behind engine_speed, blower and engine make flow, temperature and pressure"
        yield (*path, "engine_speed"), refusal(f"both engine_speed and {', '.join(surplus)}", do, "key")
    for table, do in (
        ("blower", "add it: the engine's speed drives the blower"),
        ("engine", "add it: displacement and volumetric efficiency give the air it takes"),
    ):
        if table not in raw:
            yield (*path, "engine_speed"), _needs(table, do)
    if isinstance(raw.get("blower"), dict) and "drive_ratio" not in raw["blower"]:
        do = "add it: revolutions of the blower per revolution of the engine"
        yield (*path, "engine_speed"), refusal("needs 'drive_ratio' in [blower]", do)


def _held(raw: Raw, path: Path, point: Raw) -> Faults:
    surplus = [key for key in ("air_temperature", "air_pressure") if key in point]
    if surplus:
        do = "keep one way: behind manifold_pressure, the blower makes temperature and pressure before the core"
        yield (*path, "manifold_pressure"), refusal(f"both manifold_pressure and {', '.join(surplus)}", do, "key")
    if "air_flow" not in point:
        do = "add it: manifold_pressure goes with an air_flow; or give engine_speed instead of both"
        yield (*path, "air_flow"), _missing("air_flow", do)
    if "blower" not in raw:
        do = "add it, or give air_temperature and air_pressure before the core"
        yield (*path, "manifold_pressure"), _needs("blower", do)


def _coolant(raw: Raw, path: Path, point: Raw) -> Faults:
    """What a duty point leaves open must be made by the loop; what it gives must be needed."""
    flow, temperature = ("coolant_flow" in point), ("coolant_temperature" in point)
    if flow and not temperature:
        do = "add it; or leave coolant_flow out as well, for [loop] to make both"
        yield (*path, "coolant_temperature"), _missing("coolant_temperature", do)
    elif not flow and "loop" not in raw:
        yield (*path, "coolant_flow"), _missing("coolant_flow", "add it, or a table [loop] that makes the flow")
    if not flow and not temperature:
        yield from _open_temperature(raw, path, point)
    yield from _surplus(raw, path, point)


def _open_temperature(raw: Raw, path: Path, point: Raw) -> Faults:
    if not has(raw, "loop.front_exchanger"):
        do = "add it, or a table [loop.front_exchanger] that makes it"
        yield (*path, "coolant_temperature"), _missing("coolant_temperature", do)
    elif "front_air_flow" not in point:
        do = "add it: the front exchanger cools with it; or give coolant_temperature"
        yield (*path, "front_air_flow"), _missing("front_air_flow", do)


def _surplus(raw: Raw, path: Path, point: Raw) -> Faults:
    if "front_air_flow" in point and not has(raw, "loop.front_exchanger"):
        yield (*path, "front_air_flow"), _needs("loop.front_exchanger", "add it, or leave front_air_flow out")
    if "pump_speed" in point and "loop" not in raw:
        yield (*path, "pump_speed"), _needs("loop", "add it, or leave pump_speed out")
    elif "pump_speed" in point and "coolant_flow" in point:
        do = "keep one: a coolant_flow that is given stays what it is at any speed"
        yield (*path, "pump_speed"), refusal("both coolant_flow and pump_speed", do, "key")


def _missing_somewhere(raw: Raw, keys: tuple[str, ...], names: list[str] | None = None) -> list[str]:
    """Those keys of the air outside that some duty point (of `names`) has neither of its own nor from [ambient]."""
    from_table = {"ambient_temperature", "ambient_pressure"} if "ambient" in raw else set()
    if has(raw, "ambient.humidity"):
        from_table.add("humidity")
    points = [point for name, point in duty_points(raw).items() if names is None or name in names]
    return [key for key in keys if key not in from_table and any(key not in point for point in points)]


def _outside(raw: Raw) -> Faults:
    """The air outside, told once, at the first thing that asks for it."""
    for path, names in _askers(raw):
        if _missing_somewhere(raw, ("ambient_temperature", "ambient_pressure"), names):
            do = "add it, or give ambient_temperature and ambient_pressure in every duty point"
            yield path, _needs("ambient", do)
            break
    moist = [name for name, point in duty_points(raw).items() if "humidity" in point]
    if moist and not has(raw, "ambient.humidity"):
        for name in duty_points(raw):
            if name not in moist:
                yield ("duty", name, "humidity"), _missing("humidity", "give it in [ambient], or in every duty point")


def _idle_scatter(raw: Raw) -> Faults:
    """A tolerance in [ambient] must act on some duty point."""
    for own in ("ambient_temperature", "ambient_pressure", "humidity"):
        key = own.removeprefix("ambient_")
        points = duty_points(raw).values()
        if points and has(raw, f"ambient.{key}.tolerance") and all(own in point for point in points):
            do = f"give the tolerance to {own} in the duty points, or leave it out"
            yield ("ambient", key, "tolerance"), refusal(f"acts on nothing: every duty point has its own {own}", do)


def _askers(raw: Raw) -> Iterator[tuple[Path, list[str] | None]]:
    """What asks for the air outside, and of which duty points (None: all)."""
    if "blower" in raw:
        yield ("blower",), None
    if has(raw, "loop.cap_pressure"):
        yield ("loop", "cap_pressure"), None
    if "soak" in raw:
        yield ("soak",), None
    for name, point in duty_points(raw).items():
        if "humidity" in point:
            yield ("duty", name, "humidity"), [name]
        elif has(raw, "loop.front_exchanger") and not {"coolant_flow", "coolant_temperature"} & point.keys():
            yield ("duty", name), [name]


def _tables(raw: Raw) -> Faults:
    if "loop" in raw and isinstance(raw.get("catalogues"), dict) and "lines" not in raw["catalogues"]:
        yield ("catalogues", "lines"), _missing("lines", "add it: [loop] takes its line from a catalogue")
    if "net_gain" in raw and "blower" not in raw:
        yield ("net_gain",), _needs("blower", "add it: what is gained is counted at the blower's shaft")
    if "soak" in raw and not has(raw, "loop.reservoir"):
        yield ("soak",), _needs("loop.reservoir", "add it: what soaks up the heat")


def _soak(raw: Raw, soak: Raw) -> Faults:
    """A schedule or a trace, and what goes with a trace."""
    if ("schedule" in soak) == ("trace" in soak):
        which = "both schedule and trace" if "trace" in soak else "neither schedule nor trace"
        yield ("soak", "trace"), refusal(which, "give one of the two", "key")
    for key, partner in (("trace", "trace_duty"), ("trace_duty", "trace")):
        if key in soak and partner not in soak:
            yield ("soak", partner), _missing(partner, f"add it: it goes with '{key}'")
    if "trace" in soak and "schedule" not in soak and "repeat" in soak:
        yield ("soak", "repeat"), refusal("a trace is driven once", "leave repeat out")
    duty = soak.get("trace_duty")
    point = duty_points(raw).get(duty) if isinstance(duty, str) else None
    if point is not None and "engine_speed" not in point:
        what = f"duty point '{duty}' has no engine_speed"
        yield ("soak", "trace_duty"), refusal(what, "name one whose air is given by engine_speed: the trace drives it")
    for index, phase in enumerate(soak["schedule"] if isinstance(soak.get("schedule"), list) else ()):
        if has(phase, "front_air_flow") and not has(raw, "loop.front_exchanger"):
            path = ("soak", "schedule", index, "front_air_flow")
            yield path, _needs("loop.front_exchanger", "add it, or leave front_air_flow out")
