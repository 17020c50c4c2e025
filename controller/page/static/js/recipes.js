// Recipes: versions, a text to write in, what is wrong with it while it is written, and what it would do.
import { $, ask, data, el, may, once, saidIn, sign, spoken, t } from "./core.js";
import { phaseWord } from "./answers.js";
import { confirmed } from "./dialogs.js";
import { inUnits, moment, number, plain, setNow } from "./format.js";
import { preview } from "./start-preview.js";

const base = `/api/v1/chambers/${data.chamber}`;
let versions = [], shown = null, editing = false, due = null, asked = 0;
setNow(data.now.utc_ms);

async function load(digest) {
  versions = (await ask(`${base}/recipes`)).recipes;
  drawList();
  show(versions.find((one) => one.sha256 === digest) ?? versions[0]);
}

function state(one) {
  if (one.withdrawn) return t("recipes.withdrawn");
  if (one.approved) return t("recipes.approved_by", { who: one.approved });
  return one.where === "shipped" ? t("recipes.shipped") : t("recipes.draft");
}

function drawList() {
  $("versions").replaceChildren(...versions.map((one) => el("li", {}, el("button", { type: "button", class: "ahead", "aria-pressed": String(one.sha256 === shown?.sha256), on: { click: () => leave(one) } },
    el("strong", {}, one.name, " ", one.sha256 === data.now.recipe_sha256 ? el("span", { class: "badge" }, t("recipes.loaded")) : null), el("span", { class: "small" }, one.released ? "" : [sign("note"), " "], state(one)),
    el("span", { class: "small soft", style: { display: "block" } }, [one.utc_ms ? moment(one.utc_ms) : "", one.who, one.why].filter(Boolean).join(" · "))))));
}

// Another version, or away from this one: what was typed and not kept is asked about first.
const changed = () => editing && $("text").value !== shown.text;
async function leave(to) {
  if (!changed() || (await confirmed(t("recipes.sure_leave"), t("recipes.leave")))) show(to);
}
window.addEventListener("beforeunload", (event) => { if (changed()) event.preventDefault(); });

function show(one) {
  shown = one;
  editing = false;
  $("text").value = one.text;
  $("text").readOnly = true;
  $("keep").hidden = true;
  $("title").textContent = one.name;
  $("about").textContent = `${state(one)} · ${t("start.version", { hash: one.sha256.slice(0, 8) })}${one.parent ? ` · ${t("recipes.from", { parent: one.parent.slice(0, 8) })}` : ""}`;
  $("said-here").textContent = "";
  drawList();
  buttons();
  check();
}

function buttons() {
  const found = [];
  const add = (key, on, run, main = false) => found.push(el("button", { type: "button", class: main ? "main" : "", disabled: !on, on: { click: once(run) } }, t(key)));
  if (!editing) {
    add("recipes.copy", may("draft recipes"), edit);
    if (!shown.released) add("recipes.approve", may("approve recipes"), () => say(false), true);
    if (shown.released) add("recipes.withdraw", may("approve recipes"), () => say(true));
  } else {
    add("recipes.keep", true, keep, true);
    add("dialog.no", true, () => leave(shown));
  }
  $("buttons").replaceChildren(...found);
}

function edit() {
  editing = true;
  $("text").readOnly = false;
  $("keep").hidden = false;
  buttons();
  $("text").focus();
}

async function check() {
  const number_ = ++asked;
  try {
    const found = await ask(`${base}/recipes/check`, { text: $("text").value, forecast: true, load_t: data.now.load_t ?? 120, mix_degC: data.now.mix_degC ?? 20 });
    if (number_ !== asked) return;
    $("problems").replaceChildren(...(found.problems.length ? [el("div", { class: "problem" }, el("p", {}, sign("look"), " ", t("recipes.problems", { count: found.problems.length })), el("ul", {}, found.problems.map((one) => el("li", {}, el("code", {}, saidIn(one.field)), ` = ${one.value}: `, spoken(one.limit, "span", { stored: true }), "; ", spoken(one.remedy, "span", { stored: true })))))] : [el("p", { class: "small" }, sign("well"), " ", t("recipes.right")), sameName(found.name)].filter(Boolean)));
    $("phases").replaceChildren(found.phases.length ? table(found.phases) : "");
    const ahead = found.forecast;
    $("plan").replaceChildren(...(ahead ? [preview(ahead, data.now.utc_ms ?? Date.now(), $("plan").clientWidth), el("p", { class: "small soft" }, t("start.legend")), el("p", { class: "small" }, ahead.ready_h[1] === null ? t("start.never") : t("recipes.ahead", { ready: number(ahead.ready_h[1], 1, "h"), heat: number(ahead.heat_kWh, 0, "kWh"), fan: number(ahead.fan_kWh, 0, "kWh"), load: number(data.now.load_t ?? 120, 0, "t") })), ...[...ahead.problems, ...ahead.notes].map((text) => el("p", { class: "small" }, sign("note"), " ", spoken(text)))] : []));
  } catch (error) { if (number_ === asked) $("problems").replaceChildren(el("p", { class: "problem" }, error.message)); }
}

// A changed copy that keeps its name stands beside the others of that name wherever a recipe is chosen.
function sameName(name) {
  const others = editing ? versions.filter((one) => one.name === name && !one.withdrawn).length : 0;
  return others ? el("p", { class: "small", id: "same-name" }, sign("note"), " ", t("recipes.same_name", { name, count: others })) : null;
}

function table(phases) {
  const cell = (value, digits, unit) => (value === null ? "–" : number(value, digits, unit));
  return el("table", {}, el("thead", {}, el("tr", {}, ["phase", "air", "rate", "fog", "accept", "ends"].map((key) => el("th", { scope: "col" }, t(`start.${key}`))))), el("tbody", {}, phases.map((one, index) => el("tr", {}, el("td", {}, `${index + 1} ${phaseWord(one.kind)}`), el("td", { class: "num" }, one.floor_degC === one.ceiling_degC ? cell(one.floor_degC, 1, "degC") : `${plain(inUnits(one.floor_degC, "degC"), 1)}–${cell(one.ceiling_degC, 1, "degC")}`), el("td", { class: "num" }, cell(one.rate_K_per_h, 1, "K/h")), el("td", { class: "num" }, cell(one.rh_fog_below_pct, 1, "%")), el("td", { class: "num" }, cell(one.rh_accept_pct, 1, "%")), spoken(one.ends, "td")))));
}

async function keep() {
  try {
    const { sha256 } = await ask(`${base}/recipes`, { text: $("text").value, why: $("why").value, parent: shown.sha256 });
    await load(sha256);
    $("said-here").textContent = t("recipes.kept");
  } catch (error) { $("said-here").textContent = error.message; }
}

async function say(withdrawn) {
  try {
    await ask(`${base}/recipes/${shown.sha256}/approval`, { withdrawn });
    await load(shown.sha256);
    $("said-here").textContent = t(withdrawn ? "recipes.was_withdrawn" : "recipes.was_approved");
  } catch (error) { $("said-here").textContent = error.message; }
}

$("text").addEventListener("input", () => { clearTimeout(due); due = setTimeout(check, 500); });
load(data.now.recipe_sha256).catch((error) => { $("said-here").textContent = error.message; });
