// One drain's page: it keeps itself current without moving what is looked at, counts the age of its data by its own clock,
// and covers its answer once that is too old, or once nobody can say whether it still holds.
"use strict";
(() => {
  const sheet = document.getElementById("sheet");
  if (!sheet) return;
  const EVERY = 15_000; // ms between questions to the server
  const DEAF = 600_000; // ms without an answer of it after which the answer here is covered
  const { drain, query } = sheet.dataset;
  const back = query !== "";
  const lanes = document.getElementById("lanes");
  const hearing = document.getElementById("hearing");
  const age = document.getElementById("age");

  // A screen that slept may have stopped one clock, a clock that was set the other: whichever says more time has passed.
  const begun = { steady: 0, wall: Date.now() - performance.now() };
  const passed = () => Math.max(performance.now() - begun.steady, Date.now() - begun.wall);
  let told = 0; // when, by `passed`, the server worked out the age that the page holds
  let heard = 0; // when it last answered at all
  let busy = false;
  let refused = ""; // why this page must not show an answer any more

  const minutes = (ms) => {
    const whole = Math.floor(ms / 60_000);
    return whole < 120 ? `${whole} min` : `${Math.floor(whole / 60)} h ${whole % 60} min`;
  };
  const tell = (text) => { if (hearing.textContent !== text) hearing.textContent = text; };

  // --- too old -------------------------------------------------------------------------------------

  function whyCovered() {
    if (refused) return refused;
    if (back) return "";
    const { ageMs, limitMs } = sheet.dataset;
    if (limitMs !== undefined && Number(ageMs) + passed() - told > Number(limitMs)) {
      return `Data older than ${minutes(Number(limitMs))}: what they say of the leak is no longer shown.`;
    }
    if (passed() - heard > DEAF) {
      return `The server has not answered for ${minutes(passed() - heard)}: what this page said is no longer shown.`;
    }
    return "";
  }

  function tick() {
    if (age && sheet.dataset.ageMs !== undefined && !back) {
      const text = `${minutes(Number(sheet.dataset.ageMs) + passed() - told)} old`;
      if (age.textContent !== text) age.textContent = text;
    }
    const why = whyCovered();
    const cover = document.querySelector("#answer .cover");
    if (why && cover.querySelector(".cover-says").textContent !== why) cover.querySelector(".cover-says").textContent = why;
    cover.hidden = !why;
    for (const one of document.querySelectorAll(".under")) one.hidden = Boolean(why);
  }

  // --- what changed -----------------------------------------------------------------------------------

  // Found again after its section was made anew: by id, or by what leads where.
  function nameOf(element) {
    if (element.id) return `#${CSS.escape(element.id)}`;
    for (const name of ["data-from", "href", "name"]) {
      const value = element.getAttribute(name);
      if (value) return `${element.localName}[${name}="${CSS.escape(value)}"]`;
    }
    return element.localName;
  }

  function replace(old, fresh) {
    const typing = old.contains(document.activeElement) && document.activeElement.matches("input, textarea, select");
    const typed = [...old.querySelectorAll("input:not([type=hidden]), textarea")].some((field) => field.value !== field.defaultValue);
    if (typing || typed) return; // nothing is taken from under a hand; the next minute does it
    const focused = old.contains(document.activeElement) && document.activeElement !== old ? nameOf(document.activeElement) : "";
    const open = [...old.querySelectorAll("details")].map((one) => one.open);
    const scrolled = [...old.querySelectorAll(".wide")].map((one) => one.scrollLeft);
    old.replaceChildren(...fresh.childNodes);
    old.querySelectorAll("details").forEach((one, i) => { if (i in open) one.open = open[i]; });
    old.querySelectorAll(".wide").forEach((one, i) => { one.scrollLeft = scrolled[i] ?? 0; });
    if (focused) old.querySelector(focused)?.focus({ preventScroll: true });
  }

  // What stands at the top of the screen stays there, whatever grew above it.
  function still(change) {
    const parts = [...document.querySelectorAll("#sheet > *, #sheet .card")];
    const seen = parts.find((one) => one.getBoundingClientRect().bottom > 150);
    const before = seen?.getBoundingClientRect().top;
    change();
    if (seen?.isConnected && scrollY > 0) scrollBy({ top: seen.getBoundingClientRect().top - before, behavior: "instant" });
  }

  function merge(text) {
    const fresh = new DOMParser().parseFromString(text, "text/html");
    const root = fresh.getElementById("sheet");
    if (!root || root.dataset.drain !== drain) return refuse();
    const changed = root.dataset.state !== sheet.dataset.state;
    still(() => {
      for (const part of fresh.querySelectorAll("[data-live]")) {
        const old = document.getElementById(part.id);
        if (!old) tell("There is more to show by now: load the page again.");
        else if (old.innerHTML !== part.innerHTML) replace(old, part);
      }
      for (const name of ["state", "minute", "ageMs", "limitMs"]) {
        if (root.dataset[name] === undefined) delete sheet.dataset[name];
        else sheet.dataset[name] = root.dataset[name];
      }
      filter();
      tick();
    });
    return changed;
  }

  function refuse() {
    refused = "The server answered for another drain: nothing of it is shown. Load the page again.";
    tick();
    return false;
  }

  const ask = (path) => fetch(path, { headers: { "x-by-itself": "1" }, cache: "no-store" });
  const ours = (answer) => answer.headers.get("x-drain") === drain;

  async function picture() {
    if (!lanes?.update) return;
    const answer = await ask(`/drain/${drain}/picture${query ? `?${query}` : ""}`);
    if (!answer.ok) return;
    if (!ours(answer)) { refuse(); return; }
    const data = await answer.json();
    if (data) await lanes.update(data);
    lanes.dataset.single = "1";
  }

  async function refresh() {
    if (busy || back || refused) return;
    busy = true;
    const asked = passed();
    const { state, minute } = sheet.dataset;
    try {
      const answer = await ask(`/drain/${drain}/live?state=${encodeURIComponent(state)}&minute=${encodeURIComponent(minute)}`);
      if (answer.status === 401 || answer.status === 423) {
        refused = answer.status === 423 ? "" : "Nobody is logged in here any more. Load the page again.";
        if (answer.status === 423) tell("This screen is locked on the server: enter the password, or load the page again.");
      } else if (!answer.ok) {
        tell(`The server could not work this out (${answer.status}). The page ages; use the paper checklist if it stays so.`);
      } else if (!ours(answer)) {
        refuse();
      } else {
        if (answer.status !== 204) {
          const text = await answer.text();
          told = asked;
          if (merge(text)) await picture();
        }
        heard = asked;
        if (!refused) tell("");
      }
    } catch {
      tell("The server does not answer. The page ages; use the paper checklist if it stays so.");
    }
    busy = false;
    tick();
  }

  // --- the chart's rows by item -----------------------------------------------------------------------

  let only = "";
  function filter() {
    const select = document.getElementById("only");
    if (!select) return;
    select.disabled = false;
    if ([...select.options].some((option) => option.value === only)) select.value = only;
    for (const row of document.querySelectorAll("#rows tbody tr")) row.hidden = only !== "" && row.dataset.item !== only;
  }
  document.addEventListener("change", (event) => {
    if (event.target.id !== "only") return;
    only = event.target.value;
    const details = document.querySelector("#chart details");
    if (only) details.open = true;
    filter();
  });

  // What has the focus is never hidden under the drain's name.
  const banner = document.getElementById("banner");
  new ResizeObserver(() => {
    document.documentElement.style.scrollPaddingTop = `${banner.offsetHeight + 8}px`;
  }).observe(banner);

  filter();
  tick();
  setInterval(tick, 1000);
  if (lanes) picture().catch(() => tell("Single readings could not be fetched; the picture shows minutes."));
  if (back) return;
  setInterval(refresh, EVERY);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) { tick(); refresh(); } });
  document.addEventListener("unlocked", refresh);
  addEventListener("online", refresh);
  addEventListener("pageshow", (event) => { if (event.persisted) { tick(); refresh(); } });
})();
