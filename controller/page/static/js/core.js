// What every module uses: the data that came with the page, texts, elements, signs.
export const data = JSON.parse(document.getElementById("data").textContent);

export function t(key, names = {}) {
  const text = data.texts[key] ?? key;
  return text.replace(/\{(\w+)\}/g, (_, name) => names[name] ?? "");
}

// A text by key if there is one, else the words themselves.
export function known(key, words) {
  return data.texts[key] ?? words;
}

// Sentences of the record and of forecasts are English. A page in another language has patterns for them: {names} in a
// pattern stand for what is between, and some of these are looked up too. Two parts called a and b, and a verb, must be known.
const INSIDE = new Set(["verb", "reason", "why", "phase", "band", "from", "to", "kind", "state", "was", "is", "limit", "remedy", "what", "surface", "a", "b"]);
const MUST = ["a", "b", "verb"];
const EXACT = new Map(), PATTERNS = [];
for (const [english, own] of Object.entries(data.phrases ?? {})) {
  if (!english.includes("{")) { EXACT.set(english, own); continue; }
  const names = [];
  const source = english.split(/\{(\w+)\}/).map((part, index) => (index % 2 ? (names.push(part), "(.+?)") : part.replace(/[.*+?^${}()|[\]\\]/g, "\\$&"))).join("");
  PATTERNS.push({ match: new RegExp(`^${source}$`), names, own, weight: english.replace(/\{\w+\}/g, "").length });
}
PATTERNS.sort((one, other) => other.names.includes("a") - one.names.includes("a") || other.weight - one.weight);

// [words, known]: a sentence in the reader's language, or as it is.
export function said(text) {
  if (EXACT.has(text)) return [EXACT.get(text), true];
  for (const { match, names, own } of PATTERNS) {
    const found = match.exec(text);
    if (!found) continue;
    const parts = Object.fromEntries(names.map((name, index) => [name, INSIDE.has(name) ? said(found[index + 1]) : [figure(found[index + 1]), true]]));
    if (MUST.some((name) => parts[name] && !parts[name][1])) continue;
    return [own.replace(/\{(\w+)\}/g, (_, name) => parts[name]?.[0] ?? ""), true];
  }
  return [text, false];
}

// A figure in a sentence with the reader's own decimal sign.
const SIGN = new Intl.NumberFormat(data.language).format(0.5).replace(/\d/g, "");
const figure = (text) => (/^[+-]?\d+\.\d+$/.test(text) ? text.replace(".", SIGN) : text);

// Figures with a unit inside a sentence, in the units of the window: "20.2 to 40.0 degC". What stands between two figures of
// one unit goes with them.
const IN_WORDS = /([+-]?\d+(?:[.,]\d+)?(?:(?: to | bis | > | < |–)[+-]?\d+(?:[.,]\d+)?)*) (degC|°C|kg\/m2h|kg\/m²h|kg\/m2|kg\/m²|kg\/s|kg\/h|kWh\/t|K\/h|MPa|K|kg|t)(?![\w/²])/g;
const STORED = { "°C": "degC", "kg/m²h": "kg/m2h", "kg/m²": "kg/m2" };
export function inOwnUnits(text) {
  return text.replace(IN_WORDS, (_, figures, unit) => {
    const own = data.units?.[STORED[unit] ?? unit];
    if (!own) return `${figures} ${unit}`;
    const convert = (value) => {
      const digits = (value.split(/[.,]/)[1] ?? "").length;
      return own.times === 1 && own.plus === 0 ? value : (Number(value.replace(",", ".")) * own.times + own.plus).toFixed(digits).replace(".", value.includes(",") ? "," : SIGN);
    };
    return `${figures.replace(/[+-]?\d+(?:[.,]\d+)?/g, convert)} ${own.as}`;
  });
}

export const saidIn = (text) => inOwnUnits(said(String(text ?? ""))[0]);

// The same as an element that says which language it is in.
export function spoken(text, name = "span", attributes = {}) {
  const { stored, ...rest } = attributes, [words, known_] = said(String(text ?? "")); // stored: in SI units, as in a file
  return el(name, { ...rest, lang: known_ || data.language === "en" ? null : "en" }, stored ? words : inOwnUnits(words));
}

export function el(name, attributes = {}, ...children) {
  return fill(document.createElement(name), attributes, children);
}

export function svg(name, attributes = {}, ...children) {
  return fill(document.createElementNS("http://www.w3.org/2000/svg", name), attributes, children);
}

function fill(node, attributes, children) {
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key === "on") for (const [event, run] of Object.entries(value)) node.addEventListener(event, run);
    else if (key === "style") for (const [name, one] of Object.entries(value)) node.style.setProperty(name, one);
    else node.setAttribute(key, value === true ? "" : value);
  }
  node.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}

// Draw a box anew and leave focus and scrolling where they were: pictures come every second, and nobody can read or use a
// keyboard in what begins again each time.
export function keeping(box, draw) {
  const list = () => [...box.querySelectorAll("button, summary, a, input, select, [tabindex]")], panes = () => [...box.querySelectorAll(".scroll, .log")];
  const name = (one) => [one.closest("[data-tag]")?.dataset.tag, one.id, one.getAttribute("aria-label") ?? one.textContent].join(" ");
  const active = document.activeElement, inside = active !== box && box.contains(active), held = inside ? name(active) : "", place = list().indexOf(active);
  const scrolled = panes().map((one) => [one.scrollLeft, one.scrollTop]);
  draw();
  panes().forEach((one, index) => { [one.scrollLeft, one.scrollTop] = scrolled[index] ?? [0, 0]; });
  if (inside) (list().find((one) => name(one) === held) ?? list()[Math.min(place, list().length - 1)])?.focus({ preventScroll: true });
}

export const $ = (id) => document.getElementById(id);
export const may = (what) => data.may.includes(what) && !data.locked;

// Shapes of urgency: a tick, a dot, a triangle, a filled diamond, a cross. Each stands beside its word.
const SHAPES = {
  well: ["M4 12.5l5.2 5.2L20 6.5", "none"],
  note: ["M12 7.5a4.5 4.5 0 1 0 .01 0z", "none"],
  look: ["M12 3L22.5 21h-21zM12 9v6M12 17.2v1.6", "none"],
  act: ["M12 .8L23.2 12 12 23.2.8 12z", "currentColor"],
  lost: ["M4 4l16 16M20 4L4 20", "none"],
};

export function sign(level) {
  const [path, inside] = SHAPES[level] ?? SHAPES.note;
  return svg("svg", { class: "sign", viewBox: "0 0 24 24", "aria-hidden": "true" },
    svg("path", { d: path, fill: inside, stroke: "currentColor", "stroke-width": 2.6, "stroke-linejoin": "round" }),
    level === "act" ? svg("path", { d: "M12 6.5v7.5M12 16.5v1.8", stroke: "var(--act)", "stroke-width": 2.8 }) : null);
}

export function badge(kind, words) {
  const level = { act: "act", look: "look", note: "note" }[kind];
  return el("span", { class: `badge ${kind}` }, level ? sign(level) : null, words);
}

// Ask the page. An Error says what was refused in the reader's words; with `cut` nobody knows whether it arrived: the
// way was cut, or nobody answered in time. A session that locked itself meanwhile is unlocked here, then asked again.
export async function ask(path, body = null, method = body ? "POST" : "GET", withinMs = 60000) {
  const headers = { accept: "application/json", ...(method === "GET" ? {} : { "x-dewhold-token": data.csrf, "content-type": "application/json" }) };
  let answer, found;
  try {
    answer = await fetch(path, { method, headers, body: body ? JSON.stringify(body) : undefined, signal: AbortSignal.timeout(withinMs) });
    found = (answer.headers.get("content-type") ?? "").includes("json") ? await answer.json() : { detail: await answer.text() };
  } catch {
    throw Object.assign(new Error(t("net.cut")), { cut: true });
  }
  if (answer.status === 423 && unlocking && (await unlocking())) return ask(path, body, method, withinMs);
  if (answer.ok) return found;
  const words = answer.status === 401 ? t("net.out") : saidIn(inWords(found.detail)) || `${answer.status}`;
  throw Object.assign(new Error(words), { cut: answer.status >= 500 });
}

// Who asks for the password when a session is found locked; true when it was given.
let unlocking = null;
export function whenLocked(run) {
  unlocking = run;
}

// A form or a button that acts once: pressed again while the first is on its way, nothing happens.
export function once(run) {
  let busy = false;
  return async (event) => {
    event?.preventDefault?.();
    if (busy) return;
    busy = true;
    const pressed = event?.submitter ?? (event?.currentTarget instanceof HTMLButtonElement ? event.currentTarget : null);
    pressed?.setAttribute("aria-disabled", "true");
    try { await run(event); } finally { busy = false; pressed?.removeAttribute("aria-disabled"); }
  };
}

function inWords(detail) {
  return Array.isArray(detail) ? detail.map(wrongIn).join(" ") : String(detail ?? "");
}

// A field that was refused: its label and what is allowed, in the reader's words and units; else as it was said.
const UNIT = { load_t: "t", mix_degC: "degC", age_h: "h" };
function wrongIn({ where, what, kind, limits }) {
  const name = where.split(".").findLast((part) => !/^\d+$/.test(part)), unit = UNIT[name], shown = data.units?.[unit];
  const text = data.texts[`wrong.${kind}`], field = data.texts[`field.${name}`];
  if (!text || !field) return `${where}: ${what}.`;
  const own = (value) => `${figure(String(Number((shown ? value * shown.times + shown.plus : value).toFixed(1))))}${unit ? ` ${shown?.as ?? unit}` : ""}`;
  return t(`wrong.${kind}`, { field, ...Object.fromEntries(Object.entries(limits ?? {}).map(([key, value]) => [key, own(value)])) });
}
