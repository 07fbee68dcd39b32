"""A run in a notebook: shows itself, and its tables know their units; the house style is one others can use."""

from html.parser import HTMLParser
from pathlib import Path

import matplotlib as mpl
import matplotlib.colors
import matplotlib.style
import pandas as pd
import pytest
from small_studies import ROOT

from optimize import runs
from optimize.errors import FinfrontError
from optimize.notebook import OpenRun, open_run
from optimize.report import style

EXAMPLE = Path(ROOT) / "results/example"


@pytest.fixture(scope="module")
def run() -> OpenRun:
    return open_run(EXAMPLE)


def test_units_stand_in_the_attributes_and_not_in_the_titles(run):
    read, found = pd.read_csv(EXAMPLE / "front.csv"), run.to_dataframe()
    assert found.attrs["units"]["air_pressure_drop@full_power"] == "kPa"
    assert found.attrs["units"]["thickness"] == "mm"
    assert "passages" not in found.attrs["units"]
    assert found.attrs["labels"]["air_outlet_temperature@long_climb"] == "air outlet temperature, long climb [°C]"
    assert not [name for name in found.columns if "[" in name]
    assert found["thickness"].tolist() == read["thickness [mm]"].tolist()
    assert found.shape == read.shape


def test_every_table_of_a_run_comes_as_a_frame(run):
    for name in run.run.tables:
        assert len(run.to_dataframe(name)) == len(run.run.tables[name])


def test_a_frame_is_of_its_own(run):
    run.to_dataframe().attrs["units"].clear()
    assert run.to_dataframe().attrs["units"]


def test_a_table_that_is_not_there_is_told_with_those_that_are(run):
    with pytest.raises(FinfrontError, match="no table 'fronts'") as told:
        run.to_dataframe("fronts")
    assert "front, yield" in str(told.value)


class Page(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)


def test_a_run_shows_its_front_and_its_named_cores(run):
    text = run._repr_html_()
    page = Page(text)
    assert page.tags.count("img") == 1
    assert page.tags.count("table") == 1
    for core in run.run.record["picks"].values():
        assert core in text
    assert "air loss, total, full power [kPa]" in text


def test_names_of_the_user_run_no_script_in_a_notebook(run):
    record = run.run.record | {"title": "<script>alert(1)</script>"}
    front = run.run.tables["front"].assign(air_fin="<img src=x onerror=alert(1)>")
    hostile = OpenRun(runs.Run(EXAMPLE, record, run.run.tables | {"front": front}))
    assert Page(hostile._repr_html_()).tags.count("script") == 0
    assert Page(hostile._repr_html_()).tags.count("img") == 1


def test_a_folder_without_a_run_is_refused(tmp_path):
    with pytest.raises(FinfrontError, match="holds no finished run"):
        open_run(tmp_path)


def test_the_house_style_is_a_style_of_matplotlib():
    with mpl.style.context("optimize.report.house"):
        assert mpl.rcParams["text.color"] == style.INK
        assert mpl.colors.to_hex(mpl.rcParams["axes.prop_cycle"].by_key()["color"][0]) == style.FRONT
