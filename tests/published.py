"""The published tables and worked examples of tests/reference/, read once."""

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy import constants

from physics.arrays import Array

REFERENCE = Path(__file__).parent / "reference"
POUND_PER_SQUARE_FOOT = constants.lbf / constants.foot**2
BTU_PER_HOUR_DEGREE_F = constants.Btu / constants.hour / constants.degree_Fahrenheit


@cache
def table(name: str) -> pd.DataFrame:
    """A reference table; its header says where it comes from."""
    return pd.read_csv(REFERENCE / name, comment="#")


def columns(name: str, *wanted: str) -> list[Array]:
    """Columns of a reference table as float arrays."""
    return [np.asarray(table(name)[column], dtype=float) for column in wanted]


@cache
def _examples() -> dict[str, Any]:
    return tomllib.loads((REFERENCE / "worked_examples.toml").read_text(encoding="utf-8"))


def example(name: str) -> dict[str, Any]:
    """A worked example by name."""
    return dict(_examples()[name])


def anchor(correlation: str, inputs: str, quantity: str) -> float:
    """One value of the anchors table; `inputs` is any part of the row's description."""
    rows = table("correlation_check_values.csv")
    hit = rows[
        (rows.correlation == correlation)
        & rows.inputs.str.contains(inputs, regex=False)
        & (rows.quantity == quantity)
    ]
    if len(hit) != 1:
        raise ValueError(f"{len(hit)} anchors for {correlation}, {inputs}, {quantity}")
    return float(hit.value.iloc[0])
