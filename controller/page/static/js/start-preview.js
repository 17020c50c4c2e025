// A forecast as a small picture: air and dew point over the cycle, phases below.
import { svg, t } from "./core.js";
import { phaseWord } from "./answers.js";
import { clock, inUnits, plain } from "./format.js";

export function preview(ahead, startMs) {
  const W = 820, H = 170, rows = ahead.rows, most = Math.max(ahead.end_h, 1);
  const values = rows.flatMap((row) => [row[1], row[3]]);
  const low = Math.floor(Math.min(...values) - 1), high = Math.ceil(Math.max(...rows.map((row) => row[3])) + 2);
  const x = (hour) => 36 + (hour / most) * (W - 46), y = (degC) => 8 + (1 - (Math.max(low, Math.min(high, degC)) - low) / (high - low)) * (H - 50);
  const line = (column) => rows.map((row, index) => `${index ? "L" : "M"}${x(row[0]).toFixed(1)} ${y(row[column]).toFixed(1)}`).join("");
  const hours = Array.from({ length: Math.floor(most / 6) + 1 }, (_, index) => index * 6);
  return svg("svg", { class: "planline", viewBox: `0 0 ${W} ${H}`, role: "img", "aria-label": t("start.preview") },
    hours.map((hour) => svg("g", {}, svg("line", { x1: x(hour), x2: x(hour), y1: 8, y2: H - 42, class: "ticks" }), svg("text", { x: x(hour), y: H - 28, "text-anchor": !hour ? "start" : x(hour) > W - 40 ? "end" : "middle", class: "faint" }, clock(startMs + hour * 3600e3, startMs)))),
    [low + 1, high - 2].map((degC) => svg("text", { x: 30, y: y(degC) + 4, "text-anchor": "end", class: "faint" }, plain(inUnits(degC, "degC"), 0))),
    svg("path", { d: line(1), fill: "none", stroke: "var(--rule)", "stroke-dasharray": "2 4" }), svg("path", { d: line(3), fill: "none", stroke: "var(--air)", "stroke-width": 2.5 }), svg("path", { d: line(4), fill: "none", stroke: "var(--dew)", "stroke-width": 2 }),
    ahead.phases.map(([kind, from, to]) => svg("g", {}, svg("rect", { x: x(from) + 1, y: H - 22, width: Math.max(0, x(to) - x(from) - 2), height: 19, rx: 3, fill: "var(--sunk)", stroke: "var(--rule)" }), x(to) - x(from) > 60 ? svg("text", { x: x(from) + 6, y: H - 8 }, phaseWord(kind)) : null)));
}
