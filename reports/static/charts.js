// Draws the page's charts, and puts a row of tools under each. The expression interpreter
// (`ast`) keeps eval out of it.
"use strict";
{
  const specs = JSON.parse(document.getElementById("chart-specs").textContent);
  const { station, asOf } = document.getElementById("main").dataset;
  const options = {
    mode: "vega-lite", ast: true, renderer: "svg", actions: false,
    tooltip: { disableDefaultStyle: true },
  };

  const button = (label, help, act) => {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = label;
    made.title = help;
    made.addEventListener("click", act);
    return made;
  };

  // a legend as wide as the chart has room for
  function fitted(spec, place) {
    const columns = Math.max(1, Math.min(6, Math.floor(place.clientWidth / 170)));
    const legend = { ...spec.config.legend, columns };
    return { ...spec, config: { ...spec.config, legend } };
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
    made.append(new Option("all series", ""), ...levels.map((level) => new Option(level, level)));
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
    const row = document.createElement("div");
    const title = titleOf(place);
    row.className = "tools";
    row.setAttribute("role", "group");
    row.setAttribute("aria-label", `Tools of the chart: ${title}`);
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

  for (const [name, spec] of Object.entries(specs)) {
    const place = document.getElementById(`chart-${name}`);
    // a chart is one picture, and its place on the page says what of
    const sheet = document.createElement("div");
    sheet.setAttribute("aria-hidden", "true");
    place.append(sheet);
    window
      .vegaEmbed(sheet, fitted(spec, place), options)
      .then(({ view }) => {
        tools(name, place, view);
        place.dispatchEvent(new CustomEvent("drawn", { detail: view }));
        place.dataset.drawn = "yes";
      })
      .catch((problem) => {
        place.textContent = `This chart could not be drawn (${problem.message}); its numbers stand in the table.`;
      });
  }
}
