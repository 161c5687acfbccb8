/** Cells that a person types in. Each knows its path in a file; the library's messages are shown beside it. */
const shownNumber = (text) => (desk.job.units.mark === "comma" ? text.replace(/^([+-]?\d*)\.(\d+)/, "$1,$2") : text);
/** What was typed, its number with a decimal point; one that can be read in two ways is not taken for either. */
const typedNumber = async (raw, cell) => {
  desk.typed.delete(cell);
  if (!/[.,]/.test(raw)) return raw;
  const [found] = (await engine.ask("numbers", {mark: desk.job.units.mark, cells: [raw]})).cells;
  if (typeof found === "string") return found;
  desk.typed.set(cell, found.error);
  return `${raw}?`;
};

const rootOf = (root) => (root === "rotor" ? desk.job.rotor : root === "job" ? desk.job.job : desk.job.runs[Number(root.slice(4))]?.facts);
const cellOf = (root, path) => (root.startsWith("run ") ? `job:runs[${root.slice(4)}].${path}` : `${root}:${path}`);
const write = (root, path, value, also = () => {}) => change((job) => {
  const tree = root === "rotor" ? job.rotor : root === "job" ? job.job : job.runs[Number(root.slice(4))].facts;
  const full = root.startsWith("run ") ? `runs[0].${path}` : path;
  const was = at(tree, path);
  if (value === "" && mayBeEmpty(full)) drop(tree, path);
  else put(tree, path, value);
  also(job, was, value);
});
const cellNode = (cell) => [...document.querySelectorAll("[data-cell]")].find((one) => one.dataset.cell === cell);
/** A number that was understood only after its view was made anew is shown in its new cell. */
const showIn = (node, cell, text) => {
  const place = node.isConnected ? node : cellNode(cell);
  if (place && (node.isConnected || place !== document.activeElement)) place.value = shownNumber(text);
};

let fieldNumber = 0;
/** A labelled cell. kind: text, number, quantity (with `unit` beside it), choice (of `choices`), angle, slots. `bare` leaves the label to a table's heading; `optional`: when it is filled in, "if known" where it is true; `also`: what else changes with it (the job, what it was, what it is). */
const field = ({label, root = "rotor", path, kind = "text", unit = "", choices = [], hint = "", bare = false, also = undefined, optional = false}) => {
  const cell = cellOf(root, path);
  const id = `cell${++fieldNumber}`;
  const value = at(rootOf(root), path);
  const common = {id, "data-cell": cell, "aria-describedby": `${id}m`, "aria-label": bare ? label : null, autocomplete: "off", autocapitalize: "off", spellcheck: "false"};
  const done = (text) => write(root, path, text, also);
  let control;
  if (kind === "choice") {
    control = make("select", {...common, onchange: (event) => done(event.target.value)},
      value === undefined || value === "" || !choices.some(([key]) => key === value) ? make("option", {value: ""}, optional ? "not said" : "choose") : optional ? make("option", {value: ""}, "not said") : null,
      choices.map(([key, words]) => make("option", {value: key, selected: key === value}, words)));
    live(control, () => { const now = at(rootOf(root) ?? {}, path); control.value = choices.some(([key]) => key === now) ? now : ""; });
  } else if (kind === "angle") {
    control = angleControl(common, value ?? "", done, label);
  } else {
    const shown = kind === "slots" ? [].concat(value ?? []).join(", ") : kind === "text" ? value ?? "" : shownNumber(withoutUnit(value, unit));
    const change = async (event) => {
      const raw = event.target.value.trim();
      if (kind === "text") { done(raw); return; }
      if (kind === "slots") { const list = raw.split(/[\s,;]+/).filter(Boolean); write(root, path, list.length > 0 ? list : ""); return; }
      const number = await typedNumber(raw, cell);
      done(kind === "quantity" ? withUnit(number, unit) : number);
      showIn(event.target, cell, withoutUnit(number, unit));
    };
    control = make("input", {...common, type: "text", inputmode: kind === "text" ? null : kind === "slots" ? null : "decimal", value: shown, placeholder: hint || null, onchange: change});
  }
  const withIt = kind === "quantity" && unit ? make("span", {class: "with-unit"}, control, make("span", {class: "unit", "aria-hidden": "true"}, unit)) : control;
  const message = make("span", {class: "message", id: `${id}m`});
  if (bare) return make("span", {class: "cell"}, withIt, message);
  return make("div", {class: "field"}, make("label", {for: kind === "angle" ? `${id}` : id}, label, optional ? make("small", {}, optional === true ? " if known" : ` ${optional}`) : null), withIt, message);
};

/** Enter goes down a table of cells; below the last row it calls for another. */
const enterGoesOn = (table, another) => {
  table.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target.tagName !== "INPUT") return;
    event.preventDefault();
    const cells = (row) => [...row?.querySelectorAll("input") ?? []];
    const row = event.target.closest("tr");
    const n = cells(row).indexOf(event.target);
    event.target.blur();  // so that it is written first
    setTimeout(() => { const below = cells(row.nextElementSibling); if (below.length === cells(row).length) below[n].focus(); else another(); }, 50);
  });
  return table;
};

/** Degrees and their sense: "4 deg with rotation". */
const angleControl = (common, value, done, label) => {
  const found = /^(.*?)\s*(?:deg)?\s*(with rotation|against rotation)?$/.exec(value);
  let [, degrees, sense = "with rotation"] = found;
  const write = () => done(degrees === "" ? "" : `${withUnit(degrees, "deg")} ${sense}`);
  const number = make("input", {...common, type: "text", inputmode: "decimal", value: shownNumber(degrees), onchange: async (event) => { degrees = await typedNumber(event.target.value.trim(), common["data-cell"]); write(); }});
  const select = make("select", {"aria-label": `${label}: sense`, onchange: (event) => { sense = event.target.value; write(); }},
    choice.direction.map(([key, words]) => make("option", {value: key}, words)));
  select.value = sense;
  return make("span", {class: "with-unit"}, number, make("span", {class: "unit"}, "deg"), select);
};

/** Where a value without a cell stands: "sensors 1, limits: ". */
const placeWords = (path) => { const words = path.replace(/^\w+:/, "").replace(/\[(\d+)\]/g, (_, n) => ` ${Number(n) + 1}`).replaceAll(".", ", ").replaceAll("_", " "); return words && `${words}: `; };
/** Puts every message beside its cell; those without a cell into the list at the head of the view. */
const showMessages = () => {
  const found = desk.checked;
  if (!found) return;
  const all = new Map();
  const add = (prefix, messages) => { for (const [path, one] of messages) all.set(`${prefix}:${path}`, one); };
  add("rotor", found.rotor);
  // What a sensor measures is chosen with its unit, in one cell.
  for (const [path, one] of [...all]) if (/\]\.measures$/.test(path)) { all.delete(path); const unit = path.replace(/measures$/, "unit"); if (!all.has(unit)) all.set(unit, one); }
  add("job", found.job);
  add("reading", found.readings);
  for (const [cell, one] of desk.typed) all.set(cell, one);
  for (const [cell, one] of doubtsNow()) if (!all.has(cell)) all.set(cell, one);
  const cells = new Map([...document.querySelectorAll("[data-cell]")].map((node) => [node.dataset.cell, node]));
  for (const node of cells.values()) { node.removeAttribute("aria-invalid"); node.classList.remove("to-fill", "doubtful", "less-doubtful"); const place = byId(node.getAttribute("aria-describedby")); if (place) place.textContent = ""; }
  const elsewhere = [];
  for (const [path, one] of all) {
    const node = cells.get(path) ?? [...cells].find(([cell]) => cell.startsWith(`${path}.`) || cell.startsWith(`${path}[`))?.[1] ?? cells.get(path.replace(/[.[][^.[]*$/, ""));
    if (!node) { elsewhere.push([path, one]); continue; }
    for (let more = node.closest("details"); more && !one.less; more = more.parentElement.closest("details")) more.open = true;
    if (one.empty) { node.classList.add("to-fill"); continue; }
    if (one.doubt) node.classList.add(one.less ? "less-doubtful" : "doubtful"); else node.setAttribute("aria-invalid", "true");
    const place = byId(node.getAttribute("aria-describedby"));
    const words = messageWords(one);
    if (place) place.textContent = place.textContent ? `${place.textContent}. ${words}` : words;
  }
  desk.messages = all;
  const list = byId("elsewhere");
  if (list) {
    const here = elsewhere.filter(([path]) => viewOf(path) === desk.view).map(([path, one]) => `${placeWords(path)}${messageWords(one)}`);
    if (found.general && desk.view !== "jobs" && here.length === 0 && all.size === 0) here.push(messageWords(found.general));
    list.replaceChildren(...here.map((words) => make("li", {}, words)));
    list.hidden = here.length === 0;
  }
  for (const view of ["rotor", "runs"]) {
    const mine = [...all].filter(([path]) => viewOf(path) === view);
    const empty = mine.filter(([, one]) => one.empty).length;
    const doubts = mine.filter(([, one]) => one.doubt && !one.less).length;
    const wrong = mine.filter(([, one]) => !one.empty && !one.doubt).length;
    const tab = byId(`state-${view}`);
    if (tab) tab.textContent = [wrong > 0 ? `${wrong} wrong` : "", empty > 0 ? `${empty} to fill in` : "", doubts > 0 ? `${doubts} in doubt` : ""].filter(Boolean).join(", ");
  }
};
const viewOf = (path) => (/^(rotor:|job:(speeds|serial|title|station)\b)/.test(path) ? "rotor" : "runs");
