// The picture: lanes under one another on one continuous time axis, for one drain.
//
// slackwaterLanes(element, data) fills the element and returns {show(fromMs, toMs, why), update(data), reset(), drawn()};
// `data` is what report/pack.py makes. uPlot draws axes and lines; lanes-data.js knows what is shown, lanes-paint.js how it
// looks. Minutes are drawn at once, single readings as soon as they are unpacked.
"use strict";
const slackwaterLanes = (() => {
  const { MINUTE, DAY, amount, minutesOf, sayer, told, unpackedReadings, wardClock } = slackwaterLanesData;
  const { ROW, lanesOf, paintTimes, pensOf } = slackwaterLanesPaint;
  const HOUR = 60 * MINUTE;
  const STEPS = [1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440, 2880, 10080]; // minutes from one time on the axis to the next
  const GUTTER = 46, EDGE = 14, AXIS = 36; // CSS pixels: left of the lanes for numbers, right of them, under them for times
  const ZOOM = 1.6; // by a press of + or -

  const KEYS = "Left and right arrows move by a minute, with Shift by an hour. Plus and minus zoom, Page Up and Page Down " +
    "go back and on, Home and End go to the ends, Escape shows the whole stay.";
  const swatch = (name) => `<i class="lanes-swatch lanes-swatch-${name}"></i>`;
  const STATES = [["leaking", "leaking"], ["doubt", "cannot tell"], ["below", "below limit"]]
    .map(([name, words]) => `<span>${swatch(name)}${words}</span>`);
  const BUTTONS = [["in", "+", "zoom in"], ["out", "−", "zoom out"], ["whole", "whole stay"], ["24", "last 24 h"], ["8", "last 8 h"]]
    .map(([name, words, label = words]) => `<button type="button" data-do="${name}" aria-label="${label}">${words}</button>`);
  const INSIDE = `
    <div class="lanes-tools" role="group" aria-label="Stretch of time shown">${BUTTONS.join("")}</div>
    <p class="lanes-readout"></p>
    <div class="lanes-picture" tabindex="0" role="application" aria-roledescription="time picture">
      <div class="lanes-stack"></div><div class="lanes-span" hidden><span></span></div><div class="lanes-cursor" hidden></div>
    </div>
    <p class="lanes-note" hidden></p>
    <details class="lanes-key"><summary>How to read the picture</summary><ul>
      <li><b>Air leak:</b> the line is the mean of each minute, the pale band the smallest to the largest reading, the
        hatched band where the leak itself likely lies (5 to 95 %). The scale is even near zero and narrows above.</li>
      <li><b>Suction:</b> thick as measured, dashed as ordered, dotted as set on the unit. <b>Swing:</b> of the pressure in
        each minute. <b>Fluid:</b> steps where an amount is told, dashed once some is not known; dotted uprights are
        canister changes.</li>
      <li><b>State:</b> ${STATES.join(", ")}. A place that holds one minute which cannot be told shows that; grey hatching
        behind the air leak says the same.</li>
      <li><b>Events:</b> ▲ done by somebody, ○ seen by somebody, ■ told by the record; +2 stands for two more.
        <b>Run below limit:</b> fills towards the hours the rule asks for; an upright marks them.</li>
      <li class="lanes-keys">${KEYS} Drag to move; the wheel zooms once the picture has the focus, or with Ctrl.</li>
    </ul></details>
    <p class="lanes-live" aria-live="polite"></p>`;

  class Picture {
    constructor(element, data) {
      Object.assign(this, { element, readings: null, cursor: null, span: null, plots: [], asked: 0 });
      element.classList.add("lanes");
      element.style.setProperty("--lanes-row", `${ROW}px`);
      element.innerHTML = INSIDE;
      this.part = (name) => element.querySelector(`.lanes-${name}`);
      this.take(data);
      this.view = { ...this.whole };
      this.build();
      this.tell();
    }

    take(data) {
      this.data = data;
      this.clock = wardClock(data.zone);
      this.minutes = minutesOf(data);
      this.say = sayer(data, this.minutes, this.clock);
      this.lanes = lanesOf(data, this.minutes);
      const now = data.runs.find((run) => run.now); // the hours it still lacks are part of the picture
      this.whole = { from: data.from, to: Math.max(data.until, now ? now.from + 1000 * now.needed_s : 0) };
      const ends = `${this.clock.said(data.from)} to ${this.clock.said(data.until)}`;
      this.part("picture").setAttribute("aria-label", `${this.lanes.map(({ name }) => name).join(", ")}, ${ends}. ${KEYS}`);
      this.part("stack").replaceChildren();
      for (const lane of this.lanes) {
        const row = this.part("stack").appendChild(document.createElement("div"));
        row.className = `lanes-lane lanes-${lane.id}`;
        const name = lane.id === "state" ? STATES.join("") : `<b>${lane.name}</b> ${lane.unit ?? ""}`;
        row.innerHTML = `<div class="lanes-name">${name}</div><div></div>`;
        lane.holder = row.lastChild;
      }
    }

    // Later data of the same drain: what is looked at stays where it is; who sees the whole stay sees all of it.
    update(data) {
      const all = this.view.from <= this.whole.from && this.view.to >= this.whole.to;
      this.take(data);
      if (all) this.view = { ...this.whole };
      this.build();
      this.tell();
      return this.fetchReadings();
    }

    // --- drawing

    // Make every plot: at first, and whenever width, colours or paper change.
    build() {
      for (const plot of this.plots) plot.destroy();
      const paper = this.element.classList.contains("lanes-printing");
      this.times = paper ? 2 : 1; // for print at twice the size, shrunk by lanes.css
      this.px = this.times * devicePixelRatio;
      this.across = Math.max(60, this.lanes[0].holder.clientWidth - GUTTER - EDGE); // CSS pixels of the time axis
      this.pens = pensOf(this.element, this.px);
      this.plots = this.lanes.map((lane) => this.plotOf(lane));
      this.draw();
    }

    plotOf(lane) {
      const { times, pens, px } = this, none = { show: false }, looks = lane.looks?.(pens) ?? [];
      const font = (size) => `${size}px ${getComputedStyle(this.element).fontFamily}`;
      const painted = (paint) => [(u) => { // uPlot remembers what it set on its pen: hand it back as it was
        u.ctx.save();
        Object.assign(u.ctx, { font: font(11 * px), textBaseline: "middle", textAlign: "left" });
        u.ctx.beginPath();
        u.ctx.rect(u.bbox.left, 0, u.bbox.width, u.ctx.canvas.height);
        u.ctx.clip();
        paint?.(u, this);
        u.ctx.restore();
      }];
      const axis = { font: font(11 * times), gap: 4 * times, stroke: pens.ink, grid: { stroke: pens.grid, width: times } };
      const ofTime = {
        ...axis, side: 2, size: lane.last ? AXIS * times : 0, lineGap: 1.25, splits: () => this.ticks,
        values: (_, at) => (lane.last ? this.tickTexts(at) : at.map(() => null)),
        ticks: { show: Boolean(lane.last), stroke: pens.midnight, size: 4 * times },
      };
      const ofValue = {
        ...axis, side: 3, size: GUTTER * times, ticks: none, space: 22 * times, values: (_, at) => at.map(amount),
        filter: (_, at) => at, ...(lane.labels && { splits: (u) => spaced(u, lane.labels, 16 * px) }),
      };
      return new uPlot({
        width: (this.across + GUTTER + EDGE) * times,
        height: (lane.tall + (lane.last ? AXIS : 0)) * times,
        padding: [6 * times, EDGE * times, 3 * times, looks.length ? 0 : GUTTER * times],
        cursor: none, legend: none, select: none,
        scales: {
          x: { time: false, auto: false, min: this.view.from, max: this.view.to },
          y: { auto: false, min: lane.low ?? 0, max: lane.top ?? 1, distr: lane.asinh ? 4 : 1, asinh: lane.asinh },
        },
        axes: [ofTime, looks.length ? ofValue : none],
        series: [{}, ...looks.map(([name, brush, style]) => ({
          ...style, width: (style.width ?? 0) * times, dash: style.dash?.map((length) => length * px), points: none,
          paths: (u) => brush(u, this.columns[lane.id][name]),
        }))],
        hooks: { drawClear: painted(lane.under), drawAxes: painted(paintTimes), draw: painted(lane.over) },
      }, null, lane.holder);
    }

    // The day stands under midnight, and under the first time where no midnight follows near.
    tickTexts(at) {
      const { clock, every } = this, near = (84 / this.across) * (this.view.to - this.view.from);
      if (every >= DAY) return at.map((ms) => clock.day(ms).replace(" ", "\n"));
      const midnight = at.find((ms) => clock.midnight(ms)) ?? Infinity;
      const dated = (ms, i) => clock.midnight(ms) || (i === 0 && midnight - ms > near);
      return at.map((ms, i) => (dated(ms, i) ? `${clock.time(ms)}\n${clock.day(ms)}` : clock.time(ms)));
    }

    draw() {
      const began = performance.now(), { from, to } = this.view, columns = Math.round(this.across * this.times);
      this.asked = 0;
      this.every = MINUTE * (STEPS.find((step) => ((step * MINUTE) / (to - from)) * this.across >= 62) ?? STEPS.at(-1));
      this.ticks = this.clock.ticks(from, to, this.every);
      this.columns = Object.fromEntries(this.lanes.map((lane) => [lane.id, lane.columns({ from, to, columns }, this.readings)]));
      const x = Float64Array.from({ length: columns }, (_, i) => from + (i * (to - from)) / columns);
      this.plots.forEach((plot, i) => plot.batch(() => {
        const { id, looks } = this.lanes[i];
        plot.setData([x, ...(looks?.(this.pens) ?? []).map(([name]) => this.columns[id][name].high)], false);
        plot.setScale("x", { min: from, max: to });
      }));
      this.overlay();
      this.tookMs = performance.now() - began;
    }

    ask() {
      this.asked ||= requestAnimationFrame(() => this.draw());
    }

    // The cursor and the marked stretch lie over the lanes, so that moving them redraws nothing.
    overlay() {
      const { from, to } = this.view, cursor = this.part("cursor"), span = this.part("span");
      const left = this.lanes[0].holder.offsetLeft + GUTTER;
      const at = (ms) => left + Math.min(1, Math.max(0, (ms - from) / (to - from))) * this.across;
      cursor.hidden = this.cursor === null || this.cursor < from || this.cursor > to;
      if (!cursor.hidden) cursor.style.left = `${at(this.cursor)}px`;
      span.hidden = this.span === null || this.span.to < from || this.span.from > to;
      if (span.hidden) return;
      const [begin, end] = [at(this.span.from), at(this.span.to)];
      Object.assign(span.style, { left: `${begin}px`, width: `${Math.max(3, end - begin)}px` });
      span.firstChild.textContent = this.span.why;
    }

    // --- which stretch is shown

    look(from, to) {
      const wide = Math.min(Math.max(to - from, MINUTE), this.whole.to - this.whole.from);
      const begin = Math.min(Math.max((from + to - wide) / 2, this.whole.from), this.whole.to - wide);
      this.view = { from: begin, to: begin + wide };
      this.ask();
    }

    zoom(times, at = this.cursor ?? (this.view.from + this.view.to) / 2) {
      const { from, to } = this.view, wide = Math.max((to - from) / times, MINUTE), share = (at - from) / (to - from);
      this.look(at - share * wide, at + (1 - share) * wide);
    }

    pan(ms) {
      this.look(this.view.from + ms, this.view.to + ms);
    }

    reset() {
      this.span = this.cursor = null;
      this.look(this.whole.from, this.whole.to);
      this.overlay();
      this.tell();
    }

    show(from, to, why = "") {
      const around = Math.max((to - from) / 3, 10 * MINUTE);
      this.span = { from, to, why };
      this.look(from - around, to + around);
      this.point(from);
      const stretch = `${this.clock.said(from)} to ${this.clock.said(to)}${why ? `: ${why}` : ""}`;
      this.announce(`Showing ${stretch}. ${this.say(this.cursor)}`);
    }

    // --- which minute is read out

    point(ms) {
      this.cursor = Math.max(this.data.from, Math.min(ms, this.data.until - 1));
      this.overlay();
      this.tell();
    }

    // by keys: keep the cursor in sight, and say it aloud
    walk(ms) {
      this.point(ms);
      const { from, to } = this.view;
      if (this.cursor < from || this.cursor >= to) this.pan(this.cursor - (from + to) / 2);
      this.announce(this.say(this.cursor));
    }

    tell() {
      const last = Math.max(this.data.from, this.data.until - MINUTE);
      this.part("readout").textContent = this.cursor === null ? `The last minute: ${this.say(last)}` : this.say(this.cursor);
    }

    announce(text) {
      clearTimeout(this.later); // a held key is said once
      this.later = setTimeout(() => { this.part("live").textContent = text; }, 150);
    }

    // --- single readings, once the first picture stands

    async fetchReadings() {
      if (!this.data.readings) return;
      try {
        this.readings = await unpackedReadings(this.data.readings);
        this.ask();
      } catch (error) {
        const why = typeof DecompressionStream === "undefined" ? "this browser cannot unpack them" : error.message;
        this.part("note").hidden = false;
        this.part("note").textContent =
          `Single readings are not shown: ${why}. The picture shows minutes, each with its smallest and its largest reading.`;
      }
    }

    // What is drawn now, read back: plain arrays a column of pixels, null for nothing.
    drawn() {
      if (this.asked) {
        cancelAnimationFrame(this.asked);
        this.draw();
      }
      const plain = (values) => {
        if (ArrayBuffer.isView(values)) return Array.from(values, (value) => (told(value) ? value : null));
        return Object.fromEntries(Object.entries(values).map(([name, inner]) => [name, plain(inner)]));
      };
      const { cursor, tookMs } = this;
      return { ...this.view, lanes: plain(this.columns), cursor, single: this.readings !== null, tookMs };
    }
  }

  // the labels of an axis that fit, from the lowest up
  function spaced(u, labels, least) {
    let before = Infinity;
    return labels.filter((value) => {
      const y = u.valToPos(value, "y", true);
      if (value > u.scales.y.max || before - y < least) return false;
      before = y;
      return true;
    });
  }

  // --- hands: buttons, keys, wheel, pointer, fingers --------------------------------------------------

  function hands(picture) {
    const surface = picture.part("picture");
    keys(picture, surface);
    wheel(picture, surface);
    fingers(picture, surface);
    const lastHours = (hours) => picture.look(picture.data.until - hours * HOUR, picture.data.until);
    const doing = {
      in: () => picture.zoom(ZOOM), out: () => picture.zoom(1 / ZOOM),
      whole: () => picture.look(picture.whole.from, picture.whole.to), 24: () => lastHours(24), 8: () => lastHours(8),
    };
    const buttons = picture.element.querySelectorAll("[data-do]");
    for (const button of buttons) button.addEventListener("click", doing[button.dataset.do]);
  }

  function keys(picture, surface) {
    const page = () => picture.view.to - picture.view.from;
    const start = () => Math.min((picture.view.from + picture.view.to) / 2, picture.data.until - MINUTE);
    const step = (event, ms) =>
      picture.walk(picture.cursor === null ? start() : picture.cursor + (event.shiftKey ? 60 : 1) * ms);
    const doing = {
      ArrowLeft: (event) => step(event, -MINUTE), ArrowRight: (event) => step(event, MINUTE),
      Home: () => picture.walk(picture.data.from), End: () => picture.walk(picture.data.until),
      "+": () => picture.zoom(ZOOM), "=": () => picture.zoom(ZOOM), "-": () => picture.zoom(1 / ZOOM),
      PageUp: () => picture.pan(-page()), PageDown: () => picture.pan(page()), Escape: () => picture.reset(),
    };
    surface.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey || !doing[event.key]) return;
      event.preventDefault();
      doing[event.key](event);
    });
  }

  const leftOf = (picture) => picture.lanes[0].holder.getBoundingClientRect().left + GUTTER;
  const perPixel = (picture) => (picture.view.to - picture.view.from) / picture.across;
  const timeAt = (picture, clientX) => picture.view.from + (clientX - leftOf(picture)) * perPixel(picture);

  function wheel(picture, surface) {
    surface.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && !event.metaKey && document.activeElement !== surface) return; // the page scrolls
      event.preventDefault();
      const sideways = event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY);
      if (sideways) picture.pan((event.deltaX || event.deltaY) * perPixel(picture));
      else picture.zoom(Math.exp(-event.deltaY * (event.deltaMode ? 0.05 : 0.002)), timeAt(picture, event.clientX));
    }, { passive: false });
  }

  // One pointer points or drags; two keep the times under them under them.
  function fingers(picture, surface) {
    const down = new Map(); // pointer -> {x, time}
    let dragged = false;
    surface.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      surface.setPointerCapture(event.pointerId);
      down.set(event.pointerId, { x: event.clientX, time: timeAt(picture, event.clientX) });
      dragged = down.size > 1;
      if (!dragged) picture.point(timeAt(picture, event.clientX));
    });
    surface.addEventListener("pointermove", (event) => {
      const held = down.get(event.pointerId);
      if (!held && event.pointerType === "mouse") picture.point(timeAt(picture, event.clientX));
      if (!held || (!dragged && Math.abs(event.clientX - held.x) < 4)) return;
      dragged = true;
      held.x = event.clientX;
      const [one, other] = down.values();
      const wide = other ? (other.time - one.time) / (other.x - one.x) : perPixel(picture); // ms to a pixel
      if (!(wide > 0 && wide < Infinity)) return;
      const from = one.time - (one.x - leftOf(picture)) * wide;
      picture.look(from, from + wide * picture.across);
    });
    for (const end of ["pointerup", "pointercancel"]) surface.addEventListener(end, (event) => down.delete(event.pointerId));
  }

  // --- anew when the paper, the light or the width changes --------------------------------------------

  function watch(picture) {
    const { element } = picture, key = picture.part("key");
    let opened = false, wide = element.clientWidth, ratio = devicePixelRatio;
    const printing = (on) => {
      if (element.classList.contains("lanes-printing") === on) return;
      if (on) opened = key.open;
      key.open = on || opened; // paper cannot be opened
      element.classList.toggle("lanes-printing", on);
      picture.build();
    };
    addEventListener("beforeprint", () => printing(true));
    addEventListener("afterprint", () => printing(false));
    matchMedia("print").addEventListener("change", (event) => printing(event.matches));
    for (const query of ["(prefers-color-scheme: dark)", "(forced-colors: active)"]) {
      matchMedia(query).addEventListener("change", () => picture.build());
    }
    new ResizeObserver(() => {
      if (element.clientWidth === wide && devicePixelRatio === ratio) return;
      [wide, ratio] = [element.clientWidth, devicePixelRatio];
      requestAnimationFrame(() => picture.build());
    }).observe(element);
  }

  return (element, data) => {
    const picture = new Picture(element, data);
    hands(picture);
    watch(picture);
    requestAnimationFrame(() => setTimeout(() => picture.fetchReadings())); // after the first picture is on the screen
    return {
      show: (fromMs, toMs, why) => picture.show(fromMs, toMs, why),
      update: (data) => picture.update(data),
      reset: () => picture.reset(),
      drawn: () => picture.drawn(),
    };
  };
})();
