// What is in the chamber, as the start dialog asks for it: read, judged field by field, said in words what is wrong.
import { $, el, t } from "./core.js";
import { inUnits, plain, readField, setField } from "./format.js";

const NUMBERS = [["start-load", "t"], ["start-degC", "degC"], ["start-age", null]];
export const FIELDS = ["start-load", "start-nothing", "start-mix", "start-degC", "start-age", "start-empty"];

export function fillCharge(now, plate) {
  $("start-load").max = plate.limits.load_t_max;
  setField($("start-load"), now.load_t || plate.nominal_t, "t");
  setField($("start-degC"), now.mix_degC ?? 20, "degC");
  for (const [id, unit] of NUMBERS.slice(0, 2)) for (const end of ["min", "max"]) $(id)[end] = Number(inUnits(Number($(id)[end]), unit).toFixed(1));
  for (const [id] of NUMBERS) $(id).step = "any";
  $("start-empty").replaceChildren(...Array.from({ length: plate.bays }, (_, index) => el("label", {}, el("input", { type: "checkbox", value: index + 1, checked: (now.empty_bays ?? []).includes(index + 1) }), t("rack.bay", { bay: index + 1 }))));
}

// The charge as an order and a forecast take it. Only for fields of which wrongFields() says nothing.
export function charging() {
  const load = $("start-nothing").checked ? 0 : readField($("start-load"), "t");
  return { load_t: load, mix: $("start-mix").value, mix_degC: readField($("start-degC"), "degC"), age_h: readField($("start-age"), "h"), empty_bays: boxes().filter((box) => box.checked).map((box) => Number(box.value)) };
}

const boxes = () => [...$("start-empty").querySelectorAll("input")];

// What is wrong in words, one line a field; marks the fields too. Nothing is sent while there is a line.
export function wrongFields() {
  $("start-load").disabled = $("start-nothing").checked;
  const lines = NUMBERS.map(([id, unit]) => {
    const line = $(id).disabled ? null : wrong($(id), unit);
    $(id).setAttribute("aria-invalid", String(line !== null));
    return line;
  });
  if (boxes().every((box) => box.checked)) lines.push(t("start.wrong_bays"));
  return lines.filter((line) => line !== null);
}

function wrong(input, unit) {
  const label = input.labels[0].textContent, [low, high, value] = [Number(input.min), Number(input.max), input.valueAsNumber];
  const limits = { label, low: plain(low, low % 1 ? 1 : 0), high: plain(high, high % 1 ? 1 : 0) };
  if (!Number.isFinite(value)) return t(unit === "t" ? "start.wrong_no_load" : "start.wrong_none", limits);
  if (unit === "t" && (value <= 0 || value > high)) return t("start.wrong_zero", limits);
  return value < low || value > high ? t("start.wrong_limits", limits) : null;
}
