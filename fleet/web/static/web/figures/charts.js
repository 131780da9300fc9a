// Draws each chart from the table beside it: the table is the truth, and all there is where no script runs.

const DASHES = { line: [6, 4], points: [] };

const ink = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const day = (at) => new Date(at).toLocaleDateString("en-US", { day: "numeric", month: "short", year: "numeric" });
const month = (at) => new Date(at).toLocaleDateString("en-US", { month: "short", year: "numeric" });
const LONG = 200 * 86_400_000; // from here on the month says enough

function points(table, column) {
  const rows = [...table.tBodies[0].rows].map((row) => ({
    x: Number(row.dataset.at),
    y: row.cells[column + 1].dataset.value === undefined ? null : Number(row.cells[column + 1].dataset.value),
  }));
  return rows.reverse().filter((point) => point.y !== null);
}

function series(table, told) {
  const [column, kind] = told.split(":");
  const line = kind === "line";
  return {
    label: table.tHead.rows[0].cells[Number(column) + 1].textContent,
    data: points(table, Number(column)),
    borderColor: line ? ink("--soft") : ink("--ink"),
    backgroundColor: ink("--ink"),
    borderDash: DASHES[kind],
    borderWidth: line ? 2 : 1.5,
    pointRadius: line ? 0 : 4,
    pointStyle: line ? "line" : "rectRot",
    stepped: line ? "before" : false,
  };
}

function axis(text) {
  const colours = { color: ink("--soft") };
  return { title: { display: Boolean(text), text, ...colours }, ticks: { ...colours }, grid: { color: ink("--faint") } };
}

function across(datasets) {
  const ends = datasets.flatMap((one) => one.data.map((point) => point.x));
  const [min, max] = [Math.min(...ends), Math.max(...ends)];
  const room = (max - min) * 0.04;
  const callback = max - min > LONG ? month : day;
  const x = axis("");
  return { ...x, type: "linear", min: min - room, max: max + room, ticks: { ...x.ticks, maxTicksLimit: 5, maxRotation: 0, includeBounds: false, callback } };
}

// The height stands for at least `least`, so that a trifle does not look like a fall.
function upward(figure, datasets) {
  const values = datasets.flatMap((one) => one.data.map((point) => point.y));
  const [low, high] = [Math.min(...values), Math.max(...values)];
  const zero = "zero" in figure.dataset;
  const room = Math.max((Number(figure.dataset.least) - (high - low)) / 2, (high - low) * 0.1);
  const suggestedMin = zero ? 0 : low < 0 ? low - room : Math.max(0, low - room);
  const suggestedMax = zero ? Math.max(Number(figure.dataset.least), high * 1.1) : high + room;
  return { ...axis(figure.dataset.unit), suggestedMin, suggestedMax };
}

function settings(figure, table) {
  const datasets = figure.dataset.columns.split(" ").map((told) => series(table, told)).filter((one) => one.data.length);
  const tooltip = { callbacks: { title: (items) => day(items[0].parsed.x) } };
  const legend = { display: datasets.length > 1, labels: { color: ink("--ink"), usePointStyle: true, pointStyleWidth: 14, boxHeight: 7 } };
  return {
    type: "line",
    data: { datasets },
    options: {
      animation: false,
      maintainAspectRatio: false,
      scales: { x: across(datasets), y: upward(figure, datasets) },
      plugins: { legend, tooltip },
    },
  };
}

function draw(figure) {
  const table = document.getElementById(figure.dataset.table);
  const sheet = figure.querySelector(".sheet") ?? figure.appendChild(document.createElement("div"));
  const canvas = document.createElement("canvas");
  sheet.className = "sheet";
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", `${figure.querySelector("figcaption").textContent.trim()} The table beside says the same.`);
  sheet.replaceChildren(canvas);
  figure.chart?.destroy();
  figure.chart = new window.Chart(canvas, settings(figure, table));
}

const drawable = (figure) => settings(figure, document.getElementById(figure.dataset.table)).data.datasets.length > 0;
// A chart in a closed fold has no size: it is drawn when the fold opens.
const seen = (figure) => !figure.closest("details:not([open])");
const all = () => document.querySelectorAll("figure.plot[data-columns]").forEach((figure) => seen(figure) && drawable(figure) && draw(figure));
const opened = (event) => event.target.open && event.target.querySelectorAll("figure.plot[data-columns]").forEach((figure) => !figure.chart && seen(figure) && drawable(figure) && draw(figure));

if (window.Chart) {
  window.Chart.defaults.font.family = getComputedStyle(document.body).fontFamily;
  window.Chart.defaults.font.size = 13;
  all();
  document.addEventListener("toggle", opened, true);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", all);
}
