// Reads the packed list of courses and, when a queen is picked, the file that tells of her.
// What the letters stand for is said in `dashboard/packing.py`, which writes them.
"use strict";
var queens = {}; // what this page's scripts share
{
  const ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
  const DIGIT = new Uint8Array(128);
  for (let place = 0; place < 64; place += 1) DIGIT[ALPHABET.charCodeAt(place)] = place;

  const LINES = 2 ** 30; // beyond them stands which record of its line it is

  const packed = new Map(); // number of a file -> its content as it came
  const opened = new Map(); // number of a file -> promise of its tables

  function coded(text) {
    const found = [];
    let value = 0;
    let scale = 1;
    for (let place = 1; place < text.length; place += 1) {
      const digit = DIGIT[text.charCodeAt(place)];
      value += (digit & 31) * scale; // not shifted: a number may pass 32 bits
      if (digit & 32) {
        scale *= 32;
      } else {
        found.push(value);
        value = 0;
        scale = 1;
      }
    }
    return found;
  }

  // A column of whole numbers, with null where nothing is known.
  function numbers(text, rows) {
    if (!text) return new Array(rows).fill(null);
    const signed = text[0] === "s" || text[0] === "S";
    const known = signed
      ? (code) => (code % 2 ? (code - 1) / 2 : -code / 2)
      : (code) => code - 1;
    const codes = coded(text);
    if (text[0] === "u" || text[0] === "s") {
      return codes.map((code) => (code === 0 ? null : known(code)));
    }
    const column = new Array(rows).fill(null);
    let row = -1;
    for (let place = 0; place < codes.length; place += 2) {
      row += codes[place] + 1;
      column[row] = known(codes[place + 1]);
    }
    return column;
  }

  function lists({ n, v }, rows) {
    const values = numbers(v, 0);
    let start = 0;
    return numbers(n, rows).map((count) => {
      start += count ?? 0;
      return values.slice(start - (count ?? 0), start);
    });
  }

  const day = (iso) => Date.parse(`${iso}T00:00Z`) / 86_400_000;

  // The list: a column each, a row a course, newest first.
  function openList({ columns, states, lists: values, ...given }) {
    const rows = coded(columns.queen ?? "u").length;
    const column = (name) => numbers(columns[name], rows);
    const first = day(given.first_day);
    const list = {
      ...given,
      rows,
      values,
      asOf: day(given.as_of),
      places: Object.fromEntries(Object.keys(values).map((name) => [name, column(name)])),
      states: states.map((text) => numbers(text, rows)),
      queen: column("queen"),
      course: column("course"),
      d0: column("d0").map((days) => first + days),
      onsetAfter: column("onset_after"),
      onsetBy: column("onset_by"),
      endBy: column("end_by"),
    };
    list.ids = list.queen.map((queen, row) => `${list.queens[queen]}/${list.course[row]}`);
    list.named = (name, row) => values[name][list.places[name][row]] ?? null;
    list.dose = list.queen.map((_, row) => list.named("dose_ul", row));
    list.state = (question, row) => {
      const code = list.states[question][row];
      const { answers } = list;
      return code
        ? { state: answers[(code - 1) % answers.length], closed: code <= answers.length }
        : null;
    };
    list.coursesOf = (queen) => {
      const rows = [];
      list.queen.forEach((other, row) => { if (other === queen) rows.push(row); });
      return rows.sort((one, other) => list.course[one] - list.course[other]);
    };
    queens.list = list;
  }

  queens.take = (name, content) => {
    if (name === "list") openList(content);
    else packed.set(name, content);
  };

  function fetched(number) {
    return new Promise((resolve, reject) => {
      const script = document.createElement("script");
      script.src = `data/queens-${number}.js`;
      script.addEventListener("load", () => {
        const content = packed.get(number);
        if (content?.made_of === queens.list.made_of) {
          resolve(content);
          return;
        }
        opened.delete(number);
        reject(new Error("the pages were rebuilt since this one was opened: reload it"));
      });
      script.addEventListener("error", () => {
        opened.delete(number);
        reject(new Error(
          `the file data/queens-${number}.js is not beside this page; copy the whole folder, or build again`));
      });
      document.head.append(script);
    });
  }

  // One table of a file: where each queen's rows begin, and its columns.
  function table(content, name) {
    const columns = content[name];
    const starts = [0];
    for (const count of numbers(columns.rows, 0)) starts.push(starts.at(-1) + count);
    const total = starts.at(-1);
    const open = {};
    for (const column of queens.list.tables[name]) { // one where nothing is known has no text
      const text = columns[column];
      open[column] = text?.n === undefined ? numbers(text, total) : lists(text, total);
    }
    return {
      of: (queen) => Array.from({ length: starts[queen + 1] - starts[queen] }, (_, turn) => {
        const at = starts[queen] + turn;
        return Object.fromEntries(Object.entries(open).map(([name, column]) => [name, column[at]]));
      }),
    };
  }

  function open(number) {
    if (!opened.has(number)) {
      opened.set(number, fetched(number).then((content) => {
        const tables = { words: content.words };
        for (const name of Object.keys(queens.list.tables)) tables[name] = table(content, name);
        return tables;
      }));
    }
    return opened.get(number);
  }

  // Everything told of one course: a promise, since her file may have to be loaded first.
  queens.told = async (row) => {
    const list = queens.list;
    const file = Math.floor(list.queen[row] / list.queens_a_file);
    const tables = await open(file);
    const queen = list.queen[row] - file * list.queens_a_file;
    const hers = list.coursesOf(list.queen[row]);
    const first = list.d0[hers[0]];
    const dated = (days) => (days === null ? null : first + days);
    const word = (place) => tables.words[place] ?? "";
    const records = tables.records.of(queen).map((record) => ({
      date: dated(record.on),
      until: dated(record.until),
      event: list.events[record.event],
      says: record.says.map(word).join(", "),
      source: source(record.place),
      course: hers.findLast((one) => record.on !== null && list.d0[one] <= first + record.on) ?? null,
      after: record.laying_after,
      by: record.laying_by,
      remark: word(record.remark),
    }));
    const course = tables.courses.of(queen).find((one) => one.course === list.course[row]);
    const answers = new Map();
    for (const answer of tables.answers.of(queen)) {
      if (Math.floor(answer.asked / list.questions.length) !== list.course[row] - 1) continue;
      answers.set(answer.asked % list.questions.length, {
        after: answer.after,
        by: answer.by,
        rule: word(answer.rule),
        settled: answer.settled.map((place) => records[place].source),
      });
    }
    const due = tables.due.of(queen).filter((one) => one.course === list.course[row])
      .map((one) => ({
        day: one.day, date: dated(one.on), lookFor: word(one.look_for), settles: word(one.settles),
      }));
    return { records, answers, due, course };
  };

  function source(place) {
    const { sources } = queens.list;
    const within = Math.floor(place / sources.length);
    const [line, slot] = [within % LINES, Math.floor(within / LINES)];
    return `${sources[place % sources.length]}:${line}${slot ? `/${slot}` : ""}`;
  }
}
