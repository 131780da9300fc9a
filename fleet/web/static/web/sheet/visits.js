/* The visits kept on this phone: every tap is written at once, under a lock that all tabs share. */

import { person } from "./device.js";
import { seal, unseal } from "./sealed.js";
import { isFull, readRow, readRows, removeRow, writeRow } from "./store.js";

const channel = new BroadcastChannel("gaugeglass-sheet");
const onScreen = new Map(); // drafts that are being written, or that the phone had no room for
const listeners = new Set();

export const onChange = (act) => listeners.add(act);
channel.onmessage = (message) => listeners.forEach((act) => act(message.data));

/** Read the head of every kept visit, of whoever wrote it: what is not sealed. */
export const keptHeads = async () => (await readRows("visits")).map(({ bytes, iv, ...head }) => head);

/** Read a visit of whoever took the phone along; null for one of anybody else, which stays sealed. */
export async function readDraft(id) {
  const isOwn = (kept) => kept && kept.person === person()?.id;
  if (onScreen.has(id)) return isOwn(onScreen.get(id)) ? structuredClone(onScreen.get(id)) : null;
  const row = await readRow("visits", id);
  return isOwn(row) ? unseal(row) : null;
}

// What is not sealed says neither where nor what.
const headOf = (draft) => ({
  id: draft.id,
  person: draft.person,
  begunAt: draft.begunAt,
  state: draft.state,
  finishedAt: draft.finishedAt ?? null,
});

async function keepDraft(draft) {
  await writeRow("visits", draft.id, { ...headOf(draft), ...(await seal(draft.person, draft)) });
}

/** Keep a new visit. Throws where the phone has no room: then nothing is begun. */
export async function beginDraft(draft) {
  await keepDraft(draft);
  channel.postMessage({ id: draft.id });
}

/** Change a kept visit. Resolves as soon as it is changed, so that the screen goes on, with `saved`: a promise that is
    true once the disk has it, false where the phone has no room; then the change stays on the screen alone.
    Two tabs never lose each other's taps: each change starts from the newest, and waits until the one before is kept.
    A visit that another tab has finished meanwhile is left as it is: what is posted is what was finished. */
export function changeDraft(id, change, states = ["open"]) {
  return new Promise((resolve, reject) => {
    navigator.locks
      .request(`visit-${id}`, async () => {
        const draft = await readDraft(id);
        if (!draft) return resolve({ draft: null, saved: Promise.resolve(false) });
        if (!states.includes(draft.state)) return resolve({ draft, saved: Promise.resolve(true) });
        change(draft);
        onScreen.set(id, draft);
        const saved = saveDraft(draft);
        resolve({ draft, saved });
        return saved.catch(() => {});
      })
      .catch(reject);
  });
}

async function saveDraft(draft) {
  try {
    await keepDraft(draft);
  } catch (error) {
    if (!isFull(error)) throw error;
    return false;
  }
  onScreen.delete(draft.id);
  channel.postMessage({ id: draft.id });
  return true;
}

export async function deleteDraft(id) {
  await removeRow("visits", id);
  onScreen.delete(id);
  channel.postMessage({ id });
}
