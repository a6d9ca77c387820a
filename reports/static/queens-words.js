// How the queens page says things, and how it makes elements. Every text from the records
// is set as text, never as HTML.
"use strict";
{
  const SVG = "http://www.w3.org/2000/svg";

  queens.element = (name, text, className, ...children) => {
    const made = document.createElement(name);
    if (text !== undefined && text !== null) made.textContent = text;
    if (className) made.className = className;
    made.append(...children);
    return made;
  };

  queens.drawn = (name, attributes = {}, ...children) => {
    const made = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    made.append(...children);
    return made;
  };

  queens.button = (words, act) => {
    const made = queens.element("button", words);
    made.type = "button";
    if (act) made.addEventListener("click", act);
    return made;
  };

  queens.isoDate = (day) => new Date(day * 86_400_000).toISOString().slice(0, 10);

  // When laying began, in the fewest words that hold both bounds.
  queens.onset = (after, by) => {
    if (by === null) return after > 0 ? `not seen up to day ${after}` : "not seen";
    return after + 1 === by ? `day ${by}` : `day ${after + 1}–${by}`;
  };

  queens.bounds = (after, by) => {
    if (by === null) return after > 0 ? `not up to day ${after}` : "not seen";
    return `after day ${after} and by day ${by}`;
  };

  queens.implied = ({ after, by }) => {
    if (after === null && by === null) return "";
    const parts = [after !== null && `after day ${after}`, by !== null && `by day ${by}`];
    return `laying began ${parts.filter(Boolean).join(" and ")}`;
  };

  // What a look implies, and why not, where it does not; a look not used implies nothing.
  // The days of another course's look are that course's.
  queens.reads = (look, row) => {
    const said = look.remark.includes("not used") ? "" : queens.implied(look);
    const other = said && look.course !== row ? ` of ${queens.list.ids[look.course]}` : "";
    return [said + other, look.remark].filter(Boolean).join("; ");
  };

  queens.stateWords = (found) => {
    if (!found) return "not at risk";
    if (found.closed) return found.state;
    return found.state === "undecided" ? "open" : `${found.state}, still open`;
  };

  queens.reason = (code) => (code ?? "").replaceAll("_", "-");

  // Rows of the records, each kept in one piece.
  queens.sources = (names) => {
    const made = queens.element("span");
    names.forEach((name, place) => {
      made.append(place ? ", " : "", queens.element("span", name, "one-piece"));
    });
    return made;
  };

  const inRole = (role, ...element) => Object.assign(queens.element(...element), { role });

  // A row of [class, text or node] cells. On a phone rows become blocks: so that they stay
  // rows to a screen reader roles are said, and so that they are read each cell knows its head.
  queens.row = (cells, heads) => {
    const made = inRole("row", "tr");
    cells.forEach(([className, value], place) => {
      const cell = inRole("cell", "td", undefined, className);
      cell.dataset.head = heads[place];
      if (value !== null && value !== undefined && value !== "") {
        cell.append(value instanceof Node ? value : String(value));
      }
      made.append(cell);
    });
    return made;
  };

  // A table in a frame that can be scrolled by keyboard; heads: [words, class of its cells].
  queens.table = (label, heads, rows) => {
    const top = inRole("row", "tr");
    for (const [words, className] of heads) {
      const cell = inRole("columnheader", "th", words, className);
      cell.scope = "col";
      top.append(cell);
    }
    const head = inRole("rowgroup", "thead", undefined, undefined, top);
    const names = heads.map(([words]) => words);
    const body = inRole("rowgroup", "tbody", undefined, undefined, ...rows.map((values) =>
      queens.row(values.map((value, place) => [heads[place][1], value]), names)));
    const table = inRole("table", "table", undefined, "stacks", queens.element("caption", label), head, body);
    const frame = inRole("group", "div", undefined, "scroll", table);
    return Object.assign(frame, { tabIndex: 0, ariaLabel: label });
  };
}
