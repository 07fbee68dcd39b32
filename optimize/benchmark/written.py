"""A benchmark in a folder: the table as Markdown and CSV, the searches' courses as CSV and figure."""

from pathlib import Path

import numpy as np

from optimize.benchmark.searchers import Course
from optimize.benchmark.table import HEAD, Row, markdown_head
from optimize.csv_file import write_csv
from optimize.errors import FinfrontError
from optimize.report.gap_figure import GapLine, write_gap_figure


def make_folder(folder: Path) -> None:
    """FinfrontError where it cannot be made."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        what = f"cannot make the folder '{folder}': {error.strerror}"
        raise FinfrontError(what, do="name another one with --out") from None


def write(folder: Path, about: str, rows: list[Row], courses: list[Course], title: str) -> list[Path]:
    """Everything measured; the paths written."""
    text = folder / "benchmark.md"
    text.write_text("\n".join([about, "", markdown_head(), *(r.markdown for r in rows)]) + "\n", encoding="utf-8")
    table = [(row.what, row.measured, row.how) for row in rows]
    paths = [text, write_csv(folder / "benchmark.csv", HEAD, [*table, ("machine", about, "")])]
    begun = [course for course in courses if len(course.times)]
    if begun:
        heads = ("searcher", "seed", "time [s]", "hypervolume missing [%]")
        steps = [(c.searcher, c.seed, f"{t:.4f}", f"{100 * g:.6g}") for c in begun
                 for t, g in zip(c.times, c.gap, strict=True)]  # fmt: skip
        paths.append(write_csv(folder / "gap.csv", heads, steps))
        seeds = max(sum(c.searcher == name for c in begun) for name in {c.searcher for c in begun})
        said = "one process, wall clock, the same evaluator"
        said += f"; bold: median of {seeds} seeds, thin: each of them" if seeds > 1 else ""
        lines = gap_lines(begun)
        paths += write_gap_figure(lines, _headline(title, lines), said, folder)
    return paths


def _headline(title: str, lines: list[GapLine]) -> str:
    """Who was first on the exact front, else who came nearest."""
    exact = [(float(line.times[np.argmax(line.middle < 1e-9)]), line.name) for line in lines if line.middle[-1] < 1e-9]
    if exact:
        seconds, name = min(exact)
        return f"{title}: {name} has the exact front after {seconds:.1f} s"
    gap, name = min((float(line.middle[-1]), line.name) for line in lines)
    return f"{title}: {name} comes nearest, {gap:.2g} % of the hypervolume missing"


def gap_lines(courses: list[Course]) -> list[GapLine]:
    """A line for each searcher at every time of any of its seeds, each gap being the last one reached."""
    lines = []
    for name in dict.fromkeys(course.searcher for course in courses):
        own = [course for course in courses if course.searcher == name]
        first = max(c.times[0] for c in own)
        times = np.unique(np.concatenate([c.times[c.times >= first] for c in own]))
        gaps = [c.gap[np.clip(np.searchsorted(c.times, times, side="right") - 1, 0, None)] for c in own]
        lines.append(GapLine(name, times, 100 * np.array(gaps)))
    return lines
