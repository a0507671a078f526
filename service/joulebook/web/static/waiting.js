// Loads the page again while something is being made, until it is. Without it, "Look again" does.
"use strict";

(() => {
  const EVERY_MS = 2000;

  setInterval(async () => {
    if (document.hidden) {
      return;
    }
    try {
      const answer = await fetch(location.href, { cache: "no-store" });
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (answer.ok && !fresh.querySelector("[data-waiting]")) {
        location.replace(location.pathname);
      }
    } catch {
      // The next round asks again.
    }
  }, EVERY_MS);
})();
