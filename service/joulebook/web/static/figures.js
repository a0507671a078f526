// Draws the figures of a page once its numbers are painted. A page without them is complete.
"use strict";

(() => {
  const places = document.querySelectorAll("[data-figure]");
  const plotlyUrl = document.currentScript.dataset.plotly;
  const dark = window.matchMedia("(prefers-color-scheme: dark)");

  function loaded(url) {
    return new Promise((resolve, reject) => {
      const script = document.createElement("script");
      script.src = url;
      script.onload = resolve;
      script.onerror = () => reject(new Error("the drawing script did not load"));
      document.head.append(script);
    });
  }

  async function draw(place) {
    const url = new URL(place.dataset.figure, window.location.href);
    url.searchParams.set("scheme", dark.matches ? "dark" : "light");
    url.searchParams.set("width", String(Math.min(4000, Math.max(10, place.clientWidth))));
    const answer = await fetch(url);
    if (!answer.ok) {
      throw new Error(`${url.pathname} answered ${answer.status}`);
    }
    const figure = await answer.json();
    await window.Plotly.react(place, figure.data, figure.layout, figure.config);
    place.dataset.drawn = dark.matches ? "dark" : "light";
  }

  async function drawAll() {
    for (const place of places) {
      try {
        await draw(place);
      } catch (error) {
        tell(place, error);
      }
    }
  }

  function tell(place, error) {
    const words = document.createElement("p");
    words.className = "trouble";
    words.textContent = `The picture is missing: ${error.message}. The numbers on this page are complete.`;
    place.replaceChildren(words);
    place.dataset.drawn = "missing";
  }

  async function start() {
    try {
      await loaded(plotlyUrl);
    } catch (error) {
      places.forEach((place) => tell(place, error));
      return;
    }
    await drawAll();
    dark.addEventListener("change", drawAll);
  }

  // Two frames on, the page has been painted.
  requestAnimationFrame(() => requestAnimationFrame(start));
})();
