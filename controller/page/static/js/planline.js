// The plan line: what was planned from the start and what came, with now and the end.
import { ask, el, svg, t } from "./core.js";
import { clock, decimals, inUnits, number, plain, tickWords, ticks, unitOf } from "./format.js";
import { phaseWord } from "./answers.js";

// As wide as its box, so that its words keep their size on a phone.
const H = 300, LEFT = 46, RIGHT = 16, TOP = 30, BOTTOM = 64, TICK = 88, LETTER = 7.4;

export class PlanLine {
  constructor(box, chamber) {
    this.box = box;
    this.chamber = chamber;
    this.plan = null;
    this.began = null;
    this.actual = [];
    this.asked = 0;
  }

  async load(now) {
    const { plan } = await ask(`/api/v1/chambers/${this.chamber}/plan`);
    this.plan = plan && plan.began_ms === now.began_ms ? plan : null;
    const { trends } = await ask(`/api/v1/chambers/${this.chamber}/trend?tag=TY-101&from_ms=${now.began_ms}&to_ms=${now.utc_ms + 1}&points=400`);
    this.actual = trends[0].utc_ms.map((ms, index) => [(ms + 30000 - now.began_ms) / 3600e3, trends[0].mean[index]]);
  }

  add(now) {
    if (!now.began_ms) { this.box.replaceChildren(el("p", { class: "soft" }, t("plan.none"))); return; }
    const due = this.began !== now.began_ms || (!this.plan && performance.now() - this.asked > 5000);
    if (due) {
      this.began = now.began_ms;
      this.asked = performance.now();
      this.load(now).then(() => this.draw(now), () => {});
    }
    const hours = (now.utc_ms - now.began_ms) / 3600e3;
    const last = this.actual.at(-1);
    if (now.air.degC !== null && now.state !== "idle" && (!last || hours - last[0] > 0.03)) this.actual.push([hours, now.air.degC]);
    this.draw(now);
  }

  draw(now) {
    const W = this.width = Math.max(320, Math.floor(this.box.clientWidth) || 1120);
    const hours = (now.utc_ms - now.began_ms) / 3600e3;
    const rows = this.plan?.rows ?? [];
    const finishH = now.finish_ms ? (now.finish_ms - now.began_ms) / 3600e3 : this.plan?.end_h ?? hours + 1;
    const most = Math.max(finishH, hours, this.plan?.end_h ?? 0, 1) * 1.03;
    const values = [...rows.flatMap((row) => [row[3]]), ...rows.map((row) => row[1]), ...this.actual.map((row) => row[1])].filter((value) => value !== null);
    const low = Math.floor(Math.min(...values, 20) - 1), high = Math.ceil(Math.max(...values, 24) + 1), rung = high - low > 8 ? 4 : 2;
    const x = (hour) => LEFT + (hour / most) * (W - LEFT - RIGHT), y = (degC) => TOP + (1 - (degC - low) / (high - low)) * (H - TOP - BOTTOM);
    const path = (points) => points.reduce((text, [hour, value], index) => text + (value === null ? "" : `${index && points[index - 1][1] !== null ? "L" : "M"}${x(hour).toFixed(1)} ${y(value).toFixed(1)}`), "");
    const picture = svg("svg", { class: "planline", viewBox: `0 0 ${W} ${H}`, role: "img", "aria-label": this.words(now) });
    const digits = Math.min(1, decimals(inUnits(rung, "degC") - inUnits(0, "degC")));
    for (let degC = low + 2 - (low % 2); degC < high; degC += rung) picture.append(svg("line", { x1: LEFT, x2: W - RIGHT, y1: y(degC), y2: y(degC), class: "ticks" }), svg("text", { x: LEFT - 6, y: y(degC) + 4, "text-anchor": "end", class: "faint" }, plain(inUnits(degC, "degC"), digits)));
    picture.append(svg("text", { x: LEFT - 6, y: 16, "text-anchor": "end", class: "faint" }, unitOf("degC")));
    const at = ticks(now.began_ms, now.began_ms + most * 3600e3, (W - LEFT - RIGHT) / TICK), words = tickWords(at);
    at.forEach((ms, index) => {
      const place = x((ms - now.began_ms) / 3600e3);
      picture.append(svg("line", { x1: place, x2: place, y1: H - BOTTOM, y2: H - BOTTOM + 5, stroke: "var(--rule)" }), svg("text", { x: Math.min(Math.max(place, 34), W - 36), y: H - BOTTOM + 18, "text-anchor": "middle", class: "faint" }, words[index]));
    });
    if (rows.length > 1) picture.append(svg("path", { d: path(rows.map((row) => [row[0], Math.max(low, row[1])])), fill: "none", stroke: "var(--rule)", "stroke-width": 1.5, "stroke-dasharray": "2 4" }), svg("path", { d: path(rows.map((row) => [row[0], row[3]])), fill: "none", stroke: "var(--plan)", "stroke-width": 2.5, "stroke-dasharray": "9 6" }));
    picture.append(svg("path", { d: path(this.actual), fill: "none", stroke: "var(--air)", "stroke-width": 3, "stroke-linejoin": "round" }));
    this.phases(picture, x, now);
    this.marks(picture, x, now, hours, finishH);
    this.box.replaceChildren(picture, el("p", { class: "small" }, this.words(now), el("br"), el("span", { class: "soft" }, t("plan.legend"))));
  }

  phases(picture, x, now) {
    const ends = this.plan?.phases ?? [];
    ends.forEach(([kind, from, to], index) => {
      const here = now.phase === index + 1;
      picture.append(svg("rect", { x: x(from) + 1, y: H - 36, width: Math.max(0, x(to) - x(from) - 2), height: 24, rx: 4, fill: here ? "var(--ink)" : "var(--sunk)", stroke: "var(--rule)" }));
      const words = [`${index + 1} ${phaseWord(kind)}`, `${index + 1}`].find((one) => x(to) - x(from) > 16 + LETTER * one.length);
      if (words) {
        const text = svg("text", { x: x(from) + 8, y: H - 19, "font-weight": here ? 700 : 400 }, words);
        text.style.setProperty("fill", here ? "var(--sheet)" : "var(--ink)");
        picture.append(text);
      }
    });
  }

  marks(picture, x, now, hours, finishH) {
    const W = this.width, at = x(hours), right = at > W - 150;
    picture.append(svg("line", { x1: at, x2: at, y1: 12, y2: H - BOTTOM, stroke: "var(--ink)", "stroke-width": 2.5 }), svg("text", { x: at + (right ? -7 : 7), y: 20, "font-weight": 700, "text-anchor": right ? "end" : "start" }, `${t("plan.now")} ${clock(now.utc_ms)}`));
    if (!now.finish_ms) return;
    const end = x(finishH);
    picture.append(svg("path", { d: `M${end} ${H - BOTTOM}V34M${end} 36l-16 7 16 7z`, stroke: "var(--ink)", "stroke-width": 2, fill: "var(--ink)" }));
    if (now.ready_low_ms) {
      const [low, high] = [now.ready_low_ms, now.ready_high_ms].map((ms) => x((ms - now.began_ms) / 3600e3));
      picture.append(svg("path", { d: `M${low} ${TOP + 34}H${high}M${low} ${TOP + 29}v10M${high} ${TOP + 29}v10`, stroke: "var(--product)", "stroke-width": 2.5, fill: "none" }), svg("text", { x: Math.min((low + high) / 2, W - 70), y: TOP + 54, "text-anchor": "middle" }, t("plan.ready")));
    }
  }

  words(now) {
    if (!this.plan) return now.state === "running" ? t("plan.soon") : t("plan.no_forecast");
    if (now.state === "complete") return t("plan.complete");
    if (!now.finish_ms) return t(now.state === "running" ? "plan.open_end" : "plan.no_promise");
    const late = (now.finish_ms - now.began_ms) / 3600e3 - this.plan.end_h;
    return t(late > 0.25 ? "plan.late" : "plan.as_planned", { clock: clock(now.finish_ms, now.utc_ms), late: number(Math.abs(late), 1, "h") });
  }
}
