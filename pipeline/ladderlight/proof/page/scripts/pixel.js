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

/** Where a file has a word: formats with addresses count bytes or, as IEEE 1364 has it, elements. */
function placeWords({ format, byte, count, offset, element }) {
  const more = count > 1 ? ` and ${count - 1} more` : "";
  if (format === "verilog_mem") return `element ${hex((byte + offset) / element, 0xffff)}`;
  if (format === "intel_hex" || format === "s_record") return `address ${hex(byte + offset, 0xffff)}${more}`;
  return `byte ${grouped(byte)}${more}`;
}

function memoryStep(board, each) {
  const memory = board.memories.find(({ name }) => name === each.name);
  const name = (figure) => `${each.name} ${figure}`;
  const pins = element("table", { class: "pins" });
  for (const run of [...each.pins].reverse()) {
    const cells = [run.pins, run.lines, run.levels].map((text) => element("td", {}, text));
    pins.append(element("tr", {}, ...cells));
  }
  const files = each.files.map((place) => element("div", {}, `${place.file} ${placeWords(place)}`));
  const outputs = each.outputs.flatMap(({ line, level }) => [
    element("span", { class: "pin" }, `${line} `, element("b", {}, `${level}`)),
    " ",
  ]);
  const word = `${hex(each.word, 2 ** memory.width - 1)} ${bits(each.word, memory.width)}`;
  const terms = [
    ["Address pins", name("pins"), pins],
    ["Address", name("address"), hex(each.address, Math.max(0xffff, memory.words - 1))],
    ["Chip", name("chip"), `${each.chip.socket}, ${each.chip.name}, at ${hex(each.within, Math.max(0xffff, each.chip.words - 1))}`],
    ["In the file", name("file"), ...files],
    ["Word", name("word"), word],
    ["Data lines", name("data"), ...outputs],
  ];
  if (each.slot !== null) terms.splice(5, 0, ["Pixel of the word", name("slot"), `${each.slot + 1} of ${memory.shifts.length}`]);
  return pathStep(`${each.name}: ${each.part}`, terms);
}

/** The path of a pixel in words, from the monitor to its colour and its times. */
function pathOf(board, palette, { x, y }, bank, figures, { source, tile, marked }) {
  const { counts, dots, lines, code } = figures;
  const screen = [
    ["Picture", "pixel", `column ${grouped(x)}, line ${grouped(y)} of bank ${bank}`],
    ["Monitor pixels", "dots", range(dots.first, dots.last)],
    ["Monitor lines", "lines", range(lines.first, lines.last)],
    ["x counter", "x count", grouped(counts.x)],
    ["y counter", "y count", grouped(counts.y)],
  ];
  if (board.pictureDelay) screen.push(["Registers", "late", `show it ${grouped(board.pictureDelay)} counts later`]);
  if (board.blankingDelay) screen.push(["Sync, blanking", "blanking", `${grouped(board.blankingDelay)} counts late`]);
  const ladders = ["Red", "Green", "Blue"].map((gun, at) => {
    const limits = figures.limits ? `, ${figures.limits[at].map((end) => end.toFixed(3)).join(" to ")}` : "";
    return [gun, gun.toLowerCase(), `${volts(figures.volts[at])}${limits}`];
  });
  const width = palette.lines.length;
  const colour = [["Shown", "colour", swatch(figures.colour), figures.colour]];
  if (source) {
    colour.push(["Source", "source", swatch(source.colour), `about ${source.colour}`]);
    colour.push(["Difference", "difference", `about ${source.difference.toFixed(1)} (CIEDE2000)`]);
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
    const [title, term] = tile.pixels > 1 ? ["Tile", "Number"] : ["Look-up", "Entry"];
    const told = marked ? "marked" : "not marked";
    const others = tile.places.length ? `${grouped(tile.places.length)} on this screen, ${told}` : "none on this screen";
    steps.push(pathStep(title, [[term, "tile", `${tile.number} of ${tile.memory}`], ["Other places", "places", others]]));
  }
  return steps;
}

/** The source's colour at a pixel of a bank that shows one picture, and its difference from the board's. */
async function sourceAt(bank, at, colour) {
  const picture = new Set(runOf(bank).pictures.map((number) => proof.pictures[number].source)).size === 1 && pictureWithSource(bank);
  if (!picture || !at) return null;
  const rgba = await decodedView(picture.view);
  const from = 4 * (at.y * board.picture.width + at.x);
  const rgb = [...rgba.subarray(from, from + 3)];
  const shown = [1, 3, 5].map((start) => parseInt(colour.slice(start, start + 2), 16));
  const written = "#" + rgb.map((value) => value.toString(16).padStart(2, "0")).join("");
  return { colour: written, difference: colourDifference(labOf(rgb), labOf(shown)) };
}

const tileSets = proof.tileSets.map((stored) => ({ ...stored, known: null }));

/** The tile that a pixel shows, with its other places on the screen; null where none of a set is. */
async function tileAt(bank, at) {
  if (!at) return null;
  const { x, y } = at;
  const width = board.picture.width;
  for (const stored of tileSets) {
    stored.addresses = await addressesOf(stored);
    if (stored.known?.bank !== bank) stored.known = { bank, ...tilesOf(board, words, bank, stored) };
    const tile = stored.known.tile[y * width + x];
    if (tile < 0) continue;
    const size = stored.width * stored.height;
    return { number: stored.numbers[tile], memory: stored.memory, pixels: size, places: otherPlaces(stored.known, width, { x, y }) };
  }
  return null;
}

async function addressesOf({ addresses }) {
  if (typeof addresses !== "string") return addresses;
  const steps = new Int32Array((await inflated(addresses)).buffer);
  let sum = 0;
  return steps.map((step) => (sum += step));
}

/** Show the path of the chosen pixel, else of the middle one, as soon as what it needs is unpacked. */
async function showPixel({ bank, playing, ...chosen }) {
  const path = document.getElementById("pixel-path");
  const { x, y } = readPixel(chosen);
  const isChosen = chosen.x !== null && chosen.y !== null;
  document.getElementById("viewer").parentElement.classList.toggle("unchosen", !isChosen);
  if (playing && !isChosen) return; // nothing that nobody asked for may delay an animation
  await firstScreen.drawn;
  await loadBank(bank);
  const figures = inspected(board, words, palette, bank, { x, y });
  const at = addressedPixel(board, { x, y });
  const [source, tile] = await Promise.all([sourceAt(bank, at, figures.colour), tileAt(bank, at)]);
  if (view.get("bank") !== bank || view.get("x") !== chosen.x || view.get("y") !== chosen.y) return;
  const marked = isChosen && tile?.pixels > 1;
  path.replaceChildren(...pathOf(board, palette, { x, y }, bank, figures, { source, tile, marked }));
  path.dataset.at = `${bank} ${x} ${y}`;
  document.getElementById("pixel-said").textContent =
    isChosen ? `Column ${x}, line ${y}: code ${hex(figures.code, palette.count - 1)}, ${figures.colour}` : "";
  view.set({ places: marked ? tile.places.map((box) => shownAt(board, box)) : null });
}

/** A box of picture pixels where it is on the screen: registers may show it later. */
function shownAt({ x, pictureDelay, blankingDelay }, box) {
  const by = (pictureDelay - blankingDelay) >> x.shift;
  return { ...box, left: box.left + by, right: box.right + by };
}

function startPixel() {
  document.getElementById("pixel-section").hidden = false;
  view.on(["bank", "x", "y", "playing"], showPixel);
}
