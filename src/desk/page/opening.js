/** Opens files: a job with its rotor and tables, a rotor alone, or a table for the job that is open. */
const kindsOf = async (texts) => (await engine.ask("kinds", {texts})).kinds;
const baseName = (path) => path.split(/[\\/]/).pop();
const hasComments = (text) => /^\s*#|\s#\s/m.test(text);

/** Sorts readings as they were written into a run's rows: one for each speed, more where a sensor was read twice. */
const rowsOf = (readings, job) => {
  const rows = [];
  for (const one of readings) {
    const sensor = job.rotor.sensors.find((each) => each.name === one.sensor);
    const speed = withoutUnit(one.speed, job.units.speed);
    const component = one.component || "once-per-rev";
    let row = rows.find((each) => each.speed === speed && each.component === component && !each.cells[one.sensor]);
    if (!row) { row = {speed, component, cells: {}}; rows.push(row); }
    const cell = {amplitude: withoutUnit(one.amplitude, sensor?.unit), phase: withoutUnit(one.phase.replace(/ deg (lag|lead)$/, " deg"), "deg")};
    if (one.phase && /deg (lag|lead)$/.test(one.phase) && !one.phase.endsWith(job.rotor.phase)) cell.phase = one.phase;
    for (const more of ["phase_of", "sd", "note", "approach", "state"]) if (one[more]) cell[more] = one[more];
    row.cells[one.sensor] = cell;
  }
  return [...rows, newRow()];
};

/** Units that most of what stands in a rotor file is written in. */
const unitsOf = (rotor, readings, mark) => {
  const most = (texts, known, otherwise) => {
    const times = (unit) => texts.filter((text) => String(text ?? "").trim().endsWith(` ${unit}`)).length;
    const best = [...known].sort((a, b) => times(b) - times(a))[0];
    return times(best) > 0 ? best : otherwise;
  };
  const weights = (rotor.planes ?? []).flatMap((plane) => [plane.filler, ...(plane.weights ?? [])]).filter(Boolean);
  return {mark, speed: most(readings.map((one) => one.speed), choice.speed, "rpm"), mass: most(weights.map((one) => one.mass), choice.mass, "g"),
    length: most(weights.map((one) => one.radius), choice.length, "mm"), moment: most(weights.map((one) => one.moment), choice.moment, "g.mm")};
};

/** A job from texts by name. Throws the library's Error. `said` collects what a person should know. */
const jobFromFiles = async (texts, said = [], mark = "point") => {
  const names = Object.keys(texts);
  const kinds = await kindsOf(texts);
  const jobName = names.find((name) => kinds[name] === "job");
  const rotors = names.filter((name) => kinds[name] === "rotor");
  const job = newJob();
  job.openedNames = names;
  job.units.mark = mark;
  let rotorName = rotors[0];
  let tree = null;
  if (jobName) {
    tree = (await engine.ask("tree of file", {kind: "job", text: texts[jobName]})).tree;
    // Here all files stand side by side: paths become names, in the text too, so that comments stay.
    for (const path of [tree.rotor, ...[].concat(tree.readings ?? []), ...(tree.runs ?? []).map((run) => run.readings).filter((one) => typeof one === "string")]) if (path && baseName(path) !== path) texts = {...texts, [jobName]: texts[jobName].replace(path, baseName(path))};
    tree = (await engine.ask("tree of file", {kind: "job", text: texts[jobName]})).tree;
    if (tree.rotor && texts[baseName(tree.rotor)] !== undefined) rotorName = baseName(tree.rotor);
  }
  if (!rotorName) throw new Error(jobName ? `${jobName} names the rotor file ${baseName(tree.rotor ?? "")}: choose both together, and the tables of readings` : "none of these files is a job or a rotor of trimwright");
  job.rotor = (await engine.ask("tree of file", {kind: "rotor", text: texts[rotorName]})).tree;
  job.names.rotor = rotorName;
  job.opened.rotor = {text: texts[rotorName], tree: copy(job.rotor)};
  if (!jobName) { job.units = unitsOf(job.rotor, [], mark); said.push("A rotor is open; its runs are still to be entered."); return job; }
  job.names.job = jobName;
  const {runs = [], readings: tables, ...rest} = tree;
  job.job = rest;
  const ofRuns = runs.filter((run) => typeof run.readings === "string").map((run) => [baseName(run.readings), run.name]);
  const wanted = [...(tables === undefined ? [] : [].concat(tables)).map(baseName), ...ofRuns.map(([name]) => name)];
  const missing = wanted.filter((name) => texts[name] === undefined);
  const readings = [];
  for (const name of wanted.filter((one) => texts[one] !== undefined)) {
    const table = await engine.ask("readings of table", {name, files: {[name]: texts[name], [rotorName]: texts[rotorName]}, rotor: rotorName});
    const own = ofRuns.find(([one]) => one === name)?.[1];
    readings.push(...table.readings.map((one) => ({...one, run: one.run || own || ""})));
    said.push(...table.notes);
  }
  for (const run of runs) for (const one of Array.isArray(run.readings) ? run.readings : []) readings.push({phase: "", phase_of: "", sd: "", note: "", ...one, run: run.name});
  job.units = unitsOf(job.rotor, readings, mark);
  const known = new Set(runs.map((run) => run.name));
  const strangers = [...new Set(readings.map((one) => one.run).filter((name) => !known.has(name)))];
  job.runs = runs.map(({readings: _, ...facts}) => ({facts, rows: rowsOf(readings.filter((one) => one.run === facts.name), job)}));
  for (const name of strangers) { job.runs.push({...newRun(name, ""), rows: rowsOf(readings.filter((one) => one.run === name), job)}); said.push(`The readings name a run "${name}" that the job does not list: say what was fitted in it.`); }
  for (const run of job.runs) run.opened = true;
  if (wanted.length === 1 && missing.length === 0) job.names.table = wanted[0];
  job.opened.job = {text: texts[jobName], tree: jobTree(job, readingsOf(job))};
  // Given back as it was only where it names its files as the desk does.
  const sameTables = tables === undefined ? readings.length === 0 : tables === job.names.table && wanted.length === 1;
  if (runs.some((run) => run.readings) || baseName(tree.rotor) !== tree.rotor || !sameTables || strangers.length > 0) delete job.opened.job;
  for (const name of names) if (![jobName, rotorName, ...wanted].includes(name)) job.extra[name] = texts[name];
  if (missing.length > 0) said.push(`Not among the files: ${missing.join(", ")}. Their readings are missing here; open all files of the job together.`);
  if (tree.recording) said.push("This job reads recordings: that stays with the program. What it says of them is kept.");
  if (!job.opened.job && hasComments(texts[jobName])) said.push(`The comments in ${jobName} are not kept when it is saved.`);
  return job;
};
