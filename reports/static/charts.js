// Draws the page's charts, and puts a row of tools under each. The expression interpreter
// (`ast`) keeps eval out of it.
"use strict";
{
  const read = (id) => JSON.parse(document.getElementById(id).textContent);
  const specs = read("chart-specs");
  const look = read("chart-config");
  const { station, asOf } = document.getElementById("main").dataset;
  const options = {
    mode: "vega-lite", ast: true, renderer: "svg", actions: false,
    tooltip: { disableDefaultStyle: true },
  };

  const button = (label, help, act) => {
    const made = Object.assign(document.createElement("button"), { type: "button", title: help });
    made.append(label);
    made.addEventListener("click", act);
    return made;
  };

  const PHONE = 640, LETTERS = 20, LINE = 14;

  // on a phone the names of rows fold, so that more than half of the width is the chart's
  function foldNames(spec) {
    const folded = (name) => saving.folded(name, (line) => line.length <= LETTERS);
    let tallest = 1;
    for (const part of spec.layer ?? [spec]) {
      const y = part.encoding?.y;
      if (!y?.axis || !Array.isArray(y.sort) || Math.max(...y.sort.map((n) => n.length)) <= LETTERS) continue;
      const lines = Object.fromEntries(y.sort.map((name) => [name, folded(name)]));
      y.axis.labelExpr = `(${JSON.stringify(lines)})[datum.label]`;
      tallest = Math.max(tallest, ...Object.values(lines).map((one) => one.length));
    }
    if (tallest > 1) {
      const names = (spec.layer ?? [spec]).find((part) => part.encoding?.y?.sort).encoding.y.sort;
      spec.height = (tallest * LINE + 6) * names.length;
    }
  }

  // a legend as wide as the chart has room for, and titles that keep within a phone
  function fitted(spec, place) {
    const made = structuredClone({ ...spec, config: look });
    const width = place.clientWidth;
    made.config.legend.columns = Math.max(1, Math.min(6, Math.floor(width / 170)));
    if (window.innerWidth < PHONE) {
      made.config.axisX = { ...made.config.axisX, titleAnchor: "end" };
      foldNames(made);
    }
    return made;
  }

  function titleOf(place) {
    const near = place.closest("figure, div:has(> .chart-title)")?.querySelector(".chart-title");
    const head = place.closest("section")?.querySelector("h2, h3");
    return (near ?? head ?? document.querySelector("h1")).textContent.trim();
  }

  // the table that holds the chart's numbers: its own, or else the next one on the page
  function numbersOf(place) {
    const own = place.closest("figure")?.querySelector("details");
    if (own) return own;
    const all = [...document.querySelectorAll("main details, main .scroll")];
    const tables = all.filter((one) => one.matches(".scroll") || one.querySelector("table"));
    return tables.find((one) =>
      place.compareDocumentPosition(one) & Node.DOCUMENT_POSITION_FOLLOWING);
  }

  function showNumbers(place) {
    const found = numbersOf(place);
    if (!found) return;
    if (found.matches("details")) found.open = true;
    found.scrollIntoView({ block: "nearest" });
    (found.querySelector("summary") ?? found).focus();
  }

  // what a click on the legend does, for keys and fingers
  function chooser(view, { field, levels }) {
    const made = document.createElement("select");
    made.setAttribute("aria-label", "Show one series only");
    made.append(new Option("show all", ""), ...levels.map((level) => new Option(level, level)));
    made.addEventListener("change", () => {
      const chosen = made.value
        ? [{ fields: [{ type: "E", field }], values: [made.value] }] : [];
      view.data("series_store", chosen).runAsync();
    });
    view.addDataListener("series_store", (_, chosen) => {
      const shown = chosen.flatMap((one) => one.values);
      made.value = shown.length === 1 ? shown[0] : "";
    });
    return made;
  }

  function tools(name, place, view) {
    const title = titleOf(place);
    const row = Object.assign(document.createElement("div"),
      { className: "tools", role: "group", ariaLabel: `Tools of the chart: ${title}` });
    const file = (ending) => `${name}_${asOf}.${ending}`;
    const save = (ending, make) => async () => saving.hand(await make(), file(ending));
    const source = `${station}, as of ${asOf}`;
    const meta = specs[name].usermeta?.series;
    if (meta) row.append(chooser(view, meta));
    row.append(
      button("Numbers", "Show the chart's numbers as a table", () => showNumbers(place)),
      button("PNG", "Save this chart as a picture", save("png", () => saving.png(view, title, source))),
      button("SVG", "Save this chart as a drawing", save("svg", () => saving.svg(view, title, source))),
      button("CSV", "Save the chart's numbers", save("csv", () => saving.csv(specs[name]))),
    );
    place.after(row);
  }

  function draw(name, spec, place) {
    // a chart is one picture, and its place on the page says what of
    const sheet = document.createElement("div");
    sheet.setAttribute("aria-hidden", "true");
    place.append(sheet);
    window
      .vegaEmbed(sheet, fitted(spec, place), options)
      .then(({ view }) => {
        tools(name, place, view);
        const { link } = specs[name].usermeta ?? {};
        place.dispatchEvent(new CustomEvent("drawn", { bubbles: true, detail: { view, link } }));
        place.dataset.drawn = "yes";
      })
      .catch((problem) => {
        place.textContent = `This chart could not be drawn (${problem.message}); its numbers stand in the table.`;
      });
  }

  // what is folded has no width yet: it is drawn when it is unfolded
  const unfolded = new ResizeObserver((changes) => {
    for (const { target } of changes) {
      if (!target.clientWidth) continue;
      unfolded.unobserve(target);
      const name = target.id.replace(/^chart-/, "");
      draw(name, specs[name], target);
    }
  });

  for (const [name, spec] of Object.entries(specs)) {
    const place = document.getElementById(`chart-${name}`);
    if (place.clientWidth) draw(name, spec, place);
    else unfolded.observe(place);
  }
}
