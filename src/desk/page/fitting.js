/** What is fitted: entered by tapping the drawing, or slot by slot. */
const fittedOf = (job, r) => {
  const written = r === "now" ? job.job.fitted_now ?? (job.runs.length > 0 ? `same as ${job.runs.at(-1).facts.name}` : "none") : job.runs[r]?.facts.fitted;
  if (typeof written !== "string") return written ?? {};
  if (!written.startsWith("same as ")) return {};
  const other = job.runs.findIndex((run) => run.facts.name === written.slice(8));
  return other >= 0 && (r === "now" || other < r) ? fittedOf(job, other) : {};
};
/** One plane's: contents by slot, and pieces in no slot. */
const planeFitted = (written) => {
  const slots = {};
  const others = [];
  if (Array.isArray(written)) for (const piece of written) { if (piece.slot !== undefined) { const {slot, ...rest} = piece; slots[slot] = rest.weight ?? rest; } else others.push(piece); }
  else if (written && typeof written === "object") Object.assign(slots, written);
  return {slots, others};
};
const writtenPlane = ({slots, others}) => {
  const all = Object.entries(slots);
  if (all.length === 0 && others.length === 0) return null;
  if (others.length === 0 && all.every(([, content]) => typeof content === "string")) return slots;
  return [...all.map(([slot, content]) => (typeof content === "string" ? {slot, weight: content} : {slot, ...content})), ...others];
};
const contentWords = (content) => (typeof content === "string" ? content : content.moment ?? [content.mass, content.radius].filter(Boolean).join(" at "));
const fittedWords = (fitted) => Object.entries(fitted).map(([plane, written]) => {
  const {slots, others} = planeFitted(written);
  const words = [...Object.entries(slots).map(([slot, content]) => `slot ${slot} ${contentWords(content)}`), ...others.map((one) => `${contentWords(one)} at ${one.at}`)];
  return words.length > 0 ? `${plane}: ${words.join(", ")}` : null;
}).filter(Boolean).join("; ") || "nothing";
const setFitted = (r, fitted) => change((job) => {
  const value = Object.keys(fitted).length > 0 ? fitted : "none";
  if (r === "now") job.job.fitted_now = value; else job.runs[r].facts.fitted = value;
});

const fittingDialog = (r) => new Promise((resolve) => {
  const facts = desk.checked?.facts;
  if (!facts) { say("Describe the planes first: then they can be drawn."); resolve(); return; }
  const before = r === "now" ? desk.job.runs : desk.job.runs.slice(0, r);
  const title = r === "now" ? "What is on the rotor now" : `What was fitted in the run “${desk.job.runs[r].facts.name}”`;
  const body = make("div", {class: "planes-fitted"});
  const chosen = {};
  const placeOf = (node) => `${node.closest("section")?.getAttribute("aria-label")}: ${node.getAttribute("aria-label") ?? node.tagName}`;
  const draw = () => {
    const fitted = fittedOf(desk.job, r);
    const focused = body.contains(document.activeElement) ? placeOf(document.activeElement) : null;
    body.replaceChildren(...facts.planes.map((plane) => planeFitting(plane, fitted, chosen, r, draw, facts)));
    if (focused) [...body.querySelectorAll("button, select, input")].find((node) => placeOf(node) === focused)?.focus();
  };
  const same = before.length > 0 ? make("select", {"aria-label": "The same as in another run", onchange: (event) => {
    if (!event.target.value) return;
    change((job) => { const value = event.target.value === "none" ? "none" : `same as ${event.target.value}`; if (r === "now") job.job.fitted_now = value; else job.runs[r].facts.fitted = value; });
    draw();
  }}, make("option", {value: ""}, "The same as in ..."), before.map((run) => make("option", {value: run.facts.name}, run.facts.name))) : null;
  const dialog = make("dialog", {class: "wide", "aria-labelledby": "fitting-title"}, make("h2", {id: "fitting-title"}, title),
    make("p", {}, "All that was in, not only what was added. Tap a hole and say what it holds; holes not named hold their filler, or nothing."),
    make("p", {class: "buttons"}, same, button("Nothing fitted", () => { setFitted(r, {}); draw(); })), body,
    make("p", {class: "buttons end"}, button("Done", () => dialog.close(), {class: "main"})));
  dialog.addEventListener("close", () => { dialog.remove(); show(); resolve(); });
  document.body.append(dialog);
  draw();
  dialog.showModal();
});

const planeFitting = (plane, fitted, chosen, r, draw, facts) => {
  const {slots, others} = planeFitted(fitted[plane.name]);
  const usable = plane.slots.filter((one) => one.usable).map((one) => one.slot);
  const write = (slot, content) => {
    const next = {...slots};
    if (content === "") delete next[slot]; else next[slot] = content;
    const all = {...fitted};
    const written = writtenPlane({slots: next, others});
    if (written) all[plane.name] = written; else delete all[plane.name];
    setFitted(r, all);
    draw();
  };
  if (plane.slots.length === 0) return make("section", {}, make("h3", {}, plane.name), make("p", {}, others.length > 0 ? fittedWords({[plane.name]: others}) : "Nothing fitted."), freePiece(plane, fitted, r, draw));
  const slot = chosen[plane.name] ?? Number(Object.keys(slots)[0] ?? usable[0]);
  const mark = (content) => (typeof content === "string" ? plane.weights.find((one) => one.id === content)?.mark ?? content : "•");
  const pick = (one) => { chosen[plane.name] = one; draw(); };
  const step = (by) => pick(usable[(usable.indexOf(slot) + by + usable.length) % usable.length]);
  const content = slots[slot];
  const id = `content-${facts.planes.indexOf(plane)}`;
  const select = make("select", {id, onchange: (event) => write(slot, event.target.value)}, make("option", {value: ""}, "empty (its filler, if any)"), plane.weights.map((one) => make("option", {value: one.id}, `${one.id}, ${one.written}`)),
    content !== undefined && typeof content !== "string" ? make("option", {value: "piece"}, contentWords(content)) : null);
  select.value = content === undefined ? "" : typeof content === "string" ? content : "piece";
  const where = plane.slots.find((one) => one.slot === slot);
  return make("section", {"aria-label": plane.name}, make("h3", {}, plane.name),
    ring(plane, {held: (one) => (slots[one] === undefined ? "" : mark(slots[one])), chosen: slot, tap: pick}), planeCaption(plane, facts),
    make("div", {class: "slot-row"}, button("◀", () => step(-1), {"aria-label": "The slot before"}),
      make("label", {for: id}, make("b", {}, `Slot ${slot}`), make("small", {}, ` ${where?.position.replace(/^slot \d+, /, "") ?? ""}`)), button("▶", () => step(1), {"aria-label": "The next slot"})),
    select, make("p", {class: "note"}, `Fitted here: ${fittedWords({[plane.name]: fitted[plane.name]}).replace(/^[^:]*: /, "")}.`));
};
/** A plane without holes: a moment at an angle. */
const freePiece = (plane, fitted, r, draw) => {
  const moment = make("input", {type: "text", inputmode: "decimal", "aria-label": `Moment, ${desk.job.units.moment}`, placeholder: `moment, ${desk.job.units.moment}`});
  const angle = make("input", {type: "text", inputmode: "decimal", "aria-label": "At, deg with rotation", placeholder: "deg with rotation"});
  return make("p", {class: "buttons"}, moment, angle, button("Add", async () => {
    const m = await typedNumber(moment.value.trim(), "free moment");
    const a = await typedNumber(angle.value.trim(), "free angle");
    const {slots, others} = planeFitted(fitted[plane.name]);
    setFitted(r, {...fitted, [plane.name]: writtenPlane({slots, others: [...others, {at: `${a} deg with rotation`, moment: withUnit(m, desk.job.units.moment)}]})});
    draw();
  }), button("Nothing here", () => { const all = {...fitted}; delete all[plane.name]; setFitted(r, all); draw(); }));
};
