// A forecast as a small picture: air and dew point over the cycle, phases below.
import { svg, t } from "./core.js";
import { phaseWord } from "./answers.js";
import { inUnits, plain, tickWords, ticks, unitOf } from "./format.js";

const H = 186, LEFT = 40, RIGHT = 10, TOP = 22, BOTTOM = 44, TICK = 92, LETTER = 7.4;

// width: of the box it comes into, so that its words keep their size on a phone.
export function preview(ahead, startMs, width) {
  const W = Math.max(300, Math.floor(width) || 820), rows = ahead.rows, most = Math.max(ahead.end_h, 1);
  const values = rows.flatMap((row) => [row[1], row[3]]);
  const low = Math.floor(Math.min(...values) - 1), high = Math.ceil(Math.max(...rows.map((row) => row[3])) + 2);
  const x = (hour) => LEFT + (hour / most) * (W - LEFT - RIGHT), y = (degC) => TOP + (1 - (Math.max(low, Math.min(high, degC)) - low) / (high - low)) * (H - TOP - BOTTOM);
  const line = (column) => rows.map((row, index) => `${index ? "L" : "M"}${x(row[0]).toFixed(1)} ${y(row[column]).toFixed(1)}`).join("");
  const at = ticks(startMs, startMs + most * 3600e3, (W - LEFT - RIGHT) / TICK), words = tickWords(at);
  const tick = (ms, index) => {
    const place = x((ms - startMs) / 3600e3);
    return svg("g", {}, svg("line", { x1: place, x2: place, y1: TOP, y2: H - BOTTOM, class: "ticks" }), svg("text", { x: Math.min(Math.max(place, 34), W - 36), y: H - BOTTOM + 15, "text-anchor": "middle", class: "faint" }, words[index]));
  };
  const phase = ([kind, from, to]) => {
    const room = x(to) - x(from), word = phaseWord(kind);
    return svg("g", {}, svg("rect", { x: x(from) + 1, y: H - 22, width: Math.max(0, room - 2), height: 19, rx: 3, fill: "var(--sunk)", stroke: "var(--rule)" }), room > 14 + LETTER * word.length ? svg("text", { x: x(from) + 6, y: H - 8 }, word) : null);
  };
  return svg("svg", { class: "planline", viewBox: `0 0 ${W} ${H}`, role: "img", "aria-label": t("start.preview") },
    at.map(tick), svg("text", { x: LEFT - 6, y: 12, "text-anchor": "end", class: "faint" }, unitOf("degC")),
    [low + 1, high - 2].map((degC) => svg("text", { x: LEFT - 6, y: y(degC) + 4, "text-anchor": "end", class: "faint" }, plain(inUnits(degC, "degC"), 0))),
    svg("path", { d: line(1), fill: "none", stroke: "var(--rule)", "stroke-width": 1.5, "stroke-dasharray": "2 4" }), svg("path", { d: line(3), fill: "none", stroke: "var(--air)", "stroke-width": 2.5 }), svg("path", { d: line(4), fill: "none", stroke: "var(--dew)", "stroke-width": 2, "stroke-dasharray": "9 4" }),
    ahead.phases.map(phase));
}
