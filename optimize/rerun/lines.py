"""The first answer of a rerun in words, before the search."""

from optimize import tables
from optimize.rerun.answer import STAYS, fates_table
from optimize.rerun.survey import Survey, warm_front

_MOST_CHANGES = 12
_OF_A_PICK = ("pick_before", "core_before", "fate", "because", "repair")


def survey_lines(survey: Survey) -> list[str]:
    """What was changed, what becomes of the old front, and the front its survivors lead to."""
    warm = warm_front(survey)
    fates = fates_table(survey, warm.objectives)
    changes = [f"  {change}" for change in survey.changes[:_MOST_CHANGES]] or ["  nothing"]
    more = len(survey.changes) - _MOST_CHANGES
    lines = ["Changed:", *changes, *([f"  and {more} more"] if more > 0 else []), ""]
    lines.append(f"The old front, {len(fates)} cores, looked at in {survey.seconds:.1f} s:")
    for fate, count in fates["fate"].value_counts(sort=False).items():
        lines.append(f"  {count} {str(fate).replace(STAYS, 'as good as any found so far')}")
    for _, row in fates[fates["pick_before"] != ""].iterrows():
        pick, core, fate, why, repair = (str(row[name]) for name in _OF_A_PICK)
        told = f"  {pick}, {core}, {fate}" + (f": {why}" if why else "")
        lines.append(f"{told}; {repair} keeps all" if repair else told)
    lines += ["", f"From them {len(warm)} cores make the front so far ({len(survey.climbed.seen):,} rated); best:"]
    if len(warm):
        for title, values in tables.objective_columns(survey.problem, warm.objectives).items():
            best = values.max() if _maximised(survey, title) else values.min()
            lines.append(f"  {title}: {best:.4g}")
    else:
        lines[-1] = f"None of {len(survey.climbed.seen):,} cores near them keeps everything."
    return [*lines, ""]


def _maximised(survey: Survey, title: str) -> bool:
    headers = tables.objective_headers(survey.problem)
    return survey.problem.study.objectives[headers.index(title)].maximise
