"""report.html: a run as one page that opens from disk, asks no network, and links every view of the front."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from optimize.runs import Run


def page(run: "Run") -> str:
    """The text of report.html, from a run's record, tables, sheets and study alone.

    Raises KeyError when the run lacks a table or column it should have.
    """
    from optimize.report.page.assembly import assembled

    return assembled(run)
