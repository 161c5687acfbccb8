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
const slot = (page, plane, number) => page.locator(`#slots svg[data-plane="${plane}"] .slot[data-slot="${number}"]`);

const shapes = (page) => page.evaluate(() => {
  const shown = (node) => node.checkVisibility({visibilityProperty: true}) && node.getBoundingClientRect().width > 1;
  const large = (node) => { const {width, height} = node.getBoundingClientRect(); return Math.min(width, height) >= 43.99; };
  const targets = [...document.querySelectorAll("button, summary, input, a[href]")].filter(shown).map((node) => node.closest("label") || document.querySelector(`label[for="${node.id}"]`) || node);
  const texts = [...document.querySelectorAll("svg text")].filter((node) => shown(node) && node.textContent !== "")
    .map((node) => parseFloat(getComputedStyle(node).fontSize) * node.getScreenCTM().a);
  return {tight: targets.filter((node) => !large(node)).map((node) => node.outerHTML.slice(0, 60)), least: Math.min(...texts)};
});

// Widths, light, dark and forced colours, accessibility; targets of 44 px, figures of 12 px.
if (wanted("widths"))
for (const file of ["example.html", "after.html", "large.html", "trial.html", "begin.html"])
  for (const [colorScheme, forcedColors] of [["light", "none"], ["dark", "none"], ["dark", "active"]])
    for (const width of [320, 360, 820, 1280, 1920]) {
      const page = await open(file, {viewport: {width, height: 900}, colorScheme, forcedColors});
      const where = `${file} ${forcedColors === "active" ? "forced colours" : colorScheme} ${width}`;
      check((await overflow(page)) <= 0, `${where}: no overflow`);
      if (file !== "large.html" && width !== 320 && forcedColors === "none") await page.screenshot({path: `${folder}/${file}-${colorScheme}-${width}.png`, fullPage: true});
      if (width === 360 || width === 1280) {
        const found = await violations(page);
        check(found.length === 0, `${where}: axe finds nothing ${found.join("; ")}`);
        await page.evaluate(() => document.querySelectorAll("details").forEach((one) => { one.open = true; }));
        const opened = await violations(page);
        check(opened.length === 0, `${where}: nor with everything open ${opened.join("; ")}`);
        if (width === 360 && colorScheme === "light" && file !== "large.html") {
          const {tight, least} = await shapes(page);
          check(tight.length === 0, `${where}: every target is 44 px or more ${tight.slice(0, 3).join(" ")}`);
          check(!(least < 11.99), `${where}: every figure drawn is 12 px or more (${least.toFixed(2)})`);
        }
        if (["trial.html", "begin.html"].includes(file)) { await page.context().close(); continue; }
        await slot(page, 0, 4).focus();
        await page.keyboard.press("Enter");
        const inTray = await violations(page);
        check(inTray.length === 0, `${where}: nor with a slot open ${inTray.join("; ")}`);
      }
      check(page.troubles.length === 0, `${where}: no console error, no request ${page.troubles.join("; ")}`);
      await page.context().close();
    }

// The first screen answers: the verdict, every change and every level are in sight, without scrolling.
if (wanted("first"))
for (const [width, height] of [[360, 740], [820, 1180], [1280, 800], [1920, 1080]]) {
  const page = await open("example.html", {viewport: {width, height}});
  const below = await page.evaluate(() => [...document.querySelectorAll("#result .verdict, #weights .card, #levels .level")].filter((node) => node.getBoundingClientRect().bottom > innerHeight).length);
  check(below === 0, `first screen ${width} x ${height}: verdict, changes and levels (${below} below it)`);
  await page.screenshot({path: `${folder}/first-${width}.png`});
  await page.context().close();
}

// A finger, by real touch events: drag, tap, scroll; and what outlives a reload.
if (wanted("touch")) {
  const page = await open("example.html", {viewport: {width: 360, height: 740}, hasTouch: true, isMobile: true});
  const session = await page.context().newCDPSession(page);
  const touch = (type, ...touchPoints) => session.send("Input.dispatchTouchEvent", {type, touchPoints});
  const middle = async (number) => {
    await page.locator("#slots svg.map").first().evaluate((node) => window.scrollTo(0, node.getBoundingClientRect().top + scrollY - 20));
    const box = await slot(page, 0, number).locator(".ring").boundingBox();
    return {x: box.x + box.width / 2, y: box.y + box.height / 2};
  };
  const along = async (from, to) => {
    await touch("touchStart", from);
    for (let i = 1; i <= 10; ++i) await touch("touchMove", {x: from.x + ((to.x - from.x) * i) / 10, y: from.y + ((to.y - from.y) * i) / 10});
  };
  const states = async (...numbers) => Promise.all(numbers.map(async (one) => (await slot(page, 0, one).getAttribute("class")).split(" ")[1]));
  await page.evaluate(() => { window.cancelled = 0; document.addEventListener("pointercancel", () => { ++window.cancelled; }, true); });
  await along(await middle(4), await middle(10));
  const top = await page.evaluate(() => scrollY);
  check((await page.locator("#slots .readout").first().textContent()) === "4 → 10", "touch: the middle tells where the weight goes");
  await page.screenshot({path: `${folder}/touch-dragging.png`});
  await touch("touchEnd");
  check((await states(4, 10)).join() === "removed,fits", "touch: a finger drags a weight to another slot");
  check((await page.evaluate(() => [window.cancelled, scrollY])).join() === `0,${top}`, "touch: and the page does not scroll away under it");
  const held = await middle(40);
  await touch("touchStart", held);
  await touch("touchEnd");
  check((await page.locator(".tray h4").textContent()).startsWith("spinner, slot 40"), "touch: a tap opens a slot that holds a weight");
  await page.screenshot({path: `${folder}/touch-tray.png`});
  check((await shapes(page)).tight.length === 0, "touch: every target of an open slot is 44 px or more");
  await page.locator(".strip button").nth(4).tap();
  check((await page.locator(".tray h4").textContent()).startsWith("spinner, slot 1"), "touch: the list goes on to the next slot");
  await page.locator(".tray label", {hasText: "K4"}).tap();
  check((await states(1))[0] === "fits", "touch: and fills it");
  const mid = await page.evaluate(() => { const box = document.getElementById("tryout").getBoundingClientRect(); return [Math.round(box.height), Math.round(innerHeight - box.bottom)]; });
  check(mid[0] <= 190 && mid[1] === 0, `touch: what comes of it stays in sight (${mid[0]} of 740 px)`);
  const hiddenClose = await page.evaluate(() => {
    const button = [...document.querySelectorAll(".tray button")].find((one) => one.textContent === "Close");
    button.scrollIntoView({block: "nearest"});
    const box = button.getBoundingClientRect();
    return !button.contains(document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2));
  });
  check(!hiddenClose, "touch: Close is not covered");
  const free = await middle(8);
  const before = await page.evaluate(() => scrollY);
  await along(free, {x: free.x, y: free.y - 90});
  await touch("touchEnd");
  await page.waitForTimeout(300);
  check((await page.evaluate(() => scrollY)) > before + 40, "touch: a finger on an empty slot scrolls the page");
  await page.locator(".ticks input").first().setChecked(true);
  await page.locator("#theme").tap();
  await page.reload();
  check((await states(4, 10, 1)).join() === "removed,fits,fits", "reload: the choice is kept");
  check(await page.locator(".ticks input").first().isChecked(), "reload: so are the ticks");
  check((await page.locator("#theme").textContent()) === "Light", "reload: and dark");
  await page.locator("#reset").tap();
  await page.reload();
  check((await states(4))[0] === "stays", "reload: back at the plan, nothing is kept");
  check(page.troubles.length === 0, `touch: no console error ${page.troubles.join("; ")}`);
  await page.context().close();
}

// Without script the page reads and prints.
if (wanted("plain")) {
  const page = await open("example.html", {javaScriptEnabled: false});
  check(await page.locator("#tryout").isHidden(), "without script: nothing that needs it is shown");
  check(await page.locator("#slots svg.map").first().isVisible(), "without script: the slots are drawn");
  check((await page.locator("#levels .level").count()) === 10, "without script: the levels are there");
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
  check((await words(page)).includes("The plan is shown"), "keyboard: undo leads back to the plan");
  await press("ArrowLeft", "Delete");
  check((await words(page)).includes("Your own choice"), "keyboard: Delete empties a slot");
  let atSave = false;
  for (let i = 0; i < 90 && !atSave; ++i) { await press("Tab"); atSave = (await focused()) === "Save"; }
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
  await page.locator("#slots svg.map").first().evaluate((node) => node.scrollIntoView({block: "start"}));
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
  check((await words(page)).includes("The plan is shown"), "pointer: back to the plan");
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
      `${folder}/random.json`, "--time-limit", "5", "--format", "json"], {maxBuffer: 1 << 26}));
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
for (const [file, most, what] of [["example.html", 4], ["after.html", 2], ["large.html", 8], ["trial.html", 2, "Run sheet"], ["begin.html", 1, "Run sheet"]]) {
  const page = await open(file);
  const drawings = await page.evaluate(() => [...document.querySelectorAll("svg")].map((svg) => new XMLSerializer().serializeToString(svg)));
  drawings.forEach((text, i) => {
    writeFileSync(`${folder}/drawing.svg`, text);
    try { execFileSync("xmllint", ["--noout", `${folder}/drawing.svg`]); } catch { check(false, `${file}: drawing ${i} is not well formed`); }
  });
  check(drawings.length > 10 || file === "begin.html", `${file}: ${drawings.length} drawings are well formed`);
  await page.emulateMedia({media: "print"});
  await page.setViewportSize({width: 710, height: 1000});  // A4 within its margins, 188 mm
  const wide = await page.evaluate(() => [...document.querySelectorAll(".paper table, .paper svg")]
    .filter((node) => node.getBoundingClientRect().right > innerWidth + 0.5).length);
  check(wide === 0, `${file}: nothing on the sheet is wider than A4 (${wide})`);
  await page.emulateMedia({media: null});
  for (const format of ["A4", "Letter"]) {
    const pdf = `${folder}/${file}-${format}.pdf`;
    await page.pdf({path: pdf, format});
    const pages = execFileSync("pdftotext", ["-layout", pdf, "-"]).toString().split("\f").slice(0, -1);
    check(pages.length >= 1 && pages.length <= most, `${file}: ${pages.length} sheets of ${format}`);
    const serial = await page.evaluate(() => document.querySelector(".running b:nth-of-type(1)") && [...document.querySelectorAll(".running b")].map((one) => one.textContent)[1]);
    const anonymous = pages.filter((text, i) => !text.includes(serial) || !text.includes(`page ${i + 1} of ${pages.length}`));
    check(anonymous.length === 0, `${file} ${format}: every printed page carries serial and number`);
    check(pages.every((text) => text.split("\n").filter((line) => line.trim() !== "").length > 8), `${file} ${format}: no page is nearly blank`);
    for (const needed of what ? [what, "can kill", "Made by"] : ["Record number", "Digest", "Verdict", "can kill", "torque", "tools accounted for"])
      check(pages.join("").includes(needed), `${file} ${format}: holds "${needed}"`);
    if (!what) check(pages.some((text) => text.includes("Fitted by") && text.includes("take out")), `${file} ${format}: signatures stand with the weights`);
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

  const paints = [];
  for (let i = 0; i < 5; ++i) {
    const fresh = await open("large.html");
    await browser.startTracing(fresh, {path: `${folder}/paint.json`, categories: ["devtools.timeline", "loading"]});
    await fresh.reload();
    await fresh.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));
    await browser.stopTracing();
    const all = JSON.parse(readFileSync(`${folder}/paint.json`)).traceEvents;
    const start = all.find((one) => one.name === "navigationStart" && one.args?.data?.documentLoaderURL?.includes("large.html") !== false);
    const first = all.find((one) => one.name === "firstContentfulPaint" && one.pid === start?.pid) || all.find((one) => one.name === "firstContentfulPaint");
    const thread = first.tid;
    paints.push(all.filter((one) => one.pid === first.pid && one.tid === thread && one.tdur && one.ts <= first.ts && ["ParseHTML", "EvaluateScript", "UpdateLayoutTree", "Layout", "PrePaint", "Paint", "Layerize", "Commit", "ParseAuthorStyleSheet"].includes(one.name))
      .reduce((sum, one) => sum + one.tdur / 1000, 0));
    await fresh.context().close();
  }
  const paint = paints.sort((a, b) => a - b)[2];
  check(paint < 200, `first paint at that size: median ${paint.toFixed(0)} ms of processor time (parsing, script, style, layout, painting)`);
}
await browser.close();
console.log(failures.length === 0 ? "all good" : `${failures.length} failures`);
process.exit(failures.length === 0 ? 0 : 1);
