"""A comparison as text and as files."""

from pathlib import Path
from typing import TYPE_CHECKING

from optimize.several.compare import Compared

if TYPE_CHECKING:
    import pandas as pd

_MOST_CHANGES = 25


def comparison_text(found: Compared) -> str:
    """The comparison in words and small tables."""
    lines = ["What differs in the studies:", _table(found.changes.head(_MOST_CHANGES)) or "  nothing"]
    if len(found.changes) > _MOST_CHANGES:
        lines.append(f"  and {len(found.changes) - _MOST_CHANGES} more")
    lines += ["", "Fronts (hypervolume in one box for all):"]
    for front, share in zip(found.fronts, found.hypervolumes, strict=True):
        told = f"{100 * share:.1f} %" if share == share else "no common measure"
        lines.append(f"  {front.name}: {len(front.cores)} cores, {told}")
    lines += [f"  note: {remark}" for remark in found.remarks]
    beside = found.picks.set_index("core").T.reset_index() if len(found.picks) else found.picks
    lines += ["", "Named cores:", _table(beside)]
    lines += ["", "The same cores under every study:", _table(found.crossed)]
    return "\n".join(lines)


def _table(table: "pd.DataFrame") -> str:
    return "" if table.empty else table.to_string(index=False, float_format=lambda v: f"{v:.4g}")


def write_comparison(found: Compared, folder: Path) -> list[Path]:
    """changes.csv, picks.csv, crossed.csv and compare.md into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, table in (("changes", found.changes), ("picks", found.picks), ("crossed", found.crossed)):
        table.to_csv(folder / f"{name}.csv", index=False, float_format="%.8g")
        written.append(folder / f"{name}.csv")
    page = folder / "compare.md"
    page.write_text(f"# {found.title}: runs compared\n\n```\n{comparison_text(found)}\n```\n", encoding="utf-8")
    return [*written, page]
