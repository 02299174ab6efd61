"use strict";
// What is better with script on every page: search as one types, and work without a link.
// Everything here also works without it, a page at a time; only the waiting list needs it.

document.documentElement.classList.add("scripted");
for (const node of document.querySelectorAll(".needs-script")) node.hidden = false;
// At twice the size of type the rows at the lower edge would hide a third of the page: then they go to its end.
new ResizeObserver(() => {
  const size = parseFloat(getComputedStyle(document.documentElement).fontSize);
  document.documentElement.classList.toggle("roomy", size > Math.min(innerWidth, innerHeight) / 14);
}).observe(document.body);
const one = (selector, from = document) => from.querySelector(selector);
const every = (selector, from = document) => [...from.querySelectorAll(selector)];
const VERSION = new URL(document.currentScript.src).searchParams.get("v");
const paired = "paired" in document.body.dataset;
const later = (work, ms) => { let at; return (...given) => { clearTimeout(at); at = setTimeout(() => work(...given), ms); }; };
const say = (node, words) => { if (node) { node.textContent = words; node.hidden = !words; } };
// What this phone remembers of its owner: initials, contact, ticks. Without storage it remembers nothing.
const remembered = (name) => { try { return localStorage.getItem(`jackfield-${name}`) || ""; } catch { return ""; } };
const remember = (name, value) => { try { localStorage.setItem(`jackfield-${name}`, value); } catch { /* then not */ } };
const hasCaches = "caches" in window;

// -- the link, and what is kept for when it is down -------------------------------------------------------

async function keptSets() {
  if (!hasCaches || !(await caches.has(PAGES))) return [];
  const kept = await (await caches.open(PAGES)).keys();
  const sets = new Map();
  for (const { url } of kept) {
    const at = new URL(url);
    if (at.pathname !== "/set" || [...at.searchParams.keys()].some((k) => !["make", "model", "job"].includes(k))) continue;
    const name = `${at.searchParams.get("make")} ${at.searchParams.get("model")}`;
    sets.set(at.pathname + at.search, at.searchParams.has("job") ? text("web/kept/for-job", { set: name }) : name);
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

// A laptop that is slow or busy goes on making what it could not give in time: it is asked again.
async function keepPages() {
  for (let times = 0; times < 12 && !(await keptAll()); times++) await new Promise((over) => setTimeout(over, 5000));
}

// False: something came late.
async function keptAll() {
  if (!("serviceWorker" in navigator) || !window.isSecureContext) return true;
  await navigator.serviceWorker.register("/sw.js");
  await navigator.serviceWorker.ready;
  if (!(await linked())) return true; // the next page tries again
  const wanted = ["/", "/record", "/today", "/waiting", "/phone", "/offline", "/isolate", "/isolate/without-link", "/isolate/turns"];
  if (location.pathname === "/set") wanted.push(location.pathname + location.search, "/record" + location.search, `/record?all=yes&${location.search.slice(1)}`);
  every("a.keep").forEach((a) => wanted.push(a.pathname + a.search));
  if (one("a.keep-too")) wanted.push("/bring");
  const anew = new Set([location.pathname + location.search, "/bring", ...every("a.anew").map((a) => a.pathname + a.search)]);
  const pages = await caches.open(PAGES);
  const young = async (page) => { // kept a moment ago; the tests of a path stay the same for longer
    const mine = !anew.has(page) && (await pages.match(new URL(page, location.href).href));
    const ms = page.startsWith("/isolate/turns") ? 86400000 : 300000;
    return mine && mine.headers.get("Jackfield-Version") === VERSION && Math.abs(Date.now() - Date.parse(mine.headers.get("Date"))) < ms ? mine : null;
  };
  const seen = new Set();
  let late = false;
  for (const page of wanted) { // grows while it is gone through: a set brings its tests along
    if (seen.has(page)) continue;
    seen.add(page);
    const mine = await young(page);
    const answer = mine || (await timely(3 * LIMIT, page, {}, async (got) => { await got.clone().blob(); return got; }).catch(() => null));
    if (!answer && !(await linked())) return true;
    late ||= !answer || answer.status === 503;
    if (!answer || !answer.ok || answer.redirected) continue;
    if (page.startsWith("/set?")) {
      const its = new DOMParser().parseFromString(await answer.clone().text(), "text/html").body.dataset.turns;
      const at = its && new URL(its, location.href);
      if (at) wanted.push(`/isolate?${page.split("?")[1]}`, at.pathname + (at.search && `?${at.searchParams}`));
    }
    if (!mine) await pages.put(new URL(page, location.href).href, answer);
  }
  if (late) return false;
  document.body.dataset.kept = "yes";
  const said = one("#keeps");
  const count = (await keptSets()).length;
  if (said) say(said, text("web/phone/keeps", { count }));
  return true;
}

async function showState() {
  let waits = [];
  try { waits = await Waiting.all(); } catch { return; }
  const state = one("#state");
  if (!state) return;
  state.hidden = !(waits.length || remembered("left-out"));
  one("#state-said").textContent = waits.length ? text("web/state/waits", { count: waits.length }) : text("web/state/left");
}

async function trySending() {
  const waits = await Waiting.all();
  if (!waits.some((visit) => !visit.wrong)) return;
  const done = await Waiting.sendAll((left) => remember("left-out", `${remembered("left-out")}\n${left}`.trim())); // until it is read
  await showState();
  await showWaiting(done);
}

// -- the waiting list ---------------------------------------------------------------------------------------

async function showWaiting(done = { sent: 0, said: "" }) {
  if (!("waiting" in document.body.dataset)) return;
  const waits = await Waiting.all();
  one("#waiting-list").replaceChildren(...waits.map((visit) => {
    const card = Object.assign(document.createElement("li"), { className: "card" });
    const put = (tag, text, about = {}) => card.append(Object.assign(document.createElement(tag), { textContent: text, ...about }));
    put("strong", `${fieldOf(visit, "make")} ${fieldOf(visit, "model")}`);
    put("span", `${fieldOf(visit, "date")}, ${holds(visit)}`, { className: "quiet" });
    if (visit.wrong) put("span", visit.wrong, { className: "say bad" });
    const row = Object.assign(document.createElement("p"), { className: "row" });
    row.append(Object.assign(document.createElement("a"), { textContent: text("web/waiting/open"), href: `/record?waiting=${visit.id}`, className: "button second" }));
    row.append(twice(async () => { await Waiting.drop(visit.id); await showState(); await showWaiting(); }));
    card.append(row);
    return card;
  }));
  const sent = done.sent ? text("web/waiting/sent", { count: done.sent }) : "";
  const rest = waits.length ? text("web/waiting/rest", { count: waits.length }) : text("web/waiting/nothing");
  say(one("#waiting-said"), [sent, rest, waits.length ? done.said : ""].filter(Boolean).join(" "));
  one("#send-now").hidden = !waits.length;
  const left = remembered("left-out");
  if (left) { say(one("#left-out"), left); remember("left-out", ""); await showState(); }
}

// -- what was begun and not saved --------------------------------------------------------------------------------

const fieldOf = (entry, name) => (entry.fields.find(([key]) => key === name) || [])[1] || "";
const jacksOf = (entry) => entry.fields.filter(([key]) => /^jack-\d+-form$/.test(key)).length;
const holds = (entry) => `${text("count/jack", { count: jacksOf(entry) })}, ${text("count/photo", { count: (entry.photos || []).length })}`;
// A form that only the page itself filled in (set, date, initials) is no draft.
const begun = (draft) => jacksOf(draft) || (draft.photos || []).length || draft.typed;

async function showDrafts() {
  const list = one("#draft-list");
  if (!list) return;
  const drafts = (await Waiting.drafts().catch(() => [])).filter(begun).sort((a, b) => b.at - a.at);
  list.replaceChildren(...drafts.map((draft) => {
    const card = Object.assign(document.createElement("li"), { className: "card" });
    const name = `${fieldOf(draft, "make")} ${fieldOf(draft, "model")}`.trim() || text("web/drafts/unnamed");
    const link = Object.assign(document.createElement("a"), { className: "open", href: draft.page });
    link.append(Object.assign(document.createElement("strong"), { textContent: name }));
    const about = `${new Date(draft.at).toLocaleString(document.documentElement.lang, { dateStyle: "medium", timeStyle: "short" })}; ${holds(draft)}`;
    card.append(link, Object.assign(document.createElement("span"), { className: "quiet", textContent: about }));
    card.append(twice(async () => { await Waiting.dropDraft(draft.page); await showDrafts(); }));
    return card;
  }));
  one("#drafts").hidden = !drafts.length;
}

// Asked twice: what goes is nowhere else.
function twice(work) {
  const button = Object.assign(document.createElement("button"), { type: "button", textContent: text("web/drafts/throw"), className: "link" });
  button.addEventListener("click", async () => {
    if (!button.dataset.sure) { button.dataset.sure = "yes"; button.textContent = text("web/drafts/sure"); return; }
    await work();
  });
  return button;
}

// -- a photo of the label: sent as soon as it is taken ---------------------------------------------------------

function labelPhoto(form) {
  const wait = () => say(one("#label-wait", form), text("web/label/reading"));
  one("#label-photo", form).addEventListener("change", (event) => { if (event.target.files.length) form.requestSubmit(); });
  form.addEventListener("submit", wait);
  const begin = () => { form.reset(); say(one("#label-wait", form), ""); };
  addEventListener("pageshow", (event) => { if (event.persisted) begin(); });
  withinLimit(form, READING, begin);
}

// -- forms that the book takes at once, and that lead to another page ------------------------------------------------------------------------

const READING = 180000; // ms in which the book reads a photo, which may wait for others, or says that it cannot

const bytesOf = (fields) => [...fields.values()].reduce((sum, value) => sum + (value.size || 0), 0);

function alertAfter(form) {
  const said = Object.assign(document.createElement("p"), { className: "say bad", hidden: true });
  said.setAttribute("role", "alert");
  form.after(said);
  return said;
}

// A form whose answer is the next page. Without a link nothing is sent; after the limit, and what its files need, the
// browser stops waiting. Each form names what it means by an id, so that a second try does no harm.
function withinLimit(form, limit = LIMIT, begin = () => {}) {
  const said = alertAfter(form);
  let late, passed = false;
  const over = () => { clearTimeout(late); delete form.dataset.sending; };
  const failed = () => { over(); begin(); say(said, text("web/no-answer")); };
  form.addEventListener("submit", async (event) => {
    if (passed) return;
    event.preventDefault();
    if (form.dataset.sending) return; // a second tap
    form.dataset.sending = "yes";
    say(said, "");
    const pressed = event.submitter; // gone from the event after the wait
    if (!(await linked())) { failed(); return; }
    late = setTimeout(() => { stop(); failed(); }, limit + bytesOf(new FormData(form)) / SLOWEST);
    passed = true;
    try { form.requestSubmit(pressed); } finally { passed = false; }
  });
  addEventListener("pagehide", over);
  navigator.serviceWorker?.addEventListener("message", (event) => {
    if (event.data === "no-answer" && form.dataset.sending) failed();
  });
}

// -- search as one types --------------------------------------------------------------------------------------

function searching(form) {
  const input = one("#q", form);
  const found = one("#found");
  const job = new URLSearchParams(location.search).get("job");
  const forJob = job ? `&job=${encodeURIComponent(job)}` : "";
  let asked = 0;
  const ask = later(async () => {
    const query = input.value.trim();
    const mine = ++asked;
    showKept(query);
    if (!query) { found.replaceChildren(); return; }
    try {
      const html = await timely(LIMIT, `/?part=1&q=${encodeURIComponent(query)}${forJob}`, {}, (got) => (got.ok && !got.redirected ? got.text() : null));
      if (html === null) return;
      const page = new DOMParser().parseFromString(html, "text/html");
      if (mine === asked) found.replaceChildren(...page.body.childNodes);
    } catch {
      if (mine === asked) {
        const said = Object.assign(document.createElement("p"), { className: "say", textContent: text("web/search/only-kept") });
        found.replaceChildren(said);
      }
    }
  }, 160);
  input.addEventListener("input", () => {
    every(".as-typed", found).forEach((link) => { link.inert = true; }); // it would record what was typed before
    ask();
  });
  if (input.value) linked().then((up) => { if (!up) ask(); });
}

// Ticks of the list of what to bring, until the list is another one.
function tickList() {
  const ticks = every(".bring input[type=checkbox]");
  if (!ticks.length) return;
  const about = (tick) => tick.closest("label").textContent.replace(/\s+/g, " ").trim();
  const list = ticks.map(about).join("\n");
  let kept = {};
  try { kept = JSON.parse(remembered("ticks") || "{}"); } catch { kept = {}; }
  const ticked = new Set(kept.list === list ? kept.ticked : []);
  ticks.forEach((tick, n) => {
    tick.checked = ticked.has(n);
    tick.addEventListener("change", () => {
      if (tick.checked) ticked.add(n); else ticked.delete(n);
      remember("ticks", JSON.stringify({ list, ticked: [...ticked] }));
    });
  });
}

// Not paired, or not any more: how many visits wait, and nothing else of them.
async function showLeft() {
  const count = one("#left") ? (await Waiting.all().catch(() => [])).length : 0;
  if (count) say(one("#left"), text("web/pair/left", { count }));
}

// -- begin ------------------------------------------------------------------------------------------------------

showLeft();
// Forgotten, or never paired: only strangers are shown such a page.
if ("forget" in document.body.dataset && hasCaches) caches.delete(PAGES);
if (paired) {
  if (one("#search")) searching(one("#search"));
  if (one("#take-label")) labelPhoto(one("#take-label"));
  const focus = document.body.dataset.focus && document.getElementById(document.body.dataset.focus);
  if (focus) { const more = focus.closest("details"); if (more) more.open = true; focus.focus(); }
  showKept();
  showState();
  showWaiting();
  showDrafts();
  tickList();
  every("form[data-once]").forEach((form) => withinLimit(form));
  keepPages().catch(() => {});
  linked().then((up) => {
    const notice = one(".from-phone");
    if (!up && notice && !notice.textContent) say(notice, text("web/from-phone", { date: document.body.dataset.made }));
    if (up) trySending().catch(() => {});
  });
  window.addEventListener("online", () => trySending().catch(() => {}));
  setInterval(() => trySending().catch(() => {}), 20000);
  const now = one("#send-now");
  if (now) now.addEventListener("click", () => trySending().catch(() => {}));
}
