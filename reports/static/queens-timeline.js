// A course over a common axis of days: what there is to draw of it, by lane and each with its
// words; the marks, told apart by shape first; the drawing, stepped through by keyboard.
"use strict";
if (queens.list) {
  const { list, drawn, element } = queens;

  const R = 5.5;
  const circle = `M${-R} 0a${R} ${R} 0 1 0 ${2 * R} 0a${R} ${R} 0 1 0 ${-2 * R} 0z`;
  const square = "M-4.8-4.8h9.6v9.6h-9.6z";
  const diamond = "M0-7L7 0L0 7L-7 0z";

  // A mark's path around its middle, how it is filled, and what it says.
  const MARKS = {
    emerged: ["M0-6L6 5H-6z", "full", "emerged"],
    inseminated: [diamond, "full", "inseminated"],
    again: [diamond, "hollow", "inseminated again: a further course"],
    co2: [square, "hollow", "CO2 exposure"],
    sampled: ["M0-6L6 0L3.5 6H-3.5L-6 0z", "hollow", "spermatheca looked at"],
    brood: [circle, "full", "brood of hers"],
    no_brood: [circle, "hollow", "no brood of hers"],
    queen: [`${circle}M-1.8 0a1.8 1.8 0 1 0 3.6 0a1.8 1.8 0 1 0-3.6 0z`, "hollow",
      "she was seen; nothing said of brood"],
    empty: ["M-5-5L5 5M5-5L-5 5", "line", "neither queen nor eggs"],
    drones: [square, "full warm", "drone brood of hers"],
    another: ["M0 6L6-5H-6z", "full warm", "a queen without her mark"],
    nothing: ["M0-6V6", "line", "a look that settles nothing"],
    checked: ["M0-6V6", "line faint", "a look that was not used"],
    due: [circle, "dashed", "a look that is due"],
    left: ["M-3-8H3V8H-3z", "full", "left observation"],
    closed: ["M-1.5-6H1.5V6H-1.5z", "full", "a window that has closed"],
    open: ["M-1.5-6H1.5V6H-1.5z", "hollow", "a window still open"],
  };

  const drawMark = (shape) => {
    const [path, fill] = MARKS[shape];
    return drawn("path", { d: path, class: `mark ${fill}` });
  };

  // The key names only what is drawn, in the order above.
  const keyOf = (shapes) => {
    const key = element("ul", undefined, "key");
    for (const shape of Object.keys(MARKS)) {
      if (!shapes.has(shape)) continue;
      const picture = { viewBox: "-9 -9 18 18", width: 18, height: 18, "aria-hidden": "true" };
      key.append(element("li", undefined, undefined, drawn("svg", picture, drawMark(shape)), MARKS[shape][2]));
    }
    return key;
  };

  const EVENTS = list.questions.filter((asked) => asked.lane); // what may befall a layer
  const TOLD = new Set(["onset", ...EVENTS.map(({ outcome }) => outcome), "end"]);
  const capital = (words) => words[0].toUpperCase() + words.slice(1);
  const BENCH = new Set(["emerged", "inseminated", "co2", "sampled"]);
  const LOOKS = new Set(["another", "drones", "brood", "empty", "no_brood", "queen", "nothing",
    "checked"]);
  const EARLIEST = -60; // days: what lies further back is told in the list only
  const BETWEEN = -14; // days: how far a further course looks back

  // Of a queen's records, those that belong to the time of this course.
  function within(row, told) {
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
    const items = [];
    const by = list.onsetBy[row];
    const after = list.onsetAfter[row];
    const conflict = told.course.conflict ? "; the looks contradict each other, brood seen outranks brood not seen" : "";
    items.push({ lane: "onset", day: by ?? after, from: after, to: by,
      words: `laying began ${queens.bounds(after, by)}${conflict}` });
    list.questions.forEach((asked, number) => {
      const answer = told.answers.get(number);
      if (!asked.lane || !answer || answer.by === null) return;
      if (items.some((item) => item.lane === asked.outcome)) return;
      items.push({ lane: asked.outcome, day: answer.by, from: answer.after, to: answer.by,
        words: `${asked.words} ${queens.bounds(answer.after, answer.by)}` });
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
    const byDay = new Map();
    list.questions.forEach((asked, number) => {
      if (!list.state(number, row)) return;
      byDay.set(asked.days, [...(byDay.get(asked.days) ?? []), asked.words]);
    });
    return [...byDay].map(([days, names]) => {
      const close = days + list.grace_days;
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
    const today = list.asOf - list.d0[row];
    const over = [told.course.next_day, told.course.exit_day, list.endBy[row]]
      .filter((day) => day !== null);
    const seen = items.filter((item) => item.lane !== "windows").map((item) => item.day);
    const next = items.filter((item) => item.shape === "open").map((item) => item.day);
    const last = over.length
      ? Math.max(35, ...seen)
      : Math.max(35, today, Math.min(...next, today + 40));
    return { items, today, first: Math.min(-3, ...seen.filter((day) => day >= EARLIEST)), last };
  };

  // The same in a sentence, for whoever does not see the drawing.
  const inWords = (row, { items }) => {
    const looks = items.filter((item) => item.lane === "looks" && item.shape !== "due").length;
    const told = items.filter((item) => TOLD.has(item.lane))
      .map((item) => item.words);
    return `Timeline of ${list.ids[row]} from her insemination on ${queens.isoDate(list.d0[row])}: ${looks} ${looks === 1 ? "look" : "looks"}; ${told.join("; ")}. Every mark stands in the tables below.`;
  };

  const LANES = {
    bench: ["Bench", 40],
    colony: ["Colony", 24],
    looks: ["Looks", 30],
    implied: ["What each look implies", 16],
    onset: ["Laying began", 24],
    ...Object.fromEntries(EVENTS.map(({ outcome, words }) => [outcome, [capital(words), 24]])),
    end: ["Gone", 26],
    windows: ["Windows close", 34],
  };
  const ROW = 9; // height of one look's implied interval
  const STEPS = [1, 2, 5, 10, 20, 30, 60, 90, 180, 360];
  const RANGES = [35, 100];

  // Where each lane lies, and how days become places on the page.
  function layout(width, story, last) {
    const narrow = width < 560;
    const left = narrow ? 10 : 150;
    const right = 24;
    const scale = (width - left - right) / (last - story.first);
    const lanes = {};
    let top = 24;
    for (const [name, [label, height]] of Object.entries(LANES)) {
      const items = story.items.filter((item) => item.lane === name);
      if (items.length === 0) continue;
      let inside = height;
      if (name === "implied") inside = 8 + ROW * items.length;
      if (name === "colony") inside = height * tracks(items);
      const head = narrow ? 18 : 0;
      const gone = items.some((item) => item.from !== undefined);
      lanes[name] = { label: name === "end" && !gone ? "Left" : label, items, top: top + head, height: inside };
      top += inside + head + 6;
    }
    return { width, narrow, left, right, last, lanes, bottom: top, height: top + 40,
      x: (day) => left + (Math.min(day, last) - story.first) * scale, scale };
  }

  // Stays that overlap lie under each other.
  function tracks(items) {
    const ends = [];
    for (const item of items) {
      let track = ends.findIndex((end) => end <= item.from);
      if (track < 0) track = ends.push(0) - 1;
      ends[track] = item.to;
      item.track = track;
    }
    return ends.length;
  }

  function axis(svg, place, story, d0) {
    const step = STEPS.find((days) => days * place.scale >= (place.narrow ? 78 : 84)) ?? 720;
    const start = Math.ceil(story.first / step) * step;
    for (let day = start; day <= place.last; day += step) {
      const x = place.x(day);
      svg.append(drawn("line", { x1: x, x2: x, y1: 18, y2: place.bottom, class: day === 0 ? "zero" : "grid" }));
      svg.append(
        drawn("text", { x, y: place.bottom + 15, class: "tick" }, day),
        drawn("text", { x, y: place.bottom + 31, class: "tick soft" }, queens.isoDate(d0 + day)),
      );
    }
    if (story.today >= story.first && story.today <= place.last) {
      const x = place.x(story.today);
      const near = x > place.width - 120;
      svg.append(
        drawn("line", { x1: x, x2: x, y1: 16, y2: place.bottom, class: "today" }),
        drawn("text", { x: x + (near ? -4 : 4), y: 12, class: "tick warm", "text-anchor": near ? "end" : "start" },
          `as of ${queens.isoDate(d0 + story.today)}`),
      );
    }
  }

  // An interval: solid where both ends are known, an arrow where one is not.
  function span(x, from, to, y, className) {
    if (from !== null && to !== null) {
      const start = x(from);
      return drawn("path", { d: `M${start} ${y}H${Math.max(x(to), start + 2)}`, class: `span ${className}` });
    }
    const end = from === null ? x(to) : x(from);
    const way = from === null ? -1 : 1;
    return drawn("path", { class: `reach ${className}`,
      d: `M${end} ${y - 3.5}v7M${end} ${y}h${way * 22}m${way * -4} -3l${way * 4} 3l${way * -4} 3` });
  }

  const draws = {
    bench: (item, lane, place) => mark(item, place, lane.top + (item.shape === "co2" ? 29 : 11)),
    looks: (item, lane, place) => mark(item, place, lane.top + 15),
    implied: (item, lane, place) => {
      const y = lane.top + 8 + ROW * lane.items.indexOf(item);
      return group(item, place.x(item.to ?? item.from), y, span(place.x, item.from, item.to, y, "quiet"));
    },
    colony: (item, lane, place) => {
      const y = lane.top + 24 * item.track;
      const start = Math.max(place.x(item.from), place.left);
      const end = Math.max(place.x(item.to), start + 3);
      const bar = drawn("rect", { x: start, y: y + 3, width: end - start, height: 17, rx: 3, class: item.ended ? "stay" : "stay goes-on" });
      const made = group(item, start, y + 11, bar);
      if (end - start > 24) {
        made.append(drawn("text", { x: start + 6, y: y + 16, class: "inside" }, shortened(item.label, (end - start - 10) / 7)));
      }
      return made;
    },
    onset: interval("onset"),
    ...Object.fromEntries(EVENTS.map(({ outcome }) => [outcome, interval("warm")])),
    end: (item, lane, place) => (item.shape
      ? mark(item, place, lane.top + 13)
      : interval("warm")(item, lane, place)),
    windows: (item, lane, place) => {
      const y = lane.top + 25;
      const made = mark(item, place, y);
      made.prepend(span(place.x, item.from, item.to, y, "grace"));
      made.append(drawn("text", { x: place.x(item.from), y: lane.top + 14, class: "tick" }, item.label));
      return made;
    },
  };

  function interval(className) {
    return (item, lane, place) => {
      const y = lane.top + 12;
      return group(item, place.x(item.to ?? item.from), y, span(place.x, item.from, item.to, y, `wide-span ${className}`));
    };
  }

  const shortened = (text, most) => (text.length <= most ? text : `${text.slice(0, Math.max(1, Math.floor(most) - 1))}…`);

  function group(item, x, y, ...children) {
    const made = drawn("g", { class: "item" }, ...children);
    made.append(drawn("circle", { cx: x, cy: y, r: 10, class: "ring" }));
    item.drawn = made;
    return made;
  }

  function mark(item, place, y) {
    const x = place.x(item.day);
    const made = drawMark(item.shape);
    made.setAttribute("transform", `translate(${x} ${y})`);
    return group(item, x, y, made);
  }

  // The onset's bounds as a band behind the looks that gave them.
  function band(svg, place, item) {
    if (!place.lanes.implied || item.to === null || item.to > place.last) return;
    const top = place.lanes.looks ? place.lanes.looks.top : place.lanes.implied.top;
    const { onset } = place.lanes;
    const x = place.x(item.from);
    svg.append(drawn("rect", { x, y: top, width: Math.max(2, place.x(item.to) - x), height: onset.top + onset.height - top, class: "band" }));
  }

  function draw(row, story, last, width, say) {
    const place = layout(width, story, last);
    const svg = drawn("svg", { viewBox: `0 0 ${width} ${place.height}`, width, height: place.height,
      role: "img", "aria-label": inWords(row, story) });
    const shapes = new Set();
    axis(svg, place, story, list.d0[row]);
    for (const item of place.lanes.onset.items) band(svg, place, item);
    for (const [name, lane] of Object.entries(place.lanes)) {
      svg.append(drawn("text", { x: 2, y: place.narrow ? lane.top - 4 : lane.top + Math.min(lane.height, 30) / 2 + 4, class: "lane" }, lane.label));
      for (const item of lane.items) {
        if ((item.from ?? item.day) > last || item.day > last && item.shape) continue;
        const made = draws[name](item, lane, place);
        made.addEventListener("pointerenter", () => say(item));
        made.addEventListener("click", () => say(item));
        svg.append(made);
        if (item.shape && name !== "colony") shapes.add(item.shape);
      }
    }
    return { svg, shapes, place };
  }

  function rangeChoice(story, drawAgain) {
    const fits = RANGES.filter((days) => story.last > days * 1.3);
    const choices = [...fits.map((days) => [days, `to day ${days}`]), [story.last, "all"]];
    const chosen = Math.min(1, choices.length - 1);
    const box = element("fieldset", undefined, "ranges", element("legend", "Days shown"));
    choices.forEach(([days, words], number) => {
      const input = Object.assign(element("input"),
        { type: "radio", name: "range", checked: number === chosen });
      input.addEventListener("change", () => drawAgain(days));
      box.append(element("label", undefined, undefined, input, words));
    });
    box.hidden = choices.length === 1;
    return { box, start: choices[chosen][0] };
  }

  // A figure that redraws itself when its place changes size.
  queens.timeline = (row, told) => {
    const story = queens.story(row, told);
    const figure = element("figure", undefined, "timeline");
    const stage = Object.assign(element("div", undefined, "stage"), { tabIndex: 0, role: "group",
      ariaLabel: "Timeline. The left and right arrow keys step through its marks." });
    const said = element("p", "Point at a mark, or step through them with the arrow keys.", "said");
    said.role = "status";
    const key = element("div");
    let last;
    let width = 0;
    let at = -1;
    let order = [];

    const say = (item) => {
      for (const lit of figure.parentElement?.querySelectorAll(".lit") ?? []) lit.classList.remove("lit");
      at = order.indexOf(item);
      item.drawn.classList.add("lit");
      item.record?.line?.classList.add("lit");
      const date = queens.isoDate(list.d0[row] + item.day);
      said.replaceChildren(element("b", `Day ${item.day}, ${date}`), ` ${item.words}`);
    };
    const drawAgain = () => {
      const made = draw(row, story, last, width, say);
      stage.replaceChildren(made.svg);
      key.replaceChildren(keyOf(made.shapes));
      order = story.items.filter((item) => item.drawn?.isConnected || made.svg.contains(item.drawn));
    };
    const range = rangeChoice(story, (days) => { last = days; drawAgain(); });
    last = range.start;
    stage.addEventListener("keydown", (event) => {
      const steps = { ArrowRight: at + 1, ArrowLeft: at < 0 ? order.length - 1 : at - 1, Home: 0, End: order.length - 1 };
      if (!(event.key in steps) || order.length === 0) return;
      event.preventDefault();
      say(order[Math.max(0, Math.min(order.length - 1, steps[event.key]))]);
    });
    new ResizeObserver(() => {
      const now = Math.floor(stage.clientWidth);
      if (now === width || now === 0) return;
      width = now;
      drawAgain();
    }).observe(stage);
    figure.append(range.box, stage, said, key);
    return figure;
  };
}
