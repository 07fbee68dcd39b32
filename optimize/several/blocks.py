"""Findings in blocks of lines and a table each, for the terminal and for a page in Markdown."""

from collections.abc import Sequence
from dataclasses import dataclass

from optimize.report.markdown import plain, table


@dataclass(frozen=True)
class Block:
    """A title, sentences, and a table: heads, and rows of as many texts."""

    title: str
    lines: tuple[str, ...] = ()
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


def as_text(blocks: Sequence[Block]) -> str:
    """Blocks for the terminal, columns under each other; numbers to the right."""
    return "\n\n".join("\n".join([block.title, *(f"  {line}" for line in block.lines), *_columns(block)])
                       for block in blocks)  # fmt: skip


def _columns(block: Block) -> list[str]:
    if not block.rows:
        return []
    rows = [block.heads, *block.rows]
    widths = [max(len(row[i]) for row in rows) for i in range(len(block.heads))]
    right = [all(_is_number(row[i]) for row in block.rows) for i in range(len(block.heads))]
    return [
        "  " + "  ".join(
            cell.rjust(width) if side else cell.ljust(width)
            for cell, width, side in zip(row, widths, right, strict=True)
        ).rstrip() for row in rows
    ]  # fmt: skip


def _is_number(text: str) -> bool:
    try:
        float(text.replace("−", "-").removesuffix(" %"))
    except ValueError:
        return text in ("", "-")
    return True


def as_markdown(title: str, blocks: Sequence[Block], figure: str) -> str:
    """The same as a page, with a figure under its title, if there is one."""
    parts = [f"# {plain(title)}", *([f"![{plain(title)}]({figure})"] if figure else [])]
    for block in blocks:
        parts.append(f"## {plain(block.title)}")
        if block.lines:
            parts.append("\n".join(f"- {plain(line)}" for line in block.lines))
        if block.rows:
            heads = [plain(head) for head in block.heads]
            parts.append(table(heads, [[plain(cell) for cell in row] for row in block.rows]))
    return "\n\n".join(parts) + "\n"
