// Line plots with the page's colours and times: one place that knows uPlot.
import uPlot from "../vendor/uplot/uPlot.esm.js";
import { t } from "./core.js";
import { clock, decimals, inUnits, plain, tickWords, unitOf } from "./format.js";

export function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
}

const FONT = '12px "Noto Sans", "DejaVu Sans", sans-serif';

function axis(extra) {
  return { stroke: colour("soft"), grid: { stroke: colour("edge"), width: 1 }, ticks: { stroke: colour("edge") }, font: FONT, ...extra };
}

// series: [{label, colour, digits, unit, dash, width, scale}]; bands as in uPlot; columns: [seconds, ...values]; under: what
// is drawn below them; chosen: told from and to (seconds) of a span that somebody drew with the pointer.
export function plot(box, { series, columns, height = 260, bands = [], under = null, scales = {}, chosen = null }) {
  const used = [...new Set(series.map((one) => one.scale ?? "y"))];
  const options = {
    width: Math.max(260, box.clientWidth), height, bands, legend: { show: true, live: true },
    cursor: { drag: { x: chosen !== null, y: false, setScale: false } },
    scales: { x: { time: true }, ...Object.fromEntries(used.map((name) => [name, { range: steady }])), ...scales },
    axes: [
      axis({ values: (_u, splits) => tickWords(splits.map((at) => at * 1000)), space: 84 }),
      ...used.map((name, place) => axis({ scale: name, side: place % 2 ? 1 : 3, size: 52, label: unitOf(series.find((one) => (one.scale ?? "y") === name).unit ?? ""), labelSize: 18, labelFont: FONT, values: (_u, splits, _a, _s, step) => splits.map((at) => plain(at, decimals(step))) })),
    ],
    series: [
      { label: t("plot.time"), value: (u, at) => clock(1000 * (at ?? u.data[0].at(-1))) },
      ...series.map((one) => ({
        label: one.label, stroke: colour(one.colour) || one.colour, width: one.width ?? 2, dash: one.dash, scale: one.scale ?? "y",
        points: { show: false }, spanGaps: false, show: one.show ?? true,
        value: (u, at, place, index) => shown(index === null || index === undefined ? u.data[place].findLast((value) => value !== null) : at, one),
      })),
    ],
    hooks: { ...(under ? { drawClear: [under] } : {}), ...(chosen ? { setSelect: [(u) => u.select.width > 8 && chosen(u.posToVal(u.select.left, "x"), u.posToVal(u.select.left + u.select.width, "x"))] } : {}) },
  };
  const made = new uPlot(options, asShown(columns, series), box);
  const set = made.setData.bind(made);
  made.setData = (fresh) => set(asShown(fresh, series));
  const fit = new ResizeObserver(() => {
    const width = Math.max(260, Math.floor(box.clientWidth));
    if (Math.abs(width - made.width) > 3) made.setSize({ width, height });
  });
  fit.observe(box);
  return made;
}

// A figure of the legend: where the pointer is, else the newest.
function shown(value, { digits = 1, unit = "" }) {
  return value === null || value === undefined ? "–" : `${plain(value, digits)}${unit ? ` ${unitOf(unit)}` : ""}`;
}

// Columns in the units of the window: times first, then one a series.
function asShown(columns, series) {
  return columns.map((column, place) => (place && series[place - 1].unit ? column.map((value) => inUnits(value, series[place - 1].unit)) : column));
}

// A scale that does not jump about: a little room around what is there, at least one unit high.
function steady(_u, least, most) {
  if (least === null || most === null) return [0, 1];
  const room = Math.max(0.15 * (most - least), 0.5);
  return [Math.floor((least - room) * 2) / 2, Math.ceil((most + room) * 2) / 2];
}

export function redrawOnLight(run) {
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", run);
  document.addEventListener("light", run);
}
