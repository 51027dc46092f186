"use strict";
/* Units' cards, on a page of their own or many on one page: the chart, the command to copy, and what a page says
   that was sent on without the script beside it. */
(() => {
  const { one, all, text } = window.coldsift;
  const cards = all(".unit");
  const isOpen = (card) => card.open ?? true;
  const complete = () => Boolean((window.Plotly || one("#chart-library")) && window.coldsiftCharts);

  /* A chart is drawn when its card is first open. */
  const drawn = new Map();
  function draw(card) {
    const place = one(".chart", card);
    if (!place || !complete()) return null;
    if (!drawn.has(card)) {
      place.dataset.drawn = "yes";
      drawn.set(card, window.coldsiftCharts.draw(place, one(".figure-data", card).textContent));
    }
    return drawn.get(card);
  }
  async function showOnChart({ start, end }, card) {
    await draw(card);
    const figure = one("figure", card);
    window.coldsiftCharts.show(one(".chart", figure), Number(start), Number(end));
    figure.focus({ preventScroll: true });
    figure.scrollIntoView({ block: "nearest" });
  }

  /* Copied where the browser allows it; else the words are selected, ready to be copied. */
  async function copyCommand(button) {
    const command = one("code", button.parentElement);
    try {
      await navigator.clipboard.writeText(command.textContent);
      button.textContent = text("Copied");
    } catch {
      getSelection().selectAllChildren(command);
    }
  }

  for (const card of cards) {
    card.addEventListener("toggle", (event) => event.target === card && card.open && draw(card));
    card.addEventListener("coldsift-open", (event) => {
      card.hidden = false;
      for (let part = event.target; part !== card; part = part.parentElement) {
        if (part.localName === "details") part.open = true;
      }
      if (card.localName === "details") card.open = true;
    });
    card.addEventListener("click", (event) => {
      const button = event.target.closest("button");
      if (button?.matches(".show")) showOnChart(button.dataset, card);
      if (button?.matches(".copy")) copyCommand(button);
    });
    for (const button of all(".copy", card)) button.hidden = false;
  }

  one("#open-urgent")?.addEventListener("click", () => {
    for (const card of cards) if (["go_now", "this_round"].includes(card.dataset.group)) card.open = true;
  });
  one("#close-all")?.addEventListener("click", () => {
    for (const card of cards) card.open = false;
  });
  const openers = one("#openers");
  if (openers) openers.hidden = false;

  addEventListener("beforeprint", () => {
    for (const card of cards) if (isOpen(card)) draw(card);
  });
  /* The chart library may stand further down. */
  addEventListener("DOMContentLoaded", () => {
    const alone = one(".alone");
    if (alone) alone.hidden = complete();
    for (const card of cards) {
      card.classList.toggle("charted", complete() && one(".chart", card) !== null);
      for (const figure of all("figure", card)) figure.hidden = !complete();
      if (isOpen(card)) draw(card);
    }
  });
})();
