// The edge between two pictures: by the slider, by keys on it, by dragging on
// the pictures. Without this script they stand side by side.
(() => {
  "use strict";
  const pair = document.getElementById("pair");
  const range = document.getElementById("edge");
  const stage = document.getElementById("stage");
  const first = range.dataset.first;
  const second = range.dataset.second;

  const show = () => {
    const percent = Number(range.value);
    pair.style.setProperty("--edge", `${percent}%`);
    const left = Math.round(percent);
    range.setAttribute(
      "aria-valuetext",
      `${left} % ${first}, ${100 - left} % ${second}`,
    );
  };

  const follow = (event) => {
    const box = stage.getBoundingClientRect();
    const share = (event.clientX - box.left) / box.width;
    range.value = String(100 * Math.min(1, Math.max(0, share)));
    show();
  };

  range.addEventListener("input", show);
  stage.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    stage.setPointerCapture(event.pointerId);
    pair.classList.add("dragged");
    follow(event);
  });
  stage.addEventListener("pointermove", (event) => {
    if (stage.hasPointerCapture(event.pointerId)) follow(event);
  });
  stage.addEventListener("lostpointercapture", () => {
    pair.classList.remove("dragged");
  });

  pair.classList.add("live");
  for (const part of document.querySelectorAll("[data-live]")) {
    part.hidden = false;
  }
  show();
})();
