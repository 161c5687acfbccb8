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

if (typeof module !== "undefined") module.exports = arithmetic;
