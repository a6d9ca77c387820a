// Finds a course and shows what her records say. Every text is set as text, never as HTML.
"use strict";
{
  const STEP = 100;
  const cards = JSON.parse(document.getElementById("cards").textContent);
  for (const card of cards) {
    card.text = [card.id, card.by, card.line, card.graft, card.semen, card.protocol, card.end?.[0]]
      .filter(Boolean).join(" ").toLocaleLowerCase("en");
  }
  const query = document.getElementById("query");
  const state = document.getElementById("state");
  const body = document.querySelector("#courses tbody");
  const panel = document.getElementById("panel");
  const more = document.getElementById("more");
  let shown = STEP;

  const element = (name, text, className) => {
    const made = document.createElement(name);
    if (text !== undefined) made.textContent = text;
    if (className) made.className = className;
    return made;
  };
  const answer = (card, outcome) => card.outcomes.find((row) => row[0] === outcome);
  const onset = ([after, by]) =>
    by === null ? `not seen, looked until day ${after}` : `day ${after + 1}–${by}`;

  const keeps = {
    "": () => true,
    open: (card) => card.outcomes.some((row) => !row[3]),
    "established yes": (card) => answer(card, "established")?.[2] === "yes",
    "laying no": (card) => answer(card, "laying")?.[2] === "no",
    ended: (card) => card.end !== null,
    undecided: (card) => card.outcomes.some((row) => row[2] === "undecided" && row[3]),
  };

  function wording(row) {
    if (!row) return "not at risk";
    return row[3] ? row[2] : `${row[2]}, still open`;
  }

  function draw() {
    const words = query.value.toLocaleLowerCase("en").split(/\s+/).filter(Boolean);
    const keep = keeps[state.value];
    const found = cards.filter((card) => keep(card) && words.every((word) => card.text.includes(word)));
    document.getElementById("found").textContent =
      `${found.length} of ${cards.length} courses`;
    body.replaceChildren(...found.slice(0, shown).map(line));
    more.hidden = found.length <= shown;
  }

  function line(card) {
    const row = element("tr");
    const opener = element("button", card.id);
    opener.type = "button";
    const first = element("td");
    first.append(opener);
    row.append(first, element("td", card.d0), element("td", card.by ?? ""),
      element("td", card.ul ?? "", "number"), element("td", onset(card.onset)),
      element("td", wording(answer(card, "established"))),
      element("td", card.end ? `${card.end[0]} by day ${card.end[1]}` : ""));
    row.addEventListener("click", () => show(card));
    return row;
  }

  function rows(heads, data) {
    const table = element("table");
    const top = element("tr");
    for (const head of heads) {
      const cell = element("th", head);
      cell.scope = "col";
      top.append(cell);
    }
    const head = element("thead");
    head.append(top);
    const inside = element("tbody");
    for (const values of data) {
      const row = element("tr");
      for (const value of values) row.append(element("td", value ?? ""));
      inside.append(row);
    }
    table.append(head, inside);
    const frame = element("div", undefined, "scroll");
    frame.tabIndex = 0;
    frame.setAttribute("role", "region");
    frame.setAttribute("aria-label", heads.join(", "));
    frame.append(table);
    return frame;
  }

  function show(card) {
    panel.hidden = false;
    const facts = [
      `inseminated ${card.d0}`, card.by && `by ${card.by}`, card.ul && `${card.ul} uL`,
      card.line && `line ${card.line}`, card.graft && `graft ${card.graft}`,
      card.semen && `semen ${card.semen}`, card.protocol && `protocol ${card.protocol}`,
    ].filter(Boolean);
    panel.replaceChildren(
      element("h2", card.id),
      element("p", facts.join(", ")),
      element("h3", "What each look implied"),
      rows(["Day", "Seen", "Laying after", "Laying by", "Source"], card.looks),
      element("h3", "What became of her"),
      rows(["Outcome", "By day", "State", "Window", "Settled by"],
        card.outcomes.map((row) => [row[0], row[1], row[2], row[3] ? "closed" : "open", row[4].join(", ")])),
    );
    panel.scrollIntoView({ block: "nearest" });
  }

  query.addEventListener("input", () => { shown = STEP; draw(); });
  state.addEventListener("change", () => { shown = STEP; draw(); });
  more.addEventListener("click", () => { shown += STEP; draw(); });
  document.getElementById("find").addEventListener("submit", (event) => event.preventDefault());
  query.value = decodeURIComponent(location.hash.slice(1));
  draw();
}
