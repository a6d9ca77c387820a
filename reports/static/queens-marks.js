// The marks of a timeline, told apart by shape first, and the key that names them.
"use strict";
{
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

  queens.markWords = (shape) => MARKS[shape][2];
  queens.drawMark = (shape) => {
    const [path, fill] = MARKS[shape];
    return queens.drawn("path", { d: path, class: `mark ${fill}` });
  };

  // The key names only what is drawn, in the order above.
  queens.key = (shapes) => {
    const key = queens.element("ul", undefined, "key");
    for (const shape of Object.keys(MARKS)) {
      if (!shapes.has(shape)) continue;
      const item = queens.element("li");
      const picture = queens.drawn("svg", { viewBox: "-9 -9 18 18", width: 18, height: 18,
        "aria-hidden": "true" });
      picture.append(queens.drawMark(shape));
      item.append(picture, queens.markWords(shape));
      key.append(item);
    }
    return key;
  };
}
