// Keeps the board true without moving it: a row stays where it is, what changed is marked, sorting is offered.

const LATE = 20_000; // four missed refreshes

const find = (id) => document.getElementById(id);
const [board, freshness, news, order] = ["board", "freshness", "news", "order"].map(find);

let refreshed = Date.now();
let latest = document;
let tag = board?.dataset.tag ?? "";
let trouble = "Trying again.";

const rows = (within) => [...within.querySelectorAll("li.row")];
const sequence = (within) => rows(within).map((row) => row.closest("section").id + row.id).join();
const known = new Map(rows(document).map((row) => [row.id, told(row)]));

// What a row says: its glass falls day by day, and that alone is no change.
function told(row) {
  const bare = row.cloneNode(true);
  bare.querySelector(".row-glass")?.remove();
  return bare.outerHTML;
}

const paged = (within) => within.querySelector("#pages:not([hidden])") !== null;

// Where others have come or gone, rows come over from the page after, or from the page before: they have not changed.
function cameOver(fresh, here) {
  if (!paged(fresh)) return new Set();
  const listed = rows(fresh);
  const stays = listed.map((row) => here.has(row.id));
  const first = Number(fresh.querySelector("#pages").dataset.page) > 1 ? stays.indexOf(true) : 0;
  const last = stays.lastIndexOf(true);
  return new Set(listed.filter((_, n) => n < first || n > last));
}

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
  keepHeight(old);
  old.replaceChildren(...fresh.cloneNode(true).childNodes);
  mark(old);
  if (old.scrollHeight > old.clientHeight + 1) offerRest(old);
  if (focused >= 0) [...old.querySelectorAll("a")].at(focused)?.focus({ preventScroll: true });
}

// Nothing below a row moves because the row has changed: it keeps its height until somebody asks for the rest.
function keepHeight(row) {
  row.style.height = `${row.getBoundingClientRect().height}px`;
  row.classList.add("held");
}

function offerRest(row) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "quiet row-rest";
  button.textContent = "Show all of it";
  button.addEventListener("click", () => release(row));
  row.append(button);
}

function release(row) {
  row.style.height = "";
  row.classList.remove("held");
  row.querySelector(".row-rest")?.remove();
}

function add(fresh) {
  const group = find(fresh.closest("section").id);
  group.hidden = false;
  group.querySelector("ul").append(document.importNode(fresh, true));
  mark(find(fresh.id));
}

function drop(row, fresh) {
  const where = row.querySelector(".row-where");
  keepHeight(row);
  known.delete(row.id);
  row.classList.add("gone");
  row.classList.remove("changed");
  row.textContent = paged(fresh)
    ? "No longer on this page: others are before it now, its standing has changed, or it has left your board. "
    : board.dataset.narrowed === undefined
      ? "This boiler is no longer on your board."
      : "It no longer matches your filter, or it is no longer on your board.";
  if (paged(fresh) && where) row.append(where); // its own page tells which
}

function change(fresh) {
  const said = [];
  const left = new Map(rows(board).map((row) => [row.id, row]));
  const over = cameOver(fresh, left);
  for (const row of rows(fresh)) {
    const old = left.get(row.id);
    left.delete(row.id);
    if (known.get(row.id) === told(row)) {
      old?.querySelector(".row-glass")?.replaceChildren(...row.querySelector(".row-glass").cloneNode(true).childNodes);
      continue;
    }
    if (!old && over.has(row)) continue; // shown once these are sorted again
    known.set(row.id, told(row));
    said.push(row.dataset.said);
    if (old) put(old, row);
    else add(row);
  }
  left.forEach((row) => drop(row, fresh));
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

function take(xhr) {
  if (xhr.status !== 304) {
    const fresh = new DOMParser().parseFromString(xhr.responseText, "text/html");
    if (!fresh.getElementById("counts")) return stale();
    refreshed = Date.now();
    tag = xhr.getResponseHeader("ETag") ?? "";
    show(fresh);
  }
  refreshed = Date.now();
  say(`Refreshed ${clock(refreshed)}`, false);
}

function show(fresh) {
  latest = fresh;
  const said = change(fresh);
  for (const id of ["counts", "pages"]) renew(find(id), fresh.getElementById(id));
  if (said.length) news.textContent = said.length > 3 ? `${said.length} boilers have changed.` : said.join(" ");
  order.hidden = sequence(fresh) === sequence(board);
}

// A link that has the focus keeps it.
function renew(part, fresh) {
  if (part.outerHTML === fresh.outerHTML) return;
  const focused = part.contains(document.activeElement) ? document.activeElement.rel : "";
  const made = document.importNode(fresh, true);
  part.replaceWith(made);
  if (focused) made.querySelector(`a[rel="${focused}"]`)?.focus({ preventScroll: true });
}

function say(text, stale) {
  if (freshness.textContent === text) return;
  if (stale && !freshness.classList.contains("stale")) news.textContent = text;
  freshness.classList.toggle("stale", stale);
  freshness.textContent = text;
}

function sort() {
  const here = new Map(rows(board).map((row) => [row.id, row]));
  here.forEach(release);
  for (const group of latest.querySelectorAll("section.group")) {
    const listed = rows(group).map((row) => here.get(row.id) ?? document.importNode(row, true));
    find(group.id).hidden = group.hidden;
    find(group.id).querySelector("ul").replaceChildren(...listed);
  }
  rows(board).forEach((row) => known.has(row.id) || known.set(row.id, told(row)));
  order.hidden = true;
  find("title").focus();
}

const stale = () => held(() => say(`Not refreshed since ${clock(refreshed)}. ${trouble}`, true));

if (board) {
  // The page came with the tag of its rows: while they hold, the answer is empty.
  document.body.addEventListener("htmx:configRequest", ({ detail }) => tag && (detail.headers["If-None-Match"] = tag));
  document.body.addEventListener("htmx:afterRequest", ({ detail }) => {
    if (detail.xhr.status === 401) trouble = "You are signed out. Reload this page.";
    if (detail.successful) held(() => take(detail.xhr));
    else stale();
  });
  setInterval(() => Date.now() - refreshed > LATE && stale(), 5000);
  find("sort").addEventListener("click", sort);
}
