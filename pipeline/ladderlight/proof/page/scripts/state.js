/**
 * What the page shows now, in named values. Listeners are called once at the start, and after changes together.
 *
 * @param {Object<string, *>} values The names and what they are at first.
 * @param {string[]} kept Names whose values the address of the page keeps, for others to open it.
 * @param {string} about What the values are about. A reload shows the same as before, unless that has changed.
 */
function makeState(values, kept, about = "") {
  const held = { ...values };
  const listeners = [];
  let changed = new Set();

  function tell() {
    const names = changed;
    changed = new Set();
    for (const { of, call } of listeners) {
      if (of.some((name) => names.has(name))) call(held);
    }
    keepSoon();
  }

  let keeping = 0;

  function keepSoon() {
    clearTimeout(keeping); // browsers allow few changes of the address in a short time
    keeping = setTimeout(keep, 300);
  }

  function keep() {
    const words = kept.filter((name) => held[name] !== null && held[name] !== values[name]);
    const text = words.map((name) => `${name}=${encodeURIComponent(held[name])}`).join("&");
    const plain = Object.entries(held).filter(([, value]) => typeof value !== "object");
    history.replaceState({ about, values: plain }, "", text ? `#${text}` : location.pathname + location.search);
  }

  function addressed() {
    const found = {};
    for (const [name, text] of new URLSearchParams(location.hash.slice(1))) {
      if (!kept.includes(name)) continue;
      if (typeof values[name] === "string") found[name] = text;
      else if (/^\d+$/.test(text)) found[name] = Number(text);
    }
    return found;
  }

  const state = {
    get: (name) => held[name],
    /** @param {Object<string, *>} some */
    set(some) {
      for (const [name, value] of Object.entries(some)) {
        if (!(name in held)) throw new Error(`the view has no ${name}`);
        if (held[name] === value) continue;
        if (!changed.size) queueMicrotask(tell);
        held[name] = value;
        changed.add(name);
      }
    },
    /** @param {string[]} of @param {function(Object<string, *>): void} call */
    on(of, call) {
      listeners.push({ of, call });
      call(held);
    },
  };
  if (history.state?.about === about) {
    for (const [name, value] of history.state.values) if (name in held) held[name] = value;
  }
  addEventListener("beforeunload", keep);
  Object.assign(held, addressed());
  addEventListener("hashchange", () => {
    const found = addressed();
    if (Object.keys(found).length) state.set({ ...Object.fromEntries(kept.map((name) => [name, values[name]])), ...found });
  });
  return state;
}
