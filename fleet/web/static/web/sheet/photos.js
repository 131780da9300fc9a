/* Photographs: shrunk on the phone, kept sealed, sent in pieces after their visit, and gone from here once kept there. */

import { ask, NoSignal, person } from "./device.js";
import { h, onceTouched, say } from "./dom.js";
import { sealBytes, unsealBytes } from "./sealed.js";
import { isFull, readRow, readRows, removeRow, writeRow } from "./store.js";
import { changeDraft } from "./visits.js";

const MAX_EDGE = 2048;
const QUALITY = 0.85;
const PIECE_BYTES = 512 * 1024;
const TYPE = "image/jpeg";

/** Draw a picture again, upright and at most MAX_EDGE wide and high: a JPEG without place, camera and time. */
async function shrink(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, MAX_EDGE / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const blob = await new Promise((resolve) => canvas.toBlob(resolve, TYPE, QUALITY));
  return blob.arrayBuffer();
}

async function hashOf(bytes) {
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  return [...digest].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** Keep a picture with a visit, of one of its steps or of the whole. Returns a sentence where it cannot be kept. */
async function keepPhoto(app, draft, step, file) {
  let bytes;
  try {
    bytes = await shrink(file);
  } catch {
    return say("no_picture");
  }
  const sha256 = await hashOf(bytes);
  const photo = { sha256, size: bytes.byteLength, type: TYPE, step: step?.id ?? null };
  try {
    await writeRow("photos", sha256, { ...(await sealBytes(person().id, bytes)), visit: draft.id, size: photo.size });
  } catch (error) {
    if (!isFull(error)) throw error;
    return say("no_room_for_photo");
  }
  app.saved(
    await changeDraft(draft.id, (d) => {
      if (!d.photos.some((p) => p.sha256 === sha256)) d.photos.push(photo);
    }),
  );
  return "";
}

/** A button that takes a photograph of a step, or of the visit as a whole, with how many there are. */
export function photoButton(app, draft, step) {
  const count = draft.photos.filter((p) => p.step === (step?.id ?? null)).length;
  const input = h("input", { type: "file", accept: "image/*", capture: "environment", class: "unseen" });
  input.addEventListener("change", async () => {
    if (!input.files.length) return;
    const fault = await keepPhoto(app, draft, step, input.files[0]);
    app.refresh();
    if (fault) app.tell(fault);
  });
  return h("label.small.photo", {}, say("photograph"), count ? ` (${count})` : "", input);
}

/** A line for each photograph of a step, or of the visit as a whole, with which it is taken back; null without any.
    Of a correction these are also those that were posted: what is taken back is not restated. */
export function photoLines(app, draft, step) {
  const photos = draft.photos.filter((p) => p.step === (step?.id ?? null));
  const line = (photo, number) => {
    const act = onceTouched(() => takePhotoBack(app, draft, photo));
    const words = say("take_back_photo", { number: number + 1 });
    return h("button.quiet", { type: "button", onclick: act }, words);
  };
  return photos.length ? h("div.line", {}, photos.map(line)) : null;
}

async function takePhotoBack(app, draft, photo) {
  if (!confirm(say("take_back_photo_sure"))) return;
  app.saved(
    await changeDraft(draft.id, (d) => (d.photos = d.photos.filter((p) => p.sha256 !== photo.sha256))),
  );
  await dropPhotos({ id: draft.id, photos: [photo] });
  app.refresh();
}

/** Send what is kept of visits but for those that still wait, from where each broke off: also of a posted visit that was
    taken off this phone. Without signal it is tried again later. */
export async function sendPhotos(waitingVisits) {
  for (const row of await readRows("photos")) {
    if (row.person !== person()?.id || waitingVisits.has(row.visit)) continue;
    const bytes = await unsealBytes(row);
    try {
      const sha256 = await hashOf(bytes);
      if (await sendPhoto(sha256, bytes)) await removeRow("photos", sha256);
    } catch (error) {
      if (error instanceof NoSignal) return;
      throw error;
    }
  }
}

/** Send one photograph; true once the server has it whole, or will never take it. Bytes that were garbled on the way
    have another hash there: those are sent anew later, for this phone may hold the only ones. */
async function sendPhoto(sha256, bytes) {
  const path = `photos/${sha256}/`;
  let answer = await ask(path);
  while (answer.status < 300 && !answer.body.kept) {
    const start = answer.body.received;
    const piece = bytes.slice(start, start + PIECE_BYTES);
    const range = `bytes ${start}-${start + piece.byteLength - 1}/${bytes.byteLength}`;
    const headers = { "Content-Range": range, "Content-Type": "application/octet-stream" };
    answer = await ask(path, { method: "PUT", text: piece, headers });
    if (answer.status === 409) answer = await ask(path);
  }
  const isGarbled = answer.status === 422 && answer.body?.code === "wrong_hash";
  return answer.status < 300 || answer.status === 404 || (answer.status === 422 && !isGarbled);
}

/** How many photographs still wait on this phone. */
export const waitingPhotos = async () => (await readRows("photos")).filter((r) => r.person === person()?.id).length;

/** Drop the photographs of a visit that was deleted. */
export async function dropPhotos(draft) {
  for (const photo of draft.photos ?? []) {
    const row = await readRow("photos", photo.sha256);
    if (row?.visit === draft.id) await removeRow("photos", photo.sha256);
  }
}
