// Weeks chosen on the chart, or by the two lists under it: the table and a line follow. A week
// of the season is the same week of each season, and each is added up by itself.
"use strict";
{
  const place = document.getElementById("chart-cohorts");
  const form = document.getElementById("weeks");
  const [from, to] = form.querySelectorAll("select");
  const line = form.querySelector("output");
  const COLUMNS = ["week", "courses", "closed", "yes", "no", "undecided", "left"];
  const COUNTS = ["courses", "yes", "no", "undecided", "left"];
  const order = [...from.options].map((option) => option.value);
  const rows = [...document.querySelectorAll("#cohort-table tbody tr")].map((row) => {
    const texts = [...row.cells].map((cell) => cell.textContent.trim());
    const named = Object.fromEntries(COLUMNS.map((name, at) => [name, texts[at]]));
    const [year, number] = named.week.split("-");
    return { row, ...named, year, at: order.indexOf(number) };
  });
  const everything = () => [order[0], order.at(-1)];

  function said(shown) {
    const sum = (name, of = shown) => of.reduce((total, one) => total + Number(one[name]), 0);
    const span = shown.length > 1 ? `${shown[0].week} to ${shown.at(-1).week}` : shown[0].week;
    const parts = COUNTS.map((name) => `${sum(name)} ${name}`).join(", ");
    const closed = shown.filter((one) => one.closed === "yes");
    const decided = sum("yes", closed) + sum("no", closed);
    const fewest = Number(form.dataset.fewest);
    const rate = sum("courses", closed) < fewest || !decided
      ? `under ${fewest} courses in closed weeks, so no rate`
      : `${Math.round((100 * sum("yes", closed)) / decided)} % yes of the ${decided} decided in closed weeks`;
    return `${span}: ${parts}; ${rate}.`;
  }

  function choose(first, last) {
    from.value = first;
    to.value = last;
    const [low, high] = [order.indexOf(first), order.indexOf(last)];
    const shown = rows.filter((one) => one.at >= low && one.at <= high);
    for (const one of rows) one.row.hidden = !shown.includes(one);
    const years = [...new Set(shown.map((one) => one.year))];
    const lines = years.map((year) => said(shown.filter((one) => one.year === year)));
    line.textContent = lines.join(" ") || "No week with a queen lies in there.";
  }

  // the same weeks are marked in the page's other charts, where there are any
  const linked = typeof linking === "undefined" ? null : linking;
  const mark = (first, last) => {
    const [low, high] = [order.indexOf(first), order.indexOf(last)];
    const inside = rows.filter((one) => one.at >= low && one.at <= high);
    linked?.pick("week", inside.map((one) => one.week), true);
    choose(first, last);
  };

  form.addEventListener("change", () => {
    mark(...[from.value, to.value].sort((a, b) => order.indexOf(a) - order.indexOf(b)));
  });
  form.addEventListener("reset", (event) => {
    event.preventDefault();
    linked?.clear();
    choose(...everything());
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  let isDrawnAcross = false;
  place?.addEventListener("drawn", ({ detail: { view } }) => {
    view.addSignalListener("weeks", (_, { week: weeks = [] }) => {
      const chosen = order.filter((week) => weeks.includes(week));
      if (chosen.length) {
        form.closest("details").open = true;
        mark(chosen[0], chosen.at(-1));
      } else if (isDrawnAcross) {
        linked?.clear();
        choose(...everything());
      }
      isDrawnAcross = chosen.length > 0;
    });
    const undrawn = () => view.data("weeks_store", []).runAsync();
    form.querySelector("button").addEventListener("click", undrawn);
    document.addEventListener("picked", ({ detail: picked }) => {
      if (!picked && isDrawnAcross) undrawn();
    });
  });
  document.addEventListener("picked", ({ detail: picked }) => {
    const week = picked?.kind === "week" && picked.levels.length === 1 && picked.levels[0].slice(5);
    choose(...(week ? [week, week] : everything()));
  });
  form.hidden = false;
  choose(...everything());
}
