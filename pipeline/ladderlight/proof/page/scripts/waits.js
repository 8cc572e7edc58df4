/**
 * For how many seconds of each of some counts the ladders' data are undefined.
 *
 * A word is valid its access time after its address changes, or after the data of other memories in that address are.
 * An output register takes what is there at the end of a hold, and anything if that is not valid yet.
 *
 * @param {number} column The first of the counts, from the first visible one, at which the pixel is on the ladders.
 * @returns {number[]}
 */
function undefinedSeconds(board, words, bank, column, line, counts) {
  const period = 1 / board.clock;
  const slowest = board.memories.reduce((sum, { access }) => sum + (access ?? 0), board.registerDelay);
  const holds = board.memories.reduce((sum, memory) => sum + (memory.clocked ? memory.hold : 0), 0);
  const before = 1 + holds + Math.ceil(slowest * board.clock);
  const moments = Array.from({ length: before + counts }, (_, at) => readings(board, column - before + at, line));
  const found = {};
  for (const memory of board.memories) {
    const reader = makeReader(board, memory, bank);
    const addresses = moments.map(
      ({ x, y }, at) => reader.across(x) ^ reader.down(y) ^ reader.through((name) => found[name].data[at]),
    );
    const changed = addresses.map((address, at) => at === 0 || address !== addresses[at - 1]);
    const waits = waitsOf(memory, changed);
    const taken = (at) => (memory.clocked ? Math.max(0, at - (moments[at].x & (memory.hold - 1)) - 1) : at);
    found[memory.name] = {
      clocked: memory.clocked,
      data: moments.map(({ x }, at) => reader.putOut(words[memory.name][addresses[taken(at)]], x)),
      unsure: memory.clocked ? waits.map((_, at) => (waits[taken(at)] > period ? Infinity : 0)) : waits,
    };
  }
  const driving = board.memories.filter(({ drives }) => drives).map(({ name }) => found[name].unsure);
  return moments.slice(before).map((_, at) => Math.min(period, Math.max(...driving.map((unsure) => unsure[before + at]))));

  /** Seconds from the start of each count until the word at its address is valid. */
  function waitsOf(memory, changed) {
    if (memory.access === null) return changed.map(() => 0);
    const sources = new Set(memory.pins.flatMap(({ lines }) => lines.flatMap((each) => each.memory ?? [])));
    const waits = [];
    changed.forEach((fresh, at) => {
      let late = 0;
      for (const name of sources) {
        const { clocked, unsure } = found[name];
        late = Math.max(late, unsure[at], clocked && fresh && at ? board.registerDelay : 0);
      }
      const left = at ? Math.max(0, waits[at - 1] - period) : 0;
      waits.push(fresh || late > 0 ? late + memory.access : left);
    });
    return waits;
  }
}
