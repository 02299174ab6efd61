"use strict";
// What is better with script: search as one types, jacks added by a tap, drafts, and work without a link.
// Everything here also works without it, a page at a time; only the waiting list needs it.

document.documentElement.classList.add("scripted");
for (const node of document.querySelectorAll(".needs-script")) node.hidden = false;
const one = (selector, from = document) => from.querySelector(selector);
const every = (selector, from = document) => [...from.querySelectorAll(selector)];
const PAGES = "jackfield-pages";
const paired = "paired" in document.body.dataset;
const later = (work, ms) => { let at; return (...given) => { clearTimeout(at); at = setTimeout(() => work(...given), ms); }; };
const say = (node, text) => { if (node) { node.textContent = text; node.hidden = !text; } };
const hasCaches = "caches" in window;

// -- the link, and what is kept for when it is down -------------------------------------------------------

async function linked() {
  try { return (await fetch("/health", { cache: "no-store" })).ok; } catch { return false; }
}

async function keptSets() {
  if (!hasCaches || !(await caches.has(PAGES))) return [];
  const kept = await (await caches.open(PAGES)).keys();
  const sets = new Map();
  for (const { url } of kept) {
    const at = new URL(url);
    if (at.pathname !== "/set" || [...at.searchParams.keys()].some((k) => k !== "make" && k !== "model")) continue;
    sets.set(at.pathname + at.search, `${at.searchParams.get("make")} ${at.searchParams.get("model")}`);
  }
  return [...sets].reverse();
}

async function showKept(query = "") {
  const list = one("#kept-list");
  if (!list) return;
  const plain = (text) => text.toUpperCase().replace(/[^\p{L}\p{N}]/gu, "");
  const sets = (await keptSets()).filter(([, name]) => plain(name).includes(plain(query)));
  list.replaceChildren(...sets.slice(0, 40).map(([href, name]) => {
    const link = Object.assign(document.createElement("a"), { className: "card", href });
    link.append(Object.assign(document.createElement("strong"), { textContent: name }));
    const item = document.createElement("li");
    item.append(link);
    return item;
  }));
  const section = one("#kept");
  if (section) section.hidden = !sets.length;
}

async function keepPages() {
  if (!("serviceWorker" in navigator) || !window.isSecureContext) return;
  await navigator.serviceWorker.register("/sw.js");
  await navigator.serviceWorker.ready;
  if (!(await linked())) return;
  const wanted = ["/", "/record", "/today", "/waiting", "/phone", "/offline", "/isolate", "/isolate/without-link", "/isolate/turns"];
  if (location.pathname === "/set") wanted.push(location.pathname + location.search, "/record" + location.search);
  every("a.keep").forEach((a) => wanted.push(a.pathname + a.search));
  if (one("a.keep-too")) wanted.push("/bring");
  const anew = new Set([location.pathname + location.search, "/bring", ...every("a.anew").map((a) => a.pathname + a.search)]);
  const pages = await caches.open(PAGES);
  const young = async (page) => { // kept a moment ago; the tests of a path stay the same for longer
    const mine = !anew.has(page) && (await pages.match(new URL(page, location.href).href));
    const ms = page.startsWith("/isolate/turns") ? 86400000 : 300000;
    return mine && Math.abs(Date.now() - Date.parse(mine.headers.get("Date"))) < ms ? mine : null;
  };
  const seen = new Set();
  for (const page of wanted) { // grows while it is gone through: a set brings its tests along
    if (seen.has(page)) continue;
    seen.add(page);
    const mine = await young(page);
    const answer = mine || (await fetch(page));
    if (!answer.ok || answer.redirected) continue;
    if (page.startsWith("/set?")) {
      const its = new DOMParser().parseFromString(await answer.clone().text(), "text/html").body.dataset.turns;
      const at = its && new URL(its, location.href);
      if (at) wanted.push(`/isolate?${page.split("?")[1]}`, at.pathname + (at.search && `?${at.searchParams}`));
    }
    if (!mine) await pages.put(new URL(page, location.href).href, answer);
  }
  document.body.dataset.kept = "yes";
  const said = one("#keeps");
  const count = (await keptSets()).length;
  if (said) say(said, `It keeps ${count === 1 ? "one set that was" : `${count} sets that were`} looked at, today's jobs, and the tests for no sound, for when there is no link.`);
}

async function showState() {
  let waits = [];
  try { waits = await Waiting.all(); } catch { return; }
  const state = one("#state");
  if (!state) return;
  state.hidden = !waits.length;
  one("#state-said").textContent = waits.length === 1 ? "1 visit waits" : `${waits.length} visits wait`;
}

async function trySending() {
  const waits = await Waiting.all();
  if (!waits.some((visit) => !visit.wrong)) return;
  const done = await Waiting.sendAll();
  await showState();
  await showWaiting(done);
}

// -- the waiting list ---------------------------------------------------------------------------------------

async function showWaiting(done = { sent: 0, said: "" }) {
  if (!("waiting" in document.body.dataset)) return;
  const waits = await Waiting.all();
  const field = (visit, name) => (visit.fields.find(([key]) => key === name) || [])[1] || "";
  one("#waiting-list").replaceChildren(...waits.map((visit) => {
    const jacks = visit.fields.filter(([key]) => /^jack-\d+-form$/.test(key)).length;
    const card = Object.assign(document.createElement("li"), { className: "card" });
    const put = (tag, text, about = {}) => card.append(Object.assign(document.createElement(tag), { textContent: text, ...about }));
    put("strong", `${field(visit, "make")} ${field(visit, "model")}`);
    put("span", `${field(visit, "date")}, ${jacks} jack${jacks === 1 ? "" : "s"}, ${(visit.photos || []).length} photo${(visit.photos || []).length === 1 ? "" : "s"}`, { className: "quiet" });
    if (visit.wrong) put("span", visit.wrong, { className: "say bad" });
    const row = Object.assign(document.createElement("p"), { className: "row" });
    row.append(Object.assign(document.createElement("a"), { textContent: "Open it", href: `/record?waiting=${visit.id}`, className: "button second" }));
    const away = Object.assign(document.createElement("button"), { type: "button", textContent: "Throw it away", className: "link" });
    away.addEventListener("click", async () => { // asked twice: it is nowhere else
      if (!away.dataset.sure) { away.dataset.sure = "yes"; away.textContent = "Really? It is nowhere else"; return; }
      await Waiting.drop(visit.id);
      await showState();
      await showWaiting();
    });
    row.append(away);
    card.append(row);
    return card;
  }));
  const sent = done.sent ? `${done.sent === 1 ? "One visit is" : `${done.sent} visits are`} in the book now. ` : "";
  const rest = waits.length
    ? `${waits.length === 1 ? "One visit waits" : `${waits.length} visits wait`} on this phone and will be sent when the link is back. ${done.said}`
    : "Nothing waits; everything is in the book.";
  say(one("#waiting-said"), sent + rest);
  one("#send-now").hidden = !waits.length;
}

// -- search as one types --------------------------------------------------------------------------------------

function searching(form) {
  const input = one("#q", form);
  const found = one("#found");
  let asked = 0;
  const ask = later(async () => {
    const query = input.value.trim();
    const mine = ++asked;
    showKept(query);
    if (!query) { found.replaceChildren(); return; }
    try {
      const answer = await fetch(`/?part=1&q=${encodeURIComponent(query)}`);
      if (!answer.ok || answer.redirected) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (mine === asked) found.replaceChildren(...page.body.childNodes);
    } catch {
      if (mine === asked) {
        const said = Object.assign(document.createElement("p"), { className: "say", textContent: "No link to the book: only what is on this phone is searched." });
        found.replaceChildren(said);
      }
    }
  }, 160);
  input.addEventListener("input", ask);
  if (input.value) linked().then((up) => { if (!up) ask(); });
}

// -- the form for a visit ---------------------------------------------------------------------------------------

function recording(form) {
  const jacks = one("#jacks", form);
  const page = location.pathname + location.search;
  const said = one("#said");
  const photoSaid = one("#photo-said");
  let photos = [];

  const number = () => 1 + Math.max(-1, ...every("[data-jack]", jacks).map((j) => Number(j.dataset.jack)));
  const add = (kind, mark = "", n = number()) => {
    const template = document.getElementById(`new-${kind}`);
    if (!template) return null;
    const jack = template.content.cloneNode(true).firstElementChild;
    for (const node of [jack, ...every("*", jack)]) {
      for (const { name, value } of [...node.attributes]) {
        if (value.includes("NUMBER")) node.setAttribute(name, value.replaceAll("NUMBER", n));
      }
    }
    jacks.append(jack);
    const field = one(`#jack-${n}-marking`, jack);
    field.value = mark;
    return field;
  };
  const fill = (fields) => {
    for (const [name, value] of fields) {
      const made = /^jack-(\d+)-form$/.exec(name);
      if (made && !form.elements.namedItem(name)) add(value, "", Number(made[1]));
    }
    for (const [name, value] of fields) {
      const field = form.elements.namedItem(name);
      if (field && "value" in field && field.type !== "file" && name !== "form_token") field.value = value;
    }
  };
  const fields = () => [...new FormData(form)].filter(([name, value]) => typeof value === "string" && name !== "form_token" && name !== "do");

  const read = later(async () => {
    const lines = every(".read-as", jacks);
    if (!lines.length) return;
    try {
      const sent = new FormData(form);
      sent.delete("photo");
      const answer = await fetch("/read", { method: "POST", body: sent, headers: { Accept: "application/json" } });
      const told = await answer.json();
      every(".jack", jacks).forEach((jack, n) => {
        if (told.read[n]) one(".read-as", jack).textContent = told.read[n];
        jack.classList.toggle("in-only", Boolean(told.in_only[n]) && !jack.contains(document.activeElement?.closest(".tried")));
      });
    } catch {
      lines.forEach((line) => { if (line.textContent === "…") line.textContent = "read when it is sent"; });
    }
  }, 250);
  const keep = later(() => Waiting.keepDraft({ page, fields: fields(), photos, at: Date.now() }).catch(() => {}), 200);

  const showPhotos = () => {
    one("#photo-kept").replaceChildren(...photos.map((photo, n) => {
      const item = document.createElement("li");
      item.append(Object.assign(document.createElement("img"), { src: URL.createObjectURL(photo), alt: `Photo ${n + 1} of the panel` }));
      const away = Object.assign(document.createElement("button"), { type: "button", className: "link", textContent: `Drop photo ${n + 1}` });
      away.addEventListener("click", () => { photos.splice(n, 1); showPhotos(); keep(); });
      item.append(away);
      return item;
    }));
  };
  // Smaller before it is sent: a basement has little link to spare. Place and camera data stay behind, too.
  const smaller = async (file) => {
    const picture = await createImageBitmap(file);
    const scale = Math.min(1, 2048 / Math.max(picture.width, picture.height));
    const canvas = Object.assign(document.createElement("canvas"), { width: Math.round(picture.width * scale), height: Math.round(picture.height * scale) });
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    return new Promise((done, failed) => canvas.toBlob((b) => (b ? done(b) : failed(new Error("no picture"))), "image/jpeg", 0.85));
  };
  const take = async (files) => {
    const refused = [];
    for (const file of files) {
      if (photos.length >= Number(form.dataset.photos)) { refused.push(`a visit has at most ${form.dataset.photos} photos`); break; }
      try { photos.push(await smaller(file)); } catch { refused.push(`${file.name} is no picture that can be read`); }
    }
    say(photoSaid, refused.length ? `Left out: ${refused.join("; ")}.` : "");
    showPhotos();
    keep();
  };
  one("#photo", form).addEventListener("change", async (event) => {
    const files = [...event.target.files];
    event.target.value = "";
    await take(files);
  });

  form.addEventListener("click", (event) => {
    const tile = event.target.closest(".tile, .drop, .try");
    if (!tile) return;
    event.preventDefault();
    if (tile.classList.contains("try")) {
      const jack = tile.closest(".jack");
      jack.classList.remove("in-only");
      one(".tried input", jack).focus();
      return;
    }
    if (tile.classList.contains("all")) {
      every(".known .tile[value]", form).filter((t) => !t.hidden).forEach((t) => {
        const [, kind, ...mark] = t.value.split(":");
        if (add(kind, mark.join(":"))) t.hidden = true;
      });
      one(".known", form).hidden = true;
      one("#known-title").hidden = true;
      one(".others", form).open = false;
      one(".jack", jacks).scrollIntoView({ block: "start" });
      one(".jack .tried input", jacks).focus({ preventScroll: true });
    } else if (tile.classList.contains("drop")) {
      const jack = tile.closest(".jack");
      const next = jack.nextElementSibling || jack.previousElementSibling;
      jack.remove();
      (next ? one("input[type=text]", next) : one(".tile", form)).focus();
    } else {
      const [, kind, ...mark] = tile.value.split(":");
      const field = add(kind, mark.join(":"));
      if (field) {
        if (mark.length) { // known from the book: the next tap is the likeliest thing to follow
          tile.hidden = true;
          (every(".known .tile[value]", form).find((t) => !t.hidden) || one("#tap-title", form)).focus({ preventScroll: true });
        } else {
          field.closest(".jack").scrollIntoView({ block: "nearest" });
          field.focus({ preventScroll: true });
        }
      }
    }
    read();
    keep();
  });
  form.addEventListener("input", () => { read(); keep(); });
  form.addEventListener("keydown", (event) => {
    // Enter in a field goes on to the next one instead of saving half a panel.
    if (event.key !== "Enter" || !event.target.matches("input")) return;
    event.preventDefault();
    const all = every("input:not([type=hidden]), select, textarea, button", form).filter((f) => f.offsetParent && f.tabIndex >= 0);
    const next = all.slice(all.indexOf(event.target) + 1).find((f) => !f.name || f.name !== event.target.name);
    if (next) next.focus();
  });

  const tell = (text) => {
    say(said, text);
    said.tabIndex = -1;
    said.focus();
    said.scrollIntoView({ block: "center" });
  };
  let saving = false;
  form.addEventListener("submit", async (event) => {
    const how = event.submitter ? event.submitter.value : "save";
    if (how !== "save" || form.dataset.plain) return;
    event.preventDefault();
    if (saving) return;
    saving = true;
    const visit = { id: form.elements.id.value, fields: fields(), photos, at: Date.now() };
    try {
      await Waiting.put(visit);  // on the phone first, whatever comes
    } catch {
      if (!(await linked())) {
        saving = false;
        tell("There is no link, and this browser keeps nothing (its storage is full or shut off). Nothing is saved yet: leave this page open, and save again when the link is back.");
        return;
      }
      form.dataset.plain = "yes";  // the plain way; photos go back to where the browser takes them from
      const files = new DataTransfer();
      photos.forEach((photo, n) => files.items.add(new File([photo], `panel-${n + 1}.jpg`, { type: "image/jpeg" })));
      one("#photo", form).files = files.files;
      form.requestSubmit(one("#save", form));
      return;
    }
    if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => {});
    const done = await Waiting.send(visit);
    saving = false;
    if (done.state === "wrong") {
      await Waiting.drop(visit.id);  // it is in the form and in its draft, to be mended
      await Waiting.keepDraft({ page, fields: visit.fields, photos, at: Date.now() });
      if (done.correct) {
        form.elements.supersedes.value = visit.id;
        form.elements.id.value = Waiting.newId();
      }
      tell(done.said);
      return;
    }
    await Waiting.dropDraft(page);
    form.reset();
    if (done.state === "later" && !(hasCaches && (await caches.match("/waiting"))) && !(await linked())) {
      // No page is kept on this phone (no TLS): leaving this one would end at the browser's own "no link".
      jacks.replaceChildren();
      photos = [];
      showPhotos();
      form.elements.id.value = Waiting.newId();
      tell("No link. The visit is kept on this phone and will be sent when the link is back; the next one can be recorded here.");
      showState();
      return;
    }
    location.assign(done.state === "sent" ? done.next + (done.left_out.length ? `&left=${done.left_out.length}` : "") : "/waiting");
  });

  (async () => {
    const wanted = new URLSearchParams(location.search).get("waiting");
    const kept = wanted ? await Waiting.get(wanted).catch(() => null) : await Waiting.draft(page).catch(() => null);
    const notice = one(".from-phone");
    if ("fresh" in form.dataset) form.elements.id.value = Waiting.newId();
    const now = new Date();
    const today = new Date(now - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
    // A form that the phone kept on an earlier day; a clock that is behind changes nothing.
    if ("fresh" in form.dataset && !form.elements.supersedes.value && today > document.body.dataset.made.slice(0, 10)) form.elements.date.value = today;
    if (kept && "fresh" in form.dataset) {
      fill(kept.fields);
      photos = kept.photos || [];
      showPhotos();
      if (!wanted) {
        say(notice, "Your entries from before are here again. ");
        const anew = Object.assign(document.createElement("button"), { type: "button", className: "link", textContent: "Begin anew" });
        anew.addEventListener("click", async () => { await Waiting.dropDraft(page); location.reload(); });
        notice.append(anew);
      } else if (kept.wrong) say(said, kept.wrong);
    }
    read();
    form.dataset.ready = "yes";
  })();
}

// Not paired, or not any more: how many visits wait, and nothing else of them.
async function showLeft() {
  const count = one("#left") ? (await Waiting.all().catch(() => [])).length : 0;
  if (count) say(one("#left"), `${count === 1 ? "1 visit waits" : `${count} visits wait`} on this phone, and will be sent once it is paired.`);
}

// -- begin ------------------------------------------------------------------------------------------------------

showLeft();
if ("forget" in document.body.dataset && hasCaches) caches.delete(PAGES);
if (paired) {
  if (one("#search")) searching(one("#search"));
  if (one("#record")) recording(one("#record"));
  const focus = document.body.dataset.focus && document.getElementById(document.body.dataset.focus);
  if (focus) { const more = focus.closest("details"); if (more) more.open = true; focus.focus(); }
  showKept();
  showState();
  showWaiting();
  keepPages().catch(() => {});
  linked().then((up) => {
    const notice = one(".from-phone");
    if (!up && notice && !notice.textContent) say(notice, `No link to the book: this is how it stood on ${document.body.dataset.made}.`);
    if (up) trySending().catch(() => {});
  });
  window.addEventListener("online", () => trySending().catch(() => {}));
  setInterval(() => trySending().catch(() => {}), 20000);
  const now = one("#send-now");
  if (now) now.addEventListener("click", () => trySending().catch(() => {}));
}
