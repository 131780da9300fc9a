/* This phone's key, its clock against the server's, and every request it makes. */

import { unsubscribe } from "./push_subscription.js";
import { seal, unseal } from "./sealed.js";
import { clearRows, readRow, removeRow, writeRow } from "./store.js";

const API = "/api/v1/";
const PATIENCE_MS = 15000;
const SCOPES = ["read", "visits", "jobs"];

/** No answer came: no signal, a server that is away, or one that took too long. */
export class NoSignal extends Error {}

let skew = 0; // milliseconds that the server's clock is ahead of this phone's
let current = null; // { key, keyId, person }

export const now = () => Date.now() + skew;
export const clockSkew = () => skew;
export const person = () => current?.person ?? null;

/** Read what the phone knows of itself; null where it was never taken along or was wiped. */
export async function loadDevice() {
  skew = (await readRow("meta", "skew")) ?? 0;
  const row = await readRow("meta", "device");
  current = row ? await unseal(row) : null;
  return current;
}

async function noteClock(response, sentAt) {
  const date = Date.parse(response.headers.get("Date") ?? "");
  if (!date) return;
  const measured = date + 500 - (sentAt + Date.now()) / 2; // the header counts whole seconds
  if (Math.abs(measured - skew) < 1500) return;
  skew = measured;
  await writeRow("meta", "skew", skew).catch(() => {});
}

async function send(path, options) {
  const sentAt = Date.now();
  let response;
  try {
    response = await fetch(API + path, { ...options, cache: "no-store", signal: AbortSignal.timeout(PATIENCE_MS) });
  } catch (error) {
    throw new NoSignal(String(error));
  }
  await noteClock(response, sentAt);
  return response;
}

async function bodyOf(response) {
  try {
    return response.status === 204 || response.status === 304 ? null : await response.json();
  } catch (error) {
    throw new NoSignal(String(error)); // cut off in the middle
  }
}

/** Ask by the phone's own key, never by a session. Returns { status, body, tag }; throws NoSignal. */
export async function ask(path, { method = "GET", text, tag, headers = {} } = {}) {
  const response = await send(path, {
    method,
    body: text,
    credentials: "omit",
    headers: {
      Authorization: `Bearer ${current?.key ?? ""}`,
      ...(typeof text === "string" ? { "Content-Type": "application/json" } : {}),
      ...(tag ? { "If-None-Match": tag } : {}),
      ...headers,
    },
  });
  return { status: response.status, body: await bodyOf(response), tag: response.headers.get("ETag") };
}

function csrfToken() {
  const name = document.body.dataset.csrfCookie;
  return (
    document.cookie
      .split("; ")
      .find((c) => c.startsWith(`${name}=`))
      ?.slice(name.length + 1) ?? ""
  );
}

/** Make a key for this phone by the session of whoever is signed in. Returns null where nobody is; throws NoSignal. */
export async function takeAlong() {
  const day = await send("field/day/", { credentials: "same-origin" });
  if (day.status !== 200) return null;
  const who = (await day.json()).person;
  const made = await send("keys/", {
    method: "POST",
    credentials: "same-origin",
    headers: { "Content-Type": "application/json", "X-CSRFToken": csrfToken() },
    body: JSON.stringify({ name: `Visit sheet, ${navigator.platform || "phone"}`.slice(0, 100), scopes: SCOPES }),
  });
  if (made.status !== 201) return null;
  const key = await made.json();
  await keepDevice({ key: key.secret, keyId: key.id, person: who });
  return current;
}

async function keepDevice(device) {
  current = device;
  await writeRow("meta", "author", device.person.id);
  await writeRow("meta", "device", await seal(device.person.id, device));
}

/** Forget the key and everything that was fetched. Visits that were not posted stay, sealed, for their author.
    Whoever takes the phone next is not told what the one before is. */
export async function wipeFetched() {
  current = null;
  await unsubscribe().catch(() => {});
  await removeRow("meta", "told_here");
  await removeRow("meta", "device");
  await clearRows("copies");
}
