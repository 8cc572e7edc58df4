const desk = document.getElementById("desk");
const canvas = document.getElementById("screen");
const stage = document.getElementById("stage");
const edge = document.getElementById("edge");
const GAP = 12;
/** Settled once the screen has been drawn for the first time; what takes time waits for it. */
const firstScreen = {};
firstScreen.drawn = new Promise((end) => (firstScreen.end = end));
/** What stays in one window with the screen: caption and strip below it, in window pixels; of a low window the screen takes a share. */
const BELOW = 150;
const LEAST_SHARE = 0.6;

/** How the panes lie: their size in device pixels, how many, and whether side by side. */
function layoutOf(look, shape, zoom) {
  const ratio = devicePixelRatio || 1;
  const wide = Math.max(1, stage.parentElement.clientWidth - 2 * GAP) * ratio;
  const top = stage.getBoundingClientRect().top + scrollY;
  const high = Math.max(200, innerHeight * LEAST_SHARE, innerHeight - top - BELOW) * ratio;
  const aspect = shape === "monitor" ? pixels.aspect : 1;
  const panes = look === "side" ? 2 : 1;
  const gap = Math.round(GAP * ratio);
  const fit = (across, down) =>
    Math.min(
      (wide - (across - 1) * gap) / (across * pixels.width),
      (high - (down - 1) * gap) / ((down * pixels.height) / aspect),
    );
  const beside = fit(panes, 1);
  const below = fit(1, panes);
  const across = beside >= below;
  const scale = zoom || Math.max(1, Math.floor(Math.max(beside, below)));
  const width = scale * pixels.width;
  const height = Math.round((scale * pixels.height) / aspect);
  return { ratio, scale, width, height, gap, panes, across: panes > 1 && across, fits: scale <= Math.max(beside, below) };
}

/** Where a pane begins. */
const paneAt = (layout, number) =>
  layout.across ? [number * (layout.width + layout.gap), 0] : [0, number * (layout.height + layout.gap)];

function drawImage(context, image, x, y, layout) {
  const whole = layout.height % pixels.height === 0 && !image.smooth;
  context.imageSmoothingEnabled = !whole;
  context.imageSmoothingQuality = "high";
  let from = asCanvas(image);
  if (!whole && !image.smooth) {
    // Pixels that are not a whole number high keep their edges: enlarged by whole numbers first, then brought to size.
    const times = Math.ceil(layout.scale / Math.max(1, image.width / pixels.width)) + 1;
    const large = new OffscreenCanvas(image.width * times, image.height * times);
    const larger = large.getContext("2d");
    larger.imageSmoothingEnabled = false;
    larger.drawImage(from, 0, 0, large.width, large.height);
    from = large;
  }
  context.drawImage(from, x, y, layout.width, layout.height);
}

/** The images of the panes, in their order, and for a split the one that lies on the left. */
const imagesOf = remembered(4, async (key) => {
  const { bank, look, part, distance, swapped } = JSON.parse(key);
  const plain = await boardImage(bank, part);
  const own = fromDistance(plain, distance);
  const source = look === "board" ? null : await sourceImage(bank, plain);
  if (!source) return { panes: [own], left: null };
  const before = fromDistance(source, distance);
  switch (look) {
    case "source":
      return { panes: [before], left: null };
    case "side":
      return { panes: [before, own], left: null };
    case "split":
      return { panes: [own], left: before };
    case "flicker":
      return { panes: [swapped ? before : own], left: null };
    case "difference":
      return { panes: [difference(before, own)], left: null };
    default:
      return { panes: [own], left: null };
  }
});

/** Give the canvas its size, and lay what marks pixels over the pane with the board. */
function resize(layout) {
  const [left, top] = paneAt(layout, layout.panes - 1);
  const size = [left + layout.width, top + layout.height];
  if (canvas.width !== size[0] || canvas.height !== size[1]) [canvas.width, canvas.height] = size;
  const inWindow = (length) => `${length / layout.ratio}px`;
  [canvas.style.width, canvas.style.height] = size.map(inWindow);
  for (const id of ["veil", "boxes"]) {
    const [x, y, width, height] = [left, top, layout.width, layout.height].map(inWindow);
    Object.assign(document.getElementById(id).style, { left: x, top: y, width, height });
  }
  view.set({ drawn: layout });
}

async function draw(state) {
  const asked = { ...state };
  const { bank, look, part, distance, swapped } = asked;
  const images = await imagesOf(JSON.stringify({ bank, look, part, distance, swapped }));
  const marks = asked.moments && asked.look !== "source" ? await marksOf(asked.bank) : null;
  const layout = layoutOf(images.panes.length > 1 ? "side" : "board", asked.shape, asked.zoom);
  resize(layout);
  const context = canvas.getContext("2d");
  context.clearRect(0, 0, canvas.width, canvas.height);
  images.panes.forEach((image, pane) => drawImage(context, image, ...paneAt(layout, pane), layout));
  const own = images.panes.length - 1;
  if (images.left) {
    const reach = Math.round((asked.split / 100) * layout.width);
    context.save();
    context.beginPath();
    context.rect(0, 0, reach, layout.height);
    context.clip();
    drawImage(context, images.left, 0, 0, layout);
    context.restore();
  }
  if (marks) {
    context.imageSmoothingEnabled = false;
    context.drawImage(marks, ...paneAt(layout, own), layout.width, layout.height);
  }
  edge.hidden = !images.left;
  edge.style.left = `${(asked.split / 100) * (layout.width / layout.ratio)}px`;
  edge.setAttribute("aria-valuenow", asked.split);
  describe(asked, layout, images);
}

const nameOf = (run) => {
  const names = [...new Set(run.pictures.map((at) => proof.pictures[at].name))];
  return names.length ? names.join(", ") : "no picture";
};
const banksInWords = (run) => (run.first === run.last ? `bank ${run.first}` : `banks ${run.first} to ${run.last}`);
const LOOKS = {
  board: "",
  source: "the source",
  side: "source and board side by side",
  split: "source left of the edge, board right of it",
  flicker: "source and board in turn",
  difference: "grey where board and source agree, lighter where the board is lighter",
};

/** Put text where it is not already: readers of live regions hear every change. */
function tell(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/** Say in words what the canvas shows. */
function describe(state, layout, images) {
  const run = runOf(state.bank);
  const title = `${banksInWords(run)}: ${nameOf(run)}`;
  const picture = pictureWithSource(state.bank);
  const looked = picture ? LOOKS[state.look] : "";
  const missing = !picture && state.look !== "board" ? "no source to compare with" : "";
  const times = `${layout.scale} device pixel${layout.scale > 1 ? "s" : ""} per board pixel`;
  const coarse = picture && state.look !== "board" && proof.views[picture.view].down > 1 ? "the source coarse, to keep the page small" : "";
  const size = state.shape === "monitor" ? "the monitor's proportions" : times;
  const far = state.distance ? `from ${state.distance}\u00a0m` : "";
  tell(document.getElementById("caption-title"), title);
  tell(document.getElementById("caption-more"), [picture?.source, looked, missing, coarse, size, far].filter(Boolean).join(" · "));
  canvas.setAttribute("aria-label", `Screen of ${title}${looked ? `, ${looked}` : ""}. Arrow keys choose a pixel.`);
  showCrop(picture);
}

const viewAddress = remembered(64, (number) => URL.createObjectURL(viewBlob(number)));

/** Draw where the picture lies in its file. */
function showCrop(picture) {
  const figure = document.getElementById("crop");
  const { size, crop } = picture ? proof.views[picture.view] : {};
  figure.hidden = !size || !crop;
  if (figure.hidden) return;
  const [width, height] = size;
  const [left, top, right, bottom] = crop;
  const all = right - left === width && bottom - top === height;
  const place = all ? "shown whole" : `shown ${right - left} × ${bottom - top} from ${left}, ${top}`;
  tell(figure.querySelector("figcaption"), `Source ${width} × ${height}, ${place}`);
  const drawing = figure.querySelector("svg");
  drawing.setAttribute("viewBox", `0 0 ${width} ${height}`);
  const part = { x: left, y: top, width: right - left, height: bottom - top };
  const [whole, image, frame] = drawing.children;
  const set = (element, values) => Object.entries(values).forEach(([name, value]) => element.setAttribute(name, value));
  set(whole, { width, height });
  set(image, { ...part, href: viewAddress(picture.view) });
  set(frame, part);
}

/** The picture pixel at a place of the window, null outside. */
function pixelAt(event) {
  const layout = view.get("drawn");
  const box = canvas.getBoundingClientRect();
  let x = (event.clientX - box.left) * layout.ratio;
  let y = (event.clientY - box.top) * layout.ratio;
  if (layout.across && x >= layout.width) x -= layout.width + layout.gap;
  if (layout.panes > 1 && !layout.across && y >= layout.height) y -= layout.height + layout.gap;
  const [column, row] = [Math.floor((x * pixels.width) / layout.width), Math.floor((y * pixels.height) / layout.height)];
  return column >= 0 && row >= 0 && column < pixels.width && row < pixels.height ? { x: column, y: row } : null;
}

function choosePixel(event) {
  const found = view.get("drawn") && pixelAt(event);
  if (found) view.set(found);
}

function movePixel(event) {
  const step = event.shiftKey ? 8 : 1;
  const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
  const { x, y } = readPixel({ x: view.get("x"), y: view.get("y") });
  const within = (value, end) => Math.min(end - 1, Math.max(0, value));
  if (event.key in moves) {
    const [right, down] = moves[event.key];
    view.set({ x: within(x + right, pixels.width), y: within(y + down, pixels.height), held: true });
  } else if (event.key === "Home") view.set({ x: 0, y });
  else if (event.key === "End") view.set({ x: pixels.width - 1, y });
  else if (event.key === "Escape") view.set({ x: null, y: null, held: false });
  else return;
  event.preventDefault();
}

function moveEdge(event) {
  const box = canvas.getBoundingClientRect();
  view.set({ split: Math.round(Math.min(100, Math.max(0, (100 * (event.clientX - box.left)) / box.width))) });
}

function startDesk() {
  const beside = view.get("look") === "side" && pictureWithSource(view.get("bank"));
  resize(layoutOf(beside ? "side" : "board", view.get("shape"), view.get("zoom")));
  canvas.addEventListener("pointermove", (event) => event.pointerType === "mouse" && !view.get("held") && choosePixel(event));
  canvas.addEventListener("pointerdown", (event) => {
    view.set({ held: event.pointerType === "mouse" && !view.get("held") });
    choosePixel(event);
  });
  canvas.addEventListener("keydown", movePixel);
  edge.addEventListener("pointerdown", (event) => edge.setPointerCapture(event.pointerId));
  edge.addEventListener("pointermove", (event) => edge.hasPointerCapture(event.pointerId) && moveEdge(event));
  edge.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: -2, ArrowRight: 2, ArrowDown: -2, ArrowUp: 2, PageDown: -10, PageUp: 10, Home: -100, End: 100 }[event.key];
    if (!step) return;
    view.set({ split: Math.min(100, Math.max(0, view.get("split") + step)) });
    event.preventDefault();
  });
  let drawing = Promise.resolve();
  let waiting = false;
  const redraw = () => {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => {
      drawing = drawing
        .then(async () => {
          waiting = false;
          await draw(Object.fromEntries(DRAWN.map((name) => [name, view.get(name)])));
        })
        .catch((error) => tellTrouble(`The screen cannot be drawn: ${error.message}`))
        .finally(firstScreen.end);
    });
  };
  view.on(DRAWN, redraw);
  addEventListener("resize", redraw);
}

const DRAWN = ["bank", "look", "shape", "zoom", "distance", "part", "moments", "split", "swapped"];
