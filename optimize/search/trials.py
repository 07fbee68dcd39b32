"""Designs of a search as the trials of an Optuna study, for whoever likes to look at them in its dashboard.

Written to Optuna's journal file, of which one append holds all: 5,000 trials take seconds, its SQLite storage ten
times that. Imported where used.
"""

import warnings
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any


def write_trials(
    place: Path, name: str, axes: Mapping[str, Sequence[Any]], objectives: Sequence[tuple[str, bool]],
    rows: Sequence[tuple[dict[str, Any], Sequence[float], dict[str, Any]]],
) -> int:
    """Write a study; the number of its trials.

    Parameters
    ----------
    place : file, made.
    axes : each variable with all values it takes, numbers or names.
    objectives : name, and whether it is maximised.
    rows : variables, values of the objectives, and what else is to be shown of each design.
    """
    import optuna
    from optuna.distributions import CategoricalDistribution, FloatDistribution
    from optuna.storages.journal import JournalFileBackend

    optuna.logging.set_verbosity(optuna.logging.WARNING)
    kinds: dict[str, Any] = {
        key: CategoricalDistribution(list(values)) if isinstance(values[0], str)
        else FloatDistribution(min(values), max(values))
        for key, values in axes.items()
    }
    storage = optuna.storages.JournalStorage(JournalFileBackend(str(place)))
    kind = optuna.study.StudyDirection
    directions = [kind.MAXIMIZE if most else kind.MINIMIZE for _, most in objectives]
    study = optuna.create_study(storage=storage, study_name=name, directions=directions)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", optuna.exceptions.ExperimentalWarning)
        study.set_metric_names([title for title, _ in objectives])
    study.add_trials([
        optuna.trial.create_trial(params=params, distributions=kinds, values=list(values), user_attrs=attributes)
        for params, values, attributes in rows
    ])
    return len(rows)
