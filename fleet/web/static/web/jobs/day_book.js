// Moves through the free cells of the day book by arrow keys; Enter plans, as on every button.

const STEPS = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] };
const table = document.getElementById("day-table");
const rows = table ? [...table.tBodies[0].rows] : [];
const buttonIn = (row, column) => row?.cells[column]?.querySelector("button.cell") ?? null;

function nearest(from, column, step) {
  for (let n = from; n >= 0 && n < rows.length; n += step) {
    const button = buttonIn(rows[n], column);
    if (button) return button;
  }
  return null;
}

function next(button, [down, across]) {
  const cell = button.closest("td");
  const row = rows.indexOf(cell.parentElement);
  if (down) return nearest(row + down, cell.cellIndex, down);
  for (let column = cell.cellIndex + across; column > 0 && column < rows[row].cells.length; column += across) {
    const found = buttonIn(rows[row], column);
    if (found) return found;
  }
  return null;
}

table?.addEventListener("keydown", (event) => {
  const step = STEPS[event.key];
  const button = event.target.closest("button.cell");
  if (!step || !button || event.ctrlKey || event.metaKey || event.altKey) return;
  const target = next(button, step);
  if (!target) return;
  event.preventDefault();
  target.focus();
});

// After a job was planned, the keyboard goes on with the next house that waits. Not before the page has loaded: going
// to the row in the address takes the focus away.
function goOn() {
  const planned = rows.findIndex((row) => `#${row.id}` === location.hash);
  const waiting = (row) => !row.classList.contains("planned") && row.querySelector("button.cell");
  if (planned < 0) return;
  const next = [...rows.slice(planned + 1), ...rows.slice(0, planned)].find(waiting);
  next?.querySelector("button.cell").focus({ preventScroll: true });
}

window.addEventListener("load", () => setTimeout(goOn));
