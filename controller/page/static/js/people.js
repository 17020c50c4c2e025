// Accounts, tokens, and the trail of what people did.
import { $, ask, data, el, known, may, once, sign, spoken, t } from "./core.js";
import { confirmed } from "./dialogs.js";
import { moment } from "./format.js";

const say = (words) => { $("said-here").textContent = words; };

async function people() {
  const found = await ask("/api/v1/people");
  $("people").replaceChildren(...found.people.map((one) => el("tr", {}, el("td", {}, one.name), el("td", {}, one.full_name), el("td", {}, role(one, found.roles)), el("td", {}, one.disabled ? t("people.off") : t("people.on")), el("td", {}, el("button", { type: "button", on: { click: () => use(one) } }, t(one.disabled ? "people.enable" : "people.disable")), " ", el("button", { type: "button", on: { click: () => password(one.name) } }, t("people.password"))))));
}

// A role is changed by the question that follows, not by an arrow key that passed over it.
function role(one, roles) {
  const select = el("select", { "aria-label": `${t("people.role_head")}: ${one.name}`, on: { change: async () => {
    const wanted = select.value;
    if (await confirmed(t("people.sure_role", { name: one.name, role: t(`role.${wanted}`) }), t("people.set_role"))) await change(one.name, { role: wanted });
    else select.value = one.role;
  } } }, roles.map((name) => el("option", { value: name, selected: name === one.role }, t(`role.${name}`))));
  return select;
}

async function use(one) {
  if (one.disabled || await confirmed(t("people.sure_shut", { name: one.name }), t("people.disable"))) await change(one.name, { disabled: !one.disabled });
}

async function change(name, what) {
  try { await ask(`/api/v1/people/${encodeURIComponent(name)}`, what, "PATCH"); say(t("people.changed", { name })); } catch (error) { say(error.message); }
  people();
  trail();
}

// It stays open until the password is taken: what is wrong with it is said beside it.
function password(name) {
  const input = el("input", { type: "password", id: "new-password", autocomplete: "new-password", minlength: 15, maxlength: 128, required: true, "aria-describedby": "new-hint" });
  const problem = el("p", { class: "problem", role: "alert", hidden: true });
  const shut = () => { box.close(); box.remove(); };
  const send = once(async () => {
    try {
      await ask(`/api/v1/people/${encodeURIComponent(name)}`, { password: input.value }, "PATCH");
      shut();
      say(t("people.changed", { name }));
      people();
      trail();
    } catch (error) { problem.textContent = error.message; problem.hidden = false; input.select(); }
  });
  const box = el("dialog", { "aria-label": t("people.password"), on: { cancel: shut } }, el("form", { on: { submit: send } }, el("div", { class: "body" }, el("h2", {}, `${t("people.password")}: ${name}`), el("label", { for: "new-password" }, t("login.password")), input, el("p", { class: "small soft", id: "new-hint" }, t("password.hint")), problem),
    el("div", { class: "foot" }, el("button", { type: "submit", class: "main" }, t("people.set_password")), el("button", { type: "button", on: { click: shut } }, t("dialog.no")))));
  document.body.append(box);
  box.showModal();
}

async function tokens() {
  const found = await ask("/api/v1/tokens");
  $("tokens").replaceChildren(...found.tokens.map((one) => el("tr", {}, el("td", {}, one.label), el("td", {}, t(`role.${one.role}`)), el("td", { class: "num" }, moment(one.expires_ms)), el("td", {}, one.revoked ? t("people.revoked") : el("button", { type: "button", on: { click: () => revoke(one) } }, t("people.revoke"))))));
}

async function revoke(one) {
  if (!(await confirmed(t("people.sure_revoke", { name: one.label }), t("people.revoke")))) return;
  try { await ask(`/api/v1/tokens/${one.id}`, {}, "DELETE"); } catch (error) { $("give-said").textContent = error.message; }
  tokens();
  trail();
}

let oldest = null;
async function trail(more = false) {
  if (!may("read audit") && !data.may.includes("read audit")) return;
  const found = await ask(`/api/v1/audit?limit=60${more && oldest ? `&before=${oldest}` : ""}`);
  const rows = found.lines.map((one) => el("tr", {}, el("td", { class: "num small" }, moment(one.utc_ms)), el("td", {}, one.who, el("div", { class: "small soft" }, `${known(`role.${one.role}`, one.role)} ${one.station}`)), spoken(one.what, "td"), spoken(one.object, "td"), el("td", { class: "small" }, said(one.old)), el("td", { class: "small" }, said(one.new)), el("td", { class: "small" }, one.reason), spoken(one.result, "td", { class: "small" })));
  if (more) $("trail").append(...rows);
  else $("trail").replaceChildren(...rows);
  oldest = found.lines.at(-1)?.id ?? oldest;
  $("unbroken").replaceChildren(sign(found.unbroken ? "well" : "act"), " ", t(found.unbroken ? "trail.unbroken" : "trail.broken"));
}

const said = (text) => known(`role.${text}`, short(text)); // a role in its word, anything else as it is
const short = (text) => (text.length > 60 ? `${text.slice(0, 57)}…` : text);

$("add")?.addEventListener("submit", once(async () => {
  try {
    await ask("/api/v1/people", { name: $("add-name").value, full_name: $("add-full").value, role: $("add-role").value, password: $("add-password").value });
    $("add-said").textContent = t("people.made", { name: $("add-name").value });
    $("add").reset();
  } catch (error) { $("add-said").textContent = error.message; }
  people();
  trail();
}));
$("give")?.addEventListener("submit", once(async () => {
  $("give-said").textContent = "";
  try {
    const { secret } = await ask("/api/v1/tokens", { label: $("give-label").value, role: $("give-role").value, days: Number($("give-days").value) });
    $("secret").hidden = false;
    $("secret").replaceChildren(t("people.secret"), " ", el("code", {}, secret));
    $("give").reset();
  } catch (error) { $("give-said").textContent = error.message; }
  tokens();
  trail();
}));
$("more")?.addEventListener("click", once(() => trail(true)));
const first = async () => {
  try { if ($("people")) await Promise.all([people(), tokens()]); if ($("trail")) await trail(); } catch (error) { say(error.message); }
};
first();
