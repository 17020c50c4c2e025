// What the chamber does in figures: outputs and what came of them, contacts, product, energy, probes.
import { el, keeping, saidIn, sign, t } from "./core.js";
import { number, span } from "./format.js";

export function drawDetail(box, plate, now) {
  const open = new Set([...box.querySelectorAll("details[open]")].map((one) => one.id));
  keeping(box, () => box.replaceChildren(outputs(plate, now), product(now), spent(now), contacts(plate, now), probes(plate, now, open.has("probes"))));
}

function sheet(title, ...children) {
  return el("section", { class: "sheet" }, el("h2", {}, title), children);
}

function outputs(plate, now) {
  const rows = plate.outputs.map((one, index) => {
    const value = now.outputs[index];
    const name = el("th", { scope: "row" }, saidIn(one.text));
    if (one.kind === "AO") return el("tr", {}, name, el("td", {}, el("div", { class: "bar", "aria-hidden": "true" }, el("i", { style: { width: `${Math.max(0, Math.min(100, value ?? 0))}%` } }))), el("td", { class: "n" }, number(value, 0, "%")));
    return el("tr", {}, name, el("td", {}), el("td", { class: "n" }, value ? t("output.on") : t("output.off")));
  });
  const asked = el("dl", { class: "pairs" });
  for (const [key, digits, unit] of [["heat_kW", 1, "kW"], ["vent_kg_per_s", 2, "kg/s"], ["fog_kg_per_h", 0, "kg/h"]]) asked.append(el("dt", {}, t(`asked.${key}`)), el("dd", {}, number(now.asked[key], digits, unit)));
  return sheet(t("detail.outputs"), asked, el("table", {}, el("tbody", {}, rows)));
}

function product(now) {
  const p = now.product;
  const dl = el("dl", { class: "pairs" });
  const put = (key, value) => dl.append(el("dt", {}, t(`product.${key}`)), el("dd", {}, value));
  put("core", number(p.core_degC, 1, "degC"));
  put("core_max", number(p.core_max_degC, 1, "degC"));
  put("surface_does", `${t(`product.${p.word}`)} (${number(p.drying_kg_per_m2h, 3, "kg/m2h")})`);
  put("age_min", number(p.age_min_h, 1, "h"));
  put("age_max", number(p.age_max_h, 1, "h"));
  put("strength", number(p.strength_MPa_min, 1, "MPa"));
  put("ready", number(Math.floor(100 * (p.ready_share ?? 0)), 0, "%"));
  return sheet(t("detail.product"), dl, el("p", { class: "small soft" }, t("product.estimated")));
}

function spent(now) {
  const dl = el("dl", { class: "pairs" });
  const s = now.spent ?? {};
  for (const [key, digits, unit] of [["heat_kWh", 0, "kWh"], ["fan_kWh", 0, "kWh"], ["fighting_kWh", 1, "kWh"], ["fog_kg", 0, "kg"]]) {
    if (s[key] !== undefined) dl.append(el("dt", {}, t(`spent.${key}`)), el("dd", {}, number(s[key], digits, unit)));
  }
  if (now.load_t && s.heat_kWh !== undefined) dl.append(el("dt", {}, t("spent.per_tonne")), el("dd", {}, number((s.heat_kWh + s.fan_kWh) / now.load_t, 2, "kWh/t")));
  if (now.phase) dl.append(el("dt", {}, t("clock.running")), el("dd", {}, span(now.cycle_s * 1000)), el("dt", {}, t("clock.waited")), el("dd", {}, span(now.waiting_s * 1000)), el("dt", {}, t("clock.stopped")), el("dd", {}, span(now.held_s * 1000)));
  return sheet(t("detail.spent"), dl.children.length ? dl : el("p", { class: "soft" }, t("spent.none")));
}

function contacts(plate, now) {
  const rows = plate.contacts.map((one, index) => {
    const on = now.contacts[index] === 1, wrong = one.normal && !on;
    return el("tr", {}, el("th", { scope: "row" }, saidIn(one.text)), el("td", {}, wrong ? el("strong", {}, sign("look"), " ", t("contact.no")) : on ? t("contact.yes") : t("contact.no")));
  });
  return sheet(t("detail.contacts"), el("table", {}, el("tbody", {}, rows)));
}

function probes(plate, now, open) {
  const rows = plate.probes.map((one, index) => el("tr", {}, el("th", { scope: "row" }, one.tag), el("td", {}, saidIn(one.text)), el("td", { class: "n" }, now.values[index] === null ? "–" : number(now.values[index], 1, one.unit)), el("td", {}, t(`quality.${now.qualities[index]}`))));
  return el("section", { class: "sheet wide" }, el("details", { id: "probes", open }, el("summary", {}, el("h2", { style: { display: "inline" } }, t("detail.probes"))), el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": t("detail.probes") }, el("table", {}, el("thead", {}, el("tr", {}, ["tag", "what", "value", "quality"].map((key) => el("th", { scope: "col" }, t(`probes.${key}`))))), el("tbody", {}, rows)))));
}
