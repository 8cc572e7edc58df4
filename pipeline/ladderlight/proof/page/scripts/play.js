/** Play an animation as the board does: each bank for the time that its frame counter stays at one. */
function startPlay() {
  const { animation } = proof;
  const button = document.getElementById("play");
  for (const [id, by] of [["before", -1], ["after", 1]]) {
    document.getElementById(id).addEventListener("click", () => {
      view.set({ playing: false });
      stepBank(by);
    });
  }
  const told = document.getElementById("time");
  const player = document.getElementById("player");
  player.hidden = stops.length < 2;
  document.getElementById("moving").hidden = !animation;
  if (!animation) return;
  const { first, last, step: seconds } = animation;
  const count = last - first + 1;
  let began = 0;
  let asked = 0;

  const place = () => Math.min(count - 1, Math.max(0, view.get("bank") - first));

  function turn(now) {
    if (!view.get("playing")) return;
    let passed = Math.max(0, Math.floor((now - began) / 1000 / seconds)); // a frame's time may lie before the press
    if (passed >= count && view.get("loop")) {
      began += Math.floor(passed / count) * count * seconds * 1000;
      passed %= count;
    }
    if (passed >= count) view.set({ playing: false, bank: last });
    else {
      view.set({ bank: first + passed });
      asked = requestAnimationFrame(turn);
    }
  }

  button.addEventListener("click", () => view.set({ playing: !view.get("playing") }));
  view.on(["playing"], ({ playing, loop }) => {
    button.textContent = playing ? "Hold" : "Play";
    document.getElementById("caption-title").parentElement.setAttribute("aria-live", playing ? "off" : "polite");
    cancelAnimationFrame(asked);
    if (!playing) return;
    const from = !loop && place() === count - 1 ? 0 : place();
    began = performance.now() - from * seconds * 1000;
    asked = requestAnimationFrame(turn);
  });
  view.on(["bank"], () => {
    const at = (place() * seconds).toFixed(2);
    const of = (count * seconds).toFixed(2);
    told.textContent = `${at} of ${of} s, ${(seconds * 1000).toFixed(1)} ms a bank${animation.known ? "" : ", by the frames' durations"}`;
  });
}
