// The cycles of a chamber: verdict, charge, energy, report and figures.
import { $, ask, badge, data, el, known, spoken, t } from "./core.js";
import { moment, number } from "./format.js";

const base = `/api/v1/chambers/${data.chamber}`;
const LEVEL = { pass: "", deviation: "look", fail: "act" };
const TAGS = ["TY-101", "TY-101L", "TY-101H", "MY-101", "MY-102", "TY-105", "TY-106", "TY-104", "KY-104L", "JIC-103", "FIC-120", "FIC-102"];

function row(one) {
  const energy = one.energy_kWh ? Object.values(one.energy_kWh).reduce((sum, value) => sum + (value ?? 0), 0) : null;
  const to = one.ended_ms ?? data.now.utc_ms ?? one.began_ms + 1;
  const csv = new URLSearchParams([...TAGS.map((tag) => ["tag", tag]), ["from_ms", one.began_ms], ["to_ms", Math.max(to, one.began_ms + 1)]]);
  const trend = new URLSearchParams([["tag", "TY-101"], ["tag", "MY-101"], ["tag", "MY-102"], ["from_ms", one.began_ms], ["to_ms", Math.max(to, one.began_ms + 60000)]]);
  return el("tr", {}, el("td", { class: "num" }, moment(one.began_ms), el("br"), one.simulated ? el("span", { class: "small soft" }, t("badge.simulated")) : null), el("td", {}, one.recipe ?? ""), el("td", { class: "num" }, `${number(one.load_t, 0, "t")}, ${one.mix ?? ""}`),
    el("td", {}, one.verdict ? badge(LEVEL[one.verdict], known(`verdict.${one.verdict}`, one.verdict)) : t(one.ended_ms ? "records.see_report" : "records.open"), el("div", { class: "small" }, one.reasons.slice(0, 3).map((text) => spoken(text, "div")))),
    el("td", { class: "num" }, one.ready_h === null ? "–" : number(one.ready_h, 1, "h"), one.ready_forecast_h ? el("div", { class: "small soft" }, t("records.forecast", { h: number(one.ready_forecast_h, 1, "h") })) : null),
    el("td", { class: "num" }, energy === null ? "–" : number(energy, 0, "kWh")), el("td", { class: "num" }, one.verdict ? number(one.alarms, 0) : "–"),
    el("td", {}, el("a", { class: "button", href: `${base}/cycles/${one.cycle}/report`, target: "_blank" }, t("records.report")), " ", el("a", { class: "button", href: `/chamber/${data.chamber}/trends?${trend}` }, t("tab.trends")), " ", el("a", { class: "button", href: `${base}/minutes.csv?${csv}` }, t("trends.csv"))));
}

try {
  const found = await ask(`${base}/cycles`);
  $("cycles").replaceChildren(...found.cycles.map(row));
  if (!found.cycles.length) $("said-here").textContent = t("records.none");
} catch (error) { $("said-here").textContent = error.message; }
