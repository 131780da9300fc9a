/* This phone: who took it along, taking it off, and what a wiped phone still keeps. */

import { person, wipeFetched } from "./device.js";
import { bigButton, dayAndTime, h, onceTouched, say } from "./dom.js";
import { tellSwitch } from "./tell_here.js";
import { keptHeads } from "./visits.js";

export async function showPhone(app) {
  const waiting = (await keptHeads()).filter((head) => head.state !== "posted");
  const takeOff = async () => {
    if (waiting.length && !confirm(say("take_off_sure", { count: waiting.length }))) return;
    await wipeFetched();
    app.start();
  };
  const language = (code, name) =>
    h(
      "button.chip",
      {
        type: "button",
        "aria-pressed": String(app.language === code),
        onclick: onceTouched(() => app.useLanguage(code).then(app.refresh)),
      },
      name,
    );
  return [
    h("p.where", {}, h("a", { href: "#/" }, say("back"))),
    h("h1", {}, say("this_phone")),
    h("p", {}, say("taken_by", { name: person()?.name ?? "" })),
    h("p", {}, app.persisted ? say("persistent") : say("not_persistent")),
    h("div.chips", {}, language("en", "English"), language("es", "Español")),
    await tellSwitch(app),
    app.words?.read_by_native_speaker === false ? h("p.quiet", {}, say("unread_language")) : null,
    h("p", {}, say("lost_phone"), " ", h("a", { href: "/account/" }, say("account"))),
    bigButton(say("take_off"), takeOff),
  ];
}

/** What stands where nobody took the phone along, or its key was ended. */
export async function showWelcome(app, takeAlong) {
  const waiting = (await keptHeads()).filter((head) => head.state !== "posted");
  const take = async () => {
    const taken = await takeAlong().catch(() => null);
    if (taken) app.start();
    else location.assign("/sign-in/?next=/sheet/");
  };
  return [
    h("h1", {}, say("sheet")),
    h("p", {}, say("welcome")),
    waiting.length
      ? h(
          "section.notice",
          {},
          h("p", {}, say("sealed_here", { count: waiting.length })),
          // Not offered for deletion here: nobody is known yet, and only its author may delete a visit.
          h("ul", {}, waiting.map((head) => h("li", {}, dayAndTime(head.begunAt, undefined)))),
        )
      : null,
    bigButton(say("take_along"), take),
  ];
}
