// answers.mjs PROGRAM PAGE JOBS: every job of the folder JOBS asked of the program and of the page's engine, in node and in Chromium:
// plan, influence, check and trial, as text and as document. Every number is the same to its last bit, every text to its last digit;
// leaves with status 1 where one is not.
import {spawnSync} from "node:child_process";
import {readFileSync, readdirSync} from "node:fs";
import {engineInNode, engineInBrowser} from "./engines.mjs";

const [, , program, page, folder] = process.argv;
const engines = {node: await engineInNode(page), Chromium: await engineInBrowser(page)};
const tally = {};
const failures = [];

/** Where two documents differ. */
const compare = (path, a, b, found) => {
  if (typeof a === "number" && typeof b === "number") {
    ++found.numbers;
    if (Object.is(a, b)) return;
    ++found.others;
    found.farthest = Math.max(found.farthest, Math.abs(a - b) / Math.max(Math.abs(a), Math.abs(b)));
    failures.push(`${path}: ${a} and ${b}`);
    return;
  }
  if (a === null || b === null || typeof a !== "object" || typeof b !== "object") { if (a !== b) failures.push(`${path}: ${JSON.stringify(a)} and ${JSON.stringify(b)}`); return; }
  const keys = Object.keys(a), others = Object.keys(b);
  if (keys.join() !== others.join()) { failures.push(`${path}: ${keys} and ${others}`); return; }
  for (const key of keys) compare(`${path}.${key}`, a[key], b[key], found);
};

for (const job of readdirSync(folder).sort()) {
  const files = Object.fromEntries(readdirSync(`${folder}/${job}`).map((name) => [name, readFileSync(`${folder}/${job}/${name}`, "utf8")]));
  for (const what of ["plan", "influence", "check", "trial"]) {
    const limit = what === "influence" ? [] : ["--time-limit", "3600"];
    const run = (...more) => spawnSync(program, [what, "job.yaml", ...limit, ...more], {cwd: `${folder}/${job}`, encoding: "utf8", maxBuffer: 1 << 26, env: {...process.env, COLUMNS: "80"}});
    const document = run("--format", "json");
    // What the program says behind it is of its files and commands.
    const text = document.status === 0 ? run().stdout.split("\nON PAPER\n")[0] : "";
    for (const [where, engine] of Object.entries(engines)) {
      const found = (tally[where] ??= {numbers: 0, others: 0, farthest: 0, texts: 0, otherTexts: 0, refusals: 0});
      const path = `${where}: ${job}, ${what}`;
      const answer = await engine.ask(what, {files, time_limit_s: 3600});
      if (document.status !== 0) {
        ++found.refusals;
        const said = answer.error ? `trimwright: ${answer.error.message}\n` : "an answer";
        if (said !== document.stderr) failures.push(`${path}: refused "${document.stderr}", the desk "${said}"`);
        continue;
      }
      if (answer.error) { failures.push(`${path}: the desk refuses: ${answer.error.message}`); continue; }
      compare(path, JSON.parse(document.stdout), JSON.parse(answer.document), found);
      ++found.texts;
      if (text === answer.text) continue;
      ++found.otherTexts;
      const [mine, theirs] = [text.split("\n"), answer.text.split("\n")];
      const at = mine.findIndex((line, i) => line !== theirs[i]);
      failures.push(`${path}, text: "${mine[at]}" and "${theirs[at]}"`);
    }
  }
}
for (const engine of Object.values(engines)) await engine.close();
for (const one of failures.slice(0, 40)) console.log("FAIL", one);
for (const [where, {numbers, others, farthest, texts, otherTexts, refusals}] of Object.entries(tally))
  console.log(`${where}: ${numbers} numbers, ${others} of them not the same to the last bit${others > 0 ? ` (farthest ${farthest.toExponential(1)})` : ""}; ${texts} texts, ${otherTexts} of them not the same; ${refusals} refusals`);
process.exit(failures.length > 0 || Object.values(tally).some(({numbers, texts}) => numbers < 1000 || texts < 8) ? 1 : 0);
