"""What a study asks for: objectives and limits as written, by the names of `physics.outputs`."""

import re
from typing import Annotated, Any

from pydantic import Field, PlainValidator, ValidationInfo, field_validator
from pydantic_core import PydanticCustomError

from optimize.study.faults import did_you_mean, refusal, shown
from optimize.study.lines import Path
from optimize.study.values import Rule, Table, one_of_two, read
from physics.outputs import OUTPUTS

ASK = "each is a table [[objectives]] with 'maximise' or 'minimise'"


# What is a key, not a table, among the things outputs need
KEYS = {"loop.cap_pressure": "'cap_pressure' in [loop]", "ambient.humidity": "'humidity' in [ambient]"}


def _output_name(raw: object, info: ValidationInfo[Any]) -> str | None:
    if raw is None:
        return None
    if not isinstance(raw, str):
        raise refusal(f"expected the name of an output, got {shown(raw)}", "write it in quotes")
    if raw not in OUTPUTS:
        raise refusal(f"unknown output {shown(raw)}", did_you_mean(raw, OUTPUTS))
    needed = OUTPUTS[raw].needs
    if needed and not info.context.has(needed):
        what = KEYS.get(needed, f"the table [{needed}]")
        raise refusal(f"'{raw}' needs {what}", "add it, or ask for another output")
    return raw


OptionalOutput = Annotated[str | None, PlainValidator(_output_name)]


def _checked_at(at: object, output: str | None, duties: tuple[str, ...], words: tuple[str, ...]) -> str | None:
    """The duty point at which an output is taken: needed for outputs of the duty, refused for outputs of the core."""
    if at is not None and not isinstance(at, str):
        raise refusal(f"expected the name of a duty point, got {shown(at)}", "write it in quotes")
    places = (*duties, *words)
    per = OUTPUTS[output].per if output else None
    if per == "core" and at is not None:
        raise refusal(f"'{output}' belongs to the core, not to a duty point", "leave 'at' out")
    if per == "duty" and at is None:
        raise refusal("missing key 'at'", f"say where '{output}' is taken: {', '.join(places)}", "key")
    if at is not None and at not in places:
        raise refusal(f"unknown duty point {shown(at)}", did_you_mean(at, places))
    return at


def statistic(raw: object) -> str:
    """Which of the copies is meant: "P95" and the like, "mean" or "worst"."""
    if raw in ("mean", "worst"):
        return str(raw)
    match = re.fullmatch(r"P([0-9]{2}(?:\.[0-9]{1,3})?)", raw) if isinstance(raw, str) else None
    if match is None or not 50.0 <= float(match[1]) <= 99.9:
        what = f"expected 'P50' to 'P99.9', 'mean' or 'worst', got {shown(raw)}"
        raise refusal(what, "write 'P95' for what 95 % of the copies do at least as well as")
    return f"P{float(match[1]):g}"


def _of(raw: object, info: ValidationInfo[Any]) -> str:
    of = statistic(raw)
    if not info.context.has("robust"):
        raise refusal("needs the table [robust]", "add it, or leave 'of' out: without it there are no copies to ask")
    return of


Of = Annotated[str | None, PlainValidator(_of)]


def _of_limit(raw: object, info: ValidationInfo[Any]) -> str:
    of = _of(raw, info)
    if of == "worst":
        do = "leave 'of' out: then every copy counts by the share of [robust]; or ask for a percentile"
        raise refusal("no number of copies shows what the worst of all does", do)
    return of


OfLimit = Annotated[str | None, PlainValidator(_of_limit)]


class ObjectiveTable(Table):
    """[[objectives]]"""

    maximise: OptionalOutput = None
    minimise: OptionalOutput = Field(None, validate_default=True)
    at: Annotated[str | None, PlainValidator(lambda raw: raw)] = Field(None, validate_default=True)
    of: Of = None

    @field_validator("minimise")
    @classmethod
    def _one_direction(cls, minimise: str | None, info: ValidationInfo[Any]) -> str | None:
        if "maximise" in info.data:
            one_of_two(info.data["maximise"], minimise, ("maximise", "minimise"), "give exactly one of the two")
        return minimise

    @field_validator("at")
    @classmethod
    def _at_a_duty_point(cls, at: object, info: ValidationInfo[Any]) -> str | None:
        output = info.data.get("maximise") or info.data.get("minimise")
        return _checked_at(at, output, info.context.duties, ("worst", "mean"))


def _bound(raw: object, info: ValidationInfo[Any]) -> float | None:
    """A limit, in the unit of its output; not looked at while the output is unknown."""
    output = info.data.get("output")
    return None if raw is None or output is None else read(raw, Rule(OUTPUTS[output].kind))


class LimitTable(Table):
    """[[limits]]"""

    output: Annotated[str, PlainValidator(_output_name)]
    min: Annotated[float | None, PlainValidator(_bound)] = None
    max: Annotated[float | None, PlainValidator(_bound)] = Field(None, validate_default=True)
    at: Annotated[str | None, PlainValidator(lambda raw: raw)] = Field(None, validate_default=True)
    of: OfLimit = None

    @field_validator("max")
    @classmethod
    def _something_to_keep(cls, high: float | None, info: ValidationInfo[Any]) -> float | None:
        if "output" not in info.data or "min" not in info.data:
            return high
        low = info.data["min"]
        if low is None and high is None:
            raise refusal("neither 'min' nor 'max'", "give one of them, or both", "key")
        if low is not None and high is not None and low > high:
            raise refusal("'max' is below 'min': nothing can keep both", "swap the two, or drop one")
        return high

    @field_validator("at")
    @classmethod
    def _at_a_duty_point(cls, at: object, info: ValidationInfo[Any]) -> str | None:
        return _checked_at(at, info.data.get("output"), info.context.duties, ("worst", "mean"))


def list_faults(raw: dict[str, Any]) -> list[tuple[Path, PydanticCustomError]]:
    """What is wrong with the lists of objectives and limits as a whole; read from the file as written, so that
    a fault in one entry does not hide it."""
    found: list[tuple[Path, PydanticCustomError]] = []
    objectives, limits = raw.get("objectives"), raw.get("limits")
    if isinstance(objectives, list) and len(objectives) not in (2, 3):
        found.append((("objectives",), refusal(f"expected two or three objectives, got {len(objectives)}", ASK)))
    for key, entries in (("objectives", objectives), ("limits", limits)):
        found += [((key, index), refusal(f"a second entry for '{output}'{f' at {at!r}' if at else ''}", do))
                  for index, output, at, do in _repeated(key, entries)]
    return found


def _repeated(key: str, entries: object) -> list[tuple[int, str, str | None, str]]:
    do = "keep one, with both 'min' and 'max' if need be" if key == "limits" else "keep one"
    seen: set[tuple[str, str | None]] = set()
    found = []
    for index, entry in enumerate(entries if isinstance(entries, list) else []):
        words = [entry.get(k) for k in ("output", "maximise", "minimise")] if isinstance(entry, dict) else []
        output = next((word for word in words if isinstance(word, str) and word in OUTPUTS), None)
        at = entry.get("at") if output else None
        if output is None or not (at is None or isinstance(at, str)):
            continue
        if (output, at) in seen:
            found.append((index, output, at, do))
        seen.add((output, at))
    return found
