const modulo = (number, by) => ((number % by) + by) % by;

/** What a counter reads at a count from the first visible one. */
function reading(counter, count) {
  return (counter.reset + modulo(count + counter.ahead, counter.total)) & ((1 << counter.bits) - 1);
}

/**
 * One direction of the scan: which picture pixel each visible count shows, and what the counter reads at the first
 * count of each picture pixel.
 *
 * @returns {{cells: Uint16Array, samples: number[], firsts: number[]}}
 */
function gridOf(counter) {
  const cells = new Uint16Array(counter.visible);
  const samples = [];
  const firsts = [];
  let before = null;
  for (let count = 0; count < counter.visible; count++) {
    const value = reading(counter, count);
    if (before === null || value >> counter.shift !== before >> counter.shift) {
      samples.push(value);
      firsts.push(count);
    }
    before = value;
    cells[count] = samples.length - 1;
  }
  return { cells, samples, firsts };
}

/** The readings of both counters at a count and line from the first visible ones. The y counter steps at x's reset. */
function readings(board, column, line) {
  const stepped = Math.floor((column + board.x.ahead) / board.x.total);
  return { x: reading(board.x, column), y: reading(board.y, line + stepped) };
}

/** The levels of the bank lines for a bank: bit n for bank line n. */
function bankLevels(board, bank) {
  return board.bankLines.reduce((levels, line, bit) => levels | (((bank >> bit) & 1) << line), 0);
}

/**
 * What each line turns of a memory's address. Pins are exclusive-ors of lines, so an address is the exclusive-or of
 * what its high lines turn.
 */
function turnsOf(memory) {
  const turns = { constant: 0, x: new Map(), y: new Map(), bank: new Map(), outputs: new Map() };
  memory.pins.forEach((pin, number) => {
    const bit = 1 << number;
    if (pin.level) turns.constant ^= bit;
    for (const line of pin.lines) {
      if (line.signal === "output") {
        const of = turns.outputs.get(line.memory) ?? new Map();
        turns.outputs.set(line.memory, of.set(line.bit, (of.get(line.bit) ?? 0) ^ bit));
      } else turns[line.signal].set(line.bit, (turns[line.signal].get(line.bit) ?? 0) ^ bit);
    }
  });
  return turns;
}

function turned(value, turns) {
  let found = 0;
  for (const [bit, mask] of turns) if ((value >>> bit) & 1) found ^= mask;
  return found;
}

/** How a memory is read: its address at readings and outputs, and what it puts out of a word. */
function makeReader(board, memory, bank) {
  const turns = turnsOf(memory);
  const fixed = turns.constant ^ turned(bankLevels(board, bank), turns.bank);
  const outputs = [...turns.outputs];
  const many = memory.shifts.length - 1;
  const mask = memory.pixelWidth >= 32 ? 0xffffffff : 2 ** memory.pixelWidth - 1;
  return {
    across: (x) => turned(x, turns.x),
    down: (y) => fixed ^ turned(y, turns.y),
    /** @param {function(string): number} output What another memory puts out. */
    through(output) {
      let found = 0;
      for (const [name, of] of outputs) found ^= turned(output(name), of);
      return found;
    },
    direct: outputs.length === 0,
    sources: outputs.map(([name]) => name),
    slot: (x) => (many ? (x >> memory.select) & many : 0),
    putOut: (word, x) => (many ? ((word >>> memory.shifts[(x >> memory.select) & many]) & mask) >>> 0 : word),
  };
}

/** Gather the code from what the memories put out. */
function codeOf(board, output) {
  let code = 0;
  board.code.forEach((line, bit) => (code |= ((output(line.memory) >>> line.pin) & 1) << bit));
  return code;
}

/** How far bits move from a memory's outputs to the code, those that move equally far together. */
function movesOf(board) {
  const moves = new Map();
  board.code.forEach((line, bit) => {
    const key = `${line.memory} ${line.pin - bit}`;
    const move = moves.get(key) ?? { memory: line.memory, down: line.pin - bit, mask: 0 };
    moves.set(key, { ...move, mask: move.mask | (1 << bit) });
  });
  return [...moves.values()];
}

/** Gather codes from rows of outputs. */
function gatherCodes(moves, outputs, codes, offset, length) {
  codes.fill(0, offset, offset + length);
  for (const { memory, down, mask } of moves) {
    const from = outputs[memory];
    for (let at = 0; at < length; at++) {
      codes[offset + at] |= (down > 0 ? from[at] >>> down : from[at] << -down) & mask;
    }
  }
}

/**
 * A bank by picture pixel: the codes, and what some memories put out.
 *
 * @param {Object<string, ArrayLike<number>>} words By memory.
 * @param {string[]} names Memories whose outputs are asked for.
 * @returns {{codes: Uint16Array, outputs: Object<string, Uint32Array>}} Each height x width.
 */
function scanOutputs(board, words, bank, names = []) {
  const across = gridOf(board.x).samples;
  const down = gridOf(board.y).samples;
  const width = across.length;
  const codes = new Uint16Array(width * down.length);
  const asked = Object.fromEntries(names.map((name) => [name, new Uint32Array(codes.length)]));
  const readers = board.memories.map((memory) => {
    const reader = makeReader(board, memory, bank);
    return { memory, reader, columns: across.map(reader.across) };
  });
  const outputs = Object.fromEntries(board.memories.map(({ name }) => [name, new Uint32Array(width)]));
  const moves = movesOf(board);
  down.forEach((y, row) => {
    for (const { memory, reader, columns } of readers) {
      const from = words[memory.name];
      const to = outputs[memory.name];
      const start = reader.down(y);
      for (let at = 0; at < width; at++) {
        const more = reader.direct ? 0 : reader.through((name) => outputs[name][at]);
        to[at] = reader.putOut(from[columns[at] ^ start ^ more], across[at]);
      }
      asked[memory.name]?.set(to, row * width);
    }
    gatherCodes(moves, outputs, codes, row * width, width);
  });
  return { codes, outputs: asked };
}

/** The codes of a bank by picture pixel, height x width. */
const scanBank = (board, words, bank) => scanOutputs(board, words, bank).codes;

/**
 * One picture pixel, read along the signal's path.
 *
 * @returns {{counts: {x: number, y: number}, memories: Array<{name: string,
 *   pins: Array<{name: string, line: string, level: number}>, address: number, slot: number, word: number,
 *   data: number}>, code: number}}
 */
function trace(board, words, bank, x, y) {
  return traceAt(board, words, bank, { x: gridOf(board.x).samples[x], y: gridOf(board.y).samples[y] });
}

/** The same at readings of the counters. */
function traceAt(board, words, bank, counts) {
  const outputs = {};
  const memories = board.memories.map((memory) => {
    const reader = makeReader(board, memory, bank);
    const address = reader.across(counts.x) ^ reader.down(counts.y) ^ reader.through((name) => outputs[name]);
    const word = words[memory.name][address];
    const data = reader.putOut(word, counts.x);
    outputs[memory.name] = data;
    const pins = memory.pins.map((pin, number) => ({
      name: `A${number}`,
      line: pin.text,
      level: (address >>> number) & 1,
    }));
    return { name: memory.name, pins, address, slot: reader.slot(counts.x), word, data };
  });
  return { counts, memories, code: codeOf(board, (name) => outputs[name]) };
}

/**
 * All counts of a line that bear on what the monitor shows of it, those before the first shown one included. Output
 * registers take a word at the end of its hold and show it for the next.
 *
 * @param {number} more Counts to begin earlier than the registers need.
 */
function makeLine(board, words, bank, more) {
  const clocked = board.memories.filter((memory) => memory.clocked);
  const before = more + clocked.reduce((sum, memory) => sum + memory.hold, 0);
  const length = before + board.x.visible + board.blankingDelay;
  const columns = Array.from({ length }, (_, at) => at - before);
  const steps = columns.map((column) => Math.floor((column + board.x.ahead) / board.x.total));
  const xs = columns.map((column) => reading(board.x, column));
  const readers = board.memories.map((memory) => {
    const reader = makeReader(board, memory, bank);
    const into = Int32Array.from(xs, (x) => x & (memory.hold - 1));
    const taken = Int32Array.from(xs, (_, at) => (memory.clocked ? Math.max(0, at - into[at] - 1) : at));
    return { memory, reader, into, taken, turns: xs.map(reader.across) };
  });
  const rows = () => Object.fromEntries(board.memories.map(({ name }) => [name, new Uint32Array(length)]));
  const outputs = rows();
  const addresses = rows();
  const read = new Uint32Array(length);
  const codes = new Uint16Array(length);
  const moves = movesOf(board);
  const unlike = [...new Set(steps)];
  return {
    first: before + board.blankingDelay,
    length,
    readers,
    addresses,
    codes,
    /** Lines of equal keys show the same. */
    keyOf: (line) => unlike.map((step) => reading(board.y, line + step) >> board.y.shift).join(),
    /** Fill addresses and codes for a line. */
    run(line) {
      for (const { memory, reader, taken, turns } of readers) {
        const starts = new Map(unlike.map((step) => [step, reader.down(reading(board.y, line + step))]));
        const address = addresses[memory.name];
        const to = outputs[memory.name];
        for (let at = 0; at < length; at++) {
          const through = reader.direct ? 0 : reader.through((name) => outputs[name][at]);
          address[at] = turns[at] ^ starts.get(steps[at]) ^ through;
          read[at] = words[memory.name][address[at]];
        }
        for (let at = 0; at < length; at++) to[at] = reader.putOut(read[taken[at]], xs[at]);
      }
      gatherCodes(moves, outputs, codes, 0, length);
    },
  };
}

/** Fill the lines of a frame, those that show the same once. */
function fillLines(lines, line, target, width, fill) {
  const known = new Map();
  for (let number = 0; number < lines; number++) {
    const key = line.keyOf(number);
    const from = known.get(key);
    if (from !== undefined) {
      target.copyWithin(number * width, from * width, (from + 1) * width);
      continue;
    }
    known.set(key, number);
    line.run(number);
    fill(target.subarray(number * width, (number + 1) * width));
  }
  return target;
}

/**
 * The code at every count and line that the monitor shows, registers and delayed blanking included.
 *
 * @returns {Uint16Array} visible lines x visible counts.
 */
function shown(board, words, bank) {
  const line = makeLine(board, words, bank, 1);
  const target = new Uint16Array(board.x.visible * board.y.visible);
  return fillLines(board.y.visible, line, target, board.x.visible, (row) => row.set(line.codes.subarray(line.first)));
}

/** Whether the monitor shows other moments than those at which the counters address the picture. */
function isRegistered(board) {
  return board.blankingDelay > 0 || board.memories.some((memory) => memory.output !== "direct");
}

/** The pages of a memory that a bank may read: all that agree with the address pins which only banks drive. */
function pagesOf(board, memory, pageSize, bank) {
  const turns = turnsOf(memory);
  const fixed = turns.constant ^ turned(bankLevels(board, bank), turns.bank);
  const free = memory.pins.reduce((mask, pin, number) => {
    const moves = pin.lines.some((line) => line.signal !== "bank");
    return moves ? mask | (1 << number) : mask;
  }, 0);
  const pages = [];
  for (let page = 0; page * pageSize < memory.words; page++) {
    if (((page * pageSize) ^ fixed) & ~free & ~(pageSize - 1)) continue;
    pages.push(page);
  }
  return pages;
}
