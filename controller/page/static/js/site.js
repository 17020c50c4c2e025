// The list of chambers: a lane each, worst first.
import { $, data, el, known, sign, svg, t } from "./core.js";
import { about, badges, byWhen, levelWord, phaseWord, stateWord } from "./answers.js";
import { clock, inUnits, number, plain, span } from "./format.js";
import { Stream } from "./stream.js";

let rows = data.rows;
let reachable = true;

function lane(row) {
  const call = row.live && reachable ? row.call : { level: "lost", about: reachable ? row.trouble || "stale" : "cut", unacked: 0 };
  const level = call.level;
  const why = level === "lost" ? t(`lost.${call.about}`) : call.about ? (call.gone ? t("need.was", { what: about(call.about, call) }) : about(call.about, call)) : row.state ? stateWord(row.state) : "";
  return el("a", { class: `sheet lane level-${level} ${level === "lost" && row.utc_ms ? "stale" : ""}`, href: `/chamber/${row.id}`, "data-chamber": row.id },
    el("div", {}, el("div", { class: "name" }, row.name), el("div", { class: "soft small" }, [row.line, row.recipe].filter(Boolean).join(" · ")), badges(row)),
    el("div", { class: "why" }, el("div", { class: `word ${call.unacked ? "unacked" : ""}` }, sign(level), levelWord(level)), el("div", { class: "small" }, why),
      call.by_ms ? el("div", { class: "by" }, byWhen(call.by_ms, row.utc_ms)) : null),
    el("div", { class: "progress" }, progress(row), el("div", { class: "small soft" }, phaseLine(row))),
    el("div", { class: "small" }, figures(row)),
    el("div", {}, row.finish_ms ? el("div", { class: "small soft" }, t("site.over")) : null, el("div", { class: "finish num" }, row.finish_ms ? clock(row.finish_ms, row.utc_ms) : "–"),
      el("div", { class: "small soft" }, row.finish_ms ? t("end.in", { span: span(row.finish_ms - row.utc_ms) }) : t("end.none")),
      el("div", { class: "small soft num" }, ageWords(row))));
}

function ageWords(row) {
  if (!row.utc_ms) return "";
  return row.live && reachable ? t("live.word") : t("live.last", { clock: clock(row.utc_ms) });
}

function phaseLine(row) {
  if (!row.phase) return row.state ? stateWord(row.state) : "";
  return t("end.phase", { number: row.phase, count: row.phases.length, kind: phaseWord(row.phase_kind) });
}

function figures(row) {
  if (!row.air) return "";
  const dl = el("dl", { class: "pairs" });
  const put = (name, value) => dl.append(el("dt", {}, name), el("dd", {}, value));
  const band = row.air.floor_degC === null ? "" : ` (${row.air.floor_degC === row.air.ceiling_degC ? plain(inUnits(row.air.floor_degC, "degC")) : `${plain(inUnits(row.air.floor_degC, "degC"))}–${plain(inUnits(row.air.ceiling_degC, "degC"))}`})`;
  put(t("figure.air"), number(row.air.degC, 1, "degC") + band);
  put(t("figure.margin"), row.dew.wanted_margin_K === null ? number(row.dew.margin_K, 2, "K") : `${number(row.dew.margin_K, 2, "K")} (${plain(inUnits(row.dew.wanted_margin_K, "K"), 2)})`);
  put(t("figure.spread"), number(row.air.spread_K, 1, "K"));
  return dl;
}

// How far the cycle is: one bar from begin to end with a mark for now; nothing where nothing is known.
function progress(row) {
  if (!row.began_ms || !row.phase || !row.finish_ms) return svg("svg", { class: "track", viewBox: "0 0 300 40", preserveAspectRatio: "none", "aria-hidden": "true" }, svg("line", { x1: 0, x2: 300, y1: 20, y2: 20, stroke: "var(--edge)", "stroke-width": 2 }));
  const endMs = row.finish_ms;
  const share = Math.min(1, Math.max(0, (row.utc_ms - row.began_ms) / Math.max(1, endMs - row.began_ms)));
  const label = t("track.label", { pct: Math.round(100 * share) });
  return svg("svg", { class: "track", viewBox: "0 0 300 40", preserveAspectRatio: "none", role: "img", "aria-label": label },
    svg("rect", { x: 0, y: 14, width: 300, height: 12, fill: "var(--sunk)", stroke: "var(--edge)" }),
    svg("rect", { x: 0, y: 14, width: 300 * share, height: 12, fill: "var(--plan)" }),
    svg("line", { x1: 300 * share, x2: 300 * share, y1: 4, y2: 36, stroke: "var(--ink)", "stroke-width": 2.5, "vector-effect": "non-scaling-stroke" }));
}

function draw() {
  const held = document.activeElement?.dataset?.chamber;
  $("lanes").replaceChildren(...rows.map(lane));
  if (held) $("lanes").querySelector(`[data-chamber="${held}"]`)?.focus();
  head();
}

function head() {
  const lost = rows.filter((row) => !row.live || !reachable);
  const worst = rows.find((row) => row.live) ?? rows[0];
  const level = !reachable || lost.length === rows.length ? "lost" : worst.call.rank >= 2 ? worst.call.level : lost.length ? "look" : worst.call.level;
  const needing = rows.filter((row) => row.live && reachable && row.call.rank >= 2), count = needing.length;
  const first = needing[0]?.call.by_ms ? ` · ${byWhen(needing[0].call.by_ms, needing[0].utc_ms)}` : "";
  const whole = reachable && !lost.length, part = reachable && lost.length < rows.length;
  $("answers").replaceChildren(
    el("div", { class: `sheet level-${level}` }, el("div", { class: "big" }, sign(level), levelWord(level)),
      el("div", { class: "sub" }, level === "well" || level === "note" ? t("site.all_well", { count: rows.length }) : [count ? t(count === 1 ? "site.need_one" : "site.need", { count, name: needing[0].name }) + first : "", lost.length ? t("site.lost", { count: lost.length }) : ""].filter(Boolean).join(" · "))),
    el("div", { class: "sheet" }, el("div", { class: "soft small" }, t("site.next_end")), nextEnd()),
    el("div", { class: "sheet" }, el("div", { class: "big" }, whole ? el("span", { class: "pulse on", "aria-hidden": "true" }) : sign("lost"), t(whole ? "live.word" : part ? "site.partly" : "live.not")), el("div", { class: "sub" }, reachable ? t("site.live", { live: rows.length - lost.length, count: rows.length }) : t("live.cut", { age: "" }))));
  document.title = `${levelWord(level)}: ${known("site.title", "Dewhold")}`;
  document.body.dataset.level = level;
}

function nextEnd() {
  const next = rows.filter((row) => row.finish_ms && row.live).sort((a, b) => a.finish_ms - b.finish_ms)[0];
  if (!next) return el("div", { class: "big" }, "–");
  return el("div", {}, el("div", { class: "big num" }, clock(next.finish_ms, next.utc_ms)), el("div", { class: "sub" }, `${next.name} · ${t("end.in", { span: span(next.finish_ms - next.utc_ms) })}`));
}

draw();
new Stream("", (found) => { rows = found; draw(); }, (ok) => { if (ok !== reachable) { reachable = ok; draw(); } });
