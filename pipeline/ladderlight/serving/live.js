// Refreshes a served page after each build, keeps what is seen of it, and shows the errors of a build.
const place = document.getElementById("live");
const { build, folder } = place.dataset;
const KEPT = `live ${location.pathname}`;
const PATIENCE = 1000; // milliseconds without a connection that are not worth a word
let source = null;
let waiting = 0;

const here = () => ({ top: scrollY, left: scrollX });
const fields = () => document.querySelectorAll("input[id], select[id], textarea[id]");
const folds = () => document.querySelectorAll("details[id]");

function keepView() {
  history.scrollRestoration = "manual";
  sessionStorage.setItem(KEPT, JSON.stringify({
    scroll: here(),
    places: placesAtTop(),
    focus: document.activeElement?.id,
    fields: [...fields()].map(({ id, value, checked }) => [id, value, checked]),
    open: [...folds()].map(({ id, open }) => [id, open]),
  }));
}

function restoreView() {
  const kept = JSON.parse(sessionStorage.getItem(KEPT) ?? "null");
  sessionStorage.removeItem(KEPT);
  if (!kept) return;
  for (const [id, open] of kept.open) {
    const fold = document.getElementById(id);
    if (fold) fold.open = open;
  }
  for (const [id, value, checked] of kept.fields) {
    const field = document.getElementById(id);
    if (!field || (field.value === value && field.checked === checked)) continue;
    if (field.type === "checkbox" || field.type === "radio") field.checked = checked;
    else field.value = value;
    for (const kind of ["input", "change"]) field.dispatchEvent(new Event(kind, { bubbles: true }));
  }
  if (kept.focus) document.getElementById(kept.focus)?.focus({ preventScroll: true });
  keepPlace(kept);
  // As soon as a page has loaded, the browser would go back to its own idea of the place.
  addEventListener("load", () => setTimeout(() => (history.scrollRestoration = "auto"), PATIENCE));
}

const isFixed = (element) =>
  element !== null && (["fixed", "sticky"].includes(getComputedStyle(element).position) || isFixed(element.parentElement));

/** The least element that crosses the top of the window, and those around it: how to find each, and how far it is from there. */
function placesAtTop() {
  const crossing = [...document.querySelectorAll("body *")].filter((each) => {
    const { top, bottom, height } = each.getBoundingClientRect();
    return height > 0 && top <= 0 && bottom > 0 && !each.ownerSVGElement && !isFixed(each);
  });
  const places = [];
  const heightOf = (each) => each.getBoundingClientRect().height;
  for (let each = crossing.sort((a, b) => heightOf(a) - heightOf(b))[0]; each && each !== document.body; each = each.parentElement) {
    places.push({ path: pathTo(each), tag: each.tagName, top: each.getBoundingClientRect().top });
  }
  return places;
}

/** A selector of an element: from the nearest one that has an id. */
function pathTo(element) {
  if (element.id) return `#${CSS.escape(element.id)}`;
  const parent = element.parentElement;
  const number = [...parent.children].indexOf(element) + 1;
  return `${parent === document.body ? "body" : pathTo(parent)} > :nth-child(${number})`;
}

/** Hold what was at the top of the window there, whatever takes its size above it, until the reader moves the page. */
function keepPlace({ scroll, places }) {
  const found = places.map((place) => ({ ...place, element: document.querySelector(place.path) }));
  const anchor = found.find(({ element, tag }) => element?.tagName === tag && element.getBoundingClientRect().height > 0);
  const missed = () => (anchor ? anchor.element.getBoundingClientRect().top - anchor.top : scroll.top - scrollY);
  const ends = ["wheel", "touchstart", "pointerdown", "keydown"];
  let set = here();
  function correct() {
    if (anchor?.element.isConnected === false) return end();
    if (Math.abs(missed()) < 0.5) return;
    scrollTo({ left: scroll.left, top: scrollY + missed(), behavior: "instant" });
    set = here();
  }
  const sizes = new ResizeObserver(correct);
  function end() {
    sizes.disconnect();
    removeEventListener("scroll", moved);
    for (const each of ends) removeEventListener(each, end);
  }
  const isLoaded = () => document.readyState === "complete"; // before, the page goes to its fragment by itself
  const moved = () => isLoaded() && Math.abs(scrollY - set.top) > 1 && Math.abs(missed()) > 1 && end();
  scrollTo({ ...scroll, behavior: "instant" });
  correct();
  sizes.observe(document.body);
  addEventListener("load", correct);
  addEventListener("scroll", moved, { passive: true });
  for (const each of ends) addEventListener(each, end, { passive: true });
}

/** Shows or hides the words for a state: "errors" or "lost". */
function show(when, shown) {
  for (const each of place.querySelectorAll(`[data-when="${when}"]`)) each.hidden = !shown;
  place.hidden = ![...place.children].some((each) => !each.hidden);
}

function hear({ builds, errors }) {
  if (String((folder in builds ? builds[folder] : Object.values(builds)[0]) ?? 0) !== build) {
    source.close();
    keepView();
    location.reload();
    return;
  }
  const items = errors.map((error) => Object.assign(document.createElement("li"), { textContent: error }));
  place.querySelector("ul").replaceChildren(...items);
  show("errors", errors.length > 0);
}

function connect() {
  if (source || document.hidden) return; // browsers have few connections for all tabs together
  source = new EventSource("/.events");
  source.onopen = () => {
    clearTimeout(waiting);
    waiting = 0;
    show("lost", false);
  };
  source.onmessage = ({ data }) => hear(JSON.parse(data));
  source.onerror = () => {
    waiting ||= setTimeout(() => show("lost", true), PATIENCE);
    if (source.readyState !== EventSource.CLOSED) return;
    source = null;
    setTimeout(connect, PATIENCE);
  };
}

function disconnect() {
  clearTimeout(waiting);
  waiting = 0;
  source?.close();
  source = null;
}

/** Look for a page that is missing, which another command may make. */
async function awaitPage() {
  const answer = await fetch(location.href, { method: "HEAD" }).catch(() => null);
  if (answer?.ok) location.reload();
  else setTimeout(awaitPage, 2 * PATIENCE);
}

restoreView();
if ("gone" in place.dataset) awaitPage();
connect();
addEventListener("visibilitychange", () => (document.hidden ? disconnect() : connect()));
addEventListener("pagehide", disconnect);
addEventListener("pageshow", connect);
