// answers.mjs PROGRAM PAGE JOBS [browser]: every job of the folder JOBS asked of the program and of the page's engine, in node or in
// Chromium: plan, influence, check and trial. Words and documents must be the same, numbers to 1e-9 of their size; leaves with status 1 where one is not.
import {spawnSync} from "node:child_process";
import {readFileSync, readdirSync} from "node:fs";
import {engineInNode, engineInBrowser} from "./engines.mjs";

const [, , program, page, folder, where] = process.argv;
const engine = await (where === "browser" ? engineInBrowser(page) : engineInNode(page));
const closest = 1e-9;
let numbers = 0, exact = 0, farthest = 0, texts = 0, sameTexts = 0, refusals = 0;
const failures = [];

/** Where two documents differ. */
const compare = (path, a, b) => {
  if (typeof a === "number" && typeof b === "number") {
    ++numbers;
    if (a === b) { ++exact; return; }
    const far = Math.abs(a - b) / Math.max(Math.abs(a), Math.abs(b), 1e-3);
    farthest = Math.max(farthest, far);
    if (far > closest) failures.push(`${path}: ${a} and ${b}`);
    return;
  }
  if (a === null || b === null || typeof a !== "object" || typeof b !== "object") { if (a !== b) failures.push(`${path}: ${JSON.stringify(a)} and ${JSON.stringify(b)}`); return; }
  const keys = Object.keys(a), others = Object.keys(b);
  if (keys.join() !== others.join()) { failures.push(`${path}: ${keys} and ${others}`); return; }
  for (const key of keys) compare(`${path}.${key}`, a[key], b[key]);
};

for (const job of readdirSync(folder).sort()) {
  const files = Object.fromEntries(readdirSync(`${folder}/${job}`).map((name) => [name, readFileSync(`${folder}/${job}/${name}`, "utf8")]));
  for (const what of ["plan", "influence", "check", "trial"]) {
    const limit = what === "influence" ? [] : ["--time-limit", "3600"];
    const run = (...more) => spawnSync(program, [what, "job.yaml", ...limit, ...more], {cwd: `${folder}/${job}`, encoding: "utf8", maxBuffer: 1 << 26});
    const document = run("--format", "json");
    const answer = await engine.ask(what, {files, time_limit_s: 3600});
    if (document.status !== 0) {
      ++refusals;
      const said = answer.error ? `trimwright: ${answer.error.message}\n` : "an answer";
      if (said !== document.stderr) failures.push(`${job} ${what}: refused "${document.stderr}", the desk "${said}"`);
      continue;
    }
    if (answer.error) { failures.push(`${job} ${what}: the desk refuses: ${answer.error.message}`); continue; }
    compare(`${job} ${what}`, JSON.parse(document.stdout), JSON.parse(answer.document));
    ++texts;
    const text = run().stdout;
    if (text === answer.text) ++sameTexts;
    else {
      const [mine, theirs] = [text.split("\n"), answer.text.split("\n")];
      const at = mine.findIndex((line, i) => line !== theirs[i]);
      failures.push(`${job} ${what}, text: "${mine[at]}" and "${theirs[at]}"`);
    }
  }
}
await engine.close();
for (const one of failures.slice(0, 30)) console.log("FAIL", one);
console.log(`${where ?? "node"}: ${numbers} numbers, ${exact} the same to the last bit, farthest ${farthest.toExponential(1)}; ${sameTexts} of ${texts} texts the same to the last digit; ${refusals} refusals; ${failures.length} differences`);
process.exit(failures.length > 0 || numbers < 1000 || texts < 8 ? 1 : 0);
