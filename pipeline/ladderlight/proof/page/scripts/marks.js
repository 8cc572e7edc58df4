const MOST_FRAMED = 60;

/**
 * Lay boxes over the screen, in picture pixels: around the chosen pixel, and around the other places of its tile; very many
 * of these are tinted instead.
 */
function drawBoxes({ x, y, places }) {
  const read = readPixel({ x, y });
  const boxes = document.getElementById("boxes");
  const kind = places?.length > MOST_FRAMED ? ["tint"] : ["rim", "place"];
  const all = (places ?? []).map(({ left, top, right, bottom }) => [kind, left, top, right + 1 - left, bottom + 1 - top]);
  all.push([["rim", "chosen"], read.x, read.y, 1, 1]);
  boxes.replaceChildren(
    ...all.flatMap(([names, left, top, width, height]) =>
      names.map((name) => {
        const box = document.createElementNS(boxes.namespaceURI, "rect");
        for (const [key, value] of Object.entries({ class: name, x: left, y: top, width, height })) box.setAttribute(key, value);
        return box;
      }),
    ),
  );
}

/** A veil over all pixels of a bank's screen but those of one colour. */
async function veilOf(bank, marked) {
  const { codes, width, height } = await screenOf(bank);
  const image = new ImageData(width, height);
  codes.forEach((code, at) => {
    if (code !== marked) image.data.set([128, 128, 128, 225], 4 * at);
  });
  return image;
}

/** Veil all pixels of the screen but those of the marked colour. */
async function drawVeil({ bank, marked, look, part }) {
  const veil = document.getElementById("veil");
  veil.hidden = marked === null || look === "source" || part !== "all";
  if (veil.hidden) return;
  const image = await veilOf(bank, marked);
  if (view.get("marked") !== marked || view.get("bank") !== bank) return;
  Object.assign(veil, { width: image.width, height: image.height });
  veil.getContext("2d").putImageData(image, 0, 0);
}

document.getElementById("boxes").setAttribute("viewBox", `0 0 ${pixels.width} ${pixels.height}`);
view.on(["x", "y", "places"], drawBoxes);
view.on(["bank", "marked", "look", "part"], drawVeil);
