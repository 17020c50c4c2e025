// The alarms of a chamber: active ones, the journal of those that were, and how busy they kept people.
import { $, ask, data, el, known, may, t } from "./core.js";
import { drawAlarms } from "./alarmlist.js";
import { Doing } from "./doing.js";
import { number, wholeShares } from "./format.js";
import { follow } from "./head.js";
import { list } from "./lines.js";

const called = (tag) => known(`alarm.${tag}.text`, data.plate?.alarms[tag] ?? tag);
const doing = new Doing(data.chamber, data.plate, true);
let seen = -1;

async function journal(upTo) {
  if (upTo === seen) return;
  seen = upTo;
  const found = await ask(`/api/v1/chambers/${data.chamber}/journal?kind=alarm&kind=trip&kind=reset&limit=150`);
  $("journal").replaceChildren(list(found.lines));
}

async function figures() {
  const found = await ask(`/api/v1/chambers/${data.chamber}/alarm-figures?days=${$("days").value}`);
  const dl = el("dl", { class: "pairs" });
  const put = (key, value) => dl.append(el("dt", {}, t(`alarmfigure.${key}`)), el("dd", {}, value));
  put("alarms", number(found.alarms, 0));
  if (found.alarms) {
    put("per_10_min", number(found.per_10_min, 2));
    put("most_in_10_min", number(found.most_in_10_min, 0));
    put("flood_pct", number(found.flood_pct, 1, "%"));
    put("priority_pct", wholeShares(found.priority_pct).map((share) => number(share, 0)).join(" / ") + " %");
    put("top", found.top.slice(0, 5).map(([tag, count]) => `${called(tag)} (${count})`).join(", "));
    put("chattering", found.chattering.map(called).join(", ") || t("alarmfigure.nothing"));
    put("stale", found.stale.map(called).join(", ") || t("alarmfigure.nothing"));
  }
  $("figures").replaceChildren(dl);
}

function quick(now, live) {
  const held = document.activeElement?.dataset?.verb;
  const button = (verb, key, on) => el("button", { type: "button", "data-verb": verb, disabled: !on || !live || !may("operate") || doing.pending.has(verb), on: { click: () => doing.give(verb) } }, t(key));
  $("quick").replaceChildren(button("silence", "verb.silence", true), button("reset-trips", "verb.reset-trips", now.trips.length > 0));
  if (held) $("quick").querySelector(`[data-verb="${held}"]`)?.focus();
}

let quickKey = "";
follow((now, live) => {
  doing.draw(now, live);
  const key = JSON.stringify([live, now.trips.length, [...doing.pending.keys()]]);
  if (key !== quickKey) { quickKey = key; quick(now, live); }
  drawAlarms($("alarms"), now, doing);
  journal(now.journal).catch(() => {});
});
$("days").addEventListener("change", figures);
figures().catch(() => {});
