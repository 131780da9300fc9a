/* The visits kept on this phone: every tap is written at once, under a lock that all tabs share. */

import { seal, unseal } from "./sealed.js";
import { isFull, readRow, readRows, removeRow, writeRow } from "./store.js";

const channel = new BroadcastChannel("gaugeglass-sheet");
const unsaved = new Map(); // drafts that the phone had no room for, as they stand on the screen
const listeners = new Set();

export const onChange = (act) => listeners.add(act);
channel.onmessage = (message) => listeners.forEach((act) => act(message.data));

/** Read the head of every kept visit, of whoever wrote it: what is not sealed. */
export const keptHeads = async () => (await readRows("visits")).map(({ bytes, iv, ...head }) => head);

export async function readDraft(id) {
  const row = await readRow("visits", id);
  return unsaved.get(id) ?? (row ? await unseal(row) : null);
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

/** Change a kept visit and return it. Two tabs never lose each other's taps: each change starts from the newest.
    Where the phone has no room, the change stays on the screen and `saved` is false. */
export function changeDraft(id, change) {
  return navigator.locks.request(`visit-${id}`, async () => {
    const draft = await readDraft(id);
    if (!draft) return { draft: null, saved: false };
    change(draft);
    try {
      await keepDraft(draft);
      unsaved.delete(id);
    } catch (error) {
      if (!isFull(error)) throw error;
      unsaved.set(id, draft);
      return { draft, saved: false };
    }
    channel.postMessage({ id });
    return { draft, saved: true };
  });
}

export async function deleteDraft(id) {
  await removeRow("visits", id);
  unsaved.delete(id);
  channel.postMessage({ id });
}
