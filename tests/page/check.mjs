// check.mjs PROGRAM PROJECT FOLDER [PART]: the pages of make_pages.py in Chromium; PART: only the part of that name. Leaves with status 1 when anything fails.
import {execFileSync} from "node:child_process";
import {readFileSync, writeFileSync, readdirSync} from "node:fs";
import {chromium} from "playwright-core";

const [, , program, project, folder, only] = process.argv;
const wanted = (part) => only === undefined || only === part;
const axe = readFileSync(`${folder}/node_modules/axe-core/axe.min.js`, "utf8");
const failures = [];
const check = (good, what) => {
  if (!good) failures.push(what);
  if (!good || !what.startsWith("hostile")) console.log(`${good ? "ok  " : "FAIL"} ${what}`);
};

const browser = await chromium.launch({executablePath: process.env.CHROMIUM || "/usr/bin/chromium", args: ["--no-sandbox"]});

/** A page from disk with the network off; console errors and requests are counted. */
const open = async (file, options = {}) => {
  const context = await browser.newContext({viewport: {width: 1280, height: 900}, acceptDownloads: true, ...options});
  await context.setOffline(true);
  const page = await context.newPage();
  page.troubles = [];
  page.on("console", (message) => message.type() === "error" && page.troubles.push(message.text()));
  page.on("pageerror", (error) => page.troubles.push(error.message));
  page.on("request", (request) => /^(file|data|blob):/.test(request.url()) || page.troubles.push(request.url()));
  page.on("dialog", (dialog) => { page.troubles.push("dialog"); dialog.dismiss(); });
  await page.goto(`file://${folder}/${file}`);
  return page;
};

const violations = async (page) => {
  await page.evaluate(axe);
  await page.addStyleTag({content: "* { content-visibility: visible !important }"});  // axe passes over what is not laid out
  const found = await page.evaluate(() => window.axe.run(document, {
    runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}));
  return found.violations.map((one) => `${one.id}: ${one.nodes.slice(0, 3).map((node) => node.target.join(" ")).join(" | ")}`);
};

const overflow = (page) => page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
const words = (page) => page.locator("#tryout-words").textContent();
const slot = (page, plane, number) => page.locator(`#weights svg[data-plane="${plane}"] .slot[data-slot="${number}"]`);

// Widths, light and dark, accessibility.
if (wanted("widths"))
for (const file of ["example.html", "after.html", "large.html"])
  for (const colorScheme of ["light", "dark"])
    for (const width of [320, 390, 820, 1280]) {
      const page = await open(file, {viewport: {width, height: 900}, colorScheme});
      const where = `${file} ${colorScheme} ${width}`;
      check((await overflow(page)) <= 0, `${where}: no overflow`);
      if (width === 390 || (width === 1280 && file !== "after.html")) {
        const found = await violations(page);
        check(found.length === 0, `${where}: axe finds nothing ${found.join("; ")}`);
        await slot(page, 0, 4).click({force: true});
        const inTray = await violations(page);
        check(inTray.length === 0, `${where}: nor with a slot open ${inTray.join("; ")}`);
      }
      check(page.troubles.length === 0, `${where}: no console error, no request ${page.troubles.join("; ")}`);
      if (width !== 320 && file !== "large.html") await page.screenshot({path: `${folder}/${file}-${colorScheme}-${width}.png`, fullPage: true});
      await page.context().close();
    }

// Without script the page reads and prints.
if (wanted("plain")) {
  const page = await open("example.html", {javaScriptEnabled: false});
  check(await page.locator("#tryout").isHidden(), "without script: nothing that needs it is shown");
  check(await page.locator("#weights svg.map").first().isVisible(), "without script: the slots are drawn");
  check((await page.locator("#levels tbody tr").count()) === 9, "without script: the levels are there");
  await page.context().close();
}

// The keyboard alone: slot by slot, choose, move, undo, save.
if (wanted("keyboard")) {
  const page = await open("example.html");
  const press = async (...keys) => { for (const key of keys) await page.keyboard.press(key); };
  const focused = () => page.evaluate(() => document.activeElement.getAttribute("aria-label") || document.activeElement.textContent || document.activeElement.type);
  let found = false;
  for (let i = 0; i < 60 && !found; ++i) { await press("Tab"); found = (await focused()).startsWith("Slot "); }
  check(found, "keyboard: Tab reaches a slot");
  await press("Home", "ArrowRight", "ArrowRight", "ArrowRight");
  check((await focused()).startsWith("Slot 4 "), "keyboard: arrows go from slot to slot");
  const before = await words(page);
  await press("Enter");
  check((await page.evaluate(() => document.activeElement.type)) === "radio", "keyboard: Enter opens the choice");
  await press("ArrowDown");
  check((await words(page)) !== before && (await words(page)).includes("Your own choice"), "keyboard: another weight, and the levels follow");
  await press("Escape");
  check((await focused()).startsWith("Slot 4 "), "keyboard: Escape goes back to the slot");
  await press("m", "ArrowRight", "m");
  check((await slot(page, 0, 5).getAttribute("class")).includes("fits"), "keyboard: M moves what the slot holds");
  await press("Control+z", "Control+z");
  check((await words(page)).includes("The plan:"), "keyboard: undo leads back to the plan");
  await press("ArrowLeft", "Delete");
  check((await words(page)).includes("Your own choice"), "keyboard: Delete empties a slot");
  let atSave = false;
  for (let i = 0; i < 30 && !atSave; ++i) { await press("Tab"); atSave = (await focused()) === "Save"; }
  const [download] = await Promise.all([page.waitForEvent("download"), press("Enter")]);
  await download.saveAs(`${folder}/saved.json`);
  const plan = JSON.parse(execFileSync(program, ["plan", `${project}/examples/quillhaven/job.yaml`, "--fitted", `${folder}/saved.json`, "--format", "json"]));
  check(plan.slots.length > 0, "keyboard: what is saved is what plan --fitted reads");
  // Every stop is visible and not hidden behind the bar (WCAG 2.4.11).
  let hidden = 0;
  await page.evaluate(() => { window.scrollTo(0, 0); document.activeElement.blur(); });
  for (let i = 0; i < 80; ++i) {
    await press("Tab");
    hidden += await page.evaluate(() => {
      const node = document.activeElement;
      if (node === document.body) return 0;
      const box = node.getBoundingClientRect();
      const top = document.elementFromPoint(Math.min(innerWidth - 1, Math.max(0, box.left + box.width / 2)), Math.min(innerHeight - 1, Math.max(0, box.top + Math.min(box.height / 2, 8))));
      return box.width > 0 && top && document.getElementById("tryout").contains(top) && !document.getElementById("tryout").contains(node) ? 1 : 0;
    });
  }
  check(hidden === 0, `keyboard: no focused control is hidden by the bar (${hidden})`);
  check(page.troubles.length === 0, `keyboard: no console error ${page.troubles.join("; ")}`);
  await page.context().close();
}

// The pointer: tap and drag.
if (wanted("pointer")) {
  const page = await open("example.html");
  const middle = async (plane, number) => {
    await slot(page, plane, number).scrollIntoViewIfNeeded();
    const box = await slot(page, plane, number).locator(".ring").boundingBox();
    return [box.x + box.width / 2, box.y + box.height / 2];
  };
  await page.locator("#weights svg.map").first().evaluate((node) => node.scrollIntoView({block: "start"}));
  const from = await middle(0, 4);
  const to = await middle(0, 7);
  await page.mouse.move(...from);
  await page.mouse.down();
  await page.mouse.move(from[0] + 20, from[1] + 10, {steps: 4});
  await page.mouse.move(...to, {steps: 6});
  await page.screenshot({path: `${folder}/dragging.png`});
  await page.mouse.up();
  check((await slot(page, 0, 7).getAttribute("class")).includes("fits") && (await slot(page, 0, 4).getAttribute("class")).includes("removed"),
    "pointer: a weight is dragged to another slot");
  await page.mouse.click(...from);
  await page.locator(".tray label", {hasText: "K4"}).click();
  check((await slot(page, 0, 4).getAttribute("class")).includes("swaps"), "pointer: a slot is tapped and filled");
  await page.screenshot({path: `${folder}/own-choice.png`, fullPage: true});
  await page.locator("#reset").click();
  check((await words(page)).includes("The plan:"), "pointer: back to the plan");
  await page.context().close();
}

// What if against the program: random moves, every predicted number.
if (wanted("numbers")) {
  const page = await open("example.html");
  let worst = 0;
  let compared = 0;
  for (let i = 0; i < 100; ++i) {
    const {document, rows} = await page.evaluate((seed) => {
      const {data, arithmetic, take, choice, predicted} = window.balancePage;
      let state = seed * 2654435761 % 4294967296;
      const draw = (n) => { state = (Math.imul(state, 1664525) + 1013904223) >>> 0; return Math.floor((state / 4294967296) * n); };
      for (let tries = 0; tries < 50; ++tries) {
        const p = draw(data.planes.length);
        const plane = data.planes[p];
        const slots = plane.slots.map((one) => one.slot);
        const at = slots[draw(slots.length)];
        const next = draw(3) === 0
          ? arithmetic.moved(choice(), p, at, slots[draw(slots.length)])
          : arithmetic.filled(choice(), p, at, [undefined, ...plane.weights.map((one) => one.id)][draw(plane.weights.length + 1)]);
        if (arithmetic.refusals(data, next).length > 0 || arithmetic.changes(data, choice(), next).length === 0) continue;
        take(next);
        break;
      }
      return {document: arithmetic.fittedDocument(data, choice()), rows: predicted()};
    }, i + 1);
    writeFileSync(`${folder}/random.json`, JSON.stringify(document));
    const plan = JSON.parse(execFileSync(program, ["plan", `${project}/examples/quillhaven/job.yaml`, "--fitted",
      `${folder}/random.json`, "--time-limit", "0.05", "--format", "json"], {maxBuffer: 1 << 26}));
    plan.predicted.forEach((one, r) => {
      const turn = Math.abs(((rows[r].phase - one.after_phase_deg + 540) % 360) - 180) * Math.PI / 180;
      worst = Math.max(worst, Math.abs(rows[r].amplitude - one.after) / one.after, Math.abs(rows[r].sd - one.after_sd) / one.after_sd, turn);
      compared += 3;
    });
  }
  check(worst <= 1e-9, `what if: 100 random moves, ${compared} numbers, worst relative difference ${worst.toExponential(1)}`);
  await page.context().close();
}

// Nothing in a name breaks out.
if (wanted("hostile"))
for (const file of readdirSync(folder).filter((name) => /^hostile-\d+\.html$/.test(name))) {
  const page = await open(file);
  const scripts = await page.evaluate(() => [document.scripts.length, document.querySelectorAll("img").length, typeof window.pwned]);
  check(JSON.stringify(scripts) === '[2,0,"undefined"]', `hostile ${file}: ${scripts}`);
  await slot(page, 0, 1).click({force: true});
  check((await page.evaluate(() => typeof window.pwned)) === "undefined", `hostile ${file}: tray`);
  check((await overflow(page)) <= 0 && page.troubles.length === 0, `hostile ${file}: ${page.troubles.join("; ")}`);
  await page.context().close();
}
if (wanted("hostile")) console.log("ok   hostile names stay text in every page");

// SVG by an XML parser; print by PDF.
if (wanted("print"))
for (const file of ["example.html", "after.html"]) {
  const page = await open(file);
  const drawings = await page.evaluate(() => [...document.querySelectorAll("svg")].map((svg) => new XMLSerializer().serializeToString(svg)));
  drawings.forEach((text, i) => {
    writeFileSync(`${folder}/drawing.svg`, text);
    try { execFileSync("xmllint", ["--noout", `${folder}/drawing.svg`]); } catch { check(false, `${file}: drawing ${i} is not well formed`); }
  });
  check(drawings.length > 10, `${file}: ${drawings.length} drawings are well formed`);
  await page.emulateMedia({media: "print"});
  await page.setViewportSize({width: 710, height: 1000});  // A4 within its margins, 188 mm
  const wide = await page.evaluate(() => [...document.querySelectorAll("#sheet table, #sheet svg")]
    .filter((node) => node.getBoundingClientRect().right > innerWidth + 0.5).length);
  check(wide === 0, `${file}: nothing on the sheet is wider than A4 (${wide})`);
  await page.emulateMedia({media: null});
  for (const format of ["A4", "Letter"]) {
    const pdf = `${folder}/${file}-${format}.pdf`;
    await page.pdf({path: pdf, format});
    const text = execFileSync("pdftotext", ["-layout", pdf, "-"]).toString();
    const sheets = text.split("\f").length - 1;
    check(sheets >= 1 && sheets <= 2, `${file}: ${sheets} sheets of ${format}`);
    for (const needed of ["Record number", "Digest", "Fitted by", "licensed", "Verdict", "can kill", "LKM-417"])
      check(text.includes(needed), `${file} ${format}: holds "${needed}"`);
    execFileSync("pdftoppm", ["-r", "90", "-png", pdf, pdf]);
  }
  await page.context().close();
}

// The time of a what-if on 6 planes of 64 slots and 64 rows: processor time of the page's own thread from the move to
// the frame that shows it (script, style, layout, painting), which other work on the machine does not swell.
if (wanted("time")) {
  const page = await open("large.html");
  await browser.startTracing(page, {path: `${folder}/trace.json`, categories: ["devtools.timeline", "v8.execute"]});
  const waited = await page.evaluate(async () => {
    const {data, arithmetic, take, choice} = window.balancePage;
    const times = [];
    for (let i = 0; i < 100; ++i) {
      const p = i % data.planes.length;
      const slots = data.planes[p].slots;
      const next = arithmetic.filled(choice(), p, slots[(i * 7) % slots.length].slot, data.planes[p].weights[i % 6].id);
      const begin = performance.now();
      take(next);
      document.body.getBoundingClientRect();
      times.push(performance.now() - begin);
      await new Promise((done) => requestAnimationFrame(done));
    }
    return times.sort((a, b) => a - b)[50];
  });
  await browser.stopTracing();
  const events = JSON.parse(readFileSync(`${folder}/trace.json`)).traceEvents;
  const spent = (name) => events.filter((one) => one.name === name && one.tdur).map((one) => one.tdur / 1000).sort((a, b) => a - b);
  const answer = spent("RunMicrotasks");
  const drawing = ["PrePaint", "Paint", "Layerize", "Commit"].reduce((sum, name) => sum + spent(name).reduce((a, b) => a + b, 0) / 100, 0);
  const median = answer[Math.floor(answer.length / 2)] + drawing;
  check(answer.length > 50 && median < 16, `what if at 6 planes x 64 rows: median ${median.toFixed(1)} ms of processor time ` +
    `(${waited.toFixed(1)} ms by the clock until laid out)`);
  await page.context().close();
}
await browser.close();
console.log(failures.length === 0 ? "all good" : `${failures.length} failures`);
process.exit(failures.length === 0 ? 0 : 1);
