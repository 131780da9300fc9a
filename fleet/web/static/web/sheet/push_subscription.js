/* What this browser hands over so that it can be told: made, found again and ended. Knows no server. */

async function pushManager() {
  const registration = await navigator.serviceWorker?.getRegistration("/sheet/");
  return registration?.pushManager ?? null;
}

/** Whether this browser could show notices; some can only once the page was installed as an app. */
export const canBeTold = async () => "Notification" in globalThis && Boolean(await pushManager());

export const currentSubscription = async () => (await pushManager())?.getSubscription() ?? null;

/** Ask the person and subscribe with the site's key. Null where the person or the browser says no. */
export async function subscribe(key) {
  if ((await Notification.requestPermission()) !== "granted") return null;
  const manager = await pushManager();
  const kept = await manager.getSubscription();
  if (kept && hasKey(kept, key)) return kept;
  await kept?.unsubscribe(); // a browser refuses a second key
  return manager.subscribe({ userVisibleOnly: true, applicationServerKey: key }).catch(() => null);
}

/** End the subscription: the push service answers the site from then on that it is gone, which ends the address there. */
export async function unsubscribe() {
  await (await currentSubscription())?.unsubscribe();
}

function hasKey(subscription, key) {
  const bytes = new Uint8Array(subscription.options?.applicationServerKey ?? []);
  const text = btoa(String.fromCharCode(...bytes));
  return text.replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "") === key;
}
