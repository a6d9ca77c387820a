// One course in full: facts, timeline, what became of her, and every record behind it.
"use strict";
if (queens.list) {
  const { list, element } = queens;
  const panel = document.getElementById("panel");
  const link = (row) => {
    const made = element("a", list.ids[row]);
    made.href = `#${encodeURIComponent(list.ids[row])}`;
    return made;
  };
  let picked = null;

  function facts(row) {
    const told = element("dl", undefined, "facts-of-hers");
    const named = [
      ["Day 0", queens.isoDate(list.d0[row])], ["Colony", list.named("colony", row)], ["Operator", list.named("operator", row)],
      ["Dose", list.dose[row] === null ? null : `${list.dose[row]} uL`],
      ["Protocol", list.named("protocol", row)], ["Line", list.named("line", row)],
      ["Graft", list.named("graft_batch", row)], ["Semen", list.named("semen_batch", row)],
    ];
    for (const [name, value] of named) {
      if (value === null) continue;
      told.append(element("div", undefined, undefined, element("dt", name), element("dd", value)));
    }
    return told;
  }

  function headline(row) {
    const end = list.named("end_reason", row);
    const began = list.onsetBy[row] === null
      ? `No brood of hers has been seen${list.onsetAfter[row] > 0 ? `; there was none up to day ${list.onsetAfter[row]}` : ""}.`
      : `Laying began ${queens.bounds(list.onsetAfter[row], list.onsetBy[row])} (${queens.isoDate(list.d0[row] + list.onsetBy[row])}).`;
    return element("p", end ? `${began} She was ${list.end_words[end] ?? end} by day ${list.endBy[row]}.` : began, "headline");
  }

  function others(row) {
    const rows = list.coursesOf(list.queen[row]).filter((other) => other !== row);
    if (rows.length === 0) return [];
    const told = element("p", rows.length === 1 ? "Her other course: " : "Her other courses: ");
    rows.forEach((other, number) => {
      if (number) told.append(", ");
      told.append(link(other), ` of ${queens.isoDate(list.d0[other])}`);
    });
    return [told];
  }

  function answers(row, told) {
    const rows = [];
    list.questions.forEach((asked, number) => {
      const found = list.state(number, row);
      if (!found) return;
      const close = list.d0[row] + asked.days + list.grace_days;
      const answer = told?.answers.get(number);
      const lies = !answer || answer.after === null ? "" : queens.bounds(answer.after, answer.by);
      rows.push([`${asked.words} by day ${asked.days}`, element("b", found.state === "undecided" && !found.closed ? "open" : found.state),
        element("span", found.closed ? "closed " : "open until ", "", element("span", queens.isoDate(close), "one-piece")),
        lies, answer?.rule ?? "…", queens.sources(answer?.settled ?? [])]);
    });
    return queens.table("What became of her, and what settled it",
      [["Outcome", "roomy first"], ["State"], ["Window", "roomy"], ["When", "roomy"], ["Because", "because"], ["Settled by", "source"]], rows);
  }

  function records(row, told) {
    const rows = told.records.map((record) => {
      const reads = queens.reads(record, row);
      const day = record.date === null ? "" : record.date - list.d0[row];
      return [day, record.date === null ? "" : queens.isoDate(record.date), record.says, reads, record.source];
    });
    const frame = queens.table("Every record about her, and what each look implies",
      [["Day", "number first"], ["Date", "kept first"], ["What was written", "bare"], ["What it implies"], ["File and line", "source bare"]], rows);
    [...frame.querySelectorAll("tbody tr")].forEach((line, place) => { told.records[place].line = line; });
    return frame;
  }

  function due(told) {
    return told.due.map((one) => element("p",
      `A look is due: day ${one.day}, ${queens.isoDate(one.date)}. Look for ${one.lookFor}; it settles ${one.settles}.`, "note"));
  }

  function way(words, row) {
    const made = queens.button(words, () => queens.pick(row));
    made.disabled = row === undefined;
    return made;
  }

  function bar(row) {
    const made = element("div", undefined, "ways");
    const { before, after, at, of } = queens.neighbours(row);
    if (at !== undefined) {
      made.append(way("Previous", before), way("Next", after), element("span", `${at + 1} of ${of}`, "quiet"));
    }
    made.append(queens.button("Close", leave));
    return made;
  }

  const leave = () => { location.hash = queens.filters(); };

  // Draws at once what the list knows, and the rest when her file is there.
  async function show(row) {
    picked = row;
    const heading = element("h2", list.ids[row]);
    heading.tabIndex = -1;
    const rest = element("div", undefined, "rest", answers(row, null));
    panel.replaceChildren(bar(row), heading, headline(row), facts(row), ...others(row), rest);
    panel.hidden = false;
    document.body.classList.add("queen-open");
    queens.mark();
    heading.focus({ preventScroll: true });
    panel.scrollIntoView({ block: "start" });
    try {
      const told = await queens.told(row);
      if (picked !== row) return;
      const looked = told.records.some((record) => record.event !== "checked" && record.by !== null || record.after !== null);
      const none = looked ? [] : [element("p", "No look of hers has said anything of laying yet.", "quiet")];
      rest.replaceChildren(...due(told), queens.timeline(row, told), ...none, answers(row, told), records(row, told));
      panel.dataset.drawn = list.ids[row];
    } catch (problem) {
      if (picked === row) rest.prepend(element("p", `Her records cannot be shown: ${problem.message}.`, "note"));
    }
  }

  function close() {
    const row = picked;
    picked = null;
    panel.hidden = true;
    panel.replaceChildren();
    document.body.classList.remove("queen-open");
    queens.mark();
    const back = document.querySelector(`#courses tr[data-row="${row}"] button`);
    (back ?? document.getElementById("query")).focus();
  }

  // Shows in the list which course is open.
  queens.mark = () => {
    for (const line of document.querySelectorAll("#courses tbody tr")) {
      const here = Number(line.dataset.row) === picked && picked !== null;
      line.ariaCurrent = here ? "true" : null;
    }
  };

  queens.pick = (row) => {
    const hash = `#${encodeURIComponent(list.ids[row])}`;
    if (location.hash === hash) show(row);
    else location.hash = hash;
  };

  // A course's id in the address opens it, a queen's her latest course; else it is a search.
  function follow() {
    let wanted = location.hash.slice(1);
    if (wanted.startsWith("?")) {
      queens.filterBy(wanted.slice(1));
      if (picked !== null) close();
      return;
    }
    try {
      wanted = decodeURIComponent(wanted);
    } catch {
      // not written by these pages: taken as it stands
    }
    if (!wanted || wanted === "main") {
      if (picked !== null && !wanted) close();
      return;
    }
    const row = list.ids.indexOf(wanted);
    const queen = row < 0 ? list.queens.indexOf(wanted) : -1;
    if (row >= 0) show(row);
    else if (queen >= 0) show(list.coursesOf(queen).at(-1));
    else queens.searchFor(wanted);
  }

  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && picked !== null) leave();
  });
  window.addEventListener("hashchange", follow);
  follow();
}
