"use strict";

/**
 * The arithmetic of the page: from a choice of weights to what every sensor should read.
 * A choice is a list with one object per plane, {slot: piece}; a piece is a catalogue id or {moment_g_mm: m};
 * slots not named hold their filler. Complex numbers are [real, imaginary]. Amplitudes are peak unless "shown".
 */
const arithmetic = (() => {
  const radians = (degrees) => (degrees * Math.PI) / 180;
  const sum = (a, b) => [a[0] + b[0], a[1] + b[1]];
  const product = (a, b) => [a[0] * b[0] - a[1] * b[1], a[0] * b[1] + a[1] * b[0]];
  const size = (a) => Math.hypot(a[0], a[1]);

  const pieceMoment = (plane, piece) => {
    if (piece === undefined) return plane.filler_g_mm;
    if (typeof piece === "object") return piece.moment_g_mm;
    return plane.weights.find((weight) => weight.id === piece).moment_g_mm;
  };
  const samePiece = (a, b) =>
    a === b || (typeof a === "object" && typeof b === "object" && a.moment_g_mm === b.moment_g_mm);

  /** Moment of everything fitted in a plane: slots, fillers, and pieces in no slot [g mm]. */
  const totalMoment = (plane, held) =>
    plane.slots.reduce((total, slot) => {
      const moment = pieceMoment(plane, held[slot.slot]);
      const angle = radians(slot.angle_deg);
      return sum(total, [moment * Math.cos(angle), moment * Math.sin(angle)]);
    }, plane.free_moment);

  /** Unbalance of the model's planes [g mm]. */
  const unbalance = (data, choice) =>
    data.model_planes.map((p) => sum(totalMoment(data.planes[p], choice[p]), data.planes[p].known_changes));

  /** x = X0 + sum of C U. */
  const response = (row, moments) =>
    moments.reduce((x, moment, p) => sum(x, product(row.coefficients[p], moment)), row.baseline);

  /** One standard deviation of x per real component: the row's regression in (1, U - centre). */
  const deviation = (data, row, moments) => {
    if (row.reading_sd === null) return null;
    const at = [[1, 0], ...moments.map((moment, p) => sum(moment, [-data.centre[p][0], -data.centre[p][1]]))];
    let variance = 0;
    at.forEach((a, i) =>
      at.forEach((b, j) => {
        variance += product(product(a, row.unit_covariance[i][j]), [b[0], -b[1]])[0];
      }));
    return row.reading_sd * Math.sqrt(variance) * data.excess_scatter;
  };

  /** Phase as people see it, in [0, 360). */
  const shownPhase = (data, sensor, x) => {
    const turned = product(x, [sensor.phase_factor[0], -sensor.phase_factor[1]]);
    const lead = (Math.atan2(turned[1], turned[0]) * 180) / Math.PI;
    const phase = (data.phase_convention === "lag" ? -lead : lead) % 360;
    return phase < 0 ? phase + 360 : phase;
  };

  /** What every row of the data should read: shown as the sensors' readings are written. */
  const predict = (data, choice) => {
    const moments = unbalance(data, choice);
    return data.rows.map((row) => {
      const sensor = data.sensors[row.sensor];
      const x = response(row, moments);
      const sd = deviation(data, row, moments);
      return {
        amplitude: size(x) * sensor.shown_per_peak,
        phase: shownPhase(data, sensor, x),
        sd: sd === null ? null : sd * sensor.shown_per_peak,
        differs_by: sd === null ? null : 2 * Math.SQRT2 * Math.hypot(sd, row.reading_sd) * sensor.shown_per_peak,
        limit: row.limit * sensor.shown_per_peak,
        target: row.target === null ? null : row.target * sensor.shown_per_peak,
        ratio: size(x) / row.limit,
      };
    });
  };

  const copyOf = (choice) => choice.map((held) => ({...held}));
  const choiceOf = (data, key) => data.planes.map((plane) => ({...plane[key]}));

  /** Slots whose content differs: [{plane, slot, remove, fit}], undefined for the filler. */
  const changes = (data, from, to) =>
    data.planes.flatMap((plane, p) =>
      plane.slots
        .map((slot) => ({plane: p, slot: slot.slot, remove: from[p][slot.slot], fit: to[p][slot.slot]}))
        .filter((change) => !samePiece(change.remove, change.fit)));

  const used = (held, id) => Object.values(held).filter((piece) => piece === id).length;
  const stockLeft = (plane, held, weight) =>
    weight.stock === null ? Infinity : weight.stock - used(held, weight.id);

  /** Why a choice is not allowed; empty when it is. */
  const refusals = (data, choice) => {
    const now = choiceOf(data, "fitted_now");
    const changed = new Set(changes(data, now, choice).map((change) => change.plane));
    return data.planes.flatMap((plane, p) => {
      if (!changed.has(p)) return [];
      const reasons = [];
      if (!plane.known) reasons.push(`${plane.name}: what its weights do is not known`);
      const total = totalMoment(plane, choice[p]);
      const before = totalMoment(plane, now[p]);
      const added = size(sum(total, [-before[0], -before[1]]));
      if (plane.max_total_g_mm !== null && size(total) > plane.max_total_g_mm * (1 + 1e-12))
        reasons.push(`${plane.name}: total moment ${size(total).toFixed(0)} g mm is above ${plane.max_total_g_mm}`);
      if (plane.max_added_g_mm !== null && added > plane.max_added_g_mm * (1 + 1e-12))
        reasons.push(`${plane.name}: added moment ${added.toFixed(0)} g mm is above ${plane.max_added_g_mm}`);
      for (const weight of plane.weights)
        if (stockLeft(plane, choice[p], weight) < 0) reasons.push(`${plane.name}: more ${weight.id} than in stock`);
      return reasons;
    });
  };

  /** The choice with what two slots of a plane hold exchanged. */
  const moved = (choice, p, from, to) => {
    const next = copyOf(choice);
    const [a, b] = [next[p][from], next[p][to]];
    delete next[p][from];
    delete next[p][to];
    if (a !== undefined) next[p][to] = a;
    if (b !== undefined) next[p][from] = b;
    return next;
  };

  const filled = (choice, p, slot, piece) => {
    const next = copyOf(choice);
    delete next[p][slot];
    if (piece !== undefined) next[p][slot] = piece;
    return next;
  };

  /** The document that `trimwright plan --fitted` reads. */
  const fittedDocument = (data, choice) => {
    const document = {trimwright: "fitted 1", rotor: data.rotor};
    if (data.serial !== "") document.serial = data.serial;
    document.fitted = {};
    data.planes.forEach((plane, p) => {
      if (plane.slots.length > 0) document.fitted[plane.name] = choice[p];
    });
    return document;
  };

  return {predict, changes, refusals, moved, filled, stockLeft, samePiece, choiceOf, fittedDocument};
})();

/** Words and numbers as the program writes them. */
const wording = {
  amplitude(shown) {
    if (shown === 0) return "0";
    const whole = Math.floor(Math.log10(Math.abs(shown))) + 1;
    return shown.toFixed(Math.min(4, Math.max(0, 3 - whole)));
  },
  reading(row) {
    return `${wording.amplitude(row.amplitude)} ∠ ${Math.round(row.phase) % 360}°`;
  },
  level(row) {
    if (row.amplitude > row.limit) return "✕ ABOVE LIMIT";
    if (row.target === null) return "✓ below limit";
    return row.amplitude > row.target ? "▲ above target" : "✓ below target";
  },
  levels(rows) {
    const overLimit = rows.filter((row) => row.amplitude > row.limit).length;
    const overTarget = rows.filter((row) => row.amplitude <= row.limit && row.target !== null && row.amplitude > row.target).length;
    if (overLimit > 0) return `✕ ${overLimit} of ${rows.length} ABOVE THEIR LIMIT`;
    if (overTarget > 0) return `▲ all below limit, ${overTarget} of ${rows.length} above target`;
    return `✓ all ${rows.length} below limit and target`;
  },
  content(plane, piece) {
    if (piece === undefined) return plane.filler_g_mm > 0 ? "filler" : "open";
    return typeof piece === "object" ? `piece of ${piece.moment_g_mm} g mm` : piece;
  },
  mark(plane, piece) {
    if (piece === undefined) return "";
    if (typeof piece === "object") return piece.moment_g_mm.toFixed(0);
    return plane.weights.find((weight) => weight.id === piece).mark;
  },
  place(slot) {
    return `${slot.angle_deg.toFixed(1)}° with rotation${slot.blades ? `, ${slot.blades}` : ""}`;
  },
};

/** Draws what is expected: table, polar plots, speed plots. */
const levelDrawing = () => {
  const number = (node, name) => Number(node.getAttribute(name));
  const perRow = new Map();
  const of = (node) => {
    const row = Number(node.dataset.row);
    if (!perRow.has(row)) perRow.set(row, []);
    return perRow.get(row);
  };
  const move = (node, x, y) => node.setAttribute("transform", `translate(${x.toFixed(2)} ${y.toFixed(2)})`);

  document.querySelectorAll("#levels tr[data-row]").forEach((tr) => {
    const [after, sd, result] = ["after", "sd", "result"].map((name) => tr.querySelector(`.${name}`));
    of(tr).push((row) => {
      after.textContent = wording.reading(row);
      sd.textContent = row.sd === null ? "?" : wording.amplitude(row.sd);
      result.textContent = wording.level(row);
    });
  });

  document.querySelectorAll("[data-polar]").forEach((plot) => {
    const full = number(plot, "data-full");
    const rim = number(plot, "data-rim");
    const spot = (row) => {
      const r = Math.min((rim * row.amplitude) / full, rim);
      const turn = (row.phase * Math.PI) / 180;
      return [200 + r * Math.sin(turn), 200 - r * Math.cos(turn)];
    };
    plot.querySelectorAll("line.move").forEach((line) => of(line).push((row) => {
      const [x, y] = spot(row);
      line.setAttribute("x2", x.toFixed(2));
      line.setAttribute("y2", y.toFixed(2));
    }));
    plot.querySelectorAll("g.expected").forEach((mark) => {
      const region = mark.querySelector(".region");
      of(mark).push((row) => {
        move(mark, ...spot(row));
        if (region) region.setAttribute("r", ((rim * row.differs_by) / full).toFixed(2));
      });
    });
  });

  const lines = [];
  document.querySelectorAll("[data-amplitude], [data-phase]").forEach((plot) => {
    const isPhase = plot.hasAttribute("data-phase");
    const [low, high, full] = ["data-low", "data-high", "data-full"].map((name) => number(plot, name));
    const height = (value) => low + (high - low) * Math.min(1, Math.max(0, value / full));
    const across = new Map();
    plot.querySelectorAll("g.expected").forEach((mark) => {
      const x = Number(/translate\(([\d.]+)/.exec(mark.getAttribute("transform"))[1]);
      const bar = mark.querySelector(".bar");
      across.set(Number(mark.dataset.row), x);
      of(mark).push((row) => {
        const y = height(isPhase ? row.phase : row.amplitude);
        move(mark, x, y);
        if (!bar || row.differs_by === null) return;
        const half = ((low - high) * row.differs_by) / full;
        bar.setAttribute("d", `M0,${(-half).toFixed(1)}V${Math.min(half, low - y).toFixed(1)}`);
      });
    });
    plot.querySelectorAll(".expected-line").forEach((line) => lines.push((rows) =>
      line.setAttribute("points", line.dataset.rows.split(" ")
        .map((i) => `${across.get(Number(i))},${height(rows[Number(i)].amplitude).toFixed(2)}`).join(" "))));
  });

  return (rows) => {
    rows.forEach((row, i) => (perRow.get(i) || []).forEach((draw) => draw(row)));
    lines.forEach((draw) => draw(rows));
  };
};

/** What if: the slot maps take weights, the levels follow. */
const tryOut = (data) => {
  const planned = arithmetic.choiceOf(data, "planned");
  const fittedNow = arithmetic.choiceOf(data, "fitted_now");
  const byId = (id) => document.getElementById(id);
  const make = (name, properties = {}, ...children) => {
    const node = Object.assign(document.createElement(name), properties);
    node.append(...children);
    return node;
  };
  const drawLevels = levelDrawing();
  let choice = planned;
  let past = [];
  let future = [];
  let picked = null;    // {plane, slot}: the tray is open for it
  let carrying = null;  // {plane, slot}: its content is being moved

  const maps = [...document.querySelectorAll("#weights svg.map[data-plane]")].map((svg) => {
    const p = Number(svg.dataset.plane);
    const slots = new Map();
    svg.querySelectorAll(".slot[data-slot]").forEach((node) => {
      if (!node.classList.contains("unusable")) slots.set(Number(node.dataset.slot), node);
    });
    return {p, svg, slots, plane: data.planes[p], tray: document.querySelector(`.tray[data-plane="${p}"]`), drawn: new Map()};
  });
  const slotInfo = (plane, slot) => plane.slots.find((one) => one.slot === slot);

  const setPill = (node, words) => {
    const half = Math.max(11, 3.6 * words.length + 4);
    const rect = node.querySelector("rect");
    rect.setAttribute("x", -half);
    rect.setAttribute("width", 2 * half);
    node.querySelector(".strike").setAttribute("d", `M${-half},7L${half},-7`);
    node.querySelector("text").textContent = words;
  };

  const stateOf = (now, then) => {
    if (arithmetic.samePiece(now, then)) return now === undefined ? "empty" : "stays";
    if (now === undefined) return "fits";
    return then === undefined ? "removed" : "swaps";
  };

  const drawSlot = (map, slot) => {
    const [now, then] = [fittedNow[map.p][slot], choice[map.p][slot]];
    const state = stateOf(now, then);
    const isPicked = picked !== null && picked.plane === map.p && picked.slot === slot;
    const isCarried = carrying !== null && carrying.plane === map.p && carrying.slot === slot;
    const key = JSON.stringify([state, then, isPicked, isCarried]);
    if (map.drawn.get(slot) === key) return;
    map.drawn.set(slot, key);
    const node = map.slots.get(slot);
    node.setAttribute("class", `slot ${state}${isPicked || isCarried ? " chosen" : ""}`);
    node.toggleAttribute("draggable-piece", then !== undefined);
    setPill(node.querySelector(".holds"), wording.mark(map.plane, then === undefined ? now : then));
    const seen = [then, state === "removed" || state === "swaps" ? now : undefined].map((piece) => wording.mark(map.plane, piece));
    const was = state === "stays" || state === "empty" ? "" : `, fitted now: ${wording.content(map.plane, now)}`;
    node.setAttribute("aria-label", `Slot ${[slot, ...seen].filter((part) => part !== "").join(" ")}, ${wording.place(slotInfo(map.plane, slot))}: ` +
      `${wording.content(map.plane, then)}${was}${isCarried ? ", being moved" : ""}`);
  };

  const planeWords = (change) => {
    const plane = data.planes[change.plane];
    return `${plane.name} slot ${change.slot}, ${wording.place(slotInfo(plane, change.slot))}: ` +
      `${wording.content(plane, change.remove)} out, ${wording.content(plane, change.fit)} in`;
  };

  const render = (said = "") => {
    const rows = arithmetic.predict(data, choice);
    drawLevels(rows);
    maps.forEach((map) => map.slots.forEach((node, slot) => drawSlot(map, slot)));
    const own = arithmetic.changes(data, planned, choice).length > 0;
    const different = arithmetic.changes(data, fittedNow, choice);
    const worst = Math.max(...rows.map((row) => row.ratio));
    const refused = arithmetic.refusals(data, choice);
    document.body.classList.toggle("own-choice", own);
    byId("tryout-words").textContent =
      `${said}${own ? "Your own choice" : "The plan"}: ${wording.levels(rows)}; largest / limit ${worst.toFixed(3)}; ` +
      `${different.length} slots changed.${refused.length > 0 ? ` NOT ALLOWED: ${refused.join("; ")}.` : ""}`;
    byId("undo").disabled = past.length === 0;
    byId("redo").disabled = future.length === 0;
    byId("reset").disabled = !own;
    byId("as-fitted").disabled = different.length === 0;
    byId("own").hidden = !own;
    if (own) byId("own-changes").replaceChildren(...different.map((change) => make("li", {textContent: planeWords(change)})));
    return rows;
  };

  const take = (next, said = "") => {
    if (arithmetic.changes(data, choice, next).length === 0) return;
    past.push(choice);
    future = [];
    choice = next;
    refresh(said);
  };
  const refresh = (said = "") => {
    render(said);
    if (picked) fillTray();
  };

  const mapOf = (p) => maps.find((map) => map.p === p);

  /** Pieces a slot may hold: filler, catalogue, and other pieces that are fitted in the plane now. */
  const optionsFor = (plane, p, holds) => {
    const others = [...Object.values(fittedNow[p]), holds].filter((piece) => typeof piece === "object");
    const distinct = others.filter((piece, i) => others.findIndex((one) => arithmetic.samePiece(one, piece)) === i);
    return [undefined, ...plane.weights.map((weight) => weight.id), ...distinct];
  };

  const optionWords = (plane, p, piece, holds) => {
    if (piece === undefined) return {words: plane.filler_g_mm > 0 ? "Filler" : "Nothing (open)", left: 1};
    if (typeof piece === "object") return {words: wording.content(plane, piece), left: 1};
    const weight = plane.weights.find((one) => one.id === piece);
    const left = arithmetic.stockLeft(plane, choice[p], weight);
    const mark = weight.mark === weight.id ? "" : `${weight.mark}: `;
    const stock = left === Infinity ? "" : `, ${left} left`;
    return {words: `${mark}${weight.id}, ${weight.words || `${Number(weight.moment_g_mm.toPrecision(4))} g mm`}${stock}`, left: holds === piece ? 1 : left};
  };

  const fillTray = () => {
    const map = mapOf(picked.plane);
    const {p, plane, tray} = map;
    const slot = picked.slot;
    const holds = choice[p][slot];
    const focused = tray.contains(document.activeElement) ? document.activeElement.dataset.key : null;
    const radios = optionsFor(plane, p, holds).map((piece, i) => {
      const {words, left} = optionWords(plane, p, piece, holds);
      const input = make("input", {type: "radio", name: `holds-${p}`, checked: arithmetic.samePiece(piece, holds), disabled: left < 1});
      input.dataset.key = `option-${i}`;
      input.addEventListener("change", () => take(arithmetic.filled(choice, p, slot, piece), `Slot ${slot}: ${words}. `));
      return make("label", {className: left < 1 ? "none-left" : ""}, input, left < 1 ? `${words} (none left)` : words);
    });
    const button = (key, words, act, disabled = false) => {
      const node = make("button", {type: "button", textContent: words, disabled});
      node.dataset.key = key;
      node.addEventListener("click", act);
      return node;
    };
    const order = plane.slots.map((one) => one.slot);
    const at = order.indexOf(slot);
    const beside = (step) => order[(at + step + order.length) % order.length];
    tray.replaceChildren(
      make("h4", {textContent: `${plane.name}, slot ${slot}: ${wording.place(slotInfo(plane, slot))}`}),
      make("fieldset", {}, make("legend", {textContent: "It holds"}), ...radios),
      make("p", {className: "buttons"},
        button("before", `Slot ${beside(-1)}`, () => pick(p, beside(-1))),
        button("after", `Slot ${beside(1)}`, () => pick(p, beside(1))),
        button("carry", "Move it to another slot", () => carry(p, slot), holds === undefined),
        button("close", "Close", () => { const from = picked; unpick(); focusSlot(from.plane, from.slot); })));
    if (focused) (tray.querySelector(`[data-key="${focused}"]:not(:disabled)`) || tray.querySelector(":checked")).focus();
  };

  const pick = (p, slot, intoTray = false) => {
    if (picked && picked.plane !== p) mapOf(picked.plane).tray.replaceChildren();
    picked = {plane: p, slot};
    rove(mapOf(p), slot);
    maps.forEach((map) => map.slots.forEach((node, one) => drawSlot(map, one)));
    fillTray();
    mapOf(p).tray.scrollIntoView({block: "nearest"});
    if (intoTray) mapOf(p).tray.querySelector(":checked").focus();
  };
  const unpick = () => {
    if (!picked) return;
    const map = mapOf(picked.plane);
    picked = null;
    map.tray.replaceChildren();
    map.slots.forEach((node, one) => drawSlot(map, one));
  };

  const carry = (p, slot) => {
    if (choice[p][slot] === undefined) return;
    unpick();
    carrying = {plane: p, slot};
    render(`Moving ${wording.content(data.planes[p], choice[p][slot])} from slot ${slot}: choose the slot it goes to, or Escape. `);
    focusSlot(p, slot);
  };
  const putDown = (p, slot) => {
    const from = carrying;
    carrying = null;
    if (from.plane !== p || from.slot === slot) { render("Nothing moved. "); return; }
    take(arithmetic.moved(choice, p, from.slot, slot), `Moved from slot ${from.slot} to slot ${slot}. `);
  };

  const rove = (map, slot) => map.slots.forEach((node, one) => node.setAttribute("tabindex", one === slot ? "0" : "-1"));
  const focusSlot = (p, slot) => {
    rove(mapOf(p), slot);
    mapOf(p).slots.get(slot).focus();
  };

  const onKey = (map, slot, event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const order = map.plane.slots.map((one) => one.slot);
    const at = order.indexOf(slot);
    const go = (i) => focusSlot(map.p, order[(i + order.length) % order.length]);
    const acts = {
      ArrowRight: () => go(at + 1),
      ArrowDown: () => go(at + 1),
      ArrowLeft: () => go(at - 1),
      ArrowUp: () => go(at - 1),
      Home: () => go(0),
      End: () => go(order.length - 1),
      Enter: () => (carrying ? putDown(map.p, slot) : pick(map.p, slot, true)),
      " ": () => (carrying ? putDown(map.p, slot) : pick(map.p, slot, true)),
      m: () => (carrying ? putDown(map.p, slot) : carry(map.p, slot)),
      Delete: () => take(arithmetic.filled(choice, map.p, slot, undefined), `Slot ${slot} emptied. `),
      Backspace: () => take(arithmetic.filled(choice, map.p, slot, undefined), `Slot ${slot} emptied. `),
      Escape: () => { carrying = null; unpick(); render(); },
    };
    const act = acts[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!act) return;
    event.preventDefault();
    act();
  };

  const dragging = (map) => {
    let drag = null;
    const inMap = (event) => {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(map.svg.getScreenCTM().inverse());
      return `translate(${point.x.toFixed(1)} ${point.y.toFixed(1)})`;
    };
    const under = (event) => {
      const node = document.elementFromPoint(event.clientX, event.clientY)?.closest(".slot[role=button]");
      return node && map.svg.contains(node) ? node : null;
    };
    const mark = (node) => {
      if (drag.goal === node) return;
      drag.goal?.classList.remove("goal");
      node?.classList.add("goal");
      drag.goal = node;
    };
    const end = () => {
      drag?.ghost?.remove();
      drag?.goal?.classList.remove("goal");
      drag = null;
    };
    map.svg.addEventListener("pointerdown", (event) => {
      const node = event.target.closest(".slot[role=button]");
      const slot = node && Number(node.dataset.slot);
      if (!node || event.button !== 0 || carrying || choice[map.p][slot] === undefined) return;
      drag = {slot, node, x: event.clientX, y: event.clientY, ghost: null, goal: null};
    });
    map.svg.addEventListener("pointermove", (event) => {
      if (!drag) return;
      if (!drag.ghost) {
        if (Math.hypot(event.clientX - drag.x, event.clientY - drag.y) < 8) return;
        map.svg.setPointerCapture(event.pointerId);
        drag.ghost = drag.node.querySelector(".holds").cloneNode(true);
        drag.ghost.setAttribute("class", "ghost");
        map.svg.append(drag.ghost);
      }
      drag.ghost.setAttribute("transform", inMap(event));
      mark(under(event));
    });
    map.svg.addEventListener("pointerup", (event) => {
      if (!drag) return;
      const {ghost, slot} = drag;
      const goal = ghost && under(event);
      end();
      if (!ghost) return;
      map.justDragged = true;
      setTimeout(() => { map.justDragged = false; }, 0);
      if (goal && Number(goal.dataset.slot) !== slot) {
        const to = Number(goal.dataset.slot);
        take(arithmetic.moved(choice, map.p, slot, to), `Moved from slot ${slot} to slot ${to}. `);
      }
    });
    map.svg.addEventListener("pointercancel", end);
  };

  maps.forEach((map) => {
    if (map.slots.size === 0) return;
    map.svg.setAttribute("role", "group");
    map.slots.forEach((node, slot) => {
      node.setAttribute("role", "button");
      node.addEventListener("keydown", (event) => onKey(map, slot, event));
      node.addEventListener("click", () => {
        if (map.justDragged) return;
        if (carrying) putDown(map.p, slot);
        else pick(map.p, slot);
      });
    });
    rove(map, map.plane.slots[0].slot);
    dragging(map);
  });

  const save = () => {
    const refused = arithmetic.refusals(data, choice);
    if (refused.length > 0) { render("Not saved. "); return; }
    const text = JSON.stringify(arithmetic.fittedDocument(data, choice), null, 2) + "\n";
    const url = URL.createObjectURL(new Blob([text], {type: "application/json"}));
    const link = make("a", {href: url, download: "fitted.json"});
    link.click();
    setTimeout(() => URL.revokeObjectURL(url), 1000);
    render("Saved as fitted.json; trimwright plan --fitted fitted.json makes its plan. ");
  };
  const undo = () => { if (past.length > 0) { future.push(choice); choice = past.pop(); refresh("Undone. "); } };
  const redo = () => { if (future.length > 0) { past.push(choice); choice = future.pop(); refresh("Done again. "); } };
  byId("undo").addEventListener("click", undo);
  byId("redo").addEventListener("click", redo);
  byId("reset").addEventListener("click", () => take(planned, "Back to the plan. "));
  byId("as-fitted").addEventListener("click", () => take(fittedNow, "As fitted now. "));
  byId("save").addEventListener("click", save);
  byId("weights").addEventListener("keydown", (event) => {
    if (event.key === "Escape" && picked) {
      const from = picked;
      unpick();
      focusSlot(from.plane, from.slot);
    }
    if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z") return;
    event.preventDefault();
    if (event.shiftKey) redo(); else undo();
  });
  ["tryout", "tryout-help"].forEach((id) => { byId(id).hidden = !maps.some((map) => map.slots.size > 0); });
  render();
  return {take, predicted: () => arithmetic.predict(data, choice), choice: () => choice, planned, fittedNow};
};

if (typeof module !== "undefined") module.exports = arithmetic;
if (typeof document !== "undefined") {
  const data = JSON.parse(document.getElementById("page-data").textContent);
  const page = tryOut(data);
  window.balancePage = {data, arithmetic, ...page};
  const dark = document.getElementById("dark");
  const isDark = () => window.matchMedia(dark.media).matches;
  document.getElementById("theme").addEventListener("click", () => { dark.media = isDark() ? "not all" : "screen"; });
  document.getElementById("print").addEventListener("click", () => window.print());
  document.getElementById("tools").hidden = false;
}
