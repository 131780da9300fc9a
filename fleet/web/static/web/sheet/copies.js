/* Copies of what the server knows: the day, one boiler whole, the words. Sealed, each with its tag and its age. */

import { ask, now, person, wipeFetched } from "./device.js";
import { seal, unseal } from "./sealed.js";
import { clearRows, isFull, readRow, writeRow } from "./store.js";

export class KeyRevoked extends Error {}

const opened = new Map(); // copies unsealed by this page, so that a tap does not unseal a whole boiler

export async function kept(path) {
  const row = await readRow("copies", path);
  if (!row || row.person !== person()?.id) return null;
  if (opened.get(path)?.fetchedAt !== row.fetchedAt)
    opened.set(path, { ...(await unseal(row)), fetchedAt: row.fetchedAt });
  return opened.get(path);
}

/** Fetch what changed and return { value, fetchedAt }; the kept copy where the server has nothing newer.
    Throws NoSignal, and KeyRevoked after everything fetched was wiped. Null where it may not be seen. */
export async function fetchCopy(path) {
  const old = await kept(path);
  const answer = await ask(path, { tag: old?.tag });
  if (answer.status === 401) {
    opened.clear();
    await wipeFetched();
    throw new KeyRevoked();
  }
  if (answer.status === 304) return { value: old.value, fetchedAt: await keepCopy(path, old.value, old.tag) };
  if (answer.status !== 200) return null;
  return { value: answer.body, fetchedAt: await keepCopy(path, answer.body, answer.tag) };
}

async function keepCopy(path, value, tag) {
  const fetchedAt = now();
  const row = { ...(await seal(person().id, { value, tag })), fetchedAt };
  try {
    await writeRow("copies", path, row);
  } catch (error) {
    if (!isFull(error)) throw error;
    await clearRows("copies"); // room for what is written by hand comes before copies
    await writeRow("copies", path, row).catch(() => {});
  }
  return fetchedAt;
}

export const dayPath = "field/day/";
export const wordsPath = (language) => `field/words/?language=${language}`;
export const packPath = (boiler) => `boilers/${boiler}/field-pack/`;

/** The kept pack of a boiler; undefined where it was not taken along. */
export const keptPack = async (app, boiler) => withPlaceNames(app, (await kept(packPath(boiler)))?.value);

/** A pack with its places named in the language of the words, where the register has no more than the role's name. */
export const withPlaceNames = (app, pack) =>
  pack && { ...pack, places: pack.places.map((p) => ({ ...p, name: placeName(p, app.roles[p.role]) })) };

function placeName(place, role) {
  const english = role?.english ?? "";
  const number = place.name.slice(english.length);
  const isPlain = english && place.name.toLowerCase().startsWith(english.toLowerCase()) && /^( \d+)?$/.test(number);
  if (!isPlain || role.name === english) return place.name;
  return `${place.name[0] === english[0] ? role.name : role.name.toLowerCase()}${number}`;
}

/** Fetch the packs of the day's boilers, those on hold first, a few at a time. */
export async function fetchPacks(boilers) {
  const waiting = [...boilers];
  const work = async () => {
    for (let next = waiting.shift(); next; next = waiting.shift()) await fetchCopy(packPath(next)).catch(() => {});
  };
  await Promise.all([work(), work(), work()]);
}
