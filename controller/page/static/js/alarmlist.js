// Active alarms: cause, consequence, action, and what may be done about each.
import { byWhen } from "./answers.js";
import { badge, el, keeping, known, may, once, sign, spoken, t } from "./core.js";
import { clock, span } from "./format.js";

const AT_ONCE = 4; // orders on their way together: a scan takes only some
let shown = "";

export function drawAlarms(box, now, doing) {
  if (!box) return;
  const key = JSON.stringify([now.alarms.map((one) => [one.tag, one.state, one.hidden]), now.resettable, may("operate"), doing.live]);
  if (key === shown && box.children.length) { // leave focus and open texts where they are, time goes on
    for (const one of now.alarms) { const line = box.querySelector(`[data-tag="${one.tag}"] .since`); if (line) line.textContent = times(one, now); }
    return;
  }
  shown = key;
  const unacked = now.alarms.filter((one) => !one.hidden && (one.state === "U" || one.state === "R"));
  const acknowledge = el("button", { type: "button", class: "main", disabled: !may("operate") || !doing.live, on: { click: once(() => each(unacked, doing)) } }, t("alarm.acknowledge_all"));
  keeping(box, () => box.replaceChildren(el("div", { class: "line" }, el("h2", {}, t("alarm.title", { count: now.alarms.filter((one) => !one.hidden).length })), unacked.length ? acknowledge : ""),
    now.alarms.length ? el("div", {}, now.alarms.map((one) => alarm(one, now, doing))) : el("p", { class: "soft" }, t("alarm.none"))));
}

// Those that are shown, one by one: an alarm that comes meanwhile was seen by nobody and stays as it is.
async function each(shown, doing) {
  for (let first = 0; first < shown.length; first += AT_ONCE) {
    const told = await Promise.all(shown.slice(first, first + AT_ONCE).map((one) => doing.give("acknowledge", { tag: one.tag }, `acknowledge ${one.tag}`)));
    if (told.some((outcome) => !outcome?.done)) return;
  }
}

const LEVEL = { high: "act", medium: "look", low: "note" };

// Which channels, since when, by when somebody should see to it, and why it is hidden.
function times(one, now) {
  return [one.state === "R" ? "" : now.which?.[one.tag]?.join(", "), t("alarm.since", { clock: clock(one.from_ms, now.utc_ms), span: span(now.utc_ms - one.from_ms) }), one.state === "U" || one.state === "A" ? byWhen(one.by_ms, now.utc_ms) : "", one.hidden].filter(Boolean).join(" · ");
}

function alarm(one, now, doing) {
  const dl = el("dl", { class: "pairs" });
  for (const part of ["cause", "consequence", "action"]) dl.append(el("dt", {}, t(`alarm.${part}`)), one.usual ? el("dd", {}, known(`alarm.${one.tag}.${part}`, one[part])) : spoken(one[part], "dd"));
  const waiting = one.state === "U" || one.state === "R";
  const buttons = el("div", { class: "buttons" });
  if (waiting && !one.hidden && may("operate")) buttons.append(el("button", { type: "button", disabled: !doing.live, on: { click: () => doing.give("acknowledge", { tag: one.tag }, `acknowledge ${one.tag}`) } }, t("alarm.acknowledge_one")));
  if (may("hide alarms") && !now.trips.includes(one.tag)) {
    buttons.append(one.hidden ? el("button", { type: "button", disabled: !doing.live, on: { click: () => doing.give("unshelve", { tag: one.tag }) } }, t("alarm.unshelve"))
      : el("button", { type: "button", disabled: !doing.live, on: { click: () => doing.shelve(one) } }, t("alarm.shelve")));
  }
  return el("article", { class: `alarm ${one.priority} ${one.hidden ? "hidden-one" : ""}`, "data-tag": one.tag },
    el("h3", { class: waiting && !one.hidden ? "unacked" : "" }, el("span", { class: "called" }, sign(LEVEL[one.priority]), el("span", {}, known(`alarm.${one.tag}.text`, one.text))), badge(LEVEL[one.priority], t(`priority.${one.priority}`)), el("span", { class: "badge" }, t(`alarmstate.${one.hidden ? "hidden" : one.state}`)), now.resettable?.includes(one.tag) ? badge("note", t("alarm.cause_gone")) : ""),
    el("p", { class: "small soft since" }, times(one, now)),
    dl, buttons.children.length ? buttons : null);
}
