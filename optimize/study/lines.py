"""The line each key of a TOML file stands on, so that a fault can point at it."""

import tomllib
from collections.abc import Iterator
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import tree_sitter

Path = tuple[str | int, ...]
_KEYS = ("bare_key", "quoted_key", "dotted_key")


def key_lines(text: str) -> dict[Path, int]:
    """Line (from 1) of every table, key and list item, by its path from the top; for text that is valid TOML.

    >>> key_lines('a = 1\\n[b.c]\\nd = [\\n 2]\\n')
    {('a',): 1, ('b',): 2, ('b', 'c'): 2, ('b', 'c', 'd'): 3, ('b', 'c', 'd', 0): 4}
    >>> key_lines('[[limits]]\\nmax = 3\\n')
    {('limits',): 1, ('limits', 0): 1, ('limits', 0, 'max'): 2}
    """
    lines: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    for node in _parser().parse(text.encode()).root_node.children:
        if node.type == "pair":
            _pair(node, (), lines)
        elif node.type in ("table", "table_array_element"):
            _table(node, lines, counts)
    return lines


def line_of(path: Path, lines: dict[Path, int]) -> int:
    """Line of the key, or of the nearest table above it that stands in the file.

    >>> line_of(("core", "lenth"), {("core",): 7})
    7
    """
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return 1


@cache
def _parser() -> "tree_sitter.Parser":
    import tree_sitter
    import tree_sitter_toml

    return tree_sitter.Parser(tree_sitter.Language(tree_sitter_toml.language()))


def _table(node: "tree_sitter.Node", lines: dict[Path, int], counts: dict[Path, int]) -> None:
    """A table header: its parents, then its pairs; inside a list of tables the last one is meant."""
    key = next(child for child in node.children if child.type in _KEYS)
    names, line = _names(key), key.start_point[0] + 1
    path: Path = ()
    for position, name in enumerate(names):
        path = (*path, name)
        lines.setdefault(path, line)
        last = position == len(names) - 1
        if last and node.type == "table_array_element":
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
            lines.setdefault(path, line)
    for child in node.children:
        if child.type == "pair":
            _pair(child, path, lines)


def _pair(node: "tree_sitter.Node", path: Path, lines: dict[Path, int]) -> None:
    for name in _names(node.children[0]):
        path = (*path, name)
        lines.setdefault(path, node.start_point[0] + 1)
    _value(node.children[-1], path, lines)


def _value(node: "tree_sitter.Node", path: Path, lines: dict[Path, int]) -> None:
    if node.type == "inline_table":
        for child in node.children:
            if child.type == "pair":
                _pair(child, path, lines)
    elif node.type == "array":
        for index, child in enumerate(_items(node)):
            lines.setdefault((*path, index), child.start_point[0] + 1)
            _value(child, (*path, index), lines)


def _items(node: "tree_sitter.Node") -> "Iterator[tree_sitter.Node]":
    return (child for child in node.children if child.is_named and child.type != "comment")


def _names(node: "tree_sitter.Node") -> list[str]:
    """The parts of a key, dotted or not; quoted parts unescaped by the TOML reader itself."""
    if node.type == "dotted_key":
        return [name for child in node.children if child.type in _KEYS for name in _names(child)]
    text = (node.text or b"").decode()
    return [text if node.type == "bare_key" else next(iter(tomllib.loads(f"{text} = 0")))]
