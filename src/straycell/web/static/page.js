"use strict";
/* What the page does by itself: sends forms and keeps them while there is no network, says when it is old, and
   remembers the meter in hand. Everything works without this file, except keeping. */
(() => {
  const OUTBOX = "straycell-outbox", ALIVE_MS = 20000, PATIENCE_MS = 12000;
  const body = document.body, html = document.documentElement;
  const find = (id) => document.getElementById(id);
  const token = () => (document.querySelector('meta[name="form-token"]') || {}).content || "";
  html.classList.add("js");

  const fresh = () => Array.from(crypto.getRandomValues(new Uint8Array(12)), (n) => n.toString(16).padStart(2, "0")).join("");
  const outbox = () => { try { return JSON.parse(localStorage.getItem(OUTBOX)) || []; } catch { return []; } };
  const save = (entries) => { try { localStorage.setItem(OUTBOX, JSON.stringify(entries)); return true; } catch { return false; } };

  // Photographs lie in the browser's own store for large things: what localStorage holds is text, and little of it.
  const photographs = (mode, ask) => new Promise((done, failed) => {
    const opening = indexedDB.open("straycell-photographs", 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore("kept");
    opening.onerror = () => failed(opening.error);
    opening.onsuccess = () => {
      const kept = opening.result.transaction("kept", mode), asked = ask(kept.objectStore("kept"));
      kept.oncomplete = () => { opening.result.close(); done(asked.result); };
      kept.onerror = kept.onabort = () => { opening.result.close(); failed(kept.error); };
    };
  });
  async function drop(key) {
    const photo = outbox().some((entry) => entry.key === key && entry.photo);
    save(outbox().filter((entry) => entry.key !== key));
    if (photo) await photographs("readwrite", (store) => store.delete(key));
  }

  async function post(url, fields) {
    const photo = fields.some(([, value]) => value instanceof Blob), sent = photo ? new FormData() : new URLSearchParams();
    for (const [name, value] of fields) sent.append(name, value);
    sent.set("token", token());
    // Half a network answers nothing for minutes; what is sent again later counts once.
    const signal = AbortSignal.timeout(photo ? 8 * PATIENCE_MS : PATIENCE_MS);
    const answer = await fetch(url, { method: "POST", body: sent, headers: { Accept: "application/json" }, credentials: "same-origin", signal });
    let said = {};
    try { said = await answer.json(); } catch { /* an answer of something between us and the bench */ }
    return { status: answer.status, said };
  }

  /* --- what is kept --------------------------------------------------------------------------------- */
  function show() {
    const bar = find("outbox"), entries = outbox();
    if (!bar) return;
    bar.hidden = entries.length === 0;
    bar.replaceChildren();
    for (const entry of entries) {
      const line = document.createElement("p");
      const link = document.createElement("a");
      link.href = `${entry.url}#kept=${entry.key}`;
      link.textContent = entry.title;
      if (entry.refused) {
        const away = document.createElement("button");
        away.textContent = body.dataset.drop;
        away.addEventListener("click", async () => { await drop(entry.key); show(); });
        bar.append(away);
      }
      line.append(link, ` ${entry.refused ? `${body.dataset.refused} (${entry.refused})` : body.dataset.kept}`);
      bar.append(line);
    }
  }

  const mark = (entry, why) => save(outbox().map((each) => (each.key === entry.key ? { ...each, refused: why } : each)));
  let sending = false;
  async function sendKept() {
    if (sending || !token()) return;
    sending = true;
    try {
      for (const entry of outbox()) {
        if (entry.refused) continue;
        const age = ["age_s", String(Math.max(0, (Date.now() - entry.typed) / 1000))];
        const timed = entry.fields.some(([name, value]) => name === "at" && value);
        // A measurement is true whatever another has recorded since, so it is sent without its basis.
        const fields = entry.fields.filter(([name]) => name !== "basis");
        if (entry.photo) {
          const kept = await photographs("readonly", (store) => store.get(entry.key));
          if (!kept) { mark(entry, body.dataset.gone); continue; }
          fields.push(["photo", new File([kept.bytes], "photograph", { type: kept.type })]);
        }
        const { status, said } = await post(entry.url, timed ? fields : [...fields, age]);
        if (status === 200 && said.go) await drop(entry.key);
        else if ([404, 413, 422].includes(status)) mark(entry, said.fault || Object.values(said.faults || {}).join("; ") || String(status));
        else break;
      }
    } catch { /* still no network */ } finally {
      sending = false;
      show();
    }
  }

  /* --- forms ---------------------------------------------------------------------------------------- */
  function refuse(form, said) {
    const general = find("refusal"), faults = said.faults || { "": [said.fault, said.remedy].filter(Boolean).join("; ") };
    for (const line of form.querySelectorAll('[id^="fault-"]')) {
      const name = line.id.slice("fault-".length), field = form.elements[name];
      line.hidden = !faults[name];
      line.textContent = faults[name] || "";
      if (field && field.setAttribute) field.setAttribute("aria-invalid", faults[name] ? "true" : "false");
      // Number keys have no letters; a refused figure may need its unit.
      if (faults[name] && field && field.inputMode) field.inputMode = "text";
    }
    general.hidden = !faults[""];
    general.textContent = faults[""] || "";
    if (said.basis) form.elements.basis.value = said.basis;
    const first = general.hidden ? form.querySelector('[id^="fault-"]:not([hidden])') : general;
    if (first) { first.tabIndex = -1; first.focus(); first.scrollIntoView({ block: "center" }); }
  }

  async function keep(form, fields) {
    const key = form.elements.key.value, texts = fields.filter(([name, value]) => name !== "token" && typeof value === "string");
    const [, photo] = fields.find(([, value]) => value instanceof Blob) || [];
    const entry = { key, url: form.action.split("#")[0], fields: texts, photo: Boolean(photo), typed: Date.now(), title: document.title };
    try {
      const bytes = photo && await photo.arrayBuffer();
      if (photo) await photographs("readwrite", (store) => store.put({ bytes, type: photo.type }, key));
    } catch (fault) {
      refuse(form, { fault: `${body.dataset.unkept} (${fault.name})` });
      return;
    }
    if (!save([...outbox().filter((each) => each.key !== key), entry])) {
      refuse(form, { fault: body.dataset.full });
      return;
    }
    form.reset();
    form.elements.key.value = fresh();
    show();
    find("outbox").tabIndex = -1;
    find("outbox").focus();
    window.scrollTo(0, 0);
  }

  function fill(form) {
    const wanted = new URLSearchParams(location.hash.slice(1)).get("kept");
    const entry = outbox().find((each) => each.key === wanted);
    if (!entry) return;
    for (const [name, value] of entry.fields) {
      if (["token", "basis"].includes(name)) continue;
      for (const field of form.querySelectorAll(`[name="${CSS.escape(name)}"]`)) {
        if (field.type === "radio" || field.type === "checkbox") field.checked = field.checked || field.value === value;
        else field.value = value;
      }
    }
  }

  for (const form of document.querySelectorAll("form[data-keep]")) {
    // A page that lies in a cache bears an old key: each opening gets its own.
    form.elements.key.value = fresh();
    fill(form);
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const button = form.querySelector("button.main"), fields = [...new FormData(form)];
      button.disabled = true;
      try {
        const { status, said } = await post(form.action.split("#")[0], fields);
        if (status === 200 && said.go) { await drop(form.elements.key.value).catch(() => {}); location.assign(said.go); return; }
        refuse(form, said.faults || said.fault ? said : { fault: `${status}` });
      } catch { await keep(form, fields); } finally { button.disabled = false; }
    });
  }
  window.addEventListener("pageshow", (event) => {
    if (event.persisted) for (const form of document.querySelectorAll("form[data-keep]")) form.elements.key.value = fresh();
  });

  for (const select of document.querySelectorAll("select[data-remember]")) {
    const name = `straycell-${select.name}`;
    try {
      const last = localStorage.getItem(name);
      if (!select.value && last && [...select.options].some((option) => option.value === last)) select.value = last;
      // When it is sent, and not when it is chosen: only what was recorded is the meter in hand.
      select.form.addEventListener("submit", () => { try { localStorage.setItem(name, select.value); } catch { /* as below */ } });
    } catch { /* remembering is a comfort */ }
  }

  for (const form of document.querySelectorAll("form[data-scan]")) {
    form.querySelector('input[type="file"]').addEventListener("change", (event) => { if (event.target.files.length) form.requestSubmit(); });
  }

  /* --- live camera ---------------------------------------------------------------------------------- */
  // Offered where the browser has both: a camera at a secure address, and a reader of its own (W3C Shape Detection).
  async function look(form, button) {
    const video = form.querySelector("video"), field = find(button.dataset.live), said = find("camera-fault");
    let stream;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    } catch {
      said.hidden = false;
      return;
    }
    const stop = () => { for (const track of stream.getTracks()) track.stop(); video.srcObject = null; video.hidden = true; };
    button.onclick = () => { stop(); button.onclick = null; };
    window.addEventListener("pagehide", stop, { once: true });
    video.hidden = false;
    video.srcObject = stream;
    await video.play();
    const reader = new BarcodeDetector({ formats: ["qr_code"] });
    while (video.srcObject) {
      const [found] = await reader.detect(video).catch(() => []);
      if (found && video.srcObject) {
        stop();
        field.value = found.rawValue;
        field.form.requestSubmit();
        return;
      }
      await new Promise((next) => setTimeout(next, 150));
    }
  }
  if (window.isSecureContext && "BarcodeDetector" in window && navigator.mediaDevices) {
    for (const button of document.querySelectorAll("button[data-live]")) {
      button.hidden = false;
      button.addEventListener("click", () => { if (!button.closest("form").querySelector("video").srcObject) look(button.closest("form"), button); });
    }
  }

  /* --- timers ---------------------------------------------------------------------------------------- */
  // Counted on the bench's clock: a phone's own may be wrong by hours.
  const ahead = body.dataset.now ? Date.parse(body.dataset.now) - Date.now() : 0;
  function countDown() {
    for (const timer of document.querySelectorAll("time[data-until]")) {
      const minutes = Math.ceil((Date.parse(timer.dataset.until) - Date.now() - ahead) / 60000);
      const words = minutes >= 2880 ? `${Math.floor(minutes / 1440)} d` : `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
      timer.dataset.at = timer.dataset.at || timer.textContent;
      timer.textContent = `${timer.dataset.at} (${minutes > 0 ? `${words} ${body.dataset.in}` : body.dataset.over})`;
    }
  }
  countDown();
  setInterval(countDown, 30000);

  /* --- is this still true? -------------------------------------------------------------------------- */
  async function alive() {
    if (document.hidden || !token()) return;
    const cell = body.dataset.cell, stale = find("stale");
    try {
      const answer = await fetch(`/alive${cell ? `?cell=${encodeURIComponent(cell)}` : ""}`, { headers: { Accept: "application/json" }, cache: "no-store" });
      if (!answer.ok) return;
      const said = await answer.json();
      stale.hidden = true;
      find("changed").hidden = !(cell && said.event > Number(body.dataset.event));
      await sendKept();
    } catch { stale.hidden = false; }
  }
  if (token()) {
    show();
    alive();
    setInterval(alive, ALIVE_MS);
    for (const event of ["online", "offline", "focus"]) window.addEventListener(event, alive);
    document.addEventListener("visibilitychange", alive);
  } else if ("caches" in window) {
    // A device that is not paired, or no longer, keeps no pages of the bench.
    caches.keys().then((names) => names.forEach((name) => caches.delete(name)));
  }
  if ("serviceWorker" in navigator && token()) {
    navigator.serviceWorker.register("/worker.js");
    // A page that was asked for while the worker took over the others would stay without it, and be lost without network.
    navigator.serviceWorker.ready.then(({ active }) => { if (!navigator.serviceWorker.controller) active.postMessage("claim"); });
  }
  const note = document.querySelector(".note, .fault:not([hidden])[role=alert]");
  if (note && note.tabIndex === -1) note.focus({ preventScroll: true });
})();
