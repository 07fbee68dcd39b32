"""A table without pandas as a CSV file."""

import csv
from collections.abc import Sequence
from pathlib import Path


def write_csv(path: Path, head: Sequence[str], rows: Sequence[Sequence[object]]) -> Path:
    """Rows under a head; the path."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(head)
        writer.writerows(rows)
    return path
