"use strict";
// Pages that were looked at stay on the phone; with a link the newest is shown, without one what is kept.
// Scripts and styles are kept by version: a page, new or kept, gets those that it was made with.
const VERSION = "{{ version }}";
const SHELL = `jackfield-shell-${VERSION}`;
const PAGES = "jackfield-pages";
const STATIC = ["style.css", "page.js", "queue.js", "record.js", "panel.js", "turns.js", "hand_over.js", "tones.js", "icon.svg", "icon-180.png"].map((name) => `/static/${name}?v=${VERSION}`);
const KEPT = ["/", "/set", "/record", "/today", "/bring", "/waiting", "/phone", "/offline", "/isolate", "/hand-over", "/sheet", "/tones"];
const MOST = 200;
const PATIENCE = 5000; // ms of a bad link, if the page is kept
const LIMIT = 20000; // ms of any request, if it is not
const LONGEST = 600000; // ms of what is sent; the page stops waiting before
const LAPSE = 30 * 86400000; // ms that a kept page is shown without a link: as long as a pairing lasts unused

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(SHELL).then((shell) => shell.addAll(STATIC)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    const pages = (await caches.has(PAGES)) ? await caches.open(PAGES) : null;
    const used = new Set([SHELL]);
    for (const key of pages ? await pages.keys() : []) {
      const version = (await pages.match(key))?.headers.get("Jackfield-Version");
      if (version) used.add(`jackfield-shell-${version}`);
    }
    for (const name of await caches.keys()) if (name.startsWith("jackfield-shell-") && !used.has(name)) await caches.delete(name);
    await self.clients.claim();
  })());
});

const kept = (url) => KEPT.includes(url.pathname) && !url.searchParams.has("part") && !url.searchParams.has("q")
  && !url.searchParams.has("complaint") && !url.searchParams.has("correct") && !url.searchParams.has("waiting") && !url.searchParams.has("draft");

async function keep(url, answer) {
  const pages = await caches.open(PAGES);
  await pages.delete(url.href);
  await pages.put(url.href, answer);
  const keys = await pages.keys();
  const spare = keys.filter((key) => ["/set", "/record", "/isolate", "/isolate/turns", "/hand-over", "/sheet"].includes(new URL(key.url).pathname) && new URL(key.url).search);
  for (const key of spare.slice(0, Math.max(0, keys.length - MOST))) await pages.delete(key);
}

// The book refuses this phone: what it kept of the book goes; what waits to be sent stays.
const dropPages = () => caches.delete(PAGES);

// A link that hangs is no link.
const late = (ms) => new Promise((_, failed) => setTimeout(() => failed(new Error("late")), ms));

async function fromPhone(url, only = false) {
  const pages = await caches.open(PAGES);
  const told = url.pathname === "/isolate" && url.searchParams.has("complaint");
  const mine = await pages.match(url.href);
  if (mine && Date.now() - Date.parse(mine.headers.get("Date")) > LAPSE) await pages.delete(url.href);
  else if (mine) return mine;
  if (only) return undefined;
  return (told && (await pages.match(self.location.origin + "/isolate/without-link")))
    || (["/", "/record", "/isolate"].includes(url.pathname) && (await pages.match(self.location.origin + url.pathname)))
    || (await pages.match(self.location.origin + "/offline"));
}

async function page(request, url, event) {
  // Not aborted: a request to go somewhere may not be changed. The race is lost, and the phone answers.
  const asked = Promise.race([fetch(request), late(LIMIT)]).then((answer) => {
    if (url.pathname === "/pair" && answer.ok) dropPages(); // only strangers are shown that page
    if (answer.ok && !answer.redirected && kept(url)) {
      const keeping = keep(url, answer.clone()).catch(() => {});
      try { event.waitUntil(keeping); } catch { /* the page was answered from the phone already */ }
    }
    return answer;
  });
  asked.catch(() => {});
  const mine = await fromPhone(url, true);
  const slow = mine && new Promise((done) => setTimeout(() => done(mine), PATIENCE));
  try {
    return await (slow ? Promise.race([asked, slow]) : asked);
  } catch {
    return (await fromPhone(url)) || Response.error();
  }
}

// By its whole address, version included; without a link another version is better than none.
async function file(request) {
  const mine = await caches.match(request);
  if (mine) return mine;
  try {
    return await Promise.race([fetch(request), late(LIMIT)]);
  } catch {
    return (await caches.match(request, { ignoreSearch: true })) || Response.error();
  }
}

// The link broke after the page had asked for it: an answer without content leaves the page with what was typed there.
async function sent(request, from) {
  try {
    return await Promise.race([fetch(request), late(LONGEST)]);
  } catch {
    (await self.clients.get(from))?.postMessage("no-answer");
    return new Response(null, { status: 204 });
  }
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method === "POST" && event.request.mode === "navigate" && url.origin === self.location.origin) {
    event.respondWith(sent(event.request, event.clientId));
    return;
  }
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (url.pathname.startsWith("/static/")) {
    event.respondWith(file(event.request));
  } else if (event.request.mode === "navigate" || kept(url)) {
    event.respondWith(page(event.request, url, event));
  }
});
