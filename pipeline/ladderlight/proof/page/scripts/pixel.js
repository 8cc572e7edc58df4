/** An element with attributes and children; text stays text. */
function element(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

const grouped = (number) => number.toLocaleString("en-GB");
const hex = (number, most) => `${number.toString(16).toUpperCase().padStart(Math.max(1, Math.ceil(Math.log2(most + 1) / 4)), "0")}h`;
const bits = (number, width) => number.toString(2).padStart(width, "0");
const volts = (value) => `${value.toFixed(3)} V`;
const nanoseconds = (seconds) => (seconds * 1e9).toFixed(1);
const range = (first, last) => (first === last ? grouped(first) : `${grouped(first)} to ${grouped(last)}`);

/** A step of the path: its name, and terms with their figures; each figure has a name, by which tests find it. */
function pathStep(title, terms) {
  const list = element("dl");
  for (const [term, name, ...value] of terms) {
    const wide = value[0] instanceof HTMLTableElement ? { class: "wide" } : {};
    list.append(element("div", wide, element("dt", {}, term), element("dd", { "data-figure": name }, ...value)));
  }
  return element("li", {}, element("h3", {}, title), list);
}

function swatch(colour) {
  const made = element("i", { class: "swatch" });
  made.style.background = colour;
  return made;
}

function memoryStep(board, each) {
  const memory = board.memories.find(({ name }) => name === each.name);
  const name = (figure) => `${each.name} ${figure}`;
  const pins = element("table", { class: "pins" });
  for (const run of [...each.pins].reverse()) {
    const cells = [run.pins, run.lines, run.levels].map((text) => element("td", {}, text));
    pins.append(element("tr", {}, ...cells));
  }
  const files = each.files.map(({ file, byte, count, offset }) =>
    element("div", {}, `${file} byte ${grouped(byte)}${count > 1 ? ` and ${count - 1} more` : ""} (${hex(byte + offset, memory.words)})`),
  );
  const outputs = each.outputs.flatMap(({ line, level }) => [
    element("span", { class: "level" }, `${line} `, element("b", {}, `${level}`)),
    " ",
  ]);
  const word = `${hex(each.word, 2 ** memory.width - 1)} ${bits(each.word, memory.width)}`;
  const terms = [
    ["Address pins", name("pins"), pins],
    ["Address", name("address"), hex(each.address, memory.words - 1)],
    ["Chip", name("chip"), `${each.chip.socket}, ${each.chip.name}, at ${hex(each.within, each.chip.words - 1)}`],
    ["In the file", name("file"), ...files],
    ["Word", name("word"), word],
    ["Data lines", name("data"), ...outputs],
  ];
  if (each.slot !== null) terms.splice(5, 0, ["Pixel of the word", name("slot"), `${each.slot + 1} of ${memory.shifts.length}`]);
  return pathStep(`${each.name}: ${each.part}`, terms);
}

/** The path of a pixel in words, from the monitor to its colour and its times. */
function pathOf(board, palette, { x, y }, bank, figures, { source, tile }) {
  const { counts, dots, lines, code } = figures;
  const screen = [
    ["Picture", "pixel", `column ${grouped(x)}, line ${grouped(y)} of bank ${bank}`],
    ["Monitor pixels", "dots", dots ? range(dots.first, dots.last) : "left or right of the visible part"],
    ["Monitor lines", "lines", range(lines.first, lines.last)],
    ["x counter", "x count", grouped(counts.x)],
    ["y counter", "y count", grouped(counts.y)],
  ];
  if (board.pictureDelay) screen.push(["Registers", "late", `show it ${grouped(board.pictureDelay)} counts later`]);
  const ladders = ["Red", "Green", "Blue"].map((gun, at) => {
    const limits = figures.limits ? `, ${figures.limits[at].map((end) => end.toFixed(3)).join(" to ")}` : "";
    return [gun, gun.toLowerCase(), `${volts(figures.volts[at])}${limits}`];
  });
  const width = palette.lines.length;
  const colour = [["Shown", "colour", swatch(figures.colour), figures.colour]];
  if (source) {
    colour.push(["Source, about", "source", swatch(source.colour), source.colour]);
    colour.push(["Difference, about", "difference", `${source.difference.toFixed(1)} (CIEDE2000)`]);
  }
  const held = nanoseconds(figures.held);
  const times = [["Held", "held", `${held} ns`]];
  if (figures.undefined === null) times.push(["Undefined", "undefined", "not known: no access time is given"]);
  else times.push(["Undefined", "undefined", `${nanoseconds(figures.undefined)} of ${held} ns`]);
  const steps = [
    pathStep("Screen and counters", screen),
    ...figures.memories.map((each) => memoryStep(board, each)),
    pathStep("Ladders", [["Code", "code", `${hex(code, palette.count - 1)} ${bits(code, width)}`], ...ladders]),
    pathStep("Colour", colour),
    pathStep("Time", times),
  ];
  if (tile) {
    const others = tile.places.length ? `${grouped(tile.places.length)}, marked on the screen` : "none on this screen";
    steps.push(pathStep("Tile", [["Number", "tile", `${tile.number} of ${tile.memory}`], ["Other places", "places", others]]));
  }
  return steps;
}

/** Follow the pointer over the screen, or arrow keys in it; a click holds the pixel until the next. */
function followPixel(screen, { width, height }) {
  let held = false;
  const at = (event) => {
    const box = screen.getBoundingClientRect();
    const part = (value, start, size, most) => Math.min(most - 1, Math.max(0, Math.floor(((value - start) / size) * most)));
    view.set({ x: part(event.clientX, box.left, box.width, width), y: part(event.clientY, box.top, box.height, height) });
  };
  screen.addEventListener("pointermove", (event) => {
    if (!held || event.pointerType !== "mouse") at(event);
  });
  screen.addEventListener("pointerdown", (event) => {
    held = event.pointerType === "mouse" && !held;
    at(event);
  });
  const keys = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  screen.addEventListener("keydown", (event) => {
    if (event.key === "Escape") view.set({ x: null, y: null });
    const step = keys[event.key];
    if (!step || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    held = true;
    const by = event.shiftKey ? 10 : 1;
    const moved = (value, most, step) => Math.min(most - 1, Math.max(0, (value ?? most >> 1) + step * by));
    view.set({ x: moved(view.get("x"), width, step[0]), y: moved(view.get("y"), height, step[1]) });
  });
}

/** The source's colour at a pixel of a bank that shows one picture, and its difference from the board's. */
async function sourceAt(bank, { x, y }, colour) {
  const pixels = await sourcePixels(bank);
  if (!pixels) return null;
  const { width, height } = proof.board.picture;
  const [column, row] = [Math.floor(((x + 0.5) * pixels.width) / width), Math.floor(((y + 0.5) * pixels.height) / height)];
  const rgb = [...pixels.data.subarray(4 * (row * pixels.width + column)).subarray(0, 3)];
  const shown = [1, 3, 5].map((start) => parseInt(colour.slice(start, start + 2), 16));
  const written = "#" + rgb.map((value) => value.toString(16).padStart(2, "0")).join("");
  return { colour: written, difference: colourDifference(labOf(rgb), labOf(shown)) };
}

const sourcePictures = new Map();

/** The pixels of the source view of a bank's picture, null where there is none or the bank shows several pictures. */
function sourcePixels(bank) {
  const run = proof.banks.find(({ first, last }) => first <= bank && bank <= last);
  const views = (run?.pictures ?? []).map((number) => proof.pictures[number].view);
  if (views.length !== 1 || !views[0]) return null;
  if (!sourcePictures.has(views[0])) sourcePictures.set(views[0], decoded(views[0]));
  return sourcePictures.get(views[0]);
}

async function decoded(address) {
  const image = new Image();
  image.src = address;
  await image.decode();
  const canvas = new OffscreenCanvas(image.naturalWidth, image.naturalHeight);
  const context = canvas.getContext("2d");
  context.drawImage(image, 0, 0);
  return context.getImageData(0, 0, canvas.width, canvas.height);
}

const tileSets = proof.tileSets.map((stored) => ({ ...stored, known: null }));

/** The tile that a pixel shows, with its other places on the screen; null where none of a set is. */
async function tileAt(bank, { x, y }) {
  const width = proof.board.picture.width;
  for (const stored of tileSets) {
    stored.addresses = await addressesOf(stored);
    if (stored.known?.bank !== bank) stored.known = { bank, ...tilesOf(proof.board, words, bank, stored) };
    const tile = stored.known.tile[y * width + x];
    if (tile < 0) continue;
    return { number: stored.numbers[tile], memory: stored.memory, places: otherPlaces(stored.known, width, { x, y }) };
  }
  return null;
}

async function addressesOf({ addresses }) {
  if (typeof addresses !== "string") return addresses;
  const steps = new Int32Array((await inflated(addresses)).buffer);
  let sum = 0;
  return steps.map((step) => (sum += step));
}

/** Show the path of the chosen pixel, as soon as what it needs is unpacked. */
async function showPixel({ bank, x, y }) {
  const path = document.getElementById("pixel-path");
  path.hidden = x === null || y === null;
  if (path.hidden) {
    view.set({ places: null });
    return;
  }
  await loadBank(bank);
  const figures = inspected(proof.board, words, palette, bank, { x, y });
  const [source, tile] = await Promise.all([sourceAt(bank, { x, y }, figures.colour), tileAt(bank, { x, y })]);
  if (view.get("bank") !== bank || view.get("x") !== x || view.get("y") !== y) return;
  path.replaceChildren(...pathOf(proof.board, palette, { x, y }, bank, figures, { source, tile }));
  path.dataset.at = `${bank} ${x} ${y}`;
  document.getElementById("pixel-said").textContent =
    `Column ${x}, line ${y}: code ${hex(figures.code, palette.count - 1)}, ${figures.colour}`;
  view.set({ places: tile?.places ?? null });
}

if (typeof DecompressionStream !== "undefined") {
  document.getElementById("pixel-section").hidden = false;
  followPixel(document.getElementById("screen"), proof.board.picture);
  view.on(["bank", "x", "y"], showPixel);
}
