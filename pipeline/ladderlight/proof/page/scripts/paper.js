const LENGTH_BITS = [0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3, 4, 4, 4, 4, 5, 5, 5, 5, 0];
const LENGTH_BASES = LENGTH_BITS.map((_, at) => (at === 28 ? 258 : 3 + LENGTH_BITS.slice(0, at).reduce((sum, n) => sum + 2 ** n, 0)));
const CODE_ORDER = [16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1, 15];

/** Inflate bytes without a header (RFC 1951) at once: before a page is printed, nothing can be waited for. */
function inflatedNow(bytes) {
  let at = 0;
  let held = 0;
  let bits = 0;
  let out = new Uint8Array(4 * bytes.length + 1024);
  let length = 0;

  function take(count) {
    for (; bits < count; bits += 8) held |= bytes[at++] << bits;
    const value = held & ((1 << count) - 1);
    held >>>= count;
    bits -= count;
    return value;
  }

  function put(byte) {
    if (length === out.length) {
      const longer = new Uint8Array(2 * length);
      longer.set(out);
      out = longer;
    }
    out[length++] = byte;
  }

  function codesOfLengths(lengths) {
    const counts = new Uint16Array(16);
    for (const each of lengths) counts[each]++;
    counts[0] = 0;
    const starts = new Uint16Array(17);
    for (let size = 1; size < 16; size++) starts[size + 1] = starts[size] + counts[size];
    const symbols = new Uint16Array(lengths.length);
    lengths.forEach((size, symbol) => size && (symbols[starts[size]++] = symbol));
    return { counts, symbols };
  }

  function next({ counts, symbols }) {
    let code = 0;
    let first = 0;
    let index = 0;
    for (let size = 1; size < 16; size++) {
      code |= take(1);
      if (code - first < counts[size]) return symbols[index + code - first];
      index += counts[size];
      first = (first + counts[size]) << 1;
      code <<= 1;
    }
    throw new Error("the words are damaged");
  }

  function ownCodes() {
    const [literals, distances, sizes] = [take(5) + 257, take(5) + 1, take(4) + 4];
    const order = Array(19).fill(0);
    for (let number = 0; number < sizes; number++) order[CODE_ORDER[number]] = take(3);
    const codes = codesOfLengths(order);
    const lengths = [];
    while (lengths.length < literals + distances) {
      const symbol = next(codes);
      if (symbol < 16) lengths.push(symbol);
      else {
        const value = symbol === 16 ? lengths.at(-1) : 0;
        const count = symbol === 16 ? 3 + take(2) : symbol === 17 ? 3 + take(3) : 11 + take(7);
        for (let left = count; left; left--) lengths.push(value);
      }
    }
    return [codesOfLengths(lengths.slice(0, literals)), codesOfLengths(lengths.slice(literals))];
  }

  function fixedCodes() {
    const lengths = Array.from({ length: 288 }, (_, symbol) => (symbol < 144 ? 8 : symbol < 256 ? 9 : symbol < 280 ? 7 : 8));
    return [codesOfLengths(lengths), codesOfLengths(Array(30).fill(5))];
  }

  function stored() {
    held = bits = 0;
    const count = bytes[at] | (bytes[at + 1] << 8);
    for (const end = (at += 4) + count; at < end; at++) put(bytes[at]);
  }

  let last = 0;
  while (!last) {
    last = take(1);
    const kind = take(2);
    if (kind === 0) {
      stored();
      continue;
    }
    const [literals, distances] = kind === 1 ? fixedCodes() : ownCodes();
    for (let symbol = next(literals); symbol !== 256; symbol = next(literals)) {
      if (symbol < 256) put(symbol);
      else {
        const count = LENGTH_BASES[symbol - 257] + take(LENGTH_BITS[symbol - 257]);
        const place = next(distances);
        const extra = place < 4 ? 0 : (place >> 1) - 1;
        const back = place < 4 ? place + 1 : 1 + ((2 + (place & 1)) << extra) + take(extra);
        for (let left = count; left; left--) put(out[length - back]);
      }
    }
  }
  return out.subarray(0, length);
}

/** The words of a memory, some pages of which are unpacked at once. */
function makeWordsNow(memory, stored) {
  const all = wordArray(memory.width, memory.words);
  const unpack = (text) => inflatedNow(bytesOf(text));
  const bodies = new Map();
  let places = null;

  function body(content) {
    if (!bodies.has(content)) {
      const bytes = unpack(stored.contents[content]);
      const base = stored.bases[content];
      if (base >= 0) body(base).forEach((byte, at) => (bytes[at] ^= byte));
      bodies.set(content, bytes);
    }
    return bodies.get(content);
  }

  return {
    all,
    load(pages) {
      places ??= placesIn(unpack(stored.reads), stored);
      for (const page of pages) putPage(all, memory, stored, page, places, body(stored.order[page]));
    },
  };
}

/** Draw the small screens that are still missing, without waiting for anything. */
function drawMissing(contacts) {
  const missing = contacts.filter(({ small }) => !small.classList.contains("drawn"));
  if (!missing.length) return;
  const held = board.memories.map((memory) => [memory, makeWordsNow(memory, proof.memories[memory.name])]);
  const now = Object.fromEntries(held.map(([memory, { all }]) => [memory.name, all]));
  for (const { small, bank } of missing) {
    for (const [memory, { load }] of held) load(pagesOf(board, memory, proof.memories[memory.name].page, bank));
    const rgba = colouredCodes(scanBank(board, now, bank));
    paintSmall(small, { rgba, width: pixels.width, height: pixels.height }, THUMB);
  }
}
