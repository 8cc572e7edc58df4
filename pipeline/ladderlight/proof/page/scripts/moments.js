/**
 * Where the monitor may show anything: data are undefined in the middle of a monitor pixel, and the code changes.
 *
 * A direct output shows undefined data from the moment its address changes until the access time is over; a register
 * that takes a word too early may have taken anything.
 *
 * @returns {Uint8Array} 1 where so: monitor lines x monitor pixels of a line.
 */
function undefinedMoments(board, words, bank) {
  const driving = board.memories.filter((memory) => memory.drives);
  const late = driving.some((memory) => memory.output === "direct") ? board.counterDelay : 0;
  const access = board.memories.reduce((sum, memory) => sum + (memory.access ?? 0), 0);
  const counts = (seconds) => Math.ceil(seconds * board.clock);
  const before = counts(late) + 1 + counts(access + board.registerDelay);
  const line = makeLine(board, words, bank, before);
  const dots = middlesOf(board, late, line.first);
  const target = new Uint8Array(board.screen.width * board.y.visible);
  return fillLines(board.y.visible, line, target, board.screen.width, (row) => {
    const waits = waitsOf(board, line);
    const fresh = Int32Array.from({ length: line.length });
    for (let at = 1; at < line.length; at++) {
      fresh[at] = driving.some(({ name }) => waits[name].fresh[at]) ? at : fresh[at - 1];
    }
    dots.forEach(({ at, into }, dot) => {
      const undecided = driving.some(({ name }) => into < waits[name].unsure[at]);
      row[dot] = undecided && fresh[at] > 0 && line.codes[fresh[at]] !== line.codes[fresh[at] - 1] ? 1 : 0;
    });
  });
}

/** For each visible monitor pixel: the count that its middle falls into, and the seconds since that began. */
function middlesOf(board, late, first) {
  const dots = [];
  for (let dot = 0; dot < board.screen.width; dot++) {
    const passed = (dot + 0.5) * board.screen.ratio;
    if (passed >= board.x.visible) break;
    const time = passed * board.period - late;
    const count = Math.min(Math.floor(time / board.period), board.x.visible - 1);
    dots.push({ at: count + first, into: time - count * board.period });
  }
  return dots;
}

/** For each memory and count of a line: for how many seconds its output is undefined, and whether a new word begins. */
function waitsOf(board, line) {
  const waits = {};
  for (const { memory, reader, into, taken } of line.readers) {
    const found = waiting(board, memory, reader.sources, line, waits);
    if (memory.clocked) {
      const early = Float64Array.from(taken, (at) => (found.unsure[at] > board.period ? Infinity : 0));
      waits[memory.name] = { unsure: early, fresh: Uint8Array.from(into, (count) => (count === 0 ? 1 : 0)) };
    } else waits[memory.name] = found;
  }
  return waits;
}

function waiting(board, memory, sources, line, waits) {
  const address = line.addresses[memory.name];
  const unsure = new Float64Array(line.length);
  const fresh = new Uint8Array(line.length);
  const clocked = new Set(board.memories.filter((other) => other.clocked).map((other) => other.name));
  for (let at = 0; at < line.length; at++) {
    const changed = at === 0 || address[at] !== address[at - 1];
    let late = 0;
    for (const source of sources) {
      late = Math.max(late, waits[source].unsure[at]);
      if (changed && at > 0 && clocked.has(source)) late = Math.max(late, board.registerDelay);
    }
    fresh[at] = changed || late > 0 ? 1 : 0;
    if (memory.access === null) continue;
    const left = at > 0 ? Math.max(0, unsure[at - 1] - board.period) : 0;
    unsure[at] = fresh[at] && late + memory.access > 0 ? late + memory.access : left;
  }
  return { unsure, fresh };
}
