const MOST_FRAMED = 60;

/** Lay boxes over the screen: a frame around the chosen pixel, and frames or a tint on the other places of its tile. */
function drawBoxes({ x, y, places }) {
  const boxes = document.getElementById("boxes");
  const kind = places?.length > MOST_FRAMED ? ["tint"] : ["rim", "place"];
  const all = (places ?? []).map((box) => [kind, box]);
  if (x !== null && y !== null) all.push([["rim", "chosen"], { left: x, top: y, right: x, bottom: y }]);
  boxes.replaceChildren(
    ...all.flatMap(([kinds, { left, top, right, bottom }]) =>
      kinds.map((name) => {
        const box = document.createElementNS(boxes.namespaceURI, "rect");
        const place = { class: name, x: left, y: top, width: right + 1 - left, height: bottom + 1 - top };
        for (const [key, value] of Object.entries(place)) box.setAttribute(key, value);
        return box;
      }),
    ),
  );
}

/** A veil over all pixels of a screen but those of a code. */
function veiled({ codes, width, height }, marked) {
  const image = new ImageData(width, height);
  codes.forEach((code, at) => {
    if (code !== marked) image.data.set([128, 128, 128, 225], 4 * at);
  });
  return image;
}

async function drawVeil({ bank, marked, look, part }) {
  const veil = document.getElementById("veil");
  veil.hidden = marked === null || look === "source" || part !== "all";
  if (veil.hidden) return;
  const screen = await screenOf(bank);
  if (view.get("marked") !== marked || view.get("bank") !== bank) return;
  Object.assign(veil, { width: screen.width, height: screen.height });
  veil.getContext("2d").putImageData(veiled(screen, marked), 0, 0);
}

function startMarks() {
  document.getElementById("boxes").setAttribute("viewBox", `0 0 ${pixels.width} ${pixels.height}`);
  view.on(["x", "y", "places"], drawBoxes);
  view.on(["bank", "marked", "look", "part"], drawVeil);
}
