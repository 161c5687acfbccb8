// Paths as the library writes them in its messages: planes[0].slots.count.
const parts = (path) => [...path.matchAll(/[^.[\]]+/g)].map((one) => one[0]);
const at = (tree, path) => parts(path).reduce((node, key) => (node === undefined || node === null ? undefined : node[key]), tree);
const put = (tree, path, value) => {
  const keys = parts(path);
  const last = keys.pop();
  let node = tree;
  for (const [i, key] of keys.entries()) {
    if (typeof node[key] !== "object" || node[key] === null) node[key] = /^\d+$/.test(keys[i + 1] ?? last) ? [] : {};
    node = node[key];
  }
  node[last] = value;
};
/** Takes the value away, and maps that hold nothing any more. */
const drop = (tree, path) => {
  const keys = parts(path);
  const last = keys.pop();
  const owner = at(tree, keys.join("."));
  if (owner === undefined || owner === null) return;
  if (Array.isArray(owner)) owner.splice(Number(last), 1);
  else delete owner[last];
  if (keys.length > 0 && !Array.isArray(owner) && typeof owner === "object" && Object.keys(owner).length === 0) drop(tree, keys.join("."));
};
const isNumber = (text) => /^[+-]?(\d+\.?\d*|\.\d+)$/.test(text);
/** What a person types where the unit is chosen beside: "188" for "188 mm". */
const withoutUnit = (text, unit) => {
  const found = /^([+-]?[\d.]+)\s*(.*)$/.exec(text ?? "");
  return found && unit && found[2].replace(/\s+/g, " ") === unit ? found[1] : text ?? "";
};
const withUnit = (text, unit) => (unit && isNumber(text) ? `${text} ${unit}` : text);
