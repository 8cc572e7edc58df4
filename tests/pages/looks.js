// What a reader sees of a page: texts of too little contrast, and what reaches beyond its edge.
(() => {
  const pixel = new OffscreenCanvas(1, 1).getContext("2d", { willReadFrequently: true });

  /** Red, green, blue (0 to 255) and opacity of a colour as CSS writes it. */
  const parsed = (colour) => {
    const numbers = colour.match(/^rgba?\(([^)]*)\)$/)?.[1].split(",").map(Number);
    if (numbers) return numbers.length === 4 ? numbers : [...numbers, 1];
    pixel.clearRect(0, 0, 1, 1);
    pixel.fillStyle = colour;
    pixel.fillRect(0, 0, 1, 1);
    const [r, g, b, a] = pixel.getImageData(0, 0, 1, 1).data;
    return [r, g, b, a / 255];
  };

  const over = (top, below) => below.map((value, at) => (at === 3 ? 1 : top[at] * top[3] + value * (1 - top[3])));

  const luminance = (colour) => {
    const [r, g, b] = colour.slice(0, 3).map((value) => {
      const part = value / 255;
      return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };

  const contrast = (one, other) => {
    const [dark, light] = [luminance(one), luminance(other)].sort((a, b) => a - b);
    return (light + 0.05) / (dark + 0.05);
  };

  /** The colour behind an element and its opacity, with those of all its ancestors; known ones are not computed again. */
  const ground = (element, known) => {
    if (!element) {
      const dark = getComputedStyle(document.documentElement).colorScheme.includes("dark")
        && matchMedia("(prefers-color-scheme: dark)").matches;
      return { colour: dark ? [18, 18, 18, 1] : [255, 255, 255, 1], opacity: 1 };
    }
    if (!known.grounds.has(element)) {
      const around = ground(element.parentElement, known);
      const { backgroundColor, opacity } = getComputedStyle(element);
      known.grounds.set(element, {
        colour: over(parsed(backgroundColor), around.colour),
        opacity: around.opacity * Number(opacity),
      });
    }
    return known.grounds.get(element);
  };

  /** The shapes of a drawing that are filled, and where they are. */
  const shapesOf = (drawing, known) => {
    if (!known.shapes.has(drawing)) {
      const shapes = [...drawing.querySelectorAll("rect, path, circle, polygon, ellipse")].map((shape) => {
        const { fill, fillOpacity } = getComputedStyle(shape);
        return { shape, fill, opacity: Number(fillOpacity), box: shape.getBoundingClientRect() };
      });
      known.shapes.set(drawing, shapes.filter(({ fill }) => fill !== "none"));
    }
    return known.shapes.get(drawing);
  };

  /** The colour behind an element: for words in a drawing, that of the shapes drawn before. */
  const behind = (element, known) => {
    let { colour } = ground(element, known);
    const drawing = element.closest("svg");
    if (!drawing) return colour;
    const own = element.getBoundingClientRect();
    const [x, y] = [(own.left + own.right) / 2, (own.top + own.bottom) / 2];
    for (const { shape, fill, opacity, box } of shapesOf(drawing, known)) {
      if (x < box.left || x > box.right || y < box.top || y > box.bottom) continue;
      if (!(shape.compareDocumentPosition(element) & Node.DOCUMENT_POSITION_FOLLOWING)) break;
      const [r, g, b, a] = parsed(fill);
      colour = over([r, g, b, a * opacity], colour);
    }
    return colour;
  };

  /** Texts with a contrast below `least`, each as what it is, its contrast and both colours. */
  const faint = (least) => {
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    const found = [];
    const known = { grounds: new Map(), shapes: new Map() };
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
      const element = node.parentElement;
      if (!node.data.trim() || element.closest("script, style, noscript, svg title, option")) continue;
      if (!element.checkVisibility({ visibilityProperty: true, opacityProperty: true })) continue;
      const style = getComputedStyle(element);
      const below = behind(element, known);
      const { opacity } = ground(element, known);
      const [r, g, b, a] = parsed(element.closest("svg") ? style.fill : style.color);
      const ratio = contrast(over([r, g, b, a * opacity], below), below);
      if (ratio < least) {
        found.push(`${element.tagName.toLowerCase()}.${element.getAttribute("class") ?? ""} ${node.data.trim().slice(0, 30)}: `
          + `${ratio.toFixed(2)}, ${[r, g, b]} on ${below.slice(0, 3).map(Math.round)}`);
      }
    }
    return found;
  };

  /** What reaches beyond the right edge, if the page can be moved sideways. */
  const beyond = () => {
    const edge = document.documentElement.clientWidth;
    if (document.documentElement.scrollWidth <= edge) return [];
    const reach = (each) => {
      const { left, right } = each.getBoundingClientRect();
      return getComputedStyle(each).overflowX === "visible" ? Math.max(right, left + each.scrollWidth) : right;
    };
    return [...document.body.querySelectorAll("*")]
      .filter((each) => reach(each) > edge + 0.5)
      .map((each) => `${each.tagName.toLowerCase()}.${each.getAttribute("class") ?? ""}`);
  };

  /** What can be operated and is to be seen, without what the arrow keys reach within one stop of the Tab key. */
  const operable = () => [...document.querySelectorAll(
    "a[href], button, input, select, textarea, summary, [tabindex], [contenteditable], [onclick]")]
    .filter((each) => !each.disabled && each.checkVisibility({ visibilityProperty: true }))
    .filter((each) => each.getAttribute("tabindex") !== "-1" && !(each.type === "radio" && !each.checked));

  /** What looks as if it could be pressed, and cannot be reached from the keyboard. */
  const unreachable = () => [...document.querySelectorAll("body *")]
    .filter((each) => getComputedStyle(each).cursor === "pointer" && each.checkVisibility({ visibilityProperty: true }))
    .filter((each) => !each.closest("a[href], button, input, select, summary, label, [tabindex]"))
    .map((each) => `${each.tagName.toLowerCase()}.${each.getAttribute("class") ?? ""}`);

  /** What can be operated and has no name to be read out. */
  const nameless = () => operable()
    .filter((each) => ![each.ariaLabel, each.querySelector("img")?.alt, each.matches("select") ? "" : each.textContent, each.labels?.[0]?.textContent]
      .some((name) => name?.trim()))
    .map((each) => each.outerHTML.slice(0, 90));

  window.looks = { faint, beyond, operable, unreachable, nameless };
})();
