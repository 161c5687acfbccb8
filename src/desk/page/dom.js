"use strict";
/** Elements by words: make("p", {class: "note"}, "text", child, ...). "on..." are listeners, null is left out. */
const make = (tag, attributes = {}, ...children) => {
  const svg = make.drawn.has(tag);
  const node = svg ? document.createElementNS("http://www.w3.org/2000/svg", tag) : document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "value") node.value = value;
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children.flat(3).filter((one) => one !== null && one !== undefined && one !== false));
  return node;
};
make.drawn = new Set(["svg", "g", "circle", "path", "text", "line", "rect"]);
const byId = (id) => document.getElementById(id);
const button = (words, action, attributes = {}) => make("button", {type: "button", onclick: action, ...attributes}, words);
/** A node that follows what is typed: `renew` brings it up to date after every change. The view is not made anew for it, so whoever is
 * typing or pressing something by then loses nothing. */
const live = (node, renew) => {
  node.dataset.live = "";
  node.renew = () => renew(node);
  node.renew();
  return node;
};
const copy = (value) => JSON.parse(JSON.stringify(value));

/** Puts what was drawn anew into `place`. A drop-down that has the focus stays where it is, with everything around it new: a person may be
 * typing the name of a choice, which is lost when the list is another. */
const redraw = (place, fresh) => {
  const held = document.activeElement;
  const key = (node) => node.dataset.cell ?? (/^cell\d+$/.test(node.id) ? node.getAttribute("aria-label") : node.id);
  const draft = make("div", {}, ...fresh);
  const mate = held?.tagName === "SELECT" && place.contains(held) && !held.closest("table") ? [...draft.querySelectorAll("select")].find((one) => key(one) && key(one) === key(held)) : null;
  const chain = (node, top) => { const nodes = []; for (let one = node; one !== top; one = one.parentNode) nodes.unshift(one); return nodes; };
  const [was, now] = mate ? [chain(held, place), chain(mate, draft)] : [[], []];
  if (!mate || was.map((one) => one.tagName).join() !== now.map((one) => one.tagName).join()) { place.replaceChildren(...draft.childNodes); return; }
  was.forEach((node, n) => {
    const before = [...now[n].parentNode.childNodes];
    const middle = before.indexOf(now[n]);
    for (const one of [...node.parentNode.childNodes]) if (one !== node) one.remove();
    node.before(...before.slice(0, middle));
    node.after(...before.slice(middle + 1));
    for (const {name, value} of now[n].attributes) node.setAttribute(name, value);
  });
  if (held.innerHTML !== mate.innerHTML) held.replaceChildren(...mate.childNodes);
  held.value = mate.value;
};

/** Tells those who listen rather than look, and shows it for a while. */
const say = (words) => {
  byId("said").textContent = "";
  setTimeout(() => { byId("said").textContent = words; }, 30);
  clearTimeout(say.timer);
  say.timer = setTimeout(() => { byId("said").textContent = ""; }, 9000);
};

/** A question with answers to choose from; gives the answer's number, or -1 when it was closed. */
const ask = (question, answers, more = []) => new Promise((resolve) => {
  let chosen = -1;
  const dialog = make("dialog", {"aria-labelledby": "question"},
    make("h2", {id: "question"}, question), more,
    make("p", {class: "buttons"}, answers.map((words, i) => button(words, () => { chosen = i; dialog.close(); }, {class: i === 0 ? "main" : null}))));
  dialog.addEventListener("close", () => { dialog.remove(); resolve(chosen); });
  document.body.append(dialog);
  dialog.showModal();
});
