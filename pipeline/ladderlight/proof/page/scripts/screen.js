const proof = JSON.parse(document.getElementById("proof-data").textContent);
const palette = makePalette(proof.palette);
const memories = Object.fromEntries(
  proof.board.memories.map((memory) => [memory.name, makeWords(memory, proof.memories[memory.name])]),
);
const words = Object.fromEntries(Object.entries(memories).map(([name, { all }]) => [name, all]));
const view = makeState({ bank: proof.banks.find((run) => run.content !== null)?.first ?? 0, x: null, y: null, marked: null, places: null }, ["bank", "x", "y"]);

/** Unpack the words that a bank may read. */
async function loadBank(bank) {
  await Promise.all(
    proof.board.memories.map((memory) => {
      const stored = memories[memory.name];
      return stored.load(pagesOf(proof.board, memory, stored.pageSize, bank));
    }),
  );
}

async function drawBank(bank) {
  await loadBank(bank);
  const { width, height } = proof.board.picture;
  const codes = scanBank(proof.board, words, bank);
  const canvas = document.getElementById("screen");
  Object.assign(canvas, { width, height, hidden: false });
  const image = new ImageData(width, height);
  codes.forEach((code, at) => {
    for (let gun = 0; gun < 3; gun++) image.data[4 * at + gun] = palette.rgb[3 * code + gun];
    image.data[4 * at + 3] = 255;
  });
  canvas.getContext("2d").putImageData(image, 0, 0);
}

if (typeof DecompressionStream === "undefined") {
  const trouble = document.getElementById("trouble");
  trouble.textContent = "This browser cannot unpack the words of the memories; a newer one shows all screens.";
  trouble.hidden = false;
} else {
  view.on(["bank"], ({ bank }) => drawBank(bank));
}
