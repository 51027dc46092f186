"use strict";
/* What every page shares: words, the reader's preferences, state kept in the address, and the parts of a page. */
window.coldsift = (() => {
  const one = (selector, within = document) => within.querySelector(selector);
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];

  const texts = JSON.parse(document.getElementById("texts").textContent);
  const text = (words) => texts[words] ?? words;

  /* State in the address, as #key=value&key=value, so that it can be sent on. */
  function decoded(words) {
    try {
      return decodeURIComponent(words);
    } catch {
      return words;
    }
  }
  const read = () => {
    const hash = location.hash.slice(1);
    return new URLSearchParams(hash.includes("=") ? hash : hash ? { at: decoded(hash) } : {});
  };
  const write = (state, changes) => {
    for (const [key, value] of Object.entries(changes)) {
      if (value === "" || value === null) state.delete(key);
      else state.set(key, value);
    }
    return state;
  };
  const address = {
    get: (key) => read().get(key) ?? "",
    set(changes) {
      const state = write(read(), changes);
      history.replaceState(null, "", state.size ? `#${state}` : location.pathname + location.search);
    },
    /* The whole address with these changes, and what the reader prefers. */
    with: (changes) => `${location.href.split("#")[0]}#${write(read(), { ...stated(), ...changes })}`,
  };

  /* Preferences: in the address first, else as last time on this device. */
  const KEPT = "coldsift preferences";
  function kept() {
    try {
      return JSON.parse(localStorage.getItem(KEPT) ?? "{}") ?? {};
    } catch {
      return {};
    }
  }
  const offsetOf = (value) => {
    const minutes = Number(value);
    return Number.isInteger(minutes) && Math.abs(minutes) <= 14 * 60 ? minutes : 0;
  };
  const schemeOf = (value) => (["light", "dark"].includes(value) ? value : "");
  const preferences = { temperature: "C", offset: 0, scheme: "" };
  function recall() {
    const last = kept();
    preferences.temperature = (address.get("temperature") || last.temperature) === "F" ? "F" : "C";
    preferences.offset = offsetOf(address.get("offset") || last.offset || 0);
    preferences.scheme = schemeOf(last.scheme);
  }
  recall();
  const stated = () => ({ temperature: preferences.temperature, offset: String(preferences.offset) });
  const USUAL = { temperature: "C", offset: "0" };
  /* What is as usual needs no words, unless the address had some. */
  const unusual = () =>
    Object.fromEntries(Object.entries(stated()).filter(([key, value]) => value !== USUAL[key] || address.get(key)));
  const listeners = [];
  function tell() {
    colour();
    convertPage();
    for (const listener of listeners) listener();
  }
  function prefer(changes) {
    Object.assign(preferences, changes);
    try {
      localStorage.setItem(KEPT, JSON.stringify(preferences));
    } catch {
      /* Refused: it lasts as long as the page is open. */
    }
    address.set(unusual());
    tell();
  }

  /* Colours: as the device has it unless the reader chose, and light on paper. Charts find the outcome in
     data-scheme. */
  const darkDevice = matchMedia("(prefers-color-scheme: dark)");
  let printing = false;
  function colour() {
    const dark = !printing && (preferences.scheme || (darkDevice.matches ? "dark" : "light")) === "dark";
    one("#dark").media = dark ? "screen" : "not all";
    document.documentElement.dataset.scheme = dark ? "dark" : "light";
  }
  function recolour() {
    const before = document.documentElement.dataset.scheme;
    colour();
    if (document.documentElement.dataset.scheme !== before) for (const listener of listeners) listener();
  }
  darkDevice.addEventListener("change", recolour);
  for (const [event, now] of [["beforeprint", true], ["afterprint", false]]) {
    addEventListener(event, () => {
      printing = now;
      recolour();
    });
  }
  colour();

  const fahrenheit = () => preferences.temperature === "F";
  const celsius = (value) => (fahrenheit() ? value * 1.8 + 32 : value);
  const kelvins = (value) => (fahrenheit() ? value * 1.8 : value);
  const temperatureUnit = () => (fahrenheit() ? "°F" : "°C");
  const shift = (milliseconds) => milliseconds + preferences.offset * 60000;
  function timeName(offset = preferences.offset) {
    if (!offset) return "UTC";
    const [hours, minutes] = [Math.floor(Math.abs(offset) / 60), Math.abs(offset) % 60];
    return `UTC${offset < 0 ? "−" : "+"}${hours}${minutes ? `:${String(minutes).padStart(2, "0")}` : ""}`;
  }

  /* Texts of the page: numbers with °C, K, K/h, K/d or K·h, and times to the minute, in the reader's units. What logs
     and people wrote stays as it is. */
  const NUMBER = "[−-]?\\d[\\d\u202f]*(?:\\.\\d+)?";
  const QUANTITY = new RegExp(
    `(?<![\\p{L}\\d.])(${NUMBER})((?: (?:to|and|a|y) | – |–)(${NUMBER}))?([\u00a0 ])(°C|K/h|K/d|K·h|K)(?![\\p{L}\\d/·])`, "gu",
  );
  const MOMENT = /(?<!\d)(\d{4})-(\d\d)-(\d\d)([ T])(\d\d):(\d\d)(?![:\dZ])/g;
  const ZONE = /\bUTC\b(?![+−-]\d)/g;
  const AS_WRITTEN = "script, style, template, code, textarea, .as-logged, .chart, .switches";
  const SHOWN_UNIT = { "°C": "°F", K: "°F", "K/h": "°F/h", "K/d": "°F/d", "K·h": "°F·h" };
  const originals = new WeakMap();

  function inFahrenheit(number, unit) {
    const given = (number.split(".")[1] ?? "").length;
    const value = Number(number.replace("−", "-").replaceAll("\u202f", ""));
    const exact = unit === "°C" ? celsius(value) : kelvins(value);
    /* A whole degree Celsius is seldom a whole degree Fahrenheit. */
    const digits = given || (Number.isInteger(Number(exact.toFixed(6))) ? 0 : 1);
    const shown = exact.toFixed(digits);
    const [whole, rest] = (Number(shown) === 0 ? shown.replace("-", "") : shown).replace("-", "−").split(".");
    const spaced = number.includes("\u202f") ? whole.replace(/\B(?=(\d{3})+$)/g, "\u202f") : whole;
    return rest ? `${spaced}.${rest}` : spaced;
  }
  function converted(words) {
    let said = words;
    if (fahrenheit()) {
      said = said.replace(QUANTITY, (whole, first, join, second, blank, unit) => {
        const joined = join ? join.slice(0, join.length - second.length) + inFahrenheit(second, unit) : "";
        return inFahrenheit(first, unit) + joined + blank + SHOWN_UNIT[unit];
      });
    }
    if (preferences.offset) {
      said = said.replace(MOMENT, (whole, year, month, day, join, hour, minute) => {
        const moment = new Date(shift(Date.UTC(year, month - 1, day, hour, minute)));
        return Number.isNaN(moment.getTime()) ? whole : moment.toISOString().slice(0, 16).replace("T", join);
      });
      said = said.replace(ZONE, timeName());
    }
    return said;
  }
  function convert(node) {
    if (node.parentElement?.closest(AS_WRITTEN)) return;
    const known = originals.get(node);
    /* A script may have written new words into a text that was converted before. */
    const words = known && known.shown === node.data ? known.words : node.data;
    const shown = converted(words);
    if (shown !== node.data) node.data = shown;
    if (shown !== words) originals.set(node, { words, shown });
    else originals.delete(node);
  }
  function convertWithin(root) {
    const walker = document.createTreeWalker(root, NodeFilter.SHOW_TEXT);
    for (let node = walker.nextNode(); node; node = walker.nextNode()) convert(node);
  }
  let everConverted = false;
  function convertPage() {
    if (!fahrenheit() && !preferences.offset && !everConverted) return;
    everConverted = true;
    convertWithin(document.body);
  }
  new MutationObserver((changes) => {
    if (!everConverted) return;
    for (const change of changes) {
      for (const node of change.addedNodes) {
        if (node.nodeType === Node.TEXT_NODE) convert(node);
        else if (node.nodeType === Node.ELEMENT_NODE) convertWithin(node);
      }
    }
  }).observe(document.body, { childList: true, subtree: true });

  /* The switches. */
  const switches = one("form.switches");
  const [temperature, offset, scheme] = ["#temperature", "#offset", "#scheme"].map((each) => one(each));
  const option = (minutes) => new Option(minutes ? timeName(minutes) : "UTC", String(minutes));
  function showPreferences() {
    if (!one(`option[value="${preferences.offset}"]`, offset)) offset.append(option(preferences.offset));
    temperature.value = preferences.temperature;
    offset.value = String(preferences.offset);
    scheme.value = preferences.scheme;
  }
  const shipsTime = document.createElement("optgroup");
  shipsTime.label = text("ship’s time");
  for (let minutes = -12 * 60; minutes <= 14 * 60; minutes += 30) if (minutes) shipsTime.append(option(minutes));
  offset.append(option(0), shipsTime);
  showPreferences();
  temperature.addEventListener("change", () => prefer({ temperature: temperature.value }));
  offset.addEventListener("change", () => prefer({ offset: offsetOf(offset.value) }));
  scheme.addEventListener("change", () => prefer({ scheme: schemeOf(scheme.value) }));
  switches.addEventListener("submit", (event) => event.preventDefault());
  switches.hidden = false;

  /* Parts of the page: one is shown at a time; a link to a place inside another part shows that part. */
  const views = all(".view");
  const viewListeners = [];
  function show(view) {
    for (const each of views) each.hidden = each !== view;
    for (const link of all("nav.views a")) {
      if (link.hash === `#${view.id}`) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    }
    for (const listener of viewListeners) listener(view);
  }
  function goTo(id) {
    const place = id ? document.getElementById(id) : null;
    const view = place?.closest(".view") ?? (views.length ? views[0] : null);
    if (view?.hidden !== false || !one("nav.views [aria-current]")) if (view) show(view);
    if (!place) return;
    place.dispatchEvent(new CustomEvent("coldsift-open", { bubbles: true }));
    if (place === view) scrollTo(0, 0);
    else place.scrollIntoView();
  }
  document.addEventListener("click", (event) => {
    const link = event.target.closest?.('a[href^="#"]');
    if (!link || event.defaultPrevented || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    const id = decoded(link.hash.slice(1));
    address.set({ at: id });
    goTo(id);
    const place = document.getElementById(id);
    if (place) {
      place.tabIndex = place.tabIndex >= 0 ? place.tabIndex : -1;
      place.focus({ preventScroll: true });
    }
  });

  /* Between the pages of a report the state goes along: the list is as it was when the reader comes back. */
  function carry(event) {
    const link = event.target.closest?.('a[href*=".html"]');
    if (!link) return;
    link.dataset.page ??= link.getAttribute("href");
    const [page, own = ""] = link.dataset.page.split("#");
    const state = write(read(), { at: "", ...unusual(), ...Object.fromEntries(new URLSearchParams(own)) });
    link.setAttribute("href", state.size ? `${page}#${state}` : page);
  }
  for (const kind of ["click", "auxclick"]) document.addEventListener(kind, carry, true);

  addEventListener("hashchange", () => {
    const before = JSON.stringify(preferences);
    recall();
    showPreferences();
    if (JSON.stringify(preferences) !== before) tell();
    goTo(address.get("at"));
  });
  addEventListener("DOMContentLoaded", () => {
    convertPage();
    goTo(address.get("at"));
  });

  /* What was deflated (zlib) and written in base64. */
  function inflated(words) {
    const bytes = Uint8Array.from(atob(words), (letter) => letter.charCodeAt(0));
    return new Response(new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate")));
  }

  /* The chart library may lie on the page, deflated: running it takes a second, so that waits for a chart. */
  let running = null;
  async function run(stored) {
    const script = document.createElement("script");
    script.textContent = await inflated(stored.textContent).text();
    document.body.append(script);
  }
  function chartLibrary() {
    const stored = document.getElementById("chart-library");
    if (stored && !running) running = run(stored);
    return running ?? Promise.resolve();
  }

  return {
    one, all, text, address, preferences, celsius, kelvins, temperatureUnit, shift, timeName, goTo, inflated,
    chartLibrary,
    onPreferences: (listener) => listeners.push(listener),
    onView: (listener) => viewListeners.push(listener),
  };
})();
