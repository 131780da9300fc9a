/* Posting finished visits: once each, in the order they were finished, whenever there is signal. */

import { KeyRevoked } from "./copies.js";
import { ask, clockSkew, NoSignal, person, wipeFetched } from "./device.js";
import { correctStored, doneSteps, keepTypedName, visitBody } from "./draft.js";
import { sendPhotos, waitingPhotos } from "./photos.js";
import { changeDraft, keptHeads, readDraft } from "./visits.js";

const RETRIED = new Set([408, 425, 429, 500, 502, 503, 504]);
const RETRY_MS = 30000;
let timer = null;

/** Freeze a visit as it is to be posted. From now on every try sends the same bytes, so a lost answer doubles nothing. */
export function finishDraft(id, procedures, at) {
  return changeDraft(id, (draft) => {
    keepTypedName(draft);
    draft.state = "waiting";
    draft.finishedAt = at;
    draft.faults = [];
    draft.skew = clockSkew();
    draft.text = JSON.stringify(visitBody(draft, procedures, draft.skew));
  });
}

/** Open a refused or waiting visit again, to be changed; null while it is being sent, lest its answer meet another text.
    Its id goes on: a refused post has freed it. Where a lost answer had stored it, the post becomes a correction. */
export const reopenDraft = (id) =>
  navigator.locks.request(`posting-${id}`, { ifAvailable: true }, (lock) => (lock ? reopen(id) : null));

const reopen = (id) =>
  changeDraft(
    id,
    (draft) => {
      draft.state = "open";
      draft.triedText = draft.text;
      draft.triedSteps = doneSteps(draft).map((step) => step.id);
      delete draft.text;
    },
    ["waiting", "refused"],
  );

/** Post what waits. Only one tab posts; the others leave it to that one. Throws KeyRevoked after wiping. */
export function postWaiting(procedures) {
  return navigator.locks.request("outbox", { ifAvailable: true }, async (lock) => {
    if (!lock || !person()) return;
    const heads = (await keptHeads()).filter((h) => h.state === "waiting" && h.person === person().id);
    heads.sort((a, b) => a.finishedAt - b.finishedAt);
    for (const head of heads) {
      if (!(await navigator.locks.request(`posting-${head.id}`, () => postOne(head.id, procedures)))) break;
    }
    await sendPhotos(new Set((await keptHeads()).filter((h) => h.state !== "posted").map((h) => h.id)));
    schedule(procedures);
  });
}

async function schedule(procedures) {
  clearTimeout(timer);
  const isWaiting = (head) => head.state === "waiting" && head.person === person()?.id;
  const waits = (await keptHeads()).some(isWaiting) || (await waitingPhotos());
  if (waits) timer = setTimeout(() => postWaiting(procedures).catch(() => {}), RETRY_MS);
}

/** Post one visit; false where the rest has to wait too. */
async function postOne(id, procedures) {
  let draft = await readDraft(id);
  if (!draft?.text || draft.state !== "waiting") return true;
  let answer;
  try {
    if (Math.abs(clockSkew() - draft.skew) > 120000) draft = await putClockRight(draft, procedures);
    answer = await ask("visits/", { method: "POST", text: draft.text });
  } catch (error) {
    if (error instanceof NoSignal) return false;
    throw error;
  }
  if (answer.status === 401) {
    await wipeFetched();
    throw new KeyRevoked();
  }
  if (RETRIED.has(answer.status)) return false;
  const settled = await changeDraft(id, (kept) => settle(kept, answer), ["waiting"]);
  await settled.saved;
  return true;
}

/** The server's clock was met for the first time since: write the times anew by it, unless a try whose answer was lost
    has stored them as they were. Throws NoSignal where the server cannot say. */
async function putClockRight(draft, procedures) {
  const stored = await ask(`visits/${JSON.parse(draft.text).id}/facts/`);
  if (RETRIED.has(stored.status)) throw new NoSignal(String(stored.status));
  if (stored.status !== 404) return draft;
  const rewrite = (kept) => {
    kept.clockWasOff = clockSkew() - kept.skew;
    kept.skew = clockSkew();
    kept.text = JSON.stringify(visitBody(kept, procedures, kept.skew));
  };
  return (await changeDraft(draft.id, rewrite, ["waiting"])).draft;
}

function settle(draft, answer) {
  if (answer.status === 200 || answer.status === 201) {
    draft.state = "posted";
    draft.answer = answer.body;
    return;
  }
  draft.state = "refused";
  draft.refusedWith = answer.status;
  draft.faults = (answer.body?.errors ?? []).map((e) => ({ ...e, step: stepOf(e.pointer, draft) }));
  if (draft.triedText && draft.faults.some((fault) => fault.code === "id_taken"))
    correctStored(draft, JSON.parse(draft.triedText), crypto.randomUUID());
  if (!draft.faults.length)
    draft.faults = [
      {
        code: answer.body?.code ?? "",
        message: answer.body?.detail ?? answer.body?.title ?? "",
        pointer: "",
        step: null,
      },
    ];
}

/** The step that an error's pointer is about; null for the visit as a whole. */
function stepOf(pointer, draft) {
  const number = /^\/entries\/(\d+)/.exec(pointer ?? "")?.[1];
  if (number === undefined) return null;
  const done = draft.steps.filter((s) => s.order !== null).sort((a, b) => a.order - b.order);
  return done[Number(number)]?.id ?? null;
}
