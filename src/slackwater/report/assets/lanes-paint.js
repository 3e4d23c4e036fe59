// How the lanes look: inks from lanes.css, brushes for uPlot, the lanes from top to bottom and what each paints itself.
// Statuses differ by place, shape and word as well as by tone.
"use strict";
const slackwaterLanesPaint = (() => {
  const {
    DAY, MINUTE, CANNOT_TELL, Spread, spreadOfMinutes, spreadOfReadings, spreadOfSteps, statesOf, told, unbroken, widthOf,
  } = slackwaterLanesData;
  const ROW = 17; // CSS pixels, of each of the three rows of the state lane
  const ROUTINE = 2; // rank of an event that says what was said before

  // --- inks, resolved by the browser so that system colours reach the canvas too --------------------

  const INKS = [
    "paper", "ink", "grid", "midnight", "leak", "leak-band", "likely", "below", "below-edge", "doubt", "doubt-paper",
    "doubt-faint", "suction", "swing", "fluid", "run",
  ];

  function pensOf(element, pixel) {
    const probe = element.appendChild(document.createElement("i")), pens = {};
    probe.style.forcedColorAdjust = "none";
    for (const name of INKS) {
      probe.style.color = `var(--lanes-${name})`;
      pens[name] = getComputedStyle(probe).color;
    }
    probe.remove();
    return {
      ...pens,
      doubt: hatch(pens.doubt, 6 * pixel, 1.5 * pixel, pens["doubt-paper"], true),
      "doubt-edge": pens.doubt,
      "doubt-faint": hatch(pens["doubt-faint"], 6 * pixel, pixel, null, true),
      likely: hatch(pens.likely, 4 * pixel, pixel, null, false),
    };
  }

  function hatch(ink, gap, thick, paper, rising) {
    const side = Math.round(gap), tile = Object.assign(document.createElement("canvas"), { width: side, height: side });
    const pen = tile.getContext("2d");
    if (paper) Object.assign(pen, { fillStyle: paper }).fillRect(0, 0, side, side);
    Object.assign(pen, { strokeStyle: ink, lineWidth: thick });
    for (const shift of [-side, 0, side]) {
      pen.moveTo(shift - 1, rising ? side + 1 : -1);
      pen.lineTo(shift + side + 1, rising ? -1 : side + 1);
    }
    pen.stroke();
    return pen.createPattern(tile, "repeat");
  }

  // --- brushes: a uPlot path from columns ------------------------------------------------------------

  const left = (u, columns) => (i) => u.bbox.left + (i * u.bbox.width) / columns;
  const path = (parts) => ({ stroke: null, fill: null, clip: null, band: null, gaps: null, flags: 0, ...parts });

  function line(u, { low, high }) {
    const stroke = new Path2D(), x = left(u, low.length);
    for (let i = 0, at = null; i < low.length; i++) {
      if (!told(low[i])) { at = null; continue; }
      const ends = [u.valToPos(low[i], "y", true), u.valToPos(high[i], "y", true)];
      if (at !== null && Math.abs(at - ends[1]) < Math.abs(at - ends[0])) ends.reverse();
      if (at === null) stroke.moveTo(x(i), ends[0]);
      else stroke.lineTo(x(i), ends[0]);
      stroke.lineTo(x(i), ends[1]);
      stroke.lineTo(x(i + 1), at = ends[1]);
    }
    return path({ stroke });
  }

  function band(u, { low, high }) {
    const fill = new Path2D(), x = left(u, low.length);
    for (let i = 0; i < low.length; i++) {
      if (!told(low[i])) continue;
      const top = u.valToPos(high[i], "y", true), bottom = u.valToPos(low[i], "y", true);
      fill.rect(x(i), top - 0.5, x(i + 1) - x(i), bottom - top + 1);
    }
    return path({ fill });
  }

  // --- the lanes -------------------------------------------------------------------------------------

  const FLOWS = [0, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000]; // mL/min, where the axis has labels
  const SWINGS = [0, 2, 5, 10, 20, 50, 100]; // cmH2O
  const most = (values, least) => values.reduce((found, value) => (value > found ? value : found), least);
  const least = (values, top) => values.reduce((found, value) => (value < found ? value : found), top);

  // A lane: `columns(grid, readings)` is what each column of pixels holds; `looks(pens)` how that is drawn, from the back;
  // `under` and `over` what it paints itself. Scales are those of the whole stay, so that zooming never changes a height.
  function lanesOf(data, minutes) {
    return [
      airLane(data, minutes),
      suctionLane(data, minutes),
      {
        id: "swing", name: "Swing", unit: "cmH2O", tall: 60, labels: SWINGS,
        low: 0, top: most(minutes.swing, 5) * 1.1, asinh: 2,
        columns: (grid) => ({ swing: unbroken(grid, minutes, minutes.swing) }),
        looks: (pens) => [["swing", line, { stroke: pens.swing, width: 1.25 }]],
      },
      fluidLane(data),
      { id: "state", name: "State", tall: 3 * ROW + 9, columns: (grid) => statesOf(grid, minutes), over: paintStates },
      { id: "events", name: "Events", tall: 69, columns: () => ({}), over: paintEvents },
      { id: "run", name: "Run below limit", tall: 38, columns: () => ({}), over: paintRuns, last: true },
    ];
  }

  const single = (grid, readings) => readings !== null && widthOf(grid) < MINUTE; // finer than minutes

  function airLane(data, minutes) {
    const limit = data.limit?.ml_per_min || 20;
    return {
      id: "air", name: "Air leak", unit: "mL/min", tall: 150, labels: FLOWS,
      low: least(minutes.flow_min, 0), top: most(minutes.flow_max, 2 * limit) * 1.15, asinh: limit / 4,
      columns(grid, readings) {
        const fine = single(grid, readings), mean = unbroken(grid, minutes, minutes.mean);
        const range = fine ? spreadOfReadings(grid, readings, readings.low, readings.high)
          : spreadOfMinutes(grid, minutes, minutes.flow_min, minutes.flow_max);
        if (fine) range.low.forEach((low, i) => told(low) || mean.clear(i)); // a gap of seconds parts the line too
        return { readings: range, likely: spreadOfMinutes(grid, minutes, minutes.low, minutes.high), mean };
      },
      looks: (pens) => [
        ["readings", band, { fill: pens["leak-band"] }],
        ["likely", band, { fill: pens.likely }],
        ["mean", line, { stroke: pens.leak, width: 2 }],
      ],
      under: paintDoubt, over: paintLimit,
    };
  }

  function suctionLane(data, minutes) {
    const levels = [minutes.pressure, minutes.set, data.suction.ordered.map(([, level]) => level ?? NaN)];
    const room = most(minutes.swing, 5) / 2;
    return {
      id: "suction", name: "Suction", unit: "cmH2O", tall: 84,
      low: levels.reduce((found, values) => least(values, found), -5) - room, top: most(minutes.pressure, 0) + Math.min(room, 3),
      columns: (grid, readings) => ({
        readings: single(grid, readings) && readings.pressure
          ? spreadOfReadings(grid, readings, readings.pressure, readings.pressure) : new Spread(grid.columns),
        measured: unbroken(grid, minutes, minutes.pressure),
        set: unbroken(grid, minutes, minutes.set),
        ordered: spreadOfSteps(grid, data.suction.ordered, data.until),
      }),
      looks: (pens) => [
        ["readings", band, { fill: pens.grid }],
        ["measured", line, { stroke: pens.suction, width: 3 }],
        ["set", line, { stroke: pens.ink, width: 1, dash: [1, 3] }],
        ["ordered", line, { stroke: pens.ink, width: 1.25, dash: [6, 4] }],
      ],
    };
  }

  function fluidLane(data) {
    const { steps } = data.fluid, end = steps.length ? steps.at(-1)[0] + 1 : data.from;
    const only = (wanted) => steps.map(([at, ml, atLeast]) => [at, atLeast === wanted ? ml : null]);
    return {
      id: "fluid", name: "Fluid so far", unit: "mL", tall: 64,
      low: 0, top: most(steps.map(([, ml]) => ml ?? NaN), 100) * 1.15,
      columns: (grid) => ({ sure: spreadOfSteps(grid, only(false), end), atLeast: spreadOfSteps(grid, only(true), end) }),
      looks: (pens) => [
        ["sure", line, { stroke: pens.fluid, width: 2 }],
        ["atLeast", line, { stroke: pens.fluid, width: 2, dash: [4, 3] }],
      ],
      over: paintCanisters,
    };
  }

  // --- what lanes paint themselves; p is the picture: its view, pens, minutes, data, and px to a CSS pixel ------

  // stretches of marked columns, as [left, width]
  function* marked(u, flags) {
    const x = left(u, flags.length);
    for (let i = 0; i < flags.length; i++) {
      if (!flags[i]) continue;
      const first = i;
      while (i < flags.length && flags[i]) i++;
      yield [x(first), x(i) - x(first)];
    }
  }

  function paintDoubt(u, p) {
    u.ctx.fillStyle = p.pens["doubt-faint"];
    for (const [x, wide] of marked(u, p.columns.state.doubt)) u.ctx.fillRect(x, u.bbox.top, wide, u.bbox.height);
  }

  function paintLimit(u, p) {
    if (!p.data.limit) return;
    const { bbox } = u, { low, high } = p.columns.air.readings, limit = p.data.limit.ml_per_min;
    const y = u.valToPos(limit, "y", true), text = `limit: ${p.data.limit.words}`, wide = u.ctx.measureText(text).width;
    rule(u, p, [bbox.left, y], [bbox.left + bbox.width, y], { dash: [7, 3, 2, 3], thick: 1.25 });
    // written above the line, where the fewest readings lie behind it
    const behind = (x) => {
      const [first, last] = [x, x + wide].map((at) => Math.round(((at - bbox.left) / bbox.width) * low.length));
      let found = 0;
      for (let i = Math.max(first, 0); i < last; i++) if (high[i] >= limit && low[i] <= 2 * limit) found++;
      return found;
    };
    const places = [0, 0.25, 0.5, 0.75, 1].map((share) => bbox.left + 6 * p.px + share * (bbox.width - wide - 12 * p.px));
    write(u, p, text, places.reduce((best, x) => (behind(x) < behind(best) ? x : best)), y - 9 * p.px);
  }

  function paintCanisters(u, p) {
    for (const at of p.data.fluid.changes) upright(u, p, at, { dash: [2, 3], thick: 1 });
  }

  function paintStates(u, p) {
    const { leaking, doubt, below } = p.columns.state, row = ROW * p.px, { ctx, bbox } = u, { pens } = p;
    const boxes = (flags, number, edge) => [...marked(u, flags)].map(([x, wide]) =>
      [x, bbox.top + number * row + edge * p.px, Math.max(wide, 2 * p.px), row - 2 * edge * p.px]);
    for (const box of boxes(leaking, 0, 1)) frame(u, box, pens.leak, pens.leak, 0);
    for (const box of boxes(below, 2, 4)) frame(u, box, pens.below, pens["below-edge"], p.px);
    for (const box of boxes(doubt, 1, 1)) frame(u, box, pens.doubt, pens["doubt-edge"], 2 * p.px);
    for (const { from, to, state, reason } of p.minutes.stretches) { // why, in words, where there is room
      if (state !== CANNOT_TELL || to < p.view.from || from > p.view.to) continue;
      const [x, end] = [Math.max(from, p.view.from), Math.min(to, p.view.to)].map((ms) => u.valToPos(ms, "x", true));
      if (end - x < 40 * p.px) continue;
      const [code, words] = p.data.words.reasons[reason], all = [words || "straddles the limit", code || "straddles"];
      const wide = (text) => ctx.measureText(text).width + 6 * p.px;
      const text = (p.data.not_judged ? [p.data.not_judged] : all).find((one) => wide(one) + 10 * p.px < end - x);
      if (!text) continue;
      frame(u, [x + 3 * p.px, bbox.top + row + 3 * p.px, wide(text), row - 6 * p.px], pens.paper, pens.paper, 0);
      write(u, p, text, x + 6 * p.px, bbox.top + 1.5 * row);
    }
  }

  // ▲ done by somebody, ■ told by the record, ○ seen by somebody; drawn, since fonts differ in them
  function mark({ ctx }, p, kind, x, y) {
    const r = 4.5 * p.px;
    Object.assign(ctx, { fillStyle: kind === "seen" ? p.pens.paper : p.pens.ink, strokeStyle: p.pens.ink, lineWidth: 1.25 * p.px });
    ctx.setLineDash([]);
    ctx.beginPath();
    if (kind === "handled") for (const [dx, dy] of [[0, -r], [r, r], [-r, r]]) ctx.lineTo(x + dx, y + dy);
    else if (kind === "record") ctx.rect(x - r, y - r, 2 * r, 2 * r);
    else ctx.arc(x, y, 0.85 * r, 0, 2 * Math.PI);
    ctx.closePath();
    ctx.fill();
    ctx.stroke();
  }

  // Marks that would touch are one, with the weightiest words; words stand only where they cover no others.
  function paintEvents(u, p) {
    const { ctx, bbox } = u, right = bbox.left + bbox.width, groups = [], rows = [[], [], []], labels = [];
    for (const event of p.data.events) {
      const x = u.valToPos(event.at, "x", true);
      if (event.at < p.view.from || event.at > p.view.to) continue;
      if (groups.length && x - groups.at(-1).x < 10 * p.px) groups.at(-1).all.push(event);
      else groups.push({ x, all: [event] });
    }
    for (const { all } of groups) all.sort((a, b) => a.rank - b.rank);
    for (const { x, all } of [...groups].sort((a, b) => a.all[0].rank - b.all[0].rank || a.x - b.x)) {
      if (all[0].rank === ROUTINE && groups.length > 12) break;
      const words = all[0].words.length > 34 ? `${all[0].words.slice(0, 33)}…` : all[0].words;
      const text = all.length > 1 ? `${words} +${all.length - 1}` : words, wide = ctx.measureText(text).width + 10 * p.px;
      const from = Math.min(x - 4 * p.px, right - wide);
      const row = rows.find((spans) => spans.every(([a, b]) => from + wide < a || from > b));
      if (!row || from < bbox.left - 5 * p.px) continue;
      row.push([from, from + wide]);
      labels.push({ text, x, from, y: bbox.top + (23 + 15 * rows.indexOf(row)) * p.px });
    }
    for (const { x, y } of labels) rule(u, p, [x, bbox.top + 12 * p.px], [x, y], { thick: 0.75 });
    for (const { text, from, y } of labels) write(u, p, text, from + 4 * p.px, y + 2 * p.px);
    for (const { x, all } of groups) mark(u, p, all[0].kind, x, bbox.top + 6 * p.px);
  }

  // A bar that fills towards the hours asked for, which an upright marks once they are passed.
  function paintRuns(u, p) {
    const { ctx, bbox } = u, tall = 14 * p.px, y = bbox.top + 2 * p.px, right = bbox.left + bbox.width, { pens } = p;
    let free = right; // words from the right, so that those of the run under way come first
    for (const run of [...p.data.runs].reverse()) {
      const asked = run.from + 1000 * run.needed_s, at = (ms) => u.valToPos(ms, "x", true);
      const [x, end, needed] = [run.from, run.until, asked].map(at);
      if ((run.now ? Math.max(end, needed) : end) < bbox.left || x > right) continue;
      if (run.now && needed > end) frame(u, [x, y, needed - x, tall], pens.paper, pens["below-edge"], p.px, [3 * p.px, 3 * p.px]);
      frame(u, [x, y, Math.max(end - x, p.px), tall], run.now ? pens.run : pens.below, pens["below-edge"], p.px);
      if (needed < end) upright(u, p, asked, { thick: 2, from: y - 2 * p.px, to: y + tall + 2 * p.px });
      const wide = ctx.measureText(run.words).width + 8 * p.px, from = Math.min(Math.max(x, bbox.left), right - wide);
      if (!run.now && (wide > end - x || from + wide > free)) continue;
      write(u, p, run.words, from + 2 * p.px, y + tall + 10 * p.px);
      free = from;
    }
    const none = p.data.not_judged ? "not judged" : p.data.limit ? "none so far" : "no limit of a rule";
    if (!p.data.runs.length) write(u, p, none, bbox.left + 4 * p.px, y + tall / 2);
  }

  // What all lanes share: midnights, and where the data end.
  function paintTimes(u, p) {
    for (const ms of p.clock.ticks(p.view.from, p.view.to, DAY)) upright(u, p, ms, { thick: 1, ink: p.pens.midnight });
    if (p.data.data_until !== null) upright(u, p, p.data.data_until, { dash: [8, 2, 2, 2], thick: 1 });
  }

  function upright(u, p, ms, { from = u.bbox.top, to = u.bbox.top + u.bbox.height, ...how }) {
    const x = Math.round(u.valToPos(ms, "x", true)) + 0.5;
    if (x < u.bbox.left + u.bbox.width - 1) rule(u, p, [x, from], [x, to], how); // none on the right edge itself
  }

  function rule({ ctx }, p, from, to, { dash = [], thick, ink = p.pens.ink }) {
    Object.assign(ctx, { lineWidth: thick * p.px, strokeStyle: ink });
    ctx.setLineDash(dash.map((length) => length * p.px));
    ctx.beginPath();
    ctx.moveTo(...from);
    ctx.lineTo(...to);
    ctx.stroke();
  }

  // a box; one too narrow for its edges is all edge
  function frame({ ctx }, [x, y, wide, tall], fill, edge, thick, dash = []) {
    const narrow = wide < 2.5 * thick;
    Object.assign(ctx, { fillStyle: narrow ? edge : fill, strokeStyle: edge, lineWidth: thick });
    ctx.setLineDash(dash);
    ctx.fillRect(x, y, wide, tall);
    if (thick && !narrow) ctx.strokeRect(x + thick / 2, y + thick / 2, wide - thick, tall - thick);
  }

  // words in ink with a rim of paper, to be read over anything
  function write({ ctx }, p, text, x, y) {
    Object.assign(ctx, { fillStyle: p.pens.ink, strokeStyle: p.pens.paper, lineWidth: 4 * p.px, lineJoin: "round" });
    ctx.setLineDash([]);
    ctx.strokeText(text, x, y);
    ctx.fillText(text, x, y);
  }

  return { ROW, lanesOf, paintTimes, pensOf };
})();
