"use strict";
// What is recorded is kept on this device until the logbook has it: written down first, then sent, dropped once the
// server has answered. Each record has a key, under which the logbook takes it once however often it is sent.
// Without this script, or where the device keeps nothing, a form is sent as any form is.
(() => {
  const NAME = "kept ", STORE = "photographs", TOKEN = "form_token";
  const EVERY = 20000, PATIENCE = 30000, PATIENCE_PHOTO = 180000, PROBE = 5000, SLOW = 3000, SETTLED = 60000;
  const UNPAIRED = "This device is not paired any more: pair it anew, then it is sent.";
  const LATER = [401, 403, 408, 421, 429];
  const busy = new Set(), sent = [];
  let unreached = false, flushing = false, notice = "", noticed = "";

  // ---- what is kept: the fields in localStorage, photographs beside them in IndexedDB, both under the record's key
  const kept = () => {
    const found = [];
    try {
      for (let k = 0; k < localStorage.length; k++) {
        const name = localStorage.key(k);
        if (name.startsWith(NAME)) { try { found.push(JSON.parse(localStorage.getItem(name))); } catch { /* not ours */ } }
      }
    } catch { /* this device keeps nothing */ }
    return found.sort((a, b) => a.made - b.made);
  };
  const hold = (entry) => {
    try { localStorage.setItem(NAME + entry.key, JSON.stringify(entry)); return true; } catch { return false; }
  };
  const holds = (key) => { try { return localStorage.getItem(NAME + key) !== null; } catch { return false; } };
  const drop = (key) => {
    try { localStorage.removeItem(NAME + key); } catch { /* nothing is kept */ }
    return photographs("readwrite", (store) => store.delete(key));
  };
  const photographs = (mode, act) => new Promise((resolve) => {
    const none = () => resolve(null);
    try {
      const opening = indexedDB.open("scalemodel", 1);
      opening.onupgradeneeded = () => opening.result.createObjectStore(STORE);
      opening.onerror = none;
      opening.onsuccess = () => {
        const base = opening.result;
        try {
          const work = base.transaction(STORE, mode), asked = act(work.objectStore(STORE));
          work.oncomplete = () => { base.close(); resolve({ held: asked.result }); };
          work.onabort = () => { base.close(); none(); };
        } catch { base.close(); none(); }
      };
    } catch { none(); }
  });
  const photosOf = async (key) => ((await photographs("readonly", (store) => store.get(key))) || {}).held || [];
  const holdPhotos = async (entry, photos) => {
    const done = await photographs("readwrite", (store) => store.put(photos, entry.key));
    if (!done) { entry.lost = true; hold(entry); }
  };

  // ---- from a form to what is kept
  const newKey = () => [...crypto.getRandomValues(new Uint8Array(16))].map((one) => one.toString(16).padStart(2, "0")).join("");
  const labelOf = (one) => {
    const told = one.type === "radio" ? one.closest("fieldset").querySelector("legend") : one.labels && one.labels[0];
    return told ? told.dataset.says || (told.firstChild.textContent || "").trim() : "";
  };
  const toldOf = (form, data, submitter) => {
    const told = submitter && submitter.name === "grade" ? [["grade", submitter.innerText.replace(/\s+/g, " ").trim()]] : [];
    const grade = form.querySelector("input[type=hidden][name=grade]");
    if (!told.length && grade) { told.push(["grade", grade.value]); }
    for (const one of form.elements) {
      const label = ["hidden", "file", "submit"].includes(one.type) || one.name.endsWith("_unit") ? "" : labelOf(one);
      if (!label || one.type === "date" && one.name === "date") { continue; }
      if (["radio", "checkbox"].includes(one.type) ? one.checked : one.value) {
        const unit = one.value && form.elements[`${one.name}_unit`];
        told.push([label, one.type === "checkbox" ? "yes" : `${one.value}${unit ? ` ${unit.value}` : ""}`]);
      }
    }
    return told;
  };
  const entryOf = (form, submitter) => {
    const data = new FormData(form);
    if (submitter && submitter.name) { data.set(submitter.name, submitter.value); }
    const photos = data.getAll("photo").filter((one) => one.size);
    const fields = [...data].filter(([name, value]) => name !== TOKEN && typeof value === "string");
    const day = data.get("date") || form.dataset.dayOfAct;
    const entry = {
      key: data.get("key"), action: form.getAttribute("action"), made: Date.now(), title: `${form.dataset.title}${day ? `, ${day}` : ""}`,
      fields, told: toldOf(form, data, submitter), photos: photos.length, lost: false, state: "waiting", words: "",
    };
    return [entry, photos];
  };

  // ---- sending
  const within = (patience, act) => {
    const control = new AbortController(), timer = setTimeout(() => control.abort(), patience);
    return act(control.signal).finally(() => clearTimeout(timer));
  };
  const alive = async () => {
    try {
      return await within(PROBE, async (signal) => {
        const reply = await fetch("/alive", { signal, cache: "no-store" });
        unreached = false;
        return reply.ok ? await reply.json() : { status: reply.status };
      });
    } catch { unreached = true; return null; }
  };
  const parsed = (text) => new DOMParser().parseFromString(text, "text/html");
  const said = (page) => {
    const alert = page.querySelector("[role=alert]") || page.querySelector("h1"), told = (alert || page.body).cloneNode(true);
    told.querySelectorAll("a").forEach((one) => one.remove()); // they lead about that page
    const parts = told.querySelector("p") ? [...told.querySelectorAll("p")] : [told];
    return parts.map((one) => one.textContent.replace(/\s+/g, " ").trim().replace(/([^.?!])$/, "$1.")).join(" ");
  };
  const send = async (entry, token, photos) => {
    const body = new FormData();
    entry.fields.forEach(([name, value]) => body.append(name, value));
    body.set(TOKEN, token);
    photos.forEach((photo) => body.append("photo", photo, photo.name || "photograph"));
    try {
      return await within(photos.length ? PATIENCE_PHOTO : PATIENCE, async (signal) => {
        const reply = await fetch(entry.action, { method: "POST", body, signal, headers: { Accept: "application/json" } });
        unreached = false;
        if (reply.ok && (reply.headers.get("Content-Type") || "").startsWith("application/json")) { return await reply.json(); }
        if (reply.status === 413) { return { refused: "It is larger than the server takes: send fewer photographs, or smaller ones." }; }
        const page = parsed(await reply.text());
        if (!page.body.classList.contains("desk")) { return { later: "" }; } // not of our server, whoever it is that answers
        return reply.status >= 500 || LATER.includes(reply.status) ? { later: said(page) } : { page };
      });
    } catch { unreached = true; return { later: "" }; }
  };
  const asked = (entry, answer) => {
    const has = (one) => answer.page && answer.page.querySelector(one);
    entry.state = has(".insist button") ? "asked" : has("form[data-asked]") ? "wrong" : "refused";
    entry.words = answer.page ? said(answer.page) : answer.refused;
    hold(entry);
  };
  // the server's own page in this one's place, with what was typed, and the photographs that no page can hold
  const swap = async (entry, page, photos) => {
    document.title = page.title;
    document.body.replaceWith(document.adoptNode(page.body));
    document.dispatchEvent(new Event("swapped"));
    const form = document.querySelector("form[data-keep]"), key = form && form.elements.key.value;
    if (key && key !== entry.key) {
      const old = entry.key;
      hold({ ...entry, key, fields: entry.fields.map(([name, value]) => [name, name === "key" ? key : value]) });
      if (photos.length) { await holdPhotos({ ...entry, key }, photos); }
      await drop(old);
    }
    const choice = form && form.elements.photo;
    if (choice && photos.length) {
      try {
        const carried = new DataTransfer();
        photos.forEach((one) => carried.items.add(one));
        choice.files = carried.files;
        form.querySelectorAll("[data-photo-lost]").forEach((one) => one.remove());
      } catch { /* they are chosen once more */ }
    }
    show();
    scrollTo(0, 0);
    const trouble = document.getElementById("trouble") || document.querySelector("[role=alert]");
    if (trouble) { trouble.tabIndex = -1; trouble.focus(); }
  };
  const again = (form) => {
    form.dispatchEvent(new Event("kept", { bubbles: true }));
    const who = form.elements.inspector;
    if (who) { who.defaultValue = who.value; }
    form.reset();
    form.elements.key.value = newKey();
    delete form.dataset.sent;
    delete form.dataset.asked;
    const gone = "#trouble, .insist > *, [data-photo-lost], input[type=hidden][name=grade]";
    document.querySelectorAll(gone).forEach((one) => one.remove());
  };
  const record = async (form, entry, photos) => {
    busy.add(entry.key);
    form.setAttribute("aria-busy", "true");
    if (photos.length) { await holdPhotos(entry, photos); }
    const slow = setTimeout(() => saying("No answer yet. What you recorded is kept on this device meanwhile.", "Sending"), SLOW);
    const answer = await send(entry, form.elements[TOKEN].value, photos);
    clearTimeout(slow);
    notice = "";
    form.removeAttribute("aria-busy");
    busy.delete(entry.key);
    if (answer.recorded) {
      await drop(entry.key);
      form.dispatchEvent(new Event("kept", { bubbles: true }));
      location.assign(answer.recorded);
      return;
    }
    if (answer.page) {
      asked(entry, answer);
      await swap(entry, answer.page, photos);
      return;
    }
    if (answer.refused) { asked(entry, answer); } else { hold(Object.assign(entry, { words: answer.later })); }
    again(form);
    show(true);
  };
  const flush = async () => {
    if (flushing || !kept().some((one) => one.state === "waiting" && !busy.has(one.key))) { return; }
    flushing = true;
    const told = await alive();
    for (const entry of told ? kept() : []) {
      if (entry.state !== "waiting" || busy.has(entry.key) || !holds(entry.key)) { continue; }
      const photos = entry.photos ? await photosOf(entry.key) : [];
      if (photos.length < entry.photos) {
        if (Date.now() - entry.made < SETTLED) { continue; } // another window may be keeping them just now
        entry.lost = true;
      }
      const answer = told[TOKEN] === undefined ? { later: UNPAIRED } : await send(entry, told[TOKEN], photos);
      if (answer.recorded) {
        sent.push({ ...entry, at: answer.recorded });
        await drop(entry.key);
      } else if (!holds(entry.key)) {
        continue; // thrown away meanwhile
      } else if (answer.later === undefined) {
        asked(entry, answer);
      } else {
        hold(Object.assign(entry, { words: answer.later }));
        if (unreached) { break; }
      }
    }
    flushing = false;
    show();
  };
  const answerTo = async (entry) => {
    const told = await alive(), photos = entry.photos ? await photosOf(entry.key) : [];
    const answer = told && told[TOKEN] !== undefined ? await send(entry, told[TOKEN], photos) : { later: "" };
    if (answer.recorded) {
      await drop(entry.key);
      location.assign(answer.recorded);
    } else if (answer.page) {
      asked(entry, answer);
      await swap(entry, answer.page, photos);
    } else if (answer.refused) {
      asked(entry, answer);
      show(true);
    } else { saying("The server does not answer: its question can be answered when it does."); }
  };

  // ---- what the page says of it
  const made = (name, words, more = {}) => Object.assign(document.createElement(name), { textContent: words }, more);
  const button = (words, act) => {
    const one = made("button", words, { type: "button" });
    one.addEventListener("click", () => act(one));
    return one;
  };
  const throwing = (entry) => button("Throw it away", (one) => {
    if (one.dataset.sure) { drop(entry.key).then(() => show()); return; }
    one.dataset.sure = "yes";
    one.textContent = "Throw it away for good: tap again";
  });
  const stateOf = (entry) => {
    if (entry.state === "asked") { return `The server asks first. ${entry.words}`; }
    if (entry.state !== "waiting") { return `The server did not take it. ${entry.words}`; }
    return entry.words ? `The server could not take it yet. ${entry.words}` : "It is sent when the server answers again.";
  };
  const row = (entry) => {
    const item = document.createElement("li"), told = entry.told.map(([label, value]) => `${label}: ${value}`);
    if (entry.photos) { told.push(entry.photos === 1 ? "1 photograph" : `${entry.photos} photographs`); }
    item.append(made("p", entry.title, { className: "who" }), made("p", told.join("; "), { className: "small" }));
    if (entry.lost) {
      const words = "Its photograph could not be kept on this device: take it once more, and add it when this is recorded.";
      item.append(made("p", words, { className: "small" }));
    }
    item.append(made("p", stateOf(entry), { className: "small" }));
    const acts = made("div", "", { className: "pair" });
    const retry = { asked: "Answer it", wrong: "Mend it", refused: "Send it again" }[entry.state];
    if (retry) { acts.append(button(retry, () => answerTo(entry))); }
    acts.append(throwing(entry));
    item.append(acts);
    return item;
  };
  // a drawer at the foot of the glass: it comes and goes by itself, so nothing under a thumb may move for it
  const show = (opened = false) => {
    const old = document.getElementById("keeping"), open = opened === true || (old !== null && old.open);
    if (old) { old.remove(); }
    const here = document.querySelector("form[data-asked]"), answered = here && here.elements.key && here.elements.key.value;
    const held = kept().filter((one) => one.key !== answered && !busy.has(one.key));
    const any = held.length || sent.length || notice;
    document.body.classList.toggle("with-drawer", Boolean(any));
    if (!any) { return; }
    const drawer = made("details", "", { id: "keeping", className: "keeping", open }), inside = document.createElement("div");
    const heading = held.length ? "Kept on this device, not yet in the logbook" : sent.length ? "Now in the logbook" : noticed;
    const many = (held.length || sent.length) > 1 ? `: ${held.length || sent.length}` : "";
    drawer.append(made("summary", heading + many), inside);
    if (notice) { inside.append(made("p", notice)); }
    if (held.length) {
      const list = made("ul", "", { className: "bare" });
      list.append(...held.map(row));
      inside.append(list);
      if (held.some((one) => one.state === "waiting")) { inside.append(button("Send now", flush)); }
    }
    for (const one of sent) {
      const line = made("p", `${held.length ? "Now in the logbook: " : ""}${one.title}. `);
      if (one.lost) { line.append("Its photograph was not kept on this device: add it there. "); }
      line.append(made("a", "See it", { href: one.at, className: "in-line" }));
      inside.append(line);
    }
    document.getElementById("main").append(drawer);
    tell(`${heading}${many}. ${notice}`);
  };
  const tell = (words) => {
    let told = document.getElementById("keeping-told");
    if (!told) {
      told = made("p", "", { id: "keeping-told", className: "unseen" });
      told.setAttribute("role", "status");
      document.getElementById("main").append(told);
    }
    if (told.textContent !== words) { told.textContent = words; }
  };
  const saying = (words, heading = "No network") => { [notice, noticed] = [words, heading]; show(true); };

  document.addEventListener("submit", (event) => {
    const form = event.target.closest("form[data-keep]");
    if (!form || event.defaultPrevented) { return; }
    if (form.dataset.sent) { event.preventDefault(); return; }
    form.dataset.sent = "yes";
    form.dispatchEvent(new Event("recording", { bubbles: true }));
    const [entry, photos] = entryOf(form, event.submitter);
    if (!entry.key || !hold(entry)) { return; }
    event.preventDefault();
    notice = "";
    record(form, entry, photos);
  });
  // a page that cannot be had leaves the one that is open, with what can be recorded on it
  document.addEventListener("click", async (event) => {
    const link = event.target.closest("a[href]");
    const plain = link && link.origin === location.origin && !(link.getAttribute("href") || "").startsWith("#");
    if (!plain || event.ctrlKey || event.metaKey || event.shiftKey || !(unreached || !navigator.onLine)) { return; }
    event.preventDefault();
    if (await alive()) { location.assign(link.href); return; }
    saying("The server does not answer, so no other page can be opened. This one stays, and what you record on it is kept.");
  });
  // what can still be said by who cannot tell: the same that the server says, without asking it
  document.addEventListener("click", (event) => {
    const one = event.target.closest("button.cannot"), ranges = document.getElementById("ranges");
    if (!one || !ranges) { return; }
    event.preventDefault();
    ranges.replaceWith(ranges.content);
    document.getElementById("ranges-heading").scrollIntoView({ block: "start" });
    document.querySelector(".plainer button").focus();
  });
  addEventListener("online", () => { notice = ""; flush(); });
  addEventListener("pageshow", (event) => {
    document.querySelectorAll("form[data-keep]").forEach((form) => {
      delete form.dataset.sent;
      if (event.persisted && !holds(form.elements.key.value)) { form.elements.key.value = newKey(); }
    });
    show();
    flush();
  });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) { flush(); } });
  setInterval(flush, EVERY);
})();
