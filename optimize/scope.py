"""What a search looked at: the cores it speaks for, those rated, those its counts are of. Read off a run's record."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Scope:
    """Numbers of cores.

    Attributes
    ----------
    cores : what the front stands for: all of the space where it is exact, else the cores rated.
    rated : in full. counted : those that feasible cores and requirements are counted among.
    feasible : among those counted.
    exact : no core of the space is missing on the front. drawn : counts are of cores drawn evenly, not of all.
    """

    cores: int
    rated: int
    counted: int
    feasible: int
    exact: bool
    drawn: bool

    @property
    def meeting(self) -> str:
        """How many meet everything.

        >>> Scope(10**9, 70_000, 60_000, 1_234, True, True).meeting
        '2.1 % of 60,000 drawn evenly meet everything'
        """
        if self.drawn:
            share = 100 * self.feasible / max(self.counted, 1)
            return f"{share:.2g} % of {self.counted:,} drawn evenly meet everything"
        return f"{self.feasible:,} meet everything"

    @property
    def feasible_words(self) -> str:
        """What the grey cores of a figure are some of."""
        return "drawn evenly" if self.drawn else f"some of {self.feasible:,}"


def scope_of(record: dict[str, Any]) -> Scope:
    """The scope of a run's search."""
    drawn, rated = record["method"] == "certify", int(record["rated"])
    return Scope(
        cores=int(record["space"]) if drawn else rated, rated=rated, counted=int(record.get("counted", rated)),
        feasible=int(record["feasible"]), exact=bool(record["exact"]), drawn=drawn,
    )
