const ALPHABET = Array.from({ length: 94 }, (_, at) => String.fromCharCode(0x21 + at)).filter(
  (letter) => !'"\\<'.includes(letter),
);
const VALUE_OF = new Uint8Array(128);
ALPHABET.forEach((letter, value) => (VALUE_OF[letter.charCodeAt(0)] = value));

/** Return the bytes of a text in which two characters hold 13 bits, and a last single one 6. */
function bytesOf(text) {
  const pairs = text.length >> 1;
  const bytes = new Uint8Array((pairs * 13 + (text.length & 1) * 6) >> 3);
  let held = 0;
  let bits = 0;
  let at = 0;
  function take(value, width) {
    held = ((held & 0x7f) << width) | value;
    bits += width;
    for (; bits >= 8 && at < bytes.length; bits -= 8) bytes[at++] = held >> (bits - 8);
  }
  for (let pair = 0; pair < pairs; pair++) {
    const high = VALUE_OF[text.charCodeAt(2 * pair)];
    take(high * ALPHABET.length + VALUE_OF[text.charCodeAt(2 * pair + 1)], 13);
  }
  if (text.length & 1) take(VALUE_OF[text.charCodeAt(text.length - 1)], 6);
  return bytes;
}

/** Return the bytes that a text holds deflated. */
async function inflated(text) {
  const stream = new Blob([bytesOf(text)]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

/** Return a typed array for words of so many bits. */
function wordArray(width, length) {
  if (width <= 8) return new Uint8Array(length);
  return width <= 16 ? new Uint16Array(length) : new Uint32Array(length);
}

/** The places in a page of the words that it has of its own, by the bits that say so. */
function placesIn(bits, stored) {
  const found = [];
  for (let at = 0; at < stored.page; at++) if ((bits[at >> 3] >> (7 - (at & 7))) & 1) found.push(at);
  return found;
}

/** Put a page's own words, of which all low bytes come first, among those of its memory. */
function putPage(all, memory, stored, page, places, bytes) {
  const from = page * stored.page;
  const planes = Math.max(1, (memory.width + 7) >> 3);
  all.fill(stored.fill, from, from + stored.page);
  for (let number = 0; number < places.length; number++) {
    let word = 0;
    for (let plane = planes - 1; plane >= 0; plane--) word = word * 256 + bytes[plane * places.length + number];
    all[from + places[number]] = word;
  }
}

/**
 * The words of one memory, unpacked page by page as they are needed.
 *
 * @param {{words: number, width: number}} memory
 * @param {{page: number, fill: number, reads: string, contents: string[], bases: number[], order: number[]}} stored
 */
function makeWords(memory, stored) {
  const all = wordArray(memory.width, memory.words);
  const bodies = new Map();
  const placed = new Map();
  let reads = null;

  function body(content) {
    if (!bodies.has(content)) bodies.set(content, unpacked(content));
    return bodies.get(content);
  }

  async function unpacked(content) {
    const base = stored.bases[content];
    const [bytes, before] = await Promise.all([inflated(stored.contents[content]), base < 0 ? null : body(base)]);
    if (before) for (let at = 0; at < bytes.length; at++) bytes[at] ^= before[at];
    return bytes;
  }

  async function place(page) {
    reads ??= inflated(stored.reads).then((bits) => placesIn(bits, stored));
    const [places, bytes] = await Promise.all([reads, body(stored.order[page])]);
    putPage(all, memory, stored, page, places, bytes);
  }

  return {
    all,
    pageSize: stored.page,
    /** Unpack some pages, by their numbers; what is there already stays. */
    async load(pages) {
      await Promise.all(
        pages.map((page) => {
          if (!placed.has(page)) placed.set(page, place(page));
          return placed.get(page);
        }),
      );
    },
  };
}

/** The colours and volts of codes, from the tables of the guns. */
function makePalette(stored) {
  const count = 1 << stored.lines.length;
  const numbers = stored.guns.map((gun) => {
    const found = new Uint16Array(count);
    for (let code = 0; code < count; code++) {
      gun.bits.forEach((bit, place) => (found[code] |= ((code >> bit) & 1) << place));
    }
    return found;
  });
  const rgb = new Uint8Array(3 * count);
  for (let code = 0; code < count; code++) {
    stored.guns.forEach((gun, at) => (rgb[3 * code + at] = gun.srgb[numbers[at][code]]));
  }
  return {
    count,
    lines: stored.lines,
    guns: stored.guns,
    /** By code: red, green and blue, sRGB 0 to 255. */
    rgb,
    hex: (code) => "#" + Array.from(rgb.subarray(3 * code, 3 * code + 3), (v) => v.toString(16).padStart(2, "0")).join(""),
    fields: stored.fields,
    volts: (code) => stored.guns.map((gun, at) => gun.volts[numbers[at][code]]),
    /** The lowest and highest volts of each gun over the tolerance of the resistors, null for exact ones. */
    limits: (code) =>
      stored.guns[0].lowest
        ? stored.guns.map((gun, at) => [gun.lowest[numbers[at][code]], gun.highest[numbers[at][code]]])
        : null,
  };
}
