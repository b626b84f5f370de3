// Values of a figure's lines under the pointer, or along the first line by the arrow keys.
addEventListener("DOMContentLoaded", () => {
  for (const figure of document.querySelectorAll("figure")) {
    const svg = figure.querySelector("svg[data-plot]");
    const lines = JSON.parse(figure.querySelector("script.lines")?.textContent ?? "[]");
    const out = figure.querySelector("output");
    if (!svg || !out || !lines.length) continue;
    const [left, top, right, bottom] = svg.dataset.plot.split(" ").map(Number);
    // An axis: from its values to places on the figure, and back.
    const axis = (edges, from, to) => {
      const [low, high, kind] = edges.split(" ");
      const [there, back] = kind == "log" ? [Math.log, Math.exp] : [Number, Number];
      const [least, most] = [there(Number(low)), there(Number(high))];
      return {
        at: (value) => from + ((there(value) - least) / (most - least)) * (to - from),
        value: (at) => back(least + ((at - from) / (to - from)) * (most - least)),
      };
    };
    const [x, y] = [axis(svg.dataset.x, left, right), axis(svg.dataset.y, bottom, top)];
    const drawn = lines.map((line) => line.points.map((p) => ({ x: x.at(p[0]), y: y.at(p[1]), told: p })));
    const rule = document.createElementNS(svg.namespaceURI, "line");
    for (const [key, value] of Object.entries({ y1: top, y2: bottom, stroke: "#000", "stroke-dasharray": "4 3" }))
      rule.setAttribute(key, value);
    // A line's value at a place, between its points as drawn; of several the one nearest to a height.
    const value = (line, at, height) => {
      let best = null;
      line.forEach((p, n) => {
        const q = line[n + 1] ?? p;
        if ((p.x - at) * (q.x - at) > 0) return;
        const share = q.x == p.x ? 0 : (at - p.x) / (q.x - p.x);
        const here = p.y + share * (q.y - p.y);
        if (!best || Math.abs(here - height) < Math.abs(best.y - height))
          best = { y: here, told: share == 0 ? p.told[1] : share == 1 ? q.told[1] : y.value(here) };
      });
      return best;
    };
    const show = (point) => {
      const told = drawn.map((line, n) => [lines[n].label, value(line, point.x, point.y)]).filter(([, found]) => found);
      rule.setAttribute("x1", point.x);
      rule.setAttribute("x2", point.x);
      if (!rule.parentNode) svg.append(rule);
      const texts = told.map(([label, found]) => `${label} ${found.told.toExponential(3)}`);
      out.textContent = `at ${point.told[0].toExponential(3)}: ${texts.join("; ")}`;
    };
    const nearest = (at) => drawn.flat().reduce((best, p) =>
      Math.hypot(p.x - at.x, (p.y - at.y) / 100) < Math.hypot(best.x - at.x, (best.y - at.y) / 100) ? p : best);
    const moved = (event) => {
      const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      if (at.x >= left && at.x <= right && at.y >= top && at.y <= bottom) show(nearest(at));
    };
    svg.addEventListener("pointermove", moved);
    svg.addEventListener("pointerdown", moved);
    let step = -1;
    svg.setAttribute("tabindex", 0);
    svg.addEventListener("keydown", (event) => {
      const line = drawn.find((line) => line.length);
      const by = { ArrowRight: 1, ArrowLeft: -1, PageDown: 20, PageUp: -20, Home: -line.length, End: line.length }[event.key];
      if (!by) return;
      event.preventDefault();
      step = Math.max(0, Math.min(line.length - 1, step + by));
      show(line[step]);
    });
  }
});
