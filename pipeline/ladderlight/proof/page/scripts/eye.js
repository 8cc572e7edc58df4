/**
 * The eye's blur by the filters of S-CIELAB (Zhang and Wandell, 1996), as the measure "grain" has them: weights and
 * full widths at half maximum in degrees, for luminance, red-green and blue-yellow. The widest one of luminance, 7
 * degrees and negative, is left out: the reader's own eye adds it. The others are scaled to a sum of 1.
 */
const EYE = [
  [[1.00327, 0.05], [0.114416, 0.225]],
  [[0.616725, 0.0685], [0.383275, 0.826]],
  [[0.567885, 0.092], [0.432115, 0.6451]],
];
const OPPONENT_FROM_XYZ = [[0.279, 0.72, -0.107], [-0.449, 0.29, -0.077], [0.086, -0.59, 0.501]];
/** IEC 61966-2-1. */
const XYZ_FROM_LINEAR = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]];
const FULL_WIDTH = 2 * Math.sqrt(2 * Math.log(2));
const REACH = 4.5;

const product = (one, other) => one.map((row) => other[0].map((_, at) => row.reduce((sum, v, k) => sum + v * other[k][at], 0)));

function inverse([[a, b, c], [d, e, f], [g, h, i]]) {
  const whole = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g);
  return [
    [e * i - f * h, c * h - b * i, b * f - c * e],
    [f * g - d * i, a * i - c * g, c * d - a * f],
    [d * h - e * g, b * g - a * h, a * e - b * d],
  ].map((row) => row.map((value) => value / whole));
}

const OPPONENT = product(OPPONENT_FROM_XYZ, XYZ_FROM_LINEAR);
const FROM_OPPONENT = inverse(OPPONENT);

const LINEAR = Float32Array.from({ length: 256 }, (_, byte) => {
  const share = byte / 255;
  return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
});

function byteOf(linear) {
  const light = Math.min(1, Math.max(0, linear));
  return Math.round(255 * (light <= 0.0031308 ? 12.92 * light : 1.055 * light ** (1 / 2.4) - 0.055));
}

/** The error function to 1.5e-7: Abramowitz and Stegun, 7.1.26. */
function erf(x) {
  const t = 1 / (1 + 0.3275911 * Math.abs(x));
  const sum = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))));
  return Math.sign(x) * (1 - sum * Math.exp(-x * x));
}

/** A Gaussian's weights by pixel, integrated over each, for so many pixels in a degree. */
function gaussian(degrees, density) {
  const sigma = (degrees * density) / FULL_WIDTH;
  const reach = Math.ceil(REACH * sigma + 0.5);
  const edge = (at) => erf((at - reach - 0.5) / (sigma * Math.SQRT2));
  const weights = Array.from({ length: 2 * reach + 1 }, (_, at) => (edge(at + 1) - edge(at)) / 2);
  const sum = weights.reduce((total, weight) => total + weight, 0);
  return weights.map((weight) => weight / sum);
}

/** Filter the rows of a plane, which is mirrored beyond its edges, and turn it over: columns become rows. */
function filterRows(plane, width, height, weights) {
  const reach = weights.length >> 1;
  const turned = new Float32Array(plane.length);
  const row = new Float32Array(width + 2 * reach);
  for (let y = 0; y < height; y++) {
    for (let at = 0; at < row.length; at++) {
      const place = (((at - reach) % (2 * width)) + 2 * width) % (2 * width);
      row[at] = plane[y * width + (place < width ? place : 2 * width - 1 - place)];
    }
    for (let x = 0; x < width; x++) {
      let sum = 0;
      for (let at = 0; at < weights.length; at++) sum += weights[at] * row[x + at];
      turned[x * height + y] = sum;
    }
  }
  return turned;
}

/**
 * A picture as the eye sees it from a distance.
 *
 * @param {Uint8ClampedArray} rgba sRGB.
 * @param {[number, number]} density Pixels in a degree of sight, across and down.
 * @returns {Uint8ClampedArray}
 */
function seenFrom(rgba, width, height, density) {
  const channels = EYE.map((filters, channel) => {
    const plane = new Float32Array(width * height);
    for (let at = 0; at < plane.length; at++) {
      for (let gun = 0; gun < 3; gun++) plane[at] += OPPONENT[channel][gun] * LINEAR[rgba[4 * at + gun]];
    }
    const whole = filters.reduce((sum, [weight]) => sum + weight, 0);
    const total = new Float32Array(plane.length);
    for (const [weight, degrees] of filters) {
      const once = filterRows(plane, width, height, gaussian(degrees, density[0]));
      const twice = filterRows(once, height, width, gaussian(degrees, density[1]));
      for (let at = 0; at < total.length; at++) total[at] += (weight / whole) * twice[at];
    }
    return total;
  });
  const seen = new Uint8ClampedArray(rgba.length);
  for (let at = 0; at < width * height; at++) {
    for (let gun = 0; gun < 3; gun++) {
      const light = FROM_OPPONENT[gun].reduce((sum, share, channel) => sum + share * channels[channel][at], 0);
      seen[4 * at + gun] = byteOf(light);
    }
    seen[4 * at + 3] = rgba[4 * at + 3];
  }
  return seen;
}

/** Pixels in a degree of sight, across and down, of a screen so many metres wide and far. */
function densityOf(pictureWidth, pixelAspect, screenWidth, distance) {
  const across = ((Math.PI / 180) * distance * pictureWidth) / screenWidth;
  return [across, across * pixelAspect];
}
