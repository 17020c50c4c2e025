// Boards in and out, place by place: where a chamber is filled and emptied while its climate stands.
import { el, keeping, may, saidIn, sign, t } from "./core.js";
import { number, readField, setField, span, unitOf } from "./format.js";

let made = null, shown = "";

// A form that stays while pictures come, and the list of what stands in the racks.
export function drawBoards(box, plate, now, doing, live) {
  if (!box) return;
  box.hidden = now.boards === null || now.boards === undefined;
  if (box.hidden) return;
  made ??= build(box, plate, doing);
  made.live(live);
  const key = JSON.stringify([now.boards.map((one) => [one.bay, one.level, one.ready, Math.round(one.own_h * 12)])]);
  if (key === shown) return;
  shown = key;
  const open = made.list.querySelector("details")?.open ?? false;
  keeping(made.list, () => made.list.replaceChildren(...rows(now, made, open)));
}

// What one place holds when the whole charge is spread over all of them.
function usual(plate, now) {
  const each = (now?.load_t ?? 0) / (plate.bays * plate.levels);
  return Math.round(100 * (each > 0 ? Math.min(each, plate.t_per_place_max) : plate.t_per_place_max)) / 100;
}

function build(box, plate, doing) {
  const choice = (id, count) => el("select", { id }, Array.from({ length: count }, (_, index) => el("option", { value: index + 1 }, String(index + 1))));
  const bay = choice("boards-bay", plate.bays), from = choice("boards-from", plate.levels), to = choice("boards-to", plate.levels);
  const amount = (id, value, step) => el("input", { id, type: "number", inputmode: "decimal", step, min: 0, value });
  const tonnes = amount("boards-t", 0, "any"), degC = amount("boards-degC", 0, "any"), age = amount("boards-age", 0, 0.1);
  const mix = el("select", { id: "boards-mix" }, plate.mixes.map((name) => el("option", { value: name }, name)));
  setField(tonnes, usual(plate, doing.now), "t", 3);
  setField(degC, doing.now?.mix_degC ?? 20, "degC", 1);
  degC.removeAttribute("min");
  const said = el("p", { role: "status", class: "small" });
  const places = () => { const [low, high] = [Number(from.value), Number(to.value)].sort((a, b) => a - b); return Array.from({ length: high - low + 1 }, (_, index) => ({ bay: Number(bay.value), level: low + index })); };
  // One order a place, one after the other; the first refusal ends it and says where.
  const give = async (verb, more) => {
    let done = 0;
    for (const place of places()) {
      const outcome = await doing.give(verb, { ...place, ...more }, `${verb} ${place.bay} ${place.level}`);
      if (!outcome?.done) { said.replaceChildren(sign("look"), " ", t("boards.stopped", { ...place, done, reason: outcome ? saidIn(outcome.reason) : t("doing.no_answer", { verb: t(`verb.${verb}`) }) })); return; }
      done++;
    }
    said.replaceChildren(sign("well"), " ", t(`boards.${verb}d`, { count: done }));
  };
  // An empty field is no 0: nothing is ordered, and it says which.
  const whole = () => {
    const blank = [tonnes, degC, age].find((input) => !Number.isFinite(input.valueAsNumber));
    if (blank) said.replaceChildren(sign("look"), " ", t("boards.blank", { label: blank.labels[0].textContent }));
    return !blank;
  };
  const entered = () => ({ tonnes: readField(tonnes, "t"), degC: readField(degC, "degC"), age_h: Number(age.value), mix: mix.value });
  const buttons = [["charge", () => whole() && give("charge", entered()), "main"], ["discharge", () => give("discharge", {}), ""]].map(([verb, run, kind]) => el("button", { type: "button", class: kind, "data-verb": verb, on: { click: async (event) => { event.target.disabled = true; await run(); event.target.disabled = false; } } }, t(`boards.${verb}`)));
  from.addEventListener("change", () => { to.value = from.value; });
  const field = (id, key, input) => el("div", { class: "field" }, el("label", { for: id }, t(key, { unit: { "boards.tonnes": unitOf("t"), "boards.degC": unitOf("degC") }[key] ?? "" })), input);
  const list = el("div");
  box.replaceChildren(...[el("h2", {}, t("boards.title")), el("p", { class: "small soft" }, t("boards.words")),
    may("operate") ? el("div", { class: "form-grid low" }, field("boards-bay", "boards.bay", bay), field("boards-from", "boards.from", from), field("boards-to", "boards.to", to), field("boards-t", "boards.tonnes", tonnes), field("boards-degC", "boards.degC", degC), field("boards-age", "boards.age", age), field("boards-mix", "start.mix", mix)) : null,
    may("operate") ? el("div", { class: "doing" }, buttons) : null, said, list].filter(Boolean));
  return {
    list,
    live: (on) => { for (const button of buttons) if (!on) button.disabled = true; else if (!doing.pending.size) button.disabled = false; },
    choose: (one) => { bay.value = one.bay; from.value = to.value = one.level; bay.focus(); },
  };
}

function rows(now, form, open) {
  const ready = now.boards.filter((one) => one.ready), rest = now.boards.filter((one) => !one.ready);
  const row = (one) => el("tr", {}, el("th", { scope: "row" }, t("rack.place", one)), el("td", { class: "n" }, number(one.t, 2, "t")), el("td", {}, one.mix), el("td", { class: "n" }, span(one.own_h * 3600e3)), el("td", { class: "n" }, number(one.age_h, 1, "h")), el("td", {}, one.ready ? [sign("well"), " ", t("boards.ready")] : one.ready_in_h === null ? t("value.unknown") : t("end.in", { span: span(one.ready_in_h * 3600e3) }), one.young ? el("div", { class: "small soft" }, t("boards.young")) : null),
    el("td", {}, may("operate") ? el("button", { type: "button", on: { click: () => form.choose(one) } }, t("boards.choose")) : null));
  const table = (found) => el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": t("boards.title") }, el("table", {}, el("thead", {}, el("tr", {}, ["place", "t", "mix", "since", "age", "when", ""].map((key) => el("th", { scope: "col" }, key ? t(`boards.head.${key}`) : "")))), el("tbody", {}, found.map(row))));
  return [
    el("h3", {}, t("boards.ready_count", { ready: ready.length, count: now.boards.length })), ready.length ? table(ready.slice(0, 6)) : null,
    now.boards.length ? el("details", { open }, el("summary", {}, t("boards.all")), table([...ready, ...rest])) : null,
  ].filter(Boolean);
}
