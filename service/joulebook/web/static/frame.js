// Puts the notice for when the house does not answer onto this device. Browsers allow that over
// https and to the machine itself only; elsewhere the browser's own notice shows.
"use strict";

if ("serviceWorker" in navigator) {
  window.addEventListener("load", () => {
    navigator.serviceWorker.register("/worker.js").catch(() => {});
  });
}
