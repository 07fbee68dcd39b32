"""Faults of a study: pydantic's errors in the words of the trade, each with its file, its line and what to do."""

import difflib
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails, InitErrorDetails, PydanticCustomError

from optimize.errors import FinfrontError
from optimize.study.lines import Path, line_of
from optimize.units import quoted

MOST_FAULTS = 100  # of one file; a file of another kind would print for ever


@dataclass(frozen=True)
class Fault:
    """One fault of one file; `unit_of_place` is "line", or "row" in a measured table."""

    file: str
    line: int | None
    what: str
    do: str = ""
    unit_of_place: str = "line"

    def __str__(self) -> str:
        where = self.file if self.line is None else f"{self.file}, {self.unit_of_place} {self.line}"
        return str(FinfrontError(self.what, where, self.do))


class StudyFaults(FinfrontError):  # noqa: N818  (one exception, many faults)
    """All faults of a study file, its catalogues and its measured tables; the study first, then by file and line."""

    def __init__(self, faults: Iterable[Fault], study: str = "") -> None:
        order = sorted(set(faults), key=lambda fault: (fault.file != study, fault.file, _last(fault.line), fault.what))
        first = order[0]
        where = first.file if first.line is None else f"{first.file}, {first.unit_of_place} {first.line}"
        super().__init__(first.what, where, first.do)
        self.faults, self.study = tuple(order), study

    def __str__(self) -> str:
        return "\n".join(str(fault) for fault in self.faults)

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.faults, self.study)


SEE_STARTER = "see this key in the file that `finfront new` writes"


def _last(line: int | None) -> float:
    return math.inf if line is None else line


def refusal(what: str, do: str = SEE_STARTER, about: str = "value") -> PydanticCustomError:
    """What a validator raises; `about` "value" is printed behind the key's name, "key" before the table's."""
    return PydanticCustomError("fault", "{what}", {"what": what, "do": do, "about": about})


def refusals(found: Iterable[tuple[int | str | Path, PydanticCustomError]]) -> ValidationError:
    """Several refusals of one list or table, each with its position or key, or its path from there."""
    return ValidationError.from_exception_data("list", [_at(place, error) for place, error in found])


def _at(place: int | str | Path, error: PydanticCustomError) -> InitErrorDetails:
    return {"type": error, "loc": place if isinstance(place, tuple) else (place,), "input": None}


def phrased(
    error: ValidationError, keys: list[str], besides: Iterable[tuple[str, PydanticCustomError]] = ()
) -> ValidationError:
    """The same errors in our words, from inside the table they are about: only there its keys are known.

    `besides` are refusals to be told with them.
    """
    lines: list[InitErrorDetails] = []
    details = error.errors(include_url=False, include_input=True)
    missing = [str(detail["loc"][-1]) for detail in details if detail["type"] == "missing"]
    unknown = [str(detail["loc"][-1]) for detail in details if detail["type"] == "extra_forbidden"]
    misspelt = {key: nearest(key, missing) for key in unknown[:MOST_FAULTS]}
    for detail in details:
        # A key that is missing because it is misspelt is one fault, not two.
        if detail["type"] == "missing" and detail["loc"][-1] in misspelt.values():
            continue
        refused = _refusal_of(detail, keys, misspelt)
        lines.append({"type": refused, "loc": detail["loc"], "input": None})
    lines += [_at(key, refused) for key, refused in besides]
    return ValidationError.from_exception_data(error.title, lines)


def faults_of(error: ValidationError, file: str, lines: dict[Path, int], top: Path = ()) -> list[Fault]:
    """One `Fault` for each error of a validated table that stands at the path `top` of the file."""
    found = []
    details = error.errors(include_url=False, include_input=False)
    for detail in details[:MOST_FAULTS]:
        path = tuple(part for part in (*top, *detail["loc"]) if part != "[key]")
        context = detail.get("ctx", {})
        what, do = context.get("what", detail["msg"]), context.get("do", "")
        found.append(Fault(file, line_of(path, lines), _sentence(path, what, context.get("about", "value")), do))
    if len(details) > MOST_FAULTS:
        found.append(Fault(file, None, f"and {len(details) - MOST_FAULTS} more faults", "mend the others first"))
    return found


def fault_at(path: Path, error: PydanticCustomError, file: str, lines: dict[Path, int]) -> Fault:
    """The `Fault` of one refusal that is about a path of the file."""
    context = error.context or {}
    return Fault(file, line_of(path, lines), _sentence(path, context["what"], context["about"]), context["do"])


def did_you_mean(word: str, known: Iterable[str], otherwise: str = "") -> str:
    """A suggestion, or the names there are.

    >>> did_you_mean("fin_pich", ["fin_pitch", "length"])
    "did you mean 'fin_pitch'?"
    """
    names = list(dict.fromkeys(known))
    if near := nearest(word, names):
        return f"did you mean '{near}'?"
    if otherwise or not names:
        return otherwise
    listed = ", ".join(names[:12]) + (", ..." if len(names) > 12 else "")
    return f"use one of: {listed}"


def nearest(word: str, names: Iterable[str]) -> str:
    """The name a word comes near to; empty if none does."""
    near = difflib.get_close_matches(word, names, n=1, cutoff=0.6) if len(word) <= 60 else []
    return near[0] if near else ""


def shown(value: object) -> str:
    """A value of a TOML file as a message shows it; short, on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, int):
        return str(value) if abs(value) < 10**20 else "a very large number"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, dict):
        return "a table"
    return "a list" if isinstance(value, list) else "a date or time"


def dotted(path: Path) -> str:
    """A path as a table header names it: list positions left out, odd names in quotes and cut."""
    names = [str(part) for part in path if not isinstance(part, int)]
    return ".".join(name if re.fullmatch(r"[A-Za-z0-9_-]{1,60}", name) else quoted(name) for name in names)


def _sentence(path: Path, what: str, about: str) -> str:
    keys = [part for part in path if not isinstance(part, int)]
    table = f"[{dotted(tuple(keys[:-1]))}]" if len(keys) > 1 else "the file"
    last = max((place for place, part in enumerate(path) if not isinstance(part, int)), default=0)
    if last > 1 and isinstance(path[last - 1], int):
        table = f"[{table}]"
    if about == "key":
        return f"{what} in {table}" if len(keys) > 1 else f"{what} at the top of the file"
    if len(keys) == 1:
        return f"{quoted(str(keys[0]))}: {what}"
    return f"{quoted(str(keys[-1]))} in {table}: {what}" if keys else what


def _refusal_of(detail: ErrorDetails, keys: list[str], misspelt: dict[str, str]) -> PydanticCustomError:
    key = str(detail["loc"][-1]) if detail["loc"] else ""
    context: dict[str, Any] = detail.get("ctx", {})
    match detail["type"]:
        case "fault":
            return refusal(context["what"], context["do"], context["about"])
        case "extra_forbidden":
            near = misspelt.get(key)
            return refusal(f"unknown key {quoted(key)}", did_you_mean(key, [near] if near else keys), "key")
        case "missing":
            return refusal(f"missing key '{key}'", "add it; the file that `finfront new` writes shows every key", "key")
        case "literal_error":
            return _literal(context["expected"], detail["input"])
    given = shown(detail["input"])
    expected = {
        "string_type": "text in quotes", "list_type": "a list", "dict_type": "a table", "model_type": "a table",
        "model_attributes_type": "a table", "tuple_type": "a list",
        "bool_type": "true or false",
    }
    return refusal(f"expected {expected[detail['type']]}, got {given}" if detail["type"] in expected else detail["msg"])


def _literal(expected: str, given: object) -> PydanticCustomError:
    words = re.findall(r"'([^']*)'", expected)
    otherwise = "write one of these words"
    hint = did_you_mean(given, words, otherwise) if isinstance(given, str) else otherwise
    return refusal(f"expected {expected}, got {shown(given)}", hint)
