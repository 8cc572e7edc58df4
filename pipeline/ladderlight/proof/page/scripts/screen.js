/** Tell of something that keeps the page from showing its screens. */
function tellTrouble(text) {
  const trouble = document.getElementById("trouble");
  trouble.textContent = text;
  trouble.hidden = false;
}

if (typeof DecompressionStream === "undefined" || typeof OffscreenCanvas === "undefined") {
  const stills = document.querySelector("#viewer noscript");
  stills.insertAdjacentHTML("afterend", stills.textContent);
  tellTrouble("This browser cannot unpack the words of the memories. The first screens are below; a newer one shows all.");
  throw new Error("no DecompressionStream");
}

const proof = JSON.parse(document.getElementById("proof-data").textContent);
const { board } = proof;
const palette = makePalette(proof.palette);
const memories = Object.fromEntries(
  board.memories.map((memory) => [memory.name, makeWords(memory, proof.memories[memory.name])]),
);
const words = Object.fromEntries(Object.entries(memories).map(([name, { all }]) => [name, all]));
const pixels = board.picture;
const still = matchMedia("(prefers-reduced-motion: reduce)");
const view = makeState(
  {
    bank: proof.banks.find((run) => run.content !== null)?.first ?? 0,
    x: null,
    y: null,
    held: false,
    marked: null,
    places: null,
    look: "board",
    shape: "pixels",
    zoom: 0,
    distance: 0,
    part: "all",
    moments: false,
    split: 50,
    swapped: false,
    playing: false,
    loop: true,
    drawn: null,
  },
  ["bank", "x", "y"],
  JSON.stringify([pixels, board.banks, board.memories.map(({ name }) => name)]),
);
view.on(["bank", "x", "y"], ({ bank, x, y }) => {
  view.set({ bank: Math.min(bank, board.banks - 1) });
  if (x >= pixels.width || y >= pixels.height) view.set({ x: null, y: null });
});

/** The pixel of which the path is shown: the chosen one, else that in the middle. */
const readPixel = ({ x, y }) => (x === null || y === null ? { x: pixels.width >> 1, y: pixels.height >> 1 } : { x, y });

/** The run of banks that a bank belongs to. */
const runOf = (bank) => proof.banks.find((run) => run.first <= bank && bank <= run.last);

/** Unpack the words that a bank may read. */
async function loadBank(bank) {
  await Promise.all(
    board.memories.map((memory) => {
      const stored = memories[memory.name];
      return stored.load(pagesOf(board, memory, stored.pageSize, bank));
    }),
  );
}

/** Keep what a function returns for each key, the latest ones only. */
function remembered(most, make) {
  const held = new Map();
  return (key) => {
    const found = held.has(key) ? held.get(key) : make(key);
    held.delete(key);
    held.set(key, found);
    if (held.size > most) held.delete(held.keys().next().value);
    return found;
  };
}

const ACROSS = gridOf(board.x);
const DOWN = gridOf(board.y);

/** The codes of a bank by picture pixel. */
const codesOf = remembered(300, async (bank) => {
  await loadBank(bank);
  return scanBank(board, words, bank);
});

/**
 * What the monitor shows of a bank: its codes, by count and line where registers make something else of the picture.
 *
 * @type {function(number): Promise<{codes: Uint16Array, width: number, height: number}>}
 */
const screenOf = remembered(300, async (bank) => {
  const codes = await codesOf(bank);
  const plain = { codes, width: pixels.width, height: pixels.height };
  if (!isRegistered(board)) return plain;
  const moved = shown(board, words, bank);
  const { visible } = board.x;
  const same = moved.every((code, at) => {
    const line = Math.floor(at / visible);
    return code === codes[DOWN.cells[line] * pixels.width + ACROSS.cells[at - line * visible]];
  });
  return same ? plain : { codes: moved, width: visible, height: board.y.visible };
});

/** A memory's output by picture pixel, as it goes to the lines it drives. */
async function outputOf(bank, name) {
  await loadBank(bank);
  return scanOutputs(board, words, bank, [name]).outputs[name];
}

function painted(count, colour) {
  const rgba = new Uint8ClampedArray(4 * count);
  for (let at = 0; at < count; at++) {
    const [red, green, blue] = colour(at);
    rgba[4 * at] = red;
    rgba[4 * at + 1] = green;
    rgba[4 * at + 2] = blue;
    rgba[4 * at + 3] = 255;
  }
  return rgba;
}

/** The colours of codes, sRGB, their bits outside a mask low. */
function colouredCodes(codes, mask = -1) {
  const { rgb } = palette;
  const rgba = new Uint8ClampedArray(4 * codes.length);
  for (let at = 0; at < codes.length; at++) {
    const code = codes[at] & mask;
    for (let gun = 0; gun < 3; gun++) rgba[4 * at + gun] = rgb[3 * code + gun];
    rgba[4 * at + 3] = 255;
  }
  return rgba;
}

/**
 * The screen of a bank, or of one memory or line of it: "all", "memory NAME" or "line NAME PIN".
 *
 * @returns {Promise<{rgba: Uint8ClampedArray, width: number, height: number}>}
 */
async function boardImage(bank, part) {
  const [kind, name, pin] = part.split(" ");
  if (kind === "all") {
    const { codes, width, height } = await screenOf(bank);
    return { rgba: colouredCodes(codes), width, height };
  }
  const { width, height } = pixels;
  const mask = board.code.reduce((sum, line, bit) => (line.memory === name ? sum | (1 << bit) : sum), 0);
  if (kind === "memory" && mask) {
    return { rgba: colouredCodes(await codesOf(bank), mask), width, height };
  }
  const output = await outputOf(bank, name);
  if (kind === "line") {
    return { rgba: painted(output.length, (at) => Array(3).fill((output[at] >>> pin) & 1 ? 235 : 30)), width, height };
  }
  const most = 2 ** board.memories.find((memory) => memory.name === name).pixelWidth - 1;
  return { rgba: painted(output.length, (at) => Array(3).fill((255 * output[at]) / most)), width, height };
}

/** The first picture of a bank of which the source is there, null without one. */
function pictureWithSource(bank) {
  const found = proof.pictures.find((picture) => picture.bank === bank && picture.view !== undefined);
  return found ?? runOf(bank).pictures.map((at) => proof.pictures[at]).find((picture) => picture.view !== undefined) ?? null;
}

function viewBlob(number) {
  const bytes = bytesOf(proof.views[number].data);
  return new Blob([bytes], { type: bytes[0] === 0xff ? "image/jpeg" : "image/webp" });
}

const decodedView = remembered(64, async (number) => {
  const bitmap = await createImageBitmap(viewBlob(number));
  const canvas = new OffscreenCanvas(pixels.width, pixels.height);
  const context = canvas.getContext("2d");
  context.drawImage(bitmap, 0, 0, pixels.width, pixels.height);
  return context.getImageData(0, 0, pixels.width, pixels.height).data;
});

/** The source of a bank's picture in the pixels of an image, null without one. */
async function sourceImage(bank, { width, height }) {
  const picture = pictureWithSource(bank);
  if (!picture) return null;
  const rgba = await decodedView(picture.view);
  if (width === pixels.width) return { rgba, width, height };
  const wide = painted(width * height, (at) => {
    const from = 4 * (DOWN.cells[Math.floor(at / width)] * pixels.width + ACROSS.cells[at % width]);
    return rgba.subarray(from, from + 3);
  });
  return { rgba: wide, width, height };
}

/** Grey where two images agree, lighter where the second is lighter. */
function difference(one, other) {
  const rgba = one.rgba.map((value, at) => (at % 4 === 3 ? 255 : 128 + (other.rgba[at] - value) / 2));
  return { ...one, rgba };
}

/** An image as it looks from the chosen distance. */
function fromDistance(image, distance) {
  if (!distance) return image;
  const [across, down] = densityOf(pixels.width, pixels.aspect, proof.viewing.screenWidth, distance);
  const density = [(across * image.width) / pixels.width, (down * image.height) / pixels.height];
  return { ...image, rgba: seenFrom(image.rgba, image.width, image.height, density), smooth: across * 0.05 > 1 };
}

function asCanvas({ rgba, width, height }) {
  const canvas = new OffscreenCanvas(width, height);
  canvas.getContext("2d").putImageData(new ImageData(rgba, width, height), 0, 0);
  return canvas;
}

const marksOf = remembered(16, async (bank) => {
  await loadBank(bank);
  const { width, height } = board.screen;
  const moments = undefinedMoments(board, words, bank);
  const rgba = new Uint8ClampedArray(4 * width * height);
  moments.forEach((undecided, at) => {
    if (undecided) rgba.set([255, 0, 255, 255], 4 * at);
  });
  return asCanvas({ rgba, width, height });
});
