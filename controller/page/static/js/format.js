// Numbers and times for people: units on everything, local time, one decimal for temperatures.
import { data, t } from "./core.js";

const language = data.language === "en" ? "en-GB" : data.language; // 24 hours, day before month
let chamberNow = Date.now();

// The chamber's own clock: a simulated chamber lives at another time.
export function setNow(ms) {
  if (ms) chamberNow = ms;
}

const numbers = new Map();

export function number(value, digits = 1, unit = "") {
  if (value === null || value === undefined) return t("value.unknown");
  const key = digits;
  if (!numbers.has(key)) {
    numbers.set(key, new Intl.NumberFormat(language, { minimumFractionDigits: digits, maximumFractionDigits: digits }));
  }
  return numbers.get(key).format(value) + (unit ? ` ${unitOf(unit)}` : "");
}

export function unitOf(unit) {
  return { degC: "°C", "%RH": "% RH", "kg/m2h": "kg/m²h", "": "" }[unit] ?? unit;
}

const time = new Intl.DateTimeFormat(language, { hour: "2-digit", minute: "2-digit" });
const dayAndTime = new Intl.DateTimeFormat(language, { weekday: "short", hour: "2-digit", minute: "2-digit" });
const full = new Intl.DateTimeFormat(language, { dateStyle: "medium", timeStyle: "short" });
const second = new Intl.DateTimeFormat(language, { hour: "2-digit", minute: "2-digit", second: "2-digit" });

// A clock time; with the weekday when it is another day than the chamber's own now.
export function clock(ms, nowMs) {
  if (ms === null || ms === undefined) return t("value.unknown");
  const sameDay = new Date(ms).toDateString() === new Date(nowMs ?? chamberNow).toDateString();
  return (sameDay ? time : dayAndTime).format(ms);
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
