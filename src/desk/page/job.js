/** What a person works on: a rotor, its runs, and how the desk takes what is typed. */
const newRotor = () => ({
  trimwright: "rotor 1", name: "", rotation: {sense: "", seen_from: ""}, phase: "", speed_tolerance: "30 rpm",
  reference: {teeth: "1", larger_tooth: "1", polarity: "falling"}, planes: [newPlane()], sensors: [newSensor()]});
const newPlane = () => ({name: "", access: "easy", slots: {count: "", slot_1_at: "0 deg with rotation", numbered: "", seen_from: ""}, weights: []});
const newSensor = () => ({name: "", measures: "", unit: "", phase_of: "", limits: [{limit: ""}]});
const newRow = () => ({speed: "", component: "once-per-rev", cells: {}});
/** A run in which nothing is read yet: a row waits for each set speed. What was fitted is "" until it is said. */
const newRun = (name, fitted, job = null) => ({facts: {name, fitted}, rows: [...(job ? setSpeeds(job).map(([set]) => ({...newRow(), set})) : []), newRow()]});
/** The last run with readings. A run that was begun before a plan was given is no check run; of one that was opened the library judges. */
const lastRead = (job) => job.runs.findLast((run) => run.rows.some((row) => Object.keys(row.cells).length > 0));
const ownNames = {rotor: "rotor.yaml", job: "job.yaml", table: "readings.csv"};
const newJob = () => ({
  id: crypto.randomUUID ? crypto.randomUUID() : String(Math.random()).slice(2), revision: 0,
  rotor: newRotor(), job: {trimwright: "job 1", rotor: "rotor.yaml"}, runs: [newRun("as found", "")], extra: {}, opened: {},
  names: {...ownNames},
  units: {speed: "rpm", mass: "g", length: "mm", moment: "g.mm", mark: "point"}});

const nameOfJob = (job) => [job.job.serial, job.rotor.name].filter(Boolean).join(" ") || "A job without a name yet";

/** Values that may be missing from a file stand in no file while they are empty; the others are asked for. */
const needed = [/^name$/, /^rotation\./, /^phase$/, /^speed_tolerance$/, /^reference\.(teeth|larger_tooth|polarity)$/, /^blades\.\w+$/,
  /^planes\[\d+\]\.name$/, /^planes\[\d+\]\.slots\.(count|slot_1_at|numbered|seen_from)$/, /^planes\[\d+\]\.weights\[\d+\]\.(id|mass|radius|moment)$/,
  /^planes\[\d+\]\.filler\.(mass|radius|moment)$/, /^sensors\[\d+\]\.(name|measures|unit|phase_of)$/, /^sensors\[\d+\]\.direction\.positive$/, /^sensors\[\d+\]\.limits\[\d+\]\.limit$/,
  /^runs\[\d+\]\.(name|fitted)$/, /^speeds\[\d+\]\.at$/];
const mayBeEmpty = (path) => !needed.some((one) => one.test(path));

/** The speeds that are set in every run, each with its name: as they were typed once. */
const setSpeeds = (job) => (job.job.speeds ?? []).filter((one) => one.at).map((one) => [withoutUnit(one.at, job.units.speed), one.name ?? ""]);
/** A set speed that was `was` is now `now`: runs in which nothing is read yet, or that have rows of set speeds, get its row. A row in
 * which something was read stays. */
const speedSet = (job, was, now) => {
  const [old, set] = [was, now].map((text) => withoutUnit(text ?? "", job.units.speed));
  for (const run of job.runs) {
    const mine = run.rows.filter((row) => old && row.set === old);
    if (mine.length === 0 && set && run.rows.every((row) => row.set !== undefined || isEmpty(row))) run.rows.splice(isBlank(run.rows.at(-1)) ? run.rows.length - 1 : run.rows.length, 0, {...newRow(), set});
    for (const row of mine) if (set) row.set = set; else { row.speed ||= old; delete row.set; }
    if (!set) run.rows = [...run.rows.filter((row) => !mine.includes(row) || Object.keys(row.cells).length > 0), ...(isBlank(run.rows.at(-1)) ? [] : [newRow()])];
  }
};
/** A row that still waits; one that stands for nothing yet. */
const isEmpty = (row) => !row.speed && Object.keys(row.cells).length === 0;
const isBlank = (row) => isEmpty(row) && row.set === undefined;

/** What was read, one entry for each filled cell, by run, row and sensor; `place` finds the cell again. */
const readingsOf = (job) => job.runs.flatMap((run, r) => run.rows.flatMap((row, i) => job.rotor.sensors.map((sensor) => sensor.name).concat(Object.keys(row.cells)).filter((name, n, all) => name && all.indexOf(name) === n)
  .filter((name) => { const cell = row.cells[name]; return cell && (cell.amplitude || cell.phase); })
  .map((name) => {
    const cell = row.cells[name];
    const sensor = job.rotor.sensors.find((one) => one.name === name);
    const unit = sensor ? sensor.unit : "";
    return {place: {run: r, row: i, sensor: name}, run: run.facts.name, speed: withUnit(row.speed || (row.set ?? ""), job.units.speed), sensor: name,
      amplitude: withUnit(cell.amplitude ?? "", unit), phase: withUnit(cell.phase ?? "", "deg"),
      component: row.component, phase_of: cell.phase_of ?? "", sd: cell.sd ?? "", note: cell.note ?? "",
      approach: cell.approach ?? "", state: cell.state ?? ""};
  })));

/** Set speeds that the file tells, by number: not a line left empty; and once there are readings, not one whose rows still wait, as a file
 * tells speeds that were read. */
const toldSpeeds = (job, readings) => {
  const rows = job.runs.flatMap((run) => run.rows);
  const waits = (set) => readings.length > 0 && rows.some((row) => row.set === set) && rows.every((row) => row.set !== set || isEmpty(row));
  return [...(job.job.speeds ?? []).keys()].filter((n) => { const {at: speed, name} = job.job.speeds[n]; return (speed || name) && !waits(withoutUnit(speed, job.units.speed)); });
};
/** The job file's tree: what the page keeps apart put where it belongs. */
const jobTree = (job, readings) => {
  const tree = {};
  const runs = job.runs.map((run) => run.facts);
  const table = readings.length > 0 ? job.names.table : null;
  for (const [key, value] of Object.entries(job.job)) {
    if (key === "runs" || key === "readings") continue;
    tree[key] = key === "rotor" ? job.names.rotor : value;
    if (key === "rotor" && table) tree.readings = table;
  }
  if (tree.speeds) tree.speeds = toldSpeeds(job, readings).map((n) => tree.speeds[n]);
  if (tree.speeds?.length === 0) delete tree.speeds;
  const {fitted_now: now, trim, ...before} = tree;
  return {...before, ...(runs.length > 0 ? {runs} : {}), ...(now === undefined ? {} : {fitted_now: now}), ...(trim === undefined ? {} : {trim})};
};

/** Rows of the table of readings. */
const tableRows = (readings) => {
  const columns = ["run", "speed", "sensor", "amplitude", "phase", "component"];
  for (const more of ["phase_of", "sd", "note", "approach", "state"]) if (readings.some((one) => one[more])) columns.push(more);
  return [columns, ...readings.map((one) => columns.map((column) => one[column]))];
};

/** Names to save a job's files under: those it was opened with; its own have the serial in them, so that two jobs in one folder stay apart. */
const savedNames = (job) => {
  const serial = (job.job.serial ?? "").replace(/[^\p{L}\p{N}.]+/gu, "-").replace(/^[-.]+|[-.]+$/g, "");
  return Object.fromEntries(Object.entries(job.names).map(([kind, name]) => [kind, serial && name === ownNames[kind] && !job.openedNames?.includes(name) ? `${serial}-${name}` : name]));
};

/** The files of a job, as the program reads and writes them, and which is which, to be asked about. A file that says what it said when
 * it was opened is given back as it was. */
const filesOf = async (job, rotor = job.rotor) => {
  const text = async (kind, tree) => {
    const was = job.opened[kind];
    if (was && JSON.stringify(was.tree) === JSON.stringify(tree)) return was.text;
    return (await engine.ask("file of tree", {tree})).text;
  };
  const readings = readingsOf(job);
  const files = {...job.extra, [job.names.rotor]: await text("rotor", rotor), [job.names.job]: await text("job", jobTree(job, readings))};
  if (readings.length > 0) files[job.names.table] = (await engine.ask("table of rows", {rows: tableRows(readings)})).text;
  return {files, job: job.names.job, rotor: job.names.rotor};
};
