// Charting: what is typed is counted into what is shown; 'as before' fills one item; a clamp's time is counted on.
"use strict";
(() => {
  document.documentElement.classList.add("script");

  // What the server works out of the form as it stands. Nothing is recorded by it.
  for (const form of document.querySelectorAll("form[data-show]")) {
    const shown = document.getElementById(form.dataset.show);
    if (!shown) continue;
    let latest = 0;
    let timer = 0;
    const ask = async () => {
      const mine = ++latest;
      const said = new FormData(form);
      said.set("show", "1");
      try {
        const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(said) });
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        const found = page.getElementById(shown.id);
        const theirs = page.querySelector("form[data-show]");
        // An answer that came late, or of another drain, is not shown.
        if (mine === latest && found && theirs && theirs.dataset.drain === form.dataset.drain) shown.replaceChildren(...found.childNodes);
      } catch {
        if (mine === latest) shown.textContent = "The server does not answer, so nothing is worked out here.";
      }
    };
    const later = () => { clearTimeout(timer); timer = setTimeout(ask, 350); };
    form.addEventListener("input", later);
    form.addEventListener("filled", later);
  }

  const count = document.getElementById("count");
  if (count) {
    const form = count.closest("form");
    const tell = () => {
      const names = new Set();
      const said = new Set();
      for (const field of form.elements) {
        if (!field.name || field.type === "hidden" || field.name === "at" || field.type === "submit") continue;
        const item = field.closest(".taps, .short, label");
        const key = item ? item.id || item.querySelector("input").name : field.name;
        if (["note", "site_text"].includes(field.name)) continue;
        names.add(key);
        if (field.type === "radio" ? field.checked && field.value : field.value.trim()) said.add(key);
      }
      count.textContent = `${said.size} of ${names.size} looked at.`;
    };
    form.addEventListener("input", tell);
    form.addEventListener("filled", tell);
    tell();
  }

  for (const button of document.querySelectorAll("button[data-fill]")) {
    button.addEventListener("click", () => {
      const field = document.getElementById(button.dataset.fill);
      field.value = button.dataset.value;
      field.focus();
      field.dispatchEvent(new Event("filled", { bubbles: true }));
    });
  }

  // Counted from the server's clock. Of two ways to count the larger: one stands still while a computer sleeps, the
  // other jumps when its clock is set; more time gone is the careful answer.
  const [dates, ticks] = [Date.now(), performance.now()];
  const now = () => Number(document.body.dataset.now) + Math.max(Date.now() - dates, performance.now() - ticks, 0);
  const span = (ms) => {
    const minutes = Math.floor(ms / 60000);
    const seconds = Math.floor(ms / 1000) % 60;
    return minutes >= 60 ? `${Math.floor(minutes / 60)} h ${minutes % 60} min` : `${minutes} min ${String(seconds).padStart(2, "0")} s`;
  };
  for (const timer of document.querySelectorAll("[data-until]")) {
    const until = Number(timer.dataset.until);
    const over = document.getElementById(timer.dataset.over);
    const tick = () => {
      const left = until - now();
      timer.textContent = left >= 0 ? `${span(left)} until its planned end` : `over its planned end by ${span(-left)}`;
      timer.classList.toggle("over", left < 0);
      if (left < 0 && over && over.hidden) over.hidden = false;
    };
    tick();
    setInterval(tick, 1000);
  }

  const faults = document.getElementById("faults");
  if (faults) faults.focus();
})();
