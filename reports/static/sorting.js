// Sorts a table by a heading: numbers by size, days by date, other texts as people count.
// A cell's `data-sort` goes before what it shows; empty cells stay at the end.
"use strict";
{
  const LEAST = 3;
  const number = /^[<>≤≥~]?\s*([+−-]?\d[\d,]*(?:\.\d+)?)/;
  const texts = new Intl.Collator("en", { numeric: true, sensitivity: "base" });

  const shown = (row, at) => {
    const cell = row.cells[at];
    return (cell?.dataset.sort ?? cell?.textContent ?? "").trim();
  };

  const worth = (text) => {
    const found = number.exec(text);
    return found ? Number(found[1].replace("−", "-").replaceAll(",", "")) : NaN;
  };

  // numbers only where the column is one of numbers; a day such as 2026-07-05 sorts as text
  function order(rows, at, isNumber) {
    const by = (row) => shown(row, at);
    return (one, two) => {
      const [a, b] = [by(one), by(two)];
      if (!a || !b) return !a - !b;
      const size = isNumber ? worth(a) - worth(b) : NaN;
      return Number.isNaN(size) ? texts.compare(a, b) : size;
    };
  }

  function sort(table, heading, at) {
    const down = heading.getAttribute("aria-sort") === "ascending";
    for (const other of heading.parentElement.cells) other.removeAttribute("aria-sort");
    heading.setAttribute("aria-sort", down ? "descending" : "ascending");
    const body = table.tBodies[0];
    const isNumber = heading.classList.contains("number") || heading.dataset.number === "";
    const compare = order(body.rows, at, isNumber);
    const rows = [...body.rows].sort((one, two) => {
      const found = compare(one, two);
      const hasEmpty = !shown(one, at) || !shown(two, at);
      return down && !hasEmpty ? -found : found;
    });
    body.append(...rows);
  }

  function prepare(table) {
    const head = table.tHead;
    const body = table.tBodies[0];
    if (!head || head.rows.length !== 1 || !body || body.rows.length < LEAST) return;
    if (table.id === "courses" || table.querySelector("th button, td[colspan], td[rowspan]")) return;
    [...head.rows[0].cells].forEach((heading, at) => {
      if (!heading.textContent.trim()) return;
      const made = Object.assign(document.createElement("button"), { type: "button" });
      made.append(...heading.childNodes);
      heading.append(made);
      made.addEventListener("click", () => sort(table, heading, at));
    });
  }

  document.querySelectorAll("main table").forEach(prepare);
}
