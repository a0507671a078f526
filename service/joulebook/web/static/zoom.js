// Shows another part of the day in place: links, and a drag over the picture with a mouse. What is
// drawn and written then comes anew from the service. Without it, the links do the same.
"use strict";

(() => {
  const place = document.querySelector(".strips [data-figure]");
  const steps = () => document.querySelector('[data-renewed="steps"]');
  let asked = 0;

  function put(fresh) {
    const held = document.activeElement.closest("[data-step]");
    for (const old of document.querySelectorAll("[data-renewed]")) {
      const renewed = fresh.querySelector(`[data-renewed="${old.dataset.renewed}"]`);
      if (renewed) {
        const opened = old.querySelector("details")?.open;
        old.replaceWith(document.importNode(renewed, true));
        const details = document.querySelector(`[data-renewed="${old.dataset.renewed}"] details`);
        if (details && opened) {
          details.open = true;
        }
      }
    }
    if (held) {
      const again = steps().querySelector(`[data-step="${held.dataset.step}"]`);
      (again ?? steps().querySelector("a")).focus({ preventScroll: true });
    }
  }

  async function go(url) {
    asked += 1;
    const number = asked;
    try {
      const answer = await fetch(url);
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      const there = fresh.querySelector('[data-renewed="steps"]');
      if (!answer.ok || !there) {
        throw new Error(String(answer.status));
      }
      if (number !== asked) {
        return; // another part was asked for meanwhile
      }
      history.replaceState(null, "", there.dataset.here);
      put(fresh);
      place.dataset.figure = fresh.querySelector(".strips [data-figure]").dataset.figure;
      place.dispatchEvent(new Event("redraw"));
    } catch {
      window.location.assign(url);
    }
  }

  function dragged(change) {
    const [from, to] = [change["xaxis.range[0]"], change["xaxis.range[1]"]];
    if (from === undefined) {
      return;
    }
    const url = new URL(steps().dataset.here, window.location.href);
    const instant = (seconds) => new Date(Number(steps().dataset.start) + seconds * 1000);
    // Two minutes are the least that is shown.
    const end = Math.max(to, from + 120);
    url.searchParams.set("from", instant(Math.max(0, from)).toISOString());
    url.searchParams.set("to", instant(Math.min(end, Number(steps().dataset.length))).toISOString());
    go(url);
  }

  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[data-step]");
    if (!link || event.button || event.metaKey || event.ctrlKey || event.shiftKey || event.altKey) {
      return;
    }
    event.preventDefault();
    go(link.href);
    if (link.dataset.step === "part") {
      steps().scrollIntoView();
    }
  });

  place.addEventListener("drawn", () => {
    place.removeAllListeners("plotly_relayout");
    place.on("plotly_relayout", dragged);
  });
})();
