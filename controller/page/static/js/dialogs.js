// Small dialogs: is this meant, and for how long and why an alarm is hidden.
import { el, known, t } from "./core.js";

function open(title, body, buttons) {
  return new Promise((resolve) => {
    const box = el("dialog", { "aria-label": title });
    const shut = (answer) => { box.close(); box.remove(); resolve(answer); };
    box.append(el("div", { class: "head" }, el("h2", {}, title)), el("div", { class: "body" }, body), el("div", { class: "foot" }, buttons(shut)));
    box.addEventListener("cancel", () => shut(null));
    document.body.append(box);
    box.showModal();
  });
}

export function confirmed(words, verb) {
  return open(verb, el("p", {}, words), (shut) => [
    el("button", { type: "button", class: "main", on: { click: () => shut(true) } }, t("dialog.yes", { verb })),
    el("button", { type: "button", autofocus: true, on: { click: () => shut(false) } }, t("dialog.no")),
  ]);
}

export function shelveDialog(alarm) {
  const hours = el("select", { id: "shelve-hours" }, [1, 2, 4, 8, 12].map((h) => el("option", { value: h }, t("span.h", { h }))), el("option", { value: "out" }, t("alarm.out_of_service")));
  const reason = el("input", { id: "shelve-reason", maxlength: 200, autocomplete: "off" });
  const problem = el("p", { class: "problem", hidden: true }, t("alarm.reason_needed"));
  const body = el("div", {}, el("p", {}, t("alarm.shelve_words", { alarm: known(`alarm.${alarm.tag}.text`, alarm.text) })), el("label", { for: "shelve-hours" }, t("alarm.hours")), hours, el("label", { for: "shelve-reason" }, t("alarm.reason")), reason, problem);
  return open(t("alarm.shelve"), body, (shut) => [
    el("button", { type: "button", class: "main", on: { click: () => {
      if (!reason.value.trim()) { problem.hidden = false; reason.focus(); return; }
      const args = { tag: alarm.tag, reason: reason.value.trim() };
      shut(hours.value === "out" ? { verb: "out-of-service", args } : { verb: "shelve", args: { ...args, hours: Number(hours.value) } });
    } } }, t("alarm.shelve")),
    el("button", { type: "button", on: { click: () => shut(null) } }, t("dialog.no")),
  ]);
}
