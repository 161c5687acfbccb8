/** Asks the library about everything that was typed. It tells one thing wrong at a time, so what is wrong is put right in a copy, by an
 * example that it takes, and it is asked again: every cell gets its own message. */
const examples = [
  [/^name$/, () => "rotor"], [/^rotation\.sense$/, () => "clockwise"], [/^rotation\.seen_from$/, () => "aft"], [/^phase$/, () => "lag"],
  [/^speed_tolerance$/, () => "1 rpm"], [/^reference\.(teeth|larger_tooth)$/, () => "1"], [/^reference\.polarity$/, () => "falling"],
  [/^planes\[(\d+)\]\.name$/, (n) => `plane ${Number(n) + 1}`], [/^planes\[\d+\]\.slots\.slot_1_at$/, () => "0 deg with rotation"],
  [/^planes\[\d+\]\.slots\.numbered$/, () => "clockwise"], [/^planes\[\d+\]\.slots\.seen_from$/, () => "front"],
  [/^blades\.count$/, () => "20"], [/^blades\.blade_1_at$/, () => "0 deg with rotation"], [/^blades\.numbered$/, () => "clockwise"], [/^blades\.seen_from$/, () => "front"],
  [/\.weights\[(\d+)\]\.id$/, (n) => `weight ${Number(n) + 1}`], [/\.mass$/, () => "1 g"], [/\.radius$/, () => "100 mm"], [/\.moment$/, () => "100 g.mm"],
  [/^sensors\[(\d+)\]\.name$/, (n) => `sensor ${Number(n) + 1}`], [/^sensors\[\d+\]\.measures$/, () => "velocity"], [/^sensors\[\d+\]\.unit$/, () => "mm/s peak"],
  [/^sensors\[\d+\]\.phase_of$/, () => "velocity"], [/\.direction\.positive$/, () => "outward"],
  [/\.limits\[(\d+)\]\.up_to$/, (n) => `${100000 + Number(n)} rpm`],
];
/** As many slots as anything names, so that one wrong number makes no others wrong. */
const enoughSlots = (job, p) => {
  const plane = job.rotor.planes[p];
  const fitted = ["now", ...job.runs.keys()].flatMap((r) => Object.keys(planeFitted(fittedOf(job, r)[plane.name]).slots).map(Number));
  const named = [...[].concat(plane.slots.unusable ?? []), ...(plane.weights ?? []).flatMap((one) => one.only_in ?? [])].map(Number);
  return String(Math.min(400, Math.max(12, ...[...fitted, ...named].filter(Number.isInteger))));
};
const exampleFor = (path, rotor, job) => {
  const count = /^planes\[(\d+)\]\.slots\.count$/.exec(path);
  if (count) return enoughSlots(job, count[1]);
  for (const [pattern, value] of examples) { const found = pattern.exec(path); if (found) return value(found[1]); }
  const limit = /^sensors\[(\d+)\]\.limits\[\d+\]\.limit$/.exec(path);
  return limit ? `1000 ${symbolOf(rotor.sensors[limit[1]])}` : null;
};
/** The key a message is about; a key that is missing is told at the map that lacks it. */
const keyOf = ({key, missing}) => [key, missing].filter(Boolean).join(".");

/** Messages of the rotor's cells by path, and a rotor that can be read: this one, what is wrong replaced. */
const checkRotor = async (job) => {
  const messages = new Map();
  const rotor = copy(job.rotor);
  for (let turn = 0; turn < 200; ++turn) {
    try {
      return {messages, rotor, facts: await engine.ask("rotor", {tree: rotor, rotor: job.names.rotor})};
    } catch (error) {
      if (!error.found) throw error;
      const path = keyOf(error.found);
      const repeated = messages.has(path);
      if (!repeated) messages.set(path, {...error.found, empty: !at(job.rotor, path)});
      const example = exampleFor(path, rotor, job);
      const unitOnly = /\.unit$/.test(path);
      if (example !== null && at(rotor, path) !== example) put(rotor, path, example);
      else if (path !== "" && at(rotor, path) !== undefined) drop(rotor, path);
      else return {messages, rotor: null, facts: null};
      if (unitOnly) { const sensor = at(rotor, path.replace(/\.unit$/, "")); sensor.measures = "velocity"; sensor.phase_of = "velocity"; }
      if (/\.limits\[\d+\]/.test(path) || unitOnly) sortBands(rotor, path);
    }
  }
  return {messages, rotor: null, facts: null};
};
/** Limits in another sensor's unit would be refused beside the example's unit. */
const sortBands = (rotor, path) => {
  const sensor = at(rotor, /^sensors\[\d+\]/.exec(path)[0]);
  if (sensor && /\.unit$/.test(path)) { sensor.limits = [{up_to: "100000 rpm", limit: "1000 mm/s"}]; for (const key of ["repeatability", "run_to_run"]) delete sensor[key]; }
};

/** Messages of the readings' cells: "run/row/sensor/part". */
const checkReadings = async (job, rotorText) => {
  const messages = new Map();
  const readings = readingsOf(job);
  if (readings.length === 0) return messages;
  const {readings: found} = await engine.ask("readings", {files: {"rotor.yaml": rotorText}, readings});
  found.forEach((one, i) => {
    if (!one) return;
    const {run, row, sensor} = readings[i].place;
    const part = one.key === "speed" || one.key === "component" ? `${run}/${row}/${one.key}` : `${run}/${row}/${sensor}/${one.key === "phase_of" ? "phase" : one.key}`;
    messages.set(part, {...one, empty: one.key === "speed" && readings[i].speed === ""});
  });
  return messages;
};

/** Everything: messages by part of the desk, what is drawn, and whether the job can be answered. `soon` is told of the rotor first. */
const checkJob = async (job, soon) => {
  const {messages: rotorMessages, rotor, facts} = await checkRotor(job);
  const result = {rotor: rotorMessages, readings: new Map(), job: new Map(), facts, jobFacts: null, general: null};
  soon({...result, jobFacts: desk.checked?.jobFacts ?? null, readings: desk.checked?.readings ?? result.readings, job: desk.checked?.job ?? result.job});
  if (!rotor) { const [first] = rotorMessages.values(); result.general = first ?? null; return result; }
  const rotorText = (await engine.ask("file of tree", {tree: rotor})).text;
  result.readings = await checkReadings(job, rotorText);
  // The runs are read without the readings that are wrong by themselves: those have their messages.
  const sound = copy(job);
  for (const key of result.readings.keys()) { const [run, row, sensor] = key.split("/"); const cells = sound.runs[run].rows[row].cells; if (sensor in cells) delete cells[sensor]; else sound.runs[run].rows[row].cells = {}; }
  for (let turn = 0; turn < 60; ++turn) {
    try {
      result.jobFacts = await engine.ask("job", await filesOf({...sound, opened: {}}, rotor));
      break;
    } catch (error) {
      if (!error.found) throw error;
      const place = placeInRuns(sound, error.found);
      const path = place ? `reading ${place}` : keyOf(error.found).replace(/^speeds\[(\d+)\]/, (_, n) => `speeds[${toldSpeeds(sound, readingsOf(sound))[n]}]`);
      const target = place ? result.readings : result.job;
      const key = place ?? path;
      if (target.has(key)) { result.general = error.found; break; }
      target.set(key, {...error.found, empty: !place && !at({...job.job, runs: job.runs.map((run) => run.facts)}, path)});
      if (!putRight(sound, path, place)) { result.general = error.found; break; }
    }
  }
  return result;
};
/** The cell a message about a line of the table is about. */
const placeInRuns = (job, found) => {
  if (found.file !== job.names.table || !(found.line > 1)) return null;
  const one = readingsOf(job)[found.line - 2];
  if (!one) return null;
  const {run, row, sensor} = one.place;
  return ["speed", "component", "run"].includes(found.key) ? `${run}/${row}/speed` : `${run}/${row}/${sensor}/${found.key || "amplitude"}`;
};
/** Lets the library read on past what it refused. */
const putRight = (job, path, place) => {
  if (place) {
    const [run, row] = place.split("/");
    job.runs[run].rows.splice(row, 1, newRow());
    return true;
  }
  const run = /^runs\[(\d+)\](?:\.(\w+))?/.exec(path);
  const speed = /^speeds\[(\d+)\]/.exec(path);
  if (speed) { job.job.speeds.splice(speed[1], 1, {}); return true; }
  if (!run) { if (path === "" || at(job.job, path) === undefined) return false; drop(job.job, path); return true; }
  const facts = job.runs[run[1]]?.facts;
  if (!facts) return false;
  if (run[2] === "name") facts.name = `run ${Number(run[1]) + 1}`;
  else if (run[2] === "fitted") facts.fitted = "none";
  else if (run[2] && facts[run[2]] !== undefined) delete facts[run[2]];
  else return false;
  return true;
};
