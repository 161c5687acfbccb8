/** One plane's drawing: what every slot holds, the moment in the middle, and a weight dragged from slot to slot. */
const slotMap = (data, svg) => {
  const p = Number(svg.dataset.plane);
  const plane = data.planes[p];
  const clockwise = svg.dataset.clockwise === "yes";
  const inner = Number(svg.dataset.inner);
  const slots = new Map();
  svg.querySelectorAll(".slot[data-slot]").forEach((node) => {
    if (!node.classList.contains("unusable")) slots.set(Number(node.dataset.slot), node);
  });
  const quiet = new Set([...slots].filter(([, node]) => node.classList.contains("quiet")).map(([slot]) => slot));
  const drawn = new Map();
  const order = plane.slots.map((one) => one.slot);
  const places = new Map(plane.slots.map((one) => [one.slot, one]));
  const info = (slot) => places.get(slot);
  const disc = svg.querySelector(".disc");
  const readout = svg.querySelector(".readout");

  const setPill = (node, words) => {
    const half = Math.max(12, 4.8 * words.length + 3);
    const rect = node.querySelector("rect");
    rect.setAttribute("x", -half);
    rect.setAttribute("width", 2 * half);
    node.querySelector(".strike").setAttribute("d", `M${-half},8L${half},-8`);
    node.querySelector("text").textContent = words;
  };

  const stateOf = (now, then) => {
    if (arithmetic.samePiece(now, then)) return now === undefined ? "empty" : "stays";
    if (now === undefined) return "fits";
    return then === undefined ? "removed" : "swaps";
  };

  const drawSlot = (slot, now, then, {picked, carried, refused}) => {
    const state = stateOf(now, then);
    const key = `${state} ${typeof then === "object" ? then.moment_g_mm : then} ${picked} ${carried} ${refused}`;
    if (drawn.get(slot) === key) return;
    drawn.set(slot, key);
    const node = slots.get(slot);
    node.setAttribute("class", `slot ${state}${quiet.has(slot) ? " quiet" : ""}${picked || carried ? " chosen" : ""}${refused ? " refused" : ""}`);
    setPill(node.querySelector(".holds"), wording.mark(plane, then === undefined ? now : then));
    const seen = [then, state === "removed" || state === "swaps" ? now : undefined].map((piece) => wording.mark(plane, piece));
    const was = state === "stays" || state === "empty" ? "" : `, fitted now: ${wording.content(plane, now)}`;
    node.setAttribute("aria-label", `Slot ${[slot, ...seen].filter((part) => part !== "").join(" ")}, ${wording.place(info(slot))}: ` +
      `${wording.content(plane, then)}${was}${carried ? ", being moved" : ""}${refused ? ", not allowed" : ""}`);
  };

  const drawMoment = (held) => {
    const planned = disc && disc.querySelector(".planned");
    if (!planned) return;
    const moment = arithmetic.totalMoment(plane, held);
    if (drawn.get("moment") === String(moment)) return;  // what stays the same is not laid out anew
    drawn.set("moment", String(moment));
    const r = Math.min(Number(disc.dataset.perGMm) * Math.hypot(...moment), inner - 4);
    const turn = Math.atan2(moment[1], moment[0]);
    const [x, y] = [220 + (clockwise ? r : -r) * Math.sin(turn), 220 - r * Math.cos(turn)];
    const line = planned.querySelector("line");
    line.setAttribute("x2", x.toFixed(1));
    line.setAttribute("y2", y.toFixed(1));
    planned.querySelector(".at").setAttribute("transform", `translate(${x.toFixed(1)} ${y.toFixed(1)})`);
    const words = svg.parentElement.querySelector(".moments .planned .amount");
    if (words) words.textContent = wording.moment(moment);
  };

  const rove = (slot) => slots.forEach((node, one) => node.setAttribute("tabindex", one === slot ? "0" : "-1"));
  const focus = (slot) => { rove(slot); slots.get(slot).focus({preventScroll: true}); };

  /** The usable slot whose share of the ring is under a point: by its angle, so that a finger need not be exact. */
  const slotAt = (event) => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    const [x, y] = [(point.x - 220) * (clockwise ? 1 : -1), 220 - point.y];
    const from = Math.hypot(x, y);
    if (from < inner || from > 250) return null;
    const angle = (Math.atan2(x, y) * 180) / Math.PI;
    const off = (one) => Math.abs(((one.angle_deg - angle + 540) % 360 + 360) % 360 - 180);
    return plane.slots.reduce((best, one) => (off(one) < off(best) ? one : best)).slot;
  };

  /** `acts`: holds(slot), tap(slot), drop(from, to), busy(). A finger on a weight drags it; elsewhere it scrolls the page. */
  const listen = (acts) => {
    let drag = null;
    const mark = (slot) => {
      if (drag.goal === slot) return;
      if (drag.goal !== null) slots.get(drag.goal).classList.remove("goal");
      if (slot !== null) slots.get(slot).classList.add("goal");
      drag.goal = slot;
      readout.textContent = slot === null ? "–" : `${drag.slot} → ${slot}`;
    };
    const end = () => {
      if (!drag) return;
      if (drag.ghost) { mark(null); drag.ghost.remove(); svg.classList.remove("dragging"); }
      drag = null;
    };
    svg.addEventListener("touchstart", (event) => {
      const slot = event.touches.length === 1 ? slotAt(event.touches[0]) : null;
      if (slot !== null && !acts.busy() && acts.holds(slot) !== undefined) event.preventDefault();  // else the browser takes the finger to scroll
    }, {passive: false});
    svg.addEventListener("pointerdown", (event) => {
      const slot = slotAt(event);
      end();
      if (slot === null || event.button !== 0 || !event.isPrimary || acts.busy() || acts.holds(slot) === undefined) return;
      drag = {slot, x: event.clientX, y: event.clientY, ghost: null, goal: null, touch: event.pointerType === "touch"};
    });
    svg.addEventListener("pointermove", (event) => {
      if (!drag || !event.isPrimary) return;
      if (!drag.ghost) {
        if (Math.hypot(event.clientX - drag.x, event.clientY - drag.y) < 8) return;
        svg.setPointerCapture(event.pointerId);
        drag.ghost = slots.get(drag.slot).querySelector(".holds").cloneNode(true);
        drag.ghost.setAttribute("class", "ghost");
        svg.append(drag.ghost);
        svg.classList.add("dragging");
      }
      const at = new DOMPoint(event.clientX, event.clientY - (drag.touch ? 36 : 0)).matrixTransform(svg.getScreenCTM().inverse());
      drag.ghost.setAttribute("transform", `translate(${at.x.toFixed(1)} ${at.y.toFixed(1)}) scale(1.3)`);
      mark(slotAt(event));
    });
    svg.addEventListener("pointerup", (event) => {
      if (!drag || !event.isPrimary) return;
      const {ghost, slot, goal, touch} = drag;
      end();
      if (ghost) {
        svg.justDragged = true;
        setTimeout(() => { svg.justDragged = false; }, 0);
        if (goal !== null && goal !== slot) acts.drop(slot, goal);
      } else if (touch) {  // its click was held back together with the scrolling
        acts.tap(slot);
      }
    });
    svg.addEventListener("pointercancel", end);
    svg.addEventListener("click", (event) => {
      const slot = slotAt(event);
      if (!svg.justDragged && slot !== null) acts.tap(slot);
    });
  };

  if (slots.size > 0) {
    svg.setAttribute("role", "group");
    slots.forEach((node) => node.setAttribute("role", "button"));
    rove(order[0]);
  }
  return {p, plane, svg, slots, order, info, stateOf, drawSlot, drawMoment, focus, rove, listen,
    tray: document.querySelector(`.tray[data-plane="${p}"]`)};
};
