"use strict";
// What pages can do better with a script; each of them is whole without it.
const enhance = () => {
  // ticks of a plan, kept on this device
  const ticks = document.querySelector("[data-ticks]");
  if (ticks) {
    const name = `ticks ${ticks.dataset.ticks}`;
    const boxes = [...ticks.querySelectorAll("input")];
    let held = [];
    try { held = JSON.parse(localStorage.getItem(name)) || []; } catch { held = []; }
    boxes.forEach((box, k) => {
      box.checked = held.includes(k);
      box.addEventListener("change", () => {
        try { localStorage.setItem(name, JSON.stringify(boxes.flatMap((one, j) => (one.checked ? [j] : [])))); } catch { /* not kept */ }
      });
    });
  }
  // a list of which some is being reckoned shows itself again when there is more
  const waiting = document.getElementById("waiting");
  if (waiting) {
    const ask = async () => {
      try {
        const told = await (await fetch("/ready")).json();
        if (told.waiting < Number(waiting.dataset.count)) { location.reload(); return; }
      } catch { /* asked again below */ }
      setTimeout(ask, 1500);
    };
    setTimeout(ask, 1000);
  }
  // the next look, where it is still being reckoned
  const next = document.getElementById("next");
  if (next && next.dataset.waiting) {
    let tries = 0;
    const fetchNext = async () => {
      try {
        const page = new DOMParser().parseFromString(await (await fetch(location.href)).text(), "text/html");
        const found = page.getElementById("next");
        if (!found) { next.remove(); return; }
        if (!found.dataset.waiting) { next.replaceWith(document.adoptNode(found)); return; }
      } catch { /* asked again below */ }
      if (++tries < 40) { setTimeout(fetchNext, 1000); }
    };
    setTimeout(fetchNext, 800);
  }
  // a tap acts once, however often it is made (keep.js sees to forms that record)
  document.querySelectorAll("form[method=post]:not([data-keep])").forEach((form) => {
    form.addEventListener("submit", (event) => {
      if (form.dataset.sent) { event.preventDefault(); return; }
      form.dataset.sent = "yes";
    });
    addEventListener("pageshow", () => { delete form.dataset.sent; });
  });
  // the day under the pad is the day of the field
  const day = document.querySelector("[data-day]"), field = document.getElementById("f-date");
  if (day && field) { field.addEventListener("input", () => { day.textContent = field.value; }); }
  const method = document.querySelector("[data-method]");
  document.querySelectorAll("input[name=method]").forEach((one) => {
    one.addEventListener("change", () => { method.textContent = one.value; });
  });
};
enhance();
document.addEventListener("swapped", enhance);
