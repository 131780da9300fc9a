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

function series(table, newestFirst) {
  const heads = [...table.tHead.rows[0].cells];
  const rows = [...table.tBodies[0].rows];
  if (newestFirst) rows.reverse();
  const number = (cell) => (cell.dataset.value === undefined ? null : Number(cell.dataset.value));
  const drawn = heads.flatMap((head, column) => (head.dataset.ink ? [[head, column]] : []));
  const labels = rows.map((row) => row.cells[0].textContent);
  return [labels, drawn.map(([head, column]) => [head, rows.map((row) => number(row.cells[column]))])];
}

function dataset([head, data]) {
  const [colour, kind] = INKS[head.dataset.ink];
  return { label: head.textContent, data, backgroundColor: hatched(ink(colour), kind), borderColor: ink("--ink"), borderWidth: 1, maxBarThickness: 36, categoryPercentage: 0.9, barPercentage: 1 };
}

function settings(figure, table) {
  const [labels, columns] = series(table, "newestFirst" in figure.dataset);
  const stacked = "stacked" in figure.dataset;
  const lying = "lying" in figure.dataset;
  const quiet = { color: ink("--soft"), maxRotation: 0, autoSkipPadding: 24 };
  const named = { stacked, ticks: { ...quiet, autoSkip: !lying }, grid: { display: false } };
  const counted = { stacked, beginAtZero: true, ticks: { ...quiet, precision: figure.dataset.unit.includes("day") ? undefined : 0 }, grid: { color: ink("--faint") }, title: { display: true, text: figure.dataset.unit, color: ink("--soft") } };
  return {
    type: "bar",
    data: { labels, datasets: columns.map(dataset) },
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
