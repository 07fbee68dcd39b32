"""Headlines of the figures: what each one says, with the run's own numbers, in a line."""

from optimize.report.columns import column, words
from optimize.report.core_data import limit_data, range_data
from optimize.runs import Run
from optimize.scope import scope_of

_LONGEST = 84  # characters of a headline at A4 width


def front(run: Run) -> str:
    """How many cores are worth having, out of how many, and whether that is all of them."""
    scope, kept = scope_of(run.record), run.record["front"]
    how = ", rated or ruled out" if scope.drawn else ", every one rated" if scope.exact else " rated"
    of = f"{scope.cores:,} cores{how}"
    return fit(run, f"{kept:,} worth having out of {of}")


def curves(run: Run) -> str:
    """Whose neighbourhood the curves are."""
    return fit(run, f"what each variable does around the knee, {run.record['picks']['knee']}")


def range_of_front(run: Run) -> str:
    """What changes along the front."""
    changing = [words(column(strip.title).name) for strip in range_data(run).strips]
    if not changing:
        return fit(run, "nothing changes along the front")
    listed = " and ".join([", ".join(changing[:-1]), changing[-1]] if changing[1:] else changing)
    return fit(run, f"{listed} change{'s' if len(changing) == 1 else ''} along the front")


def limits(run: Run) -> str:
    """The requirement that turns most cores away."""
    data = limit_data(run)
    if not data.names:
        return fit(run, "no requirement turned any core away")
    return fit(run, f"{data.names[0]} turns most cores away")


def before_after(run: Run) -> str:
    """What became of the front when the study changed."""
    held = run.record["rerun"]["hypervolume"]
    if held is None or not held["before"]:
        return fit(run, "the front before the change and now")
    return fit(run, f"the change {_gave(100 * (held['after'] / held['before'] - 1))} of the hypervolume")


def _gave(change: float) -> str:
    return f"gained {change:.1f} %" if change > 0 else f"cost {-change:.1f} %"


def worth(run: Run) -> str:
    """What the pocket and the limits are worth."""
    return fit(run, "what more or less of each dimension and limit is worth")


def off_grid(run: Run) -> str:
    """What leaving the steps gave."""
    share = run.record["off_grid"]["hypervolume"]
    if share["off_grid"] is None or not share["grid"]:
        return fit(run, "the front off the grid")
    return fit(run, f"off the grid {100 * (share['off_grid'] / share['grid'] - 1):.2g} % more of the hypervolume")


def misses(run: Run) -> str:
    """Nothing is feasible."""
    return fit(run, f"none of {scope_of(run.record).cores:,} cores meets everything; these come nearest")


def fit(run: Run, said: str) -> str:
    """The study's title before what is said, where there is room for it."""
    title = " ".join(str(run.record["title"]).split())
    whole = f"{title}: {said}"
    return whole if title and len(whole) <= _LONGEST else said[:1].upper() + said[1:]
