/** The library's answers, in its own words and on its own pages. */
const answerKinds = [["ready", "Is it ready?"], ["trial", "Next trial run"], ["plan", "Plan"], ["check", "Check run"], ["influence", "Influence vectors"], ["sheet", "Run sheet"]];
/** The library's words as they are said on a page: a command is the button that asks the same, a line of the table the row that is typed. */
const deskWords = (text) => {
  const plain = (name) => name.replace(/[.*+?^${}()|[\]\\]/g, "\\$&");
  const {job, table} = desk.job.names;
  return text.replace(new RegExp(`\\btrimwright (${answerKinds.map(([kind]) => kind).join("|")})\\b(?: "?${plain(job)}"?)?`, "g"), (_, kind) => `“${answerKinds.find(([one]) => one === kind)[1]}”`)
    .replace(new RegExp(`${plain(table)}(?:, line |:)(\\d+)`, "g"), (whole, line) => { const one = readingsOf(desk.job)[line - 2]; return one ? `run “${one.run}”, row ${one.place.row + 1}` : whole; });
};
const messageWords = (one) => deskWords(one.expected ? `${one.what}; expected ${one.expected}` : one.what);
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

/** Readings that the runs together contradict, found when an answer is given: by cell what is wrong, for as long as all cells of its group
 * hold what they held then. */
const doubtsNow = () => {
  const over = new Set([...desk.doubts].filter(([cell, one]) => one.value !== valueOfCell(cell)).map(([, one]) => one.group));
  return [...desk.doubts].filter(([, one]) => !over.has(one.group));
};
const valueOfCell = (cell) => { const [run, row, ...column] = cell.slice(8).split("/"); const place = desk.job?.runs[run]?.rows[row]; return place ? valueIn(place, column) : undefined; };
const lookForDoubts = async () => {
  const {job} = desk;
  const {readings} = await given("doubts", {}).catch(() => ({readings: []}));
  if (desk.job !== job) return;
  desk.doubts = new Map(readings.map((one) => [placeInRuns(job, one), one]).filter(([place]) => place).map(([place, one]) => [`reading:${place}`, {what: one.what, group: one.group, less: one.less, doubt: true, value: valueOfCell(`reading:${place}`)}]));
  showMessages();
};
/** One line for each place where a reading looks wrong: the likeliest, and in fewer words those that may be it instead. */
const doubtsPart = () => {
  const found = doubtsNow();
  if (found.length === 0) return "";
  const link = ([cell]) => { const [run, row, ...rest] = cell.slice(8).split("/"); return button(`run “${desk.job.runs[run].facts.name}”, row ${Number(row) + 1}, ${rest.join(" ")}`, () => { go("runs"); focusCell(cell); }, {class: "link"}); };
  return make("ul", {class: "refused"}, [...new Set(found.map(([, one]) => one.group))].map((group) => {
    const [first, ...others] = found.filter(([, one]) => one.group === group);
    return make("li", {}, "Looks wrong: ", link(first), `: ${first[1].what}.`,
      others.length > 0 ? make("small", {}, " Or it is one of these, as the runs alone cannot tell which: ", others.flatMap((one, n) => [n > 0 ? "; " : "", link(one)]), ".") : null);
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
/** Answers write numbers in one way, the files' own. Who types commas is told so where they stand, on screen and on paper. */
const markLine = () => (desk.job.units.mark === "comma" ? "All numbers here are written with a decimal point: 12.5 means 12,5." : "");
const frameOf = (html, title) => make("iframe", {srcdoc: markLine() ? html.replace('<main id="main">', (main) => `${main}<p class="chance">${markLine()}</p>`) : html, title, class: "page-frame"});
const textOf = (text) => [markLine() ? make("p", {class: "note"}, markLine()) : null, make("pre", {tabindex: "0"}, deskWords(text))];
const asText = (text) => make("details", {class: "as-text"}, make("summary", {}, "The same as text"), make("pre", {tabindex: "0"}, deskWords(text)));
const takeAsRun = ({name, fitted}, planGiven) => {
  desk.job.planGiven = planGiven;
  if (isPractice(desk.job)) { setFitted("now", fitted); go("runs"); say("These weights are on the rotor now. Run it."); return; }
  addRun(name, Object.keys(fitted).length > 0 ? fitted : "none");
  go("runs");
  focusCell(firstCell(desk.job.runs.length - 1, 0));
  say(`The run “${name}” is begun, with these weights. Enter what it reads.`);
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
  const cell = found ? placeInRuns(desk.job, found) : null;
  const [run, row] = cell?.split("/") ?? [];
  const open = ["rotor", "runs"].map((view) => [headings[view], byId(`state-${view}`).textContent]).filter(([, words]) => /to fill in|wrong/.test(words));
  place.replaceChildren(make("div", {class: "refused", role: "alert"}, make("h2", {}, "No answer yet"),
    open.length > 0 ? make("p", {}, `First put these right: ${open.map(([where, words]) => `${where}: ${words}`).join("; ")}. A dashed edge marks what is to fill in, a red edge what is wrong.`) : null,
    make("p", {class: open.length > 0 ? "note" : null}, found ? messageWords(found) : error.message),
    found && found.file && open.length === 0 ? cell ? make("p", {}, button(`To the cell: run “${desk.job.runs[run].facts.name}”, row ${Number(row) + 1}`, () => { go("runs"); focusCell(`reading:${cell}`); }, {class: "link"})) : make("p", {class: "note"}, `${found.file}${found.line > 0 ? `, line ${found.line}` : ""}${found.key ? `, ${found.key}` : ""}`) : null,
    make("p", {class: "buttons"}, button("To the rotor", () => go("rotor")), button("To the runs", () => go("runs")))));
};

const noCheckRun = (last, why) => make("div", {}, make("p", {class: "lead"}, why),
  make("p", {}, "A check run is made with the weights of the plan. Ask for the plan and press “Fit these weights: begin the check run”, then enter what that run reads."),
  make("p", {class: "buttons"}, button("To the plan", () => { desk.answer = "plan"; show(); }, {class: "main"}), button(`“${last.facts.name}” was the check run: judge it`, () => { change((job) => { lastRead(job).afterPlan = "said"; }); show(); })));

const answers = {
  async ready(place) {
    const {text} = await given("ready", {});
    place.replaceChildren(make("div", {}, textOf(text)));
  },
  async trial(place) {
    const answer = await given("trial", {...desk.trial, ...timeGiven()});
    place.replaceChildren(make("p", {class: "buttons"}, answer.run ? button("Take this as the next run", () => takeAsRun(answer.run, false), {class: "main"}) : null),
    frameOf(answer.page, "The next trial run"), asText(answer.text));
  },
  async plan(place) {
    const rest = planRequest();
    const answer = await given("page", rest);
    const frame = frameOf(answer.page, "The balance plan");
    const text = make("pre", {tabindex: "0"});
    const more = make("details", {class: "as-text", ontoggle: async (event) => { if (event.target.open && !text.textContent) { try { text.textContent = deskWords((await given("plan", rest)).text); } catch (error) { text.textContent = error.found ? messageWords(error.found) : error.message; } } }}, make("summary", {}, "The same as text"), text);
    const take = button("Fit these weights: begin the check run", () => { const chosen = choiceInFrame(frame); if (chosen) takeAsRun({name: answer.run.name, fitted: chosen.fitted}, true); }, {class: "main"});
    const own = button("Plan with the weights tried out", () => { const chosen = choiceInFrame(frame); if (chosen) { desk.own = chosen.document; showAnswer(); } });
    const tools = make("p", {class: "buttons"}, take, desk.own ? button("Back to the plan's own weights", () => { desk.own = null; showAnswer(); }) : own, null);
    frame.addEventListener("load", () => {
      const shown = Boolean(frame.contentWindow?.balancePage);
      if (shown) desk.job.planGiven = true;
      own.hidden = !shown;
      const asNow = frame.contentDocument?.getElementById("as-fitted");  // the page's own button, off while nothing differs from what is fitted
      const offer = () => { take.hidden = !shown || asNow?.disabled === true; };
      if (asNow) new frame.contentWindow.MutationObserver(offer).observe(asNow, {attributes: true});
      offer();
    });
    take.hidden = true;
    place.replaceChildren(tools, frame, more);
  },
  async check(place) {
    const last = lastRead(desk.job);
    if (last && !last.opened && !last.afterPlan) { place.replaceChildren(noCheckRun(last, `There is no check run yet: the run “${last.facts.name}” was begun before a plan was made.`)); return; }
    const said = last?.afterPlan === "said" ? {run: last.facts.name} : {};
    const answer = await given("check", {...timeGiven(), ...said}).catch((error) => { if (last && error.found?.missing === "check run") return error; throw error; });
    if (answer.found) { place.replaceChildren(noCheckRun(last, `${deskWords(answer.found.what).replace(/^t/, "T")}.`)); return; }
    const {text} = answer;
    const page = said.run ? null : await given("page", {check_run: true, ...timeGiven()}).catch((error) => { if (error.stopped) throw error; return null; });
    place.replaceChildren(...(page ? [frameOf(page.page, "After the check run"), asText(text)] : [make("div", {}, textOf(text))]));
  },
  async influence(place) {
    const {text} = await given("influence", {});
    place.replaceChildren(make("div", {}, textOf(text)));
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
  return select;
};
const planRequest = () => ({...timeGiven(), ...(desk.objective ? {objective: desk.objective} : {}), ...(desk.changes !== undefined && !desk.own ? {changes: desk.changes} : {}), ...(desk.own ? {files: {"fitted.json": JSON.stringify(desk.own)}} : {})});
const planOptions = () => {
  const select = make("select", {"aria-label": "Slots to change", onchange: (event) => { desk.changes = event.target.value === "" ? undefined : Number(event.target.value); desk.own = null; showAnswer(); }}, make("option", {value: ""}, "as many slots as recommended"));
  return live(select, (node) => {
    const most = desk.checked?.jobFacts?.max_changes;
    if (most === undefined || node.options.length === most + 2) return;
    node.replaceChildren(node.options[0], ...Array.from({length: most + 1}, (_, n) => make("option", {value: String(n)}, n === 1 ? "1 slot changed" : `${n} slots changed`)));
    node.value = desk.changes === undefined ? "" : String(desk.changes);
  });
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
  } catch (error) {
    while (desk.checking && !error.stopped) await new Promise((done) => setTimeout(done, 50));  // what is to fill in is told as it is now
    if (mine === asked) refused(place, error);
  }
  finally { stop(); }
};
/** What must be said before the library can be asked: what was fitted in every run, and for a plan or trial what is on the rotor now. */
const unsaidPart = () => {
  const runs = desk.job.runs.flatMap((run, r) => (isSaid(r) ? [] : [make("section", {class: "part"}, make("h2", {}, `Run “${run.facts.name}”`), fittedPart(r))]));
  const wanted = desk.job.runs.length > 0 && !isPractice(desk.job) && ["trial", "plan"].includes(desk.answer) && !isSaid("now");
  return [...runs, runs.length === 0 && wanted ? fittedPart("now") : null].filter(Boolean);
};
const answersView = () => {
  const unsaid = unsaidPart();
  if (unsaid.length === 0) setTimeout(showAnswer, 0);
  return [make("div", {class: "answer-tabs", role: "group", "aria-label": "What is asked"}, answerKinds.map(([kind, words]) => button(words, () => { desk.answer = kind; show(); }, {"aria-pressed": String(desk.answer === kind)}))),
    unsaid.length > 0 ? [make("p", {class: "lead"}, "Please say first, then the answer follows:"), unsaid] : null,
    unsaid.length === 0 && ["trial", "plan"].includes(desk.answer) && isSaid("now") ? fittedPart("now") : null,
    unsaid.length === 0 && ["trial", "plan", "check"].includes(desk.answer) ? make("p", {class: "buttons"}, desk.answer === "plan" ? planOptions() : desk.answer === "trial" && desk.job.rotor.planes.length > 1 ? trialPlane() : null, timeChoice()) : null, make("div", {id: "doubts"}), make("div", {id: "answer"})];
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
