// The start dialog: what is in the chamber, when it is wanted, what each recipe would do, and the start itself.
import { $, ask, data, el, may, saidIn, sign, spoken, t } from "./core.js";
import { phaseWord } from "./answers.js";
import { charging, FIELDS, fillCharge, wrongFields } from "./charge.js";
import { clock, inUnits, moment, number, plain } from "./format.js";
import { preview } from "./start-preview.js";

// of: what was entered for the forecasts that are shown; null while there are none.
let doing = null, found = null, chosen = null, detail = null, due = null, asked = 0, of = null;

const wantedMs = () => ($("start-wanted").value ? new Date($("start-wanted").value).getTime() : null);
const local = (ms) => new Date(ms - new Date(ms).getTimezoneOffset() * 60000).toISOString().slice(0, 16);

export function openStart(from) {
  doing = from;
  const now = doing.now;
  if (!$("start-load").value) {
    fillCharge(now, doing.plate);
  }
  if (!wantedMs() || wantedMs() < now.utc_ms) $("start-wanted").value = local(now.utc_ms + 24 * 3600e3);
  $("start-said").textContent = "";
  $("start").showModal();
  entered();
  refresh();
}

// Something was entered: what was forecast before is of other numbers, and nothing is started on it.
function entered() {
  clearTimeout(due);
  asked++;
  of = null;
  const lines = wrongFields();
  $("start-wrong").replaceChildren(...lines.map((line) => el("p", {}, sign("look"), " ", line)));
  $("start-wrong").hidden = !lines.length;
  $("start-outdoor").textContent = lines.length ? "" : t("start.making");
  judge();
  if (!lines.length) due = setTimeout(refresh, 400);
}

// Start is possible with forecasts of just what is entered; others are greyed.
function judge() {
  const own = of !== null && !wrongFields().length && of === JSON.stringify(charging());
  for (const id of ["start-recipes", "start-chosen"]) { $(id).classList.toggle("outdated", !own); $(id).inert = !own; }
  $("start-go").disabled = !own || !may("operate") || !chosen?.forecast;
  const load = charging().load_t;
  $("start-go").textContent = !own || !chosen ? t("start.go") : load ? t("start.go_with", { recipe: chosen.name, load: number(load, load % 1 ? 1 : 0, "t") }) : t("start.go_empty", { recipe: chosen.name });
}

async function refresh() {
  clearTimeout(due);
  if (wrongFields().length) return;
  const number_ = ++asked, charge = charging();
  try {
    const answer = await ask(`/api/v1/chambers/${data.chamber}/forecasts`, charge);
    if (number_ !== asked) return;
    found = answer;
    if (!$("start-mix").children.length) {
      $("start-mix").replaceChildren(...found.mixes.map((name) => el("option", { value: name, selected: name === doing.now.mix }, name)));
    }
    of = JSON.stringify(charging()); // the list of mixes may just have come
    $("start-outdoor").textContent = t("start.outdoor", { degC: number(found.outdoor.degC, 1, "degC"), rh: number(found.outdoor.rh_pct, 0) });
    const still = found.recipes.find((one) => one.sha256 === chosen?.sha256) ?? found.recipes.find((one) => one.name === doing.now.recipe) ?? found.recipes[0];
    await choose(still);
  } catch (error) {
    if (number_ === asked) $("start-outdoor").textContent = error.message;
  }
}

async function choose(recipe) {
  chosen = recipe;
  detail = recipe.forecast;
  drawCards();
  drawChosen();
  judge();
  if (!recipe.forecast || of === null) return;
  const number_ = asked;
  try {
    const exact = await ask(`/api/v1/chambers/${data.chamber}/forecasts/${recipe.sha256}`, charging());
    if (number_ === asked && chosen === recipe) { detail = exact; drawChosen(); }
  } catch { /* the quick forecast stays */ }
}

function drawCards() {
  const now = doing.now;
  $("start-recipes").replaceChildren(...found.recipes.map((one) => {
    const ahead = one.forecast;
    const readyMs = ahead && ahead.ready_h[1] !== null ? now.utc_ms + ahead.ready_h[1] * 3600e3 : null;
    const fits = readyMs !== null && wantedMs() ? (wantedMs() - readyMs) / 3600e3 : null;
    return el("button", { type: "button", class: "ahead", "aria-pressed": String(one === chosen), on: { click: () => choose(one) } },
      el("strong", {}, one.name), el("span", { class: "small soft", style: { display: "block" } }, which(one)), el("span", { class: "when num" }, readyMs ? t("start.ready_about", { clock: clock(readyMs, now.utc_ms) }) : t("start.never")),
      el("span", { class: "small", style: { display: "block" } }, fits === null ? "" : [fits < 0 ? sign("look") : null, " ", t(fits < 0 ? "start.too_late" : "start.in_time", { h: number(Math.abs(fits), 1, "h") })]),
      el("span", { class: "small soft num", style: { display: "block" } }, ahead ? t("start.price", { heat: number(ahead.heat_kWh, 0), fan: number(ahead.fan_kWh, 0), fog: number(ahead.fog_kg, 0, "kg") }) : t("start.not_here")),
      el("span", { class: "small num", style: { display: "block" } }, against(one)));
  }));
}

// Which version it is: several may have one name.
function which(one) {
  const state = !one.approved ? t("recipes.shipped") : one.approved_ms ? t("start.approved", { who: one.approved, when: moment(one.approved_ms) }) : t("recipes.approved_by", { who: one.approved });
  return [t("start.version", { hash: one.sha256.slice(0, 8) }), state, one.where === "shipped" ? "" : one.why].filter(Boolean).join(" · ");
}

// What a recipe gives and takes against the chosen one: sooner or later, more or less energy.
function against(one) {
  const mine = one.forecast, its = chosen?.forecast;
  if (one === chosen || !mine || !its) return one === chosen ? t("start.chosen") : "";
  const kWh = mine.heat_kWh + mine.fan_kWh - its.heat_kWh - its.fan_kWh, h = mine.ready_h[1] === null || its.ready_h[1] === null ? null : mine.ready_h[1] - its.ready_h[1];
  const words = h === null ? [] : [t(Math.abs(h) < 0.05 ? "start.as_soon" : h < 0 ? "start.sooner" : "start.later", { h: number(Math.abs(h), 1, "h") })];
  return [...words, t(kWh < 0 ? "start.less" : "start.more", { energy: number(Math.abs(kWh), 0, "kWh") })].join(", ");
}

function drawChosen() {
  const now = doing.now, one = chosen;
  if (!detail) {
    $("start-chosen").replaceChildren(el("div", { class: "problem" }, one.problems.map((text) => spoken(text, "p"))));
    return;
  }
  const [low, mid, high] = detail.ready_h;
  const words = mid === null ? t("start.never") : detail.ready_h[0] === null || low === mid ? t("start.ready_about", { clock: clock(now.utc_ms + mid * 3600e3, now.utc_ms) })
    : t("start.ready_between", { low: clock(now.utc_ms + low * 3600e3, now.utc_ms), high: clock(now.utc_ms + high * 3600e3, now.utc_ms) });
  $("start-chosen").replaceChildren(el("h3", {}, `${one.name}: ${words}`), el("p", { class: "small" }, which(one)), el("p", { class: "small soft" }, t("start.estimate")), preview(detail, now.utc_ms, $("start-chosen").clientWidth), el("p", { class: "small soft" }, t("start.legend")),
    el("table", {}, el("thead", {}, el("tr", {}, ["phase", "air", "ends"].map((key) => el("th", { scope: "col" }, t(`start.${key}`))))), el("tbody", {}, one.phases.map((phase, index) => el("tr", {}, el("td", {}, `${index + 1} ${phaseWord(phase.kind)}`), el("td", { class: "num" }, phase.floor_degC === phase.ceiling_degC ? number(phase.floor_degC, 0, "degC") : `${plain(inUnits(phase.floor_degC, "degC"), 0)}–${number(phase.ceiling_degC, 0, "degC")}`, phase.rate_K_per_h ? `, ${number(phase.rate_K_per_h, 1, "K/h")}` : ""), spoken(phase.ends, "td"))))),
    el("p", { class: "small" }, t("start.limits", { max: number(doing.plate.limits.degC_max, 0, "degC"), product: number(doing.plate.limits.product_degC_max, 0, "degC"), hottest: number(detail.product_max_degC, 1, "degC") })),
    ...[...detail.problems, ...detail.notes].map((text, index) => el("p", { class: "small" }, sign(index < detail.problems.length ? "look" : "note"), " ", spoken(text))));
}

async function go() {
  judge();
  if ($("start-go").disabled) return;
  $("start-go").disabled = true;
  const recipe = chosen, { empty_bays: empty, ...rest } = charging();
  try {
    await ask(`/api/v1/chambers/${data.chamber}/recipes/${recipe.sha256}/ready`, {}, "POST");
    const outcome = await doing.give("start", { ...rest, ...(rest.load_t ? {} : { empty_chamber: true }), empty_bays: empty.join(","), recipe: recipe.sha256 });
    if (outcome?.done) { $("start").close(); return; }
    $("start-said").textContent = outcome ? t("doing.refused", { verb: t("start.go"), reason: saidIn(outcome.reason) }) : $("outcome").textContent;
  } catch (error) {
    $("start-said").textContent = error.message;
  }
  judge();
}

document.addEventListener("start-dialog", (event) => openStart(event.detail));
$("start-shut").addEventListener("click", () => $("start").close());
$("start-go").addEventListener("click", go);
for (const id of FIELDS) $(id).addEventListener("input", entered);
$("start-wanted").addEventListener("change", () => { if (found) drawCards(); });
