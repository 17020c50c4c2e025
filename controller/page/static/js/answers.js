// The four answers at the head of a view: is all well, what needs me and by when, when is it over, is this live.
import { $, badge, data, el, known, sign, t } from "./core.js";
import { clock, span } from "./format.js";

export const stateWord = (state) => known(`state.${state}`, state);
export const phaseWord = (kind) => known(`phase.${kind}`, kind);

export function about(tag, row) {
  if (!tag) return "";
  return known(`alarm.${tag}.text`, row?.text || known(`about.${tag}`, tag));
}

export function levelWord(level) {
  return t(`level.${level}`);
}

// By when somebody should see to it, or since when that is overdue.
export function byWhen(byMs, nowMs) {
  return t(byMs < nowMs ? "need.overdue" : "need.by", { clock: clock(byMs, nowMs) });
}

// The first answer of one chamber.
export function need(now) {
  const call = now.live ? now.call : { level: "lost", about: now.trouble || "stale", by_ms: null, unacked: 0 };
  const row = (now.alarms ?? []).find((one) => one.tag === call.about);
  const box = el("div", { class: `sheet level-${call.level}` },
    el("div", { class: `big ${call.unacked ? "unacked" : ""}` }, sign(call.level), el("span", {}, levelWord(call.level))),
    el("div", { class: "sub" }, sentence(call, row, now)));
  return box;
}

function sentence(call, row, now) {
  if (call.level === "lost") return t(`lost.${call.about}`);
  if (call.level === "well") return now.state === "idle" ? t("need.idle") : now.state === "complete" ? t("need.complete") : t("need.nothing");
  const one = call.unacked === 1 && call.gone;
  const words = [call.gone ? t(one ? "need.was_one" : "need.was", { what: about(call.about, row) }) : about(call.about, row)];
  if (call.by_ms) words.push(byWhen(call.by_ms, now.utc_ms));
  if (call.unacked && !one) words.push(t(call.unacked === 1 ? "need.unacked_one" : "need.unacked", { count: call.unacked }));
  return words.join(" · ");
}

// The second answer: where the cycle stands and when it is over.
export function end(now) {
  const big = now.finish_ms ? clock(now.finish_ms, now.utc_ms) : stateWord(now.state ?? "unknown");
  const lines = [];
  if (now.finish_ms) lines.push(t("end.in", { span: span(now.finish_ms - now.utc_ms) }));
  if ((now.product?.ready_share ?? 0) >= 1) {
    lines.push(now.ready_ms && now.ready_ms <= now.utc_ms ? t("end.ready_since", { clock: clock(now.ready_ms, now.utc_ms) }) : t("end.is_ready"));
  } else if (now.ready_ms) {
    const low = clock(now.ready_low_ms, now.utc_ms), high = clock(now.ready_high_ms, now.utc_ms);
    lines.push(now.ready_low_ms ? t("end.ready_between", { low, high }) : t("end.ready", { clock: clock(now.ready_ms, now.utc_ms) }));
  }
  const phase = now.phase ? t("end.phase", { number: now.phase, count: now.phases.length, kind: phaseWord(now.phase_kind) }) : "";
  return el("div", { class: "sheet" },
    el("div", { class: "soft small" }, now.finish_ms ? t("end.over") : t("end.state")),
    el("div", { class: "big num" }, big),
    el("div", { class: "sub" }, [phase, ...lines].filter(Boolean).join(" · ")));
}

let beat = false;
export function liveness(now, reachable, ageS) {
  beat = !beat;
  const live = reachable && now.live;
  const words = live ? t("live.yes") : reachable && (now.age_s ?? null) === null ? t("live.never") : reachable ? t("live.silent", { age: seconds(now.age_s) }) : t("live.cut", { age: seconds(ageS) });
  return el("div", { class: `sheet ${live ? "" : "level-lost"}` },
    el("div", { class: "big" }, live ? el("span", { class: `pulse ${beat ? "on" : ""}`, "aria-hidden": "true" }) : sign("lost"), el("span", {}, live ? t("live.word") : t("live.not"))),
    el("div", { class: "sub" }, words),
    now.utc_ms ? el("div", { class: "soft small num" }, t("live.clock", { clock: clock(now.utc_ms) })) : null);
}

function seconds(value) {
  if (value === null || value === undefined) return "";
  return value < 120 ? t("span.s", { s: Math.round(value) }) : span(value * 1000);
}

export function badges(now) {
  const found = [];
  if (now.simulated) found.push(badge("", t("badge.simulated")));
  if (now.state === "held" || now.state === "holding") found.push(badge("look", t("badge.clock_stopped")));
  if (now.state === "paused" || now.state === "pausing") found.push(badge("note", stateWord(now.state)));
  if (now.waiting_long) found.push(badge("note", t("badge.waits")));
  if ((now.trips ?? []).length) found.push(badge("act", t("badge.trips", { count: now.trips.length })));
  if (now.call?.hidden) found.push(badge("note", t("badge.hidden", { count: now.call.hidden })));
  const hand = (now.by_hand ?? []).filter((one) => one.kind !== "trim" && one.kind !== "lock-out");
  if (hand.length) found.push(badge("look", t("badge.by_hand", { count: hand.length })));
  if ((now.by_hand ?? []).some((one) => one.kind === "lock-out")) found.push(badge("look", t("badge.locked_out")));
  if (now.link_age_scans > 2) found.push(badge("look", t("badge.link")));
  return el("div", { class: "badges" }, found);
}

export function say(text) {
  const node = $("said");
  if (node && node.textContent !== text) node.textContent = text;
}

// What a screen reader is told when it changes, and the title of the window.
export function announce(now) {
  const call = now.live ? now.call : { level: "lost", about: "" };
  say(`${now.name}: ${levelWord(call.level)} ${call.about ? about(call.about, call) : ""}`);
  document.title = `${levelWord(call.level)}: ${now.name} · Dewhold`;
  document.body.dataset.level = call.level;
}
export { data };
