// What the lanes know, without a screen: the ward's clock, single readings, what lies in each column of pixels, and the
// words for one minute. `data` is what report/pack.py makes. Times are UTC ms; NaN is 'nothing recorded', never 0.
"use strict";
const slackwaterLanesData = (() => {
  const MINUTE = 60_000, DAY = 1440 * MINUTE;
  const CANNOT_TELL = 0, BELOW = 1, LEAKING = 2; // codes of state in the minute table
  const MISSING = 1; // and of one reason
  const told = (value) => value === value; // false for NaN

  // --- the ward's clock, by the offsets given: 24 h, safe where an hour comes twice or never --------

  const DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
  const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
  const two = (number) => String(number).padStart(2, "0");

  function wardClock({ offsets }) {
    const ahead = (ms) => offsets.reduce((found, [at, minutes]) => (ms >= at ? minutes : found), offsets[0][1]);
    const wall = (ms) => new Date(ms + ahead(ms) * MINUTE); // read by its getUTC...
    const time = (ms) => `${two(wall(ms).getUTCHours())}:${two(wall(ms).getUTCMinutes())}`;
    const day = (ms) => `${DAYS[wall(ms).getUTCDay()]} ${two(wall(ms).getUTCDate())} ${MONTHS[wall(ms).getUTCMonth()]}`;
    const offset = (ms) => {
      const minutes = Math.abs(ahead(ms));
      return `UTC${ahead(ms) < 0 ? "-" : "+"}${two(Math.floor(minutes / 60))}:${two(minutes % 60)}`;
    };
    // where the clock changes about the stay, every time says by which offset
    const said = (ms) => `${day(ms)} ${time(ms)}${offsets.length > 1 ? ` ${offset(ms)}` : ""}`;
    const midnight = (ms) => (ms + ahead(ms) * MINUTE) % DAY === 0;
    const ticks = (from, to, every) => offsets.flatMap(([at, minutes], i) => {
      const begin = i ? Math.max(from, at) : from, shift = minutes * MINUTE, found = [];
      const end = i + 1 < offsets.length ? Math.min(to, offsets[i + 1][0] - 1) : to;
      for (let t = Math.ceil((begin + shift) / every) * every - shift; t <= end; t += every) found.push(t);
      return found;
    });
    return { time, day, said, midnight, ticks };
  }

  // --- single readings, packed by report/columns.py -------------------------------------------------

  async function unpacked({ count, planes, differences, data }) {
    const bytes = Uint8Array.from(atob(data), (letter) => letter.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
    const flat = new Uint8Array(await new Response(stream).arrayBuffer());
    const values = new Float64Array(count);
    for (let i = 0, before = 0; i < count; i++) {
      let zigzag = 0;
      for (let plane = planes - 1; plane >= 0; plane--) zigzag = 256 * zigzag + flat[plane * count + i];
      const value = zigzag % 2 ? -(zigzag + 1) / 2 : zigzag / 2;
      values[i] = before = differences ? before + value : value;
    }
    return values;
  }

  async function channel(packed) {
    if (!packed) return null;
    const levels = [NaN, ...packed.levels];
    return (await unpacked(packed.at)).map((at) => levels[at]);
  }

  // Rows in evenly spaced stretches: `held` rows of `every` ms from `begins`; low and high mL/min, pressure cmH2O.
  async function unpackedReadings(packed) {
    const [begins, every, held, low, most, pressure] = await Promise.all([
      unpacked(packed.begins), unpacked(packed.every_ms), unpacked(packed.held),
      channel(packed.flow), channel(packed.flow_max), channel(packed.pressure),
    ]);
    // a unit's own maximum tops the reading, and stands alone where the reading is blank
    const high = most ? low.map((value, i) => (value >= most[i] || !told(most[i]) ? value : most[i])) : low;
    return {
      begins: begins.map((ms) => ms + packed.from), every, held, high, pressure,
      low: most ? low.map((value, i) => (told(value) ? value : most[i])) : low,
    };
  }

  // --- columns of pixels: the smallest and the largest of what lies in each; nothing is averaged ----
  // a grid is {from, to, columns}

  class Spread {
    constructor(columns) {
      this.low = new Float64Array(columns).fill(NaN);
      this.high = new Float64Array(columns).fill(NaN);
    }
    take(column, low, high) {
      if (!(this.low[column] <= low)) this.low[column] = low;
      if (!(this.high[column] >= high)) this.high[column] = high;
    }
    clear(column) {
      this.low[column] = this.high[column] = NaN;
    }
  }

  const widthOf = (grid) => (grid.to - grid.from) / grid.columns;

  function eachColumn(grid, minutes, visit) {
    for (let i = 0; i < grid.columns; i++) {
      const begin = (grid.from + i * widthOf(grid) - minutes.start) / MINUTE, end = begin + widthOf(grid) / MINUTE;
      const first = Math.max(0, Math.floor(begin)), last = Math.min(minutes.count, Math.ceil(end));
      if (first < last) visit(i, first, last);
    }
  }

  function spreadOfMinutes(grid, minutes, low, high) {
    const out = new Spread(grid.columns);
    eachColumn(grid, minutes, (column, first, last) => {
      for (let k = first; k < last; k++) if (told(low[k]) && told(high[k])) out.take(column, low[k], high[k]);
    });
    return out;
  }

  // As a line is drawn: a column with one minute that is missing stays empty, so that no line crosses a gap.
  function unbroken(grid, minutes, values) {
    const out = spreadOfMinutes(grid, minutes, values, values);
    eachColumn(grid, minutes, (column, first, last) => {
      for (let k = first; k < last; k++) if (!told(values[k])) return out.clear(column);
      return undefined;
    });
    return out;
  }

  function spreadOfReadings(grid, readings, low, high) {
    const out = new Spread(grid.columns), wide = widthOf(grid);
    for (let s = 0, row = 0; s < readings.begins.length; row += readings.held[s++]) {
      const begin = readings.begins[s], every = readings.every[s];
      const first = Math.max(0, Math.floor((grid.from - begin) / every));
      const last = Math.min(readings.held[s], Math.ceil((grid.to - begin) / every));
      for (let i = first; i < last; i++) {
        if (!told(low[row + i])) continue;
        const at = (begin + i * every - grid.from) / wide, end = Math.min(grid.columns, Math.ceil(at + every / wide));
        for (let column = Math.max(0, Math.floor(at)); column < end; column++) out.take(column, low[row + i], high[row + i]);
      }
    }
    return out;
  }

  // steps: [from when, level or null], in order; nothing is told from `end` on
  function spreadOfSteps(grid, steps, end) {
    const out = new Spread(grid.columns), wide = widthOf(grid);
    let next = 0, level = null;
    for (let i = 0; i < grid.columns && grid.from + i * wide < end; i++) {
      const begin = grid.from + i * wide;
      while (next < steps.length && steps[next][0] <= begin) level = steps[next++][1];
      if (level !== null) out.take(i, level, level);
      while (next < steps.length && steps[next][0] < begin + wide) {
        level = steps[next++][1];
        if (level !== null) out.take(i, level, level);
      }
    }
    return out;
  }

  // Which states lie in each column; 'cannot tell' ranks above 'below limit'.
  function statesOf(grid, minutes) {
    const [leaking, doubt, below] = [0, 0, 0].map(() => new Uint8Array(grid.columns));
    eachColumn(grid, minutes, (column, first, last) => {
      const states = minutes.state.subarray(first, last);
      leaking[column] = Number(states.includes(LEAKING));
      doubt[column] = Number(states.includes(CANNOT_TELL));
      below[column] = Number(states.includes(BELOW) && !doubt[column]);
    });
    return { leaking, doubt, below };
  }

  // --- the minute table -----------------------------------------------------------------------------

  const COLUMNS = ["flow", "flow_low", "flow_high", "flow_min", "flow_max", "low", "high", "pressure", "set", "swing", "covered"];

  function floats(column, count) {
    const out = new Float64Array(count).fill(NaN);
    if (column) for (let k = 0; k < count; k++) if (column[k] !== null) out[k] = column[k];
    return out;
  }

  function minutesOf(data) {
    const { count, state, reason, open } = data.minutes, start = data.from;
    const codes = (text, otherwise) => Uint8Array.from(text ?? new Uint8Array(count).fill(otherwise));
    const minutes = { start, count, state: codes(state, CANNOT_TELL), reason: codes(reason, MISSING), open: codes(open, 0) };
    for (const name of COLUMNS) minutes[name] = floats(data.minutes[name], count);
    // a mean of too little is not drawn as a line; its readings are
    minutes.mean = minutes.flow.map((flow, k) => (reason && minutes.reason[k] === MISSING ? NaN : flow));
    minutes.stretches = []; // of one state for one reason
    for (let k = 0; k < count; k++) {
      const last = minutes.stretches.at(-1), from = start + k * MINUTE;
      if (last && last.state === minutes.state[k] && last.reason === minutes.reason[k]) last.to = from + MINUTE;
      else minutes.stretches.push({ from, to: from + MINUTE, state: minutes.state[k], reason: minutes.reason[k] });
    }
    return minutes;
  }

  // --- one minute in words ---------------------------------------------------------------------------

  const amount = (value) => String(+value.toFixed(3) + 0).replace("-", "−"); // to the thousandths that decide
  const tenth = (value) => amount(Math.round(10 * value) / 10);
  const about = (value) => (value >= 10 ? String(Math.round(value)) : tenth(value));
  const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);
  function bounds(low, high) {
    if (amount(low) === amount(high)) return amount(low);
    return low <= 0 ? `at most ${amount(high)}` : `${amount(low)} to ${amount(high)}`;
  }

  function sayer(data, minutes, clock) {
    const lastOf = (steps, ms) => steps.filter(([at]) => at <= ms).at(-1);
    function state(k) {
      if (data.not_judged) return data.not_judged;
      if (minutes.state[k] === CANNOT_TELL) return `Cannot tell. ${data.words.reasons[minutes.reason[k]][2]}`;
      const shown = minutes.open[k] ? ` ${capital(data.words.open[minutes.open[k]])}.` : "";
      return `${minutes.state[k] === LEAKING ? "Leaking, at or above" : "Below limit:"} ${data.judged_against}.${shown}`;
    }
    function air(k) {
      const { flow_low: low, flow_high: high, flow_max: most, covered, low: least, high: likely } = minutes;
      if (!told(low[k]) && !told(most[k])) return "Air leak: nothing recorded.";
      const mean = told(low[k]) ? `${bounds(low[k], high[k])} mL/min` : "mean not recorded";
      const part = covered[k] < 0.99 ? `, of ${Math.round(60 * covered[k])} s recorded` : "";
      const largest = told(most[k]) ? `, largest reading ${amount(most[k])}` : "";
      const between = [...new Set([about(least[k]), about(likely[k])])].join(" to ");
      return `Air leak ${mean}${part}${largest}${told(least[k]) ? `; likely ${between}` : ""}.`;
    }
    function suction(k, ms) {
      const order = lastOf(data.suction.ordered, ms), { pressure, set } = minutes;
      const measured = told(pressure[k]) ? `${tenth(pressure[k])} cmH2O` : "not recorded";
      const ordered = order ? `, ordered ${order[2].replace("-", "−")}` : "";
      return `Suction ${measured}${told(set[k]) ? `, set ${tenth(set[k])}` : ""}${ordered}.`;
    }
    function fluid(ms) {
      const last = lastOf(data.fluid.steps.filter(([, ml]) => ml !== null), ms);
      return last ? `Fluid ${last[2] ? "at least " : ""}${amount(last[1])} mL, told ${clock.time(last[0])}.` : "Fluid not told.";
    }
    function events(ms) {
      const here = data.events.filter(({ at }) => at >= ms && at < ms + MINUTE).map(({ words }) => words);
      return here.length ? `${capital(here.slice(0, 4).join("; "))}${here.length > 4 ? `; ${here.length - 4} more` : ""}.` : "";
    }
    return (ms) => {
      const k = Math.floor((ms - minutes.start) / MINUTE), at = minutes.start + k * MINUTE;
      if (k >= minutes.count) return `${clock.said(at)}. Nothing is recorded from here on.`;
      const swing = told(minutes.swing[k]) ? `${tenth(minutes.swing[k])} cmH2O` : "cannot tell";
      const parts = [`${clock.said(at)}.`, state(k), air(k), suction(k, at), `Swing ${swing}.`, fluid(at), events(at)];
      return parts.filter(Boolean).join(" ");
    };
  }

  return {
    MINUTE, DAY, CANNOT_TELL, Spread, amount, minutesOf, sayer, spreadOfMinutes, spreadOfReadings, spreadOfSteps, statesOf,
    told, unbroken, unpackedReadings, wardClock, widthOf,
  };
})();
