"""The summary's Markdown as HTML: paragraphs, lists, tables, bold, emphasis; every other character is a character."""

import re
from html import escape

_MARKS = re.compile(r"\\(?P<plain>[\\`*_|<>\[\]#])|\*\*(?P<bold>.+?)(?<!\\)\*\*|\*(?P<em>[^*]+?)(?<!\\)\*")
_CELLS = re.compile(r"(?<!\\)\|")
_FOLDED = 14  # rows; a longer table opens at a click
_WORDS = 40  # characters
_RULE = re.compile(r"\|( ?:?-{3,}:? ?\|)+")


def html(text: str, caption: str = "", folded: bool = True) -> str:
    """Markdown as the summary writes it, as HTML; `caption` names its tables for those who do not see them.

    Long tables open at a click where `folded`.

    >>> html("**a** < b")
    '<p><strong>a</strong> &lt; b</p>'
    >>> html("- x\\\\_y\\n- z")
    '<ul><li>x_y</li><li>z</li></ul>'
    """
    return "\n".join(_block(block, caption, folded) for block in text.split("\n\n") if block.strip())


def inline(text: str) -> str:
    """One line: bold, emphasis and backslashes; everything escaped.

    >>> inline("*shop*: a \\\\* <b>")
    '<em>shop</em>: a * &lt;b&gt;'
    """
    parts, end = [], 0
    for match in _MARKS.finditer(text):
        parts.append(escape(text[end : match.start()]))
        if match["plain"]:
            parts.append(escape(match["plain"]))
        else:
            tag = "strong" if match["bold"] else "em"
            parts.append(f"<{tag}>{inline(match['bold'] or match['em'])}</{tag}>")
        end = match.end()
    return "".join([*parts, escape(text[end:])])


def _block(block: str, caption: str, folded: bool) -> str:
    """A table, a list, or a paragraph; a paragraph may run into a list."""
    lines = block.strip("\n").split("\n")
    if len(lines) > 1 and lines[0].startswith("|") and _RULE.fullmatch(lines[1]):
        return _table(lines, caption, folded)
    for i, line in enumerate(lines):
        if line.startswith("- "):
            before = f"<p>{inline(' '.join(lines[:i]))}</p>" if i else ""
            return before + _list(lines[i:])
    return f"<p>{inline(' '.join(lines))}</p>"


def _list(lines: list[str]) -> str:
    items: list[str] = []
    for line in lines:
        if line.startswith("- "):
            items.append(line[2:])
        else:
            items[-1] += " " + line.strip()
    return "<ul>" + "".join(f"<li>{inline(item)}</li>" for item in items) + "</ul>"


def _table(lines: list[str], caption: str, folded: bool) -> str:
    """The first column heads its rows; wide tables scroll, by keyboard too."""
    heads, *rows = [[cell.strip() for cell in _CELLS.split(line)[1:-1]] for line in (lines[0], *lines[2:])]
    top = "".join(f'<th scope="col">{inline(head)}</th>' if head else "<td></td>" for head in heads)
    body = "".join(
        f'<tr><th scope="row">{inline(row[0])}</th>{"".join(map(_cell, row[1:]))}</tr>' for row in rows
    )
    named = escape(caption) or "table"
    whole = (
        f'<div class="wide" tabindex="0" role="region" aria-label="{named}"><table><thead><tr>{top}</tr></thead>'
        f"<tbody>{body}</tbody></table></div>"
    )
    if len(rows) <= _FOLDED or not folded:
        return whole
    return f"<details><summary>Table of {len(rows)} rows</summary>{whole}</details>"


def _cell(text: str) -> str:
    """Numbers stand on one line, words may wrap."""
    return f'<td class="words">{inline(text)}</td>' if len(text) > _WORDS else f"<td>{inline(text)}</td>"
