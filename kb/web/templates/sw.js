"use strict";
// Pages that were looked at stay on the phone; with a link the newest is shown, without one what is kept.
const SHELL = "jackfield-shell-{{ version }}";
const PAGES = "jackfield-pages";
const STATIC = ["style.css", "page.js", "queue.js", "record.js", "turns.js", "icon.svg"].map((name) => `/static/${name}`);
const KEPT = ["/", "/set", "/record", "/today", "/bring", "/waiting", "/phone", "/offline", "/isolate"];
const MOST = 200;
const PATIENCE = 5000; // ms of a bad link, where the page is kept

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(SHELL).then((shell) => shell.addAll(STATIC)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name.startsWith("jackfield-shell-") && name !== SHELL) await caches.delete(name);
    await self.clients.claim();
  })());
});

const kept = (url) => KEPT.includes(url.pathname) && !url.searchParams.has("part") && !url.searchParams.has("q")
  && !url.searchParams.has("complaint") && !url.searchParams.has("correct") && !url.searchParams.has("waiting");

async function keep(url, answer) {
  const pages = await caches.open(PAGES);
  await pages.delete(url.href);
  await pages.put(url.href, answer);
  const keys = await pages.keys();
  const spare = keys.filter((key) => ["/set", "/record", "/isolate", "/isolate/turns"].includes(new URL(key.url).pathname) && new URL(key.url).search);
  for (const key of spare.slice(0, Math.max(0, keys.length - MOST))) await pages.delete(key);
}

async function fromPhone(url) {
  const pages = await caches.open(PAGES);
  const told = url.pathname === "/isolate" && url.searchParams.has("complaint");
  return (await pages.match(url.href))
    || (told && (await pages.match(self.location.origin + "/isolate/without-link")))
    || (["/", "/record", "/isolate"].includes(url.pathname) && (await pages.match(self.location.origin + url.pathname)))
    || (await pages.match(self.location.origin + "/offline"));
}

async function page(request, url, event) {
  const asked = fetch(request).then((answer) => {
    if (answer.ok && !answer.redirected && kept(url)) {
      const keeping = keep(url, answer.clone()).catch(() => {});
      try { event.waitUntil(keeping); } catch { /* the page was answered from the phone already */ }
    }
    return answer;
  });
  asked.catch(() => {});
  const mine = await (await caches.open(PAGES)).match(url.href);
  const slow = mine && new Promise((done) => setTimeout(() => done(mine), PATIENCE));
  try {
    return await (slow ? Promise.race([asked, slow]) : asked);
  } catch {
    return (await fromPhone(url)) || Response.error();
  }
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (url.pathname.startsWith("/static/")) {
    event.respondWith(caches.open(SHELL).then((shell) => shell.match(url.pathname)).then((mine) => mine || fetch(event.request)));
  } else if (event.request.mode === "navigate" || kept(url)) {
    event.respondWith(page(event.request, url, event));
  }
});
