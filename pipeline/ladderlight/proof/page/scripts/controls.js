/** Bind what has data-view="NAME" to the view's value of that name. */
function bindControls(root) {
  const kinds = {
    radio: { read: (element) => element.value, write: (element, value) => (element.checked = element.value === value) },
    checkbox: { read: (element) => element.checked, write: (element, value) => (element.checked = value) },
    range: { read: (element) => Number(element.value), write: (element, value) => (element.value = value) },
    "select-one": { read: (element) => element.value, write: (element, value) => (element.value = value) },
  };
  for (const element of root.querySelectorAll("[data-view]")) {
    const { read, write } = kinds[element.type];
    const name = element.dataset.view;
    element.addEventListener("input", () => {
      if (element.type !== "radio" || element.checked) view.set({ [name]: read(element) });
    });
    view.on([name], (state) => write(element, state[name]));
  }
}

function startDistance() {
  const slider = document.getElementById("distance");
  const told = document.getElementById("distance-told");
  const { distance: usual } = proof.viewing;
  view.on(["distance"], ({ distance }) => {
    const text = distance ? `${distance} m${distance === usual ? " (recipe)" : ""}` : "at the pixels";
    told.textContent = text;
    slider.setAttribute("aria-valuetext", text);
    document.getElementById("distance-means").hidden = !distance;
  });
}

function startZoom() {
  const change = (by) => view.set({ zoom: Math.min(40, Math.max(1, view.get("drawn").scale + by)) });
  document.getElementById("smaller").addEventListener("click", () => change(-1));
  document.getElementById("larger").addEventListener("click", () => change(1));
  document.getElementById("fit").addEventListener("click", () => view.set({ zoom: 0 }));
}

/** Source and board in turn: by itself where motion is welcome, else when asked. */
function startFlicker() {
  const button = document.getElementById("flicker-run");
  const PERIOD = 500;
  let running = !still.matches;
  let timer = 0;
  function tick() {
    clearInterval(timer);
    const on = view.get("look") === "flicker" && running;
    if (on) timer = setInterval(() => view.set({ swapped: !view.get("swapped") }), PERIOD);
    button.textContent = running ? "Hold" : "Run";
  }
  button.addEventListener("click", () => {
    running = !running;
    tick();
  });
  document.getElementById("flicker-swap").addEventListener("click", () => view.set({ swapped: !view.get("swapped") }));
  view.on(["look"], ({ look }) => {
    document.getElementById("flicker").hidden = look !== "flicker";
    tick();
  });
}

function startParts() {
  const select = document.getElementById("part");
  const group = (label, options) => {
    const element = document.createElement("optgroup");
    element.label = label;
    for (const [value, text] of options) element.append(new Option(text, value));
    select.append(element);
  };
  if (board.memories.length > 1) group("One memory", board.memories.map(({ name }) => [`memory ${name}`, name]));
  for (const { name, data } of board.memories) {
    const driven = data.map((line, pin) => [line, pin]).filter(([line]) => line !== "-");
    const pins = driven.length ? driven : Array.from({ length: data.length }, (_, pin) => ["-", pin]);
    group(
      `One line of ${name}`,
      pins.map(([line, pin]) => [`line ${name} ${pin}`, line === "-" ? `D${pin}` : `D${pin}, ${line}`]),
    );
  }
}

/** The banks that one may step to: the first of each run, those without a picture left out where others have one. */
const stops = (() => {
  const filled = proof.banks.filter((run) => run.content !== null);
  return (filled.length ? filled : proof.banks).map((run) => run.first);
})();

/** Go to the run of banks so many further on, round at the ends. */
function stepBank(by) {
  const here = stops.findLastIndex((first) => first <= view.get("bank"));
  view.set({ bank: stops[(((here + by) % stops.length) + stops.length) % stops.length] });
}
