"use strict";
// What waits on this phone? Visits are written here first and leave only when the book has acknowledged them.
// Each has an id that was made here, so that one that is sent twice is one visit.

// The sentences of the scripts of this page, in its language; one that depends on a number has two forms.
const TEXTS = JSON.parse(document.querySelector("script[data-texts]").textContent);
const text = (key, values = {}) => {
  const found = TEXTS[key];
  const said = typeof found === "string" ? found : values.count === 1 ? found.one : found.other;
  return said.replace(/\{(\w+)\}/g, (_, name) => values[name]);
};

// Every request has a limit: a link that hangs is no link. `work` gets the answer, to read it within the limit, too.
async function timely(ms, address, about, work) {
  const stop = new AbortController();
  const late = setTimeout(() => stop.abort(), ms);
  try { return await work(await fetch(address, { ...about, signal: stop.signal })); } finally { clearTimeout(late); }
}

const PAGES = "jackfield-pages";
const LIMIT = 8000; // ms of a short request
const SLOWEST = 20; // bytes in a ms that a visit with photos may take

// Is there a link? A book that refuses this phone gets back what it showed: the kept pages go.
async function linked() {
  try {
    return await timely(LIMIT, "/token", { cache: "no-store", headers: { Accept: "application/json" } }, async (answer) => {
      if (answer.status === 401 && "caches" in window) await caches.delete(PAGES);
      return answer.ok || answer.status === 401;
    });
  } catch { return false; }
}

const Waiting = (() => {
  const open = () => new Promise((done, failed) => {
    const asked = indexedDB.open("jackfield", 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("visits", { keyPath: "id" });
      asked.result.createObjectStore("drafts", { keyPath: "page" });
    };
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
    asked.onblocked = () => failed(new Error("blocked"));
  });

  // One transaction; done only when it is on the phone's disk.
  const within = async (store, mode, work) => {
    const db = await open();
    try {
      return await new Promise((done, failed) => {
        const change = db.transaction(store, mode, { durability: "strict" });
        const asked = work(change.objectStore(store));
        change.oncomplete = () => done(asked.result);
        change.onerror = change.onabort = () => failed(change.error);
      });
    } finally {
      db.close();
    }
  };

  const all = () => within("visits", "readonly", (s) => s.getAll());
  const get = (id) => within("visits", "readonly", (s) => s.get(id));
  const put = (visit) => within("visits", "readwrite", (s) => s.put(visit));
  const drop = (id) => within("visits", "readwrite", (s) => s.delete(id));
  const drafts = () => within("drafts", "readonly", (s) => s.getAll());
  const draft = (page) => within("drafts", "readonly", (s) => s.get(page));
  const keepDraft = (draft) => within("drafts", "readwrite", (s) => s.put(draft));
  const dropDraft = (page) => within("drafts", "readwrite", (s) => s.delete(page));

  // A UUID, version 7 (RFC 9562, section 5.7): milliseconds first, the rest at random.
  const newId = () => {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    let ms = Date.now();
    for (let i = 5; i >= 0; i--) { bytes[i] = ms % 256; ms = Math.floor(ms / 256); }
    bytes[6] = 0x70 | (bytes[6] & 0x0f);
    bytes[8] = 0x80 | (bytes[8] & 0x3f);
    const hex = Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
    return [8, 12, 16, 20].reduceRight((s, at) => s.slice(0, at) + "-" + s.slice(at), hex);
  };

  // Sends one visit. state: sent (with next), wrong (with said), later (no link, not paired, busy; stop: for all).
  const send = async (visit) => {
    let answer, told;
    try {
      const token = await timely(LIMIT, "/token", { headers: { Accept: "application/json" } }, async (got) => ({ status: got.status, told: got.ok ? await got.json() : null }));
      if (token.status === 401 && "caches" in window) await caches.delete(PAGES);
      if (!token.told) return { state: "later", stop: true, said: token.status === 401 ? text("web/waiting/pair") : "" };
      const form = new FormData();
      for (const [name, value] of visit.fields) if (name !== "form_token" && name !== "do") form.append(name, value);
      form.append("form_token", token.told.form_token);
      form.append("do", "save");
      (visit.photos || []).forEach((photo, n) => form.append("photo", photo, `panel-${n + 1}.jpg`));
      const size = (visit.photos || []).reduce((sum, photo) => sum + photo.size, 0);
      [answer, told] = await timely(20000 + size / SLOWEST, "/record", { method: "POST", body: form, headers: { Accept: "application/json" } },
        async (got) => [got, await got.json().catch(() => ({}))]);
    } catch {
      return { state: "later", stop: true, said: "" };
    }
    if (answer.ok && told.visit) {
      await drop(visit.id);
      return { state: "sent", next: told.next, left_out: told.left_out || [] };
    }
    if ([409, 413, 422].includes(answer.status)) {
      return { state: "wrong", said: told.error || text("web/waiting/refused"), correct: Boolean(told.correct) };
    }
    return { state: "later", stop: [401, 429, 503].includes(answer.status), said: told.error || "" };
  };

  // tellLeft gets what was left out of a visit at once: the visit is not on this phone any more.
  const sendAll = async (tellLeft) => {
    let sent = 0, said = "";
    for (const visit of await all()) {
      if (visit.wrong) continue;
      const done = await send(visit);
      if (done.state === "sent") { sent++; if (done.left_out.length) tellLeft(`${fieldOf(visit, "make")} ${fieldOf(visit, "model")}: ${done.left_out.join(" ")}`); }
      else if (done.state === "wrong") await put({ ...visit, wrong: done.said });
      else if (done.stop) return { sent, said: done.said };
      else said = done.said;  // a mistake with this one: the others need not wait for it
    }
    return { sent, said };
  };

  // One tab sends at a time; a second one would do no harm, the ids see to that.
  const alone = (work) => (navigator.locks ? navigator.locks.request("jackfield-send", work) : work());

  return { all, get, put, drop, drafts, draft, keepDraft, dropDraft, newId, send: (v) => alone(() => send(v)), sendAll: (tellLeft) => alone(() => sendAll(tellLeft)) };
})();
