// Draws the page's charts. The expression interpreter (`ast`) keeps eval out of it.
"use strict";
{
  const specs = JSON.parse(document.getElementById("chart-specs").textContent);
  const options = { mode: "vega-lite", ast: true, renderer: "svg", actions: false };
  for (const [name, spec] of Object.entries(specs)) {
    const place = document.getElementById(`chart-${name}`);
    window
      .vegaEmbed(place, spec, options)
      .then(() => { place.dataset.drawn = "yes"; })
      .catch((problem) => {
        place.textContent = `This chart could not be drawn (${problem.message}); its numbers stand in the table.`;
      });
  }
}
