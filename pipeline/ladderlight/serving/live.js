// Refreshes a served page after each build, keeps what is seen of it, and shows the errors of a build.
const place = document.getElementById("live");
const { build, folder } = place.dataset;
const KEPT = `live ${location.pathname}`;
const PATIENCE = 1000; // milliseconds without a connection that are not worth a word
let source = null;
let waiting = 0;

const fields = () => document.querySelectorAll("input[id], select[id], textarea[id]");
const folds = () => document.querySelectorAll("details[id]");

function keepView() {
  history.scrollRestoration = "manual";
  sessionStorage.setItem(KEPT, JSON.stringify({
    scroll: [scrollX, scrollY],
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
  const back = () => scrollTo({ left: kept.scroll[0], top: kept.scroll[1], behavior: "instant" });
  back();
  addEventListener("load", () => {
    back();
    history.scrollRestoration = "auto";
  });
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

restoreView();
connect();
addEventListener("visibilitychange", () => (document.hidden ? disconnect() : connect()));
addEventListener("pagehide", disconnect);
addEventListener("pageshow", connect);
