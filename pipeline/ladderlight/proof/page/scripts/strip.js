const strip = document.getElementById("strip");
const THUMB = 160;

/** Do something for one thing after another, when the browser has nothing else to do. */
function atLeisure(things, work) {
  const left = [...things];
  const soon = globalThis.requestIdleCallback ?? ((call) => setTimeout(() => call({ timeRemaining: () => 8 }), 1));
  async function go(deadline) {
    do await work(left.shift());
    while (left.length && deadline.timeRemaining() > 4);
    if (left.length) soon(go);
  }
  if (left.length) soon(go);
}

/** Draw a bank's screen on a canvas in the monitor's proportions. */
async function drawSmall(target, bank, width) {
  paintSmall(target, await boardImage(bank, "all"), width);
}

/** Paint an image on a canvas in the monitor's proportions. */
function paintSmall(target, image, width) {
  target.width = width;
  target.height = Math.round((width * pixels.height) / pixels.width / pixels.aspect);
  const context = target.getContext("2d");
  context.imageSmoothingQuality = "high";
  context.drawImage(asCanvas(image), 0, 0, target.width, target.height);
  target.classList.add("drawn");
}

/** The banks to scale: one button for each run of equal ones, as wide as it has banks. */
function startStrip() {
  const buttons = proof.banks.map((run) => {
    const button = document.createElement("button");
    button.type = "button";
    button.setAttribute("role", "radio");
    button.setAttribute("aria-label", `${banksInWords(run)}: ${nameOf(run)}`);
    button.title = `${banksInWords(run)}: ${nameOf(run)}`;
    button.style.flexGrow = run.last - run.first + 1;
    button.classList.toggle("free", run.content === null);
    const label = document.createElement("span");
    const numbers = run.first === run.last ? run.first : `${run.first} to ${run.last}`;
    const name = document.createElement("i");
    name.textContent = ` ${nameOf(run)}`;
    label.append(numbers, name);
    button.append(label);
    button.addEventListener("click", () => view.set({ bank: run.first }));
    return button;
  });
  strip.replaceChildren(...buttons);
  strip.addEventListener("keydown", (event) => {
    const by = { ArrowLeft: -1, ArrowUp: -1, ArrowRight: 1, ArrowDown: 1, Home: -Infinity, End: Infinity }[event.key];
    if (!by) return;
    const here = proof.banks.indexOf(runOf(view.get("bank")));
    const next = Math.min(buttons.length - 1, Math.max(0, here + by));
    view.set({ bank: proof.banks[next].first });
    buttons[next].focus();
    event.preventDefault();
  });
  view.on(["bank"], ({ bank }) => {
    const chosen = proof.banks.indexOf(runOf(bank));
    buttons.forEach((button, at) => {
      button.setAttribute("aria-checked", at === chosen);
      button.tabIndex = at === chosen ? 0 : -1;
    });
  });
  return buttons;
}

/** Show each different screen in the list below, where a press chooses it. */
function startContact() {
  const items = [...document.querySelectorAll("#contact > li")];
  return items.map((item) => {
    const bank = Number(item.dataset.bank);
    const button = document.createElement("button");
    const small = document.createElement("canvas");
    button.type = "button";
    button.setAttribute("aria-label", `Show ${banksInWords(runOf(bank))}: ${nameOf(runOf(bank))}`);
    small.width = THUMB;
    small.height = Math.round((THUMB * pixels.height) / pixels.width / pixels.aspect);
    button.append(small);
    button.addEventListener("click", () => {
      view.set({ bank });
      document.getElementById("viewer").scrollIntoView({ behavior: still.matches ? "auto" : "smooth" });
    });
    item.prepend(button);
    view.on(["bank"], (state) => item.classList.toggle("chosen", runOf(state.bank) === runOf(bank)));
    return { small, bank };
  });
}

/** Fill in the small pictures once the screen itself is there. */
function startSmall(buttons, contacts) {
  const drawn = new Map();
  atLeisure(contacts, async ({ small, bank }) => {
    await drawSmall(small, bank, THUMB);
    const { content } = runOf(bank);
    if (content !== null) drawn.set(content, small);
    proof.banks.forEach((run, at) => {
      if (run.content !== content || content === null) return;
      const film = document.createElement("canvas");
      film.width = small.width;
      film.height = small.height;
      film.getContext("2d").drawImage(drawn.get(content), 0, 0);
      buttons[at].prepend(film);
    });
  });
}
