// What every view has: lock and unlock, log out, light or dark.
import { $, ask, data, el, t } from "./core.js";

document.querySelector(".tabs [aria-current]")?.scrollIntoView({ inline: "center", block: "nearest" });
$("light")?.addEventListener("click", () => {
  const dark = document.documentElement.dataset.light ? document.documentElement.dataset.light === "night" : matchMedia("(prefers-color-scheme: dark)").matches;
  document.documentElement.dataset.light = dark ? "day" : "night";
  document.cookie = `light=${document.documentElement.dataset.light}; path=/; max-age=31536000; samesite=strict`;
  document.dispatchEvent(new Event("light"));
});
$("lock")?.addEventListener("click", async () => { await ask("/lock", {}, "POST"); location.reload(); });
$("logout")?.addEventListener("click", async () => { await fetch("/logout", { method: "POST", headers: { "x-dewhold-token": data.csrf } }); location.assign("/login"); });
$("unlock")?.addEventListener("click", () => {
  const password = el("input", { type: "password", id: "unlock-password", autocomplete: "current-password" });
  const problem = el("p", { class: "problem", hidden: true, role: "alert" });
  const box = el("dialog", { "aria-label": t("lock.unlock") }, el("form", { method: "dialog", on: { submit: async (event) => {
    event.preventDefault();
    const answer = await fetch("/unlock", { method: "POST", headers: { "x-dewhold-token": data.csrf }, body: new URLSearchParams({ password: password.value }) });
    if (answer.ok) location.reload();
    else { problem.textContent = t(answer.status === 429 ? "lock.wait" : "lock.wrong"); problem.hidden = false; password.select(); }
  } } }, el("div", { class: "body" }, el("h2", {}, t("lock.unlock")), el("p", {}, t("lock.words")), el("label", { for: "unlock-password" }, t("login.password")), password, problem),
  el("div", { class: "foot" }, el("button", { class: "main", type: "submit" }, t("lock.unlock")), el("button", { type: "button", on: { click: () => { box.close(); box.remove(); } } }, t("dialog.no")))));
  document.body.append(box);
  box.showModal();
});
