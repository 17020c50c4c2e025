// The dew chart: air, coldest watched surface and dew point over the last hours, and the margin between as a ladder.
import { ask, el, svg, t } from "./core.js";
import { number, plain } from "./format.js";
import { plot, redrawOnLight } from "./plot.js";

const HOURS = 6;
const TAGS = ["TY-101", "TY-105", "MY-101"];

export class DewChart {
  constructor(box, chamber) {
    this.chamber = chamber;
    this.columns = [[], [], [], []];
    this.made = null;
    this.box = el("div", { class: "plot", role: "img", "aria-label": t("dew.label") });
    this.ladder = el("div", { class: "ladderbox" });
    this.words = el("p", { class: "small" });
    box.replaceChildren(el("div", { class: "margin" }, this.box, this.ladder), this.words);
    redrawOnLight(() => this.rebuild());
    this.waiting = null;
  }

  async load(nowMs) {
    const query = TAGS.map((tag) => `tag=${tag}`).join("&");
    const { trends } = await ask(`/api/v1/chambers/${this.chamber}/trend?${query}&from_ms=${nowMs - HOURS * 3600e3}&to_ms=${nowMs}&points=360`);
    const times = trends[0].utc_ms.map((ms) => ms / 1000);
    this.columns = [times, ...trends.map((one) => one.mean)];
    this.rebuild();
  }

  rebuild() {
    this.made?.destroy();
    this.made = null;
    if (this.columns[0].length < 2) return;
    this.made = plot(this.box, {
      columns: this.columns, height: 400,
      series: [
        { label: t("dew.air"), colour: "air", unit: "degC", digits: 1 },
        { label: t("dew.surface"), colour: "surface", unit: "degC", digits: 2, dash: [7, 4] },
        { label: t("dew.point"), colour: "dew", unit: "degC", digits: 2, width: 2.5 },
      ],
      bands: [{ series: [2, 3], fill: "rgba(120,140,150,.22)" }],
    });
  }

  add(now) {
    if (this.waiting === null) {
      this.waiting = this.load(now.utc_ms).catch(() => { this.waiting = null; });
    } else if (this.columns[0].length) this.append(now);
    this.drawLadder(now);
  }

  append(now) {
    const at = now.utc_ms / 1000, times = this.columns[0];
    if (at - times[times.length - 1] < 20) return;
    [at, now.air.degC, now.dew.surface_degC, now.dew.degC].forEach((value, column) => this.columns[column].push(value));
    while (times[0] < at - HOURS * 3600) this.columns.forEach((column) => column.shift());
    if (this.made) this.made.setData(this.columns);
    else this.rebuild();
  }

  drawLadder(now) {
    const { degC: dew, surface_degC: surface, margin_K: margin } = now.dew, air = now.air.degC;
    this.words.textContent = margin === null ? t("dew.unknown") : t(margin < 0 ? (now.phase ? "dew.words_wet" : "dew.rest_wet") : margin < 0.5 * now.dew.wanted_margin_K ? "dew.words_near" : "dew.words", { margin: number(Math.abs(margin), 2, "K"), wanted: number(now.dew.wanted_margin_K, 2, "K"), surface: place(now.dew.surface), rh: number(now.air.rh_pct, 1) });
    if (dew === null || surface === null || air === null) { this.ladder.replaceChildren(); return; }
    const low = Math.min(dew, surface, air) - 0.25, high = Math.max(dew, surface, air) + 0.25;
    const y = (value) => 14 + (1 - (value - low) / (high - low)) * 330;
    const rungs = spread([["air", air, t("dew.air_short")], ["surface", surface, t("dew.surface_short")], ["dew", dew, t("dew.point_short")]].map(([colour, value, word]) => ({ colour, value, word, at: y(value) })));
    const picture = svg("svg", { class: "ladder", viewBox: "0 0 168 360", "aria-hidden": "true" },
      svg("rect", { x: 14, y: Math.min(y(surface), y(dew)), width: 22, height: Math.max(1.5, Math.abs(y(surface) - y(dew))), fill: margin < 0 ? "url(#wet)" : "var(--sunk)", stroke: margin < now.dew.wanted_margin_K ? "var(--ink)" : "var(--edge)" }),
      svg("defs", {}, svg("pattern", { id: "wet", width: 6, height: 6, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, svg("line", { x1: 0, y1: 0, x2: 0, y2: 6, stroke: "var(--ink)", "stroke-width": 3 }))),
      rungs.map((one) => svg("g", {}, svg("path", { d: `M8 ${one.at}H42L58 ${one.text}`, stroke: `var(--${one.colour})`, "stroke-width": 3, fill: "none", "stroke-dasharray": one.colour === "surface" ? "6 3" : null }),
        svg("text", { x: 62, y: one.text - 2, "font-weight": 650 }, number(one.value, 2, "degC")), svg("text", { x: 62, y: one.text + 12, class: "faint" }, one.word))));
    this.ladder.replaceChildren(picture);
  }
}

// Labels at least 34 units apart, in the order of their values.
function spread(rungs) {
  rungs.sort((a, b) => a.at - b.at);
  let last = -20;
  for (const one of rungs) { one.text = Math.max(one.at, last + 34); last = one.text; }
  const over = last - 340;
  if (over > 0) for (const one of rungs) one.text -= over;
  return rungs;
}

// The surface that limits, in the reader's language and decimal sign as far as its words are known.
function place(words) {
  return words.replace(/(\d+)\.(\d+)/g, (text, _, digits) => plain(Number(text), digits.length)).replace(/^board bay (\d+) level (\d+)/, (_, bay, level) => t("surface.board", { bay, level })).replace(/^door frame(?: bay)? (\d+)/, (_, bay) => t("surface.frame", { bay })).replace("estimated, reserve", t("surface.estimated")).replace(/^ceiling/, t("surface.ceiling"));
}
