"""The file of a fitted model that a study names, read to a `FittedModel` or refused with its faults."""

from collections.abc import Iterable, Iterator
from typing import Annotated, Any

import numpy as np
from pydantic import AfterValidator, Field, ValidationError
from pydantic_core import PydanticCustomError

from optimize.study.corrections import EXPONENTS, FACTORS, SIDES, FittedModel
from optimize.study.faults import Fault, faults_of, refusal
from optimize.study.lines import line_of
from optimize.study.shelves import Desk
from optimize.study.toml_file import TomlFile, UnreadableError, beside, read_toml
from optimize.study.values import Table
from physics.arrays import Array

_LEAST_EIGENVALUE = 1e-12
_FARTHEST = 6.0  # no fit puts a score beyond


def _bands(bands: dict[str, Any]) -> dict[str, Any]:
    for name, band in bands.items():
        if name not in FACTORS or len(band) != 2 or not -1 < band[0] <= 0 <= band[1]:
            raise refusal(f"no band of a multiplier: {name}", "write the file by `finfront fit`")
    return bands


class FittedFile(Table):
    """The file as `finfront fit` writes it."""

    about: str
    names: Annotated[list[str], Field(min_length=1)]
    mean: list[float]
    covariance: list[list[float]]
    bands: Annotated[dict[str, list[float]], AfterValidator(_bands)]
    families: dict[str, str]
    reynolds: dict[str, list[float]]
    reference: dict[str, float]

    @classmethod
    def disagreements(cls, raw: dict[str, Any]) -> Iterator[tuple[str, PydanticCustomError]]:
        """Sizes that do not go together, and what is no covariance."""
        do = "write the file by `finfront fit`"
        names, mean, rows = (raw.get(key) for key in ("names", "mean", "covariance"))
        if not (isinstance(names, list) and isinstance(mean, list) and isinstance(rows, list)):
            return
        if set(names) - {*FACTORS, *EXPONENTS}:
            yield "names", refusal(f"unknown names, known are {', '.join((*FACTORS, *EXPONENTS))}", do)
        if len(mean) != len(names):
            yield "mean", refusal(f"{len(mean)} values for {len(names)} names", do)
        elif not all(isinstance(value, (int, float)) and abs(value) <= _FARTHEST for value in mean):
            yield "mean", refusal(f"a score beyond {_FARTHEST:g} standard deviations of its band", do)
        matrix = _matrix(rows, len(names))
        if matrix is None:
            yield "covariance", refusal(f"not a symmetric, positive matrix of {len(names)} rows", do)
        if set(raw.get("families", SIDES)) != set(SIDES):
            yield "families", refusal("expected one of the air and one of the coolant", do)
        reference = raw.get("reference", {})
        if not isinstance(reference, dict) or set(reference) != set(SIDES) or not all(_positive(reference.values())):
            yield "reference", refusal("expected a Reynolds number of the air and one of the coolant", do)


def _positive(values: Iterable[Any]) -> Iterator[bool]:
    return (isinstance(value, (int, float)) and value > 0 for value in values)


def _matrix(rows: list[Any], n: int) -> Array | None:
    """A covariance, or None for what is none."""
    try:
        matrix = np.array(rows, dtype=float)
    except (ValueError, TypeError):
        return None
    if matrix.shape != (n, n) or not np.all(np.isfinite(matrix)) or not np.allclose(matrix, matrix.T, atol=1e-9):
        return None
    return matrix if np.min(np.linalg.eigvalsh(matrix)) > _LEAST_EIGENVALUE else None


def fitted_model(desk: Desk, study: TomlFile) -> FittedModel | None:
    """The model that [model] names; None where it names none, or it is at fault: the desk then knows."""
    table = study.raw.get("model")
    path = table.get("fitted") if isinstance(table, dict) else None
    if not isinstance(path, str):
        return None
    try:
        source = read_toml(beside(study.path, path))
    except UnreadableError as error:
        if what := desk.unreadable(error.fault):
            do = "paths are read from the folder of the study; `finfront fit` writes such a file"
            line = line_of(("model", "fitted"), study.lines)
            desk.faults.append(Fault(study.path, line, f"'fitted' in [model]: {what}", do))
        return None
    desk.keep(source.path, source.text)
    try:
        return _typed(FittedFile.model_validate(source.raw))
    except ValidationError as error:
        desk.faults += faults_of(error, source.path, source.lines)
        return None


def _typed(file: FittedFile) -> FittedModel:
    Re = {side: tuple(file.reynolds[side]) if len(file.reynolds.get(side, [])) == 2 else None for side in SIDES}
    return FittedModel(
        tuple(file.names), tuple(file.mean), tuple(tuple(row) for row in file.covariance),
        {name: (band[0], band[1]) for name, band in file.bands.items()}, file.families, Re, file.reference, file.about,  # type: ignore[arg-type]
    )
