/* Sealing with a key that never leaves this browser: a copied database cannot be read elsewhere.
   One key a person, so what one wrote is not opened in another's name. */

import { readRow, writeRow } from "./store.js";

const ALGORITHM = "AES-GCM";

async function keyOf(person) {
  const stored = await readRow("keys", person);
  if (stored) return stored;
  const made = await crypto.subtle.generateKey({ name: ALGORITHM, length: 256 }, false, ["encrypt", "decrypt"]);
  await writeRow("keys", person, made);
  return made;
}

export async function sealBytes(person, bytes) {
  const iv = crypto.getRandomValues(new Uint8Array(12));
  return { person, iv, bytes: await crypto.subtle.encrypt({ name: ALGORITHM, iv }, await keyOf(person), bytes) };
}

export async function unsealBytes(row) {
  return crypto.subtle.decrypt({ name: ALGORITHM, iv: row.iv }, await keyOf(row.person), row.bytes);
}

export const seal = (person, value) => sealBytes(person, new TextEncoder().encode(JSON.stringify(value)));
export const unseal = async (row) => JSON.parse(new TextDecoder().decode(await unsealBytes(row)));
