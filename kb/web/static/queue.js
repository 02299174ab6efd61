"use strict";
// What waits on this phone? Visits are written here first and leave only when the book has acknowledged them.
// Each has an id that was made here, so that one that is sent twice is one visit.

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
      const token = await fetch("/token", { headers: { Accept: "application/json" } });
      if (!token.ok) return { state: "later", stop: true, said: token.status === 401 ? "This phone must be paired anew." : "" };
      const form = new FormData();
      for (const [name, value] of visit.fields) if (name !== "form_token" && name !== "do") form.append(name, value);
      form.append("form_token", (await token.json()).form_token);
      form.append("do", "save");
      (visit.photos || []).forEach((photo, n) => form.append("photo", photo, `panel-${n + 1}.jpg`));
      answer = await fetch("/record", { method: "POST", body: form, headers: { Accept: "application/json" } });
      told = await answer.json().catch(() => ({}));
    } catch {
      return { state: "later", stop: true, said: "" };
    }
    if (answer.ok && told.visit) {
      await drop(visit.id);
      return { state: "sent", next: told.next, left_out: told.left_out };
    }
    if ([409, 413, 422].includes(answer.status)) {
      return { state: "wrong", said: told.error || "The book does not take it.", correct: Boolean(told.correct) };
    }
    return { state: "later", stop: [401, 429, 503].includes(answer.status), said: told.error || "" };
  };

  const sendAll = async () => {
    let sent = 0, said = "";
    for (const visit of await all()) {
      if (visit.wrong) continue;
      const done = await send(visit);
      if (done.state === "sent") sent++;
      else if (done.state === "wrong") await put({ ...visit, wrong: done.said });
      else if (done.stop) return { sent, said: done.said };
      else said = done.said;  // a mistake with this one: the others need not wait for it
    }
    return { sent, said };
  };

  // One tab sends at a time; a second one would do no harm, the ids see to that.
  const alone = (work) => (navigator.locks ? navigator.locks.request("jackfield-send", work) : work());

  return { all, get, put, drop, draft, keepDraft, dropDraft, newId, send: (v) => alone(() => send(v)), sendAll: () => alone(sendAll) };
})();
