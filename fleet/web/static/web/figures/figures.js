// Draws each chart from the table beside it: the table is the truth, and all there is where no script runs.

const ink = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

// Each ink is a colour and a hatching, so that the colour is never alone.
const INKS = {
  hold: ["--red", "solid"],
  exposed: ["--orange", "slant"],
  impaired: ["--yellow", "dots"],
  due: ["--blue", "level"],
  clear: ["--ink", "empty"],
  plain: ["--ink", "slant-back"],
  dotted: ["--ink", "dots"],
  full: ["--ink", "solid"],
  not_surveyed: ["--soft", "dots"],
  off: ["--faint", "solid"],
};

function hatched(colour, kind) {
  if (kind === "solid") return colour;
  const tile = document.createElement("canvas");
  tile.width = tile.height = 8;
  const pen = tile.getContext("2d");
  pen.fillStyle = ink("--paper");
  pen.fillRect(0, 0, 8, 8);
  pen.strokeStyle = pen.fillStyle = colour;
  pen.lineWidth = 3;
  pen.beginPath();
  if (kind === "slant") [[-2, 2, 2, -2], [0, 8, 8, 0], [6, 10, 10, 6]].forEach(([a, b, c, d]) => { pen.moveTo(a, b); pen.lineTo(c, d); });
  if (kind === "slant-back") { pen.lineWidth = 2; [[-2, 6, 2, 10], [0, 0, 8, 8], [6, -2, 10, 2]].forEach(([a, b, c, d]) => { pen.moveTo(a, b); pen.lineTo(c, d); }); }
  if (kind === "level") { pen.moveTo(0, 3); pen.lineTo(8, 3); }
  pen.stroke();
  if (kind === "dots") [[2, 2], [6, 6]].forEach(([x, y]) => { pen.beginPath(); pen.arc(x, y, 1.9, 0, 7); pen.fill(); });
  return pen.createPattern(tile, "repeat");
}

function series(table, newestFirst, drawn) {
  const heads = [...table.tHead.rows[0].cells];
  const rows = [...table.tBodies[0].rows].slice(0, drawn ? Number(drawn) : undefined);
  if (newestFirst) rows.reverse();
  const number = (cell) => (cell.dataset.value === undefined ? null : Number(cell.dataset.value));
  const labels = rows.map((row) => row.cells[0].textContent);
  const columns = heads.flatMap((head, column) => (head.dataset.ink ? [[head, rows.map((row) => number(row.cells[column]))]] : []));
  const bound = (end) => columns.find(([head]) => head.dataset.ink === end)?.[1];
  return [labels, columns.filter(([head]) => head.dataset.ink in INKS), [bound("low"), bound("high")]];
}

function dataset([head, data]) {
  const [colour, kind] = INKS[head.dataset.ink];
  return { label: head.textContent, data, backgroundColor: hatched(ink(colour), kind), borderColor: ink("--ink"), borderWidth: 1, maxBarThickness: 36, categoryPercentage: 0.9, barPercentage: 1 };
}

// A line across each bar from its low to its high bound, light under dark so that it is seen on any hatching.
function whiskers([low, high]) {
  return {
    id: "whiskers",
    afterDatasetsDraw(chart) {
      const pen = chart.ctx;
      chart.getDatasetMeta(0).data.forEach((bar, n) => {
        const [from, to] = [low[n], high[n]].map((value) => chart.scales.x.getPixelForValue(value));
        for (const [colour, width] of [["--paper", 6], ["--ink", 2]]) {
          pen.strokeStyle = ink(colour);
          pen.lineWidth = width;
          pen.beginPath();
          [[from, bar.y, to, bar.y], [from, bar.y - 5, from, bar.y + 5], [to, bar.y - 5, to, bar.y + 5]].forEach(([a, b, c, d]) => { pen.moveTo(a, b); pen.lineTo(c, d); });
          pen.stroke();
        }
      });
    },
  };
}

function settings(figure, table) {
  const [labels, columns, bounds] = series(table, "newestFirst" in figure.dataset, figure.dataset.drawn);
  const stacked = "stacked" in figure.dataset;
  const lying = "lying" in figure.dataset;
  const quiet = { color: ink("--soft"), maxRotation: 0, autoSkipPadding: 24 };
  const named = { stacked, ticks: { ...quiet, autoSkip: !lying }, grid: { display: false } };
  const most = bounds[1] ? Math.min(100, Math.ceil(Math.max(...bounds[1]) / 10) * 10) : undefined;
  const counted = { stacked, beginAtZero: true, suggestedMax: most, ticks: { ...quiet, precision: figure.dataset.unit.includes("day") ? undefined : 0 }, grid: { color: ink("--faint") }, title: { display: true, text: figure.dataset.unit, color: ink("--soft") } };
  return {
    type: "bar",
    data: { labels, datasets: columns.map(dataset) },
    plugins: bounds[0] ? [whiskers(bounds)] : [],
    options: {
      animation: false,
      maintainAspectRatio: false,
      indexAxis: lying ? "y" : "x",
      scales: lying ? { x: counted, y: named } : { x: named, y: counted },
      plugins: { legend: { display: columns.length > 1, labels: { color: ink("--ink"), boxWidth: 18, boxHeight: 12 } } },
    },
  };
}

function draw(figure) {
  const table = document.getElementById(figure.dataset.table);
  const sheet = figure.querySelector(".sheet") ?? figure.appendChild(document.createElement("div"));
  const canvas = document.createElement("canvas");
  const question = document.getElementById(table.id.replace("table-", "asks-")).textContent;
  sheet.className = "sheet";
  // Lying bars have as much room as there are of them.
  if ("lying" in figure.dataset) sheet.style.height = `${Math.max(12, 5 + 2.25 * table.tBodies[0].rows.length)}rem`;
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", `${question} ${figure.querySelector("figcaption").textContent.trim()} The table beside says the same.`);
  sheet.replaceChildren(canvas);
  figure.chart?.destroy();
  figure.chart = new window.Chart(canvas, settings(figure, table));
}

const all = () => document.querySelectorAll("figure.bars").forEach(draw);

if (window.Chart) {
  window.Chart.defaults.font.family = getComputedStyle(document.body).fontFamily;
  window.Chart.defaults.font.size = 13;
  all();
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", all);
}
