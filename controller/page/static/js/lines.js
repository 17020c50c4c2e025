// Lines of the journal for people: when, what kind, what.
import { badge, el, known, spoken, t } from "./core.js";
import { clock } from "./format.js";

const KIND = { trip: "act", alarm: "look", invariant: "act" };

export function line(row) {
  const kind = row.kind === "alarm" && (row.data.what === "goes" || row.data.active === false) ? "note" : KIND[row.kind];
  const words = row.kind === "alarm" && row.data.what && known(`alarm.${row.tag}.text`, "") ? `${known(`alarm.${row.tag}.text`, row.tag)}: ${known(`went.${row.data.what}`, row.data.what)}` : null;
  return el("li", {}, el("span", { class: "num small" }, clock(row.utc_ms)), el("span", {}, kind && kind !== "note" ? badge(kind, known(`kind.${row.kind}`, row.kind)) : el("span", { class: "badge" }, known(`kind.${row.kind}`, row.kind)), " ", words ? words : row.kind === "note" && row.data.note ? `${row.data.who}: ${row.data.note}` : spoken(row.text)));
}

export function list(rows) {
  return rows.length ? el("ul", {}, rows.map(line)) : el("p", { class: "soft" }, t("lines.none"));
}
