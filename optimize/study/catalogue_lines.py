"""A catalogue of coolant lines: bores as measured, or by dash size and family; never by the dash alone."""

import re
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, PlainValidator, ValidationInfo, field_validator

from optimize import units
from optimize.study.faults import refusal
from optimize.study.model_system import LineType
from optimize.study.values import Rule, Table, optional_quantity, quantity, read
from physics.pipes import dash_bore

DRAWN_TUBE = 1.5e-6  # m; roughness of drawn tube and smooth hose, from memory
ROUGHEST = 0.05  # of the bore; the friction law is vouched for up to there

Family = Literal["tube series hose", "37 degree fitting", "nominal hose"]


def _dash(raw: object) -> int | None:
    return None if raw is None else int(read(raw, Rule("whole", at_least=1, at_most=64)))


class LineTable(Table):
    """[line.NAME]"""

    dash: Annotated[int | None, PlainValidator(_dash)] = None
    family: Family | None = Field(None, validate_default=True)
    bore: Annotated[float | None, optional_quantity("length", above=0.0)] = Field(None, validate_default=True)
    roughness: Annotated[float, quantity("length", at_least=0.0)] = DRAWN_TUBE

    @field_validator("family")
    @classmethod
    def _known_size(cls, family: str | None, info: ValidationInfo[Any]) -> str | None:
        if "dash" not in info.data or (info.data["dash"] is None and family is None):
            return family
        if family is None:
            do = "say which hose or fitting: the bore of a dash differs between families"
            raise refusal("missing key 'family'", do, "key")
        if info.data["dash"] is None:
            raise refusal("'family' without 'dash'", "add the dash size, or leave it out", "key")
        try:
            dash_bore(info.data["dash"], family)
        except ValueError as error:
            raise refusal(str(error), "take one of these, or measure: bore = '14.3 mm'") from None
        return family

    @field_validator("bore")
    @classmethod
    def _one_way(cls, bore: float | None, info: ValidationInfo[Any]) -> float | None:
        if {"dash", "family"} <= info.data.keys() and (info.data["dash"] is None) == (bore is None):
            which = "neither bore nor dash" if bore is None else "both bore and dash"
            do = "give one of them: bore = '14.3 mm', or dash = 10 with its family"
            raise refusal(which, do, "key")
        return bore

    @field_validator("roughness")
    @classmethod
    def _smoother_than_wide(cls, roughness: float, info: ValidationInfo[Any]) -> float:
        if {"bore", "dash", "family"} <= info.data.keys():
            bore = _bore(info.data)
            if roughness > ROUGHEST * bore:
                size, width = (units.show(x, "length", "SI") for x in (roughness, bore))
                raise refusal(f"{size} is no roughness in a bore of {width}", "check the unit: hoses have some um")
        return roughness


def _bore(data: dict[str, Any]) -> float:
    return float(data["bore"] if data["bore"] is not None else dash_bore(data["dash"], data["family"]))


def _line_name(name: str) -> str:
    if name == "all" or not re.fullmatch(r"[A-Za-z0-9-][A-Za-z0-9 ._+-]{0,39}", name):
        do = "use letters, digits, spaces and - _ . +, up to 40; not 'all'"
        raise refusal("this cannot be the name of an entry", do)
    return name


class LineFile(Table):
    """A catalogue of coolant lines."""

    title: str = ""
    about: str = ""
    line: dict[Annotated[str, AfterValidator(_line_name)], LineTable] = Field(min_length=1)


def line_type(name: str, entry: LineTable) -> LineType:
    """The entry as the program works with it."""
    return LineType(name, _bore(dict(entry)), entry.roughness)
