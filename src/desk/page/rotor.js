/** The rotor as it is described, drawn while it is described. */
const section = (heading, ...content) => make("section", {class: "part"}, typeof heading === "function" ? live(make("h2"), (node) => { node.textContent = heading(); }) : make("h2", {}, heading), ...content);
/** "Plane 2: drum", as its name is typed. */
const numbered = (kind, list, n) => () => { const {name} = desk.job.rotor[list][n] ?? {}; return `${kind} ${n + 1}${name ? `: ${name}` : ""}`; };
const fields = (...content) => make("div", {class: "fields"}, ...content);
const optionGroup = (kind, unit, known) => known.includes(unit) || !unit ? known : [unit, ...known];

const conventionsPart = () => {
  const {rotor, units} = desk.job;
  const unitChoice = (label, key, known, rewrite) => {
    const id = `unit-${key}`;
    const select = make("select", {id, onchange: (event) => rewriteUnit(key, event.target.value, rewrite)}, known.map((unit) => make("option", {value: unit}, markWords[unit] ?? unit)));
    select.value = units[key];
    return make("div", {class: "field"}, make("label", {for: id}, label), select);
  };
  return section("Conventions, chosen once",
    fields(
      field({label: "The rotor turns", path: "rotation.sense", kind: "choice", choices: choice.sense}),
      field({label: "when it is seen", path: "rotation.seen_from", kind: "choice", choices: choice.end}),
      field({label: "Phases are read as", path: "phase", kind: "choice", choices: choice.phase})),
    fields(
      unitChoice("Numbers are typed with a", "mark", ["point", "comma"]),
      unitChoice("Speeds in", "speed", choice.speed),
      unitChoice("Weights in", "mass", choice.mass),
      unitChoice("Radii in", "length", choice.length),
      unitChoice("Moments in", "moment", choice.moment)),
    units.speed === "%" ? make("p", {class: "note"}, "For speeds in %, say below which speed is 100 %.") : null);
};
/** Another unit for what is typed: the numbers stay as they are. */
const rewriteUnit = (key, unit) => {
  change((job) => {
    const old = job.units[key];
    job.units[key] = unit;
    if (key === "speed") for (const one of job.job.speeds ?? []) if (one.at) one.at = withUnit(withoutUnit(one.at, old), unit);
    if (key === "mark" || key === "speed") return;
    const name = {mass: "mass", length: "radius", moment: "moment"}[key];
    for (const plane of job.rotor.planes) for (const one of [plane.filler, ...(plane.weights ?? [])]) if (one && one[name]) one[name] = withUnit(withoutUnit(one[name], old), unit);
  });
  show();
};

const rotorPart = () => {
  const {rotor, units} = desk.job;
  return section("The rotor",
    fields(
      field({label: "Name of the rotor type", path: "name", hint: "as in the manual"}),
      field({label: "Serial number of this rotor", root: "job", path: "serial", optional: true}),
      field({label: "What the job is about", root: "job", path: "title", optional: true}),
      field({label: "Test stand or place", root: "job", path: "station", optional: true}),
      field({label: "Speed that is called 100 %", path: "speed_100", kind: "quantity", unit: "rpm", optional: true}),
      field({label: "Mass of the rotor", path: "mass", kind: "quantity", unit: choice.rotorMass.find((one) => String(rotor.mass ?? "").endsWith(` ${one}`)) ?? "kg", optional: true})),
    make("p", {class: "note"}, "The mass is used to advise a first trial weight. All angles are counted from the reference tooth (or mark), in the direction of rotation."),
    make("details", {}, make("summary", {}, "Reference tooth or mark, and which speeds count as the same"),
      fields(
        field({label: "Speeds count as the same within ±", path: "speed_tolerance", kind: "quantity", unit: "rpm"}),
        field({label: "What the mark is called that angles start from", path: "reference.mark", optional: true, hint: "the larger tooth"}),
        field({label: "Number of teeth on the speed ring", path: "reference.teeth", kind: "number"}),
        field({label: "Number of the larger tooth", path: "reference.larger_tooth", kind: "number"}),
        field({label: "When the middle of the larger tooth passes, the signal", path: "reference.polarity", kind: "choice", choices: choice.polarity}))),
    bladesPart());
};
const bladesPart = () => (desk.job.rotor.blades
  ? make("details", {open: true}, make("summary", {}, "Blades"),
    fields(field({label: "Number of blades", path: "blades.count", kind: "number"}), field({label: "Blade 1 is at", path: "blades.blade_1_at", kind: "angle"}),
      field({label: "Blade numbers grow", path: "blades.numbered", kind: "choice", choices: choice.sense}), field({label: "when they are seen", path: "blades.seen_from", kind: "choice", choices: choice.end})),
    button("Leave the blades out", () => { change((job) => { delete job.rotor.blades; }); show(); }))
  : button("Describe the blades too", () => { change((job) => { job.rotor.blades = {count: "", blade_1_at: "0 deg with rotation", numbered: "", seen_from: ""}; }); show(); }));

const planePart = (p) => {
  const plane = desk.job.rotor.planes[p];
  const path = `planes[${p}]`;
  const several = desk.job.rotor.planes.length > 1;
  return section(numbered("Plane", "planes", p),
    make("div", {class: "beside"},
      make("div", {},
        fields(
          field({label: "Name of this plane", path: `${path}.name`, hint: "as people call it"}),
          field({label: "This plane is", path: `${path}.access`, kind: "choice", choices: choice.access}),
          plane.slots ? [
            field({label: "Number of holes (slots)", path: `${path}.slots.count`, kind: "number"}),
            field({label: "Slot numbers grow", path: `${path}.slots.numbered`, kind: "choice", choices: choice.sense}),
            field({label: "when they are seen", path: `${path}.slots.seen_from`, kind: "choice", choices: choice.end}),
            field({label: "Slot 1 is at this angle from the reference tooth", path: `${path}.slots.slot_1_at`, kind: "angle"}),
            field({label: "Slots not to be used", path: `${path}.slots.unusable`, kind: "slots", optional: true, hint: "11, 12"})] : null),
        make("p", {class: "buttons"},
          plane.slots ? button("This plane has no numbered holes", () => { change((job) => { delete job.rotor.planes[p].slots; delete job.rotor.planes[p].weights; delete job.rotor.planes[p].filler; }); show(); })
            : button("This plane has numbered holes", () => { change((job) => { const fresh = newPlane(); job.rotor.planes[p].slots = fresh.slots; job.rotor.planes[p].weights = []; }); show(); }),
          several ? button("Remove this plane", () => { change((job) => { job.rotor.planes.splice(p, 1); }); show(); }) : null)),
      make("div", {class: "drawn", "data-plane": String(p)})),
    plane.slots ? cataloguePart(p) : make("p", {class: "note"}, "A plane without holes takes a moment at any angle."));
};

/** What goes into the slots: a table, each weight with mass and radius, or with its moment. */
const cataloguePart = (p) => {
  const plane = desk.job.rotor.planes[p];
  const path = `planes[${p}]`;
  const {units} = desk.job;
  const weights = plane.weights ?? [];
  const byMoment = weights.length > 0 ? weights[0].moment !== undefined : plane.filler?.moment !== undefined;
  const blank = () => (byMoment ? {id: "", moment: ""} : {id: "", mass: "", radius: weights.at(-1)?.radius ?? ""});
  const columns = byMoment ? [["moment", `Moment, ${units.moment}`, "quantity", units.moment]] : [["mass", `Mass, ${units.mass}`, "quantity", units.mass], ["radius", `Radius, ${units.length}`, "quantity", units.length]];
  const cells = (base) => columns.map(([key, label, kind, unit]) => make("td", {}, field({label, path: `${base}.${key}`, kind, unit, bare: true})));
  const add = () => { change((job) => { (job.rotor.planes[p].weights ??= []).push(blank()); }); show(); focusCell(`rotor:${path}.weights[${desk.job.rotor.planes[p].weights.length - 1}].id`); };
  const swap = () => { change((job) => { const one = job.rotor.planes[p]; one.weights = (one.weights ?? []).map(({mass, radius, moment, ...rest}) => { const {id, ...more} = rest; return byMoment ? {id, mass: "", radius: "", ...more} : {id, moment: "", ...more}; }); if (one.filler) one.filler = byMoment ? {mass: "", radius: ""} : {moment: ""}; }); show(); };
  return make("div", {class: "catalogue"}, make("h3", {}, "Weights for this plane"),
    make("div", {class: "scroll", role: "group", "aria-label": "Weights"}, enterGoesOn(make("table", {}, make("thead", {}, make("tr", {}, make("th", {scope: "col"}, "Weight"), columns.map(([, label]) => make("th", {scope: "col"}, label)), make("th", {scope: "col"}, "Pieces at hand"), make("th", {scope: "col"}, "Part number"), make("td", {}))),
      make("tbody", {}, weights.map((one, w) => make("tr", {}, make("td", {}, field({label: `Weight ${w + 1}`, path: `${path}.weights[${w}].id`, bare: true, hint: "name"})), cells(`${path}.weights[${w}]`),
        make("td", {}, field({label: "Pieces at hand", path: `${path}.weights[${w}].stock`, kind: "number", bare: true, hint: "enough"})), make("td", {}, field({label: "Part number", path: `${path}.weights[${w}].part_number`, bare: true})),
        make("td", {}, button("×", () => { change((job) => { job.rotor.planes[p].weights.splice(w, 1); }); show(); }, {"aria-label": `Remove weight ${one.id || w + 1}`})))),
      plane.filler ? make("tr", {}, make("th", {scope: "row"}, "Filler of an empty slot"), cells(`${path}.filler`), make("td", {}), make("td", {}), make("td", {}, button("×", () => { change((job) => { delete job.rotor.planes[p].filler; }); show(); }, {"aria-label": "No filler"}))) : null)), add)),
    make("p", {class: "buttons"},
      button("Add a weight", add),
      button(byMoment ? "Give weights by mass and radius instead" : "Give weights by moment instead", swap),
      plane.filler ? null : button("Empty slots hold a filler", () => { change((job) => { job.rotor.planes[p].filler = byMoment ? {moment: ""} : {mass: "", radius: ""}; }); show(); })),
    desk.job.rotor.planes.length > 1 ? make("p", {class: "note"}, "Pieces at hand are counted for each plane by itself. If two planes are filled from one box, share its pieces out between them here: the plan does not know that they are the same.") : null,
    make("details", {}, make("summary", {}, "Limits of what may be fitted in this plane, and tolerances"),
      fields(field({label: "Largest moment of all weights in the plane", path: `${path}.max_total_moment`, kind: "quantity", unit: units.moment, optional: true}),
        field({label: "Largest change of moment in one trim", path: `${path}.max_added_moment`, kind: "quantity", unit: units.moment, optional: true}),
        field({label: "Largest number of pieces in the plane", path: `${path}.rules.max_pieces`, kind: "number", optional: true}),
        field({label: "Weights are as heavy as stated, within ±", path: `${path}.weight_tolerance`, kind: "quantity", unit: "%", optional: true}),
        field({label: "Slots are where stated, within ±", path: `${path}.slot_tolerance`, kind: "quantity", unit: "deg", optional: true}))));
};

/** How far readings repeat: the file's other two figures, and how a paper's percent and degrees become one of them. */
const scatterPart = (s, symbol) => {
  const path = `sensors[${s}]`;
  const box = (label, unit) => { const id = `cell${++fieldNumber}`; const input = make("input", {id, type: "text", inputmode: "decimal", autocomplete: "off"}); return [input, make("div", {class: "field"}, make("label", {for: id}, label), make("span", {class: "with-unit"}, input, make("span", {class: "unit", "aria-hidden": "true"}, unit)))]; };
  const [amplitude, amplitudeField] = box("Amplitudes repeat within ±", "%");
  const [phase, phaseField] = box("Phases repeat within ±", "deg");
  const told = make("p", {class: "note", role: "status"});
  const takeOver = async () => {
    const typed = async (input, unit) => { const text = await typedNumber(input.value.trim(), "paper"); desk.typed.delete("paper"); return withUnit(text, unit); };
    try {
      const {proportional, words} = await engine.ask("scatter", {amplitude: await typed(amplitude, "%"), phase: await typed(phase, "deg")});
      write("rotor", `${path}.proportional`, proportional);
      const cell = cellNode(`rotor:${path}.proportional`);
      if (cell) cell.value = shownNumber(withoutUnit(proportional, "%"));
      told.textContent = words;
    } catch (error) { told.textContent = error.message; }
  };
  return make("details", {}, make("summary", {}, "More on how far readings repeat"),
    fields(field({label: "Besides, within ± this part of each reading", path: `${path}.proportional`, kind: "quantity", unit: "%", optional: true}),
      field({label: "From one run to the next, all readings together by ±", path: `${path}.run_to_run`, kind: "quantity", unit: symbol, optional: true})),
    make("p", {class: "note"}, "The first says how far each reading scatters in proportion to itself. The second says what all readings of one run share and those of the next run do not: warm-up, seating of blades, wind. If your papers give percent and degrees instead, type them here:"),
    fields(amplitudeField, phaseField), make("p", {class: "buttons"}, button("Work out the part of each reading from these two", takeOver)), told);
};

const sensorPart = (s) => {
  const sensor = desk.job.rotor.sensors[s];
  const path = `sensors[${s}]`;
  const {units} = desk.job;
  const symbol = symbolOf(sensor);
  const asShown = sensor.measures === "as shown";
  const id = `unit-sensor-${s}`;
  const known = Object.values(sensorUnits).flat();
  const select = make("select", {id, "data-cell": `rotor:${path}.unit`, "aria-describedby": `${id}m`, onchange: (event) => {
    const unit = event.target.value;
    const quantity = Object.keys(sensorUnits).find((one) => sensorUnits[one].includes(unit));
    change((job) => {
      const one = job.rotor.sensors[s];
      const old = symbolOf(one);
      one.measures = unit === "as shown" ? "as shown" : quantity ?? "";
      one.unit = unit === "as shown" ? "" : unit;
      const fresh = symbolOf(one);
      if (unit === "as shown") delete one.phase_of; else one.phase_of = one.measures;
      for (const band of one.limits ?? []) for (const key of ["limit", "target"]) if (band[key]) band[key] = withUnit(withoutUnit(band[key], old), fresh);
      for (const key of ["repeatability", "run_to_run"]) if (one[key]) one[key] = withUnit(withoutUnit(one[key], old), fresh);
    });
    show();
  }}, make("option", {value: ""}, "choose"), Object.entries(sensorUnits).map(([quantity, list]) => make("optgroup", {label: quantity}, optionGroup(quantity, sensor.measures === quantity ? sensor.unit : "", list).map((unit) => make("option", {value: unit}, unit)))), make("option", {value: "as shown"}, "as the display shows it"));
  select.value = asShown ? "as shown" : sensor.unit || "";
  const bands = sensor.limits ?? [];
  return section(numbered("Sensor", "sensors", s),
    fields(field({label: "Name of this sensor", path: `${path}.name`}),
      make("div", {class: "field"}, make("label", {for: id}, "Readings are in"), select, make("span", {class: "message", id: `${id}m`})),
      asShown ? field({label: "Unit on the display", path: `${path}.unit`}) : null,
      field({label: "Where it is mounted", path: `${path}.direction.mounted`, optional: true, also: (job, was, text) => { const {direction} = job.rotor.sensors[s]; if (text && !direction.positive) direction.positive = "outward"; }}),
      field({label: "Two of three repeated readings agree within ±", path: `${path}.repeatability`, kind: "quantity", unit: symbol, optional: true})),
    make("div", {class: "scroll", role: "group", "aria-label": "Limits"}, make("table", {}, make("thead", {}, make("tr", {}, make("th", {scope: "col"}, `Limit, ${symbol || "unit"}`), make("th", {scope: "col"}, `Target, ${symbol || "unit"}`), make("th", {scope: "col"}, `Up to speed, ${units.speed}`), make("td", {}))),
      make("tbody", {}, bands.map((_, b) => make("tr", {}, make("td", {}, field({label: "Limit", path: `${path}.limits[${b}].limit`, kind: "quantity", unit: symbol, bare: true})),
        make("td", {}, field({label: "Target", path: `${path}.limits[${b}].target`, kind: "quantity", unit: symbol, bare: true, hint: "none"})),
        make("td", {}, field({label: "Up to speed", path: `${path}.limits[${b}].up_to`, kind: "quantity", unit: units.speed, bare: true, hint: b === bands.length - 1 ? "any" : ""})),
        make("td", {}, bands.length > 1 ? button("×", () => { change((job) => { const all = job.rotor.sensors[s].limits; all.splice(b, 1); if (all.at(-1).up_to === "") delete all.at(-1).up_to; }); show(); }, {"aria-label": "Remove this limit"}) : null)))))),
    make("p", {class: "buttons"}, button("Another limit for higher speeds", () => { change((job) => { const all = job.rotor.sensors[s].limits ??= []; if (all.length > 0) all.at(-1).up_to ??= ""; all.push({limit: ""}); }); show(); }),
      desk.job.rotor.sensors.length > 1 ? button("Remove this sensor", () => { change((job) => { job.rotor.sensors.splice(s, 1); }); show(); }) : null),
    scatterPart(s, symbol),
    asShown ? null : make("details", {}, make("summary", {}, "Phase and direction of this sensor"), fields(
      field({label: "Its phase is that of the", path: `${path}.phase_of`, kind: "choice", choices: choice.quantity}),
      field({label: "A positive signal means motion", path: `${path}.direction.positive`, kind: "choice", choices: choice.positive, optional: true}))));
};

/** The drawings, and the question that settles the numbering. */
const drawRotor = () => {
  const facts = desk.checked?.facts;
  if (!facts) return;
  for (const place of document.querySelectorAll("[data-plane]")) {
    const p = Number(place.dataset.plane);
    const plane = facts.planes[p];
    const typed = desk.job.rotor.planes[p];
    if (!plane || !typed) { place.replaceChildren(); continue; }
    const blades = facts.blades && typed.slots && facts.blades.seen_from === typed.slots.seen_from ? facts.blades.blades : null;
    const settled = typed.slots && typed.slots.count && typed.slots.numbered && typed.slots.seen_from && desk.job.rotor.rotation?.sense;
    const parts = [ring(plane, {chosen: 2, blades}), planeCaption(plane, facts)];
    const key = JSON.stringify([typed.name, typed.slots]);
    if (typed.slots && plane.slots.length > 1) {
      parts.push(settled
        ? desk.job.settled?.[key] ? make("p", {class: "note"}, "✓ You said that slot 2 is where it is drawn.")
          : make("div", {class: "question"}, make("p", {}, make("b", {}, "Is slot 2 here?"), ` Slot 2 is drawn ${plane.numbers_grow} of slot 1, ${plane.seen.replace(/^As /, "")}. Look at the rotor.`),
            make("p", {class: "buttons"}, button("Yes, it is", () => { change((job) => { (job.settled ??= {})[key] = true; }); drawRotor(); }), button("No, on the other side", () => { change((job) => { const slots = job.rotor.planes[p].slots; slots.numbered = slots.numbered === "clockwise" ? "counterclockwise" : "clockwise"; }); show(); })))
        : make("p", {class: "note"}, "What is not answered yet is drawn as an example."));
    }
    place.replaceChildren(...parts);
  }
};
const addPlane = (plane) => { change((job) => { job.rotor.planes.push(plane); }); show(); focusCell(`rotor:planes[${desk.job.rotor.planes.length - 1}].name`); };
const addSensor = (sensor) => { change((job) => { job.rotor.sensors.push(sensor); }); show(); focusCell(`rotor:sensors[${desk.job.rotor.sensors.length - 1}].name`); };
/** What a rotor file that was begun for somebody lists as assumed. */
const confirmPart = () => (desk.job.rotor.to_confirm === undefined ? null : make("div", {class: "question"},
  make("p", {}, make("b", {}, "Assumed, still to be confirmed on the rotor: "), [].concat(desk.job.rotor.to_confirm).join(", "), "."),
  make("p", {class: "buttons"}, button("All of it is as it stands here", () => { change((job) => { delete job.rotor.to_confirm; }); show(); }))));
/** The speeds at which every run is read, named once: each run's readings then have a row for each. */
const speedsPart = () => {
  const {units} = desk.job;
  const listed = () => desk.job.job.speeds ?? [];
  const remove = (n) => { change((job) => { speedSet(job, job.job.speeds[n]?.at, ""); job.job.speeds.splice(n, 1); if (job.job.speeds.length === 0) delete job.job.speeds; }); show(); };
  const row = (n) => make("tr", {}, make("td", {}, field({label: `Set speed ${n + 1}`, root: "job", path: `speeds[${n}].at`, kind: "quantity", unit: units.speed, bare: true, also: (job, was, now) => speedSet(job, was, now)})),
    make("td", {}, field({label: `Name of set speed ${n + 1}`, root: "job", path: `speeds[${n}].name`, bare: true, hint: n === 0 ? "idle" : ""})),
    make("td", {}, button("×", () => { if (n < listed().length) remove(n); }, {"aria-label": `Remove set speed ${n + 1}`, class: "slight"})));
  const rows = live(make("tbody", {}), (node) => { while (node.children.length <= listed().length) node.append(row(node.children.length)); });
  const read = desk.job.runs.find((run) => run.rows.some((one) => one.speed));
  return section("Speeds at which each run is read",
    make("p", {class: "note"}, "Type each speed once, and Enter. Every new run then has a row for each of them. Where no other speed is written in a run, this one counts as read."),
    enterGoesOn(make("table", {}, make("thead", {}, make("tr", {}, make("th", {scope: "col"}, `Speed, ${units.speed}`), make("th", {scope: "col"}, "Name, if it has one"), make("td", {}))), rows), () => {}),
    read && listed().length === 0 ? make("p", {class: "buttons"}, button(`Take the speeds of the run “${read.facts.name}”`, () => { change((job) => { job.job.speeds = [...new Set(read.rows.map((one) => one.speed).filter(Boolean))].map((speed) => ({at: withUnit(speed, units.speed)})); }); show(); })) : null);
};
const rotorView = () => [
  confirmPart(),
  conventionsPart(), rotorPart(),
  desk.job.rotor.planes.map((_, p) => planePart(p)),
  make("p", {class: "buttons"}, button("Another plane", () => addPlane(newPlane())), button("Another plane with the same holes and weights", () => addPlane({...copy(desk.job.rotor.planes.at(-1)), name: ""}))),
  desk.job.rotor.sensors.map((_, s) => sensorPart(s)),
  make("p", {class: "buttons"}, button("Another sensor", () => addSensor(newSensor())),
    button("Another sensor with the same unit and limits", () => { const {direction, ...same} = copy(desk.job.rotor.sensors.at(-1)); addSensor({...same, name: ""}); })),
  speedsPart(),
  make("p", {class: "buttons"}, button("Go on to the runs", () => go("runs"), {class: "main"}))];
