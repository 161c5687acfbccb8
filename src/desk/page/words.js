// Choices as files write them and as the desk offers them. What is allowed is the library's to say: it reads every answer.
const choice = {
  sense: [["clockwise", "clockwise"], ["counterclockwise", "counterclockwise"]],
  end: [["front", "from the front, looking aft"], ["aft", "from behind, looking forward"]],
  phase: [["lag", "lag: degrees turned from the tooth's pulse to the vibration's positive peak"], ["lead", "lead: the same, counted the other way"], ["unknown", "not known: let the runs tell"]],
  direction: [["with rotation", "with rotation"], ["against rotation", "against rotation"]],
  access: [["easy", "easy to reach"], ["hard", "hard to reach"]],
  polarity: [["falling", "falls"], ["rising", "rises"]],
  positive: [["outward", "outward"], ["inward", "inward"]],
  component: [["once-per-rev", "once per rev (filtered)"], ["overall", "overall level"]],
  quantity: [["displacement", "displacement"], ["velocity", "velocity"], ["acceleration", "acceleration"]],
  objective: [["", "where no objective is named"], ["worst ratio", "those with which the highest level, compared with its limit, is lowest"], ["least squares", "those with which all levels together, compared with their limits, are lowest (least squares)"], ["probability", "those with the best chance that every target is met"]],
  mass: ["g", "kg", "oz", "lb"],
  length: ["mm", "cm", "in"],
  moment: ["g.mm", "g.cm", "g.in", "oz.in"],
  speed: ["rpm", "%"],
  rotorMass: ["kg", "lb"],
};
/** Units of sensors by what is measured. */
const sensorUnits = {
  velocity: ["in/s peak", "in/s rms", "mm/s peak", "mm/s rms"],
  displacement: ["mil pp", "mil peak", "um pp", "um peak", "mm pp"],
  acceleration: ["g peak", "g rms", "m/s2 peak", "m/s2 rms"],
};
/** A unit is written with its detector, the last word of it; limits and scatter of a sensor without. */
const symbolOf = ({measures, unit}) => (measures === "as shown" ? unit : (unit ?? "").replace(/ \S+$/, ""));
const markWords = {point: "decimal point", comma: "decimal comma"};
