// Any column over any span up to a year, least and greatest of each step shaded behind the mean.
import { $, ask, data, el, saidIn, t } from "./core.js";
import { phaseWord } from "./answers.js";
import { inUnits, moment, setNow, span, unitOf } from "./format.js";
import { colour as tint, plot, redrawOnLight } from "./plot.js";

const HOUR = 3600e3;
const SPANS = [["1h", HOUR], ["6h", 6 * HOUR], ["1d", 24 * HOUR], ["7d", 168 * HOUR], ["30d", 720 * HOUR], ["365d", 8760 * HOUR]];
const COLOURS = ["air", "dew", "surface", "product", "warm", "cool"];
const columns = data.plate ? [...data.plate.computed, ...data.plate.probes] : [];
const asked = new URLSearchParams(location.search);
let chosen = asked.getAll("tag").length ? asked.getAll("tag") : ["TY-101", "TIC-101F", "MY-101", "MY-102"];
let to = Number(asked.get("to_ms")) || data.now.utc_ms || Date.now();
let from = Number(asked.get("from_ms")) || to - 6 * HOUR;
setNow(to);
const BAND = ["TIC-101F", "TIC-101C", "YI-101"], BAND_OF = "TY-101", BACK_MS = 7 * 24 * HOUR;
const SHORT_MS = 14 * 24 * HOUR; // over longer spans phases are too narrow to tell apart
let made = [];
let found = [];
let band = null; // floor and ceiling of the air and number of the phase, where the air is shown
let phases = []; // [ms, kind] as they began
let asking = 0;

function name(tag) {
  const one = columns.find((column) => column.tag === tag);
  return one ? saidIn(one.text) : tag;
}

function pick() {
  const wanted = $("filter").value.trim().toLowerCase();
  $("tags").replaceChildren(...columns.filter((one) => !wanted || `${one.tag} ${name(one.tag)}`.toLowerCase().includes(wanted)).map((one) => {
    const box = el("input", { type: "checkbox", value: one.tag, checked: chosen.includes(one.tag), on: { change: () => {
      chosen = box.checked ? [...chosen, one.tag].slice(-6) : chosen.filter((tag) => tag !== one.tag);
      pick();
      load();
    } } });
    return el("label", {}, box, el("span", {}, `${name(one.tag)} `, el("span", { class: "soft small" }, `${one.tag}${one.unit ? `, ${unitOf(one.unit)}` : ""}`)));
  }));
}

const local = (ms) => new Date(ms - new Date(ms).getTimezoneOffset() * 60000).toISOString().slice(0, 16);

async function load() {
  $("from").value = local(from);
  $("to").value = local(to);
  $("title").textContent = `${moment(from)} – ${moment(to)}`;
  for (const button of $("spans").children) button.setAttribute("aria-pressed", String(Number(button.dataset.ms) === to - from));
  if (!(from < to)) { $("words").textContent = t("trends.order"); return; }
  if (!chosen.length) { $("plots").replaceChildren(); $("words").textContent = t("trends.choose"); return; }
  const spanned = { from_ms: from, to_ms: to, points: 900 }, short = to - from <= SHORT_MS, number = ++asking;
  const query = new URLSearchParams([...chosen.map((tag) => ["tag", tag]), ...Object.entries(spanned)]);
  $("csv").href = `/api/v1/chambers/${data.chamber}/minutes.csv?${query}`;
  history.replaceState(null, "", `?${query}`);
  try {
    const began = performance.now();
    const more = short && chosen.includes(BAND_OF) ? BAND.map((tag) => ["tag", tag]) : [];
    const [{ trends }, told] = await Promise.all([ask(`/api/v1/chambers/${data.chamber}/trend?${new URLSearchParams([...chosen.map((tag) => ["tag", tag]), ...more, ...Object.entries(spanned)])}`), short ? begun() : []]);
    if (number !== asking) return; // another span was chosen meanwhile
    found = trends.slice(0, chosen.length);
    band = more.length ? trends.slice(-BAND.length) : null;
    phases = told;
    draw();
    document.body.dataset.drawnMs = String(Math.round(performance.now() - began));
    const points = Math.max(0, ...found.map((one) => one.utc_ms.length));
    $("words").textContent = points ? [t("trends.words", { step: span(found[0].step_ms) }), band ? t("trends.band") : "", t("trends.drag")].filter(Boolean).join(" ") : t("trends.nothing");
  } catch (error) {
    if (number === asking) $("words").textContent = error.message;
  }
}

// Which phases began in this time, and the one that was in progress when it begins.
async function begun() {
  const { lines } = await ask(`/api/v1/chambers/${data.chamber}/journal?kind=phase&kind=state&limit=1000&since_ms=${Math.max(0, from - BACK_MS)}`);
  const steps = lines.reverse().flatMap((row) => (row.kind === "phase" ? (row.data.what === "begin" ? [[row.utc_ms, row.data.kind]] : []) : ["idle", "complete", "stopped", "aborted"].includes(row.data.to) ? [[row.utc_ms, ""]] : []));
  const before = steps.filter(([ms]) => ms <= from).at(-1);
  return [...(before ? [[from, before[1]]] : []), ...steps.filter(([ms]) => ms > from && ms < to)];
}

// Below the lines: phases from side to side with their names, and the band of the air.
function under(u, unit) {
  const { ctx, bbox } = u, ratio = devicePixelRatio;
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
  ctx.clip();
  if (band && unit === "degC") {
    const [low, high, phase] = band.map((one) => new Map(one.utc_ms.map((ms, index) => [ms, one.mean[index]]))), wide = band[0].step_ms;
    ctx.fillStyle = tint("even");
    high.forEach((top, ms) => {
      const bottom = low.get(ms) ?? null;
      const step = phases.findLast(([at]) => at <= ms);
      if (bottom === null || top === null || !phase.get(ms) || step?.[1] === "") return; // at rest nothing is wanted
      const [left, right] = [ms - wide / 2, ms + wide / 2].map((at) => u.valToPos(at / 1000, "x", true)), [upper, lower] = [top, bottom].map((value) => Math.max(-1e5, Math.min(1e5, u.valToPos(inUnits(value, unit), "y", true))));
      ctx.fillRect(Math.floor(left), upper, Math.ceil(right) - Math.floor(left), Math.max(lower - upper, 2 * ratio));
    });
  }
  ctx.strokeStyle = tint("rule");
  ctx.fillStyle = tint("soft");
  ctx.font = `${12 * ratio}px "Noto Sans", "DejaVu Sans", sans-serif`;
  ctx.setLineDash([4 * ratio, 4 * ratio]);
  phases.forEach(([ms, kind], index) => {
    const at = u.valToPos(ms / 1000, "x", true), next = index + 1 < phases.length ? u.valToPos(phases[index + 1][0] / 1000, "x", true) : bbox.left + bbox.width;
    if (at > bbox.left + 1) {
      ctx.beginPath();
      ctx.moveTo(at, bbox.top);
      ctx.lineTo(at, bbox.top + bbox.height);
      ctx.stroke();
    }
    const word = kind ? phaseWord(kind) : "";
    if (ctx.measureText(word).width + 10 * ratio < next - at) ctx.fillText(word, at + 5 * ratio, bbox.top + 13 * ratio);
  });
  ctx.restore();
}

// One plot a unit, all with the same times.
function draw() {
  made.forEach((one) => one.destroy());
  const units = new Map();
  for (const one of found) {
    const unit = columns.find((column) => column.tag === one.tag)?.unit ?? "";
    units.set(unit, [...(units.get(unit) ?? []), one]);
  }
  const boxes = [...units.keys()].map(() => el("div", { class: "plot" }));
  $("plots").replaceChildren(...boxes);
  made = [...units.entries()].map(([unit, trends], place) => onePlot(boxes[place], unit, trends));
}

function onePlot(box, unit, trends) {
  const times = [...new Set(trends.flatMap((one) => one.utc_ms))].sort((a, b) => a - b);
  const lined = (one, part) => { const at = new Map(one.utc_ms.map((ms, index) => [ms, one[part][index]])); return times.map((ms) => at.get(ms) ?? null); };
  const series = [], values = [], bands = [];
  trends.forEach((one, index) => {
    const colour = COLOURS[chosen.indexOf(one.tag) % COLOURS.length];
    series.push({ label: `${name(one.tag)} (${one.tag})`, colour, unit, digits: 2, dash: index % 2 ? [7, 4] : undefined });
    values.push(lined(one, "mean"));
  });
  trends.forEach((one, index) => {
    const colour = COLOURS[chosen.indexOf(one.tag) % COLOURS.length];
    series.push({ label: t("trends.greatest"), colour, width: 0.4, unit, digits: 2 }, { label: t("trends.least"), colour, width: 0.4, unit, digits: 2 });
    values.push(lined(one, "greatest"), lined(one, "least"));
    const first = 1 + trends.length + 2 * index;
    bands.push({ series: [first, first + 1], fill: "rgba(130,140,145,.25)" });
  });
  box.setAttribute("role", "img");
  box.setAttribute("aria-label", trends.map((one) => name(one.tag)).join(", "));
  const made = plot(box, { series, columns: [times.map((ms) => ms / 1000), ...values], bands, height: 280, under: (u) => under(u, unit), chosen: (left, right) => { from = Math.round(left * 1000); to = Math.round(right * 1000); load(); }, scales: { x: { time: true, range: [from / 1000, to / 1000] } } });
  box.querySelectorAll(".u-legend .u-series").forEach((row, place) => { row.hidden = place > trends.length; });
  return made;
}

function move(share) {
  const step = Math.round((to - from) * share);
  from += step;
  to += step;
  load();
}

$("spans").replaceChildren(...SPANS.map(([key, ms]) => el("button", { type: "button", "data-ms": ms, on: { click: () => { from = to - ms; load(); } } }, t(`span.${key}`))));
$("show").addEventListener("click", () => { from = new Date($("from").value).getTime() || from; to = new Date($("to").value).getTime() || to; load(); });
$("filter").addEventListener("input", pick);
$("earlier").addEventListener("click", () => move(-0.5));
$("later").addEventListener("click", () => move(0.5));
redrawOnLight(draw);
if (data.plate) { pick(); load(); } else {
  for (const part of document.querySelectorAll(".two > section:first-child, #earlier, #later")) part.hidden = true;
  $("words").textContent = t("lost.waiting");
}
