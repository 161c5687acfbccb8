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
/** Says what was fitted: "none", "same as ...", or by plane. */
const sayFitted = (r, value) => change((job) => { if (r === "now") job.job.fitted_now = value; else job.runs[r].facts.fitted = value; });
const setFitted = (r, fitted) => sayFitted(r, Object.keys(fitted).length > 0 ? fitted : "none");
const isSaid = (r) => Boolean(r === "now" ? desk.job.job.fitted_now : desk.job.runs[r].facts.fitted);
const runsBefore = (r) => (r === "now" ? desk.job.runs : desk.job.runs.slice(0, r));

/** What was fitted in a run, or is on the rotor "now": asked until it is said, then told. Nothing is carried over in silence. */
const fittedPart = (r, then = show) => {
  const cell = r === "now" ? "job:fitted_now" : cellOf(`run ${r}`, "fitted");
  const id = `fitted-${r}-m`;
  const told = (node) => {
    const written = r === "now" ? desk.job.job.fitted_now : desk.job.runs[r]?.facts.fitted;
    const held = fittedWords(fittedOf(desk.job, r));
    node.textContent = `${typeof written === "string" && written.startsWith("same as ") ? `the same as in “${written.slice(8)}”: ${held}` : held}.`;
  };
  const choose = (words) => button(words, async () => { await fittingDialog(r); then(); }, {"data-cell": cell, "aria-describedby": id});
  const message = make("span", {class: "message", id});
  if (isSaid(r)) return make("div", {class: "fitted-line"}, make("p", {"data-block": cell}, make("b", {}, r === "now" ? "On the rotor now: " : "Fitted in this run: "), live(make("span"), told)), choose(r === "now" ? "Change what is on the rotor" : "Change what is fitted"), message);
  const before = runsBefore(r);
  const offered = [...new Set([before.length - 1, 0])].filter((one) => before[one]);
  const answer = (value) => { sayFitted(r, value); then(); };
  const same = (one) => live(button("", () => answer(`same as ${desk.job.runs[one].facts.name}`)), (node) => { node.textContent = `The same as in “${desk.job.runs[one]?.facts.name ?? ""}”`; });
  return make("div", {class: "question", "data-block": cell}, make("p", {}, make("b", {}, r === "now" ? "What is on the rotor now?" : "What was fitted in this run?"),
    r === "now" ? ` The plan begins with it.${before.length > 1 ? " Is the last trial weight still in, or is it out again?" : ""}` : " All weights that were in, not only those that were added."),
    make("p", {class: "buttons"}, offered.map(same), button("No weights", () => answer("none")), choose(offered.length > 0 ? "Other weights" : "Show which weights")), message);
};

const fittingDialog = (r) => new Promise((resolve) => {
  const facts = desk.checked?.facts;
  if (!facts) { say("Describe the planes first: then they can be drawn."); resolve(); return; }
  const before = runsBefore(r);
  const title = r === "now" ? "What is on the rotor now" : `What was fitted in the run “${desk.job.runs[r].facts.name}”`;
  const body = make("div", {class: "planes-fitted"});
  const chosen = {};
  const placeOf = (node) => `${node.closest("section")?.getAttribute("aria-label")}: ${node.getAttribute("aria-label") ?? node.tagName}`;
  const draw = () => {
    const fitted = fittedOf(desk.job, r);
    const focused = body.contains(document.activeElement) ? placeOf(document.activeElement) : null;
    redraw(body, facts.planes.map((plane) => planeFitting(plane, fitted, chosen, r, draw, facts)));
    if (focused && !body.contains(document.activeElement)) [...body.querySelectorAll("button, select, input")].find((node) => placeOf(node) === focused)?.focus();
  };
  const same = before.length > 0 ? make("select", {"aria-label": "Begin with what was in another run", onchange: (event) => {
    if (!event.target.value) return;
    sayFitted(r, `same as ${event.target.value}`);
    draw();
  }}, make("option", {value: ""}, "Begin with what was in ..."), before.map((run) => make("option", {value: run.facts.name}, run.facts.name))) : null;
  const dialog = make("dialog", {class: "wide", "aria-labelledby": "fitting-title"}, make("h2", {id: "fitting-title"}, title),
    make("p", {}, "All weights that were in, not only those that were added. Tap a hole, then choose its weight below the drawing. A hole for which nothing is chosen holds its filler, or nothing."),
    make("p", {class: "buttons"}, same, button("No weights", () => { setFitted(r, {}); draw(); })), body,
    make("p", {class: "buttons end"}, button("Done", () => dialog.close(), {class: "main"})));
  dialog.addEventListener("close", () => { dialog.remove(); resolve(); });
  document.body.append(dialog);
  draw();
  dialog.showModal();
});

const planeFitting = (plane, fitted, chosen, r, draw, facts) => {
  const {slots, others} = planeFitted(fitted[plane.name]);
  const usable = plane.slots.filter((one) => one.usable).map((one) => one.slot);
  const write = (slot, content) => {
    const next = {...planeFitted(fittedOf(desk.job, r)[plane.name]).slots};
    if (content === "") delete next[slot]; else next[slot] = content;
    const all = {...fittedOf(desk.job, r)};
    const written = writtenPlane({slots: next, others});
    if (written) all[plane.name] = written; else delete all[plane.name];
    setFitted(r, all);
    draw();
  };
  if (plane.slots.length === 0) return make("section", {}, make("h3", {}, plane.name), make("p", {}, others.length > 0 ? fittedWords({[plane.name]: others}) : "Nothing is fitted here."), freePiece(plane, fitted, r, draw));
  const slot = chosen[plane.name] ?? Number(Object.keys(slots)[0] ?? usable[0]);
  const mark = (content) => (typeof content === "string" ? plane.weights.find((one) => one.id === content)?.mark ?? content : "•");
  const pick = (one) => { chosen[plane.name] = one; draw(); };
  const step = (by) => pick(usable[(usable.indexOf(slot) + by + usable.length) % usable.length]);
  const content = slots[slot];
  const id = `content-${facts.planes.indexOf(plane)}-${slot}`;
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
