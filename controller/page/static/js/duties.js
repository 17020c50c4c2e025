// What people have to do from time to time: what is due, what comes next, and the word that it is done.
import { ask, badge, data, el, keeping, known, may, t } from "./core.js";
import { clock, moment } from "./format.js";

const base = `/api/v1/chambers/${data.chamber}`;

export async function drawDuties(box, doing, now, live) {
  const { duties } = await ask(`${base}/duties`);
  const due = duties.filter((one) => one.due), later = duties.filter((one) => !one.due);
  const row = (one) => el("li", {}, el("div", { class: "line" },
    el("span", {}, one.overdue ? badge("look", t("duty.overdue")) : one.due ? badge("note", t("duty.due")) : null, " ", el("strong", {}, known(`dutyitem.${one.item}.text`, one.text)), el("span", { class: "small soft" }, when(one, now))),
    may("operate") ? el("button", { type: "button", disabled: !live, on: { click: () => said(one, doing, () => drawDuties(box, doing, now, live)) } }, t("duty.done")) : null),
    one.due ? el("p", { class: "small" }, known(`dutyitem.${one.item}.action`, one.action)) : null,
    one.done_ms ? el("p", { class: "small soft" }, t("duty.last", { when: moment(one.done_ms), who: one.who }), one.note ? `: ${one.note}` : "") : null);
  const list = (rows) => el("ul", { class: "plainlist" }, rows.map(row));
  keeping(box, () => box.replaceChildren(due.length ? list(due) : el("p", { class: "soft" }, t("duty.nothing")),
    later.length ? el("details", { open: box.querySelector("details")?.open }, el("summary", {}, t("duty.later", { count: later.length })), list(later)) : ""));
}

function when(one, now) {
  if (one.due_ms === null) return one.due ? "" : ` ${t("duty.unknown")}`;
  return ` ${t(one.due ? "duty.since" : "duty.on", { when: Math.abs(one.due_ms - now.utc_ms) < 86400e3 ? clock(one.due_ms, now.utc_ms) : moment(one.due_ms) })}`;
}

function said(one, doing, then) {
  const note = el("input", { id: "duty-note", maxlength: 300, autocomplete: "off" });
  const box = el("dialog", { "aria-label": t("duty.done") }, el("div", { class: "head" }, el("h2", {}, known(`dutyitem.${one.item}.text`, one.text))),
    el("div", { class: "body" }, el("p", {}, known(`dutyitem.${one.item}.action`, one.action)), el("p", { class: "small soft" }, t("duty.words")), el("label", { for: "duty-note" }, t("duty.note")), note),
    el("div", { class: "foot" }, el("button", { type: "button", class: "main", on: { click: async () => {
      shut();
      const args = { item: one.item, ...(note.value.trim() ? { note: note.value.trim() } : {}) };
      await doing.give("done", args, `done ${one.item}`);
      then().catch(() => {});
    } } }, t("duty.done")), el("button", { type: "button", on: { click: shut } }, t("dialog.no"))));
  function shut() { box.close(); box.remove(); }
  document.body.append(box);
  box.showModal();
}
