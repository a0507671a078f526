// Says since when the house has not answered, and goes on once it does.
"use strict";

(() => {
  const EVERY_MS = 10000;
  const place = document.querySelector("[data-since]");
  const status = document.querySelector("[data-status]");

  // English words in the order of the device's region.
  function words(at) {
    const asked = new Intl.Locale(navigator.language);
    const region = asked.region || (asked.language === "en" ? "GB" : asked.maximize().region);
    const form = { dateStyle: "long", timeStyle: "short" };
    return new Intl.DateTimeFormat(`en-${region}`, form).format(at);
  }

  function ago(at) {
    const minutes = Math.max(0, Math.floor((Date.now() - at) / 60000));
    if (minutes < 1) {
      return place.dataset.now;
    }
    if (minutes < 60) {
      return `${minutes}\u00a0min`;
    }
    const hours = Math.floor(minutes / 60);
    return hours < 48
      ? `${hours}\u00a0h ${minutes % 60}\u00a0min`
      : `${Math.floor(hours / 24)}\u00a0${place.dataset.days}`;
  }

  async function since() {
    const heard = await caches.match("/heard");
    if (heard) {
      const at = Number(await heard.text());
      const told = place.dataset.since.replace("{ago}", ago(at));
      place.textContent = told.replace("{when}", words(at));
    }
  }

  async function again() {
    if (document.hidden) {
      return;
    }
    try {
      await fetch("/healthz", { cache: "no-store" });
      location.reload();
    } catch {
      // The status is read aloud when it changes; saying the same again is no change.
      status.textContent = status.dataset.away;
      await since();
    }
  }

  since();
  setInterval(again, EVERY_MS);
  window.addEventListener("online", again);
  document.addEventListener("visibilitychange", again);
})();
