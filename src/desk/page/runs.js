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
  const words = (node) => {
    const fitted = desk.job.runs[r]?.facts.fitted;
    const held = fittedWords(fittedOf(desk.job, r));
    node.textContent = fitted === "" || fitted === undefined ? "not said yet" : typeof fitted === "string" && fitted.startsWith("same as ") ? `${fitted}: ${held}` : held;
  };
  return make("section", {class: "run", "aria-label": `Run ${r + 1}`},
    make("div", {class: "run-head"}, field({label: `Run ${r + 1}`, root, path: "name", also: renamed}),
      field({label: "When", root, path: "when", optional: true, hint: "2031-05-12 14:20"}), field({label: "Who", root, path: "who", optional: true})),
    make("div", {class: "fitted-line"}, make("p", {"data-block": cellOf(root, "fitted")}, make("b", {}, "Fitted: "), live(make("span"), words)),
      button("Change what is fitted", () => fittingDialog(r), {"data-cell": cellOf(root, "fitted"), "aria-describedby": `fitted${r}m`}), make("span", {class: "message", id: `fitted${r}m`})),
    desk.job.rotor.sensors.every((one) => one.name) ? grid(r) : make("p", {class: "note"}, "Name the sensors on the page Rotor: then their readings have columns."),
    make("ul", {class: "grid-messages", "data-messages": String(r), hidden: true}),
    make("p", {class: "buttons"},
      button("Add an overall level", () => { change((job) => { const rows = job.runs[r].rows; const at0 = isBlank(rows.at(-1)) ? rows.length - 1 : rows.length; rows.splice(at0, 0, {...newRow(), component: "overall"}); }); show(); }),
      button("Remove this run", async () => { if ((await ask(`Remove the run “${facts.name}” with its readings?`, ["Remove it", "Keep it"])) === 0) { change((job) => { job.runs.splice(r, 1); }); show(); } })),
    make("details", {open: Boolean(facts.set_aside)}, make("summary", {}, "Conditions, set aside"), fields(
      field({label: "Warm-up", root, path: "conditions.warm_up", optional: true}), field({label: "Held at each speed", root, path: "conditions.dwell", optional: true}), field({label: "Wind", root, path: "conditions.wind", optional: true}),
      field({label: "Not to be used, because", root, path: "set_aside", optional: true}))));
};
const gridMessages = () => {
  for (const list of document.querySelectorAll("[data-messages]")) {
    const r = list.dataset.messages;
    const mine = [...(desk.messages ?? [])].filter(([path, one]) => path.startsWith(`reading:${r}/`) && !one.empty);
    list.replaceChildren(...mine.slice(0, 12).map(([path, one]) => {
      const [, row, ...rest] = path.slice(8).split("/");
      return make("li", {}, button(`Row ${Number(row) + 1}, ${rest.join(" ")}`, () => focusCell(path), {class: "link"}), `: ${one.doubt ? "looks wrong: " : ""}${one.what}${one.expected ? `; expected ${one.expected}` : ""}`);
    }), ...(mine.length > 12 ? [make("li", {}, `and ${mine.length - 12} more`)] : []));
    list.hidden = mine.length === 0;
  }
};
const nowPart = () => make("section", {class: "part"}, make("h2", {}, "On the rotor now"),
  make("p", {}, desk.job.job.fitted_now === undefined ? "As in the last run: " : "As said here: ", fittedWords(fittedOf(desk.job, "now")), "."),
  make("p", {class: "buttons"}, button("Change what is on the rotor", () => fittingDialog("now"), {"data-cell": "job:fitted_now", "aria-describedby": "nowm"}),
    desk.job.job.fitted_now === undefined ? null : button("As in the last run", () => { change((job) => { delete job.job.fitted_now; }); show(); }), make("span", {class: "message", id: "nowm"})));

const nextName = () => { const names = desk.job.runs.map((run) => run.facts.name); const wanted = names.length === 0 ? "as found" : "trial"; for (let n = 1; ; ++n) { const name = n === 1 ? wanted : `${wanted} ${n}`; if (!names.includes(name)) return name; } };
/** A new run has the speeds of the one before: a row waits for each. */
const addRun = (name, fitted) => {
  change((job) => {
    const before = job.runs.at(-1);
    const run = newRun(name, fitted ?? (before ? `same as ${before.facts.name}` : "none"));
    if (before) run.rows = [...before.rows.filter((row) => row.speed).map((row) => ({speed: row.speed, component: row.component, cells: {}})), newRow()];
    job.runs.push(run);
  });
};
const trimPart = () => make("section", {class: "part"}, make("h2", {}, "What is asked of the trim"), fields(
  field({label: "Slots changed at most", root: "job", path: "trim.max_changes", kind: "number", optional: "if wanted", hint: "8"}),
  field({label: "Choose by", root: "job", path: "trim.objective", kind: "choice", choices: choice.objective.slice(1), optional: "if wanted"}),
  field({label: "Planes", root: "job", path: "trim.planes", kind: "choice", choices: [["all", "all of them"], ["easy first", "easy ones first"]], optional: "if wanted"}),
  field({label: "Weights fitted now", root: "job", path: "trim.fitted_weights", kind: "choice", choices: [["may change", "may change"], ["stay", "stay where they are"]], optional: "if wanted"})));

const runsView = () => [
  isPractice(desk.job) ? practicePart() : null,
  desk.job.runs.length === 0 && !isPractice(desk.job) ? make("p", {class: "lead"}, "No run yet. The first is the rotor as found.") : null,
  make("p", {class: "note"}, `Type, or copy the rows from a spreadsheet and paste them into the first cell: ${["speed", ...desk.job.rotor.sensors.flatMap((sensor) => [`${sensor.name || "sensor"} amplitude`, "phase"])].join(", ")}.`),
  make("div", {class: "runs"}, desk.job.runs.map((_, r) => runCard(r))),
  isPractice(desk.job) ? null : make("p", {class: "buttons"}, button("Another run", () => { addRun(nextName()); show(); focusCell(`job:runs[${desk.job.runs.length - 1}].name`); })),
  nowPart(), trimPart(),
  make("p", {class: "buttons"}, button("To the answers", () => go("answers"), {class: "main"}))];
