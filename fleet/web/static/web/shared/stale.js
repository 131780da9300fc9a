// A page left open says when the network is gone, when it has grown old, and what the site says of its own worker.

const EVERY = 60_000;
const OLD = 600_000; // ten minutes
const bar = document.getElementById("stale");
const opened = Date.now();
const refreshes = document.getElementById("board") !== null; // it says for itself how new it is

const clock = (at) => new Date(at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });

function say(...told) {
  const text = told.filter(Boolean).join(" ");
  if (bar.textContent !== text) bar.textContent = text;
}

function age() {
  if (refreshes || Date.now() - opened < OLD) return "";
  return `This page is as of ${clock(opened)}: reload it to see what has changed since.`;
}

const lost = (why) => say(refreshes ? "" : `${why} What stands here is as of ${clock(opened)}.`);

async function ask() {
  if (!navigator.onLine) return lost("No network.");
  try {
    const answer = await fetch(bar.dataset.ask, { headers: { "HX-Request": "true" }, cache: "no-store" });
    if (answer.status === 401) return say("You are signed out. Reload this page.");
    if (!answer.ok) return lost("The site does not answer.");
    say(await answer.text(), age());
  } catch {
    lost("The site does not answer.");
  }
}

addEventListener("offline", ask);
addEventListener("online", ask);
document.addEventListener("visibilitychange", () => document.hidden || ask());
setInterval(() => document.hidden || ask(), EVERY);
