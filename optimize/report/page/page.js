"use strict";
(async () => {
  const $ = (selector, root = document) => root.querySelector(selector);
  const $$ = (selector, root = document) => [...root.querySelectorAll(selector)];
  const make = (tag, text = "", attributes = {}) => {
    const element = document.createElement(tag);
    element.textContent = text;
    for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
    return element;
  };
  const unpack = async element => {
    const bytes = Uint8Array.from(atob(element.textContent), character => character.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
    return await new Response(stream).text();
  };
  const digits = (value, count = 5) => {
    if (value === null || value === undefined || Number.isNaN(value)) return "–";
    return String(Number(value.toPrecision(count)));
  };
  const alike = (values, count = 4) => {  // one number of decimals for a column
    const most = Math.max(...values.filter(Number.isFinite).map(Math.abs), 1e-12);
    const places = Math.min(Math.max(count - 1 - Math.floor(Math.log10(most)), 0), 8);
    return values.map(value => Number.isFinite(value) ? value.toFixed(places) : "–");
  };
  const trouble = text => { const place = $("#trouble"); place.textContent = text; place.hidden = false; };

  // --- marks -------------------------------------------------------------------------------------------------------
  const star = (n, outer, inner) => Array.from({length: 2 * n}, (_, i) => {
    const r = i % 2 ? inner : outer, a = Math.PI * i / n - Math.PI / 2;
    return `${(r * Math.cos(a)).toFixed(2)},${(r * Math.sin(a)).toFixed(2)}`;
  }).join(" ");
  const hexagon = Array.from({length: 6}, (_, i) =>
    `${(6 * Math.cos(Math.PI * i / 3)).toFixed(2)},${(6 * Math.sin(Math.PI * i / 3)).toFixed(2)}`).join(" ");
  const shapes = {
    circle: ["circle", {r: 5}], square: ["rect", {x: -5, y: -5, width: 10, height: 10}],
    triangle: ["polygon", {points: "0,-6 6,5 -6,5"}], diamond: ["polygon", {points: "0,-7 5,0 0,7 -5,0"}],
    inverted_triangle: ["polygon", {points: "0,6 6,-5 -6,-5"}], plus: ["path", {d: "M0-6V6M-6 0H6"}],
    x: ["path", {d: "M-5-5L5 5M5-5L-5 5"}], triangle_dot: ["polygon", {points: "0,-6 6,5 -6,5", "fill-opacity": 0}],
    hex_dot: ["polygon", {points: hexagon, "fill-opacity": 0}], star: ["polygon", {points: star(5, 7, 3)}],
    hex: ["polygon", {points: hexagon}], square_dot: ["rect", {x: -5, y: -5, width: 10, height: 10, "fill-opacity": 0}],
  };
  const symbol = (svg, mark) => {
    const [tag, attributes] = shapes[mark] || shapes.circle;
    const shape = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [name, value] of Object.entries(attributes)) shape.setAttribute(name, value);
    svg.replaceChildren(shape);
    return svg;
  };
  const newSymbol = mark => {
    const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    for (const [name, value] of Object.entries({class: "symbol", viewBox: "-8 -8 16 16", width: 14, height: 14, "aria-hidden": "true"}))
      svg.setAttribute(name, value);
    return symbol(svg, mark);
  };
  for (const svg of $$("svg[data-mark]")) symbol(svg, svg.dataset.mark);

  if (typeof DecompressionStream === "undefined") {
    trouble("This browser is too old for the plots of this page; the texts and tables are complete.");
    return;
  }
  const meta = JSON.parse(await unpack($("#data-meta")));
  const fields = Object.fromEntries(meta.fields.map(field => [field.key, field]));

  // --- light and dark ----------------------------------------------------------------------------------------------
  const managers = [];
  const darkSystem = matchMedia("(prefers-color-scheme: dark)");
  const theme = () => document.documentElement.dataset.theme || (darkSystem.matches ? "dark" : "light");
  const repaint = name => {
    const palette = meta.palettes[name];
    for (const document_ of (window.Bokeh ? Bokeh.documents : [])) {
      for (const model of document_.all_models) {
        for (const tag of model.tags || []) {
          if (!tag || !tag.paint) continue;
          const wanted = {};
          for (const [property, role] of Object.entries(tag.paint)) wanted[property] = palette[role];
          model.setv(wanted);
        }
      }
    }
  };
  const showTheme = () => {
    const dark = theme() === "dark";
    $("#theme").textContent = dark ? "Light" : "Dark";
    $("#theme").setAttribute("aria-label", dark ? "use a light ground" : "use a dark ground");
    $("#theme").setAttribute("aria-pressed", String(dark));
    repaint(theme());
  };
  $("#theme").addEventListener("click", () => {
    document.documentElement.dataset.theme = theme() === "dark" ? "light" : "dark";
    showTheme();
  });
  darkSystem.addEventListener("change", showTheme);
  showTheme();

  // --- narrow screens: legends below one another, names of axes aslant -------------------------------------------------
  const narrow = matchMedia("(max-width: 640px)");
  const fit = () => {
    for (const document_ of (window.Bokeh ? Bokeh.documents : [])) {
      for (const model of document_.all_models) {
        if (model.type === "Legend") model.setv({orientation: narrow.matches ? "vertical" : "horizontal"});
        if (model.name === "parallel") for (const axis of model.below) axis.major_label_orientation = narrow.matches ? 1.1 : "horizontal";
      }
    }
  };
  narrow.addEventListener("change", fit);

  // --- paper -------------------------------------------------------------------------------------------------------
  const paper = {width: 700, opened: []};
  // The plots repaint a moment later on their own; paper does not wait.
  const paintNow = view => {
    if (!view.paint || !view.renderer_views) return;
    try {
      for (const renderer of view.renderer_views.values()) {
        if (!renderer.glyph || !renderer.model.data_source) continue;
        for (const part of ["glyph", "decimated_glyph", "selection_glyph", "nonselection_glyph", "muted_glyph"])
          renderer[part]?.set_visuals(renderer.model.data_source, renderer.all_indices);
      }
      view.paint();
    } catch (error) { console.warn(String(error)); }
  };
  // The small canvases of legends come out empty on paper: a picture of each, made beforehand, is laid over its place.
  const deep = root => [...root.querySelectorAll("*")].flatMap(e => e.shadowRoot ? [e, ...deep(e.shadowRoot)] : [e]);
  const coverSwatches = canvas => {
    canvas.querySelector(".swatches")?.remove();
    const base = canvas.getBoundingClientRect(), cover = make("div", "", {class: "swatches", "aria-hidden": "true"});
    for (const swatch of deep(canvas).filter(e => e.matches("canvas.bk-glyph") && e.width)) {
      const place = swatch.getBoundingClientRect();
      const picture = make("img", "", {src: swatch.toDataURL(), alt: "", decoding: "sync"});
      Object.assign(picture.style, {
        left: `${place.left - base.left}px`, top: `${place.top - base.top}px`, width: `${place.width}px`, height: `${place.height}px`,
      });
      cover.append(picture);
    }
    if (cover.childElementCount) canvas.append(cover);
  };
  let later = 0;
  const coverLater = () => {
    clearTimeout(later);
    later = setTimeout(() => { for (const canvas of $$(".canvas")) coverSwatches(canvas); }, 400);
  };
  window.addEventListener("resize", coverLater);
  const toPaper = () => {
    repaint("light");
    for (const manager of managers) for (const view of manager.roots) paintNow(view);
    for (const canvas of $$(".canvas")) {
      const grid = canvas.closest(".views, .grid");
      const columns = !grid ? 1 : grid.matches(".small") ? 3 : grid.matches(".views, .pair") ? 2 : 1;
      const room = paper.width / columns - 8;
      const width = canvas.offsetWidth, scale = Math.min(1, room / width);
      canvas.style.setProperty("--print-scale", scale.toFixed(4));
      canvas.style.setProperty("--print-width", `${width}px`);
      canvas.style.setProperty("--print-height", `${Math.ceil(canvas.offsetHeight * scale)}px`);
    }
    paper.opened = $$('details:not([open]):not([data-print="no"])');
    for (const details of paper.opened) details.open = true;
  };
  const fromPaper = () => {
    for (const canvas of $$(".canvas")) for (const name of ["scale", "width", "height"]) canvas.style.removeProperty(`--print-${name}`);
    for (const details of paper.opened) details.open = false;
    repaint(theme());
  };
  window.addEventListener("beforeprint", toPaper);
  window.addEventListener("afterprint", fromPaper);
  const printOut = () => {
    if (document.documentElement.dataset.ready !== "yes") { setTimeout(printOut, 200); return; }  // not half of the plots
    repaint("light");
    coverLater();
    setTimeout(() => window.print(), 700);
  };
  $("#print").addEventListener("click", printOut);

  // --- contents ----------------------------------------------------------------------------------------------------
  const links = Object.fromEntries($$("nav.contents a").map(link => [link.hash.slice(1), link]));
  const watch = new IntersectionObserver(entries => {
    for (const entry of entries) if (entry.isIntersecting && links[entry.target.id]) {
      for (const link of Object.values(links)) link.removeAttribute("aria-current");
      links[entry.target.id].setAttribute("aria-current", "true");
    }
  }, {rootMargin: "-10% 0px -80% 0px"});
  for (const section of $$("main > section")) watch.observe(section);

  // --- sheets and drawings of a core -------------------------------------------------------------------------------
  let sheets = null;
  const data = {core: [], pick: [], mark: []};
  const dialog = $("#core");
  const canShow = core => meta.sheets.includes(core) || meta.drawings.includes(core);
  const shownCores = () => data.core.filter(canShow);
  const table = (heads, rows) => {
    const made = make("table"), body = make("tbody");
    if (heads.length) {
      const head = make("thead"), line = make("tr");
      for (const text of heads) line.append(text ? make("th", text, {scope: "col"}) : make("td"));
      head.append(line);
      made.append(head);
    }
    for (const [label, ...cells] of rows) {
      const line = make("tr");
      line.append(make("th", label, {scope: "row"}), ...cells);
      body.append(line);
    }
    made.append(body);
    return made;
  };
  const block = (title, ...content) => { const part = make("div"); part.append(make("h3", title), ...content); return part; };
  const list = texts => { const ul = make("ul"); for (const text of texts) ul.append(make("li", text)); return ul; };
  const drawSheet = (place, sheet) => {
    const columns = make("div", "", {class: "sheet-columns"});
    columns.append(block("Core", table([], sheet.core.map(([label, text, unit]) =>
      [label.replaceAll("_", " "), make("td", text), make("td", unit, {class: "unit"})]))));
    columns.append(block("Requirements, margin as a share of the bound", table([], sheet.requirements.map(([name, margin, met]) =>
      [name.replaceAll("_", " "), make("td", margin === null ? "–" : (margin >= 0 ? "+" : "") + digits(margin, 3)), make("td", "%", {class: "unit"}),
        make("td", met ? "met" : "MISSED", {class: met ? "words" : "words missed"})]))));
    for (const group of sheet.groups) {
      const heads = group.heads.length ? ["", ...group.heads.map(name => name.replaceAll("_", " ")), ""] : [];
      columns.append(block(group.title, table(heads, group.rows.map(([label, values, unit]) =>
        [label, ...values.map(value => make("td", digits(value))), make("td", unit, {class: "unit"})]))));
    }
    const cautions = sheet.cautions.length ? sheet.cautions : ["none: inside the range of every correlation"];
    place.replaceChildren(block("Cautions", list(cautions)), columns, block("Correlations", list(sheet.correlations)));
  };
  let drawingUrl = null;
  const drawDrawing = async (place, core) => {
    const packed = $$("script[data-drawing]").find(script => script.dataset.drawing === core);
    place.classList.remove("large");
    if (!packed) {
      place.replaceChildren(make("p", `This page holds no drawing of ${core}. Beside it, finfront draw . --pick ${core} makes one.`));
      return;
    }
    if (drawingUrl) URL.revokeObjectURL(drawingUrl);
    drawingUrl = URL.createObjectURL(new Blob([await unpack(packed)], {type: "image/svg+xml"}));
    const large = make("button", "Larger", {type: "button", "aria-pressed": "false"});
    large.addEventListener("click", () => {
      const on = place.classList.toggle("large");
      large.textContent = on ? "Fit" : "Larger";
      large.setAttribute("aria-pressed", String(on));
    });
    const save = make("button", "Save SVG", {type: "button"});
    save.addEventListener("click", () => make("a", "", {href: drawingUrl, download: `${meta.file}-${core}.svg`}).click());
    const tools = make("p", "", {class: "controls"});
    tools.append(large, save);
    place.replaceChildren(tools, make("img", "", {src: drawingUrl, alt: `Drawing of core ${core} to scale; its dimensions are in the calculation sheet`}));
  };
  let tab = "sheet";
  const showTab = name => {
    tab = name;
    for (const each of ["sheet", "drawing"]) {
      const own = $(`#tab-${each}`);
      own.setAttribute("aria-selected", String(each === name));
      own.tabIndex = each === name ? 0 : -1;
      $(`#panel-${each}`).hidden = each !== name;
    }
  };
  const openCore = async (core, name) => {
    const i = data.core.indexOf(core);
    $("#core-title").replaceChildren(newSymbol(data.mark[i]), make("bdi", data.pick[i] ? `${core}, ${data.pick[i]}` : core));
    dialog.dataset.core = core;
    if (sheets === null) sheets = JSON.parse(await unpack($("#data-sheets")));
    if (sheets[core]) drawSheet($("#panel-sheet"), sheets[core]);
    else $("#panel-sheet").replaceChildren(make("p", `This run holds no calculation sheet of ${core}. Beside it, finfront rate study.toml --run . --pick ${core} prints one.`));
    await drawDrawing($("#panel-drawing"), core);
    showTab(name || tab);
    const order = shownCores(), at = order.indexOf(core);
    $("#before").disabled = at <= 0;
    $("#after").disabled = at < 0 || at >= order.length - 1;
    $("#panel-sheet").scrollTop = $("#panel-drawing").scrollTop = 0;
    document.body.classList.add("core-open");
    if (!dialog.open) dialog.showModal();
  };
  const step = by => { const order = shownCores(); openCore(order[order.indexOf(dialog.dataset.core) + by]); };
  $("#before").addEventListener("click", () => step(-1));
  $("#after").addEventListener("click", () => step(1));
  $("#close").addEventListener("click", () => dialog.close());
  $("#print-core").addEventListener("click", printOut);
  dialog.addEventListener("close", () => document.body.classList.remove("core-open"));
  dialog.addEventListener("click", event => { if (event.target === dialog) dialog.close(); });
  for (const name of ["sheet", "drawing"]) {
    $(`#tab-${name}`).addEventListener("click", () => showTab(name));
    $(`#tab-${name}`).addEventListener("keydown", event => {
      if (!["ArrowLeft", "ArrowRight"].includes(event.key)) return;
      showTab(tab === "sheet" ? "drawing" : "sheet");
      $(`#tab-${tab}`).focus();
    });
  }
  const acts = core => [["sheet", "Sheet", meta.sheets], ["drawing", "Drawing", meta.drawings]]
    .filter(([, , there]) => there.includes(core))
    .map(([name, text]) => {
      const button = make("button", text, {type: "button", "aria-label": `${text.toLowerCase()} of ${core}`});
      button.addEventListener("click", () => openCore(core, name));
      return button;
    });

  // --- the plots ---------------------------------------------------------------------------------------------------
  const load = async name => {
    const script = document.createElement("script");
    script.textContent = await unpack($(`script[data-code="${name}"]`));
    document.head.append(script);
  };
  const embed = async packet => {
    const place = $$("script[data-packet]").find(script => script.dataset.packet === packet.name);
    const roots = Object.fromEntries(Object.entries(packet.roots).map(([name, id]) => [id, `plot-${name}`]));
    const docs = {[packet.name]: JSON.parse(await unpack(place))};
    managers.push(...await Bokeh.embed.embed_items(docs, [{docid: packet.name, roots, root_ids: Object.keys(roots)}]));
    repaint(theme());
    fit();
  };
  for (const name of $$("script[data-code]").map(script => script.dataset.code)) await load(name);
  if (!window.Bokeh) { trouble("The plots could not be started; the texts and tables are complete."); return; }
  Bokeh.set_log_level("error");

  const linked = meta.packets.find(packet => packet.name === "linked");
  if (linked) { await embed(linked); linkUp(Bokeh.documents[0]); }
  for (const packet of meta.packets) if (packet !== linked) {
    await new Promise(go => (window.requestIdleCallback || setTimeout)(go, {timeout: 300}));
    await embed(packet);
  }
  document.documentElement.dataset.ready = "yes";
  coverLater();

  // --- one choice, shown everywhere --------------------------------------------------------------------------------
  function linkUp(page) {
    const front = page.get_model_by_name("front");
    const columns = {};
    const read = key => (columns[key] ??= Array.from(front.data[key] ?? front.data.get(key)));
    for (const key of ["core", "pick", "mark"]) data[key] = read(key);
    const count = data.core.length;
    const chosen = () => [...front.selected.indices].sort((a, b) => a - b);
    const choose = indices => { front.selected.indices = [...new Set(indices)].sort((a, b) => a - b); };

    const head = make("tr");
    head.append(make("th", "core", {scope: "col"}), ...meta.objectives.map(key => make("th", fields[key].axis, {scope: "col"})),
      make("td"));
    $("#cores thead").append(head);
    const cells = meta.objectives.map(key => alike([...read(key)]));
    const rows = data.core.map((core, i) => {
      const row = make("tr"), first = make("th", "", {scope: "row"}), label = make("label"), tick = make("input", "", {type: "checkbox"});
      tick.setAttribute("aria-label", `choose ${core}${data.pick[i] ? ", " + data.pick[i] : ""}`);
      tick.addEventListener("change", () => choose(tick.checked ? [...chosen(), i] : chosen().filter(j => j !== i)));
      label.append(tick, newSymbol(data.mark[i]), make("span", core));
      if (data.pick[i]) label.append(make("small", data.pick[i], {title: data.pick[i]}));
      first.append(label);
      const buttons = make("td", "", {class: "acts"});
      buttons.append(...acts(core));
      row.append(first, ...cells.map(cell => make("td", cell[i])), buttons);
      row.dataset.words = [core, data.pick[i], ...Object.keys(meta.names).map(key => read(key)[i])].join(" ").toLowerCase();
      return row;
    });
    $("#cores tbody").append(...rows);
    $("#find").addEventListener("input", event => {
      const wanted = event.target.value.trim().toLowerCase().split(/\s+/);
      for (const row of rows) row.hidden = !wanted.every(word => row.dataset.words.includes(word));
    });
    for (const place of $$(".card .acts")) {
      const i = data.core.indexOf(place.dataset.core);
      const pick = make("button", "Choose", {type: "button", "aria-pressed": "false"});
      pick.addEventListener("click", () => choose(chosen().includes(i) ? chosen().filter(j => j !== i) : [...chosen(), i]));
      place.append(...acts(place.dataset.core), pick);
      place.dataset.place = i;
    }

    const onChoice = () => {
      const now = new Set(chosen());
      rows.forEach((row, i) => {
        row.classList.toggle("chosen", now.has(i));
        $("input", row).checked = now.has(i);
      });
      for (const place of $$(".card .acts")) {
        const on = now.has(Number(place.dataset.place)), button = place.lastElementChild;
        button.textContent = on ? "Chosen" : "Choose";
        button.setAttribute("aria-pressed", String(on));
      }
      $("#chosen-count").textContent = now.size ? `${now.size} of ${count} chosen` : "none chosen";
      $("#csv").disabled = !now.size;
      showClouds();
    };
    front.selected.properties.indices.change.connect(onChoice);
    $("#choose-all").addEventListener("click", () => choose(data.core.map((_, i) => i).filter(i => !rows[i].hidden)));
    $("#choose-none").addEventListener("click", () => choose([]));
    $("#choose-named")?.addEventListener("click", () => choose(data.pick.flatMap((pick, i) => (pick ? [i] : []))));

    // A text that a spreadsheet would run as a formula gets an apostrophe; a number stays one.
    const cell = value => {
      if (typeof value === "number") return Number.isNaN(value) ? "" : String(value);
      const text = /^[=+\-@\t\r]/.test(value) && !/^[+-]?[0-9.]+$/.test(value) ? `'${value}` : value;
      return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
    };
    const csv = () => [meta.csv.map(([title]) => cell(title)).join(","),
      ...chosen().map(i => meta.csv.map(([, key]) => cell(read(key)[i])).join(","))].join("\r\n") + "\r\n";
    $("#csv").addEventListener("click", () => {
      const url = URL.createObjectURL(new Blob([csv()], {type: "text/csv;charset=utf-8"}));
      make("a", "", {href: url, download: `${meta.file}-chosen-cores.csv`}).click();
      setTimeout(() => URL.revokeObjectURL(url), 10000);
    });

    // --- axes of the reader's choice
    const free = page.get_model_by_name("free");
    if (free) {
      const marks = free.renderers.filter(renderer => ["front marks", "named marks"].includes(renderer.name));
      const samples = free.renderers.find(renderer => renderer.name === "samples");
      const behind = page.get_model_by_name("behind");
      const there = new Set(behind ? Object.keys(behind.data instanceof Map ? Object.fromEntries(behind.data) : behind.data) : []);
      const spans = Object.fromEntries(["height", "width"].map(dimension =>
        [dimension, free.center.filter(model => model.dimension === dimension && model.location !== undefined)]));
      const selects = {x: $("#free-x"), y: $("#free-y")};
      const groups = Map.groupBy ? Map.groupBy(meta.fields.filter(f => f.varies), f => f.group)
        : meta.fields.filter(f => f.varies).reduce((map, f) => map.set(f.group, [...(map.get(f.group) || []), f]), new Map());
      for (const [axis, select] of Object.entries(selects)) {
        for (const [group, own] of groups) {
          const part = make("optgroup", "", {label: group});
          part.append(...own.map(field => make("option", field.axis, {value: field.key})));
          select.append(part);
        }
        select.value = marks[0].glyph[axis].field;
        select.addEventListener("change", setAxes);
      }
      $("#swap").addEventListener("click", () => {
        [selects.x.value, selects.y.value] = [selects.y.value, selects.x.value];
        setAxes();
      });
      function setAxes() {
        for (const [axis, select] of Object.entries(selects)) {
          const field = fields[select.value];
          for (const renderer of marks)
            for (const glyph of [renderer.glyph, renderer.selection_glyph, renderer.nonselection_glyph]) glyph[axis] = {field: field.key};
          const label = axis === "x" ? free.below[0] : free.left[0];
          label.axis_label.text = field.axis;
        }
        const known = there.has(selects.x.value) && there.has(selects.y.value);
        if (samples) {
          samples.visible = known;
          if (known) for (const axis of ["x", "y"]) samples.glyph[axis] = {field: selects[axis].value};
        }
        for (const [dimension, axis] of [["height", "x"], ["width", "y"]]) {
          const limits = fields[selects[axis].value].limits;
          spans[dimension].forEach((span, i) => { span.visible = i < limits.length; if (i < limits.length) span.location = limits[i][0]; });
        }
        front.change.emit();
        behind?.change.emit();
      }
    }

    // --- copies of the chosen cores
    function showClouds() {
      const met = page.get_model_by_name("copies met"), missed = page.get_model_by_name("copies missed");
      if (!met) return;
      const own = chosen().map(i => data.core[i]);
      const wanted = own.length ? own : data.core.filter((_, i) => data.pick[i]);
      const kind = $("#cloud-kind").value, [a, b] = $("#cloud-plane").value.split(" ").map(Number);
      const found = wanted.filter(core => meta.clouds[core]?.[kind]);
      for (const [source, flag] of [[met, 1], [missed, 0]]) {
        const points = {x: [], y: [], core: []};
        for (const core of found) meta.clouds[core][kind].met.forEach((m, i) => {
          if (m !== flag) return;
          points.x.push(meta.clouds[core][kind].values[a][i]);
          points.y.push(meta.clouds[core][kind].values[b][i]);
          points.core.push(core);
        });
        source.data = points;
      }
      const named = found.length > 8 ? `${found.length} cores` : found.join(", ");
      const without = wanted.length - found.length;
      $("#cloud-cores").textContent = (named || "no copies") + (without ? `; ${without} more without copies in this page` : "");
    }
    if (page.get_model_by_name("copies met")) {
      const kinds = [...new Set(Object.values(meta.clouds).flatMap(Object.keys))];
      const words = {shop: "shop: tolerances", run: "run: operating scatter", "shop and run": "shop and run: both", model: "model: bands of the correlations"};
      $("#cloud-kind").append(...kinds.map(kind => make("option", words[kind] || kind, {value: kind})));
      const n = meta.objectives.length, marks = page.get_model_by_name("cloud front");
      for (let i = 0; i < n; i++) for (let j = i + 1; j < n; j++)
        $("#cloud-plane").append(make("option", `${fields[meta.objectives[i]].label} – ${fields[meta.objectives[j]].label}`, {value: `${i} ${j}`}));
      $("#cloud-plane-label").hidden = n < 3;
      $("#cloud-kind").addEventListener("change", showClouds);
      $("#cloud-plane").addEventListener("change", () => {
        const keys = $("#cloud-plane").value.split(" ").map(i => meta.objectives[i]), plot = page.get_model_by_name("clouds");
        for (const glyph of [marks.glyph, marks.selection_glyph, marks.nonselection_glyph]) { glyph.x = {field: keys[0]}; glyph.y = {field: keys[1]}; }
        plot.below[0].axis_label.text = fields[keys[0]].axis;
        plot.left[0].axis_label.text = fields[keys[1]].axis;
        for (const span of plot.center) if (span.location !== undefined) span.visible = false;
        showClouds();
      });
    }
    onChoice();
  }
})();
