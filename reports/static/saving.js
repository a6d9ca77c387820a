// Turns a drawn chart into files: a picture that says what it is, or the chart's numbers.
"use strict";
const saving = (() => {
  const INK = "#1d2429", SOFT = "#56616a", PAPER = "#ffffff";
  const FONT = "system-ui, 'DejaVu Sans', sans-serif";
  const EDGE = 16, LINE = 20, SHARPER = 2;

  const escaped = (text) =>
    text.replace(/[&<>"]/g, (sign) => `&#${sign.codePointAt(0)};`);

  // a text in lines, each as long as it may be
  function folded(text, fits) {
    const lines = [""];
    for (const word of text.split(/\s+/)) {
      const longer = `${lines.at(-1)} ${word}`.trim();
      if (lines.at(-1) && !fits(longer)) lines.push(word);
      else lines[lines.length - 1] = longer;
    }
    return lines;
  }

  // the chart on white, under its title and over the station's name and day
  async function picture(view, title, source) {
    const own = await view.toSVG();
    const [, width, height] = own.match(/width="([\d.]+)" height="([\d.]+)"/).map(Number);
    const pen = document.createElement("canvas").getContext("2d");
    pen.font = `600 15px ${FONT}`;
    const heads = folded(title, (line) => pen.measureText(line).width <= width);
    const top = EDGE + LINE * heads.length + 8;
    const size = { width: width + 2 * EDGE, height: top + height + LINE + EDGE };
    const texts = heads.map((text, at) =>
      `<text x="${EDGE}" y="${EDGE + 15 + LINE * at}" font-size="15" font-weight="600" fill="${INK}">${escaped(text)}</text>`);
    const svg = [
      `<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="${size.width}" height="${size.height}" viewBox="0 0 ${size.width} ${size.height}" font-family="${FONT}">`,
      `<title>${escaped(title)}</title>`,
      `<rect width="100%" height="100%" fill="${PAPER}"/>`,
      ...texts,
      own.replaceAll("currentColor", INK).replace("<svg ", `<svg x="${EDGE}" y="${top}" `),
      `<text x="${EDGE}" y="${size.height - EDGE}" font-size="12" fill="${SOFT}">${escaped(source)}</text>`,
      "</svg>\n",
    ].join("");
    return { svg, ...size };
  }

  async function svg(view, title, source) {
    return new Blob([(await picture(view, title, source)).svg], { type: "image/svg+xml" });
  }

  async function png(view, title, source) {
    const made = await picture(view, title, source);
    const image = new Image();
    image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(made.svg)}`;
    await image.decode();
    const sheet = Object.assign(document.createElement("canvas"),
      { width: SHARPER * made.width, height: SHARPER * made.height });
    const pen = sheet.getContext("2d");
    pen.scale(SHARPER, SHARPER);
    pen.drawImage(image, 0, 0, made.width, made.height);
    return new Promise((done) => { sheet.toBlob(done, "image/png"); });
  }

  // the rows behind the marks: of several sets those that say most of each mark
  function rows(spec) {
    const wide = (set) => Object.keys(set[0]).length;
    const sets = Object.values(spec.datasets ?? {}).filter((set) => set.length);
    sets.sort((one, other) => wide(other) - wide(one) || other.length - one.length);
    return sets[0] ?? [];
  }

  function csv(spec) {
    const found = rows(spec);
    const heads = [...new Set(found.flatMap(Object.keys))];
    const cell = (value) => {
      let text = value === null || value === undefined ? "" : String(value);
      // a spreadsheet must not take a name for a formula
      if (typeof value === "string" && /^[=+\-@\t\r']/.test(text)) text = `'${text}`;
      return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
    };
    const lines = [heads, ...found.map((row) => heads.map((head) => row[head]))];
    const text = lines.map((line) => `${line.map(cell).join(",")}\r\n`).join("");
    return new Blob([text], { type: "text/csv;charset=utf-8" });
  }

  function hand(blob, name) {
    const link = Object.assign(document.createElement("a"),
      { href: URL.createObjectURL(blob), download: name });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
  }

  return { folded, svg, png, csv, hand };
})();
