// The picture is drawn from the data in the page, and every 'show' button, whenever it came, leads to its minutes.
"use strict";
(() => {
  const data = document.getElementById("trace");
  if (!data) return;
  const element = document.getElementById("lanes");
  const lanes = slackwaterLanes(element, JSON.parse(data.textContent));
  Object.assign(element, { drawn: lanes.drawn, update: lanes.update }); // what is on the picture, for whoever asks
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-from]");
    if (!button) return;
    lanes.show(Number(button.dataset.from), Number(button.dataset.to), button.dataset.why);
    document.getElementById("picture").scrollIntoView({ behavior: still.matches ? "auto" : "smooth", block: "start" });
  });
})();
