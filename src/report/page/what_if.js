const make = (name, properties = {}, ...children) => {
  const node = Object.assign(document.createElement(name), properties);
  node.append(...children);
  return node;
};

/** What one slot holds: its neighbours on the ring, and what it may hold. `page`: the acts and the state of `tryOut`. */
const fillTray = (data, map, slot, page) => {
  const {p, plane, tray, order} = map;
  const choice = page.choice();
  const holds = choice[p][slot];
  const focused = tray.contains(document.activeElement) ? document.activeElement.dataset.key : null;
  const button = (key, act, disabled, ...words) => {
    const node = make("button", {type: "button", disabled}, ...words);
    node.dataset.key = key;
    node.addEventListener("click", act);
    return node;
  };

  const at = order.indexOf(slot);
  const near = Math.min(3, Math.floor((order.length - 1) / 2));
  const strip = make("div", {className: "strip"});
  strip.setAttribute("role", "group");
  strip.setAttribute("aria-label", "Slots beside it");
  for (let step = -near; step <= near; ++step) {
    const other = order[(at + step + order.length) % order.length];
    const piece = choice[p][other];
    const node = button(`beside${step}`, () => page.tap(map, other), false,
      make("b", {textContent: other}), make("small", {textContent: wording.content(plane, piece)}));
    node.className = map.stateOf(page.fittedNow[p][other], piece) + (Math.abs(step) === 3 ? " far" : "");
    if (step === 0) node.setAttribute("aria-current", "true");
    strip.append(node);
  }

  /** Pieces that are at hand: the filler, the catalogue, and others that are fitted in the plane. */
  const others = [...Object.values(page.fittedNow[p]), holds].filter((piece) => typeof piece === "object");
  const pieces = [undefined, ...plane.weights.map((weight) => weight.id),
    ...others.filter((piece, i) => others.findIndex((one) => arithmetic.samePiece(one, piece)) === i)];
  const option = (piece, i) => {
    const here = arithmetic.samePiece(piece, holds);
    const weight = typeof piece === "string" ? plane.weights.find((one) => one.id === piece) : null;
    const free = weight ? arithmetic.stockLeft(plane, choice[p], weight) : Infinity;
    const barred = !here && !arithmetic.allowedIn(data, plane, slot, piece);
    const gone = !here && free < 1;
    const broken = here || barred || gone ? [] : arithmetic.refusals(data, arithmetic.filled(choice, p, slot, piece));
    const name = piece === undefined ? (plane.filler_g_mm > 0 ? "Filler" : "Nothing (open)")
      : weight && weight.mark !== weight.id ? `${weight.mark}: ${weight.id}` : wording.content(plane, piece);
    const about = weight ? [weight.words || `${Number(weight.moment_g_mm.toPrecision(4))} g mm`] : [];
    if (weight && free !== Infinity) about.push(free < 1 ? `none left of ${weight.stock ?? "the stock"}` : weight.stock === null ? `${free} left` : `${free} left of ${weight.stock}`);
    if (barred) about.push("✕ not allowed in this slot");
    if (broken.length > 0) about.push(`✕ not allowed: ${broken[0].replace(`${plane.name}: `, "")}`);
    const input = make("input", {type: "radio", name: `holds-${p}`, checked: here, disabled: barred || gone});
    input.dataset.key = `option-${i}`;
    input.addEventListener("change", () => page.take(arithmetic.filled(choice, p, slot, piece), `${plane.name} slot ${slot}: ${name}. `));
    return make("label", {className: barred || gone || broken.length > 0 ? "refused" : ""}, input,
      make("span", {}, make("b", {textContent: name}), make("small", {textContent: about.join(", ")})));
  };

  tray.replaceChildren(
    make("h4", {textContent: `${plane.name}, slot ${slot}`}, make("small", {textContent: wording.place(map.info(slot))})),
    strip,
    make("fieldset", {}, make("legend", {textContent: "It holds"}), ...pieces.map(option)),
    make("p", {className: "buttons"},
      button("carry", () => page.carry(map, slot), holds === undefined, "Move it to another slot"),
      button("close", () => page.close(), false, "Close")));
  if (focused) (tray.querySelector(`[data-key="${focused}"]:not(:disabled)`) || tray.querySelector(":checked")).focus({preventScroll: true});
};

/** What if: the slot maps take weights, the levels follow. `kept`: what was tried out before the page was closed. */
const tryOut = (data, kept) => {
  const planned = arithmetic.choiceOf(data, "planned");
  const fittedNow = arithmetic.choiceOf(data, "fitted_now");
  const byId = (id) => document.getElementById(id);
  const drawLevels = levelDrawing(data);
  const maps = [...document.querySelectorAll("#slots svg.map[data-plane]")].map((svg) => slotMap(data, svg));
  let choice = kept.choice(data) || planned;
  let past = [];
  let future = [];
  let picked = null;    // {map, slot}: the tray is open for it
  let carrying = null;  // {map, slot}: its content is being moved
  const at = (state, map, slot) => state !== null && state.map === map && state.slot === slot;

  const changeWords = (change) => {
    const plane = data.planes[change.plane];
    return `${plane.name} slot ${change.slot}, ${wording.place(maps[change.plane].info(change.slot))}: ` +
      `${wording.content(plane, change.remove)} out, ${wording.content(plane, change.fit)} in`;
  };

  const drawMap = (map, refused) => {
    const broken = refused.length > 0 && refused.some((reason) => reason.startsWith(`${map.plane.name}: `));
    map.slots.forEach((_, slot) => {
      const [now, then] = [fittedNow[map.p][slot], choice[map.p][slot]];
      map.drawSlot(slot, now, then, {picked: at(picked, map, slot), carried: at(carrying, map, slot),
        refused: broken && !arithmetic.samePiece(now, then)});
    });
    map.drawMoment(choice[map.p]);
  };

  const render = (said = "") => {
    const rows = arithmetic.predict(data, choice);
    const own = arithmetic.changes(data, planned, choice).length > 0;
    rows.forEach((row) => { row.own = own; });
    const different = arithmetic.changes(data, fittedNow, choice);
    const refused = arithmetic.refusals(data, choice);
    drawLevels(rows);
    maps.forEach((map) => drawMap(map, refused));
    document.body.classList.toggle("own-choice", own);
    document.body.classList.toggle("working", own || picked !== null || carrying !== null);
    document.documentElement.classList.toggle("working-page", document.body.classList.contains("working"));
    const bar = byId("tryout");
    bar.classList.toggle("refused", refused.length > 0);
    const count = `${different.length} slot${different.length === 1 ? "" : "s"} changed`;
    byId("tryout-words").textContent = refused.length > 0
      ? `${said}✕ NOT ALLOWED, cannot be saved: ${refused.join("; ")}.`
      : own ? `${said}Your own choice: ${wording.levels(rows, data.not_predicted)}; ${count}.`
      : `${said}${document.querySelector(".level.judged") ? "What was fitted" : "The plan"} is shown. Tap a slot or drag a weight to try out your own choice.`;
    byId("undo").disabled = past.length === 0;
    byId("redo").disabled = future.length === 0;
    byId("reset").disabled = !own;
    byId("as-fitted").disabled = different.length === 0;
    byId("save").disabled = refused.length > 0;
    byId("own").hidden = !own;
    if (own) byId("own-changes").replaceChildren(...different.map((change) => make("li", {textContent: changeWords(change)})));
    if (picked) fillTray(data, picked.map, picked.slot, page);
    kept.keep(own ? choice : null);
  };

  const take = (next, said = "") => {
    if (arithmetic.changes(data, choice, next).length === 0) return;
    past.push(choice);
    future = [];
    choice = next;
    render(said);
  };

  const close = () => {
    const was = picked;
    picked = null;
    if (was) was.map.tray.replaceChildren();
    return was;
  };
  const closeAndReturn = () => {
    const was = close();
    render();
    if (was) was.map.focus(was.slot);
  };
  const pick = (map, slot) => {
    if (picked && picked.map !== map) close();
    picked = {map, slot};
    map.rove(slot);
    render();
    map.tray.scrollIntoView({block: "nearest"});
  };
  const carry = (map, slot) => {
    if (choice[map.p][slot] === undefined) return;
    close();
    carrying = {map, slot};
    render(`Moving ${wording.content(map.plane, choice[map.p][slot])} from slot ${slot}: choose the slot it goes to, or Escape. `);
    map.focus(slot);
  };
  const move = (map, from, to) => {
    const next = arithmetic.moved(choice, map.p, from, to);
    const allowed = [from, to].every((slot) => arithmetic.allowedIn(data, map.plane, slot, next[map.p][slot]));
    if (allowed) take(next, `Moved from slot ${from} to slot ${to}. `);
    else render(`Nothing moved: a weight may not be in slot ${to}, or what it changes places with not in slot ${from}. `);
  };
  const putDown = (map, slot) => {
    const from = carrying;
    carrying = null;
    if (from.map !== map || from.slot === slot) render("Nothing moved. ");
    else move(map, from.slot, slot);
  };
  const tap = (map, slot) => (carrying ? putDown(map, slot) : pick(map, slot));
  const page = {choice: () => choice, fittedNow, take, tap, carry, close: closeAndReturn};

  const onKey = (map, slot, event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const i = map.order.indexOf(slot);
    const go = (to) => map.focus(map.order[(to + map.order.length) % map.order.length]);
    const open = () => { tap(map, slot); if (picked) map.tray.querySelector(":checked").focus(); };
    const empty = () => take(arithmetic.filled(choice, map.p, slot, undefined), `Slot ${slot} emptied. `);
    const acts = {
      ArrowRight: () => go(i + 1), ArrowDown: () => go(i + 1), ArrowLeft: () => go(i - 1), ArrowUp: () => go(i - 1),
      Home: () => go(0), End: () => go(-1), Enter: open, " ": open,
      m: () => (carrying ? putDown(map, slot) : carry(map, slot)),
      Delete: empty, Backspace: empty,
      Escape: () => { carrying = null; close(); render(); },
    };
    const act = acts[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!act) return;
    event.preventDefault();
    act();
  };

  maps.forEach((map) => {
    map.slots.forEach((node, slot) => node.addEventListener("keydown", (event) => onKey(map, slot, event)));
    if (map.slots.size > 0)
      map.listen({holds: (slot) => choice[map.p][slot], tap: (slot) => tap(map, slot),
        drop: (from, to) => move(map, from, to), busy: () => carrying !== null});
  });

  const save = () => {
    const text = JSON.stringify(arithmetic.fittedDocument(data, choice), null, 2) + "\n";
    const url = URL.createObjectURL(new Blob([text], {type: "application/json"}));
    make("a", {href: url, download: "fitted.json"}).click();
    setTimeout(() => URL.revokeObjectURL(url), 1000);
    render("Saved as fitted.json; trimwright plan --fitted fitted.json makes its plan. ");
  };
  const back = (from, to, said) => { if (from.length > 0) { to.push(choice); choice = from.pop(); render(said); } };
  const undo = () => back(past, future, "Undone. ");
  const redo = () => back(future, past, "Done again. ");
  byId("undo").addEventListener("click", undo);
  byId("redo").addEventListener("click", redo);
  byId("reset").addEventListener("click", () => take(planned, "Back to the plan. "));
  byId("as-fitted").addEventListener("click", () => take(fittedNow, "As fitted now. "));
  byId("save").addEventListener("click", save);
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && picked && picked.map.tray.contains(document.activeElement)) closeAndReturn();
    if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z") return;
    event.preventDefault();
    if (event.shiftKey) redo(); else undo();
  });
  ["tryout", "tryout-help"].forEach((id) => { byId(id).hidden = !maps.some((map) => map.slots.size > 0); });
  render();
  return {take, predicted: () => arithmetic.predict(data, choice), choice: () => choice, planned, fittedNow};
};
