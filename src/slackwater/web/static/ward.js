// Every page: a screen that nobody touches asks who is there, over whatever was being entered.
"use strict";
(() => {
  // On a narrow screen the way to the other pages folds, so that the page itself begins on the first screen.
  const pages = document.querySelector("details.pages"), narrow = matchMedia("(max-width: 34rem)");
  const fit = () => { if (pages) pages.open = !narrow.matches; };
  narrow.addEventListener("change", fit);
  fit();
})();
(() => {
  const dialog = document.getElementById("idle");
  if (!dialog) return;
  const idleMs = Number(document.body.dataset.idleS) * 1000;
  let touched = performance.now();
  let told = touched;
  const csrf = document.querySelector('input[name="csrf"]').value;
  const touch = () => {
    if (dialog.open) return;
    touched = performance.now();
    if (touched - told < 45000) return; // the server hears of it now and then, so that a long entry is not cut off
    told = touched;
    fetch("/touch", { method: "POST", headers: { "x-csrf-token": csrf } }).catch(() => {}); // the next one will tell
  };
  for (const kind of ["pointerdown", "keydown", "input", "scroll"]) addEventListener(kind, touch, { passive: true });
  const lock = () => {
    if (dialog.open) return;
    dialog.showModal();
    dialog.querySelector("input[type=password]").focus();
  };
  setInterval(() => { if (performance.now() - touched > idleMs) lock(); }, 1000);
  dialog.addEventListener("cancel", (event) => event.preventDefault());
  dialog.querySelector("form").addEventListener("submit", async (event) => {
    event.preventDefault();
    const form = event.target;
    const wrong = form.querySelector(".wrong");
    wrong.textContent = "";
    try {
      const answer = await fetch("/unlock", { method: "POST", body: new FormData(form), headers: { "x-by-itself": "1" } });
      if (!answer.ok) { wrong.textContent = "That is not the password, or it must wait a little."; return; }
      form.reset();
      dialog.close();
      touched = performance.now();
      document.dispatchEvent(new Event("unlocked"));
    } catch {
      wrong.textContent = "The server does not answer. What you entered is still here.";
    }
  });
})();
