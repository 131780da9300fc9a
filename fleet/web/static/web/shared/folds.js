// Folds open for who is led into them, and all of them for the printer; without a script the browser's own ways remain.

const within = (element) => {
  for (let fold = element?.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
};

// What is folded only for want of room.
if (matchMedia("(min-width: 56.01rem)").matches) {
  document.querySelectorAll(".fold-narrow").forEach((fold) => { fold.open = true; });
}

function follow() {
  const target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (!target) return;
  within(target);
  target.scrollIntoView();
}

// The same anchor again changes no address: the fold may have been closed meanwhile.
document.addEventListener("click", (event) => {
  const link = event.target.closest('a[href^="#"]');
  if (link && link.hash === location.hash) follow();
});
addEventListener("hashchange", follow);
follow();

let closed = [];
addEventListener("beforeprint", () => {
  closed = [...document.querySelectorAll("details.fold:not([open])")];
  closed.forEach((fold) => { fold.open = true; });
});
addEventListener("afterprint", () => closed.forEach((fold) => { fold.open = false; }));
