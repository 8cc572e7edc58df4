const scanned = new Map();

/** The codes of a bank by picture pixel; those of the last few banks are kept. */
async function codesOf(bank) {
  if (!scanned.has(bank)) {
    await loadBank(bank);
    if (scanned.size > 7) scanned.delete(scanned.keys().next().value);
    scanned.set(bank, scanBank(proof.board, words, bank));
  }
  return scanned.get(bank);
}

/** Lay boxes over the screen, in picture pixels: around the chosen pixel, and around the other places of its tile. */
function drawBoxes({ x, y, places }) {
  const boxes = document.getElementById("boxes");
  const all = (places ?? []).map(({ left, top, right, bottom }) => ["place", left, top, right + 1 - left, bottom + 1 - top]);
  if (x !== null && y !== null) all.push(["chosen", x, y, 1, 1]);
  boxes.replaceChildren(
    ...all.flatMap(([kind, left, top, width, height]) =>
      ["rim", kind].map((name) => {
        const box = document.createElementNS(boxes.namespaceURI, "rect");
        for (const [key, value] of Object.entries({ class: name, x: left, y: top, width, height })) box.setAttribute(key, value);
        return box;
      }),
    ),
  );
}

/** Veil all pixels of the screen but those of the marked colour. */
async function drawVeil({ bank, marked }) {
  const veil = document.getElementById("veil");
  veil.hidden = marked === null;
  if (veil.hidden) return;
  const codes = await codesOf(bank);
  if (view.get("marked") !== marked || view.get("bank") !== bank) return;
  const image = new ImageData(veil.width, veil.height);
  codes.forEach((code, at) => {
    if (code !== marked) image.data.set([128, 128, 128, 225], 4 * at);
  });
  veil.getContext("2d").putImageData(image, 0, 0);
}

if (typeof DecompressionStream !== "undefined") {
  const { width, height } = proof.board.picture;
  Object.assign(document.getElementById("veil"), { width, height });
  document.getElementById("boxes").setAttribute("viewBox", `0 0 ${width} ${height}`);
  view.on(["x", "y", "places"], drawBoxes);
  view.on(["bank", "marked"], drawVeil);
}
