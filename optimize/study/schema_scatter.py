"""[scatter] and [robust] as written: how many copies, how sure, what goes with what, and what is asked of them."""

import re
from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, PlainValidator, ValidationInfo, field_validator

from optimize import units
from optimize.study.faults import did_you_mean, refusal, refusals, shown
from optimize.study.goals import statistic
from optimize.study.lines import Path
from optimize.study.model import Correlation, Robust, Scatter, Variable
from optimize.study.values import CHECK, Table, quantity, whole
from optimize.study.variables import OTHER_NAMES

MOST_DRAWS = 1 << 20
LEAST_ROBUST = 8  # draws come in eight replicates
PARTS = {"air_fin": "air_fin", "coolant_fin": "turbulator", "port": "port"}  # what a tolerance's name begins with


def _power_of_two(draws: int, expected: str = "a power of two") -> int:
    if draws & (draws - 1):
        near = 1 << draws.bit_length() - 1
        raise refusal(f"must be {expected}, got {draws}", f"{near} or {2 * near}")
    return draws


def _none_or_power_of_two(draws: int) -> int:
    return _power_of_two(draws, "0 or a power of two")


def _points(raw: object) -> float:
    """A share in points, such as "1 point"."""
    example = "write points of the share, such as '1 point' or '0.5 points'"
    if not isinstance(raw, str):
        raise refusal(f"expected points such as '1 point', got {shown(raw)}", example)
    try:
        number, unit = units.split(raw, "fraction")
    except units.UnitError as error:
        raise refusal(error.what, example) from None
    if unit not in ("point", "points"):
        raise refusal(f"expected points such as '1 point', got {shown(raw)}", example)
    if not 0.0 < number < 100.0:
        raise refusal(f"must be above 0 points and below 100 points, got {shown(raw)}", CHECK)
    return float(f"{number / 100:.15g}")


Draws = Annotated[int, whole(1, MOST_DRAWS), AfterValidator(_power_of_two)]


def _two(nested: list[int]) -> list[int]:
    if len(nested) != 2:
        what = f"expected two numbers such as [64, 256], got {len(nested)} of them"
        raise refusal(what, "write draws of the model, and copies under each of them")
    if nested[0] * nested[1] > MOST_DRAWS:
        what = f"{nested[0]} times {nested[1]} copies of one core are more than {MOST_DRAWS}"
        raise refusal(what, "lower one of them")
    return nested


def _between(raw: object, info: ValidationInfo[Any]) -> tuple[str, str]:
    if not isinstance(raw, list) or len(raw) != 2:
        what = f"expected two names such as ['air_fin.spacing', 'air_fin.pitch'], got {shown(raw)}"
        raise refusal(what, "name two things that can carry a tolerance")
    found = []
    for index, name in enumerate(raw):
        if not isinstance(name, str):
            found.append((index, refusal(f"expected the name of a dimension, got {shown(name)}", "write it in quotes")))
        elif name not in info.context.scattering:
            do = _nearest(name, info.context.scattering)
            found.append((index, refusal(f"{shown(name)} cannot carry a tolerance", do)))
    if found:
        raise refusals(found)
    if raw[0] == raw[1]:
        raise refusal(f"{shown(raw[0])} goes with itself anyway", "name two different things")
    return raw[0], raw[1]


def _nearest(name: str, known: tuple[str, ...]) -> str:
    """What may have been meant: a dimension of a fin or port that is named alone, or of the turbulator."""
    name = re.sub(r"^turbulator\b", "coolant_fin", name)
    if name in PARTS:
        return f"name a dimension of it, such as '{next(other for other in known if other.startswith(name + '.'))}'"
    return did_you_mean(name, known)


class CorrelationTable(Table):
    """{ between, rank }"""

    between: Annotated[tuple[str, str], PlainValidator(_between)]
    rank: Annotated[float, quantity("number", above=-1.0, below=1.0)]

    def typed(self) -> Correlation:
        return Correlation(self.between, self.rank)


def _possible(tables: list[CorrelationTable]) -> list[CorrelationTable]:
    """Each pair once, and all ranks possible together."""
    seen: set[frozenset[str]] = set()
    found: list[tuple[int | str | Path, Any]] = []
    for index, table in enumerate(tables):
        pair = frozenset(table.between)
        if pair in seen:
            first, second = table.between
            what = f"'{first}' and '{second}' have a correlation already"
            found.append(((index, "between"), refusal(what, "keep one of the two")))
        seen.add(pair)
    if found:
        raise refusals(found)
    from optimize.tolerance.draws import correlation_matrix  # the search's side: not loaded for a study without any

    names = list(dict.fromkeys(name for table in tables for name in table.between))
    try:
        correlation_matrix(names, [table.typed() for table in tables])
    except ValueError as error:
        raise refusal(str(error), "bring one of the ranks nearer to zero, or mend its sign") from None
    return tables


class ScatterTable(Table):
    """[scatter]"""

    draws: Annotated[int, whole(0, MOST_DRAWS), AfterValidator(_none_or_power_of_two)] = 512
    confidence: Annotated[float, quantity("number", above=0.0, below=1.0)] = 0.95
    narrow_to: Annotated[float | None, PlainValidator(_points)] = None
    most_draws: Draws | None = None
    nested: Annotated[list[Draws], AfterValidator(_two)] = Field(default_factory=lambda: list(Scatter.nested))
    wanted_share: Annotated[float, quantity("fraction", above=0.0, below=1.0)] = 0.99
    correlations: Annotated[list[CorrelationTable], AfterValidator(_possible)] = Field(default_factory=list)

    @field_validator("narrow_to")
    @classmethod
    def _has_copies(cls, narrow_to: float, info: ValidationInfo[Any]) -> float:
        if info.data.get("draws") == 0:
            raise refusal("with draws = 0 there is no interval to narrow", "give draws a power of two, or leave it out")
        return narrow_to

    @field_validator("most_draws")
    @classmethod
    def _no_fewer(cls, most_draws: int, info: ValidationInfo[Any]) -> int:
        draws = info.data.get("draws", 0)
        if most_draws < draws:
            raise refusal(f"must be at least the {draws} of 'draws', got {most_draws}", "raise it, or lower draws")
        return most_draws

    def typed(self) -> Scatter:
        most = max(Scatter.most_draws, self.draws) if self.most_draws is None else self.most_draws
        return Scatter(
            self.draws, self.confidence, self.narrow_to, most, (self.nested[0], self.nested[1]), self.wanted_share,
            tuple(table.typed() for table in self.correlations),
        )


class RobustTable(Table):
    """[robust]"""

    of: Annotated[str, PlainValidator(statistic)] = Robust.of
    share: Annotated[float, quantity("fraction", above=0.0, below=1.0)] = Robust.share
    draws: Annotated[int, whole(LEAST_ROBUST, MOST_DRAWS), AfterValidator(_power_of_two)] = Robust.draws
    scatter: Literal["shop", "shop and run"] = "shop"

    def typed(self) -> Robust:
        return Robust(self.of, self.share, self.draws, self.scatter)


def correlated_scatter(table: ScatterTable, info: ValidationInfo[Any]) -> ScatterTable:
    """Validator: what is correlated must scatter; skipped for what could not be read."""
    found: list[tuple[int | str | Path, Any]] = [
        (("correlations", index, "between", place), refusal(what, "give it one, or leave the correlation out"))
        for index, correlation in enumerate(table.correlations)
        for place, name in enumerate(correlation.between)
        if (what := _without_tolerance(name, info))
    ]
    if found:
        raise refusals(found)
    return table


def _without_tolerance(name: str, info: ValidationInfo[Any]) -> str:
    """What to say of a thing no value of which has a tolerance; empty if one has, or that cannot be told."""
    part, _, key = name.partition(".")
    if not key:
        own = {OTHER_NAMES.get(path, path.split(".")[1]): variable for path, variable in _variables(info.data)}
        return f"'{name}' has no tolerance" if name in own and own[name].tolerance is None else ""
    table, shelf = info.data.get("tanks" if part == "port" else "core"), info.context.tolerances[part]
    if table is None or shelf is None:
        return ""
    offered = getattr(table, PARTS[part]).values
    if any(key in shelf.get(entry, ()) for entry in offered):
        return ""
    return f"no {PARTS[part].replace('_', ' ')} to choose from has a tolerance on {key}"


def _variables(data: dict[str, Any]) -> Iterator[tuple[str, Variable]]:
    for top in ("core", "tanks", "material", "ducts"):
        for key, value in data.get(top) or ():
            if isinstance(value, Variable):
                yield f"{top}.{key}", value


def runs_that_scatter(table: RobustTable, info: ValidationInfo[Any]) -> RobustTable:
    """Validator: operating scatter can only be asked for where some duty point or the air outside has it."""
    if table.scatter == "shop and run" and {"duty", "ambient"} <= info.data.keys():
        said = [value for point in (*info.data["duty"].values(), info.data["ambient"]) for _, value in point or ()]
        if not any(getattr(value, "tolerance", None) for value in said):
            what = "nothing scatters from run to run: no duty point and no value of [ambient] has a tolerance"
            do = "write 'shop', or air_flow = { value = '0.8 kg/s', tolerance = { ... } } in a duty point"
            raise refusals([("scatter", refusal(what, do))])
    return table
