/** What outlives a reload: the choice tried out and the boxes ticked of this very plan, and light or dark. */
const keeping = (text) => {
  let hash = 0;
  for (let i = 0; i < text.length; ++i) hash = (Math.imul(hash, 31) + text.charCodeAt(i)) >>> 0;
  const name = `trimwright page ${hash.toString(16)}`;
  const get = (key) => { try { return JSON.parse(localStorage.getItem(key)); } catch { return null; } };
  const set = (key, value) => { try { localStorage.setItem(key, JSON.stringify(value)); } catch { /* private window: kept no longer */ } };
  let waiting = 0;
  window.addEventListener("pagehide", () => { if (waiting) set(name, state); });
  const state = get(name) || {ticks: []};
  const isChoice = (data, choice) => Array.isArray(choice) && choice.length === data.planes.length &&
    choice.every((held, p) => Object.entries(held).every(([slot, piece]) => data.planes[p].slots.some((one) => one.slot === Number(slot)) &&
      (typeof piece === "object" || data.planes[p].weights.some((weight) => weight.id === piece))));
  return {
    choice: (data) => (isChoice(data, state.choice) ? state.choice : null),
    keep(choice) {
      if (!choice && !state.choice) return;
      state.choice = choice;
      clearTimeout(waiting);
      waiting = setTimeout(() => set(name, state), 200);  // not while a weight is moved
    },
    ticks: () => new Set(state.ticks),
    tick(all) { state.ticks = all; set(name, state); },
    dark: () => get("trimwright dark"),
    keepDark(dark) { set("trimwright dark", dark); },
  };
};

{
  const source = document.getElementById("page-data");
  const kept = keeping(source ? source.textContent : document.title);
  const dark = document.getElementById("dark");
  const theme = document.getElementById("theme");
  const shownDark = () => window.matchMedia(dark.media).matches;
  const setDark = (on) => {
    dark.media = on ? "screen" : "not all";
    theme.textContent = on ? "Light" : "Dark";
  };
  theme.textContent = shownDark() ? "Light" : "Dark";
  if (kept.dark() !== null) setDark(kept.dark());
  theme.addEventListener("click", () => { setDark(!shownDark()); kept.keepDark(shownDark()); });
  document.getElementById("print").addEventListener("click", () => window.print());
  document.getElementById("tools").hidden = false;

  const boxes = [...document.querySelectorAll("[data-tick]")];
  boxes.forEach((box) => {
    box.checked = kept.ticks().has(box.dataset.tick);
    box.addEventListener("change", () => kept.tick(boxes.filter((one) => one.checked).map((one) => one.dataset.tick)));
  });

  if (source) {
    const data = JSON.parse(source.textContent);
    window.balancePage = {data, arithmetic, ...tryOut(data, kept)};
  }
}
