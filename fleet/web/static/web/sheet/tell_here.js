/* Telling this phone: the switch, and the one address of the API that it needs. */

import { ask, NoSignal } from "./device.js";
import { h, onceTouched, say } from "./dom.js";
import { canBeTold, currentSubscription, subscribe, unsubscribe } from "./push_subscription.js";
import { readRow, removeRow, writeRow } from "./store.js";

/* GET answers with `push_public_key` ("" where the site sends none); POST adds { channel, address, label }. */
const DESTINATIONS = "destinations/";
const WISH = "told_here"; // the endpoint that the server has; without it nobody wants to be told here

/** Whether this phone is told: its subscription is the one that the server has. */
async function isTold() {
  const endpoint = await readRow("meta", WISH);
  return Boolean(endpoint) && (await currentSubscription())?.endpoint === endpoint;
}

/** Subscribe and hand it to the server. Returns the key of what stands against it, or "". Throws NoSignal. */
async function startTelling() {
  if (!(await canBeTold())) return "tell_not_possible";
  const { status, body } = await ask(DESTINATIONS);
  if (status !== 200 || !body.push_public_key) return "tell_no_push";
  const subscription = await subscribe(body.push_public_key);
  if (!subscription) return "tell_not_allowed";
  const address = JSON.stringify(subscription);
  const label = `Visit sheet, ${navigator.platform || "phone"}`.slice(0, 100);
  const answer = await ask(DESTINATIONS, {
    method: "POST",
    text: JSON.stringify({ channel: "web_push", address, label }),
    headers: { "Idempotency-Key": `"${crypto.randomUUID()}"` },
  });
  if (answer.status !== 201 && !isKnown(answer)) return "tell_failed";
  await writeRow("meta", WISH, subscription.endpoint);
  return "";
}

const isKnown = ({ status, body }) => status === 422 && body?.errors?.every((error) => error.code === "known");

async function stopTelling() {
  await removeRow("meta", WISH);
  await unsubscribe();
}

/** Subscribe again where the browser ended or changed a subscription: a phone that is told must not fall silent. */
export async function keepTelling() {
  if ((await readRow("meta", WISH)) && !(await isTold()) && Notification.permission === "granted") await startTelling();
}

/** The switch of the phone's screen. */
export async function tellSwitch(app) {
  const isOn = await isTold();
  const turn = async () => {
    try {
      const fault = isOn ? await stopTelling() : await startTelling();
      if (fault) app.tell(say(fault));
    } catch (error) {
      if (!(error instanceof NoSignal)) throw error;
      app.tell(say("needs_signal"));
    }
    app.refresh();
  };
  return h(
    "div.chips",
    {},
    h("button.chip", { type: "button", "aria-pressed": String(isOn), onclick: onceTouched(turn) }, say("tell_here")),
    h("span.quiet", {}, isOn ? say("told_here") : say("not_told_here")),
  );
}
