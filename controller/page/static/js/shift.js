// The hand-over: since you left, what is due, what was overridden by hand, and notes.
import { $, ask, badge, data, el, known, once, t } from "./core.js";
import { about, phaseWord } from "./answers.js";
import { clock, moment, span } from "./format.js";
import { handName } from "./byhand.js";
import { Doing } from "./doing.js";
import { drawDuties } from "./duties.js";
import { follow } from "./head.js";
import { list } from "./lines.js";

const base = `/api/v1/chambers/${data.chamber}`;

async function since() {
  const found = await ask(`${base}/since`);
  $("since").textContent = found.left_ms ? t("shift.since", { when: moment(found.left_ms) }) : t("shift.since_first");
  const counts = new Map();
  for (const row of found.lines) counts.set(row.kind, (counts.get(row.kind) ?? 0) + 1);
  $("counts").replaceChildren(...[...counts.entries()].map(([kind, count]) => badge(kind === "trip" ? "act" : "", `${count} × ${known(`kind.${kind}`, kind)}`)));
  $("lines").replaceChildren(list(found.lines));
}

// Whom the call-out told, and what became of it.
async function told() {
  const found = await ask(`${base}/told`);
  const level = { sent: "", waiting: "note", sending: "note", refused: "look", "given up": "look" };
  const row = (one) => el("li", {}, el("span", { class: "num small" }, moment(one.utc_ms)), el("span", {}, el("strong", {}, one.person), ` (${one.channel}): ${one.about.map((tag) => about(tag)).join(", ")} `, el("span", { class: "soft" }, known(`told.kind.${one.kind}`, one.kind)), " ", badge(level[one.state] ?? "note", known(`told.state.${one.state}`, one.state)), level[one.state] === "look" && one.said ? el("div", { class: "small soft", lang: "en" }, one.said) : null));
  $("told").replaceChildren(found.told.length ? el("ul", {}, found.told.map(row)) : el("p", { class: "soft" }, t("told.nobody")));
}

async function notes() {
  const found = await ask(`${base}/notes`);
  $("notes").replaceChildren(found.notes.length ? el("ul", {}, found.notes.map((one) => el("li", {}, el("span", { class: "num small" }, moment(one.utc_ms)), el("span", {}, el("strong", {}, one.who), `: ${one.text}`)))) : el("p", { class: "soft" }, t("shift.no_notes")));
}

function due(now) {
  const found = [];
  for (const one of now.alarms) if (!one.hidden && (one.state === "U" || one.state === "A")) found.push([one.by_ms, t("shift.see_to", { what: about(one.tag, one) })]);
  if (now.ready_ms) found.push([now.ready_low_ms ?? now.ready_ms, t("shift.ready")]);
  if (now.finish_ms) found.push([now.finish_ms, t("shift.over")]);
  for (const one of now.by_hand ?? []) if (one.until_ms) found.push([one.until_ms, t("shift.ends", { what: handWords(one) })]);
  if (now.by_person && now.phase) found.push([null, t("shift.by_person", { phase: phaseWord(now.phase_kind) })]);
  found.sort((a, b) => (a[0] ?? Infinity) - (b[0] ?? Infinity));
  $("due").replaceChildren(...(found.length ? found.map(([ms, words]) => el("li", {}, ms === null ? words : ms < now.utc_ms ? [badge("look", t("need.overdue", { clock: clock(ms, now.utc_ms) })), ` ${words}`] : `${clock(ms, now.utc_ms)} (${t("end.in", { span: span(ms - now.utc_ms) })}): ${words}`)) : [el("li", { class: "soft" }, t("shift.nothing_due"))]));
}

export function handWords(one) {
  return `${t(`hand.${one.kind}`)} ${handName(one.kind, one.tag)}`;
}

function byHand(now) {
  const rows = now.by_hand ?? [];
  const hidden = now.alarms.filter((one) => one.hidden);
  $("byhand").replaceChildren(rows.length || hidden.length ? el("ul", {}, rows.map((one) => el("li", {}, `${handWords(one)}: ${one.who}, ${one.reason}`)), hidden.map((one) => el("li", {}, `${t("alarmstate.hidden")}: ${about(one.tag, one)}, ${one.hidden}`))) : el("p", { class: "soft" }, t("shift.nothing_by_hand")));
}

const doing = new Doing(data.chamber, data.plate, true);
let journal = -1;
follow((now, live) => {
  due(now);
  byHand(now);
  Object.assign(doing, { now, live });
  if (now.journal === journal) return; // something happened: look at the lists again
  journal = now.journal;
  for (const one of [since(), drawDuties($("duties"), doing, now, live), told()]) one.catch(() => {});
});
$("seen").addEventListener("click", once(async () => {
  try { await ask(`${base}/since`, {}, "POST"); await since(); } catch (error) { $("since").textContent = error.message; }
}));
$("note")?.addEventListener("submit", once(async () => {
  try {
    await ask(`${base}/notes`, { text: $("note-text").value });
    $("note-text").value = "";
    $("note-said").textContent = t("shift.kept");
    notes();
  } catch (error) { $("note-said").textContent = error.message; }
}));
if (!data.now.state) since().catch((error) => { $("since").textContent = error.message; });
notes().catch(() => {});
