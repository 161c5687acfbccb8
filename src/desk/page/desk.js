/** The desk itself: what is open, where one is, what is kept. */
const desk = {job: null, view: "jobs", answer: "plan", past: [], future: [], checked: null, checking: false, messages: null, typed: new Map(), keptState: "", own: null, trial: null, objective: "", changes: undefined, seconds: 0, doubts: new Map()};

/** Every change goes through here: it can be undone, is kept at once, and is checked. */
const change = (edit) => {
  desk.past.push(copy(desk.job));
  if (desk.past.length > 300) desk.past.shift();
  desk.future = [];
  edit(desk.job);
  changed();
};
const renewLive = () => { for (const node of document.querySelectorAll("[data-live]")) node.renew(); };
const changed = () => {
  desk.own = null;
  renewLive();
  keep(); recheck(); head();
};
const step = (from, to) => {
  if (from.length === 0) return;
  const {revision, planGiven} = desk.job;
  to.push(copy(desk.job));
  desk.job = {...from.pop(), revision, planGiven};
  desk.typed.clear();
  changed();
  show();
};

let keepingNow = Promise.resolve();
let parted = false;
const keep = () => {
  desk.keptState = "keeping";
  keepingNow = keepingNow.then(async () => {
    if (parted) return;
    const job = desk.job;
    try {
      const revision = await keeping.write(job);
      if (revision === null) { parted = true; await otherWindow(); parted = false; return; }
      job.revision = revision;
      desk.job.revision = revision;
      desk.keptState = `Kept in this browser, ${new Date().toLocaleTimeString([], {hour: "2-digit", minute: "2-digit"})}`;
    } catch (error) { desk.keptState = `NOT KEPT in this browser (${error.message || error.name}): use Save`; }
    head();
  });
};
/** Another window changed this job since: both are kept, neither is written over. */
const otherWindow = async () => {
  const answer = await ask("This job was changed in another window. Nothing is written over.", ["Show what the other window has", "Go on here, as a job of its own"]);
  if (answer === 1) {
    desk.job = {...copy(desk.job), id: newJob().id, revision: 0};
    desk.job.job.title = `${desk.job.job.title ?? ""} (second copy)`.trim();
    desk.job.revision = await keeping.write(desk.job);
  } else {
    desk.job = await keeping.read(desk.job.id) ?? desk.job;
    desk.past = []; desk.future = [];
  }
  desk.keptState = "Kept in this browser";
  recheck(); show();
};
/** On coming back to this window: what another window wrote is shown. */
const lookAgain = async () => {
  if (!desk.job || parted) return;
  const stored = await keeping.read(desk.job.id).catch(() => null);
  if (stored && stored.revision > desk.job.revision) { desk.job = stored; desk.past = []; desk.future = []; recheck(); show(); say("Changed in another window: this is its latest state."); }
};

let checking = 0;
const recheck = () => {
  const mine = ++checking;
  desk.checking = true;
  clearTimeout(recheck.timer);
  recheck.timer = setTimeout(async () => {
    if (!desk.job) return;
    try {
      const told = (found) => { if (mine !== checking) return; desk.checked = found; renewLive(); showMessages(); gridMessages(); drawRotor(); };
      told(await checkJob(desk.job, told));
    } catch (error) {
      if (!error.stopped) say(`The library could not be asked: ${error.message}`);
    } finally {
      if (mine === checking) desk.checking = false;
    }
  }, 120);
};

const focusNow = (cell) => {
  const node = cellNode(cell);
  if (node) { node.focus({preventScroll: true}); (node.closest(".question") ?? node).scrollIntoView({block: "nearest"}); }
};
const focusCell = (cell) => setTimeout(() => focusNow(cell), 20);

const openJob = async (job) => {
  desk.job = job; desk.past = []; desk.future = []; desk.checked = null; desk.typed.clear(); desk.doubts = new Map(); desk.own = null; desk.trial = null; desk.changes = undefined;
  try { localStorage.setItem("trimwright desk job", job.id); } catch { /* not kept: the list has it */ }
  keep(); recheck();
};
const openTexts = async (texts) => {
  const said = [];
  try {
    const kinds = await kindsOf(texts);
    const tables = Object.keys(texts).filter((name) => !kinds[name] && /\.(csv|tsv|txt)$/i.test(name));
    if (desk.job && tables.length === Object.keys(texts).length && tables.length > 0) { await addTables(texts, tables); return; }
    const job = await jobFromFiles(texts, said, desk.job?.units.mark);
    await openJob(job);
    go(job.runs.some((run) => run.rows.some((row) => !isBlank(row))) ? "runs" : "rotor");
    if (said.length > 0) await ask("Opened", ["Go on"], [make("ul", {}, said.map((one) => make("li", {}, one)))]);
  } catch (error) { await ask("This cannot be opened", ["Back"], [make("p", {}, error.message)]); }
};
/** Tables of readings for the job that is open, by the names of its runs. */
const addTables = async (texts, names) => {
  const readings = [];
  const said = [];
  for (const name of names) {
    const {files, rotor} = await filesOf(desk.job);
    const table = await engine.ask("readings of table", {name, files: {[name]: texts[name], [rotor]: files[rotor]}, rotor});
    readings.push(...table.readings.map((one) => ({...one, run: one.run || name.replace(/\.\w+$/, "")})));
    said.push(...table.notes);
  }
  change((job) => {
    for (const name of new Set(readings.map((one) => one.run))) {
      let run = job.runs.find((one) => one.facts.name === name);
      if (!run) { run = {...newRun(name, ""), rows: [], opened: true}; job.runs.push(run); }
      run.rows = [...run.rows.filter((row) => !isEmpty(row)), ...rowsOf(readings.filter((one) => one.run === name), job), newRow()];
    }
  });
  go("runs");
  say(`${readings.length} readings taken from ${names.join(", ")}. ${said.join(" ")}`);
};
const openFiles = async (list) => { if (list.length > 0) await openTexts(await textsOf(list)); };
const save = async () => {
  try {
    const {files} = await filesOf({...desk.job, names: savedNames(desk.job)});
    const words = await saveFiles(files);
    if (words) say(words);
  } catch (error) { await ask("It could not be saved", ["Back"], [make("p", {}, error.message)]); }
};

const jobsView = () => {
  const list = make("ul", {class: "jobs"});
  keeping.list().then((jobs) => {
    list.replaceChildren(...jobs.map((job) => make("li", {}, button(nameOfJob(job), async () => { desk.keptState = ""; await openKept(job); }, {class: "wide-button"}),
      make("small", {}, [job.job.title, `${job.runs.length} ${job.runs.length === 1 ? "run" : "runs"}`, new Date(job.changed).toLocaleString([], {dateStyle: "medium", timeStyle: "short"})].filter(Boolean).join(" · ")),
      button("Remove", async () => { if ((await ask(`Remove ${nameOfJob(job)} from this browser? Files that were saved stay.`, ["Remove it", "Keep it"])) === 0) { await keeping.remove(job.id); if (desk.job?.id === job.id) desk.job = null; show(); } }))));
    if (jobs.length === 0) list.replaceChildren(make("li", {}, "None yet."));
  }, (error) => { list.replaceChildren(make("li", {class: "refused"}, `This browser keeps nothing here (${error.message || error.name}). Save your job as files before you close the page.`)); });
  const seed = make("input", {id: "seed", type: "text", inputmode: "numeric", value: String(1 + Math.floor(Math.random() * 9999))});
  return [make("p", {class: "lead"}, "Trim balancing of a fan: from readings to weights in numbered holes. Everything stays on this machine; nothing is sent."),
    make("div", {class: "starts"},
      make("section", {class: "part"}, make("h2", {}, "Begin"), make("p", {}, "Describe the rotor, enter what was read, get the plan."), make("p", {class: "buttons"}, button("New job", async () => { await openJob(newJob()); go("rotor"); focusCell("rotor:rotation.sense"); }, {class: "main"}))),
      make("section", {class: "part"}, make("h2", {}, "Open files"), make("p", {}, "The job file with its rotor file and tables of readings, all together; or a rotor alone. You may drop them anywhere on this page."), make("p", {class: "buttons"}, button("Choose files", async () => openFiles(await chooseFiles())))),
      make("section", {class: "part"}, make("h2", {}, "Practise"), make("p", {}, "A virtual rotor that never comes to harm. The number picks which; let somebody else choose it."),
        make("p", {class: "buttons"}, make("label", {for: "seed"}, "Number "), seed, button("Begin to practise", () => startPractice(Math.abs(parseInt(seed.value, 10)) || 1).catch((error) => ask(error.message, ["Back"])))))),
    make("section", {class: "part"}, make("h2", {}, "Kept in this browser"), list)];
};
const openKept = async (job) => { desk.job = job; desk.past = []; desk.future = []; desk.checked = null; desk.typed.clear(); desk.own = null; try { localStorage.setItem("trimwright desk job", job.id); } catch { /* as above */ } recheck(); go(job.runs.some((run) => run.rows.some((row) => !isBlank(row))) ? "runs" : "rotor"); };

const views = {jobs: jobsView, rotor: rotorView, runs: runsView, answers: answersView};
const go = (view) => { desk.view = view; show(); byId("main").scrollTop = 0; window.scrollTo(0, 0); byId("view-heading").focus(); };
const headings = {jobs: "Jobs", rotor: "Rotor", runs: "Runs and readings", answers: "Answers"};
const head = () => {
  const {job} = desk;
  byId("whose").textContent = job ? nameOfJob(job) : "trimwright";
  byId("kept").textContent = job ? desk.keptState : "";
  byId("kept").className = desk.keptState.startsWith("NOT") ? "ill" : "";
  byId("strip").textContent = job ? [job.rotor.rotation?.sense ? `turns ${job.rotor.rotation.sense} seen from ${job.rotor.rotation.seen_from || "?"}` : "", job.rotor.phase ? `phase ${job.rotor.phase}` : "", `speed ${job.units.speed}`,
    ...job.rotor.sensors.filter((one) => one.unit).map((one) => `${one.name} ${one.unit}`), markWords[job.units.mark]].filter(Boolean).join(" · ") : "";
  byId("conventions").hidden = !job || desk.view === "jobs";
  for (const id of ["undo", "redo", "save"]) byId(id).hidden = !job;
  byId("undo").disabled = desk.past.length === 0;
  byId("redo").disabled = desk.future.length === 0;
  for (const view of Object.keys(views)) { const tab = byId(`tab-${view}`); tab.hidden = !job && view !== "jobs"; if (desk.view === view) tab.setAttribute("aria-current", "page"); else tab.removeAttribute("aria-current"); }
};
const show = () => {
  if (!desk.job) desk.view = "jobs";
  const focused = document.activeElement?.dataset?.cell;
  const open = new Set([...document.querySelectorAll("#view details[open] > summary")].map((one) => one.textContent));
  document.body.dataset.view = desk.view;
  byId("view-heading").textContent = headings[desk.view];
  redraw(byId("view"), views[desk.view]().flat(3).filter(Boolean));
  for (const one of document.querySelectorAll("#view details > summary")) if (open.has(one.textContent)) one.parentElement.open = true;
  head(); showMessages(); gridMessages(); drawRotor();
  if (focused && document.activeElement?.dataset?.cell !== focused) focusNow(focused);  // at once: what is typed next must not go astray
};

const darkStyle = byId("dark");
const setDark = (on) => { darkStyle.media = on ? "screen" : "not all"; byId("theme").textContent = on ? "Light" : "Dark"; };
{
  let dark = null;
  try { dark = JSON.parse(localStorage.getItem("trimwright dark")); } catch { /* as the system has it */ }
  setDark(dark ?? window.matchMedia("(prefers-color-scheme: dark)").matches);
  byId("theme").addEventListener("click", () => { const on = darkStyle.media !== "screen"; setDark(on); try { localStorage.setItem("trimwright dark", JSON.stringify(on)); } catch { /* not kept */ } if (desk.view === "answers") show(); });
  for (const view of Object.keys(views)) byId(`tab-${view}`).addEventListener("click", () => { if (desk.view !== view) go(view); else (document.querySelector("#view [aria-invalid]") ?? document.querySelector("#view :is(.to-fill, .doubtful)"))?.focus(); });
  byId("undo").addEventListener("click", () => step(desk.past, desk.future));
  byId("redo").addEventListener("click", () => step(desk.future, desk.past));
  byId("save").addEventListener("click", save);
  byId("conventions").addEventListener("click", () => go("rotor"));
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || !desk.job) return;
    const key = event.key.toLowerCase();
    if (key === "s") { event.preventDefault(); save(); }
    if (key === "z" && !/^(INPUT|TEXTAREA)$/.test(event.target.tagName)) { event.preventDefault(); if (event.shiftKey) step(desk.future, desk.past); else step(desk.past, desk.future); }
  });
  document.addEventListener("dragover", (event) => event.preventDefault());
  document.addEventListener("drop", (event) => { event.preventDefault(); openFiles([...event.dataTransfer.files]); });
  window.addEventListener("beforeprint", layOutToPrint);
  window.addEventListener("afterprint", () => byId("printed")?.remove());
  window.addEventListener("focus", lookAgain);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) lookAgain(); });
  window.addEventListener("beforeunload", (event) => { if (desk.keptState.startsWith("NOT")) event.preventDefault(); });
  let last = null;
  try { last = localStorage.getItem("trimwright desk job"); } catch { /* none */ }
  show();
  if (last) keeping.read(last).then((job) => { if (job && !desk.job) openKept(job); }, () => {});
}
