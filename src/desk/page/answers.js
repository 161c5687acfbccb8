/** The library's answers, in its own words and on its own pages. */
const answerKinds = [["ready", "Is it ready?"], ["trial", "Next trial run"], ["plan", "Plan"], ["check", "Check run"], ["influence", "Influence"], ["sheet", "Run sheet"]];
const kept = new Map();  // answers by what was asked
const given = async (what, rest) => {
  const request = {...(await filesOf(desk.job)), ...rest};
  if (rest.files) request.files = {...(await filesOf(desk.job)).files, ...rest.files};
  const key = JSON.stringify([what, request]);
  if (!kept.has(key)) {
    const answer = await engine.ask(what, request);
    kept.set(key, answer);
    if (kept.size > 24) kept.delete(kept.keys().next().value);
  }
  return kept.get(key);
};

/** Readings that the runs together contradict, found when an answer is given: by cell what is wrong, for as long as it holds what it held then. */
const doubtsNow = () => [...desk.doubts].filter(([cell, one]) => one.value === valueOfCell(cell));
const valueOfCell = (cell) => { const [run, row, ...column] = cell.slice(8).split("/"); const place = desk.job?.runs[run]?.rows[row]; return place ? valueIn(place, column) : undefined; };
const lookForDoubts = async () => {
  const {job} = desk;
  const {readings} = await given("doubts", {}).catch(() => ({readings: []}));
  if (desk.job !== job) return;
  desk.doubts = new Map(readings.map((one) => [placeInRuns(job, one), one]).filter(([place]) => place).map(([place, one]) => [`reading:${place}`, {what: one.what, doubt: true, value: valueOfCell(`reading:${place}`)}]));
  showMessages();
};
const doubtsPart = () => {
  const found = doubtsNow();
  if (found.length === 0) return "";
  return make("ul", {class: "refused"}, found.map(([cell, one]) => {
    const [run, row, ...rest] = cell.slice(8).split("/");
    return make("li", {}, "Looks wrong: ", button(`run “${desk.job.runs[run].facts.name}”, row ${Number(row) + 1}, ${rest.join(" ")}`, () => { go("runs"); focusCell(cell); }, {class: "link"}), `: ${one.what}.`);
  }));
};

/** While the library works: how long, and a way to stop it. */
const working = (place, words) => {
  const began = performance.now();
  const time = make("span", {}, "0 s");
  place.replaceChildren(make("div", {class: "working"}, make("p", {role: "status"}, `${words} `), time, make("progress", {"aria-label": words}), button("Stop", () => engine.stop())));
  const timer = setInterval(() => { time.textContent = `${Math.round((performance.now() - began) / 1000)} s`; }, 500);
  return () => clearInterval(timer);
};
const frameOf = (html, title) => make("iframe", {srcdoc: html, title, class: "page-frame"});
const asText = (text) => make("details", {class: "as-text"}, make("summary", {}, "The same as text"), make("pre", {tabindex: "0"}, text));
const slotChanges = (job, slots) => {
  const fitted = copy(fittedOf(job, "now"));
  for (const {plane, slot, fit} of slots) {
    const one = planeFitted(fitted[plane]);
    if (fit === null) delete one.slots[slot]; else one.slots[slot] = typeof fit === "string" ? fit : {moment: `${fit.moment_g_mm} g.mm`};
    const written = writtenPlane(one);
    if (written) fitted[plane] = written; else delete fitted[plane];
  }
  return fitted;
};
const takeAsRun = (name, fitted) => {
  if (isPractice(desk.job)) { setFitted("now", fitted); go("runs"); say("These weights are on the rotor now. Run it."); return; }
  let free = name;
  for (let n = 2; desk.job.runs.some((run) => run.facts.name === free); ++n) free = `${name} ${n}`;
  addRun(free, Object.keys(fitted).length > 0 ? fitted : "none");
  change((job) => { delete job.job.fitted_now; });
  go("runs");
  focusCell(cellName(desk.job.runs.length - 1, 0, ["", "amplitude"]).replace("//amplitude", `/${desk.job.rotor.sensors[0]?.name}/amplitude`));
  say(`The run “${free}” is begun, with these weights. Enter what it reads.`);
};
/** What the page in the frame shows now, the person's own moves included. */
const choiceInFrame = (frame) => {
  const page = frame.contentWindow?.balancePage;
  if (!page) return null;
  const fitted = {};
  page.data.planes.forEach((plane, p) => {
    const written = writtenPlane({slots: Object.fromEntries(Object.entries(page.choice()[p]).map(([slot, held]) => [slot, typeof held === "string" ? held : {moment: `${held.moment_g_mm} g.mm`}])), others: planeFitted(fittedOf(desk.job, "now")[plane.name]).others});
    if (written) fitted[plane.name] = written;
  });
  return {fitted, document: page.arithmetic.fittedDocument(page.data, page.choice())};
};

const refused = (place, error) => {
  if (error.stopped) { place.replaceChildren(make("p", {class: "lead"}, "Stopped."), button("Ask again", () => showAnswer())); return; }
  const found = error.found;
  place.replaceChildren(make("div", {class: "refused", role: "alert"}, make("h2", {}, "No answer yet"), make("p", {}, found ? found.what + (found.expected ? `; expected ${found.expected}` : "") : error.message),
    found && found.file ? make("p", {class: "note"}, `${found.file}${found.line > 0 ? `, line ${found.line}` : ""}${found.key ? `, ${found.key}` : ""}`) : null,
    make("p", {class: "buttons"}, button("To the rotor", () => go("rotor")), button("To the runs", () => go("runs")))));
};

const answers = {
  async ready(place) {
    const {text} = await given("ready", {});
    place.replaceChildren(make("pre", {tabindex: "0"}, text));
  },
  async trial(place) {
    const answer = await given("trial", {...desk.trial, ...timeGiven()});
    const document0 = JSON.parse(answer.document);
    place.replaceChildren(make("p", {class: "buttons"}, document0.slots.length > 0 ? button("Take this as the next run", () => takeAsRun(`trial ${document0.slots[0].plane}`, slotChanges(desk.job, document0.slots)), {class: "main"}) : null,
      document0.slots.length > 0 && desk.job.rotor.planes.length > 1 ? trialPlane() : null),
    frameOf(answer.page, "The next trial run"), asText(answer.text));
  },
  async plan(place) {
    const rest = planRequest();
    const answer = await given("page", rest);
    const frame = frameOf(answer.page, "The balance plan");
    const text = make("pre", {tabindex: "0"});
    const more = make("details", {class: "as-text", ontoggle: async (event) => { if (event.target.open && !text.textContent) { try { text.textContent = (await given("plan", rest)).text; } catch (error) { text.textContent = error.message; } } }}, make("summary", {}, "The same as text"), text);
    const take = button("Fit these weights: begin the check run", () => { const chosen = choiceInFrame(frame); if (chosen) takeAsRun("check", chosen.fitted); }, {class: "main"});
    const own = button("Plan the weights tried out", () => { const chosen = choiceInFrame(frame); if (chosen) { desk.own = chosen.document; showAnswer(); } });
    const tools = make("p", {class: "buttons"}, take, desk.own ? button("Back to the planner's own", () => { desk.own = null; showAnswer(); }) : own, planOptions());
    frame.addEventListener("load", () => { const shown = Boolean(frame.contentWindow?.balancePage); take.hidden = !shown; own.hidden = !shown; });
    place.replaceChildren(tools, frame, more);
  },
  async check(place) {
    const {text} = await given("check", timeGiven());
    const page = await given("page", {check_run: true, ...timeGiven()}).catch((error) => { if (error.stopped) throw error; return null; });
    place.replaceChildren(page ? frameOf(page.page, "After the check run") : make("pre", {tabindex: "0"}, text), page ? asText(text) : "");
  },
  async influence(place) {
    const {text} = await given("influence", {});
    place.replaceChildren(make("pre", {tabindex: "0"}, text));
  },
  async sheet(place) {
    const {page} = await given("sheet", {});
    place.replaceChildren(frameOf(page, "Run sheet"));
  },
};
/** How long the library may search: longer than a command's, as whoever waits can press Stop. */
const timeGiven = () => (desk.seconds ? {time_limit_s: desk.seconds} : {});
const timeChoice = () => {
  const select = make("select", {"aria-label": "Time for the search", onchange: (event) => { desk.seconds = Number(event.target.value); showAnswer(); }},
    [["0", "search for a minute at most"], ["600", "search for ten minutes at most"], ["3600", "search for an hour at most"]].map(([value, words]) => make("option", {value}, words)));
  select.value = String(desk.seconds);
  return make("p", {class: "buttons"}, select);
};
const planRequest = () => ({...timeGiven(), ...(desk.objective ? {objective: desk.objective} : {}), ...(desk.changes !== undefined && !desk.own ? {changes: desk.changes} : {}), ...(desk.own ? {files: {"fitted.json": JSON.stringify(desk.own)}} : {})});
const planOptions = () => {
  const changes = make("select", {"aria-label": "Slots to change", onchange: (event) => { desk.changes = event.target.value === "" ? undefined : Number(event.target.value); desk.own = null; showAnswer(); }},
    make("option", {value: ""}, "as many slots as recommended"), Array.from({length: Number(desk.job.job.trim?.max_changes ?? 8) + 1}, (_, n) => make("option", {value: String(n)}, n === 1 ? "1 slot changed" : `${n} slots changed`)));
  changes.value = desk.changes === undefined ? "" : String(desk.changes);
  return changes;
};
const trialPlane = () => {
  const select = make("select", {"aria-label": "Plane of the trial weight", onchange: (event) => { desk.trial = event.target.value ? {plane: event.target.value} : null; showAnswer(); }}, make("option", {value: ""}, "the plane advised"), desk.job.rotor.planes.map((plane) => make("option", {value: plane.name}, plane.name)));
  select.value = desk.trial?.plane ?? "";
  return select;
};
let asked = 0;
const showAnswer = async () => {
  const place = byId("answer");
  if (!place) return;
  const mine = ++asked;
  const target = make("div");
  const stop = working(place, "The library is working.");
  try {
    await answers[desk.answer](target);
    if (mine !== asked) return;
    place.replaceChildren(...target.childNodes);
    if (desk.answer === "sheet") return;
    await lookForDoubts();
    if (mine === asked && place.isConnected) byId("doubts").replaceChildren(doubtsPart());
  } catch (error) { if (mine === asked) refused(place, error); }
  finally { stop(); }
};
const answersView = () => {
  setTimeout(showAnswer, 0);
  return [make("div", {class: "answer-tabs", role: "group", "aria-label": "What is asked"}, answerKinds.map(([kind, words]) => button(words, () => { desk.answer = kind; show(); }, {"aria-pressed": String(desk.answer === kind)}))),
    ["trial", "plan", "check"].includes(desk.answer) ? timeChoice() : null, make("div", {id: "doubts"}), make("div", {id: "answer"})];
};

/** What is printed of an answer's page is what the page itself prints, on as many sheets as it takes: a frame would be cut off. */
const layOutToPrint = () => {
  const inner = document.querySelector("#answer iframe")?.contentDocument;
  if (!inner?.body) return;
  const place = make("div", {id: "printed"});
  const within = place.attachShadow({mode: "open"});
  for (const style of inner.querySelectorAll("style")) within.append(make("style", {media: style.media || null}, style.textContent.replaceAll(":root", ":host")));
  within.append(inner.body.cloneNode(true));
  for (const script of within.querySelectorAll("script")) script.remove();
  document.body.append(place);
};
