"""Texts a user might give, meant or not, that would run, break or hide something where they are not escaped."""

_SEEDS = (
    "<script>window.hacked=1</script>", "</script><script>window.hacked=1</script>",
    "<img src=x onerror=window.hacked=1>", "\"><svg onload=window.hacked=1>", "'><b>bold</b>",
    "javascript:window.hacked=1", "=cmd|' /C calc'!A0",
    "+1+cmd", "@SUM(A1)", "-2+3", "{{ 7*7 }}", "{% raw %}", "${window.hacked=1}", "$$\\frac{1}{2}$$", "\\(x\\)",
    "\\[x\\]", "@core{safe}", "$index", "&lt;b&gt;", "<!-- ", "]]>", "a\nb\r\nc", "tab\tand\x07bell",
    "\u202eevil\u202c", "שלום עולם", "100 %", "# head", "**bold**", "| a | b |", "`code`",
    "x" * 500, "🙂", "\u2028", "</style>", "\x1b[31m",
)  # fmt: skip


def hostile(count: int = 200) -> list[str]:
    """So many different ones."""
    return [f"{_SEEDS[i % len(_SEEDS)]}{i // len(_SEEDS) or ''}" for i in range(count)]
