// Keeps the board true without moving it: a row stays where it is, what changed is marked, sorting is offered.

const LATE = 20_000; // four missed refreshes

const board = document.getElementById("board");
const freshness = document.getElementById("freshness");
const news = document.getElementById("news");
const order = document.getElementById("order");

let refreshed = Date.now();
let latest = document;
const known = new Map(rows(document).map((row) => [row.id, row.outerHTML]));

function rows(within) {
  return [...within.querySelectorAll("li.row")];
}

const sequence = (within) => rows(within).map((row) => row.closest("section").id + row.id).join();

function clock(at) {
  return new Date(at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
}

function mark(row) {
  row.classList.add("changed");
  row.querySelector(".row-changed").textContent = `changed ${clock(refreshed)}`;
}

function put(old, fresh) {
  // Where the focus was inside the row, it goes to the same link of the new content.
  const links = [...old.querySelectorAll("a")];
  const focused = links.indexOf(document.activeElement);
  old.replaceChildren(...fresh.cloneNode(true).childNodes);
  mark(old);
  if (focused >= 0) [...old.querySelectorAll("a")].at(focused)?.focus({ preventScroll: true });
}

function add(fresh) {
  const group = document.getElementById(fresh.closest("section").id);
  group.hidden = false;
  group.querySelector("ul").append(document.importNode(fresh, true));
  mark(document.getElementById(fresh.id));
}

function drop(row) {
  row.className = "row gone";
  row.textContent = "This boiler is no longer on your board.";
}

function change(fresh) {
  const said = [];
  const left = new Map(rows(board).filter((row) => !row.matches(".gone")).map((row) => [row.id, row]));
  for (const row of rows(fresh)) {
    const old = left.get(row.id);
    left.delete(row.id);
    if (known.get(row.id) === row.outerHTML) continue;
    known.set(row.id, row.outerHTML);
    said.push(row.dataset.said);
    if (old) put(old, row);
    else add(row);
  }
  left.forEach((row, id) => (known.delete(id), drop(row)));
  return said;
}

// Rows above may grow by a line: what is under the finger, in focus or first in view stays at its height all the same.
function held(work) {
  const inView = (row) => row.getBoundingClientRect().bottom > 0;
  const focused = document.activeElement.closest("li.row");
  const anchor = board.querySelector("li.row:hover") ?? focused ?? rows(board).find(inView);
  const before = anchor?.getBoundingClientRect().top;
  const result = work();
  if (anchor) window.scrollBy(0, anchor.getBoundingClientRect().top - before);
  return result;
}

function take(text) {
  const fresh = new DOMParser().parseFromString(text, "text/html");
  if (!fresh.getElementById("counts")) return stale("Trying again.");
  refreshed = Date.now();
  latest = fresh;
  const said = held(() => change(fresh));
  const [counts, newer] = [document.getElementById("counts"), fresh.getElementById("counts")];
  if (counts.textContent !== newer.textContent) counts.replaceWith(document.importNode(newer, true));
  if (said.length > 3) news.textContent = `${said.length} boilers have changed.`;
  else if (said.length) news.textContent = said.join(" ");
  order.hidden = sequence(fresh) === sequence(board);
  say(`Refreshed ${clock(refreshed)}`, false);
}

function say(text, stale) {
  if (freshness.textContent === text) return;
  if (stale && !freshness.classList.contains("stale")) news.textContent = text;
  freshness.classList.toggle("stale", stale);
  freshness.textContent = text;
}

function sort() {
  rows(board).filter((row) => row.matches(".gone")).forEach((row) => row.remove());
  for (const group of latest.querySelectorAll("section.group")) {
    const here = document.getElementById(group.id);
    here.hidden = group.hidden;
    here.querySelector("ul").append(...rows(group).map((row) => document.getElementById(row.id)));
  }
  order.hidden = true;
  document.getElementById("title").focus();
}

function stale(why) {
  say(`Not refreshed since ${clock(refreshed)}. ${why}`, true);
}

if (board) {
  document.body.addEventListener("htmx:afterRequest", ({ detail }) => {
    if (detail.successful) take(detail.xhr.responseText);
    else stale(detail.xhr.status === 401 ? "You are signed out: load this page again." : "Trying again.");
  });
  setInterval(() => Date.now() - refreshed > LATE && stale("Trying again."), 5000);
  document.getElementById("sort").addEventListener("click", sort);
}
