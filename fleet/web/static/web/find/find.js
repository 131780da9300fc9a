// The key "/" leads to the page that finds things, from wherever nothing is being typed.

const TYPED_INTO = "input, select, textarea, [contenteditable]";

document.addEventListener("keydown", (event) => {
  if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target instanceof Element && event.target.closest(TYPED_INTO)) return;
  const field = document.getElementById("find-words");
  event.preventDefault();
  if (field) field.focus();
  else document.getElementById("find-link")?.click();
});
