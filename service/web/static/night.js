"use strict";
// Draws a night over the server's drawing, with values under the finger. Without uPlot the drawing simply stays.
(() => {
  const HEIGHT = 128;

  function colours() {
    const style = getComputedStyle(document.documentElement);
    const of = (name) => style.getPropertyValue(`--${name}`).trim();
    return { ink: of("ink"), soft: of("soft"), line: of("line"), band: of("band"), out: of("out") };
  }

  function clockIn(zone) {
    const shown = new Intl.DateTimeFormat("en-GB", { timeZone: zone, hour: "2-digit", minute: "2-digit" });
    return (seconds) => shown.format(new Date(seconds * 1000));
  }

  function table(panel) {
    const tables = panel.lines.map((line) => [line.points.map((p) => p[0]), line.points.map((p) => p[1])]);
    return uPlot.join(tables);
  }

  function shade(u, colour, alpha, left, right, low, high) {
    const { top, height } = u.bbox;
    const x0 = Math.max(u.valToPos(left, "x", true), u.bbox.left);
    const x1 = Math.min(u.valToPos(right, "x", true), u.bbox.left + u.bbox.width);
    const y0 = high === null ? top : Math.max(u.valToPos(high, "y", true), top);
    const y1 = low === null ? top + height : Math.min(u.valToPos(low, "y", true), top + height);
    if (x1 <= x0 || y1 <= y0) return;
    u.ctx.save();
    u.ctx.globalAlpha = alpha;
    u.ctx.fillStyle = colour;
    u.ctx.fillRect(x0, y0, Math.max(x1 - x0, 2), y1 - y0);
    u.ctx.restore();
  }

  function under(u, panel, colour) {
    for (const [left, right, low, high] of panel.bands) {
      if (low !== null || high !== null) shade(u, colour.band, 1, left, right, low, high);
    }
    for (const [, left, right] of panel.dips) shade(u, colour.out, 0.13, left, right, null, null);
  }

  function numbers(u, panel, colour) {
    const size = 14 * devicePixelRatio;
    u.ctx.save();
    u.ctx.font = `700 ${size}px sans-serif`;
    u.ctx.fillStyle = colour.out;
    u.ctx.textAlign = "center";
    for (const [number, left, right] of panel.dips) {
      u.ctx.fillText(String(number), u.valToPos((left + right) / 2, "x", true), u.bbox.top + size);
    }
    u.ctx.restore();
  }

  function extent(panel) {
    const values = panel.lines.flatMap((line) => line.points.map((p) => p[1])).filter((v) => v !== null);
    const all = values.concat(panel.edges.map((e) => e[0]));
    const low = Math.min(...all);
    const high = Math.max(...all);
    const room = (high - low) * 0.12 || 1;
    return [low - room, high + room];
  }

  function edges(panel) {
    // The band's edges name the axis, and how far readings went beyond them, or to where an edge is missing.
    const [low, high] = extent(panel);
    const marks = panel.edges.map(([value, name]) => [value, name]);
    const known = panel.edges.map((edge) => edge[0]);
    for (const [value, name] of panel.ends) {
      const beyond = value < Math.min(...known) || value > Math.max(...known);
      const free = marks.every((mark) => Math.abs(mark[0] - value) > (high - low) * 0.16);
      if (free && (known.length < 2 || beyond)) marks.push([value, name]);
    }
    return marks.sort((one, other) => one[0] - other[0]);
  }

  // The same line once more, heavier and in the colour that warns, where it left the band.
  function heavier(u, panel, colour) {
    u.ctx.save();
    u.ctx.beginPath();
    for (const [, left, right] of panel.dips) {
      const x = u.valToPos(left, "x", true);
      u.ctx.rect(x, u.bbox.top, Math.max(u.valToPos(right, "x", true) - x, 2), u.bbox.height);
    }
    u.ctx.clip();
    u.ctx.strokeStyle = colour.out;
    u.ctx.lineWidth = 3 * devicePixelRatio;
    u.ctx.beginPath();
    let pen = false;
    for (const [at, value] of panel.lines[0].points) {
      if (value === null) pen = false;
      else {
        const [x, y] = [u.valToPos(at, "x", true), u.valToPos(value, "y", true)];
        if (pen) u.ctx.lineTo(x, y);
        else u.ctx.moveTo(x, y);
        pen = true;
      }
    }
    u.ctx.stroke();
    u.ctx.restore();
  }

  function draw(place, data, panel, isLast) {
    const colour = colours();
    const clock = clockIn(data.zone);
    const title = document.createElement("p");
    title.className = "panel-title";
    const name = document.createElement("b");
    name.textContent = panel.title;
    const readout = document.createElement("span");
    readout.textContent = panel.unit.trim();
    title.append(name, readout);
    const box = document.createElement("div");
    place.append(title, box);
    const marks = edges(panel);
    const axis = { stroke: colour.soft, font: "13px sans-serif", grid: { stroke: colour.line, width: 0.7 } };
    const series = panel.lines.map((line, n) => ({
      label: line.place, stroke: n ? colour.soft : colour.ink, width: n ? 1 : 1.6, points: { show: false },
    }));
    const at = (u) => {
      const index = u.cursor.idx;
      if (index === null || index === undefined) return void (readout.textContent = panel.unit.trim());
      const said = panel.lines.map((line, n) => [line.place, u.data[n + 1][index]]);
      const heard = said.filter((s) => s[1] !== null && s[1] !== undefined);
      const values = heard.map(([where, v]) => `${v.toFixed(panel.decimals)}${panel.unit}${said.length > 1 ? ` ${where}` : ""}`);
      readout.textContent = `${clock(u.data[0][index])}  ${values.join(", ") || "no reading"}`;
    };
    return new uPlot({
      width: place.clientWidth, height: isLast ? HEIGHT + 22 : HEIGHT, padding: [6, 10, 0, 0], legend: { show: false },
      cursor: { sync: { key: "night" }, drag: { x: false, y: false }, y: false },
      scales: { x: { time: false, range: [data.from, data.to] }, y: { range: extent(panel) } },
      axes: [
        { ...axis, size: isLast ? 28 : 6, splits: (u) => hours(data, u.width), values: (_, all) => all.map((v) => (isLast ? clock(v).slice(0, 2) : "")) },
        { ...axis, size: 48, grid: { show: false }, splits: () => marks.map((m) => m[0]), values: () => marks.map((m) => m[1]) },
      ],
      series: [{}, ...series],
      hooks: { drawClear: [(u) => under(u, panel, colour)], draw: [(u) => heavier(u, panel, colour), (u) => numbers(u, panel, colour)], setCursor: [at] },
    }, table(panel), box);
  }

  function hours(data, width) {
    const clock = clockIn(data.zone);
    const all = [];
    for (let t = Math.ceil(data.from / 900) * 900; t <= data.to; t += 900) if (clock(t).endsWith(":00")) all.push(t);
    const every = Math.ceil(all.length / Math.max(2, Math.floor(width / 52)));
    return all.filter((_, n) => n % every === 0);
  }

  let plots = [];
  function drawAll() {
    plots.forEach((plot) => plot.destroy());
    plots = [];
    const figure = document.querySelector("figure.chart");
    if (!figure || typeof uPlot === "undefined") return;
    const data = JSON.parse(figure.querySelector(".chart-data").textContent);
    const live = figure.querySelector(".live");
    live.replaceChildren();
    live.hidden = false;
    figure.querySelectorAll(".drawn").forEach((drawn) => { drawn.hidden = true; });
    plots = data.panels.map((panel, n) => draw(live, data, panel, n === data.panels.length - 1));
  }

  let width = innerWidth;
  addEventListener("resize", () => { if (innerWidth !== width) { width = innerWidth; drawAll(); } });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", drawAll);
  document.addEventListener("renewed", drawAll);
  drawAll();
})();
