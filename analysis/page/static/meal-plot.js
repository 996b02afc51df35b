/* The plot of the days after a meal, or of an enclosure, drawn over the still one once this script
   runs.

   What it shows comes from /api/meals/N/plot or /api/enclosure-plot, reduced by the lowest and highest value of every
   pixel column; looking closer asks anew for that span, so that nothing is ever skipped. */

"use strict";

(() => {
  const box = document.getElementById("plot");
  const ground = document.getElementById("plot-ground");
  const says = document.getElementById("plot-says");
  const under = document.getElementById("plot-under");
  const which = document.getElementById("plot-which");
  if (!box || !ground || !window.Plotly) return;
  const meal = encodeURIComponent(box.dataset.meal || "");
  const source = box.dataset.plot || `/api/meals/${meal}/plot?`;
  const invitation = says.textContent;
  let whole = null;      // the span of the whole meal, in hours since it
  let shown = null;      // what was drawn last
  let earlier = null;    // meals before it, once they were asked for
  let underlaid = false;
  let asked = 0;
  const FIRST_LAID = 3;  // so many are laid under before any is chosen

  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const narrow = () => ground.clientWidth < 560;

  async function answer(path) {
    const got = await fetch(path, { credentials: "same-origin" });
    if (!got.ok) throw new Error(String(got.status));
    return got.json();
  }

  async function look(span) {
    const mine = ++asked;
    const columns = Math.min(4000, Math.max(200, Math.round(ground.clientWidth * (window.devicePixelRatio || 1))));
    const query = new URLSearchParams({ columns: String(columns) });
    if (span) {
      query.set("from", span[0].toFixed(4));
      query.set("to", span[1].toFixed(4));
    }
    const found = await answer(`${source}&${query}`);
    if (mine !== asked) return;   // a newer question has been asked meanwhile
    shown = found;
    whole = whole || [...found.span];
    draw();
  }

  // ---- drawing ---------------------------------------------------------------------------------

  const laid = () => (underlaid && earlier ? earlier.filter((one) => one.laid) : []);

  function lines() {
    const ink = colour("--ink"), soft = colour("--soft");
    const pens = { "warm side": [ink, 2], "cool side": [soft, 1], room: [soft, 0.6] };
    const base = { mode: "lines", hoverinfo: "none", connectgaps: false, showlegend: false };
    const beyond = shown.beyond.map((one) => ({
      ...base, x: one.x, y: one.y, fill: "toself", fillcolor: one.colour, opacity: 0.5,
      line: { width: 0 }, hoverinfo: "skip",
    }));
    const before = laid().map((one) => ({
      ...base, x: one.x, y: one.y, name: `meal ${one.meal}`, line: { color: soft, width: 0.8, dash: "dot" },
      hoverinfo: "skip",
    }));
    const own = shown.tracks.map((one) => ({
      ...base, x: one.x, y: one.y, name: one.name,
      line: { color: pens[one.name][0], width: pens[one.name][1] },
    })).reverse();
    const damp = shown.humidity ? [{
      ...base, x: shown.humidity.x, y: shown.humidity.y, name: "humidity", yaxis: "y2",
      line: { color: ink, width: 1 },
    }] : [];
    return [...beyond, ...before, ...own, ...damp];
  }

  function level(one) {
    const pen = { floor: ["--cold", 1.5, "solid"], hot: ["--hot", 1.5, "solid"], lower: ["--cold", 0.8, "dash"] }[one.kind];
    return {
      type: "line", xref: "paper", x0: 0, x1: 1, y0: one.value, y1: one.value, layer: "below",
      line: { color: colour(pen[0]), width: pen[1], dash: pen[2] },
    };
  }

  function shapes() {
    const dots = { color: colour("--soft"), width: 2, dash: "dot" };
    const upright = (x, width, name) => ({
      type: "line", yref: "paper", y0: 0, y1: 1, x0: x, x1: x, line: { color: colour(name), width },
    });
    return [
      ...shown.nights.map(([x0, x1]) => ({
        type: "rect", yref: "paper", x0, x1, y0: 0, y1: 1, layer: "below",
        fillcolor: colour("--shade"), line: { width: 0 },
      })),
      ...shown.midnights.map((x) => ({ ...upright(x, 1, "--hairline"), layer: "below" })),
      ...shown.levels.map(level),
      ...shown.gaps.map(([x0, x1]) => ({
        type: "line", yref: "y domain", y0: 0, y1: 0, x0, x1, line: dots,
      })),
      ...shown.events.map((one) => upright(one.x, one.ends ? 2 : 0.8, "--ink")),
    ];
  }

  // Words at the right ends of the lines, moved apart where they would lie on each other.
  function endWords(range) {
    const pen = { floor: "--cold", hot: "--hot", lower: "--cold" };
    const ends = [
      ...shown.levels.map((one) => ({ y: one.value, text: one.words, color: colour(pen[one.kind]) })),
      ...shown.tracks.map((one) => ({
        y: one.y.findLast((value) => value !== null), text: one.name,
        color: colour(one.name === "warm side" ? "--ink" : "--soft"), bold: one.name === "warm side",
      })),
    ].filter((one) => one.y !== undefined && one.y >= range[0] && one.y <= range[1]);
    ends.sort((a, b) => a.y - b.y);
    const step = (range[1] - range[0]) * (narrow() ? 0.085 : 0.06);
    let last = -Infinity;
    return ends.map((one) => {
      const y = Math.max(one.y, last + step);
      last = y;
      return {
        xref: "paper", x: 1, xanchor: "left", xshift: 6, y, yanchor: "middle", showarrow: false,
        text: one.text, font: { color: one.color, weight: one.bold ? 700 : 400 },
      };
    });
  }

  // A meal laid under is named where it was coldest, if it was cold: there it stands apart.
  function earlierWords() {
    const floor = shown.levels.find((one) => one.kind === "floor").value;
    return laid().flatMap((one) => {
      const seen = one.y.map((y, i) => [y, one.x[i]])
        .filter(([y, x]) => y !== null && x >= shown.span[0] && x <= shown.span[1]);
      const [y, x] = seen.reduce((a, b) => (b[0] < a[0] ? b : a), [Infinity, 0]);
      if (y >= floor) return [];
      return [{ x, y, yanchor: "top", showarrow: false, text: `meal ${one.meal}`, font: { color: colour("--soft") } }];
    });
  }

  function eventWords() {
    const wide = (shown.span[1] - shown.span[0]) / Math.max(200, ground.clientWidth);
    let last = -Infinity, row = 0;
    return shown.events.map((one) => {
      row = one.x - last < 70 * wide ? (row + 1) % 3 : 0;
      last = one.x;
      return {
        x: one.x, yref: "paper", y: 1, yanchor: "bottom", yshift: 2 + 15 * row, xanchor: "left",
        text: plain(one.word), showarrow: false, font: { color: colour("--ink") },
      };
    });
  }

  // plotly reads a little markup in its texts: a keeper's words are never any.
  const plain = (text) => text.replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;");

  function temperatures() {
    let low = Infinity, high = -Infinity;
    for (const one of [...shown.tracks, ...laid()]) {
      for (const y of one.y) if (y !== null) { low = Math.min(low, y); high = Math.max(high, y); }
    }
    for (const one of shown.levels) { low = Math.min(low, one.value - 1); high = Math.max(high, one.value + 1); }
    const room = (high - low) * 0.04;
    return [low - room, high + room];
  }

  function days() {
    const hours = shown.span[1] - shown.span[0];
    if (hours <= 36) return clock(hours);
    const most = Math.max(2, Math.floor(ground.clientWidth / 90));
    const every = Math.ceil(shown.days.length / most);
    const named = shown.days.filter((one) => one.hours >= 11).filter((_, i) => i % every === 0);
    return { tickvals: named.map((one) => one.x), ticktext: named.map((one) => one.words) };
  }

  // Closer than a day and a half the clock tells more than the days do.
  function clock(hours) {
    const step = [0.25, 0.5, 1, 2, 3, 6].find((one) => hours / one <= (narrow() ? 4 : 9)) || 12;
    const from = shown.taken_ms + shown.span[0] * 3.6e6, to = shown.taken_ms + shown.span[1] * 3.6e6;
    const values = [], words = [];
    for (let at = Math.ceil(from / 9e5) * 9e5; at < to; at += 9e5) {
      const said = local(at, { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
      const [h, m] = said.split(":").map(Number);
      if ((h + m / 60) % step !== 0) continue;
      values.push((at - shown.taken_ms) / 3.6e6);
      words.push(h === 0 && m === 0 ? `${said}<br>${local(at, { weekday: "short", day: "numeric", month: "short" })}` : said);
    }
    return { tickvals: values, ticktext: words };
  }

  const local = (ms, form) =>
    new Intl.DateTimeFormat("en-GB", { timeZone: shown.time_zone, ...form }).format(new Date(ms));

  function draw() {
    const range = temperatures(), soft = colour("--soft");
    // plotly writes into what it is handed: spans are copies.
    const axis = { color: soft, gridcolor: colour("--hairline"), zeroline: false, fixedrange: true };
    const damp = shown.humidity !== null;
    const ends = endWords(range), marks = eventWords();
    const longest = Math.max(8, ...ends.map((one) => one.text.length));
    const rows = 1 + Math.max(0, ...marks.map((one) => one.yshift)) / 15;
    const layout = {
      paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)", showlegend: false,
      font: { family: "system-ui, sans-serif", size: 13, color: soft },
      margin: { l: 44, r: 14 + 7.4 * longest, t: rows * 16 + 8, b: narrow() ? 40 : 34 },
      hovermode: "x", dragmode: "zoom", hoverdistance: 60,
      xaxis: { ...axis, range: [...shown.span], showgrid: false, tickmode: "array", ...days(), fixedrange: false,
        showspikes: true, spikemode: "across", spikethickness: 1, spikedash: "solid", spikecolor: soft,
        anchor: damp ? "y2" : "y" },
      yaxis: { ...axis, range, domain: damp ? [0.3, 1] : [0, 1], ticksuffix: "", nticks: 8,
        title: { text: shown.unit, standoff: 4 } },
      shapes: shapes(),
      annotations: [...ends, ...marks, ...earlierWords()],
    };
    if (damp) {
      layout.yaxis2 = { ...axis, domain: [0, 0.2], range: [0, 100], nticks: 3, title: { text: "%", standoff: 4 } };
      layout.annotations.push({
        xref: "paper", x: 1, xanchor: "left", xshift: 6, yref: "y2", y: 50, showarrow: false, text: "humidity",
      });
    }
    window.Plotly.react(ground, lines(), layout, { displayModeBar: false, responsive: true, scrollZoom: false, doubleClick: false });
  }

  // ---- looking ---------------------------------------------------------------------------------

  function say(points) {
    const x = points[0].x;
    const when = local(shown.taken_ms + x * 3.6e6, {
      weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit",
      hourCycle: "h23", timeZoneName: "short",
    });
    const values = points.map((one) => one.data.name === "humidity"
      ? `humidity ${one.y.toFixed(0)} %`
      : `${one.data.name} ${one.y.toFixed(2)} ${shown.unit}`);
    const since = meal ? `, ${Math.floor(x)} h after the meal` : "";
    says.textContent = `${when}${since}: ${values.reverse().join(", ")}.`;
  }

  function underWords() {
    if (earlier.length === 0) return "There is no meal before it.";
    if (laid().length === 0) return "None is laid under.";
    return `Laid under, dotted, the warm side after: ${laid().map((one) => `meal ${one.meal} (${one.words})`).join("; ")}.`;
  }

  function offer() {
    for (const [place, one] of earlier.entries()) {
      one.laid = place < FIRST_LAID;
      const label = document.createElement("label"), box = document.createElement("input");
      box.type = "checkbox";
      box.checked = one.laid;
      box.addEventListener("change", () => {
        one.laid = box.checked;
        under.textContent = underWords();
        draw();
      });
      label.append(box, ` meal ${one.meal}, ${one.words}`);
      which.append(label);
    }
  }

  function toSpan(from, to) {
    const length = Math.min(to - from, whole[1] - whole[0]);
    const start = Math.max(whole[0], Math.min(from, whole[1] - length));
    return look(length >= whole[1] - whole[0] ? null : [start, start + length]);
  }

  function press(id, act) {
    document.getElementById(id).addEventListener("click", () => { if (shown) act(...shown.span); });
  }

  function start() {
    box.hidden = false;
    document.getElementById("plot-still").hidden = true;
    look(null).then(() => {
      ground.on("plotly_hover", (event) => say(event.points));
      ground.on("plotly_unhover", () => { says.textContent = invitation; });
      ground.on("plotly_doubleclick", () => look(null));
      ground.on("plotly_relayout", (change) => {
        const from = change["xaxis.range[0]"], to = change["xaxis.range[1]"];
        if (from !== undefined && to - from > 0.02) toSpan(from, to);
      });
    }).catch(() => {
      box.hidden = true;
      document.getElementById("plot-still").hidden = false;
    });
    press("plot-whole", () => look(null));
    press("plot-closer", (a, b) => toSpan(a + (b - a) / 4, b - (b - a) / 4));
    press("plot-back", (a, b) => toSpan(a - (b - a) / 2, b - (b - a) / 2));
    press("plot-on", (a, b) => toSpan(a + (b - a) / 2, b + (b - a) / 2));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
    const button = document.getElementById("plot-earlier");
    if (!button) return;
    button.addEventListener("click", async () => {
      underlaid = !underlaid;
      button.setAttribute("aria-pressed", String(underlaid));
      try {
        if (underlaid && earlier === null) {
          earlier = await answer(`/api/meals/${meal}/earlier`);
          offer();
        }
      } catch {
        under.textContent = "The meals before it could not be read just now.";
      }
      if (earlier) {
        under.textContent = underlaid ? underWords() : "";
        which.hidden = !underlaid || earlier.length < 2;
      }
      draw();
    });
  }

  start();
})();
