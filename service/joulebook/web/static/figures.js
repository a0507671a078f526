// Draws the figures of a page once its numbers are painted. A page without them is complete, and
// one that does not come can be asked for again.
"use strict";

(() => {
  const PATIENCE_MS = 20000;
  const places = document.querySelectorAll("[data-figure]");
  const plotlyUrl = document.currentScript.dataset.plotly;
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  const fine = window.matchMedia("(pointer: fine)"); // a finger on a picture scrolls the page
  let script; // comes once for all figures

  function load(url) {
    return new Promise((resolve, reject) => {
      const element = document.createElement("script");
      element.src = url;
      element.onload = resolve;
      element.onerror = () => reject(new Error("script"));
      document.head.append(element);
    });
  }

  function loaded() {
    script ??= load(plotlyUrl).catch((error) => {
      script = undefined; // the next one asks for it anew
      throw error;
    });
    return script;
  }

  async function fetched(place) {
    const url = new URL(place.dataset.figure, window.location.href);
    url.searchParams.set("scheme", dark.matches ? "dark" : "light");
    url.searchParams.set("width", String(Math.min(4000, Math.max(10, place.clientWidth))));
    const answer = await fetch(url, { signal: AbortSignal.timeout(PATIENCE_MS) });
    if (!answer.ok) {
      throw new Error(String(answer.status));
    }
    return answer.json();
  }

  function show(place, state) {
    const around = place.parentElement;
    around.querySelector(".loading").hidden = state !== "loading";
    around.querySelector(".trouble").hidden = state !== "missing";
    place.hidden = state === "missing";
  }

  async function draw(place) {
    show(place, place.dataset.drawn && place.dataset.drawn !== "missing" ? "drawn" : "loading");
    try {
      await loaded();
      const figure = await fetched(place);
      if (place.closest("figure").previousElementSibling?.matches("nav.zoom") && fine.matches) {
        figure.layout.dragmode = "zoom";
        figure.layout.xaxis.fixedrange = false;
      }
      await window.Plotly.react(place, figure.data, figure.layout, figure.config);
      show(place, "drawn");
      place.dataset.drawn = dark.matches ? "dark" : "light";
      place.dispatchEvent(new Event("drawn"));
    } catch {
      show(place, "missing");
      place.dataset.drawn = "missing";
    }
  }

  async function drawAll(wanted) {
    for (const place of wanted) {
      await draw(place);
    }
  }

  function start() {
    for (const place of places) {
      const again = place.parentElement.querySelector(".trouble button");
      again.addEventListener("click", () => draw(place));
      place.addEventListener("redraw", () => draw(place));
    }
    dark.addEventListener("change", () => drawAll(places));
    window.addEventListener("online", () => {
      drawAll([...places].filter((place) => place.dataset.drawn === "missing"));
    });
    drawAll(places);
  }

  // Calls back once the numbers are on the screen: what comes with the script must not delay them.
  function whenPainted(then) {
    if (!PerformanceObserver.supportedEntryTypes.includes("paint")) {
      requestAnimationFrame(() => requestAnimationFrame(then)); // two frames on they are, as a rule
      return;
    }
    new PerformanceObserver((list, observer) => {
      if (list.getEntriesByName("first-contentful-paint").length) {
        observer.disconnect();
        then();
      }
    }).observe({ type: "paint", buffered: true });
  }

  whenPainted(start);
})();
