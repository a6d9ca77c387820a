// What there is to draw of a course: marks and spans by lane, each with its words.
"use strict";
{
  const BENCH = new Set(["emerged", "inseminated", "co2", "sampled"]);
  const LOOKS = new Set(["another", "drones", "brood", "empty", "no_brood", "queen", "nothing",
    "checked"]);
  const EARLIEST = -60; // days: what lies further back is told in the list only
  const BETWEEN = -14; // days: how far a further course looks back

  // Of a queen's records, those that belong to the time of this course.
  function within(row, told) {
    const { list } = queens;
    const start = list.course[row] === 1 ? EARLIEST : BETWEEN;
    const end = told.course.next_day ?? Infinity;
    const before = list.coursesOf(list.queen[row])[list.course[row] - 2];
    const from = before === undefined ? start : Math.max(start, list.d0[before] - list.d0[row] + 1);
    return told.records
      .filter((record) => record.date !== null && record.date <= list.asOf)
      .map((record) => ({ ...record, record, day: record.date - list.d0[row] }))
      .filter(({ day, until }) => day < end && (day >= from || until === null || until - list.d0[row] >= from));
  }

  const sentence = (item, row) => [item.says, queens.reads(item, row)].filter(Boolean).join("; ");

  function fromRecords(row, told) {
    const items = [];
    const { list } = queens;
    const kept = within(row, told);
    const read = new Set(kept.filter((one) => LOOKS.has(one.event) && one.event !== "checked")
      .map((one) => one.day));
    for (const one of kept) {
      const words = `${sentence(one, row)} (${one.source})`;
      const item = { day: one.day, shape: one.event, words, record: one.record };
      if (one.event === "placed") {
        const last = Math.min(one.until ?? Infinity, list.asOf) - list.d0[row];
        items.push({ ...item, lane: "colony", from: one.day, to: last, ended: one.until !== null,
          label: one.says.split(", ")[0].replace("placed in ", "") });
      } else if (LOOKS.has(one.event)) {
        if (one.event === "checked" && read.has(one.day)) continue; // told by the day's other row
        const unused = one.course !== row || (list.endBy[row] !== null && one.day > list.endBy[row]);
        items.push({ ...item, lane: "looks", shape: unused ? "checked" : one.event });
        if (unused || (one.after === null && one.by === null)) continue;
        items.push({ ...item, lane: "implied", from: one.after, to: one.by,
          words: `${queens.implied(one)}, says the look of day ${one.day} (${one.source})` });
      } else if (one.event === "left") {
        items.push({ ...item, lane: "end" });
      } else if (BENCH.has(one.event) && one.day >= EARLIEST) {
        items.push({ ...item, lane: "bench" });
      }
    }
    return items;
  }

  function fromAnswers(row, told) {
    const { list } = queens;
    const items = [];
    const by = list.onsetBy[row];
    const after = list.onsetAfter[row];
    const conflict = told.course.conflict ? "; the looks contradict each other, brood seen outranks brood not seen" : "";
    items.push({ lane: "onset", day: by ?? after, from: after, to: by,
      words: `laying began ${queens.bounds(after, by)}${conflict}` });
    list.questions.forEach((asked, number) => {
      const answer = told.answers.get(number);
      if (asked.outcome !== "drone_layer" || !answer || answer.by === null) return;
      if (items.some((item) => item.lane === "drones")) return;
      items.push({ lane: "drones", day: answer.by, from: answer.after, to: answer.by,
        words: `turned drone-layer after day ${answer.after} and by day ${answer.by}` });
    });
    const reason = list.named("end_reason", row);
    if (reason) {
      const inferred = told.course.inferred ? ", as the looks say" : "";
      items.push({ lane: "end", day: list.endBy[row], from: told.course.end_after, to: list.endBy[row],
        words: `${queens.reason(reason)} after day ${told.course.end_after} and by day ${list.endBy[row]}${inferred}` });
    }
    return items;
  }

  function windows(row) {
    const { list } = queens;
    const byDay = new Map();
    list.questions.forEach((asked, number) => {
      if (!list.state(number, row)) return;
      byDay.set(asked.days, [...(byDay.get(asked.days) ?? []), asked.words]);
    });
    return [...byDay].map(([days, names]) => {
      const close = days + list.grace;
      const date = list.d0[row] + close;
      const shape = date <= list.asOf ? "closed" : "open";
      return { lane: "windows", day: close, from: days, to: close, shape, label: String(days),
        words: `by day ${days} (${names.join(", ")}): the window ${shape === "closed" ? "closed" : "closes"} on ${queens.isoDate(date)}, day ${close}` };
    });
  }

  function ahead(told) {
    const items = told.due.map((due) => ({ lane: "looks", day: due.day, shape: "due",
      words: `a look is due on ${queens.isoDate(due.date)}, day ${due.day}: look for ${due.lookFor}; it settles ${due.settles}` }));
    if (told.course.next_day !== null) {
      items.push({ lane: "bench", day: told.course.next_day, shape: "again",
        words: `inseminated again on day ${told.course.next_day}: a further course begins` });
    }
    return items;
  }

  // Everything to draw, in the order in which it happened; `last` is the day to draw up to.
  queens.story = (row, told) => {
    const items = [...fromRecords(row, told), ...fromAnswers(row, told), ...windows(row), ...ahead(told)]
      .sort((one, other) => one.day - other.day);
    const today = queens.list.asOf - queens.list.d0[row];
    const over = [told.course.next_day, told.course.exit_day, queens.list.endBy[row]]
      .filter((day) => day !== null);
    const seen = items.filter((item) => item.lane !== "windows").map((item) => item.day);
    const next = items.filter((item) => item.shape === "open").map((item) => item.day);
    const last = over.length
      ? Math.max(35, ...seen)
      : Math.max(35, today, Math.min(...next, today + 40));
    return { items, today, first: Math.min(-3, ...seen.filter((day) => day >= EARLIEST)), last };
  };

  // The same in a sentence, for whoever does not see the drawing.
  queens.storyInWords = (row, { items }) => {
    const { list } = queens;
    const looks = items.filter((item) => item.lane === "looks" && item.shape !== "due").length;
    const told = items.filter((item) => ["onset", "drones", "end"].includes(item.lane))
      .map((item) => item.words);
    return `Timeline of ${list.ids[row]} from her insemination on ${queens.isoDate(list.d0[row])}: ${looks} ${looks === 1 ? "look" : "looks"}; ${told.join("; ")}. Every mark stands in the tables below.`;
  };
}
