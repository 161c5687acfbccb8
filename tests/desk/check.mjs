// check.mjs PAGE PROJECT FOLDER PROGRAM: the desk in Chromium, as its people use it. Leaves with status 1 when anything fails; pictures stay in FOLDER.
import {spawnSync} from "node:child_process";
import {readFileSync, statSync, mkdirSync, writeFileSync} from "node:fs";
import {openDesk} from "./engines.mjs";

const [, , file, project, folder, program] = process.argv;
const axe = readFileSync(`${folder}/node_modules/axe-core/axe.min.js`, "utf8");
const failures = [];
const check = (good, what) => { if (!good) failures.push(what); console.log(`${good ? "ok  " : "FAIL"} ${what}`); };
const {browser} = await openDesk(file);
const open = async (window = {}, context = null) => (await openDesk(file, {browser, window, context})).tab;
const example = ["examples/quillhaven/job.yaml", "configs/larkmere-fan.yaml", "examples/quillhaven/readings.csv"].map((name) => `${project}/${name}`);
const cell = (page, name) => page.locator(`[data-cell="${name}"]`);
const type = async (page, name, text) => { await cell(page, name).fill(text); await cell(page, name).press("Tab"); };
const press = (page, name, n = 0) => page.getByRole("button", {name, exact: true}).nth(n).click();
const settled = async (page) => { await page.waitForTimeout(200); await page.waitForFunction(() => desk.checked !== null && !desk.checking && !document.querySelector(".working"), null, {timeout: 120000}); };
const opened = async (page, files = example) => {
  const chooser = page.waitForEvent("filechooser");
  await press(page, "Choose files");
  await (await chooser).setFiles(files);
  await page.waitForSelector("table.grid");
  await settled(page);
};
const violations = async (page) => {
  await page.evaluate(axe);
  const found = await page.evaluate(() => window.axe.run(document, {iframes: false, runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}));
  return found.violations.map((one) => `${one.id}: ${one.nodes.slice(0, 3).map((node) => node.target.join(" ")).join(" | ")}`);
};
/** The files that Save gives, by name. */
const saved = async (page) => { const texts = {}; const hear = async (download) => { texts[download.suggestedFilename()] = readFileSync(await download.path(), "utf8"); }; page.on("download", hear); await page.locator("#save").click(); await page.waitForTimeout(2500); page.off("download", hear); return texts; };
/** What stands on paper, sheet by sheet, every blank as one. */
const onPaper = async (page, name) => {
  await page.pdf({path: `${folder}/${name}.pdf`, format: "A4", preferCSSPageSize: true});
  return spawnSync("pdftotext", [`${folder}/${name}.pdf`, "-"], {encoding: "utf8"}).stdout.split("\f").slice(0, -1).map((sheet) => sheet.replace(/\s+/g, " ").trim());
};
/** Whether the browser's own printing of the desk gives what the page in the frame prints by itself. */
const printsWhole = async (page, name) => {
  const alone = await page.context().newPage();
  await alone.setContent(await page.evaluate(() => document.querySelector("#answer iframe").srcdoc));
  const [sheets, wanted] = [await onPaper(page, `desk-printed-${name}`), await onPaper(alone, `desk-printed-${name}-alone`)];
  await alone.close();
  check(sheets.length > 0 && wanted.join("").length > 500 && JSON.stringify(sheets) === JSON.stringify(wanted), `${name}: the desk printed gives the ${wanted.length} sheets that the answer's page prints, whole: ${sheets.length}`);
  return sheets.join(" ");
};
const small = (page) => page.evaluate(() => [...document.querySelectorAll("button, input, select, summary")].filter((node) => node.checkVisibility() && !node.matches(".link") && node.getBoundingClientRect().height > 0)
  .filter((node) => node.getBoundingClientRect().height < 43.9).map((node) => node.outerHTML.slice(0, 70)));

check(statSync(file).size < 8e6, `one file below 8 MB: ${(statSync(file).size / 1e6).toFixed(1)} MB`);

// A file that is opened and saved again is what it was; one that is changed says the same but for the change.
{
  const page = await open();
  await opened(page);
  const same = await saved(page);
  check(same["larkmere-fan.yaml"] === readFileSync(example[1], "utf8"), "a rotor that was not changed is saved as it was, comments included");
  check(same["job.yaml"] === readFileSync(example[0], "utf8").replace("../../configs/", ""), "so is a job, its files now side by side");
  mkdirSync(`${folder}/saved`, {recursive: true});
  const plan = (texts) => { for (const [name, text] of Object.entries(texts)) writeFileSync(`${folder}/saved/${name}`, text); return spawnSync(program, ["plan", "job.yaml", "--format", "json"], {cwd: `${folder}/saved`, encoding: "utf8"}).stdout; };
  const before = spawnSync(program, ["plan", example[0], "--format", "json"], {encoding: "utf8"}).stdout;
  check(plan(same) === before, "the program plans the same from it");
  await type(page, "job:runs[0].who", "somebody else");
  await page.locator("#tab-rotor").click();
  await type(page, "job:station", "another stand");
  await type(page, "rotor:sensors[0].direction.mounted", "top, seen from aft");
  const changed = await saved(page);
  check(changed["job.yaml"].includes("another stand") && changed["larkmere-fan.yaml"].includes("top, seen from aft"), "a change is saved");
  check(JSON.parse(plan(changed)).worst_ratio === JSON.parse(before).worst_ratio, "and leaves the plan alone where it should");
  check(page.troubles.length === 0, `no complaint, no request: ${page.troubles.slice(0, 3)}`);
  await page.context().close();
}

// What is wrong is told beside its cell, in the library's words, and can be undone; a reload loses nothing.
{
  const page = await open();
  await opened(page);
  await type(page, "reading:0/0/front/amplitude", "apples");
  await type(page, "reading:0/1/turbine/phase", "400");
  await settled(page);
  check((await page.locator("#state-runs").textContent()) === "2 wrong", "two wrong cells are two");
  check((await page.locator(".grid-messages").first().innerText()).includes("is out of range; expected degrees from -360 to 360"), "in the library's words");
  await page.reload();
  await page.waitForSelector("table.grid");
  check((await cell(page, "reading:0/0/front/amplitude").inputValue()) === "apples", "a reload loses nothing");
  await type(page, "reading:0/0/front/amplitude", "0.433");
  await page.locator("#undo").click();
  check((await cell(page, "reading:0/0/front/amplitude").inputValue()) === "apples", "undo takes a change back");
  await page.locator("#tab-rotor").click();
  await type(page, "rotor:planes[0].slots.count", "many");
  await type(page, "rotor:planes[1].weights[1].moment", "690 apples");
  await settled(page); await settled(page);
  const said = (await page.locator(".message:not(:empty)").allTextContents()).join("; ");
  check(said.includes("expected a whole number from 1 to 400") && said.includes("apples") && !said.includes("31"), `every wrong cell of the rotor has its message, and no other: ${said}`);
  await page.context().close();
}

// What is pressed right after a run's name was typed is pressed, and what is typed next arrives.
{
  const page = await open();
  await opened(page);
  const written = (r) => page.evaluate((run) => desk.job.runs[run].facts, r);
  await cell(page, "job:runs[0].name").fill("first of all");
  await cell(page, "job:runs[0].who").click();
  await page.keyboard.press("Control+a");
  await page.keyboard.type("A. Nyberg", {delay: 15});
  await page.keyboard.press("Tab");
  check((await written(0)).who === "A. Nyberg" && (await written(0)).name === "first of all", "what is typed after a name stands in its own cell");
  check((await written(2)).fitted === "same as first of all", "“same as” follows a run's new name");
  check((await page.locator(".run").nth(2).innerText()).includes("the same as in “first of all”: "), "and is told so at once");
  await cell(page, "job:runs[0].name").fill("the first");
  await press(page, "Add an overall level");
  check(await page.evaluate(() => desk.job.runs[0].rows.filter((row) => row.component === "overall").length) === 2, "a button pressed right after a name was typed is pressed");
  await page.locator("#tab-rotor").click();
  await cell(page, "rotor:planes[0].name").fill("cone");
  await cell(page, "rotor:planes[0].slots.count").click();
  await page.keyboard.press("Control+a");
  await page.keyboard.type("41");
  await page.keyboard.press("Tab");
  check(await page.evaluate(() => `${desk.job.rotor.planes[0].name} ${desk.job.rotor.planes[0].slots.count}`) === "cone 41" && (await page.locator(".part h2").allInnerTexts()).includes("Plane 1: cone"), "so it is with a plane's name, and its heading follows");
  await page.context().close();
}

// A reading that the runs together contradict is marked in its cell. And what a paper says of scatter, and of one box of weights.
{
  const page = await open();
  await opened(page, [`${project}/examples/quillhaven/misread.yaml`, example[1], example[2], `${project}/examples/quillhaven/misread.csv`]);
  await press(page, "Go on");
  check((await page.locator(".doubtful").count()) === 0, "nothing is in doubt before an answer");
  await page.locator("#tab-answers").click();
  await press(page, "Influence vectors");
  await page.waitForSelector("#doubts li", {timeout: 60000});
  check(/^Looks wrong: run “third trial spinner”, row \d+, front phase: .* was read, /.test(await page.locator("#doubts li").innerText()), `a phase written down wrong is told: ${await page.locator("#doubts li").innerText()}`);
  await page.locator("#doubts button").click();
  await page.waitForTimeout(200);
  check((await page.locator(".doubtful").count()) === 1 && await page.evaluate(() => document.activeElement.matches(".doubtful") && document.activeElement.value === "90"), "and marked in its cell, which is gone to");
  check((await page.locator(".grid-messages li").allInnerTexts()).some((one) => one.includes("front phase: looks wrong: ")) && (await page.locator("#state-runs").innerText()) === "1 in doubt", "with words beside it, and counted in the tab");
  await page.keyboard.type("50");
  await page.keyboard.press("Tab");
  await settled(page);
  check((await page.locator(".doubtful").count()) === 0 && (await page.locator("#state-runs").innerText()) === "", "until it is put right");
  await page.locator("#tab-rotor").click();
  await page.locator("summary", {hasText: "More on how far readings repeat"}).first().click();
  await page.getByLabel("Amplitudes repeat within ±").first().fill("10");
  await page.getByLabel("Phases repeat within ±").first().fill("10");
  await press(page, "Work out the part of each reading from these two");
  await page.waitForFunction(() => desk.job.rotor.sensors[0].proportional === "17.5 %");
  check((await cell(page, "rotor:sensors[0].proportional").inputValue()) === "17.5" && (await page.locator("#view").innerText()).includes("move the end of a reading sideways by 17.5 % of its amplitude"), "percent and degrees become the file's one figure, and it is said how");
  check((await page.getByText("If two planes are filled from one box").count()) === 2, "where weights are entered it is said that planes do not share a box");
  await page.context().close();
}

// Where the runs cannot tell which of several readings is wrong, one is named first and the others in fewer words.
{
  const page = await open();
  await opened(page);
  await type(page, "reading:0/0/front/amplitude", "0.95");
  await settled(page);
  await page.locator("#tab-answers").click();
  await press(page, "Influence vectors");
  await page.waitForSelector("#doubts li", {timeout: 60000});
  const said = await page.locator("#doubts li").allInnerTexts();
  check(said.length === 1 && /^Looks wrong: run “[^”]+”, row 1, front \w+: .* was read, .*\. Or it is one of these, as the runs alone cannot tell which: run “/.test(said[0]), `one wrong reading is told in one line: ${said}`);
  await page.locator("#doubts button").first().click();
  await page.waitForTimeout(200);
  check((await page.locator(".doubtful").count()) === 1 && (await page.locator(".less-doubtful").count()) > 0 && (await page.locator("#state-runs").innerText()) === "1 in doubt", "one cell is marked and counted, the others are marked less");
  await type(page, "reading:0/0/front/amplitude", "0.433");
  await settled(page);
  check((await page.locator(".doubtful, .less-doubtful").count()) === 0, "and none when one of them is changed");
  await page.context().close();
}

// Two windows on one job.
{
  const page = await open();
  await opened(page);
  const other = await open({}, page.context());
  await other.waitForSelector("table.grid");
  await settled(other);
  await type(other, "job:runs[0].who", "the other window");
  await other.waitForTimeout(500);
  await type(page, "job:runs[1].who", "this window");
  await page.waitForSelector("dialog");
  check((await page.locator("dialog").innerText()).includes("another window"), "the second window to change a job is asked");
  await press(page, "Go on here, as a job of its own");
  await page.waitForTimeout(500);
  await page.locator("#tab-jobs").click();
  await page.waitForSelector(".jobs .wide-button");
  check((await page.locator(".jobs .wide-button").count()) === 2, "both are kept");
  await page.context().close();
}

// From paper to a printed plan: two planes, lead, decimal commas.
for (const width of [1280, 360]) {
  const page = await open({viewport: {width, height: width < 500 ? 740 : 900}});
  await press(page, "New job");
  await settled(page);
  await page.locator("#tab-answers").click();
  await press(page, "No weights");
  await press(page, "No weights");
  await page.waitForSelector("#answer .refused");
  const told = await page.locator("#answer").innerText();
  check(/First put these right: Rotor: \d+ to fill in\./.test(told), `${width}: what is still to fill in is told before the library's refusal`);
  for (const _ of [1, 2]) await page.locator("#undo").click();
  await page.locator("#tab-rotor").click();
  for (const [name, value] of [["rotor:rotation.sense", "counterclockwise"], ["rotor:rotation.seen_from", "front"], ["rotor:phase", "lead"]]) await cell(page, name).selectOption(value);
  await page.getByLabel("Numbers are typed with a").selectOption("comma");
  await type(page, "rotor:name", "Torvik fan");
  await type(page, "job:serial", "TF 0/12");
  for (const [p, plane, count, sense, weights] of [[0, "front cone", "24", "counterclockwise", [["W6", "6,2"], ["W9", "9,5"], ["W14", "14,0"]]], [1, "rear disc", "18", "clockwise", [["R3", "3,1"], ["R6", "6,1"]]]]) {
    if (p > 0) await press(page, "Another plane");
    await type(page, `rotor:planes[${p}].name`, plane);
    await type(page, `rotor:planes[${p}].slots.count`, count);
    await cell(page, `rotor:planes[${p}].slots.numbered`).selectOption(sense);
    await cell(page, `rotor:planes[${p}].slots.seen_from`).selectOption("front");
    for (const [w, [id, mass]] of weights.entries()) {
      if (w === 0) await press(page, "Add a weight", p);
      else {
        await cell(page, `rotor:planes[${p}].weights[${w - 1}].mass`).press("Enter");
        await page.waitForTimeout(150);
        check(await page.evaluate(() => document.activeElement.dataset.cell) === `rotor:planes[${p}].weights[${w}].id`, `${width}: Enter begins the next weight`);
      }
      await type(page, `rotor:planes[${p}].weights[${w}].id`, id);
      await type(page, `rotor:planes[${p}].weights[${w}].mass`, mass);
      if (w === 0) await type(page, `rotor:planes[${p}].weights[${w}].radius`, "142,5");
      await page.waitForTimeout(100);
    }
  }
  for (const [s, name, unit, limit, target] of [[0, "fan front", "mm/s rms", "13,5", "3,5"], [1, "rear", "um pp", "60", "15"]]) {
    if (s > 0) await press(page, "Another sensor");
    await type(page, `rotor:sensors[${s}].name`, name);
    await cell(page, `rotor:sensors[${s}].unit`).selectOption(unit);
    if (s > 0) await type(page, `rotor:sensors[${s}].limits[0].up_to`, "3600");  // the other holds at any speed
    await type(page, `rotor:sensors[${s}].limits[0].limit`, limit);
    await type(page, `rotor:sensors[${s}].limits[0].target`, target);
  }
  for (const [n, speed] of ["2150", "2780", "3420", "3900"].entries()) {
    await cell(page, `job:speeds[${n}].at`).fill(speed);
    await cell(page, `job:speeds[${n}].at`).press("Enter");
    await page.waitForTimeout(100);
    check(await page.evaluate(() => document.activeElement.dataset.cell) === `job:speeds[${n + 1}].at`, `${width}: Enter goes on to the next set speed`);
  }
  await type(page, "job:speeds[2].name", "full speed");
  await settled(page);
  check((await cell(page, "rotor:planes[0].weights[2].radius").inputValue()) === "142,5", `${width}: with the radius of the one before`);
  check((await page.locator("#state-rotor").textContent()) === "", `${width}: the rotor is described`);
  await press(page, "Another plane with the same holes and weights");
  check((await cell(page, "rotor:planes[2].weights[1].mass").inputValue()) === "6,1" && (await cell(page, "rotor:planes[2].name").inputValue()) === "", `${width}: a plane like another needs its name alone`);
  await page.locator("#undo").click();
  await press(page, "Another sensor with the same unit and limits");
  check((await cell(page, "rotor:sensors[2].limits[0].target").inputValue()) === "15", `${width}: and so does a sensor`);
  await page.locator("#undo").click();
  await settled(page);
  check((await page.locator(".question").count()) === 2, `${width}: it is asked where slot 2 is`);
  const first = async () => (await page.locator(".ring").first().locator(".chosen circle").getAttribute("cx"));
  const x = Number(await first());
  await press(page, "No, on the other side");
  await settled(page);
  check(Number(await first()) * x < 0, `${width}: "No" puts slot 2 on the other side`);
  await press(page, "No, on the other side");
  await page.screenshot({path: `${folder}/desk-rotor-${width}.png`, fullPage: true});
  await press(page, "Go on to the runs");
  const rows = [["2157\t3,12\t26\t13,9\t142", "2787\t6,24\t48\t24,7\t152", "3418\t9,45\t77\t41,0\t171"], ["rpm\tmm/s\tdeg\tum\tdeg", "2157\t4,89\t62\t10,9\t105", "2783\t8,94\t86\t21,3\t122", "3418\t11,72\t116\t34,9\t143"], ["2148\t4,00\t19\t13,3\t196", "2778\t7,64\t45\t19,7\t199", "3423\t11,32\t72\t31,8\t211"]];
  for (const [r, block] of rows.entries()) {
    if (r > 0) await press(page, "Another run");
    const card = page.locator(".run").nth(r);
    check((await card.innerText()).includes("What was fitted in this run?"), `${width}: what was fitted is asked in run ${r + 1}`);
    check((await card.locator("tbody th").allInnerTexts()).map((words) => words.replace(/\s+/g, " ").trim()).join() === "2150,2780,3420 full speed,3900,", `${width}: a row waits for each set speed`);
    check((await card.locator("tbody input").evaluateAll((all) => all.map((one) => one.value).join(""))) === "", `${width}: and nothing is filled in that nobody typed`);
    const bare = r === 2 && width < 500;  // this time the speeds are left as they are set
    await cell(page, `reading:${r}/0/${bare ? "fan front/amplitude" : "speed"}`).evaluate((node, text) => { const data = new DataTransfer(); data.setData("text/plain", text); node.focus(); node.dispatchEvent(new ClipboardEvent("paste", {clipboardData: data, bubbles: true, cancelable: true})); }, block.map((row) => (bare ? row.slice(row.indexOf("\t") + 1) : row)).join("\n"));
    await page.waitForTimeout(300);
    if (r === 0) { await card.getByRole("button", {name: "No weights"}).click(); check((await card.innerText()).includes("Fitted in this run: nothing."), `${width}: the answer is told on the card`); continue; }
    await card.getByRole("button", {name: "Other weights"}).click();
    const dialog = page.locator("dialog");
    const plane = dialog.locator(`section[aria-label="${r === 1 ? "front cone" : "rear disc"}"]`);
    await plane.locator(".hit").nth(r === 1 ? 4 : 10).click();
    check((await plane.locator(".slot-row b").textContent()) === `Slot ${r === 1 ? 5 : 11}`, `${width}: a hole is chosen by tapping it`);
    await plane.locator("select").selectOption(r === 1 ? "W9" : "R6");
    await dialog.getByRole("button", {name: "Done"}).click();
    await settled(page);
    check((await card.innerText()).includes(r === 1 ? "Fitted in this run: front cone: slot 5 W9." : "Fitted in this run: rear disc: slot 11 R6."), `${width}: the weights of run ${r + 1} are told on its card`);
  }
  await settled(page);
  if (width < 500) check(await page.evaluate(() => readingsOf(desk.job).filter((one) => one.run === "trial 2").map((one) => one.speed).join()) === "2150 rpm,2150 rpm,2780 rpm,2780 rpm,3420 rpm,3420 rpm", `${width}: where no speed is written the set one counts as read`);
  check((await page.locator("#state-runs").textContent()) === "", `${width}: the runs are complete`);
  check((await cell(page, "reading:1/0/fan front/amplitude").inputValue()) === "4,89", `${width}: pasted with headings and decimal commas`);
  await page.screenshot({path: `${folder}/desk-runs-${width}.png`, fullPage: true});
  await press(page, "To the answers");
  check((await page.locator("#view").innerText()).includes("What is on the rotor now?") && (await page.locator("#answer iframe").count()) === 0, `${width}: no plan before it is said what is on the rotor now`);
  check((await page.locator(".question button").allInnerTexts()).join("; ") === "The same as in “trial 2”; The same as in “as found”; No weights; Other weights", `${width}: with the answers that are likely`);
  await press(page, "The same as in “as found”");
  await page.waitForSelector("#answer iframe", {timeout: 60000});
  const frame = page.frameLocator("#answer iframe");
  check((await frame.locator(".card").count()) > 0, `${width}: the plan is there`);
  check((await page.locator("#view").innerText()).includes("On the rotor now: the same as in “as found”: nothing."), `${width}: beside it stands what is on the rotor now`);
  check((await frame.locator("main").innerText()).includes("12.5 means 12,5"), `${width}: and that its numbers have a decimal point`);
  await page.evaluate(() => { document.querySelector("#answer iframe").contentWindow.print = () => { window.printed = true; }; });
  await frame.locator("#print").click();
  check(await page.evaluate(() => window.printed === true), `${width}: and prints`);
  await page.screenshot({path: `${folder}/desk-plan-${width}.png`});
  const sheet = await printsWhole(page, `plan-${width}`);
  check(sheet.includes("12.5 means 12,5"), `${width}: so does the sheet`);
  check(sheet.includes("Torvik fan") && /front cone|rear disc/.test(sheet), `${width}: with the weights to fit`);
  if (width > 500) {
    await page.getByLabel("Time for the search").selectOption("search for ten minutes at most");
    await page.waitForSelector("#answer iframe", {timeout: 60000});
    await press(page, "Run sheet");
    await page.waitForSelector("#answer iframe", {timeout: 60000});
    await settled(page);
    check(!/no reading yet/i.test(await printsWhole(page, "run sheet")), "and a run sheet is blank");
    const names = Object.keys(await saved(page)).sort();
    const job = (await saved(page))["TF-0-12-job.yaml"];
    check(/at: 3420 rpm/.test(job) && /full speed/.test(job) && !/3900/.test(job) && /fitted_now: same as as found/.test(job), "the job file tells the set speeds that were read, and what is on the rotor");
    check(names.join() === "TF-0-12-job.yaml,TF-0-12-readings.csv,TF-0-12-rotor.yaml", `saved files have the serial in their names: ${names}`);
    await press(page, "Plan");
    await page.waitForSelector("#answer iframe", {timeout: 60000});
    await page.waitForTimeout(300);
  }
  await press(page, "Fit these weights: begin the check run");
  check((await page.locator(".run").count()) === 4, `${width}: the check run is begun with the plan's weights`);
  check(await page.evaluate(() => document.activeElement.dataset.cell) === "reading:3/0/fan front/amplitude", `${width}: its first reading is typed next`);
  await type(page, "reading:3/0/fan front/amplitude", "1,3");
  await page.locator("#tab-runs").click();
  check((await page.locator("#view").innerText()).includes("What is on the rotor now?"), `${width}: after another run it is asked anew what is on the rotor`);
  check(page.troubles.length === 0, `${width}: no complaint, no request: ${page.troubles.slice(0, 3)}`);
  await page.context().close();
}

// By keyboard alone: fitting, readings, the plan. And what is printed.
{
  const page = await open();
  await opened(page);
  const focused = () => page.evaluate(() => { const one = document.activeElement; return `${one.getAttribute("aria-label") ?? one.textContent ?? ""} ${one.dataset.cell ?? ""}`; });
  const tabTo = async (words, most = 300) => { for (let n = 0; n < most; ++n) { if ((await focused()).includes(words)) return true; await page.keyboard.press("Tab"); } return false; };
  check(await tabTo("Change what is fitted") && ((await page.keyboard.press("Enter")), await page.waitForSelector("dialog"), await tabTo("The next slot")), "what is fitted is reached with Tab and Enter");
  const slot = () => page.locator("dialog section").first().locator(".slot-row b").textContent();
  const first = Number((await slot()).replace("Slot ", ""));
  await page.keyboard.press("Enter");
  await page.keyboard.press("Enter");
  check(await slot() === `Slot ${first + 2}` && (await focused()).includes("The next slot"), "Enter goes from slot to slot and stays where it is");
  await page.keyboard.press("Tab");
  await page.keyboard.press("K");
  check(/^K/.test(await page.locator("dialog section").first().locator("select").inputValue()), "a weight is chosen by its first letter");
  await page.keyboard.press("Escape");
  await page.waitForSelector("dialog", {state: "detached"});
  await page.locator("#undo").focus();
  await page.keyboard.press("Enter");
  await cell(page, "reading:0/0/front/amplitude").focus();
  await page.keyboard.press("Enter");
  await page.waitForTimeout(100);
  check((await focused()).includes("reading:0/1/front/amplitude"), "Enter goes down a column");
  await page.keyboard.press("ArrowUp");
  await page.waitForTimeout(100);
  check((await focused()).includes("reading:0/0/front/amplitude"), "and the arrow up again");
  await page.locator("table.grid").first().locator("tbody tr").first().locator("input").last().focus();
  await page.keyboard.press("Tab");
  check((await focused()).includes("reading:0/1/"), "Tab goes on from row to row");
  check(await tabTo("To the answers"), "the answers are reached with Tab");
  await page.keyboard.press("Enter");
  await page.waitForSelector("#answer iframe", {timeout: 120000});
  check(await page.frameLocator("#answer iframe").locator(".card").count() === 3, "and the plan with Enter");
  await press(page, "Is it ready?");
  await page.waitForSelector("#answer pre");
  await page.emulateMedia({media: "print"});
  check(await page.evaluate(() => !document.querySelector("nav").checkVisibility() && document.querySelector("#answer pre").checkVisibility()), "what is printed is the answer, without the desk around it");
  check((await page.pdf({path: `${folder}/desk-ready.pdf`, format: "A4"})).length > 5000, "a printed answer is there to be looked at");
  await page.context().close();
}

// A drop-down keeps the focus, the page its place, and what is typed next is chosen too. Each count on a tab has its message in sight.
{
  const page = await open();
  await press(page, "New job");
  await settled(page);
  const focus = () => page.evaluate(() => `${document.activeElement.id}: ${document.activeElement.value}`);
  const height = () => page.evaluate(() => Math.round(scrollY));
  check((await page.locator("#state-rotor").textContent()) === `${await page.locator("#view .to-fill").count()} to fill in`, "each cell that is counted as still to fill in is marked");
  await page.locator("#unit-mark").focus();
  await page.keyboard.press("ArrowDown");
  check(await focus() === "unit-mark: comma", "the decimal mark keeps the focus when it is changed");
  await page.keyboard.press("Tab");
  await page.keyboard.press("ArrowDown");
  check(await focus() === "unit-speed: %" && await page.getByText("For speeds in %, say below").isVisible(), "so does the unit of speeds, with what follows from it");
  await page.keyboard.press("ArrowUp");
  check(await page.evaluate(() => `${desk.job.units.mark} ${desk.job.units.speed}`) === "comma rpm", "and the next choice arrives");
  await page.locator("#unit-sensor-0").scrollIntoViewIfNeeded();
  await page.locator("#unit-sensor-0").focus();
  const before = await height();
  await page.keyboard.type("mm/s p", {delay: 40});
  check(await focus() === "unit-sensor-0: mm/s peak" && await height() === before && before > 100, "a unit is typed by its letters, the page stays where it is");
  check((await page.locator("th", {hasText: "Limit, mm/s"}).count()) === 1 && await page.evaluate(() => document.querySelector(`label[for="${document.activeElement.id}"]`).textContent) === "Readings are in", "with the heading of its limits");
  await cell(page, "rotor:sensors[0].repeatability").focus();
  for (const [n, text] of ["12", "4", "35"].entries()) {
    await page.keyboard.press("Tab");
    check(await page.evaluate(() => document.activeElement.dataset.cell) === `rotor:sensors[0].limits[0].${["limit", "target", "up_to"][n]}`, `Tab goes to the ${["limit", "target", "speed it holds up to"][n]}`);
    await page.keyboard.type(text);
  }
  await page.keyboard.press("Tab");
  await cell(page, "rotor:planes[0].slots.count").fill("20");
  await settled(page); await settled(page);
  check(/1 wrong/.test(await page.locator("#state-rotor").textContent()) && await page.locator("#view [aria-invalid]").isVisible() && await page.locator(".message:not(:empty)").isVisible(), "what is wrong in a part that was closed is shown");
  await page.locator("#tab-rotor").click();
  check(await page.evaluate(() => document.activeElement.getAttribute("aria-invalid")) === "true", "the tab, pressed once more, goes to it");
  await page.context().close();
}

// A run that tried a weight is no check run; one that was begun with a plan is. A plan that changes nothing begins none.
{
  const page = await open();
  await opened(page);
  const answered = async (name) => { await page.locator("#tab-answers").click(); await press(page, name); await page.waitForSelector("#answer > *:not(.working)", {timeout: 60000}); await settled(page); };
  await page.evaluate(() => { for (const run of desk.job.runs) run.opened = false; });  // as if they were entered here
  await answered("Check run");
  check((await page.locator("#answer").innerText()).includes("There is no check run yet: the run “") && (await page.locator("#answer").innerText()).includes("Fit these weights: begin the check run"), "after trial runs it is said that there is no check run, and what begins one");
  await page.getByRole("button", {name: /was the check run: judge it$/}).click();
  await page.waitForSelector("#answer pre", {timeout: 60000});
  check((await page.locator("#answer pre").innerText()).includes(`Check run: ${await page.evaluate(() => desk.job.runs.at(-1).facts.name)}, `), "it is judged where a person says that it was one");
  await page.locator("#undo").click();
  await page.evaluate(async () => { const asIs = engine.ask; engine.ask = (what, rest) => (what === "check" ? Promise.reject(Object.assign(new Error(), {found: {what: "there is no check run yet: run \"x\", the last one, looks like a trial run (its name says so)", expected: "", missing: "check run"}})) : asIs(what, rest)); for (const run of desk.job.runs) run.opened = true; kept.clear(); desk.answer = "check"; show(); setTimeout(() => { engine.ask = asIs; }, 1500); });
  await page.waitForTimeout(1600);
  check(/^There is no check run yet: run "x", .*\(its name says so\)\./.test(await page.locator("#answer").innerText()), "the library's refusal of a trial run is told in the same way");
  await page.evaluate(() => { for (const run of desk.job.runs) run.opened = false; });
  await press(page, "To the plan");
  await page.waitForSelector("#answer iframe", {timeout: 60000});
  const take = page.getByRole("button", {name: "Fit these weights: begin the check run"});
  await take.waitFor();
  await page.getByLabel("Slots to change").focus();
  await page.keyboard.press("ArrowDown");
  await page.waitForSelector("#answer iframe", {timeout: 60000});
  await page.waitForFunction(() => document.querySelector("#answer iframe")?.contentWindow.balancePage);
  await settled(page);
  check(await page.evaluate(() => document.activeElement.getAttribute("aria-label") === "Slots to change" && document.activeElement.value === "0"), "the number of slots keeps the focus");
  check(/Fit nothing/.test(await page.frameLocator("#answer iframe").locator("body").innerText()) && await take.count() === 0, "where nothing is to be fitted no check run is offered");
  await page.getByLabel("Slots to change").selectOption("");
  await take.waitFor({timeout: 60000});
  await take.click();
  const {r, readings} = await page.evaluate(() => { const r = desk.job.runs.length - 1; return {r, readings: desk.job.runs[0].rows.filter((row) => row.component === "once-per-rev" && row.speed)}; });
  for (const [i, row] of readings.entries()) {
    await type(page, `reading:${r}/${i}/speed`, row.speed);
    for (const [sensor, {amplitude, phase}] of Object.entries(row.cells)) { await type(page, `reading:${r}/${i}/${sensor}/amplitude`, amplitude); await type(page, `reading:${r}/${i}/${sensor}/phase`, phase); }
    if (i === 0) check((await page.locator("#view").innerText()).includes("What is on the rotor now?") && !(await page.locator("#view").innerText()).includes("This is asked when"), "what is on the rotor is asked as soon as the last run has readings");
  }
  await settled(page);
  await press(page, "To the answers");
  await page.waitForSelector("#answer pre", {state: "attached", timeout: 60000});
  check(await page.evaluate(() => desk.answer) === "check" && /Verdict on the check run[^]*Check run: check run\n/.test(await page.locator("#answer pre").textContent()), "after a check run the answers begin with its verdict");
  await page.context().close();
}

// In a low window the weights' list and Done are in sight, and the question of a new run is below the tabs. No words of files.
{
  const page = await open({viewport: {width: 1280, height: 720}});
  await opened(page);
  const inSight = (node) => node.evaluate((one) => { const {top, bottom} = one.getBoundingClientRect(); return top >= 0 && bottom <= innerHeight && one.contains(document.elementFromPoint(one.getBoundingClientRect().left + 5, (top + bottom) / 2)); });
  await press(page, "Change what is fitted");
  check(await inSight(page.locator("dialog").getByRole("button", {name: "Done"})) && await inSight(page.locator("dialog section select").first()), "the list of weights and Done are in sight in a low window");
  await page.screenshot({path: `${folder}/desk-fitting-low.png`});
  await press(page, "Done");
  await press(page, "Another run");
  await page.setViewportSize({width: 1280, height: 420});
  await page.evaluate(() => { scrollTo(0, document.documentElement.scrollHeight); focusNow(cellOf(`run ${desk.job.runs.length - 1}`, "fitted")); });
  await page.waitForTimeout(200);
  check(await inSight(page.locator(".run").last().locator(".question p b")), "the question of another run is below the tabs");
  await press(page, "No weights");
  for (let n = await page.locator(".run").count(); n > 1; --n) { await press(page, "Remove this run", 1); await press(page, "Remove it"); await page.waitForFunction((most) => document.querySelectorAll(".run").length === most, n - 1); }
  await settled(page);
  await page.locator("#tab-answers").click();
  await press(page, "Influence vectors");
  await page.waitForSelector("#answer .refused", {timeout: 60000});
  check(/next: “Next trial run”/.test(await page.locator("#answer").innerText()) && !/trimwright|\.yaml|\.csv/.test(await page.locator("#answer").innerText()), `a refusal names the button that comes next, no command and no file: ${await page.locator("#answer").innerText()}`);
  await press(page, "Is it ready?");
  await page.waitForSelector("#answer pre");
  check(!/trimwright (ready|trial|plan|check|influence)|\.yaml|\.csv/.test(await page.locator("#answer pre").innerText()), "nor does the answer whether it is ready");
  await page.context().close();
}

// Practice: run, trial, run, truth.
{
  const page = await open();
  await page.getByLabel("Number").fill("7");
  await press(page, "Begin to practise");
  await settled(page);
  await page.getByRole("button", {name: /^Run it/}).click();
  await page.waitForSelector("table.grid");
  await page.locator("#tab-answers").click();
  await press(page, "Next trial run");
  await page.waitForSelector("#answer iframe", {timeout: 60000});
  await press(page, "Take this as the next run");
  await settled(page);
  await page.getByRole("button", {name: /^Run it/}).click();
  await page.waitForFunction(() => document.querySelectorAll("table.grid").length === 2);
  await press(page, "What was it really?");
  await page.waitForSelector("dialog pre");
  check((await page.locator("dialog pre").innerText()).length > 300, "practice goes from the first run to the truth");
  await page.context().close();
}

// Every view at every width, light and dark: nothing too wide, targets of 44 px, no violation.
for (const colorScheme of ["light", "dark"]) {
  const page = await open({colorScheme});
  const about = async (where) => {
    for (const width of [360, 820, 1280, 1920]) {
      await page.setViewportSize({width, height: width < 500 ? 740 : 900});
      await page.waitForTimeout(150);
      check(await page.evaluate(() => document.documentElement.scrollWidth <= document.documentElement.clientWidth), `${where} ${colorScheme} ${width}: not too wide`);
      if (width === 360) { const few = await small(page); check(few.length === 0, `${where} ${colorScheme}: targets of 44 px: ${few.slice(0, 2)}`); }
      await page.screenshot({path: `${folder}/desk-${where}-${colorScheme}-${width}.png`});
    }
    const found = await violations(page);
    check(found.length === 0, `${where} ${colorScheme}: no violation found by axe-core ${found.slice(0, 4)}`);
  };
  await about("jobs");
  await opened(page);
  await about("runs");
  await page.locator("#tab-rotor").click();
  await settled(page);
  await about("rotor");
  await page.locator("#tab-runs").click();
  await press(page, "Change what is fitted");
  await about("fitting");
  await page.keyboard.press("Escape");
  await page.locator("#tab-answers").click();
  await page.waitForSelector("#answer iframe", {timeout: 60000});
  await about("plan");
  await press(page, "Is it ready?");
  await settled(page);
  await about("ready");
  await page.context().close();
}

// How long the example's plan takes, beside the program; and Stop.
{
  const page = await open();
  await opened(page);
  const times = await page.evaluate(async () => { const files = await filesOf(desk.job); const took = []; for (let n = 0; n < 5; ++n) { const began = performance.now(); await engine.ask("plan", files); took.push(performance.now() - began); } return took.sort((a, b) => a - b); });
  const native = [];
  for (let n = 0; n < 5; ++n) { const began = performance.now(); spawnSync(program, ["plan", example[0], "--format", "json"]); native.push(performance.now() - began); }
  native.sort((a, b) => a - b);
  console.log(`example's plan: median ${times[2].toFixed(0)} ms in the browser, ${native[2].toFixed(0)} ms by the program, ${(times[2] / native[2]).toFixed(1)} times`);
  const stopped = await page.evaluate(async () => { const long = engine.ask("plan", {...(await filesOf(desk.job)), changes: 6, time_limit_s: 3600}).catch((error) => error.stopped === true); engine.stop(); return [await long, (await engine.ask("numbers", {mark: "comma", cells: ["0,5"]})).cells[0]]; });
  check(stopped[0] === true && stopped[1] === "0.5", "Stop ends what is worked on, and the next question is answered");
  await page.context().close();
}
await browser.close();
console.log(failures.length === 0 ? "the desk: all good" : `${failures.length} failed`);
process.exit(failures.length > 0 ? 1 : 0);
