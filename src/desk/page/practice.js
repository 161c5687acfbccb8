/** Practice: a virtual rotor that answers weights as a real one does. */
const isPractice = (job) => job.extra["rehearsal.yaml"] !== undefined;
const keepIdentity = (fresh, job) => Object.assign(fresh, {id: job.id, revision: job.revision, settled: job.settled, names: {...fresh.names, table: "readings.csv"}});
const startPractice = async (seed) => {
  const {files} = await engine.ask("rehearse new", {seed});
  const job = await jobFromFiles(files);
  job.extra = {"rehearsal.yaml": files["rehearsal.yaml"]};
  job.runs = [];
  job.job.serial = `practice ${seed}`;
  job.job.title = "Practice on a virtual rotor";
  job.units.mark = desk.mark ?? "point";
  await openJob(job);
  go("runs");
};
const practicePart = () => {
  const name = make("input", {id: "practice-name", type: "text", value: desk.job.runs.length === 0 ? "as found" : nextName()});
  return make("section", {class: "part"}, make("h2", {}, "Practice"),
    make("p", {}, "This rotor exists only here. Fit what you like, run it, and ask what it really was when you are done."),
    make("p", {class: "buttons"}, make("label", {for: "practice-name"}, "Name of the run "), name,
      button(`Run it${desk.job.runs.length > 0 ? " with what is on the rotor now" : ""}`, () => practiceRun(name.value.trim()), {class: "main"}),
      desk.job.runs.length > 0 ? button("What was it really?", practiceTruth) : null));
};
const practiceRun = async (name) => {
  try {
    const {files, ...which} = await filesOf(desk.job);
    if (desk.job.runs.length === 0) delete files[desk.job.names.job];
    const made = await engine.ask("rehearse run", {files, ...which, name});
    const fresh = keepIdentity(await jobFromFiles(made.files), desk.job);
    fresh.extra = {"rehearsal.yaml": desk.job.extra["rehearsal.yaml"]};
    fresh.units.mark = desk.job.units.mark;
    fresh.planGiven = desk.job.planGiven;
    fresh.runs.forEach((run, r) => { run.opened = false; run.afterPlan = desk.job.runs[r] ? desk.job.runs[r].afterPlan : fresh.planGiven; });
    if (desk.job.runs.length === 0) Object.assign(fresh.job, {serial: desk.job.job.serial, title: desk.job.job.title});
    change((job) => { for (const key of Object.keys(job)) delete job[key]; Object.assign(job, fresh); });
    show();
    say(`Run “${name}” is made: its readings are below.${made.stopped ? ` But ${made.stopped}.` : ""}`);
  } catch (error) { const words = error.found ? messageWords(error.found) : error.message; say(words); await ask(words, ["Back"]); }
};
const practiceTruth = async () => {
  try {
    const {text} = await engine.ask("rehearse truth", await filesOf(desk.job));
    await ask("What the rotor really was", ["Back"], [make("pre", {tabindex: "0"}, text)]);
  } catch (error) { await ask(error.found ? messageWords(error.found) : error.message, ["Back"]); }
};
