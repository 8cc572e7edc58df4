/** Show a bank whose place in a chip is chosen. One box at a time takes the focus; the arrow keys go on from it. */
(function () {
  const boxes = [...document.querySelectorAll(".chip-row > a")];
  const bankOf = (box) => Number(box.hash.split("=")[1]);

  function show(box) {
    view.set({ bank: bankOf(box) });
    document.getElementById("viewer").scrollIntoView({ block: "nearest" });
  }

  boxes.forEach((box, at) => {
    box.addEventListener("click", (event) => {
      event.preventDefault();
      show(box);
    });
    box.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: -1, ArrowRight: 1, Home: -at, End: boxes.length - 1 - at }[event.key];
      const next = boxes[at + step];
      if (!next) return;
      event.preventDefault();
      next.focus();
      view.set({ bank: bankOf(next) });
    });
  });

  view.on(["bank"], ({ bank }) => {
    const current = boxes.filter((box) => bankOf(box) === bank);
    const reached = current.includes(document.activeElement) ? document.activeElement : (current[0] ?? boxes[0]);
    for (const box of boxes) {
      box.setAttribute("aria-current", String(current.includes(box)));
      box.tabIndex = box === reached ? 0 : -1;
    }
  });
})();
