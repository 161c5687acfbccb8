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

  const wordsOf = (piece) => {
    if (piece === undefined) return "its filler alone";
    return typeof piece === "object" ? `${Number(piece.moment_g_mm.toPrecision(4))} g mm` : piece;
  };

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

  /** One standard deviation of x per real component: the row's covariance in (1, U - centre). */
  const deviation = (data, row, moments) => {
    if (row.covariance === null) return null;
    const at = [[1, 0], ...moments.map((moment, p) => sum(moment, [-data.centre[p][0], -data.centre[p][1]]))];
    let variance = 0;
    at.forEach((a, i) =>
      at.forEach((b, j) => {
        variance += product(product(a, row.covariance[i][j]), [b[0], -b[1]])[0];
      }));
    return Math.sqrt(variance);
  };

  /** Variance per real component of x from the tolerances of what is fitted. */
  const fittingVariance = (data, row, choice) =>
    data.model_planes.reduce((total, p, i) => {
      const plane = data.planes[p];
      const squares = Object.values(choice[p]).reduce((all, piece) => all + pieceMoment(plane, piece) ** 2, 0);
      return total + size(row.coefficients[i]) ** 2 * plane.fitting_variance * squares;
    }, 0);

  /** Distance from the expected reading beyond which a reading differs. */
  const differsBy = (data, row, choice, x, sd) =>
    data.differs_factor * Math.sqrt(sd ** 2 + row.noise_variance + (row.proportional * size(x)) ** 2 +
      fittingVariance(data, row, choice));

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
        differs_by: sd === null ? null : differsBy(data, row, choice, x, sd) * sensor.shown_per_peak,
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

  /** Ids of the single weights a piece is made of; a stack shares the stock of its own. */
  const singles = (plane, piece) => {
    const weight = plane.weights.find((one) => one.id === piece);
    if (weight === undefined) return [];
    return weight.stack_of.length > 0 ? weight.stack_of : [weight.id];
  };
  const count = (ids, id) => ids.filter((one) => one === id).length;
  /** How many more of a weight may be taken. */
  const stockLeft = (plane, held, weight) => {
    const used = Object.values(held).flatMap((piece) => singles(plane, piece));
    const own = singles(plane, weight.id);
    return Math.min(...own.map((id) => {
      const stock = plane.weights.find((one) => one.id === id)?.stock ?? null;
      return stock === null ? Infinity : Math.floor((stock - count(used, id)) / count(own, id));
    }));
  };

  /** What the library's judge goes by (data.planes[].rules, data.limits) says of one slot, whatever the others hold. */
  const allowedIn = (data, plane, slot, piece) => {
    if (piece === undefined) return plane.rules.filler_alone;
    const most = plane.rules.max_slot_moment_g_mm;
    if (typeof piece === "object")
      return !plane.rules.masses_needed && (most === null || piece.moment_g_mm <= most * (1 + data.limits.allowance));
    const {slots} = plane.weights.find((weight) => weight.id === piece);
    return slots === null || slots.includes(slot);
  };
  const pieceCount = (plane, piece) => {
    if (piece === undefined) return 0;
    return typeof piece === "object" ? 1 : plane.weights.find((weight) => weight.id === piece).pieces;
  };
  const planePieces = (plane, held) => plane.slots.reduce((count, {slot}) => count + pieceCount(plane, held[slot]), 0);
  const planeMass = (plane, held) =>
    plane.slots.reduce((mass, {slot}) => {
      const weight = plane.weights.find((one) => one.id === held[slot]);
      return mass + (held[slot] === undefined ? plane.rules.filler_mass_g : weight?.mass_g ?? 0);
    }, 0);

  /** Which rules of its plane a choice breaks. */
  const brokenRules = (data, plane, held, now) => {
    const reasons = [];
    const above = (value, most) => most !== null && value > most * (1 + data.limits.allowance);
    plane.slots.filter(({slot}) => !allowedIn(data, plane, slot, held[slot])).forEach(({slot}) =>
      reasons.push(`slot ${slot} may not hold ${wordsOf(held[slot])}`));
    plane.weights.filter((weight) => stockLeft(plane, held, weight) < 0).forEach((weight) =>
      reasons.push(`more ${weight.id} than in stock`));
    const pieces = planePieces(plane, held);
    if (above(pieces, plane.rules.max_pieces)) reasons.push(`${pieces} pieces, and at most ${plane.rules.max_pieces} may be fitted`);
    const mass = planeMass(plane, held);
    if (above(mass, plane.rules.max_mass_g)) reasons.push(`${mass.toPrecision(4)} g, and at most ${plane.rules.max_mass_g} g may be fitted`);
    const pair = (rule, words, keeps) =>
      plane.rules[rule].filter(([a, b]) => !keeps(held[a], held[b])).forEach(([a, b]) => reasons.push(`slots ${a} and ${b} must ${words}`));
    pair("apart", "not both hold weights", (a, b) => a === undefined || b === undefined);
    pair("together", "both hold weights, or neither", (a, b) => (a === undefined) === (b === undefined));
    pair("alike", "hold the same", samePiece);
    const total = totalMoment(plane, held);
    const before = totalMoment(plane, now);
    const added = size(sum(total, [-before[0], -before[1]]));
    if (above(size(total), plane.max_total_g_mm)) reasons.push(`total moment ${size(total).toFixed(0)} g mm is above ${plane.max_total_g_mm}`);
    if (above(added, plane.max_added_g_mm)) reasons.push(`added moment ${added.toFixed(0)} g mm is above ${plane.max_added_g_mm}`);
    return reasons;
  };

  /** Why a choice is not allowed; empty when it is. */
  const refusals = (data, choice) => {
    const now = choiceOf(data, "fitted_now");
    const changed = changes(data, now, choice);
    const planes = new Set(changed.map((change) => change.plane));
    const reasons = data.planes.flatMap((plane, p) => {
      if (!planes.has(p)) return [];
      const broken = brokenRules(data, plane, choice[p], now[p]);
      if (!plane.known) broken.unshift("what its weights do is not known");
      return broken.map((one) => `${plane.name}: ${one}`);
    });
    if (data.limits.fitted_stay)
      changed.filter((change) => change.remove !== undefined).forEach((change) =>
        reasons.push(`${data.planes[change.plane].name}: the weight in slot ${change.slot} must stay`));
    const counted = new Set([...data.limits.planes, ...planes]);
    const pieces = data.planes.reduce((count, plane, p) => count + (counted.has(p) ? planePieces(plane, choice[p]) : 0), 0);
    if (data.limits.max_pieces !== null && pieces > data.limits.max_pieces)
      reasons.push(`${pieces} pieces in all, and at most ${data.limits.max_pieces} may be fitted`);
    return reasons;
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

  return {predict, changes, totalMoment, allowedIn, refusals, moved, filled, stockLeft, samePiece, choiceOf, fittedDocument};
})();

if (typeof module !== "undefined") module.exports = arithmetic;
