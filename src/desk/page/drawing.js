/** A plane as a person at its end sees it, from the library's own places. `held` tells what a slot holds, `tap` is told the slot. */
const ring = (plane, {held = () => "", chosen = null, tap = null, changed = () => false, blades = null} = {}) => {
  const size = 340;
  const radius = plane.slots.length > 0 ? 118 : 100;
  const many = plane.slots.length > 28;
  const spot = (one, r) => ({x: one.x * r, y: one.y * r});
  const svg = make("svg", {viewBox: `${-size / 2} ${-size / 2} ${size} ${size}`, class: "ring", "aria-hidden": "true", focusable: "false"});
  svg.append(make("circle", {class: "disc", r: radius - 46}), make("circle", {class: "rim", r: radius}));
  for (const one of blades ?? []) { const a = spot(one, radius + 44); const b = spot(one, radius + 34); svg.append(make("line", {class: "blade", x1: a.x, y1: a.y, x2: b.x, y2: b.y})); }
  svg.append(make("path", {class: "tooth", d: `M-9,${-(radius - 46)}L0,${-(radius - 30)}L9,${-(radius - 46)}Z`}));
  const turn = plane.clockwise ? 1 : -1;
  svg.append(make("path", {class: "turning", d: `M${-34 * turn},-12A36,36 0 0 ${plane.clockwise ? 1 : 0} ${34 * turn},-12`}), make("path", {class: "arrowhead", d: `M${34 * turn},${-1}l${-11 * turn},-6l${13 * turn},-7Z`}));
  svg.append(make("text", {class: "turns", y: 16}, "turns"), make("text", {class: "turns", y: 32}, plane.turns));
  const pitch = plane.slots.length > 1 ? 2 * Math.PI * radius / plane.slots.length : 60;
  for (const one of plane.slots) {
    const content = held(one.slot);
    const at0 = spot(one, radius);
    const number = spot(one, radius + (many ? 17 : 20));
    const inside = spot(one, radius - (many && one.slot % 2 === 0 ? 38 : 26));
    const r = Math.max(4, Math.min(11, pitch / 2 - 2));
    const group = make("g", {class: ["slot", one.usable ? "" : "unusable", content ? "holds" : "", chosen === one.slot ? "chosen" : "", changed(one.slot) ? "changed" : ""].join(" ")});
    group.append(make("circle", {cx: at0.x, cy: at0.y, r}));
    if (!one.usable) group.append(make("path", {class: "cross", d: `M${at0.x - 4},${at0.y - 4}l8,8m0,-8l-8,8`}));
    if (!many || one.slot === 1 || one.slot % 5 === 0 || content || chosen === one.slot || one.slot === 2) group.append(make("text", {class: "number", x: number.x, y: number.y + 4}, String(one.slot)));
    if (content) group.append(make("text", {class: "held", x: inside.x, y: inside.y + 4}, content));
    if (tap && one.usable) {
      const angle = Math.atan2(one.y, one.x);
      const half = Math.PI / plane.slots.length;
      const corner = (r0, a) => `${(r0 * Math.cos(a)).toFixed(1)},${(r0 * Math.sin(a)).toFixed(1)}`;
      group.append(make("path", {class: "hit", d: `M${corner(radius - 40, angle - half)}L${corner(radius + 40, angle - half)}L${corner(radius + 40, angle + half)}L${corner(radius - 40, angle + half)}Z`, onclick: () => tap(one.slot)}));
    }
    svg.append(group);
  }
  return svg;
};
const planeCaption = (plane, facts) => make("p", {class: "seen"}, `${plane.seen}. It turns ${plane.turns}; the ${facts.zero} is at the top.`);
