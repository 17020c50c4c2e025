// Numbers and times for people: units on everything, local time, one decimal for temperatures.
import { data, t } from "./core.js";

const language = data.language === "en" ? "en-GB" : data.language; // 24 hours, day before month
let chamberNow = Date.now();

// The chamber's own clock: a simulated chamber lives at another time.
export function setNow(ms) {
  if (ms) chamberNow = ms;
}

const DAY_MS = 86400e3;
const numbers = new Map();

export function number(value, digits = 1, unit = "") {
  if (value === null || value === undefined) return t("value.unknown");
  return plain(inUnits(value, unit), digitsIn(unit, digits)) + (unit ? ` ${unitOf(unit)}` : "");
}

// As many decimals as say the same in the shown unit: one of a MPa is none of a psi.
export function digitsIn(unit, digits) {
  return Math.max(0, digits - Math.round(Math.log10(units[unit]?.times ?? 1)));
}

// A figure without its unit, which stands beside it. value: as shown.
export function plain(value, digits = 1) {
  if (value === null || value === undefined) return t("value.unknown");
  if (!numbers.has(digits)) {
    numbers.set(digits, new Intl.NumberFormat(language, { minimumFractionDigits: digits, maximumFractionDigits: digits, signDisplay: "negative" }));
  }
  return numbers.get(digits).format(value);
}

// As many decimals as ticks of a step need to be told apart and to be right.
export function decimals(step) {
  let digits = 0;
  while (digits < 6 && Math.abs(step * 10 ** digits - Math.round(step * 10 ** digits)) > 1e-6) digits++;
  return digits;
}

// Shares in percent as whole numbers that add up to 100: what rounding leaves over goes where most was cut off.
export function wholeShares(shares) {
  const whole = shares.map(Math.floor), left = Math.round(shares.reduce((sum, one) => sum + one, 0)) - whole.reduce((sum, one) => sum + one, 0);
  const order = shares.map((one, place) => [one - whole[place], place]).sort((a, b) => b[0] - a[0]);
  for (const [, place] of order.slice(0, left)) whole[place]++;
  return whole;
}

// Units for display: everything is stored and sent in SI units, a window shows and takes others where it is told to.
const units = data.units ?? {};

export function unitOf(unit) {
  return units[unit]?.as ?? unit;
}

export function inUnits(value, unit) {
  const one = units[unit];
  return one && value !== null && value !== undefined ? value * one.times + one.plus : value;
}

export function fromUnits(shown, unit) {
  const one = units[unit];
  return one ? (shown - one.plus) / one.times : shown;
}

// A typed field of a unit, set and read in stored units. One that nobody changed gives back exactly what was put in.
export function setField(input, value, unit, digits = 2) {
  input.value = String(Number(inUnits(value, unit).toFixed(digits)));
  Object.assign(input.dataset, { stored: value, shown: input.value });
}

// NaN where no number stands: an empty field is never 0.
export function readField(input, unit) {
  if (!Number.isFinite(input.valueAsNumber)) return NaN;
  if (input.dataset.shown !== undefined && input.value === input.dataset.shown) return Number(input.dataset.stored);
  return Number(fromUnits(Number(input.value), unit).toPrecision(6));
}

const time = new Intl.DateTimeFormat(language, { hour: "2-digit", minute: "2-digit" });
const dayAndTime = new Intl.DateTimeFormat(language, { weekday: "short", hour: "2-digit", minute: "2-digit" });
const full = new Intl.DateTimeFormat(language, { dateStyle: "medium", timeStyle: "short" });
const second = new Intl.DateTimeFormat(language, { hour: "2-digit", minute: "2-digit", second: "2-digit" });

const day = new Intl.DateTimeFormat(language, { day: "numeric", month: "short" });
const dateAndTime = new Intl.DateTimeFormat(language, { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
const sameDay = (ms, other) => new Date(ms).toDateString() === new Date(other).toDateString();

// A clock time; with the weekday when it is another day than the chamber's own now, with the date when a weekday would not
// say which.
export function clock(ms, nowMs) {
  if (ms === null || ms === undefined) return t("value.unknown");
  const here = nowMs ?? chamberNow;
  if (Math.abs(ms - here) > 330 * DAY_MS) return full.format(ms);
  return (sameDay(ms, here) ? time : Math.abs(ms - here) < 6 * DAY_MS ? dayAndTime : dateAndTime).format(ms);
}

// The zone of all times that are shown, such as "Europe/Berlin (CET)".
export function zone(ms = chamberNow) {
  const short = new Intl.DateTimeFormat(language, { timeZoneName: "short" }).formatToParts(ms).find((part) => part.type === "timeZoneName")?.value;
  return `${new Intl.DateTimeFormat().resolvedOptions().timeZone} (${short})`;
}

// Round times of the local clock for an axis, at most so many.
const STEPS_H = [0.25, 0.5, 1, 2, 3, 4, 6, 8, 12, 24, 48, 96, 168];
export function ticks(fromMs, toMs, most) {
  const stepMs = 3600e3 * (STEPS_H.find((hours) => (toMs - fromMs) / (hours * 3600e3) <= Math.max(1, most)) ?? 336);
  const found = [], days = Math.max(1, stepMs / DAY_MS), minutes = Math.min(1440, stepMs / 60000);
  const first = new Date(fromMs);
  for (let day_ = 0; ; day_ += days) { // by the calendar: a day on which the clocks change has 23 or 25 h
    const at = (minute) => new Date(first.getFullYear(), first.getMonth(), first.getDate() + day_, 0, minute).getTime();
    if (at(0) > toMs) return found;
    for (let minute = 0; minute < 1440; minute += minutes) if (at(minute) >= fromMs && at(minute) <= toMs) found.push(at(minute));
  }
}

// Words for times in order along an axis: the day only where it changes.
export function tickWords(times) {
  const whole = times.length > 1 && times.every((ms) => new Date(ms).getHours() === 0 && new Date(ms).getMinutes() === 0);
  return times.map((ms, place) => (whole ? day.format(ms) : clock(ms, place ? times[place - 1] : chamberNow)));
}

export const moment = (ms) => (ms === null || ms === undefined ? t("value.unknown") : full.format(ms));
export const seconds = (ms) => second.format(ms);

export function span(ms) {
  if (ms === null || ms === undefined) return t("value.unknown");
  const minutes = Math.max(0, Math.round(ms / 60000));
  if (minutes < 60) return t("span.min", { min: minutes });
  if (minutes < 48 * 60) return t("span.h_min", { h: Math.floor(minutes / 60), min: minutes % 60 });
  return t("span.d_h", { d: Math.floor(minutes / 1440), h: Math.floor((minutes % 1440) / 60) });
}
