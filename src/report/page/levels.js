/** Words and numbers as the program writes them. */
const wording = {
  amplitude(shown) {
    if (shown === 0) return "0";
    const whole = Math.floor(Math.log10(Math.abs(shown))) + 1;
    return shown.toFixed(Math.min(4, Math.max(0, 3 - whole)));
  },
  reading(row) {
    return `${wording.amplitude(row.amplitude)} ∠ ${Math.round(row.phase) % 360}°`;
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
    return typeof piece === "object" ? `piece of ${piece.moment_g_mm} g mm` : piece;
  },
  mark(plane, piece) {
    if (piece === undefined) return "";
    if (typeof piece === "object") return piece.moment_g_mm.toFixed(0);
    return plane.weights.find((weight) => weight.id === piece).mark;
  },
  place(slot) {
    return `${slot.angle_deg.toFixed(1)}° with rotation${slot.blades ? `, ${slot.blades}` : ""}`;
  },
};

/** Draws what is expected: table, polar plots, speed plots. */
const levelDrawing = () => {
  const number = (node, name) => Number(node.getAttribute(name));
  const perRow = new Map();
  const of = (node) => {
    const row = Number(node.dataset.row);
    if (!perRow.has(row)) perRow.set(row, []);
    return perRow.get(row);
  };
  const move = (node, x, y) => node.setAttribute("transform", `translate(${x.toFixed(2)} ${y.toFixed(2)})`);

  document.querySelectorAll("#levels tr[data-row]").forEach((tr) => {
    const [after, sd, result] = ["after", "sd", "result"].map((name) => tr.querySelector(`.${name}`));
    of(tr).push((row) => {
      after.textContent = wording.reading(row);
      sd.textContent = row.sd === null ? "?" : wording.amplitude(row.sd);
      result.textContent = wording.level(row);
    });
  });

  document.querySelectorAll("[data-polar]").forEach((plot) => {
    const full = number(plot, "data-full");
    const rim = number(plot, "data-rim");
    const spot = (row) => {
      const r = Math.min((rim * row.amplitude) / full, rim);
      const turn = (row.phase * Math.PI) / 180;
      return [200 + r * Math.sin(turn), 200 - r * Math.cos(turn)];
    };
    plot.querySelectorAll("line.move").forEach((line) => of(line).push((row) => {
      const [x, y] = spot(row);
      line.setAttribute("x2", x.toFixed(2));
      line.setAttribute("y2", y.toFixed(2));
    }));
    plot.querySelectorAll("g.expected").forEach((mark) => {
      const region = mark.querySelector(".region");
      of(mark).push((row) => {
        move(mark, ...spot(row));
        if (region) region.setAttribute("r", ((rim * row.differs_by) / full).toFixed(2));
      });
    });
  });

  const lines = [];
  document.querySelectorAll("[data-amplitude], [data-phase]").forEach((plot) => {
    const isPhase = plot.hasAttribute("data-phase");
    const [low, high, full] = ["data-low", "data-high", "data-full"].map((name) => number(plot, name));
    const height = (value) => low + (high - low) * Math.min(1, Math.max(0, value / full));
    const across = new Map();
    plot.querySelectorAll("g.expected").forEach((mark) => {
      const x = Number(/translate\(([\d.]+)/.exec(mark.getAttribute("transform"))[1]);
      const bar = mark.querySelector(".bar");
      across.set(Number(mark.dataset.row), x);
      of(mark).push((row) => {
        const y = height(isPhase ? row.phase : row.amplitude);
        move(mark, x, y);
        if (!bar || row.differs_by === null) return;
        const half = ((low - high) * row.differs_by) / full;
        bar.setAttribute("d", `M0,${(-half).toFixed(1)}V${Math.min(half, low - y).toFixed(1)}`);
      });
    });
    plot.querySelectorAll(".expected-line").forEach((line) => lines.push((rows) =>
      line.setAttribute("points", line.dataset.rows.split(" ")
        .map((i) => `${across.get(Number(i))},${height(rows[Number(i)].amplitude).toFixed(2)}`).join(" "))));
  });

  return (rows) => {
    rows.forEach((row, i) => (perRow.get(i) || []).forEach((draw) => draw(row)));
    lines.forEach((draw) => draw(rows));
  };
};
