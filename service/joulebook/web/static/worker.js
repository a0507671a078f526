// Keeps the frame of the pages, and a notice for when the house does not answer. It never keeps a
// page or a reading: an old number must not be taken for one of now.
"use strict";

const OFFLINE = "OFFLINE"; // these two are filled in by the service
const FRAME = ["FRAME"];
const KEPT = `joulebook-frame-${OFFLINE}`;
const HEARD = "joulebook-heard"; // when the house last answered, and nothing else
const PATIENCE_MS = 20000;

async function keep() {
  const cache = await caches.open(KEPT);
  await cache.addAll(FRAME);
  await self.skipWaiting();
}

async function tidy() {
  const names = await caches.keys();
  const ours = names.filter((name) => name.startsWith("joulebook-"));
  await Promise.all(
    ours.filter((name) => name !== KEPT && name !== HEARD).map((name) => caches.delete(name)),
  );
  await self.clients.claim();
}

async function noteAnswer() {
  const cache = await caches.open(HEARD);
  await cache.put("/heard", new Response(String(Date.now())));
}

function outOfPatience() {
  return new Promise((_resolve, reject) => {
    setTimeout(() => reject(new Error("no answer")), PATIENCE_MS);
  });
}

async function page(event) {
  try {
    const answer = await Promise.race([fetch(event.request), outOfPatience()]);
    event.waitUntil(noteAnswer().catch(() => {}));
    return answer;
  } catch {
    const notice = await caches.match(OFFLINE);
    return notice || Response.error();
  }
}

async function frame(request) {
  return (await caches.match(request)) || fetch(request);
}

self.addEventListener("install", (event) => event.waitUntil(keep()));
self.addEventListener("activate", (event) => event.waitUntil(tidy()));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method !== "GET") {
    return;
  }
  if (request.mode === "navigate") {
    event.respondWith(page(event));
  } else if (FRAME.includes(new URL(request.url).pathname)) {
    event.respondWith(frame(request));
  }
});
