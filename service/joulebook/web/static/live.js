// Renews the newest readings of a page every few seconds. Without it, "Look again" does the same.
"use strict";

(() => {
  const EVERY_MS = 5000;
  const url = document.querySelector("[data-live]").dataset.live;
  const status = document.querySelector("[data-live-status]");

  function put(attribute, name, text) {
    for (const place of document.querySelectorAll(`[data-${attribute}]`)) {
      if (place.getAttribute(`data-${attribute}`) === name && place.textContent !== text) {
        place.textContent = text;
      }
    }
  }

  function show(device) {
    put("headline", device.device, device.headline);
    put("heard", device.device, device.heard);
    for (const reading of device.readings) {
      put("reading", `${device.device}/${reading.quantity}`, reading.text);
    }
  }

  async function renew() {
    if (document.hidden) {
      return;
    }
    try {
      const answer = await fetch(url, { cache: "no-store" });
      if (!answer.ok) {
        throw new Error(String(answer.status));
      }
      (await answer.json()).devices.forEach(show);
      status.textContent = "";
    } catch {
      // The status is read aloud when it changes; saying the same again is no change.
      status.textContent = status.dataset.away;
    }
  }

  setInterval(renew, EVERY_MS);
  document.addEventListener("visibilitychange", renew);
})();
