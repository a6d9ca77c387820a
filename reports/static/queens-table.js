// The list of courses: search, filters with their counts, order, and more on demand.
"use strict";
if (queens.list) {
  const STEP = 50;
  const { list } = queens;
  const place = (id) => document.getElementById(id);
  const lower = (text) => String(text).toLocaleLowerCase("en");
  const ids = list.ids.map(lower);
  const searched = ["colony", "operator", "line", "graft_batch", "semen_batch", "protocol", "end_reason"];
  const inputs = ["query", "state", "operator", "line", "batch", "from", "to"].map(place);
  const [query, state, operator, line, batch, from, to] = inputs;
  const body = document.querySelector("#courses tbody");
  const column = list.column; // the question that has a column of its own; null: none has
  const decimals = list.values.dose_ul.every(Number.isInteger) ? 0 : 1;
  const dose = (row) => list.dose[row]?.toFixed(decimals) ?? "";
  let shown = STEP;
  let order = { key: "d0", down: true };
  let found = [];

  const codeOf = (answer) => list.answers.indexOf(answer) + 1; // in a closed window
  const undecided = codeOf("undecided");
  const keeps = {
    "": () => true,
    open: (row) => list.states.some((column) => column[row] > list.answers.length),
    ended: (row) => list.places.end_reason[row] !== null,
    undecided: (row) => list.states.some((column) => column[row] === undecided),
  };

  for (const { value, dataset } of state.options) { // by the answer to a question
    if (!dataset.question) continue;
    const codes = [codeOf(dataset.answer), codeOf(dataset.answer) + list.answers.length];
    keeps[value] = (row) => codes.includes(list.states[dataset.question][row]);
  }

  // Which of these each course is kept by, a bit for each: asked once, not at every letter.
  const kinds = Object.keys(keeps);
  const keptBy = Uint8Array.from({ length: list.rows }, (_, row) =>
    kinds.reduce((bits, kind, place) => (keeps[kind](row) ? bits | (1 << place) : bits), 0));

  // What each column is sorted by; a text's place among its sorted values serves as well.
  const keys = {
    id: (row) => list.queen[row] * 4096 + list.course[row],
    colony: (row) => list.places.colony[row],
    d0: (row) => list.d0[row],
    operator: (row) => list.places.operator[row],
    line: (row) => list.places.line[row],
    dose: (row) => list.dose[row],
    onset: (row) => list.onsetBy[row],
    answer: (row) => list.states[column]?.[row] || null,
    end: (row) => list.endBy[row],
  };
  const orders = new Map();

  function rowsInOrder({ key, down }) {
    const name = `${key} ${down}`;
    if (!orders.has(name)) {
      const value = Array.from({ length: list.rows }, (_, row) => keys[key](row));
      const sign = down ? -1 : 1;
      const rows = Array.from(value.keys()).sort((one, other) => {
        if (value[one] === null || value[other] === null) { // what is not known comes last
          return (value[one] === null) - (value[other] === null) || one - other;
        }
        return sign * (value[one] - value[other]) || one - other;
      });
      orders.set(name, rows);
    }
    return orders.get(name);
  }

  // What is searched of each value: as it is recorded, and as this page says it.
  const said = (name, value) => (name === "end_reason"
    ? `${value} ${queens.reason(value)} ${list.end_words[value] ?? ""}` : String(value));
  const spoken = Object.fromEntries(Object.entries(list.values).map(([name, values]) =>
    [name, values.map((value) => lower(said(name, value)))]));

  // Which values of a list hold a text, as a test of a row.
  function holds(name, text) {
    const hits = spoken[name].map((value) => value.includes(text));
    const places = list.places[name];
    return hits.includes(true) ? (row) => hits[places[row]] === true : null;
  }

  function tests() {
    const made = lower(query.value).split(/\s+/).filter(Boolean).map((word) => {
      const others = searched.map((name) => holds(name, word)).filter(Boolean);
      return (row) => ids[row].includes(word) || others.some((test) => test(row));
    });
    for (const [input, name] of [[operator, "operator"], [line, "line"]]) {
      if (input.value === "") continue;
      const wanted = Number(input.value);
      made.push((row) => list.places[name][row] === wanted);
    }
    const typed = lower(batch.value).trim();
    if (typed) {
      const either = [holds("graft_batch", typed), holds("semen_batch", typed)].filter(Boolean);
      made.push((row) => either.some((test) => test(row)));
    }
    const dayOf = ({ value }) => (/^\d{4}-\d\d-\d\d$/.test(value.trim()) ? Date.parse(value) / 86_400_000 : NaN);
    const [first, last] = [dayOf(from), dayOf(to)];
    if (Number.isFinite(first)) made.push((row) => list.d0[row] >= first);
    if (Number.isFinite(last)) made.push((row) => list.d0[row] <= last);
    return made;
  }

  function search() {
    const made = tests();
    const counts = kinds.map(() => 0);
    const wanted = 1 << kinds.indexOf(state.value);
    found = [];
    for (const row of rowsInOrder(order)) {
      if (!made.every((test) => test(row))) continue;
      const bits = keptBy[row];
      for (let kind = 0; kind < counts.length; kind += 1) counts[kind] += (bits >> kind) & 1;
      if (bits & wanted) found.push(row);
    }
    for (const option of state.options) {
      const count = counts[kinds.indexOf(option.value)].toLocaleString("en");
      option.textContent = `${option.dataset.words} (${count})`;
    }
    draw();
  }

  function draw() {
    const all = list.rows.toLocaleString("en");
    const few = Math.min(shown, found.length).toLocaleString("en");
    const many = found.length.toLocaleString("en");
    place("found").textContent = found.length === 0
      ? `None of ${all} courses fits.`
      : `${many} of ${all} courses${found.length > shown ? `, the first ${few} shown` : ""}.`;
    place("clear").hidden = inputs.every((input) => input.value === "");
    body.replaceChildren(...found.slice(0, shown).map(drawRow));
    place("list").hidden = found.length === 0;
    place("save").hidden = found.length === 0;
    place("more").hidden = found.length <= shown;
    for (const button of document.querySelectorAll("#courses th button")) {
      const sorted = button.dataset.key === order.key;
      const way = order.down ? "descending" : "ascending";
      button.closest("th").ariaSort = sorted ? way : null;
    }
    queens.mark?.();
  }

  const heads = [...document.querySelectorAll("#courses th")].map((cell) => cell.textContent);

  function drawRow(row) {
    const opener = queens.button(list.ids[row]);
    const end = list.named("end_reason", row);
    const cells = [
      ["kept first", opener],
      ["kept first", list.named("colony", row)],
      ["kept first", queens.isoDate(list.d0[row])],
      ["wide", list.named("operator", row)],
      ["wide", list.named("line", row)],
      ["number wide", dose(row)],
      ["", queens.onset(list.onsetAfter[row], list.onsetBy[row])],
      ["", column === null ? "" : queens.stateWords(list.state(column, row))],
      ["", end ? `${queens.reason(end)} by day ${list.endBy[row]}` : ""],
    ];
    const made = queens.row(cells, heads);
    made.dataset.row = row;
    return made;
  }

  function fill(select, values) {
    select.append(...values.map((value, number) => new Option(value, number)));
  }

  // The course before and after one in the list as it stands.
  queens.neighbours = (row) => {
    const at = found.indexOf(row);
    return at < 0 ? {} : { before: found[at - 1], after: found[at + 1], at, of: found.length };
  };
  queens.searchFor = (text) => {
    query.value = text;
    again();
  };

  // The filters as they stand in the address, behind "#?": a link that can be sent.
  const worded = (input) => (input.tagName === "SELECT" && input !== state
    ? input.selectedOptions[0]?.textContent : input.value);
  queens.filters = () => {
    const set = inputs.filter((input) => input.value !== "");
    const told = new URLSearchParams(set.map((input) => [input.id, worded(input)]));
    return set.length ? `#?${told}` : "#";
  };
  queens.filterBy = (text) => {
    if (queens.filters() === `#?${text}`) return;
    const told = new URLSearchParams(text);
    for (const input of inputs) {
      const wanted = told.get(input.id) ?? "";
      if (input.tagName !== "SELECT" || input === state) input.value = wanted;
      else input.value = [...input.options].find((one) => wanted && one.textContent === wanted)?.value ?? "";
    }
    if (state.selectedIndex < 0) state.value = "";
    again();
  };

  function again() {
    shown = STEP;
    search();
  }

  function changed() {
    again();
    if (document.getElementById("panel").hidden) history.replaceState(null, "", queens.filters());
  }

  // What Enter opens: the only hit, else the latest queen of the colony or label typed.
  function onlyHit() {
    if (found.length === 1) return found[0];
    const typed = lower(query.value).trim();
    const exact = found.filter((row) => [list.named("colony", row) ?? "", list.queens[list.queen[row]]]
      .some((name) => typed && lower(name) === typed));
    return exact.reduce((best, row) => (best === undefined || list.d0[row] > list.d0[best] ? row : best), undefined);
  }

  function saved() {
    const rows = found.map((row) => Object.fromEntries([
      ["course_id", list.ids[row]], ["queen_id", list.queens[list.queen[row]]],
      ["day_0", queens.isoDate(list.d0[row])],
      ...["colony", "operator", "line", "graft_batch", "semen_batch", "protocol", "dose_ul"]
        .map((name) => [name, list.named(name, row)]),
      ["laying_after", list.onsetAfter[row]], ["laying_by", list.onsetBy[row]],
      ...list.questions.map((asked, number) =>
        [`${asked.outcome}_${asked.days}`, queens.stateWords(list.state(number, row))]),
      ["end", list.named("end_reason", row)], ["end_by", list.endBy[row]],
    ]));
    const { asOf } = document.getElementById("main").dataset;
    saving.hand(saving.csv({ datasets: { rows } }), `queens_${asOf}.csv`);
  }

  fill(operator, list.values.operator);
  fill(line, list.values.line);
  const batches = new Set([...list.values.graft_batch, ...list.values.semen_batch]);
  place("batches").append(...[...batches].map((value) => new Option("", value)));
  for (const input of inputs) input.addEventListener("input", changed);
  place("clear").addEventListener("click", () => {
    for (const input of inputs) input.value = "";
    changed();
    query.focus();
  });
  // a week picked in the picture is a filter by day
  const MONDAY = 4 * 86_400_000; // the first of 1970 was a Thursday
  function firstDay(week) {
    const [year, number] = week.split("-W").map(Number);
    const fourth = Date.UTC(year, 0, 4); // always in the first week
    const monday = fourth - ((fourth - MONDAY) % (7 * 86_400_000) + 7 * 86_400_000) % (7 * 86_400_000);
    return monday / 86_400_000 + 7 * (number - 1);
  }
  let isByWeek = false;
  document.addEventListener("picked", ({ detail: picked }) => {
    if (!picked && !isByWeek) return;
    isByWeek = Boolean(picked);
    from.value = picked ? queens.isoDate(firstDay(picked.levels[0])) : "";
    to.value = picked ? queens.isoDate(firstDay(picked.levels.at(-1)) + 6) : "";
    changed();
  });
  place("more").addEventListener("click", () => {
    const next = shown;
    shown += STEP;
    draw();
    body.rows[next]?.querySelector("button").focus();
  });
  body.addEventListener("click", (event) => {
    const row = event.target.closest("tr");
    if (row) queens.pick(Number(row.dataset.row));
  });
  document.querySelector("#courses thead").addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    const down = order.key === button.dataset.key ? !order.down : button.dataset.key === "d0";
    order = { key: button.dataset.key, down };
    again();
  });
  place("find").addEventListener("submit", (event) => event.preventDefault());
  query.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    const row = onlyHit();
    if (row !== undefined) queens.pick(row);
  });
  place("save").addEventListener("click", saved);
  place("filters").open = window.matchMedia("(min-width: 48rem)").matches;
  search();
} else {
  document.getElementById("found").textContent =
    "The file data/queens-list.js is not beside this page: copy the whole folder, or build again.";
}
