// The rack face, seen from the hall: air at every place against what is wanted, or how ready the product is.
import { el, svg, t } from "./core.js";
import { inUnits, number, plain, unitOf } from "./format.js";

const CELL = 54, ROW = 23, LEFT = 34, TOP = 8;
const FULL_K = 1; // at one kelvin away the shade is full; beyond it the cell is also hatched and outlined

export class RackFace {
  constructor(box, plate) {
    this.plate = plate;
    this.mode = "air";
    this.now = null;
    this.caption = el("p", { class: "small" });
    this.holder = el("div");
    const choose = (mode) => el("button", { type: "button", "aria-pressed": String(mode === this.mode), "data-mode": mode, on: { click: () => this.choose(mode) } }, t(`rack.${mode}`));
    this.buttons = ["air", "ready"].map(choose);
    box.replaceChildren(el("div", { class: "choice", role: "group", "aria-label": t("rack.choice") }, this.buttons), this.holder, this.caption);
  }

  choose(mode) {
    this.mode = mode;
    for (const button of this.buttons) button.setAttribute("aria-pressed", String(button.dataset.mode === mode));
    if (this.now) this.draw(this.now);
  }

  draw(now) {
    this.now = now;
    const { bays, levels } = this.plate;
    const width = LEFT + bays * CELL + 6, height = TOP + levels * ROW + 52;
    const picture = svg("svg", { class: "face", viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": this.words(now) }, hatch());
    for (let level = 1; level <= levels; level++) {
      const y = TOP + (levels - level) * ROW;
      if (level === 1 || level === levels || level % 3 === 0) picture.append(svg("text", { x: LEFT - 8, y: y + 16, "text-anchor": "end", class: "faint" }, String(level)));
      for (let bay = 1; bay <= bays; bay++) picture.append(this.cell(now, bay, level, LEFT + (bay - 1) * CELL, y));
    }
    for (let bay = 1; bay <= bays; bay++) picture.append(this.foot(now, bay, LEFT + (bay - 0.5) * CELL, TOP + levels * ROW));
    this.holder.replaceChildren(picture);
    this.caption.replaceChildren(this.words(now), el("br"), el("span", { class: "soft" }, t(this.mode === "air" ? "rack.legend_air" : "rack.legend_ready", { unit: unitOf("degC"), full: number(FULL_K, Number.isInteger(inUnits(FULL_K, "K")) ? 0 : 1, "K") })));
  }

  cell(now, bay, level, x, y) {
    const index = (bay - 1) * this.plate.levels + level - 1;
    const group = svg("g");
    const box = { x: x + 1, y: y + 1, width: CELL - 2, height: ROW - 2, rx: 3 };
    if (this.mode === "air") {
      const away = now.face_degC[index] === null ? null : now.face_degC[index] - reference(now);
      group.append(svg("rect", { ...box, fill: shade(away), stroke: "var(--edge)", "stroke-width": 1 }));
      if (away !== null && Math.abs(away) > FULL_K) group.append(svg("rect", { ...box, fill: "url(#beyond)", stroke: "var(--ink)", "stroke-width": 2 }));
      const probe = this.plate.probes.findIndex((one) => one.role === "air" && one.bay === bay && one.level === level);
      if (probe >= 0) group.append(this.probe(now, probe, x, y));
      group.append(svg("title", {}, `${t("rack.place", { bay, level })}: ${number(now.face_degC[index], 1, "degC")}${probe >= 0 ? "" : ` (${t("rack.interpolated")})`}`));
      return group;
    }
    const left = now.ready_in_h[index], age = now.age_h[index];
    const share = age === null ? 0 : Math.min(1, age / this.plate.ready_age_h);
    group.append(svg("rect", { ...box, fill: age === null ? "none" : "var(--even)", stroke: "var(--edge)", "stroke-dasharray": age === null ? "3 3" : null }));
    if (age !== null) group.append(svg("rect", { ...box, width: (CELL - 2) * share, fill: "var(--product)", opacity: 0.45 }));
    const words = age === null ? "" : left === 0 ? "✓" : left === null ? "?" : number(left, 1);
    group.append(svg("text", { x: x + CELL / 2, y: y + 16, "text-anchor": "middle" }, words));
    return group;
  }

  probe(now, number_, x, y) {
    const good = now.qualities[number_] === 0;
    return svg("g", {}, svg("rect", { x: x + 4, y: y + 4, width: CELL - 8, height: ROW - 8, rx: 8, fill: "var(--sheet)", stroke: "var(--ink)", "stroke-width": 1.4, "stroke-dasharray": good ? null : "2 2" }),
      svg("text", { x: x + CELL / 2, y: y + 16, "text-anchor": "middle" }, good ? plain(inUnits(now.values[number_], "degC")) : t("rack.bad")));
  }

  foot(now, bay, x, y) {
    const doors = this.plate.contacts.map((one, index) => ({ ...one, on: now.contacts[index] })).filter((one) => one.door);
    const door = doors[bay - 1];
    const open = door ? !door.on : false;
    return svg("g", {}, svg("text", { x, y: y + 16, "text-anchor": "middle", class: "faint" }, t("rack.bay", { bay })),
      door ? svg("path", { d: open ? `M${x - 12} ${y + 24}h24M${x - 12} ${y + 24}l16 12` : `M${x - 12} ${y + 24}h24`, stroke: open ? "var(--ink)" : "var(--rule)", "stroke-width": open ? 3.5 : 2.5, fill: "none" }) : null,
      open ? svg("text", { x, y: y + 48, "text-anchor": "middle", "font-weight": 700 }, t("rack.door_open")) : null);
  }

  words(now) {
    const word = t(`product.${now.product.word}`);
    if (this.mode === "ready") {
      const bridged = now.product.uncertain_h ? ` ${t("rack.words_bridged", { hours: number(now.product.uncertain_h) })}` : "";
      return t("rack.words_ready", { pct: Math.round(100 * (now.product.ready_share ?? 0)), age: number(now.product.age_min_h), wanted: number(this.plate.ready_age_h, 0) }) + bridged;
    }
    return t(now.air.floor_degC === null ? "rack.words_free" : "rack.words_air", { wanted: number(reference(now), 1, "degC"), spread: number(now.air.spread_K, 2, "K"), mean: number(now.air.degC, 1, "degC"), word });
  }
}

// What the air is held against: the one setpoint, or the nearest temperature of the band to the mean.
function reference(now) {
  const { floor_degC: floor, ceiling_degC: ceiling, degC: mean } = now.air;
  if (floor === null || ceiling === null || mean === null) return mean ?? 0;
  return Math.min(Math.max(mean, floor), ceiling);
}

function shade(away) {
  if (away === null) return "var(--sunk)";
  const pct = Math.round(100 * Math.min(1, Math.abs(away) / FULL_K));
  return `color-mix(in srgb, var(${away < 0 ? "--cool" : "--warm"}) ${pct}%, var(--even))`;
}

function hatch() {
  return svg("defs", {}, svg("pattern", { id: "beyond", width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, svg("line", { x1: 0, y1: 0, x2: 0, y2: 7, stroke: "var(--ink)", "stroke-width": 2 })));
}
