/* What a card's page does where there is a script: shrinks a picture, keeps a second touch from sending twice. The page
   works without it. */

const MAX_EDGE = 1600;
const MAX_BYTES = 1500000;
const TYPE = "image/jpeg";

/** Draw a picture again, at most MAX_EDGE wide and high, in fewer and fewer bytes until it fits. */
async function shrink(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, MAX_EDGE / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  for (const quality of [0.85, 0.7, 0.5, 0.3]) {
    const blob = await new Promise((resolve) => canvas.toBlob(resolve, TYPE, quality));
    if (blob && blob.size <= MAX_BYTES) return new File([blob], "picture.jpg", { type: TYPE });
  }
  return null;
}

async function replacePicture(input, note) {
  const file = input.files[0];
  if (!file) return;
  let smaller = null;
  try {
    smaller = await shrink(file);
  } catch {
    smaller = file.size <= MAX_BYTES ? file : null;
  }
  const chosen = new DataTransfer();
  if (smaller) chosen.items.add(smaller);
  else note.textContent = note.dataset.large;
  input.files = chosen.files;
}

const form = document.querySelector("form");
if (form) {
  const save = form.querySelector("button[type=submit]");
  const picture = document.getElementById("picture");
  let shrinking = Promise.resolve();
  let isShrunk = true;
  picture?.addEventListener("change", () => {
    isShrunk = false;
    shrinking = replacePicture(picture, document.getElementById("picture-note")).finally(() => (isShrunk = true));
  });
  form.addEventListener("submit", (event) => {
    if (save.disabled) return event.preventDefault();
    if (!isShrunk) {
      event.preventDefault();
      return shrinking.then(() => form.requestSubmit());
    }
    save.disabled = true;
  });
  // Coming back to the page by its history, it may be sent again: the token tells that it is the same.
  window.addEventListener("pageshow", () => (save.disabled = false));
  // The next question comes under the thumb once one is answered, unless the answer asks for something at once.
  form.addEventListener("change", (event) => {
    const own = event.target.closest("fieldset");
    if (event.target.type !== "radio" || event.target.className || !own) return;
    own.nextElementSibling?.scrollIntoView({ block: "start" });
  });
}
