"use strict";
// What is typed is kept on this device while it is typed, and stands there again when its form is opened anew.
(() => {
  const NAME = "draft ", DAY = 86400000;
  const opened = new Date();
  const midnight = (moment) => Date.UTC(moment.getFullYear(), moment.getMonth(), moment.getDate());
  const written = (moment) => new Date(midnight(moment)).toISOString().slice(0, 10);
  // the server's day, and as many days as have passed on this device since the page was opened
  const todayOf = (form) => {
    const passed = midnight(new Date()) - midnight(opened);
    return new Date(Date.parse(form.dataset.today) + Math.round(passed / DAY) * DAY).toISOString().slice(0, 10);
  };
  // a day that nobody chose is the day of the act, however long the page has been open
  const turn = (form) => {
    if (!form.dataset.today || "asked" in form.dataset) { return; }
    const today = form.dataset.dayOfAct = todayOf(form);
    form.querySelectorAll("input[type=date]").forEach((one) => {
      if (one.max && one.max < today) { one.max = today; }
      if (one.defaultValue !== form.dataset.today || one.value !== begun(one) || one.value === today) { return; }
      one.dataset.begun = one.value = today;
      stir(one);
    });
  };
  const turnAll = () => document.querySelectorAll("form[data-keep]").forEach(turn);

  const stir = (one) => {
    const names = ticked(one) && !one.checked ? [] : ["input", "change"];
    names.forEach((name) => one.dispatchEvent(new Event(name, { bubbles: true })));
  };
  const begun = (one) => {
    if (one.dataset.begun !== undefined) { return one.dataset.begun; }
    if (one.type === "select-one") { return ([...one.options].find((option) => option.defaultSelected) || one.options[0] || {}).value; }
    return one.defaultValue;
  };
  const typable = (form) => [...form.elements].filter(
    (one) => one.name && !["hidden", "file", "submit", "button", "fieldset"].includes(one.type));
  const ticked = (one) => ["radio", "checkbox"].includes(one.type);
  const changed = (one) => (ticked(one) ? one.checked !== one.defaultChecked : one.value !== begun(one));
  const nameOf = (form) => NAME + form.getAttribute("action") + (form.elements.entry ? ` ${form.elements.entry.value}` : "");
  const forget = (form) => { try { localStorage.removeItem(nameOf(form)); } catch { /* nothing is kept */ } };

  const keep = (form) => {
    const values = typable(form).filter(changed).map((one) => [one.name, one.value, ticked(one) ? one.checked : null]);
    try {
      if (values.length) {
        localStorage.setItem(nameOf(form), JSON.stringify({ day: written(new Date()), values }));
      } else { forget(form); }
    } catch { /* this device keeps nothing */ }
  };
  const restore = (form) => {
    let held = null;
    try { held = JSON.parse(localStorage.getItem(nameOf(form))); } catch { /* nothing is kept */ }
    if (!held || "asked" in form.dataset) { return; }
    let count = 0;
    for (const [name, value, checked] of held.values) {
      for (const one of typable(form).filter((each) => each.name === name)) {
        if (checked === null) { one.value = value; } else if (one.value === value) { one.checked = checked; } else { continue; }
        count += 1;
        const folded = one.closest("details");
        if (folded) { folded.open = true; }
        stir(one);
      }
    }
    if (count) { tell(form, held.day); }
  };
  const tell = (form, day) => {
    const box = document.createElement("div"), words = document.createElement("p"), away = document.createElement("button");
    box.className = "draft";
    words.textContent = `What you typed here on ${day} is back. It is not recorded yet.`;
    words.setAttribute("role", "status");
    away.type = "button";
    away.textContent = "Start anew";
    away.addEventListener("click", () => { form.reset(); forget(form); box.remove(); });
    box.append(words, away);
    form.prepend(box);
  };

  const start = () => { document.querySelectorAll("form[data-keep]").forEach((form) => { restore(form); turn(form); }); };
  ["input", "change"].forEach((name) => document.addEventListener(name, (event) => {
    const form = event.target.closest("form[data-keep]");
    if (form && !("asked" in form.dataset)) { keep(form); }
  }));
  document.addEventListener("reset", (event) => setTimeout(() => {
    event.target.querySelectorAll("input[type=date]").forEach((one) => { delete one.dataset.begun; });
    turn(event.target);
    typable(event.target).forEach(stir);
  }));
  document.addEventListener("recording", (event) => turn(event.target));
  document.addEventListener("kept", (event) => {
    const form = event.target;
    forget(form);
    form.querySelectorAll(".draft").forEach((one) => one.remove());
  });
  document.addEventListener("visibilitychange", turnAll);
  addEventListener("pageshow", turnAll);
  setInterval(turnAll, 60000);
  document.addEventListener("swapped", start);
  start();
})();
