/**
 * The eye's blur: the narrow filters that S-CIELAB has for luminance (Zhang and Wandell, 1996), as the measure "grain"
 * uses them, on the light of each gun. Weights and full widths at half maximum in degrees; scaled to a sum of 1. Its
 * widest filter and those for colour are left out: on a page they would tint what lies beside edges, which the reader's
 * own eye does already.
 */
const EYE = [[1.00327, 0.05], [0.114416, 0.225]];
const FULL_WIDTH = 2 * Math.sqrt(2 * Math.log(2));
const REACH = 4.5;

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
  const whole = EYE.reduce((sum, [weight]) => sum + weight, 0);
  const filters = EYE.map(([weight, degrees]) => [weight / whole, ...density.map((each) => gaussian(degrees, each))]);
  const seen = rgba.slice();
  for (let gun = 0; gun < 3; gun++) {
    const plane = Float32Array.from({ length: width * height }, (_, at) => LINEAR[rgba[4 * at + gun]]);
    const total = new Float32Array(plane.length);
    for (const [weight, across, down] of filters) {
      const filtered = filterRows(filterRows(plane, width, height, across), height, width, down);
      for (let at = 0; at < total.length; at++) total[at] += weight * filtered[at];
    }
    total.forEach((light, at) => (seen[4 * at + gun] = byteOf(light)));
  }
  return seen;
}

/** Pixels in a degree of sight, across and down, of a screen so many metres wide and far. */
function densityOf(pictureWidth, pixelAspect, screenWidth, distance) {
  const across = ((Math.PI / 180) * distance * pictureWidth) / screenWidth;
  return [across, across * pixelAspect];
}
