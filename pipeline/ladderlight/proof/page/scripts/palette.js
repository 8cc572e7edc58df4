/** How many pixels of each different screen show each code, as far as they are counted: by number of the content. */
const counted = new Map();

/** Count the pixels of all screens, one after the other, and say so after each. */
async function countAll(afterEach) {
  for (const run of proof.banks) {
    if (run.content === null || counted.has(run.content)) continue;
    const counts = new Uint32Array(palette.count);
    await loadBank(run.first);
    for (const code of scanBank(board, words, run.first)) counts[code]++;
    counted.set(run.content, counts);
    afterEach();
    await new Promise((resume) => setTimeout(resume));
  }
}

/** What is known of a code: its figures, and how many pixels show it in each bank. */
function codeWords(code) {
  const figures = element("p", {}, swatch(palette.hex(code)), element("b", {}, hex(code, palette.count - 1)));
  figures.append(` ${bits(code, palette.lines.length)}, ${palette.hex(code)}, ${palette.volts(code).map(volts).join(", ")}`);
  const list = element("ul", { class: "uses" });
  for (const run of proof.banks) {
    const pixels = counted.get(run.content)?.[code];
    if (!pixels) continue;
    const counts = `${nameOf(run)}: ${grouped(pixels)} ${pixels === 1 ? "pixel" : "pixels"}`;
    list.append(element("li", {}, element("span", { class: "tag" }, banksInWords(run)), ` ${counts}`));
  }
  const all = [...new Set(proof.banks.map(({ content }) => content))].filter((content) => content !== null);
  if (all.some((content) => !counted.has(content))) list.append(element("li", {}, "counting …"));
  else if (!list.children.length) list.append(element("li", {}, "in no bank"));
  return [figures, list];
}

/** Mark the colour under the pointer, or under the arrow keys, on the screen; a click holds it until the next. */
function followPalette(plot) {
  const images = [...plot.querySelectorAll("image")];
  let held = false;
  const at = (event) => {
    for (const image of images) {
      const box = image.getBoundingClientRect();
      const rows = palette.fields[image.dataset.field];
      const row = Math.floor(((event.clientY - box.top) / box.height) * rows.length);
      const column = Math.floor(((event.clientX - box.left) / box.width) * rows[0].length);
      if (column < 0 || column >= rows[0].length) continue;
      const code = rows[row]?.[column];
      if (code >= 0) return code;
    }
    return null;
  };
  plot.addEventListener("pointermove", (event) => {
    if (!held && event.pointerType === "mouse") view.set({ marked: at(event) });
  });
  plot.addEventListener("pointerleave", (event) => {
    if (!held && event.pointerType === "mouse") view.set({ marked: null });
  });
  plot.addEventListener("click", (event) => {
    const code = at(event);
    held = code !== null && !(held && view.get("marked") === code);
    view.set({ marked: held || event.pointerType === "mouse" ? code : null });
  });
  plot.addEventListener("keydown", (event) => {
    if (event.key === "Escape") {
      held = false;
      view.set({ marked: null });
    }
    const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!by || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    held = true;
    view.set({ marked: neighbour(view.get("marked"), by) });
  });
}

/** The code beside another in the plot, in the next field past an edge to the side; the first where none is marked. */
function neighbour(code, [right, down]) {
  const place = palette.fields.findIndex((rows) => rows.some((row) => row.includes(code)));
  if (code === null || place < 0) return palette.fields[0][0][0];
  const rows = palette.fields[place];
  const row = rows.findIndex((each) => each.includes(code));
  const column = rows[row].indexOf(code) + right;
  const inside = rows[row + down]?.[column];
  if (inside >= 0) return inside;
  const next = right ? palette.fields[place + right]?.[row] : undefined;
  return next ? next.at(right > 0 ? 0 : -1) : code;
}

function showMarked({ marked }) {
  const plot = document.getElementById("palette-plot");
  for (const image of plot.querySelectorAll("image")) {
    const rows = palette.fields[image.dataset.field];
    const row = rows.findIndex((each) => each.includes(marked));
    const [x, y, width, height] = ["x", "y", "width", "height"].map((name) => image[name].baseVal.value);
    const box = plot.querySelector(`[data-box="${image.dataset.field}"]`) ?? boxIn(image);
    box.toggleAttribute("hidden", row < 0);
    if (row < 0) continue;
    const [wide, high] = [width / rows[0].length, height / rows.length];
    const place = { x: x + rows[row].indexOf(marked) * wide, y: y + row * high, width: wide, height: high };
    for (const [key, value] of Object.entries(place)) box.setAttribute(key, value);
  }
  const reading = document.getElementById("palette-reading");
  const say = () => view.get("marked") === marked && reading.replaceChildren(...(marked === null ? [] : codeWords(marked)));
  say();
  if (marked !== null) countAll(say);
}

function boxIn(image) {
  const box = document.createElementNS(image.namespaceURI, "rect");
  box.setAttribute("class", "marked");
  box.dataset.box = image.dataset.field;
  image.after(box);
  return box;
}

/** Draw the bank's screen beside the palette, so that what a colour marks is in view. */
async function drawBeside({ bank, marked }) {
  const screen = document.getElementById("palette-screen");
  const [image, veil] = await Promise.all([boardImage(bank, "all"), marked === null ? null : veilOf(bank, marked)]);
  if (view.get("bank") !== bank || view.get("marked") !== marked) return;
  Object.assign(screen, { width: image.width, height: image.height });
  screen.style.aspectRatio = `${pixels.width * pixels.aspect} / ${pixels.height}`;
  const context = screen.getContext("2d");
  context.putImageData(new ImageData(image.rgba, image.width, image.height), 0, 0);
  if (veil) context.drawImage(await createImageBitmap(veil), 0, 0);
}

function startPalette() {
  if (!palette.fields.length) return;
  document.getElementById("palette-side").hidden = false;
  view.on(["bank", "marked"], drawBeside);
  const plot = document.getElementById("palette-plot");
  plot.tabIndex = 0;
  followPalette(plot);
  view.on(["marked"], showMarked);
}
