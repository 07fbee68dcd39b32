"""What differs between two studies, field by field, as their files say it; comments and order do not count."""

import json
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from optimize.runs import brought_inside
from optimize.study.model import Study

_LONGEST = 60


@dataclass(frozen=True)
class Difference:
    """A field ("envelope.pocket_depth", "catalogues/ports.toml: port.R22.bore"), what it holds; None where absent."""

    where: str
    before: str | None
    after: str | None

    def __str__(self) -> str:
        """'envelope.pocket_depth: 66 mm -> 60 mm'."""
        return f"{self.where}: {shortened(self.before)} -> {shortened(self.after)}"


def differences(before: Study, after: Study) -> list[Difference]:
    """Every field of the study, its catalogues and its tables that one of two studies has otherwise or has not."""
    fields = [dict(_fields(study)) for study in (before, after)]
    return [
        Difference(where, *held)
        for where in dict.fromkeys([*fields[0], *fields[1]])
        if (held := tuple(field.get(where) for field in fields))[0] != held[1]
    ]


def shortened(text: str | None) -> str:
    """What a field holds, on one line of at most 60 letters."""
    line = "absent" if text is None else " ".join(text.split())
    return line if len(line) <= _LONGEST else f"{line[: _LONGEST - 3]}..."


def _fields(study: Study) -> Iterator[tuple[str, str]]:
    for name, text in brought_inside(study.text, study.files).items():
        if name.endswith(".toml"):
            values = tomllib.loads(text) | ({"seed": study.seed} if name == "study.toml" else {})
            start = "" if name == "study.toml" else f"{name}: "
            yield from ((start + where, held) for where, held in _flat(values, ""))
        else:
            rows = text.split("\n")
            yield from ((f"{name}: line {i}", row.strip()) for i, row in enumerate(rows, 1) if row.strip())


def _flat(value: Any, where: str) -> Iterator[tuple[str, str]]:
    """Leaves of a table by their dotted names; entries of a list of tables by what they are about."""
    if isinstance(value, dict) and (value or not where):
        for key, held in value.items():
            yield from _flat(held, f"{where}.{key}" if where else str(key))
    elif isinstance(value, list) and value and all(isinstance(entry, dict) for entry in value):
        names: list[str] = []
        for entry in value:
            names.append(_about(entry))
            again = names.count(names[-1])
            yield from _flat(entry, f"{where}[{names[-1]}{f' {again}' if again > 1 else ''}]")
    else:
        yield where, value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, default=str)


def _about(entry: dict[str, Any]) -> str:
    """'air_pressure_drop, worst' of a limit, the name of a section."""
    parts = [entry.get(key) for key in ("name", "output", "maximise", "minimise", "at")]
    return ", ".join(str(part) for part in parts if part is not None)
