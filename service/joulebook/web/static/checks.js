// Renews the list of checks, so that each ticks itself as readings prove it. Without it, "Look
// again" does the same.
"use strict";

(() => {
  const EVERY_MS = 30000;
  const status = document.querySelector("[data-renew-status]");

  function opened(list) {
    return new Set([...list.querySelectorAll("details[open]")].map((each) => each.dataset.check));
  }

  // Puts the new list in the old one's place; what was open, or held by the keyboard, stays so.
  function put(list, renewed) {
    const open = opened(list);
    const held = document.activeElement.closest("[data-check]");
    for (const each of renewed.querySelectorAll("details")) {
      each.open = open.has(each.dataset.check);
    }
    if (list.isEqualNode(renewed)) {
      return;
    }
    list.replaceWith(renewed);
    const again = [...renewed.querySelectorAll("details")].find(
      (each) => held && each.dataset.check === held.dataset.check,
    );
    if (again) {
      again.querySelector("summary").focus({ preventScroll: true });
    }
  }

  async function renew() {
    if (document.hidden) {
      return;
    }
    try {
      const answer = await fetch(location.href, { cache: "no-store" });
      if (!answer.ok) {
        throw new Error(String(answer.status));
      }
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      const list = document.querySelector("[data-renew]");
      const renewed = document.importNode(fresh.querySelector("[data-renew]"), true);
      put(list, renewed);
      status.textContent = "";
    } catch {
      // The status is read aloud when it changes; saying the same again is no change.
      status.textContent = status.dataset.away;
    }
  }

  setInterval(renew, EVERY_MS);
  document.addEventListener("visibilitychange", renew);
})();
