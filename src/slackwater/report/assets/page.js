// The page: the picture is drawn from the data in this file, and every 'show' button leads to its minutes.
"use strict";
(() => {
  const data = JSON.parse(document.getElementById("trace").textContent);
  const element = document.getElementById("lanes");
  const lanes = slackwaterLanes(element, data);
  element.drawn = lanes.drawn; // what is on the picture, for whoever asks
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  for (const button of document.querySelectorAll("button[data-from]")) {
    button.addEventListener("click", () => {
      lanes.show(Number(button.dataset.from), Number(button.dataset.to), button.dataset.why);
      const picture = document.getElementById("picture");
      picture.scrollIntoView({ behavior: still.matches ? "auto" : "smooth", block: "start" });
    });
  }
})();
