/** Words and numbers as the program writes them. */
const wording = {
  amplitude(shown) {
    if (shown === 0) return "0";
    const whole = Math.floor(Math.log10(Math.abs(shown))) + 1;
    return shown.toFixed(Math.min(4, Math.max(0, 3 - whole)));
  },
  reading(data, row) {
    const amplitude = wording.amplitude(row.amplitude);
    return data.phase_convention === "unknown" ? amplitude : `${amplitude} ∠ ${wording.angle(row.phase, 0)}`;
  },
  angle(degrees, decimals = 1) {
    const scale = 10 ** decimals;
    const rounded = (Math.floor(degrees * scale + 0.5 + 1e-6) / scale) % 360;
    return `${((rounded + 360) % 360).toFixed(decimals)}°`;
  },
  level(row) {
    if (row.amplitude > row.limit) return "✕ ABOVE LIMIT";
    if (row.target === null) return "✓ below limit";
    return row.amplitude > row.target ? "▲ above target" : "✓ below target";
  },
  levels(rows, notPredicted) {
    const overLimit = rows.filter((row) => row.amplitude > row.limit).length;
    const overTarget = rows.filter((row) => row.amplitude <= row.limit && row.target !== null && row.amplitude > row.target).length;
    const targets = rows.filter((row) => row.target !== null).length;
    const of = `${rows.length} reading${rows.length === 1 ? "" : "s"} ${notPredicted > 0 ? "predicted" : "expected"}`;
    const all = `${rows.length === 1 ? "" : "all "}${of}`;
    const left = notPredicted === 0 ? "" : `; ${notPredicted} not predicted: watch ${notPredicted === 1 ? "it" : "them"}`;
    if (overLimit > 0) return `✕ ${overLimit} of ${of} ABOVE LIMIT${left}`;
    if (overTarget > 0) return `▲ ${all} below limit, ${overTarget} above target${left}`;
    const target = targets === 0 ? "" : targets === rows.length ? " and target" : ", and below target where one is set";
    return `✓ ${all} below limit${target}${left}`;
  },
  content(plane, piece) {
    if (piece === undefined) return plane.filler_g_mm > 0 ? "filler" : "open";
    return typeof piece === "object" ? `piece of ${Number(piece.moment_g_mm.toPrecision(6))} g mm` : piece;
  },
  mark(plane, piece) {
    if (piece === undefined) return "";
    if (typeof piece === "object") return piece.moment_g_mm.toFixed(0);
    return plane.weights.find((weight) => weight.id === piece).mark;
  },
  place(slot) {
    return `${wording.angle(slot.angle_deg)} with rotation${slot.blades ? `, ${slot.blades}` : ""}`;
  },
  moment(moment) {
    const size = Math.hypot(...moment);
    if (size < 0.5) return "none";
    const degrees = (Math.atan2(moment[1], moment[0]) * 180) / Math.PI;
    return `${Number(size.toPrecision(4))} g mm at ${wording.angle(degrees, 0)}`;
  },
};

const svgNode = (name, attributes, text = "") => {
  const node = document.createElementNS(document.querySelector("svg").namespaceURI, name);
  Object.entries(attributes).forEach(([key, value]) => node.setAttribute(key, value));
  node.textContent = text;
  return node;
};

/** Draws what is expected: bars, table, polar plots, speed plots. What is folded away waits until it is opened. */
const levelDrawing = (data) => {
  const number = (node, name) => Number(node.getAttribute(name));
  const move = (node, x, y) => node.setAttribute("transform", `translate(${x.toFixed(2)} ${y.toFixed(2)})`);
  const drawings = [];  // {fold, draw}
  let last = null;
  const sight = new Map();
  const observer = new IntersectionObserver((seen) => seen.forEach((one) => sight.set(one.target, one.isIntersecting)));
  let waiting = 0;
  const onRows = (part, draw) => {
    const fold = part.closest("details");
    drawings.push({fold, part, draw});
    if (part.classList.contains("level")) observer.observe(part);
    if (fold) fold.addEventListener("toggle", () => { if (fold.open && last) draw(last); });
  };
  const rowOf = (node) => Number(node.dataset.row);
  const write = (node, words) => { if (node.textContent !== words) node.textContent = words; };  // what stays the same is not laid out anew
  const put = (node, name, value) => { if (node.getAttribute(name) !== value) node.setAttribute(name, value); };
  const groups = document.querySelector(".bar-groups");
  const [limitAt, mostShown] = groups ? [number(groups, "data-limit-at"), number(groups, "data-most-shown")] : [];
  const share = (ratio) => `${(limitAt * Math.min(Math.max(ratio, 0), mostShown)).toFixed(1)}%`;
  const showResult = (node, words) => {
    if (node.dataset.words === words) return;
    node.dataset.words = words;
    const well = words.startsWith("✓");
    node.className = well ? "result" : "result ill";
    if (!well) { node.textContent = words; return; }
    const rest = document.createElement("span");
    rest.className = "unseen";
    rest.textContent = words.slice(1);
    node.replaceChildren(words.slice(0, 1), rest);
  };

  document.querySelectorAll(".level[data-row]").forEach((line) => {
    const judged = line.classList.contains("judged");
    const [figure, result, bar] = [".figure", ".result", ".bar"].map((part) => line.querySelector(part));
    const [expected, over, before] = [".expected", ".over", ".before"].map((part) => bar.querySelector(part));
    const beforeShare = before ? parseFloat(before.getAttribute("width")) / limitAt : 0;
    const [, saidBefore, saidRange, saidAfter] = /^(.*expected )[^,]+(, nine in ten from [^,]+)?(.*)$/.exec(bar.getAttribute("aria-label"));
    onRows(line, (rows) => {
      const row = rows[rowOf(line)];
      put(expected, "width", share(row.ratio));
      const most = Math.max(row.ratio, beforeShare);
      if (!judged) {
        write(over, most > mostShown ? `${most.toFixed(2)} × limit ▶` : "");
        write(figure, wording.amplitude(row.amplitude));
        showResult(result, wording.level(row));
      }
      bar.setAttribute("aria-label", `${saidBefore}${wording.amplitude(row.amplitude)}${row.own ? "" : saidRange || ""}${saidAfter}`);
    });
  });

  const table = document.querySelector("#levels table");
  if (table) {
    const lines = [...table.querySelectorAll("tr[data-row]")].map((tr) =>
      ({row: rowOf(tr), cells: ["after", "sd", "result", "differs"].map((name) => tr.querySelector(`.${name}`))}));
    onRows(table, (rows) => lines.forEach(({row: i, cells: [after, sd, result, differs]}) => {
      const row = rows[i];
      after.textContent = wording.reading(data, row);
      sd.textContent = row.sd === null ? "?" : wording.amplitude(row.sd);
      result.textContent = wording.level(row);
      differs.textContent = row.differs_by === null ? "?" : wording.amplitude(row.differs_by);
    }));
  }

  /** Beyond the rim: an arrow on it, and the number. */
  const showOff = (mark, amplitude, full, toward) => {
    let off = mark.querySelector(".off");
    if (!off && amplitude <= full * 1.0001) return;
    if (!off) {
      off = svgNode("g", {class: "off"});
      off.append(svgNode("path", {class: "off-head", d: "M0-16L6-6H-6Z"}), svgNode("text", {class: "speed", y: 22}));
      mark.append(off);
    }
    off.style.display = amplitude > full * 1.0001 ? "" : "none";
    off.firstChild.setAttribute("transform", `rotate(${toward.toFixed(1)})`);
    off.lastChild.textContent = wording.amplitude(amplitude);
  };

  document.querySelectorAll("[data-polar]").forEach((plot) => {
    const full = number(plot, "data-full");
    const rim = number(plot, "data-rim");
    const spot = (row) => {
      const r = Math.min((rim * row.amplitude) / full, rim);
      const turn = (row.phase * Math.PI) / 180;
      return [200 + r * Math.sin(turn), 200 - r * Math.cos(turn)];
    };
    const moves = [...plot.querySelectorAll("line.move")];
    const marks = [...plot.querySelectorAll("g.expected")].map((mark) => ({mark, region: mark.querySelector(".region")}));
    onRows(plot, (rows) => {
      moves.forEach((line) => {
        const [x, y] = spot(rows[rowOf(line)]);
        line.setAttribute("x2", x.toFixed(2));
        line.setAttribute("y2", y.toFixed(2));
      });
      marks.forEach(({mark, region}) => {
        const row = rows[rowOf(mark)];
        move(mark, ...spot(row));
        if (region) region.setAttribute("r", ((rim * row.differs_by) / full).toFixed(2));
        showOff(mark, row.amplitude, full, row.phase);
      });
    });
  });

  const acrossOf = (marks) => new Map(marks.map((mark) => [rowOf(mark), Number(/translate\(([\d.]+)/.exec(mark.getAttribute("transform"))[1])]));
  const redraw = (line, spots) => line && line.setAttribute("points", line.dataset.rows.split(" ").map((i) => spots.get(Number(i))).join(" "));

  document.querySelectorAll("[data-amplitude]").forEach((plot) => {
    const [low, high, full] = ["data-low", "data-high", "data-full"].map((name) => number(plot, name));
    const marks = [...plot.querySelectorAll("g.expected")];
    const across = acrossOf(marks);
    const line = plot.querySelector(".expected-line");
    onRows(plot, (rows) => {
      const spots = new Map();
      marks.forEach((mark) => {
        const row = rows[rowOf(mark)];
        const y = low + (high - low) * Math.min(1, row.amplitude / full);
        move(mark, across.get(rowOf(mark)), y);
        spots.set(rowOf(mark), `${across.get(rowOf(mark))},${y.toFixed(2)}`);
        showOff(mark, row.amplitude, full, 0);
        const bar = mark.querySelector(".bar");
        if (!bar || row.differs_by === null) return;
        const half = ((low - high) * row.differs_by) / full;
        bar.setAttribute("d", `M0,${(-half).toFixed(1)}V${Math.min(half, low - y).toFixed(1)}`);
      });
      redraw(line, spots);
    });
  });

  document.querySelectorAll("[data-phase]").forEach((plot) => {
    const [low, high, from, to] = ["data-low", "data-high", "data-from", "data-to"].map((name) => number(plot, name));
    const marks = [...plot.querySelectorAll("g.expected")].sort((a, b) => rowOf(a) - rowOf(b));
    const across = acrossOf(marks);
    const line = plot.querySelector(".expected-line");
    onRows(plot, (rows) => {
      const spots = new Map();
      let before = null;
      marks.forEach((mark) => {  // each as near to the one before as whole turns within the axis allow
        let phase = rows[rowOf(mark)].phase;
        phase += 360 * Math.ceil((from - phase) / 360);
        for (let more = phase + 360; before !== null && more <= to; more += 360)
          if (Math.abs(more - before) < Math.abs(phase - before)) phase = more;
        before = phase;
        const y = low + ((high - low) * (phase - from)) / (to - from);
        move(mark, across.get(rowOf(mark)), y);
        spots.set(rowOf(mark), `${across.get(rowOf(mark))},${y.toFixed(2)}`);
      });
      redraw(line, spots);
    });
  });

  const mini = document.getElementById("mini");
  const columns = data.rows.map((_, i) => {
    const step = 100 / data.rows.length;
    return svgNode("rect", {x: `${(step * (i + 0.15)).toFixed(2)}%`, width: `${(step * 0.7).toFixed(2)}%`});
  });
  const miniTop = 100 - 100 / mostShown;  // the limit's place from above
  if (mini) mini.append(...columns, svgNode("line", {x1: 0, x2: "100%", y1: `${miniTop.toFixed(1)}%`, y2: `${miniTop.toFixed(1)}%`}));
  const drawMini = (rows) => rows.forEach((row, i) => {
    const height = (100 - miniTop) * Math.min(row.ratio, mostShown);
    put(columns[i], "y", `${(100 - height).toFixed(1)}%`);
    put(columns[i], "height", `${height.toFixed(1)}%`);
    put(columns[i], "class", row.ratio > 1 ? "over" : "");
  });

  return (rows) => {
    last = rows;
    drawMini(rows);
    if (groups && !groups.querySelector(".judged")) groups.classList.toggle("ill", rows.some((row) => row.ratio > 1 || (row.target !== null && row.amplitude > row.target)));
    const open = drawings.filter(({fold}) => !fold || fold.open);
    open.filter(({part}) => sight.get(part) !== false).forEach(({draw}) => draw(rows));
    clearTimeout(waiting);  // bars scrolled out of sight wait until nothing moves
    waiting = setTimeout(() => open.filter(({part}) => sight.get(part) === false).forEach(({draw}) => draw(last)), 400);
  };
};
