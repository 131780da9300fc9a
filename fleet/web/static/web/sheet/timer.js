/* Timers of timed tests: they count from a stored instant, so a dark phone or a new start loses nothing. */

let lock = null;

/** Keep the screen on while something is timed; false where the phone refuses. */
export async function holdScreen() {
  if (!("wakeLock" in navigator)) return false;
  try {
    lock ??= await navigator.wakeLock.request("screen");
    lock.addEventListener("release", () => {
      lock = null;
    });
    return true;
  } catch {
    return false;
  }
}

export function releaseScreen() {
  lock?.release();
  lock = null;
}

export const digits = (seconds) => `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;

/** Sound and shake once: a time that was waited for is up. */
export function signalTime() {
  navigator.vibrate?.([400, 200, 400]);
  try {
    const audio = new AudioContext();
    const tone = audio.createOscillator();
    tone.connect(audio.destination);
    tone.start();
    tone.stop(audio.currentTime + 0.8);
  } catch {
    // A phone without sound still shook and shows it.
  }
}

/** A measured time as it is noted, in tenths: rounded to the side that passes nothing which did not last, or lasted. */
export function timedText(timed, seconds) {
  const tenths = Math.round((seconds / timed.unit) * 10000) / 1000;
  return ((timed.atMost ? Math.ceil(tenths) : Math.floor(tenths)) / 10).toFixed(1);
}

// Which readings are measured by a clock, what one tap means, and after how many seconds it is long enough.
// `atMost`: the less the better, so the tenth is rounded up.
export const TIMED = {
  seconds_to_shut: { unit: 1, atMost: true },
  purge_seconds: { unit: 1 },
  firing_seconds: { unit: 1 },
  stayed_off_minutes: { unit: 60, enough: 180 },
  seconds: { unit: 1, turns: true },
};
