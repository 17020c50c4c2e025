// What is overridden by hand, and the dialog to override something: always with a reason and an end.
import { badge, data, el, keeping, known, may, once, saidIn, sign, t } from "./core.js";
import { clock, inUnits, number, plain, readField, unitOf } from "./format.js";

const RIGHT = { trim: "operate", manual: "bypass", bypass: "bypass", force: "tune", simulate: "tune", "lock-out": "tune" };
const ENDS = { trim: "release", manual: "automatic", bypass: "end-bypass", force: "release", simulate: "release", "lock-out": "lift-lock" };
const LOOP_UNITS = { heat: "kW", fog: "kg/h", vent: "kg/s", fan: "%", temperature: "K", humidity: "%RH" };
let shown = "", units = {};
// What points are called, for entries that have only a tag.
const names = Object.fromEntries([...(data.plate?.probes ?? []), ...(data.plate?.contacts ?? []), ...(data.plate?.outputs ?? [])].map((one) => [one.tag, one.text]));
const probeUnit = (tag) => units[tag] ?? "";

export const handName = (kind, tag) => known(`handtag.${tag}`, known(`alarm.${tag}.text`, saidIn(names[tag] ?? tag)));

function words(one) {
  const value = one.value === null || one.kind === "bypass" ? "" : ` ${one.kind === "trim" && one.value > 0 ? "+" : ""}${number(one.value, 2, LOOP_UNITS[one.tag] ?? probeUnit(one.tag))}`;
  return `${t(`hand.${one.kind}`)} ${handName(one.kind, one.tag)}${value}`;
}

export function drawByHand(box, plate, now, doing, live) {
  if (!box || !plate.hand) return;
  units = Object.fromEntries(plate.probes.map((one) => [one.tag, one.unit]));
  const key = JSON.stringify([now.by_hand, live, data.locked]);
  if (key === shown && box.children.length) return;
  shown = key;
  const kinds = Object.keys(RIGHT).filter((kind) => may(RIGHT[kind]));
  const rows = now.by_hand.map((one) => el("li", {}, el("div", { class: "line" }, el("span", {}, badge(one.kind === "trim" ? "note" : "look", words(one)), ` ${one.who}: ${one.reason}`, one.until_ms ? el("span", { class: "soft small" }, ` · ${t("hand.until", { clock: clock(one.until_ms, now.utc_ms) })}`) : ""),
    may(RIGHT[one.kind]) ? el("button", { type: "button", disabled: !live, on: { click: () => doing.give(ENDS[one.kind], one.kind === "lock-out" ? { of: one.who, reason: one.reason } : { tag: one.tag }, `end ${one.kind} ${one.tag}`) } }, t("hand.end")) : null)));
  keeping(box, () => box.replaceChildren(el("div", { class: "line" }, el("h2", {}, t("hand.title")), kinds.length ? el("button", { type: "button", disabled: !live, on: { click: () => override(plate, doing, kinds) } }, t("hand.new")) : null),
    rows.length ? el("ul", { class: "plainlist" }, rows) : el("p", { class: "soft" }, t("hand.none"))));
}

function override(plate, doing, kinds) {
  const kind = el("select", { id: "hand-kind" }, kinds.map((one) => el("option", { value: one }, t(`handkind.${one}`))));
  const tag = el("select", { id: "hand-tag" });
  const value = el("input", { id: "hand-value", "aria-describedby": "hand-hint", type: "number", step: "any", inputmode: "decimal" });
  const hint = el("span", { class: "hint", id: "hand-hint" });
  const hours = el("select", { id: "hand-hours" }, [0.5, 1, 2, 4, 8, 12].filter((one) => one <= plate.hand.hours_max).map((one) => el("option", { value: one, selected: one === 1 }, t("span.h", { h: number(one, one < 1 ? 1 : 0) }))));
  const reason = el("input", { id: "hand-reason", maxlength: 200, autocomplete: "off" });
  const problem = el("p", { class: "problem", role: "alert", hidden: true });
  const about = el("p", { class: "small soft" });
  const fields = { tag: field("hand-tag", "hand.what", tag), value: field("hand-value", "hand.value", value, hint), hours: field("hand-hours", "alarm.hours", hours) };
  const output = () => plate.outputs.find((one) => one.tag === tag.value);
  const unitFor = () => LOOP_UNITS[tag.value] ?? plate.probes.find((one) => one.tag === tag.value)?.unit ?? (output()?.kind === "AO" ? "%" : "");
  const twoWay = () => kind.value !== "bypass" && (output()?.kind === "DO" || plate.contacts.some((one) => one.tag === tag.value));
  const table = () => plate.hand[kind.value] ?? {};
  const ranged = () => {
    const range = table()[tag.value];
    fields.value.hidden = !range;
    hint.textContent = !range ? "" : twoWay() ? t("hand.two_way") : t("hand.range", { low: plain(inUnits(range[0], unitFor()), 1), high: plain(inUnits(range[1], unitFor()), 1), unit: unitOf(unitFor()) });
    problem.hidden = true;
  };
  const chosen = () => {
    tag.replaceChildren(...Object.keys(table()).map((one) => el("option", { value: one }, handName(kind.value, one))));
    fields.tag.hidden = fields.hours.hidden = kind.value === "lock-out";
    about.textContent = t(`handabout.${kind.value}`);
    doIt.textContent = t(`handkind.${kind.value}`);
    ranged();
  };
  const doIt = el("button", { type: "button", class: "main", on: { click: once(send) } });
  kind.addEventListener("change", chosen);
  tag.addEventListener("change", ranged);
  const box = el("dialog", { "aria-label": t("hand.new") }, el("div", { class: "head" }, el("h2", {}, t("hand.new"))), el("div", { class: "body" }, field("hand-kind", "hand.kind", kind), about, fields.tag, fields.value, fields.hours, field("hand-reason", "alarm.reason", reason), problem),
    el("div", { class: "foot" }, doIt, el("button", { type: "button", on: { click: shut } }, t("dialog.no"))));
  function shut() { box.close(); box.remove(); }
  async function send() {
    if (!reason.value.trim()) { problem.textContent = t("alarm.reason_needed"); problem.hidden = false; reason.focus(); return; }
    if (!fields.value.hidden && kind.value !== "manual" && value.value === "") { problem.textContent = t("boards.blank", { label: t("hand.value") }); problem.hidden = false; value.focus(); return; }
    const args = { reason: reason.value.trim() };
    if (kind.value !== "lock-out") Object.assign(args, { tag: tag.value, hours: Number(hours.value) });
    if (!fields.value.hidden && value.value !== "") args.value = readField(value, unitFor());
    const outcome = await doing.give(kind.value, args, `${kind.value} ${tag.value}`);
    if (outcome?.done) { shut(); return; }
    problem.replaceChildren(sign("look"), " ", outcome ? saidIn(outcome.reason) : t("doing.no_answer", { verb: t("hand.new") }));
    problem.hidden = false;
  }
  chosen();
  document.body.append(box);
  box.showModal();
}

function field(id, key, input, hint = null) {
  return el("div", { class: "field" }, el("label", { for: id }, t(key)), input, hint);
}
