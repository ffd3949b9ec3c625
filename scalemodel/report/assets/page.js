"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const part = (name) => document.getElementById(name);
  const slider = part("tolerance"), choice = part("threshold"), box = part("try"), back = part("back");
  const charts = (kind) => document.querySelectorAll(`svg[data-chart="${kind}"]`);
  const number = (chart, name) => Number(chart.dataset[name]);
  const dateOf = (day) => new Date(Date.parse(data.asOf) + day * 864e5).toISOString().slice(0, 10);
  const percent = (share) => (share < 0.001 ? "under 0.1%" : share > 0.999 ? "over 99.9%" : `${(100 * share).toFixed(1).replace(/\.0$/, "")}%`);
  const hide = (shape, hidden) => (hidden ? shape.setAttribute("display", "none") : shape.removeAttribute("display"));
  const at = (shape, x) => { shape.setAttribute("x1", x); shape.setAttribute("x2", x); };
  const level = (shape, y) => { shape.setAttribute("y1", y); shape.setAttribute("y2", y); };

  const sentence = (until, wait) => {
    if (data.instead[until]) return data.instead[until][0];
    return `The descale can wait until ${until} (${wait} day${wait === 1 ? "" : "s"}).`;
  };
  const short = (until) => (data.instead[until] ? data.instead[until][1] : `wait until ${until}`);

  function moveRisk(chart, curve, accepted, until, wait) {
    const x0 = number(chart, "x"), perDay = number(chart, "perDay"), floor = number(chart, "floor");
    const tall = number(chart, "tall"), end = number(chart, "end");
    const points = data.days.map((day, k) => `${(x0 + day * perDay).toFixed(2)} ${(floor - curve.risks[k] * tall).toFixed(2)}`);
    chart.querySelector(".line").setAttribute("d", `M${points.join("L")}`);
    const y = floor - accepted.share * tall, dated = !data.instead[until];
    const x = dated ? x0 + wait * perDay : x0, off = !dated || x > end;
    level(chart.querySelector(".limit"), y);
    const word = chart.querySelector(".limit-word");
    const left = x <= (x0 + end) / 2;
    word.setAttribute("y", y - 5);
    word.setAttribute("x", left ? end - 4 : x0 + 4);
    word.classList.toggle("end", left);
    word.textContent = `you accept ${accepted.words}`;
    const line = chart.querySelector(".answer"), mark = chart.querySelector(".answer-mark");
    at(line, x);
    mark.setAttribute("transform", `translate(${x.toFixed(2)} ${y.toFixed(2)})`);
    hide(line, off);
    hide(mark, off);
    chart.querySelector(".within").setAttribute("width", until === "beyond" ? end - x0 : Math.min(x, end) - x0);
    const label = chart.querySelector(".answer-word"), place = Math.min(x, end);
    label.textContent = short(until) + (dated && off ? " \u2192" : "");
    label.setAttribute("x", place + (left ? 6 : -6));
    label.classList.toggle("end", !left);
    chart.querySelector("title").textContent = `Risk by date that scale at the ${data.site} has reached ${curve.words}`;
    chart.querySelector("desc").textContent =
      `A rising curve from ${percent(curve.risks[0])} on ${data.asOf} to ${percent(curve.risks[curve.risks.length - 1])} on ` +
      `${dateOf(data.days[data.days.length - 1])}; a level line at the ${accepted.words} that you accept. ${sentence(until, wait)}`;
  }

  function moveDeposit(chart, index, until, wait) {
    const y = Number(chart.dataset.levels.split(" ")[index]), dated = !data.instead[until];
    const x = number(chart, "x") + (dated ? wait : 0) * number(chart, "perDay");
    level(chart.querySelector(".limit"), y);
    chart.querySelector(".limit-word").setAttribute("y", y - 5);
    const line = chart.querySelector(".answer");
    at(line, x);
    hide(line, !dated || x > number(chart, "end"));
  }

  function show() {
    const t = Number(choice.value), k = Number(slider.value);
    const curve = data.thresholds[t], accepted = data.tolerances[k], until = curve.until[k], wait = curve.waits[k] || 0;
    const moved = t !== data.threshold || k !== data.tolerance;
    slider.setAttribute("aria-valuetext", accepted.words);
    part("accepted").textContent = accepted.words;
    part("said").textContent = sentence(until, wait);
    part("lead").textContent = `Risk that scale at the ${data.site} has reached ${curve.words}, if nothing is done.`;
    back.disabled = !moved;
    box.classList.toggle("moved", moved);
    charts("risk").forEach((chart) => moveRisk(chart, curve, accepted, until, wait));
    charts("deposit").forEach((chart) => moveDeposit(chart, t, until, wait));
  }

  const nearest = (days, day) => days.reduce((best, one, k) => (Math.abs(one - day) < Math.abs(days[best] - day) ? k : best), 0);
  const readings = {
    risk: (day) => {
      const k = nearest(data.days, day);
      return [data.days[k], `${dateOf(data.days[k])}: risk ${percent(data.thresholds[Number(choice.value)].risks[k])}`];
    },
    deposit: (day) => {
      const d = data.deposit, k = nearest(d.days, day);
      return [d.days[k], `${dateOf(d.days[k])}: about ${d.p50[k]} mg/cm2 (eight in ten: ${d.p10[k]} to ${d.p90[k]})`];
    },
  };

  function watch(chart) {
    const kind = chart.dataset.chart, hair = chart.querySelector(".hair");
    const words = document.querySelector(`[data-readout="${kind}"]`);
    const point = (event) => {
      const box = chart.getBoundingClientRect(), breadth = chart.viewBox.baseVal.width;
      const x = ((event.clientX - box.left) * breadth) / box.width;
      const [day, said] = readings[kind]((x - number(chart, "x")) / number(chart, "perDay"));
      at(hair, number(chart, "x") + day * number(chart, "perDay"));
      hide(hair, false);
      words.textContent = said;
    };
    chart.addEventListener("pointermove", point);
    chart.addEventListener("pointerdown", point);
    chart.addEventListener("pointerleave", (event) => {
      if (event.pointerType !== "mouse") return; // what a finger tapped stays to be read
      hide(hair, true);
      words.textContent = words.dataset.hint;
    });
  }

  document.querySelectorAll("[data-readout]").forEach((words) => {
    words.dataset.hint = "Point at the picture or tap it for values.";
    words.textContent = words.dataset.hint;
  });
  ["risk", "deposit"].forEach((kind) => charts(kind).forEach(watch));
  slider.addEventListener("input", show);
  choice.addEventListener("change", show);
  back.addEventListener("click", () => {
    choice.value = String(data.threshold);
    slider.value = String(data.tolerance);
    show();
    slider.focus();
  });
  choice.value = String(data.threshold);
  slider.value = String(data.tolerance);
  box.hidden = false;
  show();
})();
