"""Designs of a search as the trials of an Optuna study, for whoever likes to look at them in its dashboard.

Written to Optuna's journal file: the 5,052 designs of the example take 7 s to write and 2 s to read again, 10 MB; in
its SQLite storage 208 s, 6 s and 11 MB (two busy cores). Requirements go as constraints: Optuna and the
dashboard's plot of the front heed them, the dashboard's list of best trials (0.21) does not.
"""

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

_CONSTRAINTS = "constraints"  # where Optuna and its dashboard look for them


@dataclass(frozen=True)
class Trial:
    """A design: variables, values of the objectives, shortfalls (above 0 missed), and what else is shown of it."""

    variables: dict[str, Any]
    values: Sequence[float]
    shortfalls: Sequence[float]
    about: dict[str, Any]


def write_trials(
    place: Path, name: str, axes: Mapping[str, Sequence[Any]], objectives: Sequence[tuple[str, bool]],
    requirements: Sequence[str], trials: Sequence[Trial],
) -> int:
    """Write a study; the number of its trials.

    Parameters
    ----------
    place : file, made.
    axes : each variable with all values it takes, numbers or names.
    objectives : name, and whether it is maximised.
    requirements : names of the shortfalls.
    """
    import optuna
    from optuna.storages.journal import JournalFileBackend

    optuna.logging.set_verbosity(optuna.logging.WARNING)
    storage = optuna.storages.JournalStorage(JournalFileBackend(str(place)))
    kind = optuna.study.StudyDirection
    directions = [kind.MAXIMIZE if most else kind.MINIMIZE for _, most in objectives]
    study = optuna.create_study(storage=storage, study_name=name, directions=directions)
    study.set_user_attr("requirements", list(requirements))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", optuna.exceptions.ExperimentalWarning)
        study.set_metric_names([title for title, _ in objectives])
    ranges = {key: _distribution(values) for key, values in axes.items()}
    study.add_trials([
        optuna.trial.create_trial(
            params=trial.variables, distributions=ranges, values=list(trial.values), user_attrs=trial.about,
            system_attrs={_CONSTRAINTS: list(trial.shortfalls)},
        )
        for trial in trials
    ])
    return len(trials)


def _distribution(values: Sequence[Any]) -> Any:
    """Names as a list, whole numbers and others as a range."""
    from optuna.distributions import CategoricalDistribution, FloatDistribution, IntDistribution

    if isinstance(values[0], str):
        return CategoricalDistribution(list(values))
    if all(value == round(value) for value in values):
        return IntDistribution(int(min(values)), int(max(values)))
    return FloatDistribution(min(values), max(values))
