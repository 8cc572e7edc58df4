/**
 * A pixel of the screen with all that leads to it, as figures. Where registers shift the picture, the pixel was
 * addressed some counts before it is shown.
 *
 * @param {{x: number, y: number}} at The column and the line on the screen, in picture pixels.
 */
function inspected(board, words, palette, bank, { x, y }) {
  const across = spanOf(gridOf(board.x), x, board.x.visible);
  const down = spanOf(gridOf(board.y), y, board.y.visible);
  const late = board.pictureDelay - board.blankingDelay;
  const counts = late
    ? readings(board, across.first - late, down.first)
    : { x: gridOf(board.x).samples[x], y: gridOf(board.y).samples[y] };
  const read = traceAt(board, words, bank, counts);
  const waits = undefinedSeconds(board, words, bank, across, down.first);
  return {
    dots: { first: dotAt(board, across.first), last: dotAt(board, across.first + across.counts) - 1 },
    lines: { first: down.first, last: down.first + down.counts - 1 },
    counts,
    memories: read.memories.map((each, number) => inMemory(board, board.memories[number], each)),
    code: read.code,
    volts: palette.volts(read.code),
    limits: palette.limits(read.code),
    colour: palette.hex(read.code),
    held: across.counts * board.period,
    undefined: board.undefinedKnown ? waits : null,
  };
}

/** The picture's pixel that is on the screen at a place, null where that is none. */
function addressedPixel(board, { x, y }) {
  const grid = gridOf(board.x);
  const column = grid.firsts[x] - (board.pictureDelay - board.blankingDelay);
  return column >= 0 && column < board.x.visible ? { x: grid.cells[column], y } : null;
}

/** For how many seconds of some counts of a line the ladders' data are undefined. */
function undefinedSeconds(board, words, bank, { first, counts }, number) {
  const access = board.memories.reduce((sum, memory) => sum + (memory.access ?? 0), board.registerDelay);
  const line = makeLine(board, words, bank, 1 + Math.ceil(access * board.clock));
  line.run(number);
  const waits = waitsOf(board, line);
  const driving = board.memories.filter((memory) => memory.drives).map(({ name }) => waits[name].unsure);
  let sum = 0;
  for (let at = line.first + first; at < line.first + first + counts; at++) {
    sum += Math.min(board.period, Math.max(...driving.map((unsure) => unsure[at])));
  }
  return sum;
}

/** The first visible count of a pixel, and how many counts it takes. */
function spanOf(grid, cell, visible) {
  const first = grid.firsts[cell];
  return { first, counts: (grid.firsts[cell + 1] ?? visible) - first };
}

/** The monitor's first pixel whose middle is past a count. */
function dotAt(board, count) {
  return Math.min(board.screen.width, Math.max(0, Math.ceil(count / board.screen.ratio - 0.5)));
}

function inMemory(board, memory, { pins, address, slot, word, data }) {
  const chip = memory.chips.findLast(({ first }) => first <= address);
  return {
    name: memory.name,
    part: memory.part,
    pins: groupedPins(pins),
    address,
    chip,
    within: address - chip.first,
    files: chip.files.flatMap((file) => bytesIn(file, address - chip.first, memory.width)),
    slot: memory.shifts.length > 1 ? slot : null,
    word,
    outputs: outputLines(board, memory).map(({ line, pin }) => ({ line, level: (data >>> pin) & 1 })),
    data,
  };
}

/** The lines that a memory's outputs drive: by their own names, or as `map.d3` where others' addresses name them so. */
function outputLines(board, memory) {
  const named = board.memories.flatMap(({ pins }) => pins.flatMap(({ lines }) => lines));
  return Array.from({ length: memory.pixelWidth }, (_, pin) => {
    const used = named.some((line) => line.memory === memory.name && line.bit === pin);
    const own = memory.data[pin] ?? "-";
    return { pin, line: own === "-" && used ? `${memory.name}.d${pin}` : own };
  }).filter(({ line }) => line !== "-");
}

/** Address pins in runs that follow the bits of one signal, each with names and levels from the highest pin down. */
function groupedPins(pins) {
  const runs = [];
  pins.forEach(({ line, level }, number) => {
    const [, stem, bit] = line.match(/^([^!^]*?)(\d+)$/) ?? [];
    const run = runs.at(-1);
    if (stem && run?.stem === stem && run.bit + 1 === Number(bit)) {
      Object.assign(run, { bit: run.bit + 1, to: number, last: line, levels: `${level}${run.levels}` });
    } else runs.push({ stem, bit: Number(bit), from: number, to: number, first: line, last: line, levels: `${level}` });
  });
  return runs.map(({ from, to, first, last, levels }) => ({
    pins: from === to ? `A${from}` : `A${to} to A${from}`,
    lines: first === last ? first : `${last} to ${first}`,
    levels,
  }));
}

/** Where a chip's word lies in one of its files: the lowest of its bytes there, and how many. */
function bytesIn(file, within, width) {
  const size = Math.max(1, (width + 7) >> 3);
  const places = [];
  for (let byte = 0; byte < size; byte++) {
    const index = (within * size + (file.order === "big" ? size - 1 - byte : byte) - file.first) / file.step;
    if (Number.isInteger(index) && index >= 0 && index < file.bytes) places.push(index);
  }
  if (!places.length) return [];
  const { file: name, format, offset, step } = file;
  return [{ file: name, format, offset, byte: Math.min(...places), count: places.length, element: step > 1 ? 1 : size }];
}

/**
 * What tile and which place of the map each pixel of a bank shows, by number, -1 for none of the set.
 *
 * @param {{memory: string, numbers: number[], addresses: Int32Array}} tiles
 */
function tilesOf(board, words, bank, tiles) {
  const [across, down] = [gridOf(board.x).samples, gridOf(board.y).samples];
  const chosen = board.memories.find(({ name }) => name === tiles.memory);
  const tileAt = new Int32Array(chosen.words).fill(-1);
  const each = tiles.addresses.length / tiles.numbers.length;
  tiles.addresses.forEach((address, at) => (tileAt[address] = Math.floor(at / each)));
  const choosing = choosingOf(board, tiles.memory);
  const readers = board.memories.map((memory) => ({ memory, reader: makeReader(board, memory, bank) }));
  const found = { tile: new Int32Array(across.length * down.length), place: new Int32Array(across.length * down.length) };
  const places = new Map();
  down.forEach((y, row) =>
    across.forEach((x, column) => {
      const outputs = {};
      const at = row * across.length + column;
      let place = "";
      for (const { memory, reader } of readers) {
        const address = reader.across(x) ^ reader.down(y) ^ reader.through((name) => outputs[name]);
        outputs[memory.name] = reader.putOut(words[memory.name][address], x);
        if (memory === chosen) found.tile[at] = tileAt[address];
        if (choosing.has(memory.name)) place += `${address}.${reader.slot(x)} `;
      }
      if (!places.has(place)) places.set(place, places.size);
      found.place[at] = places.get(place);
    }),
  );
  return found;
}

/** The names of the memories that address a memory, and of those that address them. */
function choosingOf(board, name, found = new Set()) {
  const memory = board.memories.find((each) => each.name === name);
  for (const source of memory.pins.flatMap(({ lines }) => lines.flatMap((line) => line.memory ?? []))) {
    if (!found.has(source)) choosingOf(board, source, found.add(source));
  }
  return found;
}

/** The other places that show the tile of a pixel, as boxes in picture pixels. */
function otherPlaces({ tile, place }, width, { x, y }) {
  const here = y * width + x;
  const boxes = new Map();
  tile.forEach((number, at) => {
    if (number !== tile[here] || place[at] === place[here]) return;
    const [column, row] = [at % width, Math.floor(at / width)];
    const box = boxes.get(place[at]) ?? { left: column, top: row, right: column, bottom: row };
    boxes.set(place[at], {
      left: Math.min(box.left, column),
      top: Math.min(box.top, row),
      right: Math.max(box.right, column),
      bottom: Math.max(box.bottom, row),
    });
  });
  return [...boxes.values()];
}
