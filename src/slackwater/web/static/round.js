// The round keeps itself current: lines are swapped in place, ages run by this page's own count of seconds and never by
// the screen's clock, and a value that is too old vanishes whether or not the server answers.
"use strict";
(() => {
  const EVERY_MS = 5000, SILENT_MS = 15000, GAP_MS = 5000, APART_MS = 120000, TOUCH_MS = 2000;
  const lines = document.getElementById("round-lines");
  if (!lines) return;
  const state = document.getElementById("round-state");
  const fault = document.getElementById("round-fault");
  const news = document.getElementById("round-news");
  let serverNow = Number(document.body.dataset.now), countedFrom = 0; // from when the page was asked for: never too young
  let answered = performance.now(), asked = -Infinity, asking = false, tag = lines.dataset.tag, blanked = false;
  let lastTick = performance.now(), lastWall = Date.now(), touched = -Infinity;
  const received = new Map();
  const opened = new Set(); // lines that are shown whole on a narrow screen
  const now = () => serverNow + (performance.now() - countedFrom);
  const clock = new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", second: "2-digit", timeZone: undefined });

  const keep = () => { for (const tile of lines.querySelectorAll(".tile")) received.set(tile.id, tile.outerHTML); };
  const span = (ms) => {
    const minutes = Math.max(1, Math.floor(ms / 60000)), hours = Math.floor(minutes / 60);
    return hours ? `${hours} h${minutes % 60 ? ` ${minutes % 60} min` : ""}` : `${minutes} min`;
  };
  const say = (told) => {
    if (!told.length) return;
    const more = told.length > 4 ? `; and ${told.length - 4} more` : "";
    news.textContent = told.slice(0, 4).join("; ") + more;
  };
  const complain = (text) => {
    if (fault.textContent !== text) fault.textContent = text;
    fault.hidden = !text;
  };
  const blank = () => { blanked = true; lines.hidden = true; complain("This page slept: nothing is shown until it is refreshed."); };

  // Ages, and what has become too old. Returns what to say of it.
  const grow = () => {
    const told = [], at = now();
    for (const tile of lines.querySelectorAll(".tile")) {
      const { until, live, stands } = tile.dataset;
      const ago = tile.querySelector(".ago");
      if (ago && until) { const text = `${span(at - Number(until))} old`; if (ago.textContent !== text) ago.textContent = text; }
      if (live && at >= Number(live) && !tile.classList.contains("silent")) {
        tile.classList.add("silent");
        for (const part of tile.querySelectorAll(".live")) part.hidden = true;
        for (const part of tile.querySelectorAll(".gone")) part.hidden = false;
        told.push(`${tile.dataset.name}: now no data`);
      }
      if (stands && at >= Number(stands)) {
        for (const part of tile.querySelectorAll(".stands")) part.hidden = true;
        for (const part of tile.querySelectorAll(".old")) part.hidden = false;
      }
    }
    return told;
  };

  const swap = (text) => {
    const told = [];
    const came = new DOMParser().parseFromString(text, "text/html");
    const said = lines.querySelector(".round-said"), saidNow = came.querySelector(".round-said");
    if (said && saidNow && said.outerHTML !== saidNow.outerHTML) said.replaceWith(document.importNode(saidNow, true));
    const list = lines.querySelector(".tiles"), first = !list.children.length; // a page that was empty has no news
    // Whoever reads further down keeps their line where it is; at the top the order shows itself.
    const within = list.getBoundingClientRect().top < 0 ? [...list.children].find((tile) => tile.getBoundingClientRect().bottom > 0) : undefined;
    const anchor = document.activeElement?.closest?.(".tile") ?? within;
    const anchorId = anchor?.id, top = anchor?.getBoundingClientRect().top;
    const inFocus = lines.contains(document.activeElement) ? document.activeElement.closest(".tile")?.id : undefined;
    const wanted = new Set();
    const order = [];
    for (const tile of came.querySelectorAll(".tile")) {
      wanted.add(tile.id);
      const html = tile.outerHTML, there = document.getElementById(tile.id);
      let shown = there;
      if (tile.classList.contains("same")) { // the server sends anew only what changed since the tag that was held
        if (there) order.push(there); else tag = "";
        continue;
      }
      if (!there || received.get(tile.id) !== html) {
        shown = document.importNode(tile, true);
        if (there) there.replaceWith(shown); else list.append(shown);
        if (!there && !first) told.push(`${tile.dataset.name}: now on the round`);
        else if (tile.dataset.news && there?.dataset.news && there.dataset.news !== tile.dataset.news) told.push(`${tile.dataset.name}: now ${tile.dataset.news}`);
        received.set(tile.id, html);
      }
      unfold(shown, opened.has(tile.id));
      order.push(shown);
    }
    for (const tile of [...list.children]) {
      if (wanted.has(tile.id)) continue;
      told.push(`${tile.dataset.name}: no longer shown`);
      received.delete(tile.id);
      tile.remove();
    }
    if (performance.now() - touched > TOUCH_MS) // a line never jumps away from under a finger
      order.forEach((tile, at) => { if (list.children[at] !== tile) list.insertBefore(tile, list.children[at] ?? null); });
    const again = anchorId && document.getElementById(anchorId);
    if (again && top < innerHeight) scrollBy(0, again.getBoundingClientRect().top - top);
    if (inFocus) document.getElementById(inFocus)?.querySelector("a")?.focus({ preventScroll: true });
    return told;
  };

  const refresh = async () => {
    if (asking) return;
    asking = true;
    asked = performance.now();
    const sent = asked;
    try {
      const headers = { "x-by-itself": "1" };
      if (tag) headers["if-none-match"] = tag;
      const answer = await fetch(`/round/lines${location.search}`, { headers, cache: "no-store", signal: AbortSignal.timeout(10000) });
      if (answer.status === 401) { complain("Logged out: nothing is refreshed here. Log in again."); return; }
      if (answer.status === 423) { complain("Locked: nothing is refreshed until somebody unlocks it."); return; }
      if (answer.status !== 200 && answer.status !== 304) return; // said once it has been silent for long enough
      if (answer.headers.get("x-person") !== document.body.dataset.who) { location.reload(); return; }
      const text = answer.status === 200 ? await answer.text() : "";
      serverNow = Number(answer.headers.get("x-now"));
      countedFrom = sent;
      answered = performance.now();
      tag = answer.headers.get("etag") ?? "";
      const told = text ? swap(text) : [];
      blanked = false;
      lines.hidden = false;
      complain("");
      say([...told, ...grow()]);
      const apart = Date.now() - now();
      state.firstChild.textContent = `Refreshed ${clock.format(new Date())} by this screen's clock; it refreshes itself. ` +
        (Math.abs(apart) > APART_MS ? `This screen's clock is ${span(Math.abs(apart))} ${apart > 0 ? "ahead of" : "behind"} the server's, whose times these are. ` : "");
    } catch {
      // No answer: what is shown grows old by itself, and the page says so after a while.
    } finally {
      asking = false;
    }
  };

  const tick = () => {
    const at = performance.now(), wall = Date.now();
    const slept = at - lastTick > GAP_MS || Math.abs(wall - lastWall - (at - lastTick)) > GAP_MS;
    lastTick = at;
    lastWall = wall;
    if (slept) { blank(); asked = -Infinity; }
    if (!blanked) say(grow());
    if (!blanked && at - answered > SILENT_MS && !fault.textContent.startsWith("Lo"))
      complain(`The server has not answered for ${span(at - answered)}: nothing here is refreshed, and values vanish as they grow old. Look at the drains and use the paper checklist.`);
    if (at - asked > EVERY_MS) refresh();
  };

  // On a narrow screen a line shows who, what to do, how it stands; the rest of it behind its button.
  function unfold(tile, open) {
    tile.classList.toggle("whole", open);
    const button = tile.querySelector("button.more");
    if (!button) return;
    button.setAttribute("aria-expanded", String(open));
    button.firstChild.textContent = open ? "Less" : "More";
  }
  document.documentElement.classList.add("script");
  lines.addEventListener("click", (event) => {
    const tile = event.target.closest("button.more")?.closest(".tile");
    if (!tile) return;
    const open = !opened.delete(tile.id);
    if (open) opened.add(tile.id);
    unfold(tile, open);
  });

  keep();
  say(grow());
  for (const kind of ["pointerdown", "touchstart"]) addEventListener(kind, () => { touched = performance.now(); }, { passive: true });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) tick(); });
  addEventListener("pageshow", (event) => { if (event.persisted) { blank(); asked = -Infinity; refresh(); } });
  document.addEventListener("unlocked", () => { asked = -Infinity; refresh(); });
  setInterval(tick, 1000);
})();
