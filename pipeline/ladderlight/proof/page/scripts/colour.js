/** CIELAB under D65 of a colour in 8-bit sRGB (IEC 61966-2-1). */
function labOf(rgb) {
  const [r, g, b] = rgb.map((value) => {
    const part = value / 255;
    return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4;
  });
  const [x, y, z] = [
    (0.4124564 * r + 0.3575761 * g + 0.1804375 * b) / 0.95047,
    0.2126729 * r + 0.7151522 * g + 0.072175 * b,
    (0.0193339 * r + 0.119192 * g + 0.9503041 * b) / 1.08883,
  ].map((part) => (part > 216 / 24389 ? Math.cbrt(part) : ((24389 / 27) * part + 16) / 116));
  return [116 * y - 16, 500 * (x - y), 200 * (y - z)];
}

/** CIEDE2000 of two colours in CIELAB: Sharma, Wu and Dalal, Color Research and Application 30 (2005). */
function colourDifference([l1, a1, b1], [l2, a2, b2]) {
  const radians = Math.PI / 180;
  const high = (chroma) => Math.sqrt(chroma ** 7 / (chroma ** 7 + 25 ** 7));
  const stretch = 1 + (1 - high((Math.hypot(a1, b1) + Math.hypot(a2, b2)) / 2)) / 2;
  const [c1, c2] = [Math.hypot(stretch * a1, b1), Math.hypot(stretch * a2, b2)];
  const hue = (a, b) => (a === 0 && b === 0 ? 0 : (Math.atan2(b, a) / radians + 360) % 360);
  const [h1, h2] = [hue(stretch * a1, b1), hue(stretch * a2, b2)];
  let turn = c1 * c2 === 0 ? 0 : h2 - h1;
  if (turn > 180) turn -= 360;
  else if (turn < -180) turn += 360;
  let mean = h1 + h2;
  if (c1 * c2 !== 0) {
    if (Math.abs(h1 - h2) <= 180) mean /= 2;
    else mean = mean < 360 ? (mean + 360) / 2 : (mean - 360) / 2;
  }
  const [dl, dc, dh] = [l2 - l1, c2 - c1, 2 * Math.sqrt(c1 * c2) * Math.sin((turn / 2) * radians)];
  const [light, chroma] = [(l1 + l2) / 2, (c1 + c2) / 2];
  const cosine = (times, less) => Math.cos((times * mean - less) * radians);
  const t = 1 - 0.17 * cosine(1, 30) + 0.24 * cosine(2, 0) + 0.32 * cosine(3, -6) - 0.2 * cosine(4, 63);
  const sl = 1 + (0.015 * (light - 50) ** 2) / Math.sqrt(20 + (light - 50) ** 2);
  const [sc, sh] = [1 + 0.045 * chroma, 1 + 0.015 * chroma * t];
  const rotation = -Math.sin(60 * Math.exp(-(((mean - 275) / 25) ** 2)) * radians) * 2 * high(chroma);
  return Math.sqrt((dl / sl) ** 2 + (dc / sc) ** 2 + (dh / sh) ** 2 + rotation * (dc / sc) * (dh / sh));
}
