"""The published checks in README.md are the ones computed now."""

import re
from pathlib import Path

import pytest
from published_table import markdown

README = Path(__file__).parents[1] / "README.md"
BEGIN, END = "<!-- published checks -->", "<!-- end of published checks -->"


def between_markers(text: str) -> str:
    """What stands between the two markers, each found exactly once."""
    assert (text.count(BEGIN), text.count(END)) == (1, 1), f"{README.name} wants {BEGIN} and {END} once each"
    return text.split(BEGIN)[1].split(END)[0].strip()


@pytest.fixture(scope="module")
def computed() -> list[str]:
    return markdown().splitlines()


def test_the_readme_shows_the_published_checks_as_computed_now(computed: list[str]) -> None:
    # When this fails: put what `.venv/bin/python tests/published_table.py` prints between the markers
    assert between_markers(README.read_text(encoding="utf-8")).splitlines() == computed


def test_every_published_check_fills_its_five_columns_with_finite_values(computed: list[str]) -> None:
    for line in computed:
        cells = line.strip("|").split("|")
        assert len(cells) == 5, line
        assert all(cell.strip() for cell in cells), line
        assert not re.search(r"\b(nan|inf)\b", line), line
