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
      `${said}${own ? "Your own choice" : "The plan"}: ${wording.levels(rows, data.not_predicted)}; largest / limit ${worst.toFixed(3)}; ` +
      `${different.length} slot${different.length === 1 ? "" : "s"} changed.${refused.length > 0 ? ` NOT ALLOWED: ${refused.join("; ")}.` : ""}`;
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

{
  const data = JSON.parse(document.getElementById("page-data").textContent);
  const page = tryOut(data);
  window.balancePage = {data, arithmetic, ...page};
  const dark = document.getElementById("dark");
  const isDark = () => window.matchMedia(dark.media).matches;
  document.getElementById("theme").addEventListener("click", () => { dark.media = isDark() ? "not all" : "screen"; });
  document.getElementById("print").addEventListener("click", () => window.print());
  document.getElementById("tools").hidden = false;
}
