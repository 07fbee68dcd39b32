"""report.html without a browser: what is in it, how large it is, that nothing in it is a user's markup."""

import base64
import csv
import hashlib
import json
import re
from collections.abc import Iterator
from dataclasses import asdict
from html import unescape
from pathlib import Path
from random import Random

import pandas as pd
import pytest
from hostile import hostile
from hypothesis import given
from hypothesis import strategies as st
from page_runs import EXAMPLE, FEW, Elements, edit_record, example, stub_drawing, unpacked, written

from optimize.evenly import evenly
from optimize.report import write_report
from optimize.report.markdown import plain
from optimize.report.page.assembly import MOST_BYTES
from optimize.report.page.markdown_page import inline
from optimize.report.page.plain_text import for_plot, one_line
from optimize.report.palette import DARK, LIGHT, Palette

SECTIONS = [
    "asked", "named", "front", "copies-of-them", "the-robust-front", "what-the-cores-are-made-of", "what-limits-what",
    "trade-off-around-the-knee", "blower-and-net-gain", "coolant-circuit", "moisture-freezing-boiling",
    "how-far-to-trust-it", "what-to-tighten", "what-it-assumes", "cautions", "how-it-was-made", "again",
]  # fmt: skip
LIMIT = 3_000_000


@pytest.fixture(scope="module", autouse=True)
def _drawing() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        stub_drawing(patch)
        yield


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The page of the example with every table it has."""
    return written(example(tmp_path_factory.mktemp("page") / "run")).read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def few(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The page of a run that was not scattered and has no loop."""
    return written(bare(tmp_path_factory.mktemp("page") / "run")).read_text(encoding="utf-8")


def bare(folder: Path) -> Path:
    """The example without copies, circuit and gain."""
    example(folder, FEW)
    edit_record(folder, robust=None, budget=None, water=None, net_gain=None)
    dropped = r"pump|loop_|front_eff|shaft|gain|charge_flow_change|engine_power|freezing|boiling|dew|condens|coldest"
    table = pd.read_csv(folder / "front.csv", dtype=str)
    table.loc[:, [c for c in table.columns if not re.search(dropped, c)]].to_csv(folder / "front.csv", index=False)
    return folder


def rows(name: str) -> list[dict[str, str]]:
    with (EXAMPLE / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# --- the whole ------------------------------------------------------------------------------------------------------


def test_the_page_has_every_section_in_its_order(whole: str) -> None:
    assert [a["id"] for a in Elements(whole).all("section")] == SECTIONS


def test_every_tag_is_closed_in_its_turn_and_no_id_is_given_twice(whole: str) -> None:
    page = Elements(whole)
    assert page.faults == []
    ids = [attributes["id"] for _, attributes in page.found if "id" in attributes]
    assert len(ids) == len(set(ids))
    assert all(a["href"][1:] in ids for a in page.all("a") if a["href"].startswith("#"))


def test_nothing_is_loaded_from_anywhere(whole: str) -> None:
    page = Elements(whole)
    for _, attributes in page.found:
        for name in ("src", "href", "action", "data", "poster", "srcset"):
            assert not re.match(r"\s*(https?:|//|file:)", attributes.get(name, ""))
    style = re.search(r"(?s)<style>(.*?)</style>", whole)
    assert style
    assert "@import" not in style[1]
    assert "url(" not in style[1]


def test_the_policy_allows_no_network_and_no_script_but_its_own(whole: str) -> None:
    policy = next(a["content"] for a in Elements(whole).all("meta") if a.get("http-equiv") == "Content-Security-Policy")
    assert policy.startswith("default-src 'none';")
    assert "unsafe-eval" not in policy
    scripts = re.search(r"script-src ([^;]*)", policy)
    assert scripts
    own = re.search(r"(?s)<script>(.*?)</script>", whole)
    assert own
    texts = [own[1], *(unpacked(whole, f'data-code="{n}"') for n in ("bokeh", "bokeh-widgets", "bokeh-tables"))]
    digests = [base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in texts]
    assert scripts[1].split() == [f"'sha256-{digest}'" for digest in digests]


def test_the_page_says_the_summary_s_words_and_how_to_make_the_run_again(whole: str) -> None:
    text = " ".join(Elements(re.sub(r"(</t[hd]>)", r" \1", whole)).text.split())
    for line in (
        "Of 2,358,720 cores rated 32,972 meet everything", "pocket length 330 mm", "A leak in the core puts coolant",
        "This net gain is an estimate.", "2 of 20 front cores: air fins outside the range of their correlation.",
        "finfront run study.toml --seed 7", "numpy 2.", "29.3 % (27.9 .. 30.7) of its copies miss filled mass (max)",
        "The circuit is one closed line in series", "thickness ±0.4 mm as today ±0.8 mm ±0.8 mm",
        "ambient: temperature 36 degC (tolerance: law normal, half width 8 K, sigmas 2), pressure 95 kPa",
    ):
        assert line in text, line


def test_the_same_folder_gives_the_same_bytes(few: str, tmp_path: Path) -> None:
    assert written(bare(tmp_path / "run")).read_text(encoding="utf-8") == few


# --- one source -----------------------------------------------------------------------------------------------------


def objects(data: object, kind: str) -> list[dict[str, object]]:
    """Every model of a kind in a document."""
    if isinstance(data, list):
        return [found for part in data for found in objects(part, kind)]
    if not isinstance(data, dict):
        return []
    own = [data] if data.get("type") == "object" and data.get("name") == kind else []
    return own + [found for part in data.values() for found in objects(part, kind)]


def attributes(model: dict[str, object]) -> dict[str, object]:
    found = model["attributes"]
    assert isinstance(found, dict)
    return found


def test_all_views_and_the_table_share_one_source_that_is_the_front(whole: str) -> None:
    document = json.loads(unpacked(whole, 'data-packet="linked"'))
    (front,) = [s for s in objects(document, "ColumnDataSource") if attributes(s).get("name") == "front"]
    names = ("front marks", "front lines")
    marks = [r for r in objects(document, "GlyphRenderer") if attributes(r).get("name") in names]
    assert len(marks) == 6  # plane, shape, mass, coolant side, any two, parallel axes
    (table,) = objects(document, "DataTable")
    for model, key in [*((mark, "data_source") for mark in marks), (table, "source")]:
        source = attributes(model)[key]
        assert isinstance(source, dict)
        assert source["id"] == front["id"]


def test_the_source_holds_the_front_as_its_table_does(whole: str) -> None:
    document = json.loads(unpacked(whole, 'data-packet="linked"'))
    (front,) = [s for s in objects(document, "ColumnDataSource") if attributes(s).get("name") == "front"]
    data = dict(attributes(front)["data"]["entries"])  # type: ignore[index, call-overload]
    keys = dict(json.loads(unpacked(whole, 'id="data-meta"'))["csv"])
    table = sorted(rows("front"), key=lambda row: float(row["air_outlet_temperature@full_power [degC]"]))
    for title in table[0]:
        shown = data[keys[title]]
        for own, row in zip(shown, table, strict=True):
            if isinstance(own, float):
                assert own == pytest.approx(float(row[title]), rel=1e-5)
            elif not isinstance(own, dict):
                assert str(own) == row[title]


def test_fin_density_comes_from_the_catalogue_of_the_run(whole: str) -> None:
    meta = json.loads(unpacked(whole, 'id="data-meta"'))
    field = next(f for f in meta["fields"] if f["name"] == "fin_density")
    document = json.loads(unpacked(whole, 'data-packet="linked"'))
    (front,) = [s for s in objects(document, "ColumnDataSource") if attributes(s).get("name") == "front"]
    data = dict(attributes(front)["data"]["entries"])  # type: ignore[index, call-overload]
    fins = data[next(key for key, title in meta["names"].items() if title == "air_fin")]
    # S25-64 has 25 fins an inch; an inch is 25.4 mm
    assert field["unit"] == "1/m"
    assert data[field["key"]][fins.index("S25-64")] == pytest.approx(25 / 0.0254, rel=1e-5)


def test_clouds_are_the_copies_of_their_table(whole: str) -> None:
    clouds = json.loads(unpacked(whole, 'id="data-meta"'))["clouds"]
    own = [r for r in rows("clouds") if r["core"] == "C919911" and r["scatter"] == "shop"]
    cloud = clouds["C919911"]["shop"]
    assert cloud["met"] == [int(r["met"] == "True") for r in own]
    assert cloud["values"][1] == pytest.approx([float(r["air_pressure_drop@full_power [kPa]"]) for r in own], rel=1e-4)


def test_the_page_keeps_what_the_plots_of_the_limits_say(whole: str) -> None:
    fields = json.loads(unpacked(whole, 'id="data-meta"'))["fields"]
    limits = {(f["name"], f["at"]): f["limits"] for f in fields}
    assert limits[("filled_mass", "")] == [[3.6, "limit 3.6 kg"]]
    assert limits[("air_pressure_drop", "long_climb")] == [[8.0, "limit 8 kPa"]]
    assert limits[("air_outlet_temperature", "long_climb")] == []


# --- sheets and drawings --------------------------------------------------------------------------------------------


def test_sheets_and_drawings_of_the_front_are_in_the_page(whole: str) -> None:
    assert list(json.loads(unpacked(whole, 'id="data-sheets"'))) == ["C919911"]
    drawn = [a["data-drawing"] for a in Elements(whole).all("script") if "data-drawing" in a]
    assert len(drawn) == 20
    assert set(drawn[:4]) == {"C919911", "C264571", "C2033541", "C592339"}  # the picks first


def grown(folder: Path, count: int) -> Path:
    """The example with a front of so many cores, each with a name and figures of its own."""
    table = pd.read_csv(folder / "front.csv", dtype={"line": str, "passes": str})
    random = Random(1)
    more = pd.concat([table] * (count // len(table)), ignore_index=True)
    for title in more.select_dtypes("float").columns:
        more[title] *= [random.uniform(0.9, 1.1) for _ in range(len(more))]
    more.loc[len(table) :, "pick"] = None
    more["core"] = [*table["core"], *(f"C{3_000_000 + i}" for i in range(len(more) - len(table)))]
    more.to_csv(folder / "front.csv", index=False)
    designs = pd.read_csv(folder / "designs.csv", dtype={"line": str, "passes": str})
    kept = more.loc[:, [c for c in designs.columns if c in more]].assign(layer=1, feasible="yes")
    pd.concat([kept[designs.columns], designs[designs["layer"] != 1]]).to_csv(folder / "designs.csv", index=False)
    return folder


def test_a_front_of_two_thousand_cores_with_sheets_and_drawings_stays_below_three_megabytes(tmp_path: Path) -> None:
    folder = grown(bare(tmp_path / "run"), 2000)
    cores = pd.read_csv(folder / "front.csv")["core"].tolist()[:200]
    random = Random(2)
    sheet = {"core": [], "requirements": [], "correlations": [], "cautions": []}
    sheets = {
        core: sheet | {"groups": [{"title": "Flow", "heads": ["a", "b"], "rows": [
            [f"row {i} of a sheet", [random.randint(1, 99_999) / 1000, random.randint(1, 99_999) / 10], "kPa"]
            for i in range(110)]}]}
        for core in cores
    }  # fmt: skip
    (folder / "sheets.json").write_text(json.dumps(sheets), encoding="utf-8")
    points = " ".join(f"{random.uniform(0, 420):.2f},{random.uniform(0, 297):.2f}" for _ in range(4000))
    with pytest.MonkeyPatch.context() as patch:
        stub_drawing(patch, f"<svg xmlns='http://www.w3.org/2000/svg'><title>CORE</title><path d='M{points}'/></svg>")
        text = written(folder).read_text(encoding="utf-8")
    assert len(text.encode()) < LIMIT
    drawn = [a["data-drawing"] for a in Elements(text).all("script") if "data-drawing" in a]
    assert "C919911" in drawn
    assert len(drawn) < 100  # each of these drawings has 25 kB however it is packed
    assert f"{len(drawn):,} of 2,000 cores are drawn in this page." in " ".join(Elements(text).text.split())


def test_a_run_whose_study_cannot_be_read_has_a_page_without_drawings(tmp_path: Path) -> None:
    folder = bare(tmp_path / "run")
    (folder / "catalogues/ports.toml").unlink()
    text = written(folder).read_text(encoding="utf-8")
    assert "data-drawing=" not in text.partition("<script>")[0]
    assert "No drawings:" in text


# --- other runs -----------------------------------------------------------------------------------------------------


def test_a_run_without_copies_and_circuit_has_a_page_without_their_sections(few: str) -> None:
    assert [a["id"] for a in Elements(few).all("section")] == [
        "asked", "named", "front", "what-the-cores-are-made-of", "what-limits-what", "how-far-to-trust-it",
        "what-it-assumes", "cautions", "how-it-was-made", "again",
    ]  # fmt: skip


def test_a_front_of_one_core_at_one_duty_point_has_a_page(tmp_path: Path) -> None:
    folder = bare(tmp_path / "run")
    table = pd.read_csv(folder / "front.csv", dtype=str)
    one = table[table["core"] == "C919911"]
    one.loc[:, [c for c in one.columns if "long_climb" not in c and "@worst" not in c and "@mean" not in c]].to_csv(
        folder / "front.csv", index=False
    )
    edit_record(folder, front=1, picks={"knee": "C919911"}, duty=["full_power"], hypervolume=None)
    told = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    edit_record(folder, limits=told["limits"][2:], bands={"knee": told["bands"]["knee"]})
    (folder / "run.json").write_text(
        json.dumps(json.loads((folder / "run.json").read_text(encoding="utf-8")) | {"hypervolume": None})
    )
    page = Elements(written(folder).read_text(encoding="utf-8"))
    assert page.faults == []
    assert "plot-plane" in [a.get("id") for a in page.all("div")]


def test_a_run_in_which_nothing_is_feasible_shows_the_misses_and_the_limits(tmp_path: Path) -> None:
    folder = bare(tmp_path / "run")
    designs = pd.read_csv(folder / "designs.csv", dtype={"line": str, "passes": str})
    bad = designs[designs["feasible"] == "no"]
    misses = bad.head(5).drop(columns=["layer", "feasible"])
    misses.insert(1, "fails", "filled mass (max) by 12 %; clearance, pocket width by 3.4 %")
    misses.to_csv(folder / "misses.csv", index=False)
    bad.to_csv(folder / "designs.csv", index=False)
    (folder / "front.csv").unlink()
    (folder / "run.json").write_text(json.dumps(json.loads((folder / "run.json").read_text(encoding="utf-8")) | {
        "feasible": 0, "front": 0, "picks": {}, "bands": {}, "hypervolume": None}))  # fmt: skip
    text = written(folder).read_text(encoding="utf-8")
    page = Elements(text)
    assert page.faults == []
    assert "None of 2,358,720 cores rated meets everything" in page.text
    assert [a["id"] for a in page.all("section")][:4] == ["asked", "named", "front", "what-the-cores-are-made-of"]
    assert "The nearest misses" in page.text
    document = json.loads(unpacked(text, 'data-packet="linked"'))
    (source,) = [s for s in objects(document, "ColumnDataSource") if attributes(s).get("name") == "front"]
    data = dict(attributes(source)["data"]["entries"])  # type: ignore[index, call-overload]
    assert data["core"] == misses["core"].tolist()


def test_a_run_with_three_objectives_in_us_units_shows_inches_and_pounds(tmp_path: Path) -> None:
    folder = bare(tmp_path / "run")
    (folder / "study.toml").write_text(
        (folder / "study.toml").read_text(encoding="utf-8").replace('units = "SI"', 'units = "US"'), encoding="utf-8"
    )
    for name in ("front", "designs"):
        place = folder / f"{name}.csv"
        lines = place.read_text(encoding="utf-8").split("\n", 1)
        head = lines[0]
        for si, us in (("[mm]", "[in]"), ("[kg]", "[lb]"), ("[kPa]", "[psi]"), ("degC", "degF")):
            head = head.replace(si, us)
        place.write_text(f"{head}\n{lines[1]}", encoding="utf-8")
    told = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    told = json.loads(json.dumps(told).replace("[degC]", "[degF]").replace("[kPa]", "[psi]"))
    mass = {"output": "filled_mass", "at": None, "maximise": False, "label": "mass", "column": "filled_mass [lb]"}
    (folder / "run.json").write_text(json.dumps(told | {"units": "US", "objectives": [*told["objectives"], mass]}))
    text = written(folder).read_text(encoding="utf-8")
    meta = json.loads(unpacked(text, 'id="data-meta"'))
    axes = {field["axis"] for field in meta["fields"]}
    assert {"thickness [in]", "filled mass [lb]", "air fin density [1/in]"} <= axes
    assert len(meta["objectives"]) == 3
    density = next(f["key"] for f in meta["fields"] if f["name"] == "fin_density")
    document = json.loads(unpacked(text, 'data-packet="linked"'))
    (front,) = [s for s in objects(document, "ColumnDataSource") if attributes(s).get("name") == "front"]
    values = dict(attributes(front)["data"]["entries"])[density]  # type: ignore[index, call-overload]
    assert set(values) <= {16.0, 18.0, 20.0, 22.0, 25.0, 28.0}


def test_the_report_of_a_run_writes_the_page_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("optimize.report.draw_all", lambda run: {})
    folder = bare(tmp_path / "run")
    assert [place.name for place in write_report(folder)] == ["summary.md", "report.html"]


# --- hostile texts --------------------------------------------------------------------------------------------------


def test_no_text_of_the_user_becomes_markup(tmp_path: Path) -> None:
    folder = bare(tmp_path / "run")
    texts = hostile()
    edit_record(folder, title=texts[0], about="\n".join(texts), study=texts[1])
    table = pd.read_csv(folder / "front.csv", dtype=str)
    table["air_fin"] = [texts[i % len(texts)] for i in range(len(table))]
    table["port"] = texts[20]
    table.to_csv(folder / "front.csv", index=False)
    text = written(folder).read_text(encoding="utf-8")
    page = Elements(text)
    assert page.faults == []
    assert "hacked" not in " ".join(str(a) for tag, a in page.found if tag != "meta")
    assert not [name for _, a in page.found for name in a if name.startswith("on")]
    assert len([a for a in page.all("script") if "type" not in a]) == 1
    assert "<script>window.hacked=1</script>" in page.text  # as text
    assert [tag for tag, _ in page.found if tag in ("img", "iframe", "object", "embed")] == []


@given(st.text())
def test_any_text_through_the_summary_s_markdown_is_shown_as_it_is(text: str) -> None:
    shown = inline(plain(text))
    assert re.search(r"<(?!/?(?:strong|em)>)", shown) is None
    assert unescape(re.sub(r"</?(?:strong|em)>", "", shown)) == " ".join(text.split())


@given(st.text())
def test_no_text_on_a_plot_is_read_as_mathematics_or_turns_the_line(text: str) -> None:
    shown = for_plot(text)
    assert len(one_line(text)) <= 60
    assert not [mark for mark in ("$$", "\\(", "\\[", "\n", "\r", "\u202e", "\x00") if mark in shown]


# --- colours --------------------------------------------------------------------------------------------------------


def luminance(colour: str) -> float:
    """Relative luminance as the web's accessibility guidelines (WCAG 2) define it."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_texts_have_a_contrast_of_four_and_a_half_and_edges_of_three(palette: Palette) -> None:
    colours = asdict(palette)
    for role in ("ink", "soft", "front", "shop", "failed", "model", "chosen", "third"):
        for ground in ("paper", "panel"):
            assert contrast(colours[role], colours[ground]) >= 4.5, (role, ground)
    assert contrast(palette.on_front, palette.front) >= 4.5
    assert contrast(palette.edge, palette.paper) >= 3.0


# --- which are shown ------------------------------------------------------------------------------------------------


@given(st.integers(0, 60), st.lists(st.integers(0, 59), max_size=5), st.integers(5, 30))
def test_some_of_many_are_as_many_as_asked_and_the_wanted_first(n: int, first: list[int], most: int) -> None:
    first = [i for i in first if i < n]
    chosen = evenly(list(range(n)), first, most)
    assert len(chosen) == min(n, most) == len(set(chosen))
    assert chosen[: len(set(first))] == list(dict.fromkeys(first))
    rest = chosen[len(set(first)) :]
    others = [i for i in range(n) if i not in first]
    if len(rest) > 1:
        assert (rest[0], rest[-1]) == (others[0], others[-1])


def test_the_budget_of_a_page_is_below_the_limit() -> None:
    assert MOST_BYTES < LIMIT
