"""report.html in a browser: one choice shown everywhere, nothing asked of a network, no text of a user run."""

import csv
import json
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hostile import hostile
from page_runs import FEW, edit_record, example, stub_drawing, written

CHROMIUM, CHROMEDRIVER = shutil.which("chromium") or shutil.which("chromium-browser"), shutil.which("chromedriver")
pytestmark = pytest.mark.skipif(
    not (CHROMIUM and CHROMEDRIVER), reason="no chromium with chromedriver on this machine: nothing looks at the page"
)
_PATIENCE = 60.0  # seconds


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = str(CHROMIUM)
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
                     "--window-size=1440,900", "--disable-background-networking"):  # fmt: skip
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(str(CHROMEDRIVER)))
    driver.downloads = tmp_path_factory.mktemp("downloads")  # type: ignore[attr-defined]
    where = {"behavior": "allow", "downloadPath": str(driver.downloads)}  # type: ignore[attr-defined]
    driver.execute_cdp_cmd("Browser.setDownloadBehavior", where)
    yield driver
    driver.quit()


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the example without the tables whose plots nothing here looks at."""
    kept = (*FEW, "clouds", "yield", "robust", "fallen", "percentiles")
    folder = example(tmp_path_factory.mktemp("page") / "run", kept)
    picture = "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 420 297'><title>CORE</title></svg>"
    with pytest.MonkeyPatch.context() as patch:
        stub_drawing(patch, picture)
        edit_record(folder, budget=None)
        front = pd.read_csv(folder / "front.csv", dtype={"line": str, "passes": str})
        front.drop(columns=[c for c in front if c.startswith(("pump_", "net_gain"))]).to_csv(
            folder / "front.csv", index=False
        )
        return written(folder)


@pytest.fixture
def page(browser: Any, place: Path) -> Any:
    return shown(browser, place)


def shown(browser: Any, place: Path) -> Any:
    browser.get_log("browser")
    browser.get_log("performance")
    browser.get(f"file://{place}")
    until(lambda: browser.execute_script("return document.documentElement.dataset.ready") == "yes")
    return browser


def until(true: Callable[[], Any]) -> Any:
    """What a condition gives once it is true."""
    end = time.monotonic() + _PATIENCE
    while time.monotonic() < end:
        if found := true():
            return found
        time.sleep(0.05)
    raise AssertionError("never came true")


def complaints(browser: Any) -> list[str]:
    return [entry["message"] for entry in browser.get_log("browser") if entry["level"] in ("SEVERE", "WARNING")]


def asked_of_the_network(browser: Any) -> list[str]:
    messages = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]
    entries = browser.execute_script("return performance.getEntriesByType('resource').map(entry => entry.name)")
    return [url for url in [*asked, *entries] if not url.startswith(("file://", "data:", "blob:"))]


FRONT = "const front = Bokeh.documents[0].get_model_by_name('front');"


def chosen(browser: Any) -> dict[str, list[str]]:
    """The cores chosen, as every view tells them."""
    return browser.execute_script(FRONT + """
        const core = [...front.data.core ?? front.data.get('core')];
        const own = [...front.selected.indices].map(i => core[i]);
        const views = {source: own};
        for (const plot of ['plane', 'shape', 'mass', 'coolant', 'free', 'parallel', 'yield', 'clouds']) {
            const model = Bokeh.documents[0].get_model_by_name(plot);
            const renderer = model.renderers.find(r => r.data_source === front);
            views[plot] = [...renderer.data_source.selected.indices].map(i => core[i]);
        }
        const table = Bokeh.documents[0].get_model_by_name('table');
        views.table = [...table.source.selected.indices].map(i => core[i]);
        const rows = [...document.querySelectorAll('#cores tr.chosen')];
        views.list = rows.map(row => row.querySelector('th span').textContent);
        views.ticks = [...document.querySelectorAll('#cores input:checked')].map(
            tick => tick.getAttribute('aria-label').split(/[ ,]+/)[1]);
        return views;""")


def drawn_table(browser: Any) -> list[list[str]]:
    """Rows of the table as it is on the screen that are marked as chosen, cell by cell."""
    return browser.execute_script("""
        const inside = e => (e.shadowRoot ? deep(e.shadowRoot) : []);
        const deep = root => [...root.querySelectorAll('*')].flatMap(e => [e, ...inside(e)]);
        const rows = deep(document.querySelector('#plot-table')).filter(e => e.matches('.slick-row'));
        return rows.filter(row => row.querySelector('.slick-cell.selected')).map(
            row => [...row.querySelectorAll('.slick-cell')].map(cell => cell.textContent));""")


def tick(browser: Any, core: str) -> None:
    browser.execute_script(
        "[...document.querySelectorAll('#cores input')].find(e => e.getAttribute('aria-label').split(/[ ,]+/)[1]"
        " === arguments[0]).click()", core,
    )  # fmt: skip


def test_the_page_asks_nothing_of_a_network_and_has_no_complaints(page: Any) -> None:
    assert asked_of_the_network(page) == []
    assert complaints(page) == []
    assert page.execute_script("return Bokeh.documents.length") >= 2


def test_a_choice_in_one_view_is_the_choice_in_all_and_in_the_file(page: Any, place: Path) -> None:
    tick(page, "C919911")
    tick(page, "C1247273")
    wanted = ["C919911", "C1247273"]
    until(lambda: len(chosen(page)["list"]) == 2)
    assert {name: cores for name, cores in chosen(page).items() if cores != wanted} == {}
    until(lambda: len(drawn_table(page)) == 2)
    assert [row[1] for row in drawn_table(page)] == wanted
    # and back: a choice made on a plot is that of the list
    page.execute_script(FRONT + "front.selected.indices = [0];")
    assert chosen(page)["ticks"] == ["C264571"]
    page.execute_script("document.querySelector('#choose-none').click()")
    assert set(map(tuple, chosen(page).values())) == {()}
    assert page.find_element("id", "csv").is_enabled() is False


def test_the_file_of_the_chosen_cores_holds_what_the_front_s_table_holds(page: Any, place: Path) -> None:
    page.execute_script("document.querySelector('#choose-named').click()")
    page.execute_script("document.querySelector('#csv').click()")
    file = until(lambda: next(iter(page.downloads.glob("*chosen-cores*.csv")), None))
    until(lambda: file.stat().st_size)
    with file.open(encoding="utf-8", newline="") as text:
        saved = list(csv.DictReader(text))
    with (place.parent / "front.csv").open(encoding="utf-8", newline="") as text:
        front = {row["core"]: row for row in csv.DictReader(text)}
    assert {row["core"] for row in saved} == {core for core, row in front.items() if row["pick"]}
    for row in saved:
        for title, value in front[row["core"]].items():
            try:
                assert float(row[title]) == pytest.approx(float(value), rel=1e-5)
            except ValueError:
                assert row[title] == value
    file.unlink()


def test_axes_of_the_reader_s_choice_are_those_of_the_plot(page: Any) -> None:
    axes = page.execute_script("""
        const meta = [...document.querySelector('#free-x').options].map(option => [option.value, option.textContent]);
        const wanted = text => meta.find(([, label]) => label === text)[0];
        for (const [id, text] of [['free-x', 'filled mass [kg]'], ['free-y', 'thickness [mm]']]) {
            const select = document.getElementById(id);
            select.value = wanted(text);
            select.dispatchEvent(new Event('change'));
        }
        const plot = Bokeh.documents[0].get_model_by_name('free');
        const marks = plot.renderers.find(r => r.name === 'front marks');
        const spans = plot.center.filter(m => m.location !== undefined && m.visible).map(m => m.location);
        const shown = [['x', 'filled mass [kg]'], ['y', 'thickness [mm]']].map(
            ([axis, text]) => marks.glyph[axis].field === wanted(text));
        return [plot.below[0].axis_label.text, plot.left[0].axis_label.text, ...shown, spans];""")
    assert axes == ["filled mass [kg]", "thickness [mm]", True, True, [3.6]]
    assert complaints(page) == []


def test_copies_shown_are_those_of_the_chosen_core(page: Any, place: Path) -> None:
    tick(page, "C264571")
    counts = page.execute_script("""
        const count = name => { const data = Bokeh.documents[0].get_model_by_name(name).data;
                                return [...(data.x ?? data.get('x'))].length; };
        return [count('copies met'), count('copies missed')];""")
    clouds = pd.read_csv(place.parent / "clouds.csv")
    own = clouds[(clouds["core"] == "C264571") & (clouds["scatter"] == "shop")]["met"]
    assert counts == [int(own.sum()), int((~own).sum())]


def test_a_core_opens_its_sheet_and_drawing_by_keyboard_and_escape_closes(page: Any) -> None:
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys

    def press(*keys: str) -> None:
        ActionChains(page).send_keys(*keys).perform()

    press(Keys.TAB)
    assert page.switch_to.active_element.get_attribute("class") == "skip"
    press(Keys.ENTER, Keys.TAB)
    page.execute_script("[...document.querySelectorAll('.card button')].find("
                        "b => b.getAttribute('aria-label') === 'sheet of C919911').focus()")
    press(Keys.ENTER)
    until(lambda: page.find_element("id", "core").get_attribute("open"))
    assert "C919911, knee" in page.find_element("id", "core-title").text
    sheet = page.find_element("id", "panel-sheet").text
    assert "heat rejected" in sheet
    assert "52.625 31.875 kW" in " ".join(sheet.split())
    assert "-3.5 % MISSED" in " ".join(sheet.split())
    page.find_element("id", "tab-sheet").send_keys(Keys.ARROW_RIGHT)
    image = until(lambda: page.find_element("css selector", "#panel-drawing img"))
    until(lambda: page.execute_script("return arguments[0].naturalWidth > 0", image))
    press(Keys.ESCAPE)
    until(lambda: not page.find_element("id", "core").get_attribute("open"))
    assert page.switch_to.active_element.get_attribute("aria-label") == "sheet of C919911"
    ticks = page.find_element("css selector", "#cores input")
    page.execute_script("arguments[0].focus()", ticks)
    press(Keys.SPACE)
    assert chosen(page)["source"] == ["C264571"]


def test_the_theme_button_changes_the_ground_and_the_plots(page: Any) -> None:
    def grounds() -> list[str]:
        return page.execute_script("""
            const plot = Bokeh.documents[0].get_model_by_name('plane');
            const fill = plot.background_fill_color;
            return [getComputedStyle(document.body).backgroundColor, fill?.value ?? fill];""")

    before = grounds()
    page.find_element("id", "theme").click()
    after = grounds()
    assert sorted([before[0], after[0]]) == ["rgb(17, 22, 29)", "rgb(255, 255, 255)"]
    assert {before[1], after[1]} == {"#11161d", "#ffffff"}
    page.find_element("id", "theme").click()
    assert grounds() == before


def test_on_a_telephone_nothing_is_wider_than_the_screen(page: Any) -> None:
    page.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride", {"width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": True}
    )
    try:
        assert until(lambda: page.execute_script("return document.documentElement.scrollWidth") <= 390)
    finally:
        page.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_no_text_of_a_user_is_run_or_becomes_markup(browser: Any, tmp_path: Path) -> None:
    folder, texts = example(tmp_path / "run", (*FEW, "yield", "clouds", "curves")), iter(hostile() * 3)
    for name, columns in {
        "front": ["air_fin", "turbulator", "port", "line", "flags"], "designs": ["air_fin", "port"],
        "limits": ["requirement"], "curves": ["fails"],
    }.items():  # fmt: skip
        table = pd.read_csv(folder / f"{name}.csv", dtype=str)
        for column in columns:
            table[column] = [next(texts) for _ in range(len(table))] if name != "designs" else next(texts)
        table.to_csv(folder / f"{name}.csv", index=False)
    told = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    sheet = json.loads(json.dumps({"C919911": {
        "core": [[t, t, t] for t in hostile(40)], "correlations": hostile(40), "cautions": hostile(40),
        "groups": [{"title": t, "heads": [t], "rows": [[t, [1.0], t]]} for t in hostile(40)],
        "requirements": [[t, 1.0, True] for t in hostile(40)],
    }}))  # fmt: skip
    (folder / "sheets.json").write_text(json.dumps(sheet), encoding="utf-8")
    edit_record(
        folder, title=next(texts), about="\n".join(hostile()), study=next(texts), robust=None, budget=None, water=None,
        net_gain={"reference": {"air_fin": next(texts)}, "power_per_air": next(texts), "power_per_kelvin": next(texts)},
        picks=dict(zip([next(texts) for _ in range(3)], told["picks"].values(), strict=False)) | {"knee": "C919911"},
        versions={next(texts): next(texts), "finfront": next(texts)},
    )  # fmt: skip
    with pytest.MonkeyPatch.context() as patch:
        evil = "window.hacked=1"
        stub_drawing(patch, f"<svg xmlns='http://www.w3.org/2000/svg' onload='{evil}'><script>{evil}</script></svg>")
        page = shown(browser, written(folder))
    page.execute_script("document.querySelector('#choose-all').click()")
    page.execute_script("[...document.querySelectorAll('#cores button')].find("
                        "b => b.getAttribute('aria-label') === 'sheet of C919911').click()")
    until(lambda: page.find_element("id", "core").get_attribute("open"))
    page.execute_script("document.querySelector('#tab-drawing').click()")
    time.sleep(0.3)
    assert page.execute_script("return window.hacked") is None
    assert page.execute_script("return document.querySelectorAll('iframe, object, bdi b, td b').length") == 0
    images = page.execute_script(
        "return [...document.images].filter(i => !i.closest('.swatches')).map(image => image.src.split(':')[0])"
    )
    assert set(images) <= {"blob"}
    assert asked_of_the_network(page) == []
    assert [text for text in complaints(page) if "Content Security Policy" in text] == []


def test_paper_has_the_light_ground_and_no_controls(page: Any, tmp_path: Path) -> None:
    import base64

    page.find_element("id", "theme").click()
    printed = page.execute_cdp_cmd("Page.printToPDF", {"printBackground": True, "preferCSSPageSize": True})
    page.find_element("id", "theme").click()
    data = base64.b64decode(printed["data"])
    assert data.startswith(b"%PDF")
    assert b"/MediaBox [0 0 594" in data or b"/MediaBox [0 0 595" in data  # A4 is 595 points wide
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        assert page.execute_script("return getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
        shown_ = page.execute_script("return [...document.querySelectorAll('button, select, nav')].filter("
                                     "e => e.offsetParent !== null).length")  # fmt: skip
        assert shown_ == 0
    finally:
        page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


def test_real_clicks_and_a_dragged_box_choose_the_same_cores_everywhere(page: Any) -> None:
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys

    ticks = page.find_elements(By.CSS_SELECTOR, "#cores input[type=checkbox]")
    page.execute_script("arguments[0].scrollIntoView({block: 'center', behavior: 'instant'})", ticks[1])
    ticks[1].click()
    until(lambda: len(chosen(page)["list"]) == 1)
    page.find_elements(By.CSS_SELECTOR, "#cores input[type=checkbox]")[2].send_keys(Keys.SPACE)
    until(lambda: len(chosen(page)["list"]) == 2)
    assert len(set(map(tuple, chosen(page).values()))) == 1

    page.execute_script("document.querySelector('#choose-none').click()")
    plot = page.find_element(By.CSS_SELECTOR, "#plot-plane")
    page.execute_script("arguments[0].scrollIntoView({block: 'center', behavior: 'instant'})", plot)
    time.sleep(0.5)  # plots lay themselves out once they are seen
    places = page.execute_script(FRONT + """
        const model = Bokeh.documents[0].get_model_by_name('plane');
        const find = views => views.map(v => v.model.id === model.id ? v : find(v.child_views ?? [])).find(v => v);
        const view = find([...Bokeh.index]), box = view.canvas_view.el.getBoundingClientRect();
        const glyph = model.renderers.find(r => r.data_source === front).glyph;
        const across = front.data[glyph.x.field], up = front.data[glyph.y.field];
        return [...front.data.core].map((core, i) => [
            core, box.left + view.frame.x_scale.compute(across[i]), box.top + view.frame.y_scale.compute(up[i])]);""")
    three = sorted(places, key=lambda place: place[1])[:3]
    (left, right), (top, bottom) = ((min(p[k] for p in three) - 8, max(p[k] for p in three) + 8) for k in (1, 2))
    inside = {core for core, x, y in places if left <= x <= right and top <= y <= bottom}
    drag = ActionChains(page, duration=50)
    pointer = drag.w3c_actions.pointer_action
    pointer.move_to_location(int(left), int(top)).pointer_down()
    pointer.move_to_location(int(left) + 9, int(top) + 9).move_to_location(int(right), int(bottom)).pointer_up()
    drag.perform()
    until(lambda: len(chosen(page)["list"]) == len(inside))
    assert [set(cores) for cores in chosen(page).values()] == [inside] * len(chosen(page))
