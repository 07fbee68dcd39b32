"""The one app of the command line, its options, and its progress bars."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

import typer

app = typer.Typer(
    help="Rate, search and compare liquid-cooled bar-and-plate charge-cooler cores.",
    no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None,
)

StudyFile = Annotated[Path, typer.Argument(metavar="STUDY", help="Study file (TOML).", show_default=False)]
Core = Annotated[
    list[str] | None,
    typer.Option("--core", metavar="KEY=VALUE", help="One variable of the core; repeat. Values carry units."),
]
FromRun = Annotated[Path | None, typer.Option("--run", metavar="RUN", help="Take the core from this run ...")]
Pick = Annotated[str, typer.Option("--pick", metavar="NAME", help="... by its name (C123) or pick (knee).")]
StudyOrRun = Annotated[Path, typer.Argument(metavar="STUDY|RUN", help="Study file, or the folder of a run.")]
RunFolder = Annotated[
    Path | None,
    typer.Option("--out", help="Folder of the run.", show_default="results/STUDY-STAMP, or one that was stopped"),
]
Salvage = Annotated[bool, typer.Option("--salvage", help="Go on from the sound batches of a damaged store.")]
Out = Annotated[Path, typer.Option(help="Folder for what is written.")]
HANDOVER = Path("results/handover")
BenchLoss = Annotated[
    str, typer.Option("--loss", help="Uncertainty of the loss on the bench of the acceptance, 95 %, of the value.")
]
BenchFlow = Annotated[str, typer.Option("--flow", help="Uncertainty of the flow on that bench, 95 %, of the value.")]
Workers = Annotated[int | None, typer.Option(min=1, help="Processes; no result depends on it.", show_default="all")]
OnCluster = Annotated[
    str | None, typer.Option("--cluster", metavar="ADDRESS", help="Spread the work over this dask cluster.")
]
Seed = Annotated[int | None, typer.Option(min=0, help="Seed in place of the study's.")]


@contextmanager
def progress_bars() -> Iterator[Any]:
    """Progress on stderr: a function (what, done, total)."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True)) as bars:
        tasks: dict[str, Any] = {}

        def report(what: str, done: int, total: int) -> None:
            if what not in tasks:
                tasks[what] = bars.add_task(what, total=total)
            bars.update(tasks[what], completed=done, total=total)

        yield report
