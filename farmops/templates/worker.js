// The farm book's service worker. Three rules:
// 1. An answer about ground is never kept and never served from here. A page is kept only when its answer says
//    "Keep-Offline: yes", and never when there is a yes in it.
// 2. Copies belong to the person who read them. They go when that person logs out or somebody else logs in.
// 3. What cannot be fetched is said to be not confirmed: keep out.
"use strict";
const SHELL = {{ shell|safe }}, NO_CONNECTION = {{ none|safe }};
const SHELL_CACHE = "shell-" + {{ version|safe }}, KEPT = "kept-", WHO = "who";
const PATIENCE_WITH_COPY = 5000, PATIENCE = 20000, MOST_KEPT = 80, FRESH_ENOUGH = 10 * 60 * 1000;

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(SHELL_CACHE).then((cache) => cache.addAll(SHELL)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  const old = (name) => name.startsWith("shell-") && name !== SHELL_CACHE;
  event.waitUntil(caches.keys()
    .then((names) => Promise.all(names.filter(old).map((name) => caches.delete(name))))
    .then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const request = event.request, url = new URL(request.url);
  if (url.origin !== self.location.origin) { return; }
  if (request.method === "POST" && url.pathname === "/log-out/") { event.waitUntil(forget()); return; }
  if (request.method !== "GET") { return; }
  if (SHELL.includes(url.pathname) && url.pathname !== NO_CONNECTION) {
    event.respondWith(fromShell(request));
  } else if (request.mode === "navigate" && url.pathname === "/log-in/") {
    event.respondWith(fetch(request).then((answer) => { event.waitUntil(forget()); return answer; }));
  } else if (request.mode === "navigate" && url.pathname.startsWith("/f/")) {
    event.respondWith(page(event, url));
  }
});

// Pages name what they want kept: {keep: ["/f/farm/phones/", …]}; {forget: true} wipes.
self.addEventListener("message", (event) => {
  const said = event.data || {};
  if (said.forget) { event.waitUntil(forget()); }
  if (Array.isArray(said.keep)) { event.waitUntil(keepAll(said.keep)); }
});

async function fromShell(request) {
  const cache = await caches.open(SHELL_CACHE);
  return (await cache.match(request, {ignoreVary: true})) || fetch(request);
}

async function page(event, url) {
  const copy = await copyOf(url);
  let answer;
  try {
    answer = await within(fetch(event.request), copy ? PATIENCE_WITH_COPY : PATIENCE);
  } catch (error) {
    return copy ? shown(copy) : none(url);
  }
  const reader = answer.headers.get("Farm-Reader");
  if (reader) { event.waitUntil(keep(reader, url, answer.clone())); }
  // The book names its language on whatever it says; an error without it came from something in between.
  if (answer.status >= 500 && !answer.headers.has("Content-Language")) { return copy ? shown(copy) : none(url); }
  return answer;
}

function within(promise, milliseconds) {
  return Promise.race([promise, new Promise((_, fail) => setTimeout(() => fail(new Error("too slow")), milliseconds))]);
}

async function keep(reader, url, answer) {
  await remember(reader);
  if (answer.status !== 200 || answer.redirected || answer.headers.get("Keep-Offline") !== "yes") { return; }
  const text = await answer.text();
  if (text.includes('data-answer="yes"')) { return; }
  const headers = new Headers(answer.headers);
  headers.delete("Content-Encoding");
  headers.delete("Content-Length");
  headers.set("Kept-At", String(Date.now()));
  const cache = await caches.open(KEPT + reader), name = url.pathname + url.search;
  await cache.delete(name, {ignoreVary: true});
  await cache.put(name, new Response(text, {status: 200, headers}));
  const names = await cache.keys();
  await Promise.all(names.slice(0, Math.max(0, names.length - MOST_KEPT)).map((one) => cache.delete(one)));
}

async function keepAll(paths) {
  for (const path of paths) {
    const url = new URL(path, self.location.origin);
    if (url.origin !== self.location.origin || !url.pathname.startsWith("/f/")) { continue; }
    const copy = await copyOf(url);
    const age = copy ? Date.now() - Number(copy.headers.get("Kept-At")) : Infinity;
    if (age >= 0 && age < FRESH_ENOUGH) { continue; }
    try {
      const answer = await within(fetch(url, {credentials: "same-origin", redirect: "error"}), PATIENCE);
      const reader = answer.headers.get("Farm-Reader");
      if (reader) { await keep(reader, url, answer); }
    } catch (error) { return; }
  }
}

async function who() {
  const cache = await caches.open(WHO), said = await cache.match("/who");
  return said ? said.text() : "";
}

async function remember(reader) {
  if (await who() === reader) { return; }
  await forget();
  await (await caches.open(WHO)).put("/who", new Response(reader));
}

async function forget() {
  const names = (await caches.keys()).filter((name) => name.startsWith(KEPT) || name === WHO);
  await Promise.all(names.map((name) => caches.delete(name)));
}

async function copyOf(url) {
  const reader = await who();
  if (!reader || !(await caches.has(KEPT + reader))) { return undefined; }
  return (await caches.open(KEPT + reader)).match(url.pathname + url.search, {ignoreVary: true});
}

// A copy says at once that it is one, and from when: its banner is hidden only while the page comes from the book.
async function shown(copy) {
  const text = (await copy.text()).replace('id="kept" hidden', 'id="kept"');
  return new Response(text, {status: 200, headers: copy.headers});
}

async function none(url) {
  const own = await copyOf(new URL("/f/" + url.pathname.split("/")[2] + NO_CONNECTION, self.location.origin));
  const stands = own || await (await caches.open(SHELL_CACHE)).match(NO_CONNECTION, {ignoreVary: true});
  if (!stands) { return new Response("KEEP OUT / NO ENTRE. Not confirmed. / Sin confirmar.", {status: 503}); }
  return new Response(await stands.text(), {status: 503, headers: stands.headers});
}
