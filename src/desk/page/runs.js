/** "Same as" follows a run's new name. */
const renamed = (job, was, now) => {
  if (!was || !now || job.runs.some((run) => run.facts.name === was)) return;
  for (const run of job.runs) if (run.facts.fitted === `same as ${was}`) run.facts.fitted = `same as ${now}`;
  if (job.job.fitted_now === `same as ${was}`) job.job.fitted_now = `same as ${now}`;
};
/** The runs side by side: what was fitted, and what was read. */
const runCard = (r) => {
  const run = desk.job.runs[r];
  const root = `run ${r}`;
  const facts = run.facts;
  const read = () => { show(); focusCell(firstCell(r, 0)); };
  return make("section", {class: "run", "aria-label": `Run ${r + 1}`},
    make("div", {class: "run-head"}, field({label: `Name of run ${r + 1}`, root, path: "name", also: renamed}),
      field({label: "When", root, path: "when", optional: true, hint: "2031-05-12 14:20"}), field({label: "Who", root, path: "who", optional: true})),
    fittedPart(r, read),
    desk.job.rotor.sensors.every((one) => one.name) ? grid(r) : make("p", {class: "note"}, "Name the sensors on the page Rotor: then their readings have columns."),
    make("ul", {class: "grid-messages", "data-messages": String(r), hidden: true}),
    make("p", {class: "buttons"},
      button("Add an overall level", () => { change((job) => { const rows = job.runs[r].rows; const at0 = isBlank(rows.at(-1)) ? rows.length - 1 : rows.length; rows.splice(at0, 0, {...newRow(), component: "overall"}); }); show(); }),
      button("Remove this run", async () => { if ((await ask(`Remove the run “${facts.name}” with its readings?`, ["Remove it", "Keep it"])) === 0) { change((job) => { job.runs.splice(r, 1); }); show(); } })),
    make("details", {open: Boolean(facts.set_aside)}, make("summary", {}, "Conditions of the run; leave this run out"), fields(
      field({label: "Warm-up", root, path: "conditions.warm_up", optional: true}), field({label: "Time held at each speed", root, path: "conditions.dwell", optional: true}), field({label: "Wind", root, path: "conditions.wind", optional: true}),
      field({label: "Leave this run out, because", root, path: "set_aside", optional: true}))));
};
const gridMessages = () => {
  for (const list of document.querySelectorAll("[data-messages]")) {
    const r = list.dataset.messages;
    const mine = [...(desk.messages ?? [])].filter(([path, one]) => path.startsWith(`reading:${r}/`) && !one.empty);
    list.replaceChildren(...mine.slice(0, 12).map(([path, one]) => {
      const [, row, ...rest] = path.slice(8).split("/");
      return make("li", {}, button(`Row ${Number(row) + 1}, ${rest.join(" ")}`, () => focusCell(path), {class: "link"}), `: ${one.less ? "if the reading that looks wrong is right, this one may be wrong" : `${one.doubt ? "looks wrong: " : ""}${messageWords(one)}`}`);
    }), ...(mine.length > 12 ? [make("li", {}, `and ${mine.length - 12} more`)] : []));
    list.hidden = mine.length === 0;
  }
};
/** Asked as soon as the last run has readings. */
const nowAsked = () => live(make("div"), (node) => {
  const asked = isSaid("now") || desk.job.runs.at(-1)?.rows.some((row) => !isEmpty(row)) === true;
  if (node.dataset.asked === String(asked)) return;
  node.dataset.asked = String(asked);
  node.replaceChildren(asked ? fittedPart("now") : make("p", {}, "This is asked when the last run has readings."));
});
const nowPart = () => make("section", {class: "part"}, make("h2", {}, "On the rotor now"),
  isPractice(desk.job) && !isSaid("now") ? [make("p", {}, "As in the last run: ", fittedWords(fittedOf(desk.job, "now")), "."), make("p", {class: "buttons"}, button("Change what is on the rotor", async () => { await fittingDialog("now"); show(); }))] : nowAsked());

const nextName = () => { const names = desk.job.runs.map((run) => run.facts.name); const wanted = names.length === 0 ? "as found" : "trial"; for (let n = 1; ; ++n) { const name = n === 1 ? wanted : `${wanted} ${n}`; if (!names.includes(name)) return name; } };
/** After another run it must be said anew what is on the rotor. */
const addRun = (name, fitted = "") => change((job) => { job.runs.push({...newRun(name, fitted, job), afterPlan: job.planGiven === true}); delete job.job.fitted_now; });
const trimPart = () => make("section", {class: "part"}, make("h2", {}, "Wishes for the plan"), fields(
  field({label: "Largest number of slots to change", root: "job", path: "trim.max_changes", kind: "number", optional: "if wanted", hint: String(desk.checked?.jobFacts?.usual_max_changes ?? "")}),
  field({label: "What the best weights are", root: "job", path: "trim.objective", kind: "choice", choices: choice.objective.slice(1), optional: "if wanted"}),
  field({label: "Planes to use", root: "job", path: "trim.planes", kind: "choice", choices: [["all", "all of them"], ["easy first", "easy ones first"]], optional: "if wanted"}),
  field({label: "Weights that are fitted now", root: "job", path: "trim.fitted_weights", kind: "choice", choices: [["may change", "may change"], ["stay", "stay where they are"]], optional: "if wanted"})));

const runsView = () => [
  isPractice(desk.job) ? practicePart() : null,
  desk.job.runs.length === 0 && !isPractice(desk.job) ? make("p", {class: "lead"}, "No run yet. The first is the rotor as found.") : null,
  make("p", {class: "note"}, `Type, or copy the rows from a spreadsheet and paste them into the first cell: ${["speed", ...desk.job.rotor.sensors.flatMap((sensor) => [`${sensor.name || "sensor"} amplitude`, "phase"])].join(", ")}.`),
  make("div", {class: "runs"}, desk.job.runs.map((_, r) => runCard(r))),
  isPractice(desk.job) ? null : make("p", {class: "buttons"}, button("Another run", () => { addRun(nextName()); show(); focusCell(cellOf(`run ${desk.job.runs.length - 1}`, "fitted")); })),
  nowPart(), trimPart(),
  make("p", {class: "buttons"}, button("To the answers", () => { if (lastRead(desk.job)?.afterPlan) desk.answer = "check"; go("answers"); }, {class: "main"}))];
