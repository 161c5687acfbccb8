/** Readings of a run: a row for each speed, amplitude and phase for each sensor, as on paper. */
const gridColumns = (job) => ["speed", ...job.rotor.sensors.flatMap((sensor) => [[sensor.name, "amplitude"], [sensor.name, "phase"]])];
const unitOfColumn = (job, column) => (column === "speed" ? job.units.speed : column[1] === "phase" ? "deg" : job.rotor.sensors.find((one) => one.name === column[0])?.unit ?? "");
const cellName = (r, i, column) => (column === "speed" ? `reading:${r}/${i}/speed` : `reading:${r}/${i}/${column[0]}/${column[1]}`);
/** The first cell of a row that waits: its speed, or what was read at a set speed. */
const firstCell = (r, i) => cellName(r, i, gridColumns(desk.job)[desk.job.runs[r].rows[i]?.set === undefined ? 0 : 1] ?? "speed");
const valueIn = (row, column) => (column === "speed" ? row.speed : row.cells[column[0]]?.[column[1]]) ?? "";
const setIn = (row, column, text) => {
  if (column === "speed") { row.speed = text; return; }
  const cell = (row.cells[column[0]] ??= {});
  cell[column[1]] = text;
  if (!cell.amplitude && !cell.phase) delete row.cells[column[0]];
};

const grid = (r) => {
  const {job} = desk;
  const columns = gridColumns(job);
  const overall = job.runs[r].rows.some((row) => row.component !== "once-per-rev");
  const names = new Map(setSpeeds(job));
  const set = job.runs[r].rows.some((row) => row.set !== undefined);
  const asSet = (one) => make("th", {scope: "row"}, one === undefined ? "" : shownNumber(one), names.get(one) ? make("small", {}, ` ${names.get(one)}`) : null);
  const body = make("tbody", {});
  const row = (i) => make("tr", {}, set ? asSet(desk.job.runs[r].rows[i].set) : null, columns.map((column, c) => make("td", {}, gridCell(r, i, c, columns))),
    overall ? make("td", {}, componentCell(r, i)) : null,
    make("td", {}, button("×", () => { change((edited) => { edited.runs[r].rows.splice(i, 1); if (edited.runs[r].rows.length === 0) edited.runs[r].rows.push(newRow()); }); show(); }, {"aria-label": `Remove row ${i + 1}`, class: "slight"})));
  body.append(...job.runs[r].rows.map((_, i) => row(i)));
  body.addRow = () => { const i = desk.job.runs[r].rows.length - 1; body.append(row(i)); };
  const head = (words, unit, span = 1) => make("th", {scope: "col", colspan: String(span)}, words, unit ? make("small", {}, ` ${unit}`) : null);
  return live(make("div", {class: "scroll", role: "group"},
    make("table", {class: "grid", "data-run": String(r)}, make("thead", {},
      make("tr", {}, set ? make("td", {}) : null, make("td", {}), job.rotor.sensors.map((sensor) => make("th", {scope: "colgroup", colspan: "2"}, sensor.name || "sensor")), overall ? make("td", {}) : null, make("td", {})),
      make("tr", {}, set ? head("set to", job.units.speed) : null, head(set ? "read" : "speed", job.units.speed), job.rotor.sensors.map((sensor) => [head("amplitude", sensor.unit), head("phase", job.rotor.phase && job.rotor.phase !== "unknown" ? `deg ${job.rotor.phase}` : "deg")]), overall ? head("component") : null, make("td", {}))), body)),
  (node) => node.setAttribute("aria-label", `Readings of ${desk.job.runs[r]?.facts.name ?? ""}`));
};

const gridCell = (r, i, c, columns) => {
  const column = columns[c];
  const {job} = desk;
  const name = cellName(r, i, column);
  const id = `cell${++fieldNumber}`;
  const label = column === "speed" ? `Speed, row ${i + 1}` : `${column[0]} ${column[1]}, row ${i + 1}`;
  const unit = unitOfColumn(job, column);
  const input = make("input", {id, type: "text", inputmode: "decimal", autocomplete: "off", spellcheck: "false", "aria-label": label, "aria-describedby": `${id}m`, "data-cell": name, value: shownNumber(withoutUnit(valueIn(job.runs[r].rows[i] ?? newRow(), column), unit)),
    placeholder: column === "speed" && job.runs[r].rows[i]?.set !== undefined ? "as set" : null,
    onchange: async (event) => {
      const row = desk.job.runs[r]?.rows[i];  // which may have moved when the number is understood
      const text = await typedNumber(event.target.value.trim(), name);
      change((edited) => { const place = edited.runs[r]?.rows.includes(row) ? row : edited.runs[r]?.rows[i]; if (place) setIn(place, column, withoutUnit(text, unit)); });
      showIn(event.target, cellName(r, Math.max(i, desk.job.runs[r]?.rows.indexOf(row) ?? i), column), text);
      lastRow(r);
    },
    onkeydown: (event) => {
      if (event.key === "Tab" && !event.shiftKey && c === columns.length - 1 && i + 1 < desk.job.runs[r].rows.length) {
        event.preventDefault();  // on to the next row, past the button that removes this one
        focusNow(firstCell(r, i + 1));
        return;
      }
      const to = {ArrowDown: [1, 0], Enter: [1, 0], ArrowUp: [-1, 0]}[event.key];
      if (!to) return;
      event.preventDefault();
      event.target.blur();
      setTimeout(() => focusCell(cellName(r, Math.max(0, i + to[0]), column)), 30);
    },
    onpaste: (event) => {
      const text = event.clipboardData.getData("text/plain");
      if (!/[\t\n;]/.test(text.trim())) return;
      event.preventDefault();
      pasteBlock(text, r, i, c);
    },
    onfocus: (event) => event.target.select()});
  return make("span", {class: "cell"}, input, make("span", {class: "message", id: `${id}m`}));
};
const componentCell = (r, i) => {
  const select = make("select", {"aria-label": `Component, row ${i + 1}`, "data-cell": `reading:${r}/${i}/component`, onchange: (event) => { change((job) => { job.runs[r].rows[i].component = event.target.value; }); }}, choice.component.map(([key, words]) => make("option", {value: key}, words)));
  select.value = desk.job.runs[r].rows[i].component;
  return select;
};
/** There is always an empty row to go on in. */
const lastRow = (r) => {
  const rows = desk.job.runs[r].rows;
  if (isBlank(rows.at(-1))) return;
  rows.push(newRow());
  document.querySelector(`table[data-run="${r}"] tbody`)?.addRow();
};

/** Rows of cells as a spreadsheet copies them: tabs, or semicolons; quoted where a cell has several lines. */
const blockOf = (text) => {
  const mark = text.includes("\t") ? "\t" : ";";
  return text.replace(/\r\n?/g, "\n").replace(/\n+$/, "").split("\n").map((line) => line.split(mark).map((cell) => cell.trim().replace(/^"(.*)"$/, "$1")));
};
/** Fills the grid from the cell pasted at. A heading row is left out and told; so is what finds no column. */
const pasteBlock = async (text, r, i, c) => {
  let block = blockOf(text);
  const said = [];
  const bare = (cell) => cell.replace(/[\s ]*(rpm|%|deg|°)$/, "");
  const numeric = (cell) => /^[+-]?[\d.,]+$/.test(bare(cell));
  const headings = block.findIndex((row) => row.some(numeric));
  if (headings < 0) { say("There are no numbers in what was pasted."); return; }
  if (headings > 0) { said.push(headings === 1 ? "the heading row was left out" : `${headings} heading rows were left out`); block = block.slice(headings); }
  const columns = gridColumns(desk.job);
  const width = Math.max(...block.map((row) => row.length));
  if (width > columns.length - c) said.push(`${width - (columns.length - c)} columns found no place and were left out`);
  const cells = block.flat();
  const comma = cells.some((cell) => /^[+-]?\d+,\d+$/.test(bare(cell))) && !cells.some((cell) => /^[+-]?\d+\.\d+$/.test(bare(cell)));
  const mark = comma ? "comma" : desk.job.units.mark;
  const {cells: numbers} = await engine.ask("numbers", {mark, cells});
  let n = 0;
  let filled = 0;
  const taken = block.map((row) => row.map((cell) => { const found = numbers[n++]; return typeof found === "string" ? found : {raw: cell, error: found.error}; }));
  change((job) => {
    if (comma) job.units.mark = "comma";
    const rows = job.runs[r].rows;
    taken.forEach((row, down) => {
      while (rows.length <= i + down) rows.push(newRow());
      row.slice(0, columns.length - c).forEach((one, right) => {
        const column = columns[c + right];
        if (typeof one !== "string") desk.typed.set(cellName(r, i + down, column), one.error);
        setIn(rows[i + down], column, withoutUnit(typeof one === "string" ? one.replace(/°$/, " deg") : `${one.raw}?`, unitOfColumn(job, column)));
        ++filled;
      });
    });
    if (!isBlank(rows.at(-1))) rows.push(newRow());
  });
  show();
  say(`${block.length} rows pasted${said.length > 0 ? `; ${said.join("; ")}` : ""}.`);
};
