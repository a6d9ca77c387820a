// What is picked in one chart is ringed in the others of the page: the same courses, by their
// week, operator or batch. Counted in a small table that the page carries.
"use strict";
const linking = (() => {
  const FEWEST = 0.2; // of a ring's opacity, however few of a mark's courses are picked
  const MOST_NAMED = 4;
  const { unit, many, kinds } = JSON.parse(document.getElementById("linked").textContent);
  const bar = document.getElementById("picked");
  const said = bar.querySelector("output");
  const charts = [];
  let picked = null;

  const isPicked = (kind, level) => picked?.kind === kind && picked.levels.includes(level);
  const rowsPicked = () => {
    if (!picked) return [];
    const { levels, rows } = kinds[picked.kind];
    return rows.flatMap((place, row) => (picked.levels.includes(levels[place]) ? [row] : []));
  };

  // how many of some rows lie in each level of a kind
  function counted(kind, some) {
    const { levels, rows } = kinds[kind];
    const found = new Map();
    for (const row of some) {
      const level = levels[rows[row]];
      if (level !== undefined) found.set(level, (found.get(level) ?? 0) + many[row]);
    }
    return found;
  }

  const all = Object.fromEntries(Object.keys(kinds).map((kind) => [kind, counted(kind, many.keys())]));

  // what a chart is to ring: how much of each level, and the field that names it
  function rings({ kind, field, courses }, rows) {
    if (!picked) return [{}, field ?? ""];
    if (courses) {
      const by = courses[picked.kind];
      return [by ? Object.fromEntries(picked.levels.map((level) => [level, 1])) : {}, by ?? ""];
    }
    const shares = [...counted(kind, rows)].map(([level, some]) =>
      [level, FEWEST + (1 - FEWEST) * (some / all[kind].get(level))]);
    return [Object.fromEntries(shares), field];
  }

  function words(rows) {
    const number = rows.reduce((sum, row) => sum + many[row], 0);
    const { levels } = picked;
    const which = levels.length > 1 ? `${levels[0]} to ${levels.at(-1)}` : levels[0];
    const parts = [`${kinds[picked.kind].label} ${which}: ${number.toLocaleString("en")} ${unit}${number === 1 ? "" : "s"}`];
    for (const [kind, { label }] of Object.entries(kinds)) {
      if (kind === picked.kind) continue;
      const found = [...counted(kind, rows)].sort((one, other) => other[1] - one[1]);
      const named = found.slice(0, MOST_NAMED).map(([level, some]) => `${level} ${some}`);
      const more = found.length - named.length;
      if (named.length) parts.push(`by ${label}: ${named.join(", ")}${more > 0 ? ` and ${more} more` : ""}`);
    }
    return `Marked: ${parts.join("; ")}.`;
  }

  function ring(chart, rows) {
    const [marks, by] = rings(chart.link, rows);
    chart.view.signal("picked", marks).signal("by", by).runAsync();
    if (!chart.list) return;
    const own = picked?.kind === chart.link.kind && picked.levels.length === 1;
    chart.list.value = own ? picked.levels[0] : "";
  }

  function show() {
    const rows = rowsPicked();
    for (const chart of charts) ring(chart, rows);
    for (const one of document.querySelectorAll("[data-level]")) {
      const { kind, level } = one.dataset;
      if (one.matches("button")) one.setAttribute("aria-pressed", isPicked(kind, level));
      else one.classList.toggle("marked", counted(kind, rows).has(level));
    }
    bar.hidden = !picked;
    said.textContent = picked ? words(rows) : "";
    document.dispatchEvent(new CustomEvent("picked", { detail: picked }));
  }

  // the same once more is none, unless it stays
  function pick(kind, some, stays = false) {
    const levels = some.filter((level) => kinds[kind].levels.includes(level));
    const same = !stays && picked?.kind === kind && String(picked.levels) === String(levels);
    picked = levels.length && !same ? { kind, levels } : null;
    show();
  }

  function clear() {
    picked = null;
    show();
  }

  // what a click on a mark does, for keys and fingers
  function chooser({ kind }) {
    const made = document.createElement("select");
    made.setAttribute("aria-label", `Mark one ${kinds[kind].label} in every chart`);
    made.append(new Option(`mark a ${kinds[kind].label}`, ""),
      ...kinds[kind].levels.map((level) => new Option(level, level)));
    made.addEventListener("change", () => (made.value ? pick(kind, [made.value], true) : clear()));
    return made;
  }

  document.addEventListener("drawn", ({ target, detail: { view, link } }) => {
    if (!link || (link.kind && !kinds[link.kind])) return;
    const chart = { view, link };
    if (link.kind) {
      const { levels } = kinds[link.kind];
      chart.list = chooser(link);
      target.nextElementSibling.prepend(chart.list);
      view.addEventListener("click", (_, item) => {
        const level = item?.datum?.[link.field];
        if (levels.includes(level)) pick(link.kind, [level]);
      });
      if (link.brush) view.addSignalListener(link.brush, (_, drawn) => {
        const [span] = Object.values(drawn);
        if (!span) return;
        const inside = levels.filter((level) => span[0] <= Date.parse(level) && Date.parse(level) <= span[1]);
        if (inside.length) pick(link.kind, inside, true);
      });
    }
    charts.push(chart);
    if (picked) ring(chart, rowsPicked());
  });
  document.addEventListener("keydown", (event) => {
    const hasOther = document.querySelector("#panel:not([hidden])"); // which Escape closes first
    if (event.key === "Escape" && picked && !hasOther) clear();
  });
  for (const one of document.querySelectorAll("button[data-level]")) {
    one.addEventListener("click", () => pick(one.dataset.kind, [one.dataset.level]));
  }
  bar.querySelector("button").addEventListener("click", clear);
  return { pick, clear };
})();
