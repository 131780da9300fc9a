// Keeps the board true without moving it: a row stays where it is, what changed is marked, sorting is offered.

const LATE = 20_000; // four missed refreshes

const find = (id) => document.getElementById(id);
const [board, freshness, news, order] = ["board", "freshness", "news", "order"].map(find);

let refreshed = Date.now();
let latest = document;
let copy = "";
let trouble = "Trying again.";

const rows = (within) => [...within.querySelectorAll("li.row")];
const sequence = (within) => rows(within).map((row) => row.closest("section").id + row.id).join();
const known = new Map(rows(document).map((row) => [row.id, row.outerHTML]));

function clock(at) {
  return new Date(at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
}

function mark(row) {
  row.classList.remove("gone");
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
  const group = find(fresh.closest("section").id);
  group.hidden = false;
  group.querySelector("ul").append(document.importNode(fresh, true));
  mark(find(fresh.id));
}

function drop(row) {
  row.className = "row gone";
  row.textContent = "This boiler is no longer on your board.";
}

function change(fresh) {
  const said = [];
  const left = new Map(rows(board).map((row) => [row.id, row]));
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
  work();
  if (anchor) window.scrollBy(0, anchor.getBoundingClientRect().top - before);
}

function take(text) {
  // After a 304 the browser hands out the text it kept.
  const fresh = text === copy ? latest : new DOMParser().parseFromString(text, "text/html");
  if (!fresh.getElementById("counts")) return stale();
  refreshed = Date.now();
  if (text !== copy) show(fresh);
  copy = text;
  say(`Refreshed ${clock(refreshed)}`, false);
}

function show(fresh) {
  latest = fresh;
  const said = change(fresh);
  find("counts").replaceWith(document.importNode(fresh.getElementById("counts"), true));
  if (said.length) news.textContent = said.length > 3 ? `${said.length} boilers have changed.` : said.join(" ");
  order.hidden = sequence(fresh) === sequence(board);
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
    const here = find(group.id);
    here.hidden = group.hidden;
    here.querySelector("ul").append(...rows(group).map((row) => find(row.id)));
  }
  order.hidden = true;
  find("title").focus();
}

const stale = () => held(() => say(`Not refreshed since ${clock(refreshed)}. ${trouble}`, true));

if (board) {
  document.body.addEventListener("htmx:afterRequest", ({ detail }) => {
    if (detail.xhr.status === 401) trouble = "You are signed out: load this page again.";
    if (detail.successful) held(() => take(detail.xhr.responseText));
    else stale();
  });
  setInterval(() => Date.now() - refreshed > LATE && stale(), 5000);
  find("sort").addEventListener("click", sort);
}
